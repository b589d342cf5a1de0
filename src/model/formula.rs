//! A formula typed by the user: parsed once, then evaluated a great many times.

use crate::model::jet::Jet;
use crate::model::operation::{Operation, all_finite};
use crate::model::parser;
use nalgebra::DMatrix;
use std::fmt;
use std::ops::Range;

/// A formula in ordinary infix mathematics, such as `l_s + d - l_s*(δα*θ + α_s*δθ)`.
///
/// * numbers: `12`, `0.5`, `1.15e-5`; the constant `pi`; the names of the inputs (letters of any
///   alphabet, `_` and digits, not beginning with a digit);
/// * `+ - * / ^` and parentheses; `^` binds tightest and groups to the right, so `-x^2` is −(x²) and
///   `2^3^2` is 2⁹; `×`, `·` and `−` are understood as well;
/// * `sin cos tan asin acos atan atan2(y, x) sinh cosh tanh exp ln log10 sqrt abs`, in radians, and
///   `min` and `max` of two or more.
///
/// A formula may come from anyone: one longer than [`Formula::LONGEST`] bytes or nested deeper than
/// [`Formula::DEEPEST`] is refused, so neither reading nor evaluating it can exhaust the machine.
#[derive(Debug, Clone)]
pub struct Formula {
    source: String,
    /// Each node comes after the nodes it uses; the last one is the result. Equal ones are kept once.
    nodes: Vec<Node>,
    /// Where in the source each node stands, at its first appearance.
    spans: Vec<Range<usize>>,
    program: Program,
}

/// One value in a formula.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Node {
    Constant(f64),
    /// By its place among the inputs.
    Input(usize),
    /// Of two earlier nodes; one operand alone stands in both places.
    Apply(Operation, [usize; 2]),
}

/// Why a text is not a formula, or why a formula has no value here: what, where, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormulaError {
    /// Bytes of the formula's text.
    pub span: Range<usize>,
    /// Where the span begins, in characters from 1.
    pub column: usize,
    /// What is wrong.
    pub problem: String,
    /// What to write or do instead; may be empty.
    pub hint: String,
}

impl fmt::Display for FormulaError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "column {}: {}", self.column, self.problem)?;
        if self.hint.is_empty() { Ok(()) } else { write!(f, "; {}", self.hint) }
    }
}

impl std::error::Error for FormulaError {}

/// The value of a formula at a point, with the derivatives that the law of propagation needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Expansion {
    /// `f`
    pub value: f64,
    /// `∂f/∂x_i`, one an input.
    pub first: Vec<f64>,
    /// `∂²f/∂x_i∂x_j`, symmetric.
    pub second: DMatrix<f64>,
    /// `∂³f/∂x_i∂x_j²` in row i and column j.
    pub third: DMatrix<f64>,
}

impl Formula {
    /// Longer texts are refused (bytes).
    pub const LONGEST: usize = 4096;
    /// Deeper nested ones are refused (parentheses, signs and powers within one another).
    pub const DEEPEST: usize = 64;

    /// Reads `text`, whose variables are among `names`; input i of this formula is `names[i]`.
    ///
    /// # Errors
    ///
    /// Whatever is wrong with the text first; an unknown name is answered with the most similar one.
    pub fn parse(text: &str, names: &[&str]) -> Result<Self, FormulaError> {
        Self::parse_with(text, names, &[])
    }

    /// The same, where `text` may also use the values of other formulas of the same inputs, by their names.
    ///
    /// # Errors
    ///
    /// As [`Formula::parse`].
    pub fn parse_with(text: &str, names: &[&str], formulas: &[(&str, &Self)]) -> Result<Self, FormulaError> {
        let (nodes, spans) = parser::parse(text, names, formulas)?;
        let program = Program::new(&nodes);
        Ok(Self { source: text.to_owned(), nodes, spans, program })
    }

    /// The text as it was read.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// The values it is made of, each after those it uses, the result last.
    pub(super) fn nodes(&self) -> &[Node] {
        &self.nodes
    }

    /// Whether the result depends on input i.
    pub fn uses(&self, input: usize) -> bool {
        self.nodes.contains(&Node::Input(input))
    }

    /// How fast the result grows where the inputs that are `growing` become large together: as this power of them at most; 0
    /// where it stays bounded or grows as a logarithm does, infinite where it may grow as an exponential. Poles at ordinary
    /// values are not looked for.
    pub fn degree(&self, growing: impl Fn(usize) -> bool) -> f64 {
        let mut degrees: Vec<f64> = Vec::with_capacity(self.nodes.len());
        for node in &self.nodes {
            degrees.push(match *node {
                Node::Input(input) if growing(input) => 1.0,
                Node::Constant(_) | Node::Input(_) => 0.0,
                Node::Apply(Operation::Power, [a, b]) => match self.nodes[b] {
                    Node::Constant(exponent) if exponent > 0.0 => degrees[a] * exponent,
                    Node::Constant(_) => 0.0,
                    _ if degrees[a] == 0.0 && degrees[b] == 0.0 => 0.0,
                    _ => f64::INFINITY,
                },
                Node::Apply(operation, [a, b]) => operation.degree(degrees[a], degrees[b]),
            });
        }
        last(&degrees)
    }

    /// The value at a point.
    ///
    /// # Errors
    ///
    /// The first operation that has no value there, such as the logarithm of a negative number.
    pub fn value(&self, inputs: &[f64]) -> Result<f64, FormulaError> {
        self.values(inputs).map(|values| last(&values))
    }

    /// The value at a point and the exact first derivatives there, one an input; 0 for those that are not `wanted`.
    ///
    /// # Errors
    ///
    /// As [`Formula::value`]; also where a wanted derivative does not exist, such as that of `abs` at 0.
    pub fn gradient(&self, inputs: &[f64], wanted: &[bool]) -> Result<(f64, Vec<f64>), FormulaError> {
        let values = self.values(inputs)?;
        let mut first = vec![0.0; inputs.len()];
        for i in self.wanted(wanted) {
            first[i] = self.jet(&values, i, None, |jet| jet.first().is_finite())?.first();
        }
        Ok((last(&values), first))
    }

    /// The value at a point with the exact derivatives up to the third order that the law of propagation uses; 0 for
    /// those by an input that is not `wanted`.
    ///
    /// # Errors
    ///
    /// As [`Formula::gradient`].
    pub fn expansion(&self, inputs: &[f64], wanted: &[bool]) -> Result<Expansion, FormulaError> {
        let values = self.values(inputs)?;
        let n = inputs.len();
        let mut expansion = Expansion {
            value: last(&values),
            first: vec![0.0; n],
            second: DMatrix::zeros(n, n),
            third: DMatrix::zeros(n, n),
        };
        let sound =
            |jet: &Jet| jet.first().is_finite() && jet.second().is_finite() && jet.third().is_finite();
        for i in self.wanted(wanted) {
            for j in self.wanted(wanted) {
                let jet = self.jet(&values, i, Some(j), sound)?;
                expansion.first[i] = jet.first();
                expansion.second[(i, j)] = jet.second();
                expansion.third[(i, j)] = jet.third();
            }
        }
        Ok(expansion)
    }

    /// The inputs that are wanted and used; the derivatives by the others are 0.
    fn wanted(&self, wanted: &[bool]) -> impl Iterator<Item = usize> {
        (0..wanted.len()).filter(move |i| wanted[*i] && self.uses(*i))
    }

    /// Working memory for [`Formula::evaluate_block`] with blocks of up to `longest` trials.
    pub fn scratch(&self, longest: usize) -> FormulaScratch {
        let mut registers = vec![vec![0.0; longest]; self.program.n_registers];
        for (register, value) in &self.program.constants {
            registers[*register].fill(*value);
        }
        FormulaScratch { registers, point: Vec::new() }
    }

    /// The values of many trials: `inputs[i][t]` is input i in trial t, `out[t]` the result, to the last bit that of
    /// [`Formula::value`], and NaN in those trials where that is an error.
    ///
    /// # Panics
    ///
    /// If an input that is used, or the scratch, is shorter than `out`.
    pub fn evaluate_block(
        &self,
        inputs: &[impl AsRef<[f64]>],
        out: &mut [f64],
        scratch: &mut FormulaScratch,
    ) {
        let n = out.len();
        let mut sound = true;
        for (k, step) in self.program.steps.iter().enumerate() {
            // Taken out, so that it can be written while the others are read; the last step writes the result.
            let mut register = std::mem::take(&mut scratch.registers[step.register]);
            let [a, b] = step.operands.map(|operand| scratch.block(operand, inputs, n));
            let is_last = k + 1 == self.program.steps.len();
            let result = if is_last { &mut *out } else { &mut register[..n] };
            sound &= step.operation.apply_block(a, b, result);
            scratch.registers[step.register] = register;
        }
        if self.program.steps.is_empty() {
            out.copy_from_slice(scratch.block(self.program.result, inputs, n));
        }
        if !(sound && all_finite(out)) {
            for (t, out) in out.iter_mut().enumerate() {
                scratch.point.clear();
                scratch.point.extend(inputs.iter().map(|input| input.as_ref()[t]));
                *out = self.value(&scratch.point).unwrap_or(f64::NAN);
            }
        }
    }

    /// The value of every node.
    fn values(&self, inputs: &[f64]) -> Result<Vec<f64>, FormulaError> {
        let mut values: Vec<f64> = Vec::with_capacity(self.nodes.len());
        for (at, node) in self.nodes.iter().enumerate() {
            values.push(match *node {
                Node::Constant(value) => value,
                Node::Input(input) => inputs[input],
                Node::Apply(operation, [a, b]) => operation
                    .apply(values[a], values[b])
                    .map_err(|problem| self.error(at, problem, "check the estimates and their limits"))?,
            });
        }
        match last(&values).is_finite() {
            true => Ok(values),
            false => Err(self.error(self.nodes.len() - 1, "not a finite number".into(), "")),
        }
    }

    /// The derivatives of the result for the inputs a and b, each intermediate one being `sound`.
    fn jet(
        &self,
        values: &[f64],
        a: usize,
        b: Option<usize>,
        sound: impl Fn(&Jet) -> bool,
    ) -> Result<Jet, FormulaError> {
        let mut jets: Vec<Jet> = Vec::with_capacity(self.nodes.len());
        for (at, node) in self.nodes.iter().enumerate() {
            let jet = match *node {
                Node::Constant(value) => Jet::constant(value),
                Node::Input(input) => Jet::input(values[at], input == a, Some(input) == b),
                Node::Apply(operation, [x, y]) => operation.apply_jet(values[at], &jets[x], &jets[y]),
            };
            if !sound(&jet) {
                let problem = "this has no derivative at the estimates of the inputs".into();
                return Err(self.error(
                    at,
                    problem,
                    "the law of propagation cannot be used here, Monte Carlo can",
                ));
            }
            jets.push(jet);
        }
        Ok(jets[jets.len() - 1])
    }

    pub(super) fn error(&self, node: usize, problem: String, hint: &str) -> FormulaError {
        FormulaError::new(&self.source, self.spans[node].clone(), problem, hint.to_owned())
    }
}

/// The result among the values of the nodes.
fn last(values: &[f64]) -> f64 {
    values[values.len() - 1]
}

impl FormulaError {
    pub(super) fn new(text: &str, span: Range<usize>, problem: String, hint: String) -> Self {
        let column = text[..span.start].chars().count() + 1;
        Self { span, column, problem, hint }
    }
}

/// The nodes that compute something, in order, and the registers where their blocks of values stay while needed.
#[derive(Debug, Clone)]
struct Program {
    steps: Vec<Step>,
    result: Place,
    n_registers: usize,
    /// Registers that hold a constant throughout.
    constants: Vec<(usize, f64)>,
}

#[derive(Debug, Clone, Copy)]
struct Step {
    operation: Operation,
    operands: [Place; 2],
    register: usize,
}

/// Where a block of values is.
#[derive(Debug, Clone, Copy)]
enum Place {
    Input(usize),
    Register(usize),
}

/// Working memory of a formula's evaluation in blocks.
#[derive(Debug, Clone)]
pub struct FormulaScratch {
    registers: Vec<Vec<f64>>,
    point: Vec<f64>,
}

impl FormulaScratch {
    /// The first `n` values at a place.
    fn block<'a>(&'a self, place: Place, inputs: &'a [impl AsRef<[f64]>], n: usize) -> &'a [f64] {
        match place {
            Place::Input(input) => &inputs[input].as_ref()[..n],
            Place::Register(register) => &self.registers[register][..n],
        }
    }
}

impl Program {
    /// Registers are used again after their last use: few of them stay in the fastest cache.
    fn new(nodes: &[Node]) -> Self {
        let mut last_use: Vec<usize> = (0..nodes.len()).collect();
        last_use[nodes.len() - 1] = nodes.len();
        for (at, node) in nodes.iter().enumerate() {
            if let Node::Apply(_, operands) = node {
                operands.iter().for_each(|operand| last_use[*operand] = last_use[*operand].max(at));
            }
        }
        let mut program =
            Self { steps: Vec::new(), result: Place::Input(0), n_registers: 0, constants: Vec::new() };
        let mut free: Vec<usize> = Vec::new();
        let mut places: Vec<Place> = Vec::with_capacity(nodes.len());
        for (at, node) in nodes.iter().enumerate() {
            let place = match *node {
                Node::Input(input) => Place::Input(input),
                Node::Constant(value) => {
                    program.constants.push((program.n_registers, value));
                    program.n_registers += 1;
                    Place::Register(program.n_registers - 1)
                }
                Node::Apply(operation, operands) => {
                    let register = free.pop().unwrap_or_else(|| {
                        program.n_registers += 1;
                        program.n_registers - 1
                    });
                    program.steps.push(Step { operation, operands: operands.map(|o| places[o]), register });
                    for (k, operand) in operands.iter().enumerate() {
                        let again = k == 1 && operands[0] == operands[1];
                        if let (Node::Apply(..), Place::Register(r)) = (nodes[*operand], places[*operand])
                            && last_use[*operand] == at
                            && !again
                        {
                            free.push(r);
                        }
                    }
                    Place::Register(register)
                }
            };
            places.push(place);
        }
        program.result = places[places.len() - 1];
        program
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const NAMES: [&str; 3] = ["x", "y", "δ_1"];

    fn value(text: &str, at: [f64; 3]) -> f64 {
        Formula::parse(text, &NAMES).unwrap().value(&at).unwrap()
    }

    fn refusal(text: &str) -> FormulaError {
        Formula::parse(text, &NAMES).unwrap_err()
    }

    #[test]
    fn mathematics_is_read_as_it_is_written() {
        let at = [3.0, 2.0, 5.0];
        for (text, expected) in [
            ("-x^2", -9.0),
            ("(-x)^2", 9.0),
            ("2^x^y", 512.0),
            ("2^-y", 0.25),
            ("2^-y^2", 0.0625),
            ("x-y-1", 0.0),
            ("x/y/2", 0.75),
            ("x/y*2", 3.0),
            ("-x*-y", 6.0),
            ("x - -y", 5.0),
            ("1 + 2*x^y", 19.0),
            ("x*δ_1+y", 17.0),
            ("x × δ_1 − y · 2", 11.0),
            (" ( x\t+ y )\n* 2 ", 10.0),
            ("1.5e1 + .5 + 5.", 20.5),
            ("2E-1*x", 0.2 * 3.0),
            ("min(x, y, 7) + max(x, y, δ_1)", 7.0),
            ("atan2(0, -1)", std::f64::consts::PI),
            ("π - pi", 0.0),
            ("abs(y - x) + sqrt(x + 1)", 3.0),
            ("log10(1000) + ln(exp(2))", 5.0),
            ("y^-3", 0.125),
            ("x^0", 1.0),
            ("x^1", 3.0),
            ("4^0.5", 2.0),
            ("(x + 1)^0.5", 2.0),
            ("5", 5.0),
            ("δ_1", 5.0),
        ] {
            assert_eq!(value(text, at), expected, "{text}");
        }
    }

    #[test]
    fn a_refusal_says_where_and_what_to_do() {
        for (text, span, column, problem, hint) in [
            ("", 0..0, 1, "there is no formula", "write one"),
            ("x +", 3..3, 4, "ends where a value is needed", ""),
            ("x + δ_2", 4..8, 5, "no input called δ_2", "did you mean δ_1?"),
            ("x + X", 4..5, 5, "no input called X", "did you mean x?"),
            ("q", 0..1, 1, "no input called q", "there are x, y, δ_1"),
            ("δ_1*(x + y", 5..6, 5, "never closed", "missing )"),
            ("x + y)", 5..6, 6, "closes nothing", ""),
            ("2x", 0..2, 1, "runs into", "write *"),
            ("2 x", 2..3, 3, "an operator must stand", "write *"),
            ("x(y)", 0..1, 1, "x is not a function", "x * (...)"),
            ("sinn(x)", 0..4, 1, "no function called sinn", "did you mean sin?"),
            ("log(x)", 0..3, 1, "no function called log", "ln for the natural"),
            ("x*sin", 2..5, 3, "sin is a function", "write sin(...)"),
            ("sin(x, y)", 0..9, 1, "sin takes 1 argument, not 2", ""),
            ("max(x)", 0..6, 1, "max takes at least 2 arguments, not 1", ""),
            ("x**2", 1..3, 2, "**", "^"),
            ("x + 0,5", 5..6, 6, "comma", "0.5"),
            ("x²", 1..3, 2, "an operator must stand", ""),
            ("1e999", 0..5, 1, "too large", ""),
            ("1.2.3", 0..4, 1, "runs into", "one decimal point"),
            ("x + * y", 4..5, 5, "a value must stand here", ""),
            ("x $ y", 2..3, 3, "an operator must stand", ""),
        ] {
            let error = refusal(text);
            assert_eq!((error.span.clone(), error.column), (span, column), "{text}: {error}");
            assert!(error.problem.contains(problem) && error.hint.contains(hint), "{text}: {error}");
        }
    }

    #[test]
    fn size_and_depth_are_bounded() {
        let nested = |n: usize| format!("{}x{}", "(".repeat(n), ")".repeat(n));
        assert!(Formula::parse(&nested(63), &NAMES).is_ok());
        assert!(refusal(&nested(64)).problem.contains("deeper than 64"));
        assert!(refusal(&"-".repeat(4000)).problem.contains("deeper than 64"));
        assert!(refusal(&"x^".repeat(2000)).problem.contains("deeper than 64"));
        let sum = |n: usize| vec!["x"; n].join("+");
        assert_eq!(value(&sum(2048), [0.5, 0.0, 0.0]), 1024.0);
        assert!(refusal(&sum(2049)).problem.contains("4096"));
    }

    #[test]
    fn an_error_offers_a_name_once_and_quotes_no_more_than_can_be_read() {
        let offered = |names: &[&str]| Formula::parse("zz", names).unwrap_err().hint;
        assert_eq!(offered(&["y", "y"]), "there are y");
        assert_eq!(offered(&["y", "a", "y"]), "there are y, a");
        let long = "x".repeat(2000);
        for text in [long.clone(), format!("{long}(1)")] {
            for names in [&["y"][..], &["y", &long]] {
                let Err(error) = Formula::parse(&text, names) else { continue };
                assert!(error.to_string().chars().count() < 300, "{error}");
            }
        }
    }

    #[test]
    fn a_value_that_does_not_exist_is_an_error_with_its_place() {
        for (text, at, span, problem) in [
            ("1 + ln(x - y)", [1.0, 1.2, 0.0], 4..13, "logarithm of -0.19999999999999996"),
            ("y*sqrt(x)", [-2.0, 1.0, 0.0], 2..9, "square root of -2"),
            ("y/(x - 3)", [3.0, 1.0, 0.0], 0..9, "division by zero"),
            ("1/(1/x)", [0.0, 0.0, 0.0], 3..6, "division by zero"),
            ("x^y", [-1.0, 0.5, 0.0], 0..3, "only whole powers"),
            ("x^0.5", [-1.0, 0.5, 0.0], 0..5, "square root of -1"),
            ("x^-2", [0.0, 0.0, 0.0], 0..4, "division by zero"),
            ("asin(x)", [1.1, 0.0, 0.0], 0..7, "from -1 to 1"),
            ("exp(x)", [1000.0, 0.0, 0.0], 0..6, "too large"),
            ("x + 1/0", [1.0, 0.0, 0.0], 4..7, "division by zero"),
            ("atan2(x, y)", [0.0, 0.0, 0.0], 0..11, "direction"),
        ] {
            let formula = Formula::parse(text, &NAMES).unwrap();
            let error = formula.value(&at).unwrap_err();
            assert!(error.span == span && error.problem.contains(problem), "{text}: {error:?}");
        }
    }

    #[test]
    fn a_derivative_that_does_not_exist_is_an_error() {
        for text in ["abs(x)", "sqrt(x)", "max(x, y)", "sqrt(x^2 + y^2)", "x^0.5", "sqrt(x*x)"] {
            let formula = Formula::parse(text, &NAMES).unwrap();
            assert_eq!(formula.value(&[0.0; 3]), Ok(0.0), "{text}");
            assert!(
                formula.gradient(&[0.0; 3], &[true; 3]).unwrap_err().problem.contains("no derivative"),
                "{text}"
            );
        }
        // Not where it does not matter: the kink is in an input that this one does not touch.
        let formula = Formula::parse("y + 0*δ_1", &NAMES).unwrap();
        assert_eq!(formula.gradient(&[0.0; 3], &[true; 3]), Ok((0.0, vec![0.0, 1.0, 0.0])));
        // Nor by one that is not asked for, such as a constant exponent of a negative number.
        let formula = Formula::parse("x^y", &NAMES).unwrap();
        assert_eq!(
            formula.gradient(&[-3.0, 2.0, 0.0], &[true, false, true]),
            Ok((9.0, vec![-6.0, 0.0, 0.0]))
        );
        assert!(formula.gradient(&[-3.0, 2.0, 0.0], &[true; 3]).is_err());
    }

    #[test]
    fn how_fast_a_formula_grows() {
        for (text, degree) in [
            ("x + 3*y", 1.0),
            ("x*x - δ_1", 2.0),
            ("x*y", 1.0),
            ("x*(x + y)", 2.0),
            ("x^3/y", 3.0),
            ("sqrt(abs(x))", 0.5),
            ("y^1.5 + sin(x)*y + ln(x)", 0.0),
            ("atan2(x, y)*3", 0.0),
            ("x^2.5", 2.5),
            ("x^-2", 0.0),
            ("exp(x) - 1", f64::INFINITY),
            ("2^x", f64::INFINITY),
            ("exp(y)*x", 1.0),
        ] {
            let formula = Formula::parse(text, &NAMES).unwrap();
            assert_eq!(formula.degree(|input| input == 0), degree, "{text}");
        }
    }

    /// Derivatives of textbook functions, by hand.
    #[test]
    fn derivatives_are_the_known_ones() {
        let (x, y) = (0.7, 1.3);
        let of =
            |text: &str| Formula::parse(text, &NAMES).unwrap().expansion(&[x, y, 0.0], &[true; 3]).unwrap();
        let close =
            |ours: f64, exact: f64| assert!((ours - exact).abs() <= 4e-15 * exact.abs(), "{ours} {exact}");

        let product = of("x*y^2");
        close(product.first[0], y * y);
        close(product.first[1], 2.0 * x * y);
        close(product.second[(0, 1)], 2.0 * y);
        close(product.second[(1, 1)], 2.0 * x);
        close(product.third[(0, 1)], 2.0);
        close(product.third[(1, 0)], 0.0);

        let ratio = of("x/y");
        close(ratio.first[1], -x / y.powi(2));
        close(ratio.second[(1, 1)], 2.0 * x / y.powi(3));
        close(ratio.third[(0, 1)], 2.0 / y.powi(3));
        close(ratio.third[(1, 1)], -6.0 * x / y.powi(4));

        let power = of("x^y");
        let f = x.powf(y);
        close(power.first[0], y * f / x);
        close(power.first[1], x.ln() * f);
        close(power.second[(0, 1)], f / x * (1.0 + y * x.ln()));
        close(power.third[(0, 1)], f * x.ln() / x * (2.0 + y * x.ln()));

        let angle = of("atan2(y, x)");
        let r2 = x * x + y * y;
        close(angle.value, y.atan2(x));
        close(angle.first[0], -y / r2);
        close(angle.first[1], x / r2);
        close(angle.second[(0, 0)], 2.0 * x * y / (r2 * r2));
        close(angle.second[(0, 1)], (y * y - x * x) / (r2 * r2));
        close(angle.third[(0, 1)], -2.0 * y * (y * y - 3.0 * x * x) / r2.powi(3));
    }

    /// The remainder of the Taylor series falls as h⁴ over a decade, for every function.
    #[test]
    fn every_function_agrees_with_its_taylor_series() {
        for text in [
            "sin(x)",
            "cos(x)",
            "tan(x)",
            "asin(x)",
            "acos(x)",
            "atan(x)",
            "sinh(x)",
            "cosh(x)",
            "tanh(x)",
            "exp(x)",
            "ln(x)",
            "log10(x)",
            "sqrt(x)",
            "abs(-x^3)",
            "x^2.5",
            "x^5",
            "x^-2",
            "1/x",
            "2^x",
            "x^x",
            "atan2(x, 2)",
            "atan2(-1, x - 2)",
            "max(x^4, -1)",
            "min(sin(x), x)",
            "exp(-x^2)/sqrt(1 + x)",
        ] {
            let formula = Formula::parse(text, &["x"]).unwrap();
            for x in [0.31, 0.62] {
                let e = formula.expansion(&[x], &[true]).unwrap();
                let remainder = |h: f64| {
                    let series =
                        e.value + h * (e.first[0] + h * (e.second[(0, 0)] / 2.0 + h * e.third[(0, 0)] / 6.0));
                    (formula.value(&[x + h]).unwrap() - series).abs()
                };
                // A wrong coefficient would let it fall as h³ at most.
                let (far, near) = (remainder(1e-2), remainder(1e-3));
                assert!(far < 1e-4 && near < 2e-4 * far + 1e-14, "{text} at {x}: {far} {near}");
            }
        }
    }

    #[test]
    fn a_block_gives_the_values_one_by_one() {
        let text = "sin(x)*y + sin(x)/(2 + δ_1^2)^3 - x^y*min(δ_1, ln(y)) + atan2(tanh(x), exp(-y))";
        let formula = Formula::parse(text, &NAMES).unwrap();
        let inputs: Vec<Vec<f64>> = [0.3, 0.7, 1.1]
            .iter()
            .map(|step| (0..256).map(|t| 0.01 + (f64::from(t) * step) % 2.0).collect())
            .collect();
        let (mut out, mut scratch) = (vec![0.0; 256], formula.scratch(256));
        // Twice: the second block must not see what the first left behind.
        for n in [256, 100] {
            formula.evaluate_block(&inputs, &mut out[..n], &mut scratch);
            for t in 0..n {
                let point: Vec<f64> = inputs.iter().map(|input| input[t]).collect();
                assert_eq!(formula.value(&point).unwrap().to_bits(), out[t].to_bits());
            }
        }
    }

    #[test]
    fn a_fault_in_a_block_marks_its_trial_only() {
        for text in [
            "ln(x)",
            "atan(1/x)",
            "min(sqrt(x), 2)",
            "exp(-1/x)",
            "tanh(ln(x))",
            "1/(1/x)",
            "0^x",
            "atan2(x, 0)",
        ] {
            let formula = Formula::parse(text, &["x"]).unwrap();
            let inputs = [vec![1.0, 0.0, 2.0, -1.0]];
            let mut out = [0.0; 4];
            formula.evaluate_block(&inputs, &mut out, &mut formula.scratch(4));
            for (x, out) in inputs[0].iter().zip(out) {
                assert_eq!(
                    formula.value(&[*x]).unwrap_or(f64::NAN).to_bits(),
                    out.to_bits(),
                    "{text} at {x}"
                );
            }
            assert!(out[0].is_finite() && out[2].is_finite());
        }
    }

    /// An expression as a tree, with its own value and its text with no more parentheses than needed.
    #[derive(Debug, Clone)]
    enum Tree {
        Number(u16),
        Name(usize),
        Minus(Box<Tree>),
        Infix(char, Box<Tree>, Box<Tree>),
        Call(&'static str, Box<Tree>),
    }

    impl Tree {
        fn value(&self, at: [f64; 3]) -> f64 {
            match self {
                Tree::Number(n) => f64::from(*n) / 8.0,
                Tree::Name(i) => at[*i],
                Tree::Minus(a) => -a.value(at),
                Tree::Infix(c, base, exponent) => {
                    let (a, b) = (base.value(at), exponent.value(at));
                    match c {
                        '+' => a + b,
                        '-' => a - b,
                        '*' => a * b,
                        '/' => a / b,
                        _ if exponent.is_constant() && !base.is_constant() && b == 0.5 => a.sqrt(),
                        _ if exponent.is_constant()
                            && !base.is_constant()
                            && b.fract() == 0.0
                            && b.abs() <= 16.0 =>
                        {
                            let power = (1..b.abs() as u32).fold(a, |power, _| power * a);
                            if b == 0.0 {
                                1.0
                            } else if b > 0.0 {
                                power
                            } else {
                                1.0 / power
                            }
                        }
                        _ => libm::pow(a, b),
                    }
                }
                Tree::Call(name, a) => match *name {
                    "sin" => libm::sin(a.value(at)),
                    "exp" => libm::exp(a.value(at)),
                    _ => a.value(at).abs(),
                },
            }
        }

        fn is_constant(&self) -> bool {
            match self {
                Tree::Number(_) => true,
                Tree::Name(_) => false,
                Tree::Minus(a) | Tree::Call(_, a) => a.is_constant(),
                Tree::Infix(_, a, b) => a.is_constant() && b.is_constant(),
            }
        }

        /// Text, and how tightly it holds together: 1 sums, 2 products, 3 signs, 4 powers, 5 the rest.
        fn text(&self) -> (String, u8) {
            let part = |tree: &Tree, least: u8| {
                let (text, holds) = tree.text();
                if holds < least { format!("({text})") } else { text }
            };
            match self {
                Tree::Number(n) => ((f64::from(*n) / 8.0).to_string(), 5),
                Tree::Name(i) => (NAMES[*i].to_owned(), 5),
                Tree::Minus(a) => (format!("-{}", part(a, 3)), 3),
                Tree::Infix(c @ ('+' | '-'), a, b) => (format!("{} {c} {}", part(a, 1), part(b, 2)), 1),
                Tree::Infix(c @ ('*' | '/'), a, b) => (format!("{}{c}{}", part(a, 2), part(b, 3)), 2),
                Tree::Infix(_, a, b) => (format!("{}^{}", part(a, 5), part(b, 3)), 4),
                Tree::Call(name, a) => (format!("{name}({})", a.text().0), 5),
            }
        }
    }

    fn trees() -> impl Strategy<Value = Tree> {
        let leaf = prop_oneof![(0..64_u16).prop_map(Tree::Number), (0..3_usize).prop_map(Tree::Name)];
        leaf.prop_recursive(6, 40, 2, |inner| {
            prop_oneof![
                inner.clone().prop_map(|a| Tree::Minus(Box::new(a))),
                (prop::sample::select(vec!["sin", "exp", "abs"]), inner.clone())
                    .prop_map(|(name, a)| Tree::Call(name, Box::new(a))),
                (prop::sample::select(vec!['+', '-', '*', '/', '^']), inner.clone(), inner)
                    .prop_map(|(c, a, b)| Tree::Infix(c, Box::new(a), Box::new(b))),
            ]
        })
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,60}") {
            check_total(&text);
        }

        #[test]
        fn any_mixture_of_tokens_is_read_or_refused(
            tokens in prop::collection::vec(prop::sample::select(vec![
                "x", "y", "δ_1", "sin", "max", "pi", "(", ")", "(", ")", ",", "+", "-", "*", "/", "^", "1", "0", "2.5", "1e9", " ", "²", "−",
            ]), 0..40)
        ) {
            check_total(&tokens.concat());
        }

        #[test]
        fn a_formula_means_what_the_tree_means(tree in trees(), at in prop::array::uniform3(0.1..4.0_f64)) {
            let (text, _) = tree.text();
            let formula = Formula::parse(&text, &NAMES).map_err(|e| TestCaseError::fail(format!("{text}: {e}")))?;
            if let Ok(ours) = formula.value(&at) {
                prop_assert_eq!(ours, tree.value(at), "{}", text);
            }
        }
    }

    /// Reads it; an error points inside the text; a formula evaluates, or says why not.
    fn check_total(text: &str) {
        match Formula::parse(text, &NAMES) {
            Err(error) => {
                assert!(text.get(error.span.clone()).is_some(), "{error:?}");
                assert!(error.column <= text.chars().count() + 1);
            }
            Ok(formula) => {
                let at = [1.0, 0.0, -2.0];
                if let Err(error) = formula.value(&at).and_then(|_| formula.expansion(&at, &[true; 3])) {
                    assert!(text.get(error.span.clone()).is_some(), "{error:?}");
                }
            }
        }
    }
}
