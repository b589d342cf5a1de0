//! How a measurand depends on its inputs.

pub mod formula;
mod jet;
pub mod measurement;
mod operation;
mod parser;
mod units;
