//! With readings in hand: what is this plate's flatness?

use super::{
    check_experiment::{CannotSimulate, CheckExperiment},
    completion::{self, Plate, complete},
    fit::{Fit, FitSample},
    likelihood::{MOST_READINGS, Observation, ReadingModel, Unreadable},
    power_scaling::PowerScaling,
    tempering::{Particle, Population},
};
use crate::{
    quantity::{
        sample::Summary,
        stream::{Source, Streams},
    },
    shop::{check::ShopCheck, grid::Grid, wear::Surface},
};
use rayon::prelude::*;
use std::fmt;

/// How hard to work.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// How many particles are carried along; fewer where there are more than forty readings, see [`Inference::new`].
    pub n_particles: usize,
    /// The effective sample size to be reached.
    pub effective_sample_size: f64,
    /// How many plates each particle gives: at least, in every population, and at most, in all of them, to reach it.
    pub rounds: [usize; 2],
    /// Seed of all random numbers.
    pub seed: u64,
}

impl Default for Settings {
    fn default() -> Self {
        Self { n_particles: 1000, effective_sample_size: 2000.0, rounds: [4, 72], seed: 1 }
    }
}

/// Above so many readings, fewer particles are carried along.
const MANY_READINGS: f64 = 40.0;

/// What the readings leave open of the plate.
#[derive(Debug, Clone)]
pub struct Posterior {
    /// Flatness deviations (µm) of plates that may be the one that was read, equally weighted.
    pub flatness: Vec<f64>,
    /// How many independent draws of the flatness the sample is worth: the sample's variance over
    /// the variance of its mean. The latter is taken from the sums over the descendants of each of
    /// the first, independent particles, so that copies, and copies that have hardly moved apart,
    /// count for no more than they are worth (Chan and Lai, "A general theory of particle filters",
    /// Annals of Statistics 41, 2013, 2877-2904; Lee and Whiteley, Biometrika 105, 2018, 609-625).
    pub effective_sample_size: f64,
    /// Whether that is as large as was asked for.
    pub sample_suffices: bool,
    /// Natural logarithm of the probability density of these readings under the setup (µm⁻ⁿ). The
    /// difference between two kinds of wear says which the readings favour.
    pub log_evidence: f64,
    /// The plate.
    pub map: PosteriorMap,
    /// How far the flatness leans on the wear that was assumed, and on the readings.
    pub leaning: PowerScaling,
    /// How well the readings fit the setup.
    pub fit: Fit,
    /// What each foot stands on, each time the stand is put down.
    pub feet: Vec<FootHeight>,
    pub(super) plates: Vec<Plate>,
    /// Flatness of each of the plates.
    pub(super) plate_flatness: Vec<f64>,
}

/// Estimate and standard uncertainty of the surface.
///
/// Every plate of the sample is levelled to the least-squares plane through its heights at the
/// grid's nodes before it is averaged, so heights count from that plane.
#[derive(Debug, Clone, PartialEq)]
pub struct PosteriorMap {
    /// The nodes; heights stand in the order of [`Grid::points`].
    pub grid: Grid,
    /// Mean height at each node, in µm.
    pub height: Vec<f64>,
    /// Standard uncertainty of each, in µm.
    pub standard_uncertainty: Vec<f64>,
}

/// What one foot stands on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FootHeight {
    /// Which putting down of the stand, counted from 0.
    pub seating: usize,
    /// Which foot, counted from 0.
    pub foot: usize,
    /// Where, in mm.
    pub at: [f64; 2],
    /// Mean height of the plate under its pad above the plate's least-squares plane, in µm.
    /// Negative: it seems to stand in a dip.
    pub height: f64,
    /// Standard uncertainty of that, in µm.
    pub standard_uncertainty: f64,
}

/// Why there is no posterior.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CannotJudge {
    /// The check itself cannot be computed with.
    Check(CannotSimulate),
    /// The readings cannot be used.
    Readings(Unreadable),
}

impl fmt::Display for CannotJudge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Check(CannotSimulate::MapDeterminesNoSurface) => {
                write!(f, "the measured map determines no surface")
            }
            Self::Check(CannotSimulate::NoWorkingSurface) => {
                write!(f, "the margins leave no working surface")
            }
            Self::Readings(Unreadable::NoSuchReading { reading, n_readings, .. }) => {
                write!(f, "reading {reading} of a survey that has {n_readings}")
            }
            Self::Readings(Unreadable::TooMany { n }) => write!(
                f,
                "{n} different readings, where at most {MOST_READINGS} can be judged together (repeats of one reading \
                 count once); leave out placements or targets that lie close to others"
            ),
            Self::Readings(Unreadable::NotANumber { observation }) => {
                write!(f, "value or step of observation {observation} is no finite number of at least 0")
            }
        }
    }
}

impl std::error::Error for CannotJudge {}

/// The posterior of a plate's flatness, given what was read in a check (see [`Observation`]).
///
/// Every value is the reading as written, before any correction for drift: closing readings are
/// observations like any other, and the drift is inferred from them. Readings may be missing, or
/// there may be none: then this is the prior. `progress` is told the share that is done.
pub fn posterior(
    check: &ShopCheck,
    observations: &[Observation],
    settings: &Settings,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<Posterior, CannotJudge> {
    let experiment = CheckExperiment::new(check).map_err(CannotJudge::Check)?;
    posterior_of(&experiment, observations, settings, progress)
}

/// [`posterior`] under another assumption on the surface: how much of the answer is assumption.
pub fn posterior_under(
    check: &ShopCheck,
    surface: &Surface,
    observations: &[Observation],
    settings: &Settings,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<Posterior, CannotJudge> {
    posterior(&ShopCheck { surface: surface.clone(), ..check.clone() }, observations, settings, progress)
}

/// [`posterior`] of a check that has been prepared, for many sets of readings.
pub fn posterior_of(
    experiment: &CheckExperiment,
    observations: &[Observation],
    settings: &Settings,
    progress: &(dyn Fn(f64) + Sync),
) -> Result<Posterior, CannotJudge> {
    Inference::new(experiment, observations, settings, progress).map(|inference| inference.posterior)
}

impl Posterior {
    /// Estimate, standard uncertainty and coverage intervals of the flatness deviation, in µm.
    pub fn summary(&self, coverage_probability: f64) -> Summary {
        Summary::of(&self.flatness, coverage_probability)
    }
}

impl Settings {
    /// Enough to tell by how much an assumption moves the answer.
    pub fn rough(self) -> Self {
        Self {
            n_particles: (self.n_particles * 2 / 5).max(2),
            effective_sample_size: self.effective_sample_size / 4.0,
            rounds: [2, 6],
            ..self
        }
    }
}

/// A posterior, and the particles that it came from.
pub struct Inference {
    /// What the readings leave open.
    pub posterior: Posterior,
    pub(super) observations: Vec<Observation>,
    pub(super) settings: Settings,
    pub(super) model: ReadingModel,
    /// Those that the posterior's plates were made from, in the same order, and their predictions of each reading.
    pub(super) particles: Vec<Particle>,
    pub(super) predictions: Vec<FitSample>,
    /// Flatness without readings that were left out by an inference of their own.
    pub(super) refits: Vec<(usize, Vec<f64>)>,
}

impl Inference {
    /// See [`posterior_of`].
    ///
    /// The time that a particle takes grows with the cube of the readings: above forty there are fewer particles, by the
    /// square, down to a fifth. The effective sample size says whether they were enough.
    ///
    /// Particles are moved on from round to round until that gains far fewer independent draws than a new population would for
    /// the same work; then there is a new one, independent of the first, and all are pooled.
    pub fn new(
        experiment: &CheckExperiment,
        observations: &[Observation],
        settings: &Settings,
        progress: &(dyn Fn(f64) + Sync),
    ) -> Result<Self, CannotJudge> {
        let model = ReadingModel::new(experiment, observations).map_err(CannotJudge::Readings)?;
        if model.n() > MOST_READINGS {
            return Err(CannotJudge::Readings(Unreadable::TooMany { n: model.n() }));
        }
        let streams = Streams::new(settings.seed);
        let share = (MANY_READINGS / model.n().max(1) as f64).powi(2).clamp(0.2, 1.0);
        let n_particles = ((settings.n_particles as f64 * share) as usize).max(2);
        let [fewest, most] = [settings.rounds[0].max(1), settings.rounds[1].max(1)];
        let mut gathered = Gathered::new(&model);
        let (mut n_rounds, mut next_stream) = (0, 0);
        while n_rounds < most && !gathered.suffices(settings) {
            let on_power = |power: f64| {
                if n_rounds == 0 {
                    progress(0.7 * power.sqrt());
                }
            };
            let mut population = Population::sample(&model, n_particles, &streams, next_stream, &on_power);
            gathered.open(&population);
            let before = gathered.effective;
            let mut reached = Vec::new();
            while n_rounds < most {
                if !reached.is_empty() {
                    population.sweep(&model, 1.0);
                }
                gathered.add(&model, &mut population, n_rounds == 0);
                n_rounds += 1;
                progress(0.7 + 0.3 * n_rounds as f64 / most as f64);
                reached.push(gathered.effective);
                let done = reached.len();
                if done < fewest {
                    continue;
                }
                let average = (gathered.effective - before) / (population.n_stages + done) as f64;
                let marginal = if done >= 2 * fewest {
                    (gathered.effective - reached[done - 1 - fewest]) / fewest as f64
                } else {
                    average
                };
                // The estimates are noisy, and leaving too early costs more than staying.
                if gathered.suffices(settings) || marginal < 0.5 * average {
                    break;
                }
            }
            next_stream = population.next_stream();
        }
        progress(1.0);
        Ok(gathered.finish(model, observations, settings))
    }
}

/// What is gathered over the rounds, population by population.
struct Gathered {
    flatness: Vec<f64>,
    /// For each of these, which of all populations' first particles it descends from.
    ancestors: Vec<usize>,
    /// Of the population at hand.
    first_ancestor: usize,
    effective: f64,
    /// For each of the flatnesses, the logarithms of the assumed wear's density and of the likelihood.
    log_assumed: Vec<f64>,
    log_read: Vec<f64>,
    /// Logarithm of the evidence, by each population.
    log_evidence: Vec<f64>,
    plane: NodePlane,
    sums: Moments,
    feet: Moments,
    foot_places: Vec<FootPlace>,
    plates: Vec<Plate>,
    particles: Vec<Particle>,
    predictions: Vec<FitSample>,
}

struct FootPlace {
    seating: usize,
    foot: usize,
    place: usize,
    at: [f64; 2],
}

/// Sums and sums of squares.
struct Moments {
    count: f64,
    sums: Vec<f64>,
    squares: Vec<f64>,
}

impl Moments {
    fn new(n: usize) -> Self {
        Self { count: 0.0, sums: vec![0.0; n], squares: vec![0.0; n] }
    }

    fn add(&mut self, values: &[f64]) {
        self.count += 1.0;
        for ((sum, square), value) in self.sums.iter_mut().zip(&mut self.squares).zip(values) {
            *sum += value;
            *square += value * value;
        }
    }

    fn mean(&self, i: usize) -> f64 {
        self.sums[i] / self.count
    }

    fn standard_deviation(&self, i: usize) -> f64 {
        let mean = self.mean(i);
        ((self.squares[i] - self.count * mean * mean) / (self.count - 1.0)).max(0.0).sqrt()
    }
}

/// One particle's yield in one round.
struct Yield {
    flatness: f64,
    levelled: Vec<f64>,
    feet: Vec<f64>,
    kept: Option<(Plate, Particle, FitSample)>,
}

impl Gathered {
    fn new(model: &ReadingModel) -> Self {
        let experiment = &model.experiment;
        let survey = &experiment.check().survey;
        let mut foot_places: Vec<FootPlace> = Vec::new();
        for (index, reading) in survey.readings.iter().enumerate() {
            if foot_places.last().is_none_or(|last| last.seating < reading.seating) {
                let (feet, _) = experiment.places_of(index);
                for (foot, place) in feet.into_iter().enumerate() {
                    let at = reading.feet[foot];
                    foot_places.push(FootPlace { seating: reading.seating, foot, place, at });
                }
            }
        }
        let grid = experiment.landscape().grid();
        Self {
            flatness: Vec::new(),
            ancestors: Vec::new(),
            first_ancestor: 0,
            effective: 0.0,
            log_assumed: Vec::new(),
            log_read: Vec::new(),
            log_evidence: Vec::new(),
            plane: NodePlane::new(grid),
            sums: Moments::new(grid.n_nodes()),
            feet: Moments::new(foot_places.len()),
            foot_places,
            plates: Vec::new(),
            particles: Vec::new(),
            predictions: Vec::new(),
        }
    }

    fn suffices(&self, settings: &Settings) -> bool {
        !self.flatness.is_empty() && self.effective >= settings.effective_sample_size
    }

    /// Begins with a population.
    fn open(&mut self, population: &Population) {
        self.first_ancestor = self.log_evidence.len() * population.particles.len();
        self.log_evidence.push(population.log_evidence);
    }

    /// Completes every particle to a plate, and keeps the first of all.
    fn add(&mut self, model: &ReadingModel, population: &mut Population, first_round: bool) {
        let (source, first): (Source, u64) = population.take_streams(population.particles.len());
        let found: Vec<Yield> = population
            .particles
            .par_iter()
            .enumerate()
            .map_init(
                || (completion::Scratch::new(model), Plate::default()),
                |(scratch, plate), (index, particle)| {
                    complete(model, particle, None, &mut source.trial(first + index as u64), scratch, plate);
                    let flatness = plate.lay_out(model, scratch);
                    let heights = &mut scratch.drawn.on_grid;
                    let plane = self.plane.through(heights);
                    self.plane.take_off(plane, heights);
                    let feet = self
                        .foot_places
                        .iter()
                        .map(|foot| scratch.drawn.at_places[foot.place] - self.plane.at(plane, foot.at));
                    Yield {
                        flatness,
                        levelled: heights.clone(),
                        feet: feet.collect(),
                        kept: first_round
                            .then(|| (plate.clone(), particle.clone(), FitSample::of(model, particle))),
                    }
                },
            )
            .collect();
        for (found, particle) in found.into_iter().zip(&population.particles) {
            self.flatness.push(found.flatness);
            self.log_assumed.push(model.log_density_of_wear(&particle.parameters));
            self.log_read.push(particle.cache.log_likelihood());
            self.ancestors.push(self.first_ancestor + particle.ancestor);
            self.sums.add(&found.levelled);
            self.feet.add(&found.feet);
            if let Some((plate, particle, prediction)) = found.kept {
                self.plates.push(plate);
                self.particles.push(particle);
                self.predictions.push(prediction);
            }
        }
        self.effective = self.effective_sample_size(population.particles.len());
    }

    fn effective_sample_size(&self, n_particles: usize) -> f64 {
        let n = self.flatness.len();
        let mean = self.flatness.iter().sum::<f64>() / n as f64;
        let (mut of_ancestor, mut squares) = (vec![0.0; self.log_evidence.len() * n_particles], 0.0);
        for (flatness, &ancestor) in self.flatness.iter().zip(&self.ancestors) {
            let deviation = flatness - mean;
            squares += deviation * deviation;
            of_ancestor[ancestor] += deviation;
        }
        let variance: f64 = of_ancestor.iter().map(|sum| sum * sum).sum();
        if variance > 0.0 { (n as f64 * squares / variance).min(n as f64) } else { n as f64 }
    }

    fn finish(self, model: ReadingModel, observations: &[Observation], settings: &Settings) -> Inference {
        let grid = model.experiment.landscape().grid().clone();
        let n_nodes = grid.n_nodes();
        let feet = self.foot_places.iter().enumerate().map(|(i, foot)| FootHeight {
            seating: foot.seating,
            foot: foot.foot,
            at: foot.at,
            height: self.feet.mean(i),
            standard_uncertainty: self.feet.standard_deviation(i),
        });
        let highest = self.log_evidence.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let evidences = self.log_evidence.iter().map(|log| libm::exp(log - highest));
        let posterior = Posterior {
            effective_sample_size: self.effective,
            sample_suffices: self.effective >= settings.effective_sample_size,
            log_evidence: highest + libm::log(evidences.sum::<f64>() / self.log_evidence.len() as f64),
            map: PosteriorMap {
                grid,
                height: (0..n_nodes).map(|i| self.sums.mean(i)).collect(),
                standard_uncertainty: (0..n_nodes).map(|i| self.sums.standard_deviation(i)).collect(),
            },
            leaning: PowerScaling::new(&self.flatness, &self.log_assumed, &self.log_read),
            fit: Fit::of(&model, &self.predictions),
            feet: feet.collect(),
            plate_flatness: self.flatness[..self.plates.len()].to_vec(),
            plates: self.plates,
            flatness: self.flatness,
        };
        Inference {
            posterior,
            observations: observations.to_vec(),
            settings: *settings,
            model,
            particles: self.particles,
            predictions: self.predictions,
            refits: Vec::new(),
        }
    }
}

/// The least-squares plane over a grid's nodes, whose middle is the nodes' mean.
struct NodePlane {
    x: Vec<f64>,
    y: Vec<f64>,
    middle: [f64; 2],
    squares: [f64; 2],
}

impl NodePlane {
    fn new(grid: &Grid) -> Self {
        let centred = |nodes: &[f64]| {
            let mean = nodes.iter().sum::<f64>() / nodes.len() as f64;
            (mean, nodes.iter().map(|v| v - mean).collect::<Vec<_>>())
        };
        let ((x_mean, x), (y_mean, y)) = (centred(&grid.x), centred(&grid.y));
        let square = |v: &[f64]| v.iter().map(|a| a * a).sum::<f64>();
        let squares = [square(&x) * y.len() as f64, square(&y) * x.len() as f64];
        Self { middle: [x_mean, y_mean], x, y, squares }
    }

    /// Height in the middle and slopes. On a grid of rows and columns the three are orthogonal.
    fn through(&self, heights: &[f64]) -> [f64; 3] {
        let mut plane = [0.0; 3];
        for (row, y) in heights.chunks_exact(self.x.len()).zip(&self.y) {
            let sum: f64 = row.iter().sum();
            plane[0] += sum;
            plane[1] += row.iter().zip(&self.x).map(|(z, x)| z * x).sum::<f64>();
            plane[2] += sum * y;
        }
        [plane[0] / heights.len() as f64, plane[1] / self.squares[0], plane[2] / self.squares[1]]
    }

    fn take_off(&self, [height, along_x, along_y]: [f64; 3], heights: &mut [f64]) {
        for (row, y) in heights.chunks_exact_mut(self.x.len()).zip(&self.y) {
            for (z, x) in row.iter_mut().zip(&self.x) {
                *z -= height + along_x * x + along_y * y;
            }
        }
    }

    fn at(&self, [height, along_x, along_y]: [f64; 3], at: [f64; 2]) -> f64 {
        height + along_x * (at[0] - self.middle[0]) + along_y * (at[1] - self.middle[1])
    }
}
