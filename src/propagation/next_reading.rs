//! Which further readings would tell most about a plate.

use super::{
    check_experiment::CheckExperiment,
    likelihood::{Observation, ReadingModel, add_scaled},
    posterior::Posterior,
};
use crate::shop::{
    check::ShopCheck,
    grid::Grid,
    survey::{Plan, StandUse, Station, Survey, Target, Zeroing},
};
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
/// The plates of the posterior are read at every candidate. The flatness is regressed on those
/// readings, whose noise is added: what is left, `Var F − C_FY (C_YY + N)⁻¹ C_YF`, is the expected
/// variance if the posterior were normal, and an upper bound of it whatever it is, since the
/// conditional mean predicts no worse than the best straight line (linear Bayes: Goldstein and
/// Wooff, Bayes Linear Statistics, 2007).
///
/// Candidates that are impossible are passed over. Nothing comes out of a check that cannot be
/// simulated.
pub fn next_readings(
    check: &ShopCheck,
    posterior: &Posterior,
    candidates: &[Candidate],
    count: usize,
) -> Vec<NextReading> {
    let mut readings: Vec<Predicted> = Vec::new();
    for (index, candidate) in candidates.iter().enumerate() {
        readings.extend(predict(check, posterior, index, candidate).unwrap_or_default());
    }
    choose(&posterior.plate_flatness, &readings, count)
}

/// One candidate reading, predicted for every plate of the posterior.
struct Predicted {
    candidate: usize,
    target: usize,
    /// Less its mean, in µm.
    values: Vec<f64>,
    /// Covariance of its noise with each reading of the same candidate, in µm².
    noise: Vec<f64>,
}

fn predict(
    check: &ShopCheck,
    posterior: &Posterior,
    index: usize,
    candidate: &Candidate,
) -> Option<Vec<Predicted>> {
    let plan = plan(candidate);
    let survey = Survey::lay_out(&plan, &check.plate, &check.stand, &check.gauge_block).ok()?;
    let check = ShopCheck { survey, ..check.clone() };
    // Heights on a grid are not needed: the coarsest will do.
    let experiment = CheckExperiment::on_grid(&check, Grid::over(check.plate.working_surface(), 9)).ok()?;
    let observations: Vec<_> = (1..check.survey.readings.len())
        .map(|reading| Observation { reading, value: 0.0, step: check.indicator.read_step })
        .collect();
    let model = ReadingModel::new(&experiment, &observations).ok()?;
    let n = model.n();
    let rows: Vec<Vec<f64>> = posterior
        .plates
        .par_iter()
        .map_init(
            || (experiment.landscape().scratch(), Vec::new()),
            |(drawn, taken), plate| {
                plate.compose(experiment.landscape(), drawn);
                let mut row = vec![0.0; n];
                model.observe(&drawn.at_places, taken, &mut row);
                row
            },
        )
        .collect();
    let noise = model.typical_noise();
    let predicted = (0..n).map(|i| {
        let mean = rows.iter().map(|row| row[i]).sum::<f64>() / rows.len() as f64;
        Predicted {
            candidate: index,
            target: i + 1,
            values: rows.iter().map(|row| row[i] - mean).collect(),
            noise: (0..n).map(|j| noise[i * n + j]).collect(),
        }
    });
    Some(predicted.collect())
}

fn plan(candidate: &Candidate) -> Plan {
    Plan {
        stand_use: candidate.stand_use,
        stations: vec![candidate.station.clone()],
        carried_reach: candidate.carried_reach,
        passes: 1,
        zeroing: Zeroing::EachStation,
        closing_reading: false,
        drift_corrected: false,
        minutes_per_reading: 1.0,
        minutes_per_move: 1.0,
    }
}

/// Forward selection: at each step the reading that leaves the least variance, after everything has
/// been made independent of those chosen before (Gram-Schmidt on readings with their noise).
fn choose(flatness: &[f64], readings: &[Predicted], count: usize) -> Vec<NextReading> {
    let m = flatness.len() as f64;
    let mean = flatness.iter().sum::<f64>() / m;
    let deviations: Vec<f64> = flatness.iter().map(|f| f - mean).collect();
    let covariance = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>() / (m - 1.0);
    let whole = covariance(&deviations, &deviations);
    let mut left = whole;
    // Of each reading: its covariance with the flatness and its variance, given those chosen.
    let mut with_flatness: Vec<f64> = readings.iter().map(|r| covariance(&r.values, &deviations)).collect();
    let mut variance: Vec<f64> =
        readings.iter().map(|r| covariance(&r.values, &r.values) + r.noise[r.target - 1]).collect();
    // Covariances of each chosen reading with all, given those chosen before it, over its deviation.
    let mut factors: Vec<Vec<f64>> = Vec::new();
    let mut chosen: Vec<NextReading> = Vec::new();
    while chosen.len() < count {
        let gain = |r: usize| with_flatness[r] * with_flatness[r] / variance[r];
        let is_open = |r: &usize| {
            let free =
                |c: &NextReading| c.candidate != readings[*r].candidate || c.target != readings[*r].target;
            variance[*r] > 0.0 && chosen.iter().all(free)
        };
        let best = (0..readings.len()).filter(is_open).max_by(|&a, &b| gain(a).total_cmp(&gain(b)));
        let Some(best) = best.filter(|&r| gain(r) > 0.01 * whole) else { break };
        left -= gain(best);
        let deviation = variance[best].sqrt();
        let mut factor: Vec<f64> = readings
            .iter()
            .map(|r| {
                let shared = if r.candidate == readings[best].candidate {
                    r.noise[readings[best].target - 1]
                } else {
                    0.0
                };
                covariance(&r.values, &readings[best].values) + shared
            })
            .collect();
        for before in &factors {
            add_scaled(-before[best], before, &mut factor);
        }
        let slope = with_flatness[best] / deviation;
        for (r, value) in factor.iter_mut().enumerate() {
            *value /= deviation;
            with_flatness[r] -= *value * slope;
            variance[r] -= *value * *value;
        }
        factors.push(factor);
        chosen.push(NextReading {
            candidate: readings[best].candidate,
            target: readings[best].target,
            expected_standard_uncertainty: left.max(0.0).sqrt(),
        });
    }
    chosen
}

/// Placements worth considering for a check: the stand, used as it was, in every corner and halfway
/// along every edge, pointing to the middle; a carried stand turned by a quarter and an eighth of a
/// turn, and with a shorter reach. The block goes to corners, edges and middle; the zero is set in
/// the middle, or at the first spot that can be had. Impossible spots are left out.
pub fn candidates(check: &ShopCheck) -> Vec<Candidate> {
    let placements = match check.survey.stand_use {
        StandUse::Carried => carried(check),
        stand_use => around_the_plate(check, stand_use),
    };
    placements.into_iter().filter_map(|candidate| possible(check, candidate)).collect()
}

fn around_the_plate(check: &ShopCheck, stand_use: StandUse) -> Vec<Candidate> {
    let [length, width] = [check.plate.length, check.plate.width];
    // Whichever way it points, its feet stay on the plate.
    let spread = check.stand.feet.iter().map(|[x, y]| x.hypot(*y)).fold(0.0, f64::max);
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
    ];
    let candidate = |(name, [x, y]): (&str, [f64; 2])| {
        let at = [along(length, x), along(width, y)];
        let heading = libm::atan2(middle[1] - at[1], middle[0] - at[0]).to_degrees();
        let station = Station { name: name.into(), at, heading, targets: targets(check) };
        Candidate { stand_use, station, carried_reach: 0.0 }
    };
    places.into_iter().map(candidate).collect()
}

fn carried(check: &ShopCheck) -> Vec<Candidate> {
    let Some(reading) = check.survey.readings.first() else { return Vec::new() };
    let turned = |[a, b]: [[f64; 2]; 2]| libm::atan2(b[1] - a[1], b[0] - a[0]);
    let feet = [reading.feet[0], reading.feet[1]];
    let heading = (turned(feet) - turned([check.stand.feet[0], check.stand.feet[1]])).to_degrees();
    let (sin, cos) = (libm::sin(heading.to_radians()), libm::cos(heading.to_radians()));
    let [x, y] = check.stand.feet[0];
    let origin = [reading.feet[0][0] - (cos * x - sin * y), reading.feet[0][1] - (sin * x + cos * y)];
    let reach = (reading.target[0] - origin[0]).hypot(reading.target[1] - origin[1]);
    let shorter = check.stand.reach[0].max(0.6 * reach);
    let mut all = Vec::new();
    for by in [0.0, 90.0, 45.0, -45.0] {
        for carried_reach in [reach, shorter] {
            // As it was read already.
            if by == 0.0 && carried_reach == reach {
                continue;
            }
            let name = format!("turned by {by}°");
            let station = Station { name, at: [0.0; 2], heading: heading + by, targets: targets(check) };
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

/// The candidate without the spots that cannot be read from there; `None` if fewer than two are
/// left.
fn possible(check: &ShopCheck, mut candidate: Candidate) -> Option<Candidate> {
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

    fn predicted(candidate: usize, values: &[f64], noise: f64) -> Predicted {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let values = values.iter().map(|v| v - mean).collect();
        Predicted { candidate, target: 1, values, noise: vec![noise] }
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

    #[test]
    fn what_is_expected_agrees_with_nested_simulation() {
        let [a, b, c] = factorial();
        let flatness: Vec<f64> = (0..a.len()).map(|i| 5.0 + a[i] + 0.6 * b[i] + 0.2 * c[i]).collect();
        let good: Vec<f64> = (0..a.len()).map(|i| 2.0 * a[i] + 0.5 * c[i]).collect();
        let fair = b.clone();
        let poor = c.clone();
        let readings = [predicted(0, &poor, 0.3), predicted(1, &good, 0.3), predicted(2, &fair, 0.3)];
        let chosen = choose(&flatness, &readings, 3);
        let order: Vec<usize> = chosen.iter().map(|c| c.candidate).collect();
        // After these two, what is left to the poor one is below 1 %.
        assert_eq!(order, [1, 2]);
        let brute = nested(&flatness, &good, 0.3).sqrt();
        let expected = chosen[0].expected_standard_uncertainty;
        assert!((expected - brute).abs() < 0.03 * brute, "{expected} against {brute}");
    }

    /// Where the flatness is no straight-line function of the reading, the expectation is a bound.
    #[test]
    fn a_crooked_dependence_is_promised_less_than_it_gives() {
        let [a, b, _] = factorial();
        let flatness: Vec<f64> = a.iter().zip(&b).map(|(a, b)| (a + 0.3 * b).abs() + a).collect();
        let chosen = choose(&flatness, &[predicted(0, &a, 0.1)], 1);
        let brute = nested(&flatness, &a, 0.1).sqrt();
        assert!(chosen[0].expected_standard_uncertainty > brute);
        assert!(chosen[0].expected_standard_uncertainty < 1.6 * brute);
    }

    /// A reading that repeats one already chosen is worth only what its own noise leaves.
    #[test]
    fn repeating_a_reading_is_worth_less() {
        let [a, b, _] = factorial();
        let flatness: Vec<f64> = a.iter().zip(&b).map(|(a, b)| a + 0.4 * b).collect();
        let readings = [predicted(0, &a, 0.05), predicted(1, &a, 0.05), predicted(2, &b, 0.05)];
        let order: Vec<usize> = choose(&flatness, &readings, 2).iter().map(|c| c.candidate).collect();
        assert_eq!(order[1], 2, "{order:?}");
    }
}
