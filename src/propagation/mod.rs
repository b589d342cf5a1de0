//! From inputs to the measurand.

pub mod check_experiment;
pub mod law;
pub mod monte_carlo;
pub mod reading_budget;
pub mod reading_rule;
pub mod region;
mod sampler;
pub mod shares;
pub mod simulation;
pub mod trials;
