//! The budget of one reading, and of the difference of two, by the law of propagation.

use super::{
    law::{Budget, LinearInput},
    trials::Experiment,
};
use crate::{
    model::measurement::Knowledge,
    quantity::{correlation::Correlation, distribution::Distribution, stream::Streams},
    shop::{
        check::ShopCheck,
        cleanliness::Cleanliness,
        form::{face_variance, pad_variance},
        plate::bow_curvature,
        survey::Reading,
        wear::{Surface, Waves},
    },
};
use rand::{Rng, RngExt};
use std::{
    f64::consts::{SQRT_2, TAU},
    ops::Range,
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
    /// That reading to be drawn again and again, for its interval: a sum of so many swings and rare grains is no normal.
    pub experiment: LinearExperiment,
}

/// A measurand `c_0 + Σ c_i X_i` as an experiment, whose inputs are independent but for products of two of them: in the unit of
/// its budget, µm.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearExperiment {
    offset: f64,
    terms: Vec<Term>,
}

/// An input: its name, which is also that of its source of random numbers, its sensitivity coefficient, its density.
#[derive(Debug, Clone, PartialEq)]
struct Term {
    name: String,
    sensitivity: f64,
    density: Density,
}

/// What is known of an input, to be drawn from.
#[derive(Debug, Clone, PartialEq)]
enum Density {
    /// One of the usual distributions.
    Known(Distribution),
    /// A normal film, and a grain on it with this chance.
    Seat { film: f64, chance: f64, grain: Distribution },
    /// A swing of unknown phase whose size is anything up to the limit.
    Swing { limit: f64 },
    /// Half of it, either way.
    HalfEitherWay(Distribution),
    /// A normal whose standard deviation is so many times a quantity that is itself uncertain.
    NormalOf { times: f64, standard_deviation: Distribution },
    /// How far two other inputs, by their names, are off their means, multiplied: of the very values that these have.
    Product([(String, Distribution); 2]),
}

impl Density {
    /// Draws from `draws`, or where it is a product from the `sources` of its two inputs.
    fn draw(&self, draws: &mut (impl Rng + ?Sized), sources: &mut [impl Rng; 2]) -> f64 {
        let normal = |standard_deviation: f64| Distribution::Normal { mean: 0.0, standard_deviation };
        match self {
            Self::Known(known) => known.draw(draws),
            Self::Seat { film, chance, grain } => {
                let film = normal(*film).draw(draws);
                if draws.random::<f64>() < *chance { film + grain.draw(draws) } else { film }
            }
            Self::Swing { limit } => limit * draws.random::<f64>() * libm::cos(TAU * draws.random::<f64>()),
            Self::HalfEitherWay(known) => {
                let half = 0.5 * known.draw(draws);
                if draws.random::<bool>() { half } else { -half }
            }
            Self::NormalOf { times, standard_deviation } => {
                let u = times * standard_deviation.draw(draws);
                normal(u).draw(draws)
            }
            Self::Product(inputs) => {
                let off = |k: usize, draws| inputs[k].1.draw(draws) - inputs[k].1.mean();
                let [first, second] = sources;
                off(0, first) * off(1, second)
            }
        }
    }
}

impl Experiment for LinearExperiment {
    type Scratch = ();

    fn n_outputs(&self) -> usize {
        1
    }

    fn scratch(&self) {}

    fn run_block(&self, streams: &Streams, trials: Range<u64>, out: &mut [&mut [f64]], (): &mut ()) {
        out[0].fill(self.offset);
        let opened = |name: &str| streams.source(name).trial(trials.start);
        for Term { name, sensitivity, density } in &self.terms {
            let draws = &mut opened(name);
            let sources = &mut match density {
                Density::Product(inputs) => [0, 1].map(|k: usize| opened(&inputs[k].0)),
                _ => [opened(name), opened(name)],
            };
            for place in out[0].iter_mut() {
                *place += sensitivity * density.draw(draws, sources);
            }
        }
    }
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
/// Everything is linear in the disturbances but a coefficient of expansion times a temperature, where the product of how far
/// both are off their estimates is an input of its own; so the law of propagation is exact. The plate's form
/// is not in it: a perfect plate is taken, and what form does is reported by itself. The contact
/// angle scales a reading, so on a reading of zero its sensitivity coefficient is zero.
/// `coverage_probability` lies between 0 and 1.
pub fn reading_budget(check: &ShopCheck, coverage_probability: f64) -> ReadingBudget {
    let survey = &check.survey;
    let mut worst = (f64::NEG_INFINITY, 0, InputList::default());
    let mut worst_pair = (f64::NEG_INFINITY, [0, 0], InputList::default());
    for round in 0..survey.zeros.len() {
        let zero = survey.zeros[round];
        let open = survey.round(round).filter(|&index| !survey.readings[index].closing);
        for index in open.clone().skip(1) {
            for other in open.clone().take_while(|&other| other < index) {
                let against = if other == zero { Against::Zero } else { Against::Reading };
                let inputs = inputs(check, &survey.readings[index], &survey.readings[other], against);
                let variance = variance(&inputs.inputs);
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
        experiment: worst.2.experiment(),
    }
}

fn variance(inputs: &[LinearInput]) -> f64 {
    inputs.iter().map(|input| (input.sensitivity * input.standard_uncertainty).powi(2)).sum()
}

fn budget(measurand: &str, list: &InputList, coverage_probability: f64) -> Budget {
    let inputs = &list.inputs;
    let estimate = list.offset + inputs.iter().map(|input| input.sensitivity * input.estimate).sum::<f64>();
    Budget::of_linear(
        measurand,
        "µm",
        estimate,
        inputs,
        &Correlation::none(inputs.len()),
        coverage_probability,
    )
}

fn inputs(check: &ShopCheck, spot: &Reading, other: &Reading, against: Against) -> InputList {
    let ShopCheck { plate, stand, indicator, gauge_block: block, temperature, cleanliness, .. } = check;
    let gain = indicator.gain(indicator.contact_angle.mean());
    let there = match against {
        Against::Zero => "at the zero",
        Against::Reading => "at the other spot",
    };
    let mut list = InputList { gain, ..InputList::default() };

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
        let times = waviness_factor(check, waves, spot, other);
        let known = waves.standard_deviation;
        // Of a normal whose standard deviation is itself uncertain, that of all draws is its root mean square.
        let u = times * libm::hypot(known.mean(), known.standard_uncertainty());
        let density = Density::NormalOf { times, standard_deviation: known };
        list.push("waviness under feet and block".into(), u, "normal of uncertain size", gain, density);
    }

    let [low, high] = [-0.5, 0.5].map(|half| half * block.length_variation);
    for place in ["at the spot", there] {
        list.rectangular(format!("block's variation in length, {place}"), [low, high], gain);
    }

    let bow = bow_per_curvature(check, spot) - bow_per_curvature(check, other);
    let per_unit = gain * bow * bow_curvature(1.0, 1.0, plate.thickness);
    let difference =
        ("temperature, top minus bottom of the plate", "K", &temperature.top_to_bottom, per_unit);
    list.growth("plate", &plate.expansion, &[difference]);

    let minutes = spot.minutes - other.minutes;
    let faded = [spot, other].map(|reading| libm::exp(-reading.minutes / temperature.fading));
    let faded = gain * (faded[0] - faded[1]);
    let column = stand.height * 1000.0;
    let rate = &temperature.column_rate;
    let warming = ("rate of warming of the column", "K/h", rate, -gain * column * minutes / 60.0);
    let hand = &temperature.handling;
    let in_column = ("hand warmth in the column", "K", hand, -faded * column);
    list.growth("column", &stand.column_expansion, &[warming, in_column]);
    let in_block = ("hand warmth in the block", "K", hand, faded * block.length * 1000.0);
    list.growth("block", &block.expansion, &[in_block]);
    list.distributed("further drift of the zero", "µm/h", &temperature.zero_drift, gain * minutes / 60.0);
    let n_moves = spot.seating.abs_diff(other.seating) as f64;
    if n_moves > 0.0 {
        let u = indicator.zero_shift * n_moves.sqrt();
        list.normal("shift of the zero by moving".into(), u, gain);
    }

    for place in ["at the spot", there] {
        // A swing of unknown phase (arc sine) whose size is anything up to the limit: the variance
        // is limit²/3 · 1/2.
        let u = indicator.error_limit / 6f64.sqrt();
        let density = Density::Swing { limit: indicator.error_limit };
        let name = format!("indicator's error, {place}");
        list.push(name, u, "arc sine of any size to the limit", 1.0, density);
    }
    if !indicator.one_sided_approach {
        for place in ["at the spot", there] {
            let h = &indicator.hysteresis;
            let u = (h.mean().powi(2) + h.standard_uncertainty().powi(2)).sqrt() / 2.0;
            let density = Density::HalfEitherWay(*h);
            list.push(format!("hysteresis, {place}"), u, "half of it, either way", 1.0, density);
        }
    }
    // Both readings scatter by one and the same estimated s: together they are a bivariate t, and their difference is t with
    // the degrees of freedom of that s.
    let (scale, degrees_of_freedom) = (SQRT_2 * indicator.repeatability, indicator.repeatability_dof);
    let known = match degrees_of_freedom.is_finite() {
        true => Distribution::StudentT { location: 0.0, scale, degrees_of_freedom },
        false => Distribution::Normal { mean: 0.0, standard_deviation: scale },
    };
    list.distributed("repeatability of both readings", "µm", &known, 1.0);
    let half_step = [-0.5 * indicator.read_step, 0.5 * indicator.read_step];
    list.rectangular("rounding of the reading".into(), half_step, 1.0);
    match against {
        Against::Zero => list.rectangular("setting of the zero".into(), half_step, -1.0),
        Against::Reading => list.rectangular("rounding of the other reading".into(), half_step, -1.0),
    }
    list
}

/// The inputs of a reading, and their densities, side by side.
#[derive(Debug, Clone, Default)]
struct InputList {
    inputs: Vec<LinearInput>,
    densities: Vec<Density>,
    /// What the inputs' estimates do not sum up to, in µm.
    offset: f64,
    gain: f64,
}

impl InputList {
    /// Takes up an input; of what is exactly known only the effect.
    fn add(&mut self, input: LinearInput, density: Density) {
        if input.standard_uncertainty > 0.0 {
            self.inputs.push(input);
            self.densities.push(density);
        } else {
            self.offset += input.sensitivity * input.estimate;
        }
    }

    /// What temperatures `X_k` (name, unit, distribution, `c_k`) make of a body that expands, `Σ_k c_k α X_k`: all of them to first
    /// order, and the products of deviations, which are the terms of second order (GUM 5.1.2, note, and H.1.7) and leave
    /// nothing out.
    fn growth(&mut self, body: &str, expansion: &Distribution, by: &[(&str, &str, &Distribution, f64)]) {
        let name = format!("expansion of the {body}");
        let mut sensitivity = 0.0;
        for (temperature, unit, known, factor) in by {
            self.distributed(temperature, unit, known, factor * expansion.mean());
            sensitivity += factor * known.mean();
        }
        self.distributed(&name, "1/K", expansion, sensitivity);
        // The temperatures have brought the whole estimate.
        self.offset -= sensitivity * expansion.mean();
        for (temperature, unit, known, factor) in by {
            let input = LinearInput {
                name: format!("product: expansion and {temperature}"),
                unit: if *unit == "K" { "1".into() } else { unit.replace("K/", "1/") },
                estimate: 0.0,
                standard_uncertainty: expansion.standard_uncertainty() * known.standard_uncertainty(),
                distribution: "product of two".into(),
                density: None,
                degrees_of_freedom: f64::INFINITY,
                sensitivity: *factor,
            };
            let inputs = [(name.clone(), *expansion), (temperature.to_string(), **known)];
            self.add(input, Density::Product(inputs));
        }
    }

    fn experiment(&self) -> LinearExperiment {
        let term = |(input, density): (&LinearInput, &Density)| Term {
            name: input.name.clone(),
            sensitivity: input.sensitivity,
            density: density.clone(),
        };
        LinearExperiment {
            offset: self.offset,
            terms: self.inputs.iter().zip(&self.densities).map(term).collect(),
        }
    }

    fn distributed(&mut self, name: &str, unit: &str, known: &Distribution, sensitivity: f64) {
        let knowledge = Knowledge::of(*known);
        let input = LinearInput {
            name: name.into(),
            unit: unit.into(),
            estimate: knowledge.estimate,
            standard_uncertainty: knowledge.standard_uncertainty,
            distribution: known.name().into(),
            density: Some(*known),
            degrees_of_freedom: knowledge.degrees_of_freedom,
            sensitivity,
        };
        self.add(input, Density::Known(*known));
    }

    fn normal(&mut self, name: String, standard_deviation: f64, sensitivity: f64) {
        let known = Distribution::Normal { mean: 0.0, standard_deviation };
        self.distributed(&name, "µm", &known, sensitivity);
    }

    /// A height of estimate zero, in µm, with a density that is none of the usual ones.
    fn push(&mut self, name: String, u: f64, distribution: &str, sensitivity: f64, density: Density) {
        let input = LinearInput {
            name,
            unit: "µm".into(),
            estimate: 0.0,
            standard_uncertainty: u,
            distribution: distribution.into(),
            density: None,
            degrees_of_freedom: f64::INFINITY,
            sensitivity,
        };
        self.add(input, density);
    }

    fn seat(&mut self, name: String, seat: &Seat, weight: f64) {
        let weight = self.gain * weight;
        let Seat { mean, standard_uncertainty: u, dirt } = seat;
        if dirt.grain_chance == 0.0 {
            return self.normal(name, *u, weight);
        }
        let density = Density::Seat { film: dirt.film, chance: dirt.grain_chance, grain: dirt.grain };
        let n_before = self.inputs.len();
        self.push(name, *u, "normal, and rare grains", weight, density);
        if let Some(input) = self.inputs.get_mut(n_before) {
            input.estimate = *mean;
        }
    }

    fn rectangular(&mut self, name: String, [low, high]: [f64; 2], sensitivity: f64) {
        self.distributed(&name, "µm", &Distribution::Rectangular { low, high }, sensitivity);
    }
}

/// Mean and standard uncertainty of how high a foot sits: film, and now and then a grain.
struct Seat<'a> {
    mean: f64,
    standard_uncertainty: f64,
    dirt: &'a Cleanliness,
}

impl<'a> Seat<'a> {
    fn of(dirt: &'a Cleanliness) -> Self {
        let (p, mean, u) = (dirt.grain_chance, dirt.grain.mean(), dirt.grain.standard_uncertainty());
        if p == 0.0 {
            return Self { mean: 0.0, standard_uncertainty: dirt.film, dirt };
        }
        let grains = p * (u * u + mean * mean) - (p * mean).powi(2);
        Self { mean: p * mean, standard_uncertainty: (dirt.film * dirt.film + grains).sqrt(), dirt }
    }
}

fn waviness(surface: &Surface) -> Option<&Waves> {
    let waves = match surface {
        Surface::Worn(wear) => &wear.waviness,
        Surface::Measured(map) => &map.waviness,
    };
    (waves.standard_deviation.mean() > 0.0).then_some(waves)
}

/// Standard uncertainty that short waves give to a reading against another, over their standard deviation: their heights
/// under all feet and blocks, with the correlation of neighbours.
fn waviness_factor(check: &ShopCheck, waves: &Waves, spot: &Reading, other: &Reading) -> f64 {
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
    sum.max(0.0).sqrt()
}

/// What a unit curvature adds to a reading's datum-free height, in mm².
fn bow_per_curvature(check: &ShopCheck, reading: &Reading) -> f64 {
    let fall = |at: [f64; 2], variance: f64| -check.plate.fall_per_curvature(at, variance);
    let pad = pad_variance(check.stand.pad_diameter);
    let datum: f64 =
        reading.feet.iter().zip(&reading.weights).map(|(&foot, weight)| weight * fall(foot, pad)).sum();
    fall(reading.target, face_variance(check.gauge_block.face)) - datum
}
