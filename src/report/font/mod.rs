//! The font of every picture, carried in the program so that a picture is the same on any machine.
//!
//! Its origin and licence (SIL Open Font License 1.1) are in `README.txt` and `OFL.txt` beside this file.

use skrifa::{
    FontRef, GlyphId, MetadataProvider,
    instance::{LocationRef, Size},
};

/// What pictures ask for: our font, or whatever the reader's machine has.
pub const FAMILY: &str = "Howflat Sans, sans-serif";
/// The name under which the font files know themselves.
pub const NAME: &str = "Howflat Sans";
/// The regular font, an OpenType file.
pub const REGULAR: &[u8] = include_bytes!("HowflatSans-Regular.otf");
/// The bold font, an OpenType file.
pub const BOLD: &[u8] = include_bytes!("HowflatSans-Bold.otf");

/// How wide a text is without kerning, where the font is 1 high from its lowest descender to its highest ascender.
pub(super) fn width(font: &[u8], text: &str) -> f64 {
    // The fonts are our own: that they can be read is tested below.
    let Ok(font) = FontRef::new(font) else { return 0.0 };
    let size = Size::unscaled();
    let (line, glyphs) =
        (font.metrics(size, LocationRef::default()), font.glyph_metrics(size, LocationRef::default()));
    let (characters, height) = (font.charmap(), line.ascent - line.descent);
    let advance = |c| glyphs.advance_width(characters.map(c).unwrap_or(GlyphId::NOTDEF)).unwrap_or_default();
    text.chars().map(|c| f64::from(advance(c) / height)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Advances of the fonts' own tables, as fontTools prints them (`hmtx`, `hhea`), in units of the em.
    #[test]
    fn widths_are_those_of_the_tables() {
        for (font, advances) in [(REGULAR, [1904, 1640, 1308, 1752]), (BOLD, [2038, 1669, 1354, 1835])] {
            let expected = f64::from(advances.iter().sum::<i32>()) / f64::from(2728 + 680);
            assert!((width(font, "Aé1µ") - expected).abs() < 1e-6, "{}", width(font, "Aé1µ"));
        }
        assert!(width(REGULAR, "\u{10FFFF}") > 0.0, "what the font has not is shown by a box");
    }
}
