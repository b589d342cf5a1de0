//! Axes: round numbers along a scale, and the frame of a chart.

use super::super::number::{Digits, typeset};
use super::super::picture::{Anchor, Face, Ink, Point};
use super::super::style::{EDGE, GRID, HAIR, INK, LABEL, MUTED, THIN, TICK};

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
        let step = round_step((high - low) / n.max(2) as f64);
        let first = (low / step - 1e-9).ceil();
        let last = (high / step + 1e-9).floor();
        let values = (0..=(last - first).max(0.0) as usize).map(|i| (first + i as f64) * step).collect();
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

    /// As many ticks as leave air between labels on a horizontal axis of this length, px.
    pub fn across(low: f64, high: f64, length: f64) -> Ticks {
        let mut n = 11;
        loop {
            let ticks = Ticks::new(low, high, n);
            let apart = length * ticks.step / (high - low);
            if n == 2 || ticks.width() + 18.0 <= apart {
                return ticks;
            }
            n -= 1;
        }
    }
}

/// The next number of the form 1, 2 or 5 times a power of ten that is not below `step` (> 0).
pub(super) fn round_step(step: f64) -> f64 {
    let power = libm::pow(10.0, libm::log10(step).floor());
    // A hair below counts as equal, since step/power carries rounding errors.
    let size = step / power * (1.0 - 1e-9);
    [1.0, 2.0, 5.0].into_iter().find(|&nice| size <= nice).unwrap_or(10.0) * power
}

fn digits_of(step: f64, largest: f64) -> Digits {
    let power = (libm::log10(step) + 1e-9).floor() as i32;
    if power < -6 || largest >= 1e7 {
        // Enough to tell neighbours apart.
        let figures = libm::log10(largest / step).max(0.0) as usize + 2;
        return Digits::Significant(figures.min(8));
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
        for &value in &y.values {
            ink.text((self.left() - 8.0, self.y.at(value)), Anchor::End, &TICK_FACE, &y.label(value));
        }
        let y_title = LABEL_FACE.fit(y_title, self.bottom() - self.top() + 30.0);
        ink.text_upwards((EDGE + 5.0, (self.top() + self.bottom()) / 2.0), &LABEL_FACE, &y_title);
        self.x_axis(ink, x, x_title);
    }

    /// The horizontal axis with its numbers and title.
    pub fn x_axis(&self, ink: &mut Ink, x: &Ticks, title: &str) {
        let y = self.bottom();
        ink.line(&[(self.left(), y), (self.right(), y)], INK, THIN);
        for &value in &x.values {
            let at = self.x.at(value);
            ink.line(&[(at, y), (at, y + 5.0)], INK, THIN);
            ink.text((at, y + 15.0), Anchor::Middle, &TICK_FACE, &x.label(value));
        }
        let title = LABEL_FACE.fit(title, self.right() - EDGE);
        ink.text(((self.left() + self.right()) / 2.0, y + 36.0), Anchor::Middle, &LABEL_FACE, &title);
    }
}

/// "spread minus true flatness, µm"; no comma where there is no unit.
pub(super) fn with_unit(label: &str, unit: &str) -> String {
    if unit.is_empty() { label.to_string() } else { format!("{label}, {unit}") }
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
    fn ticks_lie_within_and_include_round_ends() {
        let ticks = Ticks::new(-0.3, 0.3, 6);
        let labels: Vec<String> = ticks.values.iter().map(|&v| ticks.label(v)).collect();
        assert_eq!(labels, ["−0.3", "−0.2", "−0.1", "0.0", "0.1", "0.2", "0.3"]);
        let tiny = Ticks::new(0.0, 3e-9, 4);
        assert_eq!(tiny.label(tiny.values[1]), "1.0×10⁻⁹");
    }
}
