//! Propagation of distributions by Monte Carlo (JCGM 101:2008), of a formula model.

use crate::model::formula::{FormulaError, FormulaScratch};
use crate::model::measurement::{Input, Measurand, MeasurementModel, correlated_groups};
use crate::propagation::law::{Budget, LinearResult, correlation_of};
use crate::propagation::region::CoverageRegions;
use crate::propagation::sampler::{Family, Inversion, Sampler};
use crate::propagation::trials::{BLOCK, Experiment, run_trials};
use crate::quantity::correlation::{Correlation, Factor};
use crate::quantity::distribution::{Distribution, deviation_over_estimate};
use crate::quantity::sample::{Summary, mean_and_standard_deviation, quantiles};
use crate::quantity::stream::Streams;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;
use std::ops::Range;

/// How many trials to run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Trials {
    /// This many.
    Fixed(u64),
    /// As many as the result needs (JCGM 101 7.9).
    Adaptive(Adaptive),
}

/// When enough trials have been run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Adaptive {
    /// How many digits of the standard uncertainty are to mean something: 1 or 2.
    pub significant_digits: u32,
    /// Whether the result is to be compared with the law of propagation, for which a fifth of the numerical
    /// tolerance is aimed at (8.2).
    pub for_validation: bool,
    /// Give up after so many trials.
    pub at_most: u64,
}

/// Which coverage interval is meant (JCGM 101 7.7.2).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IntervalKind {
    /// With equal probabilities below and above.
    Symmetric,
    /// The shortest.
    Shortest,
}

/// What to run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonteCarloOptions {
    /// The same seed gives the same numbers, on any machine and with any number of threads.
    pub seed: u64,
    /// How many trials.
    pub trials: Trials,
    /// Of the intervals, between 0 and 1.
    pub coverage_probability: f64,
    /// Whose ends must have settled before adaptive trials end.
    pub interval: IntervalKind,
}

/// The result of a Monte Carlo run.
#[derive(Debug, Clone, PartialEq)]
pub struct MonteCarlo {
    /// The seed that gives these numbers again.
    pub seed: u64,
    /// Trials that the results are made of.
    pub n_trials: u64,
    /// One a measurand of the model.
    pub measurands: Vec<MeasurandTrials>,
    /// Covariances of the measurands over the trials (JCGM 102:2011, 7.6); each in the product of their units.
    pub covariance: Vec<Vec<f64>>,
    /// Correlation coefficients of the measurands.
    pub correlation: Vec<Vec<f64>>,
    /// Joint coverage regions, if there are several measurands (JCGM 102 7.7).
    pub regions: Option<CoverageRegions>,
    /// Inputs whose tails leave some measurand without a finite standard deviation: t with 2 degrees of freedom or fewer, of
    /// three readings or two, with 4 where its square stands in the formula, and so on. Such a measurand has no standard
    /// uncertainty and no covariances (they would grow with the number of trials), and with half as many degrees of
    /// freedom no mean: not a number. Intervals it has.
    pub inputs_without_variance: Vec<String>,
}

/// What the trials say of one measurand; numbers in its unit.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasurandTrials {
    /// What is measured.
    pub measurand: String,
    /// Its unit.
    pub unit: String,
    /// Estimate, standard uncertainty and intervals over all trials; not a number for what the density does not have
    /// ([`MonteCarlo::inputs_without_variance`]).
    pub summary: Summary,
    /// How well the adaptive trials have settled; none if their number was fixed.
    pub convergence: Option<Convergence>,
    /// Its value in every trial, in no particular order.
    pub values: Vec<f64>,
}

/// How well adaptive trials have settled (JCGM 101 7.9.4); numbers in the measurand's unit, and not a number for what the
/// density does not have. δ: 7.9.2; aimed at is δ, or δ/5 for a validation.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[schemars(
    rename = "ConvergenceDocument",
    description = "How well adaptive trials have settled (JCGM 101 7.9.4)."
)]
pub struct Convergence {
    /// The digits of the standard uncertainty that were asked for.
    pub significant_digits: u32,
    /// The numerical tolerance of the standard uncertainty.
    pub delta: f64,
    /// What had to be reached.
    pub aimed_at: f64,
    /// Twice the standard deviations of the averages of estimate, standard uncertainty, low and high end; null for what the
    /// density does not have.
    #[schemars(with = "[Option<f64>; 4]")]
    pub reached: [f64; 4],
    /// Whether all of these are no larger than what was aimed at.
    pub has_settled: bool,
}

/// Whether the linear result may be used, by the test of JCGM 101 clause 8; numbers in the measurand's unit. With δ of the
/// Monte Carlo standard uncertainty, `d_low = |y − U_p − y_low|` and `d_high = |y + U_p − y_high|`; the scatter of the ends
/// is 0 where nothing is known of it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[schemars(
    rename = "ValidationDocument",
    description = "Whether the linear result may be used (JCGM 101 clause 8)."
)]
pub struct Validation {
    /// The digits of the standard uncertainty that are to mean something.
    #[serde(skip)]
    pub significant_digits: u32,
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

impl Validation {
    /// The same comparison in another unit, of which `factor` make one of the old.
    pub fn in_unit(&self, factor: f64) -> Self {
        let [delta, d_low, d_high] = [self.delta, self.d_low, self.d_high].map(|value| value * factor);
        let end_scatter = self.end_scatter.map(|value| value * factor);
        Self { delta, d_low, d_high, end_scatter, ..*self }
    }

    /// Compares the interval `y ± U_p` of a budget with that of the trials, of the same coverage probability (8.1). The
    /// trials should have been run to δ/5 ([`Adaptive::for_validation`]), else a close verdict is down to luck:
    /// [`Validation::with_scatter`].
    ///
    /// δ is that of the trials' standard uncertainty or, where their density has none, of the law's.
    pub fn of(budget: &Budget, trials: &Summary, interval: IntervalKind, significant_digits: u32) -> Self {
        let u = match trials.standard_deviation {
            u if u.is_finite() => u,
            _ => budget.standard_uncertainty(),
        };
        let delta = numerical_tolerance(u, significant_digits);
        let [low, high] = budget.coverage_interval();
        let [y_low, y_high] = interval.of(trials);
        let (d_low, d_high) = ((low - y_low).abs(), (high - y_high).abs());
        let linear_result_may_be_used = d_low <= delta && d_high <= delta;
        Self {
            significant_digits,
            delta,
            d_low,
            d_high,
            end_scatter: [0.0; 2],
            is_decided: true,
            linear_result_may_be_used,
        }
    }

    /// The same, with how much the ends of the trials' interval scatter from run to run. The result by the law is refused
    /// where an end is farther off than δ by more than three of its standard deviations; it may be used where both ends
    /// are within δ by two of them; else there were too few trials to tell.
    pub fn with_scatter(self, end_scatter: [f64; 2]) -> Self {
        let ends = || [self.d_low, self.d_high].into_iter().zip(end_scatter);
        let refused = ends().any(|(d, s)| d - 3.0 * s > self.delta);
        let may_be_used = ends().all(|(d, s)| d + 2.0 * s <= self.delta);
        Self {
            end_scatter,
            is_decided: refused || may_be_used,
            linear_result_may_be_used: may_be_used && !refused,
            ..self
        }
    }
}

/// The numerical tolerance δ of a standard uncertainty, of which so many digits are meaningful: half of the last one's
/// place (JCGM 101 7.9.2); 0 for 0.
pub fn numerical_tolerance(standard_uncertainty: f64, significant_digits: u32) -> f64 {
    // Rounded first: 0.0996 to two digits is 0.10, whose last place is 0.01.
    let places = significant_digits.saturating_sub(1) as usize;
    let written = format!("{standard_uncertainty:.places$e}");
    match written.split_once('e').and_then(|(_, exponent)| exponent.parse::<i32>().ok()) {
        Some(exponent) if standard_uncertainty > 0.0 => {
            // Read from digits, for a power of ten would be a bit off.
            format!("5e{}", exponent - places as i32 - 1).parse().unwrap_or(0.0)
        }
        _ => 0.0,
    }
}

impl IntervalKind {
    /// The interval of this kind.
    pub fn of(self, summary: &Summary) -> [f64; 2] {
        match self {
            Self::Symmetric => summary.interval_symmetric,
            Self::Shortest => summary.interval_shortest,
        }
    }

    /// How much the ends of this interval scatter from run to run of as many trials, as standard deviations.
    ///
    /// The ends of the symmetric one are of a fixed rank; of how many values lie below a point, the binomial distribution
    /// gives the standard deviation. Those of the shortest one are had from twentieths of the trials, each with its own
    /// interval: they scatter as one over the cube root of the number of trials.
    pub fn scatter_of_ends(self, values: &[f64], coverage_probability: f64) -> [f64; 2] {
        /// As many as give the scatter to about a sixth.
        const PARTS: usize = 20;
        let n = values.len() as f64;
        if self == Self::Symmetric {
            let tail = 0.5 * (1.0 - coverage_probability);
            let off = (tail * (1.0 - tail) / n).sqrt();
            let around = [tail - off, tail + off, 1.0 - tail - off, 1.0 - tail + off];
            let at = quantiles(&mut values.to_vec(), &around.map(|p| p.clamp(0.0, 1.0)));
            return [0.5 * (at[1] - at[0]), 0.5 * (at[3] - at[2])];
        }
        let parts = values.chunks(values.len().div_ceil(PARTS).max(1));
        let ends: Vec<[f64; 2]> =
            parts.map(|part| self.of(&Summary::of(part, coverage_probability))).collect();
        let fewer = libm::cbrt(ends.len() as f64);
        [0, 1].map(|end| {
            let of_parts: Vec<f64> = ends.iter().map(|ends| ends[end]).collect();
            mean_and_standard_deviation(&of_parts).1 / fewer
        })
    }
}

impl MonteCarlo {
    /// Propagates the distributions of the model's inputs to its measurands.
    ///
    /// Correlated inputs must be jointly normal, or t with the same degrees of freedom (JCGM 101 6.4.8, JCGM 102 5.3.2): for
    /// others a correlation coefficient does not say what their joint density is.
    ///
    /// `on_progress` is told the trials done, from any thread.
    ///
    /// # Errors
    ///
    /// See [`MonteCarloError`].
    pub fn run(
        model: &MeasurementModel,
        options: &MonteCarloOptions,
        on_progress: &(dyn Fn(u64) + Sync),
    ) -> Result<Self, MonteCarloError> {
        Self::run_beside(None, model, options, on_progress)
    }

    /// The same, with the result by the law of propagation: numerical tolerances of a measurand whose density has no
    /// standard deviation go by its standard uncertainty there.
    ///
    /// # Errors
    ///
    /// See [`MonteCarloError`].
    pub fn run_beside(
        law: Option<&LinearResult>,
        model: &MeasurementModel,
        options: &MonteCarloOptions,
        on_progress: &(dyn Fn(u64) + Sync),
    ) -> Result<Self, MonteCarloError> {
        let experiment = FormulaExperiment::new(model)?;
        let groups = correlated_groups(model.correlation());
        let moments_of = |measurand| {
            groups.iter().map(|group| moments_below(model, measurand, group)).fold(f64::INFINITY, f64::min)
        };
        let moments: Vec<f64> = model.measurands().iter().map(moments_of).collect();
        let streams = Streams::new(options.seed);
        let run = |trials: Range<u64>| run_trials(&experiment, &streams, trials, on_progress);
        let (values, convergences) = match options.trials {
            Trials::Fixed(n_trials) => (run(0..n_trials), vec![None; model.measurands().len()]),
            Trials::Adaptive(adaptive) => {
                let of_law =
                    |k: usize| law.map_or(f64::NAN, |law| law.budgets[k].combined_standard_uncertainty);
                let scale = |(k, below): (usize, &f64)| (*below <= 2.0).then(|| of_law(k));
                let scales: Vec<Option<f64>> = moments.iter().enumerate().map(scale).collect();
                run_adaptive(run, &scales, options, adaptive)
            }
        };
        let n_trials = values[0].len() as u64;
        if n_trials < 2 {
            return Err(MonteCarloError::TooFew { n_trials });
        }
        let mut summaries: Vec<Summary> =
            values.iter().map(|values| Summary::of(values, options.coverage_probability)).collect();
        if summaries.iter().any(|summary| !summary.mean.is_finite()) {
            return Err(experiment.fault(&streams, &values));
        }
        for (summary, below) in summaries.iter_mut().zip(&moments) {
            *summary = summary.with_moments_below(*below);
        }
        let means: Vec<f64> = summaries.iter().map(|summary| summary.mean).collect();
        let covariance = covariance(&values, &summaries);
        let several =
            values.len() > 1 && summaries.iter().all(|summary| summary.standard_deviation.is_finite());
        let has_no_variance = |group: &&Vec<usize>| {
            model.measurands().iter().any(|measurand| moments_below(model, measurand, group) <= 2.0)
        };
        Ok(Self {
            seed: options.seed,
            n_trials,
            inputs_without_variance: groups
                .iter()
                .filter(has_no_variance)
                .flatten()
                .map(|input| model.inputs()[*input].name.clone())
                .collect(),
            correlation: correlation_of(&covariance),
            regions: several.then(|| {
                CoverageRegions::of_trials(&values, &means, &covariance, options.coverage_probability)
            }),
            covariance,
            measurands: model
                .measurands()
                .iter()
                .zip(values.into_iter().zip(summaries).zip(convergences))
                .map(|(measurand, ((values, summary), convergence))| MeasurandTrials {
                    measurand: measurand.name.clone(),
                    unit: measurand.unit.clone(),
                    summary,
                    convergence,
                    values,
                })
                .collect(),
        })
    }
}

/// A measurand has moments of orders below this one for all that the tails of these inputs, drawn together, say: t has those
/// below its degrees of freedom, and a power of it as much fewer.
fn moments_below(model: &MeasurementModel, measurand: &Measurand, group: &[usize]) -> f64 {
    let of = |i: &usize| model.inputs()[*i].knowledge.distribution.degrees_of_freedom();
    let nu = group.iter().map(of).fold(f64::INFINITY, f64::min);
    let degree = measurand.formula.degree(|input| group.contains(&input));
    if nu.is_finite() && degree > 0.0 { nu / degree } else { f64::INFINITY }
}

/// Covariances over the trials, with M − 1; the variances are those of the summaries.
fn covariance(values: &[Vec<f64>], summaries: &[Summary]) -> Vec<Vec<f64>> {
    let entry = |i: usize, j: usize| {
        let [u, v] = [i, j].map(|k| summaries[k].standard_deviation);
        if i == j || u.is_nan() || v.is_nan() {
            return u * v;
        }
        let (first, second) = (i.min(j), i.max(j));
        let products = values[first].iter().zip(&values[second]);
        let sum: f64 =
            products.map(|(a, b)| (a - summaries[first].mean) * (b - summaries[second].mean)).sum();
        sum / (values[i].len() as f64 - 1.0)
    };
    (0..values.len()).map(|i| (0..values.len()).map(|j| entry(i, j)).collect()).collect()
}

/// Runs sequences of `max(J, 10⁴)` trials, J the least whole number not below `100/(1 − p)`, until the
/// averages over the sequences have settled for every measurand (JCGM 101 7.9.4); returns the values of all of these.
fn run_adaptive(
    run: impl Fn(Range<u64>) -> Vec<Vec<f64>>,
    scales: &[Option<f64>],
    options: &MonteCarloOptions,
    adaptive: Adaptive,
) -> (Vec<Vec<f64>>, Vec<Option<Convergence>>) {
    let p = options.coverage_probability;
    let length = sequence_length(p);
    let at_most = adaptive.at_most.max(2 * length as u64) as usize;
    let mut values: Vec<Vec<f64>> = vec![Vec::new(); scales.len()];
    let mut sequences: Vec<Vec<[f64; 4]>> = vec![Vec::new(); scales.len()];
    loop {
        let end = (sequences[0].len() + 1) * length;
        if values[0].len() < end {
            // In whole blocks, and enough of them to keep the threads busy.
            let start = values[0].len();
            let stop = end.max(start + RUN_AHEAD).next_multiple_of(BLOCK);
            let more = run(start as u64..stop as u64);
            values.iter_mut().zip(more).for_each(|(values, more)| values.extend(more));
        }
        for (values, sequences) in values.iter().zip(&mut sequences) {
            let summary = Summary::of(&values[end - length..end], p);
            let [low, high] = options.interval.of(&summary);
            sequences.push([summary.mean, summary.standard_deviation, low, high]);
        }
        let convergences: Vec<Convergence> = sequences
            .iter()
            .zip(scales)
            .map(|(sequences, scale)| Convergence::of(sequences, length, adaptive, *scale))
            .collect();
        let settled = convergences.iter().all(|convergence| convergence.has_settled);
        // A value that is not a number will not settle; the caller finds it.
        let hopeless = sequences.iter().any(|sequences| sequences.iter().any(|s| s[0].is_nan()));
        if settled || hopeless || end + length > at_most {
            values.iter_mut().for_each(|values| values.truncate(end));
            return (values, convergences.into_iter().map(Some).collect());
        }
    }
}

/// Trials that are run at a time, at least, while it is not known how many will be needed.
const RUN_AHEAD: usize = 64 * BLOCK;

/// M of JCGM 101 7.9.4 b and c.
fn sequence_length(coverage_probability: f64) -> usize {
    // 100/(1 − 0.9999) is a little more than 10⁶ in binary, which must not count as more.
    let exact = 100.0 / (1.0 - coverage_probability);
    let least = (exact * (1.0 - 1e-9)).ceil() as usize;
    least.max(10_000)
}

impl Convergence {
    /// From the averages of each sequence: estimate, standard uncertainty, low and high end. Where the density has no
    /// standard deviation, `scale` stands for it, and only the ends have to settle.
    fn of(sequences: &[[f64; 4]], length: usize, adaptive: Adaptive, scale: Option<f64>) -> Self {
        let (h, m) = (sequences.len() as f64, length as f64);
        let average = |k: usize| sequences.iter().map(|s| s[k]).sum::<f64>() / h;
        let twice = |k: usize| {
            let mean = average(k);
            let squares: f64 = sequences.iter().map(|s| (s[k] - mean).powi(2)).sum();
            2.0 * (squares / (h * (h - 1.0))).sqrt()
        };
        let mut reached = [0, 1, 2, 3].map(twice);
        // The standard deviation of all h·M values, from those of the sequences.
        let mean = average(0);
        let squares: f64 =
            sequences.iter().map(|[y, u, ..]| (m - 1.0) * u * u + m * (y - mean) * (y - mean)).sum();
        let u = match scale {
            None => (squares / (h * m - 1.0)).sqrt(),
            Some(u) if u.is_finite() => u,
            // About what the interval of a normal would make of it.
            Some(_) => 0.25 * (average(3) - average(2)),
        };
        if scale.is_some() {
            reached[..2].fill(f64::NAN);
        }
        let delta = numerical_tolerance(u, adaptive.significant_digits);
        let aimed_at = if adaptive.for_validation { delta / 5.0 } else { delta };
        Self {
            significant_digits: adaptive.significant_digits,
            delta,
            aimed_at,
            reached,
            has_settled: sequences.len() > 1
                && reached.iter().all(|twice| twice.is_nan() || *twice <= aimed_at),
        }
    }
}

/// A measurement model as an experiment: every trial draws the inputs and evaluates the formulas.
///
/// An input's source of random numbers has the input's name; inputs that are correlated are drawn
/// together, from one source with all their names.
#[derive(Debug)]
pub struct FormulaExperiment<'m> {
    model: &'m MeasurementModel,
    sources: Vec<InputSource>,
}

/// Inputs that are drawn together.
#[derive(Debug)]
struct InputSource {
    name: String,
    inputs: Vec<usize>,
    draw: Draw,
}

#[derive(Debug)]
enum Draw {
    /// One input on its own.
    Alone(Sampler),
    /// `x_i = location_i + scale_i Σ_k L_ik z_k`; for t, times `√(ν/χ²)` of one chi-squared draw for all.
    Together { normal: Inversion, factor: Factor, places: Vec<[f64; 2]>, degrees_of_freedom: Option<f64> },
}

/// Working memory of a [`FormulaExperiment`].
#[derive(Debug)]
pub struct FormulaExperimentScratch {
    inputs: Vec<Vec<f64>>,
    together: Vec<f64>,
    formulas: Vec<FormulaScratch>,
}

impl<'m> FormulaExperiment<'m> {
    /// Makes the model's distributions ready to be drawn from.
    ///
    /// # Errors
    ///
    /// If inputs are correlated that have no joint density known to us.
    pub fn new(model: &'m MeasurementModel) -> Result<Self, MonteCarloError> {
        let source = |group: Vec<usize>| {
            let inputs: Vec<usize> =
                group.into_iter().filter(|i| !model.inputs()[*i].knowledge.is_exact()).collect();
            let names: Vec<&str> = inputs.iter().map(|i| model.inputs()[*i].name.as_str()).collect();
            let draw = match inputs[..] {
                [] => return Ok(None),
                [alone] => Draw::Alone(Sampler::new(model.inputs()[alone].knowledge.distribution)),
                _ => Draw::together(model, &inputs)?,
            };
            Ok(Some(InputSource { name: names.join(", "), inputs, draw }))
        };
        let groups = correlated_groups(model.correlation());
        let sources: Result<Vec<Option<InputSource>>, MonteCarloError> =
            groups.into_par_iter().map(source).collect();
        Ok(Self { model, sources: sources?.into_iter().flatten().collect() })
    }

    /// The first trial in which a measurand has no value.
    fn fault(&self, streams: &Streams, values: &[Vec<f64>]) -> MonteCarloError {
        let faulty = |trial: &usize| values.iter().any(|values| !values[*trial].is_finite());
        let n_trials = values[0].len();
        let n_faulty = (0..n_trials).filter(faulty).count();
        let trial = (0..n_trials).find(faulty).unwrap_or(0);
        let start = trial - trial % BLOCK;
        let mut scratch = self.scratch();
        self.draw(streams, start as u64, trial - start + 1, &mut scratch);
        let point: Vec<f64> = scratch.inputs.iter().map(|input| input[trial - start]).collect();
        for measurand in self.model.measurands() {
            if let Err(error) = measurand.formula.value(&point) {
                let names = self.model.inputs().iter().map(|input| input.name.clone());
                return MonteCarloError::Fault(Box::new(TrialFault {
                    measurand: measurand.name.clone(),
                    error,
                    trial: trial as u64,
                    inputs: names.zip(point).collect(),
                    n_faulty: n_faulty as u64,
                    n_trials: n_trials as u64,
                }));
            }
        }
        MonteCarloError::TooFew { n_trials: n_trials as u64 }
    }

    /// Draws `n` trials of all inputs, from trial `start` on, the first of a block.
    fn draw(&self, streams: &Streams, start: u64, n: usize, scratch: &mut FormulaExperimentScratch) {
        for source in &self.sources {
            let draws = &mut streams.source(&source.name).trial(start);
            match &source.draw {
                Draw::Alone(sampler) => sampler.fill(draws, &mut scratch.inputs[source.inputs[0]][..n]),
                Draw::Together { normal, factor, places, degrees_of_freedom } => {
                    let together = &mut scratch.together[..source.inputs.len()];
                    for t in 0..n {
                        together.iter_mut().for_each(|z| *z = normal.draw(draws));
                        factor.correlate(together);
                        let wider = degrees_of_freedom.map_or(1.0, |nu| deviation_over_estimate(nu, draws));
                        for ((input, [location, scale]), z) in
                            source.inputs.iter().zip(places).zip(&*together)
                        {
                            scratch.inputs[*input][t] = location + scale * wider * z;
                        }
                    }
                }
            }
        }
    }
}

impl Draw {
    fn together(model: &MeasurementModel, inputs: &[usize]) -> Result<Self, MonteCarloError> {
        let of = |i: &usize| -> &Input { &model.inputs()[*i] };
        let place = |i: &usize| match of(i).knowledge.distribution {
            Distribution::Normal { mean, standard_deviation } => Some(([mean, standard_deviation], None)),
            Distribution::StudentT { location, scale, degrees_of_freedom } => {
                Some(([location, scale], Some(degrees_of_freedom)))
            }
            _ => None,
        };
        let refused = || MonteCarloError::NoJointDensity {
            inputs: inputs.iter().map(|i| of(i).name.clone()).collect(),
        };
        let placed: Vec<([f64; 2], Option<f64>)> =
            inputs.iter().map(place).collect::<Option<_>>().ok_or_else(refused)?;
        let degrees_of_freedom = placed[0].1;
        if placed.iter().any(|(_, other)| *other != degrees_of_freedom) {
            return Err(refused());
        }
        let names: Vec<&str> = inputs.iter().map(|i| of(i).name.as_str()).collect();
        let mut pairs = Vec::new();
        for (a, i) in inputs.iter().enumerate() {
            for (b, j) in inputs.iter().enumerate().skip(a + 1) {
                pairs.push((names[a], names[b], model.correlation().coefficient(*i, *j)));
            }
        }
        // A part of possible coefficients is possible.
        let correlation = Correlation::from_pairs(&names, &pairs).map_err(|_| refused())?;
        Ok(Self::Together {
            normal: Inversion::of(Family::Normal),
            factor: correlation.factor(),
            places: placed.into_iter().map(|(place, _)| place).collect(),
            degrees_of_freedom,
        })
    }
}

impl Experiment for FormulaExperiment<'_> {
    type Scratch = FormulaExperimentScratch;

    fn n_outputs(&self) -> usize {
        self.model.measurands().len()
    }

    fn scratch(&self) -> FormulaExperimentScratch {
        // What is exactly known is never drawn over.
        let inputs = self.model.inputs().iter().map(|input| vec![input.knowledge.estimate; BLOCK]).collect();
        let formulas =
            self.model.measurands().iter().map(|measurand| measurand.formula.scratch(BLOCK)).collect();
        FormulaExperimentScratch { inputs, together: vec![0.0; self.model.inputs().len()], formulas }
    }

    fn run_block(
        &self,
        streams: &Streams,
        trials: Range<u64>,
        out: &mut [&mut [f64]],
        scratch: &mut FormulaExperimentScratch,
    ) {
        self.draw(streams, trials.start, (trials.end - trials.start) as usize, scratch);
        for ((measurand, out), formula) in self.model.measurands().iter().zip(out).zip(&mut scratch.formulas)
        {
            measurand.formula.evaluate_block(&scratch.inputs, out, formula);
        }
    }
}

/// Why there is no Monte Carlo result.
#[derive(Debug, Clone, PartialEq)]
pub enum MonteCarloError {
    /// These inputs are correlated, but not jointly normal, nor t with the same degrees of freedom.
    NoJointDensity {
        /// Their names.
        inputs: Vec<String>,
    },
    /// A formula had no value in some of the trials.
    Fault(Box<TrialFault>),
    /// Too few trials for a result.
    TooFew {
        /// How many there were.
        n_trials: u64,
    },
}

/// A trial in which a formula has no value.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialFault {
    /// Which measurand's formula.
    pub measurand: String,
    /// Where in it, and why.
    pub error: FormulaError,
    /// The number of the trial, the first of its kind.
    pub trial: u64,
    /// What was drawn in it, by the inputs' names.
    pub inputs: Vec<(String, f64)>,
    /// How many trials are like it.
    pub n_faulty: u64,
    /// Of how many.
    pub n_trials: u64,
}

impl fmt::Display for MonteCarloError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoJointDensity { inputs } => write!(
                f,
                "the correlation of {} does not say what their joint density is: it does if all are normal, or all t with the same degrees of freedom",
                inputs.join(", ")
            ),
            Self::Fault(fault) => fault.fmt(f),
            Self::TooFew { n_trials } => {
                write!(f, "{n_trials} trials are too few for a result; run at least 2")
            }
        }
    }
}

impl fmt::Display for TrialFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { measurand, error, trial, inputs, n_faulty, n_trials } = self;
        let drawn: Vec<String> = inputs.iter().map(|(name, value)| format!("{name} = {value}")).collect();
        write!(
            f,
            "the formula of {measurand} has no value in {n_faulty} of {n_trials} trials; in trial {trial}, {error}; with {}; give the inputs distributions that stay where the formula has values",
            drawn.join(", ")
        )
    }
}

impl std::error::Error for MonteCarloError {}

impl std::error::Error for TrialFault {}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::measurement::Knowledge;
    use crate::propagation::law::{LinearResult, Order};

    fn input(name: &str, distribution: Distribution) -> Input {
        Input { name: name.into(), unit: "1".into(), knowledge: Knowledge::of(distribution) }
    }

    fn normal(name: &str) -> Input {
        input(name, Distribution::Normal { mean: 0.0, standard_deviation: 1.0 })
    }

    fn options(trials: Trials) -> MonteCarloOptions {
        MonteCarloOptions { seed: 1, trials, coverage_probability: 0.95, interval: IntervalKind::Symmetric }
    }

    fn run(formulas: &[&str], inputs: Vec<Input>, pairs: &[(&str, &str, f64)], trials: Trials) -> MonteCarlo {
        let names: Vec<String> = (0..formulas.len()).map(|k| format!("y{k}")).collect();
        let measurands: Vec<(&str, &str, &str)> =
            names.iter().zip(formulas).map(|(n, f)| (&**n, "1", *f)).collect();
        let model = MeasurementModel::new(&measurands, inputs, pairs).unwrap();
        MonteCarlo::run(&model, &options(trials), &|_| ()).unwrap()
    }

    /// The examples of JCGM 101 7.9.2, 9.2.2, 9.2.4, 9.3 and 9.5, and one where rounding carries.
    #[test]
    fn numerical_tolerances_are_half_the_last_digit() {
        for (u, digits, delta) in [
            (0.00035, 2, 0.000005),
            (0.00035, 1, 0.00005),
            (2.0, 1, 0.5),
            (2.0, 2, 0.05),
            (10.1, 2, 0.5),
            (10.1, 1, 5.0),
            (0.0754, 1, 0.005),
            (36.0, 2, 0.5),
            (0.0996, 2, 0.005),
            (0.0, 2, 0.0),
        ] {
            assert_eq!(numerical_tolerance(u, digits), delta, "{u} {digits}");
        }
    }

    /// JCGM 101 7.9.4: J is the least whole number not below 100/(1 − p), and M = max(J, 10⁴).
    #[test]
    fn sequences_have_the_prescribed_length() {
        for (p, length) in
            [(0.95, 10_000), (0.99, 10_000), (0.995, 20_000), (0.999, 100_000), (0.9999, 1_000_000)]
        {
            assert_eq!(sequence_length(p), length, "{p}");
        }
    }

    #[test]
    fn threads_and_number_of_trials_move_no_trial() {
        let inputs = || {
            vec![
                normal("a"),
                normal("b"),
                input("c", Distribution::StudentT { location: 1.0, scale: 2.0, degrees_of_freedom: 4.0 }),
                input("d", Distribution::Gamma { shape: 2.5, scale: 1.0 }),
            ]
        };
        let run = |n: u64, threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| run(&["a*b + c", "d - a"], inputs(), &[("a", "b", 0.5)], Trials::Fixed(n)))
        };
        let one = run(20_000, 1);
        for threads in [2, 7] {
            assert_eq!(one, run(20_000, threads));
        }
        let short = run(1_000, 2);
        assert_eq!(one.measurands[1].values[..1_000], short.measurands[1].values);
    }

    #[test]
    fn correlated_normals_have_their_correlation() {
        let n = 100_000;
        let result =
            run(&["a", "b", "a - b"], vec![normal("a"), normal("b")], &[("a", "b", 0.8)], Trials::Fixed(n));
        // The standard deviation of a correlation coefficient is (1 − r²)/√n (Fisher).
        assert!((result.correlation[0][1] - 0.8).abs() < 5.0 * 0.36 / (n as f64).sqrt());
        assert!((result.covariance[2][2] - 0.4).abs() < 5.0 * 0.4 * (2.0 / n as f64).sqrt());
        for (r, difference) in [(1.0, 0.0), (-1.0, 2.0)] {
            let result = run(&["a - b"], vec![normal("a"), normal("b")], &[("a", "b", r)], Trials::Fixed(n));
            let u = result.measurands[0].summary.standard_deviation;
            assert!((u - difference).abs() <= 5.0 * difference / (2.0 * n as f64).sqrt(), "{r}: {u}");
        }
    }

    /// Of a multivariate t every sum is again t; with independent draws of χ² the sum's tails would be lighter.
    #[test]
    fn correlated_t_share_their_tails() {
        let t =
            |name| input(name, Distribution::StudentT { location: 0.0, scale: 1.0, degrees_of_freedom: 3.0 });
        let result = run(&["a + b"], vec![t("a"), t("b")], &[("a", "b", 0.5)], Trials::Fixed(400_000));
        let expected = 3.0_f64.sqrt() * crate::quantity::student::t_quantile(0.975, 3.0);
        let [low, high] = result.measurands[0].summary.interval_symmetric;
        assert!((high / expected - 1.0).abs() < 0.02 && (low / expected + 1.0).abs() < 0.02, "{low} {high}");
    }

    #[test]
    fn inputs_without_variance_are_named() {
        let t = |name, degrees_of_freedom| {
            input(name, Distribution::StudentT { location: 0.0, scale: 1.0, degrees_of_freedom })
        };
        let inputs = || vec![t("a", 2.0), t("b", 2.1), t("c", 1.0)];
        let result = run(&["a + b", "b", "b + c"], inputs(), &[], Trials::Fixed(1_000));
        assert_eq!(result.inputs_without_variance, ["a", "c"]);
        let moments = result.measurands.iter().map(|m| [m.summary.mean, m.summary.standard_deviation]);
        let known: Vec<[bool; 2]> = moments.map(|moments| moments.map(f64::is_finite)).collect();
        assert_eq!(known, [[true, false], [true, true], [false, false]]);
        assert!(result.measurands[2].summary.interval_symmetric[1].is_finite());
        assert!(result.covariance[0][1].is_nan() && result.covariance[1][1].is_finite());
        assert!(result.correlation[0][1].is_nan() && result.regions.is_none());
        // The ends settle, and nothing else is waited for.
        let trials =
            Trials::Adaptive(Adaptive { significant_digits: 1, for_validation: false, at_most: 2_000_000 });
        let convergence = run(&["a"], inputs(), &[], trials).measurands[0].convergence.unwrap();
        assert!(convergence.has_settled && convergence.reached[1].is_nan() && convergence.delta == 0.5);
    }

    /// The standard deviation of a quantile is `√(p(1 − p)/n)` over the density there (Cramér 1946, 28.5); for a normal's
    /// 2.5 % from 10⁵ values, 0.00845.
    #[test]
    fn the_scatter_of_the_ends_is_that_of_quantiles() {
        let result = run(&["a"], vec![normal("a")], &[], Trials::Fixed(100_000));
        let values = &result.measurands[0].values;
        for s in IntervalKind::Symmetric.scatter_of_ends(values, 0.95) {
            assert!((s / 0.00845 - 1.0).abs() < 0.3, "{s}");
        }
        // The shortest interval is as long, but where it lies is known worse.
        for s in IntervalKind::Shortest.scatter_of_ends(values, 0.95) {
            assert!((0.009..0.1).contains(&s), "{s}");
        }
    }

    #[test]
    fn too_few_trials_decide_nothing() {
        let compared = |d, scatter| {
            let exact = Validation {
                significant_digits: 1,
                delta: 1.0,
                d_low: 0.0,
                d_high: d,
                end_scatter: [0.0; 2],
                is_decided: true,
                linear_result_may_be_used: d <= 1.0,
            };
            let found = exact.with_scatter([0.0, scatter]);
            (found.is_decided, found.linear_result_may_be_used)
        };
        assert_eq!(compared(0.79, 0.1), (true, true));
        assert_eq!(compared(0.9, 0.1), (false, false));
        assert_eq!(compared(1.1, 0.1), (false, false));
        assert_eq!(compared(1.4, 0.1), (true, false));
        assert_eq!(compared(0.1, 0.6), (false, false));
        assert_eq!(compared(3.0, 0.6), (true, false));
        use crate::quantity::student::normal_quantile;
        // Of an end that is truly off by just more than δ, the normal distribution lets 1 of 44 runs pass, Φ(−2).
        let n = 40_000;
        let passed = (0..n)
            .map(|k| (f64::from(k) + 0.5) / f64::from(n))
            .filter(|&p| compared(1.0 + 1e-9 + 0.2 * normal_quantile(p), 0.2).1)
            .count();
        assert!((passed as f64 / f64::from(n) - 0.02275).abs() < 1e-4, "{passed} of {n}");
    }

    #[test]
    fn a_correlation_without_joint_density_is_refused() {
        let rectangle = input("r", Distribution::Rectangular { low: 0.0, high: 1.0 });
        let inputs = vec![normal("a"), rectangle];
        let model = MeasurementModel::new(&[("y", "1", "a + r")], inputs, &[("a", "r", 0.5)]).unwrap();
        let error = MonteCarlo::run(&model, &options(Trials::Fixed(100)), &|_| ()).unwrap_err();
        assert_eq!(error, MonteCarloError::NoJointDensity { inputs: vec!["a".into(), "r".into()] });
    }

    #[test]
    fn a_trial_without_value_is_found_again() {
        let positive_mostly = input("x", Distribution::Normal { mean: 3.0, standard_deviation: 1.0 });
        let model = MeasurementModel::new(&[("y", "1", "1 + ln(x)")], vec![positive_mostly], &[]).unwrap();
        let error = MonteCarlo::run(&model, &options(Trials::Fixed(50_000)), &|_| ()).unwrap_err();
        let MonteCarloError::Fault(fault) = error else { panic!("{error}") };
        // P(x < 0) is 0.00135.
        assert!((30..110).contains(&fault.n_faulty), "{fault}");
        assert!(fault.inputs[0].1 < 0.0 && fault.error.column == 5, "{fault}");
        let few = MonteCarlo::run(&model, &options(Trials::Fixed(1)), &|_| ());
        assert_eq!(few, Err(MonteCarloError::TooFew { n_trials: 1 }));
    }

    #[test]
    fn adaptive_trials_end_when_they_have_settled() {
        let adaptive = |significant_digits, for_validation, at_most| {
            let trials = Trials::Adaptive(Adaptive { significant_digits, for_validation, at_most });
            run(&["a + b"], vec![normal("a"), normal("b")], &[], trials)
        };
        // u = 1.41: to two digits, δ = 0.05. For 2 s(high) ≤ δ some (2·√(0.975·0.025)/(0.058/1.41)/0.05)² = 2·10⁴ trials do.
        let result = adaptive(2, false, 1_000_000);
        let convergence = result.measurands[0].convergence.unwrap();
        assert_eq!((convergence.delta, convergence.aimed_at, convergence.has_settled), (0.05, 0.05, true));
        assert!(result.n_trials.is_multiple_of(10_000) && (20_000..200_000).contains(&result.n_trials));
        assert_eq!(result.measurands[0].values.len() as u64, result.n_trials);
        // 25 times as many for a fifth of δ.
        let result = adaptive(2, true, 10_000_000);
        assert!((200_000..3_000_000).contains(&result.n_trials), "{}", result.n_trials);
        let capped = adaptive(3, true, 100_000);
        let convergence = capped.measurands[0].convergence.unwrap();
        assert_eq!((capped.n_trials, convergence.has_settled), (100_000, false));
        assert!(convergence.reached[3] > convergence.aimed_at);
    }

    /// For jointly normal measurands both factors are known: √χ²₀.₉₅(2), and the solution of (2Φ(k) − 1)² = 0.95
    /// for independent ones, 2.2365.
    #[test]
    fn regions_of_normal_measurands_have_the_known_factors() {
        let result = run(&["a", "2*b"], vec![normal("a"), normal("b")], &[], Trials::Fixed(400_000));
        let regions = result.regions.unwrap();
        assert!((regions.elliptical_factor.unwrap() - (-2.0 * 0.05_f64.ln()).sqrt()).abs() < 0.01);
        assert!((regions.rectangular_factor - 2.2365).abs() < 0.01);
    }

    #[test]
    fn the_comparison_tells_a_normal_from_a_wide_rectangle() {
        let verdict = |widths: [f64; 4]| {
            let rectangle = |(k, w): (usize, &f64)| {
                input(&format!("x{k}"), Distribution::Rectangular { low: -w, high: *w })
            };
            let inputs: Vec<Input> = widths.iter().enumerate().map(rectangle).collect();
            let model = MeasurementModel::new(&[("y", "1", "x0 + x1 + x2 + x3")], inputs, &[]).unwrap();
            let budget = LinearResult::of(&model, 0.95, Order::First).unwrap().budgets.remove(0);
            let trials = MonteCarlo::run(&model, &options(Trials::Fixed(100_000)), &|_| ()).unwrap();
            Validation::of(&budget, &trials.measurands[0].summary, IntervalKind::Symmetric, 1)
        };
        assert!(verdict([1.0; 4]).linear_result_may_be_used);
        assert!(!verdict([1.0, 0.1, 0.1, 0.1]).linear_result_may_be_used);
    }
}
