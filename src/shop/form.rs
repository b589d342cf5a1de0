//! The form of one plate: wear, twist and bow as closed expressions.

/// A hump (or, of negative height, a dip) of Gaussian profile with axes along the plate's edges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bump {
    /// Height at the centre, in µm.
    pub height: f64,
    /// Centre, `[x, y]` in mm.
    pub centre: [f64; 2],
    /// One sigma along x and y, in mm.
    pub sigma: [f64; 2],
}

impl Bump {
    /// Height (µm) at a point (mm), averaged over a footprint of the given variance (mm²).
    pub fn height(&self, at: [f64; 2], variance: f64) -> f64 {
        let widened = self.widened(variance);
        let [u, v] = [0, 1].map(|axis| (at[axis] - self.centre[axis]) / widened.sigma[axis]);
        widened.height * libm::exp(-(u * u + v * v) / 2.0)
    }

    /// The bump as a footprint of the given variance (mm²) sees it: wider and lower, of the same
    /// volume.
    #[inline]
    pub fn widened(&self, variance: f64) -> Self {
        let squares = self.sigma.map(|sigma| sigma * sigma);
        let sigma = squares.map(|square| (square + variance).sqrt());
        let height = self.height * (self.sigma[0] * self.sigma[1]) / (sigma[0] * sigma[1]);
        Self { height, centre: self.centre, sigma }
    }
}

/// A plate's form without its waves: a sum of bumps, a twist and a bow about the plate's middle.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Form {
    /// Dips and humps.
    pub bumps: Vec<Bump>,
    /// `z = twist · (x − x₀)(y − y₀)`, in µm/mm².
    pub twist: f64,
    /// Curvature along x and along y, in µm/mm²; positive is crowned: `z = −½ Σ κ (x − x₀)²`.
    pub curvature: [f64; 2],
    /// The plate's middle, `[x₀, y₀]` in mm.
    pub middle: [f64; 2],
}

impl Form {
    /// Height (µm) at a point (mm), averaged over a footprint (a foot's pad, the block's face).
    ///
    /// `variance` is the footprint's second moment along each axis, mm²: `d²/16` for a round pad
    /// of diameter d, see [`pad_variance`] and [`face_variance`]. The footprint is taken as a
    /// Gaussian of that variance, for which the average is exact; a uniform one of the same second
    /// moment differs only from the fourth derivative of the surface on.
    pub fn height(&self, at: [f64; 2], variance: f64) -> f64 {
        let [x, y] = [at[0] - self.middle[0], at[1] - self.middle[1]];
        let bumps: f64 = self.bumps.iter().map(|bump| bump.height(at, variance)).sum();
        let bow = self.curvature[0] * (x * x + variance) + self.curvature[1] * (y * y + variance);
        bumps + self.twist * x * y - bow / 2.0
    }
}

/// Second moment, along each axis, of a round pad of the given diameter (mm), in mm².
pub fn pad_variance(diameter: f64) -> f64 {
    diameter * diameter / 16.0
}

/// Second moment of a rectangular face with the given sides (mm), in mm², averaged over the two
/// axes since the block may be put down either way round.
pub fn face_variance(sides: [f64; 2]) -> f64 {
    (sides[0] * sides[0] + sides[1] * sides[1]) / 24.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Average over a round pad by a fine polar rule, as a check on the Gaussian footprint.
    fn average_over_pad(form: &Form, at: [f64; 2], diameter: f64) -> f64 {
        let (n_rings, n_spokes) = (200, 64);
        let mut sum = 0.0;
        for ring in 0..n_rings {
            // Rings of equal area.
            let r = diameter / 2.0 * ((ring as f64 + 0.5) / n_rings as f64).sqrt();
            for spoke in 0..n_spokes {
                let angle = std::f64::consts::TAU * spoke as f64 / n_spokes as f64;
                sum += form.height([at[0] + r * angle.cos(), at[1] + r * angle.sin()], 0.0);
            }
        }
        sum / f64::from(n_rings * n_spokes)
    }

    #[test]
    fn a_pad_averages_a_dip_as_the_closed_form_says() {
        let form = Form {
            bumps: vec![Bump { height: -5.0, centre: [60.0, 50.0], sigma: [30.0, 45.0] }],
            twist: 1e-5,
            curvature: [2e-5, -1e-5],
            middle: [457.0, 305.0],
        };
        for at in [[60.0, 50.0], [90.0, 50.0], [75.0, 95.0]] {
            let exact = average_over_pad(&form, at, 20.0);
            let closed = form.height(at, pad_variance(20.0));
            // A fourth-derivative term is left out: below 1e-3 of the depth for a 20 mm pad in a
            // dip of sigma 30 mm.
            assert!((exact - closed).abs() < 5e-3, "{at:?}: {exact} against {closed}");
            let point = form.height(at, 0.0);
            assert!((exact - closed).abs() < 0.05 * (exact - point).abs() + 1e-4);
        }
    }
}
