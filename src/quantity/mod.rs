//! One number and what is known of it.

pub mod distribution;
pub mod sample;
pub mod stream;
pub mod student;
pub mod unit;
