//! Values with units, as people type them.

use std::f64::consts::PI;
use std::fmt;

/// What kind of quantity a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// A count, a ratio, a fraction: no unit.
    PureNumber,
    /// A length, a height, a deviation.
    Length,
    /// A difference of temperatures, so that `1 °C` is `1 K` and `1 °F` is `5/9 K`.
    TemperatureDifference,
    /// A coefficient of linear thermal expansion.
    Expansion,
    /// A plane angle, or a slope.
    Angle,
    /// A time.
    Time,
    /// How fast a temperature changes.
    TemperatureRate,
    /// How fast a length changes.
    LengthRate,
    /// How much a temperature differs along a length.
    TemperatureGradient,
}

impl Dimension {
    /// What it is called in a message, with its article: "a length".
    pub fn name(self) -> &'static str {
        match self {
            Self::PureNumber => "a number without a unit",
            Self::Length => "a length",
            Self::TemperatureDifference => "a temperature difference",
            Self::Expansion => "an expansion coefficient",
            Self::Angle => "an angle",
            Self::Time => "a time",
            Self::TemperatureRate => "a rate of temperature change",
            Self::LengthRate => "a drift of length with time",
            Self::TemperatureGradient => "a temperature gradient",
        }
    }

    /// Units to suggest, as one would type them.
    fn examples(self) -> &'static [&'static str] {
        match self {
            Self::PureNumber => &["", "%"],
            Self::Length => &["mm", "µm", "in", "tenths"],
            Self::TemperatureDifference => &["°C", "K", "°F"],
            Self::Expansion => &["/K", "ppm/K", "µin/in/°F"],
            Self::Angle => &["deg", "arcmin", "mrad"],
            Self::Time => &["s", "min", "h"],
            Self::TemperatureRate => &["K/h", "°F/h"],
            Self::LengthRate => &["µm/h", "µin/h"],
            Self::TemperatureGradient => &["K/m", "°F/ft"],
        }
    }
}

/// How a suggestion of all units begins.
const ONE_OF: &str = "write one of";

/// A unit of measurement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    symbol: &'static str,
    dimension: Dimension,
    /// How many of its dimension's smallest common parts go into it: whole numbers, so that inches
    /// and millimetres convert without a rounding of their own. An angle's part is the radian.
    size: f64,
}

impl Unit {
    /// How it is written: `µm`, `in`, `1/K`; empty for a pure number.
    pub fn symbol(self) -> &'static str {
        self.symbol
    }

    /// What it measures.
    pub fn dimension(self) -> Dimension {
        self.dimension
    }

    /// Whether both count from one zero, so that also a temperature, not only a difference of two, is converted by a factor.
    pub fn shares_zero(self, other: Self) -> bool {
        let [a, b] = [self, other].map(|unit| if unit == MILLIKELVIN { KELVIN } else { unit });
        self.dimension != Dimension::TemperatureDifference || a == b
    }

    /// The unit written as `text`, with no number before it.
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        if let Some(unit) = look_up(text) {
            return Ok(unit);
        }
        let fix = match text.trim() {
            "'" | "′" => "write ft for feet or arcmin for minutes of arc".into(),
            "µ" | "μ" | "u" => "write µm or µin".into(),
            "t" | "T" => "write tenths for 0.0001 in".into(),
            "m/s" | "mm/s" => "write a drift as µm/h".into(),
            _ => format!("{ONE_OF} {}", listing(UNITS.iter().map(|unit| unit.symbol))),
        };
        Err(UnitError { found: text.trim().into(), must: "a known unit".into(), fix })
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol)
    }
}

macro_rules! units {
    ($($(#[$doc:meta])* $name:ident = $symbol:literal $dimension:ident $size:expr;)*) => {
        $($(#[$doc])* pub const $name: Unit =
            Unit { symbol: $symbol, dimension: Dimension::$dimension, size: $size };)*
        /// Every unit that is understood, dimension by dimension.
        pub const UNITS: &[Unit] = &[$($name),*];
    };
}

units! {
    /// No unit.
    ONE = "" PureNumber 1e6;
    /// A hundredth.
    PERCENT = "%" PureNumber 1e4;
    /// A millionth.
    PPM = "ppm" PureNumber 1.0;
    /// Nanometre.
    NANOMETRE = "nm" Length 10.0;
    /// Micrometre.
    MICROMETRE = "µm" Length 1e4;
    /// Millimetre.
    MILLIMETRE = "mm" Length 1e7;
    /// Centimetre.
    CENTIMETRE = "cm" Length 1e8;
    /// Metre.
    METRE = "m" Length 1e10;
    /// A millionth of an inch: 25.4 nm.
    MICROINCH = "µin" Length 254.0;
    /// A tenth of a thousandth of an inch, 0.0001 in: 2.54 µm.
    TENTH = "tenth" Length 25_400.0;
    /// A thousandth of an inch: 25.4 µm.
    THOU = "thou" Length 254_000.0;
    /// Inch: 25.4 mm.
    INCH = "in" Length 254e6;
    /// Foot: 12 in.
    FOOT = "ft" Length 3048e6;
    /// Kelvin.
    KELVIN = "K" TemperatureDifference 9e3;
    /// Millikelvin.
    MILLIKELVIN = "mK" TemperatureDifference 9.0;
    /// Degree Celsius, as a difference.
    DEGREE_CELSIUS = "°C" TemperatureDifference 9e3;
    /// Degree Fahrenheit, as a difference: 5/9 K.
    DEGREE_FAHRENHEIT = "°F" TemperatureDifference 5e3;
    /// Per kelvin.
    PER_KELVIN = "1/K" Expansion 5e6;
    /// Per degree Celsius.
    PER_DEGREE_CELSIUS = "1/°C" Expansion 5e6;
    /// Per degree Fahrenheit.
    PER_DEGREE_FAHRENHEIT = "1/°F" Expansion 9e6;
    /// A millionth per kelvin.
    PPM_PER_KELVIN = "ppm/K" Expansion 5.0;
    /// A millionth per degree Celsius.
    PPM_PER_DEGREE_CELSIUS = "ppm/°C" Expansion 5.0;
    /// A millionth per degree Fahrenheit.
    PPM_PER_DEGREE_FAHRENHEIT = "ppm/°F" Expansion 9.0;
    /// Micrometre per metre and kelvin.
    MICROMETRE_PER_METRE_KELVIN = "µm/m/K" Expansion 5.0;
    /// Micrometre per metre and degree Celsius.
    MICROMETRE_PER_METRE_DEGREE_CELSIUS = "µm/m/°C" Expansion 5.0;
    /// Microinch per inch and degree Fahrenheit.
    MICROINCH_PER_INCH_DEGREE_FAHRENHEIT = "µin/in/°F" Expansion 9.0;
    /// Radian.
    RADIAN = "rad" Angle 1.0;
    /// Milliradian.
    MILLIRADIAN = "mrad" Angle 1e-3;
    /// Microradian.
    MICRORADIAN = "µrad" Angle 1e-6;
    /// Degree of arc.
    DEGREE = "°" Angle PI / 180.0;
    /// Minute of arc.
    MINUTE_OF_ARC = "arcmin" Angle PI / 10_800.0;
    /// Second of arc.
    SECOND_OF_ARC = "arcsec" Angle PI / 648_000.0;
    /// Second.
    SECOND = "s" Time 1.0;
    /// Minute.
    MINUTE = "min" Time 60.0;
    /// Hour.
    HOUR = "h" Time 3600.0;
    /// Day.
    DAY = "d" Time 86_400.0;
    /// Kelvin per hour.
    KELVIN_PER_HOUR = "K/h" TemperatureRate 9e3;
    /// Kelvin per minute.
    KELVIN_PER_MINUTE = "K/min" TemperatureRate 540e3;
    /// Millikelvin per hour.
    MILLIKELVIN_PER_HOUR = "mK/h" TemperatureRate 9.0;
    /// Degree Celsius per hour.
    DEGREE_CELSIUS_PER_HOUR = "°C/h" TemperatureRate 9e3;
    /// Degree Celsius per minute.
    DEGREE_CELSIUS_PER_MINUTE = "°C/min" TemperatureRate 540e3;
    /// Degree Fahrenheit per hour.
    DEGREE_FAHRENHEIT_PER_HOUR = "°F/h" TemperatureRate 5e3;
    /// Degree Fahrenheit per minute.
    DEGREE_FAHRENHEIT_PER_MINUTE = "°F/min" TemperatureRate 300e3;
    /// Nanometre per hour.
    NANOMETRE_PER_HOUR = "nm/h" LengthRate 10.0;
    /// Micrometre per hour.
    MICROMETRE_PER_HOUR = "µm/h" LengthRate 1e4;
    /// Millimetre per hour.
    MILLIMETRE_PER_HOUR = "mm/h" LengthRate 1e7;
    /// Microinch per hour.
    MICROINCH_PER_HOUR = "µin/h" LengthRate 254.0;
    /// Tenth (0.0001 in) per hour.
    TENTH_PER_HOUR = "tenth/h" LengthRate 25_400.0;
    /// Inch per hour.
    INCH_PER_HOUR = "in/h" LengthRate 254e6;
    /// Micrometre per minute.
    MICROMETRE_PER_MINUTE = "µm/min" LengthRate 6e5;
    /// Microinch per minute.
    MICROINCH_PER_MINUTE = "µin/min" LengthRate 15_240.0;
    /// Kelvin per metre.
    KELVIN_PER_METRE = "K/m" TemperatureGradient 1143.0;
    /// Degree Celsius per metre.
    DEGREE_CELSIUS_PER_METRE = "°C/m" TemperatureGradient 1143.0;
    /// Degree Fahrenheit per foot.
    DEGREE_FAHRENHEIT_PER_FOOT = "°F/ft" TemperatureGradient 6250.0 / 3.0;
    /// Degree Fahrenheit per inch.
    DEGREE_FAHRENHEIT_PER_INCH = "°F/in" TemperatureGradient 25_000.0;
}

/// A value with its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measure {
    /// The number before the unit.
    pub value: f64,
    /// The unit.
    pub unit: Unit,
}

/// Text that is not a value with a unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnitError {
    /// What was written.
    pub found: String,
    /// What it has to be: "a length".
    pub must: String,
    /// What to write instead: "write 0.5 mm or 0.5 in".
    pub fix: String,
}

impl fmt::Display for UnitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "`{}` is not {}; {}", self.found, self.must, self.fix)
    }
}

impl std::error::Error for UnitError {}

const NUMBER_FIRST: &str = "begin with the number";

impl Measure {
    /// A number and a unit, such as `0.0001 in`, `2 tenths`, `50 uin`, `24"`, `2 1/2 in`, `6.5e-6 /K`; a number
    /// alone has the unit [`ONE`].
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        let written = text.trim();
        let error = |fix: &str| UnitError {
            found: written.into(),
            must: "a number with a unit".into(),
            fix: fix.into(),
        };
        let Some((number, rest)) = number_and_rest(written) else {
            return Err(error(match written.chars().next() {
                None => "write a number and a unit, such as 0.5 mm",
                Some('±') => "write the number without ±",
                Some(_) => NUMBER_FIRST,
            }));
        };
        if rest.starts_with(',') {
            return Err(error("write the decimal sign as a point, and no sign between thousands"));
        }
        let more = rest.trim_start();
        if more.starts_with(|c: char| c.is_ascii_digit() || vulgar_fraction(c).is_some())
            && look_up(more).is_none()
        {
            return Err(error("write one number, with no space inside it"));
        }
        if more.starts_with('±') || more.starts_with("+/-") || more.starts_with("+-") {
            return Err(error("write one value here; its limits have fields of their own"));
        }
        let value = number.ok_or_else(|| error("write a fraction such as 1/2 or as a decimal, 0.5"))?;
        if !value.is_finite() {
            return Err(error("write a number of ordinary size"));
        }
        let unit = Unit::parse(rest).map_err(|fault| UnitError { found: written.into(), ..fault })?;
        Ok(Self { value, unit })
    }

    /// As [`Measure::parse`], for a value that must have the given dimension. A number without a
    /// unit is refused unless the dimension is a pure number.
    pub fn parse_as(text: &str, dimension: Dimension) -> Result<Self, UnitError> {
        let suggestion = |value: f64| {
            let number = number_text(value);
            let examples = dimension.examples().iter();
            let examples: Vec<String> =
                examples.map(|unit| format!("{number} {unit}").trim_end().to_owned()).collect();
            listing(examples.iter().map(String::as_str))
        };
        let measure = Self::parse(text).map_err(|error| match number_and_rest(text.trim()) {
            // Of all the units there are, those that would do.
            Some((Some(value), _)) if error.fix.starts_with(ONE_OF) => {
                UnitError { fix: format!("write {}", suggestion(value)), ..error }
            }
            None if error.fix.starts_with(NUMBER_FIRST) => {
                UnitError { fix: format!("{NUMBER_FIRST}, such as {}", suggestion(0.5)), ..error }
            }
            _ => error,
        })?;
        if measure.unit.dimension == dimension {
            return Ok(measure);
        }
        let number = number_text(measure.value);
        let suggestion = suggestion(measure.value);
        let must = dimension.name().to_owned();
        let fix = if measure.unit == ONE {
            format!("add its unit: write {suggestion}")
        } else if dimension == Dimension::Angle && measure.unit == MINUTE {
            format!("write {number} arcmin for minutes of arc")
        } else {
            format!("`{}` is {}; write {suggestion}", measure.unit, measure.unit.dimension.name())
        };
        Err(UnitError { found: text.trim().into(), must, fix })
    }

    /// The value in `unit`; not a number where that measures something else.
    pub fn to(self, unit: Unit) -> f64 {
        if self.unit.dimension != unit.dimension {
            return f64::NAN;
        }
        if self.unit.size >= unit.size {
            let ratio = self.unit.size / unit.size;
            if ratio == ratio.trunc() {
                return self.value * ratio;
            }
        } else {
            let ratio = unit.size / self.unit.size;
            if ratio == ratio.trunc() {
                return self.value / ratio;
            }
        }
        self.value * self.unit.size / unit.size
    }
}

impl fmt::Display for Measure {
    /// The shortest number that reads back as the same value, and the unit.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = number_text(self.value);
        match self.unit {
            ONE => f.write_str(&number),
            DEGREE => write!(f, "{number}°"),
            TENTH if self.value.abs() != 1.0 => write!(f, "{number} tenths"),
            unit => write!(f, "{number} {}", unit.symbol.strip_prefix('1').unwrap_or(unit.symbol)),
        }
    }
}

/// A number as a person would write it: no exponent unless it saves a row of zeros.
fn number_text(value: f64) -> String {
    let size = value.abs();
    if size == 0.0 || (1e-5..1e7).contains(&size) { format!("{value}") } else { format!("{value:e}") }
}

/// The number that `text` begins with, as people type it, and what follows it; the number is `None` where it is a
/// fraction of nothing, as `1/0`.
///
/// A sign may be a dash of any length and stand apart. A number is decimal, with an exponent or without, or a whole
/// number, a fraction or both, as on a rule: `2.5`, `2e-3`, `1/2`, `2 1/2`, `2½`.
fn number_and_rest(text: &str) -> Option<(Option<f64>, &str)> {
    const MINUSES: [char; 7] = ['-', '\u{2010}', '\u{2011}', '\u{2012}', '\u{2013}', '\u{2014}', '−'];
    let (sign, unsigned) = match text.strip_prefix(MINUSES) {
        Some(rest) => (-1.0, rest.trim_start()),
        None => (1.0, text.strip_prefix('+').map_or(text, str::trim_start)),
    };
    let length = decimal_length(unsigned);
    let (decimal, rest) = unsigned.split_at(length);
    let whole = decimal.bytes().all(|byte| byte.is_ascii_digit());
    let signed = |value: Option<f64>| value.map(|value| sign * value);
    if let Some((fraction, rest)) = fraction(rest.trim_start()).filter(|_| whole) {
        let before = if decimal.is_empty() { Some(0.0) } else { decimal.parse::<f64>().ok() };
        return Some((signed(before.zip(fraction).map(|(before, part)| before + part)), rest));
    }
    if let Some((fraction, rest)) = fraction(unsigned).filter(|_| whole) {
        return Some((signed(fraction), rest));
    }
    (length > 0).then(|| (signed(decimal.parse().ok()), rest))
}

/// A fraction that `text` begins with, `1/2` or `½`, and what follows it; a fraction of nothing is `None`.
fn fraction(text: &str) -> Option<(Option<f64>, &str)> {
    let mut letters = text.chars();
    if let Some(value) = letters.next().and_then(vulgar_fraction) {
        return Some((Some(value), letters.as_str()));
    }
    let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
    let (above, rest) = text.split_at(digits(text));
    let below = rest.strip_prefix(['/', '⁄'])?;
    let (below, rest) = below.split_at(digits(below));
    let [above, below]: [f64; 2] = [above.parse().ok()?, below.parse().ok()?];
    Some(((below > 0.0).then(|| above / below), rest))
}

/// The value of a fraction that is one character.
fn vulgar_fraction(c: char) -> Option<f64> {
    const FRACTIONS: [(char, f64, f64); 9] = [
        ('½', 1.0, 2.0),
        ('¼', 1.0, 4.0),
        ('¾', 3.0, 4.0),
        ('⅓', 1.0, 3.0),
        ('⅔', 2.0, 3.0),
        ('⅛', 1.0, 8.0),
        ('⅜', 3.0, 8.0),
        ('⅝', 5.0, 8.0),
        ('⅞', 7.0, 8.0),
    ];
    FRACTIONS.iter().find(|(sign, ..)| *sign == c).map(|(_, above, below)| above / below)
}

/// How many bytes at the start of `text` are a decimal number without a sign.
fn decimal_length(text: &str) -> usize {
    let digits = |from: usize| text[from..].bytes().take_while(u8::is_ascii_digit).count();
    let whole = digits(0);
    let mut end = whole;
    if text[end..].starts_with('.') {
        let fraction = digits(end + 1);
        if whole + fraction == 0 {
            return 0;
        }
        end += 1 + fraction;
    } else if whole == 0 {
        return 0;
    }
    if text[end..].starts_with(['e', 'E']) {
        let exponent_sign = usize::from(text[end + 1..].starts_with(['+', '-']));
        let exponent = digits(end + 1 + exponent_sign);
        if exponent > 0 {
            end += 1 + exponent_sign + exponent;
        }
    }
    end
}

/// The unit that `text` spells, in any of its spellings.
fn look_up(text: &str) -> Option<Unit> {
    // Micro has two code points, multiplication several signs, and K⁻¹ is 1/K.
    let plain: String = text
        .trim()
        .replace('μ', "µ")
        .replace("per ", "/")
        .replace("K⁻¹", "/K")
        .replace("K^-1", "/K")
        .replace(['(', ')'], "")
        .replace(['·', '*', '⋅'], " ");
    let mut symbol = String::new();
    for (index, part) in plain.split('/').enumerate() {
        for (position, word) in words(part).into_iter().enumerate() {
            // `µm/(m K)` divides by both; a word that follows the numerator is part of no unit.
            if index > 0 {
                symbol.push('/');
            } else if position > 0 {
                return None;
            }
            symbol.push_str(spelled(&word)?);
        }
        if index == 0 && symbol.is_empty() && plain.contains('/') {
            symbol.push('1');
        }
    }
    UNITS.iter().copied().find(|unit| unit.symbol == symbol)
}

/// The words of one side of a fraction; `deg C` is one word.
fn words(part: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in part.split_whitespace() {
        match words.last_mut() {
            Some(last) if ["deg", "°", "degree", "degrees"].contains(&last.as_str()) => last.push_str(word),
            _ => words.push(word.to_owned()),
        }
    }
    words
}

/// The symbol of a simple unit, from any spelling of it.
fn spelled(word: &str) -> Option<&'static str> {
    Some(match word.to_lowercase().as_str() {
        "1" => "1",
        "%" | "percent" => "%",
        "ppm" => "ppm",
        "nm" | "nanometre" | "nanometres" | "nanometer" | "nanometers" => "nm",
        "µm" | "um" | "micron" | "microns" | "micrometre" | "micrometres" | "micrometer" | "micrometers" => {
            "µm"
        }
        "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => "mm",
        "cm" | "centimetre" | "centimetres" | "centimeter" | "centimeters" => "cm",
        "m" | "metre" | "metres" | "meter" | "meters" => "m",
        "µin" | "uin" | "microinch" | "microinches" | "millionth" | "millionths" => "µin",
        "tenth" | "tenths" => "tenth",
        "thou" | "thous" | "mil" | "mils" | "thousandth" | "thousandths" => "thou",
        "in" | "in." | "inch" | "inches" | "\"" | "″" | "''" => "in",
        "ft" | "ft." | "foot" | "feet" => "ft",
        "k" | "kelvin" | "kelvins" => "K",
        "mk" | "millikelvin" | "millikelvins" => "mK",
        "°c" | "c" | "degc" | "℃" | "celsius" | "degreecelsius" | "degreescelsius" => "°C",
        "°f" | "f" | "degf" | "℉" | "fahrenheit" | "degreefahrenheit" | "degreesfahrenheit" => "°F",
        "rad" | "radian" | "radians" => "rad",
        "mrad" | "milliradian" | "milliradians" => "mrad",
        "µrad" | "urad" | "microradian" | "microradians" => "µrad",
        "°" | "deg" | "degree" | "degrees" => "°",
        "arcmin" | "arcminute" | "arcminutes" => "arcmin",
        "arcsec" | "arcsecond" | "arcseconds" => "arcsec",
        "s" | "sec" | "second" | "seconds" => "s",
        "min" | "mins" | "minute" | "minutes" => "min",
        "h" | "hr" | "hrs" | "hour" | "hours" => "h",
        "d" | "day" | "days" => "d",
        _ => return None,
    })
}

/// "a, b or c".
fn listing<'a>(items: impl Iterator<Item = &'a str>) -> String {
    let items: Vec<&str> = items.filter(|item| !item.is_empty()).collect();
    match items.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        _ => items.concat(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn reads(text: &str, value: f64, unit: Unit) {
        assert_eq!(Measure::parse(text), Ok(Measure { value, unit }), "{text}");
    }

    fn refused(text: &str, dimension: Dimension, expected: &str) {
        let error = Measure::parse_as(text, dimension).expect_err(text);
        assert_eq!(error.to_string(), expected);
    }

    fn converts(text: &str, unit: Unit, expected: f64) {
        let found = Measure::parse(text).expect(text).to(unit);
        assert!((found - expected).abs() <= 1e-15 * expected.abs(), "{text} is {found} {unit}");
    }

    #[test]
    fn people_s_spellings() {
        reads("0.0001 in", 0.0001, INCH);
        reads("24\"", 24.0, INCH);
        reads("24 inches", 24.0, INCH);
        reads(".5in", 0.5, INCH);
        reads("2 tenths", 2.0, TENTH);
        reads("1 thou", 1.0, THOU);
        // Both code points for micro: U+00B5 and U+03BC.
        reads("50 \u{b5}in", 50.0, MICROINCH);
        reads("50 \u{3bc}in", 50.0, MICROINCH);
        reads("50 uin", 50.0, MICROINCH);
        reads("3 um", 3.0, MICROMETRE);
        reads("3 microns", 3.0, MICROMETRE);
        reads("610 mm", 610.0, MILLIMETRE);
        reads("-3.5e1 MM", -35.0, MILLIMETRE);
        reads("\u{2212}2 mm", -2.0, MILLIMETRE);
        reads("2 ft", 2.0, FOOT);
        reads("0.3 °C", 0.3, DEGREE_CELSIUS);
        reads("0.3 deg C", 0.3, DEGREE_CELSIUS);
        reads("1°F", 1.0, DEGREE_FAHRENHEIT);
        reads("0.3 K", 0.3, KELVIN);
        reads("6.5e-6 /K", 6.5e-6, PER_KELVIN);
        reads("6.5e-6 1/K", 6.5e-6, PER_KELVIN);
        reads("6.5e-6 K⁻¹", 6.5e-6, PER_KELVIN);
        reads("6.5e-6 K^-1", 6.5e-6, PER_KELVIN);
        reads("6.5 ppm/K", 6.5, PPM_PER_KELVIN);
        reads("6.5 µm/m/K", 6.5, MICROMETRE_PER_METRE_KELVIN);
        reads("6.5 um/(m·K)", 6.5, MICROMETRE_PER_METRE_KELVIN);
        reads("3.6 uin/in/degF", 3.6, MICROINCH_PER_INCH_DEGREE_FAHRENHEIT);
        reads("12°", 12.0, DEGREE);
        reads("12 degrees", 12.0, DEGREE);
        reads("30 arcmin", 30.0, MINUTE_OF_ARC);
        reads("5 min", 5.0, MINUTE);
        reads("1.5 h", 1.5, HOUR);
        reads("1 °C per hour", 1.0, DEGREE_CELSIUS_PER_HOUR);
        reads("2 um/h", 2.0, MICROMETRE_PER_HOUR);
        reads("2 tenths/hr", 2.0, TENTH_PER_HOUR);
        reads("0.2 K/m", 0.2, KELVIN_PER_METRE);
        reads("95 %", 95.0, PERCENT);
        reads("0.25", 0.25, ONE);
        // Signs set apart from their number, and dashes of every length.
        reads("+ 2 tenths", 2.0, TENTH);
        reads("- 1", -1.0, ONE);
        for dash in ["\u{2010}", "\u{2011}", "\u{2012}", "\u{2013}", "\u{2014}", "\u{2212}"] {
            reads(&format!("{dash}1 µm"), -1.0, MICROMETRE);
        }
        // Fractions as a rule is read.
        reads("½", 0.5, ONE);
        reads("2½ in", 2.5, INCH);
        reads("2 1/2", 2.5, ONE);
        reads("-2 1/4 tenths", -2.25, TENTH);
        reads("24 1/2\"", 24.5, INCH);
        reads("1/2in", 0.5, INCH);
        reads("–⅛ in", -0.125, INCH);
        reads("6 1/K", 6.0, PER_KELVIN);
    }

    #[test]
    fn conversions() {
        // The inch is 25.4 mm exactly; °F and K differ by 5/9 (common definitions).
        converts("24 in", MILLIMETRE, 609.6);
        converts("610 mm", INCH, 610.0 / 25.4);
        converts("1 tenth", MICROMETRE, 2.54);
        converts("50 µin", MICROMETRE, 1.27);
        converts("1 µm", MICROINCH, 1.0 / 0.0254);
        converts("1 thou", TENTH, 10.0);
        converts("1 ft", INCH, 12.0);
        converts("9 °F", KELVIN, 5.0);
        converts("0.3 °C", KELVIN, 0.3);
        converts("20 mK", KELVIN, 0.02);
        converts("3.6 µin/in/°F", PER_KELVIN, 6.48e-6);
        converts("1 /°F", PER_KELVIN, 1.8);
        converts("6.5 µm/m/K", PPM_PER_KELVIN, 6.5);
        converts("180 °", RADIAN, std::f64::consts::PI);
        converts("90 arcmin", DEGREE, 1.5);
        converts("1 °", SECOND_OF_ARC, 3600.0);
        converts("1.5 h", MINUTE, 90.0);
        converts("1 d", SECOND, 86_400.0);
        converts("0.1 K/min", KELVIN_PER_HOUR, 6.0);
        converts("9 °F/h", KELVIN_PER_HOUR, 5.0);
        converts("1 µin/min", MICROMETRE_PER_HOUR, 1.524);
        converts("1 K/m", DEGREE_FAHRENHEIT_PER_FOOT, 1.8 * 0.3048);
        converts("1 °F/in", DEGREE_FAHRENHEIT_PER_FOOT, 12.0);
        converts("25 %", ONE, 0.25);
        assert!(Measure::parse("1 mm").expect("a length").to(SECOND).is_nan());
    }

    #[test]
    fn mistakes_are_told_with_what_to_write() {
        use Dimension::*;
        refused(
            "0.5",
            Length,
            "`0.5` is not a length; add its unit: write 0.5 mm, 0.5 µm, 0.5 in or 0.5 tenths",
        );
        refused("5 mm", Time, "`5 mm` is not a time; `mm` is a length; write 5 s, 5 min or 5 h");
        refused("5 min", Angle, "`5 min` is not an angle; write 5 arcmin for minutes of arc");
        refused(
            "2 mm",
            PureNumber,
            "`2 mm` is not a number without a unit; `mm` is a length; write 2 or 2 %",
        );
        refused(
            "mm",
            Length,
            "`mm` is not a number with a unit; begin with the number, such as 0.5 mm, 0.5 µm, 0.5 in or 0.5 tenths",
        );
        refused(
            "warm",
            TemperatureDifference,
            "`warm` is not a number with a unit; begin with the number, such as 0.5 °C, 0.5 K or 0.5 °F",
        );
        refused(" ", Length, "`` is not a number with a unit; write a number and a unit, such as 0.5 mm");
        refused("5'", Length, "`5'` is not a known unit; write ft for feet or arcmin for minutes of arc");
        refused("5 t", Length, "`5 t` is not a known unit; write tenths for 0.0001 in");
        refused("3 µ", Length, "`3 µ` is not a known unit; write µm or µin");
        refused(
            "0,5 mm",
            Length,
            "`0,5 mm` is not a number with a unit; write the decimal sign as a point, and no sign between \
             thousands",
        );
        refused(
            "24 12 in",
            Length,
            "`24 12 in` is not a number with a unit; write one number, with no space inside it",
        );
        refused(
            "1/0 in",
            Length,
            "`1/0 in` is not a number with a unit; write a fraction such as 1/2 or as a decimal, 0.5",
        );
        refused("2 parsec", Length, "`2 parsec` is not a known unit; write 2 mm, 2 µm, 2 in or 2 tenths");
        refused(
            "0.5 ± 0.1 mm",
            Length,
            "`0.5 ± 0.1 mm` is not a number with a unit; write one value here; its limits have fields of \
             their own",
        );
        refused(
            "1e999 mm",
            Length,
            "`1e999 mm` is not a number with a unit; write a number of ordinary size",
        );
        for text in [
            "nan mm",
            "inf mm",
            "--1 mm",
            "+ - 1 mm",
            "2.5 1/2 in",
            "1/2/3 in",
            "½½ in",
            ".mm",
            "e5 mm",
            "1e mm m",
            "1 mm m",
            "1 /",
            "3 parsec",
            "1 K/K",
        ] {
            assert!(Measure::parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn numbers_are_written_as_a_person_would() {
        let shown = |value, unit| Measure { value, unit }.to_string();
        assert_eq!(shown(0.0001, INCH), "0.0001 in");
        assert_eq!(shown(2.0, TENTH), "2 tenths");
        assert_eq!(shown(1.0, TENTH), "1 tenth");
        assert_eq!(shown(6.5e-6, PER_KELVIN), "6.5e-6 /K");
        assert_eq!(shown(12.0, DEGREE), "12°");
        assert_eq!(shown(0.25, ONE), "0.25");
        assert_eq!(shown(-0.0, MILLIMETRE), "-0 mm");
        assert_eq!(shown(1e300, MILLIMETRE), "1e300 mm");
    }

    #[test]
    fn every_unit_reads_back_as_itself() {
        for &unit in UNITS {
            assert_eq!(Unit::parse(unit.symbol), Ok(unit));
        }
    }

    proptest! {
        #[test]
        fn what_is_written_reads_back(value in prop::num::f64::NORMAL | prop::num::f64::ZERO, unit in 0..UNITS.len()) {
            let measure = Measure { value, unit: UNITS[unit] };
            prop_assert_eq!(Measure::parse(&measure.to_string()), Ok(measure));
        }

        #[test]
        fn any_text_is_read_or_refused(text in "[-+.0-9eE±µμ°'\"/ a-zK(\u{2212}]{0,12}") {
            // Neither may panic, whatever is typed.
            if let Ok(measure) = Measure::parse(&text) {
                prop_assert!(measure.value.is_finite());
            }
        }

        #[test]
        fn there_and_back(value in -1e6..1e6, from in 0..UNITS.len(), to in 0..UNITS.len()) {
            let (from, to) = (UNITS[from], UNITS[to]);
            let there = Measure { value, unit: from }.to(to);
            if from.dimension == to.dimension {
                let back = Measure { value: there, unit: to }.to(from);
                prop_assert!((back - value).abs() <= 4.0 * f64::EPSILON * value.abs());
            } else {
                prop_assert!(there.is_nan());
            }
        }
    }
}
