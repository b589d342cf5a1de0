//! One result in, text or pixels out.

pub mod budget_report;
pub mod budget_table;
pub mod chart;
pub mod check_report;
pub mod document;
pub mod font;
pub mod number;
pub mod picture;
pub mod style;
pub mod table;
pub mod text;
