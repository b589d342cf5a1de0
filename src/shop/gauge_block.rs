//! The gauge block under the tip.

use crate::quantity::distribution::Distribution;

/// A gauge block that is moved from spot to spot. Its length cancels; what is left stands here.
#[derive(Debug, Clone, PartialEq)]
pub struct GaugeBlock {
    /// Nominal length, in mm.
    pub length: f64,
    /// Sides of its measuring face, in mm.
    pub face: [f64; 2],
    /// Variation in length over the face, in µm: the largest minus the smallest length.
    pub length_variation: f64,
    /// Coefficient of linear expansion, in 1/K.
    pub expansion: Distribution,
}

/// Grade of a gauge block (ISO 3650:1998; ASME B89.1.9-2002, whose K, 0, AS-1 and AS-2 are the
/// same as K, 0, 1 and 2 of the other).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BlockGrade {
    /// K of both standards.
    K,
    /// 00 of ASME B89.1.9.
    DoubleZero,
    /// 0 of both standards.
    Zero,
    /// ISO 1, ASME AS-1.
    One,
    /// ISO 2, ASME AS-2.
    Two,
}
