//! The plate: its size, its working surface, and how heat bends it.

use crate::quantity::distribution::Distribution;

/// A surface plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Plate {
    /// Length, the long side, along x, in mm.
    pub length: f64,
    /// Width, along y, in mm.
    pub width: f64,
    /// Thickness, in mm (for a ribbed iron plate its overall depth).
    pub thickness: f64,
    /// Strip along every edge that is not judged, in mm.
    pub margin: f64,
    /// Coefficient of linear expansion, in 1/K.
    pub expansion: Distribution,
    /// Whether the flatness to be known holds the bow by heat of the moment. A certificate's does
    /// not: then the bow during the check is an error.
    pub flatness_holds_bow: bool,
}

impl Plate {
    /// The diagonal of the whole plate, in mm.
    pub fn diagonal(&self) -> f64 {
        libm::hypot(self.length, self.width)
    }

    /// The middle of the plate, in mm.
    pub fn middle(&self) -> [f64; 2] {
        [self.length / 2.0, self.width / 2.0]
    }

    /// How far a plate that is bowed by a unit of curvature lies below its middle at a point (mm), averaged over a footprint of
    /// the given variance (mm²), in mm²: half the squared distance, and the footprint.
    pub fn fall_per_curvature(&self, at: [f64; 2], variance: f64) -> f64 {
        let middle = self.middle();
        let [x, y] = [at[0] - middle[0], at[1] - middle[1]];
        (x * x + y * y) / 2.0 + variance
    }

    /// The working surface, `[[x_low, x_high], [y_low, y_high]]`, in mm.
    pub fn working_surface(&self) -> [[f64; 2]; 2] {
        [[self.margin, self.length - self.margin], [self.margin, self.width - self.margin]]
    }

    /// Whether a point (mm) lies on the plate, not nearer to an edge than `clearance` (mm).
    pub fn holds(&self, point: [f64; 2], clearance: f64) -> bool {
        // A hair of tolerance: a pad that touches the edge line is still on the plate.
        let slack = 1e-9 * self.diagonal();
        [(point[0], self.length), (point[1], self.width)]
            .iter()
            .all(|&(v, side)| v >= clearance - slack && v <= side - clearance + slack)
    }
}

/// Curvature of a free plate of constant thickness under a linear temperature gradient, in µm/mm²:
/// `κ = α ΔT / t`.
///
/// `expansion` in 1/K, `difference` = top minus bottom in K, `thickness` in mm. Positive is crowned
/// (the middle high). The corner-to-corner sagitta over a diagonal D is `κ D² / 8` (plate bending
/// under a linear gradient; Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 14, from
/// memory).
pub fn bow_curvature(expansion: f64, difference: f64, thickness: f64) -> f64 {
    const MICROMETRES_PER_MILLIMETRE: f64 = 1000.0;
    expansion * difference / thickness * MICROMETRES_PER_MILLIMETRE
}
