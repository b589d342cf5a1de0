//! The plate from above: its height as filled contours, and the survey drawn on it.

use super::super::number::{Digits, short, typeset};
use super::super::picture::{Anchor, Face, Ink, Manner, Picture, Point, Svg};
use super::super::style::{Colour, EDGE, HAIR, INK, ON_HEIGHTS, PAPER, THIN, TICK, WIDTH, height_colour};
use super::super::text::with_unit;
use super::axis::{Axis, Frame, LABEL_FACE, TICK_FACE, Ticks, tick_label};
use super::contour::{Ring, rings};
use super::header::Header;
use super::label::{Area, Places, area_of};
use super::{axis, shown};

/// A map of a plate: low is dark, high is light, and lines of equal height carry their number.
///
/// The front edge (y = 0) is at the bottom. The map is straight between grid points: some fifty points
/// along the longer side look smooth.
pub struct PlateMap<'a> {
    /// Title of the picture.
    pub title: &'a str,
    /// What the heights are: "height above the best-fit plane".
    pub heights_are: &'a str,
    /// Unit of the heights, as written.
    pub height_unit: &'a str,
    /// Unit of all lengths, as written.
    pub length_unit: &'a str,
    /// Grid lines along the plate's long side, rising; the first and last are the plate's ends.
    pub x: &'a [f64],
    /// Grid lines from the front edge backwards, rising.
    pub y: &'a [f64],
    /// Height at (`x[i]`, `y[j]`) as `heights[j * x.len() + i]`; empty for a sketch of the plate without heights.
    pub heights: &'a [f64],
    /// Width of the strip along the edges that is not judged; 0 for none.
    pub margin: f64,
    /// Where the stand is put down.
    pub stands: &'a [MapStand],
    /// Where the block is read.
    pub targets: &'a [MapTarget<'a>],
}

/// The stand put down once.
pub struct MapStand {
    /// Its three contact points.
    pub feet: [[f64; 2]; 3],
    /// Its own origin, from where the reach counts.
    pub origin: [f64; 2],
    /// Every point its tip is swung or moved to.
    pub tips: Vec<[f64; 2]>,
}

/// A spot where the block is read.
pub struct MapTarget<'a> {
    /// Where it is.
    pub at: [f64; 2],
    /// What stands in its mark: a number, up to three characters.
    pub label: &'a str,
    /// What stands beside it, if anything: a reading.
    pub reading: Option<&'a str>,
}

const LEGEND: f64 = 118.0;
const TALLEST: f64 = 470.0;
const BAND: f64 = 22.0;
const N_BANDS: usize = 9;
const MARK: f64 = 9.5;
const FOOT: f64 = 3.5;
const MARK_FACE: Face = Face::new(11.0, INK).bold();
const READING_FACE: Face = Face::new(TICK, INK).bold();
const LEVEL_FACE: Face = Face::new(11.0, INK);

impl PlateMap<'_> {
    /// The picture as an SVG document.
    pub fn svg(&self) -> Svg {
        self.drawn(&Header::new(self.title, Vec::new()), WIDTH, TALLEST)
    }

    /// A smaller picture without a headline, to stand beside its own words: this share as wide as [`Self::svg`], its
    /// marks and numbers as large.
    pub fn sketch(&self, share: f64) -> Svg {
        self.drawn(&Header::none(), share * WIDTH, share * TALLEST)
    }

    fn drawn(&self, header: &Header, width: f64, tallest: f64) -> Svg {
        let Some(([left, right], [front, back])) = ends(self.x).zip(ends(self.y)) else {
            let mut picture = Picture::new(width, header.height() + 30.0);
            header.draw(&mut picture);
            return picture.finish(self.title, "An empty map: the plate has no size.");
        };
        let y_room = Ticks::new(front, back, 6).width() + TICK_FACE.width(&format!(" {}", self.short_unit()));
        let levels = (!self.heights.is_empty()).then(|| Levels::new(self.heights));
        let legend = levels.as_ref().map_or(0.0, |levels| LEGEND.max(68.0 + levels.ticks.width()));
        let room = width - 2.0 * EDGE - legend - y_room - 12.0;
        let scale = (room / (right - left)).min(tallest / (back - front));
        let (wide, high) = (scale * (right - left), scale * (back - front));
        let (x0, top) = (EDGE + y_room + 10.0, header.height() + 14.0);
        let frame = Frame {
            x: Axis { low: left, high: right, from: x0, to: x0 + wide },
            y: Axis { low: front, high: back, from: top + high, to: top },
        };
        let mut height = frame.bottom() + 54.0;
        let legend = levels.as_ref().map(|levels| {
            let room = width - EDGE - self.legend_left(&frame);
            let lines = TICK_FACE.wrap(&with_unit(self.heights_are, self.height_unit), room, 4);
            height =
                height.max(top + 22.0 + 15.0 * lines.len() as f64 + levels.n_bands() as f64 * BAND + EDGE);
            (levels, lines)
        });
        let mut picture = Picture::new(width, height);
        header.draw(&mut picture);
        let lines = self.draw_ground(&mut picture, &frame, levels.as_ref());
        if let Some((levels, legend)) = legend {
            self.draw_legend(&mut picture, levels, &frame, &legend);
        }
        self.draw_survey(&mut picture, &frame, levels.as_ref(), &lines);
        picture.finish(self.title, &self.description(levels.as_ref()))
    }

    /// Plate and heights in a frame that reaches from one end of the plate to the other; gives back the lines of each
    /// level.
    pub(super) fn draw_ground(
        &self,
        picture: &mut Picture,
        frame: &Frame,
        levels: Option<&Levels>,
    ) -> Vec<Vec<Vec<Point>>> {
        let lines = levels.map_or_else(Vec::new, |levels| self.draw_heights(picture, levels, frame));
        self.draw_plate(picture, frame);
        lines
    }

    /// Stands, targets and readings, and the numbers of the levels where they leave room.
    pub(super) fn draw_survey(
        &self,
        picture: &mut Picture,
        frame: &Frame,
        levels: Option<&Levels>,
        lines: &[Vec<Vec<Point>>],
    ) {
        self.draw_stands(picture, frame);
        let mut places = Places::new([frame.left(), frame.top(), frame.right(), frame.bottom()]);
        self.draw_targets(picture, frame, &mut places);
        let Some(levels) = levels else { return };
        picture.layer(Manner::Halo, |ink| {
            for (level, lines) in levels.values.iter().zip(lines) {
                draw_level(ink, &levels.label(*level), lines, &mut places);
            }
        });
    }

    /// The unit of lengths, as short as the axes need it.
    pub(super) fn short_unit(&self) -> String {
        TICK_FACE.fit(self.length_unit, 40.0)
    }

    /// Fills the grid band by band, lowest first; gives back the lines of each level.
    fn draw_heights(&self, picture: &mut Picture, levels: &Levels, frame: &Frame) -> Vec<Vec<Vec<Point>>> {
        if let Some(([left, right], [front, back])) = ends(self.x).zip(ends(self.y)) {
            let ((left, bottom), (right, top)) = (frame.at(left, front), frame.at(right, back));
            picture.layer(Manner::Plain, |ink| ink.rect([left, top, right, bottom], levels.colour(0)));
        }
        let mut lines = Vec::new();
        for (k, &level) in levels.values.iter().enumerate() {
            let found = rings(self.x, self.y, self.heights, level);
            let to_picture =
                |points: &[[f64; 2]]| -> Vec<Point> { points.iter().map(|p| frame.at(p[0], p[1])).collect() };
            let areas: Vec<Vec<Point>> = found.iter().map(|ring| to_picture(&ring.points)).collect();
            let colour = levels.colour(k + 1);
            picture.path(&areas, colour, darker(levels.colour(k)), HAIR);
            let level_lines = found.iter().flat_map(Ring::level_lines);
            lines.push(level_lines.map(|line| to_picture(&line)).collect());
        }
        lines
    }

    fn draw_plate(&self, picture: &mut Picture, frame: &Frame) {
        let (left, right, top, bottom) = (frame.left(), frame.right(), frame.top(), frame.bottom());
        let unit = self.short_unit();
        let x_ticks = self.x_ticks(frame);
        let y_ticks = Ticks::down(frame.y.low, frame.y.high, bottom - top);
        picture.layer(Manner::Plain, |ink| {
            ink.frame([left, top, right, bottom], INK, THIN);
            ink.line(&[(left, bottom + 1.0), (right, bottom + 1.0)], INK, 3.0);
            for (ticks, is_x) in [(&x_ticks, true), (&y_ticks, false)] {
                for (i, &value) in ticks.values.iter().enumerate() {
                    let mut label = ticks.label(value);
                    // The last number carries the unit.
                    if i + 1 == ticks.values.len() {
                        label = format!("{label} {unit}");
                    }
                    if is_x {
                        let at = frame.x.at(value);
                        ink.line(&[(at, bottom + 2.0), (at, bottom + 7.0)], INK, THIN);
                        tick_label(ink, (at, bottom + 17.0), &label);
                    } else {
                        let at = frame.y.at(value);
                        ink.line(&[(left - 5.0, at), (left, at)], INK, THIN);
                        ink.text((left - 9.0, at), Anchor::End, &TICK_FACE, &label);
                    }
                }
            }
            let middle = (left + right) / 2.0;
            let front = "front edge (operator's side)";
            ink.text((middle, bottom + 38.0), Anchor::Middle, &LABEL_FACE.bold(), front);
        });
        if self.margin > 0.0 {
            let (left, bottom) = frame.at(frame.x.low + self.margin, frame.y.low + self.margin);
            let (right, top) = frame.at(frame.x.high - self.margin, frame.y.high - self.margin);
            if right > left && bottom > top {
                picture.layer(Manner::Dashed(&[5.0, 4.0]), |ink| {
                    ink.frame([left, top, right, bottom], ON_HEIGHTS, HAIR);
                });
            }
        }
    }

    /// Where the legend begins: clear of the last number on the axis below the plate.
    fn legend_left(&self, frame: &Frame) -> f64 {
        let ticks = self.x_ticks(frame);
        let last = ticks.values.last().map_or(0.0, |&value| {
            let label = format!("{} {}", ticks.label(value), self.short_unit());
            frame.x.at(value) + TICK_FACE.width(&label) / 2.0
        });
        (frame.right() + 24.0).max(last + 8.0)
    }

    fn x_ticks(&self, frame: &Frame) -> Ticks {
        let ticks =
            |room: f64| Ticks::across(frame.x.low, frame.x.high, (frame.right() - frame.left()) * room);
        // The last number carries the unit, may be moved inwards, and must not reach the one before it.
        let unit = TICK_FACE.width(&format!(" {}", self.short_unit()));
        let is_clear = |ticks: &Ticks| match ticks.values[..] {
            [.., before, last] => frame.x.at(last) - frame.x.at(before) > ticks.width() + unit + 4.0,
            _ => true,
        };
        let fewer = [0.85, 0.6, 0.4].into_iter().map(ticks).find(is_clear);
        fewer.unwrap_or_else(|| ticks(0.25))
    }

    fn draw_legend(&self, picture: &mut Picture, levels: &Levels, frame: &Frame, lines: &[String]) {
        let (x, n) = (self.legend_left(frame), levels.n_bands());
        let top = frame.top() + 12.0 + 15.0 * lines.len() as f64;
        let bottom = top + BAND * n as f64;
        picture.layer(Manner::Plain, |ink| {
            for (i, line) in lines.iter().enumerate() {
                ink.text((x, frame.top() + 6.0 + 15.0 * i as f64), Anchor::Start, &TICK_FACE, line);
            }
            for k in 0..n {
                let y = bottom - BAND * (k + 1) as f64;
                ink.rect([x, y, x + 24.0, y + BAND], levels.colour(k));
                if let Some(&level) = levels.values.get(k) {
                    ink.line(&[(x, y), (x + 29.0, y)], darker(levels.colour(k)), HAIR);
                    ink.text((x + 34.0, y), Anchor::Start, &TICK_FACE, &levels.label(level));
                }
            }
            if n == 1 {
                let only = short(levels.lowest, 3);
                ink.text(
                    (x + 34.0, top + BAND / 2.0),
                    Anchor::Start,
                    &TICK_FACE,
                    &TICK_FACE.fit(&only, 60.0),
                );
            }
            ink.frame([x, top, x + 24.0, bottom], INK, HAIR);
        });
    }

    fn draw_stands(&self, picture: &mut Picture, frame: &Frame) {
        let at = |p: [f64; 2]| frame.at(p[0], p[1]);
        picture.layer(Manner::Plain, |ink| {
            for stand in self.stands {
                let feet = stand.feet.map(at);
                ink.outline(&feet, PAPER, 4.0);
                for &tip in &stand.tips {
                    ink.line(&[at(stand.origin), at(tip)], PAPER, 3.5);
                }
            }
        });
        picture.layer(Manner::Dashed(&[4.0, 2.5]), |ink| {
            for stand in self.stands {
                for &tip in &stand.tips {
                    ink.line(&[at(stand.origin), at(tip)], INK, THIN);
                }
            }
        });
        picture.layer(Manner::Plain, |ink| {
            for stand in self.stands {
                let feet = stand.feet.map(at);
                // Stands that are put down on one spot would make a knot of thick lines.
                let (width, foot_size) =
                    if self.is_turned(stand) { (HAIR, FOOT - 1.0) } else { (1.75, FOOT) };
                ink.outline(&feet, INK, width);
                for foot in feet {
                    ink.disc(foot, foot_size + 1.5, PAPER);
                    ink.disc(foot, foot_size, INK);
                }
            }
        });
    }

    /// Whether another stand is put down on the same spot.
    fn is_turned(&self, stand: &MapStand) -> bool {
        let apart = |a: [f64; 2], b: [f64; 2]| libm::hypot(a[0] - b[0], a[1] - b[1]);
        let size = stand.feet.iter().map(|&foot| apart(foot, stand.origin)).fold(0.0, f64::max);
        self.stands.iter().filter(|other| apart(other.origin, stand.origin) < size / 2.0).count() > 1
    }

    fn draw_targets(&self, picture: &mut Picture, frame: &Frame, places: &mut Places) {
        let around = |(x, y): Point, r: f64| -> Area { [x - r, y - r, x + r, y + r] };
        for stand in self.stands {
            for foot in stand.feet {
                places.take(around(frame.at(foot[0], foot[1]), FOOT + 1.5));
            }
        }
        for target in self.targets {
            places.take(around(frame.at(target.at[0], target.at[1]), MARK + 0.5));
        }
        picture.layer(Manner::Plain, |ink| {
            for target in self.targets {
                let at = frame.at(target.at[0], target.at[1]);
                ink.disc(at, MARK, PAPER);
                ink.circle(at, MARK, INK, 1.5);
                ink.text(at, Anchor::Middle, &MARK_FACE, &MARK_FACE.fit(target.label, 2.0 * MARK));
            }
        });
        picture.layer(Manner::Halo, |ink| {
            for target in self.targets {
                let Some(reading) = target.reading else { continue };
                let text = READING_FACE.fit(reading, 120.0);
                let (x, y) = frame.at(target.at[0], target.at[1]);
                let (beside, above) = (MARK + 5.0 + READING_FACE.width(&text) / 2.0, MARK + 10.0);
                let spots = [(x, y + above), (x + beside, y), (x - beside, y), (x, y - above)];
                let cost = |spot: &Point| places.taken_of(area_of(&READING_FACE, &text, *spot));
                // In a corner none of them may be on the plate as a whole; then inwards.
                let inwards = if x < (frame.left() + frame.right()) / 2.0 { spots[1] } else { spots[2] };
                let best = spots.into_iter().min_by(|a, b| cost(a).total_cmp(&cost(b)));
                if let Some(spot) = best.map(|best| if cost(&best).is_finite() { best } else { inwards }) {
                    places.take(area_of(&READING_FACE, &text, spot));
                    ink.text(spot, Anchor::Middle, &READING_FACE, &text);
                }
            }
        });
        for stand in self.stands {
            let [a, b, c] = stand.feet.map(|p| frame.at(p[0], p[1]));
            places.take_line(&[a, b, c, a], 6.0);
            for tip in &stand.tips {
                let line = [frame.at(stand.origin[0], stand.origin[1]), frame.at(tip[0], tip[1])];
                places.take_line(&line, 6.0);
            }
        }
    }

    pub(super) fn description(&self, levels: Option<&Levels>) -> String {
        let lengths = |axis: &[f64]| ends(axis).map_or(0.0, |[a, b]| b - a);
        let mut text = format!(
            "Map of a plate {} by {} {} seen from above, front edge at the bottom.",
            short(lengths(self.x), 4),
            short(lengths(self.y), 4),
            self.length_unit
        );
        if let Some(levels) = levels {
            text += &format!(
                " {}: from {} to {} {}.",
                self.heights_are,
                typeset(levels.lowest, Digits::Significant(3)),
                typeset(levels.highest, Digits::Significant(3)),
                self.height_unit
            );
        }
        match self.stands.len() {
            0 => {}
            1 => text += " The stand is put down once.",
            n => text += &format!(" The stand is put down {n} times."),
        }
        for target in self.targets {
            let [x, y] = target.at;
            text += &format!(" Target {} at {}, {}", target.label, short(x, 4), short(y, 4));
            text += &target.reading.map_or(".".to_string(), |reading| format!(": {reading}."));
        }
        text
    }
}

/// The levels between bands, and the bands' colours.
pub(super) struct Levels {
    pub values: Vec<f64>,
    ticks: Ticks,
    pub lowest: f64,
    highest: f64,
}

impl Levels {
    pub fn new(heights: &[f64]) -> Levels {
        let finite = || heights.iter().copied().filter(|&height| shown(height));
        let (lowest, highest) =
            finite().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), z| (l.min(z), h.max(z)));
        let (lowest, highest) = if lowest <= highest { (lowest, highest) } else { (0.0, 0.0) };
        // A plate that is flat but for rounding has one band.
        let [low, high] = axis::ends(lowest, highest);
        let ticks = Ticks::new(low, high, N_BANDS);
        let values = if [low, high] == [lowest, highest] { ticks.values.clone() } else { Vec::new() };
        let values = values.into_iter().filter(|&v| v > lowest && v < highest).collect();
        Levels { values, ticks, lowest, highest }
    }

    pub fn n_bands(&self) -> usize {
        self.values.len() + 1
    }

    pub fn colour(&self, band: usize) -> Colour {
        match self.values.len() {
            0 => height_colour(0.75),
            n => height_colour(band as f64 / n as f64),
        }
    }

    pub fn label(&self, level: f64) -> String {
        self.ticks.label(level)
    }
}

/// The ends of a plate's side, if its grid lines rise.
pub(super) fn ends(grid: &[f64]) -> Option<[f64; 2]> {
    let rises = grid.len() > 1 && grid.windows(2).all(|pair| pair[0] < pair[1]);
    let [first, last] = [*grid.first()?, *grid.last()?];
    (rises && shown(first) && shown(last) && axis::ends(first, last) == [first, last])
        .then_some([first, last])
}

pub(super) fn darker((r, g, b): Colour) -> Colour {
    let less = |c: u8| (f64::from(c) * 0.72) as u8;
    (less(r), less(g), less(b))
}

/// Writes a level's number on its longest line, where there is room.
fn draw_level(ink: &mut Ink, label: &str, lines: &[Vec<Point>], places: &mut Places) {
    let length = |line: &Vec<Point>| -> f64 {
        line.windows(2).map(|p| libm::hypot(p[1].0 - p[0].0, p[1].1 - p[0].1)).sum()
    };
    let mut lines: Vec<&Vec<Point>> = lines.iter().filter(|line| length(line) > 60.0).collect();
    lines.sort_by(|a, b| length(b).total_cmp(&length(a)));
    for line in lines.into_iter().take(2) {
        for part in [0.5, 0.35, 0.65, 0.2, 0.8, 0.43, 0.57, 0.28, 0.72, 0.1, 0.9] {
            let at = line[((line.len() - 1) as f64 * part) as usize];
            let area = area_of(&LEVEL_FACE, label, at);
            if places.is_free(area) {
                places.take(area);
                ink.text(at, Anchor::Middle, &LEVEL_FACE, label);
                break;
            }
        }
    }
}
