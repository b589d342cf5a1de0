//! Whether what a formula adds or compares is in one unit.
//!
//! A model's numbers are taken as they stand. So that no millimetre is added to a micrometre unnoticed, the units of the
//! inputs are followed through the formula. What is not certain passes: an input without a unit or with one that is not
//! understood may be anything, and so may the scale of a product with a number that could be meant to convert, such as 1000.

use crate::model::formula::{Formula, FormulaError, Node};
use crate::model::operation::Operation;
use crate::quantity::rounding::significant;
use crate::quantity::unit::{Dimension, KELVIN, METRE, Measure, ONE, RADIAN, SECOND, Unit};
use std::f64::consts::PI;

/// Powers of metre, kilogram, second, kelvin, ampere, mole and candela.
type Powers = [f64; 7];

/// What is known of the unit of a value.
#[derive(Debug, Clone, PartialEq)]
enum Known {
    /// Nothing.
    Nothing,
    /// A number in the formula: where it is added, in whatever unit the rest is.
    Number(f64),
    /// A quantity.
    Quantity(Scaled),
}

/// So many of the coherent SI unit.
#[derive(Debug, Clone, PartialEq)]
struct Scaled {
    powers: Powers,
    /// None where a number may have converted it.
    scale: Option<f64>,
    /// As it was written.
    label: String,
}

impl Formula {
    /// Checks that what is added, subtracted or compared is in one unit, that angles are in radians, and that the result is
    /// in `unit`. `units` has one unit an input, as written; none stands for anything.
    ///
    /// # Errors
    ///
    /// The first place where that is certainly not so.
    pub fn check_units(&self, units: &[Option<&str>], unit: Option<&str>) -> Result<(), FormulaError> {
        let read = |unit: Option<&str>| match unit.map(|unit| (scaled(unit), unit)) {
            Some((Some((powers, scale)), label)) => {
                Known::Quantity(Scaled { powers, scale: Some(scale), label: label.trim().to_owned() })
            }
            _ => Known::Nothing,
        };
        let mut known: Vec<Known> = Vec::new();
        for (at, node) in self.nodes().iter().enumerate() {
            known.push(match *node {
                Node::Constant(value) => Known::Number(value),
                Node::Input(input) => read(units.get(input).copied().flatten()),
                Node::Apply(operation, [a, b]) => applied(operation, &known[a], &known[b])
                    .map_err(|(problem, hint)| self.error(at, problem, &hint))?,
            });
        }
        if let (Some(Known::Quantity(found)), Known::Quantity(wanted)) = (known.last(), read(unit))
            && let Some(difference) = found.differs(&wanted)
        {
            let problem = format!(
                "the formula gives {}, and its unit is said to be {}{difference}",
                found.name(),
                wanted.name()
            );
            return Err(self.error(
                self.nodes().len() - 1,
                problem,
                "write the unit that the formula gives, or convert in the formula",
            ));
        }
        Ok(())
    }
}

/// The unit of a result, or what is wrong and what to do.
fn applied(operation: Operation, a: &Known, b: &Known) -> Result<Known, (String, String)> {
    use Operation::*;
    Ok(match operation {
        Add | Subtract => added(a, b, "added or subtracted")?,
        Min | Max => added(a, b, "compared")?,
        Atan2 => {
            added(a, b, "taken for one direction")?;
            pure()
        }
        Multiply | Divide => {
            let sign = if operation == Divide { -1.0 } else { 1.0 };
            match (a, b) {
                (Known::Number(a), Known::Number(b)) => {
                    Known::Number(if operation == Divide { a / b } else { a * b })
                }
                (Known::Quantity(a), Known::Number(number)) => Known::Quantity(a.times(*number)),
                (Known::Number(number), Known::Quantity(b)) => Known::Quantity(b.to_the(sign).times(*number)),
                (Known::Quantity(a), Known::Quantity(b)) => {
                    let other = b.to_the(sign);
                    let mut powers = a.powers;
                    powers.iter_mut().zip(other.powers).for_each(|(power, other)| *power += other);
                    let scale = a.scale.zip(other.scale).map(|(a, b)| a * b);
                    let mark = if operation == Divide { "/" } else { "·" };
                    let label = if b.label.contains(['/', '·']) && operation == Divide {
                        format!("{}/({})", a.label, b.label)
                    } else {
                        format!("{}{mark}{}", a.label, b.label)
                    };
                    Known::Quantity(Scaled { powers, scale, label: shortened(label) })
                }
                _ => Known::Nothing,
            }
        }
        Negate | Abs => a.clone(),
        Sqrt => power(a, 0.5),
        WholePower(exponent) => power(a, f64::from(exponent)),
        Power => match b {
            Known::Number(exponent) => power(a, *exponent),
            _ => Known::Nothing,
        },
        Sin | Cos | Tan => {
            if let Known::Quantity(Scaled { powers, scale: Some(scale), label }) = a
                && *powers == Powers::default()
                && !nearly(*scale, 1.0)
            {
                return Err((
                    format!("an angle in {label}, where radians are taken"),
                    format!("multiply it by {}, or give it in rad", factor(*scale)),
                ));
            }
            pure()
        }
        Asin | Acos | Atan | Sinh | Cosh | Tanh | Exp | Ln | Log10 => pure(),
    })
}

fn added(a: &Known, b: &Known, what: &str) -> Result<Known, (String, String)> {
    let hint = |scale: f64| {
        format!(
            "give both in one unit, or convert in the formula: the one is {} times the other",
            factor(scale)
        )
    };
    Ok(match (a, b) {
        (Known::Number(_), Known::Number(_)) | (Known::Nothing, Known::Nothing) => Known::Nothing,
        (Known::Nothing, known) | (known, Known::Nothing) => known.clone(),
        (Known::Number(number), Known::Quantity(known)) | (Known::Quantity(known), Known::Number(number)) => {
            match known.scale {
                Some(scale) if known.is_pure() && !nearly(scale, 1.0) && *number != 0.0 => {
                    let problem = format!("{} and a pure number are {what} here", known.name());
                    return Err((
                        problem,
                        format!("multiply what is in {} by {}", known.name(), factor(scale)),
                    ));
                }
                _ => Known::Quantity(known.clone()),
            }
        }
        (Known::Quantity(a), Known::Quantity(b)) => match a.differs(b) {
            Some(difference) => {
                let problem = format!("{} and {} are {what} here{difference}", a.name(), b.name());
                return Err((
                    problem,
                    match (a.scale, b.scale) {
                        (Some(a), Some(b)) if difference.is_empty() => hint(a / b),
                        _ => "check the formula and the units of its inputs".into(),
                    },
                ));
            }
            None if a.scale.is_some() => Known::Quantity(a.clone()),
            None => Known::Quantity(b.clone()),
        },
    })
}

fn pure() -> Known {
    Known::Quantity(Scaled { powers: Powers::default(), scale: Some(1.0), label: String::new() })
}

fn power(known: &Known, exponent: f64) -> Known {
    match known {
        Known::Quantity(known) => Known::Quantity(known.to_the(exponent)),
        Known::Number(number) => Known::Number(libm::pow(*number, exponent)),
        Known::Nothing => Known::Nothing,
    }
}

impl Scaled {
    fn is_pure(&self) -> bool {
        self.powers == Powers::default()
    }

    fn name(&self) -> &str {
        if self.label.is_empty() || self.label == "1" { "a pure number" } else { &self.label }
    }

    /// Whether and how this cannot be the same as another; empty if by a factor alone.
    fn differs(&self, other: &Self) -> Option<&'static str> {
        let alike = self.powers.iter().zip(other.powers).all(|(a, b)| (a - b).abs() < 1e-9);
        match (alike, self.scale, other.scale) {
            (false, ..) => Some(", which measure different things"),
            (true, Some(a), Some(b)) if !nearly(a, b) => Some(""),
            _ => None,
        }
    }

    fn to_the(&self, exponent: f64) -> Self {
        let label = match exponent {
            1.0 => self.label.clone(),
            _ if self.label.is_empty() => String::new(),
            -1.0 => format!("1/({})", self.label),
            _ => format!("({})^{exponent}", self.label),
        };
        Self {
            powers: self.powers.map(|power| power * exponent),
            scale: self.scale.map(|scale| libm::pow(scale, exponent)),
            label: shortened(label),
        }
    }

    fn times(&self, number: f64) -> Self {
        let scale = self.scale.filter(|_| !may_convert(number));
        Self { scale, ..self.clone() }
    }
}

/// No longer than can be read: products of products would fill the memory with their names.
pub(super) fn shortened(label: String) -> String {
    match label.char_indices().nth(60) {
        Some((cut, _)) => format!("{}…", &label[..cut]),
        None => label,
    }
}

/// Whether a factor may turn one unit into another: all but small whole numbers, their inverses, and these times π, which
/// count and average.
fn may_convert(number: f64) -> bool {
    let number = number.abs();
    let is_small_whole = |ratio: f64| ratio < 9.5 && ratio > 0.5 && nearly(ratio, ratio.round());
    let counts = |ratio: f64| is_small_whole(ratio) || is_small_whole(1.0 / ratio);
    number > 0.0 && !counts(number) && !counts(number / PI)
}

fn nearly(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
}

/// A factor as one would write it.
fn factor(scale: f64) -> String {
    if nearly(scale, PI / 180.0) { "pi/180".into() } else { significant(scale, 6) }
}

/// A unit as powers of the base units and how many of their product it is; `None` where it is not understood.
fn scaled(text: &str) -> Option<(Powers, f64)> {
    let plain = text.trim().replace(['·', '⋅', '×', '*', '(', ')'], " ");
    let (mut powers, mut scale) = (Powers::default(), 1.0);
    for (index, part) in plain.split('/').enumerate() {
        let sign = if index == 0 { 1.0 } else { -1.0 };
        for word in part.split_whitespace() {
            let (symbol, exponent) = raised(word)?;
            let (of_symbol, size) = simple(symbol)?;
            for (power, of_symbol) in powers.iter_mut().zip(of_symbol) {
                *power += sign * exponent * of_symbol;
            }
            scale *= libm::pow(size, sign * exponent);
        }
    }
    Some((powers, scale))
}

/// A symbol and its exponent: `mm²`, `mm^2`, `mm2`, `K⁻¹`.
fn raised(word: &str) -> Option<(&str, f64)> {
    if word == "1" {
        return Some((word, 1.0));
    }
    let is_exponent = |c: char| c.is_ascii_digit() || "^-−⁻¹²³".contains(c);
    let symbol = word.trim_end_matches(is_exponent);
    let exponent: String = word[symbol.len()..]
        .chars()
        .filter_map(|c| match c {
            '^' => None,
            '−' | '⁻' => Some('-'),
            '¹' => Some('1'),
            '²' => Some('2'),
            '³' => Some('3'),
            c => Some(c),
        })
        .collect();
    match (symbol.is_empty(), exponent.is_empty()) {
        (true, _) => None,
        (_, true) => Some((symbol, 1.0)),
        _ => Some((symbol, exponent.parse().ok()?)),
    }
}

/// A unit of one word. Letters that stand for two units (`C`, `F`, `H`, `S`) are not understood.
fn simple(symbol: &str) -> Option<(Powers, f64)> {
    if symbol == "1" {
        return Some((Powers::default(), 1.0));
    }
    // Ours are read in any case; a newton metre is no nanometre.
    let as_written = symbol.chars().all(|c| !c.is_uppercase()) || ["K", "mK", "°C", "°F"].contains(&symbol);
    if as_written
        && !["c", "f"].contains(&symbol)
        && let Ok(unit) = Unit::parse(symbol)
    {
        let (place, base) = match unit.dimension() {
            Dimension::Length => (Some(0), METRE),
            Dimension::Time => (Some(2), SECOND),
            Dimension::TemperatureDifference => (Some(3), KELVIN),
            Dimension::PureNumber => (None, ONE),
            Dimension::Angle => (None, RADIAN),
            _ => return None,
        };
        let mut powers = Powers::default();
        if let Some(place) = place {
            powers[place] = 1.0;
        }
        return Some((powers, Measure { value: 1.0, unit }.to(base)));
    }
    /// Units that take prefixes: symbol, powers of m, kg, s, K, A, mol, cd, and size (SI brochure, 9th edition, tables 2
    /// and 4).
    const SI: [(&str, [i8; 7], f64); 16] = [
        ("g", [0, 1, 0, 0, 0, 0, 0], 1e-3),
        ("A", [0, 0, 0, 0, 1, 0, 0], 1.0),
        ("mol", [0, 0, 0, 0, 0, 1, 0], 1.0),
        ("cd", [0, 0, 0, 0, 0, 0, 1], 1.0),
        ("m", [1, 0, 0, 0, 0, 0, 0], 1.0),
        ("s", [0, 0, 1, 0, 0, 0, 0], 1.0),
        ("Hz", [0, 0, -1, 0, 0, 0, 0], 1.0),
        ("N", [1, 1, -2, 0, 0, 0, 0], 1.0),
        ("Pa", [-1, 1, -2, 0, 0, 0, 0], 1.0),
        ("bar", [-1, 1, -2, 0, 0, 0, 0], 1e5),
        ("J", [2, 1, -2, 0, 0, 0, 0], 1.0),
        ("W", [2, 1, -3, 0, 0, 0, 0], 1.0),
        ("V", [2, 1, -3, 0, -1, 0, 0], 1.0),
        ("Ω", [2, 1, -3, 0, -2, 0, 0], 1.0),
        ("Wb", [2, 1, -2, 0, -1, 0, 0], 1.0),
        ("L", [3, 0, 0, 0, 0, 0, 0], 1e-3),
    ];
    const PREFIXES: [(&str, f64); 12] = [
        ("", 1.0),
        ("p", 1e-12),
        ("n", 1e-9),
        ("µ", 1e-6),
        ("u", 1e-6),
        ("m", 1e-3),
        ("c", 1e-2),
        ("d", 1e-1),
        ("h", 1e2),
        ("k", 1e3),
        ("M", 1e6),
        ("G", 1e9),
    ];
    let symbol = symbol.replace('μ', "µ").replace('\u{2126}', "Ω").replace("ohm", "Ω");
    SI.iter().find_map(|(name, powers, size)| {
        let prefix = symbol.strip_suffix(name)?;
        let (_, times) = PREFIXES.iter().find(|(known, _)| *known == prefix)?;
        Some((powers.map(f64::from), size * times))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAMES: [&str; 6] = ["L", "d", "a", "t", "phi", "x"];
    const UNITS: [Option<&str>; 6] = [Some("mm"), Some("µm"), Some("1/K"), Some("K"), Some("°"), None];

    fn check(text: &str, unit: Option<&str>) -> Result<(), FormulaError> {
        Formula::parse(text, &NAMES).unwrap().check_units(&UNITS, unit)
    }

    #[test]
    fn what_is_in_one_unit_passes() {
        for (text, unit) in [
            ("L + L*a*t", Some("mm")),
            ("L + d/1000", Some("mm")),
            ("1000*L - d", Some("µm")),
            ("L + 0.5", Some("mm")),
            ("sqrt(L^2 + L*L)", Some("mm")),
            ("L*(1 + a*t)", Some("mm")),
            ("sin(phi*pi/180)*L", Some("mm")),
            ("L + x", Some("mm")),
            ("x + 1", Some("kg")),
            ("max(d, 0) - 2*d", Some("um")),
            ("atan2(L, L)", Some("rad")),
            ("L/d", None),
            ("100*d/(1000*L)", Some("%")),
            ("206265*atan(L/L)", Some("arcsec")),
            ("57.3*atan(L/L)", Some("°")),
            ("1000/2*L - d", Some("µm")),
            ("2*25.4*L + d", None),
        ] {
            assert_eq!(check(text, unit), Ok(()), "{text}");
        }
    }

    #[test]
    fn what_is_not_is_refused_at_its_place() {
        for (text, unit, column, said) in [
            ("1 + L + d", None, 1, "mm and µm are added or subtracted here"),
            ("2*(L - 3*d)", None, 4, "mm and µm"),
            ("L + t", None, 1, "different things"),
            ("max(L, d)", None, 1, "compared"),
            ("L*a", Some("mm"), 1, "the formula gives mm·1/K"),
            ("L", Some("µm"), 1, "said to be µm"),
            ("L*sin(phi)", None, 3, "radians"),
            ("L*t + d*t", None, 1, "mm·K and µm·K"),
        ] {
            let error = check(text, unit).unwrap_err();
            assert!(error.column == column && error.problem.contains(said), "{text}: {error}");
        }
        let ppm = Formula::parse("L*(1 + a)", &NAMES).unwrap();
        let error = ppm.check_units(&[Some("mm"), None, Some("ppm")], Some("mm")).unwrap_err();
        assert!(error.problem.contains("ppm and a pure number"), "{error}");
    }

    /// A product of products of products has a name that is cut, and a power below the line is told as one.
    #[test]
    fn names_of_units_stay_short() {
        let long = format!("L + {}", vec!["L"; 500].join("*"));
        let error = check(&long, None).unwrap_err();
        assert!(error.problem.contains('…') && error.problem.len() < 250, "{error}");
        let error = check("1/L", Some("mm")).unwrap_err();
        assert!(error.problem.contains("gives 1/(mm)"), "{error}");
        let error = check("L/(d*t)", Some("mm")).unwrap_err();
        assert!(error.problem.contains("gives mm/(µm·K)"), "{error}");
    }

    /// An ohm is a volt over an ampere (SI brochure, table 4), and so on; what is not understood is nothing.
    #[test]
    fn units_of_the_si_and_others() {
        for (a, b, ratio) in [
            ("V/A", "Ω", 1.0),
            ("kg m/s^2", "N", 1.0),
            ("N/mm²", "MPa", 1.0),
            ("mA", "A", 1e-3),
            ("in", "mm", 25.4),
            ("µm/(m K)", "ppm/K", 1.0),
            ("°F", "K", 5.0 / 9.0),
            ("min", "s", 60.0),
            ("K⁻¹", "1/°C", 1.0),
            ("cm3", "mL", 1.0),
        ] {
            let ((powers, a), (other, b)) = (scaled(a).expect(a), scaled(b).expect(b));
            assert!(powers == other && nearly(a / b, ratio), "{powers:?} {other:?} {a} {b}");
        }
        for unit in ["Nm", "F", "C", "widgets", "<b>", "mm^x"] {
            assert_eq!(scaled(unit), None, "{unit}");
        }
    }
}
