//! What is known of a plate's surface before it is read: wear, waves, or a measured map.

use super::survey::Survey;
use crate::quantity::distribution::Distribution;

/// What is known of the working surface.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant, reason = "there is one a check, and it is never moved about")]
pub enum Surface {
    /// A kind of wear, described by distributions.
    Worn(Wear),
    /// A map, as a certificate gives it.
    Measured(Map),
}

/// Wear and waves of a plate. Depths are positive where material is gone, in µm.
#[derive(Debug, Clone, PartialEq)]
pub struct Wear {
    /// How worn the plate is at large: a factor on the depths of middle and front edge, on the twist and on the long
    /// waves. Dips know nothing of it: a plate that is flat wherever it was looked at may have one all the same.
    pub amount: Distribution,
    /// The dish in the middle, where work is done.
    pub middle: MiddleWear,
    /// The band along the front edge.
    pub front_edge: FrontEdgeWear,
    /// Dips that lie where a part was dragged, a fixture stood or the stand is always put down, each there or not.
    pub dips: Vec<Dip>,
    /// Twist, in µm: two opposite corners of the plate are higher by this much than the middle,
    /// the two others lower. Negative: front left and back right low.
    pub twist: Distribution,
    /// Long waves: all that has no name of its own.
    pub long_wave: Waves,
    /// Short waves, of lapping and scraping.
    pub waviness: Waves,
}

impl Wear {
    /// Lays the dips that are near spots where the stand's feet are put down in a survey.
    pub fn put_dips_under_feet(&mut self, survey: &Survey) {
        let mut feet: Vec<[f64; 2]> = Vec::new();
        for foot in survey.readings.iter().flat_map(|reading| reading.feet) {
            if !feet.contains(&foot) {
                feet.push(foot);
            }
        }
        for dip in &mut self.dips {
            if let DipPlace::Near { spots, .. } = &mut dip.place {
                spots.clone_from(&feet);
            }
        }
    }
}

/// A dish of Gaussian profile.
#[derive(Debug, Clone, PartialEq)]
pub struct MiddleWear {
    /// Depth at its centre, in µm.
    pub depth: Distribution,
    /// Centre along the length, in mm from the left edge.
    pub x: Distribution,
    /// Centre along the width, in mm from the front edge.
    pub y: Distribution,
    /// Distance from the centre at which it is 61 % as deep (one sigma), along the length, in mm.
    pub half_length: Distribution,
    /// The same along the width, in mm.
    pub half_width: Distribution,
}

/// Wear along the front edge, deepest at the edge.
#[derive(Debug, Clone, PartialEq)]
pub struct FrontEdgeWear {
    /// Depth at the edge, in µm.
    pub depth: Distribution,
    /// Distance from the edge at which it is 61 % as deep (one sigma), in mm.
    pub reach: Distribution,
    /// Where along the length it is deepest, in mm from the left edge.
    pub x: Distribution,
    /// Distance from there at which it is 61 % as deep, in mm.
    pub half_length: Distribution,
}

/// A dip of round Gaussian profile.
#[derive(Debug, Clone, PartialEq)]
pub struct Dip {
    /// Chance that it is there at all.
    pub chance: f64,
    /// Depth at its centre, in µm.
    pub depth: Distribution,
    /// Distance from the centre at which it is 61 % as deep (one sigma), in mm.
    pub radius: Distribution,
    /// Where it lies.
    pub place: DipPlace,
}

/// Where a dip may lie. Distances in mm.
#[derive(Debug, Clone, PartialEq)]
pub enum DipPlace {
    /// Near a corner.
    Corner {
        /// Which one; `None`: any, each as likely.
        corner: Option<Corner>,
        /// Distance of its centre from the corner's end edge (left or right).
        from_end: Distribution,
        /// Distance of its centre from the corner's long edge (front or back).
        from_side: Distribution,
    },
    /// Near one of some spots, each as likely: where feet have stood.
    Near {
        /// The spots, `[x, y]`; none: the dip is nowhere.
        spots: Vec<[f64; 2]>,
        /// Distance of its centre from the spot, along x and along y.
        off: Distribution,
    },
    /// Anywhere on the plate.
    Anywhere {
        /// Its centre along the length, from the left edge.
        x: Distribution,
        /// Its centre along the width, from the front edge.
        y: Distribution,
    },
}

impl DipPlace {
    /// How many corners or spots there are to choose from; 0 where the dip is nowhere.
    pub fn n_spots(&self) -> usize {
        match self {
            Self::Corner { corner: None, .. } => Corner::ALL.len(),
            Self::Near { spots, .. } => spots.len(),
            Self::Corner { corner: Some(_), .. } | Self::Anywhere { .. } => 1,
        }
    }

    /// The two distances that, with a spot, fix the centre.
    pub fn distances(&self) -> [&Distribution; 2] {
        match self {
            Self::Corner { from_end, from_side, .. } => [from_end, from_side],
            Self::Near { off, .. } => [off, off],
            Self::Anywhere { x, y } => [x, y],
        }
    }

    /// The centre at these distances from one of the spots (below [`Self::n_spots`]), on a plate of the
    /// given length and width (mm).
    pub fn centre(&self, spot: usize, [a, b]: [f64; 2], [length, width]: [f64; 2]) -> [f64; 2] {
        match self {
            Self::Corner { corner, .. } => corner.unwrap_or(Corner::ALL[spot]).inset(length, width, a, b),
            Self::Near { spots, .. } => [spots[spot][0] + a, spots[spot][1] + b],
            Self::Anywhere { .. } => [a, b],
        }
    }
}

/// A corner of the plate, as the operator sees it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Corner {
    /// x = 0, y = 0.
    FrontLeft,
    /// x = length, y = 0.
    FrontRight,
    /// x = 0, y = width.
    BackLeft,
    /// x = length, y = width.
    BackRight,
}

impl Corner {
    /// All four, in the order in which a random corner is drawn.
    pub const ALL: [Self; 4] = [Self::FrontLeft, Self::FrontRight, Self::BackLeft, Self::BackRight];

    /// Its name as a setup file writes it.
    pub fn name(self) -> &'static str {
        match self {
            Self::FrontLeft => "front left",
            Self::FrontRight => "front right",
            Self::BackLeft => "back left",
            Self::BackRight => "back right",
        }
    }

    /// The point that lies `from_end` mm from its end edge and `from_side` mm from its long edge,
    /// on a plate of the given length and width (mm).
    pub fn inset(self, length: f64, width: f64, from_end: f64, from_side: f64) -> [f64; 2] {
        let x = if matches!(self, Self::FrontLeft | Self::BackLeft) { from_end } else { length - from_end };
        let y =
            if matches!(self, Self::FrontLeft | Self::FrontRight) { from_side } else { width - from_side };
        [x, y]
    }
}

/// A random wavy field: Gaussian, of squared-exponential correlation `exp(-r²/2ℓ²)`.
#[derive(Debug, Clone, PartialEq)]
pub struct Waves {
    /// Standard deviation of heights, in µm.
    pub standard_deviation: Distribution,
    /// Correlation length ℓ, in mm.
    pub correlation_length: Distribution,
}

/// A measured map of the surface.
#[derive(Debug, Clone, PartialEq)]
pub struct Map {
    /// Measured points, `[x mm, y mm, height µm]`.
    pub points: Vec<[f64; 3]>,
    /// Standard uncertainty of each height, in µm.
    pub standard_uncertainty: f64,
    /// Short waves that the map's points are too far apart to show.
    pub waviness: Waves,
}
