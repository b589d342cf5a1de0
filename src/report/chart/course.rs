//! A plate's course in time: what was found, what is to be expected, and when the risk is reached.

use super::super::picture::{Anchor, Face, Ink, Manner, Picture, Point, Svg};
use super::super::style::{
    BAR_PALE, BOLD, DASHES, EDGE, INK, LABEL, PAPER, SERIES, THIN, TICK, WIDTH, text_colour,
};
use super::super::text::with_unit;
use super::axis::{Axis, Frame, LABEL_FACE, TICK_FACE, Ticks};
use super::header::{Header, Swatch};
use super::label::{MarkRows, Places, area_of};
use super::{Mark, shown};
use crate::quantity::day::Day;

/// A chart of flatness against date, above one of the probability of being out of tolerance.
///
/// Times are years from `origin`; heights are in `unit`.
pub struct Course<'a> {
    /// Title of the picture.
    pub title: &'a str,
    /// Unit of heights as written.
    pub unit: &'a str,
    /// The day that counts as year 0.
    pub origin: Day,
    /// What was found and done, in order of time.
    pub found: &'a [Finding],
    /// What all of it together says: year, estimate, and ends of the 95 % interval. One list from each resurfacing to
    /// the next.
    pub fitted: &'a [Vec<[f64; 4]>],
    /// What is to be expected, likewise.
    pub forecast: &'a [[f64; 4]],
    /// The tolerance and what it is called.
    pub limit: Mark<'a>,
    /// Year and probability of being out of tolerance.
    pub out: &'a [[f64; 2]],
    /// The probability at which the plate goes out, and what it is called.
    pub risk: Mark<'a>,
    /// Days that are marked by a line through both charts, in years.
    pub days: &'a [Mark<'a>],
}

/// Something on record.
pub struct Finding {
    /// When, in years.
    pub year: f64,
    /// What it says by itself: estimate and ends of the 95 % interval.
    pub says: [f64; 3],
    /// How it is drawn.
    pub sign: Sign,
}

/// What a sign stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    /// A certificate: a square.
    Certificate,
    /// A shop check: an open circle.
    ShopCheck,
    /// A resurfacing: a triangle that points down.
    Resurfacing,
}

impl Sign {
    const ALL: [Sign; 3] = [Sign::Certificate, Sign::ShopCheck, Sign::Resurfacing];

    fn name(self) -> &'static str {
        match self {
            Sign::Certificate => "certificate",
            Sign::ShopCheck => "shop check",
            Sign::Resurfacing => "resurfacing",
        }
    }

    /// Draws it with its middle here.
    pub(super) fn draw(self, ink: &mut Ink, (x, y): Point) {
        match self {
            Sign::Certificate => ink.rect([x - 4.5, y - 4.5, x + 4.5, y + 4.5], INK),
            Sign::ShopCheck => {
                ink.disc((x, y), 5.0, PAPER);
                ink.circle((x, y), 5.0, INK, 1.75);
            }
            Sign::Resurfacing => ink.fill(&[(x - 6.5, y - 5.0), (x + 6.5, y - 5.0), (x, y + 6.5)], INK),
        }
    }
}

const COURSE_HEIGHT: f64 = 280.0;
const OUT_HEIGHT: f64 = 120.0;
/// Between the two charts.
const GAP: f64 = 22.0;

impl Course<'_> {
    /// The picture as an SVG document.
    pub fn svg(&self) -> Svg {
        let years = || {
            let found = self.found.iter().map(|finding| finding.year);
            found.chain(self.forecast.iter().map(|point| point[0])).filter(|year| shown(*year))
        };
        let (low, high) =
            years().fold((0.0_f64, 1.0_f64), |(low, high), year| (low.min(year), high.max(year)));
        let room = 0.03 * (high - low);
        let top = self.highest();
        let y_ticks = Ticks::down(0.0, top, COURSE_HEIGHT);
        let percent_ticks = Ticks::down(0.0, 100.0, OUT_HEIGHT);
        let left = Frame::left_for(&y_ticks).max(Frame::left_for(&percent_ticks));
        let x = Axis { low: low - room, high, from: left, to: WIDTH - EDGE - 8.0 };
        let present = Sign::ALL.into_iter().filter(|sign| self.found.iter().any(|found| found.sign == *sign));
        let mut keys: Vec<(Swatch, String)> =
            present.map(|sign| (Swatch::Sign(sign), sign.name().to_string())).collect();
        keys.push((Swatch::Line(SERIES[0], &[]), "estimate from all entries".into()));
        keys.push((Swatch::Fill(BAR_PALE), "its 95 % interval".into()));
        let header = Header::new(self.title, keys);
        let days = MarkRows::new(self.days, &x);
        let begin = header.height() + 12.0 + days.height;
        let upper =
            Frame { x: x.clone(), y: Axis { low: 0.0, high: top, from: begin + COURSE_HEIGHT, to: begin } };
        let begin = upper.bottom() + GAP;
        let lower = Frame { x, y: Axis { low: 0.0, high: 100.0, from: begin + OUT_HEIGHT, to: begin } };
        let mut picture = Picture::new(WIDTH, lower.bottom() + 54.0);
        header.draw(&mut picture);
        self.draw_course(&mut picture, &upper, &y_ticks);
        self.draw_out(&mut picture, &lower, &percent_ticks);
        days.draw(&mut picture, header.height() + 6.0, lower.bottom());
        picture.layer(Manner::Plain, |ink| {
            // On top of the days' lines.
            for finding in self.found.iter().filter(|finding| is_shown(&finding.says)) {
                finding.sign.draw(ink, upper.at(finding.year, finding.says[0].clamp(0.0, top)));
            }
            upper.y_axis(ink, &y_ticks, &with_unit("flatness deviation", self.unit));
            lower.y_axis(ink, &percent_ticks, "out, %");
            upper.line_below(ink);
            self.date_axis(ink, &lower);
        });
        picture.finish(self.title, &self.description())
    }

    /// The height at which the upper chart ends: above what is estimated and the limit, cutting what says little.
    fn highest(&self) -> f64 {
        let estimates = self.found.iter().map(|finding| finding.says[0]);
        let certain =
            self.found.iter().filter(|found| found.sign == Sign::Certificate).map(|found| found.says[2]);
        let ahead = self.forecast.iter().map(|point| point[1]);
        let all = estimates.chain(certain).chain(ahead).filter(|height| shown(*height));
        let high = 1.25 * all.fold(self.limit.at, f64::max);
        let ends = self.forecast.iter().map(|point| point[3]).filter(|height| shown(*height));
        let high = high.max(ends.fold(0.0, f64::max).min(2.2 * self.limit.at));
        if high > 0.0 { high } else { 1.0 }
    }

    fn draw_course(&self, picture: &mut Picture, frame: &Frame, ticks: &Ticks) {
        let top = frame.y.high;
        let place = |year: f64, height: f64| frame.at(year, height.clamp(0.0, top));
        picture.layer(Manner::Plain, |ink| {
            for part in self.fitted.iter().map(Vec::as_slice).chain([self.forecast]) {
                let there = || part.iter().filter(|point| is_shown(&point[..]));
                let mut band: Vec<Point> = there().map(|point| place(point[0], point[2])).collect();
                band.extend(there().rev().map(|point| place(point[0], point[3])));
                if band.len() > 2 {
                    ink.fill(&band, BAR_PALE);
                }
            }
            frame.grid(ink, ticks);
            for part in self.fitted.iter().map(Vec::as_slice).chain([self.forecast]) {
                let there = part.iter().filter(|point| is_shown(&point[..]) && point[1] <= top);
                let line: Vec<Point> = there.map(|point| place(point[0], point[1])).collect();
                if line.len() > 1 {
                    ink.line(&line, SERIES[0], BOLD);
                }
            }
            for finding in self.found.iter().filter(|finding| is_shown(&finding.says)) {
                let [(x, low), (_, high)] = [1, 2].map(|k| place(finding.year, finding.says[k]));
                ink.line(&[(x, low), (x, high)], INK, THIN);
                for (end, height) in [(low, finding.says[1]), (high, finding.says[2])] {
                    // Without a bar across where the picture cuts it.
                    if height <= top {
                        ink.line(&[(x - 4.0, end), (x + 4.0, end)], INK, THIN);
                    }
                }
            }
        });
        self.draw_level(picture, frame, &self.limit);
    }

    fn draw_out(&self, picture: &mut Picture, frame: &Frame, ticks: &Ticks) {
        picture.layer(Manner::Plain, |ink| {
            frame.grid(ink, ticks);
            let there = self.out.iter().filter(|point| is_shown(&point[..]) && point[0] <= frame.x.high);
            let line: Vec<Point> =
                there.map(|[year, p]| frame.at(*year, (100.0 * p).clamp(0.0, 100.0))).collect();
            ink.line(&line, SERIES[0], BOLD);
        });
        let risk = Mark { label: self.risk.label, at: 100.0 * self.risk.at };
        self.draw_level(picture, frame, &risk);
    }

    /// A level across a chart, named above it as far left as no sign is covered.
    fn draw_level(&self, picture: &mut Picture, frame: &Frame, level: &Mark) {
        if !shown(level.at) || level.at > frame.y.high {
            return;
        }
        let y = frame.y.at(level.at);
        picture.layer(Manner::Dashed(DASHES[1]), |ink| {
            ink.line(&[(frame.left(), y), (frame.right(), y)], SERIES[1], BOLD);
        });
        let face = Face::new(LABEL, text_colour(SERIES[1])).bold();
        let text = face.fit(level.label, 0.6 * (frame.right() - frame.left()));
        let mut places = Places::new([frame.left(), 0.0, frame.right(), frame.bottom()]);
        for finding in self.found.iter().filter(|finding| is_shown(&finding.says)) {
            let (x, y) = frame.at(finding.year, finding.says[0]);
            places.take([x - 8.0, y - 8.0, x + 8.0, y + 8.0]);
        }
        let half = 0.5 * face.width(&text) + 6.0;
        let spots = (0..60).map(|k| (frame.left() + half + 10.0 * f64::from(k), y - 0.75 * TICK));
        let free = spots.clone().find(|spot| places.is_free(area_of(&face, &text, *spot)));
        let spot = free.unwrap_or((frame.left() + half, y - 0.75 * TICK));
        picture.layer(Manner::Halo, |ink| ink.text(spot, Anchor::Middle, &face, &text));
    }

    /// The horizontal axis in years, or in months where it is short.
    fn date_axis(&self, ink: &mut Ink, frame: &Frame) {
        let y = frame.bottom();
        frame.line_below(ink);
        let ticks = date_ticks(self.origin, &frame.x);
        for (at, label) in &ticks {
            ink.line(&[(*at, y), (*at, y + 5.0)], INK, THIN);
            super::axis::tick_label(ink, (*at, y + 15.0), label);
        }
        ink.text(((frame.left() + frame.right()) / 2.0, y + 36.0), Anchor::Middle, &LABEL_FACE, "date");
    }

    fn description(&self) -> String {
        let mut text = format!(
            "{} entries from {} on, the flatness deviation that they speak for with its 95 % interval, and what is to be expected.",
            self.found.len(),
            self.origin.plus_years(self.found.first().map_or(0.0, |found| found.year))
        );
        for mark in [&self.limit, &self.risk].into_iter().chain(self.days) {
            text += &format!(" Marked: {}.", mark.label);
        }
        text
    }
}

/// Where the first days of years or months are along an axis, px, and what they are called.
fn date_ticks(origin: Day, x: &Axis) -> Vec<(f64, String)> {
    const MONTHS: [i32; 9] = [1, 3, 6, 12, 24, 60, 120, 240, 600];
    let (year, month, _) = origin.plus_years(x.low).year_month_day();
    let first = 12 * i32::from(year) + i32::from(month) - 1;
    let n_months = (12.0 * (x.high - x.low)) as i32 + 2;
    let mut ticks = Vec::new();
    for step in MONTHS {
        let within = (first..=first + n_months).filter(|month| month % step == 0);
        ticks = within
            .filter_map(|month| {
                let day = Day::new((month / 12) as i16, (month % 12 + 1) as i8, 1)?;
                let at = day.years_since(origin);
                let label = if step < 12 {
                    format!("{:04}-{:02}", month / 12, month % 12 + 1)
                } else {
                    format!("{}", month / 12)
                };
                (x.low..=x.high).contains(&at).then(|| (x.at(at), label))
            })
            .collect();
        let widest = ticks.iter().map(|(_, label)| TICK_FACE.width(label)).fold(0.0, f64::max);
        if ticks.windows(2).all(|pair| pair[1].0 - pair[0].0 >= widest + 18.0) {
            break;
        }
    }
    ticks
}

fn is_shown(values: &[f64]) -> bool {
    values.iter().all(|&value| shown(value))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ticks(low: f64, high: f64) -> Vec<String> {
        let axis = Axis { low, high, from: 0.0, to: 600.0 };
        let origin = Day::new(2025, 11, 3).expect("a day");
        date_ticks(origin, &axis).into_iter().map(|(_, label)| label).collect()
    }

    #[test]
    fn dates_are_round() {
        assert_eq!(
            ticks(-1.0, 1.0),
            ["2025-01", "2025-04", "2025-07", "2025-10", "2026-01", "2026-04", "2026-07", "2026-10"]
        );
        assert_eq!(ticks(-3.0, 3.0), ["2023", "2024", "2025", "2026", "2027", "2028"]);
        assert_eq!(ticks(-30.0, 30.0).first().map(String::as_str), Some("2000"));
    }
}
