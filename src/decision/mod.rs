//! What may be done with the result.

pub mod conformance;
pub mod judgement;
pub mod limits;
pub mod recall;
pub mod recall_plan;
