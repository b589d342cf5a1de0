//! What `plan` says, for machines.

use super::*;

impl PlanReport<'_> {
    pub(super) fn as_document(&self) -> PlanDocument {
        let gains = &self.advice.gains;
        PlanDocument {
            title: inert(&self.setup.title),
            answer: self.answer(),
            explanation: self.explanations(),
            unit: self.setup.unit.symbol().into(),
            length_unit: self.setup.plan_unit.symbol().into(),
            way: way_key(self.way).into(),
            tolerance: self.tolerance.map(|tolerance| self.heights().of(tolerance.value)),
            tolerance_name: self.tolerance.map(|tolerance| inert(&tolerance.name)),
            now: self.way_documents(&gains.before),
            steps: self.step_documents(),
            pairs: gains
                .pairs
                .iter()
                .map(|pair| PairDocument {
                    steps: pair.steps.map(|step| self.step_name(step)),
                    narrower_by: pair.gain.share,
                    narrower_by_u: pair.gain.u,
                    interaction: pair.interaction.share,
                    interaction_u: pair.interaction.u,
                })
                .collect(),
            enough: self.advice.enough.as_ref().map(|enough| self.enough_document(enough)),
            placements: self.placed.map(|placed| self.placements_document(placed)),
            methods: self.methods.iter().map(|row| self.method_document(row)).collect(),
            n_trials: gains.n_trials,
            seed: self.seed,
            setup_digest: self.setup.digest.clone(),
            version: crate::VERSION.into(),
        }
    }

    pub(super) fn step_name(&self, step: usize) -> String {
        self.advice.gains.steps[step].step.name().to_string()
    }

    pub(super) fn way_documents(&self, worth: &CheckWorth) -> Vec<WayDocument> {
        let h = self.heights();
        let document = |(way, error): &(WayKind, ErrorInterval)| WayDocument {
            way: way_key(*way).into(),
            interval: error.interval.map(|end| h.of(end)),
            width_u: h.of(error.width_u()),
        };
        worth.ways.iter().map(document).collect()
    }

    pub(super) fn step_documents(&self) -> Vec<StepDocument> {
        let steps = self.advice.gains.steps.iter().zip(&self.setup.improvements.offers);
        let document = |(step, offer): (&SingleStep, &Offer)| StepDocument {
            step: step.step.name().into(),
            what: self.words_and_places(step.step),
            effort: offer.effort,
            place: step.place,
            narrower_by: step.gain.map(|gain| gain.share),
            narrower_by_u: step.gain.map(|gain| gain.u),
            seen: step.gain.is_some_and(Gain::is_seen),
            errors: step.worth.as_ref().map(|worth| self.way_documents(worth)).unwrap_or_default(),
            set_downs: step.worth.as_ref().ok().map(|worth| worth.effort.set_downs),
            indications: step.worth.as_ref().ok().map(|worth| worth.effort.indications),
            not_tried: step.worth.as_ref().err().map(ToString::to_string),
        };
        steps.map(document).collect()
    }

    pub(super) fn enough_document(&self, enough: &Enough) -> EnoughDocument {
        let h = self.heights();
        let names = |steps: &[usize]| steps.iter().map(|&step| self.step_name(step)).collect::<Vec<_>>();
        let found = match &enough.search {
            Search::Cheapest(set) => Some(set),
            Search::NoneSuffices => None,
        };
        EnoughDocument {
            target: h.of(enough.target),
            accuracy_ratio: self.setup.improvements.accuracy_ratio,
            good_enough_now: self.is_enough(),
            steps: found.map(|set| names(&set.steps)),
            effort: found.map(|set| set.effort),
            effort_unit: self.setup.improvements.effort_unit.as_deref().map(inert),
            efforts_count_steps: enough.counted,
            searched: names(&enough.among),
            passed_over: names(&enough.passed_over),
            n_tried: enough.n_tried,
            best_steps: names(&enough.best.0),
            best_interval: enough.best.1.interval.map(|end| h.of(end)),
        }
    }

    pub(super) fn placements_document(&self, placed: &PlacedSetup) -> PlacementsDocument {
        let h = self.heights();
        let expected = |e: Expected| Expected {
            standard_uncertainty: h.of(e.standard_uncertainty),
            interval_width: h.of(e.interval_width),
        };
        let Effort { set_downs, indications } = placed.setup.check.survey.effort();
        PlacementsDocument {
            survey: placed.block.clone(),
            n_readings: n_readings(&placed.setup),
            set_downs,
            indications,
            n_candidates: placed.placements.n_candidates,
            before: expected(placed.placements.before),
            own_survey: placed.placements.own.map(expected),
            placed: expected(placed.placements.chosen),
        }
    }

    pub(super) fn method_document(&self, row: &MethodRow) -> MethodDocument {
        let h = self.heights();
        MethodDocument {
            method: row.what.key(),
            set_downs: row.effort.set_downs,
            indications: row.effort.indications,
            closures: row.closures,
            error: row.error.map(|v| h.of(v)),
            passes_up_to: row.limit.map(|limit| h.of(limit)),
            bad_passed: row.calls.and_then(|calls| calls.bad_passed),
            good_refused: row.calls.and_then(|calls| calls.good_refused),
        }
    }
}

/// How to check better. Heights are in `unit`.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat plan")]
pub struct PlanDocument {
    /// What the check is called.
    title: String,
    /// Where the check stands, in one sentence.
    answer: String,
    /// What to do about it, a sentence or two each.
    explanation: Vec<String>,
    /// Unit of all heights.
    unit: String,
    /// Unit of plan lengths.
    length_unit: String,
    /// The way of reading by which steps are ranked: "spread", "levelled" or "fitted".
    way: String,
    /// The largest flatness deviation that is good; null where none was given.
    tolerance: Option<f64>,
    /// Where it comes from.
    tolerance_name: Option<String>,
    /// The error of the check as it is, by each way of reading.
    now: Vec<WayDocument>,
    /// Every step alone.
    steps: Vec<StepDocument>,
    /// Every pair that can be taken together, largest gain first.
    pairs: Vec<PairDocument>,
    /// Whether the check is good enough, and what would make it so; null without a tolerance.
    enough: Option<EnoughDocument>,
    /// Where to put stand and block; null where nothing can be placed.
    placements: Option<PlacementsDocument>,
    /// The check and other methods on the same plates.
    methods: Vec<MethodDocument>,
    /// How many trials each set of steps was tried with.
    n_trials: u64,
    /// Seed of all random numbers.
    seed: u64,
    /// SHA-256 of what the setup says.
    setup_digest: String,
    /// Version of the program.
    version: String,
}

/// The error by one way of reading.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct WayDocument {
    /// "spread", "levelled" or "fitted".
    way: String,
    /// The probabilistically symmetric 95 % interval, from and to.
    interval: [f64; 2],
    /// Standard uncertainty of its width from the number of trials.
    width_u: f64,
}

/// One step.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct StepDocument {
    /// Its name.
    step: String,
    /// What it is, with its size.
    what: String,
    /// What it costs; null where the setup does not say.
    effort: Option<f64>,
    /// Its place by gain; steps that noise cannot tell from the first of their place share it.
    place: Option<usize>,
    /// By which share the interval is narrower; negative: wider.
    narrower_by: Option<f64>,
    /// Standard uncertainty of that from the number of trials.
    narrower_by_u: Option<f64>,
    /// Whether it gains more than twice that uncertainty.
    seen: bool,
    /// The error after it, by each way of reading.
    errors: Vec<WayDocument>,
    /// How often the stand is then put down.
    set_downs: Option<usize>,
    /// How many indications are then read or set: readings, zeros and closing readings alike.
    indications: Option<usize>,
    /// Why it was not tried; null where it was.
    not_tried: Option<String>,
}

/// A pair of steps.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct PairDocument {
    /// Their names.
    steps: [String; 2],
    /// By which share the interval is narrower.
    narrower_by: f64,
    /// Standard uncertainty of that.
    narrower_by_u: f64,
    /// What the pair gains beyond both gains added up.
    interaction: f64,
    /// Standard uncertainty of that.
    interaction_u: f64,
}

/// Whether the check is good enough.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct EnoughDocument {
    /// How far the farther end of the error's interval may be from 0.
    target: f64,
    /// Tolerance over target.
    accuracy_ratio: f64,
    /// Whether nothing has to be done.
    good_enough_now: bool,
    /// The set of steps that suffices; null where none was found.
    steps: Option<Vec<String>>,
    /// What it costs.
    effort: Option<f64>,
    /// What costs are counted in.
    effort_unit: Option<String>,
    /// Whether every step counts as one because no effort was given.
    efforts_count_steps: bool,
    /// The steps among which was searched, every set of them from the cheapest on.
    searched: Vec<String>,
    /// Steps that help less and were left out of the search because there were too many.
    passed_over: Vec<String>,
    /// How many sets were tried.
    n_tried: usize,
    /// The best of the sets tried.
    best_steps: Vec<String>,
    /// Its error.
    best_interval: [f64; 2],
}

/// A survey planned anew.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct PlacementsDocument {
    /// The survey block for the setup file.
    survey: Value,
    /// How many readings it has besides zeros and closing readings.
    n_readings: usize,
    /// How often the stand is put down for them.
    set_downs: usize,
    /// How many indications are read or set: readings, zeros and closing readings alike.
    indications: usize,
    /// From how many readings they were chosen.
    n_candidates: usize,
    /// What is open before any reading.
    before: Expected,
    /// What the setup's own survey leaves open.
    own_survey: Option<Expected>,
    /// What the new one leaves open.
    placed: Expected,
}

/// One method.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct MethodDocument {
    /// Its name; a way of reading the check itself begins with "this check".
    method: String,
    /// How often something is put down.
    set_downs: usize,
    /// How many indications are read or set.
    indications: usize,
    /// How many closures it has.
    closures: usize,
    /// Its result minus the true flatness.
    error: Summary,
    /// What passes; null where nothing is compared.
    passes_up_to: Option<f64>,
    /// Chance that a bad plate passes; null where too few plates are bad to tell.
    bad_passed: Option<f64>,
    /// Chance that a good plate is refused.
    good_refused: Option<f64>,
}
