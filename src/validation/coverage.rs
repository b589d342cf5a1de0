//! Repeated measurements whose truth is known: does what is claimed hold as often as is claimed?

use crate::model::measurement::{Input, Knowledge, MeasurementModel};
use crate::propagation::check_experiment::{CheckExperiment, Output};
use crate::propagation::judged_checks::judged_checks;
use crate::propagation::monte_carlo::{IntervalKind, MonteCarlo, MonteCarloOptions, Trials};
use crate::propagation::posterior;
use crate::propagation::trials::run_trials;
use crate::quantity::distribution::Distribution;
use crate::quantity::sample::{Summary, mean_and_standard_deviation};
use crate::quantity::stream::Streams;
use crate::quantity::student::t_quantile;
use crate::setup::Setup;
use schemars::JsonSchema;
use serde::Serialize;

/// How many standard deviations a count or a mean may be off: 4 are met by chance 1 time in 16 000.
const ALLOWED: f64 = 4.0;

/// One check of the simulator; the tolerance is four standard deviations of what is counted, or five of a χ².
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CoverageCheck {
    /// What is repeated and what is counted.
    pub name: String,
    /// How often it was repeated.
    #[serde(rename = "repeats")]
    pub n_repeats: u64,
    /// What theory expects.
    pub expected: f64,
    /// What was found.
    pub found: f64,
    /// How far both may be apart.
    pub tolerance: f64,
    /// Where the expectation comes from.
    pub source: String,
}

impl CoverageCheck {
    /// Whether what was found is near enough to what is expected.
    pub fn agrees(&self) -> bool {
        (self.found - self.expected).abs() <= self.tolerance
    }
}

/// All checks, each of `n_trials` or fewer repeated measurements.
///
/// # Errors
///
/// If one of the embedded setups cannot be read or simulated, which would be a mistake of ours.
pub fn coverage_checks(n_trials: u64, seed: u64) -> Result<Vec<CoverageCheck>, String> {
    let mut checks = vec![means_of_readings(n_trials, seed)?, estimates_of_runs(n_trials, seed)?];
    checks.push(range_of_noise(n_trials, seed)?);
    checks.push(spread_in_its_interval(n_trials, seed)?);
    checks.extend(judged_plates(n_trials, seed)?);
    Ok(checks)
}

/// Five readings of a known value, again and again: how often does the mean ± t s/√n hold it?
fn means_of_readings(n_trials: u64, seed: u64) -> Result<CoverageCheck, String> {
    let reading = Knowledge::of(Distribution::Normal { mean: 10.0, standard_deviation: 0.3 });
    let inputs = (1..=5).map(|k| Input { name: format!("x{k}"), unit: "mm".into(), knowledge: reading });
    let mean = "(x1 + x2 + x3 + x4 + x5)/5";
    let squares: Vec<String> = (1..=5).map(|k| format!("(x{k} - {mean})^2")).collect();
    let t = format!("({mean} - 10)/sqrt(({})/20)", squares.join(" + "));
    let model =
        MeasurementModel::new(&[("t", "1", &t)], inputs.collect(), &[]).map_err(|f| format!("{f:?}"))?;
    let result = run(&model, n_trials, seed)?;
    let factor = t_quantile(0.975, 4.0);
    let covered = result.measurands[0].values.iter().filter(|t| t.abs() <= factor).count();
    Ok(CoverageCheck {
        name: "five readings of a known value: share of intervals mean ± t s/√5 that hold it".into(),
        n_repeats: n_trials,
        expected: 0.95,
        found: covered as f64 / n_trials as f64,
        tolerance: ALLOWED * binomial(0.95, n_trials),
        source: "JCGM 100:2008, G.3; limits of the binomial distribution".into(),
    })
}

/// A sum of four rectangular quantities, by many short runs of different seeds: how often do mean ± 1.96 u/√M hold
/// the exact value?
fn estimates_of_runs(n_trials: u64, seed: u64) -> Result<CoverageCheck, String> {
    const RUN: u64 = 1000;
    let half = libm::sqrt(3.0);
    let knowledge = Knowledge::of(Distribution::Rectangular { low: -half, high: half });
    let inputs = (1..=4).map(|k| Input { name: format!("X{k}"), unit: "1".into(), knowledge });
    let model = MeasurementModel::new(&[("Y", "1", "X1 + X2 + X3 + X4")], inputs.collect(), &[])
        .map_err(|f| format!("{f:?}"))?;
    let n_runs = (n_trials / RUN).clamp(200, 2000);
    let mut covered = 0;
    for k in 0..n_runs {
        let summary = run(&model, RUN, seed.wrapping_add(k))?.measurands[0].summary;
        let reach = t_quantile(0.975, f64::INFINITY) * summary.standard_deviation / libm::sqrt(RUN as f64);
        covered += u64::from(summary.mean.abs() <= reach);
    }
    Ok(CoverageCheck {
        name: format!(
            "{RUN} trials of a sum of four rectangular quantities, seed by seed: share of runs whose mean ± 1.96 u/√M holds 0"
        ),
        n_repeats: n_runs,
        expected: 0.95,
        found: covered as f64 / n_runs as f64,
        tolerance: ALLOWED * binomial(0.95, n_runs),
        source: "JCGM 101:2008, 7.6 and 9.2.3; limits of the binomial distribution".into(),
    })
}

/// A perfect plate and nothing but a normal repeatability: nine readings span d₂(9) of it on average.
fn range_of_noise(n_trials: u64, seed: u64) -> Result<CoverageCheck, String> {
    // d₂ of nine, from tables of quality control (ASTM Manual on Presentation of Data; from memory) and, to more
    // digits, by quadrature of 1 − Φⁿ − (1 − Φ)ⁿ.
    const D2_OF_NINE: f64 = 2.970_026;
    let check = setup(include_str!("noise-alone.json"))?.check;
    let experiment = CheckExperiment::new(&check).map_err(|error| error.to_string())?;
    let n_trials = n_trials.min(100_000);
    let outputs = run_trials(&experiment, &Streams::new(seed), 0..n_trials, &|_| {});
    let (mean, s) = mean_and_standard_deviation(&outputs[Output::Spread as usize]);
    let sigma = check.indicator.repeatability;
    Ok(CoverageCheck {
        name: "shop check of a perfect plate with nothing but repeatability: mean spread of nine readings over its standard deviation"
            .into(),
        n_repeats: n_trials,
        expected: D2_OF_NINE,
        found: mean / sigma,
        tolerance: ALLOWED * s / sigma / libm::sqrt(n_trials as f64),
        source: "d₂ for nine, tables of quality control charts".into(),
    })
}

/// The interval of the spread's error from one run: how many checks of another run are in it?
fn spread_in_its_interval(n_trials: u64, seed: u64) -> Result<CoverageCheck, String> {
    let check = setup(include_str!("usual-check.json"))?.check;
    let experiment = CheckExperiment::new(&check).map_err(|error| error.to_string())?;
    let n_trials = n_trials.min(20_000);
    let errors = |seed: u64| -> Vec<f64> {
        let outputs = run_trials(&experiment, &Streams::new(seed), 0..n_trials, &|_| {});
        let spread = outputs[Output::Spread as usize].iter();
        spread.zip(&outputs[Output::Flatness as usize]).map(|(spread, flatness)| spread - flatness).collect()
    };
    let [low, high] = Summary::of(&errors(seed), 0.95).interval_symmetric;
    let covered = errors(seed.wrapping_add(1)).iter().filter(|e| (low..=high).contains(*e)).count();
    Ok(CoverageCheck {
        name: "shop checks of plates in daily use: share of one run's errors of the spread within the 95 % interval of another run"
            .into(),
        n_repeats: n_trials,
        expected: 0.95,
        found: covered as f64 / n_trials as f64,
        // Both the interval and the share scatter.
        tolerance: ALLOWED * libm::sqrt(2.0) * binomial(0.95, n_trials),
        source: "JCGM 101:2008, 7.7; limits of the binomial distribution".into(),
    })
}

/// Shop checks judged from their own readings: how often do the intervals hold the true flatness, and does the truth
/// stand at any rank among the posterior's draws alike?
fn judged_plates(n_trials: u64, seed: u64) -> Result<[CoverageCheck; 2], String> {
    const N_BINS: usize = 10;
    let check = setup(include_str!("usual-check.json"))?.check;
    let experiment = CheckExperiment::new(&check).map_err(|error| error.to_string())?;
    let n_plates = (n_trials / 5000).clamp(100, 2000);
    let settings =
        posterior::Settings { n_particles: 300, effective_sample_size: 600.0, rounds: [4, 12], seed };
    let judged =
        judged_checks(&experiment, &Streams::new(seed), 0..n_plates, settings, |truth, posterior| {
            let [low, high] = posterior.summary(0.95).interval_symmetric;
            let below = posterior.flatness.iter().filter(|flatness| **flatness < truth).count();
            ((low..=high).contains(&truth), (below * N_BINS / posterior.flatness.len()).min(N_BINS - 1))
        })
        .map_err(|error| error.to_string())?;
    let source = "Talts et al., simulation-based calibration, arXiv 1804.06788 (2018)";
    let in_each = n_plates as f64 / N_BINS as f64;
    let chi_squared = (0..N_BINS).map(|bin| {
        let found = judged.iter().filter(|(_, rank)| *rank == bin).count() as f64;
        (found - in_each) * (found - in_each) / in_each
    });
    let freedom = (N_BINS - 1) as f64;
    Ok([
        CoverageCheck {
            name: "shop checks of plates in daily use, judged from their readings: share of 95 % intervals of flatness that hold the truth"
                .into(),
            n_repeats: n_plates,
            expected: 0.95,
            found: judged.iter().filter(|(held, _)| *held).count() as f64 / n_plates as f64,
            // The ends of an interval of 600 draws scatter themselves.
            tolerance: ALLOWED * binomial(0.95, n_plates) + 0.005,
            source: format!("{source}; limits of the binomial distribution"),
        },
        CoverageCheck {
            name: "the same: χ² of the truth's ranks among the draws, ten classes".into(),
            n_repeats: n_plates,
            expected: freedom,
            found: chi_squared.sum(),
            tolerance: 5.0 * libm::sqrt(2.0 * freedom),
            source: format!("{source}; mean and standard deviation of χ² with 9 degrees of freedom"),
        },
    ])
}

fn run(model: &MeasurementModel, n_trials: u64, seed: u64) -> Result<MonteCarlo, String> {
    let options = MonteCarloOptions {
        seed,
        trials: Trials::Fixed(n_trials),
        coverage_probability: 0.95,
        interval: IntervalKind::Symmetric,
    };
    MonteCarlo::run(model, &options, &|_| {}).map_err(|error| error.to_string())
}

fn setup(text: &str) -> Result<Setup, String> {
    let no_files = |_: &str| Err("an embedded setup names no files".to_string());
    Setup::read(text, &no_files)
        .map_err(|faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))
}

/// Standard deviation of the share of n trials that succeed with probability p.
fn binomial(p: f64, n: u64) -> f64 {
    libm::sqrt(p * (1.0 - p) / n as f64)
}
