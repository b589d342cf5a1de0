//! A day of the calendar, and how many days lie between two.

use jiff::{civil::Date, tz::Offset};
use std::fmt;

/// Days in a year on average (Gregorian calendar).
pub const DAYS_PER_YEAR: f64 = 365.2425;

/// A day of the Gregorian calendar, as ISO 8601 writes it: `2024-03-01`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day {
    /// Days since 1970-01-01.
    since_1970: i64,
}

/// Years in which a plate's history can lie.
const YEARS: std::ops::RangeInclusive<i16> = 1900..=2199;

impl Day {
    /// Reads `2024-03-01`; `None` for anything else, days that do not exist, and years before 1900 or
    /// after 2199.
    pub fn parse(text: &str) -> Option<Self> {
        let is_form = text.len() == 10
            && text.bytes().enumerate().all(|(i, byte)| match i {
                4 | 7 => byte == b'-',
                _ => byte.is_ascii_digit(),
            });
        let number = |from: usize, to: usize| text.get(from..to)?.parse().ok();
        if !is_form {
            return None;
        }
        Self::new(number(0, 4)?, number(5, 7)? as i8, number(8, 10)? as i8)
    }

    /// The day of a year, month (from 1) and day (from 1), if it exists and lies in 1900 to 2199.
    pub fn new(year: i16, month: i8, day: i8) -> Option<Self> {
        let date = Date::new(year, month, day).ok().filter(|_| YEARS.contains(&year))?;
        let seconds = Offset::UTC.to_timestamp(date.at(0, 0, 0, 0)).ok()?.as_second();
        Some(Self { since_1970: seconds.div_euclid(86_400) })
    }

    /// Years from `other` to this day, negative where this one is earlier.
    pub fn years_since(self, other: Self) -> f64 {
        (self.since_1970 - other.since_1970) as f64 / DAYS_PER_YEAR
    }

    /// The day that lies so many years later, to the nearest day.
    pub fn plus_years(self, years: f64) -> Self {
        Self { since_1970: self.since_1970 + libm::round(years * DAYS_PER_YEAR) as i64 }
    }

    /// Year, month and day.
    pub fn year_month_day(self) -> (i16, i8, i8) {
        let date = jiff::Timestamp::from_second(self.since_1970 * 86_400)
            .map(|instant| Offset::UTC.to_datetime(instant).date())
            .unwrap_or(Date::MAX);
        (date.year(), date.month(), date.day())
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (year, month, day) = self.year_month_day();
        write!(f, "{year:04}-{month:02}-{day:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Julian day numbers 2451545 (2000-01-01) and 2440588 (1970-01-01) are 10957 days apart; 2000
    /// was a leap year and 1900 was none.
    #[test]
    fn days_are_counted() {
        let day = |text| Day::parse(text).unwrap();
        assert_eq!(day("2000-01-01").since_1970, 10_957);
        assert_eq!(day("2000-03-01").since_1970 - day("2000-02-28").since_1970, 2);
        assert_eq!(day("1900-03-01").since_1970 - day("1900-02-28").since_1970, 1);
        assert_eq!(day("2024-02-29").to_string(), "2024-02-29");
        assert_eq!(day("2024-02-29").plus_years(1.0).to_string(), "2025-02-28");
        assert!((day("2025-01-01").years_since(day("2021-01-01")) - 1461.0 / DAYS_PER_YEAR).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_day() {
        for text in
            ["2023-02-29", "24-03-01", "2024-3-1", "01.03.2024", "3/1/2024", "2024-03-01T", "1899-12-31", ""]
        {
            assert_eq!(Day::parse(text), None, "{text}");
        }
    }
}
