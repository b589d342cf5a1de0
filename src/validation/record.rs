//! The validation record: what was checked, what came of it, when, where and with which version.

use super::coverage::{CoverageCheck, coverage_checks};
use super::examples::{Example, Outcome, examples};
use crate::report::{
    Report,
    chart::curves::Tone,
    number::{Digits, full, rounded},
    page::{Page, Part},
    table::{Cell, Column, Table},
};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// Why a laboratory keeps such a record.
const STANDARD: &str = "ISO/IEC 17025:2017, 7.11.2 asks a laboratory to validate its software before use, and again when it or \
                        the machine changes: keep this record with that of your method.";

/// What came of a whole validation.
#[derive(Debug, Clone)]
pub struct ValidationRecord {
    /// When it was run, as whoever ran it writes it: the library knows no clock.
    pub date: String,
    /// On which machine, likewise.
    pub machine: String,
    /// Trials of each example that needs some.
    pub n_trials: u64,
    /// Seed of all random numbers.
    pub seed: u64,
    /// The published examples, each with what came of its numbers.
    pub examples: Vec<(Example, Vec<Outcome>)>,
    /// The checks of the simulator.
    pub coverage: Vec<CoverageCheck>,
}

impl ValidationRecord {
    /// Runs everything. `on_progress` is told the parts done, of [`n_parts`](Self::n_parts).
    ///
    /// # Errors
    ///
    /// If an embedded file cannot be read or evaluated, which would be a mistake of ours.
    pub fn run(
        date: String,
        machine: String,
        n_trials: u64,
        seed: u64,
        on_progress: &dyn Fn(u64),
    ) -> Result<Self, String> {
        let mut outcomes = Vec::new();
        for example in examples().map_err(|error| error.to_string())? {
            let outcome = example.run(n_trials, seed).map_err(|why| format!("{}: {why}", example.id))?;
            outcomes.push((example, outcome));
            on_progress(1);
        }
        let coverage = coverage_checks(n_trials, seed)?;
        on_progress(1);
        Ok(Self { date, machine, n_trials, seed, examples: outcomes, coverage })
    }

    /// How many parts a run has.
    pub fn n_parts() -> u64 {
        examples().map_or(0, |examples| examples.len() as u64) + 1
    }

    /// Whether everything agrees.
    pub fn agrees(&self) -> bool {
        self.n_failed() == 0
    }

    fn outcomes(&self) -> impl Iterator<Item = &Outcome> {
        self.examples.iter().flat_map(|(_, outcomes)| outcomes)
    }

    fn n_failed(&self) -> usize {
        self.outcomes().filter(|outcome| !outcome.agrees).count()
            + self.coverage.iter().filter(|check| !check.agrees()).count()
    }

    /// The verdict, in a sentence.
    pub fn answer(&self) -> String {
        let n_outcomes = self.outcomes().count();
        let (n_examples, n_checks) = (self.examples.len(), self.coverage.len());
        match self.n_failed() {
            0 => format!(
                "howflat {} passes on this machine: {n_outcomes} numbers of {n_examples} published examples and {n_checks} checks of \
                 the simulator agree.",
                crate::VERSION
            ),
            n => format!(
                "howflat {} FAILS on this machine: {n} of {} numbers and checks disagree. Do not use its results; please \
                 report this record.",
                crate::VERSION,
                n_outcomes + n_checks
            ),
        }
    }

    /// A row an example.
    fn summary(&self) -> Table {
        let n_agree = |outcomes: &[Outcome]| outcomes.iter().filter(|outcome| outcome.agrees).count();
        Table::of("Published examples", &self.examples)
            .text("example", |(example, _)| example.id.as_str())
            .text("source", |(example, _)| format!("{}, {}", example.source.document, example.source.place))
            .count("numbers", |(_, outcomes)| outcomes.len())
            .count("agree", |(_, outcomes)| n_agree(outcomes))
            .text("verdict", |(_, outcomes)| verdict(n_agree(outcomes) == outcomes.len()))
            .table()
    }

    /// The examples, number by number, as far as they are wanted.
    fn numbers(&self, caption: &str, is_wanted: impl Fn(&Outcome) -> bool) -> Table {
        let numbers = self.examples.iter().flat_map(|(example, outcomes)| {
            outcomes.iter().filter(|outcome| is_wanted(outcome)).map(move |outcome| (example, outcome))
        });
        Table::of(caption, numbers)
            .text("example", |(example, _)| example.id.as_str())
            .text("clause", |(example, _)| example.source.place.as_str())
            .text("quantity", |(_, outcome)| outcome.name.as_str())
            .text("unit", |(_, outcome)| if outcome.unit == "1" { "" } else { &outcome.unit })
            .column(Column::numbers("published", ""), |(_, outcome)| {
                outcome.published.as_deref().map_or(Cell::Empty, Cell::from)
            })
            .column(Column::numbers("recomputed", ""), |(_, outcome)| value(&outcome.recomputed))
            .column(Column::numbers("ours", ""), |(_, outcome)| value(&outcome.found))
            .number("tolerance", "", Digits::Significant(2), |(_, outcome)| outcome.tolerance)
            .text("verdict", |(_, outcome)| verdict(outcome.agrees))
            .table()
    }

    /// Every number of the examples.
    fn every_number(&self) -> Table {
        self.numbers("Published examples; recomputed is by another route, at full precision", |_| true)
    }

    /// The checks of the simulator.
    fn simulator(&self) -> Table {
        Table::of("The simulator: measurements whose truth is known, repeated", &self.coverage)
            .text("check", |check| check.name.as_str())
            .count("repeats", |check| check.n_repeats as usize)
            .number("expected", "", Digits::Decimals(4), |check| check.expected)
            .number("found", "", Digits::Decimals(4), |check| check.found)
            .number("tolerance", "", Digits::Decimals(4), |check| check.tolerance)
            .text("source", |check| check.source.as_str())
            .text("verdict", |check| verdict(check.agrees()))
            .table()
    }

    /// Where a print differs from what full precision gives, and why.
    fn notes(&self) -> Vec<String> {
        let noted = self.examples.iter().flat_map(|(example, outcomes)| {
            outcomes.iter().filter_map(move |outcome| Some((example, outcome, outcome.note.as_ref()?)))
        });
        noted
            .map(|(example, outcome, note)| {
                let published = outcome.published.as_deref().unwrap_or("-");
                format!("{}, {}, published as {published}: {note}.", example.id, outcome.name)
            })
            .collect()
    }
}

impl Report for ValidationRecord {
    type Document = RecordDocument;

    fn page(&self) -> Page {
        let disagreeing = self.numbers("Numbers that disagree", |outcome| !outcome.agrees);
        let disagreeing = Some(disagreeing).filter(|table| !table.rows.is_empty());
        let mut parts = vec![Part::Words(STANDARD.into())];
        parts.extend(disagreeing.map(Part::Table));
        parts.extend([
            Part::Next("What was checked".into()),
            Part::Table(self.summary()),
            Part::Table(self.simulator()),
            Part::heading("Number by number"),
            Part::Table(self.every_number()),
            Part::List(self.notes()),
        ]);
        Page {
            kind: "Validation record".into(),
            title: format!("howflat {} on this machine", crate::VERSION),
            facts: vec![
                ["date".into(), self.date.clone()],
                ["machine".into(), self.machine.clone()],
                ["trials".into(), self.n_trials.to_string()],
                ["seed".into(), self.seed.to_string()],
            ],
            answer: vec![self.answer()],
            verdict: Some(if self.agrees() { Tone::Within } else { Tone::Out }),
            parts,
            provenance: format!(
                "howflat {}, run on {} on {}; seed {}, {} trials.",
                crate::VERSION,
                self.date,
                self.machine,
                self.seed,
                self.n_trials
            ),
            for_signature: true,
            ..Page::default()
        }
    }

    fn document(&self) -> RecordDocument {
        RecordDocument {
            agrees: self.agrees(),
            answer: self.answer(),
            version: crate::VERSION.into(),
            date: self.date.clone(),
            machine: self.machine.clone(),
            standard: "ISO/IEC 17025:2017, 7.11.2".into(),
            trials: self.n_trials,
            seed: self.seed,
            examples: self.examples.iter().map(ExampleDocument::from).collect(),
            simulator: self
                .coverage
                .iter()
                .map(|check| CheckDocument { check: check.clone(), agrees: check.agrees() })
                .collect(),
        }
    }

    fn tables(&self) -> Vec<(String, Table)> {
        vec![("examples".into(), self.every_number()), ("simulator".into(), self.simulator())]
    }

    fn in_pixels(&self, _: &str) -> bool {
        false
    }
}

fn verdict(agrees: bool) -> &'static str {
    if agrees { "agrees" } else { "DISAGREES" }
}

/// A number to ten digits, a text or a verdict.
fn value(value: &Value) -> Cell {
    match value {
        Value::Number(number) => {
            // Ten significant digits, and no zeros behind them.
            Cell::Text(full(rounded(number.as_f64().unwrap_or(f64::NAN), 10)))
        }
        Value::Bool(true) => Cell::from("yes"),
        Value::Bool(false) => Cell::from("no"),
        Value::String(text) => Cell::from(text.as_str()),
        _ => Cell::Empty,
    }
}

/// A record of a validation of the program on one machine.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat validate")]
pub struct RecordDocument {
    /// Whether everything agrees.
    agrees: bool,
    /// The verdict, in a sentence.
    answer: String,
    /// Version of the program.
    version: String,
    /// When it was run.
    date: String,
    /// On which machine.
    machine: String,
    /// What asks for such a record.
    standard: String,
    /// Trials of each example that needs some.
    trials: u64,
    /// Seed of all random numbers.
    seed: u64,
    /// The published examples.
    examples: Vec<ExampleDocument>,
    /// The checks of the simulator.
    simulator: Vec<CheckDocument>,
}

/// A published example.
#[derive(Debug, Serialize, JsonSchema)]
struct ExampleDocument {
    /// What it is called.
    id: String,
    /// The document it was published in.
    document: String,
    /// Clause or table.
    clause: String,
    /// What is measured.
    statement: String,
    /// Where the figures were taken from.
    provenance: String,
    /// Whether all its numbers agree.
    agrees: bool,
    /// Its numbers.
    numbers: Vec<Outcome>,
}

impl From<&(Example, Vec<Outcome>)> for ExampleDocument {
    fn from((example, outcomes): &(Example, Vec<Outcome>)) -> Self {
        Self {
            id: example.id.clone(),
            document: example.source.document.clone(),
            clause: example.source.place.clone(),
            statement: example.statement.clone(),
            provenance: example.provenance.clone(),
            agrees: outcomes.iter().all(|outcome| outcome.agrees),
            numbers: outcomes.clone(),
        }
    }
}

/// One check of the simulator.
#[derive(Debug, Serialize, JsonSchema)]
struct CheckDocument {
    #[serde(flatten)]
    check: CoverageCheck,
    /// Whether they agree.
    agrees: bool,
}
