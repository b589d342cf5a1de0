//! Everything that bears on one shop check of one plate.

use super::{
    cleanliness::Cleanliness, gauge_block::GaugeBlock, indicator::Indicator, plate::Plate, stand::Stand,
    survey::Survey, temperature::Temperature, wear::Surface,
};

/// A shop check, described: what is checked, with what, in what state, and how.
///
/// Every field that is uncertain holds a distribution; a checked setup file gives one of these.
#[derive(Debug, Clone, PartialEq)]
pub struct ShopCheck {
    /// The plate itself.
    pub plate: Plate,
    /// What is known of its working surface before any reading.
    pub surface: Surface,
    /// The stand.
    pub stand: Stand,
    /// The indicator.
    pub indicator: Indicator,
    /// The gauge block that is read on.
    pub gauge_block: GaugeBlock,
    /// The plate's and the room's temperature.
    pub temperature: Temperature,
    /// What feet and block may catch when they are put down.
    pub cleanliness: Cleanliness,
    /// Where stand and block go, in order.
    pub survey: Survey,
}
