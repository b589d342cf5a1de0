//! The lesson of the corner dip, as a sheet for a class: a picture, its numbers and a rule for each of its points.

use super::{
    Report,
    chart::{
        Mark,
        curves::{Curve, Curves},
        plate_map::{MapStand, MapTarget, PlateMap},
    },
    heights::Heights,
    lever_view::LeverView,
    number::{Digits, plain, short},
    page::{LIMITS_OF_USE, Page, Part, date_fact, short_digest},
    picture::Svg,
    survey_marks::in_plan,
    table::{Cell, Rows, Table},
    text,
};
use crate::{
    quantity::unit::{MICROMETRE, MILLIMETRE, Measure, Unit},
    setup::Setup,
    shop::{
        grid::Grid,
        lesson::{Lesson, Remedy, RemedyKind, SPACINGS, Step},
        survey::StandUse,
    },
};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// Everything the sheet is made from.
#[derive(Debug, Clone)]
pub struct LessonReport<'a> {
    /// The setup whose stand and plate are used.
    pub setup: &'a Setup,
    /// The numbers.
    pub lesson: &'a Lesson,
    /// The date of the sheet, as the user gave it.
    pub date: Option<&'a str>,
}

/// How deep the lesson's dip is (µm): the round number of the unit that is nearest to 2.5 µm.
pub fn dip_depth(unit: Unit) -> f64 {
    let wanted = Measure { value: 2.5, unit: MICROMETRE }.to(unit);
    let power = libm::pow(10.0, libm::floor(libm::log10(wanted)));
    let off = |value: &f64| libm::fabs(libm::log(value / wanted));
    let round = [1.0, 2.0, 5.0, 10.0].map(|value| value * power);
    let nearest = round.into_iter().min_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(wanted);
    Measure { value: nearest, unit }.to(MICROMETRE)
}

/// How high the lesson's bow is (µm): twice the setup's tolerance, or ten dips.
pub fn bow_height(setup: &Setup) -> f64 {
    setup.tolerance.as_ref().map_or(10.0 * dip_depth(setup.unit), |tolerance| 2.0 * tolerance.value)
}

/// What is put under a foot: its thickness and the standard uncertainty of it, in µm. Kitchen foil anything from 10 to 20 µm, shim of a
/// thousandth of an inch within 10 % (common practice, no source); both rectangular.
const FOILS: [(&str, [f64; 2]); 2] =
    [("kitchen foil, one layer", [15.0, 2.887]), ("shim of 0.001 in (25 µm)", [25.4, 1.466])];

/// A question and its answer.
struct Exercise {
    question: String,
    answer: String,
}

impl Report for LessonReport<'_> {
    type Document = LessonDocument;

    fn page(&self) -> Page {
        let setup = self.setup;
        let fact = |name: &str, value: String| [name.to_string(), value];
        let plate = &setup.check.plate;
        let side = &self.lesson.side;
        let spread_out =
            format!("rear {}, front {} ahead of the column", self.length(side.rear), self.length(side.front));
        let mut parts = Vec::new();
        parts.extend(self.one_foot());
        parts.extend(self.walked());
        parts.extend(self.levered());
        parts.extend(self.compared());
        parts.extend(self.carried());
        parts.extend(self.remedied());
        parts.extend(self.tried());
        parts.push(Part::heading("Exercises"));
        for (n, exercise) in self.exercises().iter().enumerate() {
            parts.push(Part::Words(format!("Exercise {}. {}", n + 1, exercise.question)));
        }
        parts.extend([Part::heading("Cautions and limits"), Part::Caution(LIMITS_OF_USE.into())]);
        parts.push(Part::Overleaf("Answers".into()));
        for (n, exercise) in self.exercises().iter().enumerate() {
            parts.push(Part::Words(format!("Answer {}. {}", n + 1, exercise.answer)));
        }
        Page {
            kind: "The lesson of the corner dip".into(),
            title: setup.title.clone(),
            facts: vec![
                fact("plate", format!("{} x {}", self.length(plate.length), self.length(plate.width))),
                fact("stand", spread_out),
                date_fact(self.date),
                fact("setup", short_digest(&setup.digest).into()),
                fact("program", format!("howflat {}", crate::VERSION)),
            ],
            answer_is: "The lesson".into(),
            answer: vec![
                self.answer(),
                "A stand on three feet measures from the plane of its feet, carried out to the tip. Whatever lies under a \
                 foot is carried out with it and grows on the way; its sign says which foot is in the dip, not whether \
                 the plate under the block is high or low."
                    .into(),
            ],
            parts,
            provenance: format!("howflat {}, setup {}.", crate::VERSION, short_digest(&setup.digest)),
            ..Page::default()
        }
    }

    fn document(&self) -> LessonDocument {
        let h = self.heights();
        let lesson = self.lesson;
        LessonDocument {
            title: text::inert(&self.setup.title),
            date: self.date.map(text::inert),
            answer: self.answer(),
            unit: self.setup.unit.symbol().into(),
            length_unit: self.setup.plan_unit.symbol().into(),
            dip_depth: h.of(lesson.depth),
            dip_sigma: self.plan(lesson.sigma),
            short_reach: self.plan(lesson.short_reach),
            long_reach: self.plan(lesson.long_reach),
            rear: self.plan(lesson.side.rear),
            front: self.plan(lesson.side.front),
            bow: h.of(lesson.carried.bow),
            flatness_of_bow: h.of(lesson.carried.flatness),
            tables: self.tables().iter().map(|(name, table)| TableDocument::new(name, table)).collect(),
            exercises: self
                .exercises()
                .map(|e| ExerciseDocument { question: e.question, answer: e.answer })
                .into(),
            setup_digest: self.setup.digest.clone(),
            version: crate::VERSION.into(),
        }
    }

    fn tables(&self) -> Vec<(String, Table)> {
        let tables = [
            ("feet", self.feet_table()),
            ("walk", self.walk_table(|_, _| true)),
            ("lever", self.lever_table()),
            ("tilt", self.tilt_table()),
            ("carried", self.carried_table(|_| true)),
            ("remedies", self.remedies_table()),
            ("foil", self.foil_table()),
        ];
        tables.map(|(name, table)| (name.into(), table)).into()
    }

    fn in_pixels(&self, _: &str) -> bool {
        true
    }
}

impl LessonReport<'_> {
    /// The lesson in two sentences.
    pub fn answer(&self) -> String {
        format!(
            "A dip of {} under the rear of this stand makes a reading {} out wrong by {}; under its front by {}.",
            self.depth_text(),
            self.length(self.lesson.long_reach),
            self.dial(self.at_long_reach(true)),
            self.dial(self.at_long_reach(false)),
        )
    }

    /// One foot in the dip, from the side.
    fn one_foot(&self) -> Vec<Part> {
        let lesson = self.lesson;
        let side = &lesson.side;
        let figure = |value: f64| plain(self.plan(value), Digits::Decimals(2));
        let mut parts = vec![
            Part::heading("1. One foot in the dip"),
            Part::Words(format!(
                "Lift one foot by a hair and the tip moves as well, by w hairs: that is the foot's lever, and nothing but lengths \
                 goes into it. Measure them forwards from the column. For the rear w is -(reach - front) / (front - rear) = \
                 -({} - {}) / ({} - {}) = {}; for the front it is one minus that. A foot in a dip stands at a height of -{}, and the \
                 reading changes by minus w times that height.{}",
                figure(lesson.long_reach),
                bracketed(self.plan(side.front), Digits::Decimals(2)),
                figure(side.front),
                bracketed(self.plan(side.rear), Digits::Decimals(2)),
                plain(self.at_long_reach(true) / lesson.depth, Digits::Decimals(3)),
                self.depth_text(),
                self.read_to(),
            )),
            Part::Table(self.feet_table()),
        ];
        let svg = LeverView {
            title: &format!("The rear in a dip of {}", self.depth_text()),
            setup: self.setup,
            stand: &self.setup.check.stand,
            reach: lesson.long_reach,
            depth: lesson.depth,
            at_the_rear: true,
            to_true_scale: true,
        }
        .svg();
        parts.extend(svg.map(|svg| {
            Part::picture(
                "side",
                svg,
                "The stand from the side, heights enlarged above and to true scale below. The plate under the block is true; \
                 the reading is false.",
            )
        }));
        parts
    }

    fn feet_table(&self) -> Table {
        let (depth, [rear, front]) = (self.lesson.depth, [true, false].map(|rear| self.at_long_reach(rear)));
        let rows =
            [("rear", rear), ("front, both feet where there are two", front), ("all three", rear + front)];
        let caption = format!(
            "What a dip of {} does to the reading with the tip {} ahead",
            self.depth_text(),
            self.length(self.lesson.long_reach)
        );
        let table = Table::of(caption, rows)
            .text("in the dip", |(name, _)| *name)
            .number("lever w", "", Digits::Decimals(3), |(_, reading)| reading / depth)
            .height(self.heights(), "height z", |_| -depth)
            .height(self.heights(), "worked out, minus w z", |(_, reading)| *reading);
        self.dial_column(table, "the dial shows", |(_, reading)| *reading).table()
    }

    /// The stand walked over the dip.
    fn walked(&self) -> Vec<Part> {
        let lesson = self.lesson;
        let [block, front, rear] = self.key_places();
        let reading = |at: f64| match lesson.walk.iter().find(|step| step.at == at) {
            Some(step) => {
                format!("{}, of which {} is the plate", self.dial(step.reading()), self.dial(step.block))
            }
            None => "nothing".to_string(),
        };
        vec![
            Part::heading("2. Walk the stand across the dip"),
            Part::Words(format!(
                "Now the dip is a lane {} deep across the stand's way; {} from its middle it is 61 % as deep. The tip is {} \
                 ahead, and the stand walks along, zeroed on true stone before it comes there. First the block is in the \
                 dip and the indicator shows {}. Then the front sinks: {}. Then the rear: {}.",
                self.depth_text(),
                self.length(lesson.sigma),
                self.length(lesson.short_reach),
                reading(block),
                reading(front),
                reading(rear),
            )),
            Part::picture("walk", self.walk_picture(), "What the indicator shows, place by place, and what of it the feet do."),
            Part::Words(
                "One dip, and readings of both signs: a plus is no proof of a hump. What is true moves with the block, what \
                 is false with the feet; reading one spot from two places tells them apart."
                    .into(),
            ),
            Part::Table(self.walk_table(|i, at| i % 12 == 0 || self.key_places().contains(&at))),
        ]
    }

    /// Where block, front and rear are in the middle of the dip.
    fn key_places(&self) -> [f64; 3] {
        [-self.lesson.short_reach, -self.lesson.side.front, -self.lesson.side.rear]
    }

    fn walk_picture(&self) -> Svg {
        let h = self.heights();
        let [block, front, rear] = self.key_places().map(|at| self.plan(at));
        let points = |of: &dyn Fn(&Step) -> f64| -> Vec<[f64; 2]> {
            self.lesson.walk.iter().map(|step| [self.plan(step.at), h.of(of(step))]).collect()
        };
        let (shown, feet) = (points(&Step::reading), points(&|step| step.feet));
        Curves {
            title: "The stand walks across a dip",
            x_axis: "place of the stand, from the middle of the dip",
            x_unit: self.setup.plan_unit.symbol(),
            y_axis: "reading",
            y_unit: h.label(),
            y_range: None,
            curves: &[
                Curve { name: "what the indicator shows", points: &shown },
                Curve { name: "from the feet: false", points: &feet },
            ],
            bands: &[],
            limits: &[
                Mark { label: "block in the dip", at: block },
                Mark { label: "front in the dip", at: front },
                Mark { label: "rear in the dip", at: rear },
            ],
        }
        .svg()
    }

    fn walk_table(&self, is_shown: impl Fn(usize, f64) -> bool) -> Table {
        let h = self.heights();
        let steps = self.lesson.walk.iter().enumerate().filter(|(i, step)| is_shown(*i, step.at));
        let table = Table::of("The walk across the dip", steps.map(|(_, step)| step));
        let table = self
            .place_column(table, "place of the stand", |step| step.at)
            .height(h, "height under the block", |step| step.block)
            .height(h, "from the feet", |step| step.feet);
        self.dial_column(table, "the dial shows", |step| step.reading()).table()
    }

    /// Reach and foot spacing.
    fn levered(&self) -> Vec<Part> {
        let h = self.heights();
        let names = SPACINGS.map(|factor| self.spacing_name(factor));
        let points = |k: usize| -> Vec<[f64; 2]> {
            self.lesson.lever.iter().map(|row| [self.plan(row.reach), h.of(row.rear[k])]).collect()
        };
        let all = [points(0), points(1), points(2)];
        let curves: Vec<Curve> =
            names.iter().zip(&all).map(|(name, points)| Curve { name, points }).collect();
        let picture = Curves {
            title: "The lever: longer arm, closer feet, larger error",
            x_axis: "reach",
            x_unit: self.setup.plan_unit.symbol(),
            y_axis: "false reading, rear in the dip",
            y_unit: h.label(),
            curves: &curves,
            ..Curves::default()
        }
        .svg();
        vec![
            Part::heading("3. The lever"),
            Part::Words(
                "The false reading grows in proportion to the tip's distance from the front feet, and falls as the feet are \
                 set farther apart. Halving the reach, or doubling the base, about halves it."
                    .into(),
            ),
            Part::picture("lever", picture, "The same dip, under the rear of this stand and of two others."),
            Part::Table(self.lever_table()),
        ]
    }

    fn spacing_name(&self, factor: f64) -> String {
        let side = &self.lesson.side;
        let own = if factor == 1.0 { ", this stand" } else { "" };
        format!("front to rear {}{own}", self.length(factor * (side.front - side.rear)))
    }

    fn lever_table(&self) -> Table {
        let reach = Table::of("False reading by reach and foot spacing", &self.lesson.lever);
        let mut table = self.place_column(reach, "reach", |row| row.reach);
        for (k, factor) in SPACINGS.into_iter().enumerate() {
            let header = format!("rear in the dip, {}", self.spacing_name(factor));
            table = self.dial_column(table, &header, |row| row.rear[k]);
        }
        for (k, factor) in SPACINGS.into_iter().enumerate() {
            let header = format!("front in the dip, {}", self.spacing_name(factor));
            table = self.dial_column(table, &header, |row| row.front[k]);
        }
        table.table()
    }

    /// Which comparisons cancel the tilt.
    fn compared(&self) -> Vec<Part> {
        let plate = &self.setup.check.plate;
        let square = if libm::fabs(plate.length / plate.width - 1.0) < 0.01 {
            "This plate is square, and the arm points along its diagonal: the two neighbouring corners and the middle are \
             equally far along it, so they rise and fall together and show nothing of the tilt; the far corner against \
             any of them shows all of it."
        } else {
            "On a square plate the two neighbouring corners and the middle are equally far along the diagonal, so they rise \
             and fall together and show nothing of the tilt. This plate is longer than wide, so each of them shows some; \
             but the mean of the two neighbours always moves with the middle."
        };
        vec![
            Part::heading("4. Which comparisons cancel the tilt"),
            Part::Words(format!(
                "The stand is parked in the front left corner of this plate with its rear in the dip; its arm is set for the \
                 far corner. The tilt adds a plane to all readings. {square}"
            )),
            Part::picture(
                "tilt",
                self.tilt_picture(),
                "What the tilt alone adds to readings, zeroed at the front right corner: lines of equal error run across the \
                 arm. Targets have the numbers of the reading sheet where they are on it, else letters.",
            ),
            Part::Table(self.tilt_table()),
        ]
    }

    /// What the tilt adds at a spot.
    fn added(&self, name: &str) -> f64 {
        let spots = &self.lesson.tilt.spots;
        spots.iter().find(|spot| spot.name == name).map_or(f64::NAN, |spot| spot.added)
    }

    fn tilt_table(&self) -> Table {
        let [right, left, far, middle] =
            ["front right", "back left", "back right", "middle"].map(|name| self.added(name));
        let comparisons = [
            ("middle against front right", middle - right),
            ("middle against back left", middle - left),
            ("back left against front right", left - right),
            ("back right against middle", far - middle),
            ("back right against front right", far - right),
            ("back right against back left", far - left),
            ("middle against the mean of front right and back left", middle - 0.5 * (right + left)),
            ("back right against the mean of front right and back left", far - 0.5 * (right + left)),
        ];
        let largest = comparisons.iter().map(|(_, value)| libm::fabs(*value)).fold(0.0, f64::max);
        let caption =
            format!("What a rear foot {} low adds to comparisons on a plate that is true", self.depth_text());
        let table = Table::of(caption, comparisons).text("compared", |(name, _)| *name).height(
            self.heights(),
            "the tilt adds, worked out",
            |(_, value)| *value,
        );
        self.dial_column(table, "the dial shows", |(_, value)| *value)
            .number("of the largest", "%", Digits::Decimals(0), |(_, v)| 100.0 * libm::fabs(*v) / largest)
            .table()
    }

    fn tilt_picture(&self) -> Svg {
        let h = self.heights();
        let tilt = &self.lesson.tilt;
        let plate = &self.setup.check.plate;
        let grid = Grid::over([[0.0, plate.length], [0.0, plate.width]], 150);
        let zero = self.added("front right");
        let [base, along, back] = tilt.plane;
        let added: Vec<f64> =
            grid.points().iter().map(|[x, y]| h.of(base + along * x + back * y - zero)).collect();
        let to_plan = |nodes: &[f64]| nodes.iter().map(|&v| self.plan(v)).collect::<Vec<_>>();
        let unit = self.setup.plan_unit;
        let readings: Vec<String> =
            tilt.spots.iter().map(|spot| h.signed(self.on_dial(spot.added - zero))).collect();
        let labels: Vec<String> = tilt.spots.iter().map(|spot| self.number_on_sheet(spot.name)).collect();
        let targets: Vec<MapTarget> = tilt
            .spots
            .iter()
            .zip(readings.iter().zip(&labels))
            .map(|(spot, (reading, label))| MapTarget {
                at: in_plan(spot.at, unit),
                label,
                reading: Some(reading),
            })
            .collect();
        let stand = MapStand {
            feet: tilt.feet.map(|foot| in_plan(foot, unit)),
            origin: in_plan(tilt.at, unit),
            tips: tilt.spots.iter().map(|spot| in_plan(spot.at, unit)).collect(),
        };
        PlateMap {
            title: "What the tilt alone adds to readings on a true plate",
            heights_are: "added by the tilt",
            height_unit: h.label(),
            length_unit: unit.symbol(),
            x: &to_plan(&grid.x),
            y: &to_plan(&grid.y),
            heights: &added,
            margin: 0.0,
            stands: &[stand],
            targets: &targets,
        }
        .svg()
    }

    /// The carried stand on a bowed plate.
    fn carried(&self) -> Vec<Part> {
        let h = self.heights();
        let carried = &self.lesson.carried;
        let points = |of: &dyn Fn(usize) -> f64| -> Vec<[f64; 2]> {
            (0..carried.places.len()).map(|i| [self.plan(carried.places[i].at), h.of(of(i))]).collect()
        };
        let heights = points(&|i| carried.places[i].height);
        let readings = points(&|i| carried.places[i].reading);
        let picture = Curves {
            title: "A carried stand on a bowed plate",
            x_axis: "block, from the left edge",
            x_unit: self.setup.plan_unit.symbol(),
            y_axis: "height, reading",
            y_unit: h.label(),
            curves: &[
                Curve { name: "the plate, over its corners", points: &heights },
                Curve { name: "what the indicator shows", points: &readings },
            ],
            ..Curves::default()
        }
        .svg();
        let own = match self.setup.plan.stand_use {
            StandUse::Carried => "as in this setup",
            StandUse::Parked | StandUse::Turned => "which this setup does not do",
        };
        vec![
            Part::heading("5. The other trap: a stand that is carried along"),
            Part::Words(format!(
                "Carry stand and block together ({own}), here with the tip {} ahead, over a plate whose middle stands {} above \
                 its corners. Each reading compares the block with the plane of the feet that it carries along, and on a \
                 bow that comparison is the same everywhere. The indicator stays at zero; the plate's flatness deviation is \
                 {}.",
                self.length(self.lesson.short_reach),
                h.text(carried.bow),
                h.text(carried.flatness)
            )),
            Part::picture("carried", picture, "The plate along its middle line, and what the carried stand shows of it: nothing."),
            Part::Table(self.carried_table(|i| i % 4 == 0)),
            Part::Words(
                "A second pass with the stand turned by 90° shows a bow along one side only; a twist shows between the two \
                 diagonal headings; a bow that is equal all ways never shows, however large."
                    .into(),
            ),
        ]
    }

    fn carried_table(&self, is_shown: impl Fn(usize) -> bool) -> Table {
        let h = self.heights();
        let places = self.lesson.carried.places.iter().enumerate().filter(|(i, _)| is_shown(*i));
        let table = Table::of("The carried stand, place by place", places.map(|(_, place)| place));
        let table = self
            .place_column(table, "block, from the left edge", |place| place.at)
            .height(h, "height of the plate", |place| place.height)
            .height(h, "block over the plane of the feet", |place| place.raw);
        self.dial_column(table, "the dial shows, zeroed at the first", |place| place.reading).table()
    }

    /// What to do about it.
    fn remedied(&self) -> Vec<Part> {
        vec![
            Part::heading("6. What to do about it, in order of effect"),
            Part::Table(self.remedies_table()),
            Part::List(
                [
                    "Read the far spots from two places of the stand. What moves with the feet is false; what stays with the \
                     spot is the plate.",
                    "Compare the middle with the mean of two opposite corners: a tilt drops out.",
                    "Close the loop: read the zero again at the end. A stand that has crept or dirt that has come in shows there.",
                    "Against bow and twist no arm helps that is carried along: park the stand, or have the plate calibrated.",
                ]
                .map(String::from)
                .to_vec(),
            ),
        ]
    }

    /// The lever, tried with something thin.
    fn tried(&self) -> Vec<Part> {
        let foil = &self.lesson.foil;
        let foot = if foil.at_the_rear { "the rear foot" } else { "the front foot" };
        vec![
            Part::heading("7. Try it: foil under one foot"),
            Part::Words(format!(
                "Set the stand on clean stone with the tip {} straight ahead of the column, on the block, and set the zero. Lift {foot} \
                 a little, lay one flat layer of foil or shim under it, no crease, and set it down. Read. Take the foil away and read \
                 again: the zero must come back. What goes in is a height you know, and the lever says what must come out: \
                 {} times the thickness.",
                self.length(self.lesson.short_reach),
                plain(-foil.weight, Digits::Decimals(3)),
            )),
            Part::Table(self.foil_table()),
            Part::Words(
                "The standard uncertainty is made of the thickness (kitchen foil 10 to 20 µm, shim within 10 % of what it says: common \
                 practice, no source; measure yours with a micrometer), of lengths taken to a millimetre, of film under feet that are \
                 put down twice, and of the indicator. Two of them either side hold some 95 % of all tries."
                    .into(),
            ),
            Part::list(&[
                "The reading is within two standard uncertainties: lever, stand and hands are as this sheet takes them.",
                "It is too large or too small by the same share with both: a length is wrong, or the tip slants.",
                "It is off by about the same amount with both, or differs from try to try: dirt or a crease; wipe, and seat the foot again.",
                "The zero does not come back: something is loose or the foot was put elsewhere. Tighten, and begin anew.",
                "The sign is wrong: the indicator counts the other way, or the foil is under another foot.",
            ]),
        ]
    }

    fn foil_table(&self) -> Table {
        let h = self.heights();
        let foil = &self.lesson.foil;
        let caption = format!(
            "What one layer under {} must show, {} ahead, and what it did",
            if foil.at_the_rear { "the rear foot" } else { "the front foot" },
            self.length(self.lesson.short_reach)
        );
        let rows = FOILS.map(|(name, thickness)| (name, thickness[0], foil.predicted(thickness)));
        let table = Table::of(caption, rows).text("layer", |(name, ..)| *name).height(
            h,
            "thickness",
            |(_, thickness, _)| *thickness,
        );
        self.dial_column(table, "the dial must show", |(.., [reading, _])| *reading)
            .height(h, "standard uncertainty", |(.., [_, u])| *u)
            .height(h, "it shows: write here", |_| None)
            .height(h, "the foil away: write here", |_| None)
            .table()
    }

    fn remedies_table(&self) -> Table {
        let what = |remedy: &Remedy| match remedy.what {
            RemedyKind::MoveOut => "put the stand where no foot is in the dip".to_string(),
            RemedyKind::HalveReach => "halve the reach, as far as the stand allows".to_string(),
            RemedyKind::WidenFeet => "set the feet 1.5 times as far apart".to_string(),
            RemedyKind::Wipe => {
                let film = self.heights().text(self.setup.check.cleanliness.film);
                format!("wipe plate and feet each time (film of {film}; standard uncertainty)")
            }
        };
        let caption = format!(
            "What each measure saves of the error at {} reach, with the rear in the dip",
            self.length(self.lesson.long_reach)
        );
        let table = Table::of(caption, &self.lesson.remedies).text("measure", |remedy| what(remedy));
        let table = self.dial_column(table, "without", |remedy| remedy.before);
        let table = self.dial_column(table, "with", |remedy| remedy.after);
        self.dial_column(table, "saves", |r| self.on_dial(r.before) - self.on_dial(r.after)).table()
    }

    /// Two exercises for this stand and plate, to be worked with a pocket calculator.
    fn exercises(&self) -> [Exercise; 2] {
        [self.exercise_on_lever(), self.exercise_on_tilt()]
    }

    fn exercise_on_lever(&self) -> Exercise {
        let h = self.heights();
        let side = &self.lesson.side;
        let [rear, front] = [side.rear, side.front].map(|at| self.plan(at));
        // Round numbers, and everything reckoned from them as they are written.
        let spacing = front - rear;
        let longest = self.plan(self.setup.check.stand.reach[1]);
        let reach = libm::round(front + 2.0 * spacing).min(longest);
        let depth = 2.0 * h.of(self.lesson.depth);
        let weight = -(reach - front) / spacing;
        let unit = self.setup.plan_unit.symbol();
        let number = |value: f64| plain(value, Digits::Decimals(2));
        let value = |value: f64| format!("{} {}", plain(value, h.digits()), h.label());
        let in_micrometres = |value: f64| Measure { value, unit: self.setup.unit }.to(MICROMETRE);
        Exercise {
            question: format!(
                "The rear of this stand sinks {} into a dip; rear and front are {} and {} {unit} ahead of the column, and the tip \
                 is {} {unit} ahead of it. The plate under the block is true. What does the indicator show?",
                value(depth),
                number(rear),
                number(front),
                number(reach)
            ),
            answer: format!(
                "The lever of the rear is -({} - {}) / ({} - {}) = {}, so the reading is {} x {} = {}; the dial shows {}. The block \
                 has not moved: it is the arm that has risen.",
                number(reach),
                bracketed(front, Digits::Decimals(2)),
                number(front),
                bracketed(rear, Digits::Decimals(2)),
                plain(weight, Digits::Decimals(3)),
                plain(weight, Digits::Decimals(3)),
                value(depth),
                value(weight * depth),
                self.dial(in_micrometres(weight * depth))
            ),
        }
    }

    /// The middle is low by one and a half dips; the rest is tilt. All of it as this indicator is read.
    fn exercise_on_tilt(&self) -> Exercise {
        let h = self.heights();
        let zero = self.added("front right");
        let digits = self.dial_digits();
        let value = |value: f64| format!("{} {}", plain(value, digits), h.label());
        let rounded = |micrometres: f64| h.of(self.on_dial(micrometres));
        let left = rounded(self.added("back left") - zero);
        let far = rounded(self.added("back right") - zero);
        let middle = rounded(self.added("middle") - zero - 1.5 * self.lesson.depth);
        // Half a step has a digit more than a step may have.
        let halves = self.digits_of(0.5 * self.setup.check.indicator.read_step);
        let mean = left / 2.0;
        let read = [0.0, left, far, middle];
        let spread = read.into_iter().fold(f64::NEG_INFINITY, f64::max)
            - read.into_iter().fold(f64::INFINITY, f64::min);
        Exercise {
            question: format!(
                "A stand is parked in the front left corner of this plate. Zeroed at the front right corner it reads {} at the \
                 back left, {} at the back right and {} in the middle. How much lower or higher is the middle than the \
                 corners, if these lie in one plane?",
                value(left),
                value(far),
                value(middle)
            ),
            answer: format!(
                "A tilt moves the middle as it moves the mean of the two neighbouring corners, (0 + {}) / 2 = {}. So the middle \
                 stands at {} - {} = {} {} from the plane of the corners. The largest minus the smallest reading would have \
                 said {}.",
                plain(left, digits),
                plain(mean, halves),
                plain(middle, digits),
                bracketed(mean, halves),
                plain(middle - mean, halves),
                h.label(),
                value(spread),
            ),
        }
    }

    fn at_long_reach(&self, rear: bool) -> f64 {
        let stand = &self.setup.check.stand;
        self.lesson.false_reading(stand, self.lesson.long_reach, rear).unwrap_or(f64::NAN)
    }

    /// What is read off the dial of a height (µm): to the step that it is read to.
    fn on_dial(&self, micrometres: f64) -> f64 {
        let step = self.setup.check.indicator.read_step;
        if step > 0.0 { libm::round(micrometres / step) * step } else { micrometres }
    }

    fn dial_digits(&self) -> Digits {
        self.digits_of(self.setup.check.indicator.read_step)
    }

    /// As many decimals as multiples of a step (µm) have in the sheet's unit, and no more than heights have.
    fn digits_of(&self, step: f64) -> Digits {
        let h = self.heights();
        let step = h.of(step);
        let is_whole = |decimals: &i32| {
            let scaled = step * libm::pow(10.0, f64::from(*decimals));
            libm::fabs(scaled - libm::round(scaled)) < 1e-6 * scaled
        };
        (0..4).find(is_whole).filter(|_| step > 0.0).map_or(h.digits(), Digits::Decimals)
    }

    /// A reading in plain text, with sign and unit, as the dial shows it.
    fn dial(&self, micrometres: f64) -> String {
        let h = self.heights();
        let value = h.of(self.on_dial(micrometres));
        let text = format!("{} {}", plain(value, self.dial_digits()), h.label());
        if value > 0.0 { format!("+{text}") } else { text }
    }

    fn dial_column<R>(&self, table: Rows<R>, header: &str, micrometres: impl Fn(&R) -> f64) -> Rows<R> {
        let h = self.heights();
        let shown = |row: &R| h.of(self.on_dial(micrometres(row)));
        table.number(header, h.label(), self.dial_digits(), shown)
    }

    /// To what the dial is read, as a sentence; nothing where it is not rounded.
    fn read_to(&self) -> String {
        let step = self.setup.check.indicator.read_step;
        let h = self.heights();
        if step > 0.0 {
            let step = plain(h.of(step), self.dial_digits());
            format!(" This dial is read to {step} {}, so that is how its readings stand here.", h.label())
        } else {
            String::new()
        }
    }

    /// The number of a target on the reading sheet's first placement; the first letters of its name where it is not there.
    fn number_on_sheet(&self, name: &str) -> String {
        let targets = self.setup.plan.stations.first().map_or(&[][..], |station| &station.targets);
        match targets.iter().position(|target| target.name == name) {
            Some(index) => (index + 1).to_string(),
            None => name.split(' ').filter_map(|word| word.chars().next()).collect(),
        }
    }

    fn depth_text(&self) -> String {
        let h = self.heights();
        format!("{} {}", short(h.of(self.lesson.depth), 3), self.setup.unit.symbol())
    }

    fn length(&self, millimetres: f64) -> String {
        self.setup.length_text(millimetres)
    }

    fn plan(&self, millimetres: f64) -> f64 {
        Measure { value: millimetres, unit: MILLIMETRE }.to(self.setup.plan_unit)
    }

    fn place_column<R>(&self, table: Rows<R>, header: &str, millimetres: impl Fn(&R) -> f64) -> Rows<R> {
        let at = |row: &R| self.plan(millimetres(row));
        table.number(header, self.setup.plan_unit.symbol(), Digits::Decimals(2), at)
    }

    fn heights(&self) -> Heights {
        Heights { unit: self.setup.unit }
    }
}

/// A number that may follow a minus.
fn bracketed(value: f64, digits: Digits) -> String {
    let text = plain(value, digits);
    if text.starts_with('-') { format!("({text})") } else { text }
}

/// The lesson of the corner dip for one stand and plate. Heights are in `unit`, lengths in `length_unit`.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat lesson")]
pub struct LessonDocument {
    /// What the setup is called.
    title: String,
    /// The date of the sheet as the user gave it; null where none was given.
    date: Option<String>,
    /// The lesson in a sentence.
    answer: String,
    /// Unit of all heights.
    unit: String,
    /// Unit of all lengths.
    length_unit: String,
    /// How deep the dip is under a foot's pad.
    dip_depth: f64,
    /// One sigma of the dip.
    dip_sigma: f64,
    /// The reach at which the stand is walked and carried.
    short_reach: f64,
    /// The longest reach of the survey.
    long_reach: f64,
    /// Where the rear of the stand is, ahead of its origin.
    rear: f64,
    /// Where its front is.
    front: f64,
    /// How high the middle of the bowed plate stands over its corners.
    bow: f64,
    /// Flatness deviation of that plate.
    flatness_of_bow: f64,
    /// The numbers behind each picture.
    tables: Vec<TableDocument>,
    /// Exercises with their answers.
    exercises: Vec<ExerciseDocument>,
    /// SHA-256 of what the setup says.
    setup_digest: String,
    /// Version of the program.
    version: String,
}

/// A table.
#[derive(Debug, Serialize, JsonSchema)]
struct TableDocument {
    /// Name of its CSV file, without ending.
    name: String,
    /// What it shows.
    caption: String,
    /// Its columns.
    columns: Vec<ColumnDocument>,
    /// Its rows, a text or a number for each column; null where a cell is empty.
    rows: Vec<Vec<Value>>,
}

/// A column of a table.
#[derive(Debug, Serialize, JsonSchema)]
struct ColumnDocument {
    /// Its name.
    name: String,
    /// Unit of its numbers; empty where they have none.
    unit: String,
}

/// An exercise.
#[derive(Debug, Serialize, JsonSchema)]
struct ExerciseDocument {
    /// What is asked.
    question: String,
    /// What is to be found.
    answer: String,
}

impl TableDocument {
    fn new(name: &str, table: &Table) -> Self {
        let cell = |cell: &Cell| match cell {
            Cell::Empty => Value::Null,
            Cell::Text(text) => Value::from(text.as_str()),
            Cell::Number(value, _) => Value::from(*value),
        };
        Self {
            name: name.into(),
            caption: table.caption.clone(),
            columns: table
                .columns
                .iter()
                .map(|column| ColumnDocument { name: column.header.clone(), unit: column.unit.clone() })
                .collect(),
            rows: table.rows.iter().map(|row| row.iter().map(cell).collect()).collect(),
        }
    }
}
