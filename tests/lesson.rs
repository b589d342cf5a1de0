//! The lesson of the corner dip: its numbers against closed forms, and the command.
//!
//! Weights: the plane through three points, barycentric coordinates; with feet at (40, ±35) and (−50, 0) mm and the tip
//! 250 mm ahead they are 5/3, 5/3 and −7/3. All other expected values are worked out beside their test.

use crate::common::{check_with, program::howflat, stand};
use howflat::{
    report::lesson_report::dip_depth,
    shop::{
        check::ShopCheck,
        lesson::{Lesson, SPACINGS, Step},
        survey::{Plan, StandUse, Survey, Target},
    },
};
use std::fs;

/// A check on a plate of this size, its plan, and its lesson with a dip of 1 µm and a bow of 8 µm.
fn lesson(length: f64, width: f64) -> (ShopCheck, Plan, Lesson) {
    let mut check = check_with(|_| {});
    (check.plate.length, check.plate.width) = (length, width);
    let mut plan = crate::common::corner_to_corner(&check.plate);
    // The farthest target is 250 mm ahead.
    plan.stations[0].targets = [("near", 150.0), ("far", 250.0)]
        .map(|(name, ahead)| Target { name: name.into(), at: [90.0 + ahead, 90.0] })
        .to_vec();
    plan.stations[0].heading = 0.0;
    check.survey =
        Survey::lay_out(&plan, &check.plate, &check.stand, &check.gauge_block).expect("a possible survey");
    let lesson = Lesson::new(&check, &plan, 1.0, 8.0).expect("a lesson");
    (check, plan, lesson)
}

fn assert_near(a: f64, b: f64, within: f64) {
    assert!((a - b).abs() <= within, "{a} is not {b}");
}

#[test]
fn false_readings_are_the_weights_of_the_textbook_case() {
    let (check, _, lesson) = lesson(1000.0, 630.0);
    assert_near(lesson.long_reach, 250.0, 1e-9);
    assert_near(lesson.false_reading(&check.stand, 250.0, true).expect("a plane"), -7.0 / 3.0, 1e-12);
    assert_near(lesson.false_reading(&check.stand, 250.0, false).expect("a plane"), 10.0 / 3.0, 1e-12);
}

/// A dip moves readings one way under the front, the other under the rear, and the block's own reading is its depth.
#[test]
fn the_walk_changes_sign() {
    let (check, _, lesson) = lesson(1000.0, 630.0);
    let at = |place: f64| *lesson.walk.iter().find(|step| step.at == place).expect("a place of the walk");
    let reach = lesson.short_reach;
    // Front at 40, rear at −50 mm; sigma is a fifth of 90 mm, so the next foot is 5 sigma off: e^−12.5 of the depth,
    // here times weights of at most 3.
    assert_near(lesson.sigma, 18.0, 1e-12);
    assert_near(at(-40.0).feet, (reach + 50.0) / 90.0, 2e-5);
    assert_near(at(50.0).feet, -(reach - 40.0) / 90.0, 2e-5);
    // The block averages over 9 by 35 mm, of second moment (9² + 35²) / 24 a side; the pad of 10 mm over 10² / 16.
    let widened = |variance: f64| (18.0_f64 * 18.0 + variance).sqrt();
    let block = at(-reach);
    assert_near(block.block, -widened(100.0 / 16.0) / widened((81.0 + 1225.0) / 24.0), 1e-12);
    assert_near(block.feet, 0.0, 2e-4);
    let (first, last) = (lesson.walk[0], lesson.walk[lesson.walk.len() - 1]);
    // 3.5 sigma from the dip: e^−6.1 of its depth.
    assert!(first.reading().abs() < 5e-3 && last.reading().abs() < 5e-3, "{first:?} {last:?}");
    assert_eq!(check.stand, stand());
}

/// Everywhere on the walk, by the closed form of a lane seen by pads and face.
#[test]
fn the_walk_agrees_with_a_gaussian_lane() {
    let (_, _, lesson) = lesson(1000.0, 630.0);
    let squared = lesson.sigma * lesson.sigma;
    let seen = |x: f64, variance: f64| {
        let pad = squared + 100.0 / 16.0;
        -(pad / (squared + variance)).sqrt() * (-x * x / (2.0 * (squared + variance))).exp()
    };
    let reach = lesson.short_reach;
    let rear_weight = -(reach - 40.0) / 90.0;
    for Step { at, block, feet } in lesson.walk.iter().copied() {
        let [front, rear] = [at + 40.0, at - 50.0].map(|x| seen(x, 100.0 / 16.0));
        assert_near(block, seen(at + reach, 1306.0 / 24.0), 1e-12);
        assert_near(feet, -(1.0 - rear_weight) * front - rear_weight * rear, 1e-12);
    }
}

#[test]
fn the_lever_is_linear_in_reach_and_falls_with_spacing() {
    let (_, _, lesson) = lesson(1000.0, 630.0);
    for row in &lesson.lever {
        for (k, factor) in SPACINGS.into_iter().enumerate() {
            assert_near(row.rear[k], -(row.reach - 40.0 * factor) / (90.0 * factor), 1e-12);
            // What lies under all three feet is carried out unchanged.
            assert_near(row.rear[k] + row.front[k], 1.0, 1e-12);
        }
    }
}

/// On a square plate the tilt adds the same at both neighbouring corners and the middle, and twice as much, counted
/// from the near corner, at the far one.
#[test]
fn the_square_plates_identity() {
    let (_, _, lesson) = lesson(800.0, 800.0);
    let added = |name: &str| lesson.tilt.spots.iter().find(|spot| spot.name == name).expect("a spot").added;
    let near = {
        let far = lesson.tilt.spots.iter().find(|spot| spot.name == "back right").expect("a spot").at;
        let [base, along, back] = lesson.tilt.plane;
        base + along * (800.0 - far[0]) + back * (800.0 - far[1])
    };
    let [right, left, far, middle] = ["front right", "back left", "back right", "middle"].map(added);
    assert_near(right, left, 1e-9);
    assert_near(middle, right, 1e-9);
    assert!((middle - near).abs() > 1.0, "the tilt is no nothing");
    assert_near(far - near, 2.0 * (middle - near), 1e-9);
}

/// On any plate the mean of two opposite corners moves with the middle, and the plane is that of the spots.
#[test]
fn the_mean_of_opposite_corners_cancels_a_tilt() {
    for (length, width) in [(1000.0, 630.0), (914.4, 609.6), (450.0, 300.0)] {
        let (_, _, lesson) = lesson(length, width);
        let added =
            |name: &str| lesson.tilt.spots.iter().find(|spot| spot.name == name).expect("a spot").added;
        assert_near(0.5 * (added("front right") + added("back left")), added("middle"), 1e-9);
        let [base, along, back] = lesson.tilt.plane;
        for spot in &lesson.tilt.spots {
            assert_near(base + along * spot.at[0] + back * spot.at[1], spot.added, 1e-9);
        }
    }
}

/// z = −κ (x² + y²) / 2 gives −κ / 2 (t² − Σ w f² + 2 v_face − 2 v_pad) wherever the stand is.
#[test]
fn a_carried_stand_reads_zero_on_a_bow() {
    let (check, _, lesson) = lesson(1000.0, 630.0);
    let carried = &lesson.carried;
    let curvature = 8.0 * 8.0 / (1000.0_f64.powi(2) + 630.0_f64.powi(2));
    let reach = lesson.short_reach;
    let weights = check.stand.weights([reach, 0.0]).expect("a plane");
    let squares: f64 = check
        .stand
        .feet
        .iter()
        .zip(weights)
        .map(|(foot, w)| w * (foot[0] * foot[0] + foot[1] * foot[1]))
        .sum();
    let raw = -0.5 * curvature * (reach * reach - squares + 2.0 * 1306.0 / 24.0 - 2.0 * 100.0 / 16.0);
    for place in &carried.places {
        assert_near(place.raw, raw, 1e-9);
        assert_near(place.reading, 0.0, 1e-9);
        let x = place.at - 500.0;
        assert_near(place.height, 8.0 - 0.5 * curvature * x * x, 1e-9);
    }
    // A bow is widest between middle and corners of the working surface, 8 µm scaled by the square of its diagonal.
    let margin = check.plate.margin;
    let diagonal = (1000.0 - 2.0 * margin).powi(2) + (630.0 - 2.0 * margin).powi(2);
    assert_near(carried.flatness, 8.0 * diagonal / (1000.0_f64.powi(2) + 630.0_f64.powi(2)), 1e-6);
}

#[test]
fn remedies_come_in_order_of_what_they_save() {
    let (check, _, lesson) = lesson(1000.0, 630.0);
    let saves: Vec<f64> = lesson.remedies.iter().map(|remedy| remedy.before - remedy.after).collect();
    assert!(saves.windows(2).all(|pair| pair[0] >= pair[1]) && saves.iter().all(|&s| s >= 0.0), "{saves:?}");
    // Film under three feet independently: √(w₁² + w₂² + w₃²) of it, w = 5/3, 5/3, −7/3.
    let film = check.cleanliness.film * (99.0_f64 / 9.0).sqrt();
    assert!(
        lesson.remedies.iter().any(|remedy| (remedy.before - film).abs() < 1e-9),
        "{:?}",
        lesson.remedies
    );
}

#[test]
fn a_stand_without_front_and_rear_has_no_lesson() {
    let mut check = check_with(|plan| plan.stand_use = StandUse::Parked);
    // The pair stands one behind the other along the arm.
    check.stand.feet = [[0.0, 0.0], [10.0, 0.0], [60.0, 80.0]];
    let plan = crate::common::corner_to_corner(&check.plate);
    assert_eq!(Lesson::new(&check, &plan, 1.0, 8.0), None);
}

#[test]
fn dips_are_round_in_the_users_unit() {
    use howflat::quantity::unit::{MICROINCH, MICROMETRE, TENTH, THOU};
    for (unit, micrometres) in [(TENTH, 2.54), (MICROMETRE, 2.0), (MICROINCH, 2.54), (THOU, 2.54)] {
        assert_near(dip_depth(unit), micrometres, 1e-9);
    }
}

/// A foil under one foot, by hand: the plane through the feet (40, ±35, 0) and (−50, 0, t) mm is −t (x − 40) / 90 at x; the tip is
/// 130 mm ahead, the block at 0, so that the indicator reads t.
#[test]
fn a_foil_reads_what_the_plane_of_the_feet_says() {
    let (check, _, lesson) = lesson(1000.0, 630.0);
    assert_eq!(lesson.short_reach, 130.0);
    let plane = |feet: [[f64; 3]; 3], x: f64| {
        let [a, b] = [1, 2].map(|k| [0, 1, 2].map(|axis| feet[k][axis] - feet[0][axis]));
        let n = [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
        feet[0][2] - (n[0] * (x - feet[0][0]) - n[1] * feet[0][1]) / n[2]
    };
    let reading = |front: f64, rear: f64, reach: f64, t: f64| {
        -plane([[front, 35.0, 0.0], [front, -35.0, 0.0], [rear, 0.0, t]], reach)
    };
    let [t, u] = [15.0, 2.0];
    let by_hand = reading(40.0, -50.0, 130.0, t);
    assert_near(by_hand, 15.0, 1e-9);
    let [predicted, predicted_u] = lesson.foil.predicted([t, u]);
    assert!(lesson.foil.at_the_rear);
    assert_near(predicted, by_hand, 1e-9);
    // Its uncertainty: thickness, three lengths to 1 mm (differences), feet of 0.5 µm of film with weights 1, 1 and −1 put down
    // twice, repeatability, half the hysteresis and the rounding twice, a slant of 10° ± 20°/√12, and the indicator's swing.
    let slope = |front: f64, rear: f64, reach: f64| {
        (reading(40.0 + front, -50.0 + rear, 130.0 + reach, t)
            - reading(40.0 - front, -50.0 - rear, 130.0 - reach, t))
            / 2e-4
    };
    let lengths = [slope(1e-4, 0.0, 0.0), slope(0.0, 1e-4, 0.0), slope(0.0, 0.0, 1e-4)];
    let once = 3.0 * 0.25 + 0.508_f64.powi(2) + 0.2125_f64.powi(2) + 0.508_f64.powi(2) / 12.0;
    let gain = |degrees: f64| 1.0 / degrees.to_radians().cos();
    let slant = [gain(10.0) - 1.0, gain(10.0 + 20.0 / 12.0_f64.sqrt()) - gain(10.0)];
    let swing = 2.54_f64.powi(2) / 3.0 * (1.0 - (std::f64::consts::TAU / 50.8 * t).cos());
    let squares = u * u
        + lengths.iter().map(|l| l * l).sum::<f64>()
        + 2.0 * once
        + slant.iter().map(|s| (s * t).powi(2)).sum::<f64>()
        + swing;
    assert_near(predicted_u, squares.sqrt(), 1e-5);
    assert_eq!(check.stand, stand());
}

/// What is read off a dial is read to its step, the same number in words, tables and exercises; answers stand on a page of their
/// own at the end, and targets have the sheet's numbers.
#[test]
fn the_sheet_for_a_class_is_of_one_piece() {
    let folder = tempfile::tempdir().expect("a folder");
    let setup = concat!(env!("CARGO_MANIFEST_DIR"), "/budgets/granite-parked.json");
    let output =
        howflat().args(["lesson", setup, "--json", "--out"]).arg(folder.path()).output().expect("runs");
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).expect("one JSON document");
    let table = |name: &str| {
        let tables = json["tables"].as_array().expect("tables");
        tables.iter().find(|table| table["name"] == name).expect("the table").clone()
    };
    let mut n_read = 0;
    for name in ["feet", "walk", "lever", "tilt", "carried", "foil"] {
        let table = table(name);
        for (k, column) in table["columns"].as_array().expect("columns").iter().enumerate() {
            let column = column["name"].as_str().expect("a name");
            if !(column.contains("the dial") || name == "lever" && k > 0) {
                continue;
            }
            for row in table["rows"].as_array().expect("rows") {
                let steps = row[k].as_f64().expect("a reading") / 0.2;
                assert_near(steps, steps.round(), 1e-6);
                n_read += 1;
            }
        }
    }
    assert!(n_read > 200, "{n_read}");
    // The second exercise reads what the table of the tilt shows.
    let tilt = table("tilt");
    let shown = |name: &str| {
        let rows = tilt["rows"].as_array().expect("rows");
        rows.iter().find(|row| row[0] == name).and_then(|row| row[2].as_f64()).expect("a reading")
    };
    let question = json["exercises"][1]["question"].as_str().expect("words");
    for reading in [shown("back left against front right"), shown("back right against front right")] {
        assert!(question.contains(&format!(" {reading:.1} tenths")), "{reading}: {question}");
    }
    let page = fs::read_to_string(folder.path().join("report.html")).expect("a page");
    let (before, answers) = page.split_once("<section class=\"overleaf\">").expect("answers overleaf");
    assert!(answers.contains("Answer 1.") && !before.contains("Answer 1."));
    assert!(!answers.contains("<section") && before.contains("Exercise 2.") && before.contains("foil"));
    assert!(page.contains(".overleaf { break-before: page;"));
    for hard in ["takes a part", "origin", "its weight"] {
        assert!(!page.contains(hard), "{hard}");
    }
    // As the sheet numbers them: its rows in their order.
    let sheet = howflat().args(["sheet", setup]).output().expect("runs").stdout;
    let sheet = String::from_utf8(sheet).expect("text");
    let rows: Vec<&str> = sheet.lines().filter(|line| line.starts_with("front left,")).collect();
    let svg = fs::read_to_string(folder.path().join("tilt.svg")).expect("a picture");
    for (name, at) in
        [("front right", "35, 1"), ("back left", "1, 23"), ("back right", "35, 23"), ("middle", "18, 12")]
    {
        let number = 1 + rows.iter().position(|row| row.split(',').nth(1) == Some(name)).expect("a row");
        assert!(svg.contains(&format!("Target {number} at {at}:")), "{name} is {number}");
    }
}

/// What a class reads: the sheet's own exercise, worked from its words.
#[test]
fn the_exercises_answer_themselves() {
    let folder = tempfile::tempdir().expect("a folder");
    let setup = concat!(env!("CARGO_MANIFEST_DIR"), "/budgets/granite-parked.json");
    let output = howflat()
        .args(["lesson", setup, "--json", "--date", "3 May", "--out"])
        .arg(folder.path())
        .output()
        .expect("a program that runs");
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).expect("one JSON document");
    assert_eq!(json["date"], "3 May");
    let words = |n: usize, key: &str| json["exercises"][n][key].as_str().expect("words").to_string();
    let numbers = |text: &str| -> Vec<f64> {
        let kept = text.replace(['(', ')', ',', ';'], " ");
        kept.split_whitespace().filter_map(|word| word.trim_end_matches('.').parse().ok()).collect()
    };
    // "sinks D …; rear and front are A and B …, and the tip is R …"
    let [depth, rear, front, reach] = numbers(&words(0, "question"))[..] else {
        panic!("{}", words(0, "question"))
    };
    let reading = -(reach - front) / (front - rear) * depth;
    assert!(words(0, "answer").contains(&format!("= {reading:.2} tenths")), "{}", words(0, "answer"));
    let [left, far, middle] = numbers(&words(1, "question"))[..] else { panic!("{}", words(1, "question")) };
    // Nobody reads a hundredth off a dial of tenths that is read to a fifth.
    for reading in [left, far, middle] {
        assert_near((5.0 * reading).round(), 5.0 * reading, 1e-9);
    }
    let off = middle - left / 2.0;
    let answer = words(1, "answer");
    let said = answer.split("stands at ").nth(1).and_then(|rest| rest.split(" = ").nth(1)).expect("a result");
    assert_near(numbers(said)[0], off, 1e-9);
    // It stands one and a half dips low, to half a step of the reading in the middle and a quarter at the side.
    assert_near(off, -1.5, 0.75 * 0.2);
    for name in [
        "report.html",
        "report.md",
        "side.svg",
        "side.png",
        "walk.csv",
        "lever.csv",
        "tilt.csv",
        "carried.csv",
    ] {
        assert!(folder.path().join(name).exists(), "{name}");
    }
    let csv = fs::read_to_string(folder.path().join("carried.csv")).expect("a table");
    assert_eq!(csv.lines().count(), 26, "{csv}");
}
