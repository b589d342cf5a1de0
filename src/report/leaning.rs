//! How far an answer leans on what was assumed: the part of a report, and of its document, that says so.

use super::{
    chart::bars::{Bar, BarUnit, Bars, Share},
    heights::Heights,
    number::{plain, probability},
    page::Part,
    picture::Svg,
    table::Table,
};
use crate::{
    decision::{
        leaning::{ErrorEnd, JudgedEnd, Leaning, N_TRIALS, error_leanings},
        limits::Verdict,
    },
    propagation::{check_experiment::CannotSimulate, simulation::Settings},
    setup::{AssumedRange, Setup},
};
use schemars::JsonSchema;
use serde::Serialize;

/// Figures that were assumed, each with how far the answer leans on it, the one that moves it farthest first.
#[derive(Debug, Clone)]
pub struct LeansOn<E> {
    ranked: Vec<(AssumedRange, Leaning<E>)>,
}

impl<E> Default for LeansOn<E> {
    fn default() -> Self {
        Self { ranked: Vec::new() }
    }
}

/// So many figures have a bar of their own.
const MOST_BARS: usize = 10;

/// Of so many it is said what settles them.
const MOST_SETTLED: usize = 4;

/// An answer with a figure at one end of what is plausible for it.
pub trait End {
    /// The same in the user's unit.
    type Document: Serialize + JsonSchema;

    /// What of it moves.
    const MOVES: &str;

    /// In the unit of heights.
    fn document(&self, h: Heights) -> Self::Document;

    /// In a few words.
    fn words(&self, h: Heights) -> String;
}

impl<E: End> LeansOn<E> {
    /// Of figures with what became of the answer at their ends, in the same order.
    pub fn new(figures: Vec<AssumedRange>, leanings: Vec<Leaning<E>>) -> Self {
        let mut ranked: Vec<_> = figures.into_iter().zip(leanings).collect();
        ranked.sort_by(|(_, a), (_, b)| b.moves.total_cmp(&a.moves));
        Self { ranked }
    }

    /// For the document.
    pub fn documents(&self, h: Heights) -> Vec<LeaningDocument<E::Document>> {
        let each = self.ranked.iter().map(|(figure, leaning)| {
            let [low, high] = figure.range.clone();
            let [at_low, at_high] = leaning.ends.each_ref().map(|end| end.document(h));
            LeaningDocument {
                field: figure.field.clone(),
                low,
                high,
                at_low,
                at_high,
                moves: h.of(leaning.moves),
                moves_standard_uncertainty: h.of(leaning.moves_u),
                settled_by: figure.settled_by,
            }
        });
        each.collect()
    }

    /// The part of a page; nothing where nothing was assumed.
    pub fn parts(&self, h: Heights) -> Vec<Part> {
        let seen: Vec<_> = self.ranked.iter().filter(|(_, leaning)| leaning.is_seen()).collect();
        let Some((first, leaning)) = seen.first() else { return Vec::new() };
        let [low, high] = leaning.ends.each_ref().map(|end| end.words(h));
        let n_unseen = self.ranked.len() - seen.len();
        let others = match n_unseen {
            0 => String::new(),
            n => format!(" {n} more assumed figures move it no farther than chance does."),
        };
        let table = Table::of("Assumed figures, one at a time at either end of what is plausible", &seen)
            .text("assumed", |(figure, _)| figure.field.as_str())
            .text("low", |(figure, _)| figure.range[0].as_str())
            .text("high", |(figure, _)| figure.range[1].as_str())
            .text("answer at low", |(_, leaning)| leaning.ends[0].words(h))
            .text("answer at high", |(_, leaning)| leaning.ends[1].words(h))
            .heights(h, ["moves by", "standard uncertainty"], |(_, leaning)| [leaning.moves, leaning.moves_u])
            .table();
        let settled = seen
            .iter()
            .take(MOST_SETTLED)
            .map(|(figure, _)| format!("{}: {}.", figure.field, figure.settled_by));
        let caption = format!(
            "How far the {} moves as an assumed figure goes from the low to the high end of what is plausible; whiskers show what \
             chance leaves open.",
            E::MOVES
        );
        vec![
            Part::heading("What the answer leans on"),
            Part::Words(format!(
                "Of what was assumed, {} moves the answer farthest: at {} it is {low}, at {} {high}.{others} What settles the first \
                 of them:",
                first.field, first.range[0], first.range[1]
            )),
            Part::List(settled.collect()),
            Part::picture("leaning", self.bars(h), caption),
            Part::Table(table),
        ]
    }

    fn bars(&self, h: Heights) -> Svg {
        let seen = self.ranked.iter().filter(|(_, leaning)| leaning.is_seen());
        let bars: Vec<Bar> = seen
            .take(MOST_BARS)
            .map(|(figure, leaning)| {
                let [value, u] = [leaning.moves, leaning.moves_u].map(|height| h.of(height));
                let interval = Some([value - 2.0 * u, value + 2.0 * u]);
                Bar { label: &figure.field, first_order: Share { value, interval }, total: None }
            })
            .collect();
        Bars {
            title: "What the answer leans on",
            axis: &format!("move of the {}", E::MOVES),
            unit: BarUnit::Heights(h),
            bars: &bars,
        }
        .svg()
    }
}

impl LeansOn<ErrorEnd> {
    /// Of a setup's check; `text` is the setup's own text. A run of few trials is in a hurry and is not asked.
    ///
    /// # Errors
    ///
    /// If the check cannot be simulated.
    pub fn of(setup: &Setup, text: &str, settings: Settings) -> Result<Self, CannotSimulate> {
        let figures = if settings.n_trials < N_TRIALS { Vec::new() } else { setup.assumed_ranges(text) };
        let decide = setup.tolerance.as_ref().map(|tolerance| [tolerance.value, setup.consumer_risk]);
        let ends = figures.iter().map(|figure| &figure.checks);
        let leanings = error_leanings(&setup.check, &setup.plan, settings.seed, ends, decide)?;
        Ok(Self::new(figures, leanings))
    }

    /// That an assumed figure alone decides whether any reading proves a plate good.
    pub fn turning(&self) -> Option<String> {
        let turns = |leaning: &Leaning<ErrorEnd>| {
            let [low, high] = leaning.ends.map(|end| end.accept.is_some());
            low != high
        };
        let (figure, leaning) =
            self.ranked.iter().find(|(_, leaning)| leaning.is_seen() && turns(leaning))?;
        let proves = usize::from(leaning.ends[1].accept.is_some());
        Some(format!(
            "Whether any spread proves the plate good hangs on an assumed figure alone: with {} at {} some do, at {} none does.",
            figure.field,
            figure.range[proves],
            figure.range[1 - proves]
        ))
    }
}

impl LeansOn<JudgedEnd> {
    /// That an assumed figure alone would turn the verdict.
    pub fn turning(&self, verdict: Verdict) -> Option<String> {
        let of = |end: &JudgedEnd| end.conformance.map(|c| c.verdict);
        let turned =
            self.ranked.iter().filter(|(_, leaning)| leaning.is_seen()).find_map(|(figure, leaning)| {
                let end =
                    leaning.ends.iter().position(|end| of(end).is_some_and(|other| other != verdict))?;
                Some((figure, end, of(&leaning.ends[end])?))
            });
        let (figure, end, other) = turned?;
        Some(format!(
            "One assumed figure alone would turn this: with {} at {} the plate is {}.",
            figure.field,
            figure.range[end],
            other.name()
        ))
    }
}

impl End for ErrorEnd {
    type Document = ErrorEndDocument;

    const MOVES: &str = "end of the error's 95 % interval";

    fn document(&self, h: Heights) -> ErrorEndDocument {
        ErrorEndDocument {
            error: self.interval.map(|end| h.of(end)),
            accept_at_or_below: self.accept.map(|limit| h.of(limit)),
        }
    }

    fn words(&self, h: Heights) -> String {
        let [low, high] = self.interval.map(|end| h.signed(end));
        format!("{low} to {high} {}", h.label())
    }
}

impl End for JudgedEnd {
    type Document = JudgedEndDocument;

    const MOVES: &str = "estimate of the flatness deviation";

    fn document(&self, h: Heights) -> JudgedEndDocument {
        JudgedEndDocument {
            flatness: h.of(self.flatness.mean),
            interval: self.flatness.interval_symmetric.map(|end| h.of(end)),
            probability_within: self.conformance.map(|c| c.probability),
            verdict: self.conformance.map(|c| c.verdict.name()),
        }
    }

    fn words(&self, h: Heights) -> String {
        let [low, high] = self.flatness.interval_symmetric.map(|end| plain(h.of(end), h.digits()));
        let interval = format!("{low} to {high} {}", h.label());
        match &self.conformance {
            Some(c) => format!("{interval}, within: {}", probability(c.probability)),
            None => interval,
        }
    }
}

/// How far the answer leans on one assumed figure.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(rename = "leaning_{E}")]
pub struct LeaningDocument<E> {
    /// The field of the setup that was left out.
    field: String,
    /// The low end of what is plausible for it (common practice, no source).
    low: String,
    /// The high end.
    high: String,
    /// The answer with the figure at the low end.
    at_low: E,
    /// The answer with the figure at the high end.
    at_high: E,
    /// By how much the answer moves from one to the other: a judgement's estimate; of a 95 % interval of the error the end
    /// that moves farther.
    moves: f64,
    /// Standard uncertainty of that, from the number of trials or draws.
    moves_standard_uncertainty: f64,
    /// What would settle the figure at the bench.
    settled_by: &'static str,
}

/// A simulated check with an assumed figure at one end.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ErrorEndDocument {
    /// 95 % interval of the spread's error.
    error: [f64; 2],
    /// Up to which spread a plate may be accepted; null where none proves it good.
    accept_at_or_below: Option<f64>,
}

/// A judgement with an assumed figure at one end.
#[derive(Debug, Serialize, JsonSchema)]
pub struct JudgedEndDocument {
    /// Estimate of the flatness deviation.
    flatness: f64,
    /// Its 95 % interval.
    interval: [f64; 2],
    /// Probability that the plate is within the tolerance.
    probability_within: Option<f64>,
    /// The rule's verdict.
    verdict: Option<&'static str>,
}
