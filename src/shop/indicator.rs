//! The indicator: what it adds to a height, and what is read from it.

use crate::quantity::distribution::Distribution;

/// A dial or lever indicator, as it is used in this check.
#[derive(Debug, Clone, PartialEq)]
pub struct Indicator {
    /// One graduation, in µm.
    pub graduation: f64,
    /// What readings are rounded to, in µm: the graduation times the fraction of it that is read.
    pub read_step: f64,
    /// Limit of the error of indication over the used range, ± in µm.
    pub error_limit: f64,
    /// Travel over which the error of indication runs through one swing, in µm.
    pub error_travel: f64,
    /// Difference between readings approached from above and from below (retrace), in µm.
    pub hysteresis: Distribution,
    /// Whether the tip always approaches from the same side, so that hysteresis drops out.
    pub one_sided_approach: bool,
    /// Standard deviation of a reading repeated on one spot, in µm.
    pub repeatability: f64,
    /// Degrees of freedom of that standard deviation; infinite where it is stated, not measured.
    pub repeatability_dof: f64,
    /// Standard deviation of a shift of the zero each time the stand is put down, in µm.
    pub zero_shift: f64,
    /// Angle between the contact arm (or plunger) and its right position, in degrees.
    pub contact_angle: Distribution,
    /// Whether the readings were multiplied by the cosine of that angle's estimate.
    pub cosine_corrected: bool,
}

impl Indicator {
    /// Readings have moments of orders below this one alone: their scatter is as well known as its degrees of freedom say, so
    /// that they are known as t.
    pub fn moments_below(&self) -> f64 {
        if self.repeatability > 0.0 { self.repeatability_dof } else { f64::INFINITY }
    }

    /// How much too much it reads, for a contact angle in degrees: `1 / cos φ`, times `cos φ̂` where
    /// readings were corrected for the estimate φ̂.
    pub fn gain(&self, angle: f64) -> f64 {
        let cosine = |degrees: f64| libm::cos(degrees.to_radians());
        let corrected = if self.cosine_corrected { cosine(self.contact_angle.mean()) } else { 1.0 };
        corrected / cosine(angle)
    }
}

/// What a standard lets an indicator of a kind err.
///
/// The limits are micrometres for a class of one graduation, and graduations for a class of any.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IndicatorClass {
    /// Its name as a setup file writes it.
    pub name: &'static str,
    /// The graduation it is for, in µm; none where it is for any.
    pub graduation: Option<f64>,
    /// Limit of the error of indication over a small part of the range, ±.
    pub error_limit: f64,
    /// Limit of hysteresis (retrace).
    pub hysteresis: f64,
    /// Repeatability.
    pub repeatability: f64,
}

impl IndicatorClass {
    /// Every class, in the order they are listed to a user; the first is taken when it is not stated.
    ///
    /// - ASME B89.1.10M-2001, in graduations: 1, 1/3, 1/5 (from memory).
    /// - Lever indicators of 0.002 mm, DIN 2270: error 3 to 4 µm (4 taken), 2, 1 (from memory).
    /// - Plunger indicators, JIS B 7503:2011: error over a tenth of a revolution, retrace,
    ///   repeatability (read); 0.001 and 0.002 mm with a range of 1 mm or less, 0.01 mm with a
    ///   range over 5 to 10 mm.
    pub const ALL: [Self; 5] = [
        Self {
            name: "ASME B89.1.10M",
            graduation: None,
            error_limit: 1.0,
            hysteresis: 1.0 / 3.0,
            repeatability: 0.2,
        },
        Self::metric("DIN 2270, lever, 0.002 mm", 2.0, [4.0, 2.0, 1.0]),
        Self::metric("JIS B 7503, plunger, 0.001 mm", 1.0, [2.0, 2.0, 0.5]),
        Self::metric("JIS B 7503, plunger, 0.002 mm", 2.0, [2.5, 2.5, 1.0]),
        Self::metric("JIS B 7503, plunger, 0.01 mm", 10.0, [5.0, 3.0, 3.0]),
    ];

    const fn metric(name: &'static str, graduation: f64, limits: [f64; 3]) -> Self {
        let [error_limit, hysteresis, repeatability] = limits;
        Self { name, graduation: Some(graduation), error_limit, hysteresis, repeatability }
    }
}
