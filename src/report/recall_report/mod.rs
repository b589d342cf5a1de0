//! The report on when plates go out for recalibration.

mod document;
mod tables;
mod words;

use super::{
    Report,
    chart::{
        Mark,
        course::{Course, Finding, Sign},
    },
    heights::Heights,
    number::{Digits, money, percent, plain, probability, share, short},
    page::{Annexed, Figure, LIMITS_OF_USE, Page, Part, ending, short_digest},
    picture::Svg,
    setup_words,
    table::{Cell, Column, Table},
    text::inert,
};
use crate::{
    decision::{
        recall::{Costs, LeastCost},
        recall_plan::{
            AS_NEW, CheckKind, CheckWorth, CostPlan, Entry, EntryFit, Found, PlatePlan, PlateRecord,
            RecallPlan, RecallQuestion, RecordReading,
        },
    },
    propagation::wear_history::{EventFit, Interval, UNFORESEEN, UNFORESEEN_MEAN, WearPrior},
    quantity::day::Day,
    setup::{EntryKind, HistoryFile, HistoryRow, OwnTerms, RefusedPlate, Setup, Traceability},
    shop::grade::Tolerance,
};
use document::RecallDocument;
use schemars::JsonSchema;
use serde::Serialize;

/// Everything that a report on recalls is made from.
#[derive(Debug, Clone)]
pub struct RecallReport<'a> {
    /// The setup of the shop checks.
    pub setup: &'a Setup,
    /// What is on record.
    pub history: &'a HistoryFile,
    /// Plates of which nothing is said, and why.
    pub refused: &'a [RefusedPlate],
    /// What was asked.
    pub question: &'a RecallQuestion,
    /// What was taken for costs that were not stated.
    pub assumed_costs: &'a [String],
    /// What the plates are to keep.
    pub tolerance: &'a Tolerance,
    /// When they go out.
    pub plan: &'a RecallPlan,
    /// The date of the report, as the user gave it.
    pub date: Option<&'a str>,
}

/// One plate with all that is known of it.
#[derive(Clone, Copy)]
struct Of<'a> {
    record: &'a PlateRecord,
    rows: &'a [HistoryRow],
    own: &'a OwnTerms,
    plan: &'a PlatePlan,
    /// What it is to keep.
    tolerance: &'a Tolerance,
}

impl<'a> Of<'a> {
    /// Each entry, how it was written, and what came of it.
    fn entries(
        &self,
    ) -> impl DoubleEndedIterator<Item = (&'a Entry, &'a HistoryRow, &'a EntryFit)> + ExactSizeIterator {
        let Self { record, rows, plan, .. } = *self;
        record.entries.iter().zip(rows).zip(&plan.entries).map(|((entry, row), fit)| (entry, row, fit))
    }
}

impl Report for RecallReport<'_> {
    type Document = RecallDocument;

    fn page(&self) -> Page {
        let all: Vec<Of> = self.by_urgency().collect();
        let mut parts = Vec::new();
        if all.len() > 1 {
            parts.push(Part::Table(self.urgency_table(&all)));
        }
        parts.extend(self.explanations().into_iter().map(Part::Words));
        parts.extend([Part::Next("What to do".into()), Part::List(self.next_steps(&all))]);
        // The first reader sees the most urgent plate; the others are as long, and look alike.
        if let Some(first) = all.first() {
            let heading = if all.len() > 1 { "The most urgent plate in time" } else { "The plate in time" };
            parts.extend([Part::heading(heading), Part::Picture(self.picture(0, first))]);
        }
        if all.len() > 1 {
            let tables = vec![self.numbers_table(&all)];
            parts.push(Part::Annexed(Annexed { heading: "All plates".into(), picture: None, tables }));
        }
        parts.extend(all.iter().enumerate().map(|(place, of)| {
            let tables =
                [Some(self.history_table(of)), Some(self.forecast_table(of)), self.cost_table(of.plan)];
            Part::Annexed(Annexed {
                heading: if all.len() > 1 { name_of(of) } else { "The plate in numbers".into() },
                picture: (place > 0).then(|| self.picture(place, of)),
                tables: tables.into_iter().flatten().collect(),
            })
        }));
        parts.extend([
            Part::heading("How it was worked out"),
            Part::List(self.method()),
            Part::heading("What was taken for granted of the shop check"),
        ]);
        parts.extend(setup_words::granted(self.setup));
        parts.extend(ending(None, LIMITS_OF_USE, &REFERENCES));
        let mut facts = setup_words::facts(self.setup, Some(self.tolerance), self.date);
        facts.extend([
            ["history".to_string(), short_digest(&self.history.digest).to_string()],
            ["as on".to_string(), self.question.today.to_string()],
            ["run".to_string(), format!("seed {}", self.question.settings.seed)],
        ]);
        Page {
            kind: "When to send surface plates out".into(),
            title: self.setup.title.clone(),
            facts,
            answer: std::iter::once(self.answer())
                .chain(setup_words::overdue(self.setup, self.date))
                .collect(),
            parts,
            provenance: self.provenance(),
            for_signature: true,
            annex_on_request: true,
            ..Page::default()
        }
    }

    fn document(&self) -> RecallDocument {
        self.as_document()
    }

    fn tables(&self) -> Vec<(String, Table)> {
        vec![("forecast".into(), self.forecast_csv())]
    }

    fn in_pixels(&self, picture: &str) -> bool {
        picture == picture_name(0)
    }
}

impl RecallReport<'_> {
    fn by_urgency(&self) -> impl Iterator<Item = Of<'_>> {
        self.plan.urgency.iter().map(|&index| {
            let plan = &self.plan.plates[index];
            let own = &self.history.own[plan.record];
            Of {
                record: &self.history.records[plan.record],
                rows: &self.history.rows[plan.record],
                own,
                plan,
                tolerance: own.tolerance.as_ref().unwrap_or(self.tolerance),
            }
        })
    }

    fn due_text(&self, plan: &PlatePlan) -> String {
        match plan.due {
            Some(0.0) => "due".into(),
            Some(years) => self.day(years).to_string(),
            None => format!("after {}", self.day(plan.out.horizon())),
        }
    }

    fn cost_date(&self, least: LeastCost) -> String {
        match least.years {
            years if !least.is_reached => format!("after {}", self.day(years)),
            0.0 => "now".into(),
            years => self.day(years).to_string(),
        }
    }

    fn day(&self, years: f64) -> Day {
        self.question.today.plus_years(years)
    }

    fn limit_text(&self, tolerance: &Tolerance) -> String {
        format!("{} ({})", self.heights().text(tolerance.value), inert(&tolerance.name))
    }

    /// The limit of all plates, or that each has its own.
    fn common_limit_text(&self) -> String {
        match self.by_urgency().next() {
            Some(of) if !self.has_own(|own| own.tolerance.is_some()) => self.limit_text(of.tolerance),
            _ => "its own tolerance".into(),
        }
    }

    /// Whether the history says something of a plate itself.
    fn has_own(&self, says: impl Fn(&OwnTerms) -> bool) -> bool {
        self.history.own.iter().any(says)
    }

    fn heights(&self) -> Heights {
        Heights { unit: self.setup.unit }
    }

    fn provenance(&self) -> String {
        format!(
            "howflat {}, setup {}, history {}, as on {}, seed {}.",
            crate::VERSION,
            short_digest(&self.setup.digest),
            short_digest(&self.history.digest),
            self.question.today,
            self.question.settings.seed
        )
    }
}

/// What a plate is called.
fn name_of(of: &Of) -> String {
    if of.record.name.is_empty() { "the plate".into() } else { inert(&of.record.name) }
}

/// The file of a plate's picture, by its place in the order of urgency.
fn picture_name(place: usize) -> String {
    match place {
        0 => "course".into(),
        place => format!("course-{}", place + 1),
    }
}

/// Mean, lower and upper end.
fn three(interval: &Interval) -> [f64; 3] {
    [interval.mean, interval.ends[0], interval.ends[1]]
}

/// How likely a finding at least as far out was, before it was made.
fn p_value(fit: &EntryFit) -> Option<f64> {
    match fit {
        EntryFit::Counted(fit) | EntryFit::LeftOut(fit) => fit.p_value,
        EntryFit::PassedOver => None,
    }
}

/// What the methods rest on.
const REFERENCES: [&str; 7] = [
    "Intervals between calibrations: ILAC-G24 / OIML D 10:2007 (methods by name).",
    "Wear as a gamma process: J. M. van Noortwijk, Reliability Engineering and System Safety 94, 2009, 2-21.",
    "Forward and backward through a history: L. R. Rabiner, Proceedings of the IEEE 77, 1989, 257-286.",
    "Recalibration at least cost: R. E. Barlow and F. Proschan, Mathematical Theory of Reliability, 1965, chapter 4 (age \
     replacement).",
    "What a check is worth: H. Raiffa and R. Schlaifer, Applied Statistical Decision Theory, 1961 (expected value of sample \
     information).",
    "Probability of being out of tolerance: JCGM 106:2012.",
    "Of these ILAC-G24, Barlow and Proschan, and Raiffa and Schlaifer are cited from memory.",
];
