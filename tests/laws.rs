//! What holds for any measurement model, whatever its numbers: units, order and idle inputs do not matter, linear models
//! follow the law of propagation exactly, sums of rectangles have their exact density.
use howflat::model::measurement::{Input, Knowledge, MeasurementModel};
use howflat::propagation::law::{LinearResult, Order};
use howflat::propagation::monte_carlo::{
    FormulaExperiment, IntervalKind, MonteCarlo, MonteCarloOptions, Trials,
};
use howflat::propagation::shares::shares_of;
use howflat::propagation::trials::run_trials;
use howflat::quantity::distribution::Distribution;
use howflat::quantity::stream::Streams;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

fn input(name: &str, distribution: Distribution) -> Input {
    Input { name: name.into(), unit: "mm".into(), knowledge: Knowledge::of(distribution) }
}

fn model(formula: &str, inputs: Vec<Input>, pairs: &[(&str, &str, f64)]) -> MeasurementModel {
    MeasurementModel::new(&[("y", "mm", formula)], inputs, pairs).unwrap()
}

fn values(model: &MeasurementModel, n_trials: u64) -> Vec<f64> {
    run(model, n_trials).measurands.remove(0).values
}

fn run(model: &MeasurementModel, n_trials: u64) -> MonteCarlo {
    let trials = Trials::Fixed(n_trials);
    let interval = IntervalKind::Symmetric;
    let options = MonteCarloOptions { seed: 11, trials, coverage_probability: 0.95, interval };
    MonteCarlo::run(model, &options, &|_| ()).unwrap()
}

/// Any distribution with a finite variance, of about unit size.
fn distributions() -> impl Strategy<Value = Distribution> {
    let low = -2.0..2.0_f64;
    let width = 0.1..3.0_f64;
    (0..9_u8, low, width, 0.05..0.95_f64).prop_map(|(kind, low, width, part)| {
        let high = low + width;
        match kind {
            0 => Distribution::rectangular(low, high),
            1 => Distribution::inexact_rectangular(low, high, 0.5 * part * width),
            2 => Distribution::trapezoidal(low, high, part),
            3 => Distribution::triangular(low, high),
            4 => Distribution::arc_sine(low, high),
            5 => Distribution::normal(low, width),
            6 => Distribution::student_t(low, width, 5.0 + 20.0 * part),
            7 => Distribution::gamma(1.0 + width, part),
            _ => Distribution::lognormal(width, 0.5 * part),
        }
        .unwrap()
    })
}

/// A sound formula of three inputs for values around 0.
const FORMULA: &str = "a*b - sin(c)*(b + 2) + a^2/(1 + c^2) - exp(b/10)";

proptest! {
    // The same models every time: a statistical comparison that fails is then never a matter of luck.
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default() })]

    #[test]
    fn a_smaller_unit_changes_no_result(d in prop::array::uniform3(distributions())) {
        let named = |d: [Distribution; 3]| {
            ["a", "b", "c"].iter().zip(d).map(|(name, d)| input(name, d)).collect::<Vec<_>>()
        };
        let millimetres = model(FORMULA, named(d), &[]);
        let micrometres = [d[0].scaled(1000.0), d[1], d[2]];
        let formula = FORMULA.replace('a', "(a/1000)");
        let micrometres = model(&formula, named(micrometres), &[]);
        let budget = |model, order| LinearResult::of(model, 0.95, order).map(|mut result| result.budgets.remove(0));
        let of = |order| (budget(&millimetres, order), budget(&micrometres, order));
        let same = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs().max(1e-3);
        let (Ok(first), Ok(second)) = of(Order::First) else { panic!("a sound formula") };
        prop_assert!(same(first.combined_standard_uncertainty, second.combined_standard_uncertainty));
        prop_assert!(same(first.expanded_uncertainty, second.expanded_uncertainty));
        match of(Order::Second) {
            (Ok(a), Ok(b)) => {
                let [a, b] = [a, b].map(|budget| budget.second_order.unwrap().combined_standard_uncertainty);
                prop_assert!(same(a, b));
            }
            (a, b) => prop_assert_eq!(a, b),
        }
        for (row, scaled) in first.inputs.iter().zip(&second.inputs) {
            prop_assert!(same(row.contribution, scaled.contribution) && same(row.share, scaled.share));
        }
        for (a, b) in values(&millimetres, 300).iter().zip(values(&micrometres, 300)) {
            prop_assert!(same(*a, b), "{} {}", a, b);
        }
    }

    #[test]
    fn neither_order_nor_idle_inputs_matter(d in prop::array::uniform3(distributions())) {
        let [a, b, c] = [("a", d[0]), ("b", d[1]), ("c", d[2])].map(|(name, d)| input(name, d));
        let exact = input("exact", Distribution::Constant { value: 0.25 });
        let plain = model(FORMULA, vec![a.clone(), b.clone(), c.clone()], &[]);
        let other = model(FORMULA, vec![c, exact.clone(), a, b], &[]);
        prop_assert_eq!(values(&plain, 1_000), values(&other, 1_000));
        let [first, second] =
            [&plain, &other].map(|m| LinearResult::of(m, 0.95, Order::First).unwrap().budgets.remove(0));
        let close = |a: f64, b: f64| (a - b).abs() <= 1e-12 * a.abs();
        prop_assert!(close(first.combined_standard_uncertainty, second.combined_standard_uncertainty));
        prop_assert!(close(first.coverage_factor, second.coverage_factor));
        for row in &first.inputs {
            let again = second.inputs.iter().find(|other| other.name == row.name).unwrap();
            prop_assert!(close(row.contribution, again.contribution));
        }
        prop_assert_eq!(second.inputs[1].contribution, 0.0);
    }

    /// A linear model: the law's mean and variance are those of any distribution, so Monte Carlo must meet them.
    #[test]
    fn of_a_linear_model_the_law_is_exact(d in prop::array::uniform4(distributions()), c in prop::array::uniform4(-2.0..2.0_f64)) {
        let names = ["a", "b", "c", "d"];
        let formula: Vec<String> = names.iter().zip(c).map(|(name, c)| format!("({c})*{name}")).collect();
        let inputs = names.iter().zip(d).map(|(name, d)| input(name, d)).collect();
        let model = model(&formula.join(" + "), inputs, &[]);
        let n = 20_000;
        let summary = run(&model, n).measurands[0].summary;
        let budget = LinearResult::of(&model, 0.95, Order::Second).unwrap().budgets.remove(0);
        // A t input has a larger standard deviation than the scale that the law takes.
        let variance: f64 = d.iter().zip(c).map(|(d, c)| (c * d.standard_uncertainty()).powi(2)).sum();
        let has_t = d.iter().any(|d| matches!(d, Distribution::StudentT { .. }));
        let u = budget.combined_standard_uncertainty;
        prop_assert!(has_t || (u * u / variance - 1.0).abs() < 1e-12);
        prop_assert_eq!(budget.second_order.unwrap().terms.len(), 0);
        // Five standard deviations; that of a variance is known up to the tails of t with 5 degrees of freedom and more.
        prop_assert!((summary.mean - budget.estimate).abs() < 5.0 * (variance / n as f64).sqrt());
        prop_assert!((summary.standard_deviation.powi(2) / variance - 1.0).abs() < 0.15);
    }

    #[test]
    fn the_shares_of_a_linear_model_are_those_of_its_budget(u in prop::array::uniform3(0.2..2.0_f64)) {
        let names = ["a", "b", "c"];
        let inputs = names.iter().zip(u);
        let inputs = inputs.map(|(name, u)| input(name, Distribution::normal(0.0, u).unwrap())).collect();
        let model = model("a - 2*b + c", inputs, &[]);
        let budget = LinearResult::of(&model, 0.95, Order::First).unwrap().budgets.remove(0);
        let experiment = FormulaExperiment::new(&model).unwrap();
        let streams = Streams::new(5);
        let run = |streams: &Streams| run_trials(&experiment, streams, 0..20_000, &|_| ()).swap_remove(0);
        let shares = shares_of(run(&streams), run(&streams.redrawing_all()), &names, |source| {
            run(&streams.redrawing(source))
        });
        for (share, row) in shares.iter().zip(&budget.inputs) {
            prop_assert_eq!(&share.source, &row.name);
            prop_assert!((share.first_order - row.share).abs() < 5.0 * share.first_order_u);
            prop_assert!((share.total - row.share).abs() < 5.0 * share.total_u);
        }
    }

    /// Whatever the correlations, variances of sums are those of the covariance matrix, and never negative.
    #[test]
    fn correlated_sums_have_their_variance(r in -1.0..=1.0_f64, u in prop::array::uniform2(0.1..2.0_f64), c in -2.0..2.0_f64) {
        let inputs = || {
            vec![input("a", Distribution::normal(1.0, u[0]).unwrap()), input("b", Distribution::normal(2.0, u[1]).unwrap())]
        };
        let model = model(&format!("a + ({c})*b"), inputs(), &[("a", "b", r)]);
        let budget = LinearResult::of(&model, 0.95, Order::First).unwrap().budgets.remove(0);
        let variance = u[0] * u[0] + c * c * u[1] * u[1] + 2.0 * c * r * u[0] * u[1];
        prop_assert!((budget.combined_standard_uncertainty.powi(2) - variance).abs() < 1e-12);
        let summary = run(&model, 20_000).measurands[0].summary;
        // Normal: the variance of 20 000 trials is known to 1 % (one standard deviation), five of them here.
        prop_assert!((summary.standard_deviation.powi(2) - variance).abs() < 0.05 * variance + 1e-12);
    }
}

/// P(X₁ + … + X_n ≤ x) for rectangles from 0 to 1: `Σ_k (−1)^k C(n, k) (x − k)^n / n!` over k ≤ x (Irwin, Biometrika 19, 1927,
/// 225-239; Hall, ibid. 240-245).
fn irwin_hall(n: usize, x: f64) -> f64 {
    let mut sum = 0.0;
    let mut binomial = 1.0;
    for k in 0..=n {
        if x > k as f64 {
            sum += binomial * (x - k as f64).powi(n as i32);
        }
        binomial *= -((n - k) as f64) / (k + 1) as f64;
    }
    sum / (1..=n).product::<usize>() as f64
}

#[test]
fn sums_of_rectangles_have_their_exact_density() {
    let n_trials = 200_000;
    for n in 1..=6 {
        let names: Vec<String> = (1..=n).map(|k| format!("x{k}")).collect();
        let rectangle = Distribution::Rectangular { low: 0.0, high: 1.0 };
        let inputs = names.iter().map(|name| input(name, rectangle)).collect();
        let mut values = values(&model(&names.join(" + "), inputs, &[]), n_trials);
        values.sort_unstable_by(f64::total_cmp);
        let distance = values
            .iter()
            .enumerate()
            .map(|(i, x)| (irwin_hall(n, *x) - (i as f64 + 0.5) / n_trials as f64).abs())
            .fold(0.0, f64::max);
        // Kolmogorov: exceeded once in a million times, 2 exp(−2·2.69²).
        assert!(distance < 2.69 / (n_trials as f64).sqrt(), "{n}: {distance}");
    }
}

/// More measurands, of the same inputs, leave each other alone.
#[test]
fn a_second_measurand_changes_nothing_of_the_first() {
    let inputs = || {
        ["a", "b", "c"]
            .map(|name| input(name, Distribution::Normal { mean: 0.5, standard_deviation: 0.2 }))
            .to_vec()
    };
    let alone = model(FORMULA, inputs(), &[]);
    let both =
        MeasurementModel::new(&[("z", "mm", "a/(2 + c)"), ("y", "mm", FORMULA)], inputs(), &[]).unwrap();
    assert_eq!(run(&alone, 5_000).measurands[0], run(&both, 5_000).measurands[1]);
    let budgets = |model| LinearResult::of(model, 0.95, Order::Second).unwrap().budgets;
    assert_eq!(budgets(&alone)[0], budgets(&both)[1]);
}
