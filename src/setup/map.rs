//! A measured map of a plate: a CSV file with columns x, y and z.

use crate::quantity::unit::{Dimension, MICROMETRE, MILLIMETRE, Unit};

/// Fewest points that say anything about a form, and most that are reckoned with.
const POINTS: std::ops::RangeInclusive<usize> = 4..=1000;

/// What is wrong in a map.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MapFault {
    /// Line of the map, from 1; none for the map as a whole.
    pub line: Option<usize>,
    /// What stands there.
    pub found: String,
    /// What must.
    pub must: String,
    /// What to do.
    pub fix: String,
}

/// Reads a map: `[x mm, y mm, height µm]` for every point.
///
/// The first line names the columns, with their units in brackets: `x (in), y (in), z (µin)`, in any
/// order. `sides` are the plate's length and width in mm: points have to be on it.
pub fn read(text: &str, sides: [f64; 2]) -> Result<Vec<[f64; 3]>, Vec<MapFault>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut rows = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut records = rows.records();
    let header = match records.next() {
        Some(Ok(header)) => header,
        _ => {
            return Err(vec![fault(
                None,
                "empty",
                "a line of column names, then a line for each point",
                "add them",
            )]);
        }
    };
    let columns = columns(&header)?;
    let mut faults = Vec::new();
    let mut points: Vec<[f64; 3]> = Vec::new();
    for (index, record) in records.enumerate() {
        let line = record
            .as_ref()
            .ok()
            .and_then(csv::StringRecord::position)
            .map_or(index + 2, |at| at.line() as usize);
        let Ok(record) = record else {
            faults.push(fault(
                Some(line),
                "not readable as CSV",
                "numbers with commas between them",
                "mend the line",
            ));
            continue;
        };
        match point(&record, &columns) {
            Err((found, name)) => {
                let must = format!("a number in column {name}");
                faults.push(fault(Some(line), found, &must, "write a number, with a point for decimals"));
            }
            Ok([x, y, z]) => {
                let slack = 1e-6;
                if !(-slack..=sides[0] + slack).contains(&x) || !(-slack..=sides[1] + slack).contains(&y) {
                    let must =
                        format!("on the plate, x from 0 to {} mm and y from 0 to {} mm", sides[0], sides[1]);
                    let fix = "count x and y from the front left corner, in the units of the first line";
                    faults.push(fault(Some(line), format!("at {x} x {y} mm"), &must, fix));
                } else if points.iter().any(|p| (p[0] - x).abs() < 1e-3 && (p[1] - y).abs() < 1e-3) {
                    let must = "somewhere no other point is";
                    faults.push(fault(
                        Some(line),
                        format!("a second point at {x} x {y} mm"),
                        must,
                        "keep one of the two",
                    ));
                } else if z.abs() > 1e4 {
                    faults.push(fault(
                        Some(line),
                        format!("{z} µm high"),
                        "within 10 mm of the datum",
                        "check the unit of z",
                    ));
                } else {
                    points.push([x, y, z]);
                }
            }
        }
        if points.len() > *POINTS.end() || faults.len() > 20 {
            break;
        }
    }
    if faults.is_empty() && !POINTS.contains(&points.len()) {
        let found = format!("{} points long", points.len());
        let must = format!("from {} to {} points long", POINTS.start(), POINTS.end());
        faults.push(fault(None, found, &must, "give enough points to show the form, and not more than that"));
    }
    if faults.is_empty() { Ok(points) } else { Err(faults) }
}

fn fault(line: Option<usize>, found: impl Into<String>, must: &str, fix: &str) -> MapFault {
    MapFault { line, found: found.into(), must: must.into(), fix: fix.into() }
}

/// Index of a column and what one of its unit is, in the unit of the engine.
type Column = (&'static str, usize, f64);

fn columns(header: &csv::StringRecord) -> Result<[Column; 3], Vec<MapFault>> {
    let mut faults = Vec::new();
    let mut find = |name: &'static str, unit: Unit, example: &str| {
        let split = |cell: &str| {
            let (name, rest) = cell.split_once(['(', '['])?;
            Some((name.trim().to_lowercase(), rest.trim_end_matches([')', ']']).trim().to_owned()))
        };
        let column = header.iter().enumerate().find_map(|(index, cell)| match split(cell) {
            Some((written, unit)) if written == name => Some((index, unit)),
            _ => None,
        });
        let given = column.and_then(|(index, text)| {
            let given = Unit::parse(&text).ok().filter(|given| given.dimension() == Dimension::Length)?;
            Some((name, index, crate::quantity::unit::Measure { value: 1.0, unit: given }.to(unit)))
        });
        given.unwrap_or_else(|| {
            let found = format!("`{}`", header.iter().collect::<Vec<_>>().join(", "));
            let must = format!("column names with one for {name} and its unit");
            faults.push(fault(Some(1), found, &must, &format!("write {example} for it")));
            (name, 0, f64::NAN)
        })
    };
    let columns = [
        find("x", MILLIMETRE, "`x (in)` or `x (mm)`"),
        find("y", MILLIMETRE, "`y (in)` or `y (mm)`"),
        find("z", MICROMETRE, "`z (µin)` or `z (µm)`"),
    ];
    if faults.is_empty() { Ok(columns) } else { Err(faults) }
}

fn point(record: &csv::StringRecord, columns: &[Column; 3]) -> Result<[f64; 3], (String, &'static str)> {
    let mut point = [0.0; 3];
    for (value, &(name, index, factor)) in point.iter_mut().zip(columns) {
        let cell = record.get(index).unwrap_or_default();
        let number = cell.parse::<f64>().ok().filter(|number| number.is_finite());
        *value = factor * number.ok_or_else(|| (format!("`{cell}`"), name))?;
    }
    Ok(point)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_come_from_the_first_line_and_columns_in_any_order() {
        let text = "z [µin], x (in), y (mm)\n100,1,25.4\n0,2,0\n0,0,100\n0,4,50\n";
        let points = read(text, [200.0, 100.0]).unwrap_or_default();
        assert_eq!(points.len(), 4);
        assert!((points[0][0] - 25.4).abs() < 1e-12 && (points[0][2] - 2.54).abs() < 1e-12, "{points:?}");
    }

    #[test]
    fn every_bad_line_is_named() {
        let text = "x (mm), y (mm), z (µm)\n0,0,0\n1,zwei,0\n300,0,0\n0,0,1\n";
        let lines: Vec<_> =
            read(text, [200.0, 100.0]).unwrap_err().into_iter().map(|fault| fault.line).collect();
        assert_eq!(lines, [Some(3), Some(4), Some(5)]);
        assert_eq!(read("x, y (mm), z\n", [1.0, 1.0]).unwrap_err().len(), 2);
        assert_eq!(read("", [1.0, 1.0]).unwrap_err().len(), 1);
    }
}
