//! Flatness deviation: the minimum zone of heights over points of a plate.
//!
//! The smallest distance between two parallel planes that hold all points between them is the
//! flatness deviation (ISO 1101:2017, 17.3; ISO 12781-1:2011). Finding it is a linear programme in
//! three unknowns and is solved here exactly.

use super::{
    exchange::{BLOCK, Basis, Off, Plane, Points, level, number},
    frame::{Frame, far_apart},
};
use std::{error::Error, fmt};
use wide::f64x4;

/// The minimum zone over a fixed set of points, prepared once for any number of sets of heights.
///
/// ```
/// # use howflat::shop::flatness::{FlatnessError, MinimumZone};
/// // Three corners of a triangle, and a point over its middle that stands 5 µm proud.
/// let zone = MinimumZone::new(&[[0.0, 0.0], [300.0, 0.0], [0.0, 300.0], [100.0, 100.0]])?;
/// let flatness = zone.solve(&[0.0, 0.0, 0.0, 5.0], &mut zone.scratch()).flatness;
/// assert_eq!(flatness, 5.0);
/// # Ok::<(), FlatnessError>(())
/// ```
#[derive(Debug, Clone)]
pub struct MinimumZone {
    /// Plan coordinates inside `frame`.
    x: Vec<f64>,
    y: Vec<f64>,
    frame: Frame,
    /// Four points to begin with, far apart, at height 0.
    start: Basis,
}

/// The two planes that hold all points between them, as close as they can be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zone {
    /// Their distance, in the unit of the heights; NaN when a height was not finite.
    pub flatness: f64,
    /// `[a, b, c]` of the plane halfway between them, `a + b x + c y`: the unit of the heights, and
    /// that unit per millimetre twice.
    pub plane: [f64; 3],
    /// The points that hold the planes apart.
    pub contacts: [Contact; 4],
}

/// A point that touches one of the planes of a zone.
///
/// The multipliers of the contacts above add up to 1, so do those below, and the mean of the ones
/// above, so weighted, lies over the mean of the ones below: no tilt can bring the planes closer.
/// They also say how the flatness grows when a contact rises out of the zone: by its multiplier
/// times the rise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contact {
    /// Which point, in the order they were given.
    pub point: usize,
    /// Whether it touches the upper plane.
    pub is_above: bool,
    /// Its share in holding the planes apart, 0 to 1. 0: it touches, but holds nothing.
    pub multiplier: f64,
}

/// Two bounds on the minimum zone of some heights, found without regard to how it was solved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Certificate {
    /// No pair of planes is closer: the height of the upper contacts' mean over the lower ones'.
    pub lower: f64,
    /// The distance of two planes, parallel to the zone's, that hold all points.
    pub upper: f64,
    /// How far the multipliers are from proving `lower`: by what they miss 1 in sum, a contact's
    /// is below 0, or the two means lie apart (in half extents of the points).
    pub defect: f64,
}

/// Why points do not determine a zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlatnessError {
    /// Fewer than three points, or than three nodes each way.
    TooFewPoints,
    /// All points on one line, within a hundred-thousandth of its length.
    OnOneLine,
    /// A coordinate or height that is not a finite number.
    NotFinite,
}

/// Working memory for [`MinimumZone::solve`]; nothing is remembered in it.
#[derive(Debug, Clone)]
pub struct Scratch {
    shortlist: Shortlist,
    /// The zone's points, for [`MinimumZone::solve_with`] to add others behind.
    x: Vec<f64>,
    y: Vec<f64>,
    z: Vec<f64>,
}

/// Exchanges before short cuts are given up. Five are usual, for a thousand points.
const PATIENCE: u32 = 200;

impl MinimumZone {
    /// Prepares the zone of heights at these points, `[x, y]` in mm. Points may coincide.
    pub fn new(points: &[[f64; 2]]) -> Result<Self, FlatnessError> {
        let at = far_apart(points)?;
        let frame = Frame::around(points);
        let (x, y): (Vec<f64>, Vec<f64>) = points.iter().map(|&point| frame.inside(point).into()).unzip();
        let start = Basis::balanced(&x, &y, at);
        Ok(Self { x, y, frame, start })
    }

    /// Working memory for [`Self::solve`].
    pub fn scratch(&self) -> Scratch {
        Scratch {
            shortlist: Shortlist {
                x: [0.0; BLOCK],
                y: [0.0; BLOCK],
                z: [0.0; BLOCK],
                point: [0; BLOCK],
                len: 0,
            },
            x: self.x.clone(),
            y: self.y.clone(),
            z: Vec::new(),
        }
    }

    /// The minimum zone of `heights`, one for each point in the order they were given, in any unit.
    ///
    /// Exact to about 1e-13 of the largest height (tilt included; up to 1e300), and to 1e-10 where
    /// points crowd within a hundred-thousandth of the plate. Allocates nothing, and depends on the
    /// heights alone, not on what was solved before. A height that is not finite makes the result NaN.
    ///
    /// # Panics
    ///
    /// If there are not as many heights as points.
    pub fn solve(&self, heights: &[f64], scratch: &mut Scratch) -> Zone {
        assert_eq!(heights.len(), self.x.len(), "one height for each point");
        self.solve_points(Points { x: &self.x, y: &self.y, z: heights }, &mut scratch.shortlist)
    }

    /// [`Self::solve`] with further points, `[x mm, y mm, height]`, that are these heights' alone. As
    /// contacts they count on from the zone's own.
    ///
    /// # Panics
    ///
    /// If there are not as many heights as points of the zone.
    pub fn solve_with(&self, heights: &[f64], further: &[[f64; 3]], scratch: &mut Scratch) -> Zone {
        if further.is_empty() {
            return self.solve(heights, scratch);
        }
        assert_eq!(heights.len(), self.x.len(), "one height for each point");
        let Scratch { shortlist, x, y, z } = scratch;
        x.truncate(heights.len());
        y.truncate(heights.len());
        z.clear();
        z.extend_from_slice(heights);
        for &[at_x, at_y, height] in further {
            let [inside_x, inside_y] = self.frame.inside([at_x, at_y]);
            x.push(inside_x);
            y.push(inside_y);
            z.push(height);
        }
        self.solve_points(Points { x, y, z }, shortlist)
    }

    #[inline(always)]
    fn solve_points(&self, all: Points, shortlist: &mut Shortlist) -> Zone {
        let heights = all.z;
        if !all_finite(heights) {
            return Zone::undefined();
        }
        let mut basis = self.start.with_heights(heights);
        let mut patience = PATIENCE;
        loop {
            match heights.len() {
                3 => (),
                4..=BLOCK => basis.settle(all, &mut patience),
                _ => shortlist.settle(all, &mut basis, &mut patience),
            }
            let (plane, multipliers) = level(all, basis.at, basis.sign);
            let is_feasible = multipliers.simd_gt(f64x4::splat(-1e-12)).all();
            if is_feasible && plane.difference(&basis.plane) <= 4.0 * plane.tolerance() {
                return self.zone(&basis, plane, multipliers);
            }
            if !is_feasible || patience == 0 {
                break;
            }
            // Rounding has led the exchanges astray: on from here without it.
            basis = Basis::exact(all, basis.at, basis.sign);
        }
        let mut basis = self.start.with_heights(heights);
        basis.settle_afresh(all);
        let (plane, multipliers) = level(all, basis.at, basis.sign);
        self.zone(&basis, plane, multipliers)
    }

    /// Checks a zone of `heights`: it is right if the two bounds agree and the defect is next to 0.
    ///
    /// # Panics
    ///
    /// If there are not as many heights as points.
    pub fn certify(&self, heights: &[f64], zone: &Zone) -> Certificate {
        assert_eq!(heights.len(), self.x.len(), "one height for each point");
        let inside = self.frame.plane_inside(zone.plane);
        let residual = |i: usize| heights[i] - (inside[0] + inside[1] * self.x[i] + inside[2] * self.y[i]);
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for i in 0..heights.len() {
            low = low.min(residual(i));
            high = high.max(residual(i));
        }
        let mut lower = 0.0;
        let mut sums = [0.0, 0.0];
        let mut apart = [0.0, 0.0];
        let mut defect = 0.0_f64;
        for contact in &zone.contacts {
            let (point, multiplier) = (contact.point, contact.multiplier);
            let signed = if contact.is_above { multiplier } else { -multiplier };
            lower += signed * residual(point);
            sums[usize::from(contact.is_above)] += multiplier;
            apart[0] += signed * self.x[point];
            apart[1] += signed * self.y[point];
            defect = defect.max(-multiplier);
        }
        for off in [sums[0] - 1.0, sums[1] - 1.0, apart[0], apart[1]] {
            defect = defect.max(off.abs());
        }
        Certificate { lower, upper: high - low, defect }
    }

    #[inline(always)]
    fn zone(&self, basis: &Basis, plane: Plane, multipliers: f64x4) -> Zone {
        let multipliers = multipliers.fast_max(f64x4::ZERO).to_array();
        let contact = |k: usize| Contact {
            point: basis.at[k],
            is_above: basis.sign[k] > 0.0,
            // Of λ, the contacts on each side have half between them.
            multiplier: 2.0 * multipliers[k],
        };
        Zone {
            flatness: 2.0 * plane.half.abs(),
            plane: self.frame.plane_outside([plane.offset, plane.slope[0], plane.slope[1]]),
            contacts: [contact(0), contact(1), contact(2), contact(3)],
        }
    }
}

/// The minimum zone of points `[x, y, height]`, once: x and y in mm, heights in any unit and measured
/// along the vertical. For many sets of heights over the same points, prepare a [`MinimumZone`]; for
/// points that slope so much that vertical is not square to them, see
/// [`least_width`](super::least_width::least_width).
pub fn flatness(points: &[[f64; 3]]) -> Result<Zone, FlatnessError> {
    let heights: Vec<f64> = points.iter().map(|point| point[2]).collect();
    if !all_finite(&heights) {
        return Err(FlatnessError::NotFinite);
    }
    let plan: Vec<[f64; 2]> = points.iter().map(|&[x, y, _]| [x, y]).collect();
    let zone = MinimumZone::new(&plan)?;
    Ok(zone.solve(&heights, &mut zone.scratch()))
}

impl fmt::Display for FlatnessError {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(match self {
            Self::TooFewPoints => "fewer points than it takes to tell flatness",
            Self::OnOneLine => "all points are on one line: they show straightness, not flatness",
            Self::NotFinite => "a coordinate or height is not a finite number",
        })
    }
}

impl Error for FlatnessError {}

impl Zone {
    fn undefined() -> Self {
        let contact = Contact { point: 0, is_above: false, multiplier: f64::NAN };
        Self { flatness: f64::NAN, plane: [f64::NAN; 3], contacts: [contact; 4] }
    }
}

fn all_finite(values: &[f64]) -> bool {
    // What is finite gives 0 when multiplied by 0; anything else gives NaN, and so does the sum.
    let (chunks, rest) = values.as_chunks::<16>();
    let mut sums = [f64x4::ZERO; 4];
    for chunk in chunks {
        for (sum, four) in sums.iter_mut().zip(chunk.as_chunks().0) {
            *sum += f64x4::new(*four) * f64x4::ZERO;
        }
    }
    let rest: f64 = rest.iter().map(|value| value * 0.0).sum();
    (sums[0] + sums[1] + sums[2] + sums[3]).reduce_add() + rest == 0.0
}

/// The few points of many that have been out of the zone so far, gathered together.
///
/// The zone of the shortlist is cheap to find. A look at all points then adds those that are out
/// of it, and so on until none is.
#[derive(Debug, Clone)]
struct Shortlist {
    x: [f64; BLOCK],
    y: [f64; BLOCK],
    z: [f64; BLOCK],
    point: [usize; BLOCK],
    len: usize,
}

/// A look at all points adds at most the highest and the lowest of each of this many parts.
const PARTS: usize = 8;

impl Shortlist {
    /// Settles `basis` on all points, by way of the list. In and out, `basis.at` counts within all.
    fn settle(&mut self, all: Points, basis: &mut Basis, patience: &mut u32) {
        self.restart(all, basis);
        while let Some(furthest) = self.add_those_out(all, &basis.plane) {
            let listed = Points { x: &self.x, y: &self.y, z: &self.z }.slice(0, self.len);
            if !basis.take_in(listed, furthest, patience) {
                break;
            }
            basis.settle(listed, patience);
            if self.len + 2 * PARTS > BLOCK {
                basis.at = basis.at.map(|listed| self.point[listed]);
                self.restart(all, basis);
            }
        }
        basis.at = basis.at.map(|listed| self.point[listed]);
    }

    /// Lists the points of the basis and no others.
    fn restart(&mut self, all: Points, basis: &mut Basis) {
        self.len = 0;
        for point in basis.at {
            self.push(all, point, true);
        }
        basis.at = [0, 1, 2, 3];
    }

    /// Lists a point on a condition. It is written in any case: cheaper than a branch that cannot be
    /// predicted.
    #[inline(always)]
    fn push(&mut self, all: Points, point: usize, condition: bool) {
        self.x[self.len] = all.x[point];
        self.y[self.len] = all.y[point];
        self.z[self.len] = all.z[point];
        self.point[self.len] = point;
        self.len += usize::from(condition);
    }

    /// Looks through all points for the highest and lowest of each part, and lists the ones that are
    /// out of the zone. Returns the one that is furthest out, as a place in the list.
    fn add_those_out(&mut self, all: Points, plane: &Plane) -> Option<Off> {
        let limit = plane.half + 2.0 * plane.tolerance();
        let before = self.len;
        let mut furthest = Off { point: 0, side: 1.0, by: 0.0 };
        let n_points = all.z.len();
        let n_blocks = n_points.div_ceil(BLOCK);
        let blocks_in_part = n_blocks.div_ceil(PARTS);
        for part in (0..n_blocks).step_by(blocks_in_part) {
            let (mut high, mut low) = ((f64::NEG_INFINITY, 0), (f64::INFINITY, 0));
            for block in part..n_blocks.min(part + blocks_in_part) {
                // The last block laps over the one before.
                let start = (block * BLOCK).min(n_points - BLOCK);
                let [highest, lowest] = all.slice(start, BLOCK).extremes(plane.slope);
                high = if highest > high.0 { (highest, start) } else { high };
                low = if lowest < low.0 { (lowest, start) } else { low };
            }
            for ((numbered, start), side) in [(high, 1.0), (low, -1.0)] {
                let off = Off { point: self.len, side, by: side * (numbered - plane.offset) };
                furthest = if off.by > furthest.by { off } else { furthest };
                self.push(all, start + number(numbered), off.by > limit);
            }
        }
        (self.len > before).then_some(furthest)
    }
}
