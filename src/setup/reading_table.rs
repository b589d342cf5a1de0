//! The text of a readings file as rows of cells that remember where they stand.
//!
//! Any table that a person types or a spreadsheet exports will do. The separator is a tab, a semicolon or a comma,
//! whichever the first line has, in this order; a comma inside a number is a decimal sign unless it separates. A line of
//! column names says what is where, in any order; other columns are left alone. Without such a line the columns stand
//! in the order of a reading sheet: placement, target, pass, reading, time, remark; or, of three, placement, target,
//! reading; of two, target and reading. Empty lines, and lines that begin with `#`, are passed over.

use super::fault::{Fault, Position, did_you_mean, listing};
use crate::quantity::unit::{Dimension, Unit};

/// A table of readings.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingTable {
    /// Its rows, in order.
    pub rows: Vec<Cells>,
    /// Unit of bare readings, if the heading of their column names one.
    pub unit: Option<Unit>,
}

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct Cells {
    /// What stands in each of [`COLUMNS`]; empty where there is nothing.
    pub text: [String; 6],
    /// Where each stands; the row's first cell for a column that is missing.
    pub at: [Position; 6],
}

/// The columns of a reading sheet, in order.
pub const COLUMNS: [&str; 6] = ["placement", "target", "pass", "reading", "time", "remark"];
/// Index of each column.
pub const PLACEMENT: usize = 0;
/// See [`PLACEMENT`].
pub const TARGET: usize = 1;
/// See [`PLACEMENT`].
pub const PASS: usize = 2;
/// See [`PLACEMENT`].
pub const READING: usize = 3;
/// See [`PLACEMENT`].
pub const TIME: usize = 4;
/// See [`PLACEMENT`].
pub const REMARK: usize = 5;

/// Other names of columns.
const ALIASES: [(&str, usize); 12] = [
    ("stand", PLACEMENT),
    ("stand at", PLACEMENT),
    ("from", PLACEMENT),
    ("spot", TARGET),
    ("block", TARGET),
    ("block at", TARGET),
    ("value", READING),
    ("indicator", READING),
    ("remarks", REMARK),
    ("note", REMARK),
    ("notes", REMARK),
    ("comment", REMARK),
];

impl ReadingTable {
    /// Reads a table, or says why it is none.
    pub fn read(text: &str) -> Result<Self, Vec<Fault>> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let separator = separator(text);
        let records = records(text, separator)?;
        let Some(first) = records.first() else {
            return Err(vec![Fault {
                field: "the file of readings".into(),
                found: "empty".into(),
                must: "a row for each reading".into(),
                fix: "print a sheet to fill in with `howflat sheet`".into(),
                at: None,
            }]);
        };
        let (columns, unit, n_headings) = match headings(first) {
            Some(Err(fault)) => return Err(vec![fault]),
            Some(Ok((columns, unit))) => (columns, unit, 1),
            None => (by_order(&records), None, 0),
        };
        // A comma that does not separate columns can only be a decimal sign.
        let decimal = |text: &str| if separator == b',' { text.to_owned() } else { decimal_points(text) };
        let row = |record: &Vec<(String, Position)>| {
            let cell = |column: usize| columns[column].and_then(|index| record.get(index));
            let text = std::array::from_fn(|column| match cell(column) {
                Some((text, _)) if [TIME, REMARK].contains(&column) => text.clone(),
                Some((text, _)) => decimal(text),
                None => String::new(),
            });
            Cells { text, at: std::array::from_fn(|column| cell(column).map_or(record[0].1, |cell| cell.1)) }
        };
        Ok(Self { rows: records[n_headings..].iter().map(row).collect(), unit })
    }
}

/// The cells of a line, each with where it stands.
pub(super) type Record = Vec<(String, Position)>;

/// What separates the cells of a table.
pub(super) fn separator(text: &str) -> u8 {
    let is_told = |line: &&str| !line.trim().is_empty() && !is_remark(line);
    let first = text.lines().find(is_told).unwrap_or_default();
    [b'\t', b';'].into_iter().find(|&separator| first.as_bytes().contains(&separator)).unwrap_or(b',')
}

/// A line of no reading. A spreadsheet may have put quotes around it.
pub(super) fn is_remark(line: &str) -> bool {
    line.trim_start().trim_start_matches('"').trim_start().starts_with('#')
}

/// The lines of a table that hold anything, cell by cell.
pub(super) fn records(text: &str, separator: u8) -> Result<Vec<Record>, Vec<Fault>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .from_reader(text.as_bytes());
    let mut records = Vec::new();
    for record in reader.records() {
        // All of the text is UTF-8 and rows may have any length, so nothing can be wrong with a record.
        let Ok(record) = record else { continue };
        let start = record.position().map_or(0, |at| at.byte() as usize);
        let starts = cell_starts(text, start, separator);
        let cells: Record = record
            .iter()
            .enumerate()
            .map(|(index, cell)| {
                let offset = starts.get(index).copied().unwrap_or(start);
                (armed(cell.trim()).to_owned(), Position::of(text, offset))
            })
            .collect();
        let told = cells.iter().any(|(text, _)| !text.is_empty());
        if told && !cells.first().is_some_and(|(text, _)| is_remark(text)) {
            records.push(cells);
        }
        if records.len() > MOST_ROWS {
            return Err(vec![Fault {
                field: "the table".into(),
                found: format!("more than {MOST_ROWS} rows long"),
                must: format!("at most {MOST_ROWS} rows"),
                fix: "split it into several files".into(),
                at: None,
            }]);
        }
    }
    Ok(records)
}

const MOST_ROWS: usize = 2000;

/// Without the apostrophe that tells a spreadsheet that a cell is no formula.
fn armed(cell: &str) -> &str {
    cell.strip_prefix('\'').filter(|rest| rest.starts_with(['=', '+', '-', '@'])).unwrap_or(cell)
}

/// Where in `text` each cell of the record begins that is found at or after `start`.
fn cell_starts(text: &str, mut start: usize, separator: u8) -> Vec<usize> {
    let bytes = text.as_bytes();
    while matches!(bytes.get(start), Some(b'\n' | b'\r')) {
        start += 1;
    }
    let (mut starts, mut quoted) = (vec![start], false);
    for (offset, &byte) in bytes.iter().enumerate().skip(start) {
        match byte {
            b'"' => quoted = !quoted,
            b'\n' if !quoted => break,
            _ if byte == separator && !quoted => starts.push(offset + 1),
            _ => {}
        }
    }
    // Shown where the text of a cell begins, past spaces and an opening quote.
    for start in &mut starts {
        while matches!(bytes.get(*start), Some(b' ' | b'"')) {
            *start += 1;
        }
    }
    starts
}

type Columns = [Option<usize>; 6];

/// Which column is where and the unit of readings; `None` where the line is no line of column names.
fn headings(record: &Record) -> Option<Result<(Columns, Option<Unit>), Fault>> {
    let known = |name: &str| {
        let alias = || ALIASES.iter().find(|(alias, _)| *alias == name).map(|(_, column)| *column);
        COLUMNS.iter().position(|column| *column == name).or_else(alias)
    };
    let names: Vec<(String, String)> = record.iter().map(|(cell, _)| name_and_unit(cell)).collect();
    let found: Vec<Option<usize>> = names.iter().map(|(name, _)| known(name)).collect();
    if found.iter().all(Option::is_none) {
        return None;
    }
    let mut columns = [None; 6];
    for (index, column) in found.iter().enumerate() {
        if let Some(column) = column {
            columns[*column].get_or_insert(index);
        }
    }
    let fault = |found: String, must: String, fix: String, at| Fault {
        field: "the line of column names".into(),
        found,
        must,
        fix,
        at: Some(at),
    };
    for needed in [TARGET, READING] {
        if columns[needed].is_none() {
            let others = || names.iter().zip(&found).filter(|(_, found)| found.is_none());
            let likely = others().find(|((name, _), _)| did_you_mean(name, [COLUMNS[needed]]).is_some());
            let fix = match likely {
                Some(((name, _), _)) => format!("write \"{}\" for \"{name}\"", COLUMNS[needed]),
                None => format!("the columns are {}", listing(COLUMNS.map(|name| format!("\"{name}\"")))),
            };
            let found = format!("without a column \"{}\"", COLUMNS[needed]);
            let must = "one with \"target\" and \"reading\" in it".into();
            return Some(Err(fault(found, must, fix, record[0].1)));
        }
    }
    let reading = columns[READING].unwrap_or_default();
    Some(unit_of_heights(&record[reading], "reading").map(|unit| (columns, unit)))
}

/// The name of a column in lower case, and what stands in brackets behind it.
pub(super) fn name_and_unit(cell: &str) -> (String, String) {
    let (name, unit) = cell.split_once(['(', '[']).unwrap_or((cell, ""));
    let unit = unit.trim_end_matches([')', ']']).trim().to_owned();
    (name.trim().trim_end_matches([':', ',']).to_lowercase(), unit)
}

/// The unit of bare heights in a column, if its heading names one.
pub(super) fn unit_of_heights((cell, at): &(String, Position), name: &str) -> Result<Option<Unit>, Fault> {
    let written = name_and_unit(cell).1;
    if written.is_empty() {
        return Ok(None);
    }
    let unit = Unit::parse(&written).ok().filter(|unit| unit.dimension() == Dimension::Length);
    unit.map(Some).ok_or_else(|| Fault {
        field: "the line of column names".into(),
        found: format!("\"{cell}\""),
        must: "a name with a unit of length in brackets".into(),
        fix: format!("write \"{name} (µm)\", \"{name} (tenths)\" or \"{name} (µin)\""),
        at: Some(*at),
    })
}

/// The columns of a table without names.
fn by_order(records: &[Record]) -> Columns {
    match records.iter().map(Vec::len).max() {
        Some(..=2) => [None, Some(0), None, Some(1), None, None],
        Some(3) => [Some(0), Some(1), None, Some(2), None, None],
        _ => std::array::from_fn(Some),
    }
}

/// With a point for every comma that stands between digits.
pub(super) fn decimal_points(text: &str) -> String {
    let bytes = text.as_bytes();
    let is_digit = |at: Option<usize>| at.and_then(|at| bytes.get(at)).is_some_and(u8::is_ascii_digit);
    text.char_indices()
        .map(|(at, c)| match c {
            ',' if is_digit(Some(at + 1)) && (at == 0 || !bytes[at - 1].is_ascii_alphabetic()) => '.',
            c => c,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::unit::MICROMETRE;

    fn told(text: &str) -> Vec<[String; 3]> {
        let table = ReadingTable::read(text).unwrap();
        table.rows.iter().map(|row| [PLACEMENT, TARGET, READING].map(|c| row.text[c].clone())).collect()
    }

    #[test]
    fn separators_names_and_orders() {
        let expected = [["front left", "middle", "1.5"]];
        for text in [
            "placement,target,reading\nfront left,middle,1.5\n",
            "Reading; Target ; Placement\r\n1,5;middle;\"front left\"\r\n",
            "\u{feff}target\tstand\toperator\tvalue\nmiddle\tfront left\tIvo\t1,5\n",
            "# a remark, with a comma\n\nfront left,middle,1,1.5\n",
            "\"# a remark\",,,\nfront left,middle,1,1.5,08:30,dust\n",
            "front left;middle;1,5",
        ] {
            assert_eq!(told(text), expected, "{text}");
        }
        assert_eq!(told("middle, 1.5\n"), [["", "middle", "1.5"]]);
    }

    #[test]
    fn cells_know_where_they_stand() {
        let text = "\n# remark\ntarget,reading,remark\n\n\"a, \"\"b\"\"\", +2 ,\"two\nlines\"\nc,é,\n";
        let table = ReadingTable::read(text).unwrap();
        let at =
            |row: usize, column: usize| (table.rows[row].at[column].line, table.rows[row].at[column].column);
        assert_eq!((at(0, TARGET), at(0, READING), at(0, REMARK)), ((5, 2), (5, 13), (5, 18)));
        assert_eq!((at(1, TARGET), at(1, READING)), ((7, 1), (7, 3)));
        assert_eq!(table.rows[0].text[TARGET], "a, \"b\"");
    }

    #[test]
    fn a_unit_in_the_heading() {
        let unit = |text: &str| ReadingTable::read(text).map(|table| table.unit);
        assert_eq!(unit("target,reading (um)\na,1\n"), Ok(Some(MICROMETRE)));
        assert_eq!(unit("target,reading\na,1\n"), Ok(None));
        let faults = unit("target,reading (K)\na,1\n").unwrap_err();
        assert_eq!(faults[0].at, Some(Position { line: 1, column: 8 }));
        let faults = unit("target,readng,time\na,1,\n").unwrap_err();
        assert_eq!(faults[0].fix, "write \"reading\" for \"readng\"");
        assert_eq!(unit(" \n# nothing\n").unwrap_err()[0].found, "empty");
    }
}
