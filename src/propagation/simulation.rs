//! How far a shop check can be from the plate's true flatness: the main job.

use super::{
    check_experiment::{CannotSimulate, CheckExperiment, Output},
    judged_checks::judged_checks,
    law::Budget,
    monte_carlo::{IntervalKind, Validation},
    posterior,
    reading_budget::{ReadingBudget, reading_budget},
    reading_rule::ReadingRule,
    shares::{Share, shares_of},
    trials::run_trials,
};
use crate::{
    quantity::{sample::Summary, stream::Streams},
    shop::{
        check::ShopCheck,
        flatness::MinimumZone,
        grid::Grid,
        landscape::Landscape,
        visibility::{Visibility, visibilities},
    },
};
use schemars::JsonSchema;
use serde::Serialize;

/// How a simulation is run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// How many plates are drawn and checked.
    pub n_trials: u64,
    /// The seed of all random numbers.
    pub seed: u64,
    /// Coverage probability of all intervals.
    pub coverage_probability: f64,
    /// How many of the checks are judged from their readings, which takes some hundred times as long
    /// as drawing one.
    pub n_judged: u64,
}

/// How many checks are simulated where it is not said.
pub const USUAL_TRIALS: u64 = 100_000;

impl Default for Settings {
    fn default() -> Self {
        Self { n_trials: USUAL_TRIALS, seed: 1, coverage_probability: 0.95, n_judged: 64 }
    }
}

/// One way of reading flatness from the same numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// How the numbers are read.
    pub kind: WayKind,
    /// What it gives, in µm.
    pub result: Summary,
    /// What it gives minus the true flatness, in µm.
    pub error: Summary,
    /// The error of every trial, in µm, in the order of the trials.
    pub errors: Vec<f64>,
    /// The result of every trial, in µm, in the order of the trials.
    pub results: Vec<f64>,
}

/// The ways of reading the same numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WayKind {
    /// Largest minus smallest reading.
    Spread,
    /// The same after the best-fit plane is taken off.
    Levelled,
    /// The [`ReadingRule`] fitted to simulated checks.
    Fitted,
}

/// The model-based estimate: each check judged from its readings, as with readings in hand. Heights in µm; estimates are the
/// means of the posteriors, and the checks that were judged are the first ones.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(
    rename = "ModelBasedDocument",
    description = "The model-based estimate of flatness, over some of the checks."
)]
pub struct ModelBased {
    /// How many checks were judged.
    #[serde(rename = "trials")]
    pub n_trials: u64,
    /// The estimated flatness deviations.
    pub result: Summary,
    /// These minus the true flatness.
    pub error: Summary,
    /// How many of the 95 % intervals hold the true flatness.
    #[serde(rename = "intervals_that_hold_the_truth")]
    pub n_covered: u64,
    /// How wide these intervals are on average.
    pub mean_width: f64,
}

/// What a simulation found. Heights in µm.
#[derive(Debug, Clone)]
pub struct Simulation {
    /// How it was run.
    pub settings: Settings,
    /// The true flatness of the plates that were drawn.
    pub true_flatness: Summary,
    /// The true flatness of every trial, in the order of the trials.
    pub flatness: Vec<f64>,
    /// The ways of reading; the plain spread first.
    pub ways: Vec<Way>,
    /// The rule of the fitted way.
    pub rule: ReadingRule,
    /// The model-based estimate; `None` if no check was to be judged.
    pub model_based: Option<ModelBased>,
    /// Error of the spread that comes from form alone: what the readings would span with nothing
    /// to disturb them, minus the flatness.
    pub form_error: Summary,
    /// What disturbances add: the spread minus the spread that form alone would give.
    pub disturbance_error: Summary,
    /// Shares of the sources in the variance of the spread's error, largest total first.
    pub shares: Vec<Share>,
    /// How many trials each share rests on.
    pub n_share_trials: u64,
    /// The budget of one reading, and of the difference of two, by the law of propagation.
    pub budget: ReadingBudget,
    /// The reading of that budget, drawn as often as the check.
    pub reading: ReadingTrials,
    /// Whether the linear result for the spread's error, as the difference of two readings, may be
    /// used (JCGM 101 clause 8, to two significant digits of its uncertainty).
    pub validation: Validation,
    /// How the usual shapes look to this survey.
    pub visibilities: Vec<Visibility>,
    /// The plate whose flatness is the median of all.
    pub typical: TypicalPlate,
}

/// One reading by Monte Carlo. Heights in µm.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingTrials {
    /// The reading of every trial, as the budget has it: a height over the datum of a perfect plate.
    pub values: Vec<f64>,
    /// What they say.
    pub summary: Summary,
    /// Whether the budget's interval may be used (JCGM 101 clause 8, to two significant digits of its uncertainty).
    pub validation: Validation,
}

/// One of the plates that were drawn, from edge to edge.
#[derive(Debug, Clone)]
pub struct TypicalPlate {
    /// Its true flatness, in µm.
    pub flatness: f64,
    /// Where its heights are given.
    pub grid: Grid,
    /// Heights over the middle plane of its minimum zone, in µm; x runs fastest.
    pub heights: Vec<f64>,
}

/// About how many points a picture of a plate is drawn from.
const PICTURE_NODES: usize = 2000;

/// Trials that the reading rule is fitted to, and on which each share rests.
const SIDE_TRIALS: u64 = 16_384;

/// Enough for the mean of a posterior: what is left of chance is a twelfth of its standard
/// deviation, which adds less than a percent to the error's.
const SAMPLER: posterior::Settings =
    posterior::Settings { n_particles: 128, effective_sample_size: 150.0, rounds: [3, 10], seed: 0 };

/// About how many trials of the plain kind take as long as judging one.
const TRIALS_PER_JUDGED: u64 = 4000;

/// How many simulated checks are judged unless somebody says how many: so many that all take about as long as those of a
/// check of thirty readings, and none where that is too few to say anything.
pub fn usual_judged(check: &ShopCheck) -> u64 {
    let n_readings = check.survey.readings.len();
    let usual = Settings::default().n_judged;
    let affordable = (usual as f64 * (30.0 / n_readings as f64).powi(3)) as u64;
    if affordable < 8 { 0 } else { affordable.min(usual) }
}

/// Simulates a shop check.
///
/// `on_progress` is told how many trials were done, from any thread; [`n_trials_in_all`] says how
/// many there will be.
pub fn simulate(
    check: &ShopCheck,
    settings: Settings,
    on_progress: &(dyn Fn(u64) + Sync),
) -> Result<Simulation, CannotSimulate> {
    let experiment = CheckExperiment::new(check)?;
    let streams = Streams::new(settings.seed);
    let anew = run_trials(&experiment, &streams.redrawing_all(), 0..SIDE_TRIALS, on_progress);
    let of = |output: Output| anew[output as usize].as_slice();
    // The rule is fitted to trials that the main run does not use.
    let rule = ReadingRule::fit(of(Output::Flatness), of(Output::Spread), of(Output::Levelled));
    let [flatness, spread, levelled, ideal] =
        <[Vec<f64>; 4]>::try_from(run_trials(&experiment, &streams, 0..settings.n_trials, on_progress))
            .unwrap_or_default();
    let summary = |values: &[f64]| Summary::of(values, settings.coverage_probability);
    let form_error = difference(&ideal, &flatness);
    let disturbance_error = difference(&spread, &ideal);
    let fitted = spread.iter().zip(&levelled).map(|(&s, &l)| rule.estimate(s, l)).collect();
    let mut ways = vec![(WayKind::Spread, spread)];
    if experiment.can_level() {
        ways.push((WayKind::Levelled, levelled));
    }
    ways.push((WayKind::Fitted, fitted));
    let ways: Vec<Way> = ways
        .into_iter()
        .map(|(kind, results)| {
            let errors = difference(&results, &flatness);
            let (result, error) = (summary(&results), summary(&errors));
            Way { kind, result, error, errors, results }
        })
        .collect();
    let budget = reading_budget(check, settings.coverage_probability);
    let compare = |budget: &Budget, summary: &Summary, values: &[f64]| {
        let scatter = IntervalKind::Symmetric.scatter_of_ends(values, settings.coverage_probability);
        Validation::of(budget, summary, IntervalKind::Symmetric, 2).with_scatter(scatter)
    };
    let of_error = ways[0].error.with_moments_below(check.indicator.moments_below());
    let validation = compare(&budget.of_difference, &of_error, &ways[0].errors);
    let reading = run_trials(&budget.experiment, &streams, 0..settings.n_trials, &|_| {}).remove(0);
    let of_reading = summary(&reading).with_moments_below(check.indicator.moments_below());
    let reading = ReadingTrials {
        summary: of_reading,
        validation: compare(&budget.of_reading, &of_reading, &reading),
        values: reading,
    };
    let n_share_trials = share_trials(settings);
    let errors = &ways[0].errors[..n_share_trials as usize];
    let errors_anew = difference(of(Output::Spread), of(Output::Flatness));
    let mut shares = shares(&experiment, &streams, &flatness, [errors, &errors_anew], on_progress);
    shares.sort_by(|a, b| b.total.total_cmp(&a.total));
    Ok(Simulation {
        typical: typical_plate(check, &streams, &flatness)?,
        model_based: model_based(&experiment, &streams, settings, on_progress),
        settings,
        true_flatness: summary(&flatness),
        flatness,
        ways,
        rule,
        form_error: summary(&form_error),
        disturbance_error: summary(&disturbance_error),
        shares,
        n_share_trials,
        validation,
        reading,
        budget,
        visibilities: visibilities(check),
    })
}

fn model_based(
    experiment: &CheckExperiment,
    streams: &Streams,
    settings: Settings,
    on_progress: &(dyn Fn(u64) + Sync),
) -> Option<ModelBased> {
    let n_trials = settings.n_judged.min(settings.n_trials);
    let sampler = posterior::Settings { seed: settings.seed, ..SAMPLER };
    let judged = judged_checks(experiment, streams, 0..n_trials, sampler, |truth, posterior| {
        on_progress(TRIALS_PER_JUDGED);
        let summary = posterior.summary(settings.coverage_probability);
        (truth, summary.mean, summary.interval_symmetric)
    })
    .ok()
    .filter(|judged| !judged.is_empty())?;
    let estimates: Vec<f64> = judged.iter().map(|(_, estimate, _)| *estimate).collect();
    let errors: Vec<f64> = judged.iter().map(|(truth, estimate, _)| estimate - truth).collect();
    let summary = |values: &[f64]| Summary::of(values, settings.coverage_probability);
    Some(ModelBased {
        n_trials,
        result: summary(&estimates),
        error: summary(&errors),
        n_covered: judged.iter().filter(|(truth, _, [low, high])| (low..=high).contains(&truth)).count()
            as u64,
        mean_width: judged.iter().map(|(_, _, [low, high])| high - low).sum::<f64>() / n_trials as f64,
    })
}

/// The trial of median flatness, drawn again on a grid fine enough to be looked at.
fn typical_plate(
    check: &ShopCheck,
    streams: &Streams,
    flatness: &[f64],
) -> Result<TypicalPlate, CannotSimulate> {
    let mut order: Vec<usize> = (0..flatness.len()).collect();
    let middle = order.len() / 2;
    let by_flatness = |&a: &usize, &b: &usize| flatness[a].total_cmp(&flatness[b]).then(a.cmp(&b));
    let trial = *order.select_nth_unstable_by(middle, by_flatness).1 as u64;
    let grid = Grid::over([[0.0, check.plate.length], [0.0, check.plate.width]], PICTURE_NODES);
    let landscape = Landscape::new(&check.plate, &check.surface, grid.clone(), Vec::new())
        .ok_or(CannotSimulate::MapDeterminesNoSurface)?;
    let mut drawn = landscape.scratch();
    landscape.draw(&landscape.open(streams), trial, &mut drawn);
    let zone = MinimumZone::new(&grid.points()).map_err(|_| CannotSimulate::NoWorkingSurface)?;
    let [a, b, c] = zone.solve(&drawn.on_grid, &mut zone.scratch()).plane;
    let heights = grid.points().iter().zip(&drawn.on_grid).map(|([x, y], z)| z - a - b * x - c * y).collect();
    Ok(TypicalPlate { flatness: flatness[trial as usize], grid, heights })
}

/// How many trials [`simulate`] will report to its `on_progress`.
pub fn n_trials_in_all(check: &ShopCheck, settings: Settings) -> u64 {
    let n_sources = CheckExperiment::new(check).map_or(0, |experiment| experiment.sources().len()) as u64;
    let judged = TRIALS_PER_JUDGED * settings.n_judged.min(settings.n_trials);
    settings.n_trials + SIDE_TRIALS + n_sources * share_trials(settings) + judged
}

fn share_trials(settings: Settings) -> u64 {
    SIDE_TRIALS.min(settings.n_trials)
}

/// Shares of all sources in the variance of the spread's error. `flatness` and the errors (µm) of the first trials are known, and
/// the errors of as many with all sources drawn anew.
fn shares(
    experiment: &CheckExperiment,
    streams: &Streams,
    flatness: &[f64],
    [errors, errors_anew]: [&[f64]; 2],
    on_progress: &(dyn Fn(u64) + Sync),
) -> Vec<Share> {
    let n_trials = errors.len();
    let of_surface = experiment.landscape().sources();
    // What is not of the surface is drawn anew on the plates that are drawn already.
    let on_same_plates = experiment
        .draw_plates(streams, &flatness[..n_trials])
        .map(|plates| experiment.clone().with_plates(plates));
    shares_of(errors.to_vec(), errors_anew[..n_trials].to_vec(), &experiment.sources(), |source| {
        let experiment = match &on_same_plates {
            Some(kept) if !of_surface.contains(&source) => kept,
            _ => experiment,
        };
        let outputs = run_trials(experiment, &streams.redrawing(source), 0..n_trials as u64, on_progress);
        difference(&outputs[Output::Spread as usize], &outputs[Output::Flatness as usize])
    })
}

fn difference(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a - b).collect()
}
