//! Text that a user typed, made harmless before it goes anywhere.

use crate::quantity::day::Day;
use textwrap::{Options, WordSeparator, WordSplitter, WrapAlgorithm};

/// The longest text that is kept, in characters: names and titles, not documents.
pub const LONGEST: usize = 300;

/// One line of plain text: what a user typed, without anything that could act on a terminal, a page or
/// the text beside it.
///
/// Control characters (escape sequences among them), line breaks and tabs become spaces, runs of spaces
/// one space. Characters that XML 1.0 (2.2) forbids and those that turn the reading direction of their
/// surroundings (Unicode UAX #9, 2.1 to 2.4) are dropped; right-to-left letters themselves stay. What is
/// longer than [`LONGEST`] ends in an ellipsis. Markup is not touched: escaping is the printer's affair.
pub fn inert(typed: &str) -> String {
    one_line(typed, LONGEST)
}

/// A sentence of ours that may hold what a user typed: made inert as by [`inert`], however long it is.
pub fn sentence(said: &str) -> String {
    one_line(said, usize::MAX)
}

fn one_line(typed: &str, longest: usize) -> String {
    let mut line = String::new();
    let mut length = 0;
    let mut gap = false;
    for c in typed.chars() {
        match c {
            c if c.is_control() || c.is_whitespace() => gap = true,
            '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{200E}' | '\u{200F}' | '\u{061C}' => {}
            '\u{FFFE}' | '\u{FFFF}' | '\u{FEFF}' => {}
            c => {
                if length >= longest {
                    line.push('…');
                    break;
                }
                if gap && !line.is_empty() {
                    line.push(' ');
                    length += 1;
                }
                gap = false;
                line.push(c);
                length += 1;
            }
        }
    }
    line
}

/// Text for the content or a quoted attribute of XML or HTML: inert, and its five special characters as
/// entities.
pub fn escape(typed: &str) -> String {
    with_entities(&inert(typed))
}

/// A whole sentence for the content of a page: as [`escape`], however long it is, and with minus signs set in
/// type.
pub fn escape_sentence(said: &str) -> String {
    let line = sentence(said);
    let mut set = String::new();
    let mut before = ' ';
    let mut rest = line.chars().peekable();
    while let Some(c) = rest.next() {
        let is_minus = c == '-'
            && matches!(before, ' ' | '(')
            && rest.peek().is_some_and(|next| next.is_ascii_digit() || matches!(next, ' ' | '('));
        set.push(if is_minus { '−' } else { c });
        before = c;
    }
    with_entities(&set)
}

/// Content of a page, escaped already, whose dates are not broken at their hyphens, however narrow the column.
pub fn dates_whole(content: &str) -> String {
    let words = content.split(' ').map(|word| match Day::read(word) {
        Some(_) => format!("<span class=\"whole\">{word}</span>"),
        None => word.to_string(),
    });
    words.collect::<Vec<_>>().join(" ")
}

fn with_entities(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// A label with its unit, "spread, µm"; the label alone where there is no unit.
pub fn with_unit(label: &str, unit: &str) -> String {
    if unit.is_empty() { label.to_string() } else { format!("{label}, {unit}") }
}

/// Text in which Markdown finds no markup: its punctuation gets a backslash (CommonMark 2.4), what could
/// begin a tag or an entity becomes an entity.
pub fn markdown(text: &str) -> String {
    without_markup(&inert(text))
}

/// A whole sentence as a paragraph of Markdown: as [`markdown`], however long it is, and no list even if it begins
/// like one.
pub fn markdown_sentence(said: &str) -> String {
    let text = without_markup(&sentence(said));
    let number = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(0);
    let mark = if text.starts_with(['-', '+', '=']) { Some(0) } else { (number > 0).then_some(number) };
    match mark.filter(|&at| at == 0 || text[at..].starts_with(['.', ')'])) {
        Some(at) => format!("{}\\{}", &text[..at], &text[at..]),
        None => text,
    }
}

fn without_markup(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '~' | '#' | '!' | '$' => out.extend(['\\', c]),
            c => out.push(c),
        }
    }
    out
}

/// A paragraph broken between words into lines of at most `width` columns; unbroken without a width.
pub fn fill(paragraph: &str, width: Option<usize>) -> String {
    let Some(width) = width else { return paragraph.to_string() };
    let options = Options::new(width).break_words(false).wrap_algorithm(WrapAlgorithm::FirstFit);
    let whole = options.word_separator(WordSeparator::AsciiSpace).word_splitter(WordSplitter::NoHyphenation);
    textwrap::fill(paragraph, whole)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_date_is_not_broken() {
        let whole = |date| format!("<span class=\"whole\">{date}</span>");
        assert_eq!(dates_whole("2025-03-24 shop check"), format!("{} shop check", whole("2025-03-24")));
        assert_eq!(
            dates_whole("due 2025-03-24, a-b &lt;2025-03-24&gt;"),
            format!("due {} a-b &lt;2025-03-24&gt;", whole("2025-03-24,"))
        );
    }

    #[test]
    fn controls_become_one_space() {
        assert_eq!(inert("  a\r\n\tb\u{1b}[31mc\u{9b}d\0  "), "a b [31mc d");
        assert_eq!(inert("\n"), "");
    }

    #[test]
    fn direction_marks_go_and_letters_stay() {
        assert_eq!(inert("שלום \u{202e}abc\u{2066}"), "שלום abc");
    }

    #[test]
    fn long_text_is_cut() {
        let cut = inert(&"ab ".repeat(1000));
        assert!(cut.ends_with('…'));
        assert!((LONGEST..=LONGEST + 2).contains(&cut.chars().count()));
        assert_eq!(inert(&"x".repeat(LONGEST)).chars().count(), LONGEST);
    }

    #[test]
    fn sentences_are_not_cut() {
        let long = "word ".repeat(200);
        assert_eq!(escape_sentence(&long), long.trim_end());
        assert_eq!(markdown_sentence(&long), long.trim_end());
    }

    #[test]
    fn sentences_get_their_minus_signs() {
        assert_eq!(escape_sentence("-(3 - 2) = -1"), "−(3 − 2) = −1");
        assert_eq!(
            escape_sentence("from -0.5 (-2 to 3), ISO 14253-1, a-b"),
            "from −0.5 (−2 to 3), ISO 14253-1, a-b"
        );
    }

    #[test]
    fn no_sentence_begins_a_list() {
        assert_eq!(markdown_sentence("- a"), "\\- a");
        assert_eq!(markdown_sentence("12. a"), "12\\. a");
        assert_eq!(markdown_sentence("12 a."), "12 a.");
        assert_eq!(markdown_sentence("==="), "\\===");
    }

    #[test]
    fn markup_is_escaped() {
        assert_eq!(escape("<b a=\"1\">'&]]>"), "&lt;b a=&quot;1&quot;&gt;&#39;&amp;]]&gt;");
    }
}
