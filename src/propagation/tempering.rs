//! Drawing what a plate and its check may be, given the readings: tempered sequential Monte Carlo.

use super::{
    likelihood::{BumpState, Cache, Heights, Parameters, ReadingModel, row, scale, solve_lower},
    normal_score::{
        N_STRATA, NormalScore, STRATA_LIMIT, STRATUM_WIDTH, normal_between, stratum_probabilities,
    },
};
use crate::quantity::draw::StandardNormal;
use crate::quantity::stream::{Draws, Source, Streams};
use crate::quantity::vector::{add_scaled, dot};
use rand::RngExt;
use rand_distr::Distribution as _;
use rayon::prelude::*;

/// One guess at everything, with what has been worked out for it.
#[derive(Debug, Clone)]
pub(crate) struct Particle {
    pub parameters: Parameters,
    /// Readings of every bump of depth 1, `[bump][pool]`.
    profiles: Vec<f64>,
    pub cache: Cache,
    /// Which of the first, independent particles it descends from.
    pub ancestor: usize,
}

/// Particles that are distributed as the posterior, and how they came about.
pub(crate) struct Population {
    pub particles: Vec<Particle>,
    /// How many temperatures it took.
    pub n_stages: usize,
    /// Logarithm of the readings' probability density under the setup.
    pub log_evidence: f64,
    sampler: Sampler,
}

/// Everything the moves need that does not change.
struct Sampler {
    source: Source,
    probabilities: [f64; N_STRATA],
    /// Groups of scales of which any is uncertain.
    groups: Vec<Vec<usize>>,
    next_stream: u64,
}

/// Working memory of one thread.
#[derive(Default)]
struct Scratch {
    cache: Cache,
    heights: Heights,
    profile: Vec<f64>,
    white: Vec<f64>,
    other_white: Vec<f64>,
    without: Vec<f64>,
    weights: Vec<f64>,
    other_weights: Vec<f64>,
    /// Columns of the inverse factor, packed by rows.
    inverse: Vec<f64>,
    pool_means: Vec<f64>,
}

/// The least share of particles that a step of temperature leaves effective.
const EFFECTIVE_SHARE: f64 = 0.5;

impl Population {
    /// Samples the posterior: particles from the prior, then the likelihood's power raised from 0
    /// to 1 in steps that each leave half of the particles effective, resampling and moving them
    /// after each (Del Moral, Doucet and Jasra, "Sequential Monte Carlo samplers", J. R. Statist.
    /// Soc. B 68, 2006, 411-436; resampling systematic, Kitagawa 1996).
    ///
    /// Streams from `first_stream` on are used. `on_power` is told the power reached.
    pub fn sample(
        model: &ReadingModel,
        n_particles: usize,
        streams: &Streams,
        first_stream: u64,
        on_power: &dyn Fn(f64),
    ) -> Self {
        let mut sampler = Sampler {
            source: streams.source("posterior"),
            probabilities: stratum_probabilities(),
            groups: scale::GROUPS
                .iter()
                .map(|group| group.clone().filter(|&k| !model.scales[k].is_constant()).collect::<Vec<_>>())
                .filter(|group| !group.is_empty())
                .collect(),
            next_stream: first_stream,
        };
        let first = sampler.take_streams(n_particles);
        let particles = (0..n_particles)
            .into_par_iter()
            .map_init(Scratch::default, |scratch, index| {
                let draws = &mut sampler.source.trial(first + index as u64);
                Particle::draw(model, index, draws, scratch)
            })
            .collect();
        // What the particles' likelihoods leave out.
        let log_evidence = -0.5 * model.n() as f64 * libm::log(std::f64::consts::TAU);
        let mut population = Self { particles, n_stages: 0, log_evidence, sampler };
        let mut power = 0.0;
        while power < 1.0 && model.n() > 0 {
            power = population.heat(power);
            on_power(power);
            population.sweep(model, power);
        }
        population
    }

    /// Raises the power as far as the particles bear, resamples, and returns the new power.
    fn heat(&mut self, power: f64) -> f64 {
        let logs: Vec<f64> = self.particles.iter().map(|p| p.cache.log_likelihood()).collect();
        let best = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let weights = |step: f64| -> Vec<f64> { logs.iter().map(|l| libm::exp(step * (l - best))).collect() };
        let effective = |step: f64| {
            let weights = weights(step);
            let (sum, squares) = weights.iter().fold((0.0, 0.0), |(s, q), w| (s + w, q + w * w));
            sum * sum / squares
        };
        let enough = EFFECTIVE_SHARE * self.particles.len() as f64;
        let (mut low, mut high) = (0.0, 1.0 - power);
        if effective(high) < enough {
            for _ in 0..40 {
                let middle = 0.5 * (low + high);
                if effective(middle) < enough { high = middle } else { low = middle }
            }
            high = low.max(1e-9);
        }
        let weights = weights(high);
        let mean = weights.iter().sum::<f64>() / weights.len() as f64;
        self.log_evidence += high * best + libm::log(mean);
        self.resample(&weights);
        self.n_stages += 1;
        if 1.0 - power <= high { 1.0 } else { power + high }
    }

    /// Systematic resampling: offspring in proportion to the weights.
    fn resample(&mut self, weights: &[f64]) {
        let n = weights.len();
        let step = weights.iter().sum::<f64>() / n as f64;
        let stream = self.sampler.take_streams(1);
        let mut aim = step * self.sampler.source.trial(stream).random::<f64>();
        let mut reached = 0.0;
        let mut offspring = vec![0_usize; n];
        let mut given = 0;
        for (count, weight) in offspring.iter_mut().zip(weights) {
            reached += weight;
            while aim < reached && given < n {
                *count += 1;
                given += 1;
                aim += step;
            }
        }
        // Rounding may leave the last one over.
        if let Some(last) = offspring.iter_mut().rev().find(|count| **count > 0) {
            *last += n - given;
        }
        // Copies go where there is no offspring, so that most particles stay in place.
        let mut free = (0..n).filter(|&i| offspring[i] == 0).collect::<Vec<_>>().into_iter();
        for (parent, &count) in offspring.iter().enumerate() {
            for _ in 1..count {
                if let Some(place) = free.next() {
                    let copy = self.particles[parent].clone();
                    self.particles[place] = copy;
                }
            }
        }
    }

    /// Moves every particle once through all its blocks, keeping prior × likelihood^power.
    pub fn sweep(&mut self, model: &ReadingModel, power: f64) {
        let n = self.particles.len();
        let snapshot: Vec<Snapshot> = self.particles.iter().map(Snapshot::of).collect();
        let first = self.sampler.take_streams(n);
        let sampler = &self.sampler;
        self.particles.par_iter_mut().enumerate().for_each_init(
            Scratch::default,
            |scratch, (index, particle)| {
                let mut draws = sampler.source.trial(first + index as u64);
                Move { model, power, sampler, snapshot: &snapshot, draws: &mut draws, scratch }.all(particle);
            },
        );
    }

    /// The first stream that has not been used.
    pub fn next_stream(&self) -> u64 {
        self.sampler.next_stream
    }

    /// Streams for the use of each particle, never used again.
    pub fn take_streams(&mut self, count: usize) -> (Source, u64) {
        let first = self.sampler.take_streams(count);
        (self.sampler.source, first)
    }
}

impl Sampler {
    fn take_streams(&mut self, count: usize) -> u64 {
        let first = self.next_stream;
        self.next_stream += count as u64;
        first
    }
}

fn normal(draws: &mut Draws) -> f64 {
    StandardNormal.sample(draws)
}

impl Particle {
    /// One draw of the prior.
    fn draw(model: &ReadingModel, ancestor: usize, draws: &mut Draws, scratch: &mut Scratch) -> Self {
        let bumps: Vec<BumpState> = model
            .bumps
            .iter()
            .map(|prior| BumpState {
                there: draws.random::<f64>() < prior.chance,
                spot: draws.random_range(0..prior.n_spots),
                depth: normal(draws),
                shape: std::array::from_fn(|_| normal(draws)),
            })
            .collect();
        let scales = std::array::from_fn(|_| normal(draws));
        let lines = std::array::from_fn(|_| normal(draws));
        let mut grains = Vec::new();
        if model.grain_chance > 0.0 {
            for site in 0..model.sites.len() {
                if draws.random::<f64>() < model.grain_chance {
                    grains.push((site, normal(draws)));
                }
            }
        }
        let roundings = model.observed.iter().map(|o| o.step * (draws.random::<f64>() - 0.5)).collect();
        let settings =
            (0..model.n_rounds).map(|_| model.setting_step * (draws.random::<f64>() - 0.5)).collect();
        let parameters = Parameters { bumps, scales, lines, grains, roundings, settings };
        Self::new(model, parameters, ancestor, &mut scratch.heights)
    }

    /// A particle with these parameters.
    pub fn new(model: &ReadingModel, parameters: Parameters, ancestor: usize, heights: &mut Heights) -> Self {
        let n = model.n();
        let mut profiles = vec![0.0; parameters.bumps.len() * n];
        if n > 0 {
            for (b, (state, into)) in parameters.bumps.iter().zip(profiles.chunks_exact_mut(n)).enumerate() {
                model.profile(&model.bump(b, state), heights, into);
            }
        }
        let mut cache = Cache::default();
        model.work_out(&parameters, &profiles, &mut cache);
        Self { parameters, profiles, cache, ancestor }
    }
}

/// What other particles need to know of one for the steps along differences of two.
struct Snapshot {
    bumps: Vec<BumpState>,
    scales: [f64; scale::COUNT],
}

impl Snapshot {
    fn of(particle: &Particle) -> Self {
        Self { bumps: particle.parameters.bumps.clone(), scales: particle.parameters.scales }
    }
}

/// All moves of one particle at one temperature.
struct Move<'a> {
    model: &'a ReadingModel,
    power: f64,
    sampler: &'a Sampler,
    snapshot: &'a [Snapshot],
    draws: &'a mut Draws,
    scratch: &'a mut Scratch,
}

/// Linear amplitude `t` with the likelihood `power · (slope t − curvature t²/2)`.
#[derive(Clone, Copy)]
struct Quadratic {
    power: f64,
    slope: f64,
    curvature: f64,
}

impl Quadratic {
    #[inline]
    fn at(self, t: f64) -> f64 {
        self.power * (self.slope * t - 0.5 * self.curvature * t * t)
    }

    /// No amplitude is more likely than this, as a logarithm.
    fn highest(self) -> f64 {
        if self.curvature > 0.0 { 0.5 * self.power * self.slope * self.slope / self.curvature } else { 0.0 }
    }
}

impl Move<'_> {
    fn all(&mut self, particle: &mut Particle) {
        for group in 0..self.sampler.groups.len() {
            self.refresh_scales(particle, group);
        }
        self.step_scales(particle);
        for bump in 0..self.model.bumps.len() {
            self.move_bump(particle, bump);
        }
        self.move_lines(particle);
        let rounded = self.model.setting_step > 0.0 || self.model.observed.iter().any(|o| o.step > 0.0);
        let dirty = self.model.grain_chance > 0.0;
        if rounded || dirty {
            self.invert(particle);
        }
        if rounded {
            self.move_roundings(particle);
        }
        if dirty {
            self.move_grains(particle);
        }
    }

    fn uniform(&mut self) -> f64 {
        self.draws.random()
    }

    /// Two different particles of the snapshot.
    fn two_others(&mut self) -> [usize; 2] {
        let n = self.snapshot.len();
        let a = self.draws.random_range(0..n);
        let b = (a + 1 + self.draws.random_range(0..(n - 1).max(1))) % n;
        [a, b]
    }

    // Scales: the covariance of the readings changes.

    /// Some scales drawn anew or moved part of the way there, keeping the prior
    /// (`z' = √(1 − s²) z + s ξ`: Neal 1998; Cotter et al., Statistical Science 28, 2013).
    fn refresh_scales(&mut self, particle: &mut Particle, group: usize) {
        let mut proposal = particle.parameters.scales;
        let share: f64 = [0.3, 0.7, 1.0][self.draws.random_range(0..3)];
        let keep = (1.0 - share * share).sqrt();
        let sampler = self.sampler;
        for &k in &sampler.groups[group] {
            proposal[k] = keep * proposal[k] + share * normal(self.draws);
        }
        self.try_scales(particle, proposal, 0.0);
    }

    /// All scales along the difference of two other particles (ter Braak, Statistics and Computing
    /// 16, 2006, 239-249).
    fn step_scales(&mut self, particle: &mut Particle) {
        let n_scales: usize = self.sampler.groups.iter().map(Vec::len).sum();
        if n_scales == 0 {
            return;
        }
        let [a, b] = self.two_others();
        let length = 2.38 / (2.0 * n_scales as f64).sqrt() * (0.5 + self.uniform());
        let mut proposal = particle.parameters.scales;
        let mut prior = 0.0;
        for &k in self.sampler.groups.iter().flatten() {
            let old = proposal[k];
            proposal[k] += length * (self.snapshot[a].scales[k] - self.snapshot[b].scales[k]);
            proposal[k] += 1e-3 * normal(self.draws);
            prior += 0.5 * (old * old - proposal[k] * proposal[k]);
        }
        self.try_scales(particle, proposal, prior);
    }

    /// Accepts or refuses; `prior` is the logarithm of the prior's ratio that the step has not kept.
    fn try_scales(&mut self, particle: &mut Particle, proposal: [f64; scale::COUNT], prior: f64) {
        let old = std::mem::replace(&mut particle.parameters.scales, proposal);
        let cache = &mut self.scratch.cache;
        self.model.work_out(&particle.parameters, &particle.profiles, cache);
        let gain = self.power * (cache.log_likelihood() - particle.cache.log_likelihood()) + prior;
        if libm::log(self.uniform()) < gain {
            std::mem::swap(&mut particle.cache, &mut self.scratch.cache);
        } else {
            particle.parameters.scales = old;
        }
    }

    // Bumps: only the mean changes.

    /// One dip or dish: new shapes are judged with presence and depth summed out, then these two
    /// are drawn; so a dip appears, disappears and moves in one and the same step.
    fn move_bump(&mut self, particle: &mut Particle, bump: usize) {
        let model = self.model;
        let n = model.n();
        let prior = &model.bumps[bump];
        let Particle { parameters, profiles, cache, .. } = particle;
        let unit = model.per_depth(bump, parameters);
        let state = &mut parameters.bumps[bump];
        let profile = &mut profiles[bump * n..(bump + 1) * n];
        let Scratch {
            heights, profile: proposed, white, other_white, without, weights, other_weights, ..
        } = &mut *self.scratch;
        white.clear();
        white.extend(profile.iter().map(|value| unit * value));
        solve_lower(&cache.factor, white);
        without.clear();
        without.extend_from_slice(&cache.white);
        if state.there {
            add_scaled(prior.depth.at(state.depth), white, without);
        }
        let quadratic = |white: &[f64]| Quadratic {
            power: self.power,
            slope: dot(white, without),
            curvature: dot(white, white),
        };
        let mut current = quadratic(white);
        let choice =
            Choice { chance: prior.chance, score: &prior.depth, probabilities: &self.sampler.probabilities };
        let mut total = choice.weigh(current, weights);
        let n_shape = prior.shape.len();
        // Draw anew, go along a difference, go a little way, and keep the shape.
        for kind in 0..4 {
            let mut next = *state;
            let mut log_ratio = 0.0;
            match kind {
                0 => {
                    next.spot = self.draws.random_range(0..prior.n_spots);
                    for z in &mut next.shape[..n_shape] {
                        *z = normal(self.draws);
                    }
                }
                1 if state.there => {
                    let count = self.snapshot.len();
                    let a = self.draws.random_range(0..count);
                    let b = self.draws.random_range(0..count);
                    let length =
                        2.38 / (2.0 * n_shape as f64).sqrt() * (0.3 + 0.9 * self.draws.random::<f64>());
                    for (k, z) in next.shape[..n_shape].iter_mut().enumerate() {
                        let other = |i: usize| self.snapshot[i].bumps[bump].shape[k];
                        let old = *z;
                        *z += length * (other(a) - other(b)) + 1e-3 * normal(self.draws);
                        log_ratio += 0.5 * (old * old - *z * *z);
                    }
                }
                2 if state.there => {
                    let share: f64 = if self.draws.random() { 0.15 } else { 0.5 };
                    let keep = (1.0 - share * share).sqrt();
                    for z in &mut next.shape[..n_shape] {
                        *z = keep * *z + share * normal(self.draws);
                    }
                }
                3 => {}
                _ => continue,
            }
            let (next_quadratic, next_total);
            if kind == 3 {
                (next_quadratic, next_total) = (current, total);
                other_weights.clone_from(weights);
            } else {
                proposed.resize(n, 0.0);
                model.profile(&model.bump(bump, &next), heights, proposed);
                other_white.clear();
                other_white.extend(proposed.iter().map(|value| unit * value));
                solve_lower(&cache.factor, other_white);
                next_quadratic = quadratic(other_white);
                next_total = choice.weigh(next_quadratic, other_weights);
            }
            // Steps of a bump that is there leave it there, so that the way back is as likely.
            let stays = kind == 1 || kind == 2;
            let u = if stays { 0.0 } else { self.draws.random() };
            (next.there, next.depth) = choice.draw(u, next_total, other_weights, state.depth, self.draws);
            let new = choice.excess(next.there, next.depth, next_quadratic, next_total, other_weights);
            let old = choice.excess(state.there, state.depth, current, total, weights);
            if stays {
                log_ratio += libm::log(next_total.present / total.present);
            }
            if libm::log(self.draws.random()) < new - old + log_ratio {
                *state = next;
                if kind != 3 {
                    (current, total) = (next_quadratic, next_total);
                    std::mem::swap(weights, other_weights);
                    std::mem::swap(white, other_white);
                    profile.copy_from_slice(proposed);
                }
            }
        }
        if state.there {
            state.depth = slice(state.depth, self.draws, |z| current.at(prior.depth.at(z)) - 0.5 * z * z);
            add_scaled(-prior.depth.at(state.depth), white, without);
        }
        cache.white.copy_from_slice(without);
    }

    /// Twist and bow where they are not normal.
    fn move_lines(&mut self, particle: &mut Particle) {
        let model = self.model;
        let per_kelvin = model.curvature_per_kelvin(&particle.parameters);
        let lines =
            [(model.twist.as_ref(), model.amount(&particle.parameters)), (Some(&model.bow), per_kelvin)];
        for (k, (line, unit)) in lines.into_iter().enumerate() {
            let Some(line) = line.filter(|line| line.gaussian.is_none()) else { continue };
            let white = &mut self.scratch.white;
            white.clear();
            white.extend(line.effects.iter().map(|e| e * unit));
            solve_lower(&particle.cache.factor, white);
            let z = &mut particle.parameters.lines[k];
            add_scaled(line.score.at(*z), white, &mut particle.cache.white);
            let quadratic = Quadratic {
                power: self.power,
                slope: dot(white, &particle.cache.white),
                curvature: dot(white, white),
            };
            *z = slice(*z, self.draws, |z| quadratic.at(line.score.at(z)) - 0.5 * z * z);
            add_scaled(-line.score.at(*z), white, &mut particle.cache.white);
        }
    }

    // Roundings and grains: single columns of the inverse factor.

    /// Columns of the inverse factor: column i is the whitened effect of 1 µm on observation i.
    fn invert(&mut self, particle: &Particle) {
        let n = self.model.n();
        let factor = &particle.cache.factor;
        // Stored column by column: column i holds rows i..n.
        let inverse = &mut self.scratch.inverse;
        inverse.clear();
        for i in 0..n {
            let start = inverse.len();
            inverse.push(1.0 / factor[row(i) + i]);
            for k in i + 1..n {
                let this = &factor[row(k)..=row(k) + k];
                let value = -dot(&this[i..k], &inverse[start..]) / this[k];
                inverse.push(value);
            }
        }
    }

    /// Every latent reading in its rounding box, from its exact conditional: a normal between two
    /// limits (Gibbs sampling).
    fn move_roundings(&mut self, particle: &mut Particle) {
        let Particle { parameters, cache, .. } = particle;
        let n = self.model.n();
        let setting_step = self.model.setting_step;
        let Scratch { inverse, white: shared, pool_means, .. } = &mut *self.scratch;
        // What the deviations of each pool have moved by since they were counted from its mean.
        pool_means.clear();
        pool_means.resize(n, 0.0);
        for (k, o) in self.model.observed.iter().enumerate().filter(|(_, o)| o.step > 0.0) {
            let count = self.model.pools[o.pool].count;
            let column = &inverse[column_start(o.pool, n)..][..n - o.pool];
            let unit = cache.contrast[o.pool] / count;
            let white = &mut cache.white[o.pool..];
            // Repeats are held together by their own noise as well.
            let from_mean = cache.deviations[k] - pool_means[o.pool];
            let along = Quadratic {
                power: self.power,
                slope: -unit * dot(column, white) - from_mean / cache.own_noise,
                curvature: unit * unit * dot(column, column)
                    + (1.0 - 1.0 / count) / (cache.own_noise * cache.own_noise),
            };
            let latent = &mut parameters.roundings[k];
            let by = draw_latent(*latent, o.step, along, self.draws);
            *latent += by;
            add_scaled(by * unit, column, white);
            if count > 1.0 {
                cache.deviations[k] += by / cache.own_noise;
                pool_means[o.pool] += by / cache.own_noise / count;
            }
        }
        for (deviation, o) in cache.deviations.iter_mut().zip(&self.model.observed) {
            *deviation -= pool_means[o.pool];
        }
        if setting_step > 0.0 {
            for round in 0..self.model.n_rounds {
                let effects = self.model.pools.iter().enumerate().filter(|(_, pool)| pool.round == round);
                let effects = effects.map(|(i, _)| (i, cache.contrast[i]));
                spread_columns(inverse, n, effects, shared);
                let along = Quadratic {
                    power: self.power,
                    slope: -dot(shared, &cache.white),
                    curvature: dot(shared, shared),
                };
                let setting = &mut parameters.settings[round];
                let by = draw_latent(*setting, setting_step, along, self.draws);
                *setting += by;
                add_scaled(by, shared, &mut cache.white);
            }
        }
    }

    /// Every place that may hold a grain: there or not, and how high.
    fn move_grains(&mut self, particle: &mut Particle) {
        let model = self.model;
        let n = model.n();
        let Particle { parameters, cache, .. } = particle;
        let chance = model.grain_chance;
        let choice = Choice { chance, score: &model.grain, probabilities: &self.sampler.probabilities };
        for (index, site) in model.sites.iter().enumerate() {
            let held = parameters.grains.iter().position(|(at, _)| *at == index);
            let single = match site.effects[..] {
                [(i, effect)] => Some((effect, &self.scratch.inverse[column_start(i, n)..][..n - i], i)),
                _ => None,
            };
            if single.is_none() {
                spread_columns(
                    &self.scratch.inverse,
                    n,
                    site.effects.iter().copied(),
                    &mut self.scratch.white,
                );
            }
            let (unit, column, first) = single.unwrap_or((1.0, &self.scratch.white, 0));
            let white = &mut cache.white[first..];
            let height = held.map_or(0.0, |k| model.grain.at(parameters.grains[k].1));
            let curvature = unit * unit * dot(column, column);
            let slope = unit * dot(column, white) + curvature * height;
            let quadratic = Quadratic { power: self.power, slope, curvature };
            let u: f64 = self.draws.random();
            if held.is_none() {
                // A place stays empty with at least this probability, whatever the strata say.
                let most = chance * libm::exp(quadratic.highest().min(700.0));
                if u * (1.0 - chance + most) > most {
                    continue;
                }
            }
            let weights = &mut self.scratch.weights;
            let total = choice.weigh(quadratic, weights);
            let old = held.map(|k| parameters.grains[k].1);
            let (there, score) = choice.draw(u, total, weights, 0.0, self.draws);
            let excess = |there, score| choice.excess(there, score, quadratic, total, weights);
            let gain = excess(there, score) - excess(old.is_some(), old.unwrap_or(0.0));
            if libm::log(self.draws.random()) >= gain {
                continue;
            }
            let new_height = if there { model.grain.at(score) } else { 0.0 };
            add_scaled((height - new_height) * unit, column, white);
            match (held, there) {
                (Some(k), true) => parameters.grains[k].1 = score,
                (Some(k), false) => {
                    parameters.grains.remove(k);
                }
                (None, true) => parameters.grains.push((index, score)),
                (None, false) => {}
            }
        }
    }
}

/// Presence and size of something that is there with some chance, drawn nearly from its
/// conditional: the size by strata of equal width in its normal score, weighted by the likelihood
/// in their middles. [`Choice::excess`] corrects what "nearly" leaves out.
struct Choice<'a> {
    chance: f64,
    score: &'a NormalScore,
    probabilities: &'a [f64; N_STRATA],
}

impl Choice<'_> {
    /// Weights of the strata relative to the largest likelihood met, or to absence. Returns the
    /// logarithm of everything's weight.
    fn weigh(&self, quadratic: Quadratic, weights: &mut Vec<f64>) -> Total {
        weights.clear();
        weights.extend(self.score.strata().iter().map(|&t| quadratic.at(t)));
        let highest = weights.iter().copied().fold(0.0, f64::max);
        let mut sum = 0.0;
        for (weight, p) in weights.iter_mut().zip(self.probabilities) {
            *weight = self.chance * p * libm::exp(*weight - highest);
            sum += *weight;
        }
        let absent = (1.0 - self.chance) * libm::exp(-highest);
        Total { log: highest + libm::log(absent + sum), present: sum / (absent + sum), highest }
    }

    /// Presence and score; what is absent keeps `idle` for a score. `u` decides on the presence.
    fn draw(&self, u: f64, total: Total, weights: &[f64], idle: f64, draws: &mut Draws) -> (bool, f64) {
        if u >= total.present {
            return (false, idle);
        }
        let aim = draws.random::<f64>() * weights.iter().sum::<f64>();
        let mut reached = 0.0;
        let mut stratum = N_STRATA - 1;
        for (k, weight) in weights.iter().enumerate() {
            reached += weight;
            if aim < reached {
                stratum = k;
                break;
            }
        }
        (true, -STRATA_LIMIT + (stratum as f64 + draws.random::<f64>()) * STRATUM_WIDTH)
    }

    /// Logarithm of target over proposal, for the independent proposal that this draws from.
    fn excess(&self, there: bool, score: f64, quadratic: Quadratic, total: Total, weights: &[f64]) -> f64 {
        if !there {
            return total.log;
        }
        let place = (score + STRATA_LIMIT) / STRATUM_WIDTH;
        if !(0.0..N_STRATA as f64).contains(&place) {
            // Never proposed, so never left by this move.
            return f64::INFINITY;
        }
        let weight = weights[place as usize];
        let root = (2.0 * std::f64::consts::PI).sqrt();
        let prior = self.chance * libm::exp(-0.5 * score * score) / root * STRATUM_WIDTH;
        total.log + quadratic.at(self.score.at(score)) - total.highest + libm::log(prior / weight)
    }
}

/// The sum of a [`Choice`]'s weights.
#[derive(Clone, Copy)]
struct Total {
    log: f64,
    present: f64,
    highest: f64,
}

/// One step of a latent number between ± half a step: how far it moves. `along` counts from where it is.
fn draw_latent(latent: f64, step: f64, along: Quadratic, draws: &mut Draws) -> f64 {
    let deviation = 1.0 / (along.power * along.curvature).sqrt();
    let best = latent + along.slope / along.curvature;
    let z = normal_between((-0.5 * step - best) / deviation, (0.5 * step - best) / deviation, draws.random());
    (best + deviation * z).clamp(-0.5 * step, 0.5 * step) - latent
}

/// Where column i of the inverse factor begins.
fn column_start(i: usize, n: usize) -> usize {
    i * n - i * (i + 1) / 2 + i
}

/// The whitened effect of several readings' effects together.
fn spread_columns(
    inverse: &[f64],
    n: usize,
    effects: impl Iterator<Item = (usize, f64)>,
    into: &mut Vec<f64>,
) {
    into.clear();
    into.resize(n, 0.0);
    for (i, effect) in effects {
        add_scaled(effect, &inverse[column_start(i, n)..][..n - i], &mut into[i..]);
    }
}

/// One step of slice sampling with stepping out and shrinkage (Neal, "Slice sampling", Annals of
/// Statistics 31, 2003, 705-767).
fn slice(at: f64, draws: &mut Draws, log_density: impl Fn(f64) -> f64) -> f64 {
    const WIDTH: f64 = 1.0;
    let level = log_density(at) + libm::log(1.0 - draws.random::<f64>());
    let mut low = at - WIDTH * draws.random::<f64>();
    let mut high = low + WIDTH;
    while log_density(low) > level {
        low -= WIDTH;
    }
    while log_density(high) > level {
        high += WIDTH;
    }
    for _ in 0..100 {
        let next = low + (high - low) * draws.random::<f64>();
        if log_density(next) > level {
            return next;
        }
        if next < at { low = next } else { high = next }
    }
    at
}
