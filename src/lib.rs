//! How far can a shop check of a surface plate be from its true flatness, what do these readings say, and
//! what may be done with the plate?
//!
//! # From a setup to an answer
//!
//! A setup describes plate, stand, indicator, gauge block, temperature, cleanliness and survey; what it
//! leaves out has documented defaults. [`setup::Setup::read`] checks it, [`propagation::simulation::simulate`]
//! draws plates and checks them, [`decision::limits::Limits`] says which readings decide, and
//! [`report::check_report::CheckReport`] turns it all into text, JSON, tables and pictures. Each of these is a
//! pure function of its arguments.
//!
//! ```
//! use howflat::{
//!     propagation::simulation::{Settings, simulate},
//!     report::check_report::CheckReport,
//!     setup::Setup,
//! };
//!
//! let text = r#"{
//!     "plate": { "length": "24 in", "width": "18 in", "grade": "US B" },
//!     "stand": { "feet": { "front_apart": "4 in", "front_to_rear": "5 in" } },
//!     "indicator": { "graduation": "0.0001 in" }
//! }"#;
//! let no_files = |name: &str| Err(format!("there is no {name}"));
//! let setup = Setup::read(text, &no_files).expect("a sound setup");
//!
//! let settings = Settings { n_trials: 2_000, n_judged: 0, ..Settings::default() };
//! let simulation = simulate(&setup.check, settings, &|_| {}).expect("a check that can be simulated");
//! let spread = &simulation.ways[0];
//! assert!(spread.error.mean > 0.0, "the spread of a parked stand's readings reads too much");
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
//! - [`validation`]: whether all of it computes what it should, on this machine.
//!
//! Heights are micrometres, plan lengths millimetres, temperatures kelvin or °C; types or names say which.

pub mod quantity;

pub mod model;
pub mod shop;

pub mod propagation;

pub mod decision;

pub mod setup;

pub mod report;

pub mod validation;

/// The version of this crate, as reports name it.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");
