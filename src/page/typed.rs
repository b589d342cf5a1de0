//! What is typed at the plate, and the readings file that it is.

use super::{
    FaultDocument, Refusal,
    question::{About, Typed},
};
use crate::{
    quantity::unit::{MICROMETRE, Measure},
    report::{reading_sheet::ReadingSheet, text::inert},
    setup::{Readings, Setup},
};
use schemars::JsonSchema;
use serde::Serialize;

/// A readings file, opened.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct OpenedAnswer {
    /// Its rows.
    pub readings: Vec<Typed>,
}

/// What was typed, looked at.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LookedAnswer {
    /// How many readings there are, zeros and closing readings with them.
    pub n_readings: usize,
    /// The spread that a shop would name, in the setup's unit.
    pub spread: f64,
    /// Readings that can hardly be meant.
    pub doubted: Vec<Doubted>,
    /// The readings file.
    pub csv: String,
}

/// Looks at what was typed, without judging.
pub fn look(about: &About, typed: &[Typed]) -> Result<LookedAnswer, Refusal> {
    let setup = about.setup()?;
    let readings = read(typed, &setup)?;
    Ok(LookedAnswer {
        n_readings: readings.rows.len(),
        spread: Measure { value: readings.spread(), unit: MICROMETRE }.to(setup.unit),
        doubted: doubted(&readings, &setup),
        csv: csv(typed),
    })
}

/// A reading that can hardly be meant.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Doubted {
    /// Its row, from 0.
    pub row: usize,
    /// What is asked.
    pub said: String,
}

/// The columns of a readings file.
const COLUMNS: [&str; 6] = ["placement", "target", "pass", "reading", "time", "remark"];
/// Readings larger than so many graduations are asked about.
const MANY_GRADUATIONS: f64 = 100.0;

/// Reads a file as the command does, and gives its rows.
pub fn open(about: &About, file: &str) -> Result<OpenedAnswer, Refusal> {
    let setup = about.setup()?;
    let readings = Readings::read(file, &setup)?;
    let survey = &readings.check.survey;
    let row = |row: &crate::setup::Row| {
        let reading = &survey.readings[row.reading];
        let spot = &survey.spots[reading.spot];
        let pass = if reading.closing { format!("{} closing", row.pass) } else { row.pass.to_string() };
        let [placement, target, reading, time, remark] =
            [&spot.station, &spot.target, &row.written, &row.time, &row.remark].map(|text| inert(text));
        Typed { placement, target, pass, reading: with_unit(reading, &readings, &setup), time, remark }
    };
    Ok(OpenedAnswer { readings: readings.rows.iter().map(row).collect() })
}

/// A reading in the unit of its file's column, where that is not the setup's.
fn with_unit(written: String, readings: &Readings, setup: &Setup) -> String {
    let is_bare = !written.contains(char::is_alphabetic);
    if is_bare && readings.unit != setup.unit { format!("{written} {}", readings.unit) } else { written }
}

/// The walk through the readings: every reading of the setup's survey, in order, with nothing read but the zeros.
pub fn walk(setup: &Setup) -> Vec<Typed> {
    rows(&ReadingSheet { setup }.csv())
}

/// The rows of a sheet of ours.
fn rows(sheet: &str) -> Vec<Typed> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(sheet.as_bytes());
    let records = reader.records().filter_map(Result::ok);
    records
        .map(|record| {
            let cell = |index: usize| record.get(index).unwrap_or_default().to_string();
            Typed {
                placement: cell(0),
                target: cell(1),
                pass: cell(2),
                reading: cell(3),
                time: cell(4),
                remark: cell(5),
            }
        })
        .collect()
}

/// The readings file of what was typed: a line for each row, so that row i stands in line i + 2.
pub fn csv(typed: &[Typed]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing into memory cannot fail, and all rows have as many cells.
    let _ = writer.write_record(COLUMNS);
    for row in typed {
        let reading = decimal_point(&inert(&row.reading));
        let [placement, target, pass, time, remark] =
            [&row.placement, &row.target, &row.pass, &row.time, &row.remark].map(|text| disarmed(text));
        let _ = writer.write_record([&placement, &target, &pass, &reading, &time, &remark]);
    }
    String::from_utf8_lossy(&writer.into_inner().unwrap_or_default()).into_owned()
}

/// A text that a spreadsheet takes for no formula.
fn disarmed(text: &str) -> String {
    let text = inert(text);
    if text.starts_with(['=', '+', '-', '@']) { format!("'{text}") } else { text }
}

/// A decimal comma between two figures, as half the world's keyboards have it, is a point.
fn decimal_point(reading: &str) -> String {
    let is_digit = |part: &str, last: bool| {
        let c = if last { part.chars().last() } else { part.chars().next() };
        c.is_some_and(|c| c.is_ascii_digit())
    };
    match reading.split_once(',') {
        Some((whole, rest))
            if is_digit(whole, true) && is_digit(rest, false) && !rest.contains([',', '.']) =>
        {
            format!("{whole}.{rest}")
        }
        _ => reading.to_string(),
    }
}

/// What was typed as readings, or its faults by row.
pub fn read(typed: &[Typed], setup: &Setup) -> Result<Readings, Refusal> {
    Readings::read(&csv(typed), setup).map_err(|faults| {
        let by_row = |fault| {
            let document = FaultDocument::new(fault);
            let row = document.line.and_then(|line| line.checked_sub(2)).filter(|row| *row < typed.len());
            FaultDocument { row, ..document }
        };
        Refusal { said: faults.to_string(), faults: faults.iter().map(by_row).collect() }
    })
}

/// Readings that can be read, and yet are hardly meant: very large ones, and such as the indicator is not read to.
pub fn doubted(readings: &Readings, setup: &Setup) -> Vec<Doubted> {
    let indicator = &setup.check.indicator;
    let text = |value: f64| {
        let value = Measure { value, unit: MICROMETRE }.to(setup.unit);
        Measure { value: (value * 1e6).round() / 1e6, unit: setup.unit }.to_string()
    };
    let doubt = |row: &crate::setup::Row| {
        let graduations = row.value.abs() / indicator.graduation;
        let steps = row.value / indicator.read_step;
        let said = if graduations >= MANY_GRADUATIONS * (1.0 - 1e-9) {
            format!("{} is {graduations:.0} graduations; is that meant?", text(row.value))
        } else if (steps - steps.round()).abs() > 0.01 {
            let near = [steps.floor(), steps.ceil()].map(|steps| text(steps * indicator.read_step));
            format!(
                "{} lies between the marks that are read ({} and {}); is that meant?",
                text(row.value),
                near[0],
                near[1]
            )
        } else {
            return None;
        };
        // Row i stands in line i + 2.
        Some(Doubted { row: row.line.saturating_sub(2), said })
    };
    readings.rows.iter().filter_map(doubt).collect()
}
