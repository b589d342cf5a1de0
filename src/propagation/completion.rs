//! From a particle to a whole plate: the Gaussian rest, drawn given the readings.

use super::{
    likelihood::{Pointer, ReadingModel, solve_lower, solve_upper, times_lower},
    tempering::Particle,
};
use crate::quantity::draw::StandardNormal;
use crate::quantity::vector::{add_scaled, dot};
use crate::{
    quantity::stream::Draws,
    shop::{
        form::Bump,
        landscape::{Drawn, Landscape},
        smooth_zone,
    },
};
use rand_distr::Distribution as _;

/// One plate that may be the one that was read.
#[derive(Debug, Clone, Default)]
pub(crate) struct Plate {
    pub bumps: Vec<Bump>,
    /// In µm at the corners.
    pub twist: f64,
    /// From heat, in µm/mm², crowned: all readings see it, flatness where it holds the bow.
    pub curvature: f64,
    /// All cosines' coefficients, then the map's points, in µm.
    pub coefficients: Vec<f64>,
    /// What it was read with.
    pub pointer: Pointer,
}

/// Working memory of one thread.
pub(crate) struct Scratch {
    pub drawn: Drawn,
    zone: smooth_zone::Scratch,
    misfit: Vec<f64>,
    column: Vec<f64>,
    noise: Vec<f64>,
    deviates: Vec<f64>,
}

impl Scratch {
    pub fn new(model: &ReadingModel) -> Self {
        Self {
            drawn: model.experiment.landscape().scratch(),
            zone: model.experiment.zone_scratch(),
            misfit: Vec::new(),
            column: Vec::new(),
            noise: Vec::new(),
            deviates: Vec::new(),
        }
    }
}

/// Draws the plate's waves, twist, bow and map given a particle and the readings: a draw of the
/// prior, corrected by the gain times what it misses the readings by (Matheron's rule; Journel and
/// Huijbregts, Mining Geostatistics, 1978; also Doucet, "A note on efficient conditional
/// simulation of Gaussian distributions", 2010).
///
/// `without` is an observation that is not to be looked at.
pub(crate) fn complete(
    model: &ReadingModel,
    particle: &Particle,
    without: Option<usize>,
    draws: &mut Draws,
    scratch: &mut Scratch,
    plate: &mut Plate,
) {
    let n = model.n();
    let parameters = &particle.parameters;
    let mut normal = || -> f64 { StandardNormal.sample(draws) };
    let Scratch { misfit, column, noise, deviates, .. } = scratch;
    misfit.clear();
    misfit.resize(n, 0.0);
    plate.coefficients.clear();
    for (f, field) in model.fields.iter().enumerate() {
        let scale = model.field_scale(f, parameters);
        for mode in 0..field.n_modes {
            let coefficient = (scale.variance * field.variance(mode, scale)).sqrt() * normal();
            plate.coefficients.push(coefficient);
            if n > 0 {
                add_scaled(coefficient, &field.effects[mode * n..(mode + 1) * n], misfit);
            }
        }
    }
    let map = model.experiment.landscape().map();
    for point in 0..map.map_or(0, |map| map.heights().len()) {
        let error = model.map_uncertainty * normal();
        plate.coefficients.push(error);
        if n > 0 {
            add_scaled(error, &model.map_effects[point * n..(point + 1) * n], misfit);
        }
    }
    let amount = model.amount(parameters);
    let twist_deviation = amount * model.twist.as_ref().and_then(|t| t.gaussian).map_or(0.0, |[_, u]| u);
    let mut twist = twist_deviation * normal();
    if let Some(line) = &model.twist {
        add_scaled(twist, &line.effects, misfit);
    }
    let per_kelvin = model.curvature_per_kelvin(parameters);
    let bow_deviation = per_kelvin * model.bow.gaussian.map_or(0.0, |[_, u]| u);
    let mut curvature = bow_deviation * normal();
    add_scaled(curvature, &model.bow.effects, misfit);
    // Disturbances, whose own values nobody wants.
    deviates.clear();
    deviates.extend((0..n).map(|_| normal()));
    noise.resize(n, 0.0);
    times_lower(&model.disturbance_factor, deviates, noise);
    let own = model.reading_noise(parameters).sqrt();
    deviates.clear();
    deviates.extend((0..model.n_rounds).map(|_| own * normal()));
    for (i, pool) in model.pools.iter().enumerate() {
        let own = own * normal() / pool.count.sqrt();
        misfit[i] += noise[i] + particle.cache.contrast[i] * (own - deviates[pool.round]);
    }
    // S⁻¹ (readings − drawn readings).
    solve_lower(&particle.cache.factor, misfit);
    for (value, white) in misfit.iter_mut().zip(&particle.cache.white) {
        *value = white - *value;
    }
    solve_upper(&particle.cache.factor, misfit);
    if let Some(left_out) = without {
        let pool = model.observed[left_out].pool;
        column.clear();
        column.resize(n, 0.0);
        column[pool] = 1.0;
        solve_lower(&particle.cache.factor, column);
        solve_upper(&particle.cache.factor, column);
        let left = model.pools[pool].count - 1.0;
        let share = if left > 0.0 {
            // The mean of the other repeats, which varies by more than that of all (Sherman and Morrison).
            let own = particle.cache.own_noise * particle.cache.contrast[pool];
            let more = own * own / (left * (left + 1.0));
            let mean = -own * particle.cache.deviations[left_out] / left;
            add_scaled(mean - more.sqrt() * normal(), column, misfit);
            more * misfit[pool] / (1.0 + more * column[pool])
        } else {
            // A column of S⁻¹ takes the reading's own part away and leaves S⁻¹ of the others.
            misfit[pool] / column[pool]
        };
        add_scaled(-share, column, misfit);
    }
    let along = |effects: &[f64]| dot(effects, misfit);
    let mut next = 0;
    for (f, field) in model.fields.iter().enumerate() {
        let scale = model.field_scale(f, parameters);
        for mode in 0..field.n_modes {
            let gain = scale.variance * field.variance(mode, scale);
            plate.coefficients[next] += gain * along(&field.effects[mode * n..(mode + 1) * n]);
            next += 1;
        }
    }
    if let Some(map) = map {
        let variance = model.map_uncertainty * model.map_uncertainty;
        for (point, height) in map.heights().iter().enumerate() {
            plate.coefficients[next] +=
                height + variance * along(&model.map_effects[point * n..(point + 1) * n]);
            next += 1;
        }
    }
    if let Some(line) = &model.twist {
        twist += twist_deviation * twist_deviation * along(&line.effects);
        twist += amount
            * match line.gaussian {
                Some([mean, _]) => mean,
                None => line.score.at(parameters.lines[0]),
            };
    }
    curvature += bow_deviation * bow_deviation * along(&model.bow.effects);
    curvature += per_kelvin
        * match model.bow.gaussian {
            Some([mean, _]) => mean,
            None => model.bow.score.at(parameters.lines[1]),
        };
    plate.twist = twist;
    plate.curvature = curvature;
    plate.pointer = model.pointer(parameters);
    plate.bumps.clear();
    for (b, state) in parameters.bumps.iter().enumerate().filter(|(_, state)| state.there) {
        let unit = model.bump(b, state);
        let depth = model.per_depth(b, parameters) * model.bumps[b].depth.at(state.depth);
        plate.bumps.push(Bump { height: depth * unit.height, ..unit });
    }
}

impl Plate {
    /// Its heights on the grid and at the places of a landscape, and its flatness deviation, in µm.
    pub fn lay_out(&self, model: &ReadingModel, scratch: &mut Scratch) -> f64 {
        let experiment = &model.experiment;
        let [on_grid, at_places] = experiment.bow_profiles();
        self.compose(experiment.landscape(), &mut scratch.drawn);
        if experiment.check().plate.flatness_holds_bow && self.curvature != 0.0 {
            add_scaled(-self.curvature, on_grid, &mut scratch.drawn.on_grid);
            add_scaled(-self.curvature, at_places, &mut scratch.drawn.at_places);
        }
        experiment.flatness(&scratch.drawn, &mut scratch.zone)
    }

    /// Its heights without the bow, over any landscape made of the same surface.
    pub fn compose(&self, landscape: &Landscape, into: &mut Drawn) {
        landscape.compose(&self.bumps, self.twist, &self.coefficients, into);
    }
}
