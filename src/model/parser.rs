//! From a formula's text to its nodes: Pratt's "top down operator precedence" (POPL 1973).

use super::units::shortened;
use crate::model::formula::{Formula, FormulaError, Node};
use crate::model::operation::{FUNCTIONS, Operation};
use std::collections::{HashMap, HashSet};
use std::ops::Range;

/// Nodes and their spans, the result last; every node is used.
pub(super) type Nodes = (Vec<Node>, Vec<Range<usize>>);

/// Reads the whole of `text`.
pub(super) fn parse(
    text: &str,
    names: &[&str],
    formulas: &[(&str, &Formula)],
) -> Result<Nodes, FormulaError> {
    if text.len() > Formula::LONGEST {
        let problem =
            format!("the formula is {} bytes long, but {} are the most", text.len(), Formula::LONGEST);
        return Err(FormulaError::new(
            text,
            0..0,
            problem,
            "move a part of it to a measurand of its own above, and write its name here".into(),
        ));
    }
    let mut parser =
        Parser { text, names, formulas, taken: HashMap::new(), at: 0, depth: 0, nodes: NodeList::default() };
    if let Some((at, sign)) = text.char_indices().find(|(_, c)| "=<>≤≥≠".contains(*c)) {
        let span = at..at + sign.len_utf8();
        return Err(match sign {
            '=' => parser.error(span, "an equals sign in a formula", "write only what stands after it"),
            _ => parser.error(span, "a comparison in a formula", "write min, max or abs for what is meant"),
        });
    }
    let result = parser.expression(0)?;
    match parser.peek() {
        None => Ok(parser.nodes.used_by(result.node)),
        Some((')', span)) => Err(parser.error(span, "this parenthesis closes nothing", "take it away")),
        Some((',', span)) if text[span.end..].starts_with(|c: char| c.is_ascii_digit()) => {
            Err(parser.error(span, "a comma inside a number", "write the decimal marker as a point: 0.5"))
        }
        Some((_, span)) => {
            Err(parser.error(span, "an operator must stand before this", "write * for multiplication"))
        }
    }
}

/// Whether a text can be the name of an input: a letter or `_`, then letters, digits or `_`; and no function or
/// constant is called so.
pub(super) fn is_free_name(text: &str) -> bool {
    let mut characters = text.chars();
    characters.next().is_some_and(begins_name)
        && characters.all(continues_name)
        && constant(text).is_none()
        && function(text).is_none()
}

fn begins_name(c: char) -> bool {
    c.is_alphabetic() || c == '_'
}

fn continues_name(c: char) -> bool {
    begins_name(c) || c.is_ascii_digit()
}

fn constant(name: &str) -> Option<f64> {
    matches!(name, "pi" | "π").then_some(std::f64::consts::PI)
}

fn function(name: &str) -> Option<(Operation, usize, usize)> {
    let (_, operation, least, most) = FUNCTIONS.iter().find(|(function, ..)| *function == name)?;
    Some((*operation, *least, *most))
}

struct Parser<'a> {
    text: &'a str,
    names: &'a [&'a str],
    formulas: &'a [(&'a str, &'a Formula)],
    /// The results of those formulas that have been taken over, by their places.
    taken: HashMap<usize, usize>,
    /// Bytes read.
    at: usize,
    /// Expressions being read within one another.
    depth: usize,
    nodes: NodeList,
}

/// An expression that has been read.
struct Read {
    node: usize,
    span: Range<usize>,
}

/// How tightly an operator holds: the side with the larger number wins the operand between two.
fn infix(c: char) -> Option<(Operation, u8, u8)> {
    match c {
        '+' => Some((Operation::Add, 1, 2)),
        '-' | '−' => Some((Operation::Subtract, 1, 2)),
        '*' | '·' | '×' => Some((Operation::Multiply, 3, 4)),
        '/' => Some((Operation::Divide, 3, 4)),
        '^' => Some((Operation::Power, 8, 7)),
        _ => None,
    }
}

/// A sign holds tighter than a product, looser than a power.
const SIGN: u8 = 5;

impl Parser<'_> {
    /// An expression whose operators all hold at least as tightly as `least`.
    fn expression(&mut self, least: u8) -> Result<Read, FormulaError> {
        self.depth += 1;
        if self.depth > Formula::DEEPEST {
            let problem = format!("nested deeper than {} levels", Formula::DEEPEST);
            return Err(self.error(self.at..self.at, &problem, "take parentheses, signs or powers away"));
        }
        let mut left = self.operand()?;
        while let Some((c, span)) = self.peek() {
            let Some((operation, holds_left, holds_right)) = infix(c) else { break };
            if holds_left < least {
                break;
            }
            self.at = span.end;
            if self.text[span.start..].starts_with("**") {
                return Err(self.error(
                    span.start..span.end + 1,
                    "** is not an operator here",
                    "write ^ for a power",
                ));
            }
            let right = self.expression(holds_right)?;
            let span = left.span.start..right.span.end;
            let node = self.nodes.apply(operation, [left.node, right.node], &span);
            left = Read { node, span };
        }
        self.depth -= 1;
        Ok(left)
    }

    /// A number, a name, a call, an expression in parentheses, or one of these with a sign.
    fn operand(&mut self) -> Result<Read, FormulaError> {
        let Some((c, span)) = self.peek() else {
            let end = self.text.len();
            let (problem, hint) = match self.text.trim().is_empty() {
                true => ("there is no formula", "write one, such as a + b"),
                false => {
                    ("the formula ends where a value is needed", "write a number, a name or a parenthesis")
                }
            };
            return Err(self.error(end..end, problem, hint));
        };
        match c {
            '+' | '-' | '−' => {
                self.at = span.end;
                let value = self.expression(SIGN)?;
                let span = span.start..value.span.end;
                let node = match c {
                    '+' => value.node,
                    _ => self.nodes.apply(Operation::Negate, [value.node; 2], &span),
                };
                Ok(Read { node, span })
            }
            '(' => {
                self.at = span.end;
                let inside = self.expression(0)?;
                let end = self.close(&span)?;
                Ok(Read { node: inside.node, span: span.start..end })
            }
            '0'..='9' | '.' => self.number(span.start),
            c if begins_name(c) => self.name(span.start),
            '²' | '³' => Err(self.error(span, "raised digits are not understood", "write ^2 or ^3")),
            _ => Err(self.error(span, "a value must stand here", "write a number, a name or a parenthesis")),
        }
    }

    fn number(&mut self, start: usize) -> Result<Read, FormulaError> {
        let bytes = self.text.as_bytes();
        let digits = |mut at: usize| {
            while bytes.get(at).is_some_and(u8::is_ascii_digit) {
                at += 1;
            }
            at
        };
        let mut end = digits(start);
        if bytes.get(end) == Some(&b'.') {
            end = digits(end + 1);
        }
        if matches!(bytes.get(end), Some(b'e' | b'E')) {
            let sign = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
            let exponent = digits(end + 1 + sign);
            if exponent > end + 1 + sign {
                end = exponent;
            }
        }
        let span = start..end;
        let Ok(value) = self.text[span.clone()].parse::<f64>() else {
            return Err(self.error(span, "not a number", "write it as 12, 0.5 or 1.5e-6"));
        };
        if !value.is_finite() {
            return Err(self.error(span, "this number is too large", "use a larger unit"));
        }
        if let Some(next) = self.text[end..].chars().next().filter(|c| begins_name(*c) || *c == '.') {
            let hint = match next {
                '.' => "write one decimal point",
                _ => "write * for multiplication",
            };
            return Err(self.error(start..end + next.len_utf8(), "a number runs into what follows it", hint));
        }
        self.at = end;
        Ok(Read { node: self.nodes.add(Node::Constant(value), &span), span })
    }

    fn name(&mut self, start: usize) -> Result<Read, FormulaError> {
        let rest = &self.text[start..];
        let end = start + rest.find(|c| !continues_name(c)).unwrap_or(rest.len());
        let (name, span) = (&self.text[start..end], start..end);
        self.at = end;
        let open = self.peek().filter(|(c, _)| *c == '(').map(|(_, open)| open);
        let called = open.is_some();
        if let Some(function) = function(name) {
            return match open {
                Some(open) => self.call(name, span, open, function),
                None => {
                    Err(self.error(span, &format!("{name} is a function"), &format!("write {name}(...)")))
                }
            };
        }
        let node = match (self.names.iter().position(|n| *n == name), constant(name)) {
            (Some(_), _) | (_, Some(_)) if called => {
                let name = shortened(name.to_owned());
                let hint = format!("write {name} * (...) for multiplication");
                return Err(self.error(span, &format!("{name} is not a function"), &hint));
            }
            (Some(input), _) => Node::Input(input),
            (_, Some(value)) => Node::Constant(value),
            _ => match self.formulas.iter().position(|(formula, _)| *formula == name) {
                Some(place) if !called => {
                    let formula = self.formulas[place].1;
                    let take_over = || self.nodes.take_over(formula.nodes(), &span);
                    return Ok(Read { node: *self.taken.entry(place).or_insert_with(take_over), span });
                }
                _ => return Err(self.unknown(name, span, called)),
            },
        };
        Ok(Read { node: self.nodes.add(node, &span), span })
    }

    fn call(
        &mut self,
        name: &str,
        span: Range<usize>,
        open: Range<usize>,
        (operation, least, most): (Operation, usize, usize),
    ) -> Result<Read, FormulaError> {
        self.at = open.end;
        let mut arguments = vec![self.expression(0)?.node];
        while let Some((',', comma)) = self.peek() {
            self.at = comma.end;
            arguments.push(self.expression(0)?.node);
        }
        let whole = span.start..self.close(&open)?;
        if arguments.len() < least || arguments.len() > most {
            let count = |n: usize| if n == 1 { "1 argument".to_owned() } else { format!("{n} arguments") };
            let (at_least, wanted) = (if most > least { "at least " } else { "" }, count(least));
            let problem = format!("{name} takes {at_least}{wanted}, not {}", arguments.len());
            return Err(self.error(whole, &problem, ""));
        }
        let first = arguments[0];
        let node = match &arguments[1..] {
            [] => self.nodes.apply(operation, [first; 2], &whole),
            others => others.iter().fold(first, |a, b| self.nodes.apply(operation, [a, *b], &whole)),
        };
        Ok(Read { node, span: whole })
    }

    /// Reads the parenthesis that closes the one at `open`; the byte after it.
    fn close(&mut self, open: &Range<usize>) -> Result<usize, FormulaError> {
        match self.peek() {
            Some((')', span)) => {
                self.at = span.end;
                Ok(span.end)
            }
            Some((_, span)) => Err(self.error(span, "an operator or ) must stand before this", "")),
            None => Err(self.error(open.clone(), "this parenthesis is never closed", "add the missing )")),
        }
    }

    /// The next character that is not white space, and its place.
    fn peek(&self) -> Option<(char, Range<usize>)> {
        let rest = &self.text[self.at..];
        let start = self.at + (rest.len() - rest.trim_start().len());
        self.text[start..].chars().next().map(|c| (c, start..start + c.len_utf8()))
    }

    fn unknown(&self, name: &str, span: Range<usize>, called: bool) -> FormulaError {
        let functions = FUNCTIONS.iter().map(|(function, ..)| *function);
        let formulas = self.formulas.iter().map(|(formula, _)| *formula);
        let mut known: Vec<&str> =
            if called { functions.collect() } else { self.names.iter().copied().chain(formulas).collect() };
        // A name that two bear is a fault of its own, and no choice.
        let mut seen = HashSet::new();
        known.retain(|name| seen.insert(*name));
        let name = shortened(name.to_owned());
        let hint = match name.as_str() {
            "log" if called => "write ln for the natural or log10 for the decimal logarithm".to_owned(),
            _ => match nearest(&name, &known) {
                Some(nearest) => format!("did you mean {nearest}?"),
                None if known.is_empty() => "there are no inputs".to_owned(),
                None => format!("there are {}", known.join(", ")),
            },
        };
        let what = if called { "function" } else { "input" };
        self.error(span, &format!("there is no {what} called {name}"), &hint)
    }

    fn error(&self, span: Range<usize>, problem: &str, hint: &str) -> FormulaError {
        FormulaError::new(self.text, span, problem.to_owned(), hint.to_owned())
    }
}

/// The known name that a mistyped one is most likely to stand for: at most a third of its letters differ.
fn nearest<'a>(name: &str, known: &[&'a str]) -> Option<&'a str> {
    let letters = name.chars().count();
    let lower = name.to_lowercase();
    known
        .iter()
        .map(|candidate| (strsim::damerau_levenshtein(&lower, &candidate.to_lowercase()), *candidate))
        .filter(|(distance, _)| 3 * distance <= letters)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// The nodes read so far, equal ones once.
#[derive(Default)]
struct NodeList {
    nodes: Vec<Node>,
    spans: Vec<Range<usize>>,
    known: HashMap<Key, usize>,
}

/// A node, with its constant as bits, so that it can be looked up.
#[derive(PartialEq, Eq, Hash)]
enum Key {
    Constant(u64),
    Input(usize),
    Apply(Operation, [usize; 2]),
}

impl NodeList {
    fn add(&mut self, node: Node, span: &Range<usize>) -> usize {
        let key = match node {
            Node::Constant(value) => Key::Constant(value.to_bits()),
            Node::Input(input) => Key::Input(input),
            Node::Apply(operation, operands) => Key::Apply(operation, operands),
        };
        *self.known.entry(key).or_insert_with(|| {
            self.nodes.push(node);
            self.spans.push(span.clone());
            self.nodes.len() - 1
        })
    }

    /// Adds the nodes of another formula, all at one place of this one; its result.
    fn take_over(&mut self, nodes: &[Node], span: &Range<usize>) -> usize {
        let mut moved: Vec<usize> = Vec::with_capacity(nodes.len());
        for node in nodes {
            moved.push(match *node {
                Node::Apply(operation, operands) => {
                    self.add(Node::Apply(operation, operands.map(|operand| moved[operand])), span)
                }
                node => self.add(node, span),
            });
        }
        moved[moved.len() - 1]
    }

    /// Adds an operation; of constants, its value (unless that is an error, which is for the evaluation to report).
    fn apply(&mut self, operation: Operation, operands: [usize; 2], span: &Range<usize>) -> usize {
        let [a, b] = operands.map(|operand| self.nodes[operand]);
        if let (Node::Constant(a), Node::Constant(b)) = (a, b)
            && let Ok(value) = operation.apply(a, b)
        {
            return self.add(Node::Constant(value), span);
        }
        match (operation, b) {
            (Operation::Power, Node::Constant(exponent)) => self.power(operands, exponent, span),
            _ => self.add(Node::Apply(operation, operands), span),
        }
    }

    /// A power with a constant exponent: by multiplication where the exponent is a small whole number, by a square root
    /// where it is a half; both are many times as fast as a power, and no less exact.
    fn power(&mut self, [base, exponent_node]: [usize; 2], exponent: f64, span: &Range<usize>) -> usize {
        if exponent == 0.5 {
            return self.add(Node::Apply(Operation::Sqrt, [base; 2]), span);
        }
        let whole = exponent.abs() as u8;
        if f64::from(whole) != exponent.abs() || whole == 0 || whole > Operation::LARGEST_WHOLE_POWER {
            return self.add(Node::Apply(Operation::Power, [base, exponent_node]), span);
        }
        let power = match whole {
            1 => base,
            _ => self.add(Node::Apply(Operation::WholePower(whole), [base; 2]), span),
        };
        if exponent > 0.0 {
            return power;
        }
        let one = self.add(Node::Constant(1.0), span);
        self.add(Node::Apply(Operation::Divide, [one, power]), span)
    }

    /// The nodes that `result` uses, itself last.
    fn used_by(self, result: usize) -> Nodes {
        let mut used = vec![false; result + 1];
        used[result] = true;
        for at in (0..=result).rev() {
            if let (true, Node::Apply(_, operands)) = (used[at], self.nodes[at]) {
                operands.iter().for_each(|operand| used[*operand] = true);
            }
        }
        let mut moved = vec![0; result + 1];
        let (mut nodes, mut spans) = (Vec::new(), Vec::new());
        for at in (0..=result).filter(|at| used[*at]) {
            moved[at] = nodes.len();
            nodes.push(match self.nodes[at] {
                Node::Apply(operation, operands) => Node::Apply(operation, operands.map(|o| moved[o])),
                node => node,
            });
            spans.push(self.spans[at].clone());
        }
        (nodes, spans)
    }
}
