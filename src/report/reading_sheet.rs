//! A blank sheet for the readings of a check: a file to fill in, and a page to print.

use super::{
    chart::plate_map::MapTarget,
    number::{Digits, short, typeset, unit_label},
    page::{CONTENT_POLICY, LIMITS_OF_USE},
    picture::Svg,
    survey_marks::{in_plan, plate_sketch, stands},
    text::{escape, inert},
};
use crate::{
    quantity::unit::{MICROMETRE, Measure, TENTH, Unit},
    setup::{Setup, reading_table::COLUMNS},
    shop::survey::{Reading, StandUse, Station, Zeroing},
};
use std::ops::Range;

/// The sheet for the survey of a setup.
#[derive(Debug, Clone, Copy)]
pub struct ReadingSheet<'a> {
    /// The setup.
    pub setup: &'a Setup,
}

/// What a sheet says of the reading that is zero by being set.
pub(super) const SET_ZERO: &str = "set the zero here";

impl ReadingSheet<'_> {
    /// The sheet as CSV, to be filled in and given to `howflat judge`.
    pub fn csv(&self) -> String {
        let setup = self.setup;
        let mut sheet = format!("# {}\n", inert(&setup.title));
        sheet += &format!(
            "# Readings in {}, read to {}; plus: the tip is pushed up. Another unit may be written: -50 µin.\n",
            unit_name(setup.unit),
            self.step()
        );
        sheet += "# Blank: not read. Read twice: add a row. Then: howflat judge SETUP THIS_FILE\n";
        let mut writer = csv::Writer::from_writer(Vec::new());
        // Writing into memory cannot fail, and all rows have as many cells.
        let _ = writer.write_record(COLUMNS);
        let survey = &setup.check.survey;
        for (index, reading) in survey.readings.iter().enumerate() {
            let spot = &survey.spots[reading.spot];
            let is_zero = survey.zeros.contains(&index);
            let pass = self.pass(index);
            let (pass, value, remark) = match (reading.closing, is_zero) {
                (true, _) => (format!("{pass} closing"), "", "closing reading: the zero again"),
                (false, true) => (pass.to_string(), "0", SET_ZERO),
                (false, false) => (pass.to_string(), "", ""),
            };
            let [station, target] = [&spot.station, &spot.target].map(|name| disarmed(name));
            let _ = writer.write_record([&station, &target, pass.as_str(), value, "", remark]);
        }
        sheet + &String::from_utf8_lossy(&writer.into_inner().unwrap_or_default())
    }

    /// The sheet as a page that prints on A4 and Letter alike and needs nothing but itself.
    pub fn html(&self) -> String {
        let setup = self.setup;
        let title = escape(&setup.title);
        let blanks = |names: &[&str]| {
            let each = names.iter().map(|name| format!("<span>{name}<i></i></span>"));
            format!("<p class=\"blanks\">{}</p>\n", each.collect::<String>())
        };
        let mut page = format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"{CONTENT_POLICY}\">\n\
             <meta name=\"viewport\" content=\"width=device-width\">\n<title>Reading sheet: {title}</title>\n\
             <style>\n{STYLE}</style>\n</head>\n<body>\n<main>\n<h1>Reading sheet</h1>\n<p class=\"title\">{title}</p>\n"
        );
        page += &blanks(&["Plate no.", "Date", "Read by"]);
        page += &blanks(&["Indicator no.", "Plate, top, °C", "underside, °C"]);
        page += &format!("<h2>Before you begin</h2>\n<ul>\n<li>{}</li>\n", self.wiping());
        for caution in CAUTIONS {
            page += &format!("<li>{caution}</li>\n");
        }
        page += "</ul>\n";
        let how_to_read = format!("<h2>How to read</h2>\n<p>{}</p>\n", self.how_to_read());
        let stations = &setup.plan.stations;
        // One placement has its picture beside all that is said, and its table below; several have theirs side by side.
        match &stations[..] {
            [station] => page += &self.alone(station, &how_to_read),
            _ => {
                page += &how_to_read;
                // Two abreast where there are many, so that a sheet is two pages at most.
                let abreast = stations.len() > SIDE_BY_SIDE;
                let all = stations.iter().enumerate().map(|(i, station)| self.one_of_many(i, station));
                let all: String = all.collect();
                page += &if abreast { format!("<div class=\"many\">\n{all}</div>\n") } else { all };
            }
        }
        let digest = &setup.digest[..setup.digest.len().min(16)];
        page += &format!(
            "<p class=\"small\">Write slips, knocks, pauses and specks of dirt under remark. Type the readings into the \
             sheet's CSV file, then run <code>howflat judge</code> with the setup and that file.</p>\n\
             <p class=\"small\">{}</p>\n<p class=\"small\">howflat {}, setup {digest}</p>\n</main>\n</body>\n</html>\n",
            LIMITS_OF_USE,
            crate::VERSION
        );
        page
    }

    /// Both, by name.
    pub fn files(&self) -> Vec<(String, Vec<u8>)> {
        vec![("sheet.csv".into(), self.csv().into_bytes()), ("sheet.html".into(), self.html().into_bytes())]
    }

    /// Sign, step, zero and passes.
    fn how_to_read(&self) -> String {
        let plan = &self.setup.plan;
        let zero = match plan.zeroing {
            Zeroing::Once => "Set the zero once, at the first target, and leave it for all readings.",
            Zeroing::EachPass => "Set the zero anew at the first target of each pass.",
            Zeroing::EachStation => "Set the zero anew at the first target each time the stand is put down.",
        };
        let stand = match plan.stand_use {
            StandUse::Parked => "The feet stay where they are; swing the arm to each target.",
            StandUse::Turned => "Turn the whole stand on its spot so that it points at each target.",
            StandUse::Carried => {
                "Stand and block travel together, the stand pointing the same way throughout."
            }
        };
        let mut said = format!(
            "Readings in {}, to the nearest {}. Plus: the tip is pushed up, the spot is high. {stand} Go in the order of \
             the numbers. {zero}",
            unit_name(self.setup.unit),
            self.step()
        );
        if plan.closing_reading {
            said += " At the end read the zero target again and write down what it shows: that is the closing reading.";
        }
        if plan.passes > 1 && plan.stations.len() > 1 {
            said += " Go through all placements, then begin the next pass.";
        }
        said
    }

    fn alone(&self, station: &Station, how_to_read: &str) -> String {
        format!(
            "<section>\n<div class=\"beside\">\n<figure>\n{}</figure>\n<div>\n{how_to_read}<h2>Placement: {}</h2>\n\
             <p>{}</p>\n</div>\n</div>\n{}</section>\n",
            self.sketch(0, station, 0.6),
            escape(&station.name),
            self.where_to_stand(station),
            self.table(0, station)
        )
    }

    fn one_of_many(&self, index: usize, station: &Station) -> String {
        let n = index + 1;
        // A name that is the place already says where.
        let name = match escape(&station.name) {
            name if name == self.place(station.at) => String::new(),
            name => format!(": {name}"),
        };
        format!(
            "<section class=\"one\">\n<h2>Placement {n}{name}</h2>\n<p>{}</p>\n<div class=\"beside few\">\n<figure>\n{}\
             </figure>\n{}</div>\n</section>\n",
            self.where_to_stand(station),
            self.sketch(index, station, 0.32),
            self.table(index, station)
        )
    }

    /// A point of the plate as it is written.
    fn place(&self, at: [f64; 2]) -> String {
        let [x, y] = in_plan(at, self.setup.plan_unit).map(|side| short(side, 4));
        format!("{x} x {y} {}", escape(self.setup.plan_unit.symbol()))
    }

    /// What is read from a placement, to be filled in.
    fn table(&self, index: usize, station: &Station) -> String {
        let setup = self.setup;
        // One pass more than planned costs nothing and is often taken.
        let n_passes = setup.plan.passes.max(2);
        let mut table = String::from(
            "<table>\n<thead><tr><th scope=\"col\">no.</th><th scope=\"col\">target, from left x front</th>",
        );
        // Narrow columns have no room for the unit, which stands above all placements.
        let unit = match setup.plan.stations.len() {
            n if n > SIDE_BY_SIDE => String::new(),
            _ => format!(", {}", escape(unit_label(setup.unit))),
        };
        for pass in 1..=n_passes {
            table += &format!("<th scope=\"col\">pass {pass}{unit}</th>");
        }
        table +=
            "<th scope=\"col\">time</th><th scope=\"col\" class=\"wide\">remark</th></tr></thead>\n<tbody>\n";
        let blank = "<td></td>".repeat(n_passes + 2);
        for (number, target) in station.targets.iter().enumerate() {
            let zero = if self.sets_zero(index, number) { " (zero)" } else { "" };
            let name = match (escape(&target.name), self.place(target.at)) {
                (name, place) if name == place => place,
                (name, place) => format!("{name}, {place}"),
            };
            let n = number + 1;
            table += &format!("<tr><th scope=\"row\">{n}</th><td>{name}{zero}</td>{blank}</tr>\n");
        }
        if let (true, Some(first)) = (self.closes(index), station.targets.first()) {
            let at_the_end = setup.plan.zeroing != Zeroing::EachStation && setup.plan.stations.len() > 1;
            let when = if at_the_end { "closing reading, after all placements" } else { "closing reading" };
            let name = escape(&first.name);
            table += &format!("<tr><th scope=\"row\">1</th><td>{name}: {when}</td>{blank}</tr>\n");
        }
        table + "</tbody>\n</table>\n"
    }

    /// What the setup counts on, and no more: a sheet that asks for another cleaning would be another check.
    fn wiping(&self) -> &'static str {
        const WIPED_EACH_TIME: f64 = 0.005;
        const WIPED: f64 = 0.03;
        match self.setup.check.cleanliness.grain_chance {
            chance if chance < WIPED_EACH_TIME => {
                "Wipe plate, block and feet; wipe again each time one of them is put down, as this check counts on."
            }
            chance if chance < WIPED => {
                "Wipe plate, block and feet once before you begin, as this check counts on; wiping each time one is put \
                 down is better still."
            }
            _ => "This check counts on no wiping at all; wipe plate, block and feet all the same.",
        }
    }

    /// The spots that are read from a station.
    fn spots(&self, station: usize) -> Range<usize> {
        let stations = &self.setup.plan.stations;
        let first = stations[..station].iter().map(|station| station.targets.len()).sum();
        first..first + stations[station].targets.len()
    }

    /// Whether a zero is set at a target of a station.
    fn sets_zero(&self, station: usize, target: usize) -> bool {
        let survey = &self.setup.check.survey;
        let spot = self.spots(station).start + target;
        survey.zeros.iter().any(|&zero| survey.readings[zero].spot == spot)
    }

    /// Whether the survey has a closing reading that is taken from this station.
    fn closes(&self, station: usize) -> bool {
        let here = self.spots(station);
        self.setup.check.survey.readings.iter().any(|reading| reading.closing && here.contains(&reading.spot))
    }

    fn where_to_stand(&self, station: &Station) -> String {
        let setup = self.setup;
        let [x, y] = station.at.map(|side| setup.length_text(side));
        let heading = typeset(station.heading.rem_euclid(360.0), Digits::Decimals(0));
        match setup.plan.stand_use {
            StandUse::Parked => format!(
                "Put the column {x} from the left edge and {y} from the front edge, the feet set for an arm that points {}.",
                direction(station.heading)
            ),
            StandUse::Turned => format!("Put the column {x} from the left edge and {y} from the front edge."),
            StandUse::Carried => format!(
                "Tip {} from the column, pointing {} ({heading}° from the long side towards the back).",
                setup.length_text(setup.plan.carried_reach),
                direction(station.heading)
            ),
        }
    }

    /// The plate with one placement and its targets, numbered in the order they are read; so wide a share of a page.
    pub fn sketch(&self, index: usize, station: &Station, share: f64) -> Svg {
        let setup = self.setup;
        let check = &setup.check;
        let survey = &check.survey;
        let here = self.spots(index);
        let taken = survey.readings.iter().filter(|reading: &&Reading| here.contains(&reading.spot));
        let labels: Vec<String> = (1..=station.targets.len()).map(|number| number.to_string()).collect();
        let targets: Vec<MapTarget> = station
            .targets
            .iter()
            .zip(&labels)
            .map(|(target, label)| MapTarget {
                at: in_plan(target.at, setup.plan_unit),
                label,
                reading: None,
            })
            .collect();
        plate_sketch(
            setup,
            &format!("Placement {}: stand, feet and targets in order", index + 1),
            &stands(taken, setup.plan_unit),
            &targets,
            share,
        )
    }

    /// The step that is read to, in the setup's unit.
    fn step(&self) -> String {
        let step = Measure { value: self.setup.check.indicator.read_step, unit: MICROMETRE };
        format!("{} {}", short(step.to(self.setup.unit), 3), unit_label(self.setup.unit))
    }

    /// The pass that a reading belongs to, from 1; a closing reading belongs to the pass before it.
    fn pass(&self, index: usize) -> usize {
        let readings = &self.setup.check.survey.readings;
        let spot = readings[index].spot;
        let same =
            readings[..index].iter().filter(|reading| reading.spot == spot && !reading.closing).count();
        if readings[index].closing { same } else { same + 1 }
    }
}

/// So many placements and no more have the whole width of the sheet.
const SIDE_BY_SIDE: usize = 4;

/// What every shop check needs (common practice, no source).
const CAUTIONS: [&str; 6] = [
    "Press the tip up with a finger: the pointer must go to plus. <span class=\"tick\">seen</span>",
    "Let plate, stand and block come to the same temperature; lamps, sun and draughts bend the plate.",
    "Clamp everything on the stand and tap it: a joint that gives shows here.",
    "Bring the tip down from the same side each time, and let the hand go before you read.",
    "Do not lean on the plate, and touch the stand by its base only.",
    "Slide the block to its place and wring nothing; put it down the same way round each time.",
];

const STYLE: &str = "\
@page { margin: 10mm 12mm; }
* { box-sizing: border-box; }
body { font: 9pt/1.3 system-ui, sans-serif; color: #1c2530; background: #fff; max-width: 186mm; margin: 0 auto; padding: 4mm 3mm; }
h1 { font-size: 15pt; margin: 0; }
h2 { font-size: 10.5pt; margin: 2.5mm 0 0.7mm; break-after: avoid; }
p { margin: 0 0 1.2mm; }
.title { font-size: 10.5pt; font-weight: 600; }
.blanks { display: flex; flex-wrap: wrap; gap: 1mm 6mm; margin-top: 1mm; }
.blanks span { flex: 1 0 40mm; display: flex; gap: 2mm; align-items: flex-end; white-space: nowrap; }
.blanks i { flex: 1; border-bottom: 0.3mm solid #52606d; height: 5mm; }
ul { margin: 0; padding-left: 5mm; font-size: 8.5pt; }
li, tr, figure, .one { break-inside: avoid; }
li { margin-bottom: 0.4mm; }
figure { margin: 0; }
figure svg { display: block; width: 100%; height: auto; }
.beside { display: grid; grid-template-columns: 96mm 1fr; gap: 4mm; align-items: start; margin-bottom: 2mm; }
.few { grid-template-columns: 48mm 1fr; }
.one { border-top: 0.3mm solid #52606d; margin-top: 1.5mm; }
.one h2 { margin-top: 1mm; }
table { border-collapse: collapse; width: 100%; }
thead { display: table-header-group; }
th, td { border: 0.25mm solid #52606d; padding: 0.4mm 1.5mm; text-align: left; font-weight: 400; height: 6.4mm; }
thead th { font-weight: 600; height: auto; vertical-align: bottom; }
tbody th { font-weight: 600; text-align: center; }
td:nth-child(n+3) { min-width: 14mm; }
.wide { width: 28%; }
.few th, .few td { height: 6mm; }
.few .wide { width: 20%; }
.many { display: grid; grid-template-columns: 1fr 1fr; gap: 0 5mm; }
.many .one { display: grid; grid-template-columns: 1fr 36mm; grid-template-rows: auto auto auto; column-gap: 3mm; align-content: start; }
.many .few { display: contents; }
.many figure { grid-column: 2; grid-row: 1 / 3; margin: 0.5mm 0; }
.many table { grid-column: 1 / 3; font-size: 8pt; line-height: 1.15; margin-bottom: 1.5mm; table-layout: fixed; }
.many th, .many td { height: 5.6mm; padding: 0.3mm 1mm; }
.many th:first-child { width: 6mm; }
.many th:nth-child(2) { width: 33mm; }
.tick { white-space: nowrap; }
.tick::before { content: \"\"; display: inline-block; width: 3mm; height: 3mm; border: 0.3mm solid #52606d; vertical-align: -0.5mm; \
    margin: 0 1mm 0 1.5mm; }
.small { font-size: 7.5pt; color: #52606d; margin: 1mm 0 0; break-inside: avoid; }
@media screen { section { overflow-x: auto; } }
@media screen and (max-width: 40rem) { .beside, .few, .many, .many .one { grid-template-columns: 1fr; } .many .one { display: block; } ul { columns: 1; } }
@media print { body { max-width: none; padding: 0 0.5mm; } ul { columns: 2; column-gap: 8mm; } }
";

/// A unit as one says it.
fn unit_name(unit: Unit) -> String {
    if unit == TENTH { "tenths (0.0001 in)".into() } else { unit.symbol().into() }
}

/// A heading in words, for a person who stands at the front edge.
pub(super) fn direction(heading: f64) -> &'static str {
    const NAMES: [&str; 8] = [
        "to the right",
        "to the right and back",
        "to the back",
        "to the left and back",
        "to the left",
        "to the left and front",
        "to the front",
        "to the right and front",
    ];
    NAMES[(heading.rem_euclid(360.0) / 45.0).round() as usize % 8]
}

/// A name that a spreadsheet takes for no formula.
fn disarmed(name: &str) -> String {
    let name = inert(name);
    if name.starts_with(['=', '+', '-', '@']) { format!("'{name}") } else { name }
}
