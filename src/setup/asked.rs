//! A tolerance or a grade that is asked for beside the setup.

use super::fault::{Fault, did_you_mean, listing};
use crate::quantity::unit::{Dimension, MICROMETRE, Measure};
use crate::shop::grade::{Grade, Tolerance};
use crate::shop::plate::Plate;

/// The largest tolerance that is one, in µm.
const LARGEST: f64 = 10_000.0;

/// A tolerance as typed: `50 µin`, `2 tenths`, `5 µm`.
pub fn tolerance(text: &str) -> Result<Tolerance, Fault> {
    let fault = |found: String, must: &str, fix: String| Fault {
        field: "the tolerance".into(),
        found,
        must: must.into(),
        fix,
        at: None,
    };
    let measure = Measure::parse_as(text, Dimension::Length)
        .map_err(|error| fault(format!("\"{}\"", error.found), &error.must, error.fix))?;
    let value = measure.to(MICROMETRE);
    if !(value > 0.0 && value <= LARGEST) {
        let fix = "write the largest flatness deviation that is good, such as \"50 µin\"".into();
        return Err(fault(format!("\"{}\"", text.trim()), "more than 0 and at most 10 mm", fix));
    }
    Ok(Tolerance { value, name: format!("tolerance {measure}") })
}

/// What a grade allows a plate, by the grade's name.
pub fn grade(text: &str, plate: &Plate) -> Result<Tolerance, Fault> {
    let names = || Grade::ALL.into_iter().map(Grade::name);
    let fault = |must: String, fix: String| Fault {
        field: "the grade".into(),
        found: format!("\"{}\"", text.trim()),
        must,
        fix,
        at: None,
    };
    let grade = Grade::ALL.into_iter().find(|grade| grade.name().eq_ignore_ascii_case(text.trim()));
    let Some(grade) = grade else {
        let fix = match did_you_mean(text, names()) {
            Some(name) => format!("did you mean \"{name}\"?"),
            None => "write it as it stands there".into(),
        };
        return Err(fault(format!("one of {}", listing(names().map(|name| format!("\"{name}\"")))), fix));
    };
    grade.tolerance(plate.length, plate.width).ok_or_else(|| {
        let sides = format!("{} x {} mm", plate.length, plate.width);
        let plain = grade.name().split(',').next().unwrap_or_default();
        fault(
            format!("a grade that is defined for {sides}"),
            format!("write \"{plain}\" or \"{plain}, formula\""),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tolerances_and_grades_as_typed() {
        assert!((tolerance("2 tenths").unwrap().value - 5.08).abs() < 1e-12);
        assert!((tolerance("50 µin").unwrap().value - 1.27).abs() < 1e-12);
        for text in ["50", "0 mm", "-1 µm", "1 m", "2 K", "much"] {
            assert!(tolerance(text).is_err(), "{text}");
        }
        let side = 24.0 * 25.4;
        let plate = Plate {
            length: 1.5 * side,
            width: side,
            thickness: 150.0,
            margin: 25.0,
            expansion: crate::quantity::distribution::Distribution::Constant { value: 6.5e-6 },
            flatness_holds_bow: false,
        };
        // 36 x 24 in: 200 µin for grade A (GGG-P-463c printed table).
        assert!((grade("us a", &plate).unwrap().value - 5.08).abs() < 1e-9);
        assert_eq!(grade("ISO 8512 grade1", &plate).unwrap_err().fix, "did you mean \"ISO 8512 grade 1\"?");
    }
}
