//! Numbers in a report: no more digits than the uncertainty is worth.

use std::ops::RangeInclusive;

/// An estimate and its uncertainty, rounded to the same place (GUM 7.2.6).
///
/// ```
/// use howflat::quantity::rounding::Rounded;
///
/// let mass = Rounded::of(100.021_473, 0.000_348, 2);
/// assert_eq!(mass.to_string(), "100.02147 ± 0.00035");
/// assert_eq!(mass.concise(), "100.02147(35)");
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rounded {
    /// The estimate.
    pub estimate: String,
    /// The uncertainty.
    pub uncertainty: String,
}

impl Rounded {
    /// Rounds `uncertainty` to `n_digits` significant digits (GUM 7.2.6: at most two; more where
    /// the figures go into further computation) and `estimate` to the same place.
    ///
    /// Ties go to the even digit (ISO 80000-1:2009, B.3, rule A), judged on 15 significant decimal
    /// digits, so that a 0.125 that a computation left a little short is still a tie. An uncertainty
    /// of 0, or one that is not finite, rounds nothing.
    pub fn of(estimate: f64, uncertainty: f64, n_digits: u32) -> Self {
        let uncertainty = uncertainty.abs();
        if uncertainty == 0.0 || !uncertainty.is_finite() || !estimate.is_finite() {
            return Self { estimate: significant(estimate, 15), uncertainty: significant(uncertainty, 15) };
        }
        let place = last_place(uncertainty, n_digits).unwrap_or(0);
        Self { estimate: at_place(estimate, place), uncertainty: at_place(uncertainty, place) }
    }

    /// The form with the uncertainty in brackets, in units of the estimate's last digit (GUM 7.2.2,
    /// form 2); the usual form where nothing was rounded.
    pub fn concise(&self) -> String {
        let (uncertainty, _) = self.uncertainty.split_once('e').unwrap_or((&self.uncertainty, ""));
        let digits = uncertainty.replace('.', "");
        let digits = digits.trim_start_matches('0');
        if !digits.starts_with(|c: char| c.is_ascii_digit()) {
            return self.to_string();
        }
        match self.estimate.split_once('e') {
            Some((estimate, exponent)) => format!("{estimate}({digits})e{exponent}"),
            None => format!("{}({digits})", self.estimate),
        }
    }
}

impl std::fmt::Display for Rounded {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} ± {}", self.estimate, self.uncertainty)
    }
}

/// The power of ten of the last digit that counts, if `uncertainty` is rounded to `n_digits` significant digits; none
/// for an uncertainty of 0, or one that is not finite.
pub fn last_place(uncertainty: f64, n_digits: u32) -> Option<i32> {
    (uncertainty != 0.0 && uncertainty.is_finite())
        .then(|| Decimal::of(uncertainty).to_digits(n_digits).last())
}

/// `value` with at most `n_digits` significant digits, without zeros that only fill up.
pub fn significant(value: f64, n_digits: u32) -> String {
    if !value.is_finite() || value == 0.0 {
        return format!("{}", value + 0.0);
    }
    let rounded = Decimal::of(value).to_digits(n_digits);
    let zeros = rounded.digits.iter().rev().take_while(|&&digit| digit == 0).count();
    at_place(value, rounded.last() + zeros as i32)
}

/// `value` rounded to a multiple of `10^place` and written to that place: `at_place(2.345, -2)` is
/// `2.34`. An exponent is used where it spares a row of zeros.
pub fn at_place(value: f64, place: i32) -> String {
    if !value.is_finite() {
        return format!("{value}");
    }
    let rounded = Decimal::of(value).rounded(place);
    if rounded.digits.iter().all(|&digit| digit == 0) {
        return fixed(0.0, if (-9..0).contains(&place) { place } else { 0 });
    }
    // Beyond these the zeros between the point and the digits are hard to count.
    let spared = !(-9..=6).contains(&place) && !(-5..=6).contains(&rounded.first);
    rounded.written(value < 0.0, place, if spared { rounded.first } else { 0 })
}

/// A finite `value` rounded to a multiple of `10^place` and written in full to that place; nothing but zeros has no sign.
pub fn fixed(value: f64, place: i32) -> String {
    let rounded = Decimal::of(value).rounded(place);
    let is_zero = rounded.digits.iter().all(|&digit| digit == 0);
    let rounded = if is_zero { Decimal { digits: vec![0], first: 0 } } else { rounded };
    rounded.written(value < 0.0 && !is_zero, if is_zero { place.min(0) } else { place }, 0)
}

/// A finite `value` with `n_digits` significant digits, zeros at their end included; with an exponent unless that is one of
/// `in_full`.
pub fn with_digits(value: f64, n_digits: u32, in_full: RangeInclusive<i32>) -> String {
    if value == 0.0 {
        return fixed(0.0, 1 - n_digits as i32);
    }
    let rounded = Decimal::of(value).to_digits(n_digits);
    let exponent = if in_full.contains(&rounded.first) { 0 } else { rounded.first };
    rounded.written(value < 0.0, rounded.last(), exponent)
}

/// A number's magnitude in decimal, to 15 significant digits.
struct Decimal {
    /// From the first significant digit on.
    digits: Vec<u8>,
    /// The power of ten of the first.
    first: i32,
}

impl Decimal {
    fn of(value: f64) -> Self {
        let text = format!("{:.14e}", value.abs());
        let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        let digits = mantissa.bytes().filter(u8::is_ascii_digit).map(|byte| byte - b'0').collect();
        Self { digits, first: exponent.parse().unwrap_or(0) }
    }

    /// The digit at a power of ten.
    fn digit(&self, place: i32) -> u8 {
        usize::try_from(self.first - place).ok().and_then(|k| self.digits.get(k)).copied().unwrap_or(0)
    }

    /// Rounded to a multiple of `10^place`, ties to even.
    fn rounded(&self, place: i32) -> Self {
        let first = self.first.max(place);
        let mut digits: Vec<u8> = (place..=first).rev().map(|position| self.digit(position)).collect();
        let next = self.digit(place - 1);
        let beyond =
            (0..self.digits.len() as i32).any(|k| self.first - k < place - 1 && self.digits[k as usize] > 0);
        let odd = digits.last().is_some_and(|digit| digit % 2 == 1);
        let up = next > 5 || (next == 5 && (beyond || odd));
        let mut first = first;
        if up {
            let nines = digits.iter().rev().take_while(|&&digit| digit == 9).count();
            let stays = digits.len() - nines;
            digits[stays..].fill(0);
            if stays == 0 {
                digits.insert(0, 1);
                first += 1;
            } else {
                digits[stays - 1] += 1;
            }
        }
        Self { digits, first }
    }

    /// Rounded to `n_digits` significant digits, at least one.
    fn to_digits(&self, n_digits: u32) -> Self {
        let n = n_digits.max(1) as i32;
        let mut rounded = self.rounded(self.first - n + 1);
        // A carry into a new digit makes the last one superfluous.
        rounded.digits.truncate(n as usize);
        rounded
    }

    /// In text, down to `place`, in powers of ten over `10^exponent`.
    fn written(&self, is_negative: bool, place: i32, exponent: i32) -> String {
        let mut text = String::from(if is_negative { "-" } else { "" });
        for position in (place.min(exponent)..=self.first.max(exponent)).rev() {
            text.push(char::from(b'0' + self.digit(position)));
            if position == exponent && place < exponent {
                text.push('.');
            }
        }
        if exponent != 0 {
            text.push_str(&format!("e{exponent}"));
        }
        text
    }

    /// The power of ten of the last digit.
    fn last(&self) -> i32 {
        self.first + 1 - self.digits.len() as i32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(estimate: f64, uncertainty: f64, expected: &str) {
        assert_eq!(Rounded::of(estimate, uncertainty, 2).to_string(), expected);
    }

    #[test]
    fn the_guide_s_own_examples() {
        // GUM 7.2.6: 10.057 62 Ω with 27 mΩ; 28.05 kHz comes down to 28 kHz.
        check(10.05762, 0.027, "10.058 ± 0.027");
        check(0.0, 28.05, "0 ± 28");
        // GUM 7.2.2.
        assert_eq!(Rounded::of(100.02147, 0.00035, 2).concise(), "100.02147(35)");
    }

    #[test]
    fn ties_go_to_the_even_digit_as_a_person_sees_them() {
        check(2.5, 10.0, "2 ± 10");
        check(3.5, 10.0, "4 ± 10");
        check(0.0, 0.125, "0.00 ± 0.12");
        check(0.0, 0.135, "0.00 ± 0.14");
        // 1.005 lies below the tie in binary, 0.1 + 0.2 above 0.3: neither shows.
        check(1.005, 0.1, "1.00 ± 0.10");
        check(1.015, 0.1, "1.02 ± 0.10");
        check(0.25, 0.1 + 0.2, "0.25 ± 0.30");
    }

    #[test]
    fn a_carry_keeps_the_number_of_digits() {
        check(1.0, 0.0995, "1.00 ± 0.10");
        check(1.0, 0.0994, "1.000 ± 0.099");
        check(1.0, 9.96, "1 ± 10");
        check(9.996, 0.01, "9.996 ± 0.010");
        check(9.996, 0.1, "10.00 ± 0.10");
        check(99.96, 1.0, "100.0 ± 1.0");
    }

    #[test]
    fn sizes_and_signs() {
        check(1_234_567.0, 12_345.0, "1235000 ± 12000");
        check(-0.0003, 2.1, "0.0 ± 2.1");
        check(-3.21456, 0.0123, "-3.215 ± 0.012");
        check(0.4, 123.0, "0 ± 120");
        check(7.0, 123.0, "10 ± 120");
        check(1.234567e-9, 1.2e-13, "1.23457e-9 ± 1.2e-13");
        check(3.0, 4.2e10, "0 ± 4.2e10");
        assert_eq!(Rounded::of(1.234567e-9, 1.2e-13, 2).concise(), "1.23457(12)e-9");
        assert_eq!(Rounded::of(1_234_567.0, 12_345.0, 2).concise(), "1235000(12000)");
        assert_eq!(Rounded::of(12.34, 1.0, 2).concise(), "12.3(10)");
        check(5e12, 2.34e10, "5.000e12 ± 2.3e10");
        // The least number there is, 4.94e-324.
        check(5e-324, 5e-324, "4.9e-324 ± 4.9e-324");
    }

    #[test]
    fn without_an_uncertainty_nothing_is_rounded() {
        check(0.1 + 0.2, 0.0, "0.3 ± 0");
        check(2.5, f64::INFINITY, "2.5 ± inf");
        check(f64::NAN, 1.0, "NaN ± 1");
        assert_eq!(Rounded::of(2.5, 0.0, 2).concise(), "2.5 ± 0");
        assert_eq!(Rounded::of(2.5, f64::INFINITY, 2).concise(), "2.5 ± inf");
    }

    #[test]
    fn significant_digits() {
        assert_eq!(significant(0.000_123_456, 3), "0.000123");
        assert_eq!(significant(1234.56, 2), "1200");
        assert_eq!(significant(2.0, 4), "2");
        assert_eq!(significant(0.999_6, 3), "1");
        assert_eq!(significant(-0.0, 3), "0");
        assert_eq!(significant(6.5e-12, 3), "6.5e-12");
    }
}
