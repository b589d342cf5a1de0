//! What the same readings say where a figure of the check is another: by weights where they will do, else anew.

use super::{
    check_experiment::CheckExperiment,
    leave_one_out::drawn_by_weight,
    likelihood::{Heights, ReadingModel},
    posterior::{CannotJudge, Inference, posterior_of},
    tempering::Particle,
};
use crate::{
    quantity::{
        pareto_smoothing::{TRUSTED, smoothed_weights},
        stream::Streams,
    },
    shop::check::ShopCheck,
};
use rayon::prelude::*;

/// How many plates are drawn.
const N_PLATES: usize = 500;

/// What a judgement says where a figure is another.
#[derive(Debug, Clone, PartialEq)]
pub struct Reweighted {
    /// Flatness deviations (µm) of plates that may be the one that was read, equally weighted.
    pub flatness: Vec<f64>,
    /// How many independent draws of the flatness these are worth.
    pub effective_sample_size: f64,
    /// Shape of the weights' tail (see [`smoothed_weights`]). Above [`TRUSTED`] the weights were not used: it was inferred anew.
    pub tail_shape: f64,
}

impl Inference {
    /// The same readings of the same survey where something of the check is another, but for its wear.
    ///
    /// Particles hold normal scores, whose distribution no figure changes, so they count by the ratio of the likelihoods and by
    /// how likely their grains are (Pareto-smoothed, as in [`smoothed_weights`]), and are completed to plates under the other
    /// figure. Where the tail of the weights is too long, there is a new inference, a rough one.
    ///
    /// # Errors
    ///
    /// If the other check cannot be judged.
    pub fn with_figures_of(&self, check: &ShopCheck) -> Result<Reweighted, CannotJudge> {
        let experiment = CheckExperiment::new(check).map_err(CannotJudge::Check)?;
        let model = ReadingModel::new(&experiment, &self.observations).map_err(CannotJudge::Readings)?;
        let particles: Vec<Particle> = self
            .particles
            .par_iter()
            .map_init(Heights::default, |heights, particle| {
                Particle::new(&model, particle.parameters.clone(), 0, heights)
            })
            .collect();
        let ratios: Vec<f64> = particles
            .iter()
            .zip(&self.particles)
            .map(|(other, here)| {
                let grains = log_chance(&model, other) - log_chance(&self.model, here);
                other.cache.log_likelihood() - here.cache.log_likelihood() + grains
            })
            .collect();
        let smoothed = smoothed_weights(&ratios);
        if smoothed.k > TRUSTED || ratios.iter().any(|ratio| ratio.is_nan()) {
            let anew = posterior_of(&experiment, &self.observations, &self.settings.rough(), &|_| {})?;
            return Ok(Reweighted {
                flatness: anew.flatness,
                effective_sample_size: anew.effective_sample_size,
                tail_shape: smoothed.k,
            });
        }
        let weights = &smoothed.weights;
        let source = Streams::new(self.settings.seed).source("with another figure");
        let worth = 1.0 / weights.iter().map(|weight| weight * weight).sum::<f64>();
        Ok(Reweighted {
            flatness: drawn_by_weight(&model, &particles, weights, None, N_PLATES, &source, 0),
            effective_sample_size: worth.min(N_PLATES as f64),
            tail_shape: smoothed.k,
        })
    }
}

/// Logarithm of the probability that the grains lie just where they do.
fn log_chance(model: &ReadingModel, particle: &Particle) -> f64 {
    let n = particle.parameters.grains.len() as f64;
    let clean = model.sites.len() as f64 - n;
    let caught = if n > 0.0 { n * libm::log(model.grain_chance) } else { 0.0 };
    let missed = if clean > 0.0 { clean * libm::log1p(-model.grain_chance) } else { 0.0 };
    caught + missed
}
