//! Expansion coefficients against handbook rows (`tests/reference/expansion.json`: Callister, table B.6; ISO 3650;
//! gauge-block handbook; each with its source, and whether it was read or remembered), and what is made of them: the
//! handbook's coefficient times length times difference, worked by hand.

use howflat::{
    propagation::{
        law::{LinearResult, Order},
        reading_budget::{ReadingBudget, reading_budget},
        trials::run_trials,
    },
    quantity::{distribution::Distribution, sample::mean_and_standard_deviation, stream::Streams},
    setup::{MeasurementSetup, Setup},
    shop::{form::Form, material::Material, plate::bow_curvature},
};
use serde_json::{Value, json};

/// A row of the reference file, in 1e-6/K.
fn row(fact: &str, name: &str) -> f64 {
    let facts: Value = serde_json::from_str(include_str!("reference/expansion.json")).unwrap();
    let fact = facts["facts"].as_array().unwrap().iter().find(|known| known["id"] == fact).unwrap().clone();
    let rows = fact["value"].as_array().unwrap();
    rows.iter().find(|row| row[0] == name).unwrap()[1].as_f64().unwrap()
}

/// Every handbook row of a material.
fn handbook(material: Material) -> Vec<f64> {
    let metal = |name| row("cte-metals", name);
    match material {
        // Read: 7.9 and 7.4; from memory: 6.3 (fact cte-granite).
        Material::Granite => vec![7.9, 7.4, 6.3],
        // The makers' 4 to 7 (fact cte-granite).
        Material::BlackGranite => vec![4.0, 7.0],
        // The other general table: fact cte-grey-iron.
        Material::CastIron => vec![metal("grey cast iron G1800/G3000/G4000"), 10.8],
        Material::Steel => ["steel A36", "steel 1020", "steel 1040", "steel 4140"].map(metal).to_vec(),
        Material::GaugeBlockSteel => vec![row("cte-gauging", "gauge-block steel")],
        Material::Aluminium => vec![metal("aluminium 6061"), metal("aluminium 7075")],
        Material::TungstenCarbide => vec![row("cte-gauging", "tungsten carbide (6-9 % Co)")],
        Material::Zirconia => {
            vec![row("cte-ceramics", "zirconia 3 mol% yttria"), row("cte-gauging", "zirconia ceramic block")]
        }
        Material::Invar => vec![metal("Invar")],
    }
}

/// Limits in 1e-6/K.
fn limits(material: Material) -> [f64; 2] {
    match material.expansion() {
        Distribution::Rectangular { low, high } => [1e6 * low, 1e6 * high],
        other => panic!("{other:?}"),
    }
}

#[track_caller]
fn close(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-9 * expected.abs(), "{found} is not {expected}");
}

/// Every row is inside our limits, and the rows' mean within 0.3 of the half-width of our middle.
#[test]
fn handbook_rows_are_inside_our_limits_and_near_their_middle() {
    for material in Material::ALL {
        let ([low, high], rows) = (limits(material), handbook(material));
        for row in &rows {
            assert!((low - 1e-9..=high + 1e-9).contains(row), "{material:?}: {row} not in {low} to {high}");
        }
        let mean = rows.iter().sum::<f64>() / rows.len() as f64;
        let off = (mean - (low + high) / 2.0) / ((high - low) / 2.0);
        assert!(off.abs() <= 0.3, "{material:?}: rows at {mean}, {off} of the half-width off the middle");
    }
    // ISO 3650:1998, clause 6: 11.5 ± 1.0 (from memory).
    for (found, expected) in limits(Material::GaugeBlockSteel).into_iter().zip([10.5, 12.5]) {
        close(found, expected);
    }
}

#[test]
fn a_setup_says_which_row_a_default_comes_from() {
    for (material, told) in [
        ("cast iron", "Callister, table B.6: grey cast iron 11.4"),
        ("steel", "steel A36 and 1020 11.7"),
        ("aluminium", "aluminium 6061 23.6"),
        ("invar", "Invar 1.6"),
        ("granite", "7.9"),
    ] {
        let setup = setup(Some(material), "6 in", "24 in", 0.0);
        let lines: Vec<_> = setup.assumptions.iter().filter(|a| a.field.ends_with("expansion")).collect();
        let fields: Vec<&str> = lines.iter().map(|line| line.field.as_str()).collect();
        assert_eq!(fields, ["plate.expansion", "stand.column_expansion", "gauge_block.expansion"]);
        for line in lines {
            assert!(line.why.contains(told), "{material}: {}", line.why);
        }
    }
    let given = setup(None, "6 in", "24 in", 11.4);
    assert!(given.assumptions.iter().all(|a| !a.field.ends_with("expansion")));
}

/// A check whose plate, column and block are of one material, or have the given coefficient (1e-6/K).
fn setup(material: Option<&str>, column: &str, length: &str, coefficient: f64) -> Setup {
    let five = json!({ "rectangular": { "from": "4 K", "to": "6 K" } });
    warmed(material, column, length, coefficient, &five)
}

/// The same, with what is known of the temperature differences.
fn warmed(material: Option<&str>, column: &str, length: &str, coefficient: f64, difference: &Value) -> Setup {
    let expansion = format!("{coefficient} ppm/K");
    let [plate, stand, block] = match material {
        Some(name) => [("material", name), ("column", name), ("material", name)],
        None => {
            let given = expansion.as_str();
            [("expansion", given), ("column_expansion", given), ("expansion", given)]
        }
    };
    let mut text = json!({
        "plate": { "length": length, "width": length, "thickness": "6 in" },
        "stand": { "feet": { "front_apart": "3 in", "front_to_rear": "4 in" }, "height": column },
        "indicator": { "graduation": "0.0001 in", "contact_angle": "0°" },
        "gauge_block": { "length": "2 in" },
        "temperature": {
            "top_to_bottom": difference,
            "handling": difference,
        },
    });
    for (part, (field, value)) in [("plate", plate), ("stand", stand), ("gauge_block", block)] {
        text[part][field] = value.into();
    }
    Setup::read(&text.to_string(), &|_| Err("no files".into())).unwrap()
}

/// The five materials: our name, its handbook row, and where our middle is.
fn five() -> [(&'static str, Material, f64); 5] {
    let first = |material: Material| handbook(material)[0];
    [
        ("cast iron", Material::CastIron),
        ("granite", Material::Granite),
        ("steel", Material::Steel),
        ("aluminium", Material::Aluminium),
        ("invar", Material::Invar),
    ]
    .map(|(name, material)| (name, material, first(material)))
}

/// Growth by 5 K of the column and of the block as the budget of a reading has them, in µm, and the growth of the
/// column worked by hand for 1e-6/K: warmth fades between the zero and the reading, so the difference of what is left
/// of it counts.
fn grown(setup: &Setup) -> [f64; 3] {
    let check = &setup.check;
    let budget = reading_budget(check, 0.95);
    let row = |name: &str| {
        let row = budget.of_reading.inputs.iter().find(|row| row.name == name).unwrap();
        assert_eq!(row.estimate, 5.0);
        row.sensitivity * row.estimate
    };
    let reading = &check.survey.readings[budget.reading];
    let zero = &check.survey.readings[check.survey.zeros[0]];
    let left = |minutes: f64| (-minutes / check.temperature.fading).exp();
    let faded = left(reading.minutes) - left(zero.minutes);
    [row("hand warmth in the column"), row("hand warmth in the block"), faded]
}

/// Column and block through the budget of `simulate`, inch and metric: to all digits with the handbook's coefficient
/// written into the setup, and by the material's name within its limits of it.
#[test]
fn columns_and_blocks_grow_by_the_handbook() {
    for (name, material, handbook) in five() {
        for (column, plate, micrometres) in [("6 in", "24 in", 152_400.0), ("150 mm", "600 mm", 150_000.0)] {
            let [of_column, of_block, faded] = grown(&setup(None, column, plate, handbook));
            close(of_column, -faded * handbook * 1e-6 * micrometres * 5.0);
            close(of_block, faded * handbook * 1e-6 * 50_800.0 * 5.0);
            // Block and column of one length, of two materials: the difference of their coefficients.
            let [by_name, block_by_name, faded] = grown(&setup(Some(name), column, plate, 0.0));
            let [low, high] = limits(material);
            for (ours, length) in [(by_name, -micrometres), (block_by_name, 50_800.0)] {
                let coefficient = ours / (faded * length * 5.0) * 1e6;
                assert!((coefficient - (low + high) / 2.0).abs() < 1e-9, "{name}: {coefficient}");
                assert!((coefficient - handbook).abs() <= 0.7 * (high - low) / 2.0, "{name}: {coefficient}");
            }
        }
    }
}

/// The bow of a plate through the budget of `simulate` against `α ΔT / t` and the square of the distances by hand, and
/// over the diagonal against `α ΔT D²/8t`.
#[test]
fn plates_bow_by_the_handbook() {
    for (name, material, handbook) in five() {
        for (length, side) in [("24 in", 609.6), ("600 mm", 600.0)] {
            let thickness = 152.4;
            let curvature = bow_curvature(handbook * 1e-6, 5.0, thickness);
            close(curvature, handbook * 1e-6 * 5.0 / thickness * 1000.0);
            let middle = [side / 2.0; 2];
            let bow = Form { curvature: [curvature; 2], middle, ..Form::default() };
            let fall = bow.height(middle, 0.0) - bow.height([0.0, 0.0], 0.0);
            close(fall, handbook * 1e-6 * 5.0 * 2.0 * side * side / (8.0 * thickness) * 1000.0);
            // In the budget the bow stands in proportion to the coefficient: ours over the handbook's.
            let row = |setup: &Setup| {
                let budget = reading_budget(&setup.check, 0.95);
                let name = "temperature, top minus bottom of the plate";
                budget.of_reading.inputs.iter().find(|row| row.name == name).unwrap().sensitivity
            };
            let by_handbook = row(&setup(None, "6 in", length, handbook));
            assert!(by_handbook != 0.0);
            let [low, high] = limits(material);
            let ratio = row(&setup(Some(name), "6 in", length, 0.0)) / by_handbook;
            close(ratio, (low + high) / 2.0 / handbook);
        }
    }
}

/// A coefficient times a difference, both uncertain and independent: `E(αT) = αT`, and `var(αT) = α² u²(T) + T² u²(α) + u²(α) u²(T)`
/// exactly, the last term by GUM 5.1.2, note, as in H.1.7. Where a difference of 0 is expected the law of first order leaves out
/// all that the coefficient's uncertainty does: of granite, 4 to 9, the contribution is 0.222 = 5/√12/6.5 of the other's.
#[test]
fn a_coefficient_times_a_difference_has_the_moments_of_a_product() {
    let known = [
        (json!({ "normal": { "mean": "0 K", "standard_deviation": "2 K" } }), 0.0, 2.0),
        (json!({ "normal": { "mean": "5 K", "standard_deviation": "2 K" } }), 5.0, 2.0),
        (json!("5 K"), 5.0, 0.0),
    ];
    for (difference, mean, u_difference) in known {
        for (name, material, _) in five() {
            let setup = warmed(Some(name), "6 in", "24 in", 0.0, &difference);
            let ReadingBudget { of_reading, experiment, .. } = reading_budget(&setup.check, 0.95);
            let [low, high] = limits(material);
            let (alpha, u_alpha) = ((low + high) / 2.0 * 1e-6, (high - low) / 12f64.sqrt() * 1e-6);
            let mut estimate = 0.0;
            for (body, temperature) in [
                ("plate", "temperature, top minus bottom of the plate"),
                ("column", "hand warmth in the column"),
                ("block", "hand warmth in the block"),
            ] {
                let row = |name: &str| of_reading.inputs.iter().find(|input| input.name == name);
                let contribution = |name: &str| row(name).map_or(0.0, |row| row.contribution);
                let expansion = format!("expansion of the {body}");
                let both = format!("product: expansion and {temperature}");
                // What a reading gets of one unit of the product; the tests above have it worked by hand.
                let of_one = match row(temperature) {
                    Some(row) => row.sensitivity / alpha,
                    None => row(&expansion).unwrap().sensitivity / mean,
                };
                let found: f64 =
                    [temperature, &expansion, &both].iter().map(|name| contribution(name).powi(2)).sum();
                let exact = (alpha * u_difference).powi(2)
                    + (mean * u_alpha).powi(2)
                    + (u_alpha * u_difference).powi(2);
                close(found, of_one * of_one * exact);
                estimate += of_one * alpha * mean;
                if name == "granite" && mean == 0.0 {
                    assert!((contribution(&both) / contribution(temperature) - 0.222).abs() < 5e-4, "{body}");
                }
            }
            // Grains lift on average; all else is without an expectation.
            let seats = of_reading.inputs.iter().filter(|row| row.name.starts_with("seat"));
            let grains: f64 = seats.map(|row| row.sensitivity * row.estimate).sum();
            let off = of_reading.estimate - grains - estimate;
            assert!(off.abs() < 1e-9, "{name}, {mean} K: {} is off by {off}", of_reading.estimate);
            // And by trials, four standard errors apart at most.
            let n = 100_352;
            let values = run_trials(&experiment, &Streams::new(3), 0..n, &|_| {}).remove(0);
            let (by_trials, deviation) = mean_and_standard_deviation(&values);
            let u = of_reading.combined_standard_uncertainty;
            let apart = (by_trials - of_reading.estimate).abs();
            assert!(apart < 4.0 * u / (n as f64).sqrt(), "{name}: {by_trials}, {}", of_reading.estimate);
            assert!((deviation / u - 1.0).abs() < 0.02, "{name}: {deviation} and {u}");
        }
    }
}

/// The difference of two materials of one length over 5 K through a formula model, in inch and metric.
#[test]
fn two_materials_differ_by_the_handbook() {
    for (unit, length, per_unit) in [("µin", 10.0, 1e6), ("µm", 250.0, 1e3)] {
        for (first, _, a) in five() {
            for (second, _, b) in five() {
                let input = |name: &str, value: f64| json!({ "name": name, "value": value });
                let uncertain = |name: &str, value: f64| json!({ "name": name, "estimate": value, "standard_uncertainty": 0.1e-6 });
                let text = json!({
                    "measurands": [{
                        "name": "difference", "unit": unit, "formula": "per_unit * L * (a - b) * dT"
                    }],
                    "inputs": [
                        input("per_unit", per_unit), input("L", length), input("dT", 5.0),
                        uncertain("a", a * 1e-6), uncertain("b", b * 1e-6),
                    ],
                });
                let setup = MeasurementSetup::read(&text.to_string()).unwrap();
                let result = LinearResult::of(&setup.model, 0.95, Order::First).unwrap();
                let budget = &result.budgets[0];
                let by_hand = (a - b) * length * 5.0 * per_unit * 1e-6;
                assert!((budget.estimate - by_hand).abs() < 1e-9, "{first} and {second}: {budget:?}");
                let u = 2f64.sqrt() * 0.1e-6 * length * 5.0 * per_unit;
                close(budget.combined_standard_uncertainty, u);
            }
        }
    }
    // Worked on paper: 10 in of steel (11.7) against granite (7.9) over 5 K: 190 µin; aluminium (23.6) against Invar
    // (1.6), 250 mm: 27.5 µm.
    let [_, granite, steel, aluminium, invar] = five().map(|(_, _, coefficient)| coefficient);
    close((steel - granite) * 10.0 * 5.0, 190.0);
    close((aluminium - invar) * 0.25 * 5.0, 27.5);
}
