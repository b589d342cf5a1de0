//! Where a stand and its block can be put so that all feet and the block's face are on the plate.

use super::{check::ShopCheck, survey::StandUse};

/// What is left free around pads and block, in mm.
const SPARE: f64 = 1e-6;

/// Where the column of a stand with this heading (degrees) can be, `[[x_low, x_high], [y_low, y_high]]` in mm; for a
/// turned stand whichever way it points. `None` where it is larger than the plate.
pub fn column_room(check: &ShopCheck, stand_use: StandUse, heading: f64) -> Option<[[f64; 2]; 2]> {
    let stand = &check.stand;
    let pad = stand.pad_diameter / 2.0 + SPARE;
    let radius = stand.feet.iter().map(|foot| libm::hypot(foot[0], foot[1])).fold(0.0, f64::max);
    let mut room = [[0.0; 2]; 2];
    for (axis, side) in [check.plate.length, check.plate.width].into_iter().enumerate() {
        let feet = stand.feet.map(|foot| turned(foot, heading)[axis]);
        let [lowest, highest] = match stand_use {
            StandUse::Turned => [-radius, radius],
            _ => [
                feet.into_iter().fold(f64::INFINITY, f64::min),
                feet.into_iter().fold(f64::NEG_INFINITY, f64::max),
            ],
        };
        room[axis] = [pad - lowest, side - pad - highest];
        if room[axis][0] > room[axis][1] {
            return None;
        }
    }
    Some(room)
}

/// Where the middle of the block can be, its face on the plate either way round and on the working surface, in mm.
pub fn block_room(check: &ShopCheck) -> [[f64; 2]; 2] {
    let face = check.gauge_block.face;
    let inset = check.plate.margin.max(face[0].max(face[1]) / 2.0);
    [[inset, check.plate.length - inset], [inset, check.plate.width - inset]]
}

/// Where the block of a carried stand can be, at a reach in mm and a heading in degrees; `None` where nowhere.
pub fn carried_room(check: &ShopCheck, reach: f64, heading: f64) -> Option<[[f64; 2]; 2]> {
    let column = column_room(check, StandUse::Carried, heading)?;
    let ahead = turned([reach, 0.0], heading);
    let mut room = block_room(check);
    for axis in 0..2 {
        room[axis][0] = room[axis][0].max(column[axis][0] + ahead[axis]);
        room[axis][1] = room[axis][1].min(column[axis][1] + ahead[axis]);
        if room[axis][0] > room[axis][1] {
            return None;
        }
    }
    Some(room)
}

/// `n` places from end to end of a range, or its middle.
pub fn spread_over([low, high]: [f64; 2], n: usize) -> Vec<f64> {
    match n {
        0 | 1 => vec![(low + high) / 2.0],
        n => (0..n).map(|i| low + (high - low) * i as f64 / (n - 1) as f64).collect(),
    }
}

/// A point of the stand's frame, turned by a heading in degrees.
fn turned([x, y]: [f64; 2], heading: f64) -> [f64; 2] {
    let (sin, cos) = (libm::sin(heading.to_radians()), libm::cos(heading.to_radians()));
    [cos * x - sin * y, sin * x + cos * y]
}
