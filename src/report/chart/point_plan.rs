//! Measured points seen from above, in the colour of their height, and the ones that touch the zone's planes.

use super::super::picture::{Anchor, Face, Manner, Picture, Svg};
use super::super::style::{EDGE, INK, LABEL, PAPER, WIDTH, height_colour};
use super::super::text::with_unit;
use super::axis::{Axis, Frame, Ticks};
use super::header::{Header, Swatch};
use super::shown;

/// A plan of points.
pub struct PointPlan<'a> {
    /// Title of the picture.
    pub title: &'a str,
    /// Unit of x and y as written.
    pub plan_unit: &'a str,
    /// `[x, y, level]` of the points to draw; level from 0 (lowest) to 1 (highest).
    pub points: &'a [[f64; 3]],
    /// The touching points: `[x, y]`, whether it touches the upper plane, and its name.
    pub contacts: &'a [([f64; 2], bool, String)],
}

impl PointPlan<'_> {
    /// The picture as an SVG document.
    pub fn svg(&self) -> Svg {
        let all = || self.points.iter().map(|&[x, y, _]| [x, y]).chain(self.contacts.iter().map(|c| c.0));
        let ends = |axis: usize| {
            let values = all().map(|at| at[axis]).filter(|value| shown(*value));
            let (low, high) =
                values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
            if low < high { [low, high] } else { [0.0, 1.0] }
        };
        let [[left, right], [front, back]] = [ends(0), ends(1)];
        let keys = vec![
            (Swatch::Fill(height_colour(0.0)), "low".to_string()),
            (Swatch::Fill(height_colour(1.0)), "high".to_string()),
            (Swatch::Outline(PAPER, INK), "touching points, by line".to_string()),
        ];
        let header = Header::new(self.title, keys);
        let height = ((WIDTH - 140.0) * (back - front) / (right - left)).clamp(120.0, 560.0);
        let y_ticks = Ticks::down(front, back, height);
        let from = Frame::left_for(&y_ticks);
        let to = WIDTH - EDGE - 8.0;
        let x_ticks = Ticks::across(left, right, to - from);
        let room = [0.05 * (right - left), 0.06 * (back - front)];
        let begin = header.height() + 12.0;
        let frame = Frame {
            x: Axis { low: left - room[0], high: right + room[0], from, to },
            y: Axis { low: front - room[1], high: back + room[1], from: begin + height, to: begin },
        };
        let mut picture = Picture::new(WIDTH, frame.bottom() + 54.0);
        header.draw(&mut picture);
        picture.layer(Manner::Plain, |ink| {
            frame.grid(ink, &y_ticks);
            let size = if self.points.len() > 400 { 2.0 } else { 4.5 };
            for &[x, y, level] in self.points.iter().filter(|point| point.iter().all(|v| shown(*v))) {
                ink.disc(frame.at(x, y), size + 0.75, INK);
                ink.disc(frame.at(x, y), size, height_colour(level));
            }
            let axis = |name: &str| with_unit(name, self.plan_unit);
            frame.axes(ink, &x_ticks, &y_ticks, &axis("x"), &axis("y"));
        });
        let face = Face::new(LABEL, INK).bold();
        picture.layer(Manner::Halo, |ink| {
            for ([x, y], is_above, name) in self.contacts {
                let (x, y) = frame.at(*x, *y);
                let side = if *is_above { -1.0 } else { 1.0 };
                ink.circle((x, y), 8.0, INK, 2.0);
                let anchor = if x > 0.8 * WIDTH { Anchor::End } else { Anchor::Start };
                let offset = if x > 0.8 * WIDTH { -11.0 } else { 11.0 };
                ink.text((x + offset, y + 9.0 * side), anchor, &face, name);
            }
        });
        let names: Vec<&str> = self.contacts.iter().map(|contact| contact.2.as_str()).collect();
        let description = format!(
            "{} points seen from above, coloured by height. Marked: {}.",
            self.points.len(),
            names.join(", ")
        );
        picture.finish(self.title, &description)
    }
}
