//! The width of points between two parallel planes, measured square to the planes.

use super::{
    exchange::{cross, dot},
    flatness::{FlatnessError, MinimumZone},
};

/// The least distance of two parallel planes that hold all points `[x, y, z]` between them, all in
/// one unit; the result too.
///
/// A minimum zone measured along the vertical is wider than this by √(1 + slope²): nothing for a
/// plate that has been levelled, 5 % for a slope of 0.3. Here the zone is sought again along the
/// normal of the last one, until that no longer turns. The width found is the least among those near
/// the vertical zone; for points that lie in a sheet, far wider than it is thick, there is no other.
pub fn least_width(points: &[[f64; 3]]) -> Result<f64, FlatnessError> {
    if points.as_flattened().iter().any(|coordinate| !coordinate.is_finite()) {
        return Err(FlatnessError::NotFinite);
    }
    let mut normal = [0.0, 0.0, 1.0];
    let mut width = f64::INFINITY;
    // Each turn is about the square of the one before, so a handful will do.
    for _ in 0..20 {
        let [first, second] = square_to(normal);
        let plan: Vec<[f64; 2]> = points.iter().map(|&p| [dot(p, first), dot(p, second)]).collect();
        let heights: Vec<f64> = points.iter().map(|&p| dot(p, normal)).collect();
        let zone = MinimumZone::new(&plan)?;
        let found = zone.solve(&heights, &mut zone.scratch());
        let [_, b, c] = found.plane;
        let length = (1.0 + b * b + c * c).sqrt();
        if found.flatness / length >= width {
            break;
        }
        width = found.flatness / length;
        normal = [0, 1, 2].map(|axis| (normal[axis] - b * first[axis] - c * second[axis]) / length);
    }
    Ok(width)
}

/// Two unit vectors at right angles to a unit vector and to each other.
fn square_to(normal: [f64; 3]) -> [[f64; 3]; 2] {
    let axis = if normal[0].abs() < 0.6 { [1.0, 0.0, 0.0] } else { [0.0, 1.0, 0.0] };
    let along = dot(axis, normal);
    let leaning = [0, 1, 2].map(|k| axis[k] - along * normal[k]);
    let length = dot(leaning, leaning).sqrt();
    let first = leaning.map(|component| component / length);
    [first, cross(normal, first)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_philox::Philox;

    #[test]
    fn turning_a_sheet_does_not_change_its_width() {
        let mut draws = Philox::seed_from_u64(8);
        let sheet: Vec<[f64; 3]> = (0..50)
            .map(|_| [90.0 * draws.random::<f64>(), 60.0 * draws.random::<f64>(), draws.random()])
            .collect();
        let level = least_width(&sheet).expect("a sheet");
        assert!(level < 1.0);
        for angle in [1e-3, 0.1, 0.5, 1.2_f64] {
            let (sin, cos) = angle.sin_cos();
            let turned: Vec<_> =
                sheet.iter().map(|&[x, y, z]| [x * cos - z * sin, y, x * sin + z * cos]).collect();
            let width = least_width(&turned).expect("a sheet");
            assert!((width - level).abs() < 1e-11, "{angle}: {width} {level}");
        }
    }
}
