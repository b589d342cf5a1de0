//! Axes: round numbers along a scale, and the frame of a chart.

use super::super::number::{Digits, typeset};
use super::super::picture::{Anchor, Face, Ink, Point};
use super::super::style::{EDGE, GRID, HAIR, INK, LABEL, MUTED, THIN, TICK, WIDTH};

/// Tick labels.
pub(super) const TICK_FACE: Face = Face::new(TICK, MUTED);
/// Titles of axes, labels of things.
pub(super) const LABEL_FACE: Face = Face::new(LABEL, INK);

/// Values along a line in the picture.
#[derive(Clone, Debug)]
pub(super) struct Axis {
    /// Values at the two ends.
    pub low: f64,
    pub high: f64,
    /// Where the ends are, px.
    pub from: f64,
    pub to: f64,
}

impl Axis {
    /// Where a value is, px.
    pub fn at(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }
}

/// The numbers written along an axis.
#[derive(Clone, Debug)]
pub(super) struct Ticks {
    pub values: Vec<f64>,
    pub step: f64,
    digits: Digits,
}

impl Ticks {
    /// Multiples of 1, 2 or 5 times a power of ten within `low..=high`, at most `n` of them (at least 2).
    pub fn new(low: f64, high: f64, n: usize) -> Ticks {
        let range = high - low;
        let mut step = round_step(range / n.max(2) as f64);
        let within = |step: f64| ((low / step - 1e-9).ceil(), (high / step + 1e-9).floor());
        let (mut first, mut last) = within(step);
        if last - first < 1.0 {
            // Half the range or less: two multiples fit for certain.
            step = round_step(range / 5.0);
            (first, last) = within(step);
        }
        let n = (last - first).max(0.0) as usize;
        let values = (0..=n.min(100)).map(|i| (first + i as f64) * step).collect();
        Ticks { values, step, digits: digits_of(step, low.abs().max(high.abs())) }
    }

    /// The label of one of them.
    pub fn label(&self, value: f64) -> String {
        typeset(value, self.digits)
    }

    /// Width of the widest label, px.
    pub fn width(&self) -> f64 {
        self.values.iter().map(|&v| TICK_FACE.width(&self.label(v))).fold(0.0, f64::max)
    }

    /// As many ticks as leave air between labels on a vertical axis of this length, px.
    pub fn down(low: f64, high: f64, length: f64) -> Ticks {
        let mut ticks = Ticks::new(low, high, ((length / 36.0) as usize).clamp(2, 6));
        if length * ticks.step / (high - low) < 18.0 {
            ticks.values.truncate(1);
        }
        ticks
    }

    /// As many ticks as leave air between labels on a horizontal axis of this length, px.
    pub fn across(low: f64, high: f64, length: f64) -> Ticks {
        let mut n = 11;
        loop {
            let ticks = Ticks::new(low, high, n);
            let apart = length * ticks.step / (high - low);
            if ticks.width() + 18.0 <= apart {
                return ticks;
            }
            if n == 2 {
                return Ticks { values: ticks.values.into_iter().take(1).collect(), ..ticks };
            }
            n -= 1;
        }
    }
}

/// Writes a number below a horizontal axis, its middle here or as near as the picture's edge allows.
pub(super) fn tick_label(ink: &mut Ink, (x, y): Point, label: &str) {
    let half = TICK_FACE.width(label) / 2.0 + 2.0;
    ink.text((x.min(WIDTH - half).max(half), y), Anchor::Middle, &TICK_FACE, label);
}

/// The next number of the form 1, 2 or 5 times a power of ten that is not below `step` (> 0).
pub(super) fn round_step(step: f64) -> f64 {
    let power = libm::pow(10.0, libm::log10(step).floor());
    // A hair below counts as equal, since step/power carries rounding errors.
    let size = step / power * (1.0 - 1e-9);
    [1.0, 2.0, 5.0].into_iter().find(|&nice| size <= nice).unwrap_or(10.0) * power
}

/// Ends of an axis that holds both values, even if they are the same but for rounding.
pub(super) fn ends(low: f64, high: f64) -> [f64; 2] {
    let size = low.abs().max(high.abs());
    let room = match high - low {
        _ if size < 1e-100 => 1.0,
        range if range > 1e-9 * size => 0.0,
        _ => 0.01 * size,
    };
    [low - room, high + room]
}

fn digits_of(step: f64, largest: f64) -> Digits {
    let power = (libm::log10(step) + 1e-9).floor() as i32;
    if power < -6 || largest >= 1e9 {
        // Enough to tell neighbours apart.
        let figures = libm::log10(largest / step).max(0.0) as usize + 2;
        return Digits::Significant(figures.min(12));
    }
    Digits::Decimals((-power).max(0))
}

/// The rectangle between two axes.
#[derive(Clone, Debug)]
pub(super) struct Frame {
    pub x: Axis,
    pub y: Axis,
}

impl Frame {
    /// Where a pair of values is.
    pub fn at(&self, x: f64, y: f64) -> Point {
        (self.x.at(x), self.y.at(y))
    }

    pub fn left(&self) -> f64 {
        self.x.from
    }
    pub fn right(&self) -> f64 {
        self.x.to
    }
    pub fn top(&self) -> f64 {
        self.y.to
    }
    pub fn bottom(&self) -> f64 {
        self.y.from
    }

    /// Horizontal grid lines.
    pub fn grid(&self, ink: &mut Ink, y: &Ticks) {
        for &value in &y.values {
            let at = self.y.at(value);
            ink.line(&[(self.left(), at), (self.right(), at)], GRID, HAIR);
        }
    }

    /// Where the vertical axis stands, beside its title and numbers, px.
    pub fn left_for(y: &Ticks) -> f64 {
        EDGE + 22.0 + y.width() + 8.0
    }

    /// Both axes with their numbers and titles.
    pub fn axes(&self, ink: &mut Ink, x: &Ticks, y: &Ticks, x_title: &str, y_title: &str) {
        self.y_axis(ink, y, y_title);
        self.x_axis(ink, x, x_title);
    }

    /// The vertical axis with its numbers and title.
    pub fn y_axis(&self, ink: &mut Ink, y: &Ticks, title: &str) {
        for &value in &y.values {
            ink.text((self.left() - 8.0, self.y.at(value)), Anchor::End, &TICK_FACE, &y.label(value));
        }
        let title = LABEL_FACE.fit(title, self.bottom() - self.top() + 64.0);
        ink.text_upwards((EDGE + 5.0, (self.top() + self.bottom()) / 2.0), &LABEL_FACE, &title);
    }

    /// The line along the bottom.
    pub fn line_below(&self, ink: &mut Ink) {
        ink.line(&[(self.left(), self.bottom()), (self.right(), self.bottom())], INK, THIN);
    }

    /// The horizontal axis with its numbers and title.
    pub fn x_axis(&self, ink: &mut Ink, x: &Ticks, title: &str) {
        let y = self.bottom();
        self.line_below(ink);
        for &value in &x.values {
            let at = self.x.at(value);
            ink.line(&[(at, y), (at, y + 5.0)], INK, THIN);
            tick_label(ink, (at, y + 15.0), &x.label(value));
        }
        let title = LABEL_FACE.fit(title, self.right() - EDGE);
        ink.text(((self.left() + self.right()) / 2.0, y + 36.0), Anchor::Middle, &LABEL_FACE, &title);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round() {
        for (step, round) in [(1.0, 1.0), (1.1, 2.0), (0.3, 0.5), (0.00021, 0.0005), (6.0, 10.0), (2e7, 2e7)]
        {
            assert!((round_step(step) / round - 1.0).abs() < 1e-12, "{step}");
        }
    }

    #[test]
    fn an_axis_is_never_empty() {
        assert_eq!(ends(0.0, 0.0), [-1.0, 1.0]);
        assert_eq!(ends(100.0, 100.0), [99.0, 101.0]);
        assert_eq!(ends(-1.0, 2.0), [-1.0, 2.0]);
    }

    #[test]
    fn ticks_lie_within_and_include_round_ends() {
        let ticks = Ticks::new(-0.3, 0.3, 6);
        let labels: Vec<String> = ticks.values.iter().map(|&v| ticks.label(v)).collect();
        assert_eq!(labels, ["−0.3", "−0.2", "−0.1", "0.0", "0.1", "0.2", "0.3"]);
        for low in [1.001, 0.9, 7.77, -3.3] {
            let ticks = Ticks::new(low, low + 0.428, 2);
            assert!(ticks.values.len() >= 2, "{ticks:?}");
            assert!(ticks.values.iter().all(|&v| v >= low - 1e-9 && v <= low + 0.428 + 1e-9), "{ticks:?}");
        }
        let tiny = Ticks::new(0.0, 3e-9, 4);
        assert_eq!(tiny.label(tiny.values[1]), "1.0×10⁻⁹");
    }
}
