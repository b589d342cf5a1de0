//! The report on a plate whose readings are at hand: may it be used?

mod document;
mod tables;
mod words;

use super::{
    Report,
    chart::{
        Mark,
        curves::Tone,
        histogram::{Histogram, Interval},
        map_pair::MapPair,
    },
    document::finite,
    heights::Heights,
    leaning::{JudgedEndDocument, LeaningDocument, LeansOn},
    number::{Digits, percent, plain, probability},
    page::{LIMITS_OF_USE, Page, Part, ending, short_digest},
    picture::Svg,
    reading_sheet::SET_ZERO,
    setup_words,
    survey_marks::{along, bare_plate, in_plan, nodes, numbers, stands, targets},
    table::{Column, Table},
    text::inert,
    unseen_words::{UnseenDocument, UnseenWords},
};
use crate::{
    decision::{
        conformance::Rule,
        judgement::{Judgement, Otherwise},
        leaning::JudgedEnd,
        limits::Verdict,
        standing::{Doubt, FEWEST_DRAWS, MISFIT},
    },
    propagation::{fit::ReadingFit, foot_dip::FootDip, next_reading::surveys_of, posterior::Settings},
    quantity::sample::Summary,
    setup::{Readings, Row, Setup, Traceability},
    shop::{
        grade::Tolerance,
        stand::single_foot,
        survey::{Reading, StandUse},
    },
};
use document::JudgeDocument;
use schemars::JsonSchema;
use serde::Serialize;

/// Everything that a report on a judged plate is made from.
#[derive(Debug, Clone)]
pub struct JudgeReport<'a> {
    /// The setup.
    pub setup: &'a Setup,
    /// What was read.
    pub readings: &'a Readings,
    /// What the plate was judged against, if anything.
    pub tolerance: Option<&'a Tolerance>,
    /// By which rule.
    pub rule: Rule,
    /// How hard the inference worked.
    pub settings: Settings,
    /// What the readings say.
    pub judgement: &'a Judgement,
    /// How far the answer leans on what was assumed.
    pub leans_on: LeansOn<JudgedEnd>,
    /// The date of the report, as the user gave it.
    pub date: Option<&'a str>,
}

impl Report for JudgeReport<'_> {
    type Document = JudgeDocument;

    fn page(&self) -> Page {
        let mut parts: Vec<Part> = self.explanations().into_iter().map(Part::Words).collect();
        if let Some(next) = self.next_table() {
            parts.extend([Part::Next("What to read next".into()), Part::Table(next)]);
            parts.extend(self.if_good().map(Part::Words));
            parts.extend([
                Part::picture(
                    "next",
                    self.next_picture(),
                    "Where to put stand and block for that, with feet and arm; each target carries the number of its row.",
                ),
            ]);
        }
        parts.extend([
            Part::heading("The plate, given these readings"),
            Part::picture(
                "map",
                self.map(),
                "Map of the plate: estimate and standard uncertainty, with feet, arm and targets drawn on it.",
            ),
            Part::picture(
                "flatness",
                self.histogram(),
                "What the flatness deviation may be, with its coverage intervals and what it is judged by.",
            ),
            Part::Table(self.flatness_table()),
            Part::Table(self.unseen().table()),
            Part::heading("The readings"),
            Part::Table(self.readings_table()),
        ]);
        parts.extend(self.leans_on.parts(self.heights()));
        parts.push(Part::heading("What was taken for granted"));
        parts.extend(setup_words::granted(self.setup));
        parts.extend(ending(Some(RESTS_ON_KIND), LIMITS_OF_USE, &REFERENCES));
        let mut facts = setup_words::facts(self.setup, self.tolerance, self.date);
        facts.extend([
            ["readings".to_string(), short_digest(&self.readings.digest).to_string()],
            ["run".to_string(), format!("{}, seed {}", self.draws(), self.settings.seed)],
        ]);
        Page {
            kind: "What readings say of a surface plate".into(),
            title: self.setup.title.clone(),
            facts,
            answer: [Some(self.answer()), setup_words::overdue(self.setup, self.date), self.otherwise()]
                .into_iter()
                .flatten()
                .collect(),
            verdict: self.judgement.verdict.map(|verdict| match verdict {
                Verdict::Within => Tone::Within,
                Verdict::Undecided => Tone::Undecided,
                Verdict::Out => Tone::Out,
            }),
            parts,
            provenance: self.provenance(),
            for_signature: true,
            ..Page::default()
        }
    }

    fn document(&self) -> JudgeDocument {
        self.as_document()
    }

    fn tables(&self) -> Vec<(String, Table)> {
        vec![("judged".into(), self.readings_csv()), ("fit".into(), self.readings_table())]
    }

    fn in_pixels(&self, picture: &str) -> bool {
        picture == "map"
    }
}

impl JudgeReport<'_> {
    /// A reading as the user finds it: `"middle" from "front left" (line 4 of the file)`.
    fn reading_text(&self, fit: usize) -> String {
        let fit = &self.judgement.posterior.fit.readings[fit];
        let spot = self.survey_spot(fit.reading);
        let line = self.row_of(fit).map_or(String::new(), |row| format!(" (line {} of the file)", row.line));
        format!("\"{}\" from \"{}\"{line}", inert(&spot.target), inert(&spot.station))
    }

    /// The row of the file that a fit is of.
    fn row_of(&self, fit: &ReadingFit) -> Option<&Row> {
        self.rows_with_fit()
            .into_iter()
            .find(|(_, of)| of.is_some_and(|of| std::ptr::eq(of, fit)))
            .map(|(row, _)| row)
    }

    /// Every row of the file with its fit; a zero has none, for the others count from it.
    fn rows_with_fit(&self) -> Vec<(&Row, Option<&ReadingFit>)> {
        let mut fits = self.judgement.posterior.fit.readings.iter();
        let zeros = &self.readings.check.survey.zeros;
        let rows = self.readings.rows.iter();
        rows.map(|row| (row, if zeros.contains(&row.reading) { None } else { fits.next() })).collect()
    }

    fn survey_spot(&self, reading: usize) -> &crate::shop::survey::Spot {
        let survey = &self.readings.check.survey;
        let spot = survey.readings.get(reading).map_or(0, |reading: &Reading| reading.spot);
        &survey.spots[spot]
    }

    fn provenance(&self) -> String {
        format!(
            "howflat {}, setup {}, readings {}, seed {}, {}.",
            crate::VERSION,
            short_digest(&self.setup.digest),
            short_digest(&self.readings.digest),
            self.settings.seed,
            self.draws()
        )
    }

    fn draws(&self) -> String {
        let n = plain(self.judgement.posterior.effective_sample_size, Digits::Decimals(0));
        format!("{n} independent draws")
    }

    fn unseen(&self) -> UnseenWords<'_> {
        let Judgement { unseen, hangs_on_unseen, .. } = self.judgement;
        UnseenWords { setup: self.setup, unseen, hangs: *hangs_on_unseen }
    }

    fn heights(&self) -> Heights {
        Heights { unit: self.setup.unit }
    }
}

/// What a judgement rests on.
const RESTS_ON_KIND: &str = "The interval holds what it promises on plates of the kind described above, and is wide because it allows \
    for others. In trials on simulated plates of seventeen other kinds (ridges, steps, violent waves, hollows anywhere, a deep dip \
    under each foot) at most 3 of 100 were worse than it said. Very flat plates, and regular ripples under a stand that is carried \
    along, were called worse than they are: there it held three of four or more. A plate that is unlike all of these is another matter.";

/// What the methods rest on, by clause.
const REFERENCES: [&str; 4] = [
    "Flatness as the minimum zone: ISO 1101:2017, 17.3; ISO 12781-1:2011.",
    "Probability that the plate keeps its tolerance: JCGM 106:2012, 7.1 to 7.4, and 8.2 and 8.3 for the rules of decision.",
    "A proof at 95 % unless agreed otherwise: ISO 14253-1:2017.",
    "Tolerances and defaults: the source beside each, in the tables above.",
];

/// What a foot is called, by where it stands in the stand's frame (arm along +x, y to the left).
fn foot_name(feet: &[[f64; 2]; 3], foot: usize) -> &'static str {
    let others = |i: usize| [(i + 1) % 3, (i + 2) % 3];
    let single = single_foot(feet);
    let at_the_rear = others(single).iter().all(|&other| feet[single][0] < feet[other][0]);
    let beside = others(foot).into_iter().find(|&other| other != single).unwrap_or(single);
    match (foot == single, at_the_rear, feet[foot][1] > feet[beside][1]) {
        (true, true, _) => "rear foot",
        (true, false, _) => "front foot",
        (false, true, true) => "left front foot",
        (false, true, false) => "right front foot",
        (false, false, true) => "left rear foot",
        (false, false, false) => "right rear foot",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn feet_have_the_names_one_would_give_them() {
        let names = |feet: [[f64; 2]; 3]| [0, 1, 2].map(|foot| foot_name(&feet, foot));
        let usual = [[40.0, 35.0], [40.0, -35.0], [-50.0, 0.0]];
        assert_eq!(names(usual), ["left front foot", "right front foot", "rear foot"]);
        let turned_round = [[-40.0, -35.0], [60.0, 0.0], [-41.0, 35.0]];
        assert_eq!(names(turned_round), ["right rear foot", "front foot", "left rear foot"]);
    }
}
