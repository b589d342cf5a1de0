//! A JSON text as a tree that remembers where everything stands.

use super::fault::{Fault, Position};
use super::file_text::unmarked;
use jsonc_parser::{ParseOptions, ast, common::Ranged};
use serde_json::{Map, Value};
use std::collections::HashMap;

/// Longest setup text, in bytes.
const LONGEST: usize = 1 << 20;
/// Deepest nesting of objects and lists.
const DEEPEST: usize = 32;

/// One value of the text, or one that was put in where nothing was written.
#[derive(Debug, Clone)]
pub struct Node {
    /// What it is.
    pub content: Content,
    /// Where it stands; none for a value that was not written.
    pub at: Option<Position>,
}

/// What a [`Node`] holds.
#[derive(Debug, Clone)]
pub enum Content {
    /// `null`.
    Null,
    /// `true`, `false`.
    Flag(bool),
    /// A number, and its digits as written.
    Number(f64, String),
    /// A string.
    Text(String),
    /// A list.
    List(Vec<Node>),
    /// An object, its members in the order written.
    Record(Vec<Member>),
}

/// A member of an object.
#[derive(Debug, Clone)]
pub struct Member {
    /// Its name.
    pub name: String,
    /// Where the name stands.
    pub at: Option<Position>,
    /// Its value.
    pub node: Node,
}

impl Node {
    /// Reads a strict JSON text.
    pub fn parse(text: &str) -> Result<Self, Vec<Fault>> {
        let whole = |found: String, must: &str, fix: &str, at| {
            vec![Fault { field: String::new(), found, must: must.into(), fix: fix.into(), at }]
        };
        if text.len() > LONGEST {
            let found = format!("{} bytes long", text.len());
            return Err(whole(found, "at most 1 MB long", "write a shorter file", None));
        }
        if let Some(offset) = too_deep(text) {
            let at = Some(Position::of(text, offset));
            let found = format!("nested more than {DEEPEST} levels deep");
            return Err(whole(found, "a few levels deep", "close a bracket before you open the next", at));
        }
        if let Some(offset) = raw_control_character(text) {
            let at = Some(Position::of(text, offset));
            let found = "a tab, line end or other control character inside a text".into();
            return Err(whole(
                found,
                "strict JSON",
                "write \\t or \\n for it, or close the quotes before it",
                at,
            ));
        }
        let options = ParseOptions {
            allow_comments: false,
            allow_loose_object_property_names: false,
            allow_trailing_commas: false,
            allow_missing_commas: false,
            allow_single_quoted_strings: false,
            allow_hexadecimal_numbers: false,
            allow_unary_plus_numbers: false,
            allow_bare_decimal_point_numbers: false,
            allow_non_finite_numbers: false,
            allow_extended_string_escapes: false,
        };
        let text = unmarked(text);
        match jsonc_parser::parse_to_ast(text, &Default::default(), &options) {
            Ok(result) => match result.value {
                Some(value) => {
                    let mut reader =
                        Reader { lines: Lines::of(text), path: String::new(), faults: Vec::new() };
                    let node = reader.node(value);
                    if reader.faults.is_empty() { Ok(node) } else { Err(reader.faults) }
                }
                None => Err(whole(
                    "empty".into(),
                    "a JSON object",
                    "run `howflat new` for a file to begin with",
                    Some(Position { line: 1, column: 1 }),
                )),
            },
            Err(error) => {
                let at = Some(Position::of(text, error.range().start));
                let said = error.kind().to_string();
                let said = said.strip_suffix('.').unwrap_or(&said).to_lowercase();
                Err(whole(
                    format!("not JSON here ({said})"),
                    "strict JSON: names and texts in double quotes, a comma between members and none after the last, no comments",
                    "mend the text at this place or just before it",
                    at,
                ))
            }
        }
    }

    /// A value that nobody wrote.
    pub fn unwritten(value: &Value) -> Self {
        let content = match value {
            Value::Null => Content::Null,
            Value::Bool(flag) => Content::Flag(*flag),
            Value::Number(number) => Content::Number(number.as_f64().unwrap_or(f64::NAN), number.to_string()),
            Value::String(text) => Content::Text(text.clone()),
            Value::Array(items) => Content::List(items.iter().map(Self::unwritten).collect()),
            Value::Object(members) => Content::Record(
                members
                    .iter()
                    .map(|(name, value)| Member {
                        name: name.clone(),
                        at: None,
                        node: Self::unwritten(value),
                    })
                    .collect(),
            ),
        };
        Self { content, at: None }
    }

    /// The value as JSON, the members of objects in alphabetical order: the same for two texts that
    /// say the same.
    pub fn canonical(&self) -> Value {
        match &self.content {
            Content::Null => Value::Null,
            Content::Flag(flag) => Value::Bool(*flag),
            Content::Number(number, _) => Value::from(*number),
            Content::Text(text) => Value::String(text.clone()),
            Content::List(items) => items.iter().map(Self::canonical).collect(),
            Content::Record(members) => {
                let mut members: Vec<&Member> = members.iter().collect();
                members.sort_by(|a, b| a.name.cmp(&b.name));
                let members =
                    members.into_iter().map(|member| (member.name.clone(), member.node.canonical()));
                Value::Object(members.collect::<Map<_, _>>())
            }
        }
    }

    /// Where every value stands, by its path: `stand.feet[2]`.
    pub fn positions(&self) -> HashMap<String, Position> {
        let mut positions = HashMap::new();
        self.note_positions("", &mut positions);
        positions
    }

    fn note_positions(&self, path: &str, positions: &mut HashMap<String, Position>) {
        positions.extend(self.at.map(|at| (path.to_owned(), at)));
        match &self.content {
            Content::List(items) => {
                for (index, item) in items.iter().enumerate() {
                    item.note_positions(&format!("{path}[{index}]"), positions);
                }
            }
            Content::Record(members) => {
                let dot = if path.is_empty() { "" } else { "." };
                for member in members {
                    member.node.note_positions(&format!("{path}{dot}{}", member.name), positions);
                }
            }
            _ => {}
        }
    }

    /// As it would be shown in a message: short, on one line.
    pub fn shown(&self) -> String {
        let text = match &self.content {
            Content::Number(_, digits) => digits.clone(),
            _ => self.canonical().to_string(),
        };
        match text.char_indices().nth(80) {
            Some((cut, _)) => format!("{}…", &text[..cut]),
            None => text,
        }
    }
}

/// Offset of the first bracket that opens too many levels.
fn too_deep(text: &str) -> Option<usize> {
    let (mut depth, mut in_text, mut escaped) = (0_usize, false, false);
    for (offset, byte) in text.bytes().enumerate() {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if in_text => escaped = true,
            b'"' => in_text = !in_text,
            b'{' | b'[' if !in_text => {
                depth += 1;
                if depth > DEEPEST {
                    return Some(offset);
                }
            }
            b'}' | b']' if !in_text => depth = depth.saturating_sub(1),
            _ => {}
        }
    }
    None
}

/// Offset of the first control character that stands inside a string as it is.
fn raw_control_character(text: &str) -> Option<usize> {
    let (mut in_text, mut escaped) = (false, false);
    for (offset, byte) in text.bytes().enumerate() {
        match byte {
            0..0x20 if in_text => return Some(offset),
            _ if escaped => escaped = false,
            b'\\' if in_text => escaped = true,
            b'"' => in_text = !in_text,
            _ => {}
        }
    }
    None
}

/// Where lines begin, and the place found last, so that a file of many values is not searched from its start, nor a long
/// line from its own, for each.
struct Lines<'a> {
    text: &'a str,
    starts: Vec<usize>,
    last: (usize, Position),
}

impl<'a> Lines<'a> {
    fn of(text: &'a str) -> Self {
        let newlines =
            text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(offset, _)| offset + 1);
        let last = (0, Position { line: 1, column: 1 });
        Self { text, starts: std::iter::once(0).chain(newlines).collect(), last }
    }

    fn position(&mut self, offset: usize) -> Position {
        let line = self.starts.partition_point(|&start| start <= offset);
        let (known, at) = self.last;
        let (start, column) = if at.line == line && known <= offset {
            (known, at.column)
        } else {
            (self.starts.get(line.wrapping_sub(1)).copied().unwrap_or(0), 1)
        };
        let column = column + self.text.get(start..offset).map_or(0, |before| before.chars().count());
        let position = Position { line, column };
        self.last = (offset, position);
        position
    }
}

struct Reader<'a> {
    lines: Lines<'a>,
    path: String,
    faults: Vec<Fault>,
}

impl Reader<'_> {
    fn node(&mut self, value: ast::Value) -> Node {
        let at = Some(self.lines.position(value.range().start));
        let content = match value {
            ast::Value::NullKeyword(_) => Content::Null,
            ast::Value::BooleanLit(flag) => Content::Flag(flag.value),
            ast::Value::NumberLit(number) => {
                Content::Number(number.value.parse().unwrap_or(f64::NAN), number.value.into())
            }
            ast::Value::StringLit(text) => Content::Text(text.value.into_owned()),
            ast::Value::Array(list) => {
                let items = list.elements.into_iter().enumerate();
                Content::List(items.map(|(index, item)| self.within(&format!("[{index}]"), item)).collect())
            }
            ast::Value::Object(record) => {
                let mut members: Vec<Member> = Vec::new();
                let mut lines = HashMap::new();
                for property in record.properties {
                    let at = Some(self.lines.position(property.range.start));
                    let name = property.name.into_string();
                    let step = if self.path.is_empty() { name.clone() } else { format!(".{name}") };
                    if let Some(line) = lines.insert(name.clone(), at.map_or(0, |at| at.line)) {
                        self.faults.push(Fault {
                            field: format!("{}{step}", self.path),
                            found: "written twice".into(),
                            must: "written once".into(),
                            fix: format!("keep this one or the one on line {line}"),
                            at,
                        });
                    }
                    let node = self.within(&step, property.value);
                    members.push(Member { name, at, node });
                }
                Content::Record(members)
            }
        };
        Node { content, at }
    }

    fn within(&mut self, step: &str, value: ast::Value) -> Node {
        let length = self.path.len();
        self.path.push_str(step);
        let node = self.node(value);
        self.path.truncate(length);
        node
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A file that a program wrote, all on one line; counting columns from its start for each value takes minutes.
    #[test]
    fn one_long_line_is_linear() {
        let text = format!("[{}1]", "1,".repeat((LONGEST - 3) / 2));
        let begun = std::time::Instant::now();
        let node = Node::parse(&text).unwrap();
        let Content::List(items) = &node.content else { panic!("a list") };
        let last = items.last().and_then(|item| item.at);
        assert_eq!(last, Some(Position { line: 1, column: text.len() - 1 }));
        assert!(begun.elapsed().as_secs() < 20, "{:?}", begun.elapsed());
    }
}
