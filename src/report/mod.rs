//! One result in, text or pixels out.

pub mod budget_report;
pub mod budget_table;
pub mod chart;
pub mod check_report;
pub mod document;
pub mod font;
pub mod heights;
pub mod judge_report;
pub mod lesson_report;
pub mod lever_view;
pub mod number;
pub mod page;
mod page_style;
pub mod picture;
pub mod plan_report;
pub mod reading_sheet;
pub mod recall_report;
pub mod setup_words;
pub mod style;
pub mod survey_marks;
pub mod table;
pub mod text;
pub mod unseen_words;
pub mod zone_report;
