//! The setup file: as written, checked, faults.
//!
//! A text becomes a tree that remembers lines; the tree is walked by the schema of the fields in
//! `written.rs`, which puts defaults in and finds faults; what is left is checked for sense and becomes a
//! [`Setup`]. Only this floor knows the names of fields.

mod checked;
mod fault;
mod kind;
mod lengths;
mod map;
mod obstacle;
mod plan;
mod schema;
mod shape;
mod share;
mod starter;
mod state;
mod tree;
mod walk;
mod wording;
mod written;

pub use checked::Setup;
pub use fault::{Fault, Position};
pub use schema::schema;
pub use starter::{StarterAnswers, starter};
pub use walk::Assumption;
