//! The eight lines of the union-jack layout: four sides, two diagonals, two centre lines; and what their readings make
//! of a plate.

use nalgebra::{DMatrix, DVector};

/// The lines over a working surface, each divided into an even number of equal steps, so that sides and centre lines
/// share their ends and middles.
#[derive(Debug, Clone, PartialEq)]
pub struct EightLines {
    /// All nodes, each once, in mm.
    pub nodes: Vec<[f64; 2]>,
    /// The lines: front, back, left, right, the two diagonals, the centre lines along and across.
    pub lines: Vec<Line>,
}

/// One of the lines.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Its nodes from end to end, as indices into [`EightLines::nodes`].
    pub nodes: Vec<usize>,
    /// Distance from node to node, in mm.
    pub step: f64,
}

/// What is read along each line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineReading {
    /// The rise of each step against one and the same level, whose zero is not known: a level.
    RiseAgainstLevel,
    /// The rise of each step against a direction that each line has for itself: an autocollimator, set up anew for each.
    RiseAgainstOwnDirection,
    /// The height of each node against a straight line that each line has for itself: a straightedge.
    HeightAgainstStraightedge,
}

impl EightLines {
    /// The lines over a working surface, `[[x_low, x_high], [y_low, y_high]]` in mm, in steps of about `base` mm.
    pub fn over([[left, right], [front, back]]: [[f64; 2]; 2], base: f64) -> Self {
        let [middle_x, middle_y] = [(left + right) / 2.0, (front + back) / 2.0];
        let ends = [
            [[left, front], [right, front]],
            [[left, back], [right, back]],
            [[left, front], [left, back]],
            [[right, front], [right, back]],
            [[left, front], [right, back]],
            [[left, back], [right, front]],
            [[left, middle_y], [right, middle_y]],
            [[middle_x, front], [middle_x, back]],
        ];
        let mut nodes: Vec<[f64; 2]> = Vec::new();
        let lines = ends.map(|[from, to]| {
            let length = libm::hypot(to[0] - from[0], to[1] - from[1]);
            let n_steps = 2 * ((length / (2.0 * base)).round() as usize).max(1);
            let places = (0..=n_steps).map(|i| {
                // Exactly the same numbers where lines meet.
                let along = |axis: usize| match i {
                    0 => from[axis],
                    i if i == n_steps => to[axis],
                    i if 2 * i == n_steps => (from[axis] + to[axis]) / 2.0,
                    i => from[axis] + (to[axis] - from[axis]) * i as f64 / n_steps as f64,
                };
                let at = [along(0), along(1)];
                nodes.iter().position(|known| *known == at).unwrap_or_else(|| {
                    nodes.push(at);
                    nodes.len() - 1
                })
            });
            Line { nodes: places.collect(), step: length / n_steps as f64 }
        });
        Self { nodes, lines: lines.to_vec() }
    }

    /// How many readings there are: one a step, or one a node of each line for a straightedge.
    pub fn n_readings(&self, reading: LineReading) -> usize {
        let extra = usize::from(reading == LineReading::HeightAgainstStraightedge);
        self.lines.iter().map(|line| line.nodes.len() - 1 + extra).sum()
    }

    /// The line of each reading, in the order of readings: line after line, from end to end.
    pub fn line_of_reading(&self, reading: LineReading) -> Vec<usize> {
        let extra = usize::from(reading == LineReading::HeightAgainstStraightedge);
        let of_line =
            |(index, line): (usize, &Line)| std::iter::repeat_n(index, line.nodes.len() - 1 + extra);
        self.lines.iter().enumerate().flat_map(of_line).collect()
    }

    /// What is read of nodes at these heights (µm) with nothing to disturb it, level and directions at zero: rises or
    /// heights, in µm.
    pub fn read(&self, reading: LineReading, heights: &[f64], into: &mut Vec<f64>) {
        into.clear();
        for line in &self.lines {
            match reading {
                LineReading::HeightAgainstStraightedge => {
                    into.extend(line.nodes.iter().map(|&node| heights[node]));
                }
                _ => into.extend(line.nodes.windows(2).map(|pair| heights[pair[1]] - heights[pair[0]])),
            }
        }
    }
}

/// The least-squares reduction of the eight lines, prepared once for any number of surveys.
///
/// Unknown are the heights of all nodes and what the instrument has of its own: the level's zero, each line's direction, or
/// each line's direction and height. Readings count by their standard uncertainties. What the readings leave free (a
/// height, or a plane) is taken least; no flatness depends on it. (Eight lines with a correction for closures: J. C.
/// Moody, "How to calibrate surface plates in the plant", The Tool Engineer, October 1955, from memory; all lines
/// together by least squares is what a network adjustment in surveying does.)
#[derive(Debug, Clone)]
pub struct Reduction {
    /// From readings to heights, `[node][reading]`.
    heights: DMatrix<f64>,
    degrees_of_freedom: usize,
}

impl Reduction {
    /// For readings of a kind, each with its standard uncertainty in µm (above 0; the order is that of
    /// [`EightLines::read`]). `None` where the lines are too few to be reduced.
    pub fn new(lines: &EightLines, reading: LineReading, u: &[f64]) -> Option<Self> {
        let n_nodes = lines.nodes.len();
        let own = match reading {
            LineReading::RiseAgainstLevel => 1,
            LineReading::RiseAgainstOwnDirection => lines.lines.len(),
            LineReading::HeightAgainstStraightedge => 2 * lines.lines.len(),
        };
        let n = lines.n_readings(reading);
        let mut design = DMatrix::zeros(n, n_nodes + own);
        let mut row = 0;
        for (index, line) in lines.lines.iter().enumerate() {
            match reading {
                LineReading::HeightAgainstStraightedge => {
                    let middle = (line.nodes.len() - 1) as f64 / 2.0;
                    for (place, &node) in line.nodes.iter().enumerate() {
                        design[(row, node)] = 1.0;
                        design[(row, n_nodes + 2 * index)] = 1.0;
                        design[(row, n_nodes + 2 * index + 1)] = (place as f64 - middle) / middle;
                        row += 1;
                    }
                }
                _ => {
                    let unknown = if reading == LineReading::RiseAgainstLevel { 0 } else { index };
                    for pair in line.nodes.windows(2) {
                        design[(row, pair[1])] = 1.0;
                        design[(row, pair[0])] = -1.0;
                        // A slope of 1 µm per 100 mm.
                        design[(row, n_nodes + unknown)] = line.step / 100.0;
                        row += 1;
                    }
                }
            }
        }
        for (i, mut equation) in design.row_iter_mut().enumerate() {
            equation /= u[i];
        }
        // Normal equations, product by product in a fixed order; and what no reading tells set to zero: the mean height and,
        // unless a level tells them, both slopes. That changes no residual.
        let n_unknown = n_nodes + own;
        let mut normal = DMatrix::zeros(n_unknown, n_unknown);
        for equation in design.row_iter() {
            let entries: Vec<(usize, f64)> =
                equation.iter().copied().enumerate().filter(|(_, value)| *value != 0.0).collect();
            for &(i, a) in &entries {
                for &(j, b) in &entries {
                    normal[(i, j)] += a * b;
                }
            }
        }
        let size = normal.diagonal().max();
        let free = if reading == LineReading::RiseAgainstLevel { 1 } else { 3 };
        let [x, y] = [0, 1].map(|axis| lines.nodes.iter().map(|at| at[axis]).collect::<Vec<_>>());
        for along in [vec![1.0; n_nodes], centred(&x), centred(&y)].iter().take(free) {
            let square: f64 = along.iter().map(|v| v * v).sum();
            for i in 0..n_nodes {
                for j in 0..n_nodes {
                    normal[(i, j)] += size * along[i] * along[j] / square;
                }
            }
        }
        let inverse = normal.cholesky()?.solve(&design.transpose());
        let mut heights = inverse.rows(0, n_nodes).into_owned();
        for (i, u) in u.iter().enumerate() {
            heights.column_mut(i).unscale_mut(*u);
        }
        Some(Self { heights, degrees_of_freedom: n - (n_unknown - free) })
    }

    /// Heights of all nodes (µm), less a plane that nobody can know.
    pub fn heights(&self, readings: &[f64]) -> Vec<f64> {
        (&self.heights * DVector::from_column_slice(readings)).data.into()
    }

    /// How many closures there are: readings less what is determined by them. Two where each line has a direction of its
    /// own (both centre lines close in the middle), eight less one where all have a level in common.
    pub fn degrees_of_freedom(&self) -> usize {
        self.degrees_of_freedom
    }
}

fn centred(values: &[f64]) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    values.iter().map(|v| v - mean).collect()
}
