//! A history file: what was found and done on which date, as a person types it.
//!
//! Any table that a person types or a spreadsheet exports will do; the separator, empty lines and remarks are as in
//! `reading_table.rs`. The first line names the columns, in any order:
//!
//! - `date`: `2024-03-01`, or as spreadsheets write it, `3/15/2021` and `15.03.2021`; where day and month can be read
//!   either way, as in `1/3/2024`, some row of the file has to settle which stands first;
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
//! Where a plate is not like the one of the setup, a row of it (any one, or all of them alike) says so:
//!
//! - `setup`: the file of its own setup, named from where the history is;
//! - `grade` or `tolerance`: what it is to keep;
//! - `size`: its sides, `24 x 18 in`, which have to be those of its setup;
//! - `usage`: `light`, `usual` or `heavy`, or hours a week.
//!
//! Rows may stand in any order. A plate with a row that cannot be used is refused with all its rows, and the others go on.
//! A row that says again what another one says counts once.

use super::asked::{grade, tolerance};
use super::checked::Setup;
use super::fault::{Fault, Faults, Position, did_you_mean, listing};
use super::file_text::hex;
use super::map;
use super::reading_table::{
    Headings, Record, TextTable, decimal_points, headings, longer_row, unit_of_heights,
};
use super::readings::{Readings, is_same, shortened};
use crate::decision::recall_plan::{Contradiction, Entry, Found, PlateRecord};
use crate::propagation::wear_history::Known;
use crate::quantity::day::{Day, DayOrder, WrittenDay};
use crate::quantity::unit::{Dimension, MICROINCH, MICROMETRE, MILLIMETRE, Measure, ONE, Unit};
use crate::shop::grade::Tolerance;
use sha2::{Digest, Sha256};

/// A history, read and found sound.
#[derive(Debug, Clone, PartialEq)]
pub struct HistoryFile {
    /// Every plate's record, in the order in which the file first names them.
    pub records: Vec<PlateRecord>,
    /// The row behind each entry of each record.
    pub rows: Vec<Vec<HistoryRow>>,
    /// What the history says of each record's plate.
    pub own: Vec<OwnTerms>,
    /// Plates of which a row cannot be used.
    pub refused: Vec<RefusedPlate>,
    /// Rows that say again what another one says, and count once.
    pub repeated: Vec<RepeatedRow>,
    /// Whether a coverage factor was left out, and 2 taken.
    pub assumed_factor: bool,
    /// SHA-256 of the file's text and of all files that it names, in hexadecimal.
    pub digest: String,
}

/// What a history says of a plate itself, where it is not like the one of the setup.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct OwnTerms {
    /// Its own setup, and the name of its file.
    pub setup: Option<(String, Box<Setup>)>,
    /// What it is to keep, by its columns.
    pub tolerance: Option<Tolerance>,
    /// How much it is used, as written and over the usual.
    pub usage: Option<(String, f64)>,
}

/// A plate of which nothing is said, and why.
#[derive(Debug, Clone, PartialEq)]
pub struct RefusedPlate {
    /// What it is called; empty where the history names none.
    pub name: String,
    /// What is wrong with its rows.
    pub faults: Vec<Fault>,
}

/// A row that says what another one says.
#[derive(Debug, Clone, PartialEq)]
pub struct RepeatedRow {
    /// The plate's name; empty where the history names none.
    pub plate: String,
    /// The day of both rows.
    pub day: Day,
    /// The kind of both rows.
    pub kind: EntryKind,
    /// Lines of the row that counts and of the one that does not.
    pub lines: [usize; 2],
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

const COLUMNS: [&str; N_COLUMNS] = [
    "date",
    "plate",
    "kind",
    "value",
    "u",
    "k",
    "file",
    "remark",
    "setup",
    "grade",
    "tolerance",
    "size",
    "usage",
];
const N_COLUMNS: usize = 13;
const DATE: usize = 0;
const PLATE: usize = 1;
const KIND: usize = 2;
const VALUE: usize = 3;
const EXPANDED: usize = 4;
const FACTOR: usize = 5;
const FILE: usize = 6;
const REMARK: usize = 7;
const SETUP: usize = 8;
const GRADE: usize = 9;
const TOLERANCE: usize = 10;
const SIZE: usize = 11;
const USAGE: usize = 12;

/// Other names of columns and kinds.
const ALIASES: [(&str, usize); 9] = [
    ("day", DATE),
    ("name", PLATE),
    ("what", KIND),
    ("flatness", VALUE),
    ("spread", VALUE),
    ("uncertainty", EXPANDED),
    ("note", REMARK),
    ("remarks", REMARK),
    ("use", USAGE),
];

/// How much a plate is used, over the usual: a factor of three either way, common practice, no source.
const USAGES: [(&str, f64); 4] = [("light", 1.0 / 3.0), ("usual", 1.0), ("daily", 1.0), ("heavy", 3.0)];
/// Hours a week that are usual: one shift.
const USUAL_HOURS: f64 = 40.0;
/// Sides that differ by less than this share are the same.
const SAME_SIDE: f64 = 0.02;
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
    /// for, if any: no entry may be later. `to_keep` says what a plate with this setup of its own is to keep, unless its rows do.
    pub fn read(
        text: &str,
        setup: &Setup,
        today: Option<Day>,
        to_keep: &dyn Fn(&Setup) -> Option<Tolerance>,
        load: &dyn Fn(&str) -> Result<String, String>,
    ) -> Result<Self, Faults> {
        let TextTable { separator, records: lines } = TextTable::read(text)?;
        let columns = columns(&lines)?;
        if let Some(fault) = lines.iter().find_map(|line| longer_row(line, lines[0].len(), separator)) {
            return Err(vec![fault].into());
        }
        let unit = match columns[VALUE] {
            Some(index) => unit_of_heights(&lines[0][index], "value").map_err(|fault| vec![fault])?,
            None => None,
        };
        let mut reader = Reader {
            setup,
            unit: unit.unwrap_or(setup.unit),
            today,
            to_keep,
            load,
            columns,
            decimal_comma: separator != b',',
            order: None,
            plates: Vec::new(),
            assumed_factor: false,
            digest: Sha256::new(),
            faults: Vec::new(),
            plate: None,
        };
        reader.digest.update(text);
        reader.order = reader.order_of_days(&lines[1..]);
        // A plate's setup first: its grade and its size are those of that plate.
        for terms in [&[SETUP][..], &[GRADE, TOLERANCE, SIZE, USAGE]] {
            for line in &lines[1..] {
                reader.plate = reader.plate(line);
                reader.terms(line, terms);
            }
        }
        for line in &lines[1..] {
            reader.row(line);
        }
        Ok(reader.finish(&lines[0])?)
    }

    /// What to say of an entry that cannot be true together with others before it.
    fn contradiction(&self, Contradiction { record, entry, against }: &Contradiction) -> Fault {
        let (rows, record) = (&self.rows[*record], &self.records[*record]);
        let name = |k: usize| format!("the {} of {}", rows[k].kind.name(), record.entries[k].day);
        let of_plate =
            if record.name.is_empty() { String::new() } else { format!(" of {}", shortened(&record.name)) };
        let others: Vec<String> =
            against.iter().map(|&k| format!("{} (line {})", name(k), rows[k].line)).collect();
        Fault {
            field: format!("{}{of_plate}", name(*entry)),
            found: format!("out of reach of {}", others.join(" and of ")),
            must: "what wear can lead to from there".into(),
            fix: "look in each for a slip of the pen or of the unit, or another plate's row; write a row for a resurfacing that \
                  is missing; if the plate was harmed in between, begin a new history with the later entry"
                .into(),
            at: Some(Position { line: rows[*entry].line, column: 1 }),
        }
    }

    /// All plates of which nothing is said: those with a row that cannot be used, and those whose records contradict
    /// themselves.
    pub fn refused_with(&self, contradictions: &[Contradiction]) -> Vec<RefusedPlate> {
        let contradict = contradictions.iter().map(|contradiction| RefusedPlate {
            name: self.records[contradiction.record].name.clone(),
            faults: vec![self.contradiction(contradiction)],
        });
        self.refused.iter().cloned().chain(contradict).collect()
    }

    /// The latest day on record.
    pub fn last_day(&self) -> Option<Day> {
        self.records.iter().flat_map(|record| &record.entries).map(|entry| entry.day).max()
    }
}

/// Bare heights of more than so many tolerances are asked for with their unit: no plate in use is so far out, and no
/// certificate so vague; a spread may be many times the flatness.
fn most_tolerances(kind: Option<EntryKind>, column: usize) -> f64 {
    match (kind, column) {
        (_, EXPANDED) => 5.0,
        (Some(EntryKind::ShopCheck), _) => 50.0,
        _ => 10.0,
    }
}

type Columns = [Option<usize>; N_COLUMNS];

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
    let Headings { names, columns } = headings(first, &COLUMNS, &ALIASES).map_err(|fault| vec![fault])?;
    for needed in [DATE, KIND] {
        if columns[needed].is_none() {
            let other = names.iter().find(|(name, _)| did_you_mean(name, [COLUMNS[needed]]).is_some());
            let fix = match other {
                Some((name, _)) => format!("write \"{}\" for \"{name}\"", COLUMNS[needed]),
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
    to_keep: &'a dyn Fn(&Setup) -> Option<Tolerance>,
    load: &'a dyn Fn(&str) -> Result<String, String>,
    columns: Columns,
    decimal_comma: bool,
    /// Which of day and month stands first, where some row settles it.
    order: Option<DayOrder>,
    plates: Vec<PlateRows>,
    assumed_factor: bool,
    digest: Sha256,
    /// What is wrong, with the plate whose row it is, by its place in the list; none where it is no single plate's.
    faults: Vec<(Option<usize>, Fault)>,
    /// The plate of the row that is being read.
    plate: Option<usize>,
}

/// One plate's rows.
struct PlateRows {
    name: String,
    own: OwnTerms,
    /// Where each of its own terms is first written, by column.
    stated: Vec<(usize, String, Position)>,
    rows: Vec<(Entry, HistoryRow)>,
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
        let mut field = if column == EXPANDED { "U" } else { COLUMNS[column] }.to_owned();
        let name = self.plate.map_or("", |plate| self.plates[plate].name.as_str());
        if !name.is_empty() {
            field += &format!(" of {}", shortened(name));
        }
        self.faults
            .push((self.plate, Fault { field, found, must: must.into(), fix: fix.into(), at: Some(at) }));
    }

    /// Which of day and month stands first, by the rows that can be read one way only; `None` where there are none or
    /// they disagree.
    fn order_of_days(&self, lines: &[Record]) -> Option<DayOrder> {
        let mut orders = lines.iter().filter_map(|line| match Day::read(self.cell(line, DATE).0)? {
            WrittenDay::One(_, order) => order,
            WrittenDay::Open { .. } => None,
        });
        let first = orders.next()?;
        orders.all(|order| order == first).then_some(first)
    }

    fn row(&mut self, line: &Record) {
        let n_faults = self.faults.len();
        self.plate = self.known_plate(line);
        let day = self.day(line);
        let kind = self.kind(line);
        let value = self.height(line, kind, VALUE);
        let expanded = self.height(line, kind, EXPANDED);
        let factor = self.factor(line);
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
        if let Some(plate) = self.plate {
            self.plates[plate].rows.push((Entry { day, found }, row));
        }
    }

    fn day(&mut self, line: &Record) -> Option<Day> {
        let (text, at) = self.cell(line, DATE);
        let day = match (Day::read(text), self.order) {
            (None, _) => {
                let must = "a day of the calendar from 1900 to 2199, with a year of four digits";
                let fix = match Day::of_spreadsheet(text) {
                    Some(day) => format!("write {day} if this is a spreadsheet's number of a day"),
                    None => "write 2024-03-01 for the first of March 2024".into(),
                };
                self.fault(line, DATE, must, fix);
                return None;
            }
            (Some(WrittenDay::One(day, _)), _) => day,
            (Some(WrittenDay::Open { day_first, .. }), Some(DayOrder::DayFirst)) => day_first,
            (Some(WrittenDay::Open { month_first, .. }), Some(DayOrder::MonthFirst)) => month_first,
            (Some(WrittenDay::Open { day_first, month_first }), None) => {
                let must =
                    format!("one day, not {day_first} or {month_first}, and no other row settles which");
                self.fault(line, DATE, must, format!("write {day_first} or {month_first}"));
                return None;
            }
        };
        if let Some(today) = self.today.filter(|today| day > *today) {
            // Not this plate's fault alone: the day asked for is everyone's.
            let fault = Fault {
                field: COLUMNS[DATE].into(),
                found: format!("\"{}\"", shortened(text)),
                must: format!("no later than the day asked for, {today}"),
                fix: "give a later day with --on, or take the row out".into(),
                at: Some(at),
            };
            self.faults.push((None, fault));
            return None;
        }
        Some(day)
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
    fn known_plate(&self, line: &Record) -> Option<usize> {
        let (name, _) = self.cell(line, PLATE);
        self.plates.iter().position(|plate| plate.name == name || is_same(&plate.name, name))
    }

    /// The same, with plates that are new put in the list.
    fn plate(&mut self, line: &Record) -> Option<usize> {
        if let Some(known) = self.known_plate(line) {
            return Some(known);
        }
        let (name, _) = self.cell(line, PLATE);
        let name = name.to_owned();
        if self.plates.len() == MOST_PLATES {
            self.plate = None;
            if self.faults.iter().any(|(of, _)| of.is_none()) {
                return None;
            }
            self.fault(line, PLATE, format!("one of at most {MOST_PLATES} plates"), "split the history");
            return None;
        }
        self.plates.push(PlateRows { name, own: OwnTerms::default(), stated: Vec::new(), rows: Vec::new() });
        Some(self.plates.len() - 1)
    }

    /// What a row says of its plate itself: once, or the same in every row.
    fn terms(&mut self, line: &Record, columns: &[usize]) {
        let Some(plate) = self.plate else { return };
        for &column in columns {
            let (text, at) = self.cell(line, column);
            if text.is_empty() {
                continue;
            }
            let text = text.to_owned();
            let before = self.plates[plate].stated.iter().find(|(stated, ..)| *stated == column);
            match before {
                None => {
                    self.plates[plate].stated.push((column, text.clone(), at));
                    self.term(line, plate, column, &text);
                }
                Some((_, first, _)) if is_same(first, &text) => {}
                Some((_, first, there)) => {
                    let must =
                        format!("what line {} says of this plate, \"{}\"", there.line, shortened(first));
                    self.fault(
                        line,
                        column,
                        must,
                        "write the same in every row of a plate, or in one row only",
                    );
                }
            }
        }
    }

    fn term(&mut self, line: &Record, plate: usize, column: usize, text: &str) {
        let at = self.cell(line, column).1;
        match column {
            SETUP => match (self.load)(text) {
                Err(why) => {
                    let found = format!("\"{}\", which cannot be read ({why})", shortened(text));
                    self.fault_found(
                        SETUP,
                        found,
                        "a setup file",
                        "name it from the folder where the history is",
                        at,
                    );
                }
                Ok(written) => {
                    self.digest.update(&written);
                    // What that setup names lies beside it.
                    let folder = text.rsplit_once('/').map_or("", |(folder, _)| folder);
                    let beside = |name: &str| match folder {
                        "" => (self.load)(name),
                        folder => (self.load)(&format!("{folder}/{name}")),
                    };
                    match Setup::read(&written, &beside) {
                        Ok(setup) => {
                            let setup = Setup { tolerance: (self.to_keep)(&setup), ..setup };
                            self.plates[plate].own.setup = Some((text.into(), Box::new(setup)));
                        }
                        Err(faults) => {
                            let said = faults.first().map(ToString::to_string);
                            let found = format!(
                                "\"{}\", in which there is a fault ({})",
                                shortened(text),
                                said.unwrap_or_default()
                            );
                            self.fault_found(SETUP, found, "a setup file", "mend that file", at);
                        }
                    }
                }
            },
            GRADE | TOLERANCE if self.plates[plate].own.tolerance.is_some() => {
                self.fault(line, column, "blank beside a grade", "leave one of the two blank");
            }
            GRADE | TOLERANCE => {
                let asked = match column {
                    GRADE => grade(text, &self.setup_of(plate).check.plate),
                    _ => tolerance(text),
                };
                match asked {
                    Ok(tolerance) => self.plates[plate].own.tolerance = Some(tolerance),
                    Err(fault) => self.fault(line, column, fault.must, fault.fix),
                }
            }
            SIZE => {
                let its = &self.setup_of(plate).check.plate;
                let (mut its, given) = ([its.length, its.width], sides(text));
                its.sort_by(f64::total_cmp);
                let is_its = |given: [f64; 2]| {
                    given.iter().zip(its).all(|(given, its)| (given / its - 1.0).abs() < SAME_SIDE)
                };
                match given {
                    None => self.fault(
                        line,
                        SIZE,
                        "two sides with their unit",
                        "write \"24 x 18 in\" or \"600 x 400 mm\"",
                    ),
                    Some(given) if is_its(given) => {}
                    Some(_) => {
                        let must =
                            format!("the size in its setup, {} x {} mm", short_mm(its[1]), short_mm(its[0]));
                        let fix = "describe this plate in a setup of its own (howflat new) and name that file in a \
                                   column \"setup\"";
                        self.fault(line, SIZE, must, fix);
                    }
                }
            }
            _ => match usage(text) {
                Some(usage) => self.plates[plate].own.usage = Some((text.into(), usage)),
                None => {
                    let must = "\"light\", \"usual\" or \"heavy\", or hours a week from 0.1 to 168";
                    self.fault(line, USAGE, must, "write \"light\" or \"20 h\"");
                }
            },
        }
    }

    /// The setup that describes a plate.
    fn setup_of(&self, plate: usize) -> &Setup {
        self.plates[plate].own.setup.as_ref().map_or(self.setup, |(_, setup)| setup)
    }

    /// The setup of the row that is being read.
    fn own_setup(&self) -> &Setup {
        self.plate.map_or(self.setup, |plate| self.setup_of(plate))
    }

    /// A height in µm, `None` where the cell is blank or a fault.
    fn height(&mut self, line: &Record, kind: Option<EntryKind>, column: usize) -> Option<f64> {
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
                let fix = if plain.contains(|c: char| c.is_ascii_digit()) { error.fix } else { example };
                self.fault(line, column, error.must, fix);
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
        if column == VALUE && value != 0.0 && value < 0.01 * self.own_setup().check.indicator.read_step {
            let must = "a flatness deviation or a spread that could be read";
            self.fault(line, column, must, format!("write its unit, such as \"{text} in\" or \"{text} mm\""));
            return None;
        }
        if let Some([taken, likely]) = self.likely_slip(&plain, value, most_tolerances(kind, column)) {
            let must = format!("a height with its unit, since {taken} are far beyond the tolerance");
            let fix = format!("is it {taken} or {likely}? Write which");
            self.fault(line, column, must, fix);
            return None;
        }
        Some(value)
    }

    /// A bare number as it is taken and as it is likely meant, where in its column's unit (`value`, in µm) it makes more
    /// than so many tolerances.
    fn likely_slip(&self, text: &str, value: f64, most: f64) -> Option<[Measure; 2]> {
        let of_plate = self.plate.and_then(|plate| self.plates[plate].own.tolerance.as_ref());
        let asked = of_plate.or(self.own_setup().tolerance.as_ref()).or(self.setup.tolerance.as_ref())?;
        let most = most * asked.value;
        let number = Measure::parse(text).ok().filter(|measure| measure.unit == ONE)?.value;
        let likely = [MICROINCH, MICROMETRE].into_iter().map(|unit| Measure { value: number, unit });
        let taken = Measure { value: number, unit: self.unit };
        let mut likely = likely.filter(|likely| value > most && likely.to(MICROMETRE) <= most);
        likely.next().map(|likely| [taken, likely])
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
        match Readings::read(text, self.own_setup()) {
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
        let plate = &self.own_setup().check.plate;
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
        let unnamed = self.plates.iter().find(|plate| plate.name.is_empty());
        if let (Some(plate), true) = (unnamed, self.plates.len() > 1) {
            let line = plate.rows.first().map_or(1, |(_, row)| row.line);
            let fault = Fault {
                field: "plate".into(),
                found: "blank".into(),
                must: "the name of a plate, since others are named".into(),
                fix: "write it in every row".into(),
                at: Some(Position { line, column: 1 }),
            };
            self.faults.push((None, fault));
        }
        if self.faults.is_empty() && self.plates.is_empty() {
            let fault = Fault {
                field: "the history".into(),
                found: "without a row below its column names".into(),
                must: "a row for each certificate, shop check and resurfacing".into(),
                fix: "begin with the last certificate".into(),
                at: Some(first[0].1),
            };
            self.faults.push((None, fault));
        }
        let is_at_fault = |plate: usize| self.faults.iter().any(|(of, _)| *of == Some(plate));
        let is_whole = self.faults.iter().all(|(of, _)| of.is_some());
        if !is_whole || (0..self.plates.len()).all(is_at_fault) {
            let mut faults: Vec<Fault> = self.faults.into_iter().map(|(_, fault)| fault).collect();
            faults.sort_by_key(|fault| fault.at);
            return Err(faults);
        }
        let mut file = HistoryFile {
            records: Vec::new(),
            rows: Vec::new(),
            own: Vec::new(),
            refused: Vec::new(),
            repeated: Vec::new(),
            assumed_factor: self.assumed_factor,
            digest: hex(self.digest.finalize()),
        };
        for (plate, PlateRows { name, own, rows: mut of_plate, .. }) in self.plates.into_iter().enumerate() {
            let of_this = self.faults.iter().filter(|(of, _)| *of == Some(plate));
            let faults: Vec<Fault> = of_this.map(|(_, fault)| fault.clone()).collect();
            if !faults.is_empty() {
                file.refused.push(RefusedPlate { name, faults });
                continue;
            }
            // Of one day, in the order of the file.
            of_plate.sort_by_key(|(entry, _)| entry.day);
            let mut counted: Vec<(Entry, HistoryRow)> = Vec::new();
            for (entry, row) in of_plate {
                match counted.iter().find(|other| says_the_same(other, &(&entry, &row))) {
                    Some((_, first)) => file.repeated.push(RepeatedRow {
                        plate: name.clone(),
                        day: entry.day,
                        kind: row.kind,
                        lines: [first.line, row.line],
                    }),
                    None => counted.push((entry, row)),
                }
            }
            let (entries, its_rows) = counted.into_iter().unzip();
            file.records.push(PlateRecord {
                check: own.setup.as_ref().map(|(_, setup)| Box::new(setup.check.clone())),
                tolerance: own.tolerance.as_ref().map(|tolerance| tolerance.value),
                usage: own.usage.as_ref().map_or(1.0, |(_, usage)| *usage),
                ..PlateRecord::new(name, entries)
            });
            file.rows.push(its_rows);
            file.own.push(own);
        }
        Ok(file)
    }
}

/// Whether two rows are one, typed twice. Two shop checks of one day may well read the same spread.
fn says_the_same((entry, row): &(Entry, HistoryRow), (other, other_row): &(&Entry, &HistoryRow)) -> bool {
    let near = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-9 * a.abs(),
        (a, b) => a == b,
    };
    let u = |row: &HistoryRow| row.expanded.map(|expanded| expanded / row.factor.unwrap_or(1.0));
    let is_spread = |entry: &Entry| matches!(entry.found, Found::Spread(_));
    entry.day == other.day
        && row.kind == other_row.kind
        && !is_spread(entry)
        && row.file == other_row.file
        && near(row.value, other_row.value)
        && near(u(row), u(other_row))
        && row.factor.is_some() == other_row.factor.is_some()
}

/// Two sides in mm, the shorter first: `24 x 18 in`.
fn sides(text: &str) -> Option<[f64; 2]> {
    let plain = text.to_lowercase().replace(['×', '*'], "x");
    let (first, second) = plain.split_once('x')?;
    let second = Measure::parse_as(second, Dimension::Length).ok()?;
    let first = match Measure::parse(first).ok()? {
        bare if bare.unit == ONE => Measure { value: bare.value, unit: second.unit },
        other if other.unit.dimension() == Dimension::Length => other,
        _ => return None,
    };
    let mut sides = [first, second].map(|side| side.to(MILLIMETRE));
    sides.sort_by(f64::total_cmp);
    Some(sides)
}

/// How much a plate is used, over the usual: a word, or hours a week.
fn usage(text: &str) -> Option<f64> {
    if let Some((_, usage)) = USAGES.iter().find(|(name, _)| is_same(name, text)) {
        return Some(*usage);
    }
    let number = text.trim_end_matches(|c: char| c.is_alphabetic() || "/ .".contains(c));
    let unit: String = text[number.len()..].chars().filter(|c| c.is_alphabetic()).collect();
    let is_hours = ["", "h", "hrs", "hours", "hw", "hweek", "hoursaweek", "hoursweek", "haweek"]
        .contains(&unit.as_str());
    let hours = number.parse::<f64>().ok().filter(|hours| is_hours && (0.1..=168.0).contains(hours))?;
    Some(hours / USUAL_HOURS)
}

/// A length in whole millimetres.
fn short_mm(length: f64) -> String {
    format!("{length:.0}")
}
