//! The text of a readings file as rows of cells that remember where they stand.
//!
//! Any table that a person types or a spreadsheet exports will do. The separator is a tab, a semicolon, a bar or a comma,
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
        if let Some(fault) = no_table(text, &records) {
            return Err(vec![fault]);
        }
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
        let n_columns = if n_headings == 1 { first.len() } else { COLUMNS.len() };
        if let Some(fault) = longer_row(&records, n_columns) {
            return Err(vec![fault]);
        }
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

/// A text that is no table at all: JSON, or words with nothing but blanks between them.
pub(super) fn no_table(text: &str, records: &[Record]) -> Option<Fault> {
    let is_json = text.trim_start().starts_with(['{', '[']);
    let spaced = |record: &Record| record.len() == 1 && record[0].0.contains([' ', '\u{a0}']);
    let is_spaced = !records.is_empty() && records.iter().all(spaced);
    let found = match (is_json, is_spaced) {
        (true, _) => "JSON, as a setup is",
        (_, true) => "text with nothing but blanks between its columns",
        _ => return None,
    };
    Some(Fault {
        field: "the table".into(),
        found: found.into(),
        must: "a row on each line, its cells with commas, semicolons or tabs between them".into(),
        fix: "save it as CSV, or fill in the sheet that `howflat sheet` writes".into(),
        at: None,
    })
}

/// A row with something in it where no column is any more: most likely a separator too many, which moves all that follows
/// into the wrong column.
pub(super) fn longer_row(records: &[Record], n_columns: usize) -> Option<Fault> {
    let beyond = |record: &Record| record.iter().skip(n_columns).find(|(text, _)| !text.is_empty()).cloned();
    let (text, at) = records.iter().find_map(beyond)?;
    Some(Fault {
        field: "the table".into(),
        found: format!("a row with \"{text}\" beyond its last column"),
        must: format!("rows of at most {n_columns} cells"),
        fix: "put quotes around a cell that holds the separator, or take out what is too much".into(),
        at: Some(at),
    })
}

/// A column that is named twice.
pub(super) fn named_twice(record: &Record, name: &str) -> Fault {
    Fault {
        field: "the line of column names".into(),
        found: format!("with two columns for \"{name}\""),
        must: "one with every column once".into(),
        fix: "give one of the two another name".into(),
        at: record.first().map(|cell| cell.1),
    }
}

/// What separates the cells of a table.
pub(super) fn separator(text: &str) -> u8 {
    let is_told = |line: &&str| !line.trim().is_empty() && !is_remark(line);
    let first = text.lines().find(is_told).unwrap_or_default();
    [b'\t', b';', b'|'].into_iter().find(|&separator| first.as_bytes().contains(&separator)).unwrap_or(b',')
}

/// A line of no reading. A spreadsheet may have put quotes around it.
fn is_remark(line: &str) -> bool {
    line.trim_start().trim_start_matches('"').trim_start().starts_with('#')
}

/// The lines of a table that hold anything, cell by cell: RFC 4180, with any separator.
pub(super) fn records(text: &str, separator: u8) -> Result<Vec<Record>, Vec<Fault>> {
    let mut records = Vec::new();
    let mut scanner = Scanner { text, separator, offset: 0, line: 1, line_start: 0 };
    while scanner.offset < text.len() {
        let cells = scanner.record()?;
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

/// Goes through a table once, and knows where it is.
struct Scanner<'a> {
    text: &'a str,
    separator: u8,
    offset: usize,
    line: usize,
    line_start: usize,
}

impl Scanner<'_> {
    fn byte(&self) -> Option<u8> {
        self.text.as_bytes().get(self.offset).copied()
    }

    fn position(&self) -> Position {
        let column = self.text[self.line_start..self.offset].chars().count() + 1;
        Position { line: self.line, column }
    }

    /// One row, with its line end passed over.
    fn record(&mut self) -> Result<Record, Vec<Fault>> {
        let mut cells = Vec::new();
        // A remark is no row of cells, whatever it holds.
        let rest = &self.text[self.offset..];
        let line = rest.split('\n').next().unwrap_or(rest);
        if line.trim_start().starts_with('#') {
            cells.push((line.trim().to_owned(), self.position()));
            self.offset += line.len();
        } else {
            loop {
                cells.push(self.cell()?);
                if self.byte() != Some(self.separator) {
                    break;
                }
                self.offset += 1;
            }
        }
        if self.byte() == Some(b'\n') {
            self.end_line();
        }
        Ok(cells)
    }

    fn end_line(&mut self) {
        self.offset += 1;
        self.line += 1;
        self.line_start = self.offset;
    }

    /// One cell, up to its separator or line end.
    fn cell(&mut self) -> Result<(String, Position), Vec<Fault>> {
        while self.byte().is_some_and(|byte| byte == b' ' && byte != self.separator) {
            self.offset += 1;
        }
        let cell = if self.byte() == Some(b'"') {
            self.quoted()?
        } else {
            let at = self.position();
            (self.plain().to_owned(), at)
        };
        Ok((armed(cell.0.trim()).to_owned(), cell.1))
    }

    /// What stands before the next separator or line end.
    fn plain(&mut self) -> &str {
        let rest = &self.text[self.offset..];
        let ends = |byte: &u8| *byte == b'\n' || *byte == self.separator;
        let length = rest.bytes().position(|byte| ends(&byte)).unwrap_or(rest.len());
        self.offset += length;
        &rest[..length]
    }

    fn quoted(&mut self) -> Result<(String, Position), Vec<Fault>> {
        let quote = self.position();
        self.offset += 1;
        let (at, mut cell) = (self.position(), String::new());
        let stray = |found: &str| {
            Err(vec![Fault {
                field: "the table".into(),
                found: found.into(),
                must: "cells whose quotes open and close around the whole cell".into(),
                fix: "take this quote away, or close it where its cell ends (write \"\" for one inside)"
                    .into(),
                at: Some(quote),
            }])
        };
        loop {
            let rest = &self.text[self.offset..];
            let Some(length) = rest.find(['"', '\n']) else {
                return stray("a quote that is never closed");
            };
            // A row that was swallowed has separators; a remark of several lines has none below its first.
            if cell.contains('\n') && rest.as_bytes()[..length].contains(&self.separator) {
                return stray("a quote that swallows the row below it");
            }
            cell += &rest[..length];
            self.offset += length;
            if self.byte() == Some(b'\n') {
                cell.push('\n');
                self.end_line();
            } else {
                self.offset += 1;
                if self.byte() != Some(b'"') {
                    break;
                }
                cell.push('"');
                self.offset += 1;
            }
        }
        if !self.plain().trim().is_empty() {
            return stray("a quote that closes before its cell ends");
        }
        Ok((cell, at))
    }
}

const MOST_ROWS: usize = 2000;

/// Without the apostrophe that tells a spreadsheet that a cell is no formula.
fn armed(cell: &str) -> &str {
    cell.strip_prefix('\'').filter(|rest| rest.starts_with(['=', '+', '-', '@'])).unwrap_or(cell)
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
        if let Some(column) = column
            && columns[*column].replace(index).is_some()
        {
            return Some(Err(named_twice(record, COLUMNS[*column])));
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
    fn stray_quotes_and_rows_that_are_too_long_are_refused() {
        for (text, at, found) in [
            ("target,reading\n\"a,1\nb,2\n", (2, 1), "never closed"),
            ("target,reading\n\"a,1\nb,2\nc\",3\n", (2, 1), "swallows the row below"),
            ("target,reading,remark\na,1,\"dust\nb,2,\"\n", (2, 5), "swallows the row below"),
            ("target,reading\n\"a\"b,1\n", (2, 1), "closes before its cell ends"),
            ("target,reading\na,1\nb,1,5\n", (3, 5), "beyond its last column"),
            ("target,reading,value\na,1,2\n", (1, 1), "two columns for \"reading\""),
        ] {
            let faults = ReadingTable::read(text).unwrap_err();
            let Position { line, column } = faults[0].at.unwrap();
            assert_eq!((faults.len(), (line, column)), (1, at), "{text}");
            assert!(faults[0].found.contains(found), "{text}: {}", faults[0]);
        }
        // A remark of several lines, quotes inside, and empty cells at the end of a row are none of that.
        let sound = "target,reading,remark\na,1,\"dust,\nwiped \"\"well\"\"\"\nb 5\",2,,,,\n";
        assert_eq!(ReadingTable::read(sound).unwrap().rows.len(), 2);
        assert!(ReadingTable::read("{ \"plate\": {} }").unwrap_err()[0].found.contains("JSON"));
        assert!(ReadingTable::read("middle 1.5\nleft 2\n").unwrap_err()[0].found.contains("blanks"));
        assert_eq!(told("middle|1.5\n"), [["", "middle", "1.5"]]);
    }

    #[test]
    fn reading_is_linear() {
        let rows = ",".repeat(250) + "\n";
        let begun = std::time::Instant::now();
        let text = format!("target,reading\na,1\n{}", rows.repeat((4 << 20) / rows.len()));
        assert_eq!(ReadingTable::read(&text).map(|table| table.rows.len()), Ok(1));
        // Wide enough for a busy machine; counting from the start for each cell takes an hour.
        assert!(begun.elapsed().as_secs() < 5, "{:?}", begun.elapsed());
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
