//! Where a stand is put down in a place that the setup does not name, as one cell of a reading sheet.

use super::lengths::Lengths;
use crate::quantity::unit::{DEGREE, Dimension, MILLIMETRE, Measure, ONE, Unit};
use crate::shop::survey::StandUse;

/// A place for the stand: `4 x 20 in heading 215°`, or `heading 90° reach 3.2 in` for a stand that is carried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StandPlace {
    /// Where its column is, in mm.
    pub at: Option<[f64; 2]>,
    /// Where its arm, or its feet, point, in degrees from the long side towards the back.
    pub heading: Option<f64>,
    /// Reach of a carried stand, in mm.
    pub reach: Option<f64>,
}

impl StandPlace {
    /// Reads a place; bare lengths are in `plan_unit`, bare headings in degrees. `None` where it is none.
    pub fn parse(text: &str, plan_unit: Unit) -> Option<Self> {
        let text = text.to_lowercase();
        let part = |text: &str, word: &str| match text.split_once(word) {
            Some((before, after)) => (before.to_owned(), Some(after.trim().to_owned())),
            None => (text.to_owned(), None),
        };
        let (text, reach) = part(&text, "reach");
        let (place, heading) = part(&text, "heading");
        let at = match place.trim().trim_end_matches(',') {
            "" => None,
            place => Some(coordinates(place, plan_unit)?),
        };
        let heading = match heading {
            Some(written) => Some(number(&written, Dimension::Angle, DEGREE, DEGREE)?),
            None => None,
        };
        let reach = match reach {
            Some(written) => Some(length(&written, plan_unit)?),
            None => None,
        };
        (at.is_some() || heading.is_some()).then_some(Self { at, heading, reach })
    }

    /// What is written for a stand at `at` (mm) with a heading in degrees and, if it is carried, a reach in mm.
    pub fn text(stand_use: StandUse, at: [f64; 2], heading: f64, reach: f64, lengths: Lengths) -> String {
        let heading = heading.rem_euclid(360.0).round() % 360.0;
        match stand_use {
            StandUse::Parked => format!("{} heading {heading}°", lengths.place(at)),
            StandUse::Turned => lengths.place(at),
            StandUse::Carried => format!("heading {heading}° reach {}", lengths.text(reach)),
        }
    }
}

/// A point of the plate, in mm: `4 x 20 in`, `100 mm x 20 in`; bare numbers are in `plan_unit`.
pub fn coordinates(text: &str, plan_unit: Unit) -> Option<[f64; 2]> {
    let text = text.trim().trim_start_matches(['(', '[']).trim_end_matches([')', ']']).to_lowercase();
    let (x, y) = text.split_once(['x', '×']).or_else(|| text.split_once(','))?;
    let y_unit = Measure::parse(y).ok().map(|y| y.unit).filter(|unit| unit.dimension() == Dimension::Length);
    let unit = y_unit.unwrap_or(plan_unit);
    Some([length(x, unit)?, length(y, unit)?])
}

fn length(text: &str, unit: Unit) -> Option<f64> {
    number(text, Dimension::Length, unit, MILLIMETRE)
}

/// A number with a unit of this dimension, or a bare one in `unit`, as so many of `to`.
fn number(text: &str, dimension: Dimension, unit: Unit, to: Unit) -> Option<f64> {
    let measure = Measure::parse(text).ok()?;
    let measure = match measure.unit {
        ONE => Measure { value: measure.value, unit },
        own if own.dimension() == dimension => measure,
        _ => return None,
    };
    let value = measure.to(to);
    (value.abs() < 1e6).then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::unit::INCH;

    #[test]
    fn places_read_back_as_they_were_written() {
        let lengths = Lengths { unit: INCH };
        let at = [101.6, 508.0];
        for stand_use in StandUse::ALL {
            let text = StandPlace::text(stand_use, at, -145.0, 81.28, lengths);
            let place = StandPlace::parse(&text, INCH).unwrap();
            let carried = stand_use == StandUse::Carried;
            assert_eq!(place.at.is_none(), carried, "{text}");
            assert!(place.at.is_none_or(|p| (p[0] - at[0]).abs() + (p[1] - at[1]).abs() < 1e-9), "{text}");
            assert_eq!(place.heading.is_none(), stand_use == StandUse::Turned, "{text}");
            assert!(place.heading.is_none_or(|heading| heading == 215.0), "{text}");
            assert_eq!(place.reach.is_some_and(|reach| (reach - 81.28).abs() < 1e-9), carried, "{text}");
        }
    }

    #[test]
    fn coordinates_in_many_spellings() {
        for text in
            ["4 x 20 in", "4 x 19 4/4 in", "4x20", "(4, 20)", "4 in × 508 mm", "4\" x 20\"", "[4 ,20 in]"]
        {
            let at = coordinates(text, INCH).unwrap_or_else(|| panic!("{text}"));
            assert!((at[0] - 101.6).abs() < 1e-9 && (at[1] - 508.0).abs() < 1e-9, "{text}: {at:?}");
        }
        for text in ["front left", "4", "4 x", "x 4", "4 x 5 K", "", "1e9 x 1"] {
            assert_eq!(coordinates(text, INCH), None, "{text}");
        }
    }
}
