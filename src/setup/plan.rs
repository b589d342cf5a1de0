//! From a survey as written to a plan: where stand and block go.

use super::lengths::Lengths;
use super::readings::is_same;
use super::written::{
    Choice, NamedPattern, Pattern, Place, Placement, Rows, Spot, Stations, Survey, ZeroSetting,
};
use crate::shop::survey::{Plan, StandUse, Station, Target, Zeroing};
use crate::shop::{gauge_block::GaugeBlock, plate::Plate, stand::Stand};

/// What is left free around the pads at a named place, in mm.
const ROOM: f64 = 5.0;
/// How far beyond the front feet a carried stand reads when it is not stated, in mm (common practice, no
/// source).
const CARRIED_BEYOND_FEET: f64 = 80.0;

/// The bench that a plan is made for.
pub struct Bench<'a> {
    /// The plate.
    pub plate: &'a Plate,
    /// The stand.
    pub stand: &'a Stand,
    /// The gauge block.
    pub block: &'a GaugeBlock,
    /// How places without a name are written.
    pub lengths: Lengths,
}

impl Bench<'_> {
    /// The plan of a survey that has no contradictions in it.
    pub fn plan(&self, survey: &Survey) -> Plan {
        let stand_use = survey.stand.0;
        let carried_reach = match &survey.reach {
            Some(reach) => reach.value,
            None => {
                self.stand.feet.iter().map(|foot| foot[0]).fold(f64::NEG_INFINITY, f64::max)
                    + CARRIED_BEYOND_FEET
            }
        };
        let mut stations: Vec<Station> = match (&survey.placements, stand_use) {
            (Some(placements), _) => placements
                .iter()
                .enumerate()
                .map(|(index, placement)| self.placement(index, placement, stand_use))
                .collect(),
            (None, StandUse::Carried) => {
                let headings =
                    survey.headings.as_ref().map_or(vec![0.0], |h| h.iter().map(|h| h.value).collect());
                headings.into_iter().map(|heading| self.carried(survey, carried_reach, heading)).collect()
            }
            (None, _) => {
                let front_left = Place::Named(Choice(Spot::ALL[0]));
                let places = match &survey.from {
                    None => vec![&front_left],
                    Some(Stations::One(place)) => vec![place],
                    Some(Stations::Several(places)) => places.iter().collect(),
                };
                places.into_iter().map(|place| self.standing(survey, place)).collect()
            }
        };
        tell_apart(survey, &mut stations);
        let zeroing = match survey.zeroing {
            Some(ZeroSetting::Once) => Zeroing::Once,
            Some(ZeroSetting::EachPass) => Zeroing::EachPass,
            Some(ZeroSetting::EachPlacement) => Zeroing::EachStation,
            // A carried stand's headings are compared with each other: that is what they are for.
            None if stations.len() > 1 && stand_use != StandUse::Carried => Zeroing::EachStation,
            None => Zeroing::Once,
        };
        Plan {
            stand_use,
            stations,
            carried_reach,
            passes: survey.passes,
            lifted: survey.lift_between_passes.unwrap_or(false),
            zeroing,
            closing_reading: survey.closing_reading,
            drift_corrected: survey.correct_drift,
            minutes_per_reading: survey.time_per_reading.value,
            minutes_per_move: survey.time_per_move.value,
        }
    }

    fn placement(&self, index: usize, placement: &Placement, stand_use: StandUse) -> Station {
        let written = placement.heading.as_ref().map(|heading| heading.value);
        let (at, heading) = match (&placement.at, stand_use) {
            (_, StandUse::Carried) | (None, _) => (self.plate.middle(), written.unwrap_or(0.0)),
            (Some(place), _) => self.stand_at(place, written, stand_use),
        };
        let place_name = placement.at.as_ref().map(|place| self.name(place));
        let name = placement.name.clone().or(place_name).unwrap_or_else(|| format!("{}", index + 1));
        let targets = placement.targets.iter().map(|target| Target {
            name: target.name.clone().unwrap_or_else(|| self.name(&target.at)),
            at: self.target_at(&target.at),
        });
        Station { name, at, heading, targets: targets.collect() }
    }

    /// A ready pattern from a stand that stays in its place.
    fn standing(&self, survey: &Survey, place: &Place) -> Station {
        let written = survey.heading.as_ref().map(|heading| heading.value);
        let (at, heading) = self.stand_at(place, written, survey.stand.0);
        let targets = targets(survey, self.block_surface());
        let covered = self.foot_circle()
            + self.stand.pad_diameter / 2.0
            + self.block.face[0].min(self.block.face[1]) / 2.0;
        let nearest = covered.max(self.stand.reach[0]);
        let clear = |target: &Target| libm::hypot(target.at[0] - at[0], target.at[1] - at[1]) > nearest;
        Station { name: self.name(place), at, heading, targets: targets.into_iter().filter(clear).collect() }
    }

    /// A ready pattern for a carried stand, over all the places where its feet stay on the plate.
    fn carried(&self, survey: &Survey, reach: f64, heading: f64) -> Station {
        let mut surface = self.block_surface();
        let feet = self.turned_feet(heading);
        let behind = turn([reach, 0.0], heading);
        for (axis, side) in [self.plate.length, self.plate.width].into_iter().enumerate() {
            let pad = self.stand.pad_diameter / 2.0 + ROOM;
            for foot in feet {
                let ahead = behind[axis] - foot[axis];
                surface[axis][0] = surface[axis][0].max(pad + ahead);
                surface[axis][1] = surface[axis][1].min(side - pad + ahead);
            }
            // Where there is no room at all, the middle: laying out then says what is in the way.
            if surface[axis][0] > surface[axis][1] {
                surface[axis] = [side / 2.0; 2];
            }
        }
        Station {
            name: format!("heading {heading}°"),
            at: self.plate.middle(),
            heading,
            targets: targets(survey, surface),
        }
    }

    /// Where the middle of the block can be: on the working surface, its face on the plate either
    /// way round.
    fn block_surface(&self) -> [[f64; 2]; 2] {
        let inset = self.plate.margin.max(self.block.face[0].max(self.block.face[1]) / 2.0);
        [[inset, self.plate.length - inset], [inset, self.plate.width - inset]]
    }

    /// Where a block is that is put down at a place called `name`, in mm.
    pub fn spot(&self, name: &str) -> Option<[f64; 2]> {
        let spot = Spot::ALL.into_iter().find(|spot| spot.name.eq_ignore_ascii_case(name))?;
        Some(spot_in(self.block_surface(), spot))
    }

    fn target_at(&self, place: &Place) -> [f64; 2] {
        match place {
            Place::At([x, y]) => [x.value, y.value],
            Place::Named(spot) => spot_in(self.block_surface(), spot.0),
        }
    }

    /// Where a stand stands, and its heading in degrees.
    fn stand_at(&self, place: &Place, written: Option<f64>, stand_use: StandUse) -> ([f64; 2], f64) {
        let middle = self.plate.middle();
        let towards_middle = |at: [f64; 2]| libm::atan2(middle[1] - at[1], middle[0] - at[0]).to_degrees();
        let spot = match place {
            Place::At([x, y]) => {
                let at = [x.value, y.value];
                return (at, written.unwrap_or_else(|| towards_middle(at)));
            }
            Place::Named(spot) => spot.0,
        };
        // In the middle of the plate or of an edge the column is there, as far as the feet allow.
        let nearest = |room: [[f64; 2]; 2]| {
            let along = |axis: usize, side: i8| match (side, room[axis]) {
                (0, [low, high]) => middle[axis].max(low).min(high),
                (side, [low, high]) => {
                    if side < 0 {
                        low
                    } else {
                        high
                    }
                }
            };
            [along(0, spot.x), along(1, spot.y)]
        };
        if stand_use == StandUse::Turned {
            return (nearest(self.room_for(self.all_round())), 0.0);
        }
        if (spot.x, spot.y) == (0, 0) {
            let heading = written.unwrap_or(0.0);
            return (nearest(self.room_for(self.turned_feet(heading))), heading);
        }
        let mut at = spot_in([[0.0, self.plate.length], [0.0, self.plate.width]], spot);
        let mut heading = 0.0;
        // The place depends on the heading and the heading on the place; this settles at once.
        for _ in 0..8 {
            heading = written.unwrap_or_else(|| towards_middle(at));
            at = nearest(self.room_for(self.turned_feet(heading)));
        }
        (at, heading)
    }

    /// Where the stand's column can be for all of these points to have room on the plate.
    fn room_for<const N: usize>(&self, points: [[f64; 2]; N]) -> [[f64; 2]; 2] {
        let pad = self.stand.pad_diameter / 2.0 + ROOM;
        let mut room = [[f64::NEG_INFINITY, f64::INFINITY]; 2];
        for (axis, side) in [self.plate.length, self.plate.width].into_iter().enumerate() {
            for point in points {
                room[axis][0] = room[axis][0].max(pad - point[axis]);
                room[axis][1] = room[axis][1].min(side - pad - point[axis]);
            }
        }
        room
    }

    fn turned_feet(&self, heading: f64) -> [[f64; 2]; 3] {
        self.stand.feet.map(|foot| turn(foot, heading))
    }

    /// The farthest a foot can be on each side when the stand is turned.
    fn all_round(&self) -> [[f64; 2]; 2] {
        let radius = self.foot_circle();
        [[radius, radius], [-radius, -radius]]
    }

    /// Distance of the farthest foot from the column.
    fn foot_circle(&self) -> f64 {
        self.stand.feet.iter().map(|foot| libm::hypot(foot[0], foot[1])).fold(0.0, f64::max)
    }

    fn name(&self, place: &Place) -> String {
        match place {
            Place::Named(spot) => spot.0.name.into(),
            Place::At([x, y]) => self.lengths.place([x.value, y.value]),
        }
    }
}

/// Numbers what nobody named and what would be called like something before it: a name is what readings go by.
fn tell_apart(survey: &Survey, stations: &mut [Station]) {
    let placement = |index: usize| survey.placements.as_ref().and_then(|placements| placements.get(index));
    for (index, station) in stations.iter_mut().enumerate() {
        let is_named = |target: usize| {
            placement(index)
                .and_then(|here| here.targets.get(target))
                .is_some_and(|target| target.name.is_some())
        };
        number_alike(station.targets.iter_mut().map(|target| &mut target.name), is_named);
    }
    let is_named = |index: usize| placement(index).is_some_and(|here| here.name.is_some());
    number_alike(stations.iter_mut().map(|station| &mut station.name), is_named);
}

fn number_alike<'a>(names: impl Iterator<Item = &'a mut String>, is_named: impl Fn(usize) -> bool) {
    let mut before: Vec<String> = Vec::new();
    for (index, name) in names.enumerate() {
        let alike = before.iter().filter(|other| is_same(other, name)).count();
        before.push(name.clone());
        if alike > 0 && !is_named(index) {
            *name = format!("{name} ({})", alike + 1);
        }
    }
}

/// A point of the stand's frame, turned by a heading in degrees.
fn turn([x, y]: [f64; 2], heading: f64) -> [f64; 2] {
    let (sin, cos) = (libm::sin(heading.to_radians()), libm::cos(heading.to_radians()));
    [cos * x - sin * y, sin * x + cos * y]
}

/// A named place in a rectangle.
fn spot_in(rectangle: [[f64; 2]; 2], spot: Spot) -> [f64; 2] {
    let along = |[low, high]: [f64; 2], side: i8| low + (high - low) * f64::from(side + 1) / 2.0;
    [along(rectangle[0], spot.x), along(rectangle[1], spot.y)]
}

/// The targets of a ready pattern in a rectangle, in the order they are read: round the plate, the
/// middle last.
fn targets(survey: &Survey, rectangle: [[f64; 2]; 2]) -> Vec<Target> {
    let named = |spot: Spot| Target { name: spot.name.into(), at: spot_in(rectangle, spot) };
    let [corners, edges, middle] = [&Spot::ALL[..4], &Spot::ALL[4..8], &Spot::ALL[8..]];
    let spots = |parts: &[&[Spot]]| parts.concat().into_iter().map(named).collect();
    match &survey.pattern {
        Some(Pattern::Named(NamedPattern::Corners)) => spots(&[corners]),
        Some(Pattern::Named(NamedPattern::CornersAndMiddle)) => spots(&[corners, middle]),
        Some(Pattern::Named(NamedPattern::Diagonals)) => {
            let centre = spot_in(rectangle, Spot::ALL[8]);
            let halfway = |spot: &Spot| {
                let corner = spot_in(rectangle, *spot);
                let at = [(corner[0] + centre[0]) / 2.0, (corner[1] + centre[1]) / 2.0];
                Target { name: format!("halfway to {}", spot.name), at }
            };
            let mut targets: Vec<Target> = spots(&[corners]);
            targets.extend(corners.iter().map(halfway));
            targets.extend(middle.iter().copied().map(named));
            targets
        }
        Some(Pattern::Rows(Rows { rows, columns })) => {
            let along = |[low, high]: [f64; 2], index: usize, count: usize| {
                if count == 1 {
                    (low + high) / 2.0
                } else {
                    low + (high - low) * index as f64 / (count - 1) as f64
                }
            };
            let spot = |row: usize, column: usize| Target {
                name: format!("row {}, column {}", row + 1, column + 1),
                at: [along(rectangle[0], column, *columns), along(rectangle[1], row, *rows)],
            };
            (0..*rows)
                .flat_map(|row| (0..*columns).map(move |column| (row, column)))
                .map(|(r, c)| spot(r, c))
                .collect()
        }
        Some(Pattern::Named(NamedPattern::CornersEdgesAndMiddle)) | None => spots(&[corners, edges, middle]),
    }
}
