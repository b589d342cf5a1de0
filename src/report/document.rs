//! Parts that the JSON documents of several commands have in common.

use super::text;
use crate::{
    propagation::{
        law::{Budget, SecondOrder},
        monte_carlo::{Convergence, Validation},
        region::CoverageRegions,
    },
    quantity::sample::Summary,
};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// What a sample of a quantity says of it.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct SummaryDocument {
    /// The estimate.
    pub mean: f64,
    /// The standard uncertainty.
    pub standard_deviation: f64,
    /// The probabilistically symmetric coverage interval, from and to.
    pub interval_symmetric: [f64; 2],
    /// The shortest coverage interval, from and to.
    pub interval_shortest: [f64; 2],
    /// Coverage probability of both.
    pub coverage_probability: f64,
}

impl SummaryDocument {
    /// A summary in another unit: `convert` takes a value over.
    pub fn new(summary: &Summary, convert: impl Fn(f64) -> f64) -> Self {
        Self {
            mean: convert(summary.mean),
            standard_deviation: convert(summary.standard_deviation),
            interval_symmetric: summary.interval_symmetric.map(&convert),
            interval_shortest: summary.interval_shortest.map(&convert),
            coverage_probability: summary.coverage_probability,
        }
    }
}

/// A budget by the law of propagation.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct BudgetDocument {
    /// What is measured.
    pub measurand: String,
    /// Unit of the measurand.
    pub unit: String,
    /// Its inputs.
    pub inputs: Vec<BudgetRowDocument>,
    /// The estimate of the measurand.
    pub estimate: f64,
    /// The combined standard uncertainty; null where the law of propagation does not apply, and so are the others below.
    pub combined_standard_uncertainty: Option<f64>,
    /// Effective degrees of freedom (Welch-Satterthwaite); null where they are infinite.
    pub effective_degrees_of_freedom: Option<f64>,
    /// Coverage probability of the expanded uncertainty.
    pub coverage_probability: f64,
    /// The coverage factor.
    pub coverage_factor: Option<f64>,
    /// The expanded uncertainty.
    pub expanded_uncertainty: Option<f64>,
    /// Why the law of propagation does not apply; left out where it does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub no_law: Option<String>,
}

/// One input of a budget.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct BudgetRowDocument {
    /// The input quantity.
    pub name: String,
    /// Unit of the estimate and of the standard uncertainty.
    pub unit: String,
    /// The estimate.
    pub estimate: f64,
    /// The standard uncertainty.
    pub standard_uncertainty: f64,
    /// The distribution.
    pub distribution: String,
    /// Its limits or other parameters, by the names that files have for them, in the unit of the estimate; left out
    /// where it is none of the usual ones.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parameters: Option<BTreeMap<String, f64>>,
    /// Degrees of freedom; null where they are infinite.
    pub degrees_of_freedom: Option<f64>,
    /// The sensitivity coefficient, in the measurand's unit per the input's; null where the law does not apply.
    pub sensitivity: Option<f64>,
    /// The contribution to the combined standard uncertainty.
    pub contribution: Option<f64>,
    /// The share in the combined variance.
    pub share: Option<f64>,
}

impl From<&Budget> for BudgetDocument {
    fn from(budget: &Budget) -> Self {
        Self {
            measurand: budget.measurand.clone(),
            unit: budget.unit.clone(),
            inputs: budget
                .inputs
                .iter()
                .map(|row| BudgetRowDocument {
                    name: row.name.clone(),
                    unit: row.unit.clone(),
                    estimate: row.estimate,
                    standard_uncertainty: row.standard_uncertainty,
                    distribution: row.distribution.to_string(),
                    parameters: row.density.map(|density| {
                        let named = density.parameters().into_iter();
                        named.map(|(name, value)| (name.to_string(), value)).collect()
                    }),
                    degrees_of_freedom: finite(row.degrees_of_freedom),
                    sensitivity: finite(row.sensitivity),
                    contribution: finite(row.contribution),
                    share: finite(row.share),
                })
                .collect(),
            estimate: budget.estimate,
            combined_standard_uncertainty: finite(budget.combined_standard_uncertainty),
            effective_degrees_of_freedom: finite(budget.effective_degrees_of_freedom),
            coverage_probability: budget.coverage_probability,
            coverage_factor: finite(budget.coverage_factor),
            expanded_uncertainty: finite(budget.expanded_uncertainty),
            no_law: budget.no_law.as_ref().map(|why| text::sentence(&why.to_string())),
        }
    }
}

/// What the next higher terms of the law of propagation add (GUM 5.1.2, note).
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct SecondOrderDocument {
    /// The terms that are not 0, one a pair of inputs.
    pub terms: Vec<SecondOrderTermDocument>,
    /// The combined standard uncertainty with them.
    pub combined_standard_uncertainty: f64,
    /// The expanded uncertainty with them.
    pub expanded_uncertainty: f64,
    /// Estimate minus and plus that.
    pub interval: [f64; 2],
    /// By how much the expectation lies above the estimate, which is not corrected by it.
    pub expectation_shift: f64,
}

/// What a pair of inputs adds.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct SecondOrderTermDocument {
    /// The two inputs; one twice for its own curvature.
    pub inputs: [String; 2],
    /// What they add to the variance of the measurand.
    pub variance: f64,
}

impl SecondOrderDocument {
    /// For a measurand with this estimate.
    pub fn new(second: &SecondOrder, estimate: f64) -> Self {
        let term = |term: &crate::propagation::law::SecondOrderTerm| SecondOrderTermDocument {
            inputs: [term.first.clone(), term.second.clone()],
            variance: term.variance,
        };
        Self {
            terms: second.terms.iter().map(term).collect(),
            combined_standard_uncertainty: second.combined_standard_uncertainty,
            expanded_uncertainty: second.expanded_uncertainty,
            interval: [estimate - second.expanded_uncertainty, estimate + second.expanded_uncertainty],
            expectation_shift: second.expectation_shift,
        }
    }
}

/// What Monte Carlo says of a measurand (JCGM 101).
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct MonteCarloDocument {
    /// How many trials.
    pub trials: u64,
    /// The estimate; null where the density has no mean.
    pub mean: Option<f64>,
    /// The standard uncertainty; null where the density has no standard deviation.
    pub standard_uncertainty: Option<f64>,
    /// The probabilistically symmetric coverage interval, from and to.
    pub interval_symmetric: [f64; 2],
    /// The shortest coverage interval, from and to.
    pub interval_shortest: [f64; 2],
    /// Coverage probability of both.
    pub coverage_probability: f64,
    /// How well the trials have settled; left out where their number was fixed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub convergence: Option<ConvergenceDocument>,
}

impl MonteCarloDocument {
    /// Of a summary of so many trials.
    pub fn new(summary: &Summary, n_trials: u64, convergence: Option<&Convergence>) -> Self {
        Self {
            trials: n_trials,
            mean: finite(summary.mean),
            standard_uncertainty: finite(summary.standard_deviation),
            interval_symmetric: summary.interval_symmetric,
            interval_shortest: summary.interval_shortest,
            coverage_probability: summary.coverage_probability,
            convergence: convergence.map(ConvergenceDocument::from),
        }
    }
}

/// How well adaptive trials have settled (JCGM 101 7.9.4).
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ConvergenceDocument {
    /// The digits of the standard uncertainty that were asked for.
    pub significant_digits: u32,
    /// The numerical tolerance of the standard uncertainty.
    pub delta: f64,
    /// What had to be reached.
    pub aimed_at: f64,
    /// Twice the standard deviations of the averages of estimate, standard uncertainty, low and high end; null for what the
    /// density does not have.
    pub reached: [Option<f64>; 4],
    /// Whether all of these are no larger than what was aimed at.
    pub has_settled: bool,
}

impl From<&Convergence> for ConvergenceDocument {
    fn from(c: &Convergence) -> Self {
        Self {
            significant_digits: c.significant_digits,
            delta: c.delta,
            aimed_at: c.aimed_at,
            reached: c.reached.map(finite),
            has_settled: c.has_settled,
        }
    }
}

/// Whether the linear result may be used (JCGM 101 clause 8).
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct ValidationDocument {
    /// The numerical tolerance.
    pub delta: f64,
    /// Difference of the lower ends.
    pub d_low: f64,
    /// Difference of the upper ends.
    pub d_high: f64,
    /// Standard deviations of both ends from one run of as many trials to the next.
    pub end_scatter: [f64; 2],
    /// Whether there were trials enough for the comparison not to be down to luck.
    pub is_decided: bool,
    /// Whether both are within the tolerance, and that is decided.
    pub linear_result_may_be_used: bool,
}

impl From<&Validation> for ValidationDocument {
    fn from(v: &Validation) -> Self {
        Self {
            delta: v.delta,
            d_low: v.d_low,
            d_high: v.d_high,
            end_scatter: v.end_scatter,
            is_decided: v.is_decided,
            linear_result_may_be_used: v.linear_result_may_be_used,
        }
    }
}

/// Joint coverage regions of several measurands (JCGM 102).
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct RegionsDocument {
    /// Coverage probability of either region.
    pub coverage_probability: f64,
    /// `k_p` of the ellipsoid; null where the covariances have no inverse.
    pub elliptical_factor: Option<f64>,
    /// `k_q` of the box of half-widths `k_q` times the standard uncertainties.
    pub rectangular_factor: f64,
}

impl From<&CoverageRegions> for RegionsDocument {
    fn from(r: &CoverageRegions) -> Self {
        Self {
            coverage_probability: r.coverage_probability,
            elliptical_factor: r.elliptical_factor,
            rectangular_factor: r.rectangular_factor,
        }
    }
}

/// JSON has no infinity.
pub fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}
