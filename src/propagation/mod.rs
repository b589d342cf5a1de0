//! From inputs to the measurand.

pub mod trials;
