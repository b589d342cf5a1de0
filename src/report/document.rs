//! Parts that the JSON documents of several commands have in common.

use crate::{propagation::law::Budget, quantity::sample::Summary};
use schemars::JsonSchema;
use serde::Serialize;

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
    /// The combined standard uncertainty.
    pub combined_standard_uncertainty: f64,
    /// Effective degrees of freedom (Welch-Satterthwaite); null where they are infinite.
    pub effective_degrees_of_freedom: Option<f64>,
    /// Coverage probability of the expanded uncertainty.
    pub coverage_probability: f64,
    /// The coverage factor.
    pub coverage_factor: f64,
    /// The expanded uncertainty.
    pub expanded_uncertainty: f64,
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
    /// Degrees of freedom; null where they are infinite.
    pub degrees_of_freedom: Option<f64>,
    /// The sensitivity coefficient, in the measurand's unit per the input's.
    pub sensitivity: f64,
    /// The contribution to the combined standard uncertainty.
    pub contribution: f64,
    /// The share in the combined variance.
    pub share: f64,
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
                    degrees_of_freedom: finite(row.degrees_of_freedom),
                    sensitivity: row.sensitivity,
                    contribution: row.contribution,
                    share: row.share,
                })
                .collect(),
            estimate: budget.estimate,
            combined_standard_uncertainty: budget.combined_standard_uncertainty,
            effective_degrees_of_freedom: finite(budget.effective_degrees_of_freedom),
            coverage_probability: budget.coverage_probability,
            coverage_factor: budget.coverage_factor,
            expanded_uncertainty: budget.expanded_uncertainty,
        }
    }
}

/// JSON has no infinity.
pub fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}
