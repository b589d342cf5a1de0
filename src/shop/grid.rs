//! The grid of points on which a plate's flatness is judged.

/// A grid of nodes over the working surface, closer together towards its edges.
///
/// Dips sit near corners and edges and are small; the middle changes slowly. Nodes are therefore
/// spread by a smooth stretching that makes them about half as far apart at an edge as in the
/// middle.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    /// Node coordinates along x, in mm, rising.
    pub x: Vec<f64>,
    /// Node coordinates along y, in mm, rising.
    pub y: Vec<f64>,
}

/// About how many nodes a grid has by default: [`Grid::over`].
pub const DEFAULT_NODES: usize = 247;

impl Grid {
    /// A grid of about `n_nodes` nodes over a working surface, `[[x_low, x_high], [y_low, y_high]]`
    /// in mm, its numbers of rows and columns in the proportion of the sides.
    pub fn over(surface: [[f64; 2]; 2], n_nodes: usize) -> Self {
        let [length, width] = surface.map(|[low, high]| high - low);
        let along = |side: f64, other: f64| {
            // An odd number, so that one node lies in the middle.
            let nodes = (n_nodes as f64 * side / other).sqrt();
            2 * ((nodes / 2.0).floor() as usize).max(1) + 1
        };
        Self { x: nodes(surface[0], along(length, width)), y: nodes(surface[1], along(width, length)) }
    }

    /// How many nodes it has.
    pub fn n_nodes(&self) -> usize {
        self.x.len() * self.y.len()
    }

    /// All nodes, `[x, y]` in mm; x runs fastest.
    pub fn points(&self) -> Vec<[f64; 2]> {
        self.y.iter().flat_map(|&y| self.x.iter().map(move |&x| [x, y])).collect()
    }
}

/// `count` nodes between two limits, closer together at both ends.
fn nodes([low, high]: [f64; 2], count: usize) -> Vec<f64> {
    const STRETCH: f64 = 0.35;
    (0..count)
        .map(|i| {
            let u = i as f64 / (count - 1) as f64;
            let stretched = u - STRETCH * libm::sin(std::f64::consts::TAU * u) / std::f64::consts::TAU;
            low + (high - low) * stretched
        })
        .collect()
}
