//! Formulas, budgets and Monte Carlo against general-purpose libraries: `reference/crosscheck.py` computes the
//! expected values, `reference/crosscheck.json` keeps them.
use howflat::model::measurement::{Input, Knowledge, MeasurementModel};
use howflat::propagation::law::{LinearResult, Order};
use howflat::propagation::monte_carlo::{IntervalKind, MonteCarlo, MonteCarloOptions, Trials};
use howflat::quantity::distribution::Distribution;
use serde_json::Value;

fn expected() -> Value {
    serde_json::from_str(include_str!("reference/crosscheck.json")).unwrap()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn numbers(value: &Value) -> Vec<f64> {
    list(value).iter().map(|value| value.as_f64().unwrap()).collect()
}

fn pairs(case: &Value) -> Vec<(&str, &str, f64)> {
    list(&case["correlations"])
        .iter()
        .map(|pair| (pair[0].as_str().unwrap(), pair[1].as_str().unwrap(), pair[2].as_f64().unwrap()))
        .collect()
}

fn model(
    case: &Value,
    knowledge: impl Fn(&Value) -> Distribution,
    pairs: &[(&str, &str, f64)],
) -> MeasurementModel {
    let inputs = list(&case["inputs"])
        .iter()
        .map(|input| Input {
            name: input["name"].as_str().unwrap().into(),
            unit: "1".into(),
            knowledge: Knowledge::of(knowledge(input)),
        })
        .collect();
    MeasurementModel::new(&[("y", "1", case["formula"].as_str().unwrap())], inputs, pairs).unwrap()
}

#[test]
fn values_and_derivatives_agree() {
    let cases = expected();
    for case in list(&cases["models"]) {
        let formula = case["formula"].as_str().unwrap();
        let normal = |input: &Value| {
            Distribution::normal(input["estimate"].as_f64().unwrap(), input["u"].as_f64().unwrap()).unwrap()
        };
        let close = |ours: f64, theirs: &Value| {
            let theirs = theirs.as_f64().unwrap();
            assert!((ours - theirs).abs() <= 1e-12 * theirs.abs().max(1e-3), "{formula}: {ours} {theirs}");
        };
        let independent = model(case, normal, &[]);
        let n = independent.inputs().len();
        let expansion =
            independent.measurands()[0].formula.expansion(&independent.estimates(), &vec![true; n]).unwrap();
        close(expansion.value, &case["value"]);
        for i in 0..n {
            close(expansion.first[i], &case["gradient"][i]);
            for j in 0..n {
                close(expansion.second[(i, j)], &case["second"][i][j]);
                close(expansion.third[(i, j)], &case["third"][i][j]);
            }
        }
        let correlated = model(case, normal, &pairs(case));
        let budget = LinearResult::of(&correlated, 0.95, Order::First).unwrap().budgets.remove(0);
        close(budget.combined_standard_uncertainty, &case["u"]);
        let second =
            LinearResult::of(&independent, 0.95, Order::Second).map(|mut result| result.budgets.remove(0));
        match (second, case["u_second_order"].is_null()) {
            (Ok(budget), false) => {
                close(budget.second_order.unwrap().combined_standard_uncertainty, &case["u_second_order"]);
            }
            (second, _) => assert!(second.is_err(), "{formula}"),
        }
    }
}

/// Each figure within five standard deviations of its scatter: that of a million trials, and that of the expected
/// value itself where it is a simulation's.
#[test]
fn distributions_agree() {
    let n = 1_000_000;
    for case in list(&expected()["distributions"]) {
        let stated = |input: &Value| {
            let of = |key: &str| numbers(&input[key]);
            let (normal, t) = (of("normal"), of("t"));
            let (rectangular, triangular, arc_sine) = (of("rectangular"), of("triangular"), of("arc_sine"));
            match (&normal[..], &t[..], &rectangular[..], &triangular[..], &arc_sine[..]) {
                ([mean, sd], ..) => Distribution::normal(*mean, *sd),
                (_, [location, scale, dof], ..) => Distribution::student_t(*location, *scale, *dof),
                (_, _, [low, high], ..) => Distribution::rectangular(*low, *high),
                (_, _, _, [low, high], _) => Distribution::triangular(*low, *high),
                (_, _, _, _, [low, high]) => Distribution::arc_sine(*low, *high),
                _ => panic!("{input}"),
            }
            .unwrap()
        };
        let options = MonteCarloOptions {
            seed: 3,
            trials: Trials::Fixed(n),
            coverage_probability: 0.95,
            interval: IntervalKind::Symmetric,
        };
        let result = MonteCarlo::run(&model(case, stated, &pairs(case)), &options, &|_| ()).unwrap();
        let ours = result.measurands[0].summary;
        let per_trial = 1.0 / n as f64 + case["n_draws"].as_f64().map_or(0.0, |n| 1.0 / n);
        let sd = case["standard_deviation"].as_f64().unwrap();
        let close = |what: &str, ours: f64, theirs: f64, variance_of_one: f64| {
            let allowed = 5.0 * (variance_of_one * per_trial).sqrt();
            assert!(
                (ours - theirs).abs() <= allowed,
                "{}, {what}: {ours} {theirs} ± {allowed}",
                case["formula"]
            );
        };
        close("mean", ours.mean, case["mean"].as_f64().unwrap(), sd * sd);
        let kurtosis = case["kurtosis"].as_f64().unwrap();
        close("standard deviation", ours.standard_deviation, sd, 0.25 * (kurtosis - 1.0) * sd * sd);
        let of_end = |k: usize| 0.025 * 0.975 / numbers(&case["end_densities"])[k].powi(2);
        for (k, what) in ["low end", "high end"].into_iter().enumerate() {
            close(what, ours.interval_symmetric[k], numbers(&case["symmetric"])[k], of_end(k));
        }
        let [low, high] = ours.interval_shortest;
        close(
            "length of the shortest",
            high - low,
            case["shortest_length"].as_f64().unwrap(),
            of_end(0) + of_end(1),
        );
    }
}
