//! Plan coordinates that suit a set of points, and four of the points that are far apart.

use super::flatness::FlatnessError;

/// Plan coordinates in which the points fill −1…1 both ways and lean to no side, however narrow the
/// plate and however it is turned: `u` along x, and `v` along what is left of y when the line that
/// fits the points best is taken off.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    middle: [f64; 2],
    half_extent: [f64; 2],
    /// Of the line.
    slope: f64,
}

impl Frame {
    pub(super) fn around(points: &[[f64; 2]]) -> Self {
        let n_points = points.len() as f64;
        let mean = [0, 1].map(|axis| points.iter().map(|point| point[axis]).sum::<f64>() / n_points);
        let moment = |axis: usize| -> f64 {
            points.iter().map(|point| (point[0] - mean[0]) * (point[axis] - mean[axis])).sum()
        };
        let slope = moment(1) / moment(0);
        let mut frame = Self { middle: mean, half_extent: [1.0; 2], slope };
        let extent = |frame: &Self, axis: usize| {
            points.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], &point| {
                let value = frame.inside(point)[axis];
                [low.min(value), high.max(value)]
            })
        };
        let [length, width] = [0, 1].map(|axis| extent(&frame, axis)).map(|[low, high]| high - low);
        if slope.abs() * length < 1e-9 * width {
            // A grid along the axes: what leans is rounding.
            frame.slope = 0.0;
        }
        let [[left, right], [front, back]] = [0, 1].map(|axis| extent(&frame, axis));
        let across = left + (right - left) / 2.0;
        frame.middle[0] += across;
        frame.middle[1] += frame.slope * across + front + (back - front) / 2.0;
        frame.half_extent = [(right - left) / 2.0, (back - front) / 2.0];
        frame
    }

    pub(super) fn inside(&self, point: [f64; 2]) -> [f64; 2] {
        let [x, y] = difference(point, self.middle);
        [x / self.half_extent[0], (y - self.slope * x) / self.half_extent[1]]
    }

    pub(super) fn plane_outside(&self, [offset, along_u, along_v]: [f64; 3]) -> [f64; 3] {
        let c = along_v / self.half_extent[1];
        let b = along_u / self.half_extent[0] - self.slope * c;
        [offset - b * self.middle[0] - c * self.middle[1], b, c]
    }

    pub(super) fn plane_inside(&self, [a, b, c]: [f64; 3]) -> [f64; 3] {
        let offset = a + b * self.middle[0] + c * self.middle[1];
        [offset, (b + self.slope * c) * self.half_extent[0], c * self.half_extent[1]]
    }
}

fn difference([x1, y1]: [f64; 2], [x0, y0]: [f64; 2]) -> [f64; 2] {
    [x1 - x0, y1 - y0]
}

/// Of the parallelogram that two vectors span; plus if the second is to the left of the first.
fn area([x1, y1]: [f64; 2], [x2, y2]: [f64; 2]) -> f64 {
    x1 * y2 - x2 * y1
}

/// Points are on one line if no farther off it than this, in parts of its length.
const NARROW: f64 = 1e-5;

/// Four of the points, as far apart as may be, the first three not on a line: they serve as a first
/// basis whatever the heights. With three points, one is named twice.
pub(super) fn far_apart(points: &[[f64; 2]]) -> Result<[usize; 4], FlatnessError> {
    if points.as_flattened().iter().any(|coordinate| !coordinate.is_finite()) {
        return Err(FlatnessError::NotFinite);
    }
    if points.len() < 3 {
        return Err(FlatnessError::TooFewPoints);
    }
    let between = |from: usize, to: usize| difference(points[to], points[from]);
    let square = |[x, y]: [f64; 2]| x * x + y * y;
    let best = |score: &dyn Fn(usize) -> f64| {
        (0..points.len()).fold(0, |best, i| if score(i) > score(best) { i } else { best })
    };
    let a = best(&|i| square(between(0, i)));
    let b = best(&|i| square(between(a, i)));
    let off_line = |from: usize, to: usize, i: usize| area(between(from, to), between(from, i)).abs();
    let c = best(&|i| off_line(a, b, i));
    if off_line(a, b, c) <= NARROW * square(between(a, b)) {
        return Err(FlatnessError::OnOneLine);
    }
    let d = best(&|i| off_line(a, b, i).min(off_line(b, c, i)).min(off_line(c, a, i)));
    Ok([a, b, c, d])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_fill_the_frame_and_a_plane_survives_the_way_in_and_out() {
        for lean in [0.0, 0.3, 400.0] {
            let points: Vec<[f64; 2]> = (0..30)
                .map(|i| {
                    let x = 500.0 + f64::from(i * i % 17) * 40.0;
                    [x, -80.0 + f64::from(i * 7 % 11) + lean * x]
                })
                .collect();
            let frame = Frame::around(&points);
            for axis in [0, 1] {
                let inside = points.iter().map(|&point| frame.inside(point)[axis]);
                let (low, high) = inside.fold((0.0, 0.0), |(l, h): (f64, f64), v| (l.min(v), h.max(v)));
                assert!((low + 1.0).abs() < 1e-11 && (high - 1.0).abs() < 1e-11, "{low} {high}");
            }
            let plane = [2.0, 0.01, -0.003];
            let inside = frame.plane_inside(plane);
            for &[x, y] in &points {
                let [u, v] = frame.inside([x, y]);
                let height = inside[0] + inside[1] * u + inside[2] * v;
                let expected = plane[0] + plane[1] * x + plane[2] * y;
                assert!((height - expected).abs() < 1e-13 * (1.0 + y.abs()), "{height} {expected}");
            }
            let [a, b, c] = frame.plane_outside(inside);
            assert!((b - plane[1]).abs() < 1e-12 && (c - plane[2]).abs() < 1e-13, "{b} {c}");
            assert!((a - plane[0]).abs() < 1e-9, "{a}");
        }
    }

    #[test]
    fn a_grids_corners_are_far_apart_and_a_line_has_no_such_points() {
        let grid: Vec<[f64; 2]> =
            (0..35).map(|i| [f64::from(i % 7) * 60.0, f64::from(i / 7) * 50.0]).collect();
        let mut corners = far_apart(&grid).expect("a grid");
        corners.sort_unstable();
        assert_eq!(corners, [0, 6, 28, 34]);
        let line: Vec<[f64; 2]> = (0..9).map(|i| [0.1 * f64::from(i), 0.3 * f64::from(i)]).collect();
        assert_eq!(far_apart(&line), Err(FlatnessError::OnOneLine));
        assert_eq!(far_apart(&[[4.0, 5.0]; 6]), Err(FlatnessError::OnOneLine));
    }
}
