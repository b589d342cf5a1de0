//! From inputs to the measurand.

pub mod check_experiment;
mod completion;
pub mod evaluation;
pub mod fit;
pub mod flatness_evidence;
pub mod foot_dip;
pub mod improvement_gain;
pub mod judged_checks;
pub mod law;
pub mod likelihood;
pub mod monte_carlo;
pub mod next_reading;
mod normal_score;
pub mod other_methods;
pub mod placement_choice;
pub mod posterior;
pub mod reading_budget;
pub mod reading_rule;
pub mod region;
mod sampler;
pub mod shares;
pub mod simulation;
pub mod spread_law;
mod tempering;
pub mod trials;
pub mod unseen;
pub mod wear_history;
