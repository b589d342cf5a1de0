//! Exchange on four points, the step by which a minimum zone is found.
//!
//! This is the dual simplex method on a basis of four (Stiefel, Numer. Math. 2, 1960, 1-17). Vectors
//! are written out ([`wide`]), because what a compiler makes of plain loops here varies severalfold.

use wide::{f64x2, f64x4};

/// Points with heights, one slice a coordinate; x and y about −1 to 1.
#[derive(Clone, Copy)]
pub(super) struct Points<'a> {
    pub x: &'a [f64],
    pub y: &'a [f64],
    pub z: &'a [f64],
}

/// Four points, each with the side of the plane on which it is to lie, and the plane that lies
/// equally far from all four.
///
/// One combination of the points cancels: `Σ λ s = 0` and `Σ λ s (x, y) = 0` with `Σ λ = 1`. As
/// long as no multiplier λ is below 0, every plane is off by at least `half = Σ λ s z` somewhere,
/// and this one is off by just that at the four. An exchange takes in the point that is furthest off
/// the plane and lets go the one that keeps λ from falling below 0; `half` never falls. When no point
/// is further off than `half`, bound and plane meet: no zone is smaller.
#[derive(Debug, Clone)]
pub(super) struct Basis {
    pub at: [usize; 4],
    /// +1: over the plane; −1: under it.
    pub sign: [f64; 4],
    pub plane: Plane,
    /// The inverse of the matrix that has a column `(s, s x, s y, 1)` for each point: column by
    /// column, one lane a point. The last is λ.
    inverse: [f64x4; 4],
    /// 1 / λ, found ahead of its use.
    per_multiplier: f64x4,
}

/// A plane `offset + slope · (x, y)`, and how far it is off the points of a basis.
#[derive(Debug, Clone, Copy)]
pub(super) struct Plane {
    pub offset: f64,
    pub slope: [f64; 2],
    pub half: f64,
}

/// How far a point is off a plane, and on which side: +1 over it, −1 under it.
#[derive(Clone, Copy)]
pub(super) struct Off {
    pub point: usize,
    pub side: f64,
    pub by: f64,
}

/// How far a point may be out of the zone, in parts of the largest height over the points' extent:
/// more than rounding, and more than [`NUMBERS`] take away.
const TOLERANCE: f64 = 1.0 / (1u64 << 44) as f64;

/// A combination's share below this counts as 0 when a point is to leave.
const PIVOT: f64 = 1e-9;

/// Exchanges without short cuts before the last plane has to do; only rounding could make so many.
const EXCHANGE_LIMIT: u32 = 10_000;

impl Basis {
    /// From the points alone, so free of the rounding that exchanges gather.
    pub fn exact(points: Points, at: [usize; 4], sign: [f64; 4]) -> Self {
        let (plane, multipliers) = level(points, at, sign);
        let [x, y] = [points.x, points.y].map(|values| at.map(|i| values[i]));
        // A column's numbers are the plane's for a height of 1 at one of the points.
        let planes = [0, 1, 2, 3].map(|lane| {
            let mut z = [0.0; 4];
            z[lane] = sign[lane];
            level(Points { x: &x, y: &y, z: &z }, [0, 1, 2, 3], sign).0
        });
        let column = |number: fn(&Plane) -> f64| f64x4::new([0, 1, 2, 3].map(|lane| number(&planes[lane])));
        let inverse = [
            column(|plane| plane.offset),
            column(|plane| plane.slope[0]),
            column(|plane| plane.slope[1]),
            multipliers,
        ];
        Self { at, sign, plane, inverse, per_multiplier: per_multiplier(multipliers) }
    }

    /// At height 0, on the sides that keep the multipliers from falling below 0. Three of the points
    /// must not be on a line.
    pub fn balanced(x: &[f64], y: &[f64], at: [usize; 4]) -> Self {
        let [u, v] = [x, y].map(|values| edges(at.map(|i| values[i])));
        let sign = with_first(cross(u, v)).to_array().map(|weight| f64::copysign(1.0, weight));
        Self::exact(Points { x, y, z: &vec![0.0; x.len()] }, at, sign)
    }

    /// With other heights at its points, and on the sides that suit them better.
    #[inline]
    pub fn with_heights(&self, heights: &[f64]) -> Self {
        let signed = f64x4::new(self.at.map(|i| heights[i])) * f64x4::new(self.sign);
        let [offset, along_x, along_y, half] = self.inverse.map(|column| (column * signed).reduce_add());
        let side = f64::copysign(1.0, half);
        let [a, b, c, multipliers] = self.inverse;
        let [a, b, c] = [a, b, c].map(|column| column * f64x4::splat(side));
        Self {
            at: self.at,
            sign: self.sign.map(|sign| sign * side),
            plane: Plane { offset, slope: [along_x, along_y], half: half.abs() },
            inverse: [a, b, c, multipliers],
            per_multiplier: self.per_multiplier,
        }
    }

    /// Exchanges points until none is out of the zone, or patience is at an end. For 4 to [`BLOCK`]
    /// points; `at` counts within them.
    #[inline(always)]
    pub fn settle(&mut self, points: Points, patience: &mut u32) {
        loop {
            let [high, low] = points.extremes(self.plane.slope);
            let (above, below) = (high - self.plane.offset, self.plane.offset - low);
            let furthest = if above > below {
                Off { point: number(high), side: 1.0, by: above }
            } else {
                Off { point: number(low), side: -1.0, by: below }
            };
            if !self.take_in(points, furthest, patience) {
                return;
            }
        }
    }

    /// Exchanges a point for one of the basis, if it is out of the zone.
    #[inline(always)]
    pub fn take_in(&mut self, points: Points, Off { point, side, by }: Off, patience: &mut u32) -> bool {
        // A point of the basis can be out by rounding only.
        let is_out = by > self.plane.half + self.plane.tolerance() && !self.at.contains(&point);
        if !is_out || *patience == 0 {
            return false;
        }
        *patience -= 1;
        let share = self.share(points.x[point], points.y[point], side);
        let leaving = self.leaving(share);
        self.exchange(leaving, share, by - self.plane.half);
        self.at[leaving.number] = point;
        self.sign[leaving.number] = side;
        true
    }

    /// A point's column as a combination of the basis's columns.
    #[inline(always)]
    fn share(&self, x: f64, y: f64, side: f64) -> f64x4 {
        let [a, b, c, multipliers] = self.inverse;
        let [side, x, y] = [side, side * x, side * y].map(f64x4::splat);
        multipliers + a * side + b * x + c * y
    }

    /// The dual ratio test: the point whose multiplier is the first to reach 0, as a lane.
    #[inline(always)]
    fn leaving(&self, share: f64x4) -> Lane {
        let may_leave = share.simd_gt(f64x4::splat(PIVOT));
        // Shares add up to 1, as multipliers do, so the greatest ratio is at least 1.
        Lane::of_greatest(may_leave & (share * self.per_multiplier))
    }

    /// Brings inverse and plane to the basis in which a point with the given share, further off the
    /// plane than the points of the basis by `excess`, takes the place of the one in lane `leaving`.
    #[inline(always)]
    fn exchange(&mut self, leaving: Lane, share: f64x4, excess: f64) {
        let per_share = leaving.pick(f64x4::ONE / share);
        let row = self.inverse.map(|column| leaving.pick(column) * per_share);
        let share = share - (leaving.mask & f64x4::ONE);
        for (column, value) in self.inverse.iter_mut().zip(row) {
            *column -= share * f64x4::splat(value);
        }
        self.per_multiplier = per_multiplier(self.inverse[3]);
        self.plane.offset += excess * row[0];
        self.plane.slope[0] += excess * row[1];
        self.plane.slope[1] += excess * row[2];
        self.plane.half += excess * row[3];
    }

    /// Settles without short cuts: on any number of points, and afresh at each exchange. When the
    /// bound has stopped rising, points are chosen by Bland's rule, which cannot go round in circles
    /// (Bland, Math. Oper. Res. 2, 1977, 103-107): of all points that are out, the first enters; of
    /// those that may leave, the first leaves.
    #[cold]
    pub fn settle_afresh(&mut self, points: Points) {
        let mut highest = f64::NEG_INFINITY;
        let mut stalled = 0;
        for _ in 0..EXCHANGE_LIMIT {
            *self = Self::exact(points, self.at, self.sign);
            let Plane { half, .. } = self.plane;
            let tolerance = self.plane.tolerance();
            if half > highest + tolerance {
                highest = half;
                stalled = 0;
            }
            stalled += 1;
            let by_bland = stalled > 8;
            let residual = |i: usize| points.z[i] - self.plane.at(points.x[i], points.y[i]);
            let is_out = |&i: &usize| residual(i).abs() > half + 2.0 * tolerance && !self.at.contains(&i);
            let mut out = (0..points.z.len()).filter(is_out);
            let further = |a: usize, b: usize| if residual(b).abs() > residual(a).abs() { b } else { a };
            let entering = if by_bland { out.next() } else { out.reduce(further) };
            let Some(entering) = entering else { return };
            let side = f64::copysign(1.0, residual(entering));
            let share = self.share(points.x[entering], points.y[entering], side);
            let (shares, multipliers) = (share.to_array(), self.inverse[3].to_array());
            let may_leave = |&k: &usize| multipliers[k] < 1e-12 && shares[k] > PIVOT;
            let first = (0..4).filter(may_leave).min_by_key(|&k| self.at[k]).filter(|_| by_bland);
            let leaving = first.unwrap_or_else(|| self.leaving(share).number);
            self.at[leaving] = entering;
            self.sign[leaving] = side;
        }
    }
}

/// The plane equally far from four points on given sides, and their multipliers.
///
/// With the edges from the first point to the others, `u` and `v` in plan, `w = u × v` is the one
/// vector at right angles to both: the combination of the edges that cancels. What of the heights
/// lies along `w` no slope can take up; it fixes the distance. The rest is the slope.
#[inline]
pub(super) fn level(points: Points, at: [usize; 4], sign: [f64; 4]) -> (Plane, f64x4) {
    let [x, y, z] = [points.x, points.y, points.z].map(|values| at.map(|i| values[i]));
    let [u, v, h] = [x, y, z].map(edges);
    let w = cross(u, v);
    let sides = edges(sign);
    let sum = dot(sides, w);
    let half = dot(w, h) / sum;
    let scale = 1.0 / dot(w, w);
    let slope = [cross(v, w), cross(w, u)].map(|row| (dot(h, row) - half * dot(sides, row)) * scale);
    let offset = z[0] - sign[0] * half - slope[0] * x[0] - slope[1] * y[0];
    let multipliers = with_first(w) * f64x4::new(sign) / f64x4::splat(sum);
    (Plane { offset, slope, half }, multipliers)
}

/// From the first to the other three.
#[inline(always)]
fn edges([first, a, b, c]: [f64; 4]) -> [f64; 3] {
    [a - first, b - first, c - first]
}

/// Weights of edges as weights of points.
#[inline(always)]
fn with_first([a, b, c]: [f64; 3]) -> f64x4 {
    f64x4::new([-(a + b + c), a, b, c])
}

#[inline(always)]
fn per_multiplier(multipliers: f64x4) -> f64x4 {
    f64x4::ONE / multipliers.fast_max(f64x4::splat(1e-18))
}

#[inline(always)]
pub(super) fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

#[inline(always)]
pub(super) fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

impl Plane {
    fn at(&self, x: f64, y: f64) -> f64 {
        self.offset + self.slope[0] * x + self.slope[1] * y
    }

    /// How far a point may be off by rounding.
    pub fn tolerance(&self) -> f64 {
        TOLERANCE * (self.offset.abs() + self.slope[0].abs() + self.slope[1].abs() + self.half.abs())
    }

    /// The sum of the differences of all numbers.
    pub fn difference(&self, other: &Self) -> f64 {
        (self.offset - other.offset).abs()
            + (self.slope[0] - other.slope[0]).abs()
            + (self.slope[1] - other.slope[1]).abs()
            + (self.half - other.half).abs()
    }
}

/// One of four lanes.
#[derive(Clone, Copy)]
struct Lane {
    number: usize,
    /// All bits of that lane, none of the others.
    mask: f64x4,
}

impl Lane {
    /// The lane with the greatest of four numbers, none negative; of two as good as equal, the last.
    #[inline(always)]
    fn of_greatest(values: f64x4) -> Self {
        let numbers = f64x4::new([0, 1, 2, 3].map(f64::from_bits));
        let numbered = (values & f64x4::splat(f64::from_bits(!3))) | numbers;
        let top = greatest(numbered);
        Self { number: (top.to_bits() & 3) as usize, mask: numbered.simd_eq(f64x4::splat(top)) }
    }

    #[inline(always)]
    fn pick(self, values: f64x4) -> f64 {
        let [a, b, c, d] = (self.mask & values).to_array();
        let [low, high] = (f64x2::new([a, b]) | f64x2::new([c, d])).to_array();
        low + high
    }
}

/// Points are looked through in blocks of this many.
pub(super) const BLOCK: usize = 64;

/// The bits of a height's significand that give way to the number of its point in a block.
const NUMBER_BITS: u64 = BLOCK as u64 - 1;

/// The numbers 0 to [`BLOCK`] − 1 as the last bits of otherwise empty doubles.
///
/// The number rides along in the last bits of what is compared, so the greatest knows its place
/// without a second search. That costs 6 of 53 bits, 1e-14, in deciding who is furthest out.
static NUMBERS: [f64; BLOCK] = {
    let mut numbers = [0.0; BLOCK];
    let mut i = 0;
    while i < BLOCK {
        numbers[i] = f64::from_bits(i as u64);
        i += 1;
    }
    numbers
};

/// The number that rides along.
pub(super) fn number(numbered: f64) -> usize {
    (numbered.to_bits() & NUMBER_BITS) as usize
}

impl Points<'_> {
    /// `len` of the points from `start` on.
    #[inline(always)]
    pub fn slice(self, start: usize, len: usize) -> Self {
        let range = start..start + len;
        Self { x: &self.x[range.clone()], y: &self.y[range.clone()], z: &self.z[range] }
    }

    /// The highest and the lowest of `z − slope · (x, y)`, each with its [`number`]. For 4 to
    /// [`BLOCK`] points.
    #[inline(always)]
    pub fn extremes(self, slope: [f64; 2]) -> [f64; 2] {
        let [along_x, along_y] = slope.map(f64x4::splat);
        let kept = f64x4::splat(f64::from_bits(!NUMBER_BITS));
        let mut high = f64x4::splat(f64::NEG_INFINITY);
        let mut low = f64x4::splat(f64::INFINITY);
        let mut take = |x: &[f64; 4], y: &[f64; 4], z: &[f64; 4], number: &[f64; 4]| {
            let residual = f64x4::new(*z) - along_x * f64x4::new(*x) - along_y * f64x4::new(*y);
            let numbered = (residual & kept) | f64x4::new(*number);
            high = high.fast_max(numbered);
            low = low.fast_min(numbered);
        };
        let Self { x, y, z } = self;
        for (((x, y), z), number) in fours(x).zip(fours(y)).zip(fours(z)).zip(fours(&NUMBERS)) {
            take(x, y, z, number);
        }
        // The last four, whether or not some of them have been taken.
        if let (Some(x), Some(y), Some(z), Some(number)) =
            (x.last_chunk(), y.last_chunk(), z.last_chunk(), NUMBERS[..z.len()].last_chunk())
        {
            take(x, y, z, number);
        }
        [greatest(high), -greatest(-low)]
    }
}

/// All full fours that begin before the last element.
pub(super) fn fours(values: &[f64]) -> impl Iterator<Item = &[f64; 4]> {
    values[..values.len() - 1].as_chunks().0.iter()
}

#[inline(always)]
pub(super) fn greatest(values: f64x4) -> f64 {
    let [a, b, c, d] = values.to_array();
    let greater = |a: f64, b: f64| if a > b { a } else { b };
    greater(greater(a, c), greater(b, d))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_philox::Philox;

    /// Coordinates on a coarse raster and few heights: lines, coincident points and ties abound.
    fn set(draws: &mut Philox, n_points: usize) -> [Vec<f64>; 3] {
        let mut column = |levels: u32| -> Vec<f64> {
            let half = f64::from(levels - 1) / 2.0;
            (0..n_points).map(|_| f64::from(draws.random_range(0..levels)) / half - 1.0).collect()
        };
        let [mut x, mut y, z] = [column(7), column(5), column(4)];
        [x[0], x[1], x[2], x[3]] = [-1.0, 1.0, -1.0, 1.0];
        [y[0], y[1], y[2], y[3]] = [-1.0, 1.0, 1.0, -1.0];
        [x, y, z]
    }

    #[test]
    fn the_inverse_stays_one_through_exchanges() {
        let mut draws = Philox::seed_from_u64(2);
        for _ in 0..300 {
            let [x, y, z] = set(&mut draws, 40);
            let points = Points { x: &x, y: &y, z: &z };
            let mut basis = Basis::balanced(&x, &y, [0, 1, 2, 3]).with_heights(&z);
            basis.settle(points, &mut 100);
            for (lane, (&at, &sign)) in basis.at.iter().zip(&basis.sign).enumerate() {
                let share = basis.share(x[at], y[at], sign).to_array();
                for (k, share) in share.into_iter().enumerate() {
                    assert!((share - f64::from(u8::from(k == lane))).abs() < 1e-12, "{share}");
                }
                let off = sign * (z[at] - basis.plane.at(x[at], y[at]));
                assert!((off - basis.plane.half).abs() < 1e-12, "{off}");
            }
            let afresh = Basis::exact(points, basis.at, basis.sign);
            assert!(afresh.plane.difference(&basis.plane) < 1e-13);
            assert!((afresh.inverse[3] - basis.inverse[3]).abs().simd_lt(f64x4::splat(1e-12)).all());
        }
    }

    /// Both ways to settle reach the same bound, from whichever basis and through all ties.
    #[test]
    fn settling_afresh_gives_the_same_zone() {
        let mut draws = Philox::seed_from_u64(3);
        for n_points in (4..64).chain(4..64).chain(4..64) {
            let [x, y, z] = set(&mut draws, n_points);
            let points = Points { x: &x, y: &y, z: &z };
            let mut quick = Basis::balanced(&x, &y, [0, 1, 2, 3]).with_heights(&z);
            let mut careful = Basis::balanced(&x, &y, [3, 1, 0, 2]).with_heights(&z);
            quick.settle(points, &mut 100);
            careful.settle_afresh(points);
            for basis in [&quick, &careful] {
                let out = (0..n_points).map(|i| (z[i] - basis.plane.at(x[i], y[i])).abs());
                let out = out.fold(0.0, f64::max);
                assert!((out - careful.plane.half).abs() < 1e-12, "{out} {basis:?}");
            }
        }
    }

    #[test]
    fn extremes_are_those_of_a_plain_search() {
        let mut draws = Philox::seed_from_u64(4);
        for n_points in 4..=BLOCK {
            let mut column = || (0..n_points).map(|_| 2.0 * draws.random::<f64>() - 1.0).collect::<Vec<_>>();
            let [x, y, z] = [column(), column(), column()];
            let residual = |i: &usize| z[*i] - 0.3 * x[*i] + 0.7 * y[*i];
            let by_residual = |a: &usize, b: &usize| residual(a).total_cmp(&residual(b));
            let [high, low] = Points { x: &x, y: &y, z: &z }.extremes([0.3, -0.7]);
            assert_eq!(Some(number(high)), (0..n_points).max_by(by_residual));
            assert_eq!(Some(number(low)), (0..n_points).min_by(by_residual));
            assert!((high - residual(&number(high))).abs() < 4e-14);
            assert!((low - residual(&number(low))).abs() < 4e-14);
        }
    }
}
