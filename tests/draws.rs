//! Every distribution: against an independent library, against itself, and its draws.

use howflat::quantity::distribution::{Distribution, ParameterError};
use howflat::quantity::stream::Streams;
use proptest::prelude::*;
use serde_json::Value;

/// One family with parameters, and what scipy says of it.
struct Case {
    label: String,
    distribution: Distribution,
    reference: Value,
}

/// The cases of `reference/distributions.json`; the script that computes it lies beside it.
fn cases() -> Vec<Case> {
    let text = include_str!("reference/distributions.json");
    let all: Value = serde_json::from_str(text).expect("the reference file is JSON");
    let cases = all["cases"].as_array().expect("cases");
    cases.iter().map(case).collect()
}

fn case(reference: &Value) -> Case {
    let family = reference["family"].as_str().expect("family");
    let parameters: Vec<f64> =
        reference["parameters"].as_array().expect("parameters").iter().filter_map(Value::as_f64).collect();
    let distribution = match (family, parameters.as_slice()) {
        ("rectangular", &[low, high]) => Distribution::rectangular(low, high),
        ("inexact_rectangular", &[low, high, d]) => Distribution::inexact_rectangular(low, high, d),
        ("trapezoidal", &[low, high, beta]) => Distribution::trapezoidal(low, high, beta),
        ("triangular", &[low, high]) => Distribution::triangular(low, high),
        ("arc_sine", &[low, high]) => Distribution::arc_sine(low, high),
        ("normal", &[mean, sd]) => Distribution::normal(mean, sd),
        ("student_t", &[location, scale, dof]) => Distribution::student_t(location, scale, dof),
        ("exponential", &[mean]) => Distribution::exponential(mean),
        ("gamma", &[shape, scale]) => Distribution::gamma(shape, scale),
        ("lognormal", &[median, spread]) => Distribution::lognormal(median, spread),
        other => panic!("no constructor for {other:?}"),
    };
    Case {
        label: format!("{family} {parameters:?}"),
        distribution: distribution.expect("sound parameters"),
        reference: reference.clone(),
    }
}

fn check(label: &str, what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{label}: {what} is {found}, expected {expected} ± {tolerance:e}"
    );
}

/// The size of the rounding of a value of this distribution: that of its limits or of the value.
fn rounding(distribution: &Distribution, x: f64) -> f64 {
    let limits = distribution.limits().into_iter().filter(|limit| limit.is_finite());
    4.0 * f64::EPSILON * limits.fold(x.abs(), |size, limit| size.max(limit.abs()))
}

#[test]
fn moments_densities_cumulatives_and_quantiles_are_scipy_s() {
    for Case { label, distribution, reference } in cases() {
        match reference["mean"].as_f64() {
            Some(mean) => check(&label, "mean", distribution.mean(), mean, 1e-13 * mean.abs()),
            None => assert!(distribution.mean().is_nan(), "{label}: has no mean"),
        }
        match reference["standard_uncertainty"].as_f64() {
            Some(u) => check(&label, "u", distribution.standard_uncertainty(), u, 1e-12 * u),
            None => assert_eq!(distribution.standard_uncertainty(), f64::INFINITY, "{label}"),
        }
        for point in reference["points"].as_array().expect("points") {
            let number = |key: &str| point[key].as_f64().expect("a number");
            let (p, x, density) = (number("p"), number("quantile"), number("density"));
            // Ten digits of either tail, and what the last bits of x, and of p and F near 1, come to.
            let in_p = 1e-10 * p.min(1.0 - p) + if p > 0.5 { 2.0 * f64::EPSILON } else { 0.0 };
            let in_x = rounding(&distribution, x);
            check(&label, "density", distribution.density(x), density, 1e-11 * density);
            let cumulative = distribution.cumulative(x);
            check(&label, &format!("F({x})"), cumulative, number("cumulative"), in_p + density * in_x);
            check(&label, &format!("quantile of {p}"), distribution.quantile(p), x, in_p / density + in_x);
        }
    }
}

#[test]
fn quantiles_invert_the_cumulative() {
    for Case { label, distribution, .. } in cases() {
        let mut last = f64::NEG_INFINITY;
        for k in 1..1000 {
            let p = f64::from(k) / 1000.0;
            let x = distribution.quantile(p);
            assert!(x > last, "{label}: the quantile of {p} is not above the one before");
            last = x;
            let tolerance = 1e-12 + distribution.density(x) * rounding(&distribution, x);
            check(&label, &format!("F at the quantile of {p}"), distribution.cumulative(x), p, tolerance);
        }
    }
}

#[test]
fn densities_integrate_to_the_cumulative() {
    // Gauss-Legendre with 5 points on each of 20 equal parts between neighbouring quantiles; nodes and
    // weights: Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, table 25.4.
    let nodes = [
        (0.0, 0.568_888_888_888_889),
        (0.538_469_310_105_683, 0.478_628_670_499_366),
        (0.906_179_845_938_664, 0.236_926_885_056_189),
    ];
    for Case { label, distribution, .. } in cases() {
        let grid: Vec<f64> = (1..100).map(|k| distribution.quantile(f64::from(k) / 100.0)).collect();
        for ends in grid.windows(2) {
            let half = (ends[1] - ends[0]) / 40.0;
            let mut integral = 0.0;
            for part in 0..20 {
                let centre = ends[0] + half * f64::from(2 * part + 1);
                for (node, weight) in nodes {
                    let both = distribution.density(centre - half * node)
                        + distribution.density(centre + half * node);
                    integral += half * weight * if node == 0.0 { 0.5 * both } else { both };
                }
            }
            // A kink inside a part costs most: half a part times the jump of slope it cuts off.
            check(&label, &format!("integral over {ends:?}"), integral, 0.01, 2e-7);
        }
    }
}

#[test]
fn the_first_draws_of_a_seed_stay() {
    // Printed once, so they say nothing of correctness; they make a change of the streams, by an
    // update of a library or by a slip here, something that is noticed.
    let expected = [
        ("rectangular [-0.3, 1.2]", [0.7067688880192591, -0.07959742979820589, 0.9550128394465156]),
        ("inexact_rectangular [9.9, 10.1, 0.05]", [9.917299529969382, 9.869797110996132, 10.018763084905258]),
        ("trapezoidal [-1.0, 2.0, 0.4]", [0.5417179853480394, 0.7686818790738734, 1.1284607964305002]),
        ("triangular [96.0, 104.0]", [99.2724572219228, 99.39854047785182, 101.36624159561784]),
        ("arc_sine [-0.5, 0.5]", [-0.25611337474544593, 0.4476682758665728, -0.4356135058180638]),
        ("normal [-3.0, 0.25]", [-2.7818130724029047, -3.2355116510139235, -2.8167423900991597]),
        ("student_t [10.0, 0.1, 9.0]", [10.116524821257363, 9.939105121809973, 9.998946030019754]),
        ("exponential [2.5]", [6.759125062008136, 0.4840750785069365, 1.9645601177309961]),
        ("gamma [0.5, 2.0]", [0.3750623780569484, 0.0007678295585703859, 1.4084270809087642]),
        ("gamma [3.0, 1.0]", [4.3608310056668085, 4.0517449934215195, 4.2297047054847825]),
        ("lognormal [2.0, 0.7]", [3.684263265978671, 1.0342893346836803, 3.3409944035212393]),
    ];
    let cases = cases();
    for (label, first) in expected {
        let case = cases.iter().find(|case| case.label == label).expect(label);
        let mut draws = Streams::new(2).source("first draws").trial(3);
        let found: [f64; 3] = std::array::from_fn(|_| case.distribution.draw(&mut draws));
        assert_eq!(found, first, "{label}");
    }
}

/// A million draws, each from a trial of its own as in a run, in ascending order.
fn million(distribution: &Distribution, label: &str) -> Vec<f64> {
    let source = Streams::new(1).source(label);
    let mut values: Vec<f64> =
        (0..1_000_000).map(|trial| distribution.draw(&mut source.trial(trial))).collect();
    values.sort_unstable_by(f64::total_cmp);
    values
}

#[test]
fn a_million_draws_follow_the_cumulative_and_the_moments() {
    for Case { label, distribution, reference } in cases() {
        let values = million(&distribution, &label);
        let n = values.len() as f64;

        // Kolmogorov-Smirnov: P(√n D > 2.9) = 2 exp(−2 · 2.9²) = 1e-7 a family, 3e-6 for all
        // (Smirnov's limit law). Looking at every 32nd value only misses at most 32/n of D.
        let distance = values.iter().enumerate().step_by(32).fold(0.0, |worst: f64, (k, &x)| {
            let below = distribution.cumulative(x);
            worst.max((below - k as f64 / n).abs()).max((below - (k as f64 + 1.0) / n).abs())
        });
        assert!(distance * n.sqrt() < 2.9, "{label}: distance {distance} from the cumulative");

        let [low, high] = distribution.limits();
        assert!(low <= values[0] && values[values.len() - 1] <= high, "{label}: a draw beyond the limits");

        // Mean and variance within 5 of their standard deviations, σ/√n and σ² √((κ + 2)/n) with the
        // excess kurtosis κ: a false alarm in 1.7 million each, where they are nearly normal.
        let u = distribution.standard_uncertainty();
        if u.is_finite() {
            let mean = values.iter().sum::<f64>() / n;
            check(&label, "mean of the draws", mean, distribution.mean(), 5.0 * u / n.sqrt());
            if let Some(excess) = reference["excess_kurtosis"].as_f64() {
                let squares = values.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>();
                let tolerance = 5.0 * ((excess + 2.0) / n).sqrt();
                check(&label, "relative variance", squares / n / (u * u), 1.0, tolerance);
            }
        }
    }
}

#[test]
fn a_constant_is_always_drawn() {
    let constant = Distribution::constant(3.5).expect("sound");
    let mut draws = Streams::new(1).source("x").trial(0);
    assert_eq!(constant.draw(&mut draws), 3.5);
    assert_eq!([constant.mean(), constant.standard_uncertainty(), constant.quantile(0.2)], [3.5, 0.0, 3.5]);
    assert_eq!([constant.cumulative(3.4), constant.cumulative(3.5)], [0.0, 1.0]);
    assert_eq!([constant.density(3.4), constant.density(3.5)], [0.0, f64::INFINITY]);
}

#[test]
fn impossible_parameters_are_refused() {
    fn refused(result: Result<Distribution, ParameterError>, expected: &str) {
        assert_eq!(result.expect_err("refused").to_string(), expected);
    }
    refused(
        Distribution::normal(1.0, -0.5),
        "standard_deviation is -0.5, but must be at least 0; write it without the sign",
    );
    refused(Distribution::normal(f64::NAN, 1.0), "mean is NaN, but must be finite; write a number");
    refused(
        Distribution::rectangular(2.0, 1.0),
        "high is 1, but must be above low, which is 2; write the smaller limit first, or a single number \
         for a quantity that is known",
    );
    refused(
        Distribution::inexact_rectangular(9.9, 10.1, 0.2),
        "inexactness is 0.2, but must be at least 0 and below 0.1, half the distance of the limits; write \
         how far off either limit may be",
    );
    refused(
        Distribution::trapezoidal(0.0, 1.0, 1.5),
        "beta is 1.5, but must be from 0 to 1; write the width of the top divided by the width of the base",
    );
    refused(
        Distribution::student_t(0.0, 1.0, 0.0),
        "degrees_of_freedom is 0, but must be above 0; n readings have n - 1 degrees of freedom",
    );
    for result in [
        Distribution::rectangular(1.0, 1.0),
        Distribution::triangular(f64::NEG_INFINITY, 0.0),
        Distribution::arc_sine(0.0, f64::NAN),
        Distribution::rectangular(-1e308, 1e308),
        Distribution::exponential(0.0),
        Distribution::gamma(-1.0, 1.0),
        Distribution::gamma(1.0, f64::INFINITY),
        Distribution::lognormal(-2.0, 0.5),
        Distribution::lognormal(2.0, f64::NAN),
        Distribution::student_t(0.0, 1.0, f64::NAN),
    ] {
        assert!(result.is_err(), "{result:?}");
    }
}

#[test]
fn special_cases_become_the_simpler_family() {
    let found = [
        Distribution::normal(2.0, 0.0),
        Distribution::student_t(2.0, 0.0, 5.0),
        Distribution::lognormal(2.0, 0.0),
        Distribution::student_t(2.0, 3.0, f64::INFINITY),
        Distribution::inexact_rectangular(2.0, 3.0, 0.0),
        Distribution::trapezoidal(2.0, 3.0, 1.0),
        Distribution::trapezoidal(2.0, 3.0, 0.0),
    ];
    let expected = [
        Distribution::constant(2.0),
        Distribution::constant(2.0),
        Distribution::constant(2.0),
        Distribution::normal(2.0, 3.0),
        Distribution::rectangular(2.0, 3.0),
        Distribution::rectangular(2.0, 3.0),
        Distribution::triangular(2.0, 3.0),
    ];
    assert_eq!(found, expected);
}

/// Any of the reference cases.
fn any_distribution() -> impl Strategy<Value = Distribution> {
    prop::sample::select(cases().into_iter().map(|case| case.distribution).collect::<Vec<_>>())
}

/// A factor of either sign.
fn factor() -> impl Strategy<Value = f64> {
    (prop::bool::ANY, -3.0..3.0).prop_map(|(negative, power)| {
        let size = 10.0_f64.powf(power);
        if negative { -size } else { size }
    })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_scaled_quantity_has_the_scaled_distribution(
        distribution in any_distribution(), factor in factor(), p in 0.001..0.999
    ) {
        let scaled = distribution.scaled(factor);
        let x = distribution.quantile(p);
        let slack = 1e-12 + 4.0 * distribution.density(x) * rounding(&distribution, x);
        let expected = if factor > 0.0 { p } else { 1.0 - p };
        check("scaled", &format!("{scaled:?} F({})", factor * x), scaled.cumulative(factor * x), expected, slack);
        let density = distribution.density(x) / factor.abs();
        prop_assert!((scaled.density(factor * x) - density).abs() <= 1e-6 * density);
        let u = factor.abs() * distribution.standard_uncertainty();
        let scaled_u = scaled.standard_uncertainty();
        prop_assert!(u == scaled_u || (u / scaled_u - 1.0).abs() < 1e-9);
        let mean = factor * distribution.mean();
        prop_assert!(mean.is_nan() || (scaled.mean() - mean).abs() <= 1e-15 * mean.abs());
        let back = scaled.scaled(1.0 / factor).quantile(p);
        prop_assert!((back - x).abs() <= slack / distribution.density(x) + 4.0 * rounding(&distribution, x));
        let drawn = scaled.draw(&mut Streams::new(5).source("scaled").trial(0));
        let [low, high] = scaled.limits();
        prop_assert!(low <= drawn && drawn <= high);
    }

    #[test]
    fn a_shifted_quantity_has_the_shifted_distribution(
        distribution in any_distribution(), offset in -100.0..100.0, p in 0.001..0.999
    ) {
        let x = distribution.quantile(p);
        let Some(shifted) = distribution.shifted(offset) else {
            prop_assert!(["exponential", "gamma", "lognormal"].contains(&distribution.name()));
            return Ok(());
        };
        let in_x = rounding(&distribution, x) + 4.0 * f64::EPSILON * (x + offset).abs().max(offset.abs());
        let slack = 1e-12 + 4.0 * distribution.density(x) * in_x;
        check("shifted", &format!("{shifted:?}"), shifted.cumulative(x + offset), p, slack);
    }
}
