//! The house style of every picture: one palette, few line weights, few sizes of type.
//!
//! A picture is 720 px wide on screen and about 160 mm in print, so 12 px of type print at 7.6 points.
//! Whatever a colour tells is also told by something that grey print keeps: lightness (the palettes
//! are ladders of it), a dash pattern, a line's label or a number.

/// A colour as red, green and blue, each 0 to 255 (sRGB).
pub type Colour = (u8, u8, u8);

/// A colour as a page or a picture writes it: `#1C2530`.
pub fn hex((r, g, b): Colour) -> String {
    format!("#{r:02X}{g:02X}{b:02X}")
}

/// The paper.
pub const PAPER: Colour = (255, 255, 255);
/// Titles, axes, marks.
pub const INK: Colour = (28, 37, 48);
/// Tick labels and notes.
pub const MUTED: Colour = (82, 96, 109);
/// Grid lines.
pub const GRID: Colour = (224, 229, 233);

/// Filled bars.
pub const BAR: Colour = (126, 163, 194);
/// Bars that count less: tails outside an interval, or what comes through interaction.
pub const BAR_PALE: Colour = (212, 224, 234);

/// Line colours of overlaid series, in the order they are used. Their CIE lightness is about 30, 52, 66
/// and 42, and each goes with its own pattern of [`DASHES`].
pub const SERIES: [Colour; 4] = [(24, 72, 112), (196, 92, 38), (86, 172, 158), (132, 78, 128)];

/// A series' colour for text: dark enough to be read on paper.
pub const fn text_colour((r, g, b): Colour) -> Colour {
    const fn less(c: u8) -> u8 {
        (c as u32 * 62 / 100) as u8
    }
    (less(r), less(g), less(b))
}

/// Dash patterns of overlaid series, in px (on, off, …); the first is solid.
pub const DASHES: [&[f64]; 4] = [&[], &[8.0, 3.5], &[2.5, 2.5], &[9.0, 3.0, 2.0, 3.0]];

/// Band in which a thing is within its limit, cannot be decided, or is out: each darker than the one before.
pub const WITHIN: Colour = (226, 241, 238);
/// See [`WITHIN`].
pub const UNDECIDED: Colour = (216, 221, 226);
/// See [`WITHIN`].
pub const OUT: Colour = (237, 191, 166);

/// A third of a band's shade, behind curves.
pub const fn paler((r, g, b): Colour) -> Colour {
    const fn less(c: u8) -> u8 {
        255 - ((255 - c as u32) * 35 / 100) as u8
    }
    (less(r), less(g), less(b))
}

/// What lies on a ground of [`height_colour`] without a rim of paper: dark on any screen, as that ground stays light.
pub const ON_HEIGHTS: Colour = (28, 37, 47);

/// What becomes of each colour on a dark screen: lightness turned over, hue kept. Heights stay as they are.
pub const AFTER_DARK: [(Colour, Colour); 20] = [
    (PAPER, (20, 26, 33)),
    (INK, (230, 235, 240)),
    (MUTED, (166, 178, 190)),
    (GRID, (52, 62, 72)),
    (BAR, (84, 122, 156)),
    (BAR_PALE, (46, 62, 78)),
    (SERIES[0], (130, 183, 226)),
    (SERIES[1], (216, 112, 62)),
    (SERIES[2], (140, 222, 205)),
    (SERIES[3], (152, 102, 152)),
    (text_colour(SERIES[0]), (160, 200, 234)),
    (text_colour(SERIES[1]), (240, 160, 116)),
    (text_colour(SERIES[2]), (150, 226, 210)),
    (text_colour(SERIES[3]), (212, 170, 208)),
    (WITHIN, (32, 58, 58)),
    (UNDECIDED, (58, 66, 74)),
    (OUT, (120, 68, 42)),
    (paler(WITHIN), (24, 38, 42)),
    (paler(UNDECIDED), (34, 41, 49)),
    (paler(OUT), (56, 40, 34)),
];

/// Heights from low (dark) to high (light): lightness only ever rises, so grey print keeps the order.
const HEIGHTS: [Colour; 6] =
    [(40, 66, 104), (55, 103, 130), (88, 143, 148), (147, 183, 160), (208, 215, 178), (250, 245, 224)];

/// The colour of a height, from 0 (lowest) to 1 (highest).
pub fn height_colour(level: f64) -> Colour {
    let place = level.clamp(0.0, 1.0) * (HEIGHTS.len() - 1) as f64;
    let below = (place as usize).min(HEIGHTS.len() - 2);
    let (a, b, t) = (HEIGHTS[below], HEIGHTS[below + 1], place - below as f64);
    let mix = |a: u8, b: u8| (f64::from(a) + (f64::from(b) - f64::from(a)) * t).round() as u8;
    (mix(a.0, b.0), mix(a.1, b.1), mix(a.2, b.2))
}

/// Width of every picture, px.
pub const WIDTH: f64 = 720.0;
/// White space round the edge of a picture, px.
pub const EDGE: f64 = 16.0;

/// Line weights, px: grid and contours, axes and outlines, curves.
pub const HAIR: f64 = 0.75;
/// See [`HAIR`].
pub const THIN: f64 = 1.25;
/// See [`HAIR`].
pub const BOLD: f64 = 2.25;

/// Sizes of type, px: titles, labels of axes and things, tick labels and notes.
pub const TITLE: f64 = 17.0;
/// See [`TITLE`].
pub const LABEL: f64 = 13.0;
/// See [`TITLE`].
pub const TICK: f64 = 12.0;

#[cfg(test)]
mod tests {
    use super::*;

    /// CIE 1976 lightness of an sRGB colour (IEC 61966-2-1 transfer function, ITU-R BT.709 luminance).
    fn lightness((r, g, b): Colour) -> f64 {
        let linear = |c: u8| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { libm::pow((c + 0.055) / 1.055, 2.4) }
        };
        let y = 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
        if y > 0.008856 { 116.0 * libm::cbrt(y) - 16.0 } else { 903.3 * y }
    }

    #[test]
    fn heights_get_lighter_step_by_step() {
        let steps: Vec<f64> = (0..=20).map(|i| lightness(height_colour(f64::from(i) / 20.0))).collect();
        for pair in steps.windows(2) {
            assert!(pair[1] - pair[0] > 1.5, "{steps:?}");
        }
        assert!(steps[0] < 30.0 && steps[20] > 95.0, "{steps:?}");
    }

    fn differ_by(least: f64, colours: &[Colour]) {
        let mut all: Vec<f64> = colours.iter().map(|&colour| lightness(colour)).collect();
        all.sort_by(f64::total_cmp);
        for pair in all.windows(2) {
            assert!(pair[1] - pair[0] > least, "{all:?}");
        }
    }

    #[test]
    fn colours_that_must_be_told_apart_differ_in_grey() {
        differ_by(8.0, &SERIES);
        differ_by(5.0, &[PAPER, WITHIN, UNDECIDED, OUT]);
        differ_by(20.0, &[PAPER, BAR, INK]);
        differ_by(10.0, &[PAPER, BAR_PALE, BAR]);
    }

    /// Contrast of two colours (WCAG 2.1, relative luminance and contrast ratio).
    fn contrast(a: Colour, b: Colour) -> f64 {
        let [a, b] = [a, b].map(|colour| libm::pow((lightness(colour) + 16.0) / 116.0, 3.0) + 0.05);
        a.max(b) / a.min(b)
    }

    fn after_dark(colour: Colour) -> Colour {
        let found = AFTER_DARK.iter().find(|(before, _)| *before == colour);
        found.unwrap_or_else(|| panic!("{colour:?} has no counterpart")).1
    }

    /// WCAG 2.1, 1.4.3: text needs a contrast of 4.5 to 1, on the paper and on every band, by day and by night.
    #[test]
    fn text_stands_out_from_its_ground() {
        for text in [INK, MUTED].into_iter().chain(SERIES.map(text_colour)) {
            for ground in [PAPER, WITHIN, UNDECIDED] {
                assert!(contrast(text, ground) > 4.5, "{text:?} on {ground:?}");
                let (text, ground) = (after_dark(text), after_dark(ground));
                assert!(contrast(text, ground) > 4.5, "{text:?} on {ground:?}");
            }
        }
        assert!(contrast(INK, OUT) > 4.5 && contrast(after_dark(INK), after_dark(OUT)) > 4.5);
    }

    #[test]
    fn colours_differ_in_grey_on_a_dark_screen_too() {
        differ_by(5.0, &SERIES.map(after_dark));
        differ_by(4.0, &[PAPER, WITHIN, UNDECIDED, OUT].map(after_dark));
        differ_by(10.0, &[PAPER, BAR_PALE, BAR, INK].map(after_dark));
    }
}
