//! The minimum zone of measured points, with its proof and with what is odd about the points.

use super::{
    flatness::{Certificate, Contact, FlatnessError, MinimumZone, Zone},
    least_width::least_width,
};

/// What points say of flatness. Plan lengths are mm, heights µm.
#[derive(Debug, Clone, PartialEq)]
pub struct PointZone {
    /// The two planes, measured along the heights.
    pub zone: Zone,
    /// The bounds that prove it.
    pub certificate: Certificate,
    /// The contacts that hold the planes apart, without those that hold nothing.
    pub contacts: Vec<Contact>,
    /// How many points touch a plane, within what arithmetic is worth.
    pub n_touching: usize,
    /// How steep the planes are, mm/mm.
    pub slope: f64,
    /// The width square to the planes, in µm, where they are so steep that it differs.
    pub square_width: Option<f64>,
    /// How many points stand at a place (x, y) where another one stands as well.
    pub n_at_shared_places: usize,
    /// Height of every point over the plane halfway between the two, in µm.
    pub over_middle: Vec<f64>,
}

/// The fewest points that can be out of flat: three always lie in one plane.
pub const FEWEST: usize = 4;

/// Below this slope the width square to the planes is that along the heights to 5e-7 of itself.
const STEEP: f64 = 1e-3;

impl PointZone {
    /// The zone of points `[x mm, y mm, height µm]`.
    pub fn of(points: &[[f64; 3]]) -> Result<Self, FlatnessError> {
        if points.len() < FEWEST {
            return Err(FlatnessError::TooFewPoints);
        }
        let plan: Vec<[f64; 2]> = points.iter().map(|&[x, y, _]| [x, y]).collect();
        let heights: Vec<f64> = points.iter().map(|point| point[2]).collect();
        let prepared = MinimumZone::new(&plan)?;
        let zone = prepared.solve(&heights, &mut prepared.scratch());
        if !zone.flatness.is_finite() {
            return Err(FlatnessError::NotFinite);
        }
        let certificate = prepared.certify(&heights, &zone);
        let [a, b, c] = zone.plane;
        let over_middle: Vec<f64> = points.iter().map(|[x, y, z]| z - (a + b * x + c * y)).collect();
        let largest = heights.iter().fold(a.abs(), |largest, z| largest.max(z.abs()));
        let touches = |over: &&f64| over.abs() >= zone.flatness / 2.0 - 1e-11 * largest;
        let slope = 1e-3 * libm::hypot(b, c);
        let in_millimetres = || points.iter().map(|&[x, y, z]| [x, y, 1e-3 * z]).collect::<Vec<_>>();
        let square_width =
            (slope > STEEP).then(|| least_width(&in_millimetres()).map(|width| 1e3 * width)).transpose()?;
        Ok(Self {
            certificate,
            contacts: zone.contacts.into_iter().filter(|contact| contact.multiplier > 1e-12).collect(),
            n_touching: over_middle.iter().filter(touches).count(),
            slope,
            square_width,
            n_at_shared_places: at_shared_places(&plan),
            over_middle,
            zone,
        })
    }

    /// Whether the two bounds meet: no two parallel planes hold all points closer together.
    pub fn is_proven(&self) -> bool {
        let Certificate { lower, upper, defect } = self.certificate;
        // What is left is arithmetic: 1e-9 of the zone, or of a height where the zone is next to nothing.
        let largest = self.zone.plane[0].abs().max(upper);
        defect < 1e-9 && upper - lower <= (1e-9 * upper).max(1e-12 * largest)
    }
}

fn at_shared_places(plan: &[[f64; 2]]) -> usize {
    // Plus 0 makes one of the two zeros.
    let mut places: Vec<[u64; 2]> = plan.iter().map(|at| at.map(|v| (v + 0.0).to_bits())).collect();
    places.sort_unstable();
    places.chunk_by(|a, b| a == b).map(<[_]>::len).filter(|&n| n > 1).sum()
}
