//! One number and what is known of it.

pub mod correlation;
pub mod day;
pub mod distribution;
pub mod draw;
pub mod incomplete_gamma;
pub mod pareto_smoothing;
mod root;
pub mod rounding;
pub mod sample;
pub mod stream;
pub mod student;
pub mod type_a;
pub mod unit;
pub mod vector;
