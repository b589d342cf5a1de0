//! All tests that look at the library and the program from outside, in one binary: the library is linked once. A file
//! is a module: `cargo test --test main setup::`.
#![allow(clippy::unwrap_used, reason = "a test may stop where it fails")]
#![allow(clippy::disallowed_methods, reason = "what tests compute need not be the same everywhere")]

mod common;

mod at_the_plate;
mod bad;
mod budget;
mod calibration;
mod charts;
mod command;
mod crosscheck;
mod draws;
mod evaluation;
mod expansion;
mod flatness;
mod floors;
mod fuzz;
mod grades;
mod judge;
mod laws;
mod leaning;
mod lesson;
mod loss;
mod methods;
mod pages;
mod plan;
mod posterior;
mod promise;
mod recall;
mod reference;
mod reports;
mod setup;
mod simulation;
mod stand;
mod standing;
mod unseen;
mod zone;
