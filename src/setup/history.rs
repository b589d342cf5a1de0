//! A history file: what was found and done on which date, as a person types it.
//!
//! Any table that a person types or a spreadsheet exports will do; the separator, empty lines and remarks are as in
//! `reading_table.rs`. The first line names the columns, in any order:
//!
//! - `date`: `2024-03-01`, and nothing else, since `1/3/24` is two different days;
//! - `plate`: which one; may be left out where there is only one;
//! - `kind`: `certificate`, `shop check` or `resurfacing`;
//! - `value`: the flatness deviation of a certificate or left by a resurfacing, the spread of a shop check; a bare
//!   number in the unit of the column's heading or of the setup, or a number with its unit;
//! - `U`: the uncertainty of the value, likewise; of a height, where the certificate is a map;
//! - `k`: the coverage factor of U, 2 where it is blank, or `limits` where U is the half-width of limits and nothing
//!   more;
//! - `file`: in place of a value, a certificate's map or a shop check's readings, named from where the history is;
//! - `remark`: kept, changes nothing.
//!
//! Rows may stand in any order.

use super::checked::Setup;
use super::fault::{Fault, Position, did_you_mean, listing};
use super::map;
use super::reading_table::{
    Record, TextTable, decimal_points, longer_row, name_and_unit, named_twice, unit_of_heights,
};
use super::readings::{Readings, is_same, shortened};
use crate::decision::recall_plan::{Entry, Found, PlateRecord};
use crate::propagation::wear_history::Known;
use crate::quantity::day::Day;
use crate::quantity::unit::{Dimension, MICROMETRE, Measure, ONE, Unit};
use sha2::{Digest, Sha256};

/// A history, read and found sound.
#[derive(Debug, Clone, PartialEq)]
pub struct HistoryFile {
    /// Every plate's record, in the order in which the file first names them.
    pub records: Vec<PlateRecord>,
    /// The row behind each entry of each record.
    pub rows: Vec<Vec<HistoryRow>>,
    /// Whether a coverage factor was left out, and 2 taken.
    pub assumed_factor: bool,
    /// SHA-256 of the file's text and of all files that it names, in hexadecimal.
    pub digest: String,
}

/// One row as it was written.
#[derive(Debug, Clone, PartialEq)]
pub struct HistoryRow {
    /// Line of the file, from 1.
    pub line: usize,
    /// What it is.
    pub kind: EntryKind,
    /// The value in µm, where one was written.
    pub value: Option<f64>,
    /// Its uncertainty U in µm, where one was written.
    pub expanded: Option<f64>,
    /// The coverage factor, as taken; `None` for limits and where there is no U.
    pub factor: Option<f64>,
    /// The file's name.
    pub file: String,
    /// The remark.
    pub remark: String,
}

/// What a row can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EntryKind {
    /// A calibration certificate.
    Certificate,
    /// A check in the shop.
    ShopCheck,
    /// A resurfacing.
    Resurfacing,
}

impl EntryKind {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Certificate, Self::ShopCheck, Self::Resurfacing];

    /// How a history file calls it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Certificate => "certificate",
            Self::ShopCheck => "shop check",
            Self::Resurfacing => "resurfacing",
        }
    }
}

const COLUMNS: [&str; 8] = ["date", "plate", "kind", "value", "u", "k", "file", "remark"];
const DATE: usize = 0;
const PLATE: usize = 1;
const KIND: usize = 2;
const VALUE: usize = 3;
const EXPANDED: usize = 4;
const FACTOR: usize = 5;
const FILE: usize = 6;
const REMARK: usize = 7;

/// Other names of columns and kinds.
const ALIASES: [(&str, usize); 8] = [
    ("day", DATE),
    ("name", PLATE),
    ("what", KIND),
    ("flatness", VALUE),
    ("spread", VALUE),
    ("uncertainty", EXPANDED),
    ("note", REMARK),
    ("remarks", REMARK),
];
const KINDS: [(&str, EntryKind); 4] = [
    ("calibration", EntryKind::Certificate),
    ("check", EntryKind::ShopCheck),
    ("resurfaced", EntryKind::Resurfacing),
    ("lapped", EntryKind::Resurfacing),
];

/// Larger heights are slips, in µm.
const LARGEST: f64 = 2000.0;
/// Most plates in one history.
const MOST_PLATES: usize = 200;

impl HistoryFile {
    /// Reads a history for a setup, or says everything that is wrong in it, by line.
    ///
    /// `load` reads a file that the history names, or says why it cannot. `today` is the day that is asked
    /// for, if any: no entry may be later.
    pub fn read(
        text: &str,
        setup: &Setup,
        today: Option<Day>,
        load: &dyn Fn(&str) -> Result<String, String>,
    ) -> Result<Self, Vec<Fault>> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let TextTable { separator, records: lines } = TextTable::read(text)?;
        let columns = columns(&lines)?;
        if let Some(fault) = lines.iter().find_map(|line| longer_row(line, lines[0].len(), separator)) {
            return Err(vec![fault]);
        }
        let unit = match columns[VALUE] {
            Some(index) => unit_of_heights(&lines[0][index], "value").map_err(|fault| vec![fault])?,
            None => None,
        };
        let mut reader = Reader {
            setup,
            unit: unit.unwrap_or(setup.unit),
            today,
            load,
            columns,
            decimal_comma: separator != b',',
            plates: Vec::new(),
            assumed_factor: false,
            digest: Sha256::new(),
            faults: Vec::new(),
        };
        reader.digest.update(text);
        for line in &lines[1..] {
            reader.row(line);
        }
        reader.finish(&lines[0])
    }

    /// What to say of an entry (of the given record) that cannot be true together with those before it.
    pub fn contradiction(&self, record: usize, entry: usize) -> Fault {
        let row = &self.rows[record][entry];
        Fault {
            field: format!("the {} of {}", row.kind.name(), self.records[record].entries[entry].day),
            found: "out of reach of every entry before it".into(),
            must: "what wear can lead to from these".into(),
            fix: "look for a slip of the pen or another plate's row; write a row for a resurfacing that is missing; if the \
                  plate was harmed in between, begin a new history with this entry"
                .into(),
            at: Some(Position { line: row.line, column: 1 }),
        }
    }

    /// The latest day on record.
    pub fn last_day(&self) -> Option<Day> {
        self.records.iter().flat_map(|record| &record.entries).map(|entry| entry.day).max()
    }
}

type Columns = [Option<usize>; 8];

/// Which column is where.
fn columns(lines: &[Record]) -> Result<Columns, Vec<Fault>> {
    let fault = |found: String, must: &str, fix: String, at| {
        let field = "the history".into();
        Err(vec![Fault { field, found, must: must.into(), fix, at }])
    };
    let example = "write \"date,kind,value,U,k\" in the first line, then a row such as \"2024-03-01,certificate,60 µin,20 \
                   µin,2\"";
    let Some(first) = lines.first() else {
        return fault("empty".into(), "a line of column names and a row for each date", example.into(), None);
    };
    let mut columns = [None; 8];
    let names: Vec<String> = first.iter().map(|(cell, _)| name_and_unit(cell).0).collect();
    for (index, name) in names.iter().enumerate() {
        let alias = || ALIASES.iter().find(|(alias, _)| alias == name).map(|(_, column)| *column);
        if let Some(column) = COLUMNS.iter().position(|column| column == name).or_else(alias)
            && columns[column].replace(index).is_some()
        {
            return Err(vec![named_twice(first, COLUMNS[column])]);
        }
    }
    for needed in [DATE, KIND] {
        if columns[needed].is_none() {
            let other = names.iter().find(|name| did_you_mean(name, [COLUMNS[needed]]).is_some());
            let fix = match other {
                Some(name) => format!("write \"{}\" for \"{name}\"", COLUMNS[needed]),
                None => example.into(),
            };
            let found = format!("without a column \"{}\" in its first line", COLUMNS[needed]);
            return fault(found, "a table with column names", fix, Some(first[0].1));
        }
    }
    Ok(columns)
}

struct Reader<'a> {
    setup: &'a Setup,
    unit: Unit,
    today: Option<Day>,
    load: &'a dyn Fn(&str) -> Result<String, String>,
    columns: Columns,
    decimal_comma: bool,
    plates: Vec<(String, Vec<(Entry, HistoryRow)>)>,
    assumed_factor: bool,
    digest: Sha256,
    faults: Vec<Fault>,
}

impl Reader<'_> {
    fn cell<'b>(&self, line: &'b Record, column: usize) -> (&'b str, Position) {
        let cell = self.columns[column].and_then(|index| line.get(index));
        cell.map_or(("", line[0].1), |(text, at)| (text.as_str(), *at))
    }

    fn fault(&mut self, line: &Record, column: usize, must: impl Into<String>, fix: impl Into<String>) {
        let (text, at) = self.cell(line, column);
        let found = if text.is_empty() { "blank".into() } else { format!("\"{}\"", shortened(text)) };
        self.fault_found(column, found, must, fix, at);
    }

    fn fault_found(
        &mut self,
        column: usize,
        found: String,
        must: impl Into<String>,
        fix: impl Into<String>,
        at: Position,
    ) {
        let field = if column == EXPANDED { "U" } else { COLUMNS[column] }.into();
        self.faults.push(Fault { field, found, must: must.into(), fix: fix.into(), at: Some(at) });
    }

    fn row(&mut self, line: &Record) {
        let n_faults = self.faults.len();
        let day = self.day(line);
        let kind = self.kind(line);
        let value = self.height(line, VALUE);
        let expanded = self.height(line, EXPANDED);
        let factor = self.factor(line);
        let plate = self.plate(line);
        let (Some(day), Some(kind)) = (day, kind) else { return };
        if self.faults.len() > n_faults {
            return;
        }
        let known = self.known(line, kind, value, expanded, factor);
        let Some(found) = known.and_then(|known| self.found(line, kind, value, known, expanded, factor))
        else {
            return;
        };
        let row = HistoryRow {
            line: line[0].1.line,
            kind,
            value,
            expanded,
            factor: expanded.and(factor),
            file: self.cell(line, FILE).0.into(),
            remark: self.cell(line, REMARK).0.into(),
        };
        if let Some(plate) = plate {
            self.plates[plate].1.push((Entry { day, found }, row));
        }
    }

    fn day(&mut self, line: &Record) -> Option<Day> {
        let (text, _) = self.cell(line, DATE);
        let day = Day::parse(text);
        match (day, self.today) {
            (None, _) => {
                let must = "a day of the calendar from 1900 to 2199, as year-month-day";
                self.fault(line, DATE, must, "write 2024-03-01 for the first of March 2024");
                None
            }
            (Some(day), Some(today)) if day > today => {
                let must = format!("no later than the day asked for, {today}");
                self.fault(line, DATE, must, "give a later day with --on, or take the row out");
                None
            }
            (day, _) => day,
        }
    }

    fn kind(&mut self, line: &Record) -> Option<EntryKind> {
        let (text, _) = self.cell(line, KIND);
        let known = || EntryKind::ALL.into_iter().map(|kind| (kind.name(), kind)).chain(KINDS);
        let kind = known().find(|(name, _)| is_same(name, text)).map(|(_, kind)| kind);
        if kind.is_none() {
            let names = EntryKind::ALL.map(|kind| format!("\"{}\"", kind.name()));
            let fix = match did_you_mean(text, known().map(|(name, _)| name)) {
                Some(name) if !text.is_empty() => format!("did you mean \"{name}\"?"),
                _ => "write what was done on that day".into(),
            };
            self.fault(line, KIND, listing(names), fix);
        }
        kind
    }

    /// Which plate, by its place in the list.
    fn plate(&mut self, line: &Record) -> Option<usize> {
        let (name, _) = self.cell(line, PLATE);
        if let Some(known) = self.plates.iter().position(|(plate, _)| plate == name || is_same(plate, name)) {
            return Some(known);
        }
        if self.plates.len() == MOST_PLATES {
            self.fault(line, PLATE, format!("one of at most {MOST_PLATES} plates"), "split the history");
            return None;
        }
        self.plates.push((name.into(), Vec::new()));
        Some(self.plates.len() - 1)
    }

    /// A height in µm, `None` where the cell is blank or a fault.
    fn height(&mut self, line: &Record, column: usize) -> Option<f64> {
        let (text, _) = self.cell(line, column);
        let text = text.trim_start_matches('±').trim();
        if text.chars().all(|c| "-–—.".contains(c)) {
            return None;
        }
        let plain = if self.decimal_comma { decimal_points(text) } else { text.to_owned() };
        let example = format!("write {} or 60 µin", Measure { value: 2.0, unit: self.unit });
        let measure = match Measure::parse(&plain) {
            Ok(measure) if measure.unit == ONE => Measure { value: measure.value, unit: self.unit },
            Ok(measure) if measure.unit.dimension() == Dimension::Length => measure,
            Ok(_) => {
                self.fault(line, column, "a height", example);
                return None;
            }
            Err(error) => {
                self.fault(line, column, error.must, error.fix);
                return None;
            }
        };
        let value = measure.to(MICROMETRE);
        let least = if column == EXPANDED { 0.001 } else { 0.0 };
        if !(least..=LARGEST).contains(&value) {
            let must = format!("from {least} µm to {} mm", LARGEST / 1000.0);
            self.fault(line, column, must, "check the number and its unit");
            return None;
        }
        // Inches that were meant, where tenths are the unit.
        if column == VALUE && value != 0.0 && value < 0.01 * self.setup.check.indicator.read_step {
            let must = "a flatness deviation or a spread that could be read";
            self.fault(line, column, must, format!("write its unit, such as \"{text} in\" or \"{text} mm\""));
            return None;
        }
        Some(value)
    }

    /// The coverage factor; `None` for limits.
    fn factor(&mut self, line: &Record) -> Option<f64> {
        let (text, _) = self.cell(line, FACTOR);
        match text.to_lowercase().as_str() {
            "" => Some(2.0),
            "limits" | "rectangular" => None,
            _ => {
                let plain = if self.decimal_comma { decimal_points(text) } else { text.to_owned() };
                let number = plain.trim_start_matches("k").trim_start_matches(['=', ' ']).parse::<f64>();
                match number {
                    Ok(k) if (1.0..=10.0).contains(&k) => Some(k),
                    _ => {
                        let must = "a coverage factor from 1 to 10, or \"limits\" where U is the half-width of limits";
                        self.fault(line, FACTOR, must, "write 2, as on most certificates");
                        None
                    }
                }
            }
        }
    }

    /// What value and uncertainty say together; inner `None` where there is no value. Outer `None` for a fault.
    fn known(
        &mut self,
        line: &Record,
        kind: EntryKind,
        value: Option<f64>,
        expanded: Option<f64>,
        factor: Option<f64>,
    ) -> Option<Option<Known>> {
        if kind == EntryKind::ShopCheck {
            for column in [EXPANDED, FACTOR] {
                if !self.cell(line, column).0.is_empty() {
                    let must = "blank beside a shop check, whose uncertainty follows from the setup";
                    self.fault(line, column, must, "leave it blank");
                    return None;
                }
            }
            return Some(None);
        }
        let Some(value) = value else { return Some(None) };
        let Some(expanded) = expanded else {
            let must = "the uncertainty of the value";
            self.fault(line, EXPANDED, must, "write the U of the certificate, such as \"20 µin\"");
            return None;
        };
        if self.cell(line, FACTOR).0.is_empty() {
            self.assumed_factor = true;
        }
        Some(Some(match factor {
            Some(k) => Known::Normal { estimate: value, standard_uncertainty: expanded / k },
            None => Known::Rectangular { low: value - expanded, high: value + expanded },
        }))
    }

    fn found(
        &mut self,
        line: &Record,
        kind: EntryKind,
        value: Option<f64>,
        known: Option<Known>,
        expanded: Option<f64>,
        factor: Option<f64>,
    ) -> Option<Found> {
        let (file, at) = self.cell(line, FILE);
        if kind == EntryKind::Resurfacing {
            if !file.is_empty() {
                self.fault(
                    line,
                    FILE,
                    "blank beside a resurfacing",
                    "write a map as a certificate of the same day",
                );
                return None;
            }
            return Some(Found::Resurfaced(known));
        }
        match (value, file.is_empty()) {
            (None, true) => {
                let [what, example] = match kind {
                    EntryKind::ShopCheck => ["the spread that was read, or a file of readings", "2.5 tenths"],
                    _ => ["the flatness deviation on the certificate, or a file with its map", "60 µin"],
                };
                self.fault(line, VALUE, what, format!("write it, such as \"{example}\""));
                None
            }
            (Some(_), false) => {
                self.fault(line, FILE, "blank where a value is given", "leave one of the two blank");
                None
            }
            (Some(spread), true) if kind == EntryKind::ShopCheck => Some(Found::Spread(spread)),
            (Some(_), true) => known.map(Found::Certificate),
            (None, false) => {
                let name = file.to_owned();
                let text = match (self.load)(&name) {
                    Ok(text) => text,
                    Err(why) => {
                        let found = format!("\"{}\", which cannot be read ({why})", shortened(&name));
                        let fix = "name it from the folder where the history is";
                        self.fault_found(FILE, found, "a file that is there", fix, at);
                        return None;
                    }
                };
                self.digest.update(&text);
                if kind == EntryKind::ShopCheck {
                    return self.readings(&name, &text, at);
                }
                let Some(expanded) = expanded else {
                    let must = "the uncertainty of a height of the map";
                    self.fault(line, EXPANDED, must, "write the U of the certificate, such as \"20 µin\"");
                    return None;
                };
                if self.cell(line, FACTOR).0.is_empty() {
                    self.assumed_factor = true;
                }
                let u = factor.map_or_else(|| expanded / libm::sqrt(3.0), |k| expanded / k);
                self.map(&name, &text, u, at)
            }
        }
    }

    fn readings(&mut self, name: &str, text: &str, at: Position) -> Option<Found> {
        match Readings::read(text, self.setup) {
            Ok(readings) => {
                let observations = readings.observations();
                Some(Found::Readings(readings.check, observations))
            }
            Err(faults) => {
                self.fault_inside(
                    name,
                    faults.first().map(ToString::to_string),
                    "readings of this setup",
                    at,
                );
                None
            }
        }
    }

    fn map(&mut self, name: &str, text: &str, u: f64, at: Position) -> Option<Found> {
        let plate = &self.setup.check.plate;
        match map::read(text, [plate.length, plate.width]) {
            Ok(points) => Some(Found::Map(points, u)),
            Err(faults) => {
                let said = faults.first().map(|fault| {
                    let line = fault.line.map_or(String::new(), |line| format!("line {line}: "));
                    format!("{line}is {}, but must be {}; {}", fault.found, fault.must, fault.fix)
                });
                self.fault_inside(name, said, "a map of the plate", at);
                None
            }
        }
    }

    fn fault_inside(&mut self, name: &str, said: Option<String>, must: &str, at: Position) {
        let found =
            format!("\"{}\", in which there is a fault ({})", shortened(name), said.unwrap_or_default());
        self.fault_found(FILE, found, must, "mend that file", at);
    }

    fn finish(mut self, first: &Record) -> Result<HistoryFile, Vec<Fault>> {
        let unnamed = self.plates.iter().find(|(name, _)| name.is_empty());
        if let (Some((_, entries)), true) = (unnamed, self.plates.len() > 1) {
            let line = entries.first().map_or(1, |(_, row)| row.line);
            self.faults.push(Fault {
                field: "plate".into(),
                found: "blank".into(),
                must: "the name of a plate, since others are named".into(),
                fix: "write it in every row".into(),
                at: Some(Position { line, column: 1 }),
            });
        }
        if self.faults.is_empty() && self.plates.is_empty() {
            self.faults.push(Fault {
                field: "the history".into(),
                found: "without a row below its column names".into(),
                must: "a row for each certificate, shop check and resurfacing".into(),
                fix: "begin with the last certificate".into(),
                at: Some(first[0].1),
            });
        }
        if !self.faults.is_empty() {
            self.faults.sort_by_key(|fault| fault.at);
            return Err(self.faults);
        }
        let (mut records, mut rows) = (Vec::new(), Vec::new());
        for (name, mut of_plate) in self.plates {
            // Of one day, in the order of the file.
            of_plate.sort_by_key(|(entry, _)| entry.day);
            let (entries, its_rows) = of_plate.into_iter().unzip();
            records.push(PlateRecord { name, entries });
            rows.push(its_rows);
        }
        let digest = self.digest.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
        Ok(HistoryFile { records, rows, assumed_factor: self.assumed_factor, digest })
    }
}
