//! How a measurand depends on its inputs.

pub mod formula;
mod jet;
mod operation;
mod parser;
