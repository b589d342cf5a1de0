//! The minimum zone of a smooth surface whose heights are known at the nodes of a grid.

use super::{
    exchange::dot,
    flatness::{self, Contact, FlatnessError, MinimumZone, Zone},
    form::Bump,
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
/// alone, which a halved spacing divides by four. Dips and humps that are smaller than that are given
/// by themselves: the middle of each is a point of the zone, its height the dips' own there and the
/// quadratic through the nodes for the rest of the surface.
#[derive(Debug, Clone)]
pub struct SmoothZone {
    nodes: MinimumZone,
    grid: Grid,
    x: Vec<Stencil>,
    y: Vec<Stencil>,
    /// Dips of a smaller sigma, in mm, are points of their own.
    small: f64,
}

/// Working memory for [`SmoothZone::flatness`]; nothing is remembered in it.
#[derive(Debug, Clone)]
pub struct Scratch {
    /// For any other [`MinimumZone::solve`] as well.
    pub nodes: flatness::Scratch,
    points: Vec<[f64; 3]>,
    summits: Vec<Summit>,
}

/// The middle of a small dip or hump: how the surface runs there, and how far that may be followed.
#[derive(Debug, Clone, Copy)]
struct Summit {
    surface: Quadratic,
    /// To before and after along x and y, in mm.
    reach: [[f64; 2]; 2],
}

/// Below so many spacings of the grid (the widest) nodes alone do not show a dip's depth.
const SMALL: f64 = 2.5;

/// So many sigmas from a dip's middle its quadratic is followed at most.
const FOLLOWED: f64 = 0.6;

impl SmoothZone {
    /// Prepares the zone of surfaces over a grid with at least three nodes each way.
    pub fn new(grid: &Grid) -> Result<Self, FlatnessError> {
        if grid.x.len() < 3 || grid.y.len() < 3 {
            return Err(FlatnessError::TooFewPoints);
        }
        let nodes = MinimumZone::new(&grid.points())?;
        let widest = |nodes: &[f64]| nodes.windows(2).map(|pair| pair[1] - pair[0]).fold(0.0, f64::max);
        let small = SMALL * f64::max(widest(&grid.x), widest(&grid.y));
        let [x, y] = [&grid.x, &grid.y].map(|nodes| Stencil::along(nodes));
        Ok(Self { nodes, grid: grid.clone(), x, y, small })
    }

    /// Working memory for [`Self::flatness`].
    pub fn scratch(&self) -> Scratch {
        Scratch { nodes: self.nodes.scratch(), points: Vec::new(), summits: Vec::new() }
    }

    /// The flatness deviation of the surface through `heights`, in their unit. There must be one for
    /// each node, x running fastest, as in [`Grid::points`]. `bumps` are the dips and humps that the
    /// heights hold, in the same unit; those that are small against the grid's spacing are looked
    /// at where they are deepest.
    ///
    /// # Panics
    ///
    /// If there are not as many heights as nodes.
    pub fn flatness(&self, heights: &[f64], bumps: &[Bump], scratch: &mut Scratch) -> f64 {
        // Every plane holds a perfect plate, and the search would try them all.
        if bumps.is_empty() && heights.iter().all(|height| *height == heights[0]) {
            return 0.0;
        }
        let Scratch { nodes, points, summits } = scratch;
        points.clear();
        summits.clear();
        for bump in bumps.iter().filter(|bump| bump.sigma[0].min(bump.sigma[1]) < self.small) {
            let (at, height, summit) = self.summit(heights, bumps, bump);
            points.push([at[0], at[1], height]);
            summits.push(summit);
        }
        let zone = self.nodes.solve_with(heights, points, nodes);
        let holding = zone.contacts.iter().filter(|contact| contact.multiplier > 0.0);
        let growth = holding.map(|contact| {
            let rise = match contact.point.checked_sub(heights.len()) {
                Some(further) => summits[further].rise(&zone, contact.is_above),
                None => self.rise(heights, &zone, contact),
            };
            contact.multiplier * rise
        });
        zone.flatness + growth.sum::<f64>()
    }

    /// The surface at a bump's middle, or at the nearest point of the grid's border: place, height,
    /// and how it runs on. The bumps are exact; what is left of the nodes' heights is taken for
    /// smooth.
    fn summit(&self, heights: &[f64], bumps: &[Bump], bump: &Bump) -> ([f64; 2], f64, Summit) {
        let axes = [&self.grid.x, &self.grid.y];
        let ends = axes.map(|nodes| [nodes[0], nodes[nodes.len() - 1]]);
        let at = [0, 1].map(|axis| bump.centre[axis].clamp(ends[axis][0], ends[axis][1]));
        let [x, y] = [0, 1].map(|axis| Lagrange::through(axes[axis], at[axis]));
        let mut rest: [[f64; 3]; 3] = std::array::from_fn(|j| {
            let start = (y.start + j) * self.grid.x.len() + x.start;
            [heights[start], heights[start + 1], heights[start + 2]]
        });
        let (mut height, mut surface) = (0.0, Quadratic { x: 0.0, y: 0.0, xx: 0.0, xy: 0.0, yy: 0.0 });
        for other in bumps {
            let profile = |axis: usize, v: f64| {
                let u = (v - other.centre[axis]) / other.sigma[axis];
                libm::exp(-0.5 * u * u)
            };
            let along = |axis: usize, start: usize| {
                let nodes = axes[axis];
                [0, 1, 2].map(|k| profile(axis, nodes[start + k]))
            };
            let (along_x, along_y) = (along(0, x.start), along(1, y.start));
            for (row, on_y) in rest.iter_mut().zip(along_y) {
                for (value, on_x) in row.iter_mut().zip(along_x) {
                    *value -= other.height * on_x * on_y;
                }
            }
            let here = other.height * profile(0, at[0]) * profile(1, at[1]);
            let [u, v] = [0, 1].map(|axis| (at[axis] - other.centre[axis]) / other.sigma[axis]);
            let [s, t] = other.sigma;
            height += here;
            surface.x -= here * u / s;
            surface.y -= here * v / t;
            surface.xx += here * (u * u - 1.0) / (s * s);
            surface.xy += here * u * v / (s * t);
            surface.yy += here * (v * v - 1.0) / (t * t);
        }
        let along = |weights: [f64; 3]| rest.map(|row| dot(weights, row));
        let (values, slopes) = (along(x.value), along(x.slope));
        height += dot(y.value, values);
        surface.x += dot(y.value, slopes);
        surface.y += dot(y.slope, values);
        surface.xx += dot(y.value, along(x.curvature));
        surface.xy += dot(y.slope, slopes);
        surface.yy += dot(y.curvature, values);
        let reach = [0, 1].map(|axis| {
            let followed = FOLLOWED * bump.sigma[axis];
            [(at[axis] - ends[axis][0]).min(followed), (ends[axis][1] - at[axis]).min(followed)]
        });
        (at, height, Summit { surface, reach })
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

impl Summit {
    /// How far the surface rises out of the zone near here.
    fn rise(&self, zone: &Zone, is_above: bool) -> f64 {
        let outward = if is_above { 1.0 } else { -1.0 };
        let [_, b, c] = zone.plane;
        let Quadratic { x, y, xx, xy, yy } = self.surface;
        let [x, y, xx, xy, yy] = [x - b, y - c, xx, xy, yy].map(|value| outward * value);
        Quadratic { x, y, xx, xy, yy }.highest(self.reach[0], self.reach[1])
    }
}

/// Value and derivatives at any place, from the values at three nodes near it.
#[derive(Debug, Clone, Copy)]
struct Lagrange {
    /// The first of the three nodes.
    start: usize,
    value: [f64; 3],
    slope: [f64; 3],
    curvature: [f64; 3],
}

impl Lagrange {
    fn through(nodes: &[f64], at: f64) -> Self {
        let after = nodes.partition_point(|&node| node <= at).clamp(1, nodes.len() - 1);
        let nearest = if at - nodes[after - 1] < nodes[after] - at { after - 1 } else { after };
        let start = nearest.clamp(1, nodes.len() - 2) - 1;
        let [a, b, c] = [0, 1, 2].map(|k| nodes[start + k] - at);
        let [da, db, dc] = [(a - b) * (a - c), (b - a) * (b - c), (c - a) * (c - b)];
        Self {
            start,
            value: [b * c / da, a * c / db, a * b / dc],
            slope: [-(b + c) / da, -(a + c) / db, -(a + b) / dc],
            curvature: [2.0 / da, 2.0 / db, 2.0 / dc],
        }
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
            let Lagrange { start, slope, curvature, .. } = Lagrange::through(nodes, nodes[i]);
            Self {
                start,
                own: i - start,
                slope,
                curvature,
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
        zone.flatness(&heights(grid, surface), &[], &mut zone.scratch())
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
            let alone = zone.nodes.solve(&heights, &mut zone.nodes.scratch()).flatness;
            let between = zone.flatness(&heights, &[], &mut zone.scratch());
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

    /// An isolated dip of 99.9 µm and sigma 30 mm lies between the nodes; the rest is flat, so its depth is the flatness.
    #[test]
    fn a_small_dip_is_as_deep_as_it_is() {
        let grid = Grid::over([[25.0, 889.0], [25.0, 585.0]], DEFAULT_NODES);
        let zone = SmoothZone::new(&grid).expect("a grid");
        for at in [[431.0, 281.0], [110.0, 480.0], [700.0, 60.0]] {
            for sigma in [20.0, 30.0, 45.0] {
                let dip = Bump { height: -99.9, centre: at, sigma: [sigma; 2] };
                let z = heights(&grid, |x, y| dip.height([x, y], 0.0));
                let found = zone.flatness(&z, &[dip], &mut zone.scratch());
                assert!((found / 99.9 - 1.0).abs() < 0.01, "{at:?}, sigma {sigma}: {found}");
            }
        }
    }

    /// Plates with deep local wear that overlaps and leans, against the same surface on a raster of 3 mm.
    #[test]
    fn deep_local_wear_is_as_flat_as_a_fine_raster_says() {
        let grid = Grid::over([[25.0, 889.0], [25.0, 585.0]], DEFAULT_NODES);
        let zone = SmoothZone::new(&grid).expect("a grid");
        let fine = Grid { x: nodes(25.0, 889.0, 289), y: nodes(25.0, 585.0, 188) };
        let mut alone = 0.0_f64;
        for case in 0..60 {
            let part = |k: usize| ((case * 7 + k + 1) as f64 * 0.618_033_988_75).fract();
            let dips: Vec<Bump> = (0..3)
                .map(|k| Bump {
                    height: -2.0 - 18.0 * part(5 * k),
                    centre: [914.0 * part(5 * k + 1), 610.0 * part(5 * k + 2)],
                    sigma: [25.0 + 60.0 * part(5 * k + 3); 2],
                })
                .collect();
            let surface = |x: f64, y: f64| {
                let dips: f64 = dips.iter().map(|dip| dip.height([x, y], 0.0)).sum();
                dips + 3.0 * (x / 457.0 - 1.0) * (y / 305.0 - 1.0) + 0.6 * (x / 70.0).sin() * (y / 80.0).cos()
            };
            let truth = flatness(&fine, surface);
            let z = heights(&grid, surface);
            let found = zone.flatness(&z, &dips, &mut zone.scratch());
            assert!((found / truth - 1.0).abs() < 0.03, "case {case}: {found} against {truth}");
            alone = alone.max(1.0 - zone.flatness(&z, &[], &mut zone.scratch()) / truth);
        }
        assert!(alone > 0.1, "without the dips the nodes do as well: {alone}");
    }
}
