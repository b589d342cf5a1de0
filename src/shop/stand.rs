//! The stand: three feet, an arm, and the lever between them.

use super::material::Material;
use crate::quantity::distribution::Distribution;

/// A three-footed indicator stand, in its own frame: origin where the person says the stand is,
/// the arm pointing along +x, y to its left.
#[derive(Debug, Clone, PartialEq)]
pub struct Stand {
    /// Where the feet are, `[foot][x, y]`, in mm.
    pub feet: [[f64; 2]; 3],
    /// Diameter of a foot's pad, in mm.
    pub pad_diameter: f64,
    /// Shortest and longest reach (tip to the stand's origin), in mm.
    pub reach: [f64; 2],
    /// Height of the column that carries the arm, in mm.
    pub height: f64,
    /// Expansion of the column, in 1/K.
    pub column_expansion: Distribution,
}

impl Stand {
    /// Weights `w` of the three contact heights in the height of their plane at the tip.
    ///
    /// `tip` in the stand's frame, mm. They solve `[f1 f2 f3; 1 1 1] w = [t; 1]`, so they add up to
    /// one and depend on geometry alone: each is a ratio of areas of triangles (barycentric
    /// coordinates). `None` where the feet stand on one line and carry no plane.
    pub fn weights(&self, tip: [f64; 2]) -> Option<[f64; 3]> {
        weights(self.feet, tip)
    }
}

/// [`Stand::weights`] for any three points and a fourth, in one and the same frame.
pub fn weights(feet: [[f64; 2]; 3], tip: [f64; 2]) -> Option<[f64; 3]> {
    let [a, b, c] = feet;
    let whole = twice_area(a, b, c);
    let longest =
        [(a, b), (b, c), (c, a)].iter().map(|(p, q)| (p[0] - q[0]).hypot(p[1] - q[1])).fold(0.0, f64::max);
    // Feet within a millionth of one line carry no plane that could be computed with.
    if !whole.is_finite() || whole.abs() <= 1e-6 * longest * longest {
        return None;
    }
    Some([twice_area(tip, b, c) / whole, twice_area(a, tip, c) / whole, twice_area(a, b, tip) / whole])
}

fn twice_area(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// The column's material when nobody says: plain steel.
pub const DEFAULT_COLUMN: Material = Material::Steel;
