//! A distribution made ready to be drawn a block at a time.

use crate::quantity::distribution::Distribution;
use crate::quantity::stream::Draws;
use crate::quantity::student::t_density;
use rand::{Rng, RngExt};
use std::f64::consts::PI;

/// A distribution with whatever makes drawing from it fast.
#[derive(Debug, Clone)]
pub(super) enum Sampler {
    /// By inversion: `location + scale · Q(p)`.
    Inverted { inversion: Inversion, location: f64, scale: f64 },
    /// Of limits that are known: `low + width · r`.
    Rectangle { low: f64, width: f64 },
    /// Of limits that are not: a rectangle whose half-width is drawn first (JCGM 101 6.4.3.4).
    InexactRectangle { centre: f64, half_width: f64, inexactness: f64 },
    /// By the distribution's own recipe.
    Direct(Distribution),
}

impl Sampler {
    pub(super) fn new(distribution: Distribution) -> Self {
        let (family, location, scale) = match distribution {
            Distribution::Normal { mean, standard_deviation } => (Family::Normal, mean, standard_deviation),
            // Fewer degrees have tails that overflow.
            Distribution::StudentT { location, scale, degrees_of_freedom } if degrees_of_freedom >= 1.0 => {
                (Family::StudentT { degrees_of_freedom }, location, scale)
            }
            Distribution::ArcSine { low, high } => {
                (Family::ArcSine, 0.5 * low + 0.5 * high, 0.5 * (high - low))
            }
            Distribution::Rectangular { low, high } => return Self::Rectangle { low, width: high - low },
            Distribution::InexactRectangular { low, high, inexactness } => {
                let (centre, half_width) = (0.5 * low + 0.5 * high, 0.5 * (high - low));
                return Self::InexactRectangle { centre, half_width, inexactness };
            }
            _ => return Self::Direct(distribution),
        };
        Self::Inverted { inversion: Inversion::of(family), location, scale }
    }

    /// Fills `out` with independent draws; a longer `out` begins with the same ones.
    pub(super) fn fill(&self, draws: &mut Draws, out: &mut [f64]) {
        match self {
            Self::Inverted { inversion, location, scale } => {
                for place in out {
                    *place = location + scale * inversion.draw(draws);
                }
            }
            Self::Rectangle { low, width } => {
                for place in out {
                    *place = low + width * draws.random::<f64>();
                }
            }
            Self::InexactRectangle { centre, half_width, inexactness } => {
                for place in out {
                    let half_width = half_width + inexactness * (2.0 * draws.random::<f64>() - 1.0);
                    *place = centre + half_width * (2.0 * draws.random::<f64>() - 1.0);
                }
            }
            Self::Direct(distribution) => {
                for place in out {
                    *place = distribution.draw(draws);
                }
            }
        }
    }
}

/// A distribution that is symmetric about 0, in its standard form.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Family {
    Normal,
    StudentT {
        degrees_of_freedom: f64,
    },
    /// Between −1 and 1.
    ArcSine,
}

/// The quantile function of a symmetric distribution as a table of quartics: one random number, one look-up, one draw.
///
/// It is tabulated over v, twice the probability of the tail, from 2^−[`Inversion::OCTAVES`] to 1, with
/// [`Inversion::PER_OCTAVE`] quartics to each halving of v. Each has the value and the slope at both ends, and the
/// value in the middle. Further out the quantile is computed.
///
/// The tail probability of what is drawn is off by less than 1e-7 of itself, 5e-7 for t with few
/// degrees of freedom (test below), which no run of fewer than 1e13 trials could notice. Drawing by
/// inversion: JCGM 101:2008, C.2; by polynomials, Hörmann and Leydold, ACM Trans. Model. Comput. Simul. 13, 2003,
/// 347-362.
#[derive(Debug, Clone)]
pub(super) struct Inversion {
    family: Family,
    /// Coefficients in the distance from the lower end of each interval, lowest v first.
    quartics: Vec<[f64; 5]>,
}

impl Inversion {
    const OCTAVES: u32 = 20;
    const PER_OCTAVE: u32 = 8;
    /// Bits of a number below those that tell its interval.
    const BITS_WITHIN: u32 = f64::MANTISSA_DIGITS - 1 - Self::PER_OCTAVE.ilog2();
    /// The interval that begins with 1, counted in the bits of a number from 0.
    const TOP: u64 = 1.0_f64.to_bits() >> Self::BITS_WITHIN;
    const LOWEST: u64 = Self::TOP - (Self::OCTAVES * Self::PER_OCTAVE) as u64;

    pub(super) fn of(family: Family) -> Self {
        let start = |interval: u64| f64::from_bits(interval << Self::BITS_WITHIN);
        let middle = |interval: u64| 0.5 * (start(interval) + start(interval + 1));
        let knots: Vec<f64> = (Self::LOWEST..Self::TOP)
            .flat_map(|interval| [start(interval), middle(interval)])
            .chain([1.0])
            .collect();
        let quantiles = family.quantiles(&knots);
        let quartic = |k: usize| {
            let width = knots[k + 2] - knots[k];
            let [(low, low_slope), (middle, _), (high, high_slope)] =
                [quantiles[k], quantiles[k + 1], quantiles[k + 2]];
            // In the distance over the width: the cubic through both ends, and a quartic that is 0 there with its slope.
            let (low_slope, high_slope, rise) = (low_slope * width, high_slope * width, high - low);
            let [b, c, d] =
                [low_slope, 3.0 * rise - 2.0 * low_slope - high_slope, low_slope + high_slope - 2.0 * rise];
            let e = 16.0 * (middle - (low + b / 2.0 + c / 4.0 + d / 8.0));
            let over = |k: i32| 1.0 / width.powi(k);
            [low, b * over(1), (c + e) * over(2), (d - 2.0 * e) * over(3), e * over(4)]
        };
        let quartics = (0..knots.len() - 1).step_by(2).map(quartic).collect();
        Self { family, quartics }
    }

    #[inline]
    pub(super) fn draw(&self, draws: &mut Draws) -> f64 {
        self.at(draws.next_u64())
    }

    /// The quantile of the probability that 64 random bits stand for: one for the side, 52 for the tail.
    #[inline]
    fn at(&self, bits: u64) -> f64 {
        // A number from 1 to 2 by its bits, then from 0 to 1, neither of which it reaches.
        let v = f64::from_bits((bits >> 12) | 1.0_f64.to_bits()) - (1.0 - f64::EPSILON / 2.0);
        let interval = v.to_bits() >> Self::BITS_WITHIN;
        let x = match self.quartics.get(interval.wrapping_sub(Self::LOWEST) as usize) {
            Some([a, b, c, d, e]) => {
                let t = v - f64::from_bits(interval << Self::BITS_WITHIN);
                a + t * (b + t * (c + t * (d + t * e)))
            }
            None => self.family.quantile(v),
        };
        f64::from_bits(x.to_bits() ^ (bits << 63))
    }
}

impl Family {
    /// The quantile of the probability v/2, negative.
    #[cold]
    fn quantile(self, v: f64) -> f64 {
        let distribution = match self {
            Self::Normal => Distribution::Normal { mean: 0.0, standard_deviation: 1.0 },
            Self::StudentT { degrees_of_freedom } => {
                Distribution::StudentT { location: 0.0, scale: 1.0, degrees_of_freedom }
            }
            Self::ArcSine => return -libm::cos(0.5 * PI * v),
        };
        distribution.quantile(0.5 * v)
    }

    /// The quantile of v/2 and its slope over v, for rising v that end with 1.
    ///
    /// From the centre outwards, each from the one before: the density is integrated over the step, and
    /// the step mended by Newton's method. This asks less than a quantile would, and nothing but the density.
    fn quantiles(self, all_v: &[f64]) -> Vec<(f64, f64)> {
        let (peak, power, nu) = match self {
            Self::ArcSine => {
                let at = |v: &f64| (-libm::cos(0.5 * PI * v), 0.5 * PI * libm::sin(0.5 * PI * v));
                return all_v.iter().map(at).collect();
            }
            Self::Normal => (t_density(0.0, f64::INFINITY), 0.0, f64::INFINITY),
            Self::StudentT { degrees_of_freedom: nu } => (t_density(0.0, nu), 0.5 * (nu + 1.0), nu),
        };
        let density = |x: f64| match self {
            Self::Normal => peak * libm::exp(-0.5 * x * x),
            _ => peak * libm::exp(-power * libm::log1p(x * x / nu)),
        };
        let (mut x, mut height) = (0.0, peak);
        let mut found = vec![(0.0, 0.5 / peak)];
        for step in all_v.windows(2).rev() {
            let wanted = 0.5 * (step[1] - step[0]);
            let mut width = wanted / height;
            for _ in 0..20 {
                let area =
                    width * GAUSS.iter().map(|(at, weight)| weight * density(x - at * width)).sum::<f64>();
                let more = (wanted - area) / density(x - width);
                width += more;
                // The next step would be about the square of this one.
                if more.abs() <= 1e-8 * width {
                    break;
                }
            }
            x -= width;
            height = density(x);
            found.push((x, 0.5 / height));
        }
        found.reverse();
        found
    }
}

/// Points and weights of Gauss-Legendre integration from 0 to 1 (Abramowitz and Stegun, 25.4.30, n = 5).
const GAUSS: [(f64, f64); 5] = [
    (0.046_910_077_030_668_004, 0.118_463_442_528_094_54),
    (0.230_765_344_947_158_45, 0.239_314_335_249_683_23),
    (0.5, 0.284_444_444_444_444_44),
    (0.769_234_655_052_841_6, 0.239_314_335_249_683_23),
    (0.953_089_922_969_332, 0.118_463_442_528_094_54),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::stream::Streams;

    const FAMILIES: [Family; 9] = [
        Family::Normal,
        Family::ArcSine,
        Family::StudentT { degrees_of_freedom: 1.0 },
        Family::StudentT { degrees_of_freedom: 1.5 },
        Family::StudentT { degrees_of_freedom: 4.0 },
        Family::StudentT { degrees_of_freedom: 18.0 },
        Family::StudentT { degrees_of_freedom: 99.5 },
        Family::StudentT { degrees_of_freedom: 2000.0 },
        Family::StudentT { degrees_of_freedom: 1e7 },
    ];

    /// By how much of the tail probability w the probability below x differs from it, by closed forms and the
    /// distribution's own cumulative.
    fn off(family: Family, x: f64, w: f64) -> f64 {
        let tail = match family {
            Family::Normal => 0.5 * libm::erfc(-x / std::f64::consts::SQRT_2),
            // Near −1 the numbers themselves are too far apart for the probability to tell.
            Family::ArcSine => {
                let beyond_rounding = ((x + libm::cos(PI * w)).abs() - f64::EPSILON).max(0.0);
                w + beyond_rounding / (PI * libm::sin(PI * w))
            }
            Family::StudentT { degrees_of_freedom: 1.0 } => libm::atan2(1.0, -x) / PI,
            Family::StudentT { degrees_of_freedom } => {
                Distribution::StudentT { location: 0.0, scale: 1.0, degrees_of_freedom }.cumulative(x)
            }
        };
        (tail / w - 1.0).abs()
    }

    #[test]
    fn the_table_is_the_quantile_function() {
        for family in FAMILIES {
            let inversion = Inversion::of(family);
            let mut worst: f64 = 0.0;
            for k in 1..20_000 {
                // From 1 down beyond the end of the table, at places within the intervals.
                let v = libm::exp2(-f64::from(k) * 0.0015);
                let bits = ((v * (1_u64 << 52) as f64) as u64) << 12;
                let exact = 0.5 * ((bits >> 12) as f64 + 0.5) / (1_u64 << 52) as f64;
                let x = inversion.at(bits);
                worst = worst.max(off(family, x, exact));
                assert_eq!(inversion.at(bits | 1), -x);
            }
            let few = matches!(family, Family::StudentT { degrees_of_freedom } if degrees_of_freedom < 4.0);
            assert!(worst < if few { 5e-7 } else { 1e-7 }, "{family:?}: {worst}");
        }
    }

    #[test]
    fn the_extreme_numbers_give_finite_draws() {
        for family in FAMILIES {
            let inversion = Inversion::of(family);
            for bits in [0, 1, 2, 3, u64::MAX, u64::MAX - 1, 1 << 63, (1 << 63) - 1] {
                assert!(inversion.at(bits).is_finite(), "{family:?} {bits}");
            }
            assert!(inversion.at(u64::MAX - 1).abs() < 1e-6);
        }
    }

    /// Kolmogorov's distance of a million draws; beyond 2.69/√n it would be a false alarm once in a million times,
    /// 2 exp(−2·2.69²).
    #[test]
    fn draws_have_the_distribution() {
        let n = 1_000_000;
        let mut draws = vec![0.0; n];
        for (k, distribution) in [
            Distribution::Normal { mean: 3.0, standard_deviation: 0.2 },
            Distribution::StudentT { location: -1.0, scale: 4.0, degrees_of_freedom: 5.0 },
            Distribution::StudentT { location: 0.0, scale: 1.0, degrees_of_freedom: 0.5 },
            Distribution::ArcSine { low: -0.5, high: 1.5 },
            Distribution::InexactRectangular { low: -1.0, high: 1.0, inexactness: 0.4 },
        ]
        .into_iter()
        .enumerate()
        {
            Sampler::new(distribution).fill(&mut Streams::new(k as u64).source("x").trial(0), &mut draws);
            draws.sort_unstable_by(f64::total_cmp);
            let distance = draws.iter().enumerate().fold(0.0_f64, |worst, (i, x)| {
                let p = distribution.cumulative(*x);
                worst.max((p - i as f64 / n as f64).abs()).max(((i + 1) as f64 / n as f64 - p).abs())
            });
            assert!(distance < 2.69 / (n as f64).sqrt(), "{distribution:?}: {distance}");
        }
    }

    #[test]
    fn a_short_block_begins_like_a_long_one() {
        for distribution in [
            Distribution::Normal { mean: 0.0, standard_deviation: 1.0 },
            Distribution::Gamma { shape: 2.5, scale: 1.0 },
            Distribution::InexactRectangular { low: -1.0, high: 1.0, inexactness: 0.1 },
        ] {
            let sampler = Sampler::new(distribution);
            let fill = |n: usize| {
                let mut out = vec![0.0; n];
                sampler.fill(&mut Streams::new(5).source("x").trial(256), &mut out);
                out
            };
            assert_eq!(fill(256)[..100], fill(100));
        }
    }

    /// The first draws of a seed: a change of them is a change of every published result, so never by accident.
    #[test]
    fn first_draws_are_stable() {
        let first = |distribution| {
            let mut out = [0.0; 3];
            Sampler::new(distribution).fill(&mut Streams::new(1).source("x").trial(0), &mut out);
            out
        };
        assert_eq!(
            first(Distribution::Rectangular { low: 0.0, high: 1.0 }),
            [0.40156765848862674, 0.7620632380458735, 0.6570914074479275]
        );
        // The lower half of the random numbers' range is the tail: Φ(−0.8388…) = 0.4015…/2.
        assert_eq!(
            first(Distribution::Normal { mean: 0.0, standard_deviation: 1.0 }),
            [-0.838824753905846, 0.3027725029537772, 0.4439324715978781]
        );
        assert_eq!(
            first(Distribution::StudentT { location: 0.0, scale: 1.0, degrees_of_freedom: 5.0 }),
            [-0.9162493451893993, 0.31978261445946754, 0.4715738281601776]
        );
    }
}
