//! What was read, as a linear function of surface and disturbances: the likelihood of the readings.

use super::{check_experiment::CheckExperiment, normal_score::NormalScore};
use crate::{
    quantity::{
        distribution::Distribution,
        vector::{add_scaled, dot},
    },
    shop::{
        field::FieldBasis,
        form::Bump,
        landscape::Place,
        plate::bow_curvature,
        wear::{DipPlace, Wear},
    },
};
use rayon::prelude::*;
use std::{ops::Range, sync::Arc};

/// One value that was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation {
    /// Which reading of the survey: index into [`crate::shop::survey::Survey::readings`]. A reading
    /// may be observed more than once.
    pub reading: usize,
    /// What was written down, in µm: as read, with no drift taken off.
    pub value: f64,
    /// What it was rounded to, in µm; 0 where it was not rounded.
    pub step: f64,
}

/// Why readings cannot be judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unreadable {
    /// The survey has no such reading.
    NoSuchReading {
        /// Index of the observation.
        observation: usize,
        /// The reading it names.
        reading: usize,
        /// How many the survey has.
        n_readings: usize,
    },
    /// More different readings than [`MOST_READINGS`].
    TooMany {
        /// How many there are, zeros and repeats left out.
        n: usize,
    },
    /// A value or step that is not a finite number, or a negative step.
    NotANumber {
        /// Index of the observation.
        observation: usize,
    },
}

/// The scales on which the covariance of the readings depends, by place in [`Parameters::scales`].
pub(crate) mod scale {
    /// Standard deviation of field f stands at `2 f`, its correlation length at `2 f + 1`.
    pub const FIELDS: usize = 0;
    /// The plate's coefficient of expansion.
    pub const EXPANSION: usize = 4;
    /// True repeatability over its estimate.
    pub const REPEATABILITY: usize = 5;
    /// The indicator's hysteresis.
    pub const HYSTERESIS: usize = 6;
    /// The indicator's contact angle.
    pub const ANGLE: usize = 7;
    /// Size of the indicator's swing.
    pub const SWING: usize = 8;
    /// Two normals whose direction is the swing's phase at the zero.
    pub const PHASE: usize = 9;
    /// How worn the plate is at large.
    pub const AMOUNT: usize = 11;
    /// How many there are.
    pub const COUNT: usize = 12;
    /// Scales that are moved together.
    pub const GROUPS: [std::ops::Range<usize>; 6] = [0..2, 2..4, 4..5, 5..7, 7..11, 11..12];
}

/// Everything a plate and its check hold that is not Gaussian given the rest, or on which the
/// Gaussian rest depends. Continuous ones are normal scores, see [`NormalScore`].
#[derive(Debug, Clone)]
pub(crate) struct Parameters {
    pub bumps: Vec<BumpState>,
    pub scales: [f64; scale::COUNT],
    /// Twist and temperature difference, where they are not normal.
    pub lines: [f64; 2],
    /// Grains that lie somewhere: the site and the score of its height.
    pub grains: Vec<(usize, f64)>,
    /// Latent reading less what was written, in µm.
    pub roundings: Vec<f64>,
    /// Error of setting each round's zero, in µm.
    pub settings: Vec<f64>,
}

/// One dip, or dish.
#[derive(Debug, Clone, Copy)]
pub(crate) struct BumpState {
    pub there: bool,
    /// Which of the spots that its place has.
    pub spot: usize,
    pub depth: f64,
    pub shape: [f64; 4],
}

/// A dip or dish, as it is known beforehand.
#[derive(Debug, Clone)]
pub(crate) struct BumpPrior {
    pub chance: f64,
    pub depth: Arc<NormalScore>,
    pub shape: Vec<Arc<NormalScore>>,
    /// How many spots there are to choose from: 1 or more.
    pub n_spots: usize,
    kind: Kind,
}

#[derive(Debug, Clone)]
enum Kind {
    Middle,
    FrontEdge,
    Dip(DipPlace),
}

/// Where a grain may lie, and what 1 µm of it does to each pool.
#[derive(Debug, Clone)]
pub(crate) struct Site {
    pub place: GrainPlace,
    /// `(pool, effect)`.
    pub effects: Vec<(usize, f64)>,
}

/// Where a grain may lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GrainPlace {
    /// Under a foot, when the stand was put down for the n-th time.
    Foot {
        /// Which putting down, counted from 0.
        seating: usize,
        /// Which foot, counted from 0.
        foot: usize,
    },
    /// Under the block, at a reading.
    Block {
        /// Index of the reading in the survey.
        reading: usize,
    },
}

/// A Gaussian coefficient with its effect on the pools.
#[derive(Debug, Clone)]
pub(crate) struct Line {
    /// Effect of 1 (µm of twist, or µm/mm² of curvature) on every pool.
    pub effects: Vec<f64>,
    /// Mean and standard deviation, where it is normal or a constant.
    pub gaussian: Option<[f64; 2]>,
    /// Its score, where it is not.
    pub score: Arc<NormalScore>,
}

/// What the indicator makes of a height.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Pointer {
    gain: f64,
    /// Of the swing, in µm; its wave number in 1/µm, its phase at the zero.
    amplitude: f64,
    wave_number: f64,
    phase: f64,
    /// Variance of a single reading's own noise, in µm².
    pub noise: f64,
}

impl Pointer {
    /// What it shows, against its zero, of a height (µm) over that of the zero; without noise.
    pub fn at(&self, height: f64) -> f64 {
        let travel = self.gain * height;
        let swing = libm::sin(self.wave_number * travel + self.phase) - libm::sin(self.phase);
        travel + self.amplitude * swing
    }
}

/// One field of waves: covariances between pools on a grid of correlation lengths.
#[derive(Debug, Clone)]
pub(crate) struct FieldTable {
    /// Effect of every mode on every pool, `[mode][pool]`, flat.
    pub effects: Vec<f64>,
    pub n_modes: usize,
    log_lengths: Vec<f64>,
    /// Variance of every mode for a unit field, for each length.
    pub variances: Vec<Vec<f64>>,
    /// Packed covariances, for each length.
    covariances: Vec<Vec<f64>>,
}

/// A field's parameters in one particle: variance, and between which lengths of the table it is.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct FieldScale {
    pub variance: f64,
    pub node: usize,
    pub share: f64,
}

/// The model of a set of observations.
#[derive(Debug, Clone)]
pub(crate) struct ReadingModel {
    pub experiment: CheckExperiment,
    pub observed: Vec<Observed>,
    /// The readings that were observed, each with all its repeats: what vectors and covariances are made of.
    pub pools: Vec<Pool>,
    taken: Vec<Taken>,
    pub n_rounds: usize,
    /// Step of each round's zero.
    pub setting_step: f64,
    footprints: Vec<(f64, Range<usize>)>,
    pub bumps: Vec<BumpPrior>,
    pub scales: Vec<Arc<NormalScore>>,
    pub sites: Vec<Site>,
    pub grain_chance: f64,
    pub grain: Arc<NormalScore>,
    pub twist: Option<Line>,
    pub bow: Line,
    pub fields: Vec<FieldTable>,
    /// Effects of the measured map's points, `[point][pool]`, flat.
    pub map_effects: Vec<f64>,
    pub map_uncertainty: f64,
    pub fixed_mean: Vec<f64>,
    /// Packed covariance of all that depends on no parameter.
    fixed_covariance: Vec<f64>,
    /// The disturbances' part of it, and its Cholesky factor.
    disturbances: Vec<f64>,
    pub disturbance_factor: Vec<f64>,
    swing_is_noise: bool,
}

/// An observation, checked.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Observed {
    /// Which of the observations it is.
    pub observation: usize,
    pub reading: usize,
    pub value: f64,
    pub step: f64,
    /// Which of the pools it is in.
    pub pool: usize,
}

/// One reading with all its repeats.
///
/// Repeats differ by the reading's own noise and by rounding alone. Given their deviations from their mean, the mean says all
/// that they say of the rest; so a covariance is as large as the readings are many, however often they were taken.
#[derive(Debug, Clone)]
pub(crate) struct Pool {
    /// Which reading taken, and which zero.
    pair: [usize; 2],
    pub round: usize,
    /// How often it was read.
    pub count: f64,
    /// Mean of what was written, in µm, counted from the zero as it was written.
    value: f64,
}

#[derive(Debug, Clone)]
struct Taken {
    reading: usize,
    feet: [usize; 3],
    block: usize,
    weights: [f64; 3],
    seating: usize,
    minutes: f64,
}

/// What follows from a particle's parameters: transformed readings and their covariance's factor.
#[derive(Debug, Clone, Default)]
pub(crate) struct Cache {
    /// `∂(height difference) / ∂(reading)` of each pool.
    pub contrast: Vec<f64>,
    /// Packed Cholesky factor of the pools' covariance.
    pub factor: Vec<f64>,
    /// The misfit of each pool's mean, whitened.
    pub white: Vec<f64>,
    /// Latent reading of each observation less the mean of its pool, in units of the reading's own noise.
    pub deviations: Vec<f64>,
    /// Standard deviation of a reading's own noise, in µm of reading.
    pub own_noise: f64,
    log_constant: f64,
}

impl Cache {
    /// Logarithm of the likelihood.
    pub fn log_likelihood(&self) -> f64 {
        let squares = |values: &[f64]| values.iter().map(|u| u * u).sum::<f64>();
        self.log_constant - 0.5 * (squares(&self.white) + squares(&self.deviations))
    }
}

/// Working memory for the readings of a bump.
#[derive(Debug, Clone, Default)]
pub(crate) struct Heights {
    at_places: Vec<f64>,
    taken: Vec<f64>,
}

const N_LENGTHS: usize = 33;

/// So many different readings can be judged together, repeats and zeros not counted: time grows with their cube.
pub const MOST_READINGS: usize = 100;

impl ReadingModel {
    /// Sets the model up: everything that depends on no parameter.
    pub fn new(experiment: &CheckExperiment, observations: &[Observation]) -> Result<Self, Unreadable> {
        let check = experiment.check();
        let survey = &check.survey;
        let n_readings = survey.readings.len();
        for (observation, &Observation { reading, value, step }) in observations.iter().enumerate() {
            if reading >= n_readings {
                return Err(Unreadable::NoSuchReading { observation, reading, n_readings });
            }
            if !value.is_finite() || !step.is_finite() || step < 0.0 {
                return Err(Unreadable::NotANumber { observation });
            }
        }
        // A zero tells nothing but where the others count from.
        let zero_of = |round: usize| survey.zeros[round];
        let written_zero =
            |round: usize| observations.iter().find(|o| o.reading == zero_of(round)).map_or(0.0, |o| o.value);
        let mut taken: Vec<Taken> = Vec::new();
        let mut slot = |reading: usize| {
            taken.iter().position(|known| known.reading == reading).unwrap_or_else(|| {
                let (feet, block) = experiment.places_of(reading);
                let of = &survey.readings[reading];
                let (weights, seating, minutes) = (of.weights, of.seating, of.minutes);
                taken.push(Taken { reading, feet, block, weights, seating, minutes });
                taken.len() - 1
            })
        };
        let mut observed: Vec<Observed> = Vec::with_capacity(observations.len());
        let mut pools: Vec<Pool> = Vec::new();
        let mut pool_of: Vec<Option<usize>> = vec![None; n_readings];
        for (observation, &Observation { reading, value, step }) in observations.iter().enumerate() {
            let round = survey.readings[reading].round;
            if zero_of(round) == reading {
                continue;
            }
            let value = value - written_zero(round);
            let pool = *pool_of[reading].get_or_insert_with(|| {
                let pair = [slot(reading), slot(zero_of(round))];
                pools.push(Pool { pair, round, count: 0.0, value: 0.0 });
                pools.len() - 1
            });
            let of = &mut pools[pool];
            of.count += 1.0;
            of.value += (value - of.value) / of.count;
            observed.push(Observed { observation, reading, value, step, pool });
        }
        let landscape = experiment.landscape();
        let mut footprints = Vec::new();
        for run in landscape.places().chunk_by(|a, b| a.variance == b.variance) {
            let start = footprints.last().map_or(0, |(_, places): &(f64, Range<usize>)| places.end);
            footprints.push((run[0].variance, start..start + run.len()));
        }
        let mut scores = Scores::default();
        let difference = &check.temperature.top_to_bottom;
        let n = pools.len();
        let mut model = Self {
            experiment: experiment.clone(),
            n_rounds: survey.zeros.len(),
            setting_step: check.indicator.read_step,
            observed,
            pools,
            taken,
            footprints,
            bumps: landscape.wear().map_or_else(Vec::new, |wear| bumps(wear, &mut scores)),
            scales: Vec::new(),
            sites: Vec::new(),
            grain_chance: check.cleanliness.grain_chance,
            grain: scores.of(&check.cleanliness.grain),
            twist: None,
            bow: Line { effects: vec![0.0; n], gaussian: gaussian(difference), score: scores.of(difference) },
            fields: Vec::new(),
            map_effects: Vec::new(),
            map_uncertainty: 0.0,
            fixed_mean: vec![0.0; n],
            fixed_covariance: vec![0.0; n * (n + 1) / 2],
            disturbances: Vec::new(),
            disturbance_factor: Vec::new(),
            swing_is_noise: check.indicator.error_limit * std::f64::consts::TAU
                > 0.8 * check.indicator.error_travel,
        };
        model.scales = model.scale_scores(&mut scores);
        model.sites = model.grain_sites();
        model.disturb();
        model.add_lines(&mut scores);
        model.add_map();
        model.fields = landscape
            .waves()
            .iter()
            .map(|field| {
                FieldTable::new(
                    field.basis(),
                    &field.waves().correlation_length,
                    model.effects_of_terms(field.at_places()),
                    n,
                )
            })
            .collect();
        Ok(model)
    }

    /// How many readings there are, repeats counted once.
    pub fn n(&self) -> usize {
        self.pools.len()
    }

    /// Readings from heights at the landscape's places, in µm.
    pub fn observe(&self, at_places: &[f64], taken: &mut Vec<f64>, into: &mut [f64]) {
        taken.clear();
        taken.extend(self.taken.iter().map(|t| {
            let datum: f64 = t.feet.iter().zip(&t.weights).map(|(&foot, w)| w * at_places[foot]).sum();
            at_places[t.block] - datum
        }));
        for (value, Pool { pair: [reading, zero], .. }) in into.iter_mut().zip(&self.pools) {
            *value = taken[*reading] - taken[*zero];
        }
    }

    /// `[term][place]` to `[term][pool]`, both flat.
    fn effects_of_terms(&self, at_places: &[f64]) -> Vec<f64> {
        let n_places = self.experiment.landscape().places().len();
        let n = self.n();
        if n == 0 {
            return Vec::new();
        }
        let mut effects = vec![0.0; at_places.len() / n_places * n];
        let mut taken = Vec::new();
        for (row, into) in at_places.chunks_exact(n_places).zip(effects.chunks_exact_mut(n)) {
            self.observe(row, &mut taken, into);
        }
        effects
    }

    fn scale_scores(&self, scores: &mut Scores) -> Vec<Arc<NormalScore>> {
        let check = self.experiment.check();
        let indicator = &check.indicator;
        let nothing = Distribution::Constant { value: 0.0 };
        let mut all = vec![scores.of(&nothing); scale::COUNT];
        for (f, field) in self.experiment.landscape().waves().iter().enumerate() {
            all[scale::FIELDS + 2 * f] = scores.of(&field.waves().standard_deviation);
            let length = &field.waves().correlation_length;
            all[scale::FIELDS + 2 * f + 1] = scores.of(length);
        }
        let as_it_is = Distribution::Constant { value: 1.0 };
        all[scale::AMOUNT] =
            scores.of(self.experiment.landscape().wear().map_or(&as_it_is, |wear| &wear.amount));
        all[scale::EXPANSION] = scores.of(&check.plate.expansion);
        let dof = indicator.repeatability_dof;
        all[scale::REPEATABILITY] = if dof.is_finite() && dof > 0.0 && indicator.repeatability > 0.0 {
            let chi_squared = Distribution::Gamma { shape: 0.5 * dof, scale: 2.0 };
            Arc::new(NormalScore::from_quantile(|_, p| (dof / chi_squared.quantile(1.0 - p)).sqrt()))
        } else {
            scores.of(&as_it_is)
        };
        if !indicator.one_sided_approach {
            all[scale::HYSTERESIS] = scores.of(&indicator.hysteresis);
        }
        all[scale::ANGLE] = scores.of(&indicator.contact_angle);
        if indicator.error_limit > 0.0 && !self.swing_is_noise {
            all[scale::SWING] =
                scores.of(&Distribution::Rectangular { low: 0.0, high: indicator.error_limit });
            let phase = scores.of(&Distribution::Normal { mean: 0.0, standard_deviation: 1.0 });
            all[scale::PHASE] = phase.clone();
            all[scale::PHASE + 1] = phase;
        }
        all
    }

    /// What 1 µm under each foot and under the block does, wherever it does anything.
    fn grain_sites(&self) -> Vec<Site> {
        let mut sites = Vec::new();
        let mut push = |place, effect: &dyn Fn(&Taken) -> f64| {
            let effects: Vec<_> = self
                .pools
                .iter()
                .map(|&Pool { pair: [reading, zero], .. }| {
                    effect(&self.taken[reading]) - effect(&self.taken[zero])
                })
                .enumerate()
                .filter(|(_, value)| *value != 0.0)
                .collect();
            if !effects.is_empty() {
                sites.push(Site { place, effects });
            }
        };
        for seating in 0..self.experiment.check().survey.n_seatings {
            for foot in 0..3 {
                push(GrainPlace::Foot { seating, foot }, &|t| {
                    if t.seating == seating { -t.weights[foot] } else { 0.0 }
                });
            }
        }
        for &Taken { reading, .. } in &self.taken {
            push(GrainPlace::Block { reading }, &|t| f64::from(u8::from(t.reading == reading)));
        }
        sites
    }

    /// Means and covariances of the disturbances that depend on no parameter. What is not normal
    /// among them and small (drift, warmth of the hand, the block's variation in length) enters
    /// with its mean and variance.
    fn disturb(&mut self) {
        let check = self.experiment.check().clone();
        let n = self.n();
        let differences = |f: &dyn Fn(&Taken) -> f64| -> Vec<f64> {
            self.pools
                .iter()
                .map(|&Pool { pair: [a, b], .. }| f(&self.taken[a]) - f(&self.taken[b]))
                .collect()
        };
        let mut covariance = vec![0.0; n * (n + 1) / 2];
        let film = check.cleanliness.film;
        if film > 0.0 {
            for site in &self.sites {
                let mut column = vec![0.0; n];
                for &(i, effect) in &site.effects {
                    column[i] = film * effect;
                }
                add_square(&column, &mut covariance);
            }
        }
        let shift = check.indicator.zero_shift;
        if shift > 0.0 {
            for s in 0..check.survey.n_seatings {
                let column = differences(&|t| if t.seating >= s { shift } else { 0.0 });
                add_square(&column, &mut covariance);
            }
        }
        let block = &check.gauge_block;
        let variation = block.length_variation * block.length_variation / 12.0;
        // The tip finds the same place of the block, and the pointer the same of its swing, when a reading is repeated.
        self.add_reading_noise(variation, |_| 1.0, &vec![1.0; n], &mut covariance);
        // Drift per minute and fading warmth, which share the column's growth.
        let (stand, heat) = (&check.stand, &check.temperature);
        let column = stand.column_expansion.scaled(stand.height * 1000.0);
        let moments = |d: &Distribution| [d.mean(), d.standard_uncertainty()];
        let product = |[a, ua]: [f64; 2], [b, ub]: [f64; 2]| {
            [a * b, (a * a * ub * ub + b * b * ua * ua + ua * ua * ub * ub).sqrt()]
        };
        let (column, rate) = (moments(&column), moments(&heat.column_rate));
        let (own, by_column) = (moments(&heat.zero_drift), product(column, rate));
        let drift = [(own[0] - by_column[0]) / 60.0, libm::hypot(own[1], by_column[1]) / 60.0];
        let hand = moments(&heat.handling);
        let grown = moments(&block.expansion.scaled(block.length * 1000.0));
        let (of_block, of_column) = (product(grown, hand), product(column, hand));
        let warmth = [of_block[0] - of_column[0], libm::hypot(of_block[1], of_column[1])];
        let minutes = differences(&|t| t.minutes);
        let fading = differences(&|t| libm::exp(-t.minutes / heat.fading));
        for (effects, [mean, deviation]) in [(minutes, drift), (fading, warmth)] {
            let scaled: Vec<f64> = effects.iter().map(|e| e * deviation).collect();
            add_square(&scaled, &mut covariance);
            add_scaled(mean, &effects, &mut self.fixed_mean);
        }
        if self.swing_is_noise {
            // Amplitude rectangular up to the limit, phase unknown: variance limit²/6.
            let limit = check.indicator.error_limit;
            self.add_reading_noise(limit * limit / 6.0, |_| 1.0, &vec![1.0; n], &mut covariance);
        }
        self.disturbances.clone_from(&covariance);
        self.disturbance_factor = covariance.clone();
        factorise(&mut self.disturbance_factor, n);
        self.fixed_covariance = covariance;
    }

    /// Adds independent noise of every reading, zeros too, to a packed covariance; `times` is how many independent
    /// values of it a pool's mean holds.
    fn add_reading_noise(
        &self,
        variance: f64,
        times: impl Fn(&Pool) -> f64,
        contrast: &[f64],
        covariance: &mut [f64],
    ) {
        let mut k = 0;
        for (i, pool) in self.pools.iter().enumerate() {
            for (j, other) in self.pools[..=i].iter().enumerate() {
                let mut common = 0.0;
                if pool.pair[1] == other.pair[1] {
                    common += variance;
                }
                if i == j {
                    common += variance / times(pool);
                }
                covariance[k] += common * contrast[i] * contrast[j];
                k += 1;
            }
        }
    }

    fn add_lines(&mut self, scores: &mut Scores) {
        let landscape = self.experiment.landscape();
        let mut taken = Vec::new();
        let mut bow = vec![0.0; self.n()];
        let falls: Vec<f64> = self.experiment.bow_profiles()[1].iter().map(|v| -v).collect();
        self.observe(&falls, &mut taken, &mut bow);
        self.bow.effects = bow;
        let Some(wear) = landscape.wear() else { return };
        let [length, width] = landscape.size();
        let twisted = |p: &Place| 4.0 * (p.at[0] / length - 0.5) * (p.at[1] / width - 0.5);
        let heights: Vec<f64> = landscape.places().iter().map(twisted).collect();
        let mut effects = vec![0.0; self.n()];
        self.observe(&heights, &mut taken, &mut effects);
        self.twist = Some(Line { effects, gaussian: gaussian(&wear.twist), score: scores.of(&wear.twist) });
    }

    fn add_map(&mut self) {
        let Some(map) = self.experiment.landscape().map() else { return };
        let effects = self.effects_of_terms(map.at_places());
        self.map_uncertainty = map.standard_uncertainty();
        if self.n() > 0 {
            for (height, row) in map.heights().iter().zip(effects.chunks_exact(self.n())) {
                let scaled: Vec<f64> = row.iter().map(|e| e * self.map_uncertainty).collect();
                add_square(&scaled, &mut self.fixed_covariance);
                add_scaled(*height, row, &mut self.fixed_mean);
            }
        }
        self.map_effects = effects;
    }

    /// A bump of depth 1 as it lies on the plate.
    pub fn bump(&self, index: usize, state: &BumpState) -> Bump {
        let prior = &self.bumps[index];
        let value = |k: usize| prior.shape[k].at(state.shape[k]);
        let size = self.experiment.landscape().size();
        match &prior.kind {
            Kind::Middle => Bump { height: -1.0, centre: [value(0), value(1)], sigma: [value(2), value(3)] },
            Kind::FrontEdge => Bump { height: -1.0, centre: [value(0), 0.0], sigma: [value(1), value(2)] },
            Kind::Dip(place) => Bump {
                height: -1.0,
                centre: place.centre(state.spot, [value(1), value(2)], size),
                sigma: [value(0); 2],
            },
        }
    }

    /// What a bump of depth 1 does to every pool, in µm.
    pub fn profile(&self, bump: &Bump, heights: &mut Heights, into: &mut [f64]) {
        let places = self.experiment.landscape().places();
        heights.at_places.resize(places.len(), 0.0);
        for (variance, run) in &self.footprints {
            let seen = bump.widened(*variance);
            let factors = seen.sigma.map(|sigma| -0.5 / (sigma * sigma));
            for (place, height) in places[run.clone()].iter().zip(&mut heights.at_places[run.clone()]) {
                let [u, v] = [place.at[0] - seen.centre[0], place.at[1] - seen.centre[1]];
                let exponent = factors[0] * u * u + factors[1] * v * v;
                // Below a thousandth of a nanometre in any dip.
                *height = if exponent < -25.0 { 0.0 } else { seen.height * libm::exp(exponent) };
            }
        }
        self.observe(&heights.at_places, &mut heights.taken, into);
    }

    /// Curvature of the plate for 1 K between top and bottom, in µm/mm².
    pub fn curvature_per_kelvin(&self, parameters: &Parameters) -> f64 {
        let expansion = self.scales[scale::EXPANSION].at(parameters.scales[scale::EXPANSION]);
        bow_curvature(expansion, 1.0, self.experiment.check().plate.thickness)
    }

    /// What a bump's depth is to be multiplied by: the amount of wear, where it grows with that.
    pub fn per_depth(&self, bump: usize, parameters: &Parameters) -> f64 {
        match self.bumps[bump].kind {
            Kind::Middle | Kind::FrontEdge => self.amount(parameters),
            Kind::Dip(_) => 1.0,
        }
    }

    /// How worn the plate is at large: a factor on the depths of middle and front edge, on twist and long waves.
    pub fn amount(&self, parameters: &Parameters) -> f64 {
        self.scales[scale::AMOUNT].at(parameters.scales[scale::AMOUNT])
    }

    /// A field's variance and place in its table.
    pub fn field_scale(&self, field: usize, parameters: &Parameters) -> FieldScale {
        let at = |k: usize| self.scales[k].at(parameters.scales[k]);
        let grows = self.experiment.landscape().waves()[field].is_wear();
        let amount = if grows { self.amount(parameters) } else { 1.0 };
        let deviation = amount * at(scale::FIELDS + 2 * field);
        let (node, share) = self.fields[field].locate(at(scale::FIELDS + 2 * field + 1));
        FieldScale { variance: deviation * deviation, node, share }
    }

    /// Logarithm of the density of a plate's wear as it was assumed, but for a constant: dips, dishes, how worn it is at
    /// large, its waves and its twist.
    pub fn log_density_of_wear(&self, parameters: &Parameters) -> f64 {
        let square = |z: f64| -0.5 * z * z;
        let bumps = parameters.bumps.iter().zip(&self.bumps).map(|(state, prior)| {
            if state.there {
                let shape: f64 = state.shape[..prior.shape.len()].iter().map(|&z| square(z)).sum();
                libm::log(prior.chance) + square(state.depth) + shape
            } else {
                libm::log(1.0 - prior.chance)
            }
        });
        let scales = (scale::FIELDS..scale::EXPANSION).chain([scale::AMOUNT]);
        let uncertain = scales.filter(|&k| !self.scales[k].is_constant());
        let twist = self.twist.as_ref().filter(|twist| twist.gaussian.is_none());
        bumps.sum::<f64>()
            + uncertain.map(|k| square(parameters.scales[k])).sum::<f64>()
            + twist.map_or(0.0, |_| square(parameters.lines[0]))
    }

    /// Variance of one reading's own noise (repeatability and hysteresis), in µm² of reading.
    pub fn reading_noise(&self, parameters: &Parameters) -> f64 {
        let at = |k: usize| self.scales[k].at(parameters.scales[k]);
        let repeatability = self.experiment.check().indicator.repeatability * at(scale::REPEATABILITY);
        let half = 0.5 * at(scale::HYSTERESIS);
        repeatability * repeatability + half * half
    }

    /// Packed covariance of the noise of the pools (µm²), for middling parameters, with the
    /// variance of roundings and without grains.
    pub fn typical_noise(&self) -> Vec<f64> {
        let n = self.n();
        let middling = Parameters {
            bumps: Vec::new(),
            scales: [0.0; scale::COUNT],
            lines: [0.0; 2],
            grains: Vec::new(),
            roundings: Vec::new(),
            settings: Vec::new(),
        };
        let mut packed = self.disturbances.clone();
        let rounding = self.setting_step * self.setting_step / 12.0;
        let noise = self.reading_noise(&middling) + rounding;
        self.add_reading_noise(noise, |pool| pool.count, &vec![1.0; n], &mut packed);
        packed
    }

    /// Works a particle's cache out: transformed readings, covariance, factor, whitened misfit.
    ///
    /// `profiles` are the bumps' of depth 1, `[bump][pool]`.
    pub fn work_out(&self, parameters: &Parameters, profiles: &[f64], cache: &mut Cache) {
        let n = self.n();
        cache.contrast.resize(n, 1.0);
        cache.white.resize(n, 0.0);
        let noise = self.reading_noise(parameters);
        // A hundredth of a nanometre where there is none: repeats that differ are then far off, and not infinitely.
        cache.own_noise = noise.sqrt().max(1e-5);
        let log_jacobian = self.transform(parameters, cache);
        self.subtract_mean(parameters, profiles, &mut cache.white);
        self.covariance(parameters, noise, &cache.contrast, &mut cache.factor);
        let log_determinant = factorise(&mut cache.factor, n);
        solve_lower(&cache.factor, &mut cache.white);
        cache.log_constant = log_jacobian - log_determinant;
    }

    /// What the indicator makes of heights, with these parameters.
    pub fn pointer(&self, parameters: &Parameters) -> Pointer {
        let at = |k: usize| self.scales[k].at(parameters.scales[k]);
        let indicator = &self.experiment.check().indicator;
        Pointer {
            gain: indicator.gain(at(scale::ANGLE)),
            amplitude: at(scale::SWING),
            wave_number: std::f64::consts::TAU / indicator.error_travel,
            phase: libm::atan2(parameters.scales[scale::PHASE], parameters.scales[scale::PHASE + 1]),
            noise: self.reading_noise(parameters),
        }
    }

    /// Readings to differences of height (µm), and repeats to their deviations: takes the indicator's swing and gain off.
    /// Returns the logarithm of the transformation's Jacobian, and of what the repeats' deviations leave of their density.
    ///
    /// The swing is inverted at the value that was written; what the rounding leaves open, what repeats differ by, and the
    /// noise, follow the tangent there. All zeros stand at one phase, which a few µm between the
    /// zeros of several rounds hardly change.
    fn transform(&self, parameters: &Parameters, cache: &mut Cache) -> f64 {
        let Cache { contrast, white: heights, deviations, own_noise, .. } = cache;
        let Pointer { gain, amplitude, wave_number, phase, .. } = self.pointer(parameters);
        let at_zero = libm::sin(phase);
        // Means of what the roundings leave open, then repeats' deviations from their means.
        heights.fill(0.0);
        for (o, rounding) in self.observed.iter().zip(&parameters.roundings) {
            heights[o.pool] += rounding / self.pools[o.pool].count;
        }
        deviations.clear();
        deviations.extend(self.observed.iter().zip(&parameters.roundings).map(|(o, rounding)| {
            let pool = &self.pools[o.pool];
            if pool.count > 1.0 {
                (o.value - pool.value + rounding - heights[o.pool]) / *own_noise
            } else {
                0.0
            }
        }));
        let mut log_jacobian = 0.0;
        for (i, pool) in self.pools.iter().enumerate() {
            let (mut travel, mut slope) = (pool.value, 1.0);
            if amplitude != 0.0 {
                // The slope lies between 0.2 and 1.8: Newton's method with few steps.
                for _ in 0..4 {
                    let angle = wave_number * travel + phase;
                    slope = 1.0 + amplitude * wave_number * libm::cos(angle);
                    let excess = travel + amplitude * (libm::sin(angle) - at_zero) - pool.value;
                    travel -= excess / slope;
                    if excess.abs() < 1e-6 {
                        break;
                    }
                }
            }
            contrast[i] = 1.0 / (gain * slope);
            log_jacobian += libm::log(contrast[i]);
            if pool.count > 1.0 {
                log_jacobian -= (pool.count - 1.0)
                    * (libm::log(*own_noise) + 0.5 * libm::log(std::f64::consts::TAU))
                    + 0.5 * libm::log(pool.count);
            }
            let open = heights[i] + parameters.settings[pool.round];
            heights[i] = travel / gain + contrast[i] * open;
        }
        log_jacobian
    }

    fn subtract_mean(&self, parameters: &Parameters, profiles: &[f64], heights: &mut [f64]) {
        let n = self.n();
        for (height, mean) in heights.iter_mut().zip(&self.fixed_mean) {
            *height -= mean;
        }
        for (b, state) in parameters.bumps.iter().enumerate().filter(|(_, state)| state.there) {
            let depth = self.per_depth(b, parameters) * self.bumps[b].depth.at(state.depth);
            add_scaled(-depth, &profiles[b * n..(b + 1) * n], heights);
        }
        let per_kelvin = self.curvature_per_kelvin(parameters);
        let kelvin = match self.bow.gaussian {
            Some([mean, _]) => mean,
            None => self.bow.score.at(parameters.lines[1]),
        };
        if kelvin != 0.0 {
            add_scaled(-kelvin * per_kelvin, &self.bow.effects, heights);
        }
        if let Some(line) = &self.twist {
            let twist = line.gaussian.map_or_else(|| line.score.at(parameters.lines[0]), |[mean, _]| mean);
            add_scaled(-self.amount(parameters) * twist, &line.effects, heights);
        }
        for &(site, score) in &parameters.grains {
            let height = self.grain.at(score);
            for &(i, effect) in &self.sites[site].effects {
                heights[i] -= effect * height;
            }
        }
    }

    fn covariance(&self, parameters: &Parameters, noise: f64, contrast: &[f64], packed: &mut Vec<f64>) {
        packed.clear();
        packed.extend_from_slice(&self.fixed_covariance);
        for (f, field) in self.fields.iter().enumerate() {
            let FieldScale { variance, node, share } = self.field_scale(f, parameters);
            let (a, b) = (variance * (1.0 - share), variance * share);
            let next = (node + 1).min(field.covariances.len() - 1);
            let tables = field.covariances[node].iter().zip(&field.covariances[next]);
            for (sum, (at_node, at_next)) in packed.iter_mut().zip(tables) {
                *sum += a * at_node + b * at_next;
            }
        }
        let amount = self.amount(parameters);
        let lines = [(Some(&self.bow), self.curvature_per_kelvin(parameters)), (self.twist.as_ref(), amount)];
        for (line, unit) in lines {
            if let Some(Line { effects, gaussian: Some([_, deviation]), .. }) = line
                && *deviation != 0.0
            {
                add_weighted_square((unit * deviation).powi(2), effects, packed);
            }
        }
        self.add_reading_noise(noise, |pool| pool.count, contrast, packed);
    }
}

impl FieldTable {
    fn new(basis: &FieldBasis, length: &Distribution, effects: Vec<f64>, n: usize) -> Self {
        // The basis draws lengths beyond these quantiles as the quantiles themselves.
        let [low, high] = [0.001, 0.999].map(|p| libm::log(length.quantile(p)));
        let count = if high > low { N_LENGTHS } else { 1 };
        let log_lengths: Vec<f64> =
            (0..count).map(|k| low + (high - low) * k as f64 / (count - 1).max(1) as f64).collect();
        let variances: Vec<Vec<f64>> =
            log_lengths.iter().map(|&log| mode_variances(basis, libm::exp(log))).collect();
        let covariances =
            variances.par_iter().map(|variances| weighted_squares(variances, &effects, n)).collect();
        Self { effects, n_modes: basis.n_modes(), log_lengths, variances, covariances }
    }

    fn locate(&self, length: f64) -> (usize, f64) {
        let last = self.log_lengths.len() - 1;
        if last == 0 {
            return (0, 0.0);
        }
        let (low, high) = (self.log_lengths[0], self.log_lengths[last]);
        let place = ((libm::log(length) - low) / (high - low)).clamp(0.0, 1.0) * last as f64;
        let node = (place as usize).min(last - 1);
        (node, place - node as f64)
    }

    /// Variance of a mode of the unit field. Between two lengths of the table it is the mean of
    /// both, weighted: the very field whose covariance is used.
    #[inline]
    pub fn variance(&self, mode: usize, scale: FieldScale) -> f64 {
        let next = (scale.node + 1).min(self.variances.len() - 1);
        (1.0 - scale.share) * self.variances[scale.node][mode] + scale.share * self.variances[next][mode]
    }
}

fn mode_variances(basis: &FieldBasis, length: f64) -> Vec<f64> {
    let amplitudes: [Vec<f64>; 2] = [0, 1].map(|axis| {
        let mut along = vec![0.0; basis.n_wave_numbers()[axis]];
        basis.axis_amplitudes(axis, length, &mut along);
        along
    });
    basis.modes().iter().map(|&[i, j]| (amplitudes[0][i] * amplitudes[1][j]).powi(2)).collect()
}

/// `Σ_k weight_k row_k row_kᵀ`, packed.
fn weighted_squares(weights: &[f64], rows: &[f64], n: usize) -> Vec<f64> {
    let mut packed = vec![0.0; n * (n + 1) / 2];
    if n == 0 {
        return packed;
    }
    for (weight, row) in weights.iter().zip(rows.chunks_exact(n)) {
        add_weighted_square(*weight, row, &mut packed);
    }
    packed
}

fn add_square(column: &[f64], packed: &mut [f64]) {
    add_weighted_square(1.0, column, packed);
}

fn add_weighted_square(weight: f64, column: &[f64], packed: &mut [f64]) {
    let mut start = 0;
    for (i, value) in column.iter().enumerate() {
        add_scaled(weight * value, &column[..=i], &mut packed[start..=start + i]);
        start += i + 1;
    }
}

/// Each distribution's table once.
#[derive(Default)]
struct Scores {
    known: Vec<(Distribution, Arc<NormalScore>)>,
}

impl Scores {
    fn of(&mut self, distribution: &Distribution) -> Arc<NormalScore> {
        if let Some((_, score)) = self.known.iter().find(|(known, _)| known == distribution) {
            return score.clone();
        }
        let score = Arc::new(NormalScore::of(distribution));
        self.known.push((*distribution, score.clone()));
        score
    }
}

fn bumps(wear: &Wear, scores: &mut Scores) -> Vec<BumpPrior> {
    let nothing = |depth: &Distribution| *depth == Distribution::Constant { value: 0.0 };
    let mut all = Vec::new();
    let mut push = |kind, chance, n_spots, depth: &Distribution, shape: &[&Distribution]| {
        if chance > 0.0 && n_spots > 0 && !nothing(depth) {
            let shape = shape.iter().map(|d| scores.of(d)).collect();
            all.push(BumpPrior { chance, depth: scores.of(depth), shape, n_spots, kind });
        }
    };
    let m = &wear.middle;
    push(Kind::Middle, 1.0, 1, &m.depth, &[&m.x, &m.y, &m.half_length, &m.half_width]);
    let f = &wear.front_edge;
    push(Kind::FrontEdge, 1.0, 1, &f.depth, &[&f.x, &f.half_length, &f.reach]);
    for dip in &wear.dips {
        let [a, b] = dip.place.distances();
        let n_spots = dip.place.n_spots();
        push(Kind::Dip(dip.place.clone()), dip.chance.min(1.0), n_spots, &dip.depth, &[&dip.radius, a, b]);
    }
    all
}

/// Mean and standard deviation, where a distribution is normal or a constant.
fn gaussian(distribution: &Distribution) -> Option<[f64; 2]> {
    match *distribution {
        Distribution::Constant { value } => Some([value, 0.0]),
        Distribution::Normal { mean, standard_deviation } => Some([mean, standard_deviation]),
        _ => None,
    }
}

/// Start of row i in a packed lower triangle.
#[inline]
pub(crate) fn row(i: usize) -> usize {
    i * (i + 1) / 2
}

/// Cholesky factor of a packed covariance, in place; returns half the logarithm of the determinant.
///
/// Readings may repeat one another exactly where nothing disturbs them. A pivot that rounding has
/// eaten is taken as 1e-10 of the diagonal: a noise of 1e-5 of what the reading varies by.
pub(crate) fn factorise(packed: &mut [f64], n: usize) -> f64 {
    let mut log_determinant = 0.0;
    for i in 0..n {
        let (done, rest) = packed.split_at_mut(row(i));
        let this = &mut rest[..=i];
        let diagonal = this[i];
        for j in 0..i {
            let other = &done[row(j)..=row(j) + j];
            this[j] = (this[j] - dot(&this[..j], &other[..j])) / other[j];
        }
        let pivot = this[i] - dot(&this[..i], &this[..i]);
        this[i] = pivot.max(1e-10 * diagonal).max(1e-20).sqrt();
        log_determinant += libm::log(this[i]);
    }
    log_determinant
}

/// `L⁻¹ v`, in place.
#[inline]
pub(crate) fn solve_lower(factor: &[f64], v: &mut [f64]) {
    for i in 0..v.len() {
        let this = &factor[row(i)..=row(i) + i];
        v[i] = (v[i] - dot(&this[..i], &v[..i])) / this[i];
    }
}

/// `L⁻ᵀ v`, in place.
pub(crate) fn solve_upper(factor: &[f64], v: &mut [f64]) {
    for i in (0..v.len()).rev() {
        let this = &factor[row(i)..=row(i) + i];
        v[i] /= this[i];
        let value = v[i];
        add_scaled(-value, &this[..i], &mut v[..i]);
    }
}

/// `L v`.
pub(crate) fn times_lower(factor: &[f64], v: &[f64], into: &mut [f64]) {
    for (i, value) in into.iter_mut().enumerate() {
        *value = dot(&factor[row(i)..=row(i) + i], &v[..=i]);
    }
}
