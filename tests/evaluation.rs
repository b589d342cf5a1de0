//! Type A and type B evaluation against the published examples of the guides.
//!
//! The cases lie in `reference/`, each with its source. Every expected number is computed here with
//! the library's own tools and compared with the recomputed value to its digits, and with the print.

use howflat::quantity::correlation::Correlation;
use howflat::quantity::distribution::{Distribution, ParameterError};
use howflat::quantity::rounding::{Rounded, at_place};
use howflat::quantity::sample::Summary;
use howflat::quantity::student::{t_cumulative, t_quantile};
use howflat::quantity::type_a::{
    OneWay, Pooled, Series, Simultaneous, StraightLine, autocorrelation, degrees_of_freedom_from, f_exceeded,
};
use serde_json::Value;

fn cases(text: &str) -> Vec<Value> {
    let file: Value = serde_json::from_str(text).expect("the reference file is JSON");
    file["cases"].as_array().expect("cases").clone()
}

/// The case `id` of `cases`, for checks that need more than a name and a value.
fn case<'a>(cases: &'a [Value], id: &str) -> &'a Value {
    cases.iter().find(|case| case["id"] == id).expect(id)
}

fn text(value: &Value) -> &str {
    value.as_str().expect("text")
}

/// A number, or a number that is text so that its digits count.
fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| text(value).parse().expect("a number"))
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(number).collect()
}

/// Compares one computed number with what the case expects under `name`.
fn check(case: &Value, name: &str, found: f64, relative: f64) {
    let id = text(&case["id"]);
    let expected = case["expected"].as_array().expect("expected");
    let entry = expected.iter().find(|entry| entry["name"] == name).expect(name);
    if !entry["recomputed"].is_null() {
        let recomputed = number(&entry["recomputed"]);
        let off = (found - recomputed).abs();
        assert!(off <= relative * recomputed.abs(), "{id}, {name}: {found}, recomputed {recomputed}");
    }
    // Where the print itself is off, the case says why.
    if let (Some(published), true) =
        (entry["published"].as_str(), entry["agrees_to_published_digits"] != false)
    {
        assert_eq!(as_printed(found, published), published, "{id}, {name}: {found} as printed");
    }
}

/// `found` with as many decimals as were printed.
fn as_printed(found: f64, published: &str) -> String {
    let decimals = published.split_once('.').map_or(0, |(_, digits)| digits.len());
    at_place(found, -(decimals as i32))
}

/// Checks every expected number of every case: `compute` finds it from the case and its name.
fn check_all(cases: &[Value], relative: f64, compute: impl Fn(&Value, &str) -> f64) {
    for case in cases {
        for entry in case["expected"].as_array().expect("expected") {
            let name = text(&entry["name"]);
            check(case, name, compute(case, name), relative);
        }
    }
}

/// The distribution of the input at `index`.
fn distribution(case: &Value, index: usize) -> Distribution {
    let stated = &case["inputs"][index]["distribution"];
    let at = |key: &str| number(&stated[key]);
    let distribution: Result<Distribution, ParameterError> = match text(&stated["type"]) {
        "rectangular" => Distribution::rectangular(at("a"), at("b")),
        "triangular" => Distribution::triangular(at("a"), at("b")),
        "ctrap" => Distribution::inexact_rectangular(at("a"), at("b"), at("d")),
        "normal" => Distribution::normal(at("mean"), at("sd")),
        other => panic!("no case has {other}"),
    };
    distribution.expect("sound parameters")
}

#[test]
fn type_b_examples() {
    let standard_normal = Distribution::normal(0.0, 1.0).expect("sound");
    let cases = cases(include_str!("reference/type-b.json"));
    check_all(&cases, 1e-9, |case, name| {
        let value = |index: usize| number(&case["inputs"][index]["value"]);
        let u = |index| distribution(case, index).standard_uncertainty();
        let trapezoid_u = |low, high, beta| {
            Distribution::trapezoidal(low, high, beta).expect("sound").standard_uncertainty()
        };
        match (text(&case["id"]), name) {
            ("GUM-4.3.3", "u") => {
                Distribution::normal(0.0, value(0) / value(1)).expect("sound").standard_uncertainty()
            }
            ("GUM-4.3.4", "u") => value(0) / 2.58,
            ("GUM-4.3.4", "u, exact normal quantile") => value(0) / standard_normal.quantile(0.995),
            ("GUM-4.3.5", "estimate") => Distribution::rectangular(10.07, 10.15).expect("sound").mean(),
            ("GUM-4.3.5", "u") => 1.48 * value(0),
            ("GUM-4.3.5", "u squared, 1e-3 mm^2") => (1.48 * value(0)).powi(2) * 1e3,
            ("GUM-4.3.5", "factor") => 1.0 / standard_normal.quantile(0.75),
            ("GUM-4.3.6", "u over a") => value(0),
            ("GUM-4.3.6", "normal deviate for p=2/3") => standard_normal.quantile(5.0 / 6.0),
            ("GUM-4.3.6", "a divided by that deviate") => value(0) / standard_normal.quantile(5.0 / 6.0),
            ("GUM-4.3.7-copper", "u") => u(0),
            // In units of 1e-15, of (1e-6)².
            ("GUM-4.3.7-copper", "u squared") => u(0) * u(0) * 1e3,
            ("GUM-4.3.7-5.1.5-voltmeter", name) => {
                let bound = 14e-6 * 0.928_571 + 2e-6;
                let u_offset =
                    Distribution::rectangular(-bound, bound).expect("sound").standard_uncertainty();
                let combined = libm::hypot(u(0), u_offset);
                match name {
                    "bound a" => bound * 1e6,
                    "u^2(dV)" => (u_offset * 1e6).powi(2),
                    "u(dV)" => u_offset * 1e6,
                    "u_c^2" => (combined * 1e6).powi(2),
                    "u_c" => combined * 1e6,
                    "u_c relative" => combined / value(0) * 1e6,
                    other => panic!("{other}"),
                }
            }
            ("GUM-4.3.9-trapezoid", "u for a=1, beta=0.5") => trapezoid_u(-1.0, 1.0, 0.5),
            ("GUM-4.3.9-trapezoid", "u for a=1, beta=0 (triangle)") => trapezoid_u(-1.0, 1.0, 0.0),
            ("GUM-4.3.9-trapezoid", "u for a=1, beta=1 (rectangle)") => trapezoid_u(-1.0, 1.0, 1.0),
            ("GUM-4.3.9-trapezoid", _) => {
                // Half-widths a1 and 0.3 a1 make a trapezoid of half-base 1.3 a1 and top 0.7 a1.
                let both = trapezoid_u(-1.3, 1.3, 0.7 / 1.3);
                (both / Distribution::rectangular(-1.0, 1.0).expect("sound").standard_uncertainty() - 1.0)
                    * 100.0
            }
            ("GUM-4.4.5-rectangle" | "GUM-4.4.6-triangle", "mean") => distribution(case, 0).mean(),
            (
                "GUM-4.4.5-rectangle"
                | "GUM-4.4.6-triangle"
                | "GUM-F.2.2.1-resolution"
                | "GUM-F.2.2.2-hysteresis"
                | "S1-6.4.3.4-ctrap-voltage",
                "u",
            ) => u(0),
            ("GUM-F.2.2.1-resolution" | "S1-6.4.3.4-ctrap-voltage", "u^2") => u(0) * u(0),
            ("S1-6.4.3.4-ctrap-voltage", name) => {
                let exact = Distribution::rectangular(9.9, 10.1).expect("sound").standard_uncertainty();
                if name == "u with exact limits" { exact } else { (1.0 - exact / u(0)) * 100.0 }
            }
            ("GUM-G.4.2-type-B-dof", name) => {
                let fraction = name.trim_start_matches("r=").split(' ').next().expect("a fraction");
                degrees_of_freedom_from(fraction.parse().expect("a number"))
            }
            ("S1-Table-1-distributions", "variance of CTrap(-1,1,0.1)") => {
                Distribution::inexact_rectangular(-1.0, 1.0, 0.1)
                    .expect("sound")
                    .standard_uncertainty()
                    .powi(2)
            }
            other => panic!("nothing computes {other:?}"),
        }
    });
}

#[test]
fn means_and_variances_of_supplement_table_1() {
    // The formulas of the table's last columns, at a = -1, b = 2, d = 0.5, beta = 0.4, x = 3, u = 0.7,
    // n = 6, U/k = 0.7, nu = 9, q = 2. The file restates the table in words and formulas.
    let file = cases(include_str!("reference/type-b.json"));
    let table = case(&file, "S1-Table-1-distributions")["table"].as_array().expect("the table");
    let [a, b, d, beta, x, u, nu]: [f64; 7] = [-1.0, 2.0, 0.5, 0.4, 3.0, 0.7, 9.0];
    let readings = [2.9, 3.3, 3.1, 2.7, 3.6, 3.0];
    let mean = readings.iter().sum::<f64>() / 6.0;
    let s2 = readings.iter().map(|reading| (reading - mean).powi(2)).sum::<f64>() / 5.0;
    for row in table {
        let (distribution, expected_mean, variance) = match text(&row["name"]) {
            "rectangular" => (Distribution::rectangular(a, b), (a + b) / 2.0, (b - a).powi(2) / 12.0),
            "curvilinear trapezoid" => {
                let variance = (b - a).powi(2) / 12.0 + d.powi(2) / 9.0;
                (Distribution::inexact_rectangular(a, b, d), (a + b) / 2.0, variance)
            }
            "trapezoid" => {
                let variance = (b - a).powi(2) * (1.0 + beta.powi(2)) / 24.0;
                (Distribution::trapezoidal(a, b, beta), (a + b) / 2.0, variance)
            }
            "triangle" => (Distribution::triangular(a, b), (a + b) / 2.0, (b - a).powi(2) / 24.0),
            "arcsine" => (Distribution::arc_sine(a, b), (a + b) / 2.0, (b - a).powi(2) / 8.0),
            "normal" => (Distribution::normal(x, u), x, u.powi(2)),
            "t from readings" => {
                let estimate = Series::of(&readings).expect("readings").estimate();
                (estimate.distribution(), mean, 5.0 / 3.0 * s2 / 6.0)
            }
            "t from certificate" => (Distribution::student_t(x, u, nu), x, nu / (nu - 2.0) * u.powi(2)),
            "exponential" => (Distribution::exponential(x), x, x.powi(2)),
            "gamma" => (Distribution::gamma(3.0, 1.0), 3.0, 3.0),
            "multivariate normal" => {
                // Its factor gives the covariances back; what it draws is tested beside it.
                let factor =
                    Correlation::from_pairs(&["x", "y"], &[("x", "y", 0.6)]).expect("possible").factor();
                let mut z = [1.0, 0.0];
                factor.correlate(&mut z);
                assert!((z[0] * z[1] - 0.6).abs() < 1e-15);
                continue;
            }
            other => panic!("a row that is not tested: {other}"),
        };
        let distribution = distribution.expect("sound parameters");
        let found = [distribution.mean(), distribution.standard_uncertainty().powi(2)];
        for (found, expected) in found.into_iter().zip([expected_mean, variance]) {
            assert!((found / expected - 1.0).abs() < 1e-12, "{}: {found}, {expected}", row["name"]);
        }
    }
}

/// The readings of the input at `index`: a list, digits, or a rule.
fn readings(case: &Value, index: usize) -> Vec<f64> {
    let input = &case["inputs"][index];
    if let Some(digits) = input["digits"].as_str() {
        return digits.bytes().map(|digit| f64::from(digit - b'0')).collect();
    }
    if let Some(rule) = input["once_then_500_times"].as_array() {
        let [once, low, high] = [0, 1, 2].map(|k| number(&rule[k]));
        return std::iter::once(once).chain([low, high].into_iter().cycle().take(1000)).collect();
    }
    let data = &input["distribution"]["data"];
    numbers(if data.is_null() { &input["data"] } else { data })
}

#[test]
fn nist_s_univariate_data_sets() {
    for case in cases(include_str!("reference/type-a.json")) {
        let id = text(&case["id"]);
        if !id.starts_with("StRD") || id == "StRD-Norris" {
            continue;
        }
        // Digits that double precision can give: NumAcc3 and NumAcc4 lose them before the first sum,
        // since 1000000.1 and 10000000.1 are rounded to 1e-10 and 2e-9.
        let [mean, sd, r] = match id {
            "StRD-NumAcc3" => [1e-15, 1e-9, 2e-9],
            "StRD-NumAcc4" => [1e-15, 1e-8, 2e-8],
            "StRD-Mavro" => [1e-15, 2e-13, 2e-13],
            _ => [1e-15, 1e-14, 1e-12],
        };
        let readings = readings(&case, 0);
        let series = Series::of(&readings).expect("readings");
        for (name, found, relative) in [
            ("mean", series.mean, mean),
            ("standard deviation (n-1)", series.standard_deviation, sd),
            ("lag-1 autocorrelation", autocorrelation(&readings), r),
        ] {
            let expected = case["expected"].as_array().expect("expected");
            let entry = expected.iter().find(|entry| entry["name"] == name).expect(name);
            let certified = number(&entry["published"]);
            assert!(
                (found / certified - 1.0).abs() <= relative,
                "{id}, {name}: {found}, certified {certified}"
            );
        }
    }
}

#[test]
fn temperatures_of_gum_4_4_3() {
    let cases = cases(include_str!("reference/type-a.json"));
    let case = case(&cases, "GUM-4.4.3-temperatures");
    let estimate = Series::of(&readings(case, 0)).expect("readings").estimate();
    check(case, "mean", estimate.value, 1e-9);
    check(case, "s of mean", estimate.standard_uncertainty, 1e-9);
    check(case, "s", estimate.standard_uncertainty * 20.0_f64.sqrt(), 1e-9);
    assert_eq!(estimate.degrees_of_freedom, 19.0);
}

#[test]
fn simultaneous_readings_of_gum_h_2() {
    let cases = cases(include_str!("reference/type-a.json"));
    let first = case(&cases, "GUM-H.2-approach-1");
    let inputs = [0, 1, 2].map(|index| readings(first, index));
    let together = Simultaneous::of(&inputs.each_ref().map(Vec::as_slice)).expect("readings");
    for (k, name) in ["V", "I", "phi"].into_iter().enumerate() {
        let estimate = together.series[k].estimate();
        check(first, &format!("mean {name}"), estimate.value, 1e-9);
        check(first, &format!("s(mean {name})"), estimate.standard_uncertainty, 1e-9);
    }
    for (i, j, name) in [(0, 1, "r(V,I)"), (0, 2, "r(V,phi)"), (1, 2, "r(I,phi)")] {
        check(first, name, together.correlation.coefficient(i, j), 1e-9);
    }

    // The second approach: the measurands of each set of readings, then their means.
    let second = case(&cases, "GUM-H.2-approach-2");
    let [voltage, current, phase] = [0, 1, 2].map(|index| readings(second, index));
    let of = |f: fn(f64) -> f64| -> Vec<f64> {
        (0..5).map(|k| voltage[k] / (current[k] * 1e-3) * f(phase[k])).collect()
    };
    let measurands = [of(libm::cos), of(libm::sin), of(|_| 1.0)];
    let together = Simultaneous::of(&measurands.each_ref().map(Vec::as_slice)).expect("readings");
    for (k, name) in ["R", "X", "Z"].into_iter().enumerate() {
        let estimate = together.series[k].estimate();
        check(second, &format!("mean {name}"), estimate.value, 1e-9);
        check(second, &format!("s(mean {name})"), estimate.standard_uncertainty, 1e-9);
    }
    for (i, j, name) in [(0, 1, "r(R,X)"), (0, 2, "r(R,Z)"), (1, 2, "r(X,Z)")] {
        check(second, name, together.correlation.coefficient(i, j), 1e-9);
    }
}

#[test]
fn analysis_of_variance_of_gum_h_5() {
    let cases = cases(include_str!("reference/type-a.json"));
    let case = case(&cases, "GUM-H.5-anova");
    let days: Vec<Series> = readings(case, 0)
        .into_iter()
        .zip(readings(case, 1))
        .map(|(mean, standard_deviation)| Series { n_readings: 5, mean, standard_deviation })
        .collect();
    let analysis = OneWay::of(&days).expect("equal groups");
    let [with, without] = [analysis.estimate_with_effect(), analysis.estimate_without_effect()];
    check(case, "mean", 10.0 + analysis.mean * 1e-6, 1e-9);
    check(case, "s(daily means)", analysis.from_means / 5.0_f64.sqrt(), 1e-9);
    check(case, "s_a", analysis.from_means, 1e-9);
    check(case, "s_b", analysis.from_within, 1e-9);
    check(case, "F", analysis.ratio(), 1e-9);
    check(case, "s(mean), day effect rejected", without.standard_uncertainty, 1e-9);
    check(case, "s(mean), day effect accepted", with.standard_uncertainty, 1e-9);
    check(case, "dof rejected", without.degrees_of_freedom, 1e-9);
    check(case, "dof accepted", with.degrees_of_freedom, 1e-9);
    // The 95 % and 97.5 % points of F are where it is exceeded with 5 % and 2.5 %.
    for (point, exceeded) in [(2.124029264, 0.05), (2.451939217, 0.025)] {
        assert!((f_exceeded(point, 9.0, 40.0) / exceeded - 1.0).abs() < 1e-8);
    }
    // H.5.2.3: the effect is significant at 5 % but not at 2.5 %.
    assert!((0.025..0.05).contains(&analysis.probability()));
}

#[test]
fn groups_of_raw_readings_and_of_their_summaries_agree() {
    // Four readings in each of three groups, by hand: means 10, 12, 11; sums of squares 2, 10, 20.
    let groups = [[9.0, 10.0, 10.0, 11.0], [10.0, 11.0, 13.0, 14.0], [8.0, 10.0, 12.0, 14.0]];
    let series = groups.map(|group| Series::of(&group).expect("readings"));
    let analysis = OneWay::of(&series).expect("equal groups");
    let close = |found: f64, expected: f64| assert!((found - expected).abs() < 1e-14, "{found} {expected}");
    close(analysis.mean, 11.0);
    close(analysis.from_means * analysis.from_means, 4.0);
    close(analysis.from_within * analysis.from_within, 32.0 / 9.0);
    // Without an effect it is the standard deviation of the mean of all twelve.
    let all = Series::of(groups.as_flattened()).expect("readings").estimate();
    close(analysis.estimate_without_effect().standard_uncertainty, all.standard_uncertainty);
    assert!(OneWay::of(&series[..1]).is_err());
    let uneven = [series[0], Series { n_readings: 5, ..series[1] }];
    assert_eq!(
        OneWay::of(&uneven).expect_err("refused").to_string(),
        "2 groups of 4, 5 readings, but must be at least 2 groups of equally many readings; leave readings \
         out so that the groups are equally long"
    );
}

#[test]
fn pooled_standard_deviations() {
    // GUM 4.2.4 and H.3.6 note: variances weighted with their degrees of freedom; by hand
    // (2·9 + 4·3)/6 = 5.
    let series = [(3, 3.0), (5, 3.0_f64.sqrt())].map(|(n_readings, standard_deviation)| Series {
        n_readings,
        mean: 0.0,
        standard_deviation,
    });
    let pooled = Pooled::of(&series);
    assert!((pooled.standard_deviation - 5.0_f64.sqrt()).abs() < 1e-15);
    assert_eq!(pooled.degrees_of_freedom, 6.0);
    let estimate = pooled.estimate(&[7.0]).expect("a reading");
    assert_eq!((estimate.value, estimate.standard_uncertainty), (7.0, pooled.standard_deviation));
    let four = pooled.estimate(&[6.0, 7.0, 8.0, 7.0]).expect("readings");
    assert_eq!((four.value, four.standard_uncertainty), (7.0, pooled.standard_deviation / 2.0));
    assert!(pooled.estimate(&[]).is_err());
}

#[test]
fn straight_lines_of_nist_and_of_gum_h_3() {
    let cases = cases(include_str!("reference/type-a.json"));
    let points =
        |case: &Value| -> Vec<(f64, f64)> { readings(case, 0).into_iter().zip(readings(case, 1)).collect() };

    let norris = case(&cases, "StRD-Norris");
    let line = StraightLine::fit(&points(norris), 0.0).expect("points");
    for (name, found) in [
        ("intercept", line.height),
        ("slope", line.slope),
        ("s(intercept)", line.height_uncertainty),
        ("s(slope)", line.slope_uncertainty),
        ("s of one reading", line.standard_deviation),
    ] {
        let expected = norris["expected"].as_array().expect("expected");
        let entry = expected.iter().find(|entry| entry["name"] == name).expect(name);
        let certified = number(&entry["published"]);
        assert!((found / certified - 1.0).abs() < 2e-12, "{name}: {found}, certified {certified}");
    }

    let thermometer = case(&cases, "GUM-H.3-thermometer");
    let line = StraightLine::fit(&points(thermometer), 20.0).expect("points");
    let correction = line.predict(30.0);
    for (name, found) in [
        ("y1", line.height),
        ("s(y1)", line.height_uncertainty),
        ("y2", line.slope),
        ("s(y2)", line.slope_uncertainty),
        ("r(y1,y2)", line.correlation),
        ("s", line.standard_deviation),
        ("b(30)", correction.value),
        ("u(b(30))", correction.standard_uncertainty),
        ("degrees of freedom", correction.degrees_of_freedom),
    ] {
        check(thermometer, name, found, 0.0);
    }
    // The covariance route of H.3.4 gives the same as the one about the mean, at any reference.
    let steps = 10.0 * line.slope_uncertainty;
    let squares = line.height_uncertainty.powi(2)
        + steps.powi(2)
        + 2.0 * line.correlation * line.height_uncertainty * steps;
    assert!((squares.sqrt() / correction.standard_uncertainty - 1.0).abs() < 1e-12);
    let elsewhere = StraightLine::fit(&points(thermometer), -40.0).expect("points").predict(30.0);
    assert!((elsewhere.value - correction.value).abs() < 1e-14);

    for too_few in [&[(1.0, 2.0), (2.0, 3.0)][..], &[(1.0, 2.0), (1.0, 3.0), (1.0, 4.0)], &[]] {
        assert!(StraightLine::fit(too_few, 0.0).is_err());
    }
    // Without scatter there is no uncertainty, but still a correlation.
    let exact = StraightLine::fit(&[(0.0, 1.0), (1.0, 3.0), (2.0, 5.0)], 0.0).expect("points");
    assert_eq!((exact.slope, exact.standard_deviation), (2.0, 0.0));
    assert!((exact.correlation + (3.0_f64 / 5.0).sqrt()).abs() < 1e-15);
}

#[test]
fn readings_that_cannot_be_evaluated_are_refused() {
    let refused = |readings: &[f64], expected: &str| {
        assert_eq!(Series::of(readings).expect_err("refused").to_string(), expected);
    };
    let more = "but must be at least 2; add a reading, or take the standard deviation from earlier work";
    refused(&[], &format!("0 readings, {more}"));
    refused(&[1.0], &format!("1 reading, {more}"));
    refused(&[1.0, f64::NAN], "reading 2 is NaN, but must be a finite number; leave it out");
    assert!(Simultaneous::of(&[&[1.0, 2.0], &[1.0, 2.0, 3.0]]).is_err());
    assert_eq!(Simultaneous::of(&[]).expect("nothing").series.len(), 0);
    // Readings that never vary are a constant and go with nothing.
    let still = Simultaneous::of(&[&[2.0, 2.0, 2.0], &[1.0, 2.0, 4.0]]).expect("readings");
    assert_eq!(still.correlation.coefficient(0, 1), 0.0);
    assert_eq!(still.series[0].estimate().distribution(), Distribution::constant(2.0));
}

#[test]
fn coverage_factors_gum_table_g_1() {
    let cases = cases(include_str!("reference/tables.json"));
    let rectangular = Distribution::rectangular(-1.0, 1.0).expect("sound");
    let u = rectangular.standard_uncertainty();
    check_all(&[case(&cases, "GUM-Table-G.1").clone()], 1e-9, |_, name| match name {
        "k for 90" => t_quantile(0.95, f64::INFINITY),
        "k for 95" => t_quantile(0.975, f64::INFINITY),
        "k for 99" => t_quantile(0.995, f64::INFINITY),
        "p for k=1, percent" => 100.0 - 200.0 * t_cumulative(-1.0, f64::INFINITY),
        "p for k=2, percent" => 100.0 - 200.0 * t_cumulative(-2.0, f64::INFINITY),
        "p for k=3, percent" => 100.0 - 200.0 * t_cumulative(-3.0, f64::INFINITY),
        "rectangular: p for k=1" => 100.0 * (rectangular.cumulative(u) - rectangular.cumulative(-u)),
        "rectangular: k for 95" => rectangular.quantile(0.975) / u,
        "rectangular: k for 99" => rectangular.quantile(0.995) / u,
        "rectangular: k for 100" => rectangular.quantile(1.0) / u,
        other => panic!("{other}"),
    });
}

#[test]
fn student_factors_gum_table_g_2() {
    let cases = cases(include_str!("reference/tables.json"));
    let table = &case(&cases, "GUM-Table-G.2")["table"];
    // Three columns stand for exactly one, two and three standard deviations of a normal.
    let tails = [1.0, 2.0, 3.0].map(|k| t_cumulative(-k, f64::INFINITY));
    let tails = [tails[0], 0.05, 0.025, tails[1], 0.005, tails[2]];
    let mut n_entries = 0;
    for row in table["rows"].as_array().expect("rows") {
        for (column, tail) in tails.into_iter().enumerate() {
            let found = -t_quantile(tail, number(&row["nu"]));
            let published = text(&row["published"][column]);
            let recomputed = number(&row["recomputed"][column]);
            // Six significant digits stand in the file.
            assert!((found / recomputed - 1.0).abs() < 5e-6, "{found} {recomputed}");
            // The table's one erratum: 35 degrees of freedom at 90 %, printed 1.70 for 1.69.
            let erratum = row["nu"] == 35 && column == 1;
            assert_eq!(
                as_printed(found, published) == published,
                !erratum,
                "{}: {found}, {published}",
                row["nu"]
            );
            n_entries += 1;
        }
    }
    assert_eq!(n_entries, 27 * 6);
}

#[test]
fn coverage_intervals_of_supplement_7_7_2() {
    let cases = cases(include_str!("reference/tables.json"));
    check_all(&[case(&cases, "S1-7.7-coverage-intervals").clone()], 0.0, |_, name| {
        // "M=10000 p=0.95: symmetric r": the values 1 to M are their own ranks.
        let (settings, wanted) = name.split_once(": ").expect("a colon");
        let (m, p) = settings.trim_start_matches("M=").split_once(" p=").expect("M and p");
        let values: Vec<f64> = (1..=m.parse::<u32>().expect("M")).map(f64::from).collect();
        let [low, high] = Summary::of(&values, p.parse().expect("p")).interval_symmetric;
        if wanted == "q" { high - low } else { low }
    });
}

#[test]
fn results_as_gum_7_2_2_and_7_2_6_report_them() {
    // 7.2.2 and 7.2.4: 100.021 47 g with u_c = 0.35 mg, 9 degrees of freedom: k = 2.26, U = 0.79 mg.
    let k = t_quantile(0.975, 9.0);
    assert_eq!(at_place(k, -2), "2.26");
    let expanded = Rounded::of(100.02147, k * 0.00035, 2);
    assert_eq!(expanded.to_string(), "100.02147 ± 0.00079");
    assert_eq!(Rounded::of(100.02147, 0.00035, 2).concise(), "100.02147(35)");
    // 7.2.6: 10.057 62 Ω with 27 mΩ.
    assert_eq!(Rounded::of(10.05762, 0.027, 2).to_string(), "10.058 ± 0.027");
}

/// The standardised moments against sums over a million quantiles; closed forms beside them for the sums of two
/// rectangles, a triangle (12/5) and a rectangle (9/5).
#[test]
fn third_and_fourth_moments_are_those_of_the_density() {
    let n = 1_000_000;
    for (distribution, tolerance) in [
        (Distribution::Rectangular { low: -1.0, high: 3.0 }, 1e-6),
        (Distribution::InexactRectangular { low: -1.0, high: 3.0, inexactness: 0.8 }, 1e-5),
        (Distribution::Trapezoidal { low: 1.0, high: 3.0, beta: 0.4 }, 1e-6),
        (Distribution::Triangular { low: 1.0, high: 3.0 }, 1e-6),
        (Distribution::ArcSine { low: 1.0, high: 3.0 }, 1e-6),
        (Distribution::Normal { mean: 1.0, standard_deviation: 2.0 }, 1e-3),
        (Distribution::StudentT { location: 1.0, scale: 2.0, degrees_of_freedom: 30.0 }, 1e-3),
        (Distribution::Exponential { mean: -2.0 }, 5e-3),
        (Distribution::Gamma { shape: 3.0, scale: 2.0 }, 5e-3),
        (Distribution::Lognormal { median: 2.0, spread: 0.3 }, 5e-3),
    ] {
        let (mean, u) = (distribution.mean(), distribution.standard_uncertainty());
        let (mut third, mut fourth) = (0.0, 0.0);
        for k in 0..n {
            let z = (distribution.quantile((f64::from(k) + 0.5) / f64::from(n)) - mean) / u;
            third += z * z * z / f64::from(n);
            fourth += z * z * z * z / f64::from(n);
        }
        let (skewness, kurtosis) = (distribution.skewness(), distribution.kurtosis());
        assert!((third - skewness).abs() < tolerance, "{distribution:?}: {third} {skewness}");
        assert!((fourth / kurtosis - 1.0).abs() < tolerance, "{distribution:?}: {fourth} {kurtosis}");
    }
    let triangle = Distribution::Triangular { low: -1.0, high: 1.0 };
    assert!((triangle.kurtosis() - 2.4).abs() < 1e-15);
    let t = |degrees_of_freedom| Distribution::StudentT { location: 0.0, scale: 1.0, degrees_of_freedom };
    assert!(t(4.0).kurtosis().is_infinite() && t(3.0).skewness().is_nan());
}

/// Upper quantiles of t to 20 digits, by mpmath 1.3 (regularised incomplete beta function with 40 digits, and its root); where
/// the two ways of computing them meet, 400 degrees of freedom, and about it.
#[test]
fn quantiles_of_t_to_the_digits_that_are_promised() {
    for (nu, quantiles) in [
        (3.5, [3_163.030_683_798_015, 61.045_121_207_720_62, 2.940_088_637_982_73, 0.575_338_701_772_231]),
        (
            50.0,
            [9.260_139_683_684_145, 5.376_673_401_740_476, 2.008_559_112_100_761, 0.527_760_452_706_597_5],
        ),
        (
            250.0,
            [7.405_391_504_610_618, 4.867_928_470_361_656, 1.969_498_393_421_154, 0.525_069_800_239_264_8],
        ),
        (
            399.999,
            [7.262_530_215_465_375, 4.824_434_251_288_646, 1.965_912_358_144_699, 0.524_818_659_427_174_8],
        ),
        (400.0, [7.262_529_629_820_651, 4.824_434_071_463_169, 1.965_912_343_229_463, 0.524_818_658_381_145]),
        (700.0, [7.163_287_345_704_417, 4.793_776_873_269_1, 1.963_358_711_099_819, 0.524_639_388_133_199]),
        (
            999.999,
            [7.124_229_016_030_16, 4.781_608_648_788_246, 1.962_339_083_204_335, 0.524_567_707_476_464_1],
        ),
        (
            1000.0,
            [7.124_228_925_314_409, 4.781_608_620_458_351, 1.962_339_080_826_408, 0.524_567_707_309_226_9],
        ),
        (
            5000.0,
            [7.052_278_531_529_724, 4.759_037_953_505_101, 1.960_438_551_706_508, 0.524_433_944_832_573],
        ),
    ] {
        for ((tail, digits), expected) in
            [(1e-12, 3e-11), (1e-6, 1e-12), (0.025, 1e-12), (0.3, 1e-12)].into_iter().zip(quantiles)
        {
            let found = -t_quantile(tail, nu);
            assert!((found / expected - 1.0).abs() < digits, "{nu} {tail}: {found}, expected {expected}");
        }
    }
}
