//! What `budget` says, for machines.

use super::*;

impl BudgetReport<'_> {
    pub(super) fn as_document(&self) -> ReportDocument {
        let mut documents: Vec<MeasurandDocument> =
            self.measurands.iter().map(MeasurandReport::document).collect();
        let head = HeadDocument {
            title: text::inert(self.title),
            date: self.date.map(text::inert),
            answer: self.answer(),
            version: crate::VERSION.into(),
            file_digest: self.digest.into(),
            seed: self.seed,
            remarks: self.remarks.clone(),
            input_correlations: (!self.input_correlations.is_empty()).then(|| {
                let document = |(a, b, r): &(&str, &str, f64)| CorrelationDocument {
                    between: [a, b].map(|name| text::inert(name)),
                    coefficient: *r,
                };
                self.input_correlations.iter().map(document).collect()
            }),
            straight_lines: (!self.lines.is_empty())
                .then(|| self.lines.iter().map(LineDocument::from).collect()),
        };
        if documents.len() == 1 {
            let measurand = documents.remove(0);
            ReportDocument::One(Box::new(OneDocument { head, measurand }))
        } else {
            let joint = self.joint.as_ref();
            let monte_carlo = joint.and_then(|joint| joint.monte_carlo.as_ref());
            ReportDocument::Several(Box::new(SeveralDocument {
                head,
                measurands: documents,
                correlation: joint.map(|joint| matrix(&joint.linear.correlation)),
                covariance: joint.map(|joint| matrix(&joint.linear.covariance)),
                regions: joint.and_then(|joint| joint.linear.regions),
                monte_carlo: monte_carlo.cloned(),
            }))
        }
    }
}

impl MeasurandReport<'_> {
    pub(super) fn document(&self) -> MeasurandDocument {
        let budget = BudgetDocument::from(self.budget.clone());
        let expanded = Rounded::of(self.budget.estimate, self.expanded(), 2);
        let trials = self.trials.as_ref();
        let (y, expanded_uncertainty) = (self.budget.estimate, self.budget.expanded_uncertainty);
        MeasurandDocument {
            budget,
            formula: self.formula.map(text::sentence),
            interval: [y - expanded_uncertainty, y + expanded_uncertainty].map(finite),
            second_order: self.budget.second_order.as_ref().map(|second| SecondOrderDocument::new(second, y)),
            monte_carlo: trials
                .map(|t| MonteCarloDocument::new(&t.summary, t.values.len() as u64, t.convergence)),
            validation: trials.and_then(|t| t.validation),
            conformity: self
                .limits
                .zip(self.judged())
                .map(|(limits, judged)| ConformityDocument::new(&limits, &judged, &self.budget.unit)),
            rounded: self.budget.no_law.is_none().then_some(RoundedDocument {
                estimate: expanded.estimate,
                expanded_uncertainty: expanded.uncertainty,
            }),
            statement: self.statement(),
        }
    }
}

/// What a budget says: of one measurand by itself, or of several in a list.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
#[schemars(title = "howflat budget")]
pub enum ReportDocument {
    /// One measurand.
    One(Box<OneDocument>),
    /// Several measurands.
    Several(Box<SeveralDocument>),
}

/// What every budget document begins with.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct HeadDocument {
    /// What the measurement is called.
    title: String,
    /// The date of the report as the user gave it; null where none was given.
    date: Option<String>,
    /// The answer, a sentence a measurand.
    answer: String,
    /// Version of the program.
    version: String,
    /// SHA-256 of what the file says.
    file_digest: String,
    /// Seed of the trials.
    seed: u64,
    /// What is worth a second look.
    remarks: Vec<String>,
    /// Correlation coefficients of inputs, where they are not 0, also those that follow from readings or lines; left out
    /// where there are none.
    #[serde(skip_serializing_if = "Option::is_none")]
    input_correlations: Option<Vec<CorrelationDocument>>,
    /// The straight lines that inputs are taken from; left out where there are none.
    #[serde(skip_serializing_if = "Option::is_none")]
    straight_lines: Option<Vec<LineDocument>>,
}

/// How two inputs are correlated.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct CorrelationDocument {
    /// The two inputs.
    between: [String; 2],
    /// Their correlation coefficient.
    coefficient: f64,
}

/// A straight line by least squares (GUM H.3), in the units of the points.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct LineDocument {
    /// The inputs that are taken from it.
    inputs: Vec<String>,
    /// How many points it goes through.
    points: usize,
    /// The x at which its height is given here.
    at: f64,
    /// Its height there.
    height: f64,
    /// Standard uncertainty of the height.
    height_uncertainty: f64,
    /// Its slope.
    slope: f64,
    /// Standard uncertainty of the slope.
    slope_uncertainty: f64,
    /// Correlation coefficient of height and slope.
    correlation: f64,
    /// Standard deviation of the points about it.
    standard_deviation: f64,
    /// Degrees of freedom of all these uncertainties.
    degrees_of_freedom: f64,
}

impl From<&FittedLine> for LineDocument {
    fn from(FittedLine { inputs, n_points, fit }: &FittedLine) -> Self {
        Self {
            inputs: inputs.iter().map(|name| text::inert(name)).collect(),
            points: *n_points,
            at: fit.reference,
            height: fit.height,
            height_uncertainty: fit.height_uncertainty,
            slope: fit.slope,
            slope_uncertainty: fit.slope_uncertainty,
            correlation: fit.correlation,
            standard_deviation: fit.standard_deviation,
            degrees_of_freedom: fit.degrees_of_freedom,
        }
    }
}

/// The budget of one measurand.
#[derive(Debug, Serialize, JsonSchema)]
pub struct OneDocument {
    #[serde(flatten)]
    head: HeadDocument,
    #[serde(flatten)]
    measurand: MeasurandDocument,
}

/// The budgets of several measurands.
#[derive(Debug, Serialize, JsonSchema)]
pub struct SeveralDocument {
    #[serde(flatten)]
    head: HeadDocument,
    /// One a measurand.
    measurands: Vec<MeasurandDocument>,
    /// Correlation coefficients of the measurands, by the law of propagation; left out where the budgets are not of
    /// one model, null where the law does not apply.
    #[serde(skip_serializing_if = "Option::is_none")]
    correlation: Option<Matrix>,
    /// Covariances of the measurands, each in the product of both units.
    #[serde(skip_serializing_if = "Option::is_none")]
    covariance: Option<Matrix>,
    /// Joint coverage regions, as for normal measurands.
    #[serde(skip_serializing_if = "Option::is_none")]
    regions: Option<CoverageRegions>,
    /// The same by Monte Carlo.
    #[serde(skip_serializing_if = "Option::is_none")]
    monte_carlo: Option<JointPart>,
}

/// What is known of one measurand.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct MeasurandDocument {
    #[serde(flatten)]
    budget: BudgetDocument,
    /// The formula, as it was typed; left out where it is ours.
    #[serde(skip_serializing_if = "Option::is_none")]
    formula: Option<String>,
    /// Estimate minus and plus the expanded uncertainty, to first order; null where the law does not apply.
    interval: [Option<f64>; 2],
    /// With the terms of the next higher order; left out where they were not asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    second_order: Option<SecondOrderDocument>,
    /// By Monte Carlo; left out where there were no trials.
    #[serde(skip_serializing_if = "Option::is_none")]
    monte_carlo: Option<MonteCarloDocument>,
    /// Whether the result by the law may be used; left out where there were no trials, or is no law.
    #[serde(skip_serializing_if = "Option::is_none")]
    validation: Option<Validation>,
    /// How likely it keeps its limits; left out where none were given.
    #[serde(skip_serializing_if = "Option::is_none")]
    conformity: Option<ConformityDocument>,
    /// Estimate and expanded uncertainty as they are to be written (GUM 7.2.6); left out where the law does not apply.
    #[serde(skip_serializing_if = "Option::is_none")]
    rounded: Option<RoundedDocument>,
    /// How the result may be stated, in words.
    statement: String,
}

/// Whether a measurand keeps given limits (JCGM 106:2012); limits in its unit.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct ConformityDocument {
    /// The lower tolerance limit; null where there is none.
    lower_limit: Option<f64>,
    /// The upper tolerance limit; null where there is none.
    upper_limit: Option<f64>,
    /// The conformance probability: by the law where it may be used or stands alone, else by Monte Carlo.
    probability: f64,
    /// By the law of propagation, as t with the effective degrees of freedom; null where it does not apply.
    probability_by_law: Option<f64>,
    /// By Monte Carlo; null where there were no trials.
    probability_by_monte_carlo: Option<f64>,
    /// The probability that is asked for.
    asked_probability: f64,
    /// `conforms` or `does not conform` where that is as probable as asked, else `undecided`.
    verdict: String,
    /// Probability that it does not conform although it is accepted.
    specific_consumers_risk: f64,
    /// Probability that it conforms although it is rejected.
    specific_producers_risk: f64,
    /// How far inside a limit an estimate must lie to keep that one with the probability asked for; null where the law may
    /// not be used, where that leaves no room between two limits, and where acceptance limits are given.
    guard_band: Option<f64>,
    /// The acceptance limits, lower and upper: as given, else the tolerance limits moved inside by the guard band.
    acceptance_limits: [Option<f64>; 2],
    /// The risks over all that is measured; left out without a prior or without acceptance limits.
    #[serde(skip_serializing_if = "Option::is_none")]
    global_risks: Option<GlobalRisksDocument>,
}

/// Risks over all that is measured (JCGM 106:2012, 9.5), with the acceptance limits.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct GlobalRisksDocument {
    /// What is known of the measurand before it is measured: a distribution with its parameters, in words.
    prior: String,
    /// Probability that one conforms, before it is measured.
    conforming_before_measuring: f64,
    /// Probability that one does not conform and is accepted.
    global_consumers_risk: f64,
    /// Probability that one conforms and is rejected.
    global_producers_risk: f64,
}

impl ConformityDocument {
    fn new(limits: &GivenLimits, judged: &Judged, unit: &str) -> Self {
        let global_risks = judged.global_risks.zip(limits.prior);
        Self {
            lower_limit: limits.tolerance[0],
            upper_limit: limits.tolerance[1],
            probability: judged.probability,
            probability_by_law: judged.by_law,
            probability_by_monte_carlo: judged.by_trials,
            asked_probability: limits.asked,
            verdict: conforms(judged.verdict).into(),
            specific_consumers_risk: 1.0 - judged.probability,
            specific_producers_risk: judged.probability,
            guard_band: judged.guard_band,
            acceptance_limits: judged.acceptance.unwrap_or_default(),
            global_risks: global_risks.map(|(risks, prior)| GlobalRisksDocument {
                prior: described(&prior, unit),
                conforming_before_measuring: risks.conforming,
                global_consumers_risk: risks.consumers,
                global_producers_risk: risks.producers,
            }),
        }
    }
}

/// Numbers as they are to be written.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct RoundedDocument {
    /// The estimate, to the place of the expanded uncertainty.
    estimate: String,
    /// The expanded uncertainty, to two significant digits.
    expanded_uncertainty: String,
}
