//! How plan lengths are written in messages and names.

use crate::quantity::unit::{INCH, MILLIMETRE, Measure, Unit};

/// Writes plan lengths, which are in mm, in inches or millimetres.
#[derive(Debug, Clone, Copy)]
pub struct Lengths {
    /// Inch or millimetre.
    pub unit: Unit,
}

impl Lengths {
    /// A length, to a hundredth of an inch or a tenth of a millimetre.
    pub fn text(self, millimetres: f64) -> String {
        let value = Measure { value: millimetres, unit: MILLIMETRE }.to(self.unit);
        let places = if self.unit == INCH { 100.0 } else { 10.0 };
        // Adding zero turns -0 into 0.
        Measure { value: (value * places).round() / places + 0.0, unit: self.unit }.to_string()
    }

    /// A point of the plate, or two sides: `36 x 24 in`.
    pub fn place(self, [x, y]: [f64; 2]) -> String {
        let x = self.text(x);
        let x = x.strip_suffix(self.unit.symbol()).unwrap_or(&x);
        format!("{x}x {}", self.text(y))
    }
}
