//! From inputs to the measurand.

pub mod shares;
pub mod trials;
