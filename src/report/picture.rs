//! A picture: drawn once as SVG, and the same SVG as PNG.
//!
//! `plotters` writes the elements. It knows whole units only, so a picture is drawn eight times as large
//! and shown at an eighth: smooth curves, and type of the right size. What it cannot say is said round
//! it: a [`Manner`] dashes a group of lines or puts a halo round text, and [`Picture::path`] takes outlines
//! with holes.

use std::fmt::Write as _;
use std::sync::{Arc, OnceLock};

#[cfg(not(target_arch = "wasm32"))]
use plotters::backend::SVGBackend;
use plotters_backend::text_anchor::{HPos, Pos, VPos};
use plotters_backend::{
    BackendColor, BackendStyle, BackendTextStyle, DrawingBackend, FontFamily, FontStyle, FontTransform,
};
#[cfg(target_arch = "wasm32")]
use plotters_svg::SVGBackend;
use resvg::{tiny_skia, usvg};

use super::font;
use super::style::{Colour, PAPER, hex};
use super::text::{escape, inert};

/// Drawing units in one px.
const FINE: f64 = 8.0;

/// `plotters` writes text at 1/1.24 of the size it is asked for.
const TYPE_FACTOR: f64 = 1.24;

/// The largest side of a PNG, px.
const LARGEST_SIDE: f32 = 16_000.0;

/// A point in a picture, px from its upper left corner.
pub type Point = (f64, f64);

/// A picture being drawn. All lengths are px.
pub struct Picture {
    width: f64,
    height: f64,
    body: String,
}

/// A finished picture: an SVG document, read as its text.
#[derive(Clone, Debug, PartialEq)]
pub struct Svg {
    text: String,
    /// How tall it is, px.
    pub height: f64,
}

impl std::ops::Deref for Svg {
    type Target = str;

    fn deref(&self) -> &str {
        &self.text
    }
}

impl std::fmt::Display for Svg {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str(&self.text)
    }
}

/// How a group of elements is drawn.
pub enum Manner<'a> {
    /// As they are.
    Plain,
    /// Lines with this dash pattern (px on, off, …).
    Dashed(&'a [f64]),
    /// Text with a rim of paper, to be read on any ground.
    Halo,
}

impl Picture {
    /// An empty sheet of paper.
    pub fn new(width: f64, height: f64) -> Picture {
        let mut picture = Picture { width, height, body: String::new() };
        picture.layer(Manner::Plain, |ink| ink.rect([0.0, 0.0, width, height], PAPER));
        picture
    }

    /// Draws a group of elements over what is there.
    pub fn layer(&mut self, manner: Manner, draw: impl FnOnce(&mut Ink)) {
        let mut sheet = String::new();
        let size = ((self.width * FINE) as u32, (self.height * FINE) as u32);
        let mut ink = Ink { backend: SVGBackend::with_string(&mut sheet, size) };
        draw(&mut ink);
        drop(ink);
        // What was written, out of the document it wrapped it in.
        let elements = sheet.split_once(">\n").map_or("", |(_, rest)| rest);
        let elements = elements.strip_suffix("</svg>\n").unwrap_or(elements).replace(" opacity=\"1\"", "");
        let attributes = match manner {
            Manner::Plain => String::new(),
            Manner::Dashed([]) => String::new(),
            Manner::Dashed(pattern) => {
                let units: Vec<String> = pattern.iter().map(|px| format!("{}", px * FINE)).collect();
                format!(" stroke-dasharray=\"{}\"", units.join(" "))
            }
            Manner::Halo => format!(
                " stroke=\"{}\" stroke-width=\"{}\" stroke-linejoin=\"round\" paint-order=\"stroke\"",
                hex(PAPER),
                4.0 * FINE
            ),
        };
        if attributes.is_empty() {
            self.body.push_str(&elements);
        } else {
            let _ = writeln!(self.body, "<g{attributes}>\n{elements}</g>");
        }
    }

    /// Fills an area given by closed rings, and draws their outline. A ring inside another is a hole.
    pub fn path(&mut self, rings: &[Vec<Point>], fill: Colour, outline: Colour, width: f64) {
        let mut d = String::new();
        for ring in rings {
            let mut last = None;
            for &point in ring {
                let (x, y) = units(point);
                let _ = match last {
                    None => write!(d, "M{x} {y}"),
                    Some((px, py)) if (px, py) == (x, y) => Ok(()),
                    Some((px, py)) => write!(d, "l{} {}", x - px, y - py),
                };
                last = Some((x, y));
            }
            d.push('Z');
        }
        let _ = writeln!(
            self.body,
            "<path fill=\"{}\" stroke=\"{}\" stroke-width=\"{}\" fill-rule=\"evenodd\" d=\"{d}\"/>",
            hex(fill),
            hex(outline),
            width * FINE
        );
    }

    /// The finished SVG document: stands alone, and may be put into a page as it is.
    ///
    /// `title` and `description` are its text alternative (WCAG 2.1, 1.1.1), read to those who cannot see
    /// the picture.
    pub fn finish(self, title: &str, description: &str) -> Svg {
        let (w, h) = (self.width, self.height);
        let (fine_w, fine_h) = (w * FINE, h * FINE);
        let text = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" \
             viewBox=\"0 0 {fine_w} {fine_h}\" role=\"img\">\n\
             <title>{}</title>\n<desc>{}</desc>\n{}</svg>\n",
            escape(title),
            escape(description),
            self.body
        );
        Svg { text, height: h }
    }
}

/// Weight of type.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Weight {
    /// Text.
    Regular,
    /// Titles and what shall be seen first.
    Bold,
}

/// Which point of a text its position gives; the height is always the middle of its capitals.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Anchor {
    /// Its left end.
    Start,
    /// Its middle.
    Middle,
    /// Its right end.
    End,
}

/// How a text looks: size in px, weight, colour.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Face {
    /// Height of the type, px.
    pub size: f64,
    /// Regular or bold.
    pub weight: Weight,
    /// Colour.
    pub colour: Colour,
}

impl Face {
    /// Regular type.
    pub const fn new(size: f64, colour: Colour) -> Face {
        Face { size, weight: Weight::Regular, colour }
    }

    /// The same in bold.
    pub const fn bold(self) -> Face {
        Face { weight: Weight::Bold, ..self }
    }

    /// Width of a text in this face, px; up to 3 % more than it takes.
    pub fn width(&self, text: &str) -> f64 {
        let font = match self.weight {
            Weight::Regular => font::REGULAR,
            Weight::Bold => font::BOLD,
        };
        let fine = self.size * TYPE_FACTOR * FINE * font::width(font, text);
        fine.trunc() / FINE
    }

    /// The text cut so that it is no wider than `room` px, with an ellipsis where it was cut.
    pub fn fit(&self, text: &str, room: f64) -> String {
        let text = inert(text);
        if self.width(&text) <= room {
            return text;
        }
        let mut kept: Vec<char> = text.chars().collect();
        while kept.pop().is_some() {
            let cut = kept.iter().collect::<String>().trim_end().to_string() + "…";
            if self.width(&cut) <= room {
                return cut;
            }
        }
        String::new()
    }

    /// The text in at most `n_lines` lines no wider than `room` px; broken at spaces, the last one cut
    /// if need be.
    pub fn wrap(&self, text: &str, room: f64, n_lines: usize) -> Vec<String> {
        let text = inert(text);
        let mut lines: Vec<String> = Vec::new();
        for word in text.split(' ') {
            match lines.last_mut() {
                Some(line) if self.width(&format!("{line} {word}")) <= room => {
                    line.push(' ');
                    line.push_str(word);
                }
                _ => lines.push(word.to_string()),
            }
        }
        if lines.len() > n_lines {
            let rest = lines.split_off(n_lines.saturating_sub(1)).join(" ");
            lines.push(rest);
        }
        lines.iter().map(|line| self.fit(line, room)).filter(|line| !line.is_empty()).collect()
    }
}

/// Draws the elements of one layer. All lengths are px; nothing here can fail, since the elements go into
/// a string in memory.
pub struct Ink<'a> {
    backend: SVGBackend<'a>,
}

impl Ink<'_> {
    /// A line through these points.
    pub fn line(&mut self, points: &[Point], colour: Colour, width: f64) {
        let style = Stroke { colour, width: fine_width(width) };
        let mut path: Vec<(i32, i32)> = points.iter().map(|&point| units(point)).collect();
        path.dedup();
        let _ = match path[..] {
            [] => Ok(()),
            [from, to] => self.backend.draw_line(from, to, &style),
            _ => self.backend.draw_path(path, &style),
        };
    }

    /// The outline of a polygon.
    pub fn outline(&mut self, points: &[Point], colour: Colour, width: f64) {
        let closed: Vec<Point> = points.iter().chain(points.first()).copied().collect();
        self.line(&closed, colour, width);
    }

    /// The outline of a rectangle: left, top, right, bottom.
    pub fn frame(&mut self, [left, top, right, bottom]: [f64; 4], colour: Colour, width: f64) {
        self.outline(&[(left, top), (right, top), (right, bottom), (left, bottom)], colour, width);
    }

    /// A filled polygon.
    pub fn fill(&mut self, points: &[Point], colour: Colour) {
        let path: Vec<(i32, i32)> = points.iter().map(|&point| units(point)).collect();
        let _ = self.backend.fill_polygon(path, &rgb(colour));
    }

    /// A filled rectangle: left, top, right, bottom.
    pub fn rect(&mut self, [left, top, right, bottom]: [f64; 4], colour: Colour) {
        let _ = self.backend.draw_rect(units((left, top)), units((right, bottom)), &rgb(colour), true);
    }

    /// A filled disc.
    pub fn disc(&mut self, centre: Point, radius: f64, colour: Colour) {
        let radius = (radius * FINE).round() as u32;
        let _ = self.backend.draw_circle(units(centre), radius, &rgb(colour), true);
    }

    /// A circle.
    pub fn circle(&mut self, centre: Point, radius: f64, colour: Colour, width: f64) {
        let style = Stroke { colour, width: fine_width(width) };
        let _ = self.backend.draw_circle(units(centre), (radius * FINE).round() as u32, &style, false);
    }

    /// A line of text. Whatever it says, it stays text.
    pub fn text(&mut self, (x, y): Point, anchor: Anchor, face: &Face, text: &str) {
        // Centred on the small letters; capitals and figures reach higher.
        self.write((x, y + 0.09 * face.size), anchor, face, FontTransform::None, text);
    }

    /// A line of text that reads upwards, its middle here.
    pub fn text_upwards(&mut self, at: Point, face: &Face, text: &str) {
        self.write(at, Anchor::Middle, face, FontTransform::Rotate270, text);
    }

    fn write(&mut self, at: Point, anchor: Anchor, face: &Face, transform: FontTransform, text: &str) {
        let text = inert(text);
        if text.is_empty() {
            return;
        }
        let h_pos = match anchor {
            Anchor::Start => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::End => HPos::Right,
        };
        let style = Lettering { face: *face, transform, pos: Pos::new(h_pos, VPos::Center) };
        let _ = self.backend.draw_text(&text, &style, units(at));
    }
}

/// Why a picture could not be turned into pixels.
#[derive(Debug, PartialEq, Eq)]
pub enum PixelError {
    /// The text is no SVG document.
    NotSvg(String),
    /// The result would have no pixels, or too many.
    Size,
    /// The pixels could not be written as PNG.
    Encoding(String),
}

impl std::fmt::Display for PixelError {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        match self {
            PixelError::NotSvg(why) => write!(f, "the picture is not valid SVG: {why}"),
            PixelError::Size => {
                write!(f, "the picture's scale gives no pixels, or more than fit into memory")
            }
            PixelError::Encoding(why) => write!(f, "the picture could not be written as PNG: {why}"),
        }
    }
}

impl std::error::Error for PixelError {}

/// A picture of this crate as a PNG file, `scale` pixels to each px; no font of the machine is used.
pub fn png(svg: &str, scale: f32) -> Result<Vec<u8>, PixelError> {
    static FONTS: OnceLock<Arc<usvg::fontdb::Database>> = OnceLock::new();
    let fonts = FONTS.get_or_init(|| {
        let mut fonts = usvg::fontdb::Database::new();
        fonts.load_font_data(font::REGULAR.to_vec());
        fonts.load_font_data(font::BOLD.to_vec());
        fonts.set_sans_serif_family(font::NAME);
        Arc::new(fonts)
    });
    let options = usvg::Options {
        font_family: font::NAME.to_string(),
        fontdb: fonts.clone(),
        ..usvg::Options::default()
    };
    let tree = usvg::Tree::from_str(svg, &options).map_err(|e| PixelError::NotSvg(e.to_string()))?;
    let (width, height) = ((tree.size().width() * scale).ceil(), (tree.size().height() * scale).ceil());
    if !(1.0..=LARGEST_SIDE).contains(&width) || !(1.0..=LARGEST_SIDE).contains(&height) {
        return Err(PixelError::Size);
    }
    let mut pixels = tiny_skia::Pixmap::new(width as u32, height as u32).ok_or(PixelError::Size)?;
    resvg::render(&tree, tiny_skia::Transform::from_scale(scale, scale), &mut pixels.as_mut());
    pixels.encode_png().map_err(|e| PixelError::Encoding(e.to_string()))
}

/// A point in the backend's whole units. What lies far outside any picture is brought nearer, since
/// the backend takes differences of these.
fn units((x, y): Point) -> (i32, i32) {
    const FARTHEST: f64 = (1 << 29) as f64;
    [x, y].map(|v| (v * FINE).round().clamp(-FARTHEST, FARTHEST) as i32).into()
}

fn fine_width(px: f64) -> u32 {
    (px * FINE).round() as u32
}

fn rgb(rgb: Colour) -> BackendColor {
    BackendColor { alpha: 1.0, rgb }
}

/// How a line looks; its width in units.
struct Stroke {
    colour: Colour,
    width: u32,
}

impl BackendStyle for Stroke {
    fn color(&self) -> BackendColor {
        rgb(self.colour)
    }

    fn stroke_width(&self) -> u32 {
        self.width
    }
}

/// How a line of text looks, and how it stands to its point.
struct Lettering {
    face: Face,
    transform: FontTransform,
    pos: Pos,
}

impl BackendTextStyle for Lettering {
    type FontError = std::convert::Infallible;

    fn color(&self) -> BackendColor {
        rgb(self.face.colour)
    }

    fn size(&self) -> f64 {
        self.face.size * TYPE_FACTOR * FINE
    }

    fn transform(&self) -> FontTransform {
        self.transform.clone()
    }

    fn style(&self) -> FontStyle {
        match self.face.weight {
            Weight::Regular => FontStyle::Normal,
            Weight::Bold => FontStyle::Bold,
        }
    }

    fn anchor(&self) -> Pos {
        self.pos
    }

    fn family(&self) -> FontFamily<'_> {
        FontFamily::Name(font::FAMILY)
    }

    /// Text is placed by whoever shows the picture, so nobody asks.
    fn layout_box(&self, _text: &str) -> Result<((i32, i32), (i32, i32)), Self::FontError> {
        Ok(((0, 0), (0, 0)))
    }

    /// Letters are no pixels here.
    fn draw<E, DrawFunc: FnMut(i32, i32, BackendColor) -> Result<(), E>>(
        &self,
        _text: &str,
        _pos: (i32, i32),
        _draw: DrawFunc,
    ) -> Result<Result<(), E>, Self::FontError> {
        Ok(Ok(()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FACE: Face = Face::new(13.0, (0, 0, 0));

    #[test]
    fn text_is_cut_to_the_room_it_has() {
        assert_eq!(FACE.fit("short", 100.0), "short");
        let cut = FACE.fit("a name that is too long", 100.0);
        assert!(cut.ends_with('…') && FACE.width(&cut) <= 100.0, "{cut}");
        assert_eq!(FACE.fit("no room at all", 3.0), "");
    }

    #[test]
    fn lines_break_at_spaces() {
        let lines = FACE.wrap("difference between top and bottom", 120.0, 3);
        assert_eq!(lines.join(" "), "difference between top and bottom");
        assert!(lines.len() > 1 && lines.iter().all(|line| FACE.width(line) <= 120.0), "{lines:?}");
        assert_eq!(FACE.wrap("one two three four", 40.0, 2).len(), 2);
        assert!(FACE.wrap("", 40.0, 2).is_empty());
    }

    /// Widths against the advances in the font file: "0" is 1760 and "i" 668 of 2816 units in the regular
    /// font (its hmtx table, read with fonttools).
    #[test]
    fn widths_are_the_fonts() {
        let em = |units: f64| units / 2816.0 * 100.0;
        for (text, units) in [("0", 1760.0), ("i", 668.0), ("00ii", 4856.0)] {
            let width = Face::new(100.0, (0, 0, 0)).width(text);
            assert!((1.0..1.03).contains(&(width / em(units))), "{text}: {width}");
        }
    }

    #[test]
    fn an_outline_is_written_as_steps() {
        let mut picture = Picture::new(10.0, 10.0);
        picture.path(
            &[vec![(1.0, 1.0), (2.0, 1.0), (2.0, 1.01), (1.0, 3.5)]],
            (0, 0, 0),
            (255, 255, 255),
            0.5,
        );
        let svg = picture.finish("a <b>", "c");
        assert!(svg.contains("fill=\"#000000\" stroke=\"#FFFFFF\" stroke-width=\"4\""), "{svg}");
        assert!(svg.contains("d=\"M8 8l8 0l-8 20Z\""), "{svg}");
        assert!(svg.contains("<title>a &lt;b&gt;</title>"), "{svg}");
    }
}
