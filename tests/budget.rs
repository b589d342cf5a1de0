//! The commands `budget` and `validate`: every published example as a user would run it, files with faults, documents
//! and files that are written.

use crate::common::{
    program::{howflat, run},
    schema::misfits,
};
use howflat::{
    quantity::distribution::Distribution,
    setup::{FileKind, MeasurementSetup},
    validation::{
        coverage::coverage_checks,
        examples::{USUAL_TRIALS, examples},
        record::ValidationRecord,
    },
};
use rand::SeedableRng;
use serde_json::{Value, json};
use std::{fs, path::Path};

/// The document of `budget - --json` with further arguments.
fn document(model: &str, arguments: &[&str]) -> Value {
    let run = run(howflat().args(["budget", "-", "--json"]).args(arguments).write_stdin(model));
    assert_eq!((run.code, run.err.as_str()), (0, ""));
    serde_json::from_str(&run.out).expect("one JSON document and nothing else")
}

/// The faults of a file, without its name.
fn faults(model: &str) -> Vec<String> {
    let run = run(howflat().args(["budget", "-"]).write_stdin(model));
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    run.err.lines().map(|line| line.strip_prefix("-: ").expect("the file's name").to_string()).collect()
}

fn number(document: &Value, pointer: &str) -> f64 {
    document.pointer(pointer).and_then(Value::as_f64).unwrap_or_else(|| panic!("no number at {pointer}"))
}

fn near(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{found}, expected {expected}");
}

/// Two inputs and their sum.
fn sum(first: Value, second: Value, r: Option<f64>) -> String {
    let mut model = json!({ "measurands": [{ "name": "y", "formula": "a + b" }], "inputs": [first, second] });
    if let Some(r) = r {
        model["correlations"] = json!([{ "between": ["a", "b"], "coefficient": r }]);
    }
    model.to_string()
}

fn estimate(name: &str, u: f64) -> Value {
    json!({ "name": name, "estimate": 1, "standard_uncertainty": u })
}

#[test]
fn every_published_example_as_a_user_runs_it() {
    let examples = examples().expect("embedded files");
    assert!(examples.len() >= 38);
    for example in examples {
        let coverage = example.settings.coverage_probability.to_string();
        let order = example.settings.order.to_string();
        let arguments =
            ["--coverage", &coverage, "--order", &order, "--interval", &example.settings.interval];
        let document = document(&example.model.to_string(), &arguments);
        assert!(!example.expected.is_empty() && !example.provenance.is_empty(), "{}", example.id);
        for expected in &example.expected {
            let outcome = expected.compare(&document, USUAL_TRIALS);
            assert!(outcome.agrees, "{}: {outcome:?}", example.id);
        }
    }
}

/// A validation that cannot fail says nothing.
#[test]
fn a_wrong_number_does_not_agree() {
    let mut examples = examples().expect("embedded files");
    let example = examples.iter_mut().find(|example| example.id == "GUM-H.1").expect("H.1");
    let document =
        document(&example.model.to_string(), &["--coverage", "0.99", "--order", "2", "--no-trials"]);
    let u = example.expected.iter_mut().find(|e| e.name == "u_c").expect("u_c");
    assert!(u.compare(&document, USUAL_TRIALS).agrees);
    // The seventh digit is off.
    u.recomputed = json!(31.658_27);
    assert!(!u.compare(&document, USUAL_TRIALS).agrees);
    u.recomputed = json!(31.658_268_42);
    // A print that full precision does not give, and no reason why.
    u.published = Some("31".into());
    assert!(!u.compare(&document, USUAL_TRIALS).agrees);
    u.at = "/measurands/0/no_such_thing".into();
    assert!(!u.compare(&document, USUAL_TRIALS).agrees);

    let mut record =
        ValidationRecord::run("a day".into(), "a machine".into(), 20_000, 1, &|_| {}).expect("a record");
    assert!(record.agrees() && record.answer().contains("passes"));
    record.coverage[0].found = 0.9;
    assert!(!record.agrees() && record.answer().contains("FAILS"));
}

#[test]
fn the_simulator_covers_what_it_claims_for_other_seeds() {
    for check in coverage_checks(30_000, 123_456).expect("embedded setups") {
        assert!(check.agrees(), "{check:?}");
        // Of a χ² with 9 degrees of freedom, 1 in 2300 is larger than 30; wrong ranks give hundreds.
        let most = if check.name.contains("χ²") { 21.3 } else { 0.1 };
        assert!(check.tolerance < most, "{check:?} would let anything pass");
    }
}

#[test]
fn validate_writes_its_record() {
    let folder = tempfile::tempdir().expect("a folder");
    let record = run(howflat()
        .args(["validate", "--trials", "50000", "--machine", "bench\u{1b}[31m 3", "--json", "--out"])
        .arg(folder.path()));
    let said = format!("open {}", folder.path().join("report.html").display());
    assert!(record.code == 0 && record.err.trim_end().ends_with(&said), "{}", record.err);
    let document: Value = serde_json::from_str(&record.out).expect("a document");
    assert_eq!(document["agrees"], json!(true));
    assert_eq!(document["version"], json!(howflat::VERSION));
    assert!(document["date"].as_str().is_some_and(|date| date.ends_with(" UTC") && date.len() == 20));
    assert!(document["machine"].as_str().is_some_and(|machine| machine.contains("bench")));
    assert!(document["standard"].as_str().is_some_and(|standard| standard.contains("17025")));
    assert!(document["examples"].as_array().is_some_and(|examples| examples.len() >= 23));
    let schema: Value =
        serde_json::from_str(&run(howflat().args(["schema", "validate"])).out).expect("a schema");
    assert_eq!(misfits(&document, &schema), Vec::<String>::new());
    let text = fs::read_to_string(folder.path().join("report.md")).expect("the record");
    assert!(text.contains("50000838") && text.contains("ISO/IEC 17025:2017, 7.11.2"));
    assert!(!text.contains('\u{1b}'));
    for file in ["result.json", "examples.csv", "simulator.csv"] {
        assert!(folder.path().join(file).exists(), "{file}");
    }
    let page = fs::read_to_string(folder.path().join("report.html")).expect("a page to sign");
    assert!(page.contains("bench") && page.contains("Signature") && !page.contains('\u{1b}'));
}

/// The square root of a normal quantity of mean 1 and standard deviation 2 has no value below 0: in a share Φ(-1/2) = 0.3085
/// of the trials (standard normal table). The first paragraph says so, and nothing is offered to be stated.
#[test]
fn a_formula_without_a_value_in_some_trials_takes_the_answer_back() {
    let x = json!({ "name": "x", "estimate": 1, "standard_uncertainty": 2 });
    let model =
        json!({ "measurands": [{ "name": "y", "formula": "sqrt(x)*sqrt(x)" }], "inputs": [x] }).to_string();
    let answer = document(&model, &["--trials", "100000"])["answer"].as_str().expect("an answer").to_owned();
    let (n_faulty, n_trials) = answer
        .split_once("Do not rely on it: in ")
        .and_then(|(_, rest)| rest.split_once(" trials"))
        .and_then(|(counts, _)| counts.split_once(" of "))
        .unwrap_or_else(|| panic!("{answer}"));
    let counts = [n_faulty, n_trials].map(|n| n.parse::<f64>().expect("a count"));
    assert_eq!(counts[1], 100_000.0);
    // Four standard deviations of the count.
    assert!(
        (counts[0] / counts[1] - 0.3085).abs() < 4.0 * (0.3085f64 * 0.6915 / counts[1]).sqrt(),
        "{answer}"
    );
    let printed = run(howflat().args(["budget", "-", "--trials", "10000"]).write_stdin(model)).out;
    assert!(!printed.contains("To state"), "{printed}");
}

/// Readings may carry their units, as estimates may; the mean of 1 µm, 0.002 mm and 3 µm is 2 µm.
#[test]
fn readings_with_units_are_converted_to_that_of_their_input() {
    let of = |input: Value| {
        let model =
            json!({ "measurands": [{ "name": "y", "unit": "µm", "formula": "x" }], "inputs": [input] });
        document(&model.to_string(), &["--no-trials"])
    };
    let input = |readings: Value| json!({ "name": "x", "unit": "µm", "readings": readings });
    let found = of(input(json!(["1 µm", "0.002 mm", 3])));
    assert_eq!(found["estimate"], json!(2.0));
    assert_eq!(found["inputs"], of(input(json!([1, 2, 3])))["inputs"]);
    let group = |values: Value| json!({ "name": "x", "unit": "µm", "from_groups": values });
    let means = json!({ "means": ["0.001 mm", "3 µm"], "standard_deviations": ["0.1 µm", "0.0001 mm"], "readings_in_each": 4 });
    let plain = json!({ "means": [1, 3], "standard_deviations": [0.1, 0.1], "readings_in_each": 4 });
    assert_eq!(of(group(means))["estimate"], of(group(plain))["estimate"]);
}

#[test]
fn the_keys_of_one_measurand() {
    let model = sum(estimate("a", 3.0), estimate("b", 4.0), None);
    let document = document(&model, &["--order", "2"]);
    for key in [
        "measurand",
        "inputs",
        "estimate",
        "combined_standard_uncertainty",
        "effective_degrees_of_freedom",
        "coverage_probability",
        "coverage_factor",
        "expanded_uncertainty",
        "second_order",
    ] {
        assert!(document.get(key).is_some(), "{key}");
    }
    for key in [
        "name",
        "estimate",
        "standard_uncertainty",
        "distribution",
        "degrees_of_freedom",
        "sensitivity",
        "contribution",
        "share",
    ] {
        assert!(document["inputs"][0].get(key).is_some(), "{key}");
    }
    for key in ["trials", "mean", "standard_uncertainty", "interval_symmetric", "interval_shortest"] {
        assert!(document["monte_carlo"].get(key).is_some(), "{key}");
    }
    for key in ["delta", "d_low", "d_high", "linear_result_may_be_used"] {
        assert!(document["validation"].get(key).is_some(), "{key}");
    }
    assert_eq!(document["combined_standard_uncertainty"], json!(5.0));
    assert_eq!(document["inputs"][1]["share"], json!(16.0 / 25.0));
    assert_eq!(document["validation"]["linear_result_may_be_used"], json!(true));
    assert_eq!(document["effective_degrees_of_freedom"], Value::Null);
}

/// The variance of a sum is u_a² + u_b² + 2 r u_a u_b (GUM 5.2.2, eq. 16), also where r = ±1 makes it a square.
#[test]
fn correlated_inputs_also_fully() {
    for (r, u) in [(1.0, 7.0), (-1.0, 1.0), (0.5, 37_f64.sqrt()), (0.0, 5.0)] {
        let document =
            document(&sum(estimate("a", 3.0), estimate("b", 4.0), Some(r)), &["--trials", "200000"]);
        near(number(&document, "/combined_standard_uncertainty"), u, 1e-12);
        // Of 200 000 normal values the standard deviation is known to 1/√400 000: four times that.
        near(number(&document, "/monte_carlo/standard_uncertainty"), u, 0.0064);
    }
    let equal = document(&sum(estimate("a", 3.0), estimate("b", 3.0), Some(-1.0)), &[]);
    assert_eq!(number(&equal, "/combined_standard_uncertainty"), 0.0);
}

#[test]
fn several_measurands_hang_together() {
    let model = json!({
        "measurands": [
            { "name": "sum", "formula": "a + b" },
            { "name": "difference", "formula": "a - b" },
            { "name": "a alone", "formula": "a" }
        ],
        "inputs": [estimate("a", 3.0), estimate("b", 4.0)]
    });
    let document = document(&model.to_string(), &["--trials", "100000"]);
    // cov(a + b, a − b) = u_a² − u_b² = −7; both variances are 25.
    near(number(&document, "/covariance/0/1"), -7.0, 1e-12);
    near(number(&document, "/correlation/0/1"), -0.28, 1e-12);
    assert!((number(&document, "/monte_carlo/correlation/0/1") + 0.28).abs() < 4.0 * 0.93 / 316.0);
    // Three measurands of two inputs: one is determined by the others, so there is no ellipsoid.
    assert_eq!(document["regions"]["elliptical_factor"], Value::Null);
    assert!(number(&document, "/regions/rectangular_factor") > 2.39);
    // What a formula does not use is not in its budget.
    assert_eq!(document["measurands"][2]["inputs"].as_array().map(Vec::len), Some(1));
}

/// Readings, earlier scatter, groups and a line, by hand.
#[test]
fn type_a_sources() {
    let one = |input: Value| {
        let model = json!({ "measurands": [{ "name": "y", "formula": "x" }], "inputs": [input] });
        let document = document(&model.to_string(), &["--no-trials"]);
        assert!(document.get("monte_carlo").is_none() && document.get("validation").is_none());
        [
            number(&document, "/estimate"),
            number(&document, "/combined_standard_uncertainty"),
            document["effective_degrees_of_freedom"].as_f64().unwrap_or(f64::INFINITY),
        ]
    };
    let check = |found: [f64; 3], expected: [f64; 3]| {
        for (found, expected) in found.into_iter().zip(expected) {
            assert!(
                found == expected || (found / expected - 1.0).abs() < 1e-12,
                "{found}, expected {expected}"
            );
        }
    };
    // 1, 2, 3, 6: mean 3, s² = 14/3.
    let readings = json!([1, 2, 3, 6]);
    check(one(json!({ "name": "x", "readings": readings })), [3.0, (14.0 / 12.0_f64).sqrt(), 3.0]);
    let scatter = json!({ "standard_deviation": 4, "degrees_of_freedom": 9 });
    check(one(json!({ "name": "x", "readings": readings, "scatter_from": scatter })), [3.0, 2.0, 9.0]);
    let scatter = json!({ "series": [[1, 3], [1, 2, 3]] });
    check(
        one(json!({ "name": "x", "readings": [5], "scatter_from": scatter })),
        [5.0, (4.0 / 3.0_f64).sqrt(), 3.0],
    );
    // Means 10, 12, 11; s_a² = 4, s_b² = 32/9, so that 3 groups of 4 give 4/12, or all eleven 40/11/12.
    let groups = json!([[9, 10, 10, 11], [10, 11, 13, 14], [8, 10, 12, 14]]);
    let of = |differ: Value| {
        let mut input = json!({ "name": "x", "from_groups": { "groups": groups } });
        if !differ.is_null() {
            input["from_groups"]["groups_differ"] = differ;
        }
        one(input)
    };
    check(of(json!(true)), [11.0, (4.0 / 12.0_f64).sqrt(), 2.0]);
    check(of(json!(false)), [11.0, (40.0 / 132.0_f64).sqrt(), 11.0]);
    // F = 1.125 is nothing unusual.
    check(of(Value::Null), of(json!(false)));
    // y = 0, 3, 3 at x = 0, 1, 2: 0.5 + 1.5 x, residual squares 1.5, so that s² = 1.5 with one degree of freedom.
    let line = json!({ "points": [[0, 0], [1, 3], [2, 3]], "at": 3 });
    let u = (1.5 * (1.0 / 3.0 + 4.0 / 2.0_f64)).sqrt();
    check(one(json!({ "name": "x", "from_straight_line": line })), [5.0, u, 1.0]);
    let line = json!({ "points": [[0, 0], [1, 3], [2, 3]], "at": 3, "for_one_reading": true });
    check(one(json!({ "name": "x", "from_straight_line": line })), [5.0, (u * u + 1.5).sqrt(), 1.0]);
    // Certificates: U/k; an uncertainty trusted within a quarter has 8 degrees of freedom (GUM G.4.2).
    let certificate = json!({ "name": "x", "estimate": 2, "expanded_uncertainty": 6, "coverage_factor": 3,
        "uncertainty_trusted_within": 0.25 });
    check(one(certificate), [2.0, 2.0, 8.0]);
}

#[test]
fn as_many_trials_as_it_takes() {
    let model = sum(estimate("a", 3.0), estimate("b", 4.0), None);
    let one = document(&model, &["--digits", "1"]);
    let convergence = &one["monte_carlo"]["convergence"];
    assert_eq!((&convergence["significant_digits"], &convergence["has_settled"]), (&json!(1), &json!(true)));
    // u = 5: one digit is known to 0.5, and a fifth of that is aimed at (JCGM 101 7.9.2 and 8.2).
    assert_eq!(convergence["delta"], json!(0.5));
    near(number(&one, "/monte_carlo/convergence/aimed_at"), 0.1, 1e-12);
    let trials = |document: &Value| document["monte_carlo"]["trials"].as_u64().expect("trials");
    assert!(trials(&one) >= 20_000);
    let two = document(&model, &["--digits", "2"]);
    assert_eq!(two["monte_carlo"]["convergence"]["delta"], json!(0.05));
    assert!(trials(&two) > 10 * trials(&one), "{} and {}", trials(&one), trials(&two));
}

#[test]
fn the_same_bytes_for_any_number_of_threads() {
    let model = fs::read_to_string("budgets/gauge-block.json").expect("a shipped model");
    let of = |threads: &str, seed: &str| {
        document(&model, &["--trials", "30000", "--threads", threads, "--seed", seed]).to_string()
    };
    assert_eq!(of("1", "5"), of("3", "5"));
    assert_ne!(of("1", "5"), of("1", "6"));
}

#[test]
fn the_answer_comes_first() {
    let run = run(howflat().args(["budget", "-"]).write_stdin(sum(
        json!({ "name": "a", "unit": "g", "estimate": 100.02147, "standard_uncertainty": 0.00035,
            "degrees_of_freedom": 9 }),
        json!({ "name": "b", "value": 0 }),
        None,
    )));
    let mut lines = run.out.lines();
    assert_eq!(lines.next(), Some("Measurement of y"));
    // GUM 7.2.4: U = 0.79 mg with k = 2.26 for 9 degrees of freedom.
    let answer = lines.nth(1).expect("an answer");
    assert!(
        answer.starts_with("y = 100.02147 ± 0.00079, an expanded uncertainty for 95 % (k = 2.26)"),
        "{answer}"
    );
    assert!(run.out.contains("the t-distribution with 9 degrees of freedom"));
    assert!(run.out.contains("y = 100.02147(35)"), "{}", run.out);
}

#[test]
fn a_shop_check_has_its_reading_and_its_spread() {
    let setup = fs::read_to_string("budgets/granite-parked.json").expect("a shipped setup");
    let document = document(&setup, &["--trials", "2000", "--coverage", "0.9"]);
    assert_eq!(document["measurands"][0]["measurand"], json!("one reading"));
    assert_eq!(document["measurands"][1]["measurand"], json!("error of the spread"));
    assert_eq!(document["measurands"][1]["coverage_probability"], json!(0.9));
    assert_eq!(document["measurands"][1]["monte_carlo"]["trials"], json!(2000));
    assert!(document["measurands"][1]["validation"]["linear_result_may_be_used"].is_boolean());
    let schema: Value =
        serde_json::from_str(&run(howflat().args(["schema", "budget"])).out).expect("a schema");
    assert_eq!(misfits(&document, &schema), Vec::<String>::new());
    let refused = run(howflat().args(["budget", "-", "--digits", "1"]).write_stdin(setup));
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("--digits is for formula models"), "{}", refused.err);
}

#[test]
fn documents_and_shipped_models_keep_their_schemas() {
    let schema =
        |of: &str| serde_json::from_str::<Value>(&run(howflat().args(["schema", of])).out).expect("a schema");
    let (budget, model) = (schema("budget"), schema("model"));
    for name in ["gauge-block", "indicator-curve", "step-height", "oil-cup"] {
        let text = fs::read_to_string(format!("budgets/{name}.json")).expect("a shipped model");
        let written: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(misfits(&written, &model), Vec::<String>::new(), "{name}");
        let document = document(&text, &["--trials", "10000"]);
        assert_eq!(misfits(&document, &budget), Vec::<String>::new(), "{name}");
    }
    for example in examples().expect("embedded files") {
        assert_eq!(misfits(&example.model, &model), Vec::<String>::new(), "{}", example.id);
    }
    for (of, path) in [
        ("lesson", "granite-parked/lesson"),
        ("recall", "granite-parked/recall"),
        ("recall", "iron-metric/recall"),
        ("simulate", "granite-parked"),
        ("judge", "granite-parked/judge"),
    ] {
        let text = fs::read_to_string(format!("reports/{path}/result.json")).expect("a shipped report");
        let shipped: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(misfits(&shipped, &schema(of)), Vec::<String>::new(), "{path}");
    }
    // The checker itself: a document with a wrong type, and one that lacks a field.
    let mut wrong = document(&sum(estimate("a", 3.0), estimate("b", 4.0), None), &["--no-trials"]);
    wrong["estimate"] = json!("one");
    assert!(!misfits(&wrong, &budget).is_empty());
    wrong.as_object_mut().expect("an object").remove("estimate");
    assert!(!misfits(&wrong, &budget).is_empty());
}

#[test]
fn fields_that_cannot_be_used() {
    let model = r#"{
  "measurands": [{ "name": "y", "formula": "a" }],
  "inputs": [
    { "name": "c", "distribution": { "rectangular": { "from": 2, "to": 1 } } },
    { "name": "d", "distribution": { "retangular": { "from": 2, "to": 1 } } },
    { "name": "e", "distribution": "normal" },
    { "name": "f", "standard_uncertainty": 1, "expanded_uncertainty": 2 }
  ],
  "correlations": [{ "between": ["a", "k"], "coefficient": 1.5 }],
  "colour": "red"
}"#;
    assert_eq!(
        faults(model),
        [
            r#"line 4, column 36: inputs[0].distribution is {"rectangular":{"from":2.0,"to":1.0}}, but must be limits of which the first is below the second; write the smaller limit first, or a single value for a quantity that is known"#,
            r#"line 5, column 38: inputs[1].distribution.retangular is not known, but must be one of "normal", "rectangular", "inexact_rectangular", "trapezoidal", "triangular", "arc_sine", "student_t", "exponential", "gamma" or "lognormal"; write "rectangular""#,
            r#"line 6, column 36: inputs[2].distribution is "normal", but must be a distribution by its family, with its parameters; write { "normal": { "mean": 1, "standard_deviation": 1 } }"#,
            r#"line 7, column 47: inputs[3].expanded_uncertainty is given beside standard_uncertainty, but must be given instead of standard_uncertainty, or not at all; keep "standard_uncertainty" or "expanded_uncertainty" and remove the other"#,
            "line 9, column 60: correlations[0].coefficient is 1.5, but must be a number from -1 to 1; write 0.5",
            "line 10, column 3: colour is an unknown field, but must be one of title, measurands, inputs, correlations or simultaneous; remove it",
        ]
    );
}

#[test]
fn what_makes_no_sense_is_told_all_at_once() {
    let model = r#"{
  "measurands": [
    { "name": "y", "formula": "a + b*sin(c" },
    { "name": "y", "formula": "a + bb" },
    { "name": "z", "formula": "\u0061 * aa" }
  ],
  "inputs": [
    { "name": "a", "value": 1, "readings": [1, 2] },
    { "name": "2b", "estimate": 3 },
    { "name": "b", "readings": [1] },
    { "name": "c", "value": 3, "degrees_of_freedom": 4 },
    { "name": "a", "estimate": 3, "expanded_uncertainty": 1 },
    { "name": "e" },
    { "name": "f", "readings": [1, 2, 3] },
    { "name": "g", "readings": [1, 2] }
  ],
  "correlations": [{ "between": ["a", "k"], "coefficient": 0.5 }, { "between": ["c", "c"], "coefficient": 0.5 }],
  "simultaneous": [["f", "g"], ["f", "f"]]
}"#;
    let one_of = "value, estimate, distribution, readings, from_groups and from_straight_line";
    let expected = [
        "line 3, column 41: measurands[0].formula is no formula at its column 10 (this parenthesis is never closed), but must be ordinary mathematics with the names of the inputs; add the missing )".to_string(),
        "line 4, column 15: measurands[1].name is the name of measurands[0] again, but must be a name of its own; rename one of the two".into(),
        "line 4, column 36: measurands[1].formula is no formula at its column 5 (there is no input called bb), but must be ordinary mathematics with the names of the inputs; there are a, 2b, b, c, e, f, g, y".into(),
        // The first letter is an escape of six characters.
        "line 5, column 41: measurands[2].formula is no formula at its column 5 (there is no input called aa), but must be ordinary mathematics with the names of the inputs; there are a, 2b, b, c, e, f, g, y".into(),
        format!("line 8, column 5: inputs[0] is an input by value and readings, but must be an input by exactly one of {one_of}; keep one of them"),
        "line 9, column 5: inputs[1] is an estimate without an uncertainty, but must be an estimate with standard_uncertainty, or with expanded_uncertainty and coverage_factor; add it, or write value in place of estimate if it is exactly known".into(),
        r#"line 9, column 15: inputs[1].name is "2b", but must be letters, digits and _, not beginning with a digit, and not the name of a function or of pi; choose another name"#.into(),
        "line 10, column 32: inputs[2].readings is 1 reading, but must be at least 2; add a reading, or take the standard deviation from earlier work".into(),
        "line 11, column 54: inputs[3].degrees_of_freedom is given beside value, but must be given beside estimate or distribution only; remove it".into(),
        r#"line 12, column 5: inputs[4] is an expanded uncertainty alone, but must be an expanded uncertainty with its coverage_factor; add the k that belongs to U: "coverage_factor": 2"#.into(),
        "line 12, column 15: inputs[4].name is the name of inputs[0] again, but must be a name of its own; rename one of the two".into(),
        format!("line 13, column 5: inputs[5] is an input of which nothing is known, but must be an input by exactly one of {one_of}; add what is known of it"),
        r#"line 17, column 39: correlations[0].between[1] is "k", which is no input, but must be the name of an input; write one of a, 2b, b, c, e, f or g"#.into(),
        "line 17, column 80: correlations[1].between is one input twice, but must be two inputs; remove it: an input always follows itself".into(),
        "line 18, column 20: simultaneous[0] is 3 readings of one quantity and 2 of another, but must be equally many, since they were taken together; leave out the times at which one is missing".into(),
        r#"line 18, column 38: simultaneous[1][1] is "f" a second time, but must be named once; remove it"#.into(),
    ];
    assert_eq!(faults(model), expected);
}

#[test]
fn impossible_correlations_and_unclear_files() {
    let one = |name| estimate(name, 1.0);
    let pair = |a, b, r| json!({ "between": [a, b], "coefficient": r });
    let model = json!({
        "measurands": [{ "name": "y", "formula": "a + b + c" }],
        "inputs": [one("a"), one("b"), one("c")],
        "correlations": [pair("a", "b", 1.0), pair("b", "c", 1.0), pair("a", "c", -1.0)]
    });
    let faults_of_it = faults(&model.to_string());
    assert_eq!(faults_of_it.len(), 1);
    assert!(faults_of_it[0].contains("correlations is impossible for a, b, c"), "{}", faults_of_it[0]);
    assert_eq!(
        faults(r#"{ "title": "x" }"#),
        [
            "line 1, column 1: the file is neither the one nor the other, but must be a shop check, with plate, stand and indicator, or a formula model, with measurands and inputs; compare it with the output of `howflat schema setup` and `howflat schema model`"
        ]
    );
    assert!(faults("{")[0].contains("not JSON here"));
    assert_eq!(FileKind::of(&model.to_string()), Ok(FileKind::FormulaModel));
    // A formula model where a shop check is wanted.
    let run = run(howflat().args(["simulate", "-"]).write_stdin(model.to_string()));
    assert_eq!(run.code, 2);
    assert!(run.err.contains("this is a formula model, not a shop check"), "{}", run.err);
}

#[test]
fn exit_codes() {
    let code = |arguments: &[&str], input: String| run(howflat().args(arguments).write_stdin(input)).code;
    let model = sum(estimate("a", 3.0), estimate("b", 4.0), Some(0.5));
    assert_eq!(code(&["budget", "-", "--trials", "2000"], model.clone()), 0);
    assert_eq!(code(&["budget", "no such file.json"], String::new()), 2);
    assert_eq!(code(&["budget", "-", "--coverage", "1.5"], model.clone()), 2);
    assert_eq!(code(&["budget", "-", "--trials", "2000", "--digits", "1"], model.clone()), 2);
    // Higher-order terms of correlated inputs are not known (GUM 5.1.2, note).
    let second = run(howflat().args(["budget", "-", "--order", "2"]).write_stdin(model.clone()));
    assert_eq!(second.code, 2);
    assert!(second.err.contains("hold for independent inputs"), "{}", second.err);
    // A formula without a value at the estimates.
    let root =
        json!({ "measurands": [{ "name": "y", "formula": "sqrt(a - 2)" }], "inputs": [estimate("a", 1.0)] });
    let undefined = run(howflat().args(["budget", "-"]).write_stdin(root.to_string()));
    assert_eq!(undefined.code, 2);
    assert!(undefined.err.contains("formula of y, column 1"), "{}", undefined.err);
    // A folder that cannot be made.
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("file");
    fs::write(&file, "").expect("a file");
    let out = file.join("below").display().to_string();
    assert_eq!(code(&["budget", "-", "--trials", "2000", "--out", &out], model), 2);
}

/// A measurand `y` of this formula.
fn model(formula: &str, inputs: Value) -> String {
    json!({ "measurands": [{ "name": "y", "formula": formula }], "inputs": inputs }).to_string()
}

/// The density of a mean of two or three readings is t with 1 or 2 degrees of freedom, which has no standard deviation
/// (JCGM 101 6.4.9.4), and with 1 no mean: there is none to print, and the comparison goes by the law's (8.1).
#[test]
fn two_or_three_readings_have_an_interval_but_no_standard_uncertainty_by_monte_carlo() {
    for (readings, delta, has_mean) in
        [(json!([1.501, 1.503]), 5e-5, false), (json!([1.501, 1.504, 1.503]), 5e-6, true)]
    {
        let model = model("x", json!([{ "name": "x", "readings": readings }]));
        let mut verdicts = Vec::new();
        for seed in ["1", "2", "3", "4"] {
            let document = document(&model, &["--seed", seed]);
            let trials = &document["monte_carlo"];
            assert!(trials["standard_uncertainty"].is_null() && trials["mean"].is_null() != has_mean);
            // t by table G.2: 12.71 and 4.30.
            let k = if has_mean { 4.30 } else { 12.71 };
            let [low, high] = [0, 1].map(|end| number(trials, &format!("/interval_symmetric/{end}")));
            let half = k * number(&document, "/combined_standard_uncertainty");
            near((high - low) / 2.0, half, 0.02);
            assert_eq!(document["validation"]["delta"], json!(delta));
            verdicts.push(document["validation"]["linear_result_may_be_used"].clone());
            assert!(document["remarks"][0].as_str().is_some_and(|remark| remark.contains("depends on x")));
        }
        verdicts.dedup();
        assert_eq!(verdicts.len(), 1, "the verdict is a matter of luck");
        let text = run(howflat().args(["budget", "-"]).write_stdin(model.as_str())).out;
        assert!(!text.contains("agrees: 0 to 0") && !text.contains("standard uncertainty of -"), "{text}");
        let adaptive = document(&model, &["--digits", "1"]);
        assert_eq!(adaptive["monte_carlo"]["convergence"]["reached"][1], Value::Null);
    }
}

/// The range of two equal readings, the distance from 0: no derivative, but a distribution. |x| of a normal about 0 has mean
/// u √(2/π) and, with 95 %, lies below 1.96 u.
#[test]
fn where_the_law_does_not_apply_monte_carlo_does() {
    let text = model("abs(a)", json!([{ "name": "a", "estimate": 0, "standard_uncertainty": 2 }]));
    let found = document(&text, &[]);
    near(number(&found, "/monte_carlo/mean"), 2.0 * (2.0 / std::f64::consts::PI).sqrt(), 0.005);
    near(number(&found, "/monte_carlo/interval_shortest/1"), 3.92, 0.01);
    assert!(found["combined_standard_uncertainty"].is_null() && found.get("validation").is_none());
    assert!(found["no_law"].as_str().is_some_and(|why| why.contains("no derivative")));
    assert_eq!(found["estimate"], json!(0.0));
    let schema: Value =
        serde_json::from_str(&run(howflat().args(["schema", "budget"])).out).expect("a schema");
    assert_eq!(misfits(&found, &schema), Vec::<String>::new());
    let said = run(howflat().args(["budget", "-"]).write_stdin(text.as_str()));
    assert!(said.code == 0 && said.out.contains("no result by the law of propagation"), "{}", said.out);
    assert!(!said.out.contains("NaN"), "{}", said.out);
    let range = model("max(a, b) - min(a, b)", json!([estimate("a", 0.1), estimate("b", 0.1)]));
    // |a − b| with u = 0.1 √2.
    near(number(&document(&range, &[]), "/monte_carlo/mean"), 0.2 / std::f64::consts::PI.sqrt(), 0.005);
    let folder = tempfile::tempdir().expect("a folder");
    let files = run(howflat().args(["budget", "-", "--out"]).arg(folder.path()).write_stdin(range.as_str()));
    assert_eq!(files.code, 0, "{}", files.err);
    // With neither way there is nothing.
    let alone = run(howflat().args(["budget", "-", "--no-trials"]).write_stdin(range));
    assert!(alone.code == 2 && alone.err.contains("no derivative"), "{}", alone.err);
}

/// y = 0, 3, 3 at x = 0, 1, 2 (`type_a_sources`): s² = 3/2, variance of the slope 3/4 and of the height at x 1/2 + 3/4 (x − 1)², so
/// that the heights at 3 and at 0 have the covariance 1/2 + 3/4 · 2 · (−1) = −1, and their difference is three times the slope.
#[test]
fn inputs_from_one_line_are_correlated_by_its_points() {
    let line = |more: Value| {
        let mut line = json!({ "points": [[0, 0], [1, 3], [2, 3]] });
        line.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
        line
    };
    let inputs = json!([
        { "name": "high", "from_straight_line": line(json!({ "at": 3 })) },
        { "name": "low", "from_straight_line": line(json!({ "at": 0 })) },
        { "name": "slope", "from_straight_line": line(json!({ "of": "slope" })) }
    ]);
    let difference = document(&model("high - low", inputs.clone()), &["--no-trials"]);
    near(number(&difference, "/combined_standard_uncertainty"), 3.0 * 0.75_f64.sqrt(), 1e-12);
    near(number(&difference, "/effective_degrees_of_freedom"), 1.0, 1e-12);
    let nothing = document(&model("high - low - 3*slope", inputs.clone()), &["--no-trials"]);
    assert!(number(&nothing, "/combined_standard_uncertainty") < 1e-7);
    let covariance = |a: usize, b: usize| {
        let pair = &difference["input_correlations"][a];
        assert_eq!(pair["between"][0], json!(["high", "high", "low"][a]));
        assert_eq!(pair["between"][1], json!(["low", "slope", "slope"][a]), "{b}");
        number(pair, "/coefficient")
    };
    near(covariance(0, 1), -1.0 / (3.5_f64 * 1.25).sqrt(), 1e-12);
    near(covariance(1, 2), 1.5 / (3.5_f64 * 0.75).sqrt(), 1e-12);
    let told = &difference["straight_lines"][0];
    near(number(told, "/slope"), 1.5, 1e-12);
    near(number(told, "/slope_uncertainty"), 0.75_f64.sqrt(), 1e-12);
    // Of the height at 3 and the slope.
    near(number(told, "/correlation"), 1.5 / (3.5_f64 * 0.75).sqrt(), 1e-12);
    assert_eq!(told["inputs"], json!(["high", "low", "slope"]));
    // Jointly t: the difference by Monte Carlo is three times the slope, t with 1 degree of freedom (12.71).
    let trials = document(&model("high - low", inputs), &[]);
    let high = number(&trials, "/monte_carlo/interval_symmetric/1");
    near(high, 4.5 + 12.706 * 3.0 * 0.75_f64.sqrt(), 0.02);
    let wrong = |more: Value| {
        faults(&model("x", json!([{ "name": "x", "from_straight_line": line(more) }]))).remove(0)
    };
    assert!(wrong(json!({})).contains("\"of\": \"slope\""));
    assert!(wrong(json!({ "of": "slope", "at": 2 })).contains("the same at every x"));
}

/// Two readings of one calibration line scatter by themselves: the line's part is common, theirs is not.
#[test]
fn single_readings_on_one_line_share_the_line_alone() {
    let at = |x: f64| json!({ "points": [[0, 0], [1, 3], [2, 3]], "at": x, "for_one_reading": true });
    let inputs = json!([
        { "name": "a", "from_straight_line": at(3.0) },
        { "name": "b", "from_straight_line": at(0.0) }
    ]);
    let found = document(&model("a - b", inputs), &["--no-trials"]);
    near(number(&found, "/combined_standard_uncertainty"), (9.0 * 0.75 + 3.0_f64).sqrt(), 1e-12);
}

/// 1 − cos θ for θ within ±0.01 rad: to first order nothing. Exactly, with E cos θ = sin h/h and E cos² θ = 1/2 + sin 2h/(4h),
/// the standard uncertainty is 1.4907e-5 (GUM F.2.4.4 has the case; the rectangle by integration).
#[test]
fn what_is_flat_at_the_estimates_is_said_and_the_second_order_knows_a_rectangle() {
    let model = model(
        "1 - cos(theta)",
        json!([{ "name": "theta", "distribution": { "rectangular": { "from": -0.01, "to": 0.01 } } }]),
    );
    let h = 0.01_f64;
    let mean = h.sin() / h;
    let exact = (0.5 + (2.0 * h).sin() / (4.0 * h) - mean * mean).sqrt();
    near(exact, 1.4907e-5, 1e-3);
    let second = document(&model, &["--order", "2", "--no-trials"]);
    near(number(&second, "/second_order/combined_standard_uncertainty"), exact, 1e-3);
    let first = document(&model, &[]);
    assert_eq!(number(&first, "/combined_standard_uncertainty"), 0.0);
    let remark = first["remarks"][0].as_str().expect("a remark");
    assert!(remark.contains("To first order") && remark.contains("1.49e-5"), "{remark}");
    assert_eq!(first["validation"]["linear_result_may_be_used"], json!(false));
    // Not flat, but bent: at 0.001 the terms of second order are larger.
    let bent = self::model(
        "1 - cos(theta)",
        json!([{ "name": "theta", "distribution": { "rectangular": { "from": -0.009, "to": 0.011 } } }]),
    );
    let remark = &document(&bent, &["--no-trials"])["remarks"][0];
    assert!(remark.as_str().is_some_and(|remark| remark.contains("are larger than those of the first")));
    let straight = document(&self::model("2*a", json!([estimate("a", 1.0)])), &["--no-trials"]);
    assert_eq!(straight["remarks"], json!([]));
}

/// Welch and Satterthwaite's formula knows no correlation; ours goes over into it as the correlation goes to 0.
#[test]
fn a_trace_of_correlation_moves_the_degrees_of_freedom_by_a_trace() {
    let read = |name: &str, u: f64, nu: f64| json!({ "name": name, "estimate": 1, "standard_uncertainty": u, "degrees_of_freedom": nu });
    let nu = |r: Option<f64>| {
        let model = sum(read("a", 3.0, 4.0), read("b", 4.0, 50.0), r);
        number(&document(&model, &["--no-trials"]), "/effective_degrees_of_freedom")
    };
    let independent = 625.0 / (81.0 / 4.0 + 256.0 / 50.0);
    near(nu(None), independent, 1e-12);
    near(nu(Some(1e-6)), independent, 1e-5);
    near(nu(Some(-1e-6)), independent, 1e-5);
}

#[test]
fn units_are_not_mixed_and_texts_with_units_are_converted() {
    let inputs =
        |d: Value| json!([{ "name": "L", "unit": "mm", "estimate": 25, "standard_uncertainty": "2 µm" }, d]);
    let micrometres = json!({ "name": "d", "unit": "µm", "estimate": 0.3, "standard_uncertainty": 0.1 });
    let with_unit = |formula: &str, unit: &str, inputs: Value| {
        json!({ "measurands": [{ "name": "y", "unit": unit, "formula": formula }], "inputs": inputs })
            .to_string()
    };
    assert_eq!(
        faults(&with_unit("L + d", "mm", inputs(micrometres.clone()))),
        [
            "line 1, column 51: measurands[0].formula is of mixed units at its column 1 (mm and µm are added or subtracted here), but must be in one unit wherever quantities are added, compared or stated; give both in one unit, or convert in the formula: the one is 1000 times the other"
        ]
    );
    let converted = document(&with_unit("L + d/1000", "mm", inputs(micrometres)), &["--no-trials"]);
    near(number(&converted, "/combined_standard_uncertainty"), (0.002_f64.powi(2) + 1e-8).sqrt(), 1e-12);
    assert!(
        faults(&with_unit("L", "µm", inputs(json!({ "name": "d", "value": 1 }))))[0].contains("gives mm")
    );
    // 0.001 in is 25.4 µm.
    let inches = json!({ "name": "d", "unit": "mm", "distribution":
        { "rectangular": { "centre": "0 in", "half_width": "0.001 in" } } });
    let found = document(&with_unit("L + d", "mm", inputs(inches)), &["--no-trials"]);
    near(number(&found, "/inputs/1/standard_uncertainty"), 0.0254 / 3.0_f64.sqrt(), 1e-12);
    near(number(&found, "/inputs/0/standard_uncertainty"), 0.002, 1e-12);
    // Units that are not ours are taken as they stand.
    let volts =
        json!([{ "name": "V", "unit": "V", "value": "5 V" }, { "name": "I", "unit": "mA", "value": 2 }]);
    assert_eq!(number(&document(&with_unit("V/I", "kΩ", volts), &["--no-trials"]), "/estimate"), 2.5);
    let refused = |d: Value| faults(&with_unit("L", "mm", inputs(d))).remove(0);
    let value = |value: &str, unit: Value| {
        let mut input = json!({ "name": "d", "value": value });
        if !unit.is_null() {
            input["unit"] = unit;
        }
        refused(input)
    };
    assert!(value("0.1 mm", Value::Null).contains(r#"add "unit": "mm" beside it"#));
    assert!(value("0.1 K", json!("mm")).contains("write it in mm"));
    assert!(value("20 °C", json!("K")).contains("write it in K"));
    // Of temperatures, differences alone convert whatever the zero.
    let warm = |unit: &str, value: &str, u: &str| {
        let input = json!([{ "name": "t", "unit": unit, "estimate": value, "standard_uncertainty": u }]);
        document(&with_unit("t", unit, input), &["--no-trials"])
    };
    near(number(&warm("K", "300 mK", "20 mK"), "/estimate"), 0.3, 1e-12);
    near(number(&warm("°C", "20 °C", "20 mK"), "/combined_standard_uncertainty"), 0.02, 1e-12);
    near(number(&warm("K", "293 K", "0.9 °F"), "/combined_standard_uncertainty"), 0.5, 1e-12);
    let about = json!([{ "name": "t", "unit": "°C", "distribution":
        { "rectangular": { "centre": "20 °C", "half_width": "300 mK" } } }]);
    let found = document(&with_unit("t", "°C", about), &["--no-trials"]);
    near(number(&found, "/combined_standard_uncertainty"), 0.3 / 3.0_f64.sqrt(), 1e-12);
    assert!(
        refused(json!({ "name": "d", "unit": "mm", "estimate": 1, "standard_uncertainty": "-1 µm" }))
            .contains("a number of at least 0")
    );
}

#[test]
fn a_fault_of_a_measurand_is_told_once() {
    let told = |first: &str| {
        let measurands = json!([
            { "name": "first", "unit": "mm", "formula": first },
            { "name": "second", "unit": "mm", "formula": "2*first" },
            { "name": "third", "unit": "mm", "formula": "second - a + first" },
        ]);
        let inputs = json!([
            { "name": "a", "unit": "mm", "value": -1 },
            { "name": "b", "unit": "µm", "value": 1 },
        ]);
        faults(&json!({ "measurands": measurands, "inputs": inputs }).to_string())
    };
    for first in ["a + b", "a +", "a*sqrt(a/abs(a))", "c"] {
        let found = told(first);
        assert!(found.len() == 1 && found[0].contains("measurands[0]"), "{first}: {found:?}");
    }
}

/// A t with ν degrees of freedom has moments of orders below ν: its square as many as half of them, its bounded functions
/// all, and exp of it none.
#[test]
fn moments_are_those_of_the_formula_and_not_of_the_input() {
    let of = |formula: &str, nu: f64| {
        let input =
            json!({ "name": "x", "estimate": 1, "standard_uncertainty": 0.1, "degrees_of_freedom": nu });
        let model = json!({ "measurands": [{ "name": "y", "formula": formula }], "inputs": [input] });
        let found = document(&model.to_string(), &["--trials", "20000"]);
        let there = |at: &str| found["monte_carlo"][at].is_number();
        let says_so = found["remarks"].to_string().contains("no standard uncertainty by Monte Carlo");
        assert_eq!(says_so, !there("standard_uncertainty"), "{formula} {nu}");
        [there("mean"), there("standard_uncertainty")]
    };
    assert_eq!(of("x", 3.0), [true, true]);
    assert_eq!(of("x^2", 3.0), [true, false]);
    assert_eq!(of("x^2", 4.0), [true, false]);
    assert_eq!(of("x*x", 4.5), [true, true]);
    assert_eq!(of("x^2", 2.0), [false, false]);
    assert_eq!(of("atan(x)", 1.0), [true, true]);
    assert_eq!(of("sqrt(abs(x))", 1.5), [true, true]);
    assert_eq!(of("x", 1.5), [true, false]);
}

/// An s of three readings is known with 2 degrees of freedom: a reading then has no standard deviation, and intervals it has.
#[test]
fn a_reading_of_hardly_known_repeatability_has_no_standard_uncertainty_by_trials() {
    let text = fs::read_to_string("budgets/granite-parked.json").expect("a shipped setup");
    let setup: Value = serde_json::from_str(&text).expect("JSON");
    let of = |setup: &Value, nu: u32| {
        let mut setup = setup.clone();
        setup["indicator"]["repeatability"] =
            json!({ "standard_deviation": "1 µm", "degrees_of_freedom": nu });
        document(&setup.to_string(), &["--trials", "2000"])
    };
    for measurand in of(&setup, 2)["measurands"].as_array().expect("a list") {
        let trials = &measurand["monte_carlo"];
        assert!(trials["standard_uncertainty"].is_null() && trials["mean"].is_number(), "{trials}");
        assert!(trials["interval_symmetric"][0].is_number());
    }
    assert!(of(&setup, 1)["measurands"][0]["monte_carlo"]["mean"].is_null());
    assert!(of(&setup, 3)["measurands"][0]["monte_carlo"]["standard_uncertainty"].is_number());
}

#[test]
fn the_report_holds_all_that_it_takes_to_work_it_out_again() {
    let model = model(
        "a*b",
        json!([
            { "name": "a", "unit": "mm", "distribution":
                { "trapezoidal": { "from": 1, "to": 3, "top_to_base": 0.25 } } },
            { "name": "b", "readings": [1, 2, 4, 5] }
        ]),
    );
    let found = document(&model, &["--trials", "2000"]);
    assert_eq!(found["formula"], json!("a*b"));
    assert_eq!(found["inputs"][0]["parameters"], json!({ "from": 1.0, "to": 3.0, "top_to_base": 0.25 }));
    assert_eq!(found["inputs"][1]["parameters"]["degrees_of_freedom"], json!(3.0));
    let text = run(howflat().args(["budget", "-", "--trials", "2000"]).write_stdin(model)).out;
    assert!(text.contains("Model: y = a*b"), "{text}");
    assert!(text.contains("from 1 mm, to 3 mm, top to base 0.25"), "{text}");
    assert!(text.contains("estimate 6.0, combined"), "{text}");
}

/// A reading is linear in its disturbances, so the law's standard uncertainty is that of the trials; its interval is not.
#[test]
fn a_reading_has_its_row_by_monte_carlo() {
    let setup = fs::read_to_string("budgets/granite-parked.json").expect("a shipped setup");
    let found = document(&setup, &["--trials", "100000"]);
    let reading = &found["measurands"][0];
    let u = number(reading, "/combined_standard_uncertainty");
    near(number(reading, "/monte_carlo/standard_uncertainty"), u, 0.03);
    near(number(reading, "/monte_carlo/mean") + 1.0, number(reading, "/estimate") + 1.0, 0.1);
    // Rare grains and swings: 95 % lie within less than 1.96 u.
    let [low, high] = [0, 1].map(|end| number(reading, &format!("/monte_carlo/interval_symmetric/{end}")));
    assert!((high - low) / 2.0 < 1.9 * u, "{low} {high} {u}");
    assert_eq!(reading["validation"]["linear_result_may_be_used"], json!(false));
    let text = run(howflat().args(["budget", "-", "--trials", "2000"]).write_stdin(setup)).out;
    assert_eq!(text.matches("seat of foot 1").count(), 1, "one table of the same rows");
}

#[test]
fn a_measurand_may_use_those_above_it() {
    let model = json!({
        "measurands": [
            { "name": "area", "unit": "mm²", "formula": "a*b" },
            { "name": "share", "formula": "100*area/(area + c)" },
            { "name": "not a name", "formula": "a" }
        ],
        "inputs": [
            { "name": "a", "unit": "mm", "estimate": 2, "standard_uncertainty": 0.1 },
            { "name": "b", "unit": "mm", "estimate": 3, "standard_uncertainty": 0.1 },
            { "name": "c", "unit": "mm2", "value": 4 }
        ]
    });
    let found = document(&model.to_string(), &["--no-trials"]);
    assert_eq!(number(&found, "/measurands/1/estimate"), 60.0);
    // ∂/∂a of 100 ab/(ab + c) is 100 bc/(ab + c)².
    near(number(&found, "/measurands/1/inputs/0/sensitivity"), 100.0 * 12.0 / 100.0, 1e-12);
    // Both rest on the same a and b, and on nothing else that varies.
    near(number(&found, "/correlation/0/1"), 1.0, 1e-12);
    assert_eq!(found["measurands"][1]["formula"], json!("100*area/(area + c)"));
    let mut below = model.clone();
    below["measurands"][0]["formula"] = json!("share*a");
    assert!(faults(&below.to_string())[0].contains("there is no input called share"));
}

#[test]
fn numbers_that_are_known_exactly_and_units_that_are_left_out() {
    let text = |model: String| run(howflat().args(["budget", "-", "--no-trials"]).write_stdin(model)).out;
    let exact = text(model("a*b", json!([{ "name": "a", "value": 0.3 }, { "name": "b", "value": 0.50037 }])));
    assert!(exact.contains("y = 0.150111 exactly"), "{exact}");
    assert!(!exact.contains("± 0"), "{exact}");
    let bare = text(sum(estimate("a", 0.3), json!({ "name": "b", "value": 0.5 }), None));
    assert!(bare.contains("estimate 1.50, combined standard uncertainty 0.30,"), "{bare}");
}

/// Each message says what to write, and that can be written.
#[test]
fn messages_name_a_way_out() {
    let input = |fields: Value| {
        let mut input = json!({ "name": "x" });
        input.as_object_mut().expect("an object").extend(fields.as_object().expect("an object").clone());
        faults(&model("x", json!([input]))).join("\n")
    };
    let formula = |formula: &str| faults(&model(formula, json!([{ "name": "x", "value": 1 }]))).join("\n");
    for (said, wanted) in [
        (
            input(json!({ "estimate": 1, "standard_uncertainty": 1, "degrees_of_freedom": "inf" })),
            "leave it out for infinitely many",
        ),
        (
            input(json!({ "estimate": 1, "standard_uncertainty": 1, "degrees_of_freedom": null })),
            "leave it out for infinitely many",
        ),
        (input(json!({ "estimate": 1, "standard_uncertainty": null })), "leave it out, or write"),
        (input(json!({ "estimate": 1, "expanded_uncertainty": 1, "k": 2 })), "write \"coverage_factor\""),
        (input(json!({ "distribution": { "rectangular": { "low": 1 } } })), "add \"to\": 2"),
        (
            input(json!({ "distribution": { "rectangular": { "a": 1, "b": 2 } } })),
            "rectangular.a is an unknown field, but must be one of from or to; write \"from\"",
        ),
        (
            formula("y = x"),
            "an equals sign in a formula), but must be ordinary mathematics with the names of the inputs; write only what stands after it",
        ),
        (formula("x > 0"), "write min, max or abs"),
        (formula(&format!("x{}", " + x".repeat(1200))), "shorten its 4801 characters to 4096 or fewer"),
        (formula("1/(x - 1)"), "line 1, column"),
        (formula("1/(x - 1)"), "(formula of y, column 1: division by zero"),
    ] {
        assert!(said.contains(wanted), "{said}\n{wanted}");
    }
    assert!(formula("x > 0").lines().count() == 1);
}

/// JCGM 106:2012, 7.3: of a normal with y = 10, u = 1, Φ(1.5) = 0.9332 lies below 11.5 and 1 − Φ(−2) of it above 8 (table of the
/// normal distribution); with 4 degrees of freedom t is beyond 2.776 in 2.5 % (GUM table G.2).
#[test]
fn given_limits_are_kept_with_a_probability() {
    let of = |limits: Value, more: Value, arguments: &[&str]| {
        let mut input = json!({ "name": "x", "estimate": 10, "standard_uncertainty": 1 });
        input.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
        let model = json!({
            "measurands": [{ "name": "y", "unit": "mm", "formula": "x", "limits": limits }],
            "inputs": [input]
        });
        document(&model.to_string(), arguments)
    };
    let found = of(json!({ "lower": 8, "upper": 11.5 }), json!({}), &[]);
    let expected = 0.933_192_8 - 0.022_750_1;
    near(number(&found, "/conformity/probability_by_law"), expected, 1e-6);
    near(number(&found, "/conformity/probability_by_monte_carlo"), expected, 0.002);
    assert_eq!(found["conformity"]["verdict"], json!("undecided"));
    near(number(&found, "/conformity/specific_consumers_risk"), 1.0 - expected, 1e-5);
    // The guard band of 95 %, one-sided: 1.6449 u.
    near(number(&found, "/conformity/acceptance_limits/0"), 9.644_854, 1e-6);
    near(number(&found, "/conformity/acceptance_limits/1"), 11.5 - 1.644_854, 1e-6);
    let t = of(json!({ "upper": 12.776 }), json!({ "degrees_of_freedom": 4 }), &["--no-trials"]);
    near(number(&t, "/conformity/probability"), 0.975, 1e-4);
    assert_eq!(t["conformity"]["verdict"], json!("conforms"));
    let out = of(json!({ "upper": 7 }), json!({}), &["--no-trials"]);
    assert_eq!(out["conformity"]["verdict"], json!("does not conform"));
    let schema: Value =
        serde_json::from_str(&run(howflat().args(["schema", "budget"])).out).expect("a schema");
    assert_eq!(misfits(&out, &schema), Vec::<String>::new());
    let faulty = |limits: Value| {
        let model = json!({ "measurands": [{ "name": "y", "formula": "x", "limits": limits }],
            "inputs": [{ "name": "x", "value": 1 }] });
        faults(&model.to_string()).remove(0)
    };
    assert!(faulty(json!({ "lower": 2, "upper": 1 })).contains("the lower below the upper one"));
    let micrometres = of(json!({ "upper": "9000 µm" }), json!({}), &["--no-trials"]);
    assert_eq!(micrometres["conformity"]["upper_limit"], json!(9.0));
    assert!(faulty(json!({})).contains("a lower limit, an upper one or both"));
    assert!(faulty(json!({ "max": 1 })).contains("write \"upper\""));
}

/// JCGM 106:2012, 9.5: the share of all that is made, measured and accepted (rejected) which is bad (good), against a count of
/// simulated ones. Prior and error of measurement are drawn here; 4 standard deviations of a share are allowed.
#[test]
fn global_risks_are_shares_of_what_is_measured() {
    const N: usize = 400_000;
    let of = |input: Value, more: Value, arguments: &[&str]| {
        let mut limits = json!({ "lower": -1, "upper": 1 });
        limits.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
        let measurand = json!({ "name": "y", "unit": "mm", "formula": "x", "limits": limits });
        document(&json!({ "measurands": [measurand], "inputs": [input] }).to_string(), arguments)
    };
    let counted = |prior: Distribution, error: &dyn Fn(&mut rand_philox::Philox) -> f64, ends: [f64; 2]| {
        let mut draws = rand_philox::Philox::seed_from_u64(3);
        let [mut consumers, mut producers] = [0, 0];
        for _ in 0..N {
            let value = prior.draw(&mut draws);
            let accepted = (ends[0]..=ends[1]).contains(&(value + error(&mut draws)));
            let good = (-1.0..=1.0).contains(&value);
            consumers += usize::from(accepted && !good);
            producers += usize::from(!accepted && good);
        }
        [consumers, producers].map(|count| count as f64 / N as f64)
    };
    let check = |found: &Value, expected: [f64; 2]| {
        for (name, expected) in ["consumers", "producers"].iter().zip(expected) {
            let allowed = 4.0 * (expected * (1.0 - expected) / N as f64).sqrt();
            let found = number(found, &format!("/conformity/global_risks/global_{name}_risk"));
            assert!(
                expected > 0.002 && (found - expected).abs() < allowed,
                "{name} {found}, counted {expected}"
            );
        }
    };
    let ends = [-0.9, 0.8];
    let given = json!({ "acceptance": { "lower": ends[0], "upper": ends[1] },
        "prior": { "rectangular": { "from": -1.5, "to": 1.2 } } });
    let uniform = Distribution::Rectangular { low: -1.5, high: 1.2 };
    // By the law: t with 4 degrees of freedom. What is not measured at all keeps the limits with 2/2.7.
    let few = json!({ "name": "x", "estimate": 0.2, "standard_uncertainty": 0.2, "degrees_of_freedom": 4 });
    let found = of(few, given.clone(), &["--no-trials"]);
    let t = Distribution::StudentT { location: 0.0, scale: 0.2, degrees_of_freedom: 4.0 };
    check(&found, counted(uniform, &|draws| t.draw(draws), ends));
    near(number(&found, "/conformity/global_risks/conforming_before_measuring"), 2.0 / 2.7, 1e-12);
    assert_eq!(found["conformity"]["guard_band"], Value::Null);
    // By trials: an exponential, which the law does not get right.
    let skewed = json!({ "name": "x", "distribution": { "exponential": { "mean": 0.3 } } });
    let found = of(skewed, given, &[]);
    assert_eq!(found["validation"]["linear_result_may_be_used"], json!(false));
    let exponential = Distribution::Exponential { mean: 0.3 };
    check(&found, counted(uniform, &|draws| 0.3 - exponential.draw(draws), ends));
    // Without acceptance limits they are the guarded ones.
    let known = json!({ "name": "x", "estimate": 0.2, "standard_uncertainty": 0.1 });
    let normal = json!({ "normal": { "mean": 0.5, "standard_deviation": "500 µm" } });
    let found = of(known, json!({ "kept_with": 0.6, "prior": normal }), &["--no-trials"]);
    let guarded = [0, 1].map(|k| number(&found, &format!("/conformity/acceptance_limits/{k}")));
    near(guarded[1], 1.0 - 0.025_335, 1e-6);
    let prior = Distribution::Normal { mean: 0.5, standard_deviation: 0.5 };
    let error = Distribution::Normal { mean: 0.0, standard_deviation: 0.1 };
    check(&found, counted(prior, &|draws| error.draw(draws), guarded));
    let words = &found["conformity"]["global_risks"]["prior"];
    assert_eq!(words, &json!("normal, mean 0.5 mm, standard deviation 0.5 mm"));
}

#[test]
fn acceptance_limits_stand_beside_the_limits() {
    let faulty = |limits: Value| {
        let model = json!({ "measurands": [{ "name": "y", "formula": "x", "limits": limits }],
            "inputs": [{ "name": "x", "value": 1 }] });
        faults(&model.to_string()).remove(0)
    };
    let other_side = faulty(json!({ "upper": 2, "acceptance": { "lower": 1 } }));
    assert!(other_side.contains("on other sides than the limits"), "{other_side}");
    let falling = faulty(json!({ "lower": 0, "upper": 2, "acceptance": { "lower": 1.5, "upper": 1 } }));
    assert!(falling.contains("acceptance limits from 1.5 to 1"), "{falling}");
    let prior = faulty(json!({ "upper": 2, "prior": { "normal": { "mean": 1 } } }));
    assert!(prior.contains("standard_deviation"), "{prior}");
}

/// The law stands where Monte Carlo cannot, and the reason is told.
#[test]
fn without_a_joint_density_there_is_the_law_alone() {
    let rectangular =
        |name| json!({ "name": name, "distribution": { "rectangular": { "from": -1, "to": 1 } } });
    let document = document(&sum(rectangular("a"), rectangular("b"), Some(0.5)), &[]);
    near(number(&document, "/combined_standard_uncertainty"), 1.0, 1e-12);
    assert!(document.get("monte_carlo").is_none());
    assert!(document["remarks"][0].as_str().is_some_and(|remark| remark.contains("joint density")));
    // Half of the trials have no logarithm.
    let model =
        json!({ "measurands": [{ "name": "y", "formula": "ln(a)" }], "inputs": [estimate("a", 5.0)] });
    let document = self::document(&model.to_string(), &["--trials", "10000"]);
    assert!(document["remarks"][0].as_str().is_some_and(|remark| remark.contains("has no value in")));
}

fn written(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn hostile_words_are_inert_and_names_stay_in_the_folder() {
    let evil = "</svg><script>alert(1)</script>\u{1b}[31m *b* [x](http://y) =cmd|' /C calc'!A0 \u{202e}";
    let model = json!({
        "title": evil,
        "measurands": [
            { "name": "../../y", "unit": "<b>\u{1b}[2J", "formula": "a" },
            { "name": "=1+1", "formula": "a" },
            { "name": "*/", "formula": "a" },
            { "name": "//", "formula": "a" }
        ],
        "inputs": [{ "name": "a", "unit": "=2+2", "estimate": 1, "standard_uncertainty": 1, "source": evil }]
    });
    let folder = tempfile::tempdir().expect("a folder");
    let run = run(howflat()
        .args(["budget", "-", "--trials", "2000", "--out"])
        .arg(folder.path())
        .write_stdin(model.to_string()));
    let said = format!("open {}", folder.path().join("report.html").display());
    assert!(run.code == 0 && run.err.trim_end().ends_with(&said), "{}", run.err);
    assert!(!run.err.contains('\u{1b}'));
    assert!(!run.out.contains('\u{1b}') && !run.out.contains('\u{202e}'));
    let names = written(folder.path());
    assert_eq!(names.iter().filter(|name| name.ends_with(".svg")).count(), 8);
    for name in &names {
        assert!(name.chars().all(|c| c.is_ascii_alphanumeric() || "-.".contains(c)), "{name}");
        let bytes = fs::read(folder.path().join(name)).expect("a file");
        if name.ends_with(".png") {
            continue;
        }
        let text = String::from_utf8(bytes).expect("UTF-8");
        assert!(!text.contains('\u{1b}') && !text.contains('\u{202e}'), "{name}");
        if name.ends_with(".svg") {
            roxmltree::Document::parse(&text).expect("a sound picture");
            assert!(!text.contains("<script"), "{name}");
        }
        if name.ends_with(".md") {
            assert!(!text.contains("<script") && !text.contains("<b>") && !text.contains("[x]("), "{name}");
        }
        if name.ends_with(".csv") {
            assert!(!text.contains(",=") && !text.starts_with('='), "{name}: {text}");
        }
    }
}

#[test]
fn all_files_of_a_report() {
    let folder = tempfile::tempdir().expect("a folder");
    let model = sum(estimate("a", 3.0), estimate("b", 4.0), None);
    let run = run(howflat().args(["budget", "-", "--json", "--out"]).arg(folder.path()).write_stdin(model));
    assert_eq!(
        written(folder.path()),
        [
            "budget.csv",
            "budget.md",
            "contributions.svg",
            "histogram.png",
            "histogram.svg",
            "manifest.json",
            "report.html",
            "report.md",
            "result.json"
        ]
    );
    assert_eq!(fs::read_to_string(folder.path().join("result.json")).expect("the result"), run.out);
    let picture = fs::read_to_string(folder.path().join("histogram.svg")).expect("the picture");
    assert!(picture.contains("normal, by the law of propagation"));
    let csv = fs::read_to_string(folder.path().join("budget.csv")).expect("the budget");
    assert_eq!(csv.lines().count(), 3, "{csv}");
}

#[test]
fn remarks_on_readings_that_drift_and_inputs_that_nothing_uses() {
    let model = json!({
        "measurands": [{ "name": "y", "formula": "a" }],
        "inputs": [
            { "name": "a", "readings": [1, 2, 3, 4, 5, 6, 7, 8, 9, 10] },
            { "name": "idle", "value": 1 }
        ]
    });
    let setup = MeasurementSetup::read(&model.to_string()).expect("a sound model");
    assert_eq!(setup.remarks.len(), 2);
    assert!(setup.remarks[0].contains("follow one another"), "{:?}", setup.remarks);
    assert_eq!(setup.remarks[1], "The input idle stands in no formula.");
}
