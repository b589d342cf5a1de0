//! Shares of several sources as horizontal bars.

use super::super::heights::Heights;
use super::super::number::{plain, share};
use super::super::picture::{Anchor, Face, Ink, Manner, Picture, Svg};
use super::super::style::{
    BAR, BAR_PALE, BOLD, EDGE, GRID, HAIR, INK, LABEL, MUTED, PAPER, SERIES, THIN, WIDTH,
};
use super::axis::{Axis, Frame, LABEL_FACE, Ticks};
use super::header::{Header, Swatch};
use super::shown;

/// Which share of a result's variance comes from which source, largest first.
pub struct Bars<'a> {
    /// Title of the picture.
    pub title: &'a str,
    /// What the shares are parts of: "share of the variance of the error".
    pub axis: &'a str,
    /// What they are told in.
    pub unit: BarUnit,
    /// The sources; sorted by the picture.
    pub bars: &'a [Bar<'a>],
}

/// What bars are told in.
#[derive(Clone, Copy, Debug)]
pub enum BarUnit {
    /// Percent of a whole.
    Percent,
    /// Heights, in a unit.
    Heights(Heights),
}

impl BarUnit {
    /// From a bar's value to that of the axis.
    fn factor(self) -> f64 {
        match self {
            Self::Percent => 100.0,
            Self::Heights(_) => 1.0,
        }
    }

    fn unit(self) -> &'static str {
        match self {
            Self::Percent => "%",
            Self::Heights(h) => h.label(),
        }
    }

    /// The value behind a bar.
    fn words(self, value: f64) -> String {
        match self {
            Self::Percent => percent(value),
            Self::Heights(h) => plain(value, h.digits()).replace('-', "−"),
        }
    }
}

/// One source's share.
pub struct Bar<'a> {
    /// The source's name.
    pub label: &'a str,
    /// What it causes by itself (first order).
    pub first_order: Share,
    /// What it causes by itself and together with others (total effect), where that is known.
    pub total: Option<Share>,
}

/// A share; 1 is all. Estimates of small shares may be below 0.
#[derive(Clone, Copy, Debug)]
pub struct Share {
    /// The share.
    pub value: f64,
    /// An interval for it, drawn as whiskers; what it covers is said by the caller's text.
    pub interval: Option<[f64; 2]>,
}

impl Share {
    fn whiskers(&self) -> Option<[f64; 2]> {
        self.interval.filter(|ends| ends.iter().all(|&end| shown(end)))
    }
}

impl Bar<'_> {
    /// The total, if it is a number.
    fn total(&self) -> Option<Share> {
        self.total.filter(|share| shown(share.value))
    }
}

const ROW: f64 = 34.0;
const HALF_BAR: f64 = 10.0;
const VALUE_FACE: Face = Face::new(LABEL, INK).bold();
const TOTAL_FACE: Face = Face::new(LABEL, MUTED);

impl Bars<'_> {
    /// The picture as an SVG document.
    pub fn svg(&self) -> Svg {
        let mut bars: Vec<&Bar> = self.bars.iter().filter(|bar| shown(bar.first_order.value)).collect();
        bars.sort_by(|a, b| weight(b).total_cmp(&weight(a)).then_with(|| a.label.cmp(b.label)));
        let has_total = bars.iter().any(|bar| bar.total().is_some());
        let header = Header::new(self.title, if has_total { keys() } else { Vec::new() });
        let labels: Vec<Vec<String>> = bars.iter().map(|bar| LABEL_FACE.wrap(bar.label, 225.0, 2)).collect();
        let widest = labels.iter().flatten().map(|line| LABEL_FACE.width(line)).fold(0.0, f64::max);

        let ends = bars.iter().flat_map(|bar| [Some(bar.first_order), bar.total()]).flatten();
        let (mut low, mut high) = (0.0_f64, 0.01_f64);
        for share in ends {
            let [l, h] = share.whiskers().unwrap_or([share.value, share.value]);
            // A whisker of nonsense, far beyond all or nothing, must not squeeze the bars.
            if let BarUnit::Heights(_) = self.unit {
                [low, high] = [low.min(l), high.max(h)];
                continue;
            }
            low = low.min(share.value.max(-5.0)).min(l.max((share.value.max(-5.0) - 0.5).min(-0.5)));
            high = high.max(share.value.min(5.0)).max(h.min(1.5));
        }
        let [low, high] = [low, high * 1.02].map(|end| self.unit.factor() * end);
        let ticks = Ticks::new(low, high, 7);
        let top = header.height() + 10.0;
        let frame = Frame {
            x: Axis {
                low,
                high,
                from: EDGE + widest + 14.0,
                to: WIDTH - EDGE - if has_total { 144.0 } else { 62.0 },
            },
            y: Axis { low: 0.0, high: 1.0, from: top + ROW * bars.len().max(1) as f64 + 4.0, to: top },
        };
        let mut picture = Picture::new(WIDTH, frame.bottom() + 52.0);
        header.draw(&mut picture);
        picture.layer(Manner::Plain, |ink| {
            for &tick in &ticks.values {
                let at = frame.x.at(tick);
                ink.line(&[(at, top), (at, frame.bottom())], GRID, HAIR);
            }
            for (i, (bar, lines)) in bars.iter().zip(&labels).enumerate() {
                let y = top + ROW * (i as f64 + 0.5);
                for (j, line) in lines.iter().enumerate() {
                    let lift = (j as f64 - (lines.len() as f64 - 1.0) / 2.0) * 16.0;
                    ink.text((frame.left() - 10.0, y + lift), Anchor::End, &LABEL_FACE, line);
                }
                draw_bar(ink, bar, y, &frame.x, self.unit);
            }
            let zero = frame.x.at(0.0);
            ink.line(&[(zero, top), (zero, frame.bottom())], INK, THIN);
            frame.x_axis(ink, &ticks, &format!("{}, {}", self.axis, self.unit.unit()));
        });
        picture.finish(self.title, &self.description(&bars))
    }

    fn description(&self, bars: &[&Bar]) -> String {
        let mut text = format!("Bars: {}.", self.axis);
        for bar in bars {
            text += &format!(" {} {}", bar.label, self.unit.words(bar.first_order.value));
            if let Some(total) = bar.total() {
                text += &format!(" (total {})", self.unit.words(total.value));
            }
            text += ".";
        }
        text
    }
}

fn keys() -> Vec<(Swatch, String)> {
    vec![
        (Swatch::Fill(BAR), "by itself (first order)".to_string()),
        (Swatch::Outline(BAR_PALE, SERIES[0]), "together with others (total)".to_string()),
    ]
}

/// What bars are sorted by.
fn weight(bar: &Bar) -> f64 {
    bar.total().map_or(bar.first_order.value, |total| total.value.max(bar.first_order.value))
}

fn draw_bar(ink: &mut Ink, bar: &Bar, y: f64, x: &Axis, unit: BarUnit) {
    let at = |share: f64| x.at((unit.factor() * share).clamp(x.low, x.high));
    let (top, bottom, zero) = (y - HALF_BAR, y + HALF_BAR, at(0.0));
    if let Some(total) = bar.total() {
        let end = at(total.value.max(0.0));
        ink.rect([zero, top, end, bottom], BAR_PALE);
    }
    let end = at(bar.first_order.value);
    ink.rect([zero.min(end), top, zero.max(end), bottom], BAR);
    if let Some(total) = bar.total() {
        let end = at(total.value.max(0.0));
        ink.frame([zero, top, end, bottom], SERIES[0], THIN);
    }
    let mut whisker = |share: &Share, y: f64| {
        if let Some([low, high]) = share.whiskers() {
            let (from, to) = (at(low), at(high));
            // A rim of paper keeps it visible on the bar.
            ink.line(&[(from, y), (to, y)], PAPER, BOLD + 1.5);
            ink.line(&[(from, y), (to, y)], INK, THIN);
            for end in [from, to] {
                ink.line(&[(end, y - 3.0), (end, y + 3.0)], INK, THIN);
            }
        }
    };
    match &bar.total() {
        None => whisker(&bar.first_order, y),
        Some(total) => {
            whisker(&bar.first_order, y - HALF_BAR / 2.0);
            whisker(total, y + HALF_BAR / 2.0);
        }
    }
    let values = x.to + 14.0;
    ink.text((values + 42.0, y), Anchor::End, &VALUE_FACE, &unit.words(bar.first_order.value));
    if let Some(total) = bar.total() {
        ink.text((WIDTH - EDGE, y), Anchor::End, &TOTAL_FACE, &format!("total {}", unit.words(total.value)));
    }
}

/// A share as a percentage, as far as a bar can show it.
fn percent(of: f64) -> String {
    match of {
        p if p > 9.99 => ">999 %".to_string(),
        p if p < -9.99 => "<−999 %".to_string(),
        p => share(p, if p.abs() < 0.0095 { 1 } else { 0 }).replace('-', "−"),
    }
}
