//! The minimum zone of a smooth surface whose heights are known at the nodes of a grid.

use super::{
    exchange::dot,
    flatness::{Contact, FlatnessError, MinimumZone, Scratch, Zone},
    grid::Grid,
};

/// The flatness deviation of smooth surfaces known at the nodes of a grid, prepared once for any
/// number of them.
///
/// The nodes' own minimum zone is too small, since the highest and lowest spots lie between nodes.
/// Here the surface near each contact is taken to be the quadratic through the node and its
/// neighbours, and the zone grows by each contact's multiplier times what the quadratic rises above
/// its node. That the planes would then tilt a little is of higher order, as the zone is level in the
/// tilt where it is least (the envelope theorem); only where two contacts are neighbours, at the foot
/// of one valley, does the tilt count.
///
/// For surfaces that are smooth over two spacings the error is a fifth or less of that of the nodes
/// alone, which a halved spacing divides by four. A spot too small to reach a node is missed by both.
#[derive(Debug, Clone)]
pub struct SmoothZone {
    nodes: MinimumZone,
    x: Vec<Stencil>,
    y: Vec<Stencil>,
}

impl SmoothZone {
    /// Prepares the zone of surfaces over a grid with at least three nodes each way.
    pub fn new(grid: &Grid) -> Result<Self, FlatnessError> {
        if grid.x.len() < 3 || grid.y.len() < 3 {
            return Err(FlatnessError::TooFewPoints);
        }
        let nodes = MinimumZone::new(&grid.points())?;
        Ok(Self { nodes, x: Stencil::along(&grid.x), y: Stencil::along(&grid.y) })
    }

    /// Working memory for [`Self::flatness`].
    pub fn scratch(&self) -> Scratch {
        self.nodes.scratch()
    }

    /// The flatness deviation of the surface through `heights`, in their unit. There must be one for
    /// each node, x running fastest, as in [`Grid::points`].
    ///
    /// # Panics
    ///
    /// If there are not as many heights as nodes.
    pub fn flatness(&self, heights: &[f64], scratch: &mut Scratch) -> f64 {
        let zone = self.nodes.solve(heights, scratch);
        let holding = zone.contacts.iter().filter(|contact| contact.multiplier > 0.0);
        let growth = holding.map(|contact| contact.multiplier * self.rise(heights, &zone, contact));
        zone.flatness + growth.sum::<f64>()
    }

    /// How far the surface rises out of the nodes' zone near a contact.
    fn rise(&self, heights: &[f64], zone: &Zone, contact: &Contact) -> f64 {
        let n_columns = self.x.len();
        let (x, y) = (&self.x[contact.point % n_columns], &self.y[contact.point / n_columns]);
        let rows = [0, 1, 2].map(|row| {
            let start = (y.start + row) * n_columns + x.start;
            [heights[start], heights[start + 1], heights[start + 2]]
        });
        let column = rows.map(|row| row[x.own]);
        let outward = if contact.is_above { 1.0 } else { -1.0 };
        let [_, b, c] = zone.plane;
        Quadratic {
            x: outward * (dot(x.slope, rows[y.own]) - b),
            y: outward * (dot(y.slope, column) - c),
            xx: outward * dot(x.curvature, rows[y.own]),
            xy: outward * dot(y.slope, rows.map(|row| dot(x.slope, row))),
            yy: outward * dot(y.curvature, column),
        }
        .highest(x.reach, y.reach)
    }
}

/// The derivatives at one node, from the values at it and its two nearest neighbours.
#[derive(Debug, Clone, Copy)]
struct Stencil {
    /// The first of the three nodes.
    start: usize,
    /// Which of the three it is for.
    own: usize,
    slope: [f64; 3],
    curvature: [f64; 3],
    /// Half way to the neighbours before and after, in mm; 0 where there is none.
    reach: [f64; 2],
}

impl Stencil {
    /// One for each node of an axis, in mm.
    fn along(nodes: &[f64]) -> Vec<Self> {
        let last = nodes.len() - 1;
        let at_node = |i: usize| {
            let start = i.clamp(1, last - 1) - 1;
            let [a, b, c] = [0, 1, 2].map(|k| nodes[start + k] - nodes[i]);
            // Lagrange's polynomials through three nodes, differentiated at 0.
            let [da, db, dc] = [(a - b) * (a - c), (b - a) * (b - c), (c - a) * (c - b)];
            Self {
                start,
                own: i - start,
                slope: [-(b + c) / da, -(a + c) / db, -(a + b) / dc],
                curvature: [2.0 / da, 2.0 / db, 2.0 / dc],
                reach: [
                    if i > 0 { (nodes[i] - nodes[i - 1]) / 2.0 } else { 0.0 },
                    if i < last { (nodes[i + 1] - nodes[i]) / 2.0 } else { 0.0 },
                ],
            }
        };
        (0..=last).map(at_node).collect()
    }
}

/// A quadratic in two coordinates that is 0 at the origin, by its derivatives there.
#[derive(Debug, Clone, Copy)]
struct Quadratic {
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
}

impl Quadratic {
    fn at(&self, x: f64, y: f64) -> f64 {
        self.x * x + self.y * y + (self.xx * x * x + self.yy * y * y) / 2.0 + self.xy * x * y
    }

    /// Its greatest value over a box that holds the origin, reaching so far to before and after it.
    fn highest(&self, along_x: [f64; 2], along_y: [f64; 2]) -> f64 {
        let determinant = self.xx * self.yy - self.xy * self.xy;
        if self.xx < 0.0 && determinant > 0.0 {
            let x = (self.xy * self.y - self.yy * self.x) / determinant;
            let y = (self.xy * self.x - self.xx * self.y) / determinant;
            let is_within = |value: f64, [before, after]: [f64; 2]| -before <= value && value <= after;
            if is_within(x, along_x) && is_within(y, along_y) {
                return self.at(x, y);
            }
        }
        // No summit inside: the highest is on the border.
        let mut highest = 0.0_f64;
        for x in [-along_x[0], along_x[1]] {
            highest = highest.max(self.at(x, summit(self.y + self.xy * x, self.yy, along_y)));
        }
        for y in [-along_y[0], along_y[1]] {
            highest = highest.max(self.at(summit(self.x + self.xy * y, self.xx, along_x), y));
        }
        highest
    }
}

/// Where a parabola, given by its derivatives at 0, is highest between `-before` and `after`.
fn summit(slope: f64, curvature: f64, [before, after]: [f64; 2]) -> f64 {
    if curvature < 0.0 {
        (-slope / curvature).clamp(-before, after)
    } else if slope + curvature * (after - before) / 2.0 > 0.0 {
        after
    } else {
        -before
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop::grid::DEFAULT_NODES;

    fn heights(grid: &Grid, surface: impl Fn(f64, f64) -> f64) -> Vec<f64> {
        grid.points().iter().map(|&[x, y]| surface(x, y)).collect()
    }

    fn flatness(grid: &Grid, surface: impl Fn(f64, f64) -> f64) -> f64 {
        let zone = SmoothZone::new(grid).expect("a grid");
        zone.flatness(&heights(grid, surface), &mut zone.scratch())
    }

    fn nodes(low: f64, high: f64, count: usize) -> Vec<f64> {
        let step = (high - low) / (count - 1) as f64;
        (0..count).map(|i| low + step * i as f64).collect()
    }

    /// A bowl is deepest in the middle, where a grid with an even number of nodes has none.
    #[test]
    fn a_bowl_is_exact_between_nodes() {
        let grid = Grid { x: nodes(-300.0, 300.0, 6), y: nodes(-200.0, 200.0, 4) };
        let bowl = |x: f64, y: f64| 4e-5 * x * x + 7e-5 * y * y + 0.003 * x;
        let rise = 4e-5 * 300.0 * 300.0 + 7e-5 * 200.0 * 200.0;
        assert!((flatness(&grid, bowl) - rise).abs() < 1e-12);
        assert!((flatness(&grid, |x, y| -bowl(x, y)) - rise).abs() < 1e-12);
        // A twist touches at the corners, which are nodes: nothing is added.
        let twist = |x: f64, y: f64| 1e-5 * x * y;
        assert!((flatness(&grid, twist) - 2.0 * 1e-5 * 300.0 * 200.0).abs() < 1e-13);
        assert!(flatness(&grid, |_, _| 3.0) < 1e-15);
    }

    /// A dish that wear has made: off centre, lopsided, and with a ridge along the front edge.
    fn worn(case: usize) -> impl Fn(f64, f64) -> f64 {
        let part = |k: usize| ((case + 1) as f64 * [0.618, 0.414, 0.732, 0.236][k]).fract() - 0.5;
        let (x0, y0, lean, ridge) = (450.0 + 200.0 * part(0), 300.0 + 150.0 * part(1), part(2), part(3));
        move |x: f64, y: f64| {
            let (u, v) = ((x - x0) / 260.0, (y - y0) / 170.0);
            let front = (x - 450.0 - 300.0 * ridge) / 250.0;
            lean * u * v - 5.0 * (-0.5 * (u * u + v * v + lean * u * v)).exp()
                + 2.0 * (-0.5 * front * front - y / 150.0).exp()
        }
    }

    /// The relative errors of the nodes alone and with what lies between, over many surfaces.
    fn errors(grid: &Grid) -> [Vec<f64>; 2] {
        let fine = Grid { x: nodes(0.0, 900.0, 181), y: nodes(0.0, 600.0, 121) };
        let zone = SmoothZone::new(grid).expect("a grid");
        let of_case = |case: usize| {
            let truth = flatness(&fine, worn(case));
            let heights = heights(grid, worn(case));
            let alone = zone.nodes.solve(&heights, &mut zone.scratch()).flatness;
            let between = zone.flatness(&heights, &mut zone.scratch());
            ((alone / truth - 1.0).abs(), (between / truth - 1.0).abs())
        };
        let (alone, between) = (0..40).map(of_case).unzip();
        [alone, between]
    }

    #[test]
    fn what_lies_between_takes_most_of_the_error_away_at_any_spacing() {
        let mean = |values: &Vec<f64>| values.iter().sum::<f64>() / values.len() as f64;
        let means = [(10, 7), (19, 13), (37, 25)].map(|(n_columns, n_rows)| {
            let grid = Grid { x: nodes(0.0, 900.0, n_columns), y: nodes(0.0, 600.0, n_rows) };
            errors(&grid).each_ref().map(mean)
        });
        for [alone, between] in means {
            assert!(between < alone / 5.0, "{means:?}");
        }
        for pair in means.windows(2) {
            assert!((3.0..5.0).contains(&(pair[0][0] / pair[1][0])), "{means:?}");
            assert!(pair[1][1] < pair[0][1] / 3.0, "{means:?}");
        }
    }

    #[test]
    fn the_default_grid_is_good_to_one_per_cent() {
        let [alone, between] = errors(&Grid::over([[0.0, 900.0], [0.0, 600.0]], DEFAULT_NODES));
        let largest = |values: &[f64]| values.iter().copied().fold(0.0, f64::max);
        assert!(largest(&between) < 0.01, "{between:?}");
        assert!(largest(&alone) > 0.01, "the nodes alone are not: {alone:?}");
    }

    #[test]
    fn stencils_are_exact_for_parabolas() {
        let x = [0.0, 1.0, 2.5, 4.0, 7.0];
        for (stencil, x0) in Stencil::along(&x).iter().zip(x) {
            let values =
                [0, 1, 2].map(|k| 3.0 - 2.0 * x[stencil.start + k] + 0.5 * x[stencil.start + k].powi(2));
            assert_eq!(x[stencil.start + stencil.own], x0);
            assert!((dot(stencil.slope, values) - (x0 - 2.0)).abs() < 1e-13);
            assert!((dot(stencil.curvature, values) - 1.0).abs() < 1e-13);
        }
    }

    /// Against a search through many places.
    #[test]
    fn the_summit_of_a_quadratic_over_a_box() {
        let part = |case: usize, k: usize| {
            ((case + 1) as f64 * [0.6180339, 0.4142135, 0.7320508, 0.2360679, 0.8729833][k]).fract() - 0.5
        };
        for case in 0..500 {
            let [x, y, xx, xy, yy] = [0, 1, 2, 3, 4].map(|k| part(case, k));
            let quadratic = Quadratic { x, y, xx: 2.0 * xx - 0.5, xy, yy: 2.0 * yy - 0.5 };
            let (along_x, along_y) = ([0.0, 1.0], [0.5, 0.75]);
            let place = |[before, after]: [f64; 2], i: usize| (before + after) * i as f64 / 200.0 - before;
            let highest = (0..201 * 201).fold(f64::NEG_INFINITY, |highest: f64, i| {
                highest.max(quadratic.at(place(along_x, i % 201), place(along_y, i / 201)))
            });
            let found = quadratic.highest(along_x, along_y);
            assert!(found >= highest - 1e-12 && found < highest + 1e-4, "{quadratic:?}: {found} {highest}");
        }
    }
}
