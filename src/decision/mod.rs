//! What may be done with the result.

pub mod conformance;
pub mod judgement;
pub mod limits;
