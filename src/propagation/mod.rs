//! From inputs to the measurand.

pub mod check_experiment;
pub mod reading_budget;
pub mod reading_rule;
mod sampler;
pub mod shares;
pub mod simulation;
pub mod trials;
