//! How places are written in a readings file, so that they are read back as what they are.

use super::checked::Setup;
use super::lengths::Lengths;
use super::plan::Bench;
use super::stand_place::StandPlace;
use super::written::Spot;
use crate::shop::check::ShopCheck;

/// How far a target may be from one of the setup's and still have its name, in mm.
const SAME_PLACE: f64 = 1.0;

impl Setup {
    /// A target at a point of the plate (mm): its name where the setup or the plate has one for it, its coordinates
    /// where not.
    pub fn target_text(&self, at: [f64; 2]) -> String {
        let lengths = Lengths { unit: self.plan_unit };
        let is_here = |target: [f64; 2]| libm::hypot(target[0] - at[0], target[1] - at[1]) < SAME_PLACE;
        let mut targets = self.plan.stations.iter().flat_map(|station| &station.targets);
        let planned = targets.find(|target| is_here(target.at)).map(|target| target.name.clone());
        let ShopCheck { plate, stand, gauge_block, .. } = &self.check;
        let bench = Bench { plate, stand, block: gauge_block, lengths };
        let spot = || Spot::ALL.into_iter().find(|spot| bench.spot(spot.name).is_some_and(is_here));
        planned.or_else(|| spot().map(|spot| spot.name.into())).unwrap_or_else(|| lengths.place(at))
    }

    /// A place of the stand (mm) that the setup does not name; its heading in degrees, and its reach (mm) if it is
    /// carried.
    pub fn stand_text(&self, at: [f64; 2], heading: f64, reach: f64) -> String {
        StandPlace::text(self.plan.stand_use, at, heading, reach, Lengths { unit: self.plan_unit })
    }

    /// A plan length in mm as a person would write it, in inches or millimetres.
    pub fn length_text(&self, millimetres: f64) -> String {
        Lengths { unit: self.plan_unit }.text(millimetres)
    }
}
