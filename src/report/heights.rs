//! Heights, which are micrometres inside, in the unit of a report.

use super::{
    number::{Digits, height_digits, plain, typeset, unit_label},
    table::{Cell, Rows},
};
use crate::quantity::{
    sample::Summary,
    unit::{MICROMETRE, Measure, Unit},
};

/// Writes heights in a unit, to about a hundredth of a micrometre.
#[derive(Debug, Clone, Copy)]
pub struct Heights {
    /// The unit.
    pub unit: Unit,
}

impl Heights {
    /// What the unit is called after a number.
    pub fn label(self) -> &'static str {
        unit_label(self.unit)
    }

    /// A height in µm, in the unit.
    pub fn of(self, micrometres: f64) -> f64 {
        Measure { value: micrometres, unit: MICROMETRE }.to(self.unit)
    }

    /// Heights in µm, in the unit.
    pub fn all(self, micrometres: &[f64]) -> Vec<f64> {
        micrometres.iter().map(|&height| self.of(height)).collect()
    }

    /// How many digits are shown.
    pub fn digits(self) -> Digits {
        height_digits(self.unit)
    }

    /// The number alone.
    pub fn bare(self, micrometres: f64) -> String {
        plain(self.of(micrometres), self.digits())
    }

    /// Number and unit.
    pub fn text(self, micrometres: f64) -> String {
        format!("{} {}", self.bare(micrometres), self.label())
    }

    /// A reading set in type, with its sign.
    pub fn signed(self, micrometres: f64) -> String {
        let text = typeset(self.of(micrometres), self.digits());
        let shortened =
            if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
        if self.of(micrometres) > 0.0 && shortened != "0" {
            format!("+{shortened}")
        } else {
            shortened.into()
        }
    }

    /// A cell of a table.
    pub fn cell(self, micrometres: f64) -> Cell {
        Cell::Number(self.of(micrometres), self.digits())
    }
}

impl<R> Rows<R> {
    /// The columns of a summary (µm): what its mean and its standard deviation are called, both intervals.
    pub fn summary(self, h: Heights, [mean, u]: [&str; 2], summary: impl Fn(&R) -> Summary) -> Self {
        let headers = [mean, u, "symmetric from", "to", "shortest from", "to"];
        self.heights(h, headers, |row| {
            let s = summary(row);
            let [[low, high], [shortest_low, shortest_high]] = [s.interval_symmetric, s.interval_shortest];
            [s.mean, s.standard_deviation, low, high, shortest_low, shortest_high]
        })
    }
}
