//! What a great many trials say of a quantity.

use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;

/// A sum is taken over this many values at a time, and the parts are added in order, so that the
/// last bit depends on no thread.
const PART: usize = 8192;
/// How many sums run side by side in a part: one after the other would wait for each addition.
const LANES: usize = 8;

/// What a sample of a quantity says of it (JCGM 101:2008); everything in the unit of the values, but for the coverage
/// probability. Mean and standard deviation, with M − 1: 7.6, eq. 16 and 17; intervals: 7.7.2, and of several equally
/// short ones the lowest.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[schemars(rename = "SummaryDocument", description = "What a sample of a quantity says of it.")]
pub struct Summary {
    /// The estimate.
    pub mean: f64,
    /// The standard uncertainty.
    pub standard_deviation: f64,
    /// The probabilistically symmetric coverage interval, from and to.
    pub interval_symmetric: [f64; 2],
    /// The shortest coverage interval, from and to.
    pub interval_shortest: [f64; 2],
    /// Coverage probability of both.
    pub coverage_probability: f64,
}

impl Summary {
    /// The same in another unit, into which `convert` takes a value.
    pub fn map(&self, convert: impl Fn(f64) -> f64) -> Self {
        Self {
            mean: convert(self.mean),
            standard_deviation: convert(self.standard_deviation),
            interval_symmetric: self.interval_symmetric.map(&convert),
            interval_shortest: self.interval_shortest.map(&convert),
            coverage_probability: self.coverage_probability,
        }
    }

    /// Summarises `values`; `coverage_probability` lies between 0 and 1.
    ///
    /// The ends of the intervals are values of the sample, as JCGM 101 7.7 defines them. With fewer
    /// values than the coverage probability needs (20 for 95 %), both intervals are the whole
    /// range. Without values, or with one that is not a number, nothing in the summary is a number.
    pub fn of(values: &[f64], coverage_probability: f64) -> Self {
        let (mean, standard_deviation) = mean_and_standard_deviation(values);
        let n = values.len();
        if n == 0 || (mean.is_nan() && values.iter().any(|value| value.is_nan())) {
            return Self {
                mean,
                standard_deviation,
                interval_symmetric: [f64::NAN; 2],
                interval_shortest: [f64::NAN; 2],
                coverage_probability,
            };
        }
        let covered = rank(coverage_probability, n).min(n - 1);
        // Each interval runs from the r-th value to the (r + covered)-th, so that only the lowest and
        // the highest `left` values can be ends.
        let left = n - covered;
        let (low, high) = sorted_ends(values, left);
        let at = |r: usize| [low[r], high[r]];
        let length = |r: usize| high[r] - low[r];
        let shortest = (1..left).fold(0, |best, r| if length(r) < length(best) { r } else { best });
        Self {
            mean,
            standard_deviation,
            interval_symmetric: at(left.div_ceil(2) - 1),
            interval_shortest: at(shortest),
            coverage_probability,
        }
    }

    /// The same of a density that has moments of orders below this one alone, as t has below its degrees of freedom: what
    /// a sample says of the others grows with its size, so they are not a number (JCGM 101 6.4.9.4).
    pub fn with_moments_below(self, order: f64) -> Self {
        let known = |of: f64, value: f64| if order > of { value } else { f64::NAN };
        let (mean, standard_deviation) = (known(1.0, self.mean), known(2.0, self.standard_deviation));
        Self { mean, standard_deviation, ..self }
    }
}

/// Largest minus smallest value; of no values, minus infinity.
pub fn range(values: &[f64]) -> f64 {
    let (low, high) =
        values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
    high - low
}

/// Mean and standard deviation (with n − 1), in two passes, each sum taken in a fixed order.
///
/// The deviations from the first pass's mean, whose sum is zero but for rounding, correct both
/// (Chan, Golub and LeVeque, The American Statistician 37, 1983, 242-247). No values have no mean,
/// one value has no standard deviation: not a number.
pub fn mean_and_standard_deviation(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let [sum] = sums_of(values, |value| [value]);
    let rough = sum / n;
    let [rest, squares] = sums_of(values, |value| {
        let deviation = value - rough;
        [deviation, deviation * deviation]
    });
    let variance = (squares - rest * rest / n) / (n - 1.0);
    (rough + rest / n, libm::sqrt(variance))
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

/// The lowest and the highest `count` values (1 to n), each in ascending order.
fn sorted_ends(values: &[f64], count: usize) -> (Vec<f64>, Vec<f64>) {
    match candidates(values, count) {
        Some((mut low, mut high)) => {
            rayon::join(|| low.sort_unstable_by(f64::total_cmp), || high.sort_unstable_by(f64::total_cmp));
            low.truncate(count);
            high.drain(..high.len() - count);
            (low, high)
        }
        None => {
            let mut all = values.to_vec();
            all.par_sort_unstable_by(f64::total_cmp);
            let high = all.split_off(all.len() - count.min(all.len()));
            let low = all.iter().chain(&high).copied().take(count).collect();
            (low, high)
        }
    }
}

/// A few more than the lowest and the highest `count` values, found in one pass; `None` where a
/// full sort is as good.
///
/// A small sample of the values says where the ends begin, and a margin of four of its standard
/// deviations makes it unlikely that they begin elsewhere (Floyd and Rivest, Comm. ACM 18, 1975,
/// 165-172). That they do not is then counted, so the result never depends on the sample.
fn candidates(values: &[f64], count: usize) -> Option<(Vec<f64>, Vec<f64>)> {
    let n = values.len();
    let size = (n / 64).min(65_536);
    let expected = count as f64 / n as f64 * size as f64;
    let margin = 4.0 * libm::sqrt(expected) + 4.0;
    let index = (expected + margin) as usize;
    if 4 * index > size {
        return None;
    }
    let mut sample: Vec<f64> = values.iter().copied().step_by(n / size).take(size).collect();
    sample.sort_unstable_by(f64::total_cmp);
    let (low_end, high_end) = (sample[index], sample[size - 1 - index]);
    let pick = |part: &[f64]| {
        // Written whether kept or not: a branch could not be foreseen.
        let (mut low, mut high) = ([0.0; PART], [0.0; PART]);
        let (mut n_low, mut n_high) = (0, 0);
        for &value in part {
            low[n_low % PART] = value;
            n_low += usize::from(value <= low_end);
            high[n_high % PART] = value;
            n_high += usize::from(value >= high_end);
        }
        (low[..n_low].to_vec(), high[..n_high].to_vec())
    };
    let (low, high): (Vec<_>, Vec<_>) = values.par_chunks(PART).map(pick).unzip();
    let (low, high) = (low.concat(), high.concat());
    (low.len() >= count && high.len() >= count).then_some((low, high))
}

/// The sums of the terms over the values: parts in parallel, each in interleaved sums, then added in
/// order.
fn sums_of<const K: usize>(values: &[f64], terms: impl Fn(f64) -> [f64; K] + Sync) -> [f64; K] {
    let part = |values: &[f64]| {
        let mut lanes = [[0.0; LANES]; K];
        let (rows, rest) = values.as_chunks::<LANES>();
        for row in rows {
            for (lane, &value) in row.iter().enumerate() {
                for (sum, term) in lanes.iter_mut().zip(terms(value)) {
                    sum[lane] += term;
                }
            }
        }
        for (lane, &value) in rest.iter().enumerate() {
            for (sum, term) in lanes.iter_mut().zip(terms(value)) {
                sum[lane] += term;
            }
        }
        lanes.map(|sums| sums.iter().sum::<f64>())
    };
    let parts: Vec<[f64; K]> =
        if values.len() <= PART { vec![part(values)] } else { values.par_chunks(PART).map(part).collect() };
    std::array::from_fn(|k| parts.iter().map(|sums| sums[k]).sum())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::stream::Streams;
    use proptest::prelude::*;
    use rand::RngExt;

    /// JCGM 101 7.7.2 as it stands: sort everything, count from 1.
    fn plainly(values: &[f64], p: f64) -> [[f64; 2]; 2] {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        let m = values.len();
        let exact = p * m as f64;
        let q = if exact.fract() == 0.0 { exact } else { (exact + 0.5).floor() } as usize;
        let half = (m - q) as f64 / 2.0;
        let r = if half.fract() == 0.0 { half } else { (half + 0.5).floor() } as usize;
        let shortest = (1..=m - q)
            .min_by(|&a, &b| {
                (sorted[a + q - 1] - sorted[a - 1]).total_cmp(&(sorted[b + q - 1] - sorted[b - 1]))
            })
            .expect("at least one interval");
        [r, shortest].map(|r| [sorted[r - 1], sorted[r + q - 1]])
    }

    fn check(values: &[f64], p: f64) {
        let summary = Summary::of(values, p);
        let expected = plainly(values, p);
        assert_eq!(
            [summary.interval_symmetric, summary.interval_shortest],
            expected,
            "{p} of {}",
            values.len()
        );
    }

    fn skewed(n: usize) -> Vec<f64> {
        let mut draws = Streams::new(4).source("sample").trial(0);
        (0..n).map(|_| draws.random::<f64>().powi(3)).collect()
    }

    #[test]
    fn intervals_are_those_of_a_full_sort() {
        // Small, odd, and large enough for the one-pass way; rounded ones are full of ties.
        for n in [20, 21, 1001, 20_000, 200_001] {
            let values = skewed(n);
            let rounded: Vec<f64> = values.iter().map(|value| (value * 40.0).round()).collect();
            let ascending: Vec<f64> = (0..n).map(|k| k as f64).collect();
            for p in [0.5, 0.9, 0.95] {
                check(&values, p);
                check(&rounded, p);
                check(&ascending, p);
            }
        }
        check(&skewed(200_001), 0.9973);
        check(&[7.0; 100_000], 0.95);
    }

    #[test]
    fn ranks_are_those_of_the_supplement() {
        // JCGM 101 7.7.2 with M = 1001 and p = 0.95: q = 951, r = 25 (from 1); M = 10 000: 9500, 250.
        let count = |m: usize| (1..=m).rev().map(|k| k as f64).collect::<Vec<_>>();
        assert_eq!(Summary::of(&count(1001), 0.95).interval_symmetric, [25.0, 976.0]);
        assert_eq!(Summary::of(&count(10_000), 0.95).interval_symmetric, [250.0, 9750.0]);
        assert_eq!(Summary::of(&count(1_000_000), 0.99).interval_symmetric, [5000.0, 995_000.0]);
    }

    #[test]
    fn few_or_strange_values() {
        assert!(Summary::of(&[], 0.95).mean.is_nan());
        let one = Summary::of(&[3.0], 0.95);
        assert_eq!((one.mean, one.interval_symmetric), (3.0, [3.0, 3.0]));
        assert!(one.standard_deviation.is_nan());
        assert_eq!(Summary::of(&[1.0, 2.0, 3.0], 0.95).interval_shortest, [1.0, 3.0]);
        let spoilt = Summary::of(&[1.0, f64::NAN, 3.0], 0.95);
        assert!(spoilt.mean.is_nan() && spoilt.interval_symmetric[0].is_nan());
        let far = Summary::of(&[1.0, f64::INFINITY, f64::NEG_INFINITY], 0.95);
        assert_eq!(far.interval_shortest, [f64::NEG_INFINITY, f64::INFINITY]);
        for p in [0.0, 1.0, 2.0, -1.0, f64::NAN] {
            Summary::of(&[1.0, 2.0, 3.0], p);
            quantiles(&mut [1.0, 2.0, 3.0], &[p]);
        }
    }

    #[test]
    fn sums_lose_no_digits_far_from_zero() {
        // Exact in binary: 2³⁰ and ± 1/2 in turn, so the mean is 2³⁰ and the variance 0.25 n/(n − 1).
        let n = 1_000_000;
        let values: Vec<f64> =
            (0..n).map(|k| 1_073_741_824.0 + if k % 2 == 0 { 0.5 } else { -0.5 }).collect();
        let (mean, sd) = mean_and_standard_deviation(&values);
        assert_eq!(mean, 1_073_741_824.0);
        assert!((sd - libm::sqrt(0.25 * n as f64 / (n as f64 - 1.0))).abs() < 1e-15);
    }

    #[test]
    fn threads_do_not_change_a_bit() {
        let values = skewed(300_000);
        let one = |n_threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(n_threads).build().expect("threads");
            pool.install(|| Summary::of(&values, 0.95))
        };
        assert_eq!(one(1), one(2));
        assert_eq!(one(1), one(7));
    }

    #[test]
    fn quantiles_are_order_statistics() {
        let mut values = skewed(10_001);
        let mut sorted = values.clone();
        sorted.sort_by(f64::total_cmp);
        let found = quantiles(&mut values, &[0.975, 0.025, 0.5, 0.5, 0.0, 1.0]);
        let expected = [9751, 250, 5001, 5001, 1, 10_001].map(|rank: usize| sorted[rank - 1]);
        assert_eq!(found, expected);
        assert!(quantiles(&mut [], &[0.5])[0].is_nan());
    }

    proptest! {
        #[test]
        fn any_values_give_the_full_sort_s_intervals(
            values in prop::collection::vec(-9i32..9, 30..400), p in 0.3..0.96
        ) {
            let values: Vec<f64> = values.into_iter().map(f64::from).collect();
            check(&values, p);
        }
    }
}
