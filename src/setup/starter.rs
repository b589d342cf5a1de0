//! A setup file to begin with, asked for question by question: each answer is checked when it is given.

use super::{
    checked::Setup,
    fault::{Fault, Faults},
    lengths::Lengths,
    written::Spot,
};
use crate::shop::survey::StandUse;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// Something that is asked for a setup.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Question {
    /// What the answer is called, and its option on a command line.
    pub option: &'static str,
    /// The question.
    pub asks: &'static str,
    /// What holds where nothing is answered; `None` for what has to be known.
    pub usual: Option<&'static str>,
    /// Where the answer stands in the file.
    field: &'static [&'static str],
    /// An answer of ordinary size, while it has not been given.
    stand_in: &'static str,
}

impl Question {
    /// The path of the field that the answer fills: `plate.length`.
    pub fn path(&self) -> String {
        self.field.join(".")
    }
}

/// All that is asked, in this order.
pub const QUESTIONS: [Question; 13] = [
    needed("length", "the plate's long side, such as 36 in or 1000 mm", &["plate", "length"], "2 m"),
    needed("width", "its short side", &["plate", "width"], "2 m"),
    offered("thickness", "its thickness", "as usual for the size", &["plate", "thickness"]),
    offered("material", "what it is made of: granite, cast iron, ...", "granite", &["plate", "material"]),
    offered(
        "grade",
        "the grade it is to keep, such as US A or ISO 8512 grade 1",
        "none",
        &["plate", "grade"],
    ),
    offered("state", "its state: fresh from lapping, in daily use, worn", "in daily use", &["wear"]),
    needed(
        "front-apart",
        "the distance between the stand's two front feet",
        &["stand", "feet", "front_apart"],
        "20 mm",
    ),
    needed(
        "front-to-rear",
        "how far its rear foot is behind the line of the front feet",
        &["stand", "feet", "front_to_rear"],
        "20 mm",
    ),
    needed(
        "graduation",
        "one graduation of the indicator, such as 0.0001 in or 0.001 mm",
        &["indicator", "graduation"],
        "0.001 mm",
    ),
    offered(
        "stand",
        "how the stand is used.\n  parked: the feet stay put, the arm swings to each spot; sees the whole form\n  turned: the \
         stand is turned on its spot to point at each target, so the feet land elsewhere\n  carried: stand and block \
         travel together; a bow or twist of any size reads zero",
        "parked",
        &["survey", "stand"],
    ),
    offered(
        "longest-reach",
        "how far the tip can be from the column",
        "as far as is needed",
        &["stand", "reach", "longest"],
    ),
    offered(
        "cleanliness",
        "how plate, feet and block are cleaned: wiped each time one is put down, wiped once, not wiped",
        "wiped once",
        &["cleanliness"],
    ),
    offered("title", "what the check is called", "made up from plate and stand", &["title"]),
];

const fn needed(
    option: &'static str,
    asks: &'static str,
    field: &'static [&'static str],
    stand_in: &'static str,
) -> Question {
    Question { option, asks, usual: None, field, stand_in }
}

const fn offered(
    option: &'static str,
    asks: &'static str,
    usual: &'static str,
    field: &'static [&'static str],
) -> Question {
    Question { option, asks, usual: Some(usual), field, stand_in: "" }
}

/// The order in which a file names things.
const MEMBERS: [&str; 7] = ["title", "plate", "wear", "stand", "indicator", "cleanliness", "survey"];

/// Answers to [`QUESTIONS`], as a person types them. No answer is lost by another that is refused.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Starter {
    answers: BTreeMap<&'static str, String>,
    /// Where the stand is put because its reach is too short for a corner.
    from: Option<&'static str>,
}

impl Starter {
    /// Takes an answer as it is, an option on a command line for instance. What has no question is no answer.
    pub fn with(mut self, option: &str, answer: Option<&str>) -> Self {
        if let (Some(question), Some(answer)) = (QUESTIONS.iter().find(|q| q.option == option), answer) {
            self.answers.insert(question.option, answer.trim().into());
        }
        self
    }

    /// The answer to a question.
    pub fn answer(&self, question: &Question) -> Option<&str> {
        self.answers.get(question.option).map(String::as_str)
    }

    /// Answers a question, or says what is wrong with the answer, which is then not taken. An empty one means what is
    /// usual.
    ///
    /// It is checked together with all that was answered before, as a setup would be.
    pub fn give(&mut self, question: &Question, answer: &str) -> Result<(), Faults> {
        let mut with_it = self.clone();
        with_it.answers.remove(question.option);
        match answer.trim() {
            "" if question.usual.is_none() => {
                return Err(vec![Fault {
                    field: question.option.into(),
                    found: "blank".into(),
                    must: question.asks.into(),
                    fix: "type it".into(),
                    at: None,
                }]
                .into());
            }
            "" => {}
            answer => {
                with_it.answers.insert(question.option, answer.into());
            }
        }
        with_it.from = None;
        with_it.settle(true)?;
        *self = with_it;
        Ok(())
    }

    /// The question as it is put, with what the answers so far make of it.
    pub fn asks(&self, question: &Question) -> String {
        let mut asks = question.asks.to_string();
        if let (true, Some(setup)) = (question.option == "longest-reach", self.without_limit()) {
            let lengths = Lengths { unit: setup.plan_unit };
            let needed = lengths.text(reach_needed(&setup));
            asks += &match setup.plan.stand_use {
                StandUse::Carried => format!("; this check keeps it {needed} away"),
                StandUse::Parked | StandUse::Turned => {
                    format!("; from the front left corner this check needs {needed}")
                }
            };
        }
        asks
    }

    /// What was settled otherwise than usual, so that the answers go together.
    pub fn settled(&self) -> Option<String> {
        let from = self.from?;
        Some(format!(
            "so short an arm does not reach every spot from a corner: the stand is put at \"{from}\" (survey.from in the file)"
        ))
    }

    /// The first question that has to be answered and is not.
    pub fn missing(&self) -> Option<&'static Question> {
        QUESTIONS.iter().find(|question| question.usual.is_none() && self.answer(question).is_none())
    }

    /// The answers so far as options of a command line.
    pub fn options(&self) -> String {
        let each = QUESTIONS.iter().filter_map(|question| {
            let answer = self.answer(question)?.replace('\\', "\\\\").replace('"', "\\\"");
            Some(format!(" --{} \"{answer}\"", question.option))
        });
        each.collect::<String>().trim_start().to_string()
    }

    /// The setup file: strict JSON, a member a line. What is not answered is left out, so that its default holds.
    ///
    /// # Errors
    ///
    /// All that [`Setup::read`] finds wrong in it.
    pub fn setup(mut self) -> Result<String, Faults> {
        self.settle(false)?;
        Ok(self.text(false))
    }

    /// Sees that the answers make a setup, with the stand where its reach is long enough.
    fn settle(&mut self, with_stand_ins: bool) -> Result<(), Vec<Fault>> {
        let read = |starter: &Self| read(&starter.text(with_stand_ins));
        let Err(faults) = read(self) else { return Ok(()) };
        // Only where all that is wrong is the reach from a corner.
        if faults.iter().all(|fault| fault.field == "stand.reach.longest") {
            for spot in Spot::NEARER {
                self.from = Some(spot.name);
                if read(self).is_ok() {
                    return Ok(());
                }
            }
            self.from = None;
        }
        Err(faults.into())
    }

    /// As read with an arm as long as one likes.
    fn without_limit(&self) -> Option<Setup> {
        let mut free = self.clone();
        free.answers.remove("longest-reach");
        free.from = None;
        read(&free.text(true)).ok()
    }

    fn text(&self, with_stand_ins: bool) -> String {
        let mut setup = json!({});
        for member in MEMBERS {
            for question in QUESTIONS.iter().filter(|question| question.field[0] == member) {
                // A plate of which only the length is known may be square.
                let length = self.answers.get("length").filter(|_| question.option == "width");
                let stand_in = length.map_or(question.stand_in, String::as_str);
                let stand_in = Some(stand_in).filter(|text| with_stand_ins && !text.is_empty());
                if let Some(answer) = self.answer(question).or(stand_in) {
                    put(&mut setup, question.field, answer);
                }
            }
        }
        if let Some(from) = self.from {
            put(&mut setup, &["survey", "from"], from);
        }
        format!("{setup:#}\n")
    }
}

fn put(mut record: &mut Value, field: &[&str], answer: &str) {
    for name in field {
        if record.is_null() {
            *record = json!({});
        }
        record = &mut record[*name];
    }
    *record = answer.into();
}

fn read(text: &str) -> Result<Setup, Faults> {
    Setup::read(text, &|name| Err(format!("no file {name} belongs to a new setup")))
}

/// The longest reach of a setup's survey, in mm.
fn reach_needed(setup: &Setup) -> f64 {
    let n_spots = setup.check.survey.spots.len();
    (0..n_spots).filter_map(|spot| setup.plan.reach(spot)).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn question(option: &str) -> &'static Question {
        QUESTIONS.iter().find(|question| question.option == option).unwrap()
    }

    /// A 24 x 18 in plate and a stand of ordinary size, answered one by one.
    fn small() -> Starter {
        let mut starter = Starter::default();
        for (option, answer) in [
            ("length", "24 in"),
            ("width", "18 in"),
            ("front-apart", "3 in"),
            ("front-to-rear", "4 1/2 in"),
            ("graduation", "0.0001 in"),
            ("stand", ""),
        ] {
            starter.give(question(option), answer).unwrap_or_else(|faults| panic!("{option}: {faults:?}"));
        }
        starter
    }

    /// Each answer that makes no sense is refused when it is given, about itself; what was answered before stays.
    #[test]
    fn a_bad_answer_is_refused_at_once_and_costs_no_other() {
        for (option, answer, about) in [
            ("length", "24", "plate.length"),
            ("width", "30 in", "plate.width"),
            ("thickness", "thick", "plate.thickness"),
            ("material", "cheese", "plate.material"),
            ("grade", "US Z", "plate.grade"),
            ("state", "tired", "wear"),
            ("front-apart", "3", "stand.feet.front_apart"),
            ("front-to-rear", "22 in", "survey: placement \"front left\""),
            ("graduation", "1 tenths of", "indicator.graduation"),
            ("stand", "thrown", "survey.stand"),
            ("cleanliness", "licked", "cleanliness"),
        ] {
            let mut starter = small();
            let before = starter.clone();
            let faults = starter.give(question(option), answer).unwrap_err();
            assert!(faults[0].field.starts_with(about), "{option}: {faults:?}");
            assert_eq!(starter, before);
            // The first question that is asked is checked without the rest.
            if QUESTIONS[..6].iter().any(|question| question.option == option) && option != "width" {
                assert!(Starter::default().give(question(option), answer).is_err(), "{option}");
            }
        }
        assert!(small().give(question("width"), " ").is_err());
    }

    /// The far corner of 24 x 18 in is some 25 in from a stand in the near one: asked for with that figure, and a
    /// shorter arm goes where it is long enough.
    #[test]
    fn the_reach_is_asked_for_as_the_plate_needs_it() {
        let starter = small();
        let asks = starter.asks(question("longest-reach"));
        let needed = asks.split("needs ").nth(1).and_then(|rest| rest.strip_suffix(" in")).unwrap();
        let needed: f64 = needed.parse().unwrap();
        assert!((24.0..26.0).contains(&needed), "{asks}");
        let reach = |inches: f64| {
            let mut starter = small();
            starter.give(question("longest-reach"), &format!("{inches} in")).map(|()| starter)
        };
        let long = reach(needed + 0.01).unwrap();
        assert_eq!(long.settled(), None);
        let short = reach(20.0).unwrap();
        assert!(short.settled().unwrap().contains("\"front\""), "{:?}", short.settled());
        let text = short.setup().unwrap();
        let setup = read(&text).unwrap();
        assert!(reach_needed(&setup) <= 20.0 * 25.4, "{text}");
        let faults = reach(8.0).unwrap_err();
        assert_eq!(faults[0].field, "stand.reach.longest", "{faults:?}");
    }

    #[test]
    fn options_give_the_same_answers_again() {
        let starter = small();
        let words = "--length \"24 in\" --width \"18 in\" --front-apart \"3 in\" --front-to-rear \"4 1/2 in\" \
                     --graduation \"0.0001 in\"";
        assert_eq!(starter.options(), words);
        let again = words.trim_start_matches("--").trim_end_matches('"').split("\" --").fold(
            Starter::default(),
            |starter, option| {
                let (option, answer) = option.split_once(" \"").unwrap();
                starter.with(option, Some(answer))
            },
        );
        assert_eq!(again, starter);
        assert_eq!(Starter::default().with("length", Some("1 m")).missing().map(|q| q.option), Some("width"));
    }
}
