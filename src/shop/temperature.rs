//! The plate's and the room's temperature during the check.

use crate::quantity::distribution::Distribution;

/// What heat does while the check lasts.
#[derive(Debug, Clone, PartialEq)]
pub struct Temperature {
    /// Top minus bottom of the plate, in K.
    pub top_to_bottom: Distribution,
    /// Rate at which the stand's column warms, in K/h.
    pub column_rate: Distribution,
    /// Further drift of the zero that the user states, in µm/h.
    pub zero_drift: Distribution,
    /// How much the hand has warmed block and column when the first reading is taken, in K.
    pub handling: Distribution,
    /// Time constant with which that fades, in minutes.
    pub fading: f64,
}
