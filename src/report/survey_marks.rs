//! A survey as it is drawn on a map of the plate.

use super::chart::plate_map::MapStand;
use crate::{
    quantity::unit::{MILLIMETRE, Measure, Unit},
    shop::survey::Reading,
};

/// A point of the plate (mm) in a plan unit.
pub fn in_plan(at: [f64; 2], plan_unit: Unit) -> [f64; 2] {
    at.map(|value| Measure { value, unit: MILLIMETRE }.to(plan_unit))
}

/// The stands of these readings, each place once, with all its tips.
pub fn stands<'a>(readings: impl Iterator<Item = &'a Reading>, plan_unit: Unit) -> Vec<MapStand> {
    let mut stands: Vec<MapStand> = Vec::new();
    for reading in readings {
        let feet = reading.feet.map(|foot| in_plan(foot, plan_unit));
        let tip = in_plan(reading.target, plan_unit);
        let index = stands.iter().position(|known| known.feet == feet).unwrap_or_else(|| {
            let origin = [0, 1].map(|axis| feet.iter().map(|foot| foot[axis]).sum::<f64>() / 3.0);
            stands.push(MapStand { feet, origin, tips: Vec::new() });
            stands.len() - 1
        });
        if !stands[index].tips.contains(&tip) {
            stands[index].tips.push(tip);
        }
    }
    stands
}
