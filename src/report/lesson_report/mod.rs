//! The lesson of the corner dip, as a sheet for a class: a picture, its numbers and a rule for each of its points.

mod document;
mod exercises;
mod tables;

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
    survey_marks::{along, in_plan, nodes},
    table::{Cell, Rows, Table},
    text,
};
use crate::{
    quantity::unit::{MICROMETRE, Measure, Unit},
    setup::Setup,
    shop::{
        grid::Grid,
        lesson::{Lesson, Remedy, RemedyKind, SPACINGS, Step},
        survey::StandUse,
    },
};
use document::LessonDocument;
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
        self.as_document()
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

    fn depth_text(&self) -> String {
        let h = self.heights();
        format!("{} {}", short(h.of(self.lesson.depth), 3), self.setup.unit.symbol())
    }

    fn length(&self, millimetres: f64) -> String {
        self.setup.length_text(millimetres)
    }

    fn plan(&self, millimetres: f64) -> f64 {
        along(millimetres, self.setup.plan_unit)
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
