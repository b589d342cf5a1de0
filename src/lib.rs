//! How far can a shop check of a surface plate be from its true flatness, what do these readings say, and
//! what may be done with the plate?
//!
//! # From readings to a verdict
//!
//! ```no_run
//! use howflat::{Judgement, JudgementQuestion, Readings, Setup};
//! use std::{error::Error, fs};
//!
//! fn main() -> Result<(), Box<dyn Error>> {
//!     let setup = Setup::read(&fs::read_to_string("setup.json")?, &|name| {
//!         fs::read_to_string(name).map_err(|why| why.to_string())
//!     })?;
//!     let readings = Readings::read(&fs::read_to_string("readings.csv")?, &setup)?;
//!     let tolerance = setup.tolerance.as_ref().map(|tolerance| tolerance.value);
//!     let question = JudgementQuestion { tolerance, ..JudgementQuestion::default() };
//!     let judgement = Judgement::new(&readings.check, &readings.observations(), &question, &|_| {})?;
//!     println!("{:?}: {:.1} µm", judgement.verdict, judgement.flatness.mean);
//!     Ok(())
//! }
//! ```
//!
//! # From a setup to what its check is worth
//!
//! A setup describes plate, stand, indicator, gauge block, temperature, cleanliness and survey; what it
//! leaves out has documented defaults. [`Setup::read`] checks it, [`simulate`] draws plates and checks them, [`Limits`]
//! says which readings decide, and [`CheckReport`] turns it all into text, JSON, tables and pictures. Each of these is a
//! pure function of its arguments.
//!
//! ```
//! use howflat::{CheckReport, Setup, SimulationSettings, simulate};
//!
//! let text = r#"{
//!     "plate": { "length": "24 in", "width": "18 in", "grade": "US B" },
//!     "stand": { "feet": { "front_apart": "4 in", "front_to_rear": "5 in" } },
//!     "indicator": { "graduation": "0.0001 in" }
//! }"#;
//! let setup = Setup::read(text, &|name| Err(format!("there is no {name}"))).expect("a sound setup");
//!
//! let settings = SimulationSettings { n_trials: 2_000, n_judged: 0, ..SimulationSettings::default() };
//! let simulation = simulate(&setup.check, settings, &|_| {}).expect("a check that can be simulated");
//! let spread = &simulation.ways[0];
//! assert!(spread.error.mean > 0.0, "the spread of a parked stand's readings is too large on average");
//!
//! let report = CheckReport::new(&setup, &simulation);
//! assert!(report.answer().starts_with("In 95 % of such checks the spread reads "));
//! ```
//!
//! # The floors, from the ground up
//!
//! - [`quantity`]: one number and what is known of it;
//! - [`model`]: how a measurand depends on its inputs;
//! - [`shop`]: the things on the bench;
//! - [`propagation`]: from inputs to the measurand;
//! - [`decision`]: what may be done with the result;
//! - [`setup`]: the files: as written, checked, faults;
//! - [`report`]: one result in, text or pixels out;
//! - [`page`]: the page for the person at the plate: a question in, an answer out;
//! - [`validation`]: whether all of it computes what it should, on this machine.
//!
//! Heights are micrometres, plan lengths millimetres, temperatures kelvin or °C; types or names say which.

#![cfg_attr(
    test,
    allow(clippy::disallowed_methods, reason = "what tests compute need not be the same everywhere")
)]

pub mod quantity;

pub mod model;
pub mod shop;

pub mod propagation;

pub mod decision;

pub mod setup;

pub mod report;

pub mod page;

pub mod validation;

/// The version of this crate, as reports name it.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

pub use decision::{
    advice::{Advice, Question as AdviceQuestion},
    conformance::{Conformance, Rule},
    judgement::{Judgement, Question as JudgementQuestion},
    limits::{Limits, Verdict},
    methods::methods,
    placements::{Placements, placements},
    recall::Costs,
    recall_plan::{CannotRecall, RecallPlan, RecallQuestion},
    verdict_curve::verdict_curve,
};
pub use model::{formula::Formula, measurement::MeasurementModel};
pub use propagation::{
    check_experiment::CannotSimulate,
    evaluation::{Evaluation, EvaluationSettings},
    improvement_gain::Workshop,
    likelihood::Observation,
    posterior::{CannotJudge, Settings as JudgementSettings},
    simulation::{Settings as SimulationSettings, Simulation, WayKind, simulate},
};
pub use quantity::{
    day::Day,
    distribution::Distribution,
    rounding::Rounded,
    sample::Summary,
    unit::{Measure, Unit},
};
pub use report::{
    Report, budget_report::BudgetReport, check_report::CheckReport, judge_report::JudgeReport,
    lesson_report::LessonReport, plan_report::PlanReport, recall_report::RecallReport,
    zone_report::ZoneReport,
};
pub use setup::{Fault, Faults, HistoryFile, MeasurementSetup, PointFile, Readings, Setup};
pub use shop::{
    check::ShopCheck,
    flatness::{FlatnessError, MinimumZone, flatness},
    grade::{Grade, Tolerance},
    lesson::Lesson,
    point_zone::PointZone,
};
