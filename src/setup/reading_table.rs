//! The text of a readings file as rows of cells that remember where they stand.
//!
//! Any table that a person types or a spreadsheet exports will do. The separator is a tab, a semicolon, a bar or a comma,
//! in this order: the first of which the first line has as many as commas; a comma inside a number is a decimal sign unless it separates. A line of
//! column names says what is where, in any order; other columns are left alone. Without such a line the columns stand
//! in the order of a reading sheet: placement, target, pass, reading, time, remark; or, of three, placement, target,
//! reading; of two, target and reading. Empty lines, and lines that begin with `#`, are passed over.

use super::fault::{Fault, Position, did_you_mean, listing};
use super::file_text::unmarked;
use super::readings::shortened;
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
        let TextTable { separator, records } = TextTable::read(text)?;
        let Some(first) = records.first() else {
            return Err(vec![Fault {
                field: "the file of readings".into(),
                found: "empty".into(),
                must: "a row for each reading".into(),
                fix: "print a sheet to fill in with `howflat sheet`".into(),
                at: None,
            }]);
        };
        let (columns, unit, n_headings) = match own_headings(first).map_err(|fault| vec![fault])? {
            Some((columns, unit)) => (columns, unit, 1),
            None => (by_order(&records), None, 0),
        };
        let n_columns = if n_headings == 1 { first.len() } else { COLUMNS.len() };
        let freely_written = [columns[TIME], columns[REMARK]];
        let is_free = |index: usize| index >= n_columns || freely_written.contains(&Some(index));
        if let (b',', Some(reading)) = (separator, columns[READING])
            && is_free(reading + 1)
            && let Some(fault) = records[n_headings..].iter().find_map(|record| cut_number(record, reading))
        {
            return Err(vec![fault]);
        }
        if let Some(fault) = records.iter().find_map(|record| longer_row(record, n_columns, separator)) {
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

/// A table of any kind: the lines that hold something, cell by cell.
pub(super) struct TextTable {
    /// What stands between its cells.
    pub separator: u8,
    /// Its lines, that of the column names included.
    pub records: Vec<Record>,
}

impl TextTable {
    /// Reads a table of at most [`MOST_ROWS`] rows, or says why it is none.
    pub fn read(text: &str) -> Result<Self, Vec<Fault>> {
        let mut lines = Lines::of(text)?;
        let mut records = Vec::new();
        while let Some(record) = lines.next()? {
            records.push(record);
            if records.len() > MOST_ROWS {
                let found = format!("more than {MOST_ROWS} rows long");
                let must = format!("at most {MOST_ROWS} rows");
                return Err(vec![table_fault(&found, &must, "split it into several files", None)]);
            }
        }
        let spaced = |record: &Record| record.len() == 1 && record[0].0.contains([' ', '\u{a0}']);
        if !records.is_empty() && records.iter().all(spaced) {
            return Err(vec![no_table("text with nothing but blanks between its columns")]);
        }
        Ok(Self { separator: lines.separator, records })
    }
}

fn table_fault(found: &str, must: &str, fix: &str, at: Option<Position>) -> Fault {
    Fault { field: "the table".into(), found: found.into(), must: must.into(), fix: fix.into(), at }
}

fn no_table(found: &str) -> Fault {
    let must = "a row on each line, its cells with commas, semicolons or tabs between them";
    table_fault(found, must, "save it as CSV; for readings, `howflat sheet` writes a table to fill in", None)
}

/// A row with something in it where no column is any more: most likely a separator too many, which moves all that follows
/// into the wrong column. Blanks there are a spreadsheet's, unless a number has been cut in two by its decimal comma.
pub(super) fn longer_row(record: &Record, n_columns: usize, separator: u8) -> Option<Fault> {
    if record.len() <= n_columns {
        return None;
    }
    let may_be_moved = |(text, _): &(String, Position)| text.bytes().all(|byte| byte.is_ascii_digit());
    let beyond = || record.iter().skip(n_columns);
    if separator == b','
        && beyond().all(may_be_moved)
        && let Some(fault) = (0..record.len()).find_map(|index| cut_number(record, index))
    {
        return Some(fault);
    }
    let (text, at) = beyond().find(|(text, _)| !text.is_empty())?;
    let found = format!("a row with \"{}\" beyond its last column", shortened(text));
    let must = format!("rows of at most {n_columns} cells");
    let fix = "put quotes around a cell that holds the separator, or take out what is too much";
    Some(table_fault(&found, &must, fix, Some(*at)))
}

/// A whole number and, right behind a comma, digits: a decimal comma where commas separate.
fn cut_number(record: &Record, index: usize) -> Option<Fault> {
    let ((whole, at), (rest, next)) = (record.get(index)?, record.get(index + 1)?);
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let touches = next.line == at.line && next.column == at.column + whole.chars().count() + 1;
    let is_whole = digits(whole.trim_start_matches(['+', '-', '\u{2212}', '\u{2013}']).trim_start());
    (touches && is_whole && digits(rest) && rest.len() <= 3).then(|| {
        table_fault(
            &format!("a row with \"{whole},{rest}\", two cells where commas separate"),
            "numbers with a point as decimal sign",
            &format!(
                "write {whole}.{rest}, or semicolons between all cells; if these are two cells, put a blank between them"
            ),
            Some(*at),
        )
    })
}

/// What separates the cells of a table.
fn separator(text: &str) -> u8 {
    let is_told = |line: &&str| !line.trim().is_empty() && !is_remark(line);
    let first = text.lines().find(is_told).unwrap_or_default();
    // Outside of quotes; a remark may hold one or the other.
    let count = |separator: u8| {
        first.split('"').step_by(2).flat_map(str::bytes).filter(|byte| *byte == separator).count()
    };
    let likely = |separator: &u8| count(*separator) >= count(b',').max(1);
    [b'\t', b';', b'|'].into_iter().find(likely).unwrap_or(b',')
}

/// A line of no reading. A spreadsheet may have put quotes around it.
fn is_remark(line: &str) -> bool {
    line.trim_start().trim_start_matches('"').trim_start().starts_with('#')
}

/// The lines of a table that hold anything, one after the other: RFC 4180, with any separator. Goes through the text once,
/// and knows where it is.
pub(super) struct Lines<'a> {
    text: &'a str,
    /// What stands between its cells.
    pub separator: u8,
    offset: usize,
    /// The place that was told last, and its offset: what comes before is not counted again.
    told: (usize, Position),
}

impl<'a> Lines<'a> {
    /// The lines of a text; not those of JSON, which is no table.
    pub fn of(text: &'a str) -> Result<Self, Vec<Fault>> {
        let text = unmarked(text);
        if text.trim_start().starts_with(['{', '[']) {
            return Err(vec![no_table("JSON, as a setup is")]);
        }
        let told = (0, Position { line: 1, column: 1 });
        Ok(Self { text, separator: separator(text), offset: 0, told })
    }

    /// The next line that holds anything but a remark.
    pub fn next(&mut self) -> Result<Option<Record>, Vec<Fault>> {
        while self.offset < self.text.len() {
            let cells = self.record()?;
            let told = cells.iter().any(|(text, _)| !text.is_empty());
            if told && !cells.first().is_some_and(|(text, _)| is_remark(text)) {
                return Ok(Some(cells));
            }
        }
        Ok(None)
    }

    fn byte(&self) -> Option<u8> {
        self.text.as_bytes().get(self.offset).copied()
    }

    fn position(&mut self) -> Position {
        let (offset, Position { line, column }) = self.told;
        let column = column + self.text[offset..self.offset].chars().count();
        self.told = (self.offset, Position { line, column });
        self.told.1
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
                if cells.len() == MOST_CELLS {
                    let found = format!("a row of more than {MOST_CELLS} cells");
                    let must = "rows of a cell for each column";
                    let fix = "check that its lines end where rows end";
                    return Err(vec![table_fault(&found, must, fix, Some(self.position()))]);
                }
            }
        }
        if self.byte() == Some(b'\n') {
            self.end_line();
        }
        Ok(cells)
    }

    fn end_line(&mut self) {
        self.offset += 1;
        self.told = (self.offset, Position { line: self.told.1.line + 1, column: 1 });
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
        let mut is_below = false;
        let stray = |found: &str| {
            let must = "cells whose quotes open and close around the whole cell";
            let fix = "take this quote away, or close it where its cell ends (write \"\" for one inside)";
            Err(vec![table_fault(found, must, fix, Some(quote))])
        };
        loop {
            let rest = &self.text[self.offset..];
            let Some(length) = rest.find(['"', '\n']) else {
                return stray("a quote that is never closed");
            };
            // A row that was swallowed has separators; a remark of several lines has none below its first.
            if is_below && rest.as_bytes()[..length].contains(&self.separator) {
                return stray("a quote that swallows the row below it");
            }
            cell += &rest[..length];
            self.offset += length;
            if self.byte() == Some(b'\n') {
                cell.push('\n');
                is_below = true;
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
/// As many as a spreadsheet can have.
const MOST_CELLS: usize = 16_384;

/// Without the apostrophe that tells a spreadsheet that a cell is no formula.
fn armed(cell: &str) -> &str {
    cell.strip_prefix('\'').filter(|rest| rest.starts_with(['=', '+', '-', '@'])).unwrap_or(cell)
}

type Columns = [Option<usize>; 6];

/// A first line, read as a line of column names.
pub(super) struct Headings<const N: usize> {
    /// Each cell's name and unit.
    pub names: Vec<(String, String)>,
    /// Where each of the known columns is.
    pub columns: [Option<usize>; N],
}

/// Which of the known columns, by these names or by others, stands where; none may be there twice.
pub(super) fn headings<const N: usize>(
    record: &Record,
    known: &[&str; N],
    aliases: &[(&str, usize)],
) -> Result<Headings<N>, Fault> {
    let names: Vec<(String, String)> = record.iter().map(|(cell, _)| name_and_unit(cell)).collect();
    let mut columns = [None; N];
    for (index, (name, _)) in names.iter().enumerate() {
        let alias = || aliases.iter().find(|(alias, _)| alias == name).map(|(_, column)| *column);
        if let Some(column) = known.iter().position(|column| column == name).or_else(alias)
            && columns[column].replace(index).is_some()
        {
            return Err(Fault {
                field: "the line of column names".into(),
                found: format!("with two columns for \"{}\"", known[column]),
                must: "one with every column once".into(),
                fix: "give one of the two another name".into(),
                at: record.first().map(|cell| cell.1),
            });
        }
    }
    Ok(Headings { names, columns })
}

/// Which column is where and the unit of readings; `None` where the line is no line of column names.
fn own_headings(record: &Record) -> Result<Option<(Columns, Option<Unit>)>, Fault> {
    let Headings { names, columns } = headings(record, &COLUMNS, &ALIASES)?;
    if columns.iter().all(Option::is_none) {
        return Ok(None);
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
            let is_other = |index: &usize| !columns.contains(&Some(*index));
            let mut others = (0..names.len()).filter(is_other).map(|index| &names[index].0);
            let fix = match others.find(|name| did_you_mean(name, [COLUMNS[needed]]).is_some()) {
                Some(name) => format!("write \"{}\" for \"{name}\"", COLUMNS[needed]),
                None => format!("the columns are {}", listing(COLUMNS.map(|name| format!("\"{name}\"")))),
            };
            let found = format!("without a column \"{}\"", COLUMNS[needed]);
            let must = "one with \"target\" and \"reading\" in it".into();
            return Err(fault(found, must, fix, record[0].1));
        }
    }
    let reading = columns[READING].unwrap_or_default();
    unit_of_heights(&record[reading], "reading").map(|unit| Some((columns, unit)))
}

/// The name of a column in lower case, and what stands in brackets behind it.
fn name_and_unit(cell: &str) -> (String, String) {
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
            "front left,middle,1,1.5,08:30,dust; wiped | read again",
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
            ("target,reading\n\"a,1", (2, 1), "never closed"),
            ("target,reading\n\"a,1\nb,2\n", (2, 1), "swallows the row below"),
            ("target,reading\n\"a,1\nb,2\nc\",3\n", (2, 1), "swallows the row below"),
            ("target,reading,remark\na,1,\"dust\nb,2,\"\n", (2, 5), "swallows the row below"),
            ("target,reading\n\"a\"b,1\n", (2, 1), "closes before its cell ends"),
            ("target,reading\na,1\nb,1,dust\n", (3, 5), "beyond its last column"),
            ("target;reading\na;1\nb;1;5\n", (3, 5), "beyond its last column"),
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
        // A fraction of a second, but for a busy machine; counting from the start for each cell takes an hour.
        assert!(begun.elapsed().as_secs() < 20, "{:?}", begun.elapsed());
    }

    /// As any line that somebody pastes: a row of very many cells, a cell that never ends, a remark, JSON.
    #[test]
    fn one_long_line_is_linear() {
        let size = 4 << 20;
        let quoted = format!("\"{}", "\"\"".repeat(size / 2));
        let json = format!("[{}1]", "1,".repeat(size / 2));
        let lines =
            [",".repeat(size), "a,".repeat(size / 2), "a".repeat(size), "#,".repeat(size / 2), quoted, json];
        for text in lines {
            let begun = std::time::Instant::now();
            let _ = ReadingTable::read(&text);
            assert!(begun.elapsed().as_secs() < 20, "{:?}", begun.elapsed());
        }
    }

    #[test]
    fn a_number_cut_by_its_decimal_comma_is_refused() {
        for (text, at) in [
            ("target,reading,remark\nmiddle,+2,4\n", (2, 8)),
            ("target,reading\nmiddle,-0,25\n", (2, 8)),
            ("front left,middle,1,+2,4\n", (1, 21)),
            ("placement,target,pass,reading,time,remark\nfront left,middle,1,2,4,,\n", (2, 21)),
        ] {
            let fault = &ReadingTable::read(text).unwrap_err()[0];
            let at_told = fault.at.map(|at| (at.line, at.column));
            assert!(at_told == Some(at) && fault.found.contains("two cells"), "{text}: {fault}");
        }
        // A pass behind its reading, a time, and cells with a blank between are what they are.
        for sound in [
            "target,reading,pass\nmiddle,2,1\n",
            ",middle,1,2,8:30\n",
            "target,reading,remark\nmiddle,2, 4\n",
        ] {
            assert_eq!(
                ReadingTable::read(sound).map(|table| table.rows[0].text[READING].clone()),
                Ok("2".into())
            );
        }
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
