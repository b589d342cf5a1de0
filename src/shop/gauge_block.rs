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

impl BlockGrade {
    /// Every grade under every name it goes by, in the order they are listed to a user.
    pub const NAMES: [(&'static str, Self); 7] = [
        ("K", Self::K),
        ("00", Self::DoubleZero),
        ("0", Self::Zero),
        ("1", Self::One),
        ("2", Self::Two),
        ("AS-1", Self::One),
        ("AS-2", Self::Two),
    ];

    /// Tolerance `t_v` on the variation in length over the face, in µm, for a nominal length in mm.
    ///
    /// ISO 3650:1998 table 5 (grades 0, 1, 2 read in a table for DIN 861, which is identical for
    /// them; K from memory), ASME B89.1.9-2002 grade 00 from memory. `None` for blocks longer than
    /// 100 mm, for which no value is known here.
    pub fn length_variation(self, length: f64) -> Option<f64> {
        let row = LENGTH_VARIATION.iter().find(|(up_to, _)| length <= up_to * (1.0 + 1e-9))?;
        Some(row.1[self as usize])
    }
}

/// Up to this length (mm), `t_v` of grades K, 00, 0, 1, 2 (µm).
const LENGTH_VARIATION: [(f64, [f64; 5]); 4] = [
    (25.0, [0.05, 0.05, 0.10, 0.16, 0.30]),
    (50.0, [0.06, 0.06, 0.10, 0.18, 0.30]),
    (75.0, [0.06, 0.06, 0.12, 0.18, 0.35]),
    (100.0, [0.07, 0.07, 0.12, 0.20, 0.35]),
];
