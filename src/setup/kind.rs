//! How quantities are written in a setup file, and what is known of them.

use super::share::Share;
use crate::quantity::distribution::{Distribution, ParameterError};
use crate::quantity::type_a::{ReadingsError, Series};
use crate::quantity::unit::{self, Unit};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer};
use std::{borrow::Cow, marker::PhantomData, ops::Deref};

/// A kind of quantity: the unit it is computed in, and how a person may write it.
pub trait Kind: JsonSchema {
    /// The unit of [`Quantity::value`].
    const UNIT: Unit;
}

/// A value with its unit, as text: `"36 in"`.
///
/// The walker has read the text by the schema, and hands over number and text.
#[derive(Debug, Clone, Deserialize)]
#[serde(bound = "")]
pub struct Quantity<K> {
    /// In the unit of its kind.
    pub value: f64,
    /// As written.
    pub written: String,
    #[serde(skip)]
    kind: PhantomData<K>,
}

impl<K: Kind> JsonSchema for Quantity<K> {
    fn schema_name() -> Cow<'static, str> {
        K::schema_name()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        K::json_schema(generator)
    }
}

/// A number and something after it. Which units are known is too long for a pattern.
const NUMBER_AND_UNIT: &str = r"^\s*[-+−]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?(/\d+)?\s*[^\s\d.]";

macro_rules! kinds {
    ($($(#[doc = $doc:literal])+ $name:ident $title:literal $unit:ident [$($example:literal),+] $([$($share:ident),+])?;)+) => {$(
        $(#[doc = $doc])+
        #[derive(Debug, Clone)]
        pub struct $name;

        impl Kind for $name {
            const UNIT: Unit = unit::$unit;
        }

        impl JsonSchema for $name {
            fn schema_name() -> Cow<'static, str> {
                $title.into()
            }

            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                let shares: &[Share] = &[$($(Share::$share),+)?];
                let mut schema = json_schema!({
                    "type": "string",
                    "description": concat!($($doc),+).trim(),
                    "pattern": NUMBER_AND_UNIT,
                    "examples": [$($example),+],
                    "x-unit": unit::$unit.symbol(),
                });
                if !shares.is_empty() {
                    let words: Vec<&str> = shares.iter().map(|share| share.words()[0]).collect();
                    schema.insert("x-shares".into(), words.into());
                }
                schema
            }
        }
    )+};
}

kinds! {
    /// A length on the plate or the bench, with its unit.
    Millimetres "length" MILLIMETRE ["24 in", "610 mm"];
    /// A height or a small length, with its unit.
    Micrometres "height" MICROMETRE ["2 tenths", "50 µin", "3 µm"];
    /// A small length with its unit, or a share of the indicator's graduation.
    Graduations "height_in_graduations" MICROMETRE ["1/5 graduation", "20 µin", "0.5 µm"] [Graduation];
    /// A length with its unit, or a share of the plate's length, width or diagonal.
    PlateShares "length_on_the_plate" MILLIMETRE ["0.5 of the length", "12 in", "300 mm"] [Length, Width, Diagonal];
    /// A height with its unit, or a share of what the finest US grade allows the whole plate (1 + 1.6e-6 D² µm).
    WearDepth "depth" MICROMETRE ["2 µm", "80 µin", "0.5 of grade AA"] [GradeAa];
    /// A temperature difference, with its unit.
    Kelvins "temperature_difference" KELVIN ["0.2 K", "0.5 °F"];
    /// A coefficient of linear expansion, with its unit.
    PerKelvin "expansion_coefficient" PER_KELVIN ["6.5e-6 /K", "6.5 ppm/K"];
    /// An angle, with its unit.
    Degrees "angle" DEGREE ["15°", "15 deg"];
    /// A time, with its unit.
    Minutes "time" MINUTE ["1 min", "30 s"];
    /// How fast a temperature changes, with its unit.
    KelvinsPerHour "rate_of_temperature_change" KELVIN_PER_HOUR ["0.2 K/h", "0.5 °F/h"];
    /// How fast a height drifts, with its unit.
    MicrometresPerHour "drift" MICROMETRE_PER_HOUR ["0.5 µm/h", "20 µin/h"];
}

/// A number in a unit that may be one that only its user knows; a text with a unit is converted to it where it is known.
#[derive(Debug, Clone)]
pub struct Plain;

impl Kind for Plain {
    const UNIT: Unit = unit::ONE;
}

impl JsonSchema for Plain {
    fn schema_name() -> Cow<'static, str> {
        "plain_number".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": ["number", "string"], "x-plain": true, "examples": [1, 2] })
    }
}

/// A list of [`Plain`] numbers, all in the unit of their record.
#[derive(Debug, Clone)]
pub struct Numbers(Vec<f64>);

impl Deref for Numbers {
    type Target = [f64];

    fn deref(&self) -> &[f64] {
        &self.0
    }
}

impl<'de> Deserialize<'de> for Numbers {
    fn deserialize<D: Deserializer<'de>>(list: D) -> Result<Self, D::Error> {
        let list = Vec::<Quantity<Plain>>::deserialize(list)?;
        Ok(Self(list.into_iter().map(|number| number.value).collect()))
    }
}

impl JsonSchema for Numbers {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        "plain_numbers".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        Vec::<Quantity<Plain>>::json_schema(generator)
    }
}

/// What is known of a quantity: a value with its unit where it is known exactly, else a
/// distribution.
#[derive(Debug, Clone)]
pub struct Uncertain<K> {
    /// In the unit of its kind.
    pub known: Distribution,
    kind: PhantomData<K>,
}

/// [`Uncertain`] as written.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(untagged, bound = "")]
#[schemars(bound = "K: Kind", rename = "uncertain_{K}", extend("x-uncertain" = true))]
enum Written<K> {
    /// Known exactly.
    Exactly(Quantity<K>),
    /// Known by its distribution.
    By(Family<K>),
    /// Known by readings.
    Read(OneSeries<K>),
}

/// Readings in place of a distribution.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "readings_for_{K}")]
pub struct OneSeries<K> {
    /// Readings taken one after another: their mean, with t of one degree of freedom less than
    /// there are readings (JCGM 101 6.4.9.2).
    readings: Readings<K, 4>,
}

/// A distribution by its family, where nothing else will do.
#[derive(Debug, Clone)]
pub struct Shape<K> {
    /// In the unit of its kind.
    pub known: Distribution,
    kind: PhantomData<K>,
}

impl<K: Kind> JsonSchema for Shape<K> {
    fn schema_name() -> Cow<'static, str> {
        format!("shape_of_{}", K::schema_name()).into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let mut schema = Family::<K>::json_schema(generator);
        schema.insert("x-uncertain".into(), true.into());
        schema
    }
}

impl<'de, K> Deserialize<'de> for Shape<K> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let known =
            Family::<K>::deserialize(deserializer)?.distribution().map_err(serde::de::Error::custom)?;
        Ok(Self { known, kind: PhantomData })
    }
}

impl<K: Kind> JsonSchema for Uncertain<K> {
    fn schema_name() -> Cow<'static, str> {
        Written::<K>::schema_name()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        Written::<K>::json_schema(generator)
    }
}

impl<'de, K> Deserialize<'de> for Uncertain<K> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let known =
            Written::<K>::deserialize(deserializer)?.distribution().map_err(serde::de::Error::custom)?;
        Ok(Self { known, kind: PhantomData })
    }
}

/// The distribution that a value of an uncertain field describes, once the walker has read its
/// quantities. `None` where it does not have the form of one.
pub(super) fn distribution(read: &serde_json::Value) -> Option<Result<Distribution, ParameterError>> {
    // Units are out of the way by now, so any kind will do.
    Written::<Micrometres>::deserialize(read).ok().map(|written| written.distribution())
}

impl<K> Written<K> {
    fn distribution(&self) -> Result<Distribution, ParameterError> {
        match self {
            Self::Exactly(quantity) => Distribution::constant(quantity.value),
            Self::By(family) => family.distribution(),
            Self::Read(OneSeries { readings }) => match readings.series() {
                Ok(series) => series.estimate().distribution(),
                Err(_) => Distribution::constant(f64::NAN),
            },
        }
    }
}

impl<K> Family<K> {
    fn distribution(&self) -> Result<Distribution, ParameterError> {
        match self {
            Self::Normal(Normal { mean, standard_deviation }) => {
                Distribution::normal(mean.value, standard_deviation.value)
            }
            Self::Rectangular(limits) => {
                let [low, high] = limits.ends();
                Distribution::rectangular(low, high)
            }
            Self::InexactRectangular(InexactLimits { from, to, limits_within }) => {
                Distribution::inexact_rectangular(from.value, to.value, limits_within.value)
            }
            Self::Trapezoidal(Trapezoid { from, to, top_to_base }) => {
                Distribution::trapezoidal(from.value, to.value, *top_to_base)
            }
            Self::Triangular(limits) => {
                let [low, high] = limits.ends();
                Distribution::triangular(low, high)
            }
            Self::ArcSine(limits) => {
                let [low, high] = limits.ends();
                Distribution::arc_sine(low, high)
            }
            Self::StudentT(StudentT { mean, scale, degrees_of_freedom }) => {
                Distribution::student_t(mean.value, scale.value, *degrees_of_freedom)
            }
            Self::Exponential(Mean { mean }) => Distribution::exponential(mean.value),
            Self::Gamma(Gamma { mean, shape }) => Distribution::gamma(*shape, mean.value / shape),
            Self::Lognormal(Lognormal { median, spread }) => Distribution::lognormal(median.value, *spread),
        }
    }
}

/// What is known, as a probability distribution: one family by its name, with its parameters (JCGM
/// 101:2008, table 1).
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "distribution_of_{K}")]
pub enum Family<K> {
    /// An estimate and its standard uncertainty, as from a certificate (U/k).
    Normal(Normal<K>),
    /// Limits and nothing more.
    Rectangular(Limits<K>),
    /// Limits that are themselves known only within so much.
    InexactRectangular(InexactLimits<K>),
    /// Limits, the middle likelier: the sum of two rectangular quantities of unequal width.
    Trapezoidal(Trapezoid<K>),
    /// Limits, the middle likeliest: the sum of two rectangular quantities of equal width.
    Triangular(Limits<K>),
    /// Something that swings between two limits, at an unknown moment of its swing.
    ArcSine(Limits<K>),
    /// An estimate from few readings: t, scaled and shifted.
    StudentT(StudentT<K>),
    /// Something above zero of which only the mean is known.
    Exponential(Mean<K>),
    /// Something above zero with a most likely size: a depth of wear.
    Gamma(Gamma<K>),
    /// Something above zero with a long tail: the size of a grain.
    Lognormal(Lognormal<K>),
}

/// Parameters of the normal distribution.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "normal_{K}")]
pub struct Normal<K> {
    /// The estimate.
    pub mean: Quantity<K>,
    /// Its standard uncertainty.
    #[schemars(extend("x-difference" = true))]
    pub standard_deviation: Quantity<K>,
}

/// Two limits.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(untagged, bound = "")]
#[schemars(bound = "K: Kind", rename = "limits_of_{K}")]
pub enum Limits<K> {
    /// The limits themselves.
    Ends(Ends<K>),
    /// Their middle, and how far they are from it.
    About(About<K>),
}

/// Two limits.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "limits_from_and_to_{K}")]
pub struct Ends<K> {
    /// Lower limit.
    #[schemars(extend("x-also-called" = ["a", "low", "lower", "min"]))]
    pub from: Quantity<K>,
    /// Upper limit.
    #[schemars(extend("x-example" = 1, "x-also-called" = ["b", "high", "upper", "max"]))]
    pub to: Quantity<K>,
}

/// Two limits, by their middle.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "limits_about_{K}")]
pub struct About<K> {
    /// The middle.
    pub centre: Quantity<K>,
    /// From the middle to either limit.
    #[schemars(extend("x-difference" = true))]
    pub half_width: Quantity<K>,
}

impl<K> Limits<K> {
    fn ends(&self) -> [f64; 2] {
        match self {
            Self::Ends(Ends { from, to }) => [from.value, to.value],
            Self::About(About { centre, half_width }) => {
                [centre.value - half_width.value, centre.value + half_width.value]
            }
        }
    }
}

/// Limits that are known within so much.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "inexact_limits_of_{K}")]
pub struct InexactLimits<K> {
    /// Lower limit.
    pub from: Quantity<K>,
    /// Upper limit.
    #[schemars(extend("x-example" = 1))]
    pub to: Quantity<K>,
    /// Either limit may be this much lower or higher; less than half of what lies between them.
    #[schemars(extend("x-difference" = true))]
    pub limits_within: Quantity<K>,
}

/// Parameters of the trapezoidal distribution.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "trapezoid_{K}")]
pub struct Trapezoid<K> {
    /// Lower limit.
    pub from: Quantity<K>,
    /// Upper limit.
    #[schemars(extend("x-example" = 1))]
    pub to: Quantity<K>,
    /// Width of the flat top over the width of the base: 0 is triangular, 1 rectangular.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub top_to_base: f64,
}

/// Parameters of the scaled and shifted t-distribution.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "t_{K}")]
pub struct StudentT<K> {
    /// The estimate.
    pub mean: Quantity<K>,
    /// Its scale, such as s/√n: a little less than its standard uncertainty.
    #[schemars(extend("x-difference" = true))]
    pub scale: Quantity<K>,
    /// Degrees of freedom, above 2.
    #[schemars(extend("exclusiveMinimum" = 2, "maximum" = 1e6))]
    pub degrees_of_freedom: f64,
}

/// The mean alone.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "mean_{K}")]
pub struct Mean<K> {
    /// The mean, above zero.
    pub mean: Quantity<K>,
}

/// Parameters of the gamma distribution.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "gamma_{K}")]
pub struct Gamma<K> {
    /// The mean, above zero.
    pub mean: Quantity<K>,
    /// Its shape: 1 is exponential; the larger, the narrower.
    #[schemars(range(min = 0.05, max = 1000.0))]
    pub shape: f64,
}

/// Parameters of the lognormal distribution.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "lognormal_{K}")]
pub struct Lognormal<K> {
    /// The value that half exceed.
    pub median: Quantity<K>,
    /// Standard deviation of the natural logarithm.
    #[schemars(range(min = 0.0, max = 3.0))]
    pub spread: f64,
}

/// Readings of one and the same thing, at least `N`.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound = "")]
#[schemars(bound = "K: Kind", rename = "{N}_or_more_readings_of_{K}")]
pub struct Readings<K, const N: usize> {
    /// Their unit.
    pub unit: ReadingUnit<K>,
    /// The readings, as numbers.
    #[schemars(extend("minItems" = N, "maxItems" = 500, "examples" = [[0, 1, 0, -1]]), inner(range(min = -1e6, max = 1e6)))]
    pub values: Vec<f64>,
}

impl<K, const N: usize> Readings<K, N> {
    /// What the readings give, in the unit of their kind.
    pub fn series(&self) -> Result<Series, ReadingsError> {
        let readings: Vec<f64> = self.values.iter().map(|reading| reading * self.unit.value).collect();
        Series::of(&readings)
    }
}

/// The unit of a list of readings, as text; its value is what one of it is in the kind's unit.
#[derive(Debug, Clone, Deserialize)]
#[serde(bound = "", transparent)]
pub struct ReadingUnit<K>(Quantity<K>);

impl<K> std::ops::Deref for ReadingUnit<K> {
    type Target = Quantity<K>;

    fn deref(&self) -> &Quantity<K> {
        &self.0
    }
}

impl<K: Kind> JsonSchema for ReadingUnit<K> {
    fn schema_name() -> Cow<'static, str> {
        format!("unit_of_{}", K::schema_name()).into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "x-unit-name": K::UNIT.symbol(), "examples": [K::UNIT.symbol()] })
    }
}
