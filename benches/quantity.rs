//! What a draw of each family costs, and a summary of a million and of ten million values.
//!
//!     cargo bench --bench quantity

use divan::Bencher;
use divan::counter::ItemsCount;
use howflat::quantity::distribution::Distribution;
use howflat::quantity::sample::{Summary, mean_and_standard_deviation, quantiles};
use howflat::quantity::stream::Streams;
use std::hint::black_box;

fn main() {
    divan::main();
}

/// One of each family, and gamma on both sides of shape 1, where its method changes.
fn families() -> Vec<Distribution> {
    [
        Distribution::rectangular(0.0, 1.0),
        Distribution::inexact_rectangular(0.0, 1.0, 0.1),
        Distribution::trapezoidal(0.0, 1.0, 0.4),
        Distribution::triangular(0.0, 1.0),
        Distribution::arc_sine(0.0, 1.0),
        Distribution::normal(0.0, 1.0),
        Distribution::student_t(0.0, 1.0, 9.0),
        Distribution::exponential(1.0),
        Distribution::gamma(2.5, 1.0),
        Distribution::gamma(0.5, 1.0),
        Distribution::lognormal(1.0, 0.7),
    ]
    .into_iter()
    .filter_map(Result::ok)
    .collect()
}

const N_DRAWS: u64 = 100_000;

/// Draw after draw from one stream: the divided time is that of a draw.
#[divan::bench(args = families())]
fn draw(bencher: Bencher, distribution: &Distribution) {
    let source = Streams::new(1).source("x");
    bencher.counter(ItemsCount::new(N_DRAWS)).bench(|| {
        let mut draws = source.trial(0);
        (0..N_DRAWS).map(|_| distribution.draw(&mut draws)).sum::<f64>()
    });
}

/// A stream opened for each draw, as a run of trials does for each source.
#[divan::bench(args = families())]
fn open_a_stream_and_draw(bencher: Bencher, distribution: &Distribution) {
    let source = Streams::new(1).source("x");
    bencher
        .counter(ItemsCount::new(N_DRAWS))
        .bench(|| (0..N_DRAWS).map(|trial| distribution.draw(&mut source.trial(trial))).sum::<f64>());
}

fn normals(n: usize) -> Vec<f64> {
    let mut draws = Streams::new(1).source("x").trial(0);
    let normal = Distribution::Normal { mean: 0.0, standard_deviation: 1.0 };
    (0..n).map(|_| normal.draw(&mut draws)).collect()
}

#[divan::bench(args = [100_000, 1_000_000, 10_000_000], sample_count = 20)]
fn summary(bencher: Bencher, n: usize) {
    let values = normals(n);
    bencher.bench(|| Summary::of(black_box(&values), 0.95));
}

#[divan::bench(args = [1_000_000, 10_000_000], sample_count = 20)]
fn mean_and_deviation(bencher: Bencher, n: usize) {
    let values = normals(n);
    bencher.bench(|| mean_and_standard_deviation(black_box(&values)));
}

/// Three quantiles by selection, which reorders its own copy.
#[divan::bench(args = [1_000_000, 10_000_000], sample_count = 20)]
fn three_quantiles(bencher: Bencher, n: usize) {
    let values = normals(n);
    bencher.with_inputs(|| values.clone()).bench_refs(|values| quantiles(values, &[0.025, 0.5, 0.975]));
}

/// What the others are measured against: sorting all of it, on one thread.
#[divan::bench(args = [1_000_000, 10_000_000], sample_count = 5)]
fn full_sort(bencher: Bencher, n: usize) {
    let values = normals(n);
    bencher.with_inputs(|| values.clone()).bench_refs(|values| values.sort_unstable_by(f64::total_cmp));
}
