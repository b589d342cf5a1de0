//! The pictures of a report. Each takes plain data in the user's units and returns an SVG document.

mod axis;
pub mod bars;
mod contour;
pub mod course;
pub mod curves;
pub mod hatching;
mod header;
pub mod histogram;
mod label;
pub mod map_pair;
pub mod plate_map;
pub mod point_plan;
pub mod stand_view;

/// A value on the horizontal axis that is marked by a line.
pub struct Mark<'a> {
    /// What is written beside it: "mean 2.6 µm", "no error".
    pub label: &'a str,
    /// Where it is.
    pub at: f64,
}

/// Whether a picture can show a number.
fn shown(value: f64) -> bool {
    value.abs() <= 1e100
}
