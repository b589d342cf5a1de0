//! Taking the best-fit plane off the readings of a survey.

use super::{least_squares_plane::LeastSquaresPlane, survey::Survey};

/// Best-fit planes through a survey's spots, one for each zero group, prepared once.
///
/// A stand that is tilted by what lies under its feet adds a plane to all readings that share its
/// seat and zero; levelling takes it off again, and with it the plate's own slope.
#[derive(Debug, Clone)]
pub struct Levelling {
    groups: Vec<(Vec<usize>, LeastSquaresPlane)>,
}

impl Levelling {
    /// `None` where a group's spots are no more than a plane takes up, or lie on a line.
    pub fn new(survey: &Survey) -> Option<Self> {
        let groups = (0..survey.n_groups).map(|group| {
            let spots: Vec<usize> =
                (0..survey.spots.len()).filter(|&spot| survey.spots[spot].group == group).collect();
            let points: Vec<_> = spots.iter().map(|&spot| survey.spots[spot].at).collect();
            let plane = LeastSquaresPlane::new(&points).ok().filter(|_| points.len() > 3)?;
            Some((spots, plane))
        });
        Some(Self { groups: groups.collect::<Option<Vec<_>>>()? })
    }

    /// Largest minus smallest distance of the spots' readings (µm, in the survey's order) from
    /// their planes, in µm. `scratch` is cleared and used.
    pub fn spread(&self, spots: &[f64], scratch: &mut Vec<f64>) -> f64 {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for (members, plane) in &self.groups {
            scratch.clear();
            scratch.extend(members.iter().map(|&spot| spots[spot]));
            let [lowest, highest] = plane.residual_limits(scratch);
            low = low.min(lowest);
            high = high.max(highest);
        }
        high - low
    }
}
