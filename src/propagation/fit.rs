//! Whether the readings fit the setup at all, and which one does not.

use super::{
    likelihood::{GrainPlace, ReadingModel, row},
    tempering::Particle,
};
use crate::quantity::vector::dot;
use crate::quantity::{
    pareto_smoothing::{Smoothed, smoothed_weights},
    student::{normal_cumulative, normal_quantile},
};

/// How well what was read fits the setup.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Chance that a survey of this setup would hold a reading as odd, among its others, as the
    /// oddest of this one, closing readings apart. Small: dirt, a loose clamp, a wrong placement or file.
    ///
    /// From the smallest two-sided p value of [`ReadingFit`] by Šidák's formula `1 − (1 − p)ⁿ`.
    pub p_value: f64,
    /// The oddest reading: index into `readings`; `None` without readings.
    pub worst: Option<usize>,
    /// The same of the zeros that were read again: a test of their own, for these alone show a drift.
    pub closing: Option<Closing>,
    /// Each observation (but for zeros, which only say where the others count from), in order.
    pub readings: Vec<ReadingFit>,
    /// Where grains are likely to have lain (probability above 10 %), most likely first.
    pub grains: Vec<LikelyGrain>,
}

/// The zero that came back worst.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Closing {
    /// Index into [`Fit::readings`].
    pub reading: usize,
    /// Chance that a survey of this setup would hold a closing reading as odd.
    pub p_value: f64,
}

/// A place that may have held a grain while it was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LikelyGrain {
    /// Where.
    pub place: GrainPlace,
    /// With which probability.
    pub probability: f64,
    /// How high it is if there is one: the mean, in µm.
    pub height: f64,
}

/// How well one reading fits the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadingFit {
    /// Index of the reading in the survey.
    pub reading: usize,
    /// What was read less what all the others predict, in µm.
    pub off: f64,
    /// Standard uncertainty of that expectation, for a reading without grains, in µm.
    pub standard_uncertainty: f64,
    /// Two-sided probability of a reading at least as far out, rounding and grains allowed for.
    pub p_value: f64,
    /// Probability that a grain lay under the block, or under a foot that only this reading
    /// depends on; one under a foot that several readings share stands in [`Fit::grains`] alone.
    pub grain_probability: f64,
    /// Probability of the value that was written (its density where it is not rounded), from the others.
    pub predictive: f64,
    /// Shape of the tail of the weights by which the others' prediction was made
    /// (see [`Smoothed::k`]); minus infinity where the readings were fitted without this one.
    pub tail_shape: f64,
}

/// One particle's prediction of each reading from all others.
#[derive(Debug, Clone)]
pub(crate) struct FitSample {
    predictions: Vec<Prediction>,
    /// Grains: site and height, in µm.
    grains: Vec<(usize, f64)>,
}

#[derive(Debug, Clone, Copy)]
struct Prediction {
    /// Expected reading less the one written, and its standard deviation, in µm of reading.
    mean: f64,
    deviation: f64,
    /// Probability of the written value (density where it is not rounded), and of less than it.
    probability: f64,
    below: f64,
    grain: bool,
}

/// Readings with a smaller p value than this are odd.
const ODD: f64 = 0.01;
/// How many heights of a grain are tried.
const GRAIN_HEIGHTS: usize = 6;

impl FitSample {
    /// Leave-one-out predictions: given its parameters and the other readings, a reading is normal
    /// with mean `y − (S⁻¹ r)ᵢ / (S⁻¹)ᵢᵢ` and variance `1 / (S⁻¹)ᵢᵢ` (Sundararajan and Keerthi,
    /// Neural Computation 13, 2001, 1103-1118), but for the grains that only it may hold.
    pub fn of(model: &ReadingModel, particle: &Particle) -> Self {
        let n = model.n();
        let cache = &particle.cache;
        let scores: [f64; GRAIN_HEIGHTS] =
            std::array::from_fn(|k| normal_quantile((k as f64 + 0.5) / GRAIN_HEIGHTS as f64));
        let heights = scores.map(|z| model.grain.at(z));
        let mut column: Vec<f64> = Vec::with_capacity(n);
        let predictions = model.observed.iter().enumerate().map(|(i, o)| {
            let pool = &model.pools[o.pool];
            let contrast = cache.contrast[o.pool];
            column.clear();
            column.push(1.0 / cache.factor[row(o.pool) + o.pool]);
            for k in o.pool + 1..n {
                let this = &cache.factor[row(k)..=row(k) + k];
                let value = -dot(&this[o.pool..k], &column) / this[k];
                column.push(value);
            }
            let mut precision = dot(&column, &column);
            let mut misfit = dot(&column, &cache.white[o.pool..]) / precision;
            if pool.count > 1.0 {
                // What the other readings say of the pool, and what its other repeats say of it, together.
                let own = cache.own_noise * contrast;
                let (variance, left) = (own * own, pool.count - 1.0);
                let by_others = (1.0 / precision - variance / pool.count).max(1e-12 * variance);
                let deviation = own * cache.deviations[i];
                let by_repeats = variance / left;
                let share = by_others / (by_others + by_repeats);
                misfit = deviation + (1.0 - share) * misfit + share * deviation / left;
                precision = 1.0 / (share * by_repeats + variance);
            }
            let own = |site: usize| match model.sites[site].effects[..] {
                [(at, effect)] if at == o.pool && pool.count == 1.0 => Some(effect),
                _ => None,
            };
            let mut grain = false;
            for (site, score) in &particle.parameters.grains {
                if let Some(effect) = own(*site) {
                    misfit += effect * model.grain.at(*score);
                    grain = true;
                }
            }
            let mean = particle.parameters.roundings[i] - misfit / contrast;
            let deviation = 1.0 / (precision.sqrt() * contrast);
            let half = 0.5 * o.step;
            let mut prediction = Prediction { mean, deviation, probability: 0.0, below: 0.0, grain };
            let mut add = |share: f64, shift: f64| {
                let z = |at: f64| (at - mean - shift) / deviation;
                let less = normal_cumulative(z(-half));
                prediction.below += share * less;
                prediction.probability += share
                    * if half > 0.0 {
                        normal_cumulative(z(half)) - less
                    } else {
                        libm::exp(-0.5 * z(0.0) * z(0.0)) / deviation
                    };
            };
            let effects: Vec<f64> = if model.grain_chance > 0.0 {
                (0..model.sites.len()).filter_map(own).collect()
            } else {
                Vec::new()
            };
            // More than one grain in one place of reading is left out.
            let chance = model.grain_chance;
            add(1.0 - chance * effects.len() as f64, 0.0);
            for effect in effects {
                for height in heights {
                    add(chance / GRAIN_HEIGHTS as f64, effect * height / contrast);
                }
            }
            prediction
        });
        let predictions = predictions.collect();
        let grains =
            particle.parameters.grains.iter().map(|&(site, score)| (site, model.grain.at(score))).collect();
        Self { predictions, grains }
    }
}

impl Fit {
    /// Averages the predictions over what the other readings alone would leave open: particles
    /// weighted by one over the probability of the reading (Gelfand, Dey and Chang, Bayesian
    /// Statistics 4, 1992, 147-167), Pareto-smoothed.
    pub(crate) fn of(model: &ReadingModel, samples: &[FitSample]) -> Self {
        let readings = (0..model.observed.len())
            .map(|i| {
                let grains = samples.iter().filter(|sample| sample.predictions[i].grain).count();
                let Smoothed { weights, k } = without(samples, i);
                ReadingFit {
                    grain_probability: grains as f64 / samples.len() as f64,
                    tail_shape: k,
                    ..ReadingFit::of(model, samples, i, &weights)
                }
            })
            .collect();
        let mut fit = Self {
            p_value: 1.0,
            worst: None,
            closing: None,
            readings,
            grains: likely_grains(model, samples),
        };
        fit.compare(model);
        fit
    }

    /// Puts what was found of a reading by leaving it out and starting anew in the place of what weights say of it.
    ///
    /// `samples` are predictions by particles that have not seen it, in equal parts.
    pub(crate) fn replace(&mut self, model: &ReadingModel, i: usize, samples: &[FitSample]) {
        let weights = vec![1.0 / samples.len() as f64; samples.len()];
        let grain_probability = self.readings[i].grain_probability;
        self.readings[i] = ReadingFit { grain_probability, ..ReadingFit::of(model, samples, i, &weights) };
        self.compare(model);
    }

    /// Finds the oddest readings, among those that close a round and among the others.
    fn compare(&mut self, model: &ReadingModel) {
        let survey = &model.experiment.check().survey;
        let oddest = |closing: bool| {
            let of_kind = |fit: &&ReadingFit| survey.readings[fit.reading].closing == closing;
            let lowest = self.readings.iter().filter(of_kind).map(|fit| fit.p_value).fold(1.0, f64::min);
            let n = self.readings.iter().filter(of_kind).count();
            // One slip makes others look odd; of several odd ones it is the one whose value the rest makes least likely.
            let worst = (0..self.readings.len()).filter(|&i| of_kind(&&self.readings[i])).min_by(|&a, &b| {
                let rank = |i: usize| {
                    let fit = &self.readings[i];
                    if fit.p_value < ODD { (fit.predictive, 0.0) } else { (f64::INFINITY, fit.p_value) }
                };
                rank(a).0.total_cmp(&rank(b).0).then(rank(a).1.total_cmp(&rank(b).1))
            });
            worst.map(|i| (i, -libm::expm1(n as f64 * libm::log1p(-lowest.min(1.0 - 1e-12)))))
        };
        let (others, closing) = (oddest(false), oddest(true));
        self.closing = closing.map(|(reading, p_value)| Closing { reading, p_value });
        self.worst = others.map(|(i, _)| i);
        self.p_value = others.map_or(1.0, |(_, p)| p);
    }
}

/// Weights that turn particles which have seen all readings into such as have not seen the i-th.
pub(crate) fn without(samples: &[FitSample], i: usize) -> Smoothed {
    let logs: Vec<f64> =
        samples.iter().map(|sample| -libm::log(sample.predictions[i].probability.max(1e-300))).collect();
    smoothed_weights(&logs)
}

fn likely_grains(model: &ReadingModel, samples: &[FitSample]) -> Vec<LikelyGrain> {
    let mut found = vec![(0.0, 0.0); model.sites.len()];
    for &(site, height) in samples.iter().flat_map(|sample| &sample.grains) {
        found[site].0 += 1.0;
        found[site].1 += height;
    }
    let mut grains: Vec<LikelyGrain> = found
        .iter()
        .zip(&model.sites)
        .map(|(&(count, sum), site)| LikelyGrain {
            place: site.place,
            probability: count / samples.len() as f64,
            height: sum / count,
        })
        .filter(|grain| grain.probability > 0.1)
        .collect();
    grains.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    grains
}

impl ReadingFit {
    fn of(model: &ReadingModel, samples: &[FitSample], i: usize, weights: &[f64]) -> Self {
        let (mut below, mut expected, mut square, mut predictive) = (0.0, 0.0, 0.0, 0.0);
        let rounded = model.observed[i].step > 0.0;
        for (sample, w) in samples.iter().zip(weights) {
            let prediction = &sample.predictions[i];
            // Half of the value's own probability counts as below it.
            below += w * (prediction.below + if rounded { 0.5 * prediction.probability } else { 0.0 });
            expected += w * prediction.mean;
            predictive += w * prediction.probability;
            square += w * (prediction.mean * prediction.mean + prediction.deviation * prediction.deviation);
        }
        Self {
            reading: model.observed[i].reading,
            off: -expected,
            standard_uncertainty: (square - expected * expected).max(0.0).sqrt(),
            p_value: (2.0 * below.min(1.0 - below)).clamp(0.0, 1.0),
            grain_probability: 0.0,
            predictive,
            tail_shape: f64::NEG_INFINITY,
        }
    }
}
