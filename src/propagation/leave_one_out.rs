//! What is left of an answer when one reading is taken away, or feet and block were cleaner or dirtier.

use super::{
    completion::{self, Plate, complete},
    fit::{FitSample, without},
    likelihood::{Heights, Parameters, ReadingModel},
    posterior::{CannotJudge, Inference, Posterior, posterior_of},
    tempering::Particle,
};
use crate::{
    quantity::{
        pareto_smoothing::TRUSTED,
        stream::{Source, Streams},
    },
    shop::cleanliness::Cleanliness,
};
use rand::RngExt;
use rayon::prelude::*;

/// At most so many readings are left out by starting anew for their own sake: those whose weights are the worst.
const N_REFITS: usize = 6;
/// How many plates are drawn without a reading.
const N_PLATES: usize = 250;

impl Inference {
    /// Infers anew without each reading that weights cannot take away, and puts what
    /// that says of the reading into the fit (leave-one-out by Pareto-smoothed weights with a refit where their
    /// shape is above 0.7: Vehtari, Gelman and Gabry, "Practical Bayesian model evaluation using
    /// leave-one-out cross-validation and WAIC", Statistics and Computing 27, 2017, 1413-1432).
    ///
    /// # Errors
    ///
    /// [`CannotJudge`], which readings that have been judged once do not give.
    pub fn refit_odd_readings(&mut self) -> Result<(), CannotJudge> {
        let shape = |reading: &usize| self.posterior.fit.readings[*reading].tail_shape;
        let mut open: Vec<usize> =
            (0..self.posterior.fit.readings.len()).filter(|reading| shape(reading) > TRUSTED).collect();
        // What such weights say of a reading, odd or not, is not to be relied on either.
        open.sort_by(|a, b| shape(b).total_cmp(&shape(a)));
        open.truncate(N_REFITS);
        for reading in open {
            let anew = self.refit_without(reading)?;
            let predictions: Vec<FitSample> = anew
                .particles
                .par_iter()
                .map_init(Heights::default, |heights, particle| {
                    let parameters = self.with_all_readings(&anew, &particle.parameters, reading);
                    FitSample::of(&self.model, &Particle::new(&self.model, parameters, 0, heights))
                })
                .collect();
            self.posterior.fit.replace(&self.model, reading, &predictions);
            self.refits.push((reading, anew.posterior.flatness));
        }
        Ok(())
    }

    /// Flatness deviations (µm) of plates that may be the one that was read, as all readings but one leave it; index
    /// into [`Fit::readings`](super::fit::Fit::readings).
    ///
    /// # Errors
    ///
    /// [`CannotJudge`], which readings that have been judged once do not give.
    pub fn without(&self, reading: usize) -> Result<Vec<f64>, CannotJudge> {
        if let Some((_, flatness)) = self.refits.iter().find(|(of, _)| *of == reading) {
            return Ok(flatness.clone());
        }
        if self.posterior.fit.readings[reading].tail_shape > TRUSTED {
            return Ok(self.refit_without(reading)?.posterior.flatness);
        }
        Ok(self.reweighted_without(reading))
    }

    fn refit_without(&self, reading: usize) -> Result<Self, CannotJudge> {
        let mut others = self.observations.clone();
        others.remove(self.model.observed[reading].observation);
        Self::new(&self.model.experiment, &others, &self.settings.rough(), &|_| {})
    }

    /// Particles by their weights without a reading, completed from the others alone.
    fn reweighted_without(&self, reading: usize) -> Vec<f64> {
        let weights = without(&self.predictions, reading).weights;
        let source = Streams::new(self.settings.seed).source("without a reading");
        let first = (reading * (N_PLATES + 1)) as u64;
        drawn_by_weight(&self.model, &self.particles, &weights, Some(reading), N_PLATES, &source, first)
    }

    /// How clean feet and block were taken to be.
    pub fn cleanliness(&self) -> &Cleanliness {
        &self.model.experiment.check().cleanliness
    }

    /// What the same readings say if feet and block were as clean as this, roughly.
    ///
    /// # Errors
    ///
    /// [`CannotJudge`], which readings that have been judged once do not give.
    pub fn with_cleanliness(&self, cleanliness: Cleanliness) -> Result<Posterior, CannotJudge> {
        let experiment = self.model.experiment.with_cleanliness(cleanliness);
        posterior_of(&experiment, &self.observations, &self.settings.rough(), &|_| {})
    }

    /// Parameters of an inference without a reading, as parameters of this one.
    fn with_all_readings(&self, fewer: &Self, parameters: &Parameters, reading: usize) -> Parameters {
        let mut all = parameters.clone();
        // Written as it was read: predictions say what would have been written.
        all.roundings.insert(reading, 0.0);
        let here = |site: usize| {
            let place = fewer.model.sites[site].place;
            self.model.sites.iter().position(|site| site.place == place)
        };
        all.grains = parameters.grains.iter().filter_map(|&(site, z)| Some((here(site)?, z))).collect();
        all
    }
}

/// Flatness deviations (µm) of plates that particles are completed to, as often as their weights say (systematic
/// resampling); an observation may be left out of the completion. Trials of `source` are used from `first` on.
pub(super) fn drawn_by_weight(
    model: &ReadingModel,
    particles: &[Particle],
    weights: &[f64],
    left_out: Option<usize>,
    n_plates: usize,
    source: &Source,
    first: u64,
) -> Vec<f64> {
    let step = 1.0 / n_plates as f64;
    let mut aim = step * source.trial(first).random::<f64>();
    let (mut reached, mut chosen) = (0.0, Vec::with_capacity(n_plates));
    for (particle, weight) in weights.iter().enumerate() {
        reached += weight;
        while aim < reached && chosen.len() < n_plates {
            chosen.push(particle);
            aim += step;
        }
    }
    chosen
        .par_iter()
        .enumerate()
        .map_init(
            || (completion::Scratch::new(model), Plate::default()),
            |(scratch, plate), (draw, &particle)| {
                let mut draws = source.trial(first + draw as u64 + 1);
                complete(model, &particles[particle], left_out, &mut draws, scratch, plate);
                plate.lay_out(model, scratch)
            },
        )
        .collect()
}
