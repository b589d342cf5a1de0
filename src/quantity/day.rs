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

/// A day as a person or a spreadsheet writes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WrittenDay {
    /// One day. The order is told where day and month stand as numbers and only one order gives a day.
    One(Day, Option<DayOrder>),
    /// Day and month may be read either way: `3/4/2021`.
    Open {
        /// The day if the first number is the day.
        day_first: Day,
        /// The day if the first number is the month.
        month_first: Day,
    },
}

/// Which of day and month stands first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DayOrder {
    /// `15.03.2021`.
    DayFirst,
    /// `3/15/2021`.
    MonthFirst,
}

/// Names of months, by their first three letters.
const MONTHS: [&str; 12] =
    ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];

/// Years in which a plate's history can lie.
const YEARS: std::ops::RangeInclusive<i16> = 1900..=2199;

impl Day {
    /// Reads a day as people and spreadsheets write it, with a year of four digits: `2024-03-01`, `2024/3/1`,
    /// `3/15/2021`, `15.03.2021`, `15 Mar 2021`, `March 15, 2021`, each with a time of day or without. `None` for anything
    /// else, days that do not exist, and years before 1900 or after 2199.
    pub fn read(text: &str) -> Option<WrittenDay> {
        let mut text = text.trim();
        // A time of day tells nothing more.
        if let Some((at, _)) = text.match_indices(['T', ' ']).find(|(at, _)| is_time(&text[at + 1..])) {
            text = &text[..at];
        }
        let parts: Vec<&str> =
            text.split(['-', '/', '.', ' ', ',']).filter(|part| !part.is_empty()).collect();
        let [a, b, c] = parts[..] else { return None };
        let number = |part: &str| {
            let is_number = part.len() <= 2 && part.bytes().all(|byte| byte.is_ascii_digit());
            part.parse::<i8>().ok().filter(|_| is_number)
        };
        let year = |part: &str| {
            let is_year = part.len() == 4 && part.bytes().all(|byte| byte.is_ascii_digit());
            part.parse::<i16>().ok().filter(|_| is_year)
        };
        let month = |part: &str| {
            let name = part.to_lowercase();
            let place = MONTHS.iter().position(|month| name.len() >= 3 && name.starts_with(month))?;
            Some(place as i8 + 1)
        };
        if let Some(year) = year(a) {
            return Some(WrittenDay::One(Self::new(year, number(b)?, number(c)?)?, None));
        }
        let year = year(c)?;
        if let Some((month, day)) = month(a).zip(number(b)).or_else(|| month(b).zip(number(a))) {
            return Some(WrittenDay::One(Self::new(year, month, day)?, None));
        }
        let (a, b) = (number(a)?, number(b)?);
        match (Self::new(year, b, a), Self::new(year, a, b)) {
            (Some(day), None) => Some(WrittenDay::One(day, Some(DayOrder::DayFirst))),
            (None, Some(day)) => Some(WrittenDay::One(day, Some(DayOrder::MonthFirst))),
            (Some(day), Some(same)) if day == same => Some(WrittenDay::One(day, None)),
            (Some(day_first), Some(month_first)) => Some(WrittenDay::Open { day_first, month_first }),
            (None, None) => None,
        }
    }

    /// The day of a year, month (from 1) and day (from 1), if it exists and lies in 1900 to 2199.
    pub fn new(year: i16, month: i8, day: i8) -> Option<Self> {
        let date = Date::new(year, month, day).ok().filter(|_| YEARS.contains(&year))?;
        let seconds = Offset::UTC.to_timestamp(date.at(0, 0, 0, 0)).ok()?.as_second();
        Some(Self { since_1970: seconds.div_euclid(86_400) })
    }

    /// The day that a spreadsheet keeps under a number, where it counts from 1900: 25569 is 1970-01-01 (common practice, no
    /// source). `None` for a number that no day of a plate's history would have.
    pub fn of_spreadsheet(number: &str) -> Option<Self> {
        let number: i64 = number.trim().parse().ok()?;
        (20_000..80_000).contains(&number).then(|| Self { since_1970: number - 25_569 })
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

/// `14:30`, `00:00:00`, `00:00:00.000Z`.
fn is_time(text: &str) -> bool {
    let hours = text.split(':').next().unwrap_or_default();
    text.contains(':') && !hours.is_empty() && hours.bytes().all(|byte| byte.is_ascii_digit())
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

    /// Two fixed points that spreadsheets agree on (from memory): 25569 and 45000.
    #[test]
    fn a_spreadsheets_number_is_a_day() {
        assert_eq!(Day::of_spreadsheet("25569"), Day::new(1970, 1, 1));
        assert_eq!(Day::of_spreadsheet(" 45000 "), Day::new(2023, 3, 15));
        assert_eq!([Day::of_spreadsheet("2024"), Day::of_spreadsheet("45000.5")], [None; 2]);
    }

    fn day(text: &str) -> Day {
        match Day::read(text) {
            Some(WrittenDay::One(day, None)) => day,
            other => panic!("{text}: {other:?}"),
        }
    }

    /// Julian day numbers 2451545 (2000-01-01) and 2440588 (1970-01-01) are 10957 days apart; 2000
    /// was a leap year and 1900 was none.
    #[test]
    fn days_are_counted() {
        assert_eq!(day("2000-01-01").since_1970, 10_957);
        assert_eq!(day("2000-03-01").since_1970 - day("2000-02-28").since_1970, 2);
        assert_eq!(day("1900-03-01").since_1970 - day("1900-02-28").since_1970, 1);
        assert_eq!(day("2024-02-29").to_string(), "2024-02-29");
        assert_eq!(day("2024-02-29").plus_years(1.0).to_string(), "2025-02-28");
        assert!((day("2025-01-01").years_since(day("2021-01-01")) - 1461.0 / DAYS_PER_YEAR).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_day() {
        for text in [
            "3/15/21",
            "2023-02-29",
            "24-03-01",
            "1899-12-31",
            "29.02.2023",
            "13/13/2021",
            "15 Mrz 2021",
            "3/15/2021 noon",
            "1/2/3/2021",
            "",
        ] {
            assert_eq!(Day::read(text), None, "{text}");
        }
    }

    #[test]
    fn days_as_spreadsheets_write_them() {
        let march = day("2021-03-15");
        for (text, order) in [
            ("3/15/2021", Some(DayOrder::MonthFirst)),
            ("15.03.2021", Some(DayOrder::DayFirst)),
            ("15-3-2021", Some(DayOrder::DayFirst)),
            ("15. 3. 2021", Some(DayOrder::DayFirst)),
            ("2021-3-15", None),
            ("2021/03/15", None),
            ("15 March 2021", None),
            ("15-Mar-2021", None),
            ("mar 15, 2021", None),
            ("2021-03-15T00:00:00Z", None),
            ("2021-03-15 08:30", None),
            ("15 Mar 2021 08:30", None),
            ("March 15, 2021 08:30", None),
            ("15. 3. 2021 08:30", Some(DayOrder::DayFirst)),
        ] {
            assert_eq!(Day::read(text), Some(WrittenDay::One(march, order)), "{text}");
        }
        let open = WrittenDay::Open { day_first: day("2021-04-03"), month_first: day("2021-03-04") };
        assert_eq!(Day::read("3/4/2021"), Some(open));
        assert_eq!(Day::read("5.5.2021"), Some(WrittenDay::One(day("2021-05-05"), None)));
    }
}
