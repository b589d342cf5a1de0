//! What spread a check shows, given the plate's true flatness: the likelihood of a shop check.

use super::{
    check_experiment::{CannotSimulate, CheckExperiment, Output},
    trials::{Experiment, run_trials},
};
use crate::{quantity::stream::Streams, shop::check::ShopCheck};
use rayon::prelude::*;

/// The distribution of a check's spread given the flatness deviation, from simulated surveys.
///
/// The spread of a parked stand is too large on average, scatters, and does both the more the worse the plate is;
/// so it is no value with an uncertainty, but a law of its own at every flatness. At each of a range of
/// flatness deviations, the plates of the setup's population that come nearest are drawn, their heights
/// scaled to be exactly as flat, and surveyed. What is left of the spread after its mean and over its
/// standard deviation at that flatness is a density by kernels, pooled over neighbouring flatness
/// deviations (conditional density by kernels: Rosenblatt 1969; Hyndman, Bashtannyk and Grunwald, J.
/// Comput. Graph. Stat. 5, 1996, 315-336; taking mean and scale off first: B. Hansen, "Nonparametric
/// conditional density estimation", 2004; from memory).
///
/// A stand that is put down in the same places meets the same form time and again, so the errors of one plate's
/// checks are alike. Plates therefore come in [`N_CLASSES`] classes of equal probability, by the spread that
/// their form alone gives for its flatness; a plate keeps its class while it wears, and within a class the
/// checks are independent.
#[derive(Debug, Clone)]
pub struct SpreadLaw {
    /// Width of a cell of flatness, in µm.
    width: f64,
    /// `[class][cell]`.
    cells: Vec<Vec<Cell>>,
}

/// Classes of form that are told apart.
pub const N_CLASSES: usize = 5;

/// Cells of flatness.
const N_CELLS: usize = 32;
/// Surveys in a cell.
const PER_CELL: usize = 2000;
/// Plates drawn from the setup's population.
const N_PLATES: u64 = 16_384;
/// A flatness is represented by this many plates on either side.
const NEIGHBOURS: usize = 256;

/// Standardised spreads are told apart to this.
const BIN: f64 = 0.1;
/// Their range.
const LOWEST: f64 = -6.0;
const N_BINS: usize = 180;
/// Over how many cells of flatness they are pooled (one standard deviation).
const POOLED: f64 = 2.5;
/// Bandwidth of the kernels, in standard deviations: Silverman's 0.9 n^(−1/5) for some 2500 pooled surveys is 0.19,
/// and less suits a skewed density.
const BANDWIDTH: f64 = 0.15;
/// Weight of what no sample can tell: some thousand surveys say nothing of what is rarer, and no spread that was
/// really read may count as impossible.
const UNKNOWN: f64 = 1e-3;

/// The law in one class and one cell.
#[derive(Debug, Clone, Default)]
struct Cell {
    mean: f64,
    standard_deviation: f64,
    /// Density of the standardised spread in each bin.
    density: Vec<f64>,
    /// Its sum up to the end of each bin.
    cumulative: Vec<f64>,
}

/// One survey.
#[derive(Debug, Clone, Copy)]
struct Survey {
    flatness: f64,
    spread: f64,
    /// Spread by form alone, over the flatness.
    form: f64,
}

/// Flatness deviations (µm) of plates as the setup describes them, in the order of the trials.
///
/// # Errors
///
/// If the check cannot be simulated.
pub fn population(check: &ShopCheck, seed: u64) -> Result<Vec<f64>, CannotSimulate> {
    let mut outputs = run_trials(&CheckExperiment::new(check)?, &Streams::new(seed), 0..N_PLATES, &|_| {});
    Ok(std::mem::take(&mut outputs[Output::Flatness as usize]))
}

impl SpreadLaw {
    /// The law of a check for flatness deviations up to `highest` (µm); beyond, spreads grow as the flatness does.
    ///
    /// `population` is what [`population`] gives for the same check and seed.
    ///
    /// # Errors
    ///
    /// If the check cannot be simulated.
    pub fn new(
        check: &ShopCheck,
        population: &[f64],
        highest: f64,
        seed: u64,
    ) -> Result<Self, CannotSimulate> {
        let experiment = CheckExperiment::new(check)?;
        let streams = Streams::new(seed);
        let mut order: Vec<usize> = (0..population.len()).collect();
        order.sort_by(|&a, &b| population[a].total_cmp(&population[b]).then(a.cmp(&b)));
        let width = highest / N_CELLS as f64;
        let plates = Plates { experiment: &experiment, streams: &streams, population, order: &order };
        let surveys: Vec<Vec<Survey>> =
            (0..N_CELLS).into_par_iter().map(|cell| plates.survey_cell(cell, width)).collect();
        let step = check.indicator.read_step;
        let cells = (0..N_CLASSES).map(|class| class_law(&surveys, class, width, step)).collect();
        Ok(Self { width, cells })
    }

    /// Density (per µm) of a spread (µm) on a plate of this flatness (µm) and class.
    pub fn density(&self, spread: f64, flatness: f64, class: usize) -> f64 {
        let (mean, deviation, [(a, share), (b, rest)]) = self.at(flatness, class);
        let z = (spread - mean) / deviation;
        let known = share * table(&a.density, z) + rest * table(&b.density, z);
        ((1.0 - UNKNOWN) * known + UNKNOWN * broad_density(z)) / deviation
    }

    /// Probability of a spread at or below this one, likewise.
    pub fn cumulative(&self, spread: f64, flatness: f64, class: usize) -> f64 {
        let (mean, deviation, [(a, share), (b, rest)]) = self.at(flatness, class);
        let z = (spread - mean) / deviation;
        let known = share * cumulative(&a.cumulative, z) + rest * cumulative(&b.cumulative, z);
        (1.0 - UNKNOWN) * known + UNKNOWN * broad_cumulative(z)
    }

    /// Mean and standard deviation of the spread (µm) on plates of this flatness (µm), over all classes.
    pub fn moments(&self, flatness: f64) -> (f64, f64) {
        let each = (0..N_CLASSES)
            .map(|class| self.at(flatness, class))
            .map(|(mean, deviation, _)| (mean, deviation));
        let [mean, square] = each.fold([0.0; 2], |[m, s], (mean, deviation)| {
            [m + mean / N_CLASSES as f64, s + (mean * mean + deviation * deviation) / N_CLASSES as f64]
        });
        (mean, libm::sqrt(square - mean * mean))
    }

    /// Mean and standard deviation at a flatness, and the two cells nearest to it with their weights.
    fn at(&self, flatness: f64, class: usize) -> (f64, f64, [(&Cell, f64); 2]) {
        let cells = &self.cells[class];
        let place = (flatness / self.width - 0.5).clamp(0.0, (N_CELLS - 1) as f64);
        let below = (place as usize).min(N_CELLS - 2);
        let t = place - below as f64;
        let (a, b) = (&cells[below], &cells[below + 1]);
        let beyond = (flatness / (self.width * (N_CELLS as f64 - 0.5))).max(1.0);
        let between = |a: f64, b: f64| (a + (b - a) * t) * beyond;
        (between(a.mean, b.mean), between(a.standard_deviation, b.standard_deviation), [(a, 1.0 - t), (b, t)])
    }
}

/// The setup's population, in order of flatness.
struct Plates<'a> {
    experiment: &'a CheckExperiment,
    streams: &'a Streams,
    population: &'a [f64],
    order: &'a [usize],
}

impl Plates<'_> {
    /// Surveys of plates whose flatness is spread evenly over a cell.
    fn survey_cell(&self, cell: usize, width: f64) -> Vec<Survey> {
        let landscape = self.experiment.landscape();
        let sources = landscape.open(self.streams);
        let disturbances = self.streams.redrawing_all();
        let (mut drawn, mut scratch) = (landscape.scratch(), self.experiment.scratch());
        let survey = |i: usize| {
            let flatness = width * (cell as f64 + (i as f64 + 0.5) / PER_CELL as f64);
            let nearest = self.order.partition_point(|&plate| self.population[plate] < flatness);
            let from = nearest.saturating_sub(NEIGHBOURS).min(self.order.len() - 2 * NEIGHBOURS);
            // Steps of the golden ratio go through the neighbours evenly.
            let pick = ((i as f64 * 0.618_033_988_749_894_9).fract() * (2 * NEIGHBOURS) as f64) as usize;
            let plate = self.order[from + pick];
            landscape.draw(&sources, plate as u64, &mut drawn);
            let scale = if self.population[plate] > 0.0 { flatness / self.population[plate] } else { 1.0 };
            drawn.scale(scale);
            let trial = (cell * PER_CELL + i) as u64;
            let outputs = self.experiment.outputs_of(&drawn, &disturbances, trial, &mut scratch);
            let [flatness, ideal] =
                [Output::Flatness, Output::IdealSpread].map(|output| outputs[output as usize]);
            let form = if flatness > 0.0 { ideal / flatness } else { 0.0 };
            Survey { flatness, spread: outputs[Output::Spread as usize], form }
        };
        (0..PER_CELL).map(survey).collect()
    }
}

/// The law of one class, cell by cell.
fn class_law(surveys: &[Vec<Survey>], class: usize, width: f64, step: f64) -> Vec<Cell> {
    // Plates of the class: those whose form gives so much spread for its flatness.
    let members: Vec<Vec<Survey>> = surveys
        .iter()
        .map(|cell| {
            let mut sorted = cell.clone();
            sorted.sort_by(|a, b| a.form.total_cmp(&b.form).then(a.flatness.total_cmp(&b.flatness)));
            let ends = [class, class + 1].map(|k| k * sorted.len() / N_CLASSES);
            sorted[ends[0]..ends[1]].to_vec()
        })
        .collect();
    let centre = |cell: usize| (cell as f64 + 0.5) * width;
    let means: Vec<f64> = (0..N_CELLS).map(|cell| local_line(&members, centre(cell), width)).collect();
    let mean_at = |flatness: f64| interpolated(&means, flatness / width - 0.5);
    let squares: Vec<[f64; 2]> = members
        .iter()
        .map(|cell| {
            let square = |off: f64| off * off;
            let sum = cell.iter().map(|s| square(s.spread - mean_at(s.flatness))).sum::<f64>();
            [sum, cell.len() as f64]
        })
        .collect();
    let deviations: Vec<f64> = (0..N_CELLS)
        .map(|cell| {
            let [sum, n] = pooled(cell, 1.0, |k| squares[k]);
            // Readings are never finer than their step.
            libm::sqrt(sum / n + step * step / 12.0).max(1e-6)
        })
        .collect();
    let counts: Vec<Vec<f64>> = members
        .iter()
        .map(|cell| {
            let mut counts = vec![0.0; N_BINS];
            for survey in cell {
                let deviation = interpolated(&deviations, survey.flatness / width - 0.5);
                let z = (survey.spread - mean_at(survey.flatness)) / deviation;
                counts[(((z - LOWEST) / BIN).max(0.0) as usize).min(N_BINS - 1)] += 1.0 / cell.len() as f64;
            }
            counts
        })
        .collect();
    (0..N_CELLS)
        .map(|cell| {
            let mut gathered = vec![0.0; N_BINS];
            let mut total = 0.0;
            for (k, counts) in counts.iter().enumerate() {
                let weight = kernel((k as f64 - cell as f64) / POOLED);
                total += weight;
                gathered.iter_mut().zip(counts).for_each(|(sum, count)| *sum += weight * count);
            }
            // Spreads are multiples of the step, which the kernel has to bridge.
            let bridged = step / deviations[cell];
            let bandwidth = libm::sqrt(BANDWIDTH * BANDWIDTH + bridged * bridged / 12.0);
            let density = smoothed(&gathered, bandwidth, total * BIN);
            let cumulative = density
                .iter()
                .scan(0.0, |sum, density| {
                    *sum += density * BIN;
                    Some(*sum)
                })
                .collect();
            Cell { mean: means[cell], standard_deviation: deviations[cell], density, cumulative }
        })
        .collect()
}

/// The mean spread at a flatness: a straight line through what lies around it, weighted by nearness, which is not
/// biased at the ends (local linear regression: Fan and Gijbels, Local Polynomial Modelling, 1996).
fn local_line(cells: &[Vec<Survey>], at: f64, width: f64) -> f64 {
    let mut sums = [0.0; 5];
    for survey in cells.iter().flatten() {
        let x = (survey.flatness - at) / width;
        if x * x < 16.0 {
            let weight = kernel(x);
            let terms = [1.0, x, x * x, survey.spread, x * survey.spread];
            sums.iter_mut().zip(terms).for_each(|(sum, term)| *sum += weight * term);
        }
    }
    let [n, x, xx, y, xy] = sums;
    (xx * y - x * xy) / (n * xx - x * x)
}

fn kernel(z: f64) -> f64 {
    libm::exp(-0.5 * z * z)
}

/// Sums over cells near one, weighted by nearness.
fn pooled(cell: usize, reach: f64, of: impl Fn(usize) -> [f64; 2]) -> [f64; 2] {
    (0..N_CELLS).fold([0.0; 2], |[a, b], k| {
        let weight = kernel((k as f64 - cell as f64) / reach);
        let [x, y] = of(k);
        [a + weight * x, b + weight * y]
    })
}

/// A value at a place between the entries of a list, its ends beyond them.
fn interpolated(values: &[f64], place: f64) -> f64 {
    let place = place.clamp(0.0, (values.len() - 1) as f64);
    let below = (place as usize).min(values.len().saturating_sub(2));
    let t = place - below as f64;
    values[below] + t * (values[(below + 1).min(values.len() - 1)] - values[below])
}

/// Counts in bins as a density by Gaussian kernels; divided by `total`.
fn smoothed(counts: &[f64], bandwidth: f64, total: f64) -> Vec<f64> {
    let reach = libm::ceil(4.0 * bandwidth / BIN) as usize;
    let weights: Vec<f64> = (0..=reach).map(|k| kernel(k as f64 * BIN / bandwidth)).collect();
    let whole = weights[0] + 2.0 * weights[1..].iter().sum::<f64>();
    (0..counts.len())
        .map(|bin| {
            let near = bin.saturating_sub(reach)..(bin + reach + 1).min(counts.len());
            near.map(|k| counts[k] * weights[k.abs_diff(bin)]).sum::<f64>() / (whole * total)
        })
        .collect()
}

/// A density tabulated at the middles of bins.
fn table(density: &[f64], z: f64) -> f64 {
    let place = (z - LOWEST) / BIN - 0.5;
    if place < 0.0 || place > (N_BINS - 1) as f64 { 0.0 } else { interpolated(density, place) }
}

/// Its sum up to `z`.
fn cumulative(sums: &[f64], z: f64) -> f64 {
    let place = (z - LOWEST) / BIN - 1.0;
    if place <= -1.0 {
        0.0
    } else if place < 0.0 {
        sums[0] * (place + 1.0)
    } else {
        interpolated(sums, place)
    }
}

/// Student's t with 2 degrees of freedom, three times as wide: heavy tails in closed form.
fn broad_density(z: f64) -> f64 {
    let t = z / BROAD;
    libm::pow(2.0 + t * t, -1.5) / BROAD
}

fn broad_cumulative(z: f64) -> f64 {
    let t = z / BROAD;
    0.5 * (1.0 + t / libm::sqrt(2.0 + t * t))
}

const BROAD: f64 = 3.0;
