//! What may be done with the result.

pub mod limits;
