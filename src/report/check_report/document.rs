//! What `simulate` says, for machines.

use super::*;

impl<'a> CheckReport<'a> {
    pub(super) fn as_document(&self) -> CheckDocument {
        let s = self.simulation;
        let h = self.heights();
        let summary = |summary: &Summary| summary.map(|value| h.of(value));
        let readings = s.ways.iter().enumerate().map(|(i, way)| {
            let (result, error) = (summary(&way.result), summary(&way.error));
            let limits = self.limits.get(i).map(|limits| self.limits_document(Some(limits)));
            (way_key(way.kind).to_string(), WayDocument { result, error, limits })
        });
        let hidden = s.visibilities.iter().filter(|v| v.spread < INVISIBLE);
        CheckDocument {
            title: text::inert(&self.setup.title),
            traceability: self.setup.traceability.clone(),
            date: self.date.map(text::inert),
            answer: self.answer(),
            unit: self.setup.unit.symbol().into(),
            trials: s.settings.n_trials,
            seed: s.settings.seed,
            setup_digest: self.setup.digest.clone(),
            version: crate::VERSION.into(),
            stand: self.setup.check.survey.stand_use.name().into(),
            true_flatness: summary(&s.true_flatness),
            readings: readings.collect(),
            model_based: s.model_based.as_ref().map(|judged| ModelBased {
                result: summary(&judged.result),
                error: summary(&judged.error),
                mean_width: h.of(judged.mean_width),
                ..*judged
            }),
            fitted_rule: RuleDocument {
                constant: h.of(s.rule.constant),
                per_spread: s.rule.per_spread,
                per_levelled: s.rule.per_levelled,
                most_spread: h.of(s.rule.most_spread),
                most_levelled: h.of(s.rule.most_levelled),
            },
            error_of_form: summary(&s.form_error),
            error_of_disturbances: summary(&s.disturbance_error),
            cannot_see: hidden.map(|v| self.form_name(v)).collect(),
            visibility: s.visibilities.iter().map(|v| self.visibility_document(v)).collect(),
            shares: s.shares.clone(),
            share_trials: s.n_share_trials,
            limits: self.limits_document(self.limits.first()),
            verdicts: self.verdicts.iter().map(VerdictDocument::from).collect(),
            leans_on: self.leans_on.documents(h),
            acceptance: self.acceptances().iter().map(|rule| self.acceptance_document(rule)).collect(),
            budget: BudgetDocument::from(self.in_unit(&s.budget.of_reading)),
            linear: LinearDocument {
                budget: BudgetDocument::from(self.in_unit(&s.budget.of_difference)),
                validation: s.validation.in_unit(h.of(1.0)),
            },
            assumptions: self.setup.assumptions.clone(),
        }
    }

    pub(super) fn visibility_document(&self, v: &Visibility) -> VisibilityDocument {
        VisibilityDocument { form: self.form_name(v), spread: v.spread, levelled: v.levelled }
    }

    pub(super) fn acceptance_document(&self, rule: &Acceptance) -> AcceptanceDocument {
        AcceptanceDocument {
            way: way_key(rule.way).into(),
            limit: self.heights().of(rule.limit),
            curve: rule.curve.iter().map(|p| [self.heights().of(p.flatness), p.accepted]).collect(),
        }
    }

    pub(super) fn limits_document(&self, limits: Option<&Limits>) -> LimitsDocument {
        let height = |value: f64| self.heights().of(value);
        let operating = limits.iter().flat_map(|l| &l.operating);
        LimitsDocument {
            tolerance: limits.map(|l| height(l.tolerance)),
            tolerance_name: self.setup.tolerance.as_ref().map(|tolerance| tolerance.name.clone()),
            consumer_risk: self.setup.consumer_risk,
            accept_at_or_below: limits.and_then(|l| l.accept_at_or_below).map(height),
            good_passed: limits.and_then(|l| l.good_passed),
            out_at_or_above: limits.and_then(|l| l.out_at_or_above).map(height),
            out_at_or_below: limits.and_then(|l| l.out_at_or_below).map(height),
            bad_before_reading: limits.map(|l| l.bad_before_reading),
            operating: operating.map(|p| OperatingPoint { limit: height(p.limit), ..*p }).collect(),
        }
    }
}

/// What a simulation of a shop check found. Heights are in `unit`.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat simulate")]
pub struct CheckDocument {
    /// What the check is called.
    title: String,
    /// Numbers and dates of what was used, and who checked.
    traceability: Traceability,
    /// The date of the report as the user gave it; null where none was given.
    date: Option<String>,
    /// The answer, in a sentence.
    answer: String,
    /// Unit of all heights.
    unit: String,
    /// How many plates were drawn and checked.
    trials: u64,
    /// Seed of all random numbers.
    seed: u64,
    /// SHA-256 of what the setup says.
    setup_digest: String,
    /// Version of the program.
    version: String,
    /// Parked, turned or carried.
    stand: String,
    /// True flatness of the plates that were drawn.
    true_flatness: Summary,
    /// The ways of reading the same numbers, by name: spread, levelled, fitted.
    readings: BTreeMap<String, WayDocument>,
    /// The model-based estimate: the first of the checks, each judged from its readings as `judge` does.
    #[serde(skip_serializing_if = "Option::is_none")]
    model_based: Option<ModelBased>,
    /// The rule of the fitted way.
    fitted_rule: RuleDocument,
    /// The part of the spread's error that comes from form alone.
    error_of_form: Summary,
    /// The part of the spread's error that disturbances add.
    error_of_disturbances: Summary,
    /// Forms that this survey cannot see, however large.
    cannot_see: Vec<String>,
    /// How the usual forms look to this survey.
    visibility: Vec<VisibilityDocument>,
    /// Shares of the sources in the variance of the spread's error, largest first.
    shares: Vec<Share>,
    /// How many trials each share rests on.
    share_trials: u64,
    /// What a spread proves against the tolerance.
    limits: LimitsDocument,
    /// How often the verdict from readings passes a plate, by its flatness.
    verdicts: Vec<VerdictDocument>,
    /// The figures that were assumed, the one that moves the error of the spread farthest first.
    leans_on: Vec<LeaningDocument<ErrorEndDocument>>,
    /// How often a plate is accepted, by its true flatness; empty without a tolerance.
    acceptance: Vec<AcceptanceDocument>,
    /// The budget of one reading.
    budget: BudgetDocument,
    /// The linear result for the spread's error.
    linear: LinearDocument,
    /// Everything that was taken because the setup does not say.
    assumptions: Vec<Assumption>,
}

/// One way of reading.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct WayDocument {
    /// What it gives.
    result: Summary,
    /// What it gives minus the true flatness.
    error: Summary,
    /// What it proves against the tolerance; left out without one.
    #[serde(skip_serializing_if = "Option::is_none")]
    limits: Option<LimitsDocument>,
}

/// Verdicts on simulated plates of one range of flatness.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct VerdictDocument {
    /// Flatness deviation over tolerance: from, and up to.
    flatness_over_tolerance: [f64; 2],
    /// How many such plates were judged from their readings.
    judged: usize,
    /// How many were found within.
    within: usize,
    /// How many were found out.
    out: usize,
    /// A 95 % interval of the share found within.
    within_interval: [f64; 2],
}

impl From<&VerdictPoint> for VerdictDocument {
    fn from(point: &VerdictPoint) -> Self {
        Self {
            flatness_over_tolerance: point.ratio,
            judged: point.n,
            within: point.n_within,
            out: point.n_out,
            within_interval: point.within_interval(),
        }
    }
}

/// flatness = constant + per_spread * spread + per_levelled * levelled spread
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct RuleDocument {
    /// In the document's unit.
    constant: f64,
    /// Per unit of spread.
    per_spread: f64,
    /// Per unit of levelled spread.
    per_levelled: f64,
    /// The largest spread that counts, in the document's unit.
    most_spread: f64,
    /// The largest levelled spread that counts, in the document's unit.
    most_levelled: f64,
}

/// How one form looks to the survey: reading over true flatness.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct VisibilityDocument {
    /// Which form, in words.
    form: String,
    /// Its spread over its flatness.
    spread: f64,
    /// Its levelled spread over its flatness; null where readings cannot be levelled.
    levelled: Option<f64>,
}

/// What a reading proves against a tolerance.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct LimitsDocument {
    /// The largest flatness deviation that is good; null without a tolerance.
    tolerance: Option<f64>,
    /// Standard, grade and basis of the tolerance.
    tolerance_name: Option<String>,
    /// The risk at which a plate is still accepted.
    consumer_risk: f64,
    /// The largest reading that proves a plate good; null where none does.
    accept_at_or_below: Option<f64>,
    /// Share of the good plates that read this or less; null where no reading proves a plate good.
    good_passed: Option<f64>,
    /// The smallest reading that proves a plate bad; null where none does.
    out_at_or_above: Option<f64>,
    /// The largest reading that proves a plate bad; null where none does, or any larger one does.
    out_at_or_below: Option<f64>,
    /// Share of the simulated plates that are bad.
    bad_before_reading: Option<f64>,
    /// What happens as a limit of acceptance moves.
    operating: Vec<OperatingPoint>,
}

/// How often plates are accepted by one rule.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct AcceptanceDocument {
    /// What is read: spread, levelled or fitted.
    way: String,
    /// Up to which reading a plate is accepted.
    limit: f64,
    /// True flatness (mean of a group of simulated plates) and the share of these that is accepted.
    curve: Vec<[f64; 2]>,
}

/// The spread's error as the difference of two readings, by the law of propagation.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct LinearDocument {
    /// The budget of the difference.
    budget: BudgetDocument,
    /// Its comparison with Monte Carlo.
    validation: Validation,
}
