//! Two maps of a plate side by side: the estimate of its surface, and how well it is known.

use super::super::number::short;
use super::super::picture::{Anchor, Face, Manner, Picture, Svg};
use super::super::style::{EDGE, HAIR, INK, LABEL, WIDTH};
use super::super::text::with_unit;
use super::axis::{Axis, Frame, TICK_FACE, Ticks};
use super::hatching::Hatched;
use super::header::Header;
use super::plate_map::{Levels, MapStand, MapTarget, PlateMap, darker, ends};

/// The estimate of a surface and its standard uncertainty, at the same places.
pub struct MapPair<'a> {
    /// Title of the picture.
    pub title: &'a str,
    /// Unit of heights, as written.
    pub height_unit: &'a str,
    /// Unit of all lengths, as written.
    pub length_unit: &'a str,
    /// The plate's two sides, the longer one first.
    pub sides: [f64; 2],
    /// Grid lines along the plate's long side, rising.
    pub x: &'a [f64],
    /// Grid lines from the front edge backwards, rising.
    pub y: &'a [f64],
    /// Estimate of the height at (`x[i]`, `y[j]`) as `heights[j * x.len() + i]`.
    pub heights: &'a [f64],
    /// Standard uncertainty of each.
    pub uncertainties: &'a [f64],
    /// Width of the strip along the edges that is not judged.
    pub margin: f64,
    /// Where the stand was put down.
    pub stands: &'a [MapStand],
    /// Where the block was read, and what was read.
    pub targets: &'a [MapTarget<'a>],
    /// A part to be hatched, on both maps, if any.
    pub hatched: Option<&'a Hatched>,
}

const GAP: f64 = 18.0;
const TALLEST: f64 = 420.0;
const STRIP: f64 = 14.0;
const NAME_FACE: Face = Face::new(LABEL, INK).bold();

impl MapPair<'_> {
    /// The picture as an SVG document.
    pub fn svg(&self) -> Svg {
        let header = Header::new(self.title, Vec::new());
        let [length, width] = self.sides;
        let has_size =
            [&[0.0, length][..], &[0.0, width], self.x, self.y].into_iter().all(|grid| ends(grid).is_some());
        if !has_size {
            let mut picture = Picture::new(WIDTH, header.height() + 30.0);
            header.draw(&mut picture);
            return picture.finish(self.title, "An empty map: the plate has no size.");
        }
        let bare: Vec<MapTarget> = self
            .targets
            .iter()
            .map(|target| MapTarget { at: target.at, label: target.label, reading: None })
            .collect();
        // Arms, once, on the left; the feet explain much of what is on the right.
        let feet: Vec<MapStand> = self
            .stands
            .iter()
            .map(|stand| MapStand { feet: stand.feet, origin: stand.origin, tips: Vec::new() })
            .collect();
        let left = self.map("estimated height", self.heights, self.stands, self.targets);
        let right = self.map("its standard uncertainty", self.uncertainties, &feet, &bare);
        let y_room = Ticks::new(0.0, width, 6).width() + TICK_FACE.width(&format!(" {}", left.short_unit()));
        let room = (WIDTH - 2.0 * EDGE - GAP) / 2.0 - y_room - 14.0;
        let scale = (room / length).min(TALLEST / width);
        let top = header.height() + 34.0;
        let note = if self.hatched.is_some() { 20.0 } else { 0.0 };
        let mut picture = Picture::new(WIDTH, top + scale * width + 112.0 + note);
        header.draw(&mut picture);
        let mut description = String::new();
        for (side, map) in [left, right].into_iter().enumerate() {
            let x0 = EDGE + y_room + 10.0 + side as f64 * ((WIDTH - 2.0 * EDGE + GAP) / 2.0);
            let frame = Frame {
                x: Axis { low: 0.0, high: length, from: x0, to: x0 + scale * length },
                y: Axis { low: 0.0, high: width, from: top + scale * width, to: top },
            };
            let levels = Levels::new(map.heights);
            let lines = map.draw_ground(&mut picture, &frame, Some(&levels));
            if let Some(hatched) = self.hatched {
                hatched.draw(&mut picture, &frame);
            }
            map.draw_survey(&mut picture, &frame, Some(&levels), &lines);
            picture.layer(Manner::Plain, |ink| {
                let name = NAME_FACE.fit(&with_unit(map.heights_are, self.height_unit), room);
                ink.text((frame.left(), top - 16.0), Anchor::Start, &NAME_FACE, &name);
            });
            draw_key(&mut picture, &levels, [frame.left(), frame.bottom() + 62.0], room);
            description += &format!("{} ", map.description(Some(&levels)));
        }
        if let Some(hatched) = self.hatched {
            let text = TICK_FACE.fit(&hatched.what, WIDTH - 2.0 * EDGE - y_room - 10.0);
            let at = (EDGE + y_room + 10.0, top + scale * width + 112.0);
            picture.layer(Manner::Plain, |ink| ink.text(at, Anchor::Start, &TICK_FACE, &text));
            description += &format!("{}.", hatched.what);
        }
        picture.finish(self.title, description.trim_end())
    }

    fn map<'a>(
        &'a self,
        what: &'a str,
        heights: &'a [f64],
        stands: &'a [MapStand],
        targets: &'a [MapTarget<'a>],
    ) -> PlateMap<'a> {
        PlateMap {
            title: self.title,
            heights_are: what,
            height_unit: self.height_unit,
            length_unit: self.length_unit,
            x: self.x,
            y: self.y,
            heights,
            margin: self.margin,
            stands,
            targets,
        }
    }
}

/// The bands in a row below their map, lowest first, with the levels between them.
fn draw_key(picture: &mut Picture, levels: &Levels, [left, top]: [f64; 2], width: f64) {
    let n = levels.n_bands();
    let band = (width / n as f64).min(44.0);
    let widest = levels.values.iter().map(|&level| TICK_FACE.width(&levels.label(level))).fold(0.0, f64::max);
    // Where numbers would run into each other, every second one or fewer are written.
    let every = ((widest + 8.0) / band).ceil().max(1.0) as usize;
    picture.layer(Manner::Plain, |ink| {
        for k in 0..n {
            let x = left + band * k as f64;
            ink.rect([x, top, x + band, top + STRIP], levels.colour(k));
            if let Some(&level) = levels.values.get(k) {
                let at = x + band;
                ink.line(&[(at, top), (at, top + STRIP + 4.0)], darker(levels.colour(k)), HAIR);
                if k % every == 0 {
                    let label = levels.label(level);
                    ink.text((at, top + STRIP + 13.0), Anchor::Middle, &TICK_FACE, &label);
                }
            }
        }
        if n == 1 {
            let only = short(levels.lowest, 3);
            ink.text((left + band + 6.0, top + STRIP / 2.0), Anchor::Start, &TICK_FACE, &only);
        }
        let right = left + band * n as f64;
        ink.frame([left, top, right, top + STRIP], INK, HAIR);
    });
}
