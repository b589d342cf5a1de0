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

    /// The stand seen from the side, arm straight ahead; `None` where the feet carry no plane.
    ///
    /// Lines parallel to that through the pair of feet cross the arm's line at right places for the lever:
    /// a line through heights at `rear` and `front`, carried out to a tip straight ahead, is the plane of the three feet
    /// there, if both of the pair stand equally high.
    pub fn side(&self) -> Option<Side> {
        self.weights([0.0, 0.0])?;
        let single = single_foot(&self.feet);
        let [a, b] = [self.feet[(single + 1) % 3], self.feet[(single + 2) % 3]];
        // x moved along the pair's line to the line of the arm, y = 0.
        let lean = (b[0] - a[0]) / (b[1] - a[1]);
        let across = |foot: [f64; 2]| foot[0] - lean * foot[1];
        let [alone, pair] = [across(self.feet[single]), across(a)];
        (alone.is_finite() && pair.is_finite() && alone != pair).then_some(Side {
            single,
            single_is_rear: alone < pair,
            rear: alone.min(pair),
            front: alone.max(pair),
        })
    }
}

/// Where the feet are along the arm, seen from the side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Side {
    /// The foot that is by itself along the arm, counted from 0; the others are a pair.
    pub single: usize,
    /// Whether that is the rear one, away from the tip.
    pub single_is_rear: bool,
    /// Where the rear foot, or pair of feet, is, in mm ahead of the stand's origin.
    pub rear: f64,
    /// Where the front foot, or pair of feet, is, likewise.
    pub front: f64,
}

/// The foot that is by itself along the arm: the rear or the front one; the others are a pair.
pub fn single_foot(feet: &[[f64; 2]; 3]) -> usize {
    let apart = |i: usize| (feet[(i + 1) % 3][0] - feet[(i + 2) % 3][0]).abs();
    (0..3).min_by(|&a, &b| apart(a).total_cmp(&apart(b))).unwrap_or(2)
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

#[cfg(test)]
mod tests {
    use super::*;

    fn stand(feet: [[f64; 2]; 3]) -> Stand {
        Stand {
            feet,
            pad_diameter: 10.0,
            reach: [60.0, 400.0],
            height: 150.0,
            column_expansion: Distribution::Constant { value: 0.0 },
        }
    }

    /// The lever of the side view is that of the stand, also where it stands askew in its own frame.
    #[test]
    fn the_side_view_keeps_the_lever() {
        for feet in [
            [[40.0, 35.0], [40.0, -35.0], [-50.0, 0.0]],
            [[45.0, 35.0], [38.0, -30.0], [-50.0, 12.0]],
            [[-40.0, -35.0], [60.0, 4.0], [-41.0, 35.0]],
        ] {
            let stand = stand(feet);
            let side = stand.side().unwrap();
            for reach in [100.0, 250.0, 900.0] {
                let weights = stand.weights([reach, 0.0]).unwrap();
                let rear = (side.front - reach) / (side.front - side.rear);
                let single = if side.single_is_rear { rear } else { 1.0 - rear };
                assert!((single - weights[side.single]).abs() < 1e-12, "{feet:?}: {single} {weights:?}");
            }
        }
    }

    #[test]
    fn feet_on_a_line_have_no_side_view() {
        assert_eq!(stand([[0.0, 0.0], [10.0, 0.0], [20.0, 0.0]]).side(), None);
    }
}
