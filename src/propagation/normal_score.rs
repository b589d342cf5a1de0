//! A quantity as a function of a standard normal one.

use crate::quantity::{
    distribution::Distribution,
    student::{normal_cumulative, normal_quantile},
};

/// Any distribution as `T(z)` with `z` standard normal: `T = F⁻¹(Φ(z))`, tabulated.
///
/// A sampler that moves `z` needs no density of the quantity itself: the prior of every quantity is
/// the same, and a random walk can be made to keep it. Between knots a cubic runs, beyond the
/// outermost ones (5 standard deviations, probability 6e-7) a straight line.
#[derive(Debug, Clone)]
pub struct NormalScore {
    /// Value and slope at each knot.
    knots: Vec<[f64; 2]>,
    strata: Vec<f64>,
}

const LIMIT: f64 = 5.0;
const PER_UNIT: f64 = 10.0;
const N_KNOTS: usize = 101;

/// How many strata [`NormalScore::strata`] cuts the quantity into.
pub const N_STRATA: usize = 24;
/// Where the strata end, on either side, in standard deviations.
pub const STRATA_LIMIT: f64 = 4.0;
/// How wide each is, in standard deviations.
pub const STRATUM_WIDTH: f64 = 2.0 * STRATA_LIMIT / N_STRATA as f64;

impl NormalScore {
    /// The table of a distribution.
    pub fn of(distribution: &Distribution) -> Self {
        match *distribution {
            Distribution::Constant { value } => Self::from_quantile(|_, _| value),
            Distribution::Normal { mean, standard_deviation } => {
                Self::from_quantile(|z, _| mean + standard_deviation * z)
            }
            Distribution::Lognormal { median, spread } => {
                let spread = if median < 0.0 { -spread } else { spread };
                Self::from_quantile(|z, _| median * libm::exp(spread * z))
            }
            _ => Self::from_quantile(|_, p| distribution.quantile(p)),
        }
    }

    /// The table of a quantity whose value for a standard normal `z` of cumulative probability `p`
    /// is `quantile(z, p)`.
    pub fn from_quantile(quantile: impl Fn(f64, f64) -> f64) -> Self {
        let values: Vec<f64> = (0..N_KNOTS)
            .map(|k| {
                let z = k as f64 / PER_UNIT - LIMIT;
                quantile(z, normal_cumulative(z))
            })
            .collect();
        let slope = |k: usize| {
            let (low, high) = (k.saturating_sub(1), (k + 1).min(N_KNOTS - 1));
            (values[high] - values[low]) * PER_UNIT / (high - low) as f64
        };
        let mut score =
            Self { knots: (0..N_KNOTS).map(|k| [values[k], slope(k)]).collect(), strata: Vec::new() };
        score.strata = (0..N_STRATA).map(|k| score.at(stratum_middle(k))).collect();
        score
    }

    /// The quantity's value for a standard normal `z`.
    #[inline]
    pub fn at(&self, z: f64) -> f64 {
        let place = (z + LIMIT) * PER_UNIT;
        let last = self.knots.len() - 1;
        if place <= 0.0 {
            let [value, slope] = self.knots[0];
            return value + slope * (z + LIMIT);
        }
        if place >= last as f64 {
            let [value, slope] = self.knots[last];
            return value + slope * (z - LIMIT);
        }
        let k = place as usize;
        let t = place - k as f64;
        let ([a, slope_a], [b, slope_b]) = (self.knots[k], self.knots[k + 1]);
        let (da, db) = (slope_a / PER_UNIT, slope_b / PER_UNIT);
        let rise = b - a;
        a + t * (da + t * (3.0 * rise - 2.0 * da - db + t * (da + db - 2.0 * rise)))
    }

    /// Whether it is one number.
    pub fn is_constant(&self) -> bool {
        self.knots[0][0] == self.knots[self.knots.len() - 1][0]
    }

    /// The value in the middle of each stratum; stratum k runs from `-STRATA_LIMIT + k STRATUM_WIDTH`.
    pub fn strata(&self) -> &[f64] {
        &self.strata
    }
}

fn stratum_middle(k: usize) -> f64 {
    -STRATA_LIMIT + (k as f64 + 0.5) * STRATUM_WIDTH
}

/// Probability of each stratum.
pub fn stratum_probabilities() -> [f64; N_STRATA] {
    std::array::from_fn(|k| {
        let low = -STRATA_LIMIT + k as f64 * STRATUM_WIDTH;
        // The tail on the negative side keeps its digits.
        let [a, b] = if low < 0.0 { [low, low + STRATUM_WIDTH] } else { [-low - STRATUM_WIDTH, -low] };
        normal_cumulative(b) - normal_cumulative(a)
    })
}

/// A standard normal between two limits, drawn by inversion with the uniform number `u`.
pub fn normal_between(low: f64, high: f64, u: f64) -> f64 {
    if low > 0.0 {
        return -normal_between(-high, -low, 1.0 - u);
    }
    let [a, b] = [normal_cumulative(low), normal_cumulative(high)];
    let z = normal_quantile(a + u * (b - a));
    if z.is_finite() {
        z.clamp(low, high)
    } else {
        // So far out that no probability is left: all of it lies at the nearer limit.
        high.min(0.0).max(low)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_follows_the_quantiles() {
        let cases = [
            Distribution::Rectangular { low: 2.0, high: 5.0 },
            Distribution::Gamma { shape: 2.0, scale: 0.8 },
            Distribution::Lognormal { median: 8.0, spread: 0.4 },
            Distribution::Normal { mean: 3.0, standard_deviation: 0.5 },
        ];
        for distribution in cases {
            let score = NormalScore::of(&distribution);
            for i in -48..=48 {
                let z = f64::from(i) * 0.1 + 0.037;
                let exact = distribution.quantile(normal_cumulative(z));
                let found = score.at(z);
                let scale = distribution.standard_uncertainty();
                assert!(
                    (found - exact).abs() < 2e-4 * scale * z.abs().max(1.0),
                    "{distribution:?} {z}: {found} {exact}"
                );
            }
        }
        assert!(NormalScore::of(&Distribution::Constant { value: 2.0 }).is_constant());
    }

    #[test]
    fn draws_between_limits_stay_there_however_far_out() {
        for (low, high) in [(-1.0, 2.0), (3.0, 3.5), (-9.0, -8.0), (40.0, 41.0)] {
            for u in [0.001, 0.5, 0.999] {
                let z = normal_between(low, high, u);
                assert!((low..=high).contains(&z), "{z} in {low}..{high}");
            }
        }
        let middle = normal_between(8.0, 9.0, 0.5);
        // Half of the tail beyond 8 lies beyond 8.0853 (from Φ(-8) = 6.22e-16 and Mills' ratio).
        assert!((middle - 8.0853).abs() < 2e-3, "{middle}");
    }
}
