//! `howflat zone` against sets with known flatness (`tests/reference/flatness.json`: closed forms, and values certified
//! by an independent linear programme), and against a general-purpose linear programme.

use crate::common::program::{howflat, run};
use crate::common::schema::misfits;
use microlp::{ComparisonOp, OptimizationDirection, Problem};
use rand::{RngExt, SeedableRng};
use rand_philox::Philox;
use serde_json::Value;

struct Found {
    json: Value,
}

fn zone(text: &str, more: &[&str]) -> crate::common::program::Run {
    run(howflat().args(["zone", "-"]).args(more).write_stdin(text))
}

fn found(text: &str) -> Found {
    let run = zone(text, &["--json"]);
    assert_eq!(run.code, 0, "{}", run.err);
    Found { json: serde_json::from_str(&run.out).unwrap() }
}

impl Found {
    fn number(&self, field: &str) -> f64 {
        self.json.pointer(field).unwrap().as_f64().unwrap()
    }
}

fn table(points: &[[f64; 3]], plan: &str, height: &str) -> String {
    let mut text = format!("x ({plan}),y ({plan}),z ({height})\n");
    for [x, y, z] in points {
        text += &format!("{x},{y},{z}\n");
    }
    text
}

fn close(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} is not {expected} within {within}");
}

/// Nine digits are given; the files are read as a user writes them, in their own units.
#[test]
fn sets_with_known_flatness() {
    let sets: Value = serde_json::from_str(include_str!("reference/flatness.json")).unwrap();
    let sets = sets["sets"].as_array().unwrap();
    assert!(sets.len() >= 12);
    for set in sets {
        let points: Vec<[f64; 3]> = serde_json::from_value(set["points"].clone()).unwrap();
        let unit = |field: &str| set[field].as_str().unwrap_or("mm");
        if points.len() < 4 {
            assert_eq!(zone(&table(&points, "mm", "um"), &[]).code, 2);
            continue;
        }
        let found = found(&table(&points, unit("xy_unit"), unit("z_unit")));
        let expected = |field: &str| set[field].as_f64();
        if let Some(vertical) = expected("lp_minimum_zone_vertical") {
            close(found.number("/flatness_along_heights"), vertical, 2e-9 * vertical.max(1.0));
        }
        if let Some(square) = expected("exact_minimum_zone_perpendicular") {
            // Below a slope of 1 in 1000 the two differ by 5e-7 at most, and one is told for the other.
            close(found.number("/flatness"), square, (5e-7 * square).max(3e-9));
        }
        assert_eq!(found.json["proof"]["holds"], true, "{}", found.json);
    }
}

/// The touching points are named by their line, and prove the distance by hand: 2 above and 8 above cross two below.
#[test]
fn touching_points_are_named_and_prove_it() {
    let text = "# crossed\n\nx (mm);y (mm);z (µm)\n0;0;2\n100;100;8\n20;90;-1\n90;20;-3\n55;55;1,5\n";
    let found = found(text);
    close(found.number("/flatness"), 7.3, 1e-12);
    let contacts = found.json["contacts"].as_array().unwrap();
    let lines: Vec<(u64, &str)> =
        contacts.iter().map(|c| (c["line"].as_u64().unwrap(), c["plane"].as_str().unwrap())).collect();
    let mut sorted = lines.clone();
    sorted.sort_unstable();
    assert_eq!(sorted, [(4, "above"), (5, "above"), (6, "below"), (7, "below")]);
    for side in ["above", "below"] {
        let of = || contacts.iter().filter(|c| c["plane"] == side);
        let mean = |what: &str| -> f64 {
            of().map(|c| c["multiplier"].as_f64().unwrap() * c[what].as_f64().unwrap()).sum()
        };
        // The segments cross at (55, 55): 5.3 above, 2 below.
        close(mean("x"), 55.0, 1e-9);
        close(mean("y"), 55.0, 1e-9);
        close(mean("z"), if side == "above" { 5.3 } else { -2.0 }, 1e-9);
    }
    let said = zone(text, &[]).out;
    assert!(said.contains("minimum zone) of 7.3 µm") && said.contains("line 5 (above)"), "{said}");
}

/// Random sets against a linear programme of general purpose (crate microlp).
#[test]
fn a_general_linear_programme_agrees() {
    let mut draws = Philox::seed_from_u64(11);
    for n in [4, 5, 9, 40, 200] {
        let points: Vec<[f64; 3]> = (0..n)
            .map(|_| {
                [900.0 * draws.random::<f64>(), 600.0 * draws.random::<f64>(), 10.0 * draws.random::<f64>()]
            })
            .collect();
        let mut problem = Problem::new(OptimizationDirection::Minimize);
        let half = problem.add_var(1.0, (0.0, f64::INFINITY));
        let [a, b, c] = [(); 3].map(|()| problem.add_var(0.0, (f64::NEG_INFINITY, f64::INFINITY)));
        for [x, y, z] in points.iter().map(|[x, y, z]| [x / 1000.0, y / 1000.0, *z]) {
            problem.add_constraint([(a, 1.0), (b, x), (c, y), (half, 1.0)], ComparisonOp::Ge, z);
            problem.add_constraint([(a, 1.0), (b, x), (c, y), (half, -1.0)], ComparisonOp::Le, z);
        }
        let expected =
            2.0 * problem.solve().unwrap().into_solution().expect("no limits were set").objective();
        close(found(&table(&points, "mm", "µm")).number("/flatness"), expected, 1e-8);
    }
}

#[test]
fn points_that_tell_no_flatness_are_refused_in_words() {
    let refused = |rows: &str, words: &str| {
        let run = zone(&format!("x (mm),y (mm),z (µm)\n{rows}"), &[]);
        assert_eq!(run.code, 2, "{}", run.out);
        assert!(run.err.contains(words), "{}", run.err);
    };
    refused("0,0,1\n10,0,2\n", "give at least 4");
    refused("0,0,1\n10,0,2\n0,10,0\n", "three always lie in one plane");
    refused("0,0,0\n10,10,1\n20,20,-1\n30,30,2\n", "straightness, not flatness");
    refused("5,5,0\n5,5,1\n5,5,-1\n5,5,2\n", "straightness, not flatness");
    refused("0,0,0\n10,10,much\n", "line 3, column 7: z is `much`, but must be a number");
    // Two heights at one place are counted, and said.
    let said = zone("x (mm),y (mm),z (µm)\n0,0,0\n0,0,4\n100,0,0\n0,100,0\n100,100,0\n", &[]).out;
    assert!(said.contains("of 4 µm") && said.contains("2 points stand at a place"), "{said}");
}

#[test]
fn units_come_from_the_first_line_or_beside_the_file() {
    let rows = "0,0,0\n10,0,0\n0,10,0\n10,10,40\n";
    assert_eq!(zone(rows, &[]).code, 2);
    let said = zone(rows, &["--plan-unit", "in", "--height-unit", "µin"]).out;
    // One corner of a square high by h: half of h, by hand (crossed diagonals).
    assert!(said.contains("of 20 µin"), "{said}");
    assert_eq!(zone(rows, &["--plan-unit", "K", "--height-unit", "µin"]).code, 2);
}

#[test]
fn the_document_keeps_its_schema() {
    let schema: Value = serde_json::from_str(&run(howflat().args(["schema", "zone"])).out).unwrap();
    let found = found("x (mm),y (mm),z (µm)\n0,0,0\n10,0,0\n0,10,0\n10,10,40\n");
    assert_eq!(misfits(&found.json, &schema), Vec::<String>::new());
}

/// A measured map is judged on its own points too: 200 scattered heights that lie between the nodes of any grid. The
/// flatness of its plate is never less than what they prove.
#[test]
fn a_maps_plate_is_no_flatter_than_its_points() {
    use crate::common::{check_with, exactly};
    use howflat::{
        propagation::{check_experiment::CheckExperiment, trials::Experiment},
        quantity::stream::Streams,
        shop::{
            flatness::flatness,
            wear::{Map, Surface, Waves},
        },
    };
    let mut draws = Philox::seed_from_u64(12);
    let mut check = check_with(|_| ());
    let [x, y] = check.plate.working_surface();
    let mut between = |[low, high]: [f64; 2]| low + (high - low) * draws.random::<f64>();
    let points: Vec<[f64; 3]> = (0..200).map(|_| [between(x), between(y), between([0.0, 10.0])]).collect();
    let proven = flatness(&points).unwrap().flatness;
    assert!(proven > 8.0);
    let waviness = Waves { standard_deviation: exactly(0.0), correlation_length: exactly(100.0) };
    for standard_uncertainty in [0.0, 0.2] {
        let map = Map { points: points.clone(), standard_uncertainty, waviness: waviness.clone() };
        check.surface = Surface::Measured(map);
        let experiment = CheckExperiment::new(&check).unwrap();
        let mut scratch = experiment.scratch();
        for trial in 0..5 {
            let (found, _) = experiment.written(&Streams::new(1), trial, &mut scratch);
            // Each of a handful of contacts is off by its own uncertainty, 4.5 of them at most.
            assert!(found >= proven - 4.5 * standard_uncertainty - 1e-9, "{found} {proven}");
        }
    }
}

/// Every trial can be had, and spreads of the same readings are one number.
#[test]
fn trials_as_csv() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("trials.csv");
    let run = run(howflat()
        .args(["simulate", "budgets/granite-parked.json", "--trials", "2000", "--judged", "0", "--json"])
        .arg("--trials-csv")
        .arg(&file));
    assert_eq!(run.code, 0, "{}", run.err);
    let document: Value = serde_json::from_str(&run.out).unwrap();
    let text = std::fs::read_to_string(&file).unwrap();
    let mut lines = text.lines();
    let unit = document["unit"].as_str().unwrap();
    assert!(lines.next().unwrap().starts_with(&format!("true flatness ({unit}s),spread ({unit}s),")));
    let rows: Vec<Vec<f64>> =
        lines.map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect()).collect();
    assert_eq!(rows.len(), 2000);
    for (column, field) in [(0, "/true_flatness/mean"), (1, "/readings/spread/result/mean")] {
        let mean = rows.iter().map(|row| row[column]).sum::<f64>() / 2000.0;
        close(mean, document.pointer(field).unwrap().as_f64().unwrap(), 1e-9);
    }
    let mut spreads: Vec<f64> = rows.iter().map(|row| row[1]).collect();
    spreads.sort_by(f64::total_cmp);
    for pair in spreads.windows(2) {
        let apart = pair[1] - pair[0];
        assert!(apart == 0.0 || apart > 1e-7, "{pair:?}");
    }
}
