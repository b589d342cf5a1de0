//! What a stand's feet stand on, and what that does to its readings.

use super::posterior::{FootHeight, Posterior};
use crate::{
    quantity::student::normal_quantile,
    shop::survey::{Reading, StandUse, Survey},
};

/// A foot that stands lower or higher than the other two, and by how much that moves what is read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FootDip {
    /// Which putting down of the stand, counted from 0.
    pub seating: usize,
    /// Which foot, counted from 0.
    pub foot: usize,
    /// Where it stands, in mm.
    pub at: [f64; 2],
    /// Height of the plate under it less the mean height under the other two, above the plate's least-squares plane,
    /// in µm. Negative: it seems to stand in a dip.
    pub height: f64,
    /// Standard uncertainty of that, in µm: an upper bound, as if the three heights were known independently, while
    /// neighbouring heights err together.
    pub standard_uncertainty: f64,
    /// By how much it makes readings differ, in µm: from one target to another where the stand stays put, against a
    /// stand on the plane where it does not.
    pub effect: f64,
}

/// How sure it must be that a foot stands low, or high.
const SURE: f64 = 0.95;

impl FootDip {
    /// The foot that moves readings most, of those that are known to stand low or high with a probability of at least
    /// 95 %; `None` where no foot is, or where none moves any reading by as much as the step that is read.
    ///
    /// What lies equally under all three feet lifts the stand and tilts nothing, so each foot is compared with the others.
    pub fn of(posterior: &Posterior, survey: &Survey, read_step: f64) -> Option<Self> {
        let sure = normal_quantile(SURE);
        let dips = posterior
            .feet
            .chunk_by(|a, b| a.seating == b.seating)
            .flat_map(|feet| (0..feet.len()).map(move |foot| Self::compare(feet, foot, survey)));
        dips.filter(|dip| dip.height.abs() > sure * dip.standard_uncertainty && dip.effect >= read_step)
            .max_by(|a, b| a.effect.total_cmp(&b.effect))
    }

    fn compare(feet: &[FootHeight], index: usize, survey: &Survey) -> Self {
        let FootHeight { seating, foot, at, height, standard_uncertainty: u } = feet[index];
        let others = || feet.iter().enumerate().filter(|(other, _)| *other != index).map(|(_, foot)| foot);
        let n = (feet.len() - 1) as f64;
        let height = height - others().map(|other| other.height).sum::<f64>() / n;
        let variance = others().map(|other| other.standard_uncertainty.powi(2)).sum::<f64>() / (n * n);
        let readings = survey.readings.iter().filter(|reading| reading.seating == seating);
        Self {
            seating,
            foot,
            at,
            height,
            standard_uncertainty: (u * u + variance).sqrt(),
            effect: height.abs() * lever(readings, foot, survey.stand_use),
        }
    }
}

/// What 1 µm under a foot does to the readings of one putting down.
fn lever<'a>(readings: impl Iterator<Item = &'a Reading>, foot: usize, stand_use: StandUse) -> f64 {
    let weights = readings.map(|reading| reading.weights[foot]);
    // A stand that is put down for each reading has its own datum each time, which counts from the plane itself.
    let start = if stand_use == StandUse::Parked { (f64::INFINITY, f64::NEG_INFINITY) } else { (0.0, 0.0) };
    let (low, high) = weights.fold(start, |(low, high), w| (low.min(w), high.max(w)));
    high - low
}
