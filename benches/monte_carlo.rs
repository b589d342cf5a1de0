//! The Monte Carlo engine on GUM H.1 (JCGM 101:2008, 9.5): a million and ten million trials with both
//! intervals, and its parts. Beside it: `benches/h1_peer.py`, the same work with NumPy and Numba.

use divan::Bencher;
use howflat::model::formula::Formula;
use howflat::model::measurement::{Input, Knowledge, MeasurementModel};
use howflat::propagation::monte_carlo::{
    FormulaExperiment, IntervalKind, MonteCarlo, MonteCarloOptions, Trials,
};
use howflat::propagation::trials::run_trials;
use howflat::quantity::distribution::Distribution;
use howflat::quantity::sample::Summary;
use howflat::quantity::stream::Streams;

fn main() {
    divan::main();
}

/// The end gauge of GUM H.1 with the distributions of JCGM 101 table 10, lengths in nanometres.
fn end_gauge(formula: &str) -> MeasurementModel {
    let t = |location, scale, dof| Distribution::StudentT { location, scale, degrees_of_freedom: dof };
    let inexact =
        |half: f64, inexactness| Distribution::InexactRectangular { low: -half, high: half, inexactness };
    let inputs = [
        ("L_s", t(50_000_623.0, 25.0, 18.0)),
        ("D", t(215.0, 6.0, 24.0)),
        ("d1", t(0.0, 4.0, 5.0)),
        ("d2", t(0.0, 7.0, 8.0)),
        ("α_s", Distribution::Rectangular { low: 9.5e-6, high: 13.5e-6 }),
        ("θ_0", Distribution::Normal { mean: -0.1, standard_deviation: 0.2 }),
        ("Δ", Distribution::ArcSine { low: -0.5, high: 0.5 }),
        ("δα", inexact(1e-6, 0.1e-6)),
        ("δθ", inexact(0.05, 0.025)),
        ("L_nom", Distribution::Constant { value: 50e6 }),
    ];
    let inputs = inputs.map(|(name, distribution)| Input {
        name: name.into(),
        unit: "nm".into(),
        knowledge: Knowledge::of(distribution),
    });
    MeasurementModel::new(&[("δL", "nm", formula)], inputs.into(), &[]).expect("a sound model")
}

/// Equation 36 of 9.5, not linearised: the more expensive one.
const NON_LINEAR: &str = "(L_s*(1 + α_s*(θ_0 + Δ - δθ)) + D + d1 + d2)/(1 + (α_s + δα)*(θ_0 + Δ)) - L_nom";

/// Everything a user waits for: tables, trials, mean, standard deviation, both intervals.
#[divan::bench(args = [1_000_000, 10_000_000], sample_count = 20, max_time = 10)]
fn h1_whole(bencher: Bencher, n_trials: u64) {
    let model = end_gauge(NON_LINEAR);
    let options = MonteCarloOptions {
        seed: 1,
        trials: Trials::Fixed(n_trials),
        coverage_probability: 0.95,
        interval: IntervalKind::Symmetric,
    };
    bencher
        .counter(divan::counter::ItemsCount::new(n_trials))
        .bench(|| MonteCarlo::run(&model, &options, &|_| ()).expect("no fault"));
}

/// The draws and the formula alone.
#[divan::bench(args = [1_000_000], sample_count = 20)]
fn h1_trials(bencher: Bencher, n_trials: u64) {
    let model = end_gauge(NON_LINEAR);
    let experiment = FormulaExperiment::new(&model).expect("no correlation");
    bencher
        .counter(divan::counter::ItemsCount::new(n_trials))
        .bench(|| run_trials(&experiment, &Streams::new(1), 0..n_trials, &|_| ()));
}

/// Making the distributions' tables.
#[divan::bench]
fn h1_tables(bencher: Bencher) {
    let model = end_gauge(NON_LINEAR);
    bencher.bench(|| FormulaExperiment::new(&model).expect("no correlation"));
}

/// Moments and both intervals of a million values.
#[divan::bench(sample_count = 20)]
fn summary_of_a_million(bencher: Bencher) {
    let model = end_gauge(NON_LINEAR);
    let experiment = FormulaExperiment::new(&model).expect("no correlation");
    let values = run_trials(&experiment, &Streams::new(1), 0..1_000_000, &|_| ()).remove(0);
    bencher.bench(|| Summary::of(&values, 0.95));
}

/// A formula over one block of 256 trials: no operation is decided on a trial at a time.
#[divan::bench(args = [NON_LINEAR, "L_s + D + d1 + d2", "exp(-D^2)*sin(d1)", "L_s^1.5"])]
fn formula_block(bencher: Bencher, text: &str) {
    let model = end_gauge("L_s");
    let names: Vec<&str> = model.inputs().iter().map(|input| input.name.as_str()).collect();
    let formula = Formula::parse(text, &names).expect("a formula");
    let inputs: Vec<Vec<f64>> = (0..names.len()).map(|i| vec![0.5 + i as f64; 256]).collect();
    let (mut out, mut scratch) = ([0.0; 256], formula.scratch(256));
    bencher
        .counter(divan::counter::ItemsCount::new(256_u32))
        .bench_local(|| formula.evaluate_block(&inputs, divan::black_box(&mut out), &mut scratch));
}
