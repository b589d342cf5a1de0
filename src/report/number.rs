//! Numbers as text: rounded for people, in full for machines.
//!
//! Text that may be copied (terminal, Markdown) and files for machines (CSV, JSON) have an ASCII minus, so
//! that what is copied can be typed in again. What is set in type (pictures, HTML) has U+2212.

use crate::quantity::rounding::{fixed, last_place, with_digits};
use crate::quantity::unit::{MICROMETRE, Measure, TENTH, Unit};

/// How many digits of a number are shown.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Digits {
    /// This many after the decimal point; −2 rounds to hundreds.
    Decimals(i32),
    /// This many significant ones, with a power of ten for what is very small or large.
    Significant(usize),
    /// As many as it takes to read the same number back.
    Full,
}

impl Digits {
    /// As many as an estimate is worth that has this uncertainty, of which `n_digits` significant digits are
    /// shown; all of them for an estimate that is exactly known.
    pub fn worth(estimate: f64, uncertainty: f64, n_digits: u32) -> Self {
        match last_place(uncertainty, n_digits) {
            Some(place) if (-6..=4).contains(&place) => Self::Decimals(-place),
            Some(place) => {
                let first =
                    if estimate == 0.0 { place } else { libm::floor(libm::log10(estimate.abs())) as i32 };
                Self::Significant((first - place + 1).clamp(n_digits as i32, 17) as usize)
            }
            None => Self::Full,
        }
    }
}

/// A number in plain text, such as `-0.25` or `6.5e-6`; infinity is `inf`, no number a dash.
///
/// A value that rounds to zero has no sign, and ties go to the even digit, as [`crate::quantity::rounding`] has it.
pub fn plain(value: f64, digits: Digits) -> String {
    if value.is_nan() {
        return "-".to_string();
    }
    if value.is_infinite() {
        return if value > 0.0 { "inf" } else { "-inf" }.to_string();
    }
    match digits {
        Digits::Decimals(n) => fixed(value, -n.clamp(-300, 17)),
        Digits::Significant(n) => with_digits(value, n.clamp(1, 17) as u32, -4..=5),
        Digits::Full => full(value),
    }
}

/// The same set in type: `−0.25`, `6.5×10⁻⁶`, `∞`.
pub fn typeset(value: f64, digits: Digits) -> String {
    if value.is_nan() {
        return "–".to_string();
    }
    let text = plain(value, digits).replace("inf", "∞");
    let (size, power) = text.split_once('e').unwrap_or((&text, ""));
    let mut out = size.replace('-', "−");
    if !power.is_empty() {
        out.push_str("×10");
        out.extend(power.chars().map(|c| match c {
            '-' => '⁻',
            '1' => '¹',
            '2' => '²',
            '3' => '³',
            c => char::from_u32('⁰' as u32 + (c as u32 - '0' as u32)).unwrap_or(c),
        }));
    }
    out
}

/// What a unit is called after a number: one tenth, but 1.4 tenths.
pub fn unit_label(unit: Unit) -> &'static str {
    if unit == TENTH { "tenths" } else { unit.symbol() }
}

/// How many decimals a height is shown to in a unit: about a hundredth of a micrometre, which is
/// less than any shop check resolves.
pub fn height_digits(unit: Unit) -> Digits {
    let micrometres = Measure { value: 1.0, unit }.to(MICROMETRE);
    Digits::Decimals(libm::round(libm::log10(micrometres / 0.02)).max(0.0) as i32)
}

/// A probability as a percentage: `99.73 %`.
pub fn percent(p: f64) -> String {
    let text = plain(100.0 * p, Digits::Significant(6));
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    format!("{text} %")
}

/// A share as a percentage, to so many decimals: `104 %`.
pub fn share(p: f64, decimals: i32) -> String {
    format!("{} %", plain(100.0 * p, Digits::Decimals(decimals)))
}

/// A probability that was computed, as a percentage, no finer than it is known: `1.2 %`, `less than 0.1 %`.
pub fn probability(p: f64) -> String {
    match p {
        p if p > 0.999 => "more than 99.9 %".into(),
        p if p < 0.001 => "less than 0.1 %".into(),
        p => share(p, if (0.05..0.95).contains(&p) { 0 } else { 1 }),
    }
}

/// A probability that was counted over many trials, to the two or three digits that it is worth: `4.9 %`, `12.3 %`.
pub fn about_percent(p: f64) -> String {
    format!("{} %", short(100.0 * p, if p < 0.1 { 2 } else { 3 }))
}

/// An amount of money, to whole units where it is large.
pub fn money(amount: f64) -> String {
    plain(amount, Digits::Decimals(if amount.abs() < 10.0 { 2 } else { 0 }))
}

/// At most `n` significant digits set in type, without zeros at the end of decimals: `0.5`, `20`.
pub fn short(value: f64, n: usize) -> String {
    let text = typeset(value, Digits::Significant(n));
    let (size, power) = text.split_once('×').unwrap_or((&text, ""));
    let size = if size.contains('.') { size.trim_end_matches('0').trim_end_matches('.') } else { size };
    if power.is_empty() { size.to_string() } else { format!("{size}×{power}") }
}

/// The nearest number of `n` significant digits.
pub fn rounded(value: f64, n: u32) -> f64 {
    if value.is_finite() { with_digits(value, n, 0..=0).parse().unwrap_or(value) } else { value }
}

/// The number in full: the shortest decimal text that reads back as the same `f64`.
pub fn full(value: f64) -> String {
    if value == 0.0 {
        return "0".to_string();
    }
    let size = value.abs();
    if value.is_finite() && !(1e-5..1e16).contains(&size) { format!("{value:e}") } else { format!("{value}") }
}

#[cfg(test)]
mod tests {
    use super::Digits::{Decimals, Significant};
    use super::*;

    #[test]
    fn decimals() {
        assert_eq!(plain(1234.567, Decimals(1)), "1234.6");
        assert_eq!(plain(1234.567, Decimals(-2)), "1200");
        assert_eq!(plain(-0.04, Decimals(1)), "0.0");
        assert_eq!(plain(-40.0, Decimals(-2)), "0");
        assert_eq!(typeset(-1.25, Decimals(2)), "−1.25");
    }

    #[test]
    fn significant_digits() {
        assert_eq!(plain(0.0, Significant(2)), "0.0");
        assert_eq!(plain(9.96, Significant(2)), "10");
        assert_eq!(plain(-0.001234, Significant(2)), "-0.0012");
        assert_eq!(plain(123456.0, Significant(2)), "120000");
        assert_eq!(plain(6.5e-6, Significant(2)), "6.5e-6");
        assert_eq!(typeset(-6.5e-6, Significant(2)), "−6.5×10⁻⁶");
        assert_eq!(typeset(1.0e23, Significant(1)), "1×10²³");
    }

    #[test]
    fn short_ones() {
        assert_eq!(short(0.5000000000000001, 3), "0.5");
        assert_eq!(short(-20.0, 3), "−20");
        assert_eq!(short(5e-6, 2), "5×10⁻⁶");
    }

    #[test]
    fn what_is_no_ordinary_number() {
        assert_eq!(typeset(f64::INFINITY, Significant(2)), "∞");
        assert_eq!(plain(f64::NEG_INFINITY, Decimals(2)), "-inf");
        assert_eq!(typeset(f64::NAN, Decimals(2)), "–");
        assert_eq!(plain(f64::MAX, Decimals(-400)).len(), 309);
    }

    #[test]
    fn an_estimate_gets_the_digits_it_is_worth() {
        for (estimate, u, digits, text) in [
            (50_000_838.123, 31.658, 2, "50000838"),
            (1.234_567, 0.053_85, 3, "1.2346"),
            (1_234_567.0, 2_500.0, 2, "1234600"),
            (1.154_7e-5, 1.1547e-6, 3, "1.155e-5"),
            (1.15e-17, 1.2e-18, 2, "1.15e-17"),
            (0.1 + 0.2, 0.0, 2, "0.30000000000000004"),
            (50_000_000.0, 0.0, 2, "50000000"),
        ] {
            assert_eq!(plain(estimate, Digits::worth(estimate, u, digits)), text);
        }
    }

    #[test]
    fn full_reads_back() {
        for value in [0.1, -6.5e-6, 1.0 / 3.0, 1e300, 5e-324, 20.0, f64::INFINITY] {
            assert_eq!(full(value).parse::<f64>(), Ok(value));
        }
        assert_eq!(full(6.5e-6), "6.5e-6");
        assert_eq!(full(-0.0), "0");
    }
}
