//! A distribution: bars, outlines of others over it, marked intervals, the density it is compared with.

use super::super::number::{Digits, short, typeset};
use super::super::picture::{Anchor, Ink, Manner, Picture, Point, Svg};
use super::super::style::{BAR, BAR_PALE, BOLD, DASHES, EDGE, HAIR, INK, MUTED, PAPER, SERIES, THIN, WIDTH};
use super::super::text::with_unit;
use super::axis::{Axis, Frame, LABEL_FACE, TICK_FACE, Ticks, round_step};
use super::header::{Header, Swatch};
use super::label::{MarkRows, ROW};
use super::{Mark, axis, shown};

/// A histogram of simulated values.
///
/// The bars say which share of the values falls into each. They hold all values but the outermost
/// half percent on each side, unless an interval reaches further; how many lie outside the picture is written below it.
pub struct Histogram<'a> {
    /// Title of the picture.
    pub title: &'a str,
    /// What the values are: "spread minus true flatness".
    pub axis: &'a str,
    /// Their unit, as written; empty if they have none.
    pub unit: &'a str,
    /// What was counted: "surveys", "trials".
    pub counted: &'a str,
    /// Name of the values drawn as bars.
    pub name: &'a str,
    /// Values drawn as bars; those that are not finite are left out.
    pub values: &'a [f64],
    /// Other distributions, drawn as outlines over the same bars; up to three.
    pub outlines: &'a [Outline<'a>],
    /// Intervals, each with its own line above the bars; the first is also shown by the bars' shade.
    pub intervals: &'a [Interval<'a>],
    /// Single values that are marked by a line through the bars, such as the estimate.
    pub marks: &'a [Mark<'a>],
    /// A density to compare with.
    pub density: Option<Density<'a>>,
    /// Digits of the ends of intervals.
    pub digits: Digits,
}

/// Another distribution, in the unit of the histogram.
pub struct Outline<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its values.
    pub values: &'a [f64],
}

/// An interval of values, such as a coverage interval.
pub struct Interval<'a> {
    /// What it is: "95 %, shortest".
    pub label: &'a str,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// A probability density over the values.
pub struct Density<'a> {
    /// Its name: "normal, from the linear result".
    pub name: &'a str,
    /// Density per unit of the values.
    pub of: &'a dyn Fn(f64) -> f64,
}

const PLOT_HEIGHT: f64 = 250.0;

impl Histogram<'_> {
    /// The picture as an SVG document.
    pub fn svg(&self) -> Svg {
        let bins = Bins::new(self);
        let header = Header::new(self.title, self.keys());
        let strip = Strip::new(self, &bins);
        let top = header.height() + 12.0 + strip.height + strip.marks.height + 10.0;
        let frame = Frame {
            x: strip.x.clone(),
            y: Axis { low: 0.0, high: bins.tallest * 1.04, from: top + PLOT_HEIGHT, to: top },
        };
        let note = bins.outside_note(self.counted);
        let height = frame.bottom() + 50.0 + if note.is_empty() { 0.0 } else { 20.0 };

        let mut picture = Picture::new(WIDTH, height);
        header.draw(&mut picture);
        let y_ticks = Ticks::down(0.0, frame.y.high, PLOT_HEIGHT);
        picture.layer(Manner::Plain, |ink| {
            frame.grid(ink, &y_ticks);
            self.draw_bars(ink, &bins, &frame);
        });
        for (i, outline) in self.outlines.iter().take(SERIES.len() - 1).enumerate() {
            let steps = bins.steps(outline.values, &frame);
            // A rim of paper keeps it visible on the bars.
            picture.layer(Manner::Plain, |ink| ink.line(&steps, PAPER, BOLD + 1.5));
            picture.layer(Manner::Dashed(DASHES[i + 1]), |ink| ink.line(&steps, SERIES[i + 1], BOLD));
        }
        if let Some(density) = &self.density {
            let curve = bins.curve(density, &frame);
            picture.layer(Manner::Plain, |ink| {
                for part in &curve {
                    ink.line(part, SERIES[0], BOLD);
                }
            });
        }
        strip.draw(&mut picture, header.height() + 12.0, &frame);
        picture.layer(Manner::Plain, |ink| {
            let x_ticks = Ticks::across(frame.x.low, frame.x.high, frame.right() - frame.left());
            let width = format!("{} {}", short(bins.width, 3), self.unit);
            let y_title = format!("% of {} in each bar of {}", self.counted, width.trim_end());
            frame.axes(ink, &x_ticks, &y_ticks, &with_unit(self.axis, self.unit), &y_title);
            let note = TICK_FACE.fit(&note, frame.right() - frame.left());
            ink.text((frame.right(), height - 14.0), Anchor::End, &TICK_FACE, &note);
        });
        picture.finish(self.title, &self.description(&bins))
    }

    fn keys(&self) -> Vec<(Swatch, String)> {
        let mut keys = Vec::new();
        if self.outlines.is_empty() && self.density.is_none() {
            return keys;
        }
        keys.push((Swatch::Fill(BAR), self.name.to_string()));
        for (i, outline) in self.outlines.iter().take(SERIES.len() - 1).enumerate() {
            keys.push((Swatch::Line(SERIES[i + 1], DASHES[i + 1]), outline.name.to_string()));
        }
        if let Some(density) = &self.density {
            keys.push((Swatch::Line(SERIES[0], DASHES[0]), density.name.to_string()));
        }
        keys
    }

    fn draw_bars(&self, ink: &mut Ink, bins: &Bins, frame: &Frame) {
        let gap = if frame.x.at(bins.width) - frame.x.at(0.0) > 6.0 { 0.5 } else { 0.0 };
        let whole = Interval { label: "", low: f64::NEG_INFINITY, high: f64::INFINITY };
        let inside = self.intervals.first().unwrap_or(&whole);
        for (i, &share) in bins.shares.iter().enumerate().filter(|(_, share)| **share > 0.0) {
            let (low, high) = (bins.edge(i), bins.edge(i + 1));
            let (left, top) = frame.at(low, share);
            let (right, bottom) = frame.at(high, 0.0);
            let (left, right) = (left + gap, right - gap);
            let (mut from, mut to) = (inside.low.clamp(low, high), inside.high.clamp(low, high));
            // A bar that stands for one reading is in or out as a whole.
            if bins.is_stepped {
                let middle = (low + high) / 2.0;
                let is_in =
                    inside.low <= middle + 1e-6 * bins.width && middle - 1e-6 * bins.width <= inside.high;
                (from, to) = if is_in { (low, high) } else { (low, low) };
            }
            let (from, to) = (frame.x.at(from).max(left), frame.x.at(to).min(right));
            if to - from < right - left {
                ink.rect([left, top, right, bottom], BAR_PALE);
            }
            if to > from {
                ink.rect([from, top, to, bottom], BAR);
            }
        }
    }

    fn description(&self, bins: &Bins) -> String {
        let mut text = format!("Histogram of {}", with_unit(self.axis, self.unit));
        if bins.n == 0 {
            return text + ": no values.";
        }
        text += &format!(" for {} {}.", bins.n, self.counted);
        for interval in self.intervals {
            text += &format!(" {}.", interval_text(interval, self.unit, self.digits));
        }
        for mark in self.marks {
            text += &format!(" {}.", mark.label);
        }
        for outline in self.outlines {
            text += &format!(" Outline: {}.", outline.name);
        }
        if let Some(density) = &self.density {
            text += &format!(" Curve: {}.", density.name);
        }
        text
    }
}

fn interval_text(interval: &Interval, unit: &str, digits: Digits) -> String {
    let (low, high) = (typeset(interval.low, digits), typeset(interval.high, digits));
    format!("{}: {low} to {high} {unit}", interval.label).trim_end().to_string()
}

/// Equal bins between round numbers.
struct Bins {
    first: f64,
    width: f64,
    shares: Vec<f64>,
    /// Largest share or density ordinate, percent.
    tallest: f64,
    n: usize,
    n_outside: usize,
    /// Whether each bin holds one step of values that come in steps.
    is_stepped: bool,
}

impl Bins {
    fn new(chart: &Histogram) -> Bins {
        let values = sorted(chart.values);
        let (mut low, mut high) = central(&values);
        for outline in chart.outlines.iter().take(SERIES.len() - 1) {
            let (l, h) = central(&sorted(outline.values));
            (low, high) = (low.min(l), high.max(h));
        }
        let ends =
            chart.intervals.iter().flat_map(|i| [i.low, i.high]).chain(chart.marks.iter().map(|m| m.at));
        for end in ends.filter(|&end| shown(end)) {
            (low, high) = (low.min(end), high.max(end));
        }
        if low > high {
            (low, high) = (0.0, 0.0);
        }
        let [low, high] = axis::ends(low, high);
        let step = step_of(&values);
        let (offset, width) = bin_width(&values, step, low, high);
        let first = ((low - offset) / width + 1e-9).floor() * width + offset;
        let n_bins = ((high - first) / width - 1e-9).ceil().max(1.0) as usize;
        let mut bins = Bins {
            first,
            width,
            shares: vec![0.0; n_bins],
            tallest: 0.0,
            n: values.len(),
            n_outside: 0,
            is_stepped: step == Some(width),
        };
        let (shares, n_outside) = bins.count(&values);
        (bins.shares, bins.n_outside) = (shares, n_outside);
        let mut tallest = bins.shares.iter().copied().fold(0.0, f64::max);
        for outline in chart.outlines.iter().take(SERIES.len() - 1) {
            tallest = bins.count(outline.values).0.into_iter().fold(tallest, f64::max);
        }
        let bars = tallest;
        if let Some(density) = &chart.density {
            let n = 4 * n_bins;
            let ordinates = (0..=n).map(|i| bins.ordinate(density, i as f64 / n as f64));
            // A density far taller than the bars must not flatten them.
            tallest = ordinates.filter(|d| d.is_finite()).fold(tallest, f64::max).min(2.0 * bars.max(1e-6));
        }
        bins.tallest = if tallest > 0.0 { tallest } else { 1.0 };
        bins
    }

    fn edge(&self, i: usize) -> f64 {
        self.first + i as f64 * self.width
    }

    fn end(&self) -> f64 {
        self.edge(self.shares.len())
    }

    /// Percent of the values in each bin, and how many are in none.
    fn count(&self, values: &[f64]) -> (Vec<f64>, usize) {
        let mut counts = vec![0_usize; self.shares.len()];
        let (mut n, mut n_outside) = (0, 0);
        for value in values.iter().copied().filter(|&v| shown(v)) {
            n += 1;
            let place = (value - self.first) / self.width;
            if place < 0.0 || value > self.end() {
                n_outside += 1;
            } else {
                counts[(place as usize).min(self.shares.len() - 1)] += 1;
            }
        }
        let shares = counts.iter().map(|&c| 100.0 * c as f64 / n.max(1) as f64).collect();
        (shares, n_outside)
    }

    /// The outline of another distribution's bars.
    fn steps(&self, values: &[f64], frame: &Frame) -> Vec<Point> {
        let (shares, _) = self.count(values);
        // Tails that would only draw over the axis are left out.
        let seen = |share: &f64| frame.y.at(0.0) - frame.y.at(*share) > 0.5;
        let (Some(first), Some(last)) = (shares.iter().position(seen), shares.iter().rposition(seen)) else {
            return Vec::new();
        };
        let mut steps = vec![frame.at(self.edge(first), 0.0)];
        for (i, &share) in shares.iter().enumerate().take(last + 1).skip(first) {
            steps.push(frame.at(self.edge(i), share));
            steps.push(frame.at(self.edge(i + 1), share));
        }
        steps.push(frame.at(self.edge(last + 1), 0.0));
        steps
    }

    /// A density at a place from 0 (left end) to 1, as percent in a bar.
    fn ordinate(&self, density: &Density, place: f64) -> f64 {
        let x = self.first + place * (self.end() - self.first);
        100.0 * self.width * (density.of)(x)
    }

    /// The density's curve, in parts where it leaves the frame.
    fn curve(&self, density: &Density, frame: &Frame) -> Vec<Vec<Point>> {
        let mut parts = vec![Vec::new()];
        for i in 0..=240 {
            let place = f64::from(i) / 240.0;
            let y = self.ordinate(density, place);
            if y.is_finite() && y <= frame.y.high {
                let point = frame.at(self.first + place * (self.end() - self.first), y);
                if let Some(part) = parts.last_mut() {
                    part.push(point);
                }
            } else {
                parts.push(Vec::new());
            }
        }
        parts.retain(|part| part.len() > 1);
        parts
    }

    fn outside_note(&self, counted: &str) -> String {
        match self.n_outside {
            0 => String::new(),
            n => format!("{n} of {} {counted} lie outside the picture", self.n),
        }
    }
}

fn sorted(values: &[f64]) -> Vec<f64> {
    let mut values: Vec<f64> = values.iter().copied().filter(|&v| shown(v)).collect();
    values.sort_unstable_by(f64::total_cmp);
    values
}

/// The range of all values but the outermost half percent on each side: errors have long tails, and the
/// picture is for the rest.
fn central(sorted: &[f64]) -> (f64, f64) {
    match sorted.len() {
        0 => (f64::INFINITY, f64::NEG_INFINITY),
        n => {
            let cut = n / 200;
            (sorted[cut], sorted[n - 1 - cut])
        }
    }
}

/// Where bins begin (offset from a multiple of the width), and their width.
///
/// Width by the rule of Freedman and Diaconis (1981), 2·IQR/∛n, made round and kept between 10 and 70 bins.
/// Values that only take a few equally spaced steps, such as readings, get bins of whole steps, with the
/// steps in their middle: otherwise some bins hold one step more than their neighbours.
fn bin_width(sorted: &[f64], step: Option<f64>, low: f64, high: f64) -> (f64, f64) {
    let range = high - low;
    let n = sorted.len();
    let rule = match n {
        0 => 0.0,
        n => 2.0 * (sorted[n * 3 / 4] - sorted[n / 4]) / libm::cbrt(n as f64),
    };
    let width = rule.clamp(range / 70.0, range / 10.0);
    if let Some(step) = step {
        let width = (width / step).round().max(1.0).max((range / step / 100.0).ceil()) * step;
        return (sorted[0] - step / 2.0, width);
    }
    (0.0, round_step(width))
}

/// The step between values that take no more than 200 different ones, all equally far apart.
fn step_of(sorted: &[f64]) -> Option<f64> {
    let scale = sorted.first()?.abs().max(sorted.last()?.abs());
    let mut distinct: Vec<f64> = Vec::new();
    for &value in sorted {
        if distinct.last().is_none_or(|&last| value - last > 1e-9 * scale) {
            distinct.push(value);
            if distinct.len() > 200 {
                return None;
            }
        }
    }
    // A small sample of a continuous quantity has as many different values as values.
    if distinct.len() < 2 || 3 * distinct.len() > sorted.len() {
        return None;
    }
    let step = distinct.windows(2).map(|pair| pair[1] - pair[0]).fold(f64::INFINITY, f64::min);
    let even = |pair: &[f64]| {
        let steps = (pair[1] - pair[0]) / step;
        (steps - steps.round()).abs() < 1e-3 * steps
    };
    distinct.windows(2).all(even).then_some(step)
}

/// The rows above the bars: intervals, then marks.
struct Strip {
    x: Axis,
    intervals: Vec<(f64, f64, Point, Anchor, String)>,
    marks: MarkRows,
    height: f64,
}

impl Strip {
    /// Lays out the rows; heights count from the strip's top.
    fn new(chart: &Histogram, bins: &Bins) -> Strip {
        let ticks = Ticks::down(0.0, bins.tallest * 1.04, PLOT_HEIGHT);
        let x =
            Axis { low: bins.first, high: bins.end(), from: Frame::left_for(&ticks), to: WIDTH - EDGE - 8.0 };
        let mut strip = Strip { x, intervals: Vec::new(), marks: MarkRows::default(), height: 0.0 };
        let room = [EDGE, 0.0, WIDTH - EDGE, 1e6];
        for interval in chart.intervals.iter().filter(|i| shown(i.low) && shown(i.high)) {
            let text = interval_text(interval, chart.unit, chart.digits);
            let text = LABEL_FACE.fit(&text, strip.x.to - strip.x.from);
            let (from, to) = (strip.x.at(interval.low), strip.x.at(interval.high));
            let y = strip.height + ROW / 2.0;
            let width = LABEL_FACE.width(&text);
            let (at, anchor) = if to + 10.0 + width < room[2] {
                ((to + 10.0, y), Anchor::Start)
            } else if from - 10.0 - width > room[0] {
                ((from - 10.0, y), Anchor::End)
            } else {
                let half = width / 2.0;
                let middle = ((from + to) / 2.0).clamp(room[0] + half, room[2] - half);
                ((middle, y), Anchor::Middle)
            };
            strip.intervals.push((from, to, at, anchor, text));
            strip.height += ROW;
        }
        strip.marks = MarkRows::new(chart.marks, &strip.x);
        strip
    }

    fn draw(&self, picture: &mut Picture, top: f64, frame: &Frame) {
        if let Some((from, to, (_, y), ..)) = self.intervals.first() {
            picture.layer(Manner::Dashed(&[2.0, 3.0]), |ink| {
                for x in [*from, *to] {
                    ink.line(&[(x, top + y), (x, frame.bottom())], MUTED, HAIR);
                }
            });
        }
        picture.layer(Manner::Plain, |ink| {
            for (from, to, (x, y), anchor, text) in &self.intervals {
                let y = top + y;
                // A label in the middle stands in a gap of the line.
                let half = if *anchor == Anchor::Middle { LABEL_FACE.width(text) / 2.0 + 6.0 } else { 0.0 };
                let gap = if half > 0.0 { [x - half, x + half] } else { [*to, *to] };
                ink.line(&[(*from, y), (gap[0].max(*from), y)], INK, THIN);
                ink.line(&[(gap[1].min(*to), y), (*to, y)], INK, THIN);
                for x in [*from, *to] {
                    ink.line(&[(x, y - 5.0), (x, y + 5.0)], INK, THIN);
                }
            }
        });
        picture.layer(Manner::Halo, |ink| {
            for (_, _, (x, y), anchor, text) in &self.intervals {
                ink.text((*x, top + y), *anchor, &LABEL_FACE, text);
            }
        });
        self.marks.draw(picture, top + self.height, frame.bottom());
    }
}
