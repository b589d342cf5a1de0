//! The nodes of flatness of one plate: the density before any evidence, and distributions that grow and are read off.

use super::{COVERAGE, Event, Evidence, History, Interval, N_NODES, square};
use libm::{exp, sqrt};

/// Probability of a plate unlike all that the setup describes: no certificate may count as impossible.
pub const UNFORESEEN: f64 = 0.05;

/// Mean flatness deviation of such plates, over that of the described ones.
pub const UNFORESEEN_MEAN: f64 = 2.0;

/// Less than this of a state or a hypothesis is left out.
const NEGLIGIBLE: f64 = 1e-12;

/// The nodes of flatness of one plate, and its density before any evidence.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    pub(super) spacing: f64,
    pub(super) first: Vec<f64>,
    /// Mean flatness deviation (µm) of plates unlike the described ones.
    pub(super) unforeseen: f64,
}

impl Grid {
    pub(super) fn for_plate(history: &History, events: &[Event]) -> Self {
        let top = events.iter().fold(history.highest, |top, event| match event.evidence {
            Evidence::Certificate(known) | Evidence::Judged(known) | Evidence::Resurfaced(known) => {
                top.max(1.25 * known.top())
            }
            Evidence::Spread(_) => top,
        });
        let n = history.population.len();
        let mean = history.population.iter().sum::<f64>() / n.max(1) as f64;
        Self::new(top, history.population, UNFORESEEN_MEAN * if mean > 0.0 { mean } else { history.highest })
    }

    fn new(top: f64, population: &[f64], unforeseen: f64) -> Self {
        let spacing = top / (N_NODES - 1) as f64;
        Self { spacing, first: first_density(spacing, population, unforeseen), unforeseen }
    }

    pub(super) fn wider(&self, population: &[f64]) -> Self {
        Self::new(2.0 * self.spacing * (N_NODES - 1) as f64, population, self.unforeseen)
    }
}

/// The setup's population on the nodes, as a density by kernels (Silverman's width), and a share of plates unlike it.
///
/// That share has the density `2 m² / (m + z)³` of mean m: Lomax's, with a tail so heavy that a certificate outweighs it.
/// Neither depends on the grid but for what a node stands for.
fn first_density(spacing: f64, population: &[f64], unforeseen: f64) -> Vec<f64> {
    let n = population.len() as f64;
    let mut counts = vec![0.0; N_NODES];
    for flatness in population {
        let place = (flatness / spacing).clamp(0.0, (N_NODES - 1) as f64);
        let below = (place as usize).min(N_NODES - 2);
        counts[below] += 1.0 - (place - below as f64);
        counts[below + 1] += place - below as f64;
    }
    let known =
        if population.is_empty() { counts } else { smooth(&counts, kernel_width(population) / spacing) };
    let share = if population.is_empty() { 1.0 } else { UNFORESEEN };
    let beyond = |place: f64| square(unforeseen / (unforeseen + spacing * place.max(0.0)));
    let of_node = |node: usize| {
        let above = if node + 1 < N_NODES { beyond(node as f64 + 0.5) } else { 0.0 };
        beyond(node as f64 - 0.5) - above
    };
    (0..N_NODES).map(|node| (1.0 - share) * known[node] / n.max(1.0) + share * of_node(node)).collect()
}

/// Silverman's rule, `0.9 s n^(−1/5)`, in the sample's unit.
fn kernel_width(sample: &[f64]) -> f64 {
    let n = sample.len() as f64;
    let mean = sample.iter().sum::<f64>() / n;
    let variance = sample.iter().map(|x| square(x - mean)).sum::<f64>() / n;
    0.9 * sqrt(variance) * libm::pow(n, -0.2)
}

/// Counts spread by a normal kernel of a width in nodes; what would leave the grid is given to its ends.
fn smooth(counts: &[f64], width: f64) -> Vec<f64> {
    if width < 0.1 {
        return counts.to_vec();
    }
    let reach = libm::ceil(4.0 * width) as i64;
    let kernel: Vec<f64> = (-reach..=reach).map(|k| exp(-0.5 * square(k as f64 / width))).collect();
    let whole: f64 = kernel.iter().sum();
    let mut out = vec![0.0; counts.len()];
    for (node, count) in counts.iter().enumerate().filter(|(_, count)| **count > 0.0) {
        for (k, weight) in kernel.iter().enumerate() {
            let to = (node as i64 + k as i64 - reach).clamp(0, counts.len() as i64 - 1);
            out[to as usize] += count * weight / whole;
        }
    }
    out
}

/// A state after some growth: what would leave the grid stays at its last node.
pub(super) fn grown(state: &[f64], growth: &[f64]) -> Vec<f64> {
    if growth.len() == 1 && growth[0] == 1.0 {
        return state.to_vec();
    }
    let mut out = vec![0.0; state.len()];
    for (from, to) in state.chunks_exact(N_NODES).zip(out.chunks_exact_mut(N_NODES)) {
        let total: f64 = from.iter().sum();
        for (i, &p) in from.iter().enumerate().filter(|(_, p)| **p > NEGLIGIBLE) {
            for (sum, share) in to[i..].iter_mut().zip(growth) {
                *sum += p * share;
            }
        }
        let inside: f64 = to[..N_NODES - 1].iter().sum();
        to[N_NODES - 1] = (total - inside).max(0.0);
    }
    out
}

/// A state on nodes twice as far apart; each odd node is shared by those beside it, so that the mean is kept.
pub(super) fn coarser(state: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; state.len()];
    for (node, p) in state.iter().enumerate() {
        out[node / 2] += 0.5 * p;
        out[node.div_ceil(2)] += 0.5 * p;
    }
    out
}

/// The expectation, before some growth, of what depends on the state after it.
pub(super) fn foreseen(after: &[f64], growth: &[f64]) -> Vec<f64> {
    if growth.len() == 1 && growth[0] == 1.0 {
        return after.to_vec();
    }
    let mut out = vec![0.0; after.len()];
    for (later, sooner) in after.chunks_exact(N_NODES).zip(out.chunks_exact_mut(N_NODES)) {
        let last = later[N_NODES - 1];
        for (i, sum) in sooner.iter_mut().enumerate() {
            let reached = &later[i..N_NODES];
            let (mut value, mut inside) = (0.0, 0.0);
            for (value_there, share) in reached[..reached.len() - 1].iter().zip(growth) {
                value += value_there * share;
                inside += share;
            }
            *sum = value + (1.0 - inside).max(0.0) * last;
        }
    }
    out
}

/// Mean and interval of a distribution on the nodes.
pub(super) fn interval(marginal: &[f64], spacing: f64) -> Interval {
    let total: f64 = marginal.iter().sum();
    let mean = marginal.iter().enumerate().map(|(i, p)| i as f64 * spacing * p).sum::<f64>() / total;
    Interval {
        mean,
        ends: [0.5 - 0.5 * COVERAGE, 0.5 + 0.5 * COVERAGE].map(|p| quantile(marginal, spacing, p)),
    }
}

/// The flatness (µm) not exceeded with a probability: nodes stand for the half spacings on either side of them.
pub fn quantile(marginal: &[f64], spacing: f64, probability: f64) -> f64 {
    let aim = probability * marginal.iter().sum::<f64>();
    let mut sum = 0.0;
    for (i, p) in marginal.iter().enumerate() {
        if sum + p >= aim && *p > 0.0 {
            return ((i as f64 - 0.5 + (aim - sum) / p) * spacing).max(0.0);
        }
        sum += p;
    }
    spacing * (marginal.len().saturating_sub(1)) as f64
}

/// Probability above a place counted in nodes; a node's share lies evenly half a node to either side.
pub(super) fn above(distribution: &[f64], place: f64) -> f64 {
    let first = libm::floor(place + 0.5);
    if first < 0.0 {
        return distribution.iter().sum();
    }
    let node = first as usize;
    let part = distribution.get(node).map_or(0.0, |p| p * (first + 0.5 - place));
    part + distribution.iter().skip(node + 1).sum::<f64>()
}

/// For every node, the probability that what is grown on it lies above a place counted in nodes: [`above`] of the
/// place less the node.
pub(super) fn tails(growth: &[f64], place: f64) -> Vec<f64> {
    let mut sums = vec![0.0; growth.len() + 1];
    for (k, p) in growth.iter().enumerate().rev() {
        sums[k] = sums[k + 1] + p;
    }
    let first = libm::floor(place + 0.5);
    let part = first + 0.5 - place;
    (0..growth.len())
        .map(|node| match first - node as f64 {
            below if below < 0.0 => sums[0],
            first => {
                let first = first as usize;
                part * growth.get(first).copied().unwrap_or(0.0) + sums.get(first + 1).copied().unwrap_or(0.0)
            }
        })
        .collect()
}

/// Distribution of the flatness on the nodes, over all classes.
pub(super) fn over_classes(state: &[f64]) -> Vec<f64> {
    let mut sum = vec![0.0; N_NODES];
    for class in state.chunks_exact(N_NODES) {
        sum.iter_mut().zip(class).for_each(|(sum, p)| *sum += p);
    }
    sum
}
