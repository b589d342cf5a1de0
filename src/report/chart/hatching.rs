//! A part of a plate that is hatched on its map.

use super::super::picture::{Manner, Picture, Point};
use super::super::style::{HAIR, INK, PAPER};
use super::axis::Frame;
use super::contour::rings;

/// Where a map is hatched: lines tell it from what lies below without any colour.
#[derive(Debug, Clone, PartialEq)]
pub struct Hatched {
    /// Grid lines along the plate's long side, rising.
    pub x: Vec<f64>,
    /// Grid lines from the front edge backwards, rising.
    pub y: Vec<f64>,
    /// Hatched where this is 0 or more, at (`x[i]`, `y[j]`) as `above[j * x.len() + i]`.
    pub above: Vec<f64>,
    /// What the hatching means.
    pub what: String,
}

/// Distance between lines, px.
const SPACING: f64 = 8.0;

impl Hatched {
    /// Lines at 45° over the hatched part, and its outline; each with a rim of paper, to be read on any ground.
    pub(super) fn draw(&self, picture: &mut Picture, frame: &Frame) {
        let areas: Vec<Vec<Point>> = rings(&self.x, &self.y, &self.above, 0.0)
            .iter()
            .map(|ring| ring.points.iter().map(|p| frame.at(p[0], p[1])).collect())
            .collect();
        let lines = lines_over(&areas);
        picture.layer(Manner::Plain, |ink| {
            for (colour, width) in [(PAPER, 2.5), (INK, HAIR)] {
                for line in &lines {
                    ink.line(line, colour, width);
                }
                for area in &areas {
                    ink.outline(area, colour, width);
                }
            }
        });
    }
}

/// The parts of lines `x − y = constant` that lie in an area given by closed rings; a ring inside another is a hole.
fn lines_over(areas: &[Vec<Point>]) -> Vec<[Point; 2]> {
    let across = |(x, y): Point| x - y;
    let sides =
        || areas.iter().flat_map(|area| area.iter().copied().zip(area.iter().copied().cycle().skip(1)));
    let ends = sides()
        .map(|(a, _)| across(a))
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if ends.0 > ends.1 {
        return Vec::new();
    }
    let step = SPACING * std::f64::consts::SQRT_2;
    let mut found = Vec::new();
    let mut at = (ends.0 / step).ceil() * step;
    while at <= ends.1 {
        let crossing = |(a, b): (Point, Point)| {
            let (from, to) = (across(a) - at, across(b) - at);
            let t = from / (from - to);
            ((from < 0.0) != (to < 0.0)).then_some((a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1)))
        };
        let mut crossings: Vec<Point> = sides().filter_map(crossing).collect();
        crossings.sort_by(|a, b| a.0.total_cmp(&b.0));
        found.extend(crossings.as_chunks::<2>().0.iter().copied());
        at += step;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A square of 80 px with a hole of 40 px: what is drawn is its area over the spacing, to a line's width.
    #[test]
    fn lines_fill_the_area_and_spare_its_holes() {
        let square = |low: f64, high: f64| vec![(low, low), (high, low), (high, high), (low, high)];
        let drawn = lines_over(&[square(0.0, 80.0), square(20.0, 60.0)]);
        let length: f64 = drawn.iter().map(|[a, b]| libm::hypot(b.0 - a.0, b.1 - a.1)).sum();
        let area = 80.0 * 80.0 - 40.0 * 40.0;
        assert!((length * SPACING / area - 1.0).abs() < 0.02, "{}", length * SPACING);
        let middle = drawn.iter().map(|[a, b]| ((a.0 + b.0) / 2.0, (a.1 + b.1) / 2.0));
        for (x, y) in middle {
            assert!(!(20.1..59.9).contains(&x) || !(20.1..59.9).contains(&y), "{x} {y} lies in the hole");
        }
    }
}
