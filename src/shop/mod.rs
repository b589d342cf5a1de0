//! The things on the bench: plate and its wear, stand, indicator, gauge block, temperature, survey,
//! flatness and grades.
//!
//! Plan coordinates are millimetres from the front left corner: x along the plate's length, y from
//! the front edge (the operator's side) to the back. Heights are micrometres, plus is up.

pub mod check;
pub mod cleanliness;
pub mod eight_lines;
mod exchange;
pub mod field;
pub mod flatness;
pub mod form;
mod frame;
pub mod gauge_block;
pub mod grade;
pub mod grid;
pub mod improvement;
pub mod indicator;
pub mod landscape;
pub mod least_squares_plane;
pub mod least_width;
pub mod lesson;
pub mod levelling;
pub mod material;
pub mod plate;
pub mod point_zone;
pub mod smooth_zone;
pub mod spline;
pub mod stand;
pub mod stand_room;
pub mod survey;
pub mod temperature;
pub mod visibility;
pub mod wear;
pub mod wear_over_time;
