//! The font of every picture, carried in the program so that a picture is the same on any machine.
//!
//! Its origin and licence (SIL Open Font License 1.1) are in `README.txt` and `OFL.txt` beside this file.

use std::sync::OnceLock;

use plotters::style::{FontStyle, register_font};

/// What pictures ask for: our font, or whatever the reader's machine has.
pub const FAMILY: &str = "Howflat Sans, sans-serif";
/// The name under which the font files know themselves.
pub const NAME: &str = "Howflat Sans";
/// The regular font, an OpenType file.
pub const REGULAR: &[u8] = include_bytes!("HowflatSans-Regular.otf");
/// The bold font, an OpenType file.
pub const BOLD: &[u8] = include_bytes!("HowflatSans-Bold.otf");

/// Makes the fonts known to `plotters`; the first call does the work. Says whether they could be read.
pub(super) fn register() -> bool {
    static DONE: OnceLock<bool> = OnceLock::new();
    *DONE.get_or_init(|| {
        register_font(FAMILY, FontStyle::Normal, REGULAR).is_ok()
            && register_font(FAMILY, FontStyle::Bold, BOLD).is_ok()
    })
}
