//! A measurement model through both ways of propagation, and their comparison.

use crate::model::measurement::MeasurementModel;
use crate::propagation::law::{LawError, LinearResult, Order};
use crate::propagation::monte_carlo::{
    IntervalKind, MonteCarlo, MonteCarloError, MonteCarloOptions, Trials, Validation,
};
use std::fmt;

/// How a model is evaluated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EvaluationSettings {
    /// Of the expanded uncertainty and of all intervals, between 0 and 1.
    pub coverage_probability: f64,
    /// How far the law of propagation goes.
    pub order: Order,
    /// How many trials; none at all if the law is to stand alone.
    pub trials: Option<Trials>,
    /// The interval by which both ways are compared.
    pub interval: IntervalKind,
    /// Digits of the standard uncertainty that are to mean something in the comparison: 1 or 2.
    pub significant_digits: u32,
    /// The seed of the trials.
    pub seed: u64,
}

/// What both ways say of a model.
#[derive(Debug, Clone)]
pub struct Evaluation {
    /// How it came about.
    pub settings: EvaluationSettings,
    /// By the law of propagation.
    pub linear: LinearResult,
    /// By Monte Carlo.
    pub monte_carlo: Option<MonteCarlo>,
    /// Why there is no Monte Carlo, though it was asked for.
    pub no_monte_carlo: Option<MonteCarloError>,
    /// One a measurand, if there is Monte Carlo: whether the linear result may be used (JCGM 101 clause 8); none where
    /// there is no linear result.
    pub validations: Vec<Option<Validation>>,
}

impl Evaluation {
    /// Evaluates a model. `on_progress` is told the trials done, from any thread.
    ///
    /// # Errors
    ///
    /// If a formula has no value at the estimates, if higher-order terms are asked for of correlated inputs, or if the law
    /// of propagation does not apply to a measurand and there is no Monte Carlo. One of the two ways is enough: the other's
    /// reason stands beside it, in [`Budget::no_law`](crate::propagation::law::Budget::no_law) or
    /// [`Evaluation::no_monte_carlo`].
    pub fn of(
        model: &MeasurementModel,
        settings: EvaluationSettings,
        on_progress: &(dyn Fn(u64) + Sync),
    ) -> Result<Self, NoResult> {
        let EvaluationSettings { coverage_probability, interval, seed, .. } = settings;
        let linear = LinearResult::where_it_applies(model, coverage_probability, settings.order)
            .map_err(|law| NoResult { law, monte_carlo: None })?;
        let run = |trials| {
            let options = MonteCarloOptions { seed, trials, coverage_probability, interval };
            MonteCarlo::run_beside(Some(&linear), model, &options, on_progress)
        };
        let (monte_carlo, no_monte_carlo) = match settings.trials.map(run) {
            None => (None, None),
            Some(Ok(result)) => (Some(result), None),
            Some(Err(error)) => (None, Some(error)),
        };
        if monte_carlo.is_none()
            && let Some(law) = linear.budgets.iter().find_map(|budget| budget.no_law.clone())
        {
            return Err(NoResult { law, monte_carlo: no_monte_carlo });
        }
        let trials = monte_carlo.iter().flat_map(|result| &result.measurands);
        let validations = linear
            .budgets
            .iter()
            .zip(trials)
            .map(|(budget, trials)| {
                let digits = settings.significant_digits;
                budget.no_law.is_none().then(|| {
                    Validation::of(budget, &trials.summary, interval, digits)
                        .with_scatter(interval.scatter_of_ends(&trials.values, coverage_probability))
                })
            })
            .collect();
        Ok(Self { settings, linear, monte_carlo, no_monte_carlo, validations })
    }
}

/// Why a model has no result at all.
#[derive(Debug, Clone, PartialEq)]
pub struct NoResult {
    /// Why the law of propagation does not apply.
    pub law: LawError,
    /// Why there is no Monte Carlo, if it was tried.
    pub monte_carlo: Option<MonteCarloError>,
}

impl fmt::Display for NoResult {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.law.fmt(f)?;
        match &self.monte_carlo {
            Some(error) => write!(f, "; nor is there a result by Monte Carlo: {error}"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for NoResult {}
