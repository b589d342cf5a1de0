//! What feet and block catch when they are put down.

use crate::quantity::distribution::Distribution;

/// Dirt: a film that is always there, and now and then a grain.
#[derive(Debug, Clone, PartialEq)]
pub struct Cleanliness {
    /// Standard deviation of the seat of a foot or the block on clean-looking stone, in µm.
    pub film: f64,
    /// Chance that a foot or the block catches a grain when it is put down.
    pub grain_chance: f64,
    /// How high a caught grain lifts it, in µm.
    pub grain: Distribution,
}
