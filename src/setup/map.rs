//! A measured map of a plate: a CSV file with columns x, y and z.

use super::fault::Fault;
use super::points::{PointFile, PointUnits};

/// Fewest points that say anything about a form, and most that are computed with.
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
    let told = |faults: Vec<Fault>| faults.into_iter().map(MapFault::from).collect::<Vec<_>>();
    let (file, faults) = PointFile::read_rows(text, PointUnits::default(), *POINTS.end()).map_err(told)?;
    let mut faults = told(faults);
    let mut points: Vec<[f64; 3]> = Vec::new();
    for ([x, y, z], line) in file.points.into_iter().zip(file.lines) {
        let slack = 1e-6;
        if !(-slack..=sides[0] + slack).contains(&x) || !(-slack..=sides[1] + slack).contains(&y) {
            let must = format!("on the plate, x from 0 to {} mm and y from 0 to {} mm", sides[0], sides[1]);
            let fix = "count x and y from the front left corner, in the units of the first line";
            faults.push(fault(Some(line), format!("at {x} x {y} mm"), &must, fix));
        } else if points.iter().any(|p| (p[0] - x).abs() < 1e-3 && (p[1] - y).abs() < 1e-3) {
            let found = format!("a second point at {x} x {y} mm");
            faults.push(fault(Some(line), found, "somewhere no other point is", "keep one of the two"));
        } else if z.abs() > 1e4 {
            let found = format!("{z} µm high");
            faults.push(fault(Some(line), found, "within 10 mm of the datum", "check the unit of z"));
        } else {
            points.push([x, y, z]);
        }
    }
    if faults.is_empty() && !POINTS.contains(&points.len()) {
        let found = format!("{} points long", points.len());
        let must = format!("from {} to {} points long", POINTS.start(), POINTS.end());
        faults.push(fault(None, found, &must, "give enough points to show the form, and not more than that"));
    }
    faults.sort_by_key(|fault| fault.line);
    if faults.is_empty() { Ok(points) } else { Err(faults) }
}

impl From<Fault> for MapFault {
    fn from(fault: Fault) -> Self {
        let (line, must, fix) = (fault.at.map(|at| at.line), fault.must, fault.fix);
        let is_whole = fault.field == "the table";
        let found = if is_whole { fault.found } else { format!("{} {}", fault.field, fault.found) };
        Self { line, found, must, fix }
    }
}

fn fault(line: Option<usize>, found: impl Into<String>, must: &str, fix: &str) -> MapFault {
    MapFault { line, found: found.into(), must: must.into(), fix: fix.into() }
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
    fn a_map_is_a_table_as_any_other() {
        let text = "# certificate\n\nx (mm);y (mm);z (µm)\n0;0;1,5\n10,5;0;0\n;;\n0;10;-0,5\n10;10;0\n";
        let points = read(text, [200.0, 100.0]).unwrap();
        assert_eq!(points, [[0.0, 0.0, 1.5], [10.5, 0.0, 0.0], [0.0, 10.0, -0.5], [10.0, 10.0, 0.0]]);
        assert_eq!(read(&text.replace(';', "\t"), [200.0, 100.0]).unwrap(), points);
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
