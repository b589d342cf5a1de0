//! What a survey of the plate says of its flatness by itself, whatever was expected: a likelihood.

use super::{
    check_experiment::{CannotSimulate, CheckExperiment, Output},
    likelihood::Observation,
    posterior::{CannotJudge, Posterior, Settings, posterior},
    trials::run_trials,
    wear_history::Known,
};
use crate::{
    quantity::{sample::mean_and_standard_deviation, stream::Streams},
    shop::{
        check::ShopCheck,
        wear::{Map, Surface, Waves},
    },
};
use libm::{exp, log, sqrt};

/// What the readings of one check say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgedReadings {
    /// The flatness deviation by the readings alone: the setup's own expectation is taken out.
    pub known: Known,
    /// Chance that such a check holds a reading as odd as the oddest of these.
    pub p_value: f64,
}

/// The flatness deviation that a check's readings speak for, the setup's own expectation taken out.
///
/// The posterior is the prior times a likelihood; of all normal likelihoods the one is taken that
/// turns the prior's mean and standard deviation into the posterior's. `prior` is the sample of a posterior without
/// readings.
///
/// # Errors
///
/// If the readings cannot be judged.
pub fn of_readings(
    check: &ShopCheck,
    observations: &[Observation],
    prior: &[f64],
    settings: &Settings,
) -> Result<JudgedReadings, CannotJudge> {
    let judged: Posterior = posterior(check, observations, settings, &|_| {})?;
    let (mean, deviation) = mean_and_standard_deviation(&judged.flatness);
    Ok(JudgedReadings { known: normal_likelihood(prior, mean, deviation), p_value: judged.fit.p_value })
}

/// The normal likelihood that turns a prior sample into one of this mean and standard deviation.
///
/// One that would have to be wider than three times the prior says nothing that could be told, and counts as that wide.
fn normal_likelihood(prior: &[f64], mean: f64, deviation: f64) -> Known {
    let (_, prior_deviation) = mean_and_standard_deviation(prior);
    if prior_deviation.is_nan() || prior_deviation <= 0.0 || deviation.is_nan() || deviation <= 0.0 {
        // Known exactly, before or after: there is nothing to take out.
        return Known::Normal { estimate: mean, standard_uncertainty: deviation.max(0.0) };
    }
    let density = Smooth::of(prior, mean, deviation);
    // Starts as if the prior were normal, then mends estimate and width in turn until both moments agree.
    let widest = 3.0 * prior_deviation;
    let precision = 1.0 / (deviation * deviation) - 1.0 / (prior_deviation * prior_deviation);
    let mut u = if precision > 0.0 { (1.0 / sqrt(precision)).min(widest) } else { widest };
    let mut estimate = mean;
    for _ in 0..200 {
        let (reached, spread) = density.times_normal(estimate, u);
        // How far the mean follows the estimate is the ratio of the variances.
        let gain = (spread * spread / (u * u)).clamp(0.02, 1.0);
        let off = mean - reached;
        estimate += (off / gain).clamp(-2.0 * u, 2.0 * u) * 0.7;
        let ratio = (deviation / spread).clamp(0.5, 2.0);
        u = (u * libm::pow(ratio, 0.7 / gain.max(0.3))).clamp(1e-3 * deviation, widest);
        if off.abs() < 1e-6 * deviation && (ratio - 1.0).abs() < 1e-6 {
            break;
        }
    }
    Known::Normal { estimate, standard_uncertainty: u }
}

/// A sample's density by kernels, on a grid.
struct Smooth {
    values: Vec<f64>,
    density: Vec<f64>,
}

impl Smooth {
    /// Wide enough to hold the sample and mean ± 6 deviations. A little of everything is let through,
    /// so that a likelihood outside all of the sample still finds something.
    fn of(sample: &[f64], mean: f64, deviation: f64) -> Self {
        const N: usize = 600;
        let (centre, spread) = mean_and_standard_deviation(sample);
        let high = sample.iter().copied().fold(mean + 6.0 * deviation, f64::max) + 3.0 * spread;
        let step = high / N as f64;
        let mut counts = vec![0.0; N];
        for value in sample {
            counts[((value / step) as usize).min(N - 1)] += 1.0 / sample.len() as f64;
        }
        // Silverman's rule.
        let bandwidth = 0.9 * spread * libm::pow(sample.len() as f64, -0.2);
        let reach = libm::ceil(4.0 * bandwidth / step) as usize;
        let kernel: Vec<f64> = (0..=reach)
            .map(|k| {
                let z = k as f64 * step / bandwidth;
                exp(-0.5 * z * z)
            })
            .collect();
        let whole = kernel[0] + 2.0 * kernel[1..].iter().sum::<f64>();
        let density = (0..N).map(|i| {
            let near = i.saturating_sub(reach)..(i + reach + 1).min(N);
            let known: f64 = near.map(|k| counts[k] * kernel[k.abs_diff(i)] / whole).sum();
            let z = ((i as f64 + 0.5) * step - centre) / (3.0 * spread);
            known + 1e-4 * step / spread * exp(-z.abs())
        });
        Self { density: density.collect(), values: (0..N).map(|i| (i as f64 + 0.5) * step).collect() }
    }

    /// Mean and standard deviation of the product with a normal density.
    fn times_normal(&self, estimate: f64, u: f64) -> (f64, f64) {
        // By logarithms: far from all of the sample every product would be 0, and their mean no number.
        let height = |(value, density): (&f64, &f64)| {
            let z = (value - estimate) / u;
            log(*density) - 0.5 * z * z
        };
        let heights: Vec<f64> = self.values.iter().zip(&self.density).map(height).collect();
        let most = heights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let [mut n, mut x, mut xx] = [0.0; 3];
        for (value, height) in self.values.iter().zip(&heights) {
            let weight = exp(height - most);
            n += weight;
            x += weight * (value - estimate);
            xx += weight * (value - estimate) * (value - estimate);
        }
        let mean = x / n;
        (estimate + mean, sqrt((xx / n - mean * mean).max(1e-18)))
    }
}

/// The flatness deviation of a plate that is known by a map: mean and standard deviation over plates drawn about the
/// map, each height with its standard uncertainty (µm) and with short waves between the points.
///
/// # Errors
///
/// If the map determines no surface.
pub fn of_map(
    check: &ShopCheck,
    points: Vec<[f64; 3]>,
    standard_uncertainty: f64,
    seed: u64,
) -> Result<Known, CannotSimulate> {
    let waviness: Waves = match &check.surface {
        Surface::Worn(wear) => wear.waviness.clone(),
        Surface::Measured(map) => map.waviness.clone(),
    };
    let surface = Surface::Measured(Map { points, standard_uncertainty, waviness });
    let mapped = CheckExperiment::new(&ShopCheck { surface, ..check.clone() })?;
    const N_PLATES: u64 = 4096;
    let outputs = run_trials(&mapped, &Streams::new(seed), 0..N_PLATES, &|_| {});
    let (estimate, standard_uncertainty) = mean_and_standard_deviation(&outputs[Output::Flatness as usize]);
    Ok(Known::Normal { estimate, standard_uncertainty })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::distribution::Distribution;

    /// A normal prior and a normal likelihood: both are known again from the posterior's moments.
    #[test]
    fn a_normal_prior_is_divided_out() {
        let prior = Distribution::Normal { mean: 5.0, standard_deviation: 1.0 };
        let sample: Vec<f64> = (0..4000).map(|i| prior.quantile((f64::from(i) + 0.5) / 4000.0)).collect();
        for (estimate, u) in [(6.0, 0.5), (4.0, 1.0), (5.0, 0.2)] {
            let gain = 1.0 / (1.0 + u * u);
            let (mean, deviation) = (5.0 + gain * (estimate - 5.0), sqrt(gain) * u);
            let Known::Normal { estimate: found, standard_uncertainty } =
                normal_likelihood(&sample, mean, deviation)
            else {
                unreachable!("always normal")
            };
            // The kernels widen the prior by 1 to 2 %.
            assert!((found - estimate).abs() < 0.05, "{found} for {estimate}");
            assert!((standard_uncertainty / u - 1.0).abs() < 0.05, "{standard_uncertainty} for {u}");
        }
    }

    /// Readings that speak for a flatness a thousand deviations from all that was expected.
    #[test]
    fn far_from_all_that_was_expected_it_is_still_a_number() {
        let sample: Vec<f64> = (0..1000).map(|i| 3.0 + f64::from(i) / 5000.0).collect();
        for (mean, deviation) in [(60.0, 0.01), (60.0, 20.0), (0.01, 1e-4), (3.1, 0.0)] {
            let Known::Normal { estimate, standard_uncertainty } =
                normal_likelihood(&sample, mean, deviation)
            else {
                unreachable!("always normal")
            };
            assert!(estimate.is_finite() && standard_uncertainty.is_finite(), "{mean} {deviation}");
        }
    }

    #[test]
    fn what_says_nothing_stays_wide() {
        let sample: Vec<f64> = (0..1000).map(|i| 3.0 + f64::from(i) / 500.0).collect();
        let (mean, deviation) = mean_and_standard_deviation(&sample);
        let Known::Normal { standard_uncertainty, .. } = normal_likelihood(&sample, mean, deviation) else {
            unreachable!("always normal")
        };
        assert!(standard_uncertainty > 2.0 * deviation);
    }
}
