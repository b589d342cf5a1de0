//! What may be done with the result.

pub mod conformance;
pub mod limits;
