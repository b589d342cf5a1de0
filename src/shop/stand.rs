//! The stand: three feet, an arm, and the lever between them.

use super::gauge_block::GaugeBlock;
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

    /// How far a point (in the stand's frame, mm) is from what stands on the plate there: the feet and the column with
    /// everything between them; 0 among them. Pads have no width here.
    pub fn distance_from_base(&self, point: [f64; 2]) -> f64 {
        let [a, b, c] = self.feet;
        let column = [0.0, 0.0];
        // The hull of four points is the union of the four triangles.
        let triangles = [[a, b, c], [a, b, column], [b, c, column], [c, a, column]];
        triangles
            .into_iter()
            .map(|triangle| distance_from_triangle(point, triangle))
            .fold(f64::INFINITY, f64::min)
    }

    /// The shortest reach straight ahead at which a block, either way round, is clear of the front feet, in mm.
    pub fn nearest_ahead(&self, block: &GaugeBlock) -> f64 {
        let front = self.feet.iter().map(|foot| foot[0]).fold(0.0, f64::max);
        front + (self.pad_diameter + block.face[0].max(block.face[1])) / 2.0
    }

    /// Whether a block with its middle at a point of the stand's frame (mm) is clear of feet and column, either way round.
    pub fn clears(&self, block: &GaugeBlock, point: [f64; 2]) -> bool {
        let near = (self.pad_diameter + block.face[0].max(block.face[1])) / 2.0;
        self.distance_from_base(point) >= near * (1.0 - 1e-9)
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
    let longest = [(a, b), (b, c), (c, a)]
        .iter()
        .map(|(p, q)| libm::hypot(p[0] - q[0], p[1] - q[1]))
        .fold(0.0, f64::max);
    // Feet within a millionth of one line carry no plane that could be computed with.
    if !whole.is_finite() || whole.abs() <= 1e-6 * longest * longest {
        return None;
    }
    Some([twice_area(tip, b, c) / whole, twice_area(a, tip, c) / whole, twice_area(a, b, tip) / whole])
}

fn distance_from_triangle(point: [f64; 2], [a, b, c]: [[f64; 2]; 3]) -> f64 {
    let sides = [twice_area(point, a, b), twice_area(point, b, c), twice_area(point, c, a)];
    if twice_area(a, b, c) != 0.0 && (sides.iter().all(|s| *s >= 0.0) || sides.iter().all(|s| *s <= 0.0)) {
        return 0.0;
    }
    [(a, b), (b, c), (c, a)]
        .map(|(p, q)| distance_from_line(point, p, q))
        .into_iter()
        .fold(f64::INFINITY, f64::min)
}

/// Distance of a point from the line between `from` and `to`, no farther than its ends.
fn distance_from_line(point: [f64; 2], from: [f64; 2], to: [f64; 2]) -> f64 {
    let [dx, dy] = [to[0] - from[0], to[1] - from[1]];
    let length = dx * dx + dy * dy;
    let along = (point[0] - from[0]) * dx + (point[1] - from[1]) * dy;
    let share = if length > 0.0 { (along / length).clamp(0.0, 1.0) } else { 0.0 };
    libm::hypot(point[0] - from[0] - share * dx, point[1] - from[1] - share * dy)
}

fn twice_area(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

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

    /// By hand: front edge at x = 40, rear foot at −50, sides from (−50, 0) to (40, ±35); a block of 9 x 35 mm and pads of
    /// 10 mm need 22.5 mm.
    #[test]
    fn a_block_is_clear_beyond_pads_and_half_its_length() {
        let stand = stand([[40.0, 35.0], [40.0, -35.0], [-50.0, 0.0]]);
        let block = GaugeBlock {
            length: 25.0,
            face: [9.0, 35.0],
            length_variation: 0.0,
            expansion: Distribution::Constant { value: 0.0 },
        };
        for inside in [[0.0, 0.0], [40.0, 0.0], [10.0, -20.0], [-49.0, 0.0]] {
            assert_eq!(stand.distance_from_base(inside), 0.0, "{inside:?}");
        }
        assert!((stand.distance_from_base([100.0, 10.0]) - 60.0).abs() < 1e-12);
        assert!((stand.distance_from_base([-80.0, 40.0]) - 50.0).abs() < 1e-12);
        assert!(stand.clears(&block, [62.5, 0.0]) && !stand.clears(&block, [62.4, 0.0]));
        assert!(stand.clears(&block, [-72.5, 0.0]) && !stand.clears(&block, [-72.4, 0.0]));
        // A column outside its feet is in the way as well.
        let ahead = Stand { feet: stand.feet.map(|[x, y]| [x - 100.0, y]), ..stand };
        assert_eq!(ahead.distance_from_base([0.0, 0.0]), 0.0);
        assert!((ahead.distance_from_base([30.0, 0.0]) - 30.0).abs() < 1e-12);
    }

    #[test]
    fn feet_on_a_line_have_no_side_view() {
        assert_eq!(stand([[0.0, 0.0], [10.0, 0.0], [20.0, 0.0]]).side(), None);
    }
}
