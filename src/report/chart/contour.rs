//! Lines of equal height on a grid, and the areas above them.

/// One closed ring round an area at or above a level, counter-clockwise in x and y.
#[derive(Clone, Debug)]
pub(super) struct Ring {
    /// Its corners; the last is joined to the first.
    pub points: Vec<[f64; 2]>,
    /// For each corner whether the side that starts there is a line of equal height, not the grid's border.
    pub level_side: Vec<bool>,
}

impl Ring {
    /// The lines of equal height in it, without what runs along the border.
    pub fn level_lines(&self) -> Vec<Vec<[f64; 2]>> {
        let n = self.points.len();
        // Begin after a border side, so that no line is cut where the ring happens to start.
        let start = (0..n).find(|&i| !self.level_side[(i + n - 1) % n]).unwrap_or(0);
        let mut lines: Vec<Vec<[f64; 2]>> = Vec::new();
        let mut open = false;
        for k in 0..n {
            let i = (start + k) % n;
            if self.level_side[i] {
                if !open {
                    lines.push(vec![self.points[i]]);
                }
                if let Some(line) = lines.last_mut() {
                    line.push(self.points[(i + 1) % n]);
                }
            }
            open = self.level_side[i];
        }
        lines
    }
}

/// The rings round all areas where the height is `level` or more; a ring inside another is a hole.
///
/// Marching squares, straight between grid points; where a cell's corners leave open which pair is joined,
/// the mean of the four decides. Heights at (`x[i]`, `y[j]`) are `heights[j * x.len() + i]`; one that is not
/// finite counts as below the level.
pub(super) fn rings(x: &[f64], y: &[f64], heights: &[f64], level: f64) -> Vec<Ring> {
    let (nx, ny) = (x.len(), y.len());
    if nx < 2 || ny < 2 || heights.len() < nx * ny {
        return Vec::new();
    }
    // A rim of no width round the grid, below every level, closes all rings at the border.
    let wide = nx + 2;
    let node = |i: usize, j: usize| -> ([f64; 2], f64) {
        let (ci, cj) = (i.clamp(1, nx) - 1, j.clamp(1, ny) - 1);
        let on_grid = (1..=nx).contains(&i) && (1..=ny).contains(&j);
        let height = if on_grid { heights[cj * nx + ci] } else { f64::NEG_INFINITY };
        ([x[ci], y[cj]], if height.is_finite() { height } else { f64::NEG_INFINITY })
    };
    // An edge runs right (0) or up (1) from its node; a ring leaves each edge it crosses to one other.
    let edge = |i: usize, j: usize, up: usize| 2 * (j * wide + i) + up;
    let mut next: Vec<Option<(usize, bool)>> = vec![None; 2 * wide * (ny + 2)];
    for j in 0..=ny {
        for i in 0..=nx {
            let corners = [node(i, j).1, node(i + 1, j).1, node(i + 1, j + 1).1, node(i, j + 1).1];
            let edges = [edge(i, j, 0), edge(i + 1, j, 1), edge(i, j + 1, 0), edge(i, j, 1)];
            let on_grid = i > 0 && i < nx && j > 0 && j < ny;
            let is_in = corners.map(|height| height >= level);
            let joined = corners.iter().sum::<f64>() / 4.0 >= level;
            for k in 0..4 {
                // Counter-clockwise round the cell, the ring enters where the area ends.
                if is_in[k] && !is_in[(k + 1) % 4] {
                    let ways: [usize; 3] = if joined { [1, 2, 3] } else { [3, 2, 1] };
                    let back =
                        ways.into_iter().map(|d| (k + d) % 4).find(|&m| !is_in[m] && is_in[(m + 1) % 4]);
                    next[edges[k]] = back.map(|m| (edges[m], on_grid));
                }
            }
        }
    }
    let crossing = |e: usize| -> [f64; 2] {
        let (i, j) = ((e / 2) % wide, (e / 2) / wide);
        let (a, za) = node(i, j);
        let (b, zb) = if e.is_multiple_of(2) { node(i + 1, j) } else { node(i, j + 1) };
        let t = match (za.is_finite(), zb.is_finite()) {
            (true, true) => (level - za) / (zb - za),
            (true, false) => 0.0,
            _ => 1.0,
        };
        [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t]
    };
    let mut found = Vec::new();
    for start in 0..next.len() {
        let mut ring = Ring { points: Vec::new(), level_side: Vec::new() };
        let mut at = start;
        while let Some((to, on_grid)) = next[at].take() {
            ring.points.push(crossing(at));
            ring.level_side.push(on_grid);
            at = to;
        }
        if !ring.points.is_empty() {
            found.push(without_needless(ring));
        }
    }
    found
}

/// Drops corners that coincide, and those between two sides of the border that lie in one line.
fn without_needless(ring: Ring) -> Ring {
    let apart = filter(ring, |_, at, after, _| at != after);
    filter(apart, |a, b, c, on_border| {
        !on_border || ((a[0] != b[0] || b[0] != c[0]) && (a[1] != b[1] || b[1] != c[1]))
    })
}

/// Keeps the corners for which `is_needed(the one before, it, the one after, both sides on the border)`.
fn filter(ring: Ring, is_needed: impl Fn([f64; 2], [f64; 2], [f64; 2], bool) -> bool) -> Ring {
    let n = ring.points.len();
    let kept = (0..n).filter(|&i| {
        let (before, after) = ((i + n - 1) % n, (i + 1) % n);
        let on_border = !ring.level_side[before] && !ring.level_side[i];
        is_needed(ring.points[before], ring.points[i], ring.points[after], on_border)
    });
    let (points, level_side) = kept.map(|i| (ring.points[i], ring.level_side[i])).unzip();
    Ring { points, level_side }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(ring: &Ring) -> f64 {
        let n = ring.points.len();
        (0..n)
            .map(|i| {
                let ([ax, ay], [bx, by]) = (ring.points[i], ring.points[(i + 1) % n]);
                (ax * by - bx * ay) / 2.0
            })
            .sum()
    }

    fn grid(n: usize, height: impl Fn(f64, f64) -> f64) -> (Vec<f64>, Vec<f64>) {
        let x: Vec<f64> = (0..n).map(|i| 2.0 * i as f64 / (n - 1) as f64 - 1.0).collect();
        let heights =
            x.iter().flat_map(|&b| x.iter().map(move |&a| (a, b))).map(|(a, b)| height(a, b)).collect();
        (x, heights)
    }

    /// A plane cut at a third of its way: the area is known and the line is straight.
    #[test]
    fn a_plane() {
        let (x, heights) = grid(9, |a, _| a);
        let found = rings(&x, &x, &heights, 1.0 / 3.0);
        assert_eq!(found.len(), 1);
        assert!((area(&found[0]) - 4.0 / 3.0).abs() < 1e-12);
        let lines = found[0].level_lines();
        assert_eq!(lines.len(), 1);
        assert!(lines[0].iter().all(|p| (p[0] - 1.0 / 3.0).abs() < 1e-12));
        assert_eq!((lines[0][0][1], lines[0][lines[0].len() - 1][1]), (1.0, -1.0));
    }

    /// A dish is above the level everywhere but in a disc: the border, and a hole that runs the other way.
    #[test]
    fn a_dish_has_a_hole() {
        let (x, heights) = grid(81, |a, b| a * a + b * b);
        let mut found = rings(&x, &x, &heights, 0.5);
        found.sort_by(|a, b| area(a).total_cmp(&area(b)));
        assert_eq!(found.len(), 2);
        assert!((area(&found[0]) + std::f64::consts::PI * 0.5).abs() < 2e-3);
        assert_eq!(area(&found[1]), 4.0);
        assert_eq!(found[1].points.len(), 4);
        assert!(found[1].level_lines().is_empty());
        assert_eq!(found[0].level_lines().len(), 1);
    }

    #[test]
    fn a_saddle_is_cut_or_joined_by_its_mean() {
        let x = [0.0, 1.0];
        assert_eq!(rings(&x, &x, &[1.0, 0.0, 0.0, 1.0], 0.4).len(), 1);
        assert_eq!(rings(&x, &x, &[1.0, 0.0, 0.0, 1.0], 0.6).len(), 2);
    }

    #[test]
    fn nothing_above_and_nothing_to_stand_on() {
        let x = [0.0, 1.0];
        assert!(rings(&x, &x, &[0.0; 4], 1.0).is_empty());
        assert!(rings(&x, &x, &[f64::NAN; 4], 1.0).is_empty());
        assert!(rings(&x, &[], &[], 1.0).is_empty());
    }
}
