//! What is known of a plate's surface before it is read: wear, waves, or a measured map.

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
    /// The dish in the middle, where work is done.
    pub middle: MiddleWear,
    /// The band along the front edge.
    pub front_edge: FrontEdgeWear,
    /// Dips near corners, each there or not.
    pub corner_dips: Vec<CornerDip>,
    /// Twist, in µm: two opposite corners of the plate are higher by this much than the middle,
    /// the two others lower. Negative: front left and back right low.
    pub twist: Distribution,
    /// Long waves: all that has no name of its own.
    pub long_wave: Waves,
    /// Short waves, of lapping and scraping.
    pub waviness: Waves,
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

/// A dip near a corner, of round Gaussian profile.
#[derive(Debug, Clone, PartialEq)]
pub struct CornerDip {
    /// Chance that it is there at all.
    pub chance: f64,
    /// Which corner; any with equal chance where nobody says.
    pub corner: Option<Corner>,
    /// Depth at its centre, in µm.
    pub depth: Distribution,
    /// Distance from the centre at which it is 61 % as deep (one sigma), in mm.
    pub radius: Distribution,
    /// Distance of its centre from the corner's end edge (left or right), in mm.
    pub from_end: Distribution,
    /// Distance of its centre from the corner's long edge (front or back), in mm.
    pub from_side: Distribution,
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
