//! The budget of one reading, and of the difference of two, by the law of propagation.

use super::law::{Budget, LinearInput};
use crate::{
    model::measurement::Knowledge,
    quantity::{correlation::Correlation, distribution::Distribution},
    shop::{
        check::ShopCheck,
        cleanliness::Cleanliness,
        form::{face_variance, pad_variance},
        plate::bow_curvature,
        survey::Reading,
        wear::{Surface, Waves},
    },
};

/// The two linear measurement models that a check rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingBudget {
    /// Index of the reading whose budget stands in `of_reading`: the least certain one.
    pub reading: usize,
    /// That reading against its zero, as a height over the datum of a perfect plate; in µm.
    pub of_reading: Budget,
    /// Indices of the two readings of one round whose difference is least certain.
    pub pair: [usize; 2],
    /// Their difference; in µm.
    pub of_difference: Budget,
}

/// Which two things are compared.
#[derive(Clone, Copy, PartialEq)]
enum Against {
    /// A reading and the zero it was set at.
    Zero,
    /// Two readings with one zero, which cancels.
    Reading,
}

/// The budgets of a check: of its least certain reading, and of the least certain difference of
/// two readings of one round, which is what a spread is if nothing is known of its extremes.
///
/// Everything is linear in the disturbances, so the law of propagation is exact. The plate's form
/// is not in it: a perfect plate is taken, and what form does is reported by itself. The contact
/// angle scales a reading, so on a reading of zero its sensitivity coefficient is zero.
/// `coverage_probability` lies between 0 and 1.
pub fn reading_budget(check: &ShopCheck, coverage_probability: f64) -> ReadingBudget {
    let survey = &check.survey;
    let mut worst = (f64::NEG_INFINITY, 0, Vec::new());
    let mut worst_pair = (f64::NEG_INFINITY, [0, 0], Vec::new());
    for round in 0..survey.zeros.len() {
        let zero = survey.zeros[round];
        let open = survey.round(round).filter(|&index| !survey.readings[index].closing);
        for index in open.clone().skip(1) {
            for other in open.clone().take_while(|&other| other < index) {
                let against = if other == zero { Against::Zero } else { Against::Reading };
                let inputs = inputs(check, &survey.readings[index], &survey.readings[other], against);
                let variance = variance(&inputs);
                if other == zero && variance > worst.0 {
                    worst = (variance, index, inputs.clone());
                }
                if variance > worst_pair.0 {
                    worst_pair = (variance, [index, other], inputs);
                }
            }
        }
    }
    ReadingBudget {
        reading: worst.1,
        of_reading: budget("one reading", &worst.2, coverage_probability),
        pair: worst_pair.1,
        of_difference: budget("difference of two readings", &worst_pair.2, coverage_probability),
    }
}

fn variance(inputs: &[LinearInput]) -> f64 {
    inputs.iter().map(|input| (input.sensitivity * input.standard_uncertainty).powi(2)).sum()
}

fn budget(measurand: &str, inputs: &[LinearInput], coverage_probability: f64) -> Budget {
    let estimate = inputs.iter().map(|input| input.sensitivity * input.estimate).sum();
    Budget::of_linear(
        measurand,
        "µm",
        estimate,
        inputs,
        &Correlation::none(inputs.len()),
        coverage_probability,
    )
}

fn inputs(check: &ShopCheck, spot: &Reading, other: &Reading, against: Against) -> Vec<LinearInput> {
    let ShopCheck { plate, stand, indicator, gauge_block: block, temperature, cleanliness, .. } = check;
    let gain = indicator.gain(indicator.contact_angle.mean());
    let there = match against {
        Against::Zero => "at the zero",
        Against::Reading => "at the other spot",
    };
    let mut list = InputList { inputs: Vec::new(), gain };

    let film = Seat::of(cleanliness);
    let same_seat = spot.seating == other.seating;
    for foot in 0..3 {
        let name = format!("seat of foot {}", foot + 1);
        if same_seat {
            list.seat(name, &film, other.weights[foot] - spot.weights[foot]);
        } else {
            list.seat(format!("{name}, at the spot"), &film, -spot.weights[foot]);
            list.seat(format!("{name}, {there}"), &film, other.weights[foot]);
        }
    }
    list.seat("seat of the block, at the spot".into(), &film, 1.0);
    list.seat(format!("seat of the block, {there}"), &film, -1.0);
    if let Some(waves) = waviness(&check.surface) {
        let u = waviness_uncertainty(check, waves, spot, other);
        list.push("waviness under feet and block".into(), u, "normal", gain);
    }

    let [low, high] = [-0.5, 0.5].map(|half| half * block.length_variation);
    for place in ["at the spot", there] {
        list.rectangular(format!("block's variation in length, {place}"), [low, high], gain);
    }

    let bow = bow_per_curvature(check, spot) - bow_per_curvature(check, other);
    let per_kelvin = bow_curvature(plate.expansion.mean(), 1.0, plate.thickness);
    let top_to_bottom = &temperature.top_to_bottom;
    list.distributed(
        "temperature, top minus bottom of the plate",
        "K",
        top_to_bottom,
        gain * bow * per_kelvin,
    );
    let curvature = bow_curvature(1.0, top_to_bottom.mean(), plate.thickness);
    list.distributed("expansion of the plate", "1/K", &plate.expansion, gain * bow * curvature);

    let minutes = spot.minutes - other.minutes;
    let column = stand.column_expansion.mean() * stand.height * 1000.0;
    list.distributed(
        "rate of warming of the column",
        "K/h",
        &temperature.column_rate,
        -gain * column * minutes / 60.0,
    );
    list.distributed("further drift of the zero", "µm/h", &temperature.zero_drift, gain * minutes / 60.0);
    let faded = [spot, other].map(|reading| libm::exp(-reading.minutes / temperature.fading));
    let faded = gain * (faded[0] - faded[1]);
    let block_growth = block.expansion.mean() * block.length * 1000.0;
    list.distributed("hand warmth in the block", "K", &temperature.handling, faded * block_growth);
    list.distributed("hand warmth in the column", "K", &temperature.handling, -faded * column);
    let n_moves = spot.seating.abs_diff(other.seating) as f64;
    if n_moves > 0.0 {
        let u = indicator.zero_shift * n_moves.sqrt();
        list.push("shift of the zero by moving".into(), u, "normal", gain);
    }

    for place in ["at the spot", there] {
        // A swing of unknown phase (arc sine) whose size is anything up to the limit: the variance
        // is limit²/3 · 1/2.
        let u = indicator.error_limit / 6f64.sqrt();
        list.push(format!("indicator's error, {place}"), u, "arc sine of any size to the limit", 1.0);
    }
    if !indicator.one_sided_approach {
        for place in ["at the spot", there] {
            let h = &indicator.hysteresis;
            let u = (h.mean().powi(2) + h.standard_uncertainty().powi(2)).sqrt() / 2.0;
            list.push(format!("hysteresis, {place}"), u, "half of it, either way", 1.0);
        }
    }
    for place in ["at the spot", there] {
        list.push(format!("repeatability, {place}"), indicator.repeatability, "normal", 1.0);
        if let Some(input) = list.inputs.last_mut() {
            input.degrees_of_freedom = indicator.repeatability_dof;
        }
    }
    let half_step = [-0.5 * indicator.read_step, 0.5 * indicator.read_step];
    list.rectangular("rounding of the reading".into(), half_step, 1.0);
    match against {
        Against::Zero => list.rectangular("setting of the zero".into(), half_step, -1.0),
        Against::Reading => list.rectangular("rounding of the other reading".into(), half_step, -1.0),
    }
    list.inputs.retain(|input| input.standard_uncertainty > 0.0);
    list.inputs
}

struct InputList {
    inputs: Vec<LinearInput>,
    gain: f64,
}

impl InputList {
    fn distributed(&mut self, name: &str, unit: &str, known: &Distribution, sensitivity: f64) {
        let knowledge = Knowledge::of(*known);
        self.inputs.push(LinearInput {
            name: name.into(),
            unit: unit.into(),
            estimate: knowledge.estimate,
            standard_uncertainty: knowledge.standard_uncertainty,
            distribution: known.name().into(),
            degrees_of_freedom: knowledge.degrees_of_freedom,
            sensitivity,
        });
    }

    /// A height of estimate zero, in µm.
    fn push(&mut self, name: String, u: f64, distribution: &str, sensitivity: f64) {
        self.distributed(
            &name,
            "µm",
            &Distribution::Normal { mean: 0.0, standard_deviation: u },
            sensitivity,
        );
        if let Some(input) = self.inputs.last_mut() {
            input.distribution = distribution.into();
        }
    }

    fn seat(&mut self, name: String, seat: &Seat, weight: f64) {
        self.push(name, seat.standard_uncertainty, seat.distribution, self.gain * weight);
        if let Some(input) = self.inputs.last_mut() {
            input.estimate = seat.mean;
        }
    }

    fn rectangular(&mut self, name: String, [low, high]: [f64; 2], sensitivity: f64) {
        self.distributed(&name, "µm", &Distribution::Rectangular { low, high }, sensitivity);
    }
}

/// Mean and standard uncertainty of how high a foot sits: film, and now and then a grain.
struct Seat {
    mean: f64,
    standard_uncertainty: f64,
    distribution: &'static str,
}

impl Seat {
    fn of(dirt: &Cleanliness) -> Self {
        let (p, mean, u) = (dirt.grain_chance, dirt.grain.mean(), dirt.grain.standard_uncertainty());
        if p == 0.0 {
            return Self { mean: 0.0, standard_uncertainty: dirt.film, distribution: "normal" };
        }
        let grains = p * (u * u + mean * mean) - (p * mean).powi(2);
        Self {
            mean: p * mean,
            standard_uncertainty: (dirt.film * dirt.film + grains).sqrt(),
            distribution: "normal, and rare grains",
        }
    }
}

fn waviness(surface: &Surface) -> Option<&Waves> {
    let waves = match surface {
        Surface::Worn(wear) => &wear.waviness,
        Surface::Measured(map) => &map.waviness,
    };
    (waves.standard_deviation.mean() > 0.0).then_some(waves)
}

/// Standard uncertainty (µm) that short waves give to a reading against another: their heights
/// under all feet and blocks, with the correlation of neighbours.
fn waviness_uncertainty(check: &ShopCheck, waves: &Waves, spot: &Reading, other: &Reading) -> f64 {
    let (pad, face) = (pad_variance(check.stand.pad_diameter), face_variance(check.gauge_block.face));
    let contacts = |reading: &Reading, sign: f64| {
        let feet = (0..3).map(|k| (reading.feet[k], pad, -sign * reading.weights[k])).collect::<Vec<_>>();
        feet.into_iter().chain([(reading.target, face, sign)])
    };
    let contacts: Vec<_> = contacts(spot, 1.0).chain(contacts(other, -1.0)).collect();
    let square = waves.correlation_length.mean().powi(2);
    let mut sum = 0.0;
    for &(p, p_variance, p_weight) in &contacts {
        for &(q, q_variance, q_weight) in &contacts {
            // Two footprints widen a squared-exponential correlation by their second moments.
            let wide = square + p_variance + q_variance;
            let distance = (p[0] - q[0]).powi(2) + (p[1] - q[1]).powi(2);
            sum += p_weight * q_weight * square / wide * libm::exp(-distance / (2.0 * wide));
        }
    }
    waves.standard_deviation.mean() * sum.max(0.0).sqrt()
}

/// What a unit curvature adds to a reading's datum-free height, in mm².
fn bow_per_curvature(check: &ShopCheck, reading: &Reading) -> f64 {
    let middle = check.plate.middle();
    let fall = |at: [f64; 2], variance: f64| {
        -((at[0] - middle[0]).powi(2) + (at[1] - middle[1]).powi(2)) / 2.0 - variance
    };
    let pad = pad_variance(check.stand.pad_diameter);
    let datum: f64 =
        reading.feet.iter().zip(&reading.weights).map(|(&foot, weight)| weight * fall(foot, pad)).sum();
    fall(reading.target, face_variance(check.gauge_block.face)) - datum
}
