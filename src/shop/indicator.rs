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
    /// How much too much it reads, for a contact angle in degrees: `1 / cos φ`, times `cos φ̂` where
    /// readings were corrected for the estimate φ̂.
    pub fn gain(&self, angle: f64) -> f64 {
        let cosine = |degrees: f64| libm::cos(degrees.to_radians());
        let corrected = if self.cosine_corrected { cosine(self.contact_angle.mean()) } else { 1.0 };
        corrected / cosine(angle)
    }
}
