//! Setup files: what is read from good ones, and what is said of bad ones.

use howflat::quantity::distribution::Distribution;
use howflat::quantity::unit::{INCH, MICROMETRE, MILLIMETRE, TENTH};
use howflat::setup::{Assumption, Fault, Faults, Setup, Starter, schema};
use howflat::shop::survey::{StandUse, Zeroing};
use howflat::shop::wear::{Corner, DipPlace, Surface, Wear};
use proptest::prelude::*;
use serde_json::{Map, Value, json};

/// Ten lines, and all that has to be said.
const BEGINNER: &str = r#"{
  "plate": {
    "length": "36 in",
    "width": "24 in"
  },
  "stand": {
    "feet": { "front_apart": "3 in", "front_to_rear": "4 in" }
  },
  "indicator": { "graduation": "0.0001 in" }
}"#;

const MAP: &str = "x (in), y (in), z (µin)\n2,2,0\n34,2,-20\n2,22,10\n34,22,-40\n18,12,-120\n";

fn read(text: &str) -> Result<Setup, Faults> {
    Setup::read(text, &|name| match name {
        "map.csv" => Ok(MAP.into()),
        "bad.csv" => Ok("x (in), y (in), z (µin)\n2,2,zero\n40,2,0\n".into()),
        _ => Err("no such file".into()),
    })
}

#[track_caller]
fn sound(text: &str) -> Setup {
    read(text).unwrap_or_else(|faults| panic!("{}", said(&faults).join("\n")))
}

fn said(faults: &[Fault]) -> Vec<String> {
    faults.iter().map(Fault::to_string).collect()
}

/// The beginner's file with some members of the top level added or replaced.
fn with(members: Value) -> String {
    let mut setup: Value = serde_json::from_str(BEGINNER).unwrap();
    for (name, value) in members.as_object().unwrap() {
        match (setup.get_mut(name), value) {
            (Some(Value::Object(old)), Value::Object(new)) => old.extend(new.clone()),
            _ => setup[name.as_str()] = value.clone(),
        }
    }
    setup.to_string()
}

fn wear(setup: &Setup) -> &Wear {
    match &setup.check.surface {
        Surface::Worn(wear) => wear,
        Surface::Measured(_) => panic!("a map"),
    }
}

#[track_caller]
fn close(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-12 * expected.abs().max(1e-3), "{found} is not {expected}");
}

#[track_caller]
fn is_rectangular(found: Distribution, from: f64, to: f64) {
    let Distribution::Rectangular { low, high } = found else { panic!("{found:?}") };
    close(low, from);
    close(high, to);
}

#[track_caller]
fn is_normal(found: Distribution, expected_mean: f64, expected_deviation: f64) {
    let Distribution::Normal { mean, standard_deviation } = found else { panic!("{found:?}") };
    close(mean, expected_mean);
    close(standard_deviation, expected_deviation);
}

#[track_caller]
fn is_depth(found: Distribution, expected_mean: f64) {
    let Distribution::Gamma { shape, scale } = found else { panic!("{found:?}") };
    close(shape, 0.7);
    close(shape * scale, expected_mean);
}

#[track_caller]
fn is_lognormal(found: Distribution, expected_median: f64, expected_spread: f64) {
    let Distribution::Lognormal { median, spread } = found else { panic!("{found:?}") };
    close(median, expected_median);
    close(spread, expected_spread);
}

#[test]
fn ten_lines_are_enough() {
    let setup = sound(BEGINNER);
    assert_eq!(BEGINNER.lines().count(), 10);
    assert_eq!(setup.title, "36 x 24 in granite plate, parked stand");
    assert_eq!((setup.unit, setup.plan_unit), (TENTH, INCH));
    assert_eq!((&setup.tolerance, setup.consumer_risk), (&None, 0.05));

    let plate = &setup.check.plate;
    let (length, width) = (914.4, 609.6);
    close(plate.length, length);
    close(plate.width, width);
    close(plate.thickness, 5.5 * 25.4);
    close(plate.margin, 25.0);
    is_rectangular(plate.expansion, 4e-6, 9e-6);
    assert!(!plate.flatness_holds_bow);

    let stand = &setup.check.stand;
    let third = 101.6 / 3.0;
    for (foot, expected) in stand.feet.iter().zip([[third, 38.1], [third, -38.1], [third - 101.6, 0.0]]) {
        close(foot[0], expected[0]);
        close(foot[1], expected[1]);
    }
    assert_eq!((stand.pad_diameter, stand.height, stand.reach), (10.0, 150.0, [0.0, f64::INFINITY]));
    is_rectangular(stand.column_expansion, 11.3e-6, 12.3e-6);

    let indicator = &setup.check.indicator;
    close(indicator.graduation, 2.54);
    close(indicator.read_step, 0.508);
    close(indicator.error_limit, 2.54);
    close(indicator.error_travel, 50.8);
    is_rectangular(indicator.hysteresis, 0.0, 2.54 / 3.0);
    close(indicator.repeatability, 0.508);
    assert_eq!(indicator.repeatability_dof, f64::INFINITY);
    close(indicator.zero_shift, 0.1);
    is_rectangular(indicator.contact_angle, 0.0, 20.0);
    assert!(!indicator.one_sided_approach && !indicator.cosine_corrected);

    let block = &setup.check.gauge_block;
    assert_eq!((block.length, block.face, block.length_variation), (25.4, [9.0, 35.0], 0.18));
    is_rectangular(block.expansion, 10.5e-6, 12.5e-6);

    let temperature = &setup.check.temperature;
    is_normal(temperature.top_to_bottom, 0.0, 0.2);
    is_rectangular(temperature.column_rate, -0.2, 0.2);
    assert_eq!(temperature.zero_drift, Distribution::Constant { value: 0.0 });
    is_rectangular(temperature.handling, 0.0, 0.3);
    close(temperature.fading, 10.0);

    let cleanliness = &setup.check.cleanliness;
    assert_eq!((cleanliness.film, cleanliness.grain_chance), (0.5, 0.01));
    assert_eq!(cleanliness.grain, Distribution::Lognormal { median: 8.0, spread: 0.4 });

    let wear = wear(&setup);
    let diagonal = length.hypot(width);
    let grade_aa = 2.54; // 100 µin, GGG-P-463c printed table, 24 x 36 in
    is_lognormal(wear.amount, 0.6, 0.9);
    is_depth(wear.middle.depth, 2.0);
    is_normal(wear.middle.x, length / 2.0, 0.08 * length);
    is_normal(wear.middle.y, 0.45 * width, 0.08 * width);
    is_rectangular(wear.middle.half_length, 0.15 * length, 0.35 * length);
    is_rectangular(wear.middle.half_width, 0.15 * width, 0.35 * width);
    is_depth(wear.front_edge.depth, 1.2);
    is_rectangular(wear.front_edge.reach, 0.05 * width, 0.18 * width);
    is_normal(wear.front_edge.x, length / 2.0, 0.1 * length);
    is_rectangular(wear.front_edge.half_length, 0.15 * length, 0.4 * length);
    let chances: Vec<f64> = wear.dips.iter().map(|dip| dip.chance).collect();
    assert_eq!(chances, [0.25, 0.2, 0.2, 0.2, 0.2]);
    let radii = [(0.05, 0.15), (0.04, 0.12), (0.05, 0.2), (0.05, 0.2), (0.05, 0.2)];
    for (dip, (low, high)) in wear.dips.iter().zip(radii) {
        is_depth(dip.depth, 3.0);
        is_rectangular(dip.radius, low * width, high * width);
    }
    let DipPlace::Corner { corner: None, from_end, from_side } = wear.dips[0].place else {
        panic!("a corner")
    };
    is_rectangular(from_end, 0.0, 0.3 * width);
    is_rectangular(from_side, 0.0, 0.3 * width);
    let DipPlace::Near { spots, off } = &wear.dips[1].place else { panic!("under the feet") };
    assert_eq!(*spots, setup.check.survey.readings[0].feet);
    is_normal(*off, 0.0, 15.0);
    for (dip, share) in wear.dips[2..].iter().zip([0.3, 1.0, 1.0]) {
        let DipPlace::Anywhere { x, y } = dip.place else { panic!("anywhere") };
        is_rectangular(x, 0.0, length);
        is_rectangular(y, 0.0, share * width);
    }
    is_normal(wear.twist, 0.0, 0.2 * grade_aa);
    is_lognormal(wear.long_wave.standard_deviation, 0.15 * grade_aa, 1.0);
    is_rectangular(wear.long_wave.correlation_length, 0.15 * diagonal, 0.65 * diagonal);
    is_lognormal(wear.waviness.standard_deviation, 0.14, 0.6);
    is_rectangular(wear.waviness.correlation_length, 0.14 * width, 0.22 * width);

    let plan = &setup.plan;
    assert_eq!((plan.stand_use, plan.passes, plan.zeroing), (StandUse::Parked, 1, Zeroing::Once));
    assert_eq!((plan.closing_reading, plan.drift_corrected), (true, false));
    assert_eq!((plan.minutes_per_reading, plan.minutes_per_move), (1.0, 1.0));
    let targets: Vec<&str> = plan.stations[0].targets.iter().map(|target| target.name.as_str()).collect();
    // The stand stands in the front left corner, which therefore cannot be read.
    assert_eq!(
        targets,
        ["front right", "back right", "back left", "front", "right", "back", "left", "middle"]
    );
}

/// The other two states, with s what grade AA allows the plate (µm).
#[test]
fn states_stand_for_figures() {
    let grade_aa = 2.54; // 100 µin, GGG-P-463c printed table, 24 x 36 in
    let fresh = sound(&with(json!({ "wear": "fresh from lapping", "cleanliness": "wiped each time" })));
    let state = wear(&fresh);
    is_depth(state.middle.depth, 0.15 * grade_aa);
    is_depth(state.front_edge.depth, 0.1 * grade_aa);
    is_depth(state.dips[2].depth, 0.2 * grade_aa);
    close(state.dips[2].chance, 0.08);
    is_normal(state.twist, 0.0, 0.12 * grade_aa);
    is_lognormal(state.long_wave.standard_deviation, 0.11 * grade_aa, 1.0);
    is_lognormal(state.waviness.standard_deviation, 0.07, 0.6);
    assert_eq!((fresh.check.cleanliness.film, fresh.check.cleanliness.grain_chance), (0.15, 0.002));

    let worn = sound(&with(json!({ "wear": { "state": "worn" }, "cleanliness": { "state": "not wiped" } })));
    let state = wear(&worn);
    is_depth(state.middle.depth, 6.0);
    is_depth(state.front_edge.depth, 4.0);
    is_depth(state.dips[0].depth, 6.0);
    close(state.dips[0].chance, 0.5);
    is_normal(state.twist, 0.0, 0.3 * grade_aa);
    is_lognormal(state.long_wave.standard_deviation, 0.25 * grade_aa, 1.0);
    is_lognormal(state.waviness.standard_deviation, 0.25, 0.6);
    assert_eq!((worn.check.cleanliness.film, worn.check.cleanliness.grain_chance), (1.0, 0.05));
}

/// A part that is given holds in place of the state's; the parts beside it stay.
#[test]
fn states_are_overridden_part_by_part() {
    let setup = sound(&with(json!({
        "wear": {
            "state": "worn",
            "middle": { "x": "10 in" },
            "twist": "-1 µm",
            "corner_dips": [{ "corner": "back right", "depth": "200 µin" }]
        },
        "cleanliness": { "film": "0.2 µm" },
        "indicator": { "hysteresis": "0 µm" }
    })));
    let worn = wear(&setup);
    is_depth(worn.middle.depth, 6.0);
    assert_eq!(worn.middle.x, Distribution::Constant { value: 254.0 });
    assert_eq!(worn.twist, Distribution::Constant { value: -1.0 });
    // The list of corner dips is another one; those under the stand and elsewhere stay the state's.
    assert_eq!(worn.dips.len(), 5);
    assert!(matches!(worn.dips[0].place, DipPlace::Corner { corner: Some(Corner::BackRight), .. }));
    assert_eq!(worn.dips[0].chance, 1.0);
    assert_eq!(worn.dips[0].depth, Distribution::Constant { value: 5.08 });
    is_depth(worn.front_edge.depth, 4.0);
    assert_eq!((setup.check.cleanliness.film, setup.check.cleanliness.grain_chance), (0.2, 0.01));
    assert_eq!(setup.check.indicator.hysteresis, Distribution::Constant { value: 0.0 });
    close(setup.check.indicator.error_limit, 2.54);
    let assumed = |field: &str| setup.assumptions.iter().any(|assumption| assumption.field == field);
    assert!(assumed("wear.middle.depth") && assumed("wear.corner_dips[0].radius"));
    assert!(!assumed("wear.middle.x") && !assumed("wear.twist") && !assumed("wear.corner_dips"));
}

/// Every default that was taken is listed, with what was taken, in the order of the fields.
#[test]
fn assumptions_are_listed() {
    let setup = sound(BEGINNER);
    let listed: Vec<String> = setup
        .assumptions
        .iter()
        .map(|Assumption { field, value, .. }| format!("{field} = {value}"))
        .collect();
    let expected = "unit = tenth
plate.thickness = 5.5 in
plate.material = granite
plate.expansion = rectangular, from 4 ppm/K, to 9 ppm/K
plate.margin = 0.98 in
plate.flatness_holds_bow = no
wear.state = in daily use
wear.amount = lognormal, median 0.6, spread 0.9
wear.middle.depth = gamma, mean 2 µm, shape 0.7
wear.middle.x = normal, mean 0.5 of the length, standard deviation 0.08 of the length
wear.middle.y = normal, mean 0.45 of the width, standard deviation 0.08 of the width
wear.middle.half_length = rectangular, from 0.15 of the length, to 0.35 of the length
wear.middle.half_width = rectangular, from 0.15 of the width, to 0.35 of the width
wear.front_edge.depth = gamma, mean 1.2 µm, shape 0.7
wear.front_edge.reach = rectangular, from 0.05 of the width, to 0.18 of the width
wear.front_edge.x = normal, mean 0.5 of the length, standard deviation 0.1 of the length
wear.front_edge.half_length = rectangular, from 0.15 of the length, to 0.4 of the length
wear.corner_dips = 1 of them
wear.corner_dips[].chance = 0.25
wear.corner_dips[].depth = gamma, mean 3 µm, shape 0.7
wear.corner_dips[].radius = rectangular, from 0.05 of the width, to 0.15 of the width
wear.corner_dips[].from_end = rectangular, from 0 of the width, to 0.3 of the width
wear.corner_dips[].from_side = rectangular, from 0 of the width, to 0.3 of the width
wear.stand_dips = 1 of them
wear.stand_dips[].chance = 0.2
wear.stand_dips[].depth = gamma, mean 3 µm, shape 0.7
wear.stand_dips[].radius = rectangular, from 0.04 of the width, to 0.12 of the width
wear.stand_dips[].off = normal, mean 0 mm, standard deviation 15 mm
wear.dips = 3 of them
wear.dips[].chance = 0.2
wear.dips[].depth = gamma, mean 3 µm, shape 0.7
wear.dips[].radius = rectangular, from 0.05 of the width, to 0.2 of the width
wear.dips[].x = rectangular, from 0 of the length, to 1 of the length
wear.dips[].y = rectangular, from 0 of the width, to 0.3 of the width
wear.dips[].y = rectangular, from 0 of the width, to 1 of the width
wear.twist = normal, mean 0 µm, standard deviation 0.2 of grade AA (0.2 tenths)
wear.long_wave.standard_deviation = lognormal, median 0.15 of grade AA (0.15 tenths), spread 1
wear.long_wave.correlation_length = rectangular, from 0.15 of the diagonal, to 0.65 of the diagonal
wear.waviness.standard_deviation = lognormal, median 0.14 µm, spread 0.6
wear.waviness.correlation_length = rectangular, from 0.14 of the width, to 0.22 of the width
stand.feet.front_ahead = 1.33 in
stand.pad_diameter = 10 mm
stand.height = 150 mm
stand.column = steel
stand.column_expansion = rectangular, from 11.3 ppm/K, to 12.3 ppm/K
indicator.read_to = 1/5 graduation
indicator.class = ASME B89.1.10M
indicator.error_limit = 1 graduation
indicator.error_travel = 20 graduations
indicator.travel = 400 graduations
indicator.hysteresis = rectangular, from 0 graduation, to 1/3 graduation
indicator.approach = either side
indicator.repeatability = 1/5 graduation
indicator.zero_shift = 0.1 µm
indicator.contact_angle = rectangular, from 0°, to 20°
indicator.cosine_corrected = no
gauge_block.length = 1 in
gauge_block.face = 9 mm x 35 mm
gauge_block.grade = 1
gauge_block.material = gauge block steel
gauge_block.expansion = rectangular, from 10.5 ppm/K, to 12.5 ppm/K
temperature.top_to_bottom = normal, mean 0 K, standard deviation 0.2 K
temperature.column_rate = rectangular, from -0.2 K/h, to 0.2 K/h
temperature.zero_drift = 0 µm/h
temperature.handling = rectangular, from 0 K, to 0.3 K
temperature.fading = 10 min
cleanliness.state = wiped once
cleanliness.film = 0.5 µm
cleanliness.grain_chance = 0.01
cleanliness.grain = lognormal, median 8 µm, spread 0.4
survey.stand = parked
survey.from = front left
survey.heading = 33°
survey.pattern = corners, edges and middle
survey.passes = 1
survey.zeroing = once
survey.closing_reading = yes
survey.correct_drift = no
survey.time_per_reading = 1 min
survey.time_per_move = 1 min
decision.consumer_risk = 0.05";
    assert_eq!(listed.join("\n"), expected);
    assert!(setup.assumptions.iter().all(|assumption| !assumption.why.is_empty()));
}

/// One thing wrong at a time: what is said of it, word for word.
#[test]
fn faults_name_the_place_and_the_remedy() {
    let plate =
        |member: &str| BEGINNER.replace(r#""width": "24 in""#, &format!(r#""width": "24 in", {member}"#));
    let survey = |members: &str| {
        BEGINNER.replace(r#"  "indicator""#, &format!(r#"  "survey": {{ {members} }},{}  "indicator""#, "\n"))
    };
    let cases = [
        // The text.
        (String::new(), "line 1, column 1: the setup is empty, but must be a JSON object; run `howflat new` for a file to begin with"),
        ("[]".into(), "line 1, column 1: the setup is [], but must be an object with plate, stand and indicator; write { \"plate\": { \"length\": \"24 in\", \"width\": \"24 in\" }, \"stand\": { \"feet\": {\"front_apart\":\"3 in\",\"front_to_rear\":\"4 in\"} }, \"indicator\": { \"graduation\": \"0.0001 in\" } }"),
        (BEGINNER.replace("\"36 in\",", "\"36 in\""), "line 3, column 22: the setup is not JSON here (expected comma), but must be strict JSON: names and texts in double quotes, a comma between members and none after the last, no comments; mend the text at this place or just before it"),
        (BEGINNER.replace("\"width\"", "// wide\n\"width\""), "line 4, column 5: the setup is not JSON here (comments are not allowed), but must be strict JSON: names and texts in double quotes, a comma between members and none after the last, no comments; mend the text at this place or just before it"),
        (plate(r#""width": "20 in""#), "line 4, column 23: plate.width is written twice, but must be written once; keep this one or the one on line 4"),
        // Names.
        (BEGINNER.replace("\"width\"", "\"widht\""), "line 4, column 5: plate.widht is an unknown field, but must be one of length, width, thickness, material, expansion, margin, grade, tolerance or flatness_holds_bow; write \"width\""),
        (plate(r#""pad_diameter": "10 mm""#), "line 4, column 23: plate.pad_diameter is an unknown field, but must be one of length, width, thickness, material, expansion, margin, grade, tolerance or flatness_holds_bow; write it as stand.pad_diameter"),
        (plate(r#""colour": "black""#), "line 4, column 23: plate.colour is an unknown field, but must be one of length, width, thickness, material, expansion, margin, grade, tolerance or flatness_holds_bow; remove it"),
        // Quantities.
        (BEGINNER.replace("\"36 in\"", "36"), "line 3, column 15: plate.length is 36, but must be a length from 100 mm to 10 m; write \"36 in\" or \"36 mm\""),
        (BEGINNER.replace("36 in", "36"), "line 3, column 15: plate.length is \"36\", but must be a length from 100 mm to 10 m; write \"36 in\" or \"36 mm\""),
        (BEGINNER.replace("36 in", "36 inchs"), "line 3, column 15: plate.length is \"36 inchs\", but must be a length from 100 mm to 10 m; write one of the units nm, µm, mm, cm, m, µin, tenth, thou, in or ft"),
        (BEGINNER.replace("36 in", "36 K"), "line 3, column 15: plate.length is \"36 K\", but must be a length from 100 mm to 10 m; `K` is a temperature difference; write 36 mm, 36 µm, 36 in or 36 tenths"),
        (BEGINNER.replace("36 in", "36 ft"), "line 3, column 15: plate.length is \"36 ft\", but must be a length from 100 mm to 10 m; check the number and its unit"),
        (BEGINNER.replace("\"36 in\"", "null"), "line 3, column 15: plate.length is null, but must be a length from 100 mm to 10 m; write \"24 in\""),
        (BEGINNER.replace("\"36 in\"", "\"0.5 of the width\""), "line 3, column 15: plate.length is \"0.5 of the width\", but must be a length from 100 mm to 10 m; write \"24 in\""),
        (BEGINNER.replace("0.0001 in\"", "0.0001 in\", \"read_to\": 0.2"), "line 9, column 56: indicator.read_to is 0.2, but must be a length from 0.001 µm to 100 µm, or a share such as \"1/5 graduation\"; write \"0.2 graduation\", \"0.2 µin\" or \"0.2 µm\""),
        (BEGINNER.replace("0.0001 in\"", "0.0001 in\", \"read_to\": \"1/5\""), "line 9, column 56: indicator.read_to is \"1/5\", but must be a length from 0.001 µm to 100 µm, or a share such as \"1/5 graduation\"; write \"1/5 graduation\""),
        (BEGINNER.replace("0.0001 in\"", "0.0001 in\", \"read_to\": \"50 graduations\""), "line 9, column 56: indicator.read_to is \"50 graduations\" (127 µm), but must be a length from 0.001 µm to 100 µm, or a share such as \"1/5 graduation\"; check the number and its unit"),
        // Distributions.
        (plate(r#""expansion": { "normal": { "mean": "6 ppm/K" } }"#), "line 4, column 48: plate.expansion.normal.standard_deviation is missing, but must be an expansion coefficient with its unit; add \"standard_deviation\": \"6.5 ppm/K\""),
        (plate(r#""expansion": { "rectangular": { "from": "6 ppm/K", "to": "5 ppm/K" } }"#), "line 4, column 36: plate.expansion is {\"rectangular\":{\"from\":\"6 ppm/K\",\"to\":\"5 ppm/K\"}}, but must be limits of which the first is below the second; write the smaller limit first, or a single value for a quantity that is known"),
        (plate(r#""expansion": { "normall": { "mean": "6 ppm/K" } }"#), "line 4, column 38: plate.expansion.normall is not known, but must be one of \"normal\", \"rectangular\", \"inexact_rectangular\", \"trapezoidal\", \"triangular\", \"arc_sine\", \"student_t\", \"exponential\", \"gamma\", \"lognormal\" or \"readings\"; write \"normal\""),
        (plate(r#""expansion": "60 ppm/K""#), "line 4, column 36: plate.expansion is \"60 ppm/K\", but must be an expansion coefficient from 0 /K to 30 ppm/K, or a distribution; check the numbers and their units"),
        (plate(r#""expansion": { "normal": { "mean": "6 ppm/K", "standard_deviation": "-1 ppm/K" } }"#), "line 4, column 36: plate.expansion is {\"normal\":{\"mean\":\"6 ppm/K\",\"standard_deviation\":\"-1 ppm/K\"}}, but must be a distribution with its standard deviation at least 0; write it without the sign"),
        (plate(r#""expansion": { "readings": { "unit": "ppm/K", "values": [6, 7, 6] } }"#), "line 4, column 79: plate.expansion.readings.values is a list of 3, but must be a list of 4 to 500, each a number from -1000000 to 1000000; write [0,1,0,-1]"),
        (
            BEGINNER.replace(r#"  "stand""#, "  \"temperature\": { \"handling\": { \"rectangular\": { \"from\": \"0 K\" } } },\n  \"stand\""),
            "line 6, column 49: temperature.handling.rectangular.to is missing, but must be a temperature difference with its unit; add \"to\": \"0.2 K\"",
        ),
        // Choices and numbers.
        (plate(r#""material": "granit""#), "line 4, column 35: plate.material is \"granit\", but must be one of \"granite\", \"black granite\", \"cast iron\", \"steel\", \"gauge block steel\", \"aluminium\", \"tungsten carbide\", \"zirconia\" or \"invar\"; write \"granite\""),
        (plate(r#""flatness_holds_bow": "no""#), "line 4, column 45: plate.flatness_holds_bow is \"no\", but must be true or false; write false"),
        (survey(r#""passes": 2.5"#), "line 9, column 25: survey.passes is 2.5, but must be a whole number from 1 to 50; write 1"),
        (survey(r#""from": "front lefft""#), "line 9, column 23: survey.from is \"front lefft\", but must be one of \"front left\", \"front right\", \"back right\", \"back left\", \"front\", \"right\", \"back\", \"left\" or \"middle\"; write \"front left\""),
        // Things that do not go together.
        (plate(r#""grade": "US A", "tolerance": "5 µm""#), "line 4, column 40: plate.tolerance is given beside grade, but must be given instead of grade, or not at all; keep \"grade\" or \"tolerance\" and remove the other"),
        (BEGINNER.replace("24 in", "40 in"), "line 4, column 14: plate.width is 40 in, but must be at most the length, 36 in; write the longer side as length"),
        (plate(r#""margin": "7 in""#), "line 4, column 33: plate.margin is 7 in, but must be at most a quarter of the width, 6 in; write the strip that is left out along one edge"),
        (BEGINNER.replace("24 in", "20 in\", \"grade\": \"US A, printed table"), "line 4, column 32: plate.grade is \"US A, printed table\", but must be a grade that is defined for 36 x 20 in; write \"US A\" or \"US A, formula\""),
        (BEGINNER.replace("0.0001 in\"", "0.001 mm\", \"class\": \"DIN 2270, lever, 0.002 mm\""), "line 9, column 53: indicator.class is \"DIN 2270, lever, 0.002 mm\", but must be a class for a graduation of 0.001 mm; leave it out, or give error_limit, hysteresis and repeatability"),
        (survey(r#""reach": "4 in""#), "line 9, column 24: survey.reach is given, but must be left out where the stand is parked; write the limits of the stand's reach as stand.reach"),
        (survey(r#""stand": "carried", "from": "back""#), "line 9, column 43: survey.from is given, but must be left out where the stand is carried; remove it: a carried stand goes wherever the block goes"),
        (survey(r#""stand": "turned", "heading": "0°""#), "line 9, column 45: survey.heading is given, but must be left out where the stand is turned; remove it: a turned stand points at its target"),
        (survey(r#""correct_drift": true, "closing_reading": false"#), "line 9, column 32: survey.correct_drift is true, but must be false without a closing reading; write \"closing_reading\": true, which shows the drift"),
        (survey(r#""passes": 50, "pattern": { "rows": 4, "columns": 4 }"#), "line 9, column 13: survey is 15 spots in 50 passes, but must be at most 500 readings; write fewer passes or targets"),
        // What cannot be done.
        (BEGINNER.replace(r#"{ "front_apart": "3 in", "front_to_rear": "4 in" }"#, r#"[["1 in", "0 in"], ["2 in", "0 in"], ["3 in", "0 in"]]"#), "line 7, column 13: stand.feet is on one line, but must be three feet that are not on one line; write feet that form a triangle"),
        (survey(r#""from": ["1 in", "1 in"], "pattern": "corners and middle""#), "line 9, column 13: survey: placement \"1 x 1 in\" is impossible with foot 3 at -1.24 x -0.45 in, but must be such that every pad is on the plate, which is 36 x 24 in; move the stand further onto the plate"),
        (survey(r#""placements": [{ "name": "door side", "at": "left", "targets": [{ "at": ["40 in", "2 in"] }, { "at": ["0.2 in", "23 in"] }, { "name": "dial", "at": "middle" }] }]"#), "line 9, column 79: survey: placement \"door side\", target \"40 x 2 in\" is at 40 x 2 in, but must be on the plate, which is 36 x 24 in; write a place on the plate, counted from its front left corner\nline 9, column 108: survey: placement \"door side\", target \"0.2 x 23 in\" is at 0.2 x 23 in, but must be at least 0.69 in from every edge, half the longer side of the block's face; move the target inwards"),
        (survey(r#""stand": "turned", "pattern": "corners""#).replace(r#""4 in" }"#, r#""4 in" }, "reach": { "longest": "33 in" }"#), "line 7, column 87: stand.reach.longest is 33 in, but must be at least 37.67 in, for so far is \"back right\" from the column at \"front left\"; write the reach that it has, or put the stand where less is needed, as with \"survey\": { \"from\": \"front\" }"),
        (survey(r#""placements": [{ "targets": [{ "at": "back" }, { "at": "middle" }] }]"#), "line 9, column 30: survey.placements[0].at is missing, but must be where the column of the parked stand is; add \"at\": \"front left\" or [\"4 in\", \"4 in\"]"),
        // Maps.
        (BEGINNER.replace(r#"  "stand""#, "  \"wear\": { \"map\": { \"file\": \"bad.csv\", \"standard_uncertainty\": \"5 µin\" } },\n  \"stand\""), "line 6, column 30: wear.map.file is `bad.csv`, line 2: z `zero`, but must be a number; write a number without a unit; its unit stands in the first line\nline 6, column 30: wear.map.file is `bad.csv`, line 3: at 1016 x 50.8 mm, but must be on the plate, x from 0 to 914.4 mm and y from 0 to 609.6 mm; count x and y from the front left corner, in the units of the first line"),
        (BEGINNER.replace(r#"  "stand""#, "  \"wear\": { \"map\": { \"file\": \"none.csv\", \"standard_uncertainty\": \"5 µin\" } },\n  \"stand\""), "line 6, column 30: wear.map.file is `none.csv`, which cannot be read (no such file), but must be a file that can be read; write its name as seen from the setup's folder"),
        (BEGINNER.replace(r#"  "stand""#, "  \"wear\": { \"twist\": \"1 µm\", \"map\": { \"file\": \"map.csv\", \"standard_uncertainty\": \"5 µin\" } },\n  \"stand\""), "line 6, column 30: wear.map is given beside twist, but must be given instead of twist, or not at all; keep \"twist\" or \"map\" and remove the other"),
    ];
    let mut wrong = Vec::new();
    for (text, expected) in cases {
        let found = read(&text).map_or_else(|faults| said(&faults).join("\n"), |_| "accepted".into());
        if found != expected {
            wrong.push(format!("{text}\n  gives    {found}\n  and not  {expected}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Every family, in a field that takes any of them, against the distribution it describes (JCGM
/// 101:2008, table 1).
#[test]
fn every_family_of_distributions() {
    let reading_mean = (0.1 + 0.3 + 0.2 + 0.2) / 4.0;
    let deviation = (2.0_f64 * 0.01 / 3.0).sqrt();
    let cases = [
        (json!("0.2 K"), Distribution::constant(0.2)),
        (
            json!({ "normal": { "mean": "0.9 °F", "standard_deviation": "0.1 K" } }),
            Distribution::normal(0.5, 0.1),
        ),
        (
            json!({ "rectangular": { "from": "-0.1 K", "to": "0.3 °C" } }),
            Distribution::rectangular(-0.1, 0.3),
        ),
        (
            json!({ "rectangular": { "centre": "0.5 K", "half_width": "0.25 K" } }),
            Distribution::rectangular(0.25, 0.75),
        ),
        (
            json!({ "inexact_rectangular": { "from": "0 K", "to": "1 K", "limits_within": "0.25 K" } }),
            Distribution::inexact_rectangular(0.0, 1.0, 0.25),
        ),
        (
            json!({ "trapezoidal": { "from": "0 K", "to": "1 K", "top_to_base": 0.5 } }),
            Distribution::trapezoidal(0.0, 1.0, 0.5),
        ),
        (json!({ "triangular": { "from": "0 K", "to": "1 K" } }), Distribution::triangular(0.0, 1.0)),
        (
            json!({ "arc_sine": { "centre": "0 K", "half_width": "0.5 K" } }),
            Distribution::arc_sine(-0.5, 0.5),
        ),
        (
            json!({ "student_t": { "mean": "0 K", "scale": "0.1 K", "degrees_of_freedom": 5 } }),
            Distribution::student_t(0.0, 0.1, 5.0),
        ),
        (json!({ "exponential": { "mean": "0.1 K" } }), Distribution::exponential(0.1)),
        (json!({ "gamma": { "mean": "0.5 K", "shape": 2 } }), Distribution::gamma(2.0, 0.25)),
        (json!({ "lognormal": { "median": "0.1 K", "spread": 0.5 } }), Distribution::lognormal(0.1, 0.5)),
        (
            json!({ "readings": { "unit": "K", "values": [0.1, 0.3, 0.2, 0.2] } }),
            Distribution::student_t(reading_mean, deviation / 2.0, 3.0),
        ),
    ];
    for (written, expected) in cases {
        let setup = sound(&with(json!({ "temperature": { "handling": written } })));
        let (found, expected) = (setup.check.temperature.handling, expected.unwrap());
        assert_eq!(std::mem::discriminant(&found), std::mem::discriminant(&expected), "{written}");
        for p in [0.01, 0.3, 0.5, 0.9] {
            close(found.quantile(p), expected.quantile(p));
        }
    }
}

#[test]
fn repeatability_in_three_ways() {
    let of = |written: Value| {
        let indicator = sound(&with(json!({ "indicator": { "repeatability": written } }))).check.indicator;
        (indicator.repeatability, indicator.repeatability_dof)
    };
    assert_eq!(of(json!("0.5 µm")), (0.5, f64::INFINITY));
    assert_eq!(of(json!({ "standard_deviation": "20 µin", "degrees_of_freedom": 9 })), (0.508, 9.0));
    let (deviation, dof) = of(json!({ "readings": { "unit": "tenths", "values": [0, 1, 0, -1] } }));
    close(deviation, 2.54 * (2.0_f64 / 3.0).sqrt());
    close(dof, 3.0);
}

/// The same setup in inches and in millimetres is the same check.
#[test]
fn inches_and_millimetres_agree() {
    let inches = r#"{
      "plate": { "length": "36 in", "width": "24 in", "thickness": "6 in", "margin": "1 in", "tolerance": "200 µin" },
      "wear": { "state": "worn", "middle": { "depth": "0.0002 in", "x": "15 in" }, "twist": "1 tenth" },
      "stand": {
        "feet": [["1.5 in", "1.25 in"], ["1.5 in", "-1.25 in"], ["-2 in", "0 in"]],
        "pad_diameter": "0.5 in", "reach": { "longest": "40 in" }, "height": "8 in", "column_expansion": "6.5 µin/in/°F"
      },
      "indicator": { "graduation": "0.0001 in", "read_to": "20 µin", "zero_shift": "0.04 graduation" },
      "gauge_block": { "length": "1 in", "face": ["0.375 in", "1.375 in"], "length_variation": "5 µin" },
      "temperature": { "top_to_bottom": { "rectangular": { "from": "-0.36 °F", "to": "0.9 °F" } }, "column_rate": "0.18 °F/h",
        "zero_drift": "10 µin/h", "fading": "600 s" },
      "survey": { "placements": [{ "name": "A", "at": ["4 in", "5 in"], "heading": "30°",
        "targets": [{ "name": "1", "at": ["20 in", "10 in"] }, { "name": "2", "at": "back right" }] }] }
    }"#;
    let pairs = [
        ("36 in", "914.4 mm"),
        ("24 in", "0.6096 m"),
        ("\"6 in", "\"15.24 cm"),
        ("1.5 in", "38.1 mm"),
        ("1.25 in", "31.75 mm"),
        ("-2 in", "-50.8 mm"),
        ("\"0 in", "\"0 mm"),
        ("0.5 in", "12.7 mm"),
        ("40 in", "1016 mm"),
        ("8 in", "203.2 mm"),
        ("6.5 µin/in/°F", "11.7e-6 /K"),
        ("0.0001 in", "0.00254 mm"),
        ("20 µin", "0.508 µm"),
        ("0.04 graduation", "101.6 nm"),
        ("0.375 in", "9.525 mm"),
        ("1.375 in", "34.925 mm"),
        ("\"5 µin", "\"127 nm"),
        ("-0.36 °F", "-0.2 K"),
        ("0.9 °F", "0.5 °C"),
        ("0.18 °F/h", "0.1 K/h"),
        ("10 µin/h", "0.254 µm/h"),
        ("600 s", "10 min"),
        ("0.0002 in", "5.08 µm"),
        ("\"15 in", "\"381 mm"),
        ("1 tenth", "2.54 um"),
        ("200 µin", "5.08 µm"),
        ("\"4 in", "\"101.6 mm"),
        ("\"5 in", "\"127 mm"),
        ("\"20 in", "\"508 mm"),
        ("\"10 in", "\"254 mm"),
        ("\"1 in", "\"25.4 mm"),
    ];
    let mut metric = inches.to_owned();
    for (inch, millimetre) in pairs {
        assert!(metric.contains(inch), "{inch}");
        metric = metric.replace(inch, millimetre);
    }
    assert!(!metric.contains(" in\"") && !metric.contains("µin"), "{metric}");
    let (inches, metric) = (sound(inches), sound(&metric));
    assert_eq!((inches.unit, inches.plan_unit), (TENTH, INCH));
    assert_eq!((metric.unit, metric.plan_unit), (MICROMETRE, MILLIMETRE));
    assert_ne!(inches.digest, metric.digest);
    same_numbers(&format!("{:?}", inches.check), &format!("{:?}", metric.check));
    close(inches.tolerance.unwrap().value, metric.tolerance.unwrap().value);
}

/// Compares two texts, and the numbers in them to rounding.
#[track_caller]
fn same_numbers(a: &str, b: &str) {
    let parts = |text: &str| -> Vec<String> {
        text.split(|c: char| c.is_whitespace() || ",:{}[]()".contains(c)).map(str::to_owned).collect()
    };
    let (a, b) = (parts(a), parts(b));
    assert_eq!(a.len(), b.len());
    for (a, b) in a.iter().zip(&b) {
        match (a.parse::<f64>(), b.parse::<f64>()) {
            (Ok(a), Ok(b)) if a.is_finite() => {
                assert!((a - b).abs() <= 1e-12 * a.abs().max(1.0), "{a} is not {b}")
            }
            _ => assert_eq!(a, b),
        }
    }
}

/// All members of all objects the other way round.
fn reversed(value: &Value) -> Value {
    match value {
        Value::Array(items) => items.iter().map(reversed).collect(),
        Value::Object(members) => members
            .iter()
            .rev()
            .map(|(name, value)| (name.clone(), reversed(value)))
            .collect::<Map<_, _>>()
            .into(),
        other => other.clone(),
    }
}

#[test]
fn order_and_spaces_do_not_matter() {
    for (name, text) in shipped() {
        let written: Value = serde_json::from_str(&text).unwrap();
        let turned = serde_json::to_string(&reversed(&written)).unwrap();
        assert_ne!(turned, text);
        let (a, b) = (sound_file(&name, &text), sound_file(&name, &turned));
        assert_eq!(a, b, "{name}");
        assert_eq!(a.digest.len(), 64);
    }
}

/// Setups and maps that say different things have different digests.
#[test]
fn digests_tell_setups_apart() {
    let mapped =
        |file: &str| with(json!({ "wear": { "map": { "file": file, "standard_uncertainty": "5 µin" } } }));
    let load = |text: &'static str| move |_: &str| Ok(text.to_owned());
    let a = Setup::read(&mapped("map.csv"), &load(MAP)).unwrap();
    let other: &'static str = "x (in), y (in), z (µin)\n2,2,0\n34,2,-20\n2,22,10\n34,22,-40\n18,12,-121\n";
    let b = Setup::read(&mapped("map.csv"), &load(other)).unwrap();
    assert_ne!(a.digest, b.digest);
    assert_ne!(sound(BEGINNER).digest, sound(&BEGINNER.replace("24 in", "23 in")).digest);
    let Surface::Measured(map) = a.check.surface else { panic!("no map") };
    assert_eq!(map.points.len(), 5);
    close(map.points[4][2], -120.0 * 0.0254);
    close(map.standard_uncertainty, 0.127);
    is_lognormal(map.waviness.standard_deviation, 0.14, 0.6);
}

fn shipped() -> Vec<(String, String)> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("budgets");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|extension| extension == "json"));
    files.sort();
    files
        .into_iter()
        .map(|path| (path.display().to_string(), std::fs::read_to_string(path).unwrap()))
        // Beside them lie formula models, which are another kind of file.
        .filter(|(_, text)| !text.contains("\"measurands\""))
        .collect()
}

#[track_caller]
fn sound_file(name: &str, text: &str) -> Setup {
    let folder = std::path::Path::new(name).parent().unwrap();
    Setup::read(text, &|file| std::fs::read_to_string(folder.join(file)).map_err(|error| error.to_string()))
        .unwrap_or_else(|faults| panic!("{name}:\n{}", said(&faults).join("\n")))
}

#[test]
fn shipped_setups_are_sound() {
    let setups: Vec<Setup> = shipped().iter().map(|(name, text)| sound_file(name, text)).collect();
    assert!(setups.len() >= 6);
    for setup in &setups {
        assert!(setup.tolerance.is_some(), "{}", setup.title);
        assert_eq!(setups.iter().filter(|other| other.title == setup.title).count(), 1, "{}", setup.title);
    }
    for stand_use in StandUse::ALL {
        assert!(setups.iter().any(|setup| setup.plan.stand_use == stand_use));
    }
}

/// Writing all defaults out changes nothing but the list of what was taken for granted.
#[test]
fn defaults_written_out_are_the_defaults() {
    let schema = schema();
    let Value::Object(members) = written_out(&schema, &schema) else { panic!("no object") };
    let (short, long) = (sound(BEGINNER), sound(&with(members.into())));
    assert_eq!(short.check, long.check);
    assert_eq!(short.plan, long.plan);
    let stated: Vec<&str> = long.assumptions.iter().map(|assumption| assumption.field.as_str()).collect();
    assert!(stated.contains(&"wear.middle.depth") && stated.contains(&"survey.zeroing"), "{stated:?}");
    assert!(!stated.contains(&"stand.height") && !stated.contains(&"indicator.class"), "{stated:?}");
}

/// What a schema says about the fields of a record, references resolved.
fn properties<'a>(schema: &'a Value, root: &'a Value) -> Option<(&'a Value, &'a Map<String, Value>)> {
    if let Some(reference) = schema.get("$ref").and_then(Value::as_str) {
        return properties(root.pointer(&reference[1..]).unwrap(), root);
    }
    if let Some(Value::Array(forms)) = schema.get("anyOf") {
        return forms.iter().find_map(|form| properties(form, root));
    }
    Some((schema, schema.get("properties")?.as_object()?))
}

fn written_out(schema: &Value, root: &Value) -> Value {
    let (_, properties) = properties(schema, root).unwrap();
    let mut members = Map::new();
    for (name, property) in properties {
        match property.get("default") {
            Some(Value::Object(nested)) if nested.is_empty() => {
                members.insert(name.clone(), written_out(property, root));
            }
            Some(default) => {
                members.insert(name.clone(), default.clone());
            }
            None if self::properties(property, root)
                .is_some_and(|(record, _)| record.get("x-uncertain").is_none()) =>
            {
                let nested = written_out(property, root);
                if nested != json!({}) {
                    members.insert(name.clone(), nested);
                }
            }
            None => {}
        }
    }
    members.into()
}

/// Every field is described, and every field that the reader takes something for is in the schema.
#[test]
fn the_schema_describes_every_field() {
    let schema = schema();
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    let mut described = 0;
    for record in schema["$defs"].as_object().unwrap().values().chain([&schema]) {
        let Some((record, fields)) = properties(record, &schema) else { continue };
        assert_eq!(record["additionalProperties"], false);
        for (name, field) in fields {
            let about = field["description"].as_str().unwrap_or_default();
            assert!(about.len() > 10 && about.ends_with('.'), "{name}: {about}");
            described += 1;
        }
    }
    assert!(described > 80, "{described}");
    for (name, text) in shipped() {
        for assumption in sound_file(&name, &text).assumptions {
            let mut record = &schema;
            for step in assumption.field.split('.') {
                let step = step.split('[').next().unwrap();
                let (_, fields) = properties(record, &schema).unwrap();
                record = fields.get(step).unwrap_or_else(|| panic!("{}", assumption.field));
                if let Some(items) = record.get("items") {
                    record = items;
                }
            }
        }
    }
}

#[test]
fn a_starter_is_sound() {
    let answers = [
        ("title", "Bench by the window"),
        ("length", "1000 mm"),
        ("width", "630 mm"),
        ("thickness", "150 mm"),
        ("material", "cast iron"),
        ("grade", "ISO 8512 grade 1"),
        ("state", "worn"),
        ("front-apart", "90 mm"),
        ("front-to-rear", "100 mm"),
        ("longest-reach", "300 mm"),
        ("graduation", "0.002 mm"),
        ("stand", "carried"),
        ("cleanliness", "wiped each time"),
    ];
    let starter = |answers: &[(&str, &str)]| {
        answers
            .iter()
            .fold(Starter::default(), |starter, (option, answer)| starter.with(option, Some(answer)))
    };
    let text = starter(&answers).setup().unwrap();
    let setup = sound(&text);
    assert_eq!(setup.title, "Bench by the window");
    assert_eq!(setup.plan.stand_use, StandUse::Carried);
    close(setup.check.plate.margin, 12.6);
    close(setup.tolerance.unwrap().value, 12.0);
    is_depth(wear(&sound(&text)).middle.depth, 6.0);
    let few: Vec<(&str, &str)> = answers
        .into_iter()
        .filter(|(option, _)| {
            ["length", "width", "front-apart", "front-to-rear", "graduation"].contains(option)
        })
        .collect();
    let text = starter(&few).setup().unwrap();
    assert_eq!(sound(&text).check.plate.length, 1000.0);
    assert!(text.lines().count() <= 16 && text.ends_with("}\n"), "{text}");
    let bare: Vec<(&str, &str)> =
        few.iter().map(|(o, a)| (*o, if *a == "90 mm" { "90" } else { *a })).collect();
    assert_eq!(starter(&bare).setup().unwrap_err()[0].field, "stand.feet.front_apart");
}

/// At a named place a stand has its pads on the plate with 5 mm to spare, and no more than it needs.
#[test]
fn named_places_are_as_near_as_feet_allow() {
    for stand_use in ["parked", "turned"] {
        for (place, corner) in [
            ("front left", [0.0, 0.0]),
            ("front right", [914.4, 0.0]),
            ("back right", [914.4, 609.6]),
            ("back left", [0.0, 609.6]),
        ] {
            let setup = sound(&with(json!({ "survey": { "stand": stand_use, "from": place } })));
            let feet = setup.check.survey.readings.iter().flat_map(|reading| reading.feet);
            for axis in 0..2 {
                let gap =
                    feet.clone().map(|foot| (foot[axis] - corner[axis]).abs()).fold(f64::INFINITY, f64::min)
                        - 5.0;
                assert!(gap >= 5.0 - 1e-6, "{place} {stand_use}: {gap}");
                // Turned, some direction that is not used may be the one that needs the room.
                assert!(stand_use == "turned" || gap < 5.0 + 1e-6, "{place} {stand_use}: {gap}");
            }
            let own = setup.check.survey.spots.iter().any(|spot| spot.target == place);
            assert!(!own, "{place} is under the stand");
            assert_eq!(setup.check.survey.spots.len(), 8);
        }
    }
    let setup = sound(&with(json!({ "survey": { "from": ["front left", "back right"] } })));
    assert_eq!((setup.plan.stations.len(), setup.plan.zeroing), (2, Zeroing::EachStation));
    // Parked in the middle, it covers the middle.
    let setup = sound(&with(json!({ "survey": { "from": "middle" } })));
    assert_eq!(setup.plan.stations[0].at, [457.2, 304.8]);
    assert!(setup.check.survey.spots.iter().all(|spot| spot.target != "middle"));
}

/// A carried stand's pattern fills what its feet leave it, for each heading.
#[test]
fn carried_patterns_keep_the_feet_on_the_plate() {
    let setup = sound(&with(json!({
        "survey": { "stand": "carried", "headings": ["0°", "90°", "45°"], "pattern": { "rows": 3, "columns": 4 } }
    })));
    // Zeroed anew, each heading would hide its bow.
    assert_eq!(setup.plan.zeroing, Zeroing::Once);
    assert_eq!(setup.plan.stations.len(), 3);
    close(setup.plan.carried_reach, 101.6 / 3.0 + 80.0);
    let survey = &setup.check.survey;
    assert_eq!(survey.spots.len(), 36);
    let first = &setup.plan.stations[0].targets;
    // Heading 0°: the rear foot is 80 + 101.6 mm behind the tip; pad and room are 10 mm.
    close(first[0].at[0], 191.6);
    close(first[3].at[0], 914.4 - 25.0);
    close(first[0].at[1], 38.1 + 10.0);
    let nearest = survey
        .readings
        .iter()
        .flat_map(|reading| reading.feet)
        .map(|[x, y]| x.min(y).min(914.4 - x).min(609.6 - y));
    assert!((nearest.fold(f64::INFINITY, f64::min) - 10.0).abs() < 1e-6);
}

#[test]
fn placements_by_hand() {
    let setup = sound(&with(json!({
        "survey": {
            "zeroing": "once",
            "passes": 3,
            "placements": [
                { "at": "front left", "targets": [{ "at": "back right" }, { "name": "dial", "at": ["18 in", "12 in"] }] },
                { "name": "by the door", "at": ["30 in", "18 in"], "heading": "-90°", "targets": [{ "at": "front right" }] }
            ]
        }
    })));
    let names: Vec<_> =
        setup.check.survey.spots.iter().map(|spot| (spot.station.as_str(), spot.target.as_str())).collect();
    assert_eq!(names, [("front left", "back right"), ("front left", "dial"), ("by the door", "front right")]);
    assert_eq!(setup.plan.stations[1].heading, -90.0);
    assert_eq!((setup.plan.zeroing, setup.check.survey.readings.len()), (Zeroing::Once, 10));
}

/// How many values a JSON value holds, itself among them.
fn size(value: &Value) -> usize {
    1 + match value {
        Value::Array(items) => items.iter().map(size).sum(),
        Value::Object(members) => members.values().map(size).sum(),
        _ => 0,
    }
}

/// Puts `with` in place of the value with the given number, or takes it out.
fn change(value: &mut Value, number: &mut usize, with: &Option<Value>) {
    match value {
        Value::Array(items) => {
            for index in 0..items.len() {
                *number -= 1;
                if *number == 0 {
                    match with {
                        Some(with) => items[index] = with.clone(),
                        None => drop(items.remove(index)),
                    }
                    return;
                }
                change(&mut items[index], number, with);
                if *number == 0 {
                    return;
                }
            }
        }
        Value::Object(members) => {
            let names: Vec<String> = members.keys().cloned().collect();
            for name in names {
                *number -= 1;
                if *number == 0 {
                    match with {
                        Some(with) => members.insert(name, with.clone()),
                        None => members.remove(&name),
                    };
                    return;
                }
                change(&mut members[&name], number, with);
                if *number == 0 {
                    return;
                }
            }
        }
        _ => {}
    }
}

/// All values within a value, itself among them.
fn values<'a>(value: &'a Value, into: &mut Vec<&'a Value>) {
    into.push(value);
    match value {
        Value::Array(items) => items.iter().for_each(|item| values(item, into)),
        Value::Object(members) => members.values().for_each(|member| values(member, into)),
        _ => {}
    }
}

/// Writes the schema, and many setups with what the reader says of them, for `tests/schema.py`, which
/// compares that with a general-purpose JSON Schema validator. The setups are the shipped ones, each
/// with a value or two taken out or replaced by one that is right somewhere else.
#[test]
fn verdicts_for_the_schema() {
    let schema = schema();
    let files: Vec<Value> = shipped().iter().map(|(_, text)| serde_json::from_str(text).unwrap()).collect();
    let mut pool = Vec::new();
    files.iter().for_each(|file| values(file, &mut pool));
    let mut said = Vec::new();
    values(&schema, &mut said);
    for keyword in ["default", "examples", "enum"] {
        said.iter().filter_map(|value| value.get(keyword)).for_each(|value| values(value, &mut pool));
    }
    // Knuth's linear congruential generator: the same setups on every machine.
    let mut state = 1_u64;
    let mut below = |n: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % n
    };
    let mut lines = String::new();
    let mut n_sound = 0;
    for _ in 0..4000 {
        let mut setup = files[below(files.len())].clone();
        for _ in 0..1 + below(2) {
            let with = if below(5) == 0 { None } else { Some(pool[below(pool.len())].clone()) };
            let mut number = 1 + below(size(&setup));
            change(&mut setup, &mut number, &with);
        }
        let sound = Setup::read(&setup.to_string(), &|_| Ok(MAP.into())).is_ok();
        n_sound += usize::from(sound);
        lines += &json!({ "sound": sound, "setup": setup }).to_string();
        lines.push('\n');
    }
    assert!((200..3000).contains(&n_sound), "{n_sound}");
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR"));
    std::fs::write(folder.join("schema.json"), schema.to_string()).unwrap();
    std::fs::write(folder.join("setups.ndjson"), lines).unwrap();
}

fn odd_values() -> impl Strategy<Value = Option<Value>> {
    let texts = prop_oneof![
        "[-+]?[0-9]{1,3}(\\.[0-9]{0,3})?(e[-+]?[0-9]{1,3})? ?(in|mm|µm|µin|K|°|min|K/h|tenths|graduations|/K|of the width)?",
        "\\PC{0,12}",
        proptest::sample::select(vec![
            "worn",
            "turned",
            "carried",
            "corners",
            "front left",
            "US A",
            "1/0 graduation",
            "steel"
        ])
        .prop_map(str::to_owned),
    ];
    prop_oneof![
        Just(None),
        Just(Some(Value::Null)),
        any::<bool>().prop_map(|flag| Some(flag.into())),
        any::<f64>().prop_map(|number| Some(number.into())),
        (-5..600_i64).prop_map(|number| Some(number.into())),
        texts.prop_map(|text| Some(text.into())),
        Just(Some(json!([]))),
        Just(Some(json!({}))),
        Just(Some(json!(["1 in", "2 in"]))),
        Just(Some(json!({ "normal": { "mean": "1 µm", "standard_deviation": "-1 µm" } }))),
        Just(Some(
            json!({ "student_t": { "mean": "1 µm", "scale": "1e300 µm", "degrees_of_freedom": 2.0000001 } })
        )),
        Just(Some(json!({ "rows": 20, "columns": 20 }))),
    ]
}

/// Whatever is read ends in a setup or in faults that say something, at a place that is there.
fn ends_well(text: &str) {
    match read(text) {
        Ok(setup) => {
            assert!(setup.check.survey.readings.len() <= 1000);
            assert!(
                setup
                    .check
                    .survey
                    .readings
                    .iter()
                    .all(|reading| reading.weights.iter().all(|w| w.is_finite()))
            );
        }
        Err(faults) => {
            assert!(!faults.is_empty());
            for fault in faults {
                assert!(
                    !fault.found.is_empty() && !fault.must.is_empty() && !fault.fix.is_empty(),
                    "{fault:?}"
                );
                let lines = text.matches('\n').count() + 1;
                assert!(
                    fault.at.is_none_or(|at| (1..=lines).contains(&at.line) && at.column >= 1),
                    "{fault:?}"
                );
                assert!(!fault.found.contains("not understood"), "{fault}: {text}");
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn changed_setups_end_well(which in any::<prop::sample::Index>(), changes in prop::collection::vec((any::<prop::sample::Index>(), odd_values()), 1..4)) {
        let files = shipped();
        let mut setup: Value = serde_json::from_str(&files[which.index(files.len())].1).unwrap();
        for (place, value) in changes {
            let mut number = 1 + place.index(size(&setup));
            change(&mut setup, &mut number, &value);
        }
        ends_well(&serde_json::to_string_pretty(&setup).unwrap());
    }

    #[test]
    fn changed_texts_end_well(from in any::<prop::sample::Index>(), length in 0..20_usize, put in "\\PC{0,4}|[\\[\\]{}\",:]{0,6}") {
        let characters: Vec<char> = BEGINNER.chars().collect();
        let from = from.index(characters.len());
        let to = (from + length).min(characters.len());
        let text: String = characters[..from].iter().chain(put.chars().collect::<Vec<_>>().iter()).chain(&characters[to..]).collect();
        ends_well(&text);
    }
}

/// Nesting, length and numbers of any size are refused, not choked on.
#[test]
fn huge_files_are_refused() {
    ends_well(&"[".repeat(100_000));
    ends_well(&"{\"plate\":".repeat(10_000));
    ends_well(&" ".repeat(2_000_000));
    ends_well(&format!("[{}]", vec!["1"; 100_000].join(",")));
    ends_well(&BEGINNER.replace("36 in", &"9".repeat(10_000)));
    ends_well(&BEGINNER.replace("\"36 in\"", "1e999"));
    assert!(read(&"[".repeat(33)).unwrap_err()[0].found.contains("levels deep"));
}
