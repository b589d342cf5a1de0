//! What is wrong in a setup file, and what to write instead.

use std::{
    collections::{HashMap, HashSet},
    fmt,
};

/// One thing in a setup file that cannot be used.
///
/// Only whoever opened the file knows its name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Where: `stand.feet[2]`. Empty for the file as a whole.
    pub field: String,
    /// What stands there, as written.
    pub found: String,
    /// What has to stand there: "a length from 100 mm to 10 m".
    pub must: String,
    /// What to do, as a command: `write "36 in" or "36 mm"`.
    pub fix: String,
    /// Line and column in the file, counted from 1; none where the fault has no place of its own.
    pub at: Option<Position>,
}

/// A place in a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Position {
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
}

impl Position {
    /// The position of a byte offset in `text`.
    pub(super) fn of(text: &str, offset: usize) -> Self {
        let before = text.get(..offset).unwrap_or(text);
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        Self {
            line: before.bytes().filter(|&byte| byte == b'\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(Position { line, column }) = self.at {
            write!(f, "line {line}, column {column}: ")?;
        }
        let field = if self.field.is_empty() { "the setup" } else { &self.field };
        // A file may quote itself at any length.
        let [field, found, must, fix] =
            [(field, 120), (&self.found, 200), (&self.must, 2000), (&self.fix, 2000)]
                .map(|(text, n)| cut(text, n));
        write!(f, "{field} is {found}, but must be {must}; {fix}")
    }
}

impl std::error::Error for Fault {}

/// Everything that is wrong in a file, in the order of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Faults(pub Vec<Fault>);

impl fmt::Display for Faults {
    /// One fault a line.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let lines: Vec<String> = self.0.iter().map(Fault::to_string).collect();
        f.write_str(&lines.join("\n"))
    }
}

impl std::error::Error for Faults {}

impl std::ops::Deref for Faults {
    type Target = [Fault];

    fn deref(&self) -> &[Fault] {
        &self.0
    }
}

impl IntoIterator for Faults {
    type Item = Fault;
    type IntoIter = std::vec::IntoIter<Fault>;

    fn into_iter(self) -> Self::IntoIter {
        self.0.into_iter()
    }
}

impl From<Vec<Fault>> for Faults {
    fn from(faults: Vec<Fault>) -> Self {
        Self(faults)
    }
}

impl From<Faults> for Vec<Fault> {
    fn from(faults: Faults) -> Self {
        faults.0
    }
}

/// The first `n` characters, on one line and with pictures of what has none: what a file says must not pass for a message of
/// its own, and what nobody sees must be seen.
fn cut(text: &str, n: usize) -> String {
    let shown = |c: char| match u32::from(c) {
        // The Unicode block of control pictures is in their order.
        0..0x20 => char::from_u32(0x2400 + u32::from(c)).unwrap_or(c),
        0x7F => '␡',
        _ if c.is_control() => char::REPLACEMENT_CHARACTER,
        _ => c,
    };
    let mut kept: String = text.chars().take(n).map(shown).collect();
    if text.chars().nth(n).is_some() {
        kept.push('…');
    }
    kept
}

/// Where a field stands; one that nobody wrote is shown where the nearest that holds it begins.
pub(super) fn nearest(positions: &HashMap<String, Position>, mut place: &str) -> Option<Position> {
    loop {
        if let Some(at) = positions.get(place) {
            return Some(*at);
        }
        match place.rfind(['.', '[']) {
            Some(cut) => place = &place[..cut],
            None => return positions.get("").copied(),
        }
    }
}

/// "a, b or c"; what is there twice is offered once.
pub(super) fn listing<T: fmt::Display>(items: impl IntoIterator<Item = T>) -> String {
    let mut seen = HashSet::new();
    let mut items: Vec<String> =
        items.into_iter().map(|item| item.to_string()).filter(|item| seen.insert(item.clone())).collect();
    match items.pop() {
        Some(last) if !items.is_empty() => format!("{} or {last}", items.join(", ")),
        last => last.unwrap_or_default(),
    }
}

/// The one of `known` that `word` most likely stands for, if any is near enough.
pub(super) fn did_you_mean<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let plain = |text: &str| text.to_lowercase().replace(['_', '-', ' '], "");
    known
        .into_iter()
        .map(|candidate| (strsim::jaro_winkler(&plain(word), &plain(candidate)), candidate))
        .filter(|(likeness, _)| *likeness > 0.82)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_there_twice_is_offered_once() {
        assert_eq!(listing(["y", "y"]), "y");
        assert_eq!(listing(["b", "a", "b", "c"]), "b, a or c");
    }
}
