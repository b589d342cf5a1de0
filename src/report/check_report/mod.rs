//! The report on a simulated shop check: how far it can be from the plate's true flatness.

mod document;
mod pictures;
mod tables;
mod words;

use super::{
    Report,
    budget_table::budget_table,
    chart::{
        Mark,
        bars::{Bar, BarUnit, Bars, Share as BarShare},
        curves::{Band, Curve, Curves, Tone},
        histogram::{Histogram, Interval, Outline},
        plate_map::PlateMap,
    },
    document::BudgetDocument,
    heights::Heights,
    leaning::{ErrorEndDocument, LeaningDocument, LeansOn},
    lever_view::LeverView,
    number::{Digits, about_percent, full, plain},
    page::{LIMITS_OF_USE, Page, Part, ending, short_digest},
    picture::Svg,
    setup_words,
    survey_marks::{along, nodes, numbers, stands, targets},
    table::{Cell, Column, Table},
    text, unseen_words,
};
use crate::{
    decision::{
        leaning::ErrorEnd,
        limits::{AcceptancePoint, Limits, OperatingPoint, acceptance},
        verdict_curve::VerdictPoint,
    },
    propagation::{
        law::Budget,
        monte_carlo::Validation,
        shares::Share,
        simulation::{ModelBased, Simulation, Way, WayKind},
    },
    quantity::{
        sample::Summary,
        unit::{MICROMETRE, Measure},
    },
    setup::{Assumption, Setup, Traceability},
    shop::visibility::{INVISIBLE, Visibility},
};
use document::CheckDocument;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// Everything a report on a simulated check is made from; every number it shows is here.
#[derive(Debug, Clone)]
pub struct CheckReport<'a> {
    /// The setup that was simulated.
    pub setup: &'a Setup,
    /// What the simulation found.
    pub simulation: &'a Simulation,
    /// What each way of reading can decide, in the order of the simulation's ways; empty without a
    /// tolerance.
    pub limits: Vec<Limits>,
    /// How often the verdict from readings passes a plate, by its flatness; empty without a tolerance.
    pub verdicts: Vec<VerdictPoint>,
    /// How far the error of the spread leans on what was assumed.
    pub leans_on: LeansOn<ErrorEnd>,
    /// The date of the report, as the user gave it.
    pub date: Option<&'a str>,
}

impl Report for CheckReport<'_> {
    type Document = CheckDocument;

    fn page(&self) -> Page {
        let mut answer = vec![self.answer()];
        answer.extend(self.card_sentence());
        answer.extend(setup_words::overdue(self.setup, self.date));
        answer.extend(self.leans_on.turning());
        answer.extend(self.blindness());
        let mut parts: Vec<Part> = self.card().map(Part::Card).into_iter().collect();
        parts.extend([Part::Next("What to do next".into()), Part::List(self.next_steps())]);
        parts.extend([
            Part::heading("How far the check is from the truth"),
            Part::Table(self.ways()),
            Part::Words(self.rule_sentence()),
            Part::picture(
                "histogram",
                self.histogram(),
                "Error of the check over all simulated plates, with its coverage intervals and its mean.",
            ),
        ]);
        parts.extend(self.leans_on.parts(self.heights()));
        parts.push(Part::heading("What was taken for granted"));
        parts.extend(setup_words::granted(self.setup));
        parts.extend([
            Part::heading("The budget of one reading"),
            Part::Table(self.budget()),
            Part::Table(self.linear()),
            Part::heading("Where the error comes from"),
            Part::Table(self.parts()),
            Part::picture(
                "shares",
                self.shares_picture(),
                "Share of each source in the variance of the spread's error; whiskers show what the number of trials \
                 leaves open.",
            ),
            Part::Table(self.shares()),
        ]);
        parts.extend(self.lever());
        parts.extend(self.decided());
        parts.extend([
            Part::heading("What the check sees of the plate"),
            Part::picture(
                "plate",
                self.plate(),
                "A plate of median flatness among those simulated, with feet, arm and targets drawn on it.",
            ),
            Part::Table(self.visibility()),
        ]);
        parts.extend(ending(Some(RESTS_ON_DESCRIPTION), LIMITS_OF_USE, &REFERENCES));
        let s = &self.simulation.settings;
        let mut facts = setup_words::facts(self.setup, self.setup.tolerance.as_ref(), self.date);
        facts.push(["run".into(), format!("{} trials, seed {}", s.n_trials, s.seed)]);
        Page {
            kind: "What a shop check of a surface plate can tell".into(),
            title: self.setup.title.clone(),
            facts,
            answer,
            parts,
            provenance: self.provenance(),
            for_signature: true,
            ..Page::default()
        }
    }

    fn document(&self) -> CheckDocument {
        self.as_document()
    }

    fn tables(&self) -> Vec<(String, Table)> {
        let tables =
            [("budget", Some(self.budget())), ("limits", self.operating()), ("operating", self.acceptance())];
        tables.into_iter().filter_map(|(name, table)| Some((name.into(), table?))).collect()
    }

    fn in_pixels(&self, picture: &str) -> bool {
        picture == "histogram"
    }

    fn more_files(&self) -> Vec<(String, Vec<u8>)> {
        vec![("budget.md".into(), self.budget().markdown().into_bytes())]
    }
}

impl<'a> CheckReport<'a> {
    /// What the check can decide, and how often judge would: nothing without a tolerance.
    fn decided(&self) -> Vec<Part> {
        let mut parts = Vec::new();
        if let (Some(card), Some(operating)) = (self.card_picture(), self.operating_picture()) {
            parts.extend([
                Part::heading("What the check can decide"),
                Part::picture("limits", card, "The chance that a plate is bad, given the spread that was read."),
                Part::picture(
                    "operating",
                    operating,
                    "Operating curve: the chance that a plate is accepted, against its true flatness. A good check falls \
                     steeply at the tolerance.",
                ),
            ]);
        }
        parts.extend(self.verdict_table().map(Part::Table));
        parts
    }

    /// Puts a report together, judging the ways of reading against the setup's tolerance.
    pub fn new(setup: &'a Setup, simulation: &'a Simulation) -> Self {
        let judge = |way: &Way, tolerance: f64| {
            Limits::new(&simulation.flatness, &way.results, tolerance, setup.consumer_risk)
        };
        let limits = setup
            .tolerance
            .iter()
            .flat_map(|tolerance| simulation.ways.iter().map(|way| judge(way, tolerance.value)));
        Self {
            setup,
            simulation,
            limits: limits.collect(),
            verdicts: Vec::new(),
            leans_on: LeansOn::default(),
            date: None,
        }
    }

    /// What a form is called, its size in the plate's unit; a hollow between the spots with its place.
    fn form_name(&self, v: &Visibility) -> String {
        let Some((at, radius)) = v.hollow else {
            return v.shape.replace("80 mm", &self.setup.length_text(80.0));
        };
        let plate = &self.setup.check.plate;
        let across = self.setup.length_text(2.0 * radius);
        format!("{}: {across} across, {}", v.shape, unseen_words::place(at, [plate.length, plate.width]))
    }

    fn provenance(&self) -> String {
        let s = &self.simulation.settings;
        let digest = short_digest(&self.setup.digest);
        format!("howflat {}, setup {digest}, seed {}, {} trials.", crate::VERSION, s.seed, s.n_trials)
    }

    fn heights(&self) -> Heights {
        Heights { unit: self.setup.unit }
    }

    /// A budget in µm in the report's unit.
    fn in_unit(&self, budget: &Budget) -> Budget {
        budget.in_unit(self.heights().label(), self.heights().of(1.0))
    }
}

/// What a simulation rests on.
const RESTS_ON_DESCRIPTION: &str = "These figures hold for plates, stands and rooms like the ones described above, and are \
    as good as that description. Wear and dirt that the setup does not state are taken from trade practice, for most of \
    which there is no published source. A plate of another kind is another matter.";

/// What the methods rest on, by clause.
const REFERENCES: [&str; 6] = [
    "Flatness as the minimum zone: ISO 1101:2017, 17.3; ISO 12781-1:2011.",
    "Budget of one reading: JCGM 100:2008 (GUM), 5.1.2 (law of propagation) and 7.2 (how a result is stated).",
    "Simulation: JCGM 101:2008, clause 7, and 7.7 for the coverage intervals; comparison with the linear result: clause 8.",
    "Chance that an accepted plate is bad: JCGM 106:2012, 9.3.2 (specific consumer's risk).",
    "A proof at 95 % unless agreed otherwise: ISO 14253-1:2017.",
    "Tolerances and defaults: the source beside each, in the tables above.",
];

/// A rule by which plates are accepted, and what it does.
struct Acceptance {
    /// What is read.
    way: WayKind,
    /// Up to which a plate is accepted, in µm.
    limit: f64,
    /// How often, by true flatness.
    curve: Vec<AcceptancePoint>,
}

/// What a way of reading is called.
pub(super) fn way_name(kind: WayKind) -> &'static str {
    match kind {
        WayKind::Spread => "spread",
        WayKind::Levelled => "spread off the best-fit plane",
        WayKind::Fitted => "fitted estimate",
    }
}

/// What it is called in a JSON document.
pub(super) fn way_key(kind: WayKind) -> &'static str {
    match kind {
        WayKind::Spread => "spread",
        WayKind::Levelled => "levelled",
        WayKind::Fitted => "fitted",
    }
}
