//! What is known of one input quantity, as a probability density.

use super::draw::{Exp1, StandardNormal, standard_gamma};
use super::incomplete_gamma::IncompleteGamma;
use super::root::falling_root;
use super::rounding::significant;
use super::student::{
    normal_cumulative, normal_density, normal_quantile, t_cumulative, t_density, t_quantile,
};
use libm::{asin, cos, exp, expm1, lgamma, log, log1p, sin, sqrt};
use rand::{Rng, RngExt};
use rand_distr::Distribution as _;
use std::f64::consts::PI;
use std::fmt;

/// What is known of one input quantity, as a probability density (JCGM 101:2008, 6.4 and table 1).
///
/// Every parameter is in the quantity's own unit unless it says otherwise. Build values with the
/// checked constructors ([`Distribution::normal`] and so on), which refuse impossible parameters;
/// a value made by them is sound, so no method here can fail. Several correlated normal quantities
/// are drawn through [`Correlation`](super::correlation::Correlation).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distribution {
    /// Known exactly.
    Constant {
        /// The value.
        value: f64,
    },
    /// Limits and nothing more (6.4.2).
    Rectangular {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// Limits that are themselves known only to within `± inexactness`, about a midpoint that is
    /// known (6.4.3, "CTrap").
    InexactRectangular {
        /// Lower limit, as stated.
        low: f64,
        /// Upper limit, as stated.
        high: f64,
        /// How far off either limit may be.
        inexactness: f64,
    },
    /// The sum of two independent rectangular quantities (6.4.4).
    Trapezoidal {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
        /// Ratio of the top's width to the base's, between 0 (triangular) and 1 (rectangular); a
        /// pure number.
        beta: f64,
    },
    /// The sum of two rectangular quantities of equal width (6.4.5).
    Triangular {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// A sinusoid of unknown phase between two limits (6.4.6).
    ArcSine {
        /// Lower limit.
        low: f64,
        /// Upper limit.
        high: f64,
    },
    /// An estimate with its standard uncertainty (6.4.7).
    Normal {
        /// The estimate.
        mean: f64,
        /// The standard uncertainty.
        standard_deviation: f64,
    },
    /// Scaled and shifted t (6.4.9), as a series of readings gives it: the mean of `n` readings
    /// with standard deviation `s` has `scale = s / √n` and `degrees_of_freedom = n − 1`.
    ///
    /// `scale` is not its standard deviation. The law of propagation takes `scale` as the standard
    /// uncertainty and accounts for the tails by the degrees of freedom (GUM G.3); the standard
    /// deviation of the density is larger by `√(ν / (ν − 2))`.
    StudentT {
        /// The estimate.
        location: f64,
        /// The scale: the standard uncertainty of GUM 4.2.3.
        scale: f64,
        /// Degrees of freedom, above 0; a pure number.
        degrees_of_freedom: f64,
    },
    /// A non-negative quantity of which only the mean is known (6.4.10). A negative `mean` is the
    /// mirror image.
    Exponential {
        /// The estimate.
        mean: f64,
    },
    /// Gamma (6.4.11 gives it for counts): `mean = shape * scale`. A negative `scale` is the mirror
    /// image.
    Gamma {
        /// Shape, above 0; a pure number.
        shape: f64,
        /// Scale.
        scale: f64,
    },
    /// The logarithm is normal: sizes of particles. A negative `median` is the mirror image.
    Lognormal {
        /// The value that is exceeded half of the time.
        median: f64,
        /// Standard deviation of the natural logarithm; a pure number.
        spread: f64,
    },
}

/// A parameter that no distribution can have.
#[derive(Debug, Clone, PartialEq)]
pub struct ParameterError {
    /// Which parameter, in the words of the constructor's argument.
    pub parameter: &'static str,
    /// What was given.
    pub found: f64,
    /// What holds for it.
    pub must: String,
    /// What to write instead.
    pub fix: &'static str,
}

impl fmt::Display for ParameterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} is {}, but must be {}; {}", self.parameter, self.found, self.must, self.fix)
    }
}

impl std::error::Error for ParameterError {}

impl Distribution {
    /// A quantity that is known exactly.
    pub fn constant(value: f64) -> Result<Self, ParameterError> {
        Ok(Self::Constant { value: finite("value", value)? })
    }

    /// Limits and nothing more; `low < high`.
    pub fn rectangular(low: f64, high: f64) -> Result<Self, ParameterError> {
        let [low, high] = limits(low, high)?;
        Ok(Self::Rectangular { low, high })
    }

    /// Limits `low < high` that are themselves known to within `± inexactness`, which is at least 0
    /// and below half of `high − low`; 0 gives the rectangular distribution.
    pub fn inexact_rectangular(low: f64, high: f64, inexactness: f64) -> Result<Self, ParameterError> {
        let [low, high] = limits(low, high)?;
        let half_width = 0.5 * (high - low);
        if !(0.0..half_width).contains(&inexactness) {
            return Err(ParameterError {
                parameter: "inexactness",
                found: inexactness,
                must: format!(
                    "at least 0 and below {}, half the distance of the limits",
                    significant(half_width, 6)
                ),
                fix: "write how far off either limit may be",
            });
        }
        if inexactness == 0.0 {
            return Ok(Self::Rectangular { low, high });
        }
        Ok(Self::InexactRectangular { low, high, inexactness })
    }

    /// A symmetric trapezoid on `low < high`; `beta` is the top's width as a fraction of the
    /// base's, from 0 to 1; 0 gives the triangular and 1 the rectangular distribution.
    pub fn trapezoidal(low: f64, high: f64, beta: f64) -> Result<Self, ParameterError> {
        let [low, high] = limits(low, high)?;
        if !(0.0..=1.0).contains(&beta) {
            return Err(ParameterError {
                parameter: "beta",
                found: beta,
                must: "from 0 to 1".into(),
                fix: "write the width of the top divided by the width of the base",
            });
        }
        if beta == 0.0 {
            return Ok(Self::Triangular { low, high });
        }
        if beta == 1.0 {
            return Ok(Self::Rectangular { low, high });
        }
        Ok(Self::Trapezoidal { low, high, beta })
    }

    /// A symmetric triangle on `low < high`.
    pub fn triangular(low: f64, high: f64) -> Result<Self, ParameterError> {
        let [low, high] = limits(low, high)?;
        Ok(Self::Triangular { low, high })
    }

    /// A sinusoid of unknown phase that swings from `low` to `high`.
    pub fn arc_sine(low: f64, high: f64) -> Result<Self, ParameterError> {
        let [low, high] = limits(low, high)?;
        Ok(Self::ArcSine { low, high })
    }

    /// An estimate with its standard uncertainty, at least 0; 0 gives a constant.
    pub fn normal(mean: f64, standard_deviation: f64) -> Result<Self, ParameterError> {
        let mean = finite("mean", mean)?;
        let standard_deviation = not_negative("standard_deviation", standard_deviation)?;
        if standard_deviation == 0.0 {
            return Ok(Self::Constant { value: mean });
        }
        Ok(Self::Normal { mean, standard_deviation })
    }

    /// Scaled and shifted t: `scale` at least 0 (0 gives a constant), `degrees_of_freedom` above 0
    /// (infinity gives the normal distribution).
    pub fn student_t(location: f64, scale: f64, degrees_of_freedom: f64) -> Result<Self, ParameterError> {
        let location = finite("location", location)?;
        let scale = not_negative("scale", scale)?;
        if degrees_of_freedom.is_nan() || degrees_of_freedom <= 0.0 {
            return Err(ParameterError {
                parameter: "degrees_of_freedom",
                found: degrees_of_freedom,
                must: "above 0".into(),
                fix: "n readings have n - 1 degrees of freedom",
            });
        }
        if scale == 0.0 {
            return Ok(Self::Constant { value: location });
        }
        if degrees_of_freedom == f64::INFINITY {
            return Ok(Self::Normal { mean: location, standard_deviation: scale });
        }
        Ok(Self::StudentT { location, scale, degrees_of_freedom })
    }

    /// A non-negative quantity of which only the mean, above 0, is known.
    pub fn exponential(mean: f64) -> Result<Self, ParameterError> {
        Ok(Self::Exponential { mean: positive("mean", mean)? })
    }

    /// Gamma with `shape` and `scale`, both above 0; the mean is their product.
    pub fn gamma(shape: f64, scale: f64) -> Result<Self, ParameterError> {
        Ok(Self::Gamma { shape: positive("shape", shape)?, scale: positive("scale", scale)? })
    }

    /// A quantity above 0 whose logarithm is normal: its median, and the standard deviation of its
    /// natural logarithm, at least 0 (0 gives a constant). A spread of 0.7 says that about two out
    /// of three values lie within a factor of 2 of the median.
    pub fn lognormal(median: f64, spread: f64) -> Result<Self, ParameterError> {
        let median = positive("median", median)?;
        let spread = not_negative("spread", spread)?;
        if spread == 0.0 {
            return Ok(Self::Constant { value: median });
        }
        Ok(Self::Lognormal { median, spread })
    }

    /// What the distribution is called in a budget, in the words of JCGM 101 table 1.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Constant { .. } => "constant",
            Self::Rectangular { .. } => "rectangular",
            Self::InexactRectangular { .. } => "rectangular, inexact limits",
            Self::Trapezoidal { .. } => "trapezoidal",
            Self::Triangular { .. } => "triangular",
            Self::ArcSine { .. } => "arc sine",
            Self::Normal { .. } => "normal",
            Self::StudentT { .. } => "t",
            Self::Exponential { .. } => "exponential",
            Self::Gamma { .. } => "gamma",
            Self::Lognormal { .. } => "lognormal",
        }
    }

    /// The estimate: the expectation (JCGM 101 6.4); not a number for t with ν ≤ 1, which has none.
    pub fn mean(&self) -> f64 {
        match *self {
            Self::Constant { value } => value,
            Self::Rectangular { low, high }
            | Self::InexactRectangular { low, high, .. }
            | Self::Trapezoidal { low, high, .. }
            | Self::Triangular { low, high }
            | Self::ArcSine { low, high } => centre(low, high),
            Self::Normal { mean, .. } | Self::Exponential { mean } => mean,
            Self::StudentT { location, degrees_of_freedom, .. } => {
                if degrees_of_freedom > 1.0 {
                    location
                } else {
                    f64::NAN
                }
            }
            Self::Gamma { shape, scale } => shape * scale,
            Self::Lognormal { median, spread } => median * exp(0.5 * spread * spread),
        }
    }

    /// The standard uncertainty: the standard deviation of the density (JCGM 101 6.4), infinite
    /// where it is (t with ν ≤ 2).
    pub fn standard_uncertainty(&self) -> f64 {
        match *self {
            Self::Constant { .. } => 0.0,
            Self::Rectangular { low, high } => (high - low) / sqrt(12.0),
            Self::InexactRectangular { low, high, inexactness } => {
                let width = high - low;
                sqrt(width * width / 12.0 + inexactness * inexactness / 9.0)
            }
            Self::Trapezoidal { low, high, beta } => (high - low) * sqrt((1.0 + beta * beta) / 24.0),
            Self::Triangular { low, high } => (high - low) / sqrt(24.0),
            Self::ArcSine { low, high } => (high - low) / sqrt(8.0),
            Self::Normal { standard_deviation, .. } => standard_deviation,
            Self::StudentT { scale, degrees_of_freedom: nu, .. } => {
                if nu > 2.0 {
                    scale * sqrt(nu / (nu - 2.0))
                } else {
                    f64::INFINITY
                }
            }
            Self::Exponential { mean } => mean.abs(),
            Self::Gamma { shape, scale } => scale.abs() * sqrt(shape),
            Self::Lognormal { spread, .. } => self.mean().abs() * sqrt(expm1(spread * spread)),
        }
    }

    /// The third standardised moment: 0 for what is symmetric, infinite or not a number where there is none (t with
    /// ν ≤ 3). A constant has none; 0 is given.
    pub fn skewness(&self) -> f64 {
        match *self {
            Self::Exponential { mean } => 2f64.copysign(mean),
            Self::Gamma { shape, scale } => (2.0 / sqrt(shape)).copysign(scale),
            Self::Lognormal { median, spread } => {
                let more = expm1(spread * spread);
                ((more + 3.0) * sqrt(more)).copysign(median)
            }
            Self::StudentT { degrees_of_freedom, .. } if degrees_of_freedom <= 3.0 => f64::NAN,
            _ => 0.0,
        }
    }

    /// The fourth standardised moment: 3 for a normal, 9/5 for a rectangular quantity, infinite for t with ν ≤ 4. A
    /// constant has none; 3 is given.
    pub fn kurtosis(&self) -> f64 {
        // That of the sum of two rectangular quantities with these half-widths.
        let of_sum = |a: f64, b: f64| {
            let [a, b] = [a * a, b * b];
            3.0 - 1.2 * (a * a + b * b) / ((a + b) * (a + b))
        };
        match *self {
            Self::Constant { .. } | Self::Normal { .. } => 3.0,
            Self::Rectangular { .. } => 1.8,
            Self::InexactRectangular { low, high, inexactness } => {
                // A rectangle whose half-width W is itself rectangular: 9/5 · E W⁴ / (E W²)².
                let square = 0.25 * (high - low) * (high - low);
                let off = inexactness * inexactness;
                let second = square + off / 3.0;
                1.8 * (square * square + 2.0 * square * off + off * off / 5.0) / (second * second)
            }
            Self::Trapezoidal { beta, .. } => of_sum(1.0 + beta, 1.0 - beta),
            Self::Triangular { .. } => of_sum(1.0, 1.0),
            Self::ArcSine { .. } => 1.5,
            Self::StudentT { degrees_of_freedom: nu, .. } => {
                if nu > 4.0 {
                    3.0 + 6.0 / (nu - 4.0)
                } else {
                    f64::INFINITY
                }
            }
            Self::Exponential { .. } => 9.0,
            Self::Gamma { shape, .. } => 3.0 + 6.0 / shape,
            Self::Lognormal { spread, .. } => {
                let w = exp(spread * spread);
                w * w * (w * w + 2.0 * w + 3.0) - 3.0
            }
        }
    }

    /// The parameters, by the names that files have for them; with [`Distribution::name`] they say everything.
    pub fn parameters(&self) -> Vec<(&'static str, f64)> {
        match *self {
            Self::Constant { value } => vec![("value", value)],
            Self::Rectangular { low, high }
            | Self::Triangular { low, high }
            | Self::ArcSine { low, high } => vec![("from", low), ("to", high)],
            Self::InexactRectangular { low, high, inexactness } => {
                vec![("from", low), ("to", high), ("limits_within", inexactness)]
            }
            Self::Trapezoidal { low, high, beta } => vec![("from", low), ("to", high), ("top_to_base", beta)],
            Self::Normal { mean, standard_deviation } => {
                vec![("mean", mean), ("standard_deviation", standard_deviation)]
            }
            Self::StudentT { location, scale, degrees_of_freedom } => {
                vec![("mean", location), ("scale", scale), ("degrees_of_freedom", degrees_of_freedom)]
            }
            Self::Exponential { mean } => vec![("mean", mean)],
            Self::Gamma { shape, scale } => vec![("mean", shape * scale), ("shape", shape)],
            Self::Lognormal { median, spread } => vec![("median", median), ("spread", spread)],
        }
    }

    /// The degrees of freedom that the family carries: the t distribution's own, infinite for all
    /// others (GUM G.4.3: limits and densities that are taken as known).
    pub fn degrees_of_freedom(&self) -> f64 {
        match *self {
            Self::StudentT { degrees_of_freedom, .. } => degrees_of_freedom,
            _ => f64::INFINITY,
        }
    }

    /// The least and the largest value that can occur, infinite where there is no limit.
    pub fn limits(&self) -> [f64; 2] {
        match *self {
            Self::Constant { value } => [value, value],
            Self::Rectangular { low, high }
            | Self::Trapezoidal { low, high, .. }
            | Self::Triangular { low, high }
            | Self::ArcSine { low, high } => [low, high],
            Self::InexactRectangular { low, high, inexactness } => [low - inexactness, high + inexactness],
            Self::Normal { .. } | Self::StudentT { .. } => [f64::NEG_INFINITY, f64::INFINITY],
            Self::Exponential { mean: side }
            | Self::Gamma { scale: side, .. }
            | Self::Lognormal { median: side, .. } => {
                if side > 0.0 {
                    [0.0, f64::INFINITY]
                } else {
                    [f64::NEG_INFINITY, 0.0]
                }
            }
        }
    }

    /// Density at `x`, in one over the unit of `x`; a constant's is infinite at its value.
    pub fn density(&self, x: f64) -> f64 {
        if x.is_nan() {
            return f64::NAN;
        }
        if self.is_mirrored() {
            return self.scaled(-1.0).density(-x);
        }
        let [low, high] = self.limits();
        if x < low || x > high {
            return 0.0;
        }
        match *self {
            Self::Constant { .. } => f64::INFINITY,
            Self::Rectangular { low, high } => 1.0 / (high - low),
            Self::InexactRectangular { low, high, inexactness: d } => {
                let half_width = 0.5 * (high - low);
                let distance = (x - centre(low, high)).abs().max(half_width - d);
                log((half_width + d) / distance) / (4.0 * d)
            }
            Self::Trapezoidal { low, high, beta } => {
                let half_width = 0.5 * (high - low);
                let from_limit = (x - low).min(high - x) / half_width;
                (from_limit / (1.0 - beta)).min(1.0) / (half_width * (1.0 + beta))
            }
            Self::Triangular { low, high } => {
                let half_width = 0.5 * (high - low);
                (x - low).min(high - x) / (half_width * half_width)
            }
            Self::ArcSine { low, high } => 1.0 / (PI * sqrt((x - low) * (high - x))),
            Self::Normal { mean, standard_deviation } => {
                normal_density((x - mean) / standard_deviation) / standard_deviation
            }
            Self::StudentT { location, scale, degrees_of_freedom } => {
                t_density((x - location) / scale, degrees_of_freedom) / scale
            }
            Self::Exponential { mean } => exp(-x / mean) / mean,
            Self::Gamma { shape, scale } => gamma_density(x / scale, shape) / scale,
            Self::Lognormal { median, spread } => {
                if x == 0.0 {
                    0.0
                } else {
                    normal_density(log(x / median) / spread) / (spread * x)
                }
            }
        }
    }

    /// Probability of a value at or below `x`.
    pub fn cumulative(&self, x: f64) -> f64 {
        if x.is_nan() {
            return f64::NAN;
        }
        if self.is_mirrored() {
            return self.scaled(-1.0).exceeded(-x);
        }
        let [low, high] = self.limits();
        if x < low {
            return 0.0;
        }
        if x >= high {
            return 1.0;
        }
        match *self {
            Self::Constant { .. } => 1.0,
            Self::Rectangular { low, high } => (x - low) / (high - low),
            Self::InexactRectangular { low, high, inexactness } => {
                either_side(x, low, high, |from_centre, half_width| {
                    inexact_tail(from_centre, half_width, inexactness)
                })
            }
            Self::Trapezoidal { low, high, beta } => either_side(x, low, high, |from_centre, half_width| {
                let to_limit = 1.0 - from_centre / half_width;
                trapezoid_tail(to_limit, beta)
            }),
            Self::Triangular { low, high } => either_side(x, low, high, |from_centre, half_width| {
                let to_limit = 1.0 - from_centre / half_width;
                trapezoid_tail(to_limit, 0.0)
            }),
            // The angle from the lower limit; a sine of a half-angle keeps its digits near both.
            Self::ArcSine { low, high } => 2.0 / PI * asin(sqrt((x - low) / (high - low))),
            Self::Normal { mean, standard_deviation } => normal_cumulative((x - mean) / standard_deviation),
            Self::StudentT { location, scale, degrees_of_freedom } => {
                t_cumulative((x - location) / scale, degrees_of_freedom)
            }
            Self::Exponential { mean } => -expm1(-x / mean),
            Self::Gamma { shape, scale } => IncompleteGamma::new(shape).lower(x / scale),
            Self::Lognormal { median, spread } => normal_cumulative(log(x / median) / spread),
        }
    }

    /// The value that is not exceeded with probability `p`, from 0 to 1; not a number outside.
    pub fn quantile(&self, p: f64) -> f64 {
        if !(0.0..=1.0).contains(&p) {
            return f64::NAN;
        }
        if self.is_mirrored() {
            return -self.scaled(-1.0).quantile(1.0 - p);
        }
        if p == 0.0 || p == 1.0 {
            return self.limits()[usize::from(p == 1.0)];
        }
        match *self {
            Self::Constant { value } => value,
            Self::Rectangular { low, high } => low + (high - low) * p,
            Self::InexactRectangular { low, high, inexactness: d } => {
                let half_width = 0.5 * (high - low);
                let from_centre = inexact_quantile(p.min(1.0 - p), half_width, d);
                centre(low, high) + from_centre.copysign(p - 0.5)
            }
            Self::Trapezoidal { low, high, beta } => trapezoid_quantile(p, low, high, beta),
            Self::Triangular { low, high } => trapezoid_quantile(p, low, high, 0.0),
            Self::ArcSine { low, high } => {
                let s = sin(0.5 * PI * p);
                low + (high - low) * s * s
            }
            Self::Normal { mean, standard_deviation } => mean + standard_deviation * normal_quantile(p),
            Self::StudentT { location, scale, degrees_of_freedom } => {
                location + scale * t_quantile(p, degrees_of_freedom)
            }
            Self::Exponential { mean } => -mean * log1p(-p),
            Self::Gamma { shape, scale } => scale * gamma_quantile(p, shape),
            Self::Lognormal { median, spread } => median * exp(spread * normal_quantile(p)),
        }
    }

    /// One random draw.
    #[inline]
    pub fn draw(&self, draws: &mut (impl Rng + ?Sized)) -> f64 {
        match *self {
            Self::Constant { value } => value,
            Self::Rectangular { low, high } => low + (high - low) * draws.random::<f64>(),
            Self::InexactRectangular { low, high, inexactness } => {
                let half_width = 0.5 * (high - low) + inexactness * (2.0 * draws.random::<f64>() - 1.0);
                centre(low, high) + half_width * (2.0 * draws.random::<f64>() - 1.0)
            }
            Self::Trapezoidal { low, high, beta } => {
                let wide = (1.0 + beta) * draws.random::<f64>();
                let narrow = (1.0 - beta) * draws.random::<f64>();
                low + 0.5 * (high - low) * (wide + narrow)
            }
            Self::Triangular { low, high } => {
                low + 0.5 * (high - low) * (draws.random::<f64>() + draws.random::<f64>())
            }
            Self::ArcSine { low, high } => {
                // Half a turn gives every value of the cosine as often as the whole does.
                centre(low, high) + 0.5 * (high - low) * cos(PI * draws.random::<f64>())
            }
            Self::Normal { mean, standard_deviation } => mean + standard_deviation * standard_normal(draws),
            Self::StudentT { location, scale, degrees_of_freedom: nu } => {
                let z = standard_normal(draws);
                location + scale * z * deviation_over_estimate(nu, draws)
            }
            Self::Exponential { mean } => mean * standard_exponential(draws),
            Self::Gamma { shape, scale } => scale * standard_gamma(shape, draws),
            Self::Lognormal { median, spread } => median * exp(spread * standard_normal(draws)),
        }
    }

    /// The distribution of `factor * X`, for a change of unit or sign; a factor of 0 gives the
    /// constant 0.
    pub fn scaled(&self, factor: f64) -> Self {
        if factor == 0.0 {
            return Self::Constant { value: 0.0 };
        }
        let ends = |low: f64, high: f64| {
            if factor > 0.0 { [factor * low, factor * high] } else { [factor * high, factor * low] }
        };
        match *self {
            Self::Constant { value } => Self::Constant { value: factor * value },
            Self::Rectangular { low, high } => {
                let [low, high] = ends(low, high);
                Self::Rectangular { low, high }
            }
            Self::InexactRectangular { low, high, inexactness } => {
                let [low, high] = ends(low, high);
                Self::InexactRectangular { low, high, inexactness: factor.abs() * inexactness }
            }
            Self::Trapezoidal { low, high, beta } => {
                let [low, high] = ends(low, high);
                Self::Trapezoidal { low, high, beta }
            }
            Self::Triangular { low, high } => {
                let [low, high] = ends(low, high);
                Self::Triangular { low, high }
            }
            Self::ArcSine { low, high } => {
                let [low, high] = ends(low, high);
                Self::ArcSine { low, high }
            }
            Self::Normal { mean, standard_deviation } => {
                Self::Normal { mean: factor * mean, standard_deviation: factor.abs() * standard_deviation }
            }
            Self::StudentT { location, scale, degrees_of_freedom } => Self::StudentT {
                location: factor * location,
                scale: factor.abs() * scale,
                degrees_of_freedom,
            },
            Self::Exponential { mean } => Self::Exponential { mean: factor * mean },
            Self::Gamma { shape, scale } => Self::Gamma { shape, scale: factor * scale },
            Self::Lognormal { median, spread } => Self::Lognormal { median: factor * median, spread },
        }
    }

    /// The distribution of `X + offset`; `None` for the families that begin at 0 (exponential,
    /// gamma, lognormal).
    pub fn shifted(&self, offset: f64) -> Option<Self> {
        Some(match *self {
            Self::Constant { value } => Self::Constant { value: value + offset },
            Self::Rectangular { low, high } => Self::Rectangular { low: low + offset, high: high + offset },
            Self::InexactRectangular { low, high, inexactness } => {
                Self::InexactRectangular { low: low + offset, high: high + offset, inexactness }
            }
            Self::Trapezoidal { low, high, beta } => {
                Self::Trapezoidal { low: low + offset, high: high + offset, beta }
            }
            Self::Triangular { low, high } => Self::Triangular { low: low + offset, high: high + offset },
            Self::ArcSine { low, high } => Self::ArcSine { low: low + offset, high: high + offset },
            Self::Normal { mean, standard_deviation } => {
                Self::Normal { mean: mean + offset, standard_deviation }
            }
            Self::StudentT { location, scale, degrees_of_freedom } => {
                Self::StudentT { location: location + offset, scale, degrees_of_freedom }
            }
            Self::Exponential { .. } | Self::Gamma { .. } | Self::Lognormal { .. } => return None,
        })
    }

    /// Probability of a value above `x`, for the families that can be mirrored: they keep their
    /// digits in this tail, which `1 − F` would not.
    fn exceeded(&self, x: f64) -> f64 {
        if x <= 0.0 {
            return 1.0;
        }
        match *self {
            Self::Exponential { mean } => exp(-x / mean),
            Self::Gamma { shape, scale } => IncompleteGamma::new(shape).upper(x / scale),
            Self::Lognormal { median, spread } => normal_cumulative(-log(x / median) / spread),
            _ => 1.0 - self.cumulative(x),
        }
    }

    /// Whether this is one of the families that begin at 0, turned to the negative side.
    fn is_mirrored(&self) -> bool {
        match *self {
            Self::Exponential { mean: side }
            | Self::Gamma { scale: side, .. }
            | Self::Lognormal { median: side, .. } => side < 0.0,
            _ => false,
        }
    }
}

fn finite(parameter: &'static str, found: f64) -> Result<f64, ParameterError> {
    if found.is_finite() {
        return Ok(found);
    }
    Err(ParameterError { parameter, found, must: "finite".into(), fix: "write a number" })
}

fn not_negative(parameter: &'static str, found: f64) -> Result<f64, ParameterError> {
    if finite(parameter, found)? >= 0.0 {
        return Ok(found);
    }
    Err(ParameterError { parameter, found, must: "at least 0".into(), fix: "write it without the sign" })
}

fn positive(parameter: &'static str, found: f64) -> Result<f64, ParameterError> {
    if finite(parameter, found)? > 0.0 {
        return Ok(found);
    }
    let fix = "leave the quantity out if there is nothing of it";
    Err(ParameterError { parameter, found, must: "above 0".into(), fix })
}

fn limits(low: f64, high: f64) -> Result<[f64; 2], ParameterError> {
    if finite("low", low)? < finite("high", high)? && (high - low).is_finite() {
        return Ok([low, high]);
    }
    Err(ParameterError {
        parameter: "high",
        found: high,
        must: format!("above low, which is {low}"),
        fix: "write the smaller limit first, or a single number for a quantity that is known",
    })
}

#[inline]
fn centre(low: f64, high: f64) -> f64 {
    0.5 * low + 0.5 * high
}

/// The cumulative of a symmetric density from its tail: the probability of lying beyond a distance
/// from the centre, on one side.
fn either_side(x: f64, low: f64, high: f64, tail: impl Fn(f64, f64) -> f64) -> f64 {
    let from_centre = x - centre(low, high);
    let beyond = tail(from_centre.abs(), 0.5 * (high - low));
    if from_centre < 0.0 { beyond } else { 1.0 - beyond }
}

/// Probability of lying beyond `y` on one side of the centre of a rectangle whose half-width is
/// itself rectangular, `w ± d`: the integral of the density of JCGM 101 6.4.3.3.
fn inexact_tail(y: f64, w: f64, d: f64) -> f64 {
    if y >= w + d {
        return 0.0;
    }
    if y > w - d {
        let rest = w + d - y;
        return (rest - y * log1p(rest / y)) / (4.0 * d);
    }
    0.5 - y * log1p(2.0 * d / (w - d)) / (4.0 * d)
}

/// How far from the centre the tail of [`inexact_tail`] is `p`.
fn inexact_quantile(p: f64, w: f64, d: f64) -> f64 {
    let at_corner = inexact_tail(w - d, w, d);
    if p >= at_corner {
        return (0.5 - p) * 4.0 * d / log1p(2.0 * d / (w - d));
    }
    let density = |y: f64| log((w + d) / y) / (4.0 * d);
    falling_root(|y| (inexact_tail(y, w, d) - p, density(y)), w - d, w + d, w)
}

/// Probability below a distance `to_limit` from the limit of a trapezoid of half-width 1, up to the
/// centre.
fn trapezoid_tail(to_limit: f64, beta: f64) -> f64 {
    let ramp = 1.0 - beta;
    if to_limit < ramp {
        return to_limit * to_limit / (2.0 * ramp * (1.0 + beta));
    }
    (to_limit - 0.5 * ramp) / (1.0 + beta)
}

fn trapezoid_quantile(p: f64, low: f64, high: f64, beta: f64) -> f64 {
    let tail = p.min(1.0 - p);
    let ramp = 1.0 - beta;
    let to_limit = if tail < trapezoid_tail(ramp, beta) {
        sqrt(2.0 * ramp * (1.0 + beta) * tail)
    } else {
        tail * (1.0 + beta) + 0.5 * ramp
    };
    let from_limit = 0.5 * (high - low) * to_limit;
    if p < 0.5 { low + from_limit } else { high - from_limit }
}

/// Density of the gamma distribution of scale 1.
fn gamma_density(x: f64, shape: f64) -> f64 {
    if x == 0.0 {
        return match shape.total_cmp(&1.0) {
            std::cmp::Ordering::Less => f64::INFINITY,
            std::cmp::Ordering::Equal => 1.0,
            std::cmp::Ordering::Greater => 0.0,
        };
    }
    exp((shape - 1.0) * log(x) - x - lgamma(shape))
}

/// Quantile of the gamma distribution of scale 1, 0 < p < 1.
fn gamma_quantile(p: f64, shape: f64) -> f64 {
    // Below every quantile that is asked for, since P(X ≤ x) ≤ x^shape / Γ(shape + 1); it is the
    // answer itself where it is small.
    let start = exp((log(p) + lgamma(shape + 1.0)) / shape);
    if start < 1e-12 * shape.min(1.0) {
        return start;
    }
    let mut above = start.max(shape + 1.0);
    let tail = 1.0 - p;
    // Whichever side is the smaller keeps its digits.
    let gamma = IncompleteGamma::new(shape);
    let excess = |x: f64| if p < 0.5 { p - gamma.lower(x) } else { gamma.upper(x) - tail };
    while excess(above) > 0.0 {
        above *= 2.0;
    }
    falling_root(|x| (excess(x), gamma_density(x, shape)), start, above, 0.5 * (start + above))
}

#[inline]
fn standard_normal(draws: &mut (impl Rng + ?Sized)) -> f64 {
    StandardNormal.sample(draws)
}

#[inline]
fn standard_exponential(draws: &mut (impl Rng + ?Sized)) -> f64 {
    Exp1.sample(draws)
}

/// A draw of the true standard deviation over its estimate, for an estimate with `nu` degrees of freedom: `√(ν/χ²)`, which
/// makes a normal quantity of that estimate a t (JCGM 101:2008, 6.4.9). 1 where they are infinitely many.
#[inline]
pub fn deviation_over_estimate(nu: f64, draws: &mut (impl Rng + ?Sized)) -> f64 {
    // A chi-squared quantity is twice a gamma quantity of half the shape.
    if nu > 0.0 && nu.is_finite() { sqrt(0.5 * nu / standard_gamma(0.5 * nu, draws)) } else { 1.0 }
}
