//! Joint coverage regions of several measurands.

use crate::quantity::distribution::Distribution;
use crate::quantity::sample::quantiles;
use nalgebra::DMatrix;
use schemars::JsonSchema;
use serde::Serialize;

/// Two regions that hold all measurands together with the coverage probability (JCGM 102:2011, 7.7): an ellipsoid
/// and a box with edges along the measurands, both about the estimates y, of which each has the
/// shape that the covariances U give it and the size that a factor does.
///
/// The ellipsoid is `(η − y)ᵀ U⁻¹ (η − y) ≤ k_p²`, and there is none if a measurand is determined by the others or is
/// exactly known, for then U has no inverse; the box is `|η_j − y_j| ≤ k_q u(y_j)` for all j. The intervals of the single
/// measurands do not make a region of their coverage probability.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[schemars(
    rename = "RegionsDocument",
    description = "Joint coverage regions of several measurands (JCGM 102)."
)]
pub struct CoverageRegions {
    /// Coverage probability of either region.
    pub coverage_probability: f64,
    /// `k_p` of the ellipsoid; null where the covariances have no inverse.
    pub elliptical_factor: Option<f64>,
    /// `k_q` of the box of half-widths `k_q` times the standard uncertainties.
    pub rectangular_factor: f64,
}

impl CoverageRegions {
    /// For jointly normal measurands: the ellipsoid's factor by the chi-squared distribution with as many degrees of
    /// freedom as measurands, the box's by Bonferroni's inequality, which makes it rather too large (JCGM 102 6.5).
    pub fn normal(covariance: &[Vec<f64>], coverage_probability: f64) -> Self {
        let n = covariance.len() as f64;
        let chi_squared = Distribution::Gamma { shape: 0.5 * n, scale: 2.0 };
        let normal = Distribution::Normal { mean: 0.0, standard_deviation: 1.0 };
        Self {
            coverage_probability,
            elliptical_factor: whitening(covariance)
                .map(|_| chi_squared.quantile(coverage_probability).sqrt()),
            rectangular_factor: -normal.quantile(0.5 * (1.0 - coverage_probability) / n),
        }
    }

    /// For trials `values[measurand][trial]`, with their means and covariances: each factor is the
    /// quantile p of its distance over all trials (JCGM 102 7.7.2 and 7.7.3).
    pub fn of_trials(
        values: &[Vec<f64>],
        means: &[f64],
        covariance: &[Vec<f64>],
        coverage_probability: f64,
    ) -> Self {
        let n_trials = values.first().map_or(0, Vec::len);
        let quantile = |distance: &dyn Fn(usize) -> f64| {
            let mut distances: Vec<f64> = (0..n_trials).map(distance).collect();
            quantiles(&mut distances, &[coverage_probability])[0]
        };
        let elliptical = |whitening: DMatrix<f64>| {
            let squared = |t: usize| {
                // Lower triangular: row j needs the measurands up to j.
                let row = |j: usize| {
                    (0..=j).map(|k| whitening[(j, k)] * (values[k][t] - means[k])).sum::<f64>().powi(2)
                };
                (0..values.len()).map(row).sum()
            };
            quantile(&squared).sqrt()
        };
        let uncertainties: Vec<f64> = (0..values.len()).map(|j| covariance[j][j].sqrt()).collect();
        let largest = |t: usize| {
            let distances = (0..values.len()).filter(|j| uncertainties[*j] > 0.0);
            distances.map(|j| (values[j][t] - means[j]).abs() / uncertainties[j]).fold(0.0, f64::max)
        };
        Self {
            coverage_probability,
            elliptical_factor: whitening(covariance).map(elliptical),
            rectangular_factor: quantile(&largest),
        }
    }
}

/// The inverse of the Cholesky factor of the covariances, if there is one: of the correlations rather, so that the
/// measurands' units do not decide what is singular, then scaled.
fn whitening(covariance: &[Vec<f64>]) -> Option<DMatrix<f64>> {
    let n = covariance.len();
    let u: Vec<f64> = (0..n).map(|j| covariance[j][j].sqrt()).collect();
    let correlation = DMatrix::from_fn(n, n, |i, j| covariance[i][j] / (u[i] * u[j]));
    let factor = correlation.cholesky()?.unpack();
    // What rounding leaves of a zero pivot is no pivot.
    if (0..n).any(|j| factor[(j, j)] < 1e-7) {
        return None;
    }
    let inverse = factor.solve_lower_triangular(&DMatrix::identity(n, n))?;
    Some(DMatrix::from_fn(n, n, |i, j| inverse[(i, j)] / u[j]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From memory of JCGM 102 table 1 and of chi-squared tables: 2.45 for two measurands and 95 %; 2.24 by Bonferroni.
    #[test]
    fn normal_factors_are_the_tabulated_ones() {
        let covariance = vec![vec![4.0, 1.0], vec![1.0, 9.0]];
        let regions = CoverageRegions::normal(&covariance, 0.95);
        assert!((regions.elliptical_factor.unwrap() - (-2.0 * 0.05_f64.ln()).sqrt()).abs() < 1e-12);
        assert!((regions.rectangular_factor - 2.2414).abs() < 1e-4);
    }

    #[test]
    fn a_measurand_that_others_determine_has_no_ellipsoid() {
        for covariance in [vec![vec![1e-12, 2e-6], vec![2e-6, 4.0]], vec![vec![1.0, 0.0], vec![0.0, 0.0]]] {
            let regions = CoverageRegions::normal(&covariance, 0.95);
            assert_eq!(regions.elliptical_factor, None);
            assert!(regions.rectangular_factor > 2.2);
        }
        let small_but_free = vec![vec![1e-20, 0.0], vec![0.0, 1e20]];
        assert!(CoverageRegions::normal(&small_but_free, 0.95).elliptical_factor.is_some());
    }
}
