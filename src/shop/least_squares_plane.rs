//! The plane that fits heights best, and how far they are off it.

use super::{
    exchange::{fours, greatest},
    flatness::FlatnessError,
    frame::far_apart,
};
use crate::quantity::vector::dot;
use wide::f64x4;

/// Least-squares planes through heights at a fixed set of points, prepared once.
///
/// The range of what is left over is quick to find and often quoted as flatness, but it is more
/// than the minimum zone, which is what [`MinimumZone`](super::flatness::MinimumZone) finds.
#[derive(Debug, Clone)]
pub struct LeastSquaresPlane {
    /// Two plan coordinates of the points, at right angles to each other and to a constant, and of
    /// unit length: the plane's slopes along them are plain sums of products.
    first: Vec<f64>,
    second: Vec<f64>,
}

impl LeastSquaresPlane {
    /// Prepares planes through heights at these points, `[x, y]` in mm.
    pub fn new(points: &[[f64; 2]]) -> Result<Self, FlatnessError> {
        far_apart(points)?;
        let constant = vec![1.0; points.len()];
        let [x, y] = [0, 1].map(|axis| points.iter().map(|point| point[axis]).collect::<Vec<f64>>());
        let first = at_right_angles(x, &[&constant]);
        let second = at_right_angles(y, &[&constant, &first]);
        Ok(Self { first, second })
    }

    /// The least and the greatest distance of `heights` from the plane that fits them best, plus
    /// above it, in their unit. There must be one height for each point, in the order of the points.
    ///
    /// # Panics
    ///
    /// If there are not as many heights as points.
    pub fn residual_limits(&self, heights: &[f64]) -> [f64; 2] {
        let Self { first, second } = self;
        assert_eq!(heights.len(), first.len(), "one height for each point");
        let [base, _, _, _, ..] = *heights else { return [0.0; 2] };
        // Taken from the first height, so that what all share costs no digits.
        let shared = f64x4::splat(base);
        let (whole, rest) = heights.as_chunks();
        let mut sums = [f64x4::ZERO; 3];
        for ((&z, &p), &q) in whole.iter().zip(first.as_chunks().0).zip(second.as_chunks().0) {
            let z = f64x4::new(z) - shared;
            sums[0] += z;
            sums[1] += z * f64x4::new(p);
            sums[2] += z * f64x4::new(q);
        }
        let [mut sum, mut along_first, mut along_second] = sums.map(f64x4::reduce_add);
        for (i, z) in (4 * whole.len()..).zip(rest) {
            sum += z - base;
            along_first += (z - base) * first[i];
            along_second += (z - base) * second[i];
        }

        let [mean, b, c] = [sum / heights.len() as f64, along_first, along_second].map(f64x4::splat);
        let (mut low, mut high) = (f64x4::splat(f64::INFINITY), f64x4::splat(f64::NEG_INFINITY));
        let mut take = |z: &[f64; 4], p: &[f64; 4], q: &[f64; 4]| {
            let residual = f64x4::new(*z) - shared - mean - b * f64x4::new(*p) - c * f64x4::new(*q);
            low = low.fast_min(residual);
            high = high.fast_max(residual);
        };
        for ((z, p), q) in fours(heights).zip(fours(first)).zip(fours(second)) {
            take(z, p, q);
        }
        if let (Some(z), Some(p), Some(q)) = (heights.last_chunk(), first.last_chunk(), second.last_chunk()) {
            take(z, p, q);
        }
        [-greatest(-low), greatest(high)]
    }
}

/// What is left of `values` when all that lies along `others` is taken off, brought to unit length.
fn at_right_angles(mut values: Vec<f64>, others: &[&[f64]]) -> Vec<f64> {
    // Once more for the rounding of the first time, which a narrow plate makes large.
    for other in others.iter().chain(others) {
        let along = dot(&values, other) / dot(other, other);
        for (value, other) in values.iter_mut().zip(*other) {
            *value -= along * other;
        }
    }
    let length = dot(&values, &values).sqrt();
    values.iter().map(|value| value / length).collect()
}
