//! What a great many trials say of a quantity.

use rayon::prelude::*;

/// A sum is taken over this many values at a time, and the parts are added in order, so that the
/// last bit depends on no thread.
const PART: usize = 8192;

/// What a sample of a quantity says of it (JCGM 101:2008, 7.6 and 7.7); everything in the unit of
/// the values, but for the coverage probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// The estimate: the mean of the values (7.6, eq. 16).
    pub mean: f64,
    /// The standard uncertainty: their standard deviation, with M − 1 (7.6, eq. 17).
    pub standard_deviation: f64,
    /// The probabilistically symmetric coverage interval (7.7.2).
    pub interval_symmetric: [f64; 2],
    /// The shortest coverage interval (7.7.2); of several equally short ones, the lowest.
    pub interval_shortest: [f64; 2],
    /// The coverage probability of both.
    pub coverage_probability: f64,
}

impl Summary {
    /// Summarises `values`, which it reorders; `coverage_probability` lies between 0 and 1.
    ///
    /// The ends of the intervals are values of the sample, as JCGM 101 7.7 defines them. With fewer
    /// values than the coverage probability needs (20 for 95 %), both intervals are the whole
    /// range. No values, or any that is not a number, make the mean not a number.
    pub fn of(values: &mut [f64], coverage_probability: f64) -> Self {
        let (mean, standard_deviation) = mean_and_standard_deviation(values);
        let n = values.len();
        let covered = rank(coverage_probability, n).min(n.saturating_sub(1));
        // The intervals run from the r-th value to the (r + covered)-th, so only the lowest and the
        // highest `left` values are looked at.
        let left = n - covered;
        let Some((low, high)) = sorted_ends(values, left) else {
            let interval = [f64::NAN; 2];
            return Self {
                mean,
                standard_deviation,
                interval_symmetric: interval,
                interval_shortest: interval,
                coverage_probability,
            };
        };
        let at = |r: usize| [low[r], high[r]];
        let shortest = (0..left).min_by(|&a, &b| (high[a] - low[a]).total_cmp(&(high[b] - low[b])));
        Self {
            mean,
            standard_deviation,
            interval_symmetric: at(left.div_ceil(2) - 1),
            interval_shortest: at(shortest.unwrap_or(0)),
            coverage_probability,
        }
    }
}

/// Largest minus smallest value; of no values, minus infinity.
pub fn range(values: &[f64]) -> f64 {
    let (low, high) = values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
    high - low
}

/// Mean and standard deviation (with n − 1), in two passes, each sum taken in a fixed order.
///
/// The deviations' own sum, zero but for rounding, corrects both (Chan, Golub and LeVeque, The
/// American Statistician 37, 1983, 242-247). No values have no mean, one value has no standard
/// deviation: not a number.
pub fn mean_and_standard_deviation(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let rough = sum_of(values, |value| value) / n;
    let slip = sum_of(values, |value| value - rough) / n;
    let mean = rough + slip;
    let squares = sum_of(values, |value| (value - mean) * (value - mean));
    let rest = sum_of(values, |value| value - mean);
    let variance = (squares - rest * rest / n) / (n - 1.0);
    (mean, libm::sqrt(variance))
}

/// The values that are not exceeded with the given probabilities, each from 0 to 1, as order
/// statistics of `values` (JCGM 101 7.7.1: the value of rank `p M`, rounded), which it reorders.
pub fn quantiles(values: &mut [f64], probabilities: &[f64]) -> Vec<f64> {
    let n = values.len();
    let mut wanted: Vec<(usize, usize)> = probabilities
        .iter()
        .enumerate()
        .map(|(place, &p)| (rank(p, n).clamp(1, n.max(1)) - 1, place))
        .collect();
    wanted.sort_unstable();
    let mut found = vec![f64::NAN; probabilities.len()];
    let (mut done, mut rest, mut value) = (0, values, f64::NAN);
    for (index, place) in wanted {
        if index >= done && !rest.is_empty() {
            let (_, nth, above) =
                std::mem::take(&mut rest).select_nth_unstable_by(index - done, f64::total_cmp);
            (done, rest, value) = (index + 1, above, *nth);
        }
        found[place] = value;
    }
    found
}

/// `p M`, rounded to the nearest whole number, halves up (JCGM 101 7.7.1).
fn rank(p: f64, n: usize) -> usize {
    (p * n as f64 + 0.5).floor() as usize
}

/// The lowest and the highest `count` values, each in ascending order; `None` if there are none.
fn sorted_ends(values: &mut [f64], count: usize) -> Option<(&[f64], &[f64])> {
    let n = values.len();
    if n == 0 || count == 0 {
        return None;
    }
    if 2 * count >= n {
        values.par_sort_unstable_by(f64::total_cmp);
        return Some((&values[..count], &values[n - count..]));
    }
    values.select_nth_unstable_by(count - 1, f64::total_cmp);
    let (low, rest) = values.split_at_mut(count);
    let above = rest.len() - count;
    rest.select_nth_unstable_by(above, f64::total_cmp);
    let high = &mut rest[above..];
    rayon::join(|| low.sort_unstable_by(f64::total_cmp), || high.sort_unstable_by(f64::total_cmp));
    Some((low, high))
}

/// The sum of `term` over the values: parts in parallel, each in four interleaved sums, then added
/// in order.
fn sum_of(values: &[f64], term: impl Fn(f64) -> f64 + Sync) -> f64 {
    let part = |values: &[f64]| {
        let mut lanes = [0.0; 4];
        let (quads, rest) = values.as_chunks::<4>();
        for quad in quads {
            for (lane, &value) in lanes.iter_mut().zip(quad) {
                *lane += term(value);
            }
        }
        let rest: f64 = rest.iter().map(|&value| term(value)).sum();
        (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]) + rest
    };
    if values.len() <= PART {
        return part(values);
    }
    let parts: Vec<f64> = values.par_chunks(PART).map(part).collect();
    parts.iter().sum()
}
