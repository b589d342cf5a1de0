//! How far can a shop check of a surface plate be from its true flatness?

pub mod quantity;
pub mod model;
pub mod shop;
pub mod propagation;
pub mod decision;
pub mod setup;
pub mod report;

/// The version of this crate, as reports name it.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");
