//! A surface through measured points.

use nalgebra::{DMatrix, DVector};

/// The surface of least bending through points in the plan: a thin-plate spline (Duchon,
/// "Splines minimizing rotation-invariant semi-norms in Sobolev spaces", 1977).
///
/// It passes through every point, keeps planes, and is linear in the heights, so it is prepared
/// once and serves any heights.
#[derive(Debug, Clone)]
pub struct SurfaceSpline {
    points: Vec<[f64; 2]>,
    /// Inverse of the spline's system, `[n + 3][n + 3]`.
    inverse: DMatrix<f64>,
    /// Divides coordinates, so that the system is well scaled.
    scale: f64,
    origin: [f64; 2],
}

impl SurfaceSpline {
    /// A spline through points (mm); `None` where they determine none: fewer than three, all on
    /// one line, or two in the same place.
    pub fn new(points: &[[f64; 2]]) -> Option<Self> {
        let n = points.len();
        if n < 3 {
            return None;
        }
        let origin = [0, 1].map(|k| points.iter().map(|p| p[k]).sum::<f64>() / n as f64);
        let scale =
            points.iter().map(|p| libm::hypot(p[0] - origin[0], p[1] - origin[1])).fold(0.0, f64::max);
        let mut spline = Self { points: points.to_vec(), inverse: DMatrix::zeros(0, 0), scale, origin };
        let mut system = DMatrix::zeros(n + 3, n + 3);
        for (i, &p) in points.iter().enumerate() {
            let row = spline.basis(p);
            for (j, value) in row.iter().enumerate() {
                system[(i, j)] = *value;
                system[(j, i)] = *value;
            }
        }
        let (lu, n_all) = (system.clone().full_piv_lu(), n + 3);
        let pivots = lu.u().diagonal();
        if pivots.amin() <= 1e-12 * pivots.amax() {
            return None;
        }
        spline.inverse = lu.solve(&DMatrix::identity(n_all, n_all))?;
        Some(spline)
    }

    /// The weights of the points' heights in the spline's height at a place (mm): they add up to
    /// one.
    pub fn weights(&self, at: [f64; 2]) -> Vec<f64> {
        let basis = DVector::from_vec(self.basis(at));
        let weights = self.inverse.tr_mul(&basis);
        weights.iter().take(self.points.len()).copied().collect()
    }

    /// `r² ln r` from every point, then 1, x, y.
    fn basis(&self, at: [f64; 2]) -> Vec<f64> {
        let radial = self.points.iter().map(|p| {
            let square = ((at[0] - p[0]).powi(2) + (at[1] - p[1]).powi(2)) / (self.scale * self.scale);
            if square > 0.0 { 0.5 * square * libm::log(square) } else { 0.0 }
        });
        let [x, y] = [0, 1].map(|k| (at[k] - self.origin[k]) / self.scale);
        radial.chain([1.0, x, y]).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points() -> Vec<[f64; 2]> {
        (0..5)
            .flat_map(|i| (0..4).map(move |j| [25.0 + 200.0 * f64::from(i), 30.0 + 180.0 * f64::from(j)]))
            .collect()
    }

    fn height(spline: &SurfaceSpline, at: [f64; 2], f: impl Fn([f64; 2]) -> f64) -> f64 {
        spline.weights(at).iter().zip(points()).map(|(w, p)| w * f(p)).sum()
    }

    #[test]
    fn it_passes_through_its_points_and_keeps_planes() {
        let spline = SurfaceSpline::new(&points()).expect("points in general position");
        let plane = |p: [f64; 2]| 3.0 - 0.02 * p[0] + 0.05 * p[1];
        for at in [[100.0, 100.0], [0.0, 0.0], [777.0, 512.0]] {
            assert!((height(&spline, at, plane) - plane(at)).abs() < 1e-9);
        }
        let wavy = |p: [f64; 2]| (p[0] / 150.0).sin() * (p[1] / 90.0).cos();
        for at in points() {
            assert!((height(&spline, at, wavy) - wavy(at)).abs() < 1e-9);
        }
    }

    #[test]
    fn points_on_a_line_or_twice_in_one_place_are_refused() {
        assert!(SurfaceSpline::new(&[[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [5.0, 5.0]]).is_none());
        assert!(SurfaceSpline::new(&[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.0, 1.0]]).is_none());
    }
}
