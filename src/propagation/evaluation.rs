//! A measurement model through both ways of propagation, and their comparison.

use crate::model::measurement::MeasurementModel;
use crate::propagation::law::{LawError, LinearResult, Order};
use crate::propagation::monte_carlo::{
    IntervalKind, MonteCarlo, MonteCarloError, MonteCarloOptions, Trials, Validation,
};

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
    /// One a measurand, if there is Monte Carlo: whether the linear result may be used (JCGM 101 clause 8).
    pub validations: Vec<Validation>,
}

impl Evaluation {
    /// Evaluates a model. `on_progress` is told the trials done, from any thread.
    ///
    /// # Errors
    ///
    /// If the law of propagation does not apply. That Monte Carlo does not is no error: the law's result stands, and the
    /// reason beside it.
    pub fn of(
        model: &MeasurementModel,
        settings: EvaluationSettings,
        on_progress: &(dyn Fn(u64) + Sync),
    ) -> Result<Self, LawError> {
        let EvaluationSettings { coverage_probability, interval, seed, .. } = settings;
        let linear = LinearResult::of(model, coverage_probability, settings.order)?;
        let run = |trials| {
            let options = MonteCarloOptions { seed, trials, coverage_probability, interval };
            MonteCarlo::run(model, &options, on_progress)
        };
        let (monte_carlo, no_monte_carlo) = match settings.trials.map(run) {
            None => (None, None),
            Some(Ok(result)) => (Some(result), None),
            Some(Err(error)) => (None, Some(error)),
        };
        let trials = monte_carlo.iter().flat_map(|result| &result.measurands);
        let validations = linear
            .budgets
            .iter()
            .zip(trials)
            .map(|(budget, trials)| {
                Validation::of(budget, &trials.summary, interval, settings.significant_digits)
            })
            .collect();
        Ok(Self { settings, linear, monte_carlo, no_monte_carlo, validations })
    }
}
