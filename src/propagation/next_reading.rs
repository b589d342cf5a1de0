//! Which further readings would tell most about a plate.

use super::{
    check_experiment::CheckExperiment,
    likelihood::{Observation, ReadingModel, times_lower},
    posterior::Posterior,
};
use crate::quantity::draw::StandardNormal;
use crate::quantity::vector::{add_scaled, dot};
use crate::quantity::{sample::mean_and_standard_deviation, stream::Streams};
use crate::shop::{
    check::ShopCheck,
    grid::Grid,
    survey::{Plan, StandUse, Station, Survey, Target, Zeroing},
};
use rand::RngExt as _;
use rand_distr::Distribution as _;
use rayon::prelude::*;

/// A place to put the stand, and what to read from there.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// How the stand is used.
    pub stand_use: StandUse,
    /// Where it stands, how it points, and its targets; the first sets the zero, the others are
    /// read against it.
    pub station: Station,
    /// Reach of a carried stand, in mm.
    pub carried_reach: f64,
}

/// A reading that is worth taking.
#[derive(Debug, Clone, PartialEq)]
pub struct NextReading {
    /// Index into the candidates.
    pub candidate: usize,
    /// Index of the target among the candidate's: 1 or more, for 0 is the zero.
    pub target: usize,
    /// Standard uncertainty of the flatness (µm) to be expected after this reading and those listed
    /// before it.
    pub expected_standard_uncertainty: f64,
}

/// The readings of a list of candidates that shrink the flatness's standard uncertainty most,
/// chosen one after the other, best first; no more than `count`, and none that would shrink the
/// variance by less than 1 %.
///
/// They are chosen by one half of the posterior's plates, and what they promise is said by the other: the best of hundreds
/// is partly luck on the plates that it was chosen by.
///
/// The plates of the posterior are read at every candidate, with noise; the flatness is regressed
/// on smooth functions of those readings, and the variance that the regression leaves is the
/// expected variance after the reading: on average over what may be read, no estimate leaves less
/// than the conditional mean, and any other function of the readings leaves more. (Straight lines
/// alone would not do: a far reading that is high and one that is low both make a plate less flat.)
/// The way to the expected value of information is that of Strong, Oakley and Brennan, Medical
/// Decision Making 34, 2014, 311-326.
///
/// Grains are left out: one that is caught shows, and the reading is taken again. Candidates that
/// are impossible are passed over. Nothing comes out of a check that cannot be
/// simulated.
///
/// Those at the spots `first` (mm) come first, whatever they shrink: from the placement that reads most of these spots, and
/// of such from the one that leaves the smallest variance.
pub fn next_readings(
    check: &ShopCheck,
    posterior: &Posterior,
    candidates: &[Candidate],
    first: &[[f64; 2]],
    count: usize,
) -> Vec<NextReading> {
    let mut readings: Vec<Predicted> = Vec::new();
    for (index, candidate) in candidates.iter().enumerate() {
        readings.extend(predict(check, posterior, index, candidate).unwrap_or_default());
    }
    let (choosing, judging) = (half(&posterior.plate_flatness, 0), half(&posterior.plate_flatness, 1));
    let on_half = |readings: &[Predicted], which: usize| -> Vec<Predicted> {
        readings.iter().map(|r| Predicted { values: half(&r.values, which), ..*r }).collect()
    };
    let choosing_readings = on_half(&readings, 0);
    let planned = planned(&choosing, candidates, &choosing_readings, first);
    let n_planned = planned.len();
    let order = choose(&choosing, &choosing_readings, planned, count);
    let taken: Vec<Predicted> = order.iter().map(|&r| readings[r].clone()).collect();
    let Some(taken) = as_surveyed(check, posterior, candidates, taken) else { return Vec::new() };
    let mut chosen = promised(&judging, &on_half(&taken, 1), n_planned);
    // The plates are part of the sample; the whole of it knows the present uncertainty better.
    let (_, of_plates) = mean_and_standard_deviation(&posterior.plate_flatness);
    let (_, of_sample) = mean_and_standard_deviation(&posterior.flatness);
    for reading in &mut chosen {
        reading.expected_standard_uncertainty *= of_sample / of_plates;
    }
    chosen
}

/// Readings that were chosen, as they will be read: in surveys of their own that follow what was read already, not among all
/// that their candidates list.
fn as_surveyed(
    check: &ShopCheck,
    posterior: &Posterior,
    candidates: &[Candidate],
    mut chosen: Vec<Predicted>,
) -> Option<Vec<Predicted>> {
    let rows: Vec<NextReading> = chosen
        .iter()
        .map(|r| NextReading {
            candidate: r.candidate,
            target: r.target,
            expected_standard_uncertainty: f64::NAN,
        })
        .collect();
    let before = check.survey.readings.len();
    let surveys = surveys_of(check, candidates, &rows);
    let survey = surveys.iter().fold(check.survey.clone(), |survey, next| survey.followed_by(next));
    let is_new = |reading: &usize| !survey.zeros.contains(reading);
    let readings: Vec<usize> = (before..survey.readings.len()).filter(is_new).collect();
    let longer = ShopCheck { survey, ..check.clone() };
    let columns = predicted_readings(&longer, posterior, &readings, candidates.len())?;
    // Survey by survey, as the first of each was chosen.
    let mut places: Vec<usize> = (0..rows.len()).collect();
    places.sort_by_key(|&place| rows.iter().position(|row| row.candidate == rows[place].candidate));
    for (place, values) in places.into_iter().zip(columns) {
        chosen[place].values = values;
    }
    Some(chosen)
}

/// Every other value, from the first or the second on.
fn half(values: &[f64], which: usize) -> Vec<f64> {
    values.iter().skip(which).step_by(2).copied().collect()
}

/// The surveys of readings that were chosen, one for each candidate with any, in the order in which the candidates were chosen: its
/// zero, then what is read against it. None where a candidate cannot be laid out.
pub fn surveys_of(check: &ShopCheck, candidates: &[Candidate], chosen: &[NextReading]) -> Vec<Survey> {
    let mut order: Vec<usize> = Vec::new();
    for next in chosen {
        if !order.contains(&next.candidate) {
            order.push(next.candidate);
        }
    }
    let survey = |index: usize| {
        let candidate = &candidates[index];
        let targets: Vec<Target> = std::iter::once(0)
            .chain(chosen.iter().filter(|next| next.candidate == index).map(|next| next.target))
            .map(|target| candidate.station.targets[target].clone())
            .collect();
        let mut only = candidate.clone();
        only.station.targets = targets;
        let laid_out = Survey::lay_out(&plan(&only), &check.plate, &check.stand, &check.gauge_block);
        laid_out.ok()
    };
    order.into_iter().filter_map(survey).collect()
}

/// What the readings of a survey would show on average (µm, those that set a zero left out) on such of the posterior's plates as
/// `keep` takes by their flatness (µm). `None` where it takes none, or the survey cannot be simulated.
pub fn foreseen(
    check: &ShopCheck,
    posterior: &Posterior,
    survey: &Survey,
    keep: impl Fn(f64) -> bool,
) -> Option<Vec<f64>> {
    let check = ShopCheck { survey: survey.clone(), ..check.clone() };
    let readings: Vec<usize> =
        (0..survey.readings.len()).filter(|reading| !survey.zeros.contains(reading)).collect();
    let columns = predicted_readings(&check, posterior, &readings, 0)?;
    let kept = posterior.plate_flatness.iter().map(|&flatness| keep(flatness));
    let n = kept.clone().filter(|kept| *kept).count();
    let mean = |values: Vec<f64>| {
        values.into_iter().zip(kept.clone()).filter(|(_, kept)| *kept).map(|(value, _)| value).sum::<f64>()
            / n as f64
    };
    (n > 0).then(|| columns.into_iter().map(mean).collect())
}

/// One candidate reading, as every plate of the posterior may give it.
#[derive(Clone)]
pub(super) struct Predicted {
    pub candidate: usize,
    pub target: usize,
    /// With noise, in µm.
    pub values: Vec<f64>,
}

pub(super) fn predict(
    check: &ShopCheck,
    posterior: &Posterior,
    index: usize,
    candidate: &Candidate,
) -> Option<Vec<Predicted>> {
    let plan = plan(candidate);
    let survey = Survey::lay_out(&plan, &check.plate, &check.stand, &check.gauge_block).ok()?;
    let check = ShopCheck { survey, ..check.clone() };
    let readings: Vec<usize> = (1..check.survey.readings.len()).collect();
    let columns = predicted_readings(&check, posterior, &readings, index)?;
    let predicted = columns.into_iter().zip(readings).map(|(values, target)| Predicted {
        candidate: index,
        target,
        values,
    });
    Some(predicted.collect())
}

/// What each plate of a posterior may give at these readings of a check, which are no zeros: for every reading its values (µm,
/// with noise, no grains) in the order of the plates. `index` tells one check's luck from another's.
///
/// Plate, heat and indicator are as the particle has them; where the stand and its feet are put down anew, and what drifts, is drawn.
pub(super) fn predicted_readings(
    check: &ShopCheck,
    posterior: &Posterior,
    readings: &[usize],
    index: usize,
) -> Option<Vec<Vec<f64>>> {
    // Heights on a grid are not needed: the coarsest will do.
    let experiment = CheckExperiment::on_grid(check, Grid::over(check.plate.working_surface(), 9)).ok()?;
    let step = check.indicator.read_step;
    let observations: Vec<_> =
        readings.iter().map(|&reading| Observation { reading, value: 0.0, step }).collect();
    let model = ReadingModel::new(&experiment, &observations).ok()?;
    let n = model.n();
    let source = Streams::new(0).source("noise of readings to come");
    let rows: Vec<Vec<f64>> = posterior
        .plates
        .par_iter()
        .enumerate()
        .map_init(
            || (experiment.landscape().scratch(), Vec::new()),
            |(drawn, taken), (k, plate)| {
                plate.compose(experiment.landscape(), drawn);
                let mut row = vec![0.0; n];
                model.observe(&drawn.at_places, taken, &mut row);
                add_scaled(plate.curvature, &model.bow.effects, &mut row);
                add_scaled(1.0, &model.fixed_mean, &mut row);
                let draws = &mut source.trial((index * posterior.plates.len() + k) as u64);
                let deviates: Vec<f64> = (0..n).map(|_| StandardNormal.sample(draws)).collect();
                let mut noise = vec![0.0; n];
                times_lower(&model.disturbance_factor, &deviates, &mut noise);
                add_scaled(1.0, &noise, &mut row);
                let own = plate.pointer.noise.sqrt();
                let mut single = || {
                    let deviate: f64 = StandardNormal.sample(draws);
                    own * deviate + step * (draws.random::<f64>() - 0.5)
                };
                let zeros: Vec<f64> = (0..model.n_rounds).map(|_| single()).collect();
                for (value, pool) in row.iter_mut().zip(&model.pools) {
                    *value = plate.pointer.at(*value) + single() - zeros[pool.round];
                }
                row
            },
        )
        .collect();
    Some((0..n).map(|i| rows.iter().map(|row| row[i]).collect()).collect())
}

fn plan(candidate: &Candidate) -> Plan {
    Plan {
        stand_use: candidate.stand_use,
        stations: vec![candidate.station.clone()],
        carried_reach: candidate.carried_reach,
        passes: 1,
        lifted: false,
        zeroing: Zeroing::EachStation,
        closing_reading: false,
        drift_corrected: false,
        minutes_per_reading: 1.0,
        minutes_per_move: 1.0,
    }
}

/// Forward selection: at each step the reading whose functions explain most of what the readings
/// chosen before leave of the flatness. The first two are chosen as a pair from one placement where
/// that is better: they share what lies under the feet, and only together tell it from the plate.
///
/// Readings that are `planned` already (indices into `readings`) come before all others. Returned are indices of readings.
fn choose(flatness: &[f64], readings: &[Predicted], planned: Vec<usize>, count: usize) -> Vec<usize> {
    let mut regression = Regression::new(flatness);
    let single: Vec<f64> =
        readings.par_iter().map(|reading| regression.variance_with(&reading.values)).collect();
    let lowest = |a: &(usize, f64), b: &(usize, f64)| a.1.total_cmp(&b.1);
    let mut plan = planned;
    if count > 1 && plan.is_empty() {
        let best_pair = (0..readings.len())
            .into_par_iter()
            .filter_map(|first| {
                let with_first = regression.with(&readings[first].values);
                let partners = (0..readings.len()).filter(|&second| {
                    readings[second].candidate == readings[first].candidate && second != first
                });
                partners
                    .map(|second| (second, with_first.variance_with(&readings[second].values)))
                    .min_by(lowest)
                    .map(|(second, left)| ([first, second], left))
            })
            .collect::<Vec<_>>()
            .into_iter()
            .min_by(|a, b| a.1.total_cmp(&b.1));
        if let Some(([first, second], _)) = best_pair {
            // The better half first.
            plan = if single[first] <= single[second] { vec![first, second] } else { vec![second, first] };
        }
    }
    let mut taken: Vec<usize> = Vec::new();
    while taken.len() < count {
        let next = match plan.get(taken.len()) {
            Some(&planned) => Some(planned),
            None => {
                let left: Vec<f64> =
                    readings.par_iter().map(|r| regression.variance_with(&r.values)).collect();
                let open = left.into_iter().enumerate().filter(|(r, _)| !taken.contains(r));
                open.min_by(lowest).map(|(r, _)| r)
            }
        };
        let Some(next) = next else { break };
        regression = regression.with(&readings[next].values);
        taken.push(next);
    }
    taken
}

/// What is left of the flatness after each of these readings and those before it; as far as they go on shrinking it,
/// and in any case for the first `n_planned`.
fn promised(flatness: &[f64], readings: &[Predicted], n_planned: usize) -> Vec<NextReading> {
    let mut regression = Regression::new(flatness);
    let whole = regression.variance();
    let mut promised: Vec<NextReading> = Vec::new();
    let mut last = whole;
    for reading in readings {
        regression = regression.with(&reading.values);
        let after = regression.variance().min(last);
        // The first of a pair from one placement may tell little without the second.
        let begins_pair =
            promised.is_empty() && readings.get(1).is_some_and(|next| next.candidate == reading.candidate);
        if last - after < 0.01 * whole && !begins_pair && promised.len() >= n_planned {
            break;
        }
        last = after;
        promised.push(NextReading {
            candidate: reading.candidate,
            target: reading.target,
            expected_standard_uncertainty: after.sqrt(),
        });
    }
    if last > 0.99 * whole && n_planned == 0 { Vec::new() } else { promised }
}

/// Indices of the readings at the given spots from one placement, in the order of the spots.
fn planned(
    flatness: &[f64],
    candidates: &[Candidate],
    readings: &[Predicted],
    spots: &[[f64; 2]],
) -> Vec<usize> {
    let from = |candidate: usize| -> Vec<usize> {
        let at = |r: &Predicted| candidates[r.candidate].station.targets[r.target].at;
        let of = |spot| {
            (0..readings.len()).find(|&r| readings[r].candidate == candidate && at(&readings[r]) == spot)
        };
        spots.iter().filter_map(|&spot| of(spot)).collect()
    };
    let left = |plan: &[usize]| {
        let with = |sum: Regression, r: &usize| sum.with(&readings[*r].values);
        plan.iter().fold(Regression::new(flatness), with).variance()
    };
    let plans = (0..candidates.len()).into_par_iter().map(from).map(|plan| (left(&plan), plan));
    let best = plans
        .collect::<Vec<_>>()
        .into_iter()
        .min_by(|(a, plan_a), (b, plan_b)| plan_b.len().cmp(&plan_a.len()).then(a.total_cmp(b)));
    best.map_or_else(Vec::new, |(_, plan)| plan)
}

/// The flatness regressed on functions of some readings.
#[derive(Clone)]
pub(super) struct Regression {
    /// What is left of the flatness.
    pub left: Vec<f64>,
    /// Functions fitted, orthonormal; and the readings' own straight lines among them.
    basis: Vec<Vec<f64>>,
    lines: Vec<Vec<f64>>,
}

impl Regression {
    pub fn new(flatness: &[f64]) -> Self {
        Self { left: centred(flatness), basis: Vec::new(), lines: Vec::new() }
    }

    /// Variance left; every function fitted takes a degree of freedom with it.
    pub fn variance(&self) -> f64 {
        let degrees = self.left.len() as f64 - 1.0 - self.basis.len() as f64;
        dot(&self.left, &self.left) / degrees.max(1.0)
    }

    /// The variance that would be left with one reading more, without keeping anything.
    ///
    /// What of a function the basis does not hold need not be written down for that: its products with those of the others are the
    /// functions' less those of their parts along the basis, and its product with what is left is the function's, for what is left
    /// is at right angles to the basis.
    pub fn variance_with(&self, values: &[f64]) -> f64 {
        let Some(functions) = self.functions(values) else { return self.variance() };
        let mut products = [[0.0; N_FUNCTIONS]; N_FUNCTIONS];
        for (i, row) in products.iter_mut().enumerate() {
            let of_all = dots(&functions, &functions[i]);
            row[..=i].copy_from_slice(&of_all[..=i]);
        }
        let lengths: [f64; N_FUNCTIONS] = std::array::from_fn(|i| products[i][i]);
        for direction in &self.basis {
            let parts = dots(&functions, direction);
            for (i, row) in products.iter_mut().enumerate() {
                for (product, part) in row[..=i].iter_mut().zip(&parts) {
                    *product -= parts[i] * part;
                }
            }
        }
        let mut with_left = dots(&functions, &self.left);
        let (mut explained, mut found) = (0.0, 0);
        // Gaussian elimination of a symmetric matrix: what a function explains beyond those before it.
        for k in 0..N_FUNCTIONS {
            let remaining = products[k][k];
            if remaining <= 1e-8 * lengths[k] {
                continue;
            }
            explained += with_left[k] * with_left[k] / remaining;
            found += 1;
            let column: [f64; N_FUNCTIONS] = std::array::from_fn(|i| products[i][k]);
            for i in k + 1..N_FUNCTIONS {
                let share = column[i] / remaining;
                with_left[i] -= share * with_left[k];
                for (product, of_column) in products[i][k + 1..=i].iter_mut().zip(&column[k + 1..=i]) {
                    *product -= share * of_column;
                }
            }
        }
        let degrees = self.left.len() as f64 - 1.0 - (self.basis.len() + found) as f64;
        (dot(&self.left, &self.left) - explained) / degrees.max(1.0)
    }

    /// With one reading more: a straight line in it, and rounded bends at the mean and one standard
    /// deviation to either side of what the other readings leave of it.
    pub fn with(&self, values: &[f64]) -> Self {
        let mut next = self.clone();
        let Some(functions) = self.functions(values) else { return next };
        for (k, function) in functions.into_iter().enumerate() {
            if k == 0 {
                next.lines.push(scaled(&function, 1.0 / dot(&function, &function).sqrt()));
            }
            next.fit(function);
        }
        next
    }

    /// With ridges across the readings: rounded |direction · readings| for so many random directions, the readings made
    /// independent of one another and of variance 1 first.
    ///
    /// Flatness is a seminorm of the surface (as large for the surface upside down, twice as large for one twice as rough), and what
    /// is to be expected of it given the readings is nearly a norm of these; norms are approximated by mixtures of such ridges
    /// (zonoids: Bolker, Transactions of the American Mathematical Society 145, 1969, 323-345), which no sum of functions
    /// of single readings is. Directions at random: Rahimi and Recht, "Random features for large-scale kernel machines", 2008.
    pub fn with_ridges(&self, n_ridges: usize) -> Self {
        let mut next = self.clone();
        let n = self.left.len();
        let root = (n as f64).sqrt();
        let source = Streams::new(0).source("directions of ridges");
        for ridge in 0..n_ridges {
            let draws = &mut source.trial(ridge as u64);
            let direction: Vec<f64> = self.lines.iter().map(|_| StandardNormal.sample(draws)).collect();
            let size = dot(&direction, &direction).sqrt();
            let mut along = vec![0.0; n];
            for (share, line) in direction.iter().zip(&self.lines) {
                add_scaled(share / size * root, line, &mut along);
            }
            next.fit(centred(&along.iter().map(|v| (0.0625 + v * v).sqrt()).collect::<Vec<_>>()));
        }
        next
    }

    /// Takes a function's part out of what is left.
    fn fit(&mut self, mut function: Vec<f64>) {
        let length = dot(&function, &function);
        project_out(&self.basis, &mut function);
        let remaining = dot(&function, &function);
        if remaining > 1e-8 * length {
            let direction = scaled(&function, 1.0 / remaining.sqrt());
            let part = dot(&direction, &self.left);
            add_scaled(-part, &direction, &mut self.left);
            self.basis.push(direction);
        }
    }

    /// The functions of one reading more; `None` where the others determine it.
    fn functions(&self, values: &[f64]) -> Option<[Vec<f64>; N_FUNCTIONS]> {
        let own = centred(values);
        let mut rest = own.clone();
        project_out(&self.lines, &mut rest);
        let size = dot(&own, &own);
        if size <= 0.0 || dot(&rest, &rest) < 1e-8 * size {
            return None;
        }
        let deviation = (dot(&rest, &rest) / rest.len() as f64).sqrt();
        let bend = |at: f64| {
            centred(&rest.iter().map(|v| (0.25 + (v / deviation - at).powi(2)).sqrt()).collect::<Vec<_>>())
        };
        let bends = [bend(0.0), bend(-1.0), bend(1.0)];
        let [middle, low, high] = bends;
        Some([rest, middle, low, high])
    }
}

/// How many functions of one reading are fitted.
const N_FUNCTIONS: usize = 4;

/// The product of each of some functions with another, all in one pass.
fn dots(functions: &[Vec<f64>; N_FUNCTIONS], with: &[f64]) -> [f64; N_FUNCTIONS] {
    const LANES: usize = 4;
    let mut sums = [[0.0; LANES]; N_FUNCTIONS];
    let rows = functions.each_ref().map(|function| function.as_chunks::<LANES>());
    let (with, with_rest) = with.as_chunks::<LANES>();
    for (place, with) in with.iter().enumerate() {
        for (sums, (row, _)) in sums.iter_mut().zip(&rows) {
            for (sum, (a, b)) in sums.iter_mut().zip(row[place].iter().zip(with)) {
                *sum += a * b;
            }
        }
    }
    std::array::from_fn(|k| sums[k].iter().sum::<f64>() + dot(rows[k].1, with_rest))
}

/// Takes out of a function its parts along orthonormal directions (Gram-Schmidt).
fn project_out(directions: &[Vec<f64>], function: &mut [f64]) {
    for direction in directions {
        let part = dot(direction, function);
        add_scaled(-part, direction, function);
    }
}

fn scaled(values: &[f64], factor: f64) -> Vec<f64> {
    values.iter().map(|v| v * factor).collect()
}

fn centred(values: &[f64]) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    values.iter().map(|v| v - mean).collect()
}

/// Placements worth considering for a check.
///
/// A stand that is parked or turned: in every corner, halfway along every edge and in the middle,
/// pointing to the middle; its targets are the plate's corners, edges and middle, and rings of two
/// short reaches around it, where the feet's lever is shortest; the zero is set at the nearest. A
/// carried stand: turned by a quarter and by an eighth of a turn, and with a shorter reach.
/// Impossible spots are left out. The further `spots` (mm) are read from each; a carried stand reads these as it read all
/// others, too.
pub fn candidates(check: &ShopCheck, spots: &[[f64; 2]]) -> Vec<Candidate> {
    let further =
        spots.iter().map(|&at| Target { name: format!("{:.0}, {:.0} mm", at[0], at[1]), at }).collect();
    let placements = match check.survey.stand_use {
        StandUse::Carried => carried(check, further),
        stand_use => around_the_plate(check, stand_use, further),
    };
    placements.into_iter().filter_map(|candidate| possible(check, candidate)).collect()
}

fn around_the_plate(check: &ShopCheck, stand_use: StandUse, further: Vec<Target>) -> Vec<Candidate> {
    let [length, width] = [check.plate.length, check.plate.width];
    // Whichever way it points, its feet stay on the plate.
    let spread = check.stand.feet.iter().map(|[x, y]| libm::hypot(*x, *y)).fold(0.0, f64::max);
    let inset = spread + check.stand.pad_diameter / 2.0;
    let middle = check.plate.middle();
    let along = |side: f64, place: f64| inset + place * (side - 2.0 * inset);
    let places = [
        ("front left", [0.0, 0.0]),
        ("front right", [1.0, 0.0]),
        ("back left", [0.0, 1.0]),
        ("back right", [1.0, 1.0]),
        ("front middle", [0.5, 0.0]),
        ("back middle", [0.5, 1.0]),
        ("left middle", [0.0, 0.5]),
        ("right middle", [1.0, 0.5]),
        ("middle", [0.5, 0.5]),
    ];
    // Beside the feet, block and pads clear of one another.
    let face = check.gauge_block.face;
    let near = check.stand.reach[0].max(inset + face[0].max(face[1]));
    let candidate = |(name, [x, y]): (&str, [f64; 2])| {
        let at = [along(length, x), along(width, y)];
        let heading = libm::atan2(middle[1] - at[1], middle[0] - at[0]).to_degrees();
        let mut targets = targets(check);
        targets.extend(further.iter().cloned());
        for reach in [near, 1.8 * near] {
            for eighth in 0..8 {
                let direction = std::f64::consts::FRAC_PI_4 * f64::from(eighth);
                let spot = [at[0] + reach * libm::cos(direction), at[1] + reach * libm::sin(direction)];
                targets.push(Target { name: format!("{:.0}, {:.0} mm", spot[0], spot[1]), at: spot });
            }
        }
        let distance = |target: &Target| libm::hypot(target.at[0] - at[0], target.at[1] - at[1]);
        targets.sort_by(|a, b| distance(a).total_cmp(&distance(b)));
        Candidate {
            stand_use,
            station: Station { name: name.into(), at, heading, targets },
            carried_reach: 0.0,
        }
    };
    places.into_iter().map(candidate).collect()
}

fn carried(check: &ShopCheck, further: Vec<Target>) -> Vec<Candidate> {
    let Some(reading) = check.survey.readings.first() else { return Vec::new() };
    let turned = |[a, b]: [[f64; 2]; 2]| libm::atan2(b[1] - a[1], b[0] - a[0]);
    let feet = [reading.feet[0], reading.feet[1]];
    let heading = (turned(feet) - turned([check.stand.feet[0], check.stand.feet[1]])).to_degrees();
    let (sin, cos) = (libm::sin(heading.to_radians()), libm::cos(heading.to_radians()));
    let [x, y] = check.stand.feet[0];
    let origin = [reading.feet[0][0] - (cos * x - sin * y), reading.feet[0][1] - (sin * x + cos * y)];
    let reach = libm::hypot(reading.target[0] - origin[0], reading.target[1] - origin[1]);
    let shorter = check.stand.reach[0].max(check.stand.nearest_ahead(&check.gauge_block)).max(0.6 * reach);
    let mut all = Vec::new();
    for by in [0.0, 90.0, 45.0, -45.0] {
        for carried_reach in [reach, shorter] {
            let mut targets = targets(check);
            // As it was read already: only the zero is set again.
            if by == 0.0 && carried_reach >= reach {
                targets.truncate(1);
            }
            targets.extend(further.iter().cloned());
            if targets.len() < 2 {
                continue;
            }
            let name = format!("turned by {by}°");
            let station = Station { name, at: [0.0; 2], heading: heading + by, targets };
            all.push(Candidate { stand_use: StandUse::Carried, station, carried_reach });
        }
    }
    all
}

/// Corners, edges and middle, middle first.
fn targets(check: &ShopCheck) -> Vec<Target> {
    let plate = &check.plate;
    let block = &check.gauge_block;
    let inset = plate.margin.max(block.face[0].max(block.face[1]) / 2.0);
    let mut all = Vec::new();
    for (along, x) in [("", 0.5), (" left", 0.0), (" right", 1.0)] {
        for (across, y) in [("middle", 0.5), ("front", 0.0), ("back", 1.0)] {
            let at = [inset + x * (plate.length - 2.0 * inset), inset + y * (plate.width - 2.0 * inset)];
            all.push(Target { name: format!("{across}{along}"), at });
        }
    }
    all
}

/// The candidate without the spots that cannot be read from there, the block clear of the stand either way round; `None` if
/// fewer than two are left.
pub(super) fn possible(check: &ShopCheck, mut candidate: Candidate) -> Option<Candidate> {
    let (whole, station) = (plan(&candidate), candidate.station.clone());
    let clear =
        |target: &Target| check.stand.clears(&check.gauge_block, whole.in_stand_frame(&station, target.at));
    candidate.station.targets.retain(clear);
    if let Err(faults) = Survey::lay_out(&plan(&candidate), &check.plate, &check.stand, &check.gauge_block) {
        let mut index = 0;
        candidate.station.targets.retain(|_| {
            index += 1;
            !faults.iter().any(|fault| fault.target == Some(index - 1))
        });
    }
    let lays_out = Survey::lay_out(&plan(&candidate), &check.plate, &check.stand, &check.gauge_block).is_ok();
    (lays_out && candidate.station.targets.len() > 1).then_some(candidate)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn predicted(candidate: usize, values: Vec<f64>) -> Predicted {
        Predicted { candidate, target: 1, values }
    }

    /// Chosen and promised on the same plates.
    fn chosen(flatness: &[f64], readings: &[Predicted], count: usize) -> Vec<NextReading> {
        let chosen = choose(flatness, readings, Vec::new(), count).into_iter().map(|r| readings[r].clone());
        promised(flatness, &chosen.collect::<Vec<_>>(), 0)
    }

    /// Normal scores that are independent of one another by construction: a full factorial.
    fn factorial() -> [Vec<f64>; 3] {
        let levels: Vec<f64> =
            (0..15).map(|k| crate::quantity::student::normal_quantile((f64::from(k) + 0.5) / 15.0)).collect();
        let mut columns = [Vec::new(), Vec::new(), Vec::new()];
        for &a in &levels {
            for &b in &levels {
                for &c in &levels {
                    for (column, value) in columns.iter_mut().zip([a, b, c]) {
                        column.push(value);
                    }
                }
            }
        }
        columns
    }

    /// Expected variance of the flatness after a noisy reading, by nested simulation: every plate
    /// in turn is the true one and gives a reading, for which all plates are weighted.
    fn nested(flatness: &[f64], values: &[f64], noise: f64) -> f64 {
        let mut total = 0.0;
        let truths = (0..flatness.len()).step_by(7);
        let n = truths.len() as f64;
        for (k, truth) in truths.enumerate() {
            let u = (k as f64 * 0.618_033_988_75 + 0.5).fract();
            let read = values[truth] + noise.sqrt() * crate::quantity::student::normal_quantile(u);
            let (mut sum, mut first, mut second) = (0.0, 0.0, 0.0);
            for (f, v) in flatness.iter().zip(values) {
                let w = libm::exp(-0.5 * (read - v) * (read - v) / noise);
                sum += w;
                first += w * f;
                second += w * f * f;
            }
            total += second / sum - (first / sum) * (first / sum);
        }
        total / n
    }

    fn mixed(parts: &[(f64, &Vec<f64>)]) -> Vec<f64> {
        (0..parts[0].1.len()).map(|i| parts.iter().map(|(share, column)| share * column[i]).sum()).collect()
    }

    #[test]
    fn what_is_expected_agrees_with_nested_simulation() {
        let [a, b, c] = factorial();
        let flatness = mixed(&[(1.0, &a), (0.6, &b)]);
        let noise = 0.3_f64;
        let good = predicted(1, mixed(&[(2.0, &a), (noise.sqrt(), &c)]));
        let fair = predicted(2, mixed(&[(1.0, &b), (noise.sqrt(), &c)]));
        let poor = predicted(0, mixed(&[(0.1, &b), (noise.sqrt(), &c)]));
        let chosen = chosen(&flatness, &[poor, good, fair], 3);
        let order: Vec<usize> = chosen.iter().map(|c| c.candidate).collect();
        assert_eq!(order[..2], [1, 2]);
        let brute = nested(&flatness, &mixed(&[(2.0, &a)]), noise).sqrt();
        let expected = chosen[0].expected_standard_uncertainty;
        assert!((expected - brute).abs() < 0.03 * brute, "{expected} against {brute}");
    }

    /// Where the flatness is no straight-line function of the reading: high or low, it is large.
    #[test]
    fn a_crooked_dependence_is_seen() {
        let [a, b, c] = factorial();
        let flatness: Vec<f64> = a.iter().zip(&b).map(|(a, b)| (a + 0.3 * b).abs()).collect();
        let chosen = chosen(&flatness, &[predicted(0, mixed(&[(1.0, &a), (0.1_f64.sqrt(), &c)]))], 1);
        let brute = nested(&flatness, &a, 0.1).sqrt();
        let expected = chosen[0].expected_standard_uncertainty;
        assert!((expected - brute).abs() < 0.05 * brute, "{expected} against {brute}");
    }

    /// A reading that repeats one already chosen is worth only what its own noise leaves.
    #[test]
    fn repeating_a_reading_is_worth_less() {
        let [a, b, c] = factorial();
        let flatness = mixed(&[(1.0, &a), (0.4, &b)]);
        let noisy = |column: &Vec<f64>| mixed(&[(1.0, column), (0.2, &c)]);
        let readings = [predicted(0, noisy(&a)), predicted(1, noisy(&a)), predicted(2, noisy(&b))];
        let order: Vec<usize> = chosen(&flatness, &readings, 2).iter().map(|c| c.candidate).collect();
        assert_eq!(order[1], 2, "{order:?}");
    }
}
