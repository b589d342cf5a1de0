//! A readings file: what was read in a check, as a person types it.
//!
//! Each row names a placement of the stand and a target by the names of the setup or by coordinates, and says what was
//! read there: a bare number in the unit of the column's heading or of the setup, or a number with its unit, signs as
//! the indicator shows them (plus: the spot looks high). How rows and columns are found is said in `reading_table.rs`.
//!
//! - Rows may stand in any order; a blank reading was not taken.
//! - A reading that is there twice was taken twice. More passes than the setup plans are more passes.
//! - The first of several readings at the target where the zero is set is the zero, the last the closing reading; one
//!   alone is the zero if it reads 0 or comes first. The word `closing` or `zero` after the pass settles it.
//! - A zero is what the indicator was set to, so each has one value; read again it is a closing reading.
//! - A placement by coordinates that the setup does not have is the stand put down once more. Its first row sets its
//!   zero. So what is advised to be read next can be added to the same file.
//! - Every value counts as rounded to the step that the setup's indicator is read to. Time and remark are kept, and
//!   change nothing.

use super::checked::Setup;
use super::fault::{Fault, Faults, Position, did_you_mean, listing};
use super::file_text::hex;
use super::lengths::Lengths;
use super::obstacle;
use super::plan::Bench;
use super::reading_table::{Cells, PASS, PLACEMENT, READING, REMARK, ReadingTable, TARGET, TIME};
use super::stand_place::{StandPlace, coordinates};
use crate::propagation::likelihood::Observation;
use crate::quantity::unit::{Dimension, INCH, MICROMETRE, MILLIMETRE, Measure, ONE, TENTH, Unit};
use crate::shop::check::ShopCheck;
use crate::shop::survey::{Plan, StandUse, Station, Survey, Target, Zeroing};
use sha2::{Digest, Sha256};

/// How far a place may be from where the setup has it and still be the same, in mm.
const SAME_PLACE: f64 = 3.0;
/// The same for headings, in degrees.
const SAME_HEADING: f64 = 2.0;
/// Most readings of all placements and passes together.
const MOST_READINGS: usize = 500;
/// Most passes.
const MOST_PASSES: usize = 50;

/// What was read, and the check as it was really made.
#[derive(Debug, Clone, PartialEq)]
pub struct Readings {
    /// The setup's check, its survey with as many passes as were read, followed by the placements that the setup does
    /// not have.
    pub check: ShopCheck,
    /// Everything that was read, in the order of the file.
    pub rows: Vec<Row>,
    /// Unit of readings that were written without one.
    pub unit: Unit,
    /// SHA-256 of the file's text, in hexadecimal.
    pub digest: String,
}

/// One reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Line of the file, from 1.
    pub line: usize,
    /// Which reading of the survey: index into [`Survey::readings`].
    pub reading: usize,
    /// Which pass, from 1.
    pub pass: usize,
    /// What was read, in µm.
    pub value: f64,
    /// The reading as it was written.
    pub written: String,
    /// When, as it was written.
    pub time: String,
    /// The remark.
    pub remark: String,
}

impl Readings {
    /// Reads a readings file for a setup, or says everything that is wrong in it, by line.
    pub fn read(text: &str, setup: &Setup) -> Result<Self, Faults> {
        let table = ReadingTable::read(text)?;
        let mut reader = Reader::new(setup, table.unit);
        for cells in &table.rows {
            reader.row(cells);
        }
        Ok(reader.finish(text)?)
    }

    /// The readings as the inference takes them, one for each row.
    pub fn observations(&self) -> Vec<Observation> {
        let step = self.check.indicator.read_step;
        self.rows.iter().map(|row| Observation { reading: row.reading, value: row.value, step }).collect()
    }

    /// What the shop would call this plate: the spread, in µm.
    pub fn spread(&self) -> f64 {
        let mut written = vec![(0.0, 0.0); self.check.survey.readings.len()];
        for row in &self.rows {
            written[row.reading].0 += row.value;
            written[row.reading].1 += 1.0;
        }
        let means: Vec<Option<f64>> = written.iter().map(|(sum, n)| (*n > 0.0).then(|| sum / n)).collect();
        self.check.survey.spread_of(&means)
    }
}

/// A row whose places are known.
struct Placed {
    station: usize,
    target: usize,
    pass: Option<usize>,
    role: Role,
    /// `None` for a blank reading.
    value: Option<f64>,
    written: String,
    time: String,
    remark: String,
    at: Position,
}

#[derive(Clone, Copy, PartialEq)]
enum Role {
    Unsaid,
    Zero,
    Closing,
}

struct Reader<'a> {
    setup: &'a Setup,
    lengths: Lengths,
    unit: Unit,
    rows: Vec<Placed>,
    /// Placements that the setup does not have, with where they are first named; they are counted on from the
    /// setup's stations.
    more: Vec<(Plan, Position)>,
    faults: Vec<Fault>,
}

impl<'a> Reader<'a> {
    fn new(setup: &'a Setup, unit: Option<Unit>) -> Self {
        Self {
            setup,
            lengths: Lengths { unit: setup.plan_unit },
            unit: unit.unwrap_or(setup.unit),
            rows: Vec::new(),
            more: Vec::new(),
            faults: Vec::new(),
        }
    }

    fn row(&mut self, cells: &Cells) {
        let before = self.faults.len();
        let value = self.value(cells);
        let pass = self.pass(cells);
        let placed = self.station(cells).and_then(|station| Some((station, self.target(cells, station)?)));
        let blank = matches!(value, Some(None));
        let (Some((station, target)), Some((pass, role)), Some(value)) = (placed, pass, value) else {
            // What was not read needs no place.
            if blank {
                self.faults.truncate(before);
            }
            return;
        };
        let [written, time, remark] = [READING, TIME, REMARK].map(|column| cells.text[column].clone());
        let at = cells.at[READING];
        self.rows.push(Placed { station, target, pass, role, value, written, time, remark, at });
    }

    fn fault(&mut self, cells: &Cells, column: usize, must: String, fix: String) {
        let field = super::reading_table::COLUMNS[column].into();
        let found = match cells.text[column].as_str() {
            "" => "blank".into(),
            text => format!("\"{}\"", shortened(text)),
        };
        self.faults.push(Fault { field, found, must, fix, at: Some(cells.at[column]) });
    }

    /// A reading in µm; inner `None` where there is none, outer `None` for a fault.
    fn value(&mut self, cells: &Cells) -> Option<Option<f64>> {
        let text = cells.text[READING].trim_start_matches('±').trim();
        if text.chars().all(|c| "-–—.".contains(c)) {
            return Some(None);
        }
        let parsed = Measure::parse(&spoken(text));
        let bare = parsed.as_ref().is_ok_and(|measure| measure.unit == ONE);
        let measure = match parsed {
            Ok(measure) if measure.unit == ONE => Measure { value: measure.value, unit: self.unit },
            Ok(measure) if measure.unit.dimension() == Dimension::Length => measure,
            other => {
                let must = match self.unit {
                    TENTH => "a number in tenths, or one with its unit".into(),
                    unit => format!("a number in {unit}, or one with its unit"),
                };
                let elsewhere = Measure { value: -50.0, unit: MICROMETRE };
                let fix = match other {
                    Err(error) if text.contains(',') => error.fix,
                    _ => format!("write {} or {elsewhere}", self.example(2.0)),
                };
                self.fault(cells, READING, must, format!("{fix}, or leave it blank"));
                return None;
            }
        };
        let value = measure.to(MICROMETRE);
        let step = self.setup.check.indicator.read_step;
        let written = |of: f64| Measure { value: of, unit: MICROMETRE }.to(self.unit);
        // Inches or millimetres that were meant, where tenths or micrometres are the unit.
        if bare && value != 0.0 && value.abs() < 0.5 * step * (1.0 - 1e-9) {
            let large = if [MICROMETRE, MILLIMETRE].contains(&self.unit) { MILLIMETRE } else { INCH };
            let must = format!("0, or at least half of {}, which is read to", self.example(written(step)));
            let here = Measure { value: measure.value, unit: self.unit };
            let there = Measure { unit: large, ..here };
            let fix = format!("write \"{here}\" if that is meant, or \"{there}\"");
            self.fault(cells, READING, must, fix);
            return None;
        }
        if value.abs() > self.setup.travel {
            let must =
                format!("at most {}, the travel of the indicator", self.example(written(self.setup.travel)));
            let first = if bare { "its unit" } else { "what was read" };
            let fix =
                format!("write {first}, or set indicator.travel in the setup to how far the pointer can go");
            self.fault(cells, READING, must, fix);
            return None;
        }
        Some(Some(value))
    }

    fn example(&self, value: f64) -> String {
        Measure { value: (value * 1e6).round() / 1e6, unit: self.unit }.to_string()
    }

    fn pass(&mut self, cells: &Cells) -> Option<(Option<usize>, Role)> {
        let text = cells.text[PASS].to_lowercase();
        let (number, role) = match text.find(|c: char| c.is_alphabetic()) {
            None => (text.as_str(), Role::Unsaid),
            Some(cut) => match text[cut..].trim() {
                "closing" | "closing reading" => (&text[..cut], Role::Closing),
                "zero" => (&text[..cut], Role::Zero),
                _ => ("?", Role::Unsaid),
            },
        };
        match number.trim() {
            "" => Some((None, role)),
            number => match number.parse::<f64>() {
                Ok(pass) if pass.fract() == 0.0 && (1.0..=MOST_PASSES as f64).contains(&pass) => {
                    Some((Some(pass as usize), role))
                }
                _ => {
                    let must = format!("a whole number from 1 to {MOST_PASSES}, or blank");
                    self.fault(
                        cells,
                        PASS,
                        must,
                        "write 1, 2, ... or \"1 closing\" for a closing reading".into(),
                    );
                    None
                }
            },
        }
    }

    fn station(&mut self, cells: &Cells) -> Option<usize> {
        let text = cells.text[PLACEMENT].as_str();
        let stations = &self.setup.plan.stations;
        if text.is_empty() && stations.len() == 1 && self.more.is_empty() {
            return Some(0);
        }
        if let Some(station) = stations.iter().position(|station| is_same(&station.name, text)) {
            return Some(station);
        }
        let Some(place) = StandPlace::parse(text, self.setup.plan_unit).filter(|place| self.is_enough(place))
        else {
            let names = stations.iter().map(|station| station.name.as_str());
            let fix = match did_you_mean(text, names.clone()) {
                Some(name) if !text.is_empty() => format!("did you mean \"{name}\"?"),
                _ => format!("write {}", listing(names.map(|name| format!("\"{name}\"")))),
            };
            let stand_use = self.setup.plan.stand_use;
            let example =
                StandPlace::text(stand_use, self.setup.check.plate.middle(), 90.0, 100.0, self.lengths);
            self.fault(
                cells,
                PLACEMENT,
                format!("a placement of the setup, or a place such as \"{example}\""),
                fix,
            );
            return None;
        };
        Some(self.by_coordinates(&place, text, cells.at[PLACEMENT]))
    }

    /// Whether a place says all that this kind of check needs.
    fn is_enough(&self, place: &StandPlace) -> bool {
        match self.setup.plan.stand_use {
            StandUse::Parked => place.at.is_some() && place.reach.is_none(),
            StandUse::Turned => place.at.is_some() && place.reach.is_none() && place.heading.is_none(),
            StandUse::Carried => place.at.is_none() && place.heading.is_some(),
        }
    }

    /// The station at a place, be it the setup's or one more.
    fn by_coordinates(&mut self, place: &StandPlace, text: &str, named_at: Position) -> usize {
        let plan = &self.setup.plan;
        let middle = self.setup.check.plate.middle();
        let at = place.at.unwrap_or(middle);
        let heading = place.heading.unwrap_or_else(|| match plan.stand_use {
            StandUse::Parked => libm::atan2(middle[1] - at[1], middle[0] - at[0]).to_degrees(),
            StandUse::Turned | StandUse::Carried => 0.0,
        });
        let reach = place.reach.unwrap_or(plan.carried_reach);
        let is_here = |station: &Station, its_reach: f64| {
            let turned = (station.heading - heading + 180.0).rem_euclid(360.0) - 180.0;
            let points = match plan.stand_use {
                StandUse::Turned => true,
                StandUse::Parked => place.heading.is_none() || turned.abs() <= SAME_HEADING,
                StandUse::Carried => turned.abs() <= SAME_HEADING && (its_reach - reach).abs() <= SAME_PLACE,
            };
            points && (plan.stand_use == StandUse::Carried || apart(station.at, at) <= SAME_PLACE)
        };
        if let Some(station) = plan.stations.iter().position(|station| is_here(station, plan.carried_reach)) {
            return station;
        }
        let more = self.more.iter().position(|(more, _)| is_here(&more.stations[0], more.carried_reach));
        let more = more.unwrap_or_else(|| {
            let station = Station { name: text.into(), at, heading, targets: Vec::new() };
            let plan = Plan {
                stations: vec![station],
                carried_reach: reach,
                zeroing: Zeroing::EachPass,
                closing_reading: false,
                drift_corrected: false,
                ..plan.clone()
            };
            self.more.push((plan, named_at));
            self.more.len() - 1
        });
        self.setup.plan.stations.len() + more
    }

    fn target(&mut self, cells: &Cells, station: usize) -> Option<usize> {
        let text = cells.text[TARGET].as_str();
        let planned = &self.setup.plan.stations;
        if let Some(here) = planned.get(station) {
            let found = here.targets.iter().position(|target| is_same(&target.name, text)).or_else(|| {
                let at = coordinates(text, self.setup.plan_unit)?;
                here.targets.iter().position(|target| apart(target.at, at) <= SAME_PLACE)
            });
            if found.is_none() {
                let names = || here.targets.iter().map(|target| target.name.as_str());
                let fix = match did_you_mean(text, names()) {
                    Some(name) if !text.is_empty() => format!("did you mean \"{name}\"?"),
                    _ => format!("write {}", listing(names().map(|name| format!("\"{name}\"")))),
                };
                let must = format!("a target that is read from placement \"{}\"", here.name);
                self.fault(cells, TARGET, must, fix);
            }
            return found;
        }
        let ShopCheck { plate, stand, gauge_block, .. } = &self.setup.check;
        let bench = Bench { plate, stand, block: gauge_block, lengths: self.lengths };
        let known = || planned.iter().flat_map(|station| &station.targets);
        let at = known()
            .find(|target| is_same(&target.name, text))
            .map(|target| target.at)
            .or_else(|| bench.spot(text))
            .or_else(|| coordinates(text, self.setup.plan_unit));
        let Some(at) = at else {
            let names = known().map(|target| target.name.as_str());
            let fix = match did_you_mean(text, names) {
                Some(name) if !text.is_empty() => format!("did you mean \"{name}\"?"),
                _ => format!("write a name, or a place such as \"{}\"", self.lengths.place(plate.middle())),
            };
            self.fault(cells, TARGET, "a target of the setup, or a place on the plate".into(), fix);
            return None;
        };
        let targets = &mut self.more[station - planned.len()].0.stations[0].targets;
        Some(targets.iter().position(|target| apart(target.at, at) <= SAME_PLACE).unwrap_or_else(|| {
            targets.push(Target { name: text.into(), at });
            targets.len() - 1
        }))
    }

    /// Lays the survey out as it was made, and finds each row's place in it.
    fn finish(mut self, text: &str) -> Result<Readings, Vec<Fault>> {
        if !self.faults.is_empty() {
            self.faults.sort_by_key(|fault| fault.at);
            return Err(self.faults);
        }
        let passes = self.passes();
        let n_passes = passes.iter().copied().max().unwrap_or(1).max(self.setup.plan.passes);
        let n_planned = self.setup.plan.stations.len();
        let n_spots = self.setup.check.survey.spots.len()
            + self.more.iter().map(|m| m.0.stations[0].targets.len()).sum::<usize>();
        if n_spots * n_passes > MOST_READINGS {
            return Err(vec![Fault {
                field: "the file of readings".into(),
                found: format!("{n_spots} spots in {n_passes} passes"),
                must: format!("at most {MOST_READINGS} readings"),
                fix: "give fewer passes or placements".into(),
                at: None,
            }]);
        }
        // A target where a zero is set and which is there once more than there are passes has been read for the drift.
        let closes = |row: &Placed| {
            row.role == Role::Closing
                || row.target == 0 && row.role == Role::Unsaid && self.n_at(row) > n_passes
        };
        let closing_reading = self.setup.plan.closing_reading
            || self.rows.iter().any(|row| row.station < n_planned && closes(row));
        let plan = Plan { passes: n_passes, closing_reading, ..self.setup.plan.clone() };
        let mut survey = self.lay_out(&plan, None)?;
        let mut first_spots = vec![0; n_planned];
        for station in 1..n_planned {
            first_spots[station] = first_spots[station - 1] + plan.stations[station - 1].targets.len();
        }
        for (index, (more, named_at)) in self.more.iter().cloned().enumerate() {
            first_spots.push(survey.spots.len());
            let read: Vec<&Placed> = self
                .rows
                .iter()
                .filter(|row| row.station == n_planned + index && row.value.is_some())
                .collect();
            if !read.is_empty() {
                let closing_reading = read.iter().any(|row| closes(row));
                let more = Plan { passes: n_passes, closing_reading, ..more };
                let more = self.lay_out(&more, Some(named_at))?;
                survey = survey.followed_by(&more);
            }
        }
        let rows = self.rows.iter().enumerate().filter_map(|(index, row)| {
            let value = row.value?;
            let reading = self.find(index, &survey, &first_spots, &passes);
            let [written, time, remark] = [&row.written, &row.time, &row.remark].map(String::clone);
            Some(Row { line: row.at.line, reading, pass: passes[index], value, written, time, remark })
        });
        let rows: Vec<Row> = rows.collect();
        let tells_nothing =
            |row: &Row| survey.zeros.contains(&row.reading) || survey.readings[row.reading].closing;
        if rows.iter().all(tells_nothing) {
            return Err(vec![Fault {
                field: "the file of readings".into(),
                found: "nothing but blanks and zeros of the indicator".into(),
                must: "at least one reading besides the zero".into(),
                fix: "fill in what was read".into(),
                at: None,
            }]);
        }
        let first_of = |row: &Row| rows.iter().find(|other| other.reading == row.reading);
        let filled = self.rows.iter().filter(|row| row.value.is_some());
        let of_zeros = rows.iter().zip(filled).filter(|(row, _)| survey.zeros.contains(&row.reading));
        let twice: Vec<Fault> = of_zeros
            .filter_map(|(row, placed)| Some((row, placed.at, first_of(row)?.line)))
            .filter(|(row, _, line)| row.line != *line)
            .map(|(row, at, line)| Fault {
                field: super::reading_table::COLUMNS[READING].into(),
                found: format!("\"{}\", a second value of the zero in line {line}", shortened(&row.written)),
                must: "one value for each time that the indicator was set to zero".into(),
                fix: format!(
                    "write \"{} closing\" as its pass if it was read again at the end, or leave one of them blank",
                    row.pass
                ),
                at: Some(at),
            })
            .collect();
        if !twice.is_empty() {
            return Err(twice);
        }
        let digest = hex(Sha256::digest(text));
        Ok(Readings {
            check: ShopCheck { survey, ..self.setup.check.clone() },
            rows,
            unit: self.unit,
            digest,
        })
    }

    fn lay_out(&self, plan: &Plan, named_at: Option<Position>) -> Result<Survey, Vec<Fault>> {
        let ShopCheck { plate, stand, gauge_block, .. } = &self.setup.check;
        Survey::lay_out(plan, plate, stand, gauge_block).map_err(|obstacles| {
            obstacle::describe(&obstacles, plan, plate, self.lengths, false, None)
                .into_iter()
                .map(|said| Fault {
                    field: said.field,
                    found: said.found,
                    must: said.must,
                    fix: said.fix,
                    at: named_at,
                })
                .collect()
        })
    }

    /// How often a row's target is there, from the same placement.
    fn n_at(&self, row: &Placed) -> usize {
        self.rows.iter().filter(|other| (other.station, other.target) == (row.station, row.target)).count()
    }

    /// The pass of each row. Where none is written, a target's n-th row is of the n-th pass; but the target where the
    /// zero is set is there more often than there are passes, and its last rows are of the last.
    fn passes(&self) -> Vec<usize> {
        let nth = |index: usize| {
            let row = &self.rows[index];
            let before = &self.rows[..index];
            1 + before
                .iter()
                .filter(|r| (r.station, r.target, r.pass) == (row.station, row.target, None))
                .count()
        };
        let written = self.rows.iter().filter_map(|row| row.pass);
        let counted = (0..self.rows.len())
            .filter(|index| self.rows[*index].pass.is_none() && self.rows[*index].target > 0)
            .map(nth);
        let n_passes = written.chain(counted).max().unwrap_or(1);
        (0..self.rows.len())
            .map(|index| match &self.rows[index] {
                Placed { pass: Some(pass), .. } => *pass,
                Placed { role: Role::Closing, .. } => n_passes,
                Placed { target: 0, .. } => nth(index).min(n_passes),
                _ => nth(index).min(MOST_PASSES),
            })
            .collect()
    }

    /// The survey's reading that a row is.
    fn find(&self, index: usize, survey: &Survey, first_spots: &[usize], passes: &[usize]) -> usize {
        let row = &self.rows[index];
        let spot = first_spots[row.station] + row.target;
        let of_spot = |reading: &usize| survey.readings[*reading].spot == spot;
        let all: Vec<usize> = (0..survey.readings.len()).filter(of_spot).collect();
        let here = |other: &usize| {
            let other = &self.rows[*other];
            (other.station, other.target) == (row.station, row.target)
        };
        let rows: Vec<usize> = (0..self.rows.len()).filter(here).collect();
        // No pass and no role is written: in the order in which they were taken, if they are all there.
        let nothing_said =
            |row: &usize| self.rows[*row].pass.is_none() && self.rows[*row].role == Role::Unsaid;
        if rows.len() == all.len() && rows.iter().all(nothing_said) {
            return rows.iter().position(|row| *row == index).map_or(all[0], |nth| all[nth]);
        }
        // The pass's own reading, and the closing reading that follows it before the next pass, if there is one.
        let (closings, taken): (Vec<usize>, Vec<usize>) =
            all.iter().partition(|reading| survey.readings[**reading].closing);
        let pass = passes[index];
        let Some(&own) = taken.get(pass - 1) else { return all[0] };
        let next = taken.get(pass).copied().unwrap_or(usize::MAX);
        let Some(&closing) = closings.iter().find(|closing| (own..next).contains(closing)) else {
            return own;
        };
        match row.role {
            Role::Zero => return own,
            Role::Closing => return closing,
            Role::Unsaid => {}
        }
        let of_pass: Vec<usize> = rows.into_iter().filter(|row| passes[*row] == pass).collect();
        if of_pass.len() > 1 {
            return if of_pass[0] == index { own } else { closing };
        }
        let of_round = |other: usize| (self.rows[other].station, passes[other]) == (row.station, pass);
        let is_first = !(0..index).any(of_round);
        if row.value.is_none_or(|value| value == 0.0) || is_first || !survey.zeros.contains(&own) {
            own
        } else {
            closing
        }
    }
}

/// A reading as it is said: `zero` for 0, and `2t` for two tenths.
fn spoken(reading: &str) -> String {
    if ["zero", "nil", "nought"].contains(&reading.to_lowercase().as_str()) {
        return "0".into();
    }
    match reading.strip_suffix(['t', 'T']) {
        Some(number) if !number.trim_end().ends_with(char::is_alphabetic) => format!("{number} tenths"),
        _ => reading.into(),
    }
}

/// Whether two names are the same to a reader.
pub(super) fn is_same(name: &str, written: &str) -> bool {
    let plain = |text: &str| {
        text.to_lowercase()
            .split(|c: char| c.is_whitespace() || "-_".contains(c))
            .collect::<Vec<_>>()
            .join(" ")
    };
    plain(name.trim()) == plain(written.trim())
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    libm::hypot(a[0] - b[0], a[1] - b[1])
}

pub(super) fn shortened(text: &str) -> String {
    match text.char_indices().nth(40) {
        Some((cut, _)) => format!("{}…", &text[..cut]),
        None => text.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MICROMETRES_PER_TENTH: f64 = 2.54;

    fn setup(survey: &str) -> Setup {
        let text = format!(
            r#"{{ "plate": {{ "length": "36 in", "width": "24 in" }},
                 "stand": {{ "feet": {{ "front_apart": "5 in", "front_to_rear": "6 in" }} }},
                 "indicator": {{ "graduation": "0.0001 in" }}, "survey": {survey} }}"#
        );
        Setup::read(&text, &|_| Err(String::new())).unwrap()
    }

    /// Of each row: placement, target, pass, whether it is a closing reading, tenths.
    fn told(text: &str, setup: &Setup) -> Vec<String> {
        let readings = Readings::read(text, setup).unwrap_or_else(|faults| panic!("{text}: {faults:?}"));
        let survey = &readings.check.survey;
        let rows = readings.rows.iter().map(|row| {
            let reading = &survey.readings[row.reading];
            let spot = &survey.spots[reading.spot];
            let closing = if reading.closing { " closing" } else { "" };
            let tenths = (row.value / MICROMETRES_PER_TENTH * 1e6).round() / 1e6;
            format!("{}/{}/{}{closing}/{tenths}", spot.station, spot.target, row.pass)
        });
        rows.collect()
    }

    fn faults(text: &str, setup: &Setup) -> Vec<String> {
        Readings::read(text, setup).unwrap_err().iter().map(ToString::to_string).collect()
    }

    #[test]
    fn any_order_any_unit_blanks_and_a_closing_reading() {
        let setup = setup("{}");
        let text = "reading;target\n50 µin;middle\n;left\n-;back\n0;front right\n-2,54 µm;Back-Right\n0,4;front right\n";
        let expected = [
            "front left/middle/1/0.5",
            "front left/front right/1/0",
            "front left/back right/1/-1",
            "front left/front right/1 closing/0.4",
        ];
        assert_eq!(told(text, &setup), expected);
        // The spread leaves the closing reading out: from -1 to 0.5 tenths.
        let spread = Readings::read(text, &setup).unwrap().spread();
        assert!((spread - 1.5 * MICROMETRES_PER_TENTH).abs() < 1e-9, "{spread}");
    }

    #[test]
    fn a_number_that_cannot_be_meant_is_asked_about() {
        let setup = setup("{}");
        // Read to 0.2 tenths: less than half of that was never read, unless it is said in so many words.
        let said = faults("middle,0.0002\n", &setup);
        assert!(said[0].contains("0.0002 tenths") && said[0].contains("0.0002 in"), "{said:?}");
        assert!(faults("middle,0.09\n", &setup)[0].contains("at least half of 0.2 tenths"));
        assert_eq!(told("middle,0.1\n", &setup), ["front left/middle/1/0.1"]);
        assert_eq!(told("middle,2 µin\n", &setup), ["front left/middle/1/0.02"]);
        // The pointer goes 400 graduations at most.
        assert!(faults("middle,-401\n", &setup)[0].contains("travel"));
        assert_eq!(told("middle,-399\n", &setup), ["front left/middle/1/-399"]);
        let metric = Setup::read(
            r#"{ "plate": { "length": "600 mm", "width": "400 mm" },
                 "stand": { "feet": { "front_apart": "120 mm", "front_to_rear": "150 mm" } },
                 "indicator": { "graduation": "0.001 mm" } }"#,
            &|_| Err(String::new()),
        )
        .unwrap();
        let said = faults("middle,0.05\n", &metric);
        assert!(said[0].contains("0.05 µm") && said[0].contains("0.05 mm"), "{said:?}");
    }

    #[test]
    fn a_lone_reading_at_the_zero_target() {
        let setup = setup("{}");
        let last = |text: &str| told(text, &setup).pop().unwrap();
        assert_eq!(last("middle,1\nfront right,0.4\n"), "front left/front right/1 closing/0.4");
        assert_eq!(last("middle,1\nfront right,0\n"), "front left/front right/1/0");
        assert_eq!(last(",middle,1,1\n,front right,1 zero,0.4\n"), "front left/front right/1/0.4");
        // An indicator that was not set to 0: all readings count from what it showed.
        let readings = Readings::read("front right,5\nmiddle,7\nleft,6\n", &setup).unwrap();
        assert!((readings.spread() - 2.0 * MICROMETRES_PER_TENTH).abs() < 1e-9);
    }

    #[test]
    fn more_passes_than_planned_with_and_without_their_numbers() {
        let setup = setup(r#"{ "zeroing": "each pass" }"#);
        let numbered =
            ",front right,1,0\n,middle,1,1\n,middle,2,3\n,front right,2,0\n,front right,2 closing,0.2\n";
        let expected = [
            "front left/front right/1/0",
            "front left/middle/1/1",
            "front left/middle/2/3",
            "front left/front right/2/0",
            "front left/front right/2 closing/0.2",
        ];
        assert_eq!(told(numbered, &setup), expected);
        let plain = "front right,0\nmiddle,1\nfront right,0.4\nfront right,0\nmiddle,3\nfront right,0.2\n";
        let read = Readings::read(plain, &setup).unwrap();
        let closings: Vec<bool> =
            read.rows.iter().map(|row| read.check.survey.readings[row.reading].closing).collect();
        assert_eq!(closings, [false, false, true, false, false, true]);
        assert_eq!(read.check.survey.n_passes, 2);
        // Mean of two passes at the middle: 2 tenths.
        assert!((read.spread() - 2.0 * MICROMETRES_PER_TENTH).abs() < 1e-9);
    }

    #[test]
    fn a_closing_reading_that_was_not_planned() {
        let setup = setup(r#"{ "closing_reading": false }"#);
        let rows = told("front right,0\nmiddle,1\nfront right,0.4\n", &setup);
        assert_eq!(rows[2], "front left/front right/1 closing/0.4");
    }

    #[test]
    fn the_stand_put_down_somewhere_else() {
        let setup = setup("{}");
        let text = "placement,target,reading\nfront left,middle,1\n18 x 4.25 in heading 90°,middle,0\n\
                    18 x 4.25 in heading 90°,back,0.6\n\"18 x 4.25\",back left,-0.2\n457 mm x 108 mm,12 x 20 in,0.2\n";
        let expected = [
            "front left/middle/1/1",
            "18 x 4.25 in heading 90°/middle/1/0",
            "18 x 4.25 in heading 90°/back/1/0.6",
            "18 x 4.25 in heading 90°/back left/1/-0.2",
            "18 x 4.25 in heading 90°/12 x 20 in/1/0.2",
        ];
        assert_eq!(told(text, &setup), expected);
        let survey = Readings::read(text, &setup).unwrap().check.survey;
        assert_eq!((survey.zeros.len(), survey.n_seatings, survey.n_groups), (2, 2, 2));
        assert!(survey.readings.iter().all(|reading| reading.spot < survey.spots.len()));
    }

    /// There as at a placement of the setup: read again it shows the drift, and is no second zero.
    #[test]
    fn the_zero_of_one_more_placement_read_again_is_a_closing_reading() {
        let setup = setup("{}");
        for pass in ["", "1 closing"] {
            let text = format!(
                "placement,target,pass,reading\nfront left,middle,,1\n18 x 4.25 in heading 90°,middle,,0\n\
                 18 x 4.25 in heading 90°,back,,0.6\n18 x 4.25 in heading 90°,middle,{pass},0.4\n"
            );
            assert_eq!(told(&text, &setup)[3], "18 x 4.25 in heading 90°/middle/1 closing/0.4");
        }
        let twice = "placement,target,pass,reading\n18 x 4.25 in heading 90°,middle,zero,0\n\
                     18 x 4.25 in heading 90°,back,,0.6\n18 x 4.25 in heading 90°,middle,zero,0.4\n";
        assert!(faults(twice, &setup)[0].contains("a second value of the zero in line 2"));
    }

    /// The setup's own placement, by its coordinates.
    #[test]
    fn places_of_the_setup_by_coordinates() {
        let setup = setup("{}");
        let at = setup.plan.stations[0].at.map(|side| format!("{:.2}", side / 25.4)).join(" x ");
        let text = format!("{at} in,18 x 12 in,1\n{at} in,457.2 mm x 23 in,2\n");
        assert_eq!(told(&text, &setup), ["front left/middle/1/1", "front left/back/1/2"]);
    }

    #[test]
    fn every_fault_is_told_with_its_line_and_a_way_out() {
        let setup = setup("{}");
        let text = "placement,target,pass,reading\nfront left,back lft,1,0.2\nfrnt left,middle,1,0.2\n\
                    front left,middle,one,0.2\nfront left,middle,1,two\nfront left,middle,1,2 K\nfront left,middle,1,\"0,2\"\n\
                    front left,middle,1,0.0002\nfront left,middle,1,5 mm\nfront left,nowhere,1,\n";
        let told = faults(text, &setup);
        let expected = [
            "line 2, column 12: target is \"back lft\", but must be a target that is read from placement \"front left\"; did you mean \"back left\"?",
            "line 3, column 1: placement is \"frnt left\", but must be a placement of the setup, or a place such as \"18 x 12 in heading 90°\"; did you mean \"front left\"?",
            "line 4, column 19: pass is \"one\", but must be a whole number from 1 to 50, or blank; write 1, 2, ... or \"1 closing\" for a closing reading",
            "line 5, column 21: reading is \"two\", but must be a number in tenths, or one with its unit; write 2 tenths or -50 µm, or leave it blank",
            "line 6, column 21: reading is \"2 K\", but must be a number in tenths, or one with its unit; write 2 tenths or -50 µm, or leave it blank",
            "line 7, column 22: reading is \"0,2\", but must be a number in tenths, or one with its unit; write the decimal sign as a point, and no sign between thousands, or leave it blank",
            "line 8, column 21: reading is \"0.0002\", but must be 0, or at least half of 0.2 tenths, which is read to; write \"0.0002 tenths\" if that is meant, or \"0.0002 in\"",
            "line 9, column 21: reading is \"5 mm\", but must be at most 400 tenths, the travel of the indicator; write what was read, or set indicator.travel in the setup to how far the pointer can go",
        ];
        assert_eq!(told, expected);
    }

    /// What is heard and typed in a shop is read as it was meant, and says so in the record.
    #[test]
    fn readings_as_people_type_them() {
        let setup = setup("{}");
        for (typed, tenths) in [
            ("+ 2", 2.0),
            ("- 1", -1.0),
            ("\u{2013}1", -1.0),
            ("\u{2212} 1 ½", -1.5),
            ("½", 0.5),
            ("2 1/2", 2.5),
            ("2½", 2.5),
            ("2t", 2.0),
            ("-1/4 t", -0.25),
            ("zero", 0.0),
            ("Zero", 0.0),
            ("½ thou", 5.0),
        ] {
            let text = format!("front right,0\nback,1\nmiddle,{typed}\n");
            assert_eq!(told(&text, &setup)[2], format!("front left/middle/1/{tenths}"), "{typed}");
            let written = &Readings::read(&text, &setup).unwrap().rows[2].written;
            assert_eq!(written, typed);
        }
    }

    /// What is suggested is a height: no other unit, no other column.
    #[test]
    fn a_reading_that_is_none_is_answered_with_readings() {
        let setup = setup("{}");
        for typed in ["two", "2 tents", "2 °", "?", "1..2", "1 2", "+"] {
            let told = faults(&format!("front right,0\nback,1\nmiddle,{typed}\n"), &setup);
            assert!(told[0].ends_with("write 2 tenths or -50 µm, or leave it blank"), "{told:?}");
        }
    }

    #[test]
    fn a_place_that_cannot_be_is_told_where_it_is_first_named() {
        let setup = setup("{}");
        let told = faults("front left,middle,1\n35.9 x 12 in,middle,0\n35.9 x 12 in,left,1\n", &setup);
        assert!(told.iter().all(|fault| fault.starts_with("line 2, column 1: ")), "{told:?}");
        assert!(told[0].contains("such that every pad is on the plate"), "{told:?}");
    }

    /// Rows of a placement that was not taken after all.
    #[test]
    fn a_blank_row_needs_no_place() {
        let setup = setup("{}");
        let text = ",front right,1,0\n,middle,1,1\n35.9 x 12 in,middle,1,\n18 x 4.25,,1,\n18 x 4.25,nowhere,1,-\n,?,x,\n";
        assert_eq!(told(text, &setup).len(), 2);
        assert_eq!(Readings::read(text, &setup).unwrap().check.survey.n_groups, 1);
    }

    fn row() -> impl proptest::strategy::Strategy<Value = String> {
        use proptest::prelude::*;
        let placement =
            prop::sample::select(vec!["", "front left", "18 x 4.25 in", "9 x 9 heading 10", "nowhere"]);
        let target = prop::sample::select(vec!["front right", "middle", "back", "12 x 20 in", "x", ""]);
        let pass = prop::sample::select(vec!["", "1", "2", "3 closing", "zero", "99"]);
        let reading = prop::sample::select(vec!["", "0", "1", "-2 tenths", "50 µin", "?"]);
        (placement, target, pass, reading).prop_map(|(a, b, c, d)| format!("{a};{b};{c};{d};;"))
    }

    proptest::proptest! {
        /// Whatever is typed is read or refused.
        #[test]
        fn any_text_is_read_or_refused(text in "\\PC*", rows in proptest::collection::vec(row(), 0..12)) {
            for survey in ["{}", r#"{ "zeroing": "each pass", "passes": 2 }"#, r#"{ "stand": "turned", "closing_reading": false }"#] {
                let setup = setup(survey);
                for text in [text.clone(), rows.join("\n"), format!("target,reading\n{text}")] {
                    if let Ok(readings) = Readings::read(&text, &setup) {
                        let n_readings = readings.check.survey.readings.len();
                        assert!(readings.rows.iter().all(|row| row.reading < n_readings));
                        assert!(readings.spread() >= 0.0);
                    }
                }
            }
        }
    }

    #[test]
    fn nothing_read_is_no_reading() {
        let setup = setup("{}");
        for text in ["front right,0\n", "middle,\nfront right,0\nfront right,0.2\n"] {
            assert!(faults(text, &setup)[0].contains("besides the zero"));
        }
        assert!(faults("", &setup)[0].contains("the file of readings is empty"));
    }
}
