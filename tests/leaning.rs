//! How far an answer leans on what was assumed: weights against inferences from scratch, ends against simulations of their
//! own, and the report's words against its numbers.

use crate::common::program::{howflat, run};
use howflat::{
    JudgementSettings, Readings, Setup, SimulationSettings,
    decision::leaning::error_leanings,
    propagation::{
        check_experiment::CheckExperiment,
        monte_carlo::IntervalKind,
        posterior::{Inference, posterior},
    },
    quantity::{distribution::Distribution, pareto_smoothing::TRUSTED},
    setup::AssumedRange,
    shop::check::ShopCheck,
    simulate,
};
use serde_json::Value;
use std::{collections::BTreeMap, fs};

fn shipped(name: &str) -> (Setup, String) {
    let text = fs::read_to_string(format!("budgets/{name}.json")).expect("a shipped setup");
    let load = |file: &str| fs::read_to_string(format!("budgets/{file}")).map_err(|why| why.to_string());
    (Setup::read(&text, &load).expect("a sound setup"), text)
}

fn read(setup: &Setup, name: &str) -> Readings {
    let text = fs::read_to_string(format!("budgets/{name}.readings.csv")).expect("shipped readings");
    Readings::read(&text, setup).expect("sound readings")
}

fn ranges(setup: &Setup, text: &str) -> BTreeMap<String, AssumedRange> {
    setup.assumed_ranges(text).into_iter().map(|range| (range.field.clone(), range)).collect()
}

/// Each end differs from the setup in its own figure alone; what the setup says is not assumed; a map stays what it is.
#[test]
fn the_ends_are_the_check_with_one_figure_changed() {
    let (setup, text) = shipped("granite-parked");
    let ranges = ranges(&setup, &text);
    let film = &ranges["cleanliness.film"];
    assert_eq!(film.range, ["0.1 µm", "1 µm"]);
    for (end, expected) in film.checks.iter().zip([0.1, 1.0]) {
        assert_eq!(end.cleanliness.film, expected);
        let mut same = end.clone();
        same.cleanliness.film = setup.check.cleanliness.film;
        assert_eq!(same, setup.check);
    }
    let heat = ranges["temperature.top_to_bottom"].checks.each_ref().map(|end| end.temperature.top_to_bottom);
    assert_eq!(heat, [0.05, 0.5].map(|s| Distribution::Normal { mean: 0.0, standard_deviation: s }));
    assert!(ranges["wear"].checks.iter().all(|end| end.surface != setup.check.surface));
    // Said, so not assumed.
    let said =
        text.replacen('{', "{ \"cleanliness\": { \"state\": \"wiped once\", \"film\": \"0.4 µm\" },", 1);
    let said = if text.contains("\"cleanliness\"") {
        text.replace("\"wiped once\"", "{ \"film\": \"0.4 µm\" }")
    } else {
        said
    };
    let other = Setup::read(&said, &|_| Err(String::new())).expect("a sound setup");
    assert!(other.assumed_ranges(&said).iter().all(|range| range.field != "cleanliness.film"));
    let (map, text) = shipped("measured-map");
    let of_map = map.assumed_ranges(&text);
    assert!(!of_map.is_empty() && of_map.iter().all(|range| range.field != "wear"));
    assert!(of_map.iter().flat_map(|range| &range.checks).all(|end| end.surface == map.check.surface));
}

/// What is taken where nothing is said lies between the ends.
#[test]
fn defaults_lie_within_what_is_plausible() {
    let (setup, text) = shipped("granite-parked");
    let sizes = |check: &ShopCheck| {
        let uncertain = |d: Distribution| d.mean().abs() + d.standard_uncertainty();
        [
            ("cleanliness.film", check.cleanliness.film),
            ("cleanliness.grain_chance", check.cleanliness.grain_chance),
            ("cleanliness.grain", uncertain(check.cleanliness.grain)),
            ("indicator.error_limit", check.indicator.error_limit),
            ("indicator.hysteresis", uncertain(check.indicator.hysteresis)),
            ("indicator.repeatability", check.indicator.repeatability),
            ("indicator.zero_shift", check.indicator.zero_shift),
            ("indicator.contact_angle", uncertain(check.indicator.contact_angle)),
            ("temperature.top_to_bottom", uncertain(check.temperature.top_to_bottom)),
            ("temperature.column_rate", uncertain(check.temperature.column_rate)),
            ("temperature.handling", uncertain(check.temperature.handling)),
        ]
    };
    let ranges = ranges(&setup, &text);
    for (field, usual) in sizes(&setup.check) {
        let Some(range) = ranges.get(field) else { continue };
        let of = |end: &ShopCheck| sizes(end).into_iter().find(|(name, _)| *name == field).expect("a size").1;
        let [low, high] = range.checks.each_ref().map(of);
        assert!(low < usual && usual < high, "{field}: {low} {usual} {high}");
    }
    assert!(ranges.len() >= 10, "{:?}", ranges.keys());
}

/// The interval at an end is that of a simulation of its own, to what the number of trials leaves open.
#[test]
fn ends_are_what_a_simulation_of_them_gives() {
    let (setup, text) = shipped("granite-parked");
    let ranges = ranges(&setup, &text);
    let fields = ["cleanliness.film", "cleanliness.grain_chance", "wear"];
    let ends: Vec<_> = fields.map(|field| &ranges[field].checks).into_iter().collect();
    let found = error_leanings(&setup.check, &setup.plan, 7, ends.iter().copied(), None).expect("leanings");
    let settings =
        SimulationSettings { n_trials: 20_000, seed: 8, n_judged: 0, ..SimulationSettings::default() };
    for ((field, leaning), checks) in fields.iter().zip(&found).zip(&ends) {
        for (end, check) in leaning.ends.iter().zip(checks.iter()) {
            let simulation = simulate(check, settings, &|_| {}).expect("a simulation");
            let own = &simulation.ways[0];
            // Of half as many trials the ends scatter by √2 more.
            let scatter = IntervalKind::Symmetric.scatter_of_ends(&own.errors, 0.95).map(|s| 3f64.sqrt() * s);
            for ((end, own), s) in end.interval.iter().zip(own.error.interval_symmetric).zip(scatter) {
                assert!((end - own).abs() < 4.0 * s, "{field}: {end} {own} {s}");
            }
        }
        assert!(leaning.is_seen(), "{field}");
    }
}

/// Weights give what an inference from scratch gives, for figures near and far: mean and probability to four standard
/// deviations of what the draws leave open.
#[test]
fn weights_say_what_an_inference_from_scratch_says() {
    let (setup, _) = shipped("granite-turned");
    let readings = read(&setup, "granite-turned");
    let (check, observations) = (&readings.check, readings.observations());
    let settings = JudgementSettings::default();
    let experiment = CheckExperiment::new(check).expect("a check");
    let inference = Inference::new(&experiment, &observations, &settings, &|_| {}).expect("an inference");
    let mut n_weighted = 0;
    let changes: [fn(&mut ShopCheck); 5] = [
        |check| check.cleanliness.film = 0.35,
        |check| check.cleanliness.film = 2.0,
        |check| check.cleanliness.grain_chance = 0.05,
        |check| check.indicator.zero_shift = 1.0,
        |check| check.temperature.top_to_bottom = Distribution::Normal { mean: 0.0, standard_deviation: 0.8 },
    ];
    for (k, change) in changes.into_iter().enumerate() {
        let mut other = check.clone();
        change(&mut other);
        let found = inference.with_figures_of(&other).expect("an answer");
        let anew = posterior(&other, &observations, &JudgementSettings { seed: 5, ..settings }, &|_| {})
            .expect("an answer");
        let moments = |values: &[f64]| {
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            (mean, (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n).sqrt())
        };
        let ((mean, s), (expected, s_anew)) = (moments(&found.flatness), moments(&anew.flatness));
        let u = s.hypot(s_anew) / found.effective_sample_size.min(anew.effective_sample_size).sqrt();
        assert!(
            (mean - expected).abs() < 4.0 * u,
            "change {k}: {mean} {expected} {u}, k {}",
            found.tail_shape
        );
        assert!((s / s_anew - 1.0).abs() < 0.25, "change {k}: {s} {s_anew}");
        n_weighted += usize::from(found.tail_shape <= TRUSTED);
    }
    assert!(n_weighted >= 3, "only {n_weighted} of 5 by weights");
}

/// The answer says that one assumed figure alone would turn the verdict where the numbers at one of its ends do, and only there;
/// figures stand in the order of how far they move it. With clean feet the turned check's readings are the plate's, which is
/// out of three tenths; with dirty ones they are half dirt.
#[test]
fn a_figure_that_turns_the_verdict_is_named_in_the_answer() {
    for (setup, turned) in [("granite-turned", true), ("granite-parked", false)] {
        let files = [format!("budgets/{setup}.json"), format!("budgets/{setup}.readings.csv")];
        let asked = ["--rule", "shared", "--tolerance", "3 tenths", "--json"];
        let found = run(howflat().arg("judge").args(files).args(asked));
        let document: Value = serde_json::from_str(&found.out).expect("a document");
        let verdict = document["verdict"].as_str().expect("a verdict");
        let leanings = document["leans_on"].as_array().expect("leanings");
        let number = |leaning: &Value, key: &str| leaning[key].as_f64().expect("a number");
        let turns = leanings.iter().any(|leaning| {
            number(leaning, "moves") > 2.0 * number(leaning, "moves_standard_uncertainty")
                && ["at_low", "at_high"].iter().any(|end| leaning[end]["verdict"] != verdict)
        });
        let answer = document["answer"].as_str().expect("an answer");
        assert_eq!(
            [turns, answer.contains("One assumed figure alone would turn this")],
            [turned; 2],
            "{answer}"
        );
        let moves: Vec<f64> = leanings.iter().map(|leaning| number(leaning, "moves")).collect();
        assert!(moves.len() >= 9 && moves.is_sorted_by(|a, b| a >= b), "{moves:?}");
        if turned {
            let [low, high] = ["at_low", "at_high"].map(|end| &leanings[0][end]);
            assert_eq!(
                [&leanings[0]["field"], &low["verdict"], &high["verdict"]],
                ["cleanliness.film", "out", "within"]
            );
            assert!(answer.contains("with cleanliness.film at 0.1 µm the plate is out"), "{answer}");
        }
    }
}
