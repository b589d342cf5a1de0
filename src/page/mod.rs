//! The page for the person at the plate: what it asks, what it is answered, and what a browser is given.
//!
//! [`answer`] is all there is between page and engine: a question in, an answer out, both JSON. It knows no file, clock or web,
//! so it runs in the program that serves the page and inside a browser alike, and gives the same numbers in both.
//!
//! | question | answer |
//! |---|---|
//! | [`Question::Fields`] | every field of a setup: what it means, its default, unit, limits and source |
//! | [`Question::Bench`] | a setup, checked: its faults by field, or the plate, the stand and the walk through the readings |
//! | [`Question::Open`] | a readings file as rows of the walk, or its faults by line |
//! | [`Question::Look`] | whether what was typed can be read, and be meant; the readings file that it is |
//! | [`Question::Check`] | how far such a check can be from the truth |
//! | [`Question::Judge`] | what the readings so far say, and what to read next |
//! | [`Question::Report`] | the report of the command, as one page of HTML |
//! | [`Question::Lesson`] | the stand from the side, over a dip and over a bow |
//!
//! [`document()`] is the page itself. The script, the sheet and the worker stand beside this file.

mod bench;
mod check;
mod document;
#[cfg(target_arch = "wasm32")]
mod exports;
mod fields;
mod lesson;
mod question;
mod shown;
mod typed;
mod verdict;

pub use document::{Engine, document};
pub use question::{About, Draws, Question, Typed};

use crate::setup::{Fault, Faults};
use schemars::JsonSchema;
use serde::Serialize;

/// Most bytes of a question. A setup may have 1 MB, and so may each file that it names.
pub const LONGEST_QUESTION: usize = 4 << 20;

/// What is answered.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[serde(tag = "answer", rename_all = "snake_case")]
pub enum Answer {
    /// To [`Question::Fields`].
    Fields(fields::FieldsAnswer),
    /// To [`Question::Bench`].
    Bench(Box<bench::BenchAnswer>),
    /// To [`Question::Open`].
    Opened(typed::OpenedAnswer),
    /// To [`Question::Look`].
    Looked(typed::LookedAnswer),
    /// To [`Question::Check`].
    Check(Box<check::CheckAnswer>),
    /// To [`Question::Judge`].
    Judged(Box<verdict::JudgedAnswer>),
    /// To [`Question::Report`]: a document that stands alone.
    Report {
        /// The document.
        html: String,
    },
    /// To [`Question::Lesson`].
    Lesson(Box<lesson::LessonAnswer>),
    /// To a question that cannot be answered as it is.
    Refused(Refusal),
}

/// Why there is no answer.
#[derive(Debug, Clone, Default, PartialEq, Serialize, JsonSchema)]
pub struct Refusal {
    /// What is wrong, in words.
    pub said: String,
    /// The faults, where they are those of a file.
    pub faults: Vec<FaultDocument>,
}

/// A fault of a setup or of readings.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FaultDocument {
    /// The field: `stand.feet.front_apart`, or a column of the readings.
    pub field: String,
    /// All of it in a line.
    pub said: String,
    /// What must stand there, and what to write.
    pub must: String,
    /// The line of the file, from 1.
    pub line: Option<usize>,
    /// The row of what was typed, from 0, where it is one.
    pub row: Option<usize>,
}

impl FaultDocument {
    fn new(fault: &Fault) -> Self {
        Self {
            field: fault.field.clone(),
            said: fault.to_string(),
            must: format!("must be {}; {}", fault.must, fault.fix),
            line: fault.at.map(|at| at.line),
            row: None,
        }
    }
}

impl From<Faults> for Refusal {
    fn from(faults: Faults) -> Self {
        Self { said: faults.to_string(), faults: faults.iter().map(FaultDocument::new).collect() }
    }
}

impl From<String> for Refusal {
    fn from(said: String) -> Self {
        Self { said, faults: Vec::new() }
    }
}

/// Answers a question: JSON in, JSON out.
///
/// Never fails: what cannot be answered is refused in words ([`Answer::Refused`]). The same question has the same answer, to the last
/// digit.
pub fn answer(question: &str) -> String {
    answer_between(question, &|| {})
}

/// [`answer`], with `between` called now and then during long work, from any thread. It may unwind, and then nothing is answered: so
/// whoever has been asked something else in the meantime gives up.
pub fn answer_between(question: &str, between: &(dyn Fn() + Sync)) -> String {
    let answer = answer_typed(question, between).unwrap_or_else(Answer::Refused);
    // An answer's fields are names, numbers and texts, which always make JSON.
    serde_json::to_string(&answer).unwrap_or_default()
}

fn answer_typed(question: &str, between: &(dyn Fn() + Sync)) -> Result<Answer, Refusal> {
    if question.len() > LONGEST_QUESTION {
        return Err(
            format!("a question of {} bytes; at most {LONGEST_QUESTION} are read", question.len()).into()
        );
    }
    let question: Question =
        serde_json::from_str(question).map_err(|error| format!("not a question: {error}"))?;
    match question {
        Question::Fields => Ok(Answer::Fields(fields::fields())),
        Question::Bench { about } => bench::bench(&about).map(|answer| Answer::Bench(Box::new(answer))),
        Question::Open { about, file } => typed::open(&about, &file).map(Answer::Opened),
        Question::Look { about, readings } => typed::look(&about, &readings).map(Answer::Looked),
        Question::Check { about, n_trials } => {
            check::check(&about, n_trials, between).map(|answer| Answer::Check(Box::new(answer)))
        }
        Question::Judge { about, readings, draws } => {
            verdict::judge(&about, &readings, draws, between).map(|answer| Answer::Judged(Box::new(answer)))
        }
        Question::Report { about, readings, n_trials, date, checked_by } => {
            let facts = shown::Signed { date: &date, checked_by: &checked_by };
            let html = match readings {
                Some(readings) => verdict::report(&about, &readings, facts, between),
                None => check::report(&about, n_trials.unwrap_or(check::FIRST_TRIALS), facts, between),
            };
            html.map(|html| Answer::Report { html })
        }
        Question::Lesson { about, depth, reach, at, bow } => {
            let asked = lesson::Asked { depth, reach, at, bow };
            lesson::lesson(&about, asked).map(|answer| Answer::Lesson(Box::new(answer)))
        }
    }
}
