//! What may be done with the result.

pub mod advice;
pub mod conformance;
pub mod given_limits;
pub mod judgement;
pub mod leaning;
pub mod limits;
pub mod methods;
pub mod placements;
pub mod recall;
pub mod recall_plan;
pub mod standing;
pub mod sufficient_set;
pub mod verdict_curve;
pub mod wrong_calls;
