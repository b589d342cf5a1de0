//! The report on how to check better: steps, placements, and what other methods would have given.

mod document;
mod tables;
mod words;

use super::{
    Report,
    chart::bars::{Bar, BarUnit, Bars, Share},
    check_report::{way_key, way_name},
    heights::Heights,
    number::{Digits, percent, share, short},
    page::{LIMITS_OF_USE, Page, Part, ending, short_digest},
    picture::Svg,
    reading_sheet::{ReadingSheet, direction},
    setup_words,
    survey_marks::{bare_plate, numbers, stands, targets},
    table::Table,
    text::inert,
};
use crate::{
    decision::{
        advice::{Advice, Enough, Offer},
        methods::{MethodRow, Surveyed},
        placements::Placements,
        sufficient_set::Search,
    },
    propagation::{
        improvement_gain::{CheckWorth, ErrorInterval, Gain, SingleStep},
        other_methods::{Instruments, Method},
        placement_choice::Expected,
        simulation::WayKind,
    },
    quantity::sample::Summary,
    setup::{Setup, pasted},
    shop::{
        grade::Tolerance,
        improvement::{Step, taken_with_plan},
        survey::{Effort, StandUse, Station},
    },
};
use document::PlanDocument;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// Everything that a report on a better check is made from.
#[derive(Debug, Clone)]
pub struct PlanReport<'a> {
    /// The setup.
    pub setup: &'a Setup,
    /// What the plate is to keep, if anything.
    pub tolerance: Option<&'a Tolerance>,
    /// By which way of reading the check is used.
    pub way: WayKind,
    /// What steps gain.
    pub advice: &'a Advice,
    /// Where to put stand and block; `None` where no placement was possible.
    pub placed: Option<&'a PlacedSetup>,
    /// The check's own ways of reading and other methods, on the same plates.
    pub methods: &'a [MethodRow],
    /// Seed of all random numbers.
    pub seed: u64,
    /// The date of the report, as the user gave it.
    pub date: Option<&'a str>,
}

/// A survey that was planned anew, as it is written in a setup.
#[derive(Debug, Clone)]
pub struct PlacedSetup {
    /// The setup with the new survey in it.
    pub setup: Setup,
    /// The survey block that makes the difference.
    pub block: Value,
    /// What the new survey is worth, and the setup's own.
    pub placements: Placements,
}

impl Surveyed {
    fn name(self) -> &'static str {
        match self {
            Self::ThisCheck(WayKind::Spread) => "this check: spread",
            Self::ThisCheck(WayKind::Levelled) => "this check: spread off the best-fit plane",
            Self::ThisCheck(WayKind::Fitted) => "this check: fitted estimate",
            Self::Otherwise(Method::Straightedge) => "straightedge along eight lines",
            Self::Otherwise(Method::Level) => "level along eight lines",
            Self::Otherwise(Method::Autocollimator) => "autocollimator along eight lines",
            Self::Otherwise(Method::RepeatReading) => "repeat reading, stand carried",
        }
    }

    fn key(self) -> String {
        match self {
            Self::ThisCheck(way) => format!("this check, {}", way_key(way)),
            Self::Otherwise(Method::Straightedge) => "straightedge".into(),
            Self::Otherwise(Method::Level) => "level".into(),
            Self::Otherwise(Method::Autocollimator) => "autocollimator".into(),
            Self::Otherwise(Method::RepeatReading) => "repeat reading".into(),
        }
    }
}

impl Report for PlanReport<'_> {
    type Document = PlanDocument;

    fn page(&self) -> Page {
        let mut parts: Vec<Part> = self.explanations().into_iter().map(Part::Words).collect();
        parts.extend([
            Part::heading("Steps that make this check better"),
            Part::picture(
                "steps",
                self.steps_picture(),
                "By how much each step alone narrows the interval of the error (a minus: widens it); whiskers are two standard \
                 uncertainties.",
            ),
            Part::Table(self.steps_table()),
            Part::Table(self.pairs_table()),
            Part::Words(HOW_STEPS_ARE_JUDGED.into()),
        ]);
        parts.extend(self.placed.into_iter().flat_map(|placed| self.placed_parts(placed)));
        parts.extend([
            Part::heading("What other methods would have given"),
            Part::Table(self.methods_table()),
            Part::Words(self.instruments_words()),
            Part::heading("What was taken for granted"),
        ]);
        parts.extend(setup_words::granted(self.setup));
        parts.extend(ending(None, LIMITS_OF_USE, &REFERENCES));
        let mut facts = setup_words::facts(self.setup, self.tolerance, self.date);
        facts.push([
            "run".into(),
            format!("{} trials for each set of steps, seed {}", self.advice.gains.n_trials, self.seed),
        ]);
        Page {
            kind: "How to check a surface plate better".into(),
            title: self.setup.title.clone(),
            facts,
            answer: vec![self.answer()],
            parts,
            provenance: format!(
                "howflat {}, setup {}, seed {}, {} trials for each set of steps.",
                crate::VERSION,
                short_digest(&self.setup.digest),
                self.seed,
                self.advice.gains.n_trials
            ),
            ..Page::default()
        }
    }

    fn document(&self) -> PlanDocument {
        self.as_document()
    }

    fn tables(&self) -> Vec<(String, Table)> {
        vec![("steps".into(), self.steps_table()), ("methods".into(), self.methods_table())]
    }

    fn in_pixels(&self, picture: &str) -> bool {
        picture == "steps"
    }

    fn more_files(&self) -> Vec<(String, Vec<u8>)> {
        let Some(placed) = self.placed else { return Vec::new() };
        let mut files = vec![("survey.txt".to_string(), (pasted(&placed.block) + "\n").into_bytes())];
        files.extend(ReadingSheet { setup: &placed.setup }.files());
        files
    }
}

impl PlanReport<'_> {
    /// The new survey: a picture, a table, and the block to paste.
    fn placed_parts(&self, placed: &PlacedSetup) -> Vec<Part> {
        vec![
            Part::heading("Where to put stand and block"),
            Part::picture(
                "placements",
                self.placements_picture(placed),
                "The plate with each placement's feet, arm and targets, numbered in the order in which they are read; a spot that is \
                     read from several placements carries its first number.",
            ),
            Part::Table(self.placements_table(placed)),
            Part::Words(format!(
                "Paste this into the setup in place of its survey; then howflat sheet gives the sheet for it{}.",
                if placed.placements.n_readings > n_readings(&placed.setup) {
                    " (there was nothing more to choose from)"
                } else {
                    ""
                }
            )),
            Part::Lines(pasted(&placed.block)),
            Part::Words(HOW_PLACEMENTS_ARE_CHOSEN.into()),
        ]
    }

    fn is_enough(&self) -> bool {
        matches!(&self.advice.enough, Some(Enough { search: Search::Cheapest(set), .. }) if set.steps.is_empty())
    }

    fn now(&self) -> Option<&ErrorInterval> {
        self.advice.gains.before.way(self.way)
    }

    fn interval<'a>(&self, step: &'a SingleStep) -> Option<&'a ErrorInterval> {
        step.worth.as_ref().ok()?.way(self.way)
    }

    fn limits_of(&self, interval: &ErrorInterval) -> String {
        self.ends(interval.interval)
    }

    fn ends(&self, [low, high]: [f64; 2]) -> String {
        let h = self.heights();
        format!("{} to {}", h.bare(low), h.text(high))
    }

    fn heights(&self) -> Heights {
        Heights { unit: self.setup.unit }
    }
}

/// How many readings a survey has besides zeros and closing readings.
fn n_readings(setup: &Setup) -> usize {
    setup.check.survey.compared().count()
}

/// How steps are compared.
const HOW_STEPS_ARE_JUDGED: &str = "Every set of steps is tried on the same plates with the same luck, so that what differs is \
    the steps. A step that makes the interval wider has a negative gain: more readings, or the stand put down more often, give a plain \
    spread more chances to be large. u is the standard uncertainty that the number of trials leaves. This is the iterative method of ISO 14253-2: \
    compare the uncertainty with its target, change what contributes most, and reckon again. What a larger survey gains \
    shows in the fitted estimate or in howflat judge. An indication is the tip brought to the block and the dial read or set: readings, \
    zeros and closing readings alike; a set-down is the stand put down anew.";

/// How placements are chosen.
const HOW_PLACEMENTS_ARE_CHOSEN: &str = "Chosen one by one, then exchanged one by one while that helps, by what each reading leaves \
    open of the flatness of plates as the setup describes them; judged on other plates than those they were chosen by. The \
    figures are upper bounds: a full judgement makes more of the same readings. Grains are left out: a reading that \
    catches one is taken again.";

/// What the methods rest on, by clause.
const REFERENCES: [&str; 5] = [
    "Target uncertainty, and what to improve first: ISO 14253-2:2011 (procedure for uncertainty management, iterative method).",
    "How good a check has to be for a tolerance: the 4:1 rule, ASME B89.7.3.1-2001, unless the setup says otherwise.",
    "Intervals of simulated errors: JCGM 101:2008, 7.7.",
    "Limits of local variation: GGG-P-463c, table II; ISO 8512, both parts.",
    "Tolerances and defaults: the source beside each, in the tables above.",
];
