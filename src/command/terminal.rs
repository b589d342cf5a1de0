//! The one way to standard output and standard error: whatever a user's file says, it cannot act on a terminal.

use super::failure::Failure;
use std::io::{self, IsTerminal, Write};

/// Prints to standard output. A reader that has gone away is no failure: it has seen enough.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(harmless(text).as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        outcome => outcome.map_err(Failure::Output),
    }
}

/// Prints a JSON document: what could act on a terminal is written as its number.
pub fn print_json(document: &serde_json::Value) -> Result<(), Failure> {
    let mut text = String::new();
    for c in format!("{document:#}\n").chars() {
        // Outside of strings there are none but line ends, so this stays the same document.
        if acts(c) { text += &format!("\\u{:04x}", u32::from(c)) } else { text.push(c) }
    }
    print(&text)
}

/// Says something on standard error. If nobody can hear it, that changes nothing.
pub fn say(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{}", harmless(text));
}

/// How wide the terminal is; `None` where standard output is a pipe or a file.
pub fn terminal_width() -> Option<usize> {
    const NARROWEST: usize = 60;
    if !io::stdout().is_terminal() {
        return None;
    }
    let columns = terminal_size::terminal_size().map_or(100, |(width, _)| usize::from(width.0));
    Some(columns.clamp(NARROWEST, 160))
}

/// Without characters that could act on a terminal or turn the reading direction of what stands beside them.
fn harmless(text: &str) -> String {
    text.chars().map(|c| if acts(c) { char::REPLACEMENT_CHARACTER } else { c }).collect()
}

fn acts(c: char) -> bool {
    let turns =
        matches!(c, '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}');
    (c.is_control() && !matches!(c, '\n' | '\t')) || turns
}
