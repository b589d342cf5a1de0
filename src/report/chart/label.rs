//! Places for labels, so that none covers another.

use super::super::picture::{Anchor, Face, Manner, Picture, Point};
use super::super::style::{EDGE, INK, THIN, WIDTH};
use super::Mark;
use super::axis::{Axis, LABEL_FACE};

/// A rectangle in the picture: left, top, right, bottom, px.
pub(super) type Area = [f64; 4];

/// The area a label takes whose middle is here.
pub(super) fn area_of(face: &Face, text: &str, (x, y): Point) -> Area {
    let (half, height) = (face.width(text) / 2.0 + 3.0, face.size * 0.68);
    [x - half, y - height, x + half, y + height]
}

/// Which areas are taken already.
pub(super) struct Places {
    within: Area,
    taken: Vec<Area>,
}

impl Places {
    /// All of `within` is free.
    pub fn new(within: Area) -> Places {
        Places { within, taken: Vec::new() }
    }

    /// Nothing else shall lie here.
    pub fn take(&mut self, area: Area) {
        self.taken.push(area);
    }

    /// Takes the dots of a line, `apart` px from each other at most.
    pub fn take_line(&mut self, points: &[Point], apart: f64) {
        for pair in points.windows(2) {
            let [(x0, y0), (x1, y1)] = [pair[0], pair[1]];
            let n = (libm::hypot(x1 - x0, y1 - y0) / apart).ceil().clamp(1.0, 10_000.0) as usize;
            for i in 0..=n {
                let t = i as f64 / n as f64;
                let (x, y) = (x0 + (x1 - x0) * t, y0 + (y1 - y0) * t);
                self.take([x - 1.0, y - 1.0, x + 1.0, y + 1.0]);
            }
        }
    }

    /// How much of an area is taken, px²; infinite where it leaves the picture.
    pub fn taken_of(&self, area: Area) -> f64 {
        let [left, top, right, bottom] = area;
        let [l, t, r, b] = self.within;
        if left < l || top < t || right > r || bottom > b {
            return f64::INFINITY;
        }
        self.taken
            .iter()
            .map(|o| {
                (right.min(o[2]) - left.max(o[0])).max(0.0) * (bottom.min(o[3]) - top.max(o[1])).max(0.0)
            })
            .sum()
    }

    /// Whether an area is free.
    pub fn is_free(&self, area: Area) -> bool {
        self.taken_of(area) == 0.0
    }
}

/// Height of one row of labels above a chart, px.
pub(super) const ROW: f64 = 21.0;

/// Marked values: a line through the chart each, and its label in a row above where it is free.
#[derive(Default)]
pub(super) struct MarkRows {
    /// Where the line stands, where its label begins or ends, and the label.
    placed: Vec<(f64, Point, Anchor, String)>,
    /// Height of all rows, px.
    pub height: f64,
}

impl MarkRows {
    /// Lays out the rows over a horizontal axis; marks off the axis are left out.
    pub fn new(marks: &[Mark], x: &Axis) -> MarkRows {
        let mut rows = MarkRows::default();
        let sheet = [EDGE, 0.0, WIDTH - EDGE, f64::INFINITY];
        let (mut places, mut labels) = (Places::new(sheet), Places::new(sheet));
        for mark in marks.iter().filter(|mark| mark.at >= x.low && mark.at <= x.high) {
            let text = LABEL_FACE.fit(mark.label, (x.to - x.from) / 2.0);
            let (at, width) = (x.at(mark.at), LABEL_FACE.width(&text) + 8.0);
            // The first row in which the label is free, right of its line or left of it.
            let spots = || {
                (0..=marks.len()).flat_map(|row| {
                    let y = (row as f64 + 0.5) * ROW;
                    [(y, Anchor::Start, [at + 1.0, y - 7.0, at + width, y + 7.0])].into_iter().chain([(
                        y,
                        Anchor::End,
                        [at - width, y - 7.0, at - 1.0, y + 7.0],
                    )])
                })
            };
            // Where there is none, across another's line, which the rim of the label hides.
            let free = spots().find(|spot| places.is_free(spot.2));
            let Some((y, anchor, area)) = free.or_else(|| spots().find(|spot| labels.is_free(spot.2))) else {
                continue;
            };
            places.take(area);
            labels.take(area);
            // The line runs on downwards, past labels of later rows.
            places.take([at - 1.0, y, at + 1.0, 1e4]);
            let start = if anchor == Anchor::Start { at + 6.0 } else { at - 6.0 };
            rows.placed.push((at, (start, y), anchor, text));
            rows.height = rows.height.max(y + 0.5 * ROW);
        }
        rows
    }

    /// Draws them, the first row at `top`, the lines down to `bottom`.
    pub fn draw(&self, picture: &mut Picture, top: f64, bottom: f64) {
        picture.layer(Manner::Plain, |ink| {
            for (at, (_, y), ..) in &self.placed {
                ink.line(&[(*at, top + y - 7.0), (*at, bottom)], INK, THIN);
            }
        });
        picture.layer(Manner::Halo, |ink| {
            for (_, (x, y), anchor, text) in &self.placed {
                ink.text((*x, top + y), *anchor, &LABEL_FACE, text);
            }
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_taken_is_not_free() {
        let mut places = Places::new([0.0, 0.0, 100.0, 100.0]);
        places.take([10.0, 10.0, 20.0, 20.0]);
        assert_eq!(places.taken_of([15.0, 15.0, 30.0, 30.0]), 25.0);
        assert!(places.is_free([20.0, 20.0, 30.0, 30.0]));
        assert!(!places.is_free([95.0, 95.0, 105.0, 99.0]));
        places.take_line(&[(50.0, 0.0), (50.0, 100.0)], 2.0);
        assert!(!places.is_free([40.0, 40.0, 60.0, 60.0]));
    }
}
