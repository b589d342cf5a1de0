//! A plain file of points, x, y and z: a table as any other, with units in its line of column names.

use super::fault::{Fault, Faults, Position, listing};
use super::file_text::hex;
use super::reading_table::{Headings, Lines, Record, decimal_points, headings, longer_row};
use super::readings::shortened;
use crate::quantity::unit::{Dimension, MICROMETRE, MILLIMETRE, Measure, Unit};
use sha2::{Digest, Sha256};

/// A file of points, read and found sound.
#[derive(Debug, Clone, PartialEq)]
pub struct PointFile {
    /// `[x mm, y mm, height µm]` of every point, in the order of the file.
    pub points: Vec<[f64; 3]>,
    /// The line each stands in, from 1.
    pub lines: Vec<usize>,
    /// The units of x and of z as the file has them.
    pub units: [Unit; 2],
    /// SHA-256 of the file, in hexadecimal.
    pub digest: String,
}

/// Units for columns whose heading names none.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct PointUnits {
    /// Of x and y.
    pub plan: Option<Unit>,
    /// Of z.
    pub height: Option<Unit>,
}

/// A column's name, its index, and its unit.
type Column = (&'static str, usize, Unit);

const NAMES: [&str; 3] = ["x", "y", "z"];
const EXAMPLES: [&str; 3] = ["`x (in)` or `x (mm)`", "`y (in)` or `y (mm)`", "`z (µin)` or `z (µm)`"];
/// After so many faults the rest is not read.
const MOST_FAULTS: usize = 1000;
/// Larger numbers, of mm or µm, are of no plate.
const LARGEST: f64 = 1e9;

impl PointFile {
    /// Reads at most `most` points.
    ///
    /// Separators, decimal commas, empty rows and lines that begin with `#` are as in every table. The first line names
    /// the columns, in any order, with their units in brackets; without such a line they are x, y and z. What names no
    /// unit is in that of `units`.
    pub fn read(text: &str, units: PointUnits, most: usize) -> Result<Self, Faults> {
        let (file, faults) = Self::read_rows(text, units, most)?;
        if faults.is_empty() { Ok(file) } else { Err(faults.into()) }
    }

    /// [`Self::read`], with the rows that are sound beside the faults of those that are not.
    pub(super) fn read_rows(
        text: &str,
        units: PointUnits,
        most: usize,
    ) -> Result<(Self, Vec<Fault>), Vec<Fault>> {
        let digest = hex(Sha256::digest(text.as_bytes()));
        let mut rows = Lines::of(text)?;
        let mut width = 0;
        let mut columns: Option<[Column; 3]> = None;
        let (mut points, mut lines, mut faults) = (Vec::new(), Vec::new(), Vec::new());
        while let Some(record) = rows.next()? {
            let line = record[0].1.line;
            let Some(known) = columns else {
                width = record.len();
                let (found, is_heading) = columns_of(&record, line, units)?;
                columns = Some(found);
                if !is_heading && width > 3 {
                    let found = format!("{width} numbers in a row");
                    let must = "three columns where none has a name".into();
                    let fix = "name the columns in a first line; or a decimal comma has cut numbers in two";
                    return Err(vec![fault("the first line", line, found, must, fix)]);
                }
                if !is_heading {
                    push(&record, line, &found, rows.separator, &mut points, &mut lines, &mut faults);
                }
                continue;
            };
            match longer_row(&record, width, rows.separator) {
                Some(fault) => faults.push(fault),
                None => push(&record, line, &known, rows.separator, &mut points, &mut lines, &mut faults),
            }
            if points.len() > most {
                let must = format!("at most {most} points long");
                faults.push(fault("the table", line, "longer than that".into(), must, "leave some out"));
            }
            if points.len() > most || faults.len() > MOST_FAULTS {
                break;
            }
        }
        let Some([(_, _, x), _, (_, _, z)]) = columns else {
            let must = "a line of column names, then a line for each point".into();
            return Err(vec![Fault { at: None, ..fault("the table", 1, "empty".into(), must, "add them") }]);
        };
        Ok((Self { points, lines, units: [x, z], digest }, faults))
    }
}

fn fault(field: &str, line: usize, found: String, must: String, fix: &str) -> Fault {
    Fault { field: field.into(), found, must, fix: fix.into(), at: Some(Position { line, column: 1 }) }
}

fn push(
    record: &Record,
    line: usize,
    columns: &[Column; 3],
    separator: u8,
    points: &mut Vec<[f64; 3]>,
    lines: &mut Vec<usize>,
    faults: &mut Vec<Fault>,
) {
    let mut point = [0.0; 3];
    for ((value, &(name, index, unit)), base) in
        point.iter_mut().zip(columns).zip([MILLIMETRE, MILLIMETRE, MICROMETRE])
    {
        let (cell, at) = record.get(index).map_or(("", record[0].1), |(cell, at)| (cell.as_str(), *at));
        let read = number(cell, separator).map(|number| Measure { value: number, unit }.to(base));
        match read.filter(|number| number.abs() <= LARGEST) {
            Some(number) => *value = number,
            None => {
                let fix = match read {
                    Some(_) => "check the number and the unit in the first line",
                    None => "write a number without a unit; its unit stands in the first line",
                };
                let must =
                    if read.is_some() { "of a plate's size, within a thousand metres" } else { "a number" };
                let found = if cell.is_empty() { "missing".into() } else { format!("`{}`", shortened(cell)) };
                faults.push(Fault { at: Some(at), ..fault(name, line, found, must.into(), fix) });
                return;
            }
        }
    }
    points.push(point);
    lines.push(line);
}

/// A number, with a point for decimals, or a comma where it separates no cells, and any kind of minus.
fn number(cell: &str, separator: u8) -> Option<f64> {
    let plain = |text: &str| text.parse::<f64>().ok().filter(|number| number.is_finite());
    let pointed = if separator == b',' { cell.to_owned() } else { decimal_points(cell) };
    plain(cell).or_else(|| plain(&pointed.replace(['\u{2212}', '\u{2013}'], "-")))
}

/// Which column is where, and whether the record is a line of column names.
fn columns_of(record: &Record, line: usize, units: PointUnits) -> Result<([Column; 3], bool), Vec<Fault>> {
    let Headings { names, columns: named } = headings(record, &NAMES, &[]).map_err(|fault| vec![fault])?;
    let has_names = named.iter().any(Option::is_some);
    let first_line = || record.iter().map(|(cell, _)| cell.as_str()).collect::<Vec<_>>().join(", ");
    let given = [units.plan, units.plan, units.height];
    let mut faults = Vec::new();
    let columns = std::array::from_fn(|k| {
        let name = NAMES[k];
        let index = if has_names { named[k] } else { Some(k) };
        let written = index.filter(|_| has_names).map_or("", |index| names[index].1.as_str());
        let unit = match written {
            "" => given[k],
            text => Unit::parse(text).ok().filter(|unit| unit.dimension() == Dimension::Length),
        };
        match (index, unit) {
            (Some(index), Some(unit)) => (name, index, unit),
            _ => {
                let found = format!("`{}`", shortened(&first_line()));
                let must = format!("column names with one for {name} and its unit");
                faults.push(fault(
                    "the first line",
                    line,
                    found,
                    must,
                    &format!("write {} for it", EXAMPLES[k]),
                ));
                (name, 0, MILLIMETRE)
            }
        }
    });
    if has_names || faults.is_empty() {
        return if faults.is_empty() { Ok((columns, has_names)) } else { Err(faults) };
    }
    // No names at all: one fault says it, and quotes nothing, for this may be any file.
    let found = "without names of columns".into();
    let must = "column names with their units, or the units given beside the file".into();
    let fix = format!("write {}", listing(["x (mm), y (mm), z (µm)", "x (in), y (in), z (µin)"]));
    Err(vec![fault("the first line", line, found, must, &fix)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_table_will_do() {
        let expected = [[25.4, 50.8, 2.5], [0.0, 0.5, -1.0]];
        for text in [
            "x (mm),y (mm),z (µm)\n25.4,50.8,2.5\n0,0.5,-1\n",
            "# a remark\n\nz (µm);x (mm);note;y (mm)\n2,5;25,4;a;50,8\n;;;\n# more\n\u{2212}1;0;b;0,5\n",
            "\u{feff}x [mm]\ty [mm]\tz [um]\r\n25,4\t50,8\t2,5\r\n\r\n0\t0,5\t-1\r\n",
        ] {
            assert_eq!(PointFile::read(text, PointUnits::default(), 9).unwrap().points, expected, "{text}");
        }
        let units = PointUnits { plan: Some(MILLIMETRE), height: Some(MICROMETRE) };
        let bare = PointFile::read("25.4,50.8,2.5\n0,0.5,-1", units, 9).unwrap();
        assert_eq!((bare.points.as_slice(), bare.lines), (&expected[..], vec![1, 2]));
        // Decimal commas where commas separate: neither six columns without names, nor a thousand and a bit.
        for text in ["25,4,50,8,2,5\n0,0,0,5,-1,0\n", "x (mm),y (mm),z (µm)\n\"1,234\",0,0\n"] {
            let faults = PointFile::read(text, units, 9).unwrap_err();
            assert_eq!(faults.len(), 1, "{text}: {faults:?}");
        }
    }

    #[test]
    fn what_cannot_be_read_is_named() {
        let lines = |text: &str, most| -> Vec<(usize, String)> {
            let faults = PointFile::read(text, PointUnits::default(), most).unwrap_err();
            faults.into_iter().map(|f| (f.at.map_or(0, |at| at.line), f.field)).collect()
        };
        let at = |line: usize, field: &str| (line, field.to_string());
        assert_eq!(lines("x (mm),y (mm),z (µm)\n1,2,3\n1,zwei,0\n1,2\n", 9), [at(3, "y"), at(4, "z")]);
        assert_eq!(lines("x (mm),y (mm),z (µm)\n0,5,1,5,2,5\n", 9), [at(2, "the table")]);
        assert_eq!(lines("x,y (mm),z (K)\n", 9), [at(1, "the first line"), at(1, "the first line")]);
        assert_eq!(lines("1,2,3\n", 9), [at(1, "the first line")]);
        assert_eq!(lines("x (mm),y (mm),z (µm)\n1,2,3\n1,2,3\n", 1), [at(3, "the table")]);
        assert_eq!(lines("\n# nothing\n", 9), [at(0, "the table")]);
    }
}
