//! One number and what is known of it.

pub mod distribution;
pub mod stream;
