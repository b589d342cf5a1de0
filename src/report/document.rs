//! Parts that the JSON documents of several commands have in common.

use super::text;
use crate::{
    propagation::{
        law::{Budget, SecondOrder},
        monte_carlo::Convergence,
    },
    quantity::sample::Summary,
};
use schemars::JsonSchema;
use serde::Serialize;

/// A budget by the law of propagation.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct BudgetDocument {
    #[serde(flatten)]
    budget: Budget,
    /// Why the law of propagation does not apply; left out where it does.
    #[serde(skip_serializing_if = "Option::is_none")]
    no_law: Option<String>,
}

impl From<Budget> for BudgetDocument {
    fn from(budget: Budget) -> Self {
        let no_law = budget.no_law.as_ref().map(|why| text::sentence(&why.to_string()));
        Self { budget, no_law }
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
    pub convergence: Option<Convergence>,
}

impl MonteCarloDocument {
    /// Of a summary of so many trials.
    pub fn new(summary: &Summary, n_trials: u64, convergence: Option<Convergence>) -> Self {
        Self {
            trials: n_trials,
            mean: finite(summary.mean),
            standard_uncertainty: finite(summary.standard_deviation),
            interval_symmetric: summary.interval_symmetric,
            interval_shortest: summary.interval_shortest,
            coverage_probability: summary.coverage_probability,
            convergence,
        }
    }
}

/// JSON has no infinity.
pub fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}
