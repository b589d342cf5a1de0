//! The files that a user writes: as written, checked, faults.
//!
//! A text becomes a tree that remembers lines; the tree is walked by the schema of its kind's fields
//! (`written.rs` for setups of shop checks, `model_fields.rs` for formula models), which puts defaults in and
//! finds faults; what is left is checked for sense and becomes a [`Setup`] or a [`MeasurementSetup`]. Only
//! this floor knows the names of fields. A readings file is read for a setup, into [`Readings`].

mod asked;
mod assumed_ranges;
mod checked;
mod costs;
mod fault;
mod file_kind;
mod file_text;
mod history;
mod improvements;
mod kind;
mod lengths;
mod map;
mod measurement_setup;
mod model_fields;
mod names;
mod obstacle;
mod other_wear;
mod plan;
mod points;
pub(crate) mod reading_table;
mod readings;
mod schema;
mod shape;
mod share;
mod stand_place;
mod starter;
mod state;
mod survey_block;
mod traceability;
mod tree;
mod walk;
mod wording;
mod written;

pub use asked::{grade, tolerance};
pub use assumed_ranges::AssumedRange;
pub use checked::Setup;
pub use costs::{TypedCosts, costs};
pub use fault::{Fault, Faults, Position};
pub use file_kind::FileKind;
pub use file_text::hex;
pub use history::{EntryKind, HistoryFile, HistoryRow, OwnTerms, RefusedPlate, RepeatedRow};
pub use improvements::Improvements;
pub use measurement_setup::{Evidence, FittedLine, MeasurementSetup};
pub use points::{PointFile, PointUnits};
pub use readings::{Readings, Row};
pub use schema::{model_schema, schema};
pub use starter::{QUESTIONS, Question, Starter};
pub use survey_block::{pasted, with_survey};
pub use traceability::{Instrument, Traceability};
pub use walk::{Assumption, field_meaning};
