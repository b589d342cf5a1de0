//! One result in, text or pixels out.

pub mod chart;
pub mod font;
pub mod number;
pub mod picture;
pub mod style;
pub mod table;
pub mod text;
