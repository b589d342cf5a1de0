//! How far can a shop check of a surface plate be from its true flatness?

pub mod decision;
pub mod model;
pub mod propagation;
pub mod quantity;
pub mod report;
pub mod setup;
pub mod shop;

/// The version of this crate, as reports name it.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");
