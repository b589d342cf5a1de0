//! Grades of plates, blocks and indicators against the figures of the trade in
//! `tests/reference/grades.json` (each with its source, and whether it was read or remembered).

use howflat::shop::gauge_block::BlockGrade;
use howflat::shop::grade::{DinGrade, Grade, IsoGrade, UsBasis, UsGrade};
use howflat::shop::indicator::IndicatorClass;
use serde_json::Value;

const MICROINCH: f64 = 0.0254;
const INCH: f64 = 25.4;

fn fact(id: &str) -> Value {
    let facts: Value = serde_json::from_str(include_str!("reference/grades.json")).unwrap();
    let fact = facts["facts"].as_array().unwrap().iter().find(|fact| fact["id"] == id).unwrap();
    fact["value"].clone()
}

/// The rows of a table, without its headings.
fn rows(id: &str) -> Vec<Vec<Value>> {
    fact(id).as_array().unwrap()[1..].iter().map(|row| row.as_array().unwrap().clone()).collect()
}

fn sides(size: &Value, unit: f64) -> [f64; 2] {
    let (a, b) = size.as_str().unwrap().split_once('x').unwrap();
    [a.parse::<f64>().unwrap() * unit, b.parse::<f64>().unwrap() * unit]
}

fn tolerance(grade: Grade, [a, b]: [f64; 2]) -> f64 {
    let tolerance = grade.tolerance(a, b).unwrap();
    // Whichever side is called the length.
    assert_eq!(grade.tolerance(b, a).unwrap(), tolerance);
    tolerance.value
}

#[track_caller]
fn close(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} is not {expected} within {within}");
}

const US: [UsGrade; 3] = [UsGrade::AA, UsGrade::A, UsGrade::B];
const ISO: [IsoGrade; 4] = [IsoGrade::Zero, IsoGrade::One, IsoGrade::Two, IsoGrade::Three];
const DIN: [DinGrade; 5] =
    [DinGrade::DoubleZero, DinGrade::Zero, DinGrade::One, DinGrade::Two, DinGrade::Three];

#[test]
fn us_printed_table() {
    let tables = ["ggg-flat-table", "ggg-flat-table-more", "ggg-flat-table-last"];
    for row in tables.into_iter().flat_map(rows) {
        let sides = sides(&row[0], INCH);
        for (grade, factor) in US.into_iter().zip([1.0, 2.0, 4.0]) {
            let expected = factor * row[1].as_f64().unwrap() * MICROINCH;
            close(tolerance(Grade::Us(grade, UsBasis::Table), sides), expected, 1e-9);
            close(tolerance(Grade::Us(grade, UsBasis::Standard), sides), expected, 1e-9);
        }
        if let Some(a) = row.get(2) {
            close(
                tolerance(Grade::Us(UsGrade::A, UsBasis::Table), sides),
                a.as_f64().unwrap() * MICROINCH,
                1e-9,
            );
        }
    }
}

/// The formula values printed beside the table in the reference file, and where formula and table
/// part: 24 x 36 in is 100 by the table and 114.9 by the formula, 36 x 48 in 200 and 184.0.
#[test]
fn us_formula_is_not_the_table() {
    let cases = [
        ([12.0, 12.0], 51.5),
        ([18.0, 24.0], 76.0),
        ([24.0, 36.0], 114.9),
        ([36.0, 48.0], 184.0),
        ([48.0, 72.0], 339.5),
        ([18.0, 18.0], 65.9),
        ([72.0, 144.0], 1076.8),
    ];
    for ([a, b], expected) in cases {
        let aa = tolerance(Grade::Us(UsGrade::AA, UsBasis::Formula), [a * INCH, b * INCH]);
        close(aa / MICROINCH, expected, 0.05);
        // The metric form, 1 + 1.6e-6 D² µm, is the same to its own rounding (1.6 %).
        let diagonal_squared = (a * a + b * b) * INCH * INCH;
        close(aa, 1.0 + 1.6e-6 * diagonal_squared, 0.017 * aa);
    }
    let sides = [36.0 * INCH, 24.0 * INCH];
    let by = |basis| Grade::Us(UsGrade::A, basis).tolerance(sides[0], sides[1]).unwrap();
    assert!(by(UsBasis::Standard).name.contains("printed table, 24 x 36 in"), "{:?}", by(UsBasis::Standard));
    assert!(by(UsBasis::Formula).name.contains("formula"), "{:?}", by(UsBasis::Formula));
    close(by(UsBasis::Standard).value, 5.08, 1e-9);
    close(by(UsBasis::Formula).value, 2.0 * 114.88 * MICROINCH, 1e-9);
}

/// Sizes that are not in the table: the formula, AA rounded to 25 µin (from memory), then doubled.
#[test]
fn us_sizes_beside_the_table() {
    let sides = [1000.0, 630.0];
    let name = Grade::Us(UsGrade::A, UsBasis::Standard).tolerance(1000.0, 630.0).unwrap().name;
    assert!(name.contains("rounded to 25 µin"), "{name}");
    close(tolerance(Grade::Us(UsGrade::AA, UsBasis::Standard), sides), 125.0 * MICROINCH, 1e-9);
    close(tolerance(Grade::Us(UsGrade::B, UsBasis::Standard), sides), 500.0 * MICROINCH, 1e-9);
    assert_eq!(Grade::Us(UsGrade::A, UsBasis::Table).tolerance(1000.0, 630.0), None);
    // A plate sold as 900 x 600 mm counts as 24 x 36 in: within 5 % of it.
    close(tolerance(Grade::Us(UsGrade::AA, UsBasis::Standard), [900.0, 600.0]), 2.54, 1e-9);
}

#[test]
fn iso_table() {
    for row in rows("iso8512-table") {
        let sides = sides(&row[0], 1.0);
        for (index, grade) in ISO.into_iter().enumerate() {
            let (printed, formula) = (row[1 + index].as_f64().unwrap(), row[5 + index].as_f64().unwrap());
            let found = tolerance(Grade::Iso8512(grade), sides);
            close(found, printed, 1e-9);
            close(found, formula, if index == 0 { 0.25 } else { 0.5 });
        }
    }
    let name = Grade::Iso8512(IsoGrade::One).tolerance(1000.0, 630.0).unwrap().name;
    assert_eq!(name, "ISO 8512 grade 1, 0.006 d + 5 µm with d = 1200 mm");
    // A diagonal that is a whole number of hundreds is not rounded up: 600 x 800 has 1000.
    close(tolerance(Grade::Iso8512(IsoGrade::Zero), [600.0, 800.0]), 5.5, 1e-9);
}

#[test]
fn din_table() {
    for row in rows("din876-table") {
        let longest = row[0].as_f64().unwrap();
        for (grade, printed) in DIN[1..].iter().zip(&row[1..]) {
            close(
                tolerance(Grade::Din876(*grade), [longest, longest / 2.0]),
                printed.as_f64().unwrap(),
                1e-9,
            );
        }
    }
    // Grade 00 from memory: 2 + L/500.
    close(tolerance(Grade::Din876(DinGrade::DoubleZero), [1000.0, 630.0]), 4.0, 1e-9);
}

#[test]
fn repeat_reading() {
    let metric = rows("ggg-repeat-metric");
    for (index, row) in rows("ggg-repeat-inch").into_iter().take(6).enumerate() {
        let up_to = row[0].as_str().unwrap().trim_start_matches(['<', '=', '>']);
        let diagonal = up_to.split('-').next_back().unwrap().parse::<f64>().unwrap()
            + if index == 5 { 20.0 } else { 0.0 };
        let side = diagonal * INCH / 2.0_f64.sqrt();
        for (column, grade) in US.into_iter().enumerate() {
            let limit = Grade::Us(grade, UsBasis::Standard).local_variation(side, side).unwrap();
            close(limit.value, row[1 + column].as_f64().unwrap() * MICROINCH, 1e-9);
            // The standard's own metric table is the same to its rounding: 0.1 µm, and 0.5 µm for
            // the large ones.
            let metric = metric[index][1 + column].as_f64().unwrap();
            close(limit.value, metric, if metric < 4.0 { 0.06 } else { 0.25 });
        }
    }
    let local = fact("iso8512-local");
    for (grade, expected) in ISO.into_iter().zip(local.as_array().unwrap()) {
        close(
            Grade::Iso8512(grade).local_variation(1000.0, 630.0).unwrap().value,
            expected.as_f64().unwrap(),
            0.0,
        );
    }
    assert_eq!(Grade::Din876(DinGrade::One).local_variation(1000.0, 630.0), None);
}

/// Margins: 1.0 to 1.5 in (GGG-P-463c, read); 2 % of the shorter side, at most 20 mm (ISO 8512, from
/// memory).
#[test]
fn margins() {
    let us = Grade::Us(UsGrade::A, UsBasis::Standard);
    close(us.margin(36.0 * INCH, 24.0 * INCH).unwrap(), 25.4, 1e-9);
    close(us.margin(72.0 * INCH, 48.0 * INCH).unwrap(), 38.1, 1e-9);
    close(us.margin(48.0 * INCH, 36.0 * INCH).unwrap(), 25.4, 1e-9);
    let iso = Grade::Iso8512(IsoGrade::Two);
    close(iso.margin(1000.0, 630.0).unwrap(), 12.6, 1e-9);
    close(iso.margin(2500.0, 1600.0).unwrap(), 20.0, 1e-9);
    assert_eq!(Grade::Din876(DinGrade::Zero).margin(1000.0, 630.0), None);
}

/// Values that public pages print wrongly, so that nobody "corrects" to them.
#[test]
fn wrong_values_stay_out() {
    let warnings = fact("bad-sources");
    let warned =
        |words: &str| warnings.as_array().unwrap().iter().any(|w| w.as_str().unwrap().contains(words));
    assert!(warned("DIN 876 grade 0 for 1000x630 given as 13"));
    close(tolerance(Grade::Din876(DinGrade::Zero), [1000.0, 630.0]), 8.0, 1e-9);
    assert!(warned("24x24 in AA given as 50"));
    close(tolerance(Grade::Us(UsGrade::AA, UsBasis::Standard), [24.0 * INCH; 2]), 75.0 * MICROINCH, 1e-9);
    assert!(warned("ISO 8512 said to use grades AA/A/B"));
    assert!(Grade::ALL.iter().all(|grade| !grade.name().contains("ISO 8512 grade A")));
}

#[test]
fn gauge_blocks() {
    let grades = [BlockGrade::K, BlockGrade::Zero, BlockGrade::One, BlockGrade::Two];
    for row in rows("iso3650") {
        let up_to: f64 = row[0].as_str().unwrap().split('-').next_back().unwrap().parse().unwrap();
        for (index, grade) in grades.into_iter().enumerate() {
            close(grade.length_variation(up_to).unwrap(), row[2 + 2 * index].as_f64().unwrap(), 1e-12);
        }
    }
    // Grade 00 of ASME B89.1.9, from memory: 0.05 µm to 25 mm, 0.06 to 75, 0.07 to 100.
    for (length, expected) in [(25.0, 0.05), (25.4, 0.06), (75.0, 0.06), (100.0, 0.07)] {
        close(BlockGrade::DoubleZero.length_variation(length).unwrap(), expected, 1e-12);
    }
    assert_eq!(BlockGrade::One.length_variation(125.0), None);
}

#[test]
fn indicators() {
    let class = |name: &str| IndicatorClass::ALL.iter().find(|class| class.name == name).unwrap();
    let asme = class("ASME B89.1.10M");
    let divisions = fact("b89110");
    close(asme.error_limit, divisions["accuracy_div"].as_f64().unwrap(), 1e-12);
    close(asme.repeatability, divisions["repeatability_div"].as_f64().unwrap(), 1e-12);
    close(asme.hysteresis, divisions["hysteresis_div"].as_f64().unwrap(), 5e-4);
    let lever = class("DIN 2270, lever, 0.002 mm");
    let known = fact("dti-2um");
    close(lever.error_limit, known["error"][1].as_f64().unwrap(), 1e-12);
    close(lever.hysteresis, known["hysteresis"].as_f64().unwrap(), 1e-12);
    close(lever.repeatability, known["repeatability"].as_f64().unwrap(), 1e-12);
    // The first figure is for bezels of 50 mm and over.
    let plunger = class("JIS B 7503, plunger, 0.001 mm");
    let known = fact("jis7503");
    let first =
        |limit: &str| known[limit].as_str().unwrap().split(' ').next().unwrap().parse::<f64>().unwrap();
    close(plunger.error_limit, first("tenth revolution"), 1e-12);
    close(plunger.hysteresis, first("retrace (hysteresis)"), 1e-12);
    close(plunger.repeatability, first("repeatability"), 1e-12);
}
