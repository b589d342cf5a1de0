//! Where to put stand and block, for a number of readings, so that most is learnt of a plate nobody has read yet.

use super::{
    next_reading::{Candidate, Predicted, Regression, possible, predict, predicted_readings},
    posterior::{CannotJudge, Posterior, Settings, posterior},
};
use crate::{
    quantity::sample::quantiles,
    shop::{
        check::ShopCheck,
        stand_room::{block_room, carried_room, column_room, spread_over},
        survey::{Plan, StandUse, Station, Target, Zeroing},
    },
};
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

/// How many plates placements are chosen by.
const N_CHOOSING: usize = 2048;
/// How many others a choice is then judged by, so that luck in choosing does not flatter it.
const N_JUDGING: usize = 8192;
/// How many ridges across the readings a choice is judged with, for each reading, and most.
const N_RIDGES: [usize; 2] = [40, 320];
/// How many of the best at each choice are tried in exchanges.
const N_PROMISING: usize = 24;
/// Most rounds of exchanges.
const MOST_SWEEPS: usize = 2;

/// Plates as the setup describes them, before anything is read.
#[derive(Debug)]
pub struct Unread {
    choosing: Posterior,
    judging: Posterior,
}

/// What a survey leaves open of a plate's flatness (µm), on average over what may be read: standard uncertainty, and width
/// of the 95 % interval of what the flatness may be off its estimate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[schemars(rename = "ExpectedDocument", description = "What is left open of the flatness, on average.")]
pub struct Expected {
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
    /// Width of the 95 % interval.
    pub interval_width: f64,
}

impl Unread {
    /// Draws the plates of a check.
    pub fn new(check: &ShopCheck, seed: u64) -> Result<Self, CannotJudge> {
        let draw = |n_particles, seed| {
            let settings = Settings { n_particles, effective_sample_size: 1.0, rounds: [1, 1], seed };
            posterior(check, &[], &settings, &|_| {})
        };
        Ok(Self { choosing: draw(N_CHOOSING, seed)?, judging: draw(N_JUDGING, !seed)? })
    }

    /// What nobody knows before any reading.
    pub fn before(&self) -> Expected {
        self.left(&Regression::new(&self.judging.plate_flatness))
    }

    /// What is left open after all readings of a check.
    ///
    /// By regression of the flatness on functions of the readings, as [`super::next_reading::next_readings`] does it, and on ridges
    /// across them: an upper bound, for a full posterior makes more of the same readings (`tests/promise.rs` has how much). `None`
    /// where the check cannot be computed with.
    pub fn after(&self, check: &ShopCheck) -> Option<Expected> {
        let survey = &check.survey;
        let readings: Vec<usize> = survey.compared().collect();
        let columns = predicted_readings(check, &self.judging, &readings, 0)?;
        let start = Regression::new(&self.judging.plate_flatness);
        let each = columns.iter().fold(start, |regression, values| regression.with(values));
        Some(self.left(&each.with_ridges((N_RIDGES[0] * columns.len()).min(N_RIDGES[1]))))
    }

    fn left(&self, regression: &Regression) -> Expected {
        let standard_uncertainty = regression.variance().sqrt();
        let n = regression.left.len() as f64;
        let own: f64 = regression.left.iter().map(|v| v * v).sum();
        let scale = standard_uncertainty / (own / n).sqrt();
        let ends = quantiles(&mut regression.left.clone(), &[0.025, 0.975]);
        Expected { standard_uncertainty, interval_width: scale * (ends[1] - ends[0]) }
    }
}

/// A plan of `count` readings besides the zeros, chosen from the candidates one by one, each time the one that leaves least
/// of the flatness's variance, and then exchanged one by one for others that were near to being chosen while that leaves less
/// (greedy with exchange: Fedorov, "Theory of Optimal Experiments", 1972, has the exchange for linear models; here the variance
/// left is that of a regression).
///
/// Passes, times, closing reading and the reach of a carried stand are those of `plan`; every placement sets a zero of its
/// own. Fewer readings where the candidates are fewer; `None` where there are none.
pub fn choose_placements(
    check: &ShopCheck,
    plan: &Plan,
    unread: &Unread,
    candidates: &[Candidate],
    count: usize,
) -> Option<Plan> {
    let mut readings: Vec<Predicted> = Vec::new();
    for (index, candidate) in candidates.iter().enumerate() {
        readings.extend(predict(check, &unread.choosing, index, candidate).unwrap_or_default());
    }
    let chosen = choose(&unread.choosing.plate_flatness, &readings, count);
    let mut stations: Vec<Station> = Vec::new();
    for (index, candidate) in candidates.iter().enumerate() {
        let mut targets: Vec<usize> = chosen
            .iter()
            .filter(|&&reading| readings[reading].candidate == index)
            .map(|&reading| readings[reading].target)
            .collect();
        if targets.is_empty() {
            continue;
        }
        let station = &candidate.station;
        // Round the stand, so that nobody walks back and forth.
        let around = |&target: &usize| {
            let at = station.targets[target].at;
            libm::atan2(at[1] - station.at[1], at[0] - station.at[0])
        };
        targets.sort_by(|a, b| around(a).total_cmp(&around(b)));
        let all = std::iter::once(0).chain(targets).map(|target| station.targets[target].clone());
        stations.push(Station { targets: all.collect(), ..station.clone() });
    }
    (!stations.is_empty()).then(|| Plan {
        stations,
        passes: 1,
        lifted: false,
        zeroing: Zeroing::EachStation,
        ..plan.clone()
    })
}

/// Indices of the readings chosen.
fn choose(flatness: &[f64], readings: &[Predicted], count: usize) -> Vec<usize> {
    let start = Regression::new(flatness);
    // Of these readings those that leave least, best first.
    let best_of = |regression: &Regression, among: &[usize]| -> Vec<(usize, f64)> {
        let left = |&reading: &usize| (reading, regression.variance_with(&readings[reading].values));
        let mut left: Vec<(usize, f64)> = among.par_iter().map(left).collect();
        left.sort_by(|a, b| a.1.total_cmp(&b.1));
        left
    };
    let mut chosen: Vec<usize> = Vec::new();
    let mut promising: Vec<usize> = Vec::new();
    let mut regression = start.clone();
    let mut open: Vec<usize> = (0..readings.len()).collect();
    while chosen.len() < count {
        let ranked = best_of(&regression, &open);
        let Some(&(next, _)) = ranked.first() else { break };
        promising.extend(ranked.iter().take(N_PROMISING).map(|(reading, _)| *reading));
        regression = regression.with(&readings[next].values);
        open.retain(|&reading| reading != next);
        chosen.push(next);
    }
    promising.sort_unstable();
    promising.dedup();
    for _ in 0..MOST_SWEEPS {
        let mut exchanged = false;
        for place in 0..chosen.len() {
            let others: Vec<usize> =
                chosen.iter().enumerate().filter(|(other, _)| *other != place).map(|(_, &r)| r).collect();
            let without =
                others.iter().fold(start.clone(), |regression, &r| regression.with(&readings[r].values));
            let now = without.variance_with(&readings[chosen[place]].values);
            let open: Vec<usize> =
                promising.iter().copied().filter(|reading| !others.contains(reading)).collect();
            // An exchange that gains next to nothing is luck.
            if let Some(&(next, left)) = best_of(&without, &open).first()
                && left < 0.998 * now
            {
                chosen[place] = next;
                exchanged = true;
            }
        }
        if !exchanged {
            break;
        }
    }
    chosen
}

/// Some 500 readings that a check's stand can take, each at a placement with a zero at the target nearest to it.
///
/// A parked or turned stand: on five by three places, pointing to the middle; a carried one: at four headings. Targets are
/// spread over the working surface in seven by five (carried: twelve by ten, nearest to the middle of the plate the zero).
/// Places and targets are whole multiples of `step` (mm). What the stand or the plate does not allow is left out.
pub fn placements_to_choose_from(check: &ShopCheck, plan: &Plan, step: f64) -> Vec<Candidate> {
    let placements = match plan.stand_use {
        StandUse::Carried => carried(check, plan, step),
        stand_use => standing(check, stand_use, step),
    };
    placements.into_iter().filter_map(|candidate| possible(check, candidate)).collect()
}

fn standing(check: &ShopCheck, stand_use: StandUse, step: f64) -> Vec<Candidate> {
    let middle = check.plate.middle();
    let mut all: Vec<Candidate> = Vec::new();
    for across in 0..3 {
        for along in 0..5 {
            let share = [f64::from(along) / 4.0, f64::from(across) / 2.0];
            let near = [share[0] * check.plate.length, share[1] * check.plate.width];
            let [dx, dy] = [middle[0] - near[0], middle[1] - near[1]];
            let in_the_middle = dx == 0.0 && dy == 0.0;
            let heading = if in_the_middle { 0.0 } else { libm::atan2(dy, dx).to_degrees().round() };
            let Some(room) = column_room(check, stand_use, heading) else { continue };
            let at = [0, 1].map(|axis| {
                let [low, high] = room[axis];
                on_lattice(low + share[axis] * (high - low), room[axis], step)
            });
            if all.iter().any(|known| known.station.at == at) {
                continue;
            }
            let targets = sorted_targets(at, &lattice(block_room(check), [7, 5], step));
            all.push(Candidate {
                stand_use,
                station: Station { name: String::new(), at, heading, targets },
                carried_reach: 0.0,
            });
        }
    }
    all
}

fn carried(check: &ShopCheck, plan: &Plan, step: f64) -> Vec<Candidate> {
    let at = check.plate.middle();
    let candidate = |heading: f64| {
        let room = carried_room(check, plan.carried_reach, heading)?;
        let targets = sorted_targets(at, &lattice(room, [12, 10], step));
        Some(Candidate {
            stand_use: StandUse::Carried,
            station: Station { name: String::new(), at, heading, targets },
            carried_reach: plan.carried_reach,
        })
    };
    [0.0, 45.0, 90.0, 135.0].into_iter().filter_map(candidate).collect()
}

/// Places over a rectangle, each once.
fn lattice(room: [[f64; 2]; 2], [columns, rows]: [usize; 2], step: f64) -> Vec<[f64; 2]> {
    let mut places: Vec<[f64; 2]> = Vec::new();
    for y in spread_over(room[1], rows) {
        for x in spread_over(room[0], columns) {
            let at = [on_lattice(x, room[0], step), on_lattice(y, room[1], step)];
            if !places.contains(&at) {
                places.push(at);
            }
        }
    }
    places
}

fn sorted_targets(from: [f64; 2], places: &[[f64; 2]]) -> Vec<Target> {
    let mut targets: Vec<Target> = places.iter().map(|&at| Target { name: String::new(), at }).collect();
    let distance = |target: &Target| libm::hypot(target.at[0] - from[0], target.at[1] - from[1]);
    targets.sort_by(|a, b| distance(a).total_cmp(&distance(b)));
    targets
}

/// The multiple of `step` nearest to `value` that lies within the limits, if one does.
fn on_lattice(value: f64, [low, high]: [f64; 2], step: f64) -> f64 {
    let [first, last] = [(low / step).ceil(), (high / step).floor()];
    if first > last { value } else { (value / step).round().clamp(first, last) * step }
}
