//! What is known of one input quantity, as a probability density.

use rand::Rng;

/// What is known of one input quantity, as a probability density (JCGM 101:2008, 6.4 and table 1).
///
/// Every parameter is in the quantity's own unit unless it says otherwise. Build values with the
/// checked constructors ([`Distribution::normal`] and so on), which refuse impossible parameters;
/// a value that exists is sound, so no method here can fail.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distribution {
    /// Known exactly.
    Constant { value: f64 },
    /// Limits and nothing more (6.4.2).
    Rectangular { low: f64, high: f64 },
    /// Limits that are themselves known only to within `± inexactness` (6.4.3, "CTrap").
    InexactRectangular { low: f64, high: f64, inexactness: f64 },
    /// The sum of two independent rectangular quantities (6.4.4): limits, and the ratio `beta` of
    /// the top's width to the base's, between 0 (triangular) and 1 (rectangular).
    Trapezoidal { low: f64, high: f64, beta: f64 },
    /// The sum of two rectangular quantities of equal width (6.4.5).
    Triangular { low: f64, high: f64 },
    /// A sinusoid of unknown phase between two limits (6.4.6).
    ArcSine { low: f64, high: f64 },
    /// An estimate with its standard uncertainty (6.4.7).
    Normal { mean: f64, standard_deviation: f64 },
    /// Scaled and shifted t (6.4.9): `scale` is not its standard deviation.
    StudentT { location: f64, scale: f64, degrees_of_freedom: f64 },
    /// A non-negative quantity of which only the mean is known (6.4.10).
    Exponential { mean: f64 },
    /// Gamma (6.4.11 gives it for counts): `mean = shape * scale`.
    Gamma { shape: f64, scale: f64 },
    /// The logarithm is normal: sizes of particles. `spread` is the standard deviation of ln x.
    Lognormal { median: f64, spread: f64 },
}

impl Distribution {
    /// The estimate: the expectation (JCGM 101 6.4).
    pub fn mean(&self) -> f64 { let _ = self; todo!() }
    /// The standard uncertainty, infinite where the variance is (t with ν ≤ 2).
    pub fn standard_uncertainty(&self) -> f64 { todo!() }
    /// Density at `x`.
    pub fn density(&self, _x: f64) -> f64 { todo!() }
    /// Probability of a value at or below `x`.
    pub fn cumulative(&self, _x: f64) -> f64 { todo!() }
    /// The value that is not exceeded with probability `p` (0 < p < 1).
    pub fn quantile(&self, _p: f64) -> f64 { todo!() }
    /// One random draw.
    pub fn draw(&self, _draws: &mut (impl Rng + ?Sized)) -> f64 { todo!() }
    /// The distribution of `factor * X`, for a change of unit or sign.
    pub fn scaled(&self, _factor: f64) -> Self { todo!() }
    /// The distribution of `X + offset`, where the family has one.
    pub fn shifted(&self, _offset: f64) -> Self { todo!() }
}
