//! A survey as it is drawn on a map of the plate.

use super::{
    chart::plate_map::{MapStand, MapTarget, PlateMap},
    picture::Svg,
};
use crate::{
    quantity::unit::{MILLIMETRE, Measure, Unit},
    setup::Setup,
    shop::survey::Reading,
};

/// The plate of a setup without heights, with stands and targets (in its plan unit) drawn on it: an SVG picture.
pub fn bare_plate(setup: &Setup, title: &str, stands: &[MapStand], targets: &[MapTarget]) -> Svg {
    with_bare_plate(setup, title, stands, targets, |map| map.svg())
}

/// As [`bare_plate`], smaller and without a headline: this share as wide.
pub fn plate_sketch(
    setup: &Setup,
    title: &str,
    stands: &[MapStand],
    targets: &[MapTarget],
    share: f64,
) -> Svg {
    with_bare_plate(setup, title, stands, targets, |map| map.sketch(share))
}

fn with_bare_plate(
    setup: &Setup,
    title: &str,
    stands: &[MapStand],
    targets: &[MapTarget],
    drawn: impl Fn(&PlateMap) -> Svg,
) -> Svg {
    let plate = &setup.check.plate;
    let [length, width] = in_plan([plate.length, plate.width], setup.plan_unit);
    drawn(&PlateMap {
        title,
        heights_are: "",
        height_unit: "",
        length_unit: setup.plan_unit.symbol(),
        x: &[0.0, length],
        y: &[0.0, width],
        heights: &[],
        margin: in_plan([plate.margin, 0.0], setup.plan_unit)[0],
        stands,
        targets,
    })
}

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
