//! The head of a picture: its title, and the key to lines and fills that have no label of their own.

use super::super::picture::{Anchor, Face, Manner, Picture};
use super::super::style::{BOLD, Colour, EDGE, INK, LABEL, TITLE, WIDTH};
use super::axis::LABEL_FACE;
use super::course::Sign;

const TITLE_FACE: Face = Face::new(TITLE, INK).bold();
const TITLE_ROW: f64 = 22.0;
const KEY_ROW: f64 = 22.0;
const SWATCH: f64 = 26.0;

/// What stands in front of a key's text.
pub(super) enum Swatch {
    /// A filled area.
    Fill(Colour),
    /// An empty area with an outline.
    Outline(Colour, Colour),
    /// A line with its dash pattern.
    Line(Colour, &'static [f64]),
    /// A sign on a plate's course.
    Sign(Sign),
}

/// Title and key, laid out.
pub(super) struct Header {
    title: Vec<String>,
    keys: Vec<(f64, f64, Swatch, String)>,
    height: f64,
}

impl Header {
    /// Lays out a title (two lines at most) and the keys, in rows.
    pub fn new(title: &str, keys: Vec<(Swatch, String)>) -> Header {
        let room = WIDTH - 2.0 * EDGE;
        let title = TITLE_FACE.wrap(title, room, 2);
        let mut y = EDGE + TITLE_ROW * title.len() as f64 + KEY_ROW / 2.0;
        let mut x = EDGE;
        let mut placed = Vec::new();
        for (swatch, text) in keys {
            let text = LABEL_FACE.fit(&text, room - SWATCH - 8.0);
            let width = SWATCH + 8.0 + LABEL_FACE.width(&text) + 20.0;
            if x > EDGE && x + width > WIDTH - EDGE + 20.0 {
                x = EDGE;
                y += KEY_ROW;
            }
            placed.push((x, y, swatch, text));
            x += width;
        }
        let height = if placed.is_empty() { y - KEY_ROW / 2.0 } else { y + KEY_ROW / 2.0 };
        Header { title, keys: placed, height }
    }

    /// Of a picture that needs neither.
    pub fn none() -> Header {
        Header { title: Vec::new(), keys: Vec::new(), height: 0.0 }
    }

    /// Where what comes below may begin, px.
    pub fn height(&self) -> f64 {
        self.height
    }

    pub fn draw(&self, picture: &mut Picture) {
        picture.layer(Manner::Plain, |ink| {
            for (i, line) in self.title.iter().enumerate() {
                ink.text((EDGE, EDGE + TITLE_ROW * (i as f64 + 0.4)), Anchor::Start, &TITLE_FACE, line);
            }
            for (x, y, swatch, text) in &self.keys {
                let half = LABEL * 0.4;
                match *swatch {
                    Swatch::Fill(colour) => ink.rect([*x, y - half, x + SWATCH, y + half], colour),
                    Swatch::Outline(fill, line) => {
                        ink.rect([*x, y - half, x + SWATCH, y + half], fill);
                        let [l, t, r, b] = [*x, y - half, x + SWATCH, y + half];
                        ink.frame([l, t, r, b], line, 1.0);
                    }
                    Swatch::Sign(sign) => sign.draw(ink, (x + SWATCH - 8.0, *y)),
                    Swatch::Line(..) => {}
                }
                ink.text((x + SWATCH + 8.0, *y), Anchor::Start, &LABEL_FACE, text);
            }
        });
        for (x, y, swatch, _) in &self.keys {
            if let Swatch::Line(colour, dashes) = *swatch {
                picture.layer(Manner::Dashed(dashes), |ink| {
                    ink.line(&[(*x, *y), (x + SWATCH, *y)], colour, BOLD);
                });
            }
        }
    }
}
