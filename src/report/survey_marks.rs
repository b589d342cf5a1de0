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
        margin: along(plate.margin, setup.plan_unit),
        stands,
        targets,
    })
}

/// A point of the plate (mm) in a plan unit.
pub fn in_plan(at: [f64; 2], plan_unit: Unit) -> [f64; 2] {
    at.map(|mm| along(mm, plan_unit))
}

/// A length along the plate (mm) in a plan unit.
pub fn along(mm: f64, plan_unit: Unit) -> f64 {
    Measure { value: mm, unit: MILLIMETRE }.to(plan_unit)
}

/// Nodes along a side of the plate (mm) in a plan unit.
pub fn nodes(mm: &[f64], plan_unit: Unit) -> Vec<f64> {
    mm.iter().map(|&mm| along(mm, plan_unit)).collect()
}

/// "1", "2" and so on.
pub fn numbers(n: usize) -> Vec<String> {
    (1..=n).map(|n| n.to_string()).collect()
}

/// Places of the block (mm), each once with the first of its labels and of what was read there.
pub fn targets<'a>(
    places: impl IntoIterator<Item = ([f64; 2], Option<&'a str>)>,
    labels: &'a [String],
    plan_unit: Unit,
) -> Vec<MapTarget<'a>> {
    let mut targets: Vec<MapTarget> = Vec::new();
    for ((at, reading), label) in places.into_iter().zip(labels) {
        let at = in_plan(at, plan_unit);
        if !targets.iter().any(|target| target.at == at) {
            targets.push(MapTarget { at, label, reading });
        }
    }
    targets
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
