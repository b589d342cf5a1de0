//! What of a report is shown while one works: its answer, what belongs to it, and some of its pictures.

use crate::report::{
    chart::curves::Tone,
    page::{Page, Part},
    text::{inert, sentence},
};
use schemars::JsonSchema;
use serde::Serialize;

/// A report's beginning.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Shown {
    /// The answer, sentence by sentence.
    pub answer: Vec<String>,
    /// `within`, `undecided` or `out`, where it is a verdict.
    pub verdict: Option<&'static str>,
    /// What belongs to it, in order.
    pub parts: Vec<ShownPart>,
}

/// A part of it. Texts are as they were typed; `html` and `svg` are inert.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "part", rename_all = "snake_case")]
pub enum ShownPart {
    /// A heading.
    Heading {
        /// The heading.
        text: String,
    },
    /// A paragraph.
    Words {
        /// The paragraph.
        text: String,
    },
    /// A paragraph that warns.
    Caution {
        /// The paragraph.
        text: String,
    },
    /// Short items.
    List {
        /// The items.
        items: Vec<String>,
    },
    /// A table.
    Table {
        /// What it shows.
        caption: String,
        /// The table.
        html: String,
        /// Whether it says what may be done.
        card: bool,
    },
    /// A picture.
    Picture {
        /// What it is called.
        name: String,
        /// The picture.
        svg: String,
        /// What there is to be seen.
        caption: String,
    },
}

impl Shown {
    /// What stands before a report's first heading, what to do next, its cautions, and the pictures of these names.
    pub fn of(page: &Page, pictures: &[&str]) -> Self {
        let mut belongs = true;
        let mut parts = Vec::new();
        for part in &page.parts {
            match part {
                Part::Heading(_) | Part::Overleaf(_) => belongs = false,
                Part::Next(_) => belongs = true,
                _ => {}
            }
            let wanted = match part {
                Part::Picture(figure) => pictures.contains(&figure.file.as_str()),
                Part::Caution(_) => true,
                _ => belongs,
            };
            parts.extend(shown(part).filter(|_| wanted));
        }
        Self {
            answer: page.answer.iter().map(|said| sentence(said)).collect(),
            verdict: page.verdict.map(Tone::name),
            parts,
        }
    }
}

fn shown(part: &Part) -> Option<ShownPart> {
    Some(match part {
        Part::Heading(text) | Part::Next(text) => ShownPart::Heading { text: inert(text) },
        Part::Words(text) => ShownPart::Words { text: sentence(text) },
        Part::Caution(text) => ShownPart::Caution { text: sentence(text) },
        Part::List(items) => ShownPart::List { items: items.iter().map(|item| sentence(item)).collect() },
        Part::Table(table) | Part::Card(table) => ShownPart::Table {
            caption: sentence(&table.caption),
            html: table.html(),
            card: matches!(part, Part::Card(_)),
        },
        Part::Picture(figure) => ShownPart::Picture {
            name: figure.file.clone(),
            svg: figure.svg.to_string(),
            caption: sentence(&figure.caption),
        },
        Part::Overleaf(_) | Part::Appendix(..) | Part::Annexed(_) | Part::Lines(_) => return None,
    })
}

/// What a person adds to a report.
#[derive(Debug, Clone, Copy)]
pub struct Signed<'a> {
    /// The date.
    pub date: &'a str,
    /// Who checked.
    pub checked_by: &'a str,
}

impl<'a> Signed<'a> {
    /// The date, where it is given.
    pub fn date(self) -> Option<&'a str> {
        Some(self.date).filter(|date| !date.trim().is_empty())
    }

    /// The page's document, with the name of who checked in its title block.
    pub fn html(self, mut page: Page) -> String {
        if !self.checked_by.trim().is_empty() {
            page.facts.push(["checked by".into(), self.checked_by.trim().into()]);
        }
        page.html()
    }
}
