//! A rule that turns what was read into an estimate of flatness, fitted to simulated checks.

use crate::quantity::sample::quantiles;
use nalgebra::{Matrix3, Vector3};

/// `flatness ≈ constant + per_spread · spread + per_levelled · levelled spread`, never below 0, where
/// a spread beyond its `most` counts as that: far out it tells of a grain under a foot, not of the
/// plate.
///
/// Fitted to simulated checks by least squares, so it takes off the average bias of both spreads
/// and weighs them by what they are worth. It leans on the assumed wear and heat: on a plate of
/// another kind it is biased again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadingRule {
    /// In µm.
    pub constant: f64,
    /// µm per µm of spread.
    pub per_spread: f64,
    /// µm per µm of levelled spread; 0 where the readings cannot be levelled.
    pub per_levelled: f64,
    /// The largest spread that counts, in µm.
    pub most_spread: f64,
    /// The largest levelled spread that counts, in µm.
    pub most_levelled: f64,
}

/// The shares of simulated spreads that may count in full: which suits best is found out.
const COUNTED: [f64; 4] = [0.8, 0.9, 0.97, 1.0];

impl ReadingRule {
    /// The least-squares fit to the given trials (µm, same order).
    pub fn fit(flatness: &[f64], spread: &[f64], levelled: &[f64]) -> Self {
        let most = |values: &[f64]| quantiles(&mut values.to_vec(), &COUNTED);
        let (of_spread, of_levelled) = (most(spread), most(levelled));
        let pairs = of_spread.iter().flat_map(|&s| of_levelled.iter().map(move |&l| [s, l]));
        let fits = pairs.map(|most| Self::fit_within(most, flatness, spread, levelled));
        fits.min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or_else(|| Self::fit_within([0.0; 2], flatness, spread, levelled).0, |(rule, _)| rule)
    }

    /// The fit where spreads count up to these, and the variance that it leaves, in µm².
    fn fit_within(
        [most_spread, most_levelled]: [f64; 2],
        flatness: &[f64],
        spread: &[f64],
        levelled: &[f64],
    ) -> (Self, f64) {
        let n = flatness.len().max(1) as f64;
        let mean = |values: &[f64]| values.iter().sum::<f64>() / n;
        let counted = |values: &[f64], most: f64| values.iter().map(|v| v.min(most)).collect::<Vec<_>>();
        let (spread, levelled) = (&counted(spread, most_spread), &counted(levelled, most_levelled));
        let means = [mean(spread), mean(levelled), mean(flatness)];
        let mut normal = Matrix3::zeros();
        let mut right = Vector3::zeros();
        let mut whole = 0.0;
        for ((s, l), f) in spread.iter().zip(levelled).zip(flatness) {
            let row = Vector3::new(s - means[0], l - means[1], 0.0);
            normal += row * row.transpose();
            right += row * (f - means[2]);
            whole += (f - means[2]) * (f - means[2]);
        }
        // The pseudo-inverse gives weight 0 to a spread that never varies, and shares the weight
        // between two that always agree.
        let scale = normal.amax();
        let slopes = (scale > 0.0)
            .then(|| (normal / scale).pseudo_inverse(1e-9).ok())
            .flatten()
            .map_or(Vector3::zeros(), |inverse| inverse * right / scale);
        let rule = Self {
            constant: means[2] - slopes[0] * means[0] - slopes[1] * means[1],
            per_spread: slopes[0],
            per_levelled: slopes[1],
            most_spread,
            most_levelled,
        };
        (rule, (whole - slopes.dot(&right)) / n)
    }

    /// The estimate of flatness, in µm, from a spread and a levelled spread in µm.
    pub fn estimate(&self, spread: f64, levelled: f64) -> f64 {
        let (spread, levelled) = (spread.min(self.most_spread), levelled.min(self.most_levelled));
        (self.constant + self.per_spread * spread + self.per_levelled * levelled).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_exact_rule_is_found_again() {
        let spread: Vec<f64> = (0..100).map(|i| f64::from(i % 10)).collect();
        let levelled: Vec<f64> = (0..100).map(|i| f64::from(i / 10)).collect();
        // Spreads beyond the 90 % that count: 8 of ten equally frequent values from 0 to 9.
        let exact = |s: &f64, l: &f64| 1.0 + 0.25 * s.min(8.0) + 0.5 * l.min(8.0);
        let flatness: Vec<f64> = spread.iter().zip(&levelled).map(|(s, l)| exact(s, l)).collect();
        let rule = ReadingRule::fit(&flatness, &spread, &levelled);
        assert!((rule.constant - 1.0).abs() < 1e-9, "{rule:?}");
        assert!((rule.per_spread - 0.25).abs() < 1e-9 && (rule.per_levelled - 0.5).abs() < 1e-9, "{rule:?}");
        assert_eq!(rule.estimate(-100.0, 0.0), 0.0);
    }

    #[test]
    fn a_spread_that_cannot_be_levelled_gets_no_weight() {
        let spread: Vec<f64> = (0..50).map(f64::from).collect();
        let flatness: Vec<f64> = spread.iter().map(|s| 2.0 + 0.5 * s.min(44.0)).collect();
        let rule = ReadingRule::fit(&flatness, &spread, &[0.0; 50]);
        assert!((rule.per_spread - 0.5).abs() < 1e-9 && rule.per_levelled == 0.0, "{rule:?}");
    }
}
