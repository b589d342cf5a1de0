//! What one finding says: likelihoods, and the probability of finding no more.

use super::{Evidence, Known, square};
use crate::propagation::spread_law::N_CLASSES;
use crate::quantity::student::{normal_cumulative, normal_quantile};
use libm::{exp, sqrt};
use std::f64::consts::PI;

impl Evidence {
    /// Whether it speaks of the flatness deviation itself, so that two can contradict each other. A spread never does:
    /// however large, there may have been a grain under a foot.
    pub(super) fn states_flatness(&self) -> bool {
        !matches!(self, Self::Spread(_))
    }
}

impl Known {
    pub(super) fn top(self) -> f64 {
        match self {
            Self::Normal { estimate, standard_uncertainty } => estimate + 5.0 * standard_uncertainty,
            Self::Rectangular { high, .. } => high,
        }
    }

    /// The likelihood of a node: the mean of the density over the hat that the node stands for.
    pub(super) fn likelihood(self, flatness: f64, spacing: f64) -> f64 {
        let second_difference = |integral: &dyn Fn(f64) -> f64, at: f64| {
            (integral(at + spacing) - 2.0 * integral(at) + integral(at - spacing)) / square(spacing)
        };
        match self {
            Self::Normal { estimate, standard_uncertainty: u } => {
                // Smooth over a node: the density itself, without the difference's rounding.
                if u > 4.0 * spacing {
                    return normal_density((flatness - estimate) / u) / u;
                }
                let twice = |x: f64| {
                    let z = x / u;
                    if u > 0.0 { u * (z * normal_cumulative(z) + normal_density(z)) } else { x.max(0.0) }
                };
                second_difference(&twice, flatness - estimate).max(0.0)
            }
            Self::Rectangular { low, high } => {
                let half_square = |x: f64| 0.5 * square(x.max(0.0));
                let twice = |x: f64| half_square(x - low) - half_square(x - high);
                let rest = if high > low {
                    high - low
                } else {
                    return Self::exactly(low).likelihood(flatness, spacing);
                };
                (second_difference(&twice, flatness) / rest).max(0.0)
            }
        }
    }

    /// Its standard uncertainty, in µm.
    pub fn standard_uncertainty(self) -> f64 {
        match self {
            Self::Normal { standard_uncertainty, .. } => standard_uncertainty,
            Self::Rectangular { low, high } => (high - low) / sqrt(12.0),
        }
    }

    fn exactly(value: f64) -> Self {
        Self::Normal { estimate: value, standard_uncertainty: 0.0 }
    }

    /// Probability of a finding at or below this one on a plate of a certain flatness.
    pub(super) fn probability_below(self, flatness: f64) -> f64 {
        match self {
            Self::Normal { estimate, standard_uncertainty: u } if u > 0.0 => {
                normal_cumulative((estimate - flatness) / u)
            }
            Self::Normal { estimate, .. } => f64::from(u8::from(flatness <= estimate)),
            Self::Rectangular { low, high } => ((high - flatness) / (high - low)).clamp(0.0, 1.0),
        }
    }

    /// The same in one class of the part that stays from check to check: shifted by the class's mean, and with the class's
    /// own variance beside the part that is new each time. Over the classes the variance is the whole one.
    pub(super) fn shifted(self, class: usize) -> Self {
        match self {
            Self::Normal { estimate, standard_uncertainty } => {
                let part = standard_uncertainty * sqrt(0.5);
                let (mean, variance) = class_moments(class);
                Self::Normal {
                    estimate: estimate - part * mean,
                    standard_uncertainty: part * sqrt(1.0 + variance),
                }
            }
            rectangular => rectangular,
        }
    }
}

fn normal_density(z: f64) -> f64 {
    exp(-0.5 * z * z) / sqrt(2.0 * PI)
}

/// Mean and variance of each class's part of a standard normal quantity (a normal law cut off at both ends).
fn class_moments(class: usize) -> (f64, f64) {
    let n = N_CLASSES as f64;
    // Density at an end, and that times the end: both 0 at infinity.
    let at = |k: usize| match k {
        0 | N_CLASSES => (0.0, 0.0),
        k => {
            let end = normal_quantile(k as f64 / n);
            (normal_density(end), end * normal_density(end))
        }
    };
    let (low, high) = (at(class), at(class + 1));
    let mean = n * (low.0 - high.0);
    (mean, 1.0 + n * (low.1 - high.1) - square(mean))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Law of total variance: the classes' means and variances make up the standard normal quantity again.
    #[test]
    fn classes_carry_their_own_variance() {
        let n = N_CLASSES as f64;
        let moments: Vec<(f64, f64)> = (0..N_CLASSES).map(class_moments).collect();
        let mean: f64 = moments.iter().map(|m| m.0).sum::<f64>() / n;
        let whole: f64 = moments.iter().map(|m| square(m.0) + m.1).sum::<f64>() / n;
        assert!(mean.abs() < 1e-12 && (whole - 1.0).abs() < 1e-9, "{mean} {whole}");
        // So a judged flatness keeps its estimate and its standard uncertainty.
        let known = Known::Normal { estimate: 5.0, standard_uncertainty: 0.8 };
        let each: Vec<(f64, f64)> = (0..N_CLASSES)
            .map(|class| match known.shifted(class) {
                Known::Normal { estimate, standard_uncertainty } => (estimate, standard_uncertainty),
                Known::Rectangular { .. } => (f64::NAN, f64::NAN),
            })
            .collect();
        let mean: f64 = each.iter().map(|(e, _)| e).sum::<f64>() / n;
        let variance: f64 = each.iter().map(|(e, u)| square(e - mean) + square(*u)).sum::<f64>() / n;
        assert!((mean - 5.0).abs() < 1e-9 && (sqrt(variance) - 0.8).abs() < 1e-9, "{mean} {variance}");
    }

    /// A finding X lies evenly within U of the truth, so P(X <= x) = (x + U - truth) / 2U, also where x < U.
    #[test]
    fn limits_that_reach_below_zero_keep_their_probabilities() {
        let (value, u) = (0.5, 2.0);
        let known = Known::Rectangular { low: value - u, high: value + u };
        for truth in [0.0, 0.4, 1.7, 2.5, 4.0] {
            let expected = ((value + u - truth) / (2.0 * u)).clamp(0.0, 1.0);
            assert!((known.probability_below(truth) - expected).abs() < 1e-12, "{truth}");
        }
    }
}
