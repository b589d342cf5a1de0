//! A shop check's setup in plain words: what was looked at, with what, and what was taken for granted.

use super::{
    heights::Heights,
    number::{Digits, short},
    page::{Part, date_fact, short_digest},
    table::{Cell, Column, Table},
};
use crate::{
    quantity::{
        day::{Day, WrittenDay},
        distribution::Distribution,
    },
    setup::{Setup, field_meaning},
    shop::{
        grade::Tolerance,
        survey::{Effort, StandUse, Survey, Zeroing},
    },
};

/// The title block of a report on a shop check: plate, the tolerance that it is held against, check, date, setup.
pub fn facts(setup: &Setup, tolerance: Option<&Tolerance>, date: Option<&str>) -> Vec<[String; 2]> {
    let heights = Heights { unit: setup.unit };
    let tolerance = match tolerance {
        Some(tolerance) => format!("{} ({})", heights.text(tolerance.value), tolerance.name),
        None => "none given".to_string(),
    };
    let fact = |name: &str, value: String| [name.to_string(), value];
    let mut facts = vec![
        fact("plate", plate_size(setup)),
        fact("tolerance", tolerance),
        fact("check", survey(setup)),
        date_fact(date),
        fact("setup", short_digest(&setup.digest).to_string()),
        fact("program", format!("howflat {}", crate::VERSION)),
    ];
    for (name, instrument) in setup.traceability.instruments() {
        let said = [
            ("serial", &instrument.serial),
            ("certificate", &instrument.certificate),
            ("calibrated", &instrument.calibrated),
            ("due", &instrument.due),
        ];
        let said = said.iter().filter_map(|(what, text)| Some(format!("{what} {}", text.as_deref()?)));
        facts.push(fact(&format!("{} no.", name.replace('_', " ")), said.collect::<Vec<_>>().join(", ")));
    }
    facts.extend(setup.traceability.checked_by.iter().map(|name| fact("checked by", name.clone())));
    facts
}

/// What is to be said beside the answer where an instrument's certificate had run out on the day of the report.
pub fn overdue(setup: &Setup, date: Option<&str>) -> Option<String> {
    let Some(WrittenDay::One(day, _)) = Day::read(date?) else { return None };
    let overdue = setup.traceability.overdue(day);
    let each: Vec<String> = overdue
        .iter()
        .map(|(name, instrument, due)| {
            let number =
                instrument.certificate.as_ref().map_or(String::new(), |number| format!(" ({number})"));
            format!("the {}'s certificate{number} was due on {due}", name.replace('_', " "))
        })
        .collect();
    (!each.is_empty()).then(|| {
        format!(
            "Overdue on {day}: {}. The result is traced by no valid certificate of that.",
            each.join(", ")
        )
    })
}

/// What a setup says, by itself or by its defaults: a sentence or two each on plate, stand, indicator, block, heat,
/// dirt and survey.
pub fn described(setup: &Setup) -> Vec<String> {
    let check = &setup.check;
    let heights = Heights { unit: setup.unit };
    let length = |millimetres: f64| setup.length_text(millimetres);
    let bow = if check.plate.flatness_holds_bow {
        "A bow by heat counts as part of the flatness."
    } else {
        "A bow by heat during the check counts as an error, not as flatness."
    };
    vec![
        format!(
            "Plate: {}, with a strip of {} along the edges that is not judged. {bow}",
            plate_size(setup),
            length(check.plate.margin)
        ),
        stand(setup),
        indicator(setup),
        format!(
            "Gauge block: {} long; its length varies by up to {} over the face. One block is used throughout, so its own \
             error cancels.",
            length(check.gauge_block.length),
            heights.text(check.gauge_block.length_variation)
        ),
        format!(
            "Heat: the top of the plate is warmer than its underside by {}; the stand's column warms by {}; a hand warms \
             block and column by {} at first, which fades within {} min.",
            with_scatter(&check.temperature.top_to_bottom, |value| value, "K"),
            with_scatter(&check.temperature.column_rate, |value| value, "K/h"),
            with_scatter(&check.temperature.handling, |value| value, "K"),
            short(check.temperature.fading, 2)
        ),
        format!(
            "Cleanliness: each foot and the block sit on a film that varies by {} (standard deviation), and catch a grain \
             in {} of 1000 times.",
            heights.text(check.cleanliness.film),
            short(1000.0 * check.cleanliness.grain_chance, 2)
        ),
        format!(
            "Survey: {}; a reading takes {} min; {}.",
            survey(setup),
            short(setup.plan.minutes_per_reading, 2),
            zero(setup)
        ),
    ]
}

fn stand(setup: &Setup) -> String {
    let stand = &setup.check.stand;
    let length = |millimetres: f64| setup.length_text(millimetres);
    let feet = stand.feet.map(|[x, y]| format!("{} and {}", length(x), length(y)));
    let stand_use = match setup.plan.stand_use {
        StandUse::Parked => "it is parked: the feet stay put and the arm swings to each target",
        StandUse::Turned => {
            "it is turned on its spot to point at each target, so its feet land elsewhere each time"
        }
        StandUse::Carried => "stand and block are carried together, at a fixed reach",
    };
    format!(
        "Stand: feet at {}; {}; and {} along the arm and to its left, pads {} across; {}; {stand_use}.",
        feet[0],
        feet[1],
        feet[2],
        length(stand.pad_diameter),
        reaches(setup)
    )
}

fn indicator(setup: &Setup) -> String {
    let indicator = &setup.check.indicator;
    let heights = Heights { unit: setup.unit };
    let approach =
        if indicator.one_sided_approach { "always from the same side" } else { "from either side" };
    format!(
        "Indicator: graduated in {}, read to {}, wrong by up to {} either way; a reading repeated on one spot \
         scatters by {} (standard deviation); hysteresis {}, the tip coming down {approach}.",
        heights.text(indicator.graduation),
        heights.text(indicator.read_step),
        heights.text(indicator.error_limit),
        heights.text(indicator.repeatability),
        with_scatter(&indicator.hysteresis, |value| heights.of(value), heights.label()),
    )
}

/// How often the zero is set, and whether it is read again.
fn zero(setup: &Setup) -> String {
    let zeroing = match setup.plan.zeroing {
        Zeroing::Once => "once",
        Zeroing::EachPass => "anew in every pass",
        Zeroing::EachStation => "anew each time the stand is put down",
    };
    let closing = match (setup.plan.closing_reading, setup.plan.drift_corrected) {
        (true, true) => "read again at the end, and the drift it shows is taken off",
        (true, false) => "read again at the end, to show the drift",
        (false, _) => "not read again at the end",
    };
    format!("the zero is set {zeroing} and {closing}")
}

/// What was taken for granted of a shop check: what its setup says, and every default.
pub fn granted(setup: &Setup) -> [Part; 2] {
    [Part::List(described(setup)), Part::Appendix(defaults(setup), defaults_sentence(setup))]
}

/// Every default that a setup did not state, with what the field means.
pub fn defaults(setup: &Setup) -> Table {
    let caption = "Taken for what the setup does not state. \"Common practice\" is what shops do; no published source is \
                   claimed for it";
    Table::of(caption, &setup.assumptions)
        .text("field", |taken| taken.field.as_str())
        .column(Column::text("what it is"), |taken| {
            field_meaning(&taken.field).map_or(Cell::Empty, Cell::from)
        })
        .text("taken as", |taken| taken.value.as_str())
        .text("source", |taken| without_repetition(&taken.why))
        .table()
}

/// How many defaults there are, in a sentence.
pub fn defaults_sentence(setup: &Setup) -> String {
    match setup.assumptions.len() {
        0 => "The setup states everything; no default was used.".into(),
        n => format!(
            "{n} values that the setup does not state were taken as usual; the report in the folder given by --out \
             lists each."
        ),
    }
}

/// A source as a table names it: that practice has no publication behind it is said once, above it.
fn without_repetition(why: &str) -> String {
    why.replace("common practice, no source", "common practice")
        .replace(" (common practice)", "; common practice")
}

/// How near and how far the tip can be, where either is bounded.
fn reaches(setup: &Setup) -> String {
    let [shortest, longest] = setup.check.stand.reach;
    let length = |millimetres: f64| setup.length_text(millimetres);
    match (shortest > 0.0, longest.is_finite()) {
        (true, true) => format!("it reaches from {} to {}", length(shortest), length(longest)),
        (true, false) => format!("it reaches from {} on, as far as is needed", length(shortest)),
        (false, true) => format!("it reaches {} at most", length(longest)),
        (false, false) => "it reaches as far as is needed".into(),
    }
}

fn plate_size(setup: &Setup) -> String {
    let plate = &setup.check.plate;
    let [length, width, thickness] =
        [plate.length, plate.width, plate.thickness].map(|side| setup.length_text(side));
    format!("{length} x {width}, {thickness} thick")
}

fn survey(setup: &Setup) -> String {
    let survey = &setup.check.survey;
    let plural = |n: usize, one: &str| if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") };
    let passes = match survey.n_passes {
        1 => String::new(),
        n => format!(" in {n} passes"),
    };
    let places = match survey.stand_use {
        StandUse::Parked | StandUse::Turned => plural(setup.plan.stations.len(), "place"),
        StandUse::Carried => plural(survey.n_seatings, "place"),
    };
    format!("{}{passes}, the stand {} at {places}", effort(survey), survey.stand_use.name())
}

/// What a survey takes, as every report counts it: "1 set-down of the stand, 9 indications (7 readings, 1 zero, 1 closing)".
pub fn effort(survey: &Survey) -> String {
    let plural = |n: usize, one: &str| if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") };
    let Effort { set_downs, indications } = survey.effort();
    let readings = plural(survey.compared().count(), "reading");
    let closing = match survey.closings.iter().flatten().count() {
        0 => String::new(),
        n => format!(", {n} closing"),
    };
    format!(
        "{} of the stand, {} ({readings}, {}{closing})",
        plural(set_downs, "set-down"),
        plural(indications, "indication"),
        plural(survey.zeros.len(), "zero")
    )
}

/// Mean and standard deviation in words; a number alone where nothing is uncertain.
fn with_scatter(known: &Distribution, convert: impl Fn(f64) -> f64, unit: &str) -> String {
    let [mean, u] = [known.mean(), known.standard_uncertainty()].map(convert);
    let figure = |value: f64| super::number::plain(value, Digits::Significant(2));
    if u == 0.0 {
        return format!("{} {unit}", figure(mean));
    }
    let mean = if mean.abs() < 1e-3 * u { "0".to_string() } else { figure(mean) };
    format!("{mean} {unit} on average (standard deviation {} {unit})", figure(u))
}
