//! Simulated checks, each judged from its own readings: how good is the posterior, where the truth is known?

use super::{
    check_experiment::CheckExperiment,
    likelihood::Observation,
    posterior::{CannotJudge, Posterior, Settings, posterior_of},
    trials::Experiment,
};
use crate::{quantity::stream::Streams, shop::check::ShopCheck};
use rayon::prelude::*;
use std::ops::Range;

/// Judges the given trials of a simulated check, and keeps of each what `keep` makes of the true
/// flatness (µm) and the posterior. In the order of the trials, whatever the number of threads.
///
/// The trials are those that [`simulate`](super::simulation::simulate) draws from the same streams.
/// Every posterior has a seed of its own, made of the trial and the seed of `settings`.
///
/// # Errors
///
/// [`CannotJudge`], which readings that come from the experiment itself do not give.
pub fn judged_checks<T: Send>(
    experiment: &CheckExperiment,
    streams: &Streams,
    trials: Range<u64>,
    settings: Settings,
    keep: impl Fn(f64, &Posterior) -> T + Sync,
) -> Result<Vec<T>, CannotJudge> {
    trials
        .into_par_iter()
        .map(|trial| {
            let (truth, written) = experiment.written(streams, trial, &mut experiment.scratch());
            let settings = Settings { seed: seed_of(settings.seed, trial), ..settings };
            let observations = observations(experiment.check(), &written);
            posterior_of(experiment, &observations, &settings, &|_| {})
                .map(|posterior| keep(truth, &posterior))
        })
        .collect()
}

/// All readings of a check as they were written down, in µm, in the order of the survey.
pub fn observations(check: &ShopCheck, written: &[f64]) -> Vec<Observation> {
    let step = check.indicator.read_step;
    written.iter().enumerate().map(|(reading, &value)| Observation { reading, value, step }).collect()
}

/// Far from its neighbours, so that no two trials share a posterior's random numbers.
fn seed_of(seed: u64, trial: u64) -> u64 {
    seed.wrapping_add((trial + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15))
}
