//! The fields of a formula model file: their names, what they mean and what they may be.
//!
//! This is the only list of them, as [`written`](super::written) is for setups; the words of its schema
//! are told there.

use super::kind::{Numbers, Plain, Quantity, Shape};
use schemars::JsonSchema;
use serde::Deserialize;

/// A measurement: what is measured, the formula it follows, and what is known of the quantities in it. Numbers are in
/// whatever units are written beside them, and formulas convert none: a sum of quantities in different units is refused.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "howflat formula model")]
pub struct WrittenModel {
    /// Address of this schema, for editors.
    #[serde(rename = "$schema")]
    #[allow(dead_code, reason = "it is there for editors alone")]
    pub schema: Option<String>,
    /// What the measurement is called in reports. Left out: made up from the measurands.
    #[schemars(length(max = 200))]
    pub title: Option<String>,
    /// What is measured.
    #[schemars(length(min = 1, max = 20))]
    pub measurands: Vec<WrittenMeasurand>,
    /// The quantities in the formulas.
    #[schemars(length(min = 1, max = 200))]
    pub inputs: Vec<WrittenInput>,
    /// Inputs that are correlated; all others are independent.
    #[schemars(length(max = 2000))]
    pub correlations: Option<Vec<WrittenCorrelation>>,
    /// Groups of inputs whose readings were taken together, time after time: reading k of each at one time.
    /// Their correlations follow from the readings (GUM 5.2.3).
    #[schemars(length(max = 50), inner(length(min = 2, max = 50)))]
    pub simultaneous: Option<Vec<Vec<String>>>,
}

/// One thing that is measured.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WrittenMeasurand {
    /// What it is called. Where that is letters, digits and _, formulas of measurands below may use it.
    #[schemars(length(min = 1, max = 100))]
    pub name: String,
    /// Its unit, as it is to be written. Left out: none.
    #[schemars(length(max = 30), extend("x-unit-of-record" = true))]
    pub unit: Option<String>,
    /// How it follows from the inputs, in ordinary mathematics: `l_s + d - l_s*(a*t + b^2)`. Functions: sin cos tan
    /// asin acos atan atan2 sinh cosh tanh exp ln log10 sqrt abs min max, angles in radians; and pi.
    #[schemars(length(min = 1, max = 4096), extend("examples" = ["a * b"]))]
    pub formula: String,
    /// Limits that it is to keep, in its unit: the report then says how likely it does (JCGM 106).
    pub limits: Option<WrittenLimits>,
}

/// Tolerance limits, one or both.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WrittenLimits {
    /// The lower one.
    #[schemars(extend("x-also-called" = ["from", "min", "low"]))]
    pub lower: Option<Quantity<Plain>>,
    /// The upper one.
    #[schemars(extend("x-also-called" = ["to", "max", "high"]))]
    pub upper: Option<Quantity<Plain>>,
    /// Probability with which what is accepted is to keep either limit.
    #[schemars(extend("exclusiveMinimum" = 0.5, "maximum" = 0.9999, "default" = 0.95, "x-source" = "ISO 14253-1:2017"))]
    pub kept_with: f64,
    /// Acceptance limits, if they are agreed: estimates between them are accepted. Left out: the limits moved inside by a guard
    /// band, so that what is accepted keeps either as said by `kept_with`.
    pub acceptance: Option<WrittenAcceptance>,
    /// What is known of such measurands before one is measured, as of what a process makes: the report then also says how
    /// many bad ones will be accepted and how many good ones rejected (JCGM 106, 9.5).
    #[schemars(extend("x-also-called" = ["process", "true_values"]))]
    pub prior: Option<Shape<Plain>>,
}

/// Acceptance limits, one for each tolerance limit.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WrittenAcceptance {
    /// The lower one.
    #[schemars(extend("x-also-called" = ["from", "min", "low"]))]
    pub lower: Option<Quantity<Plain>>,
    /// The upper one.
    #[schemars(extend("x-also-called" = ["to", "max", "high"]))]
    pub upper: Option<Quantity<Plain>>,
}

/// One quantity in the formulas, by exactly one of `value`, `estimate`, `distribution`, `readings`, `from_groups`
/// and `from_straight_line`.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("x-either" = [
    ["standard_uncertainty", "expanded_uncertainty"], ["degrees_of_freedom", "uncertainty_trusted_within"]
]))]
pub struct WrittenInput {
    /// What the formulas call it: letters, digits and _.
    #[schemars(length(min = 1, max = 60))]
    pub name: String,
    /// Its unit, as it is to be written. Left out: none.
    #[schemars(length(max = 30), extend("x-unit-of-record" = true))]
    pub unit: Option<String>,
    /// Where this knowledge comes from: a certificate, a data sheet, a guess.
    #[schemars(length(max = 200))]
    pub source: Option<String>,
    /// Its value, if that is taken as exactly known. This and the figures below: numbers in the input's unit, or texts with
    /// their own, which are converted: `"0.1 mm"`.
    pub value: Option<Quantity<Plain>>,
    /// Its estimate, with `standard_uncertainty`, or with `expanded_uncertainty` and `coverage_factor`. Taken as normal, or
    /// as t where degrees of freedom are given.
    pub estimate: Option<Quantity<Plain>>,
    /// Standard uncertainty of the estimate. Beside a distribution: what the law of propagation is to take instead
    /// of the distribution's own.
    #[schemars(extend("minimum" = 0, "x-difference" = true, "x-also-called" = ["u"]))]
    pub standard_uncertainty: Option<Quantity<Plain>>,
    /// Expanded uncertainty U of the estimate, as a certificate states it.
    #[schemars(extend("minimum" = 0, "x-difference" = true, "x-also-called" = ["U"]))]
    pub expanded_uncertainty: Option<Quantity<Plain>>,
    /// The factor k that belongs to the expanded uncertainty.
    #[schemars(extend("exclusiveMinimum" = 0, "maximum" = 100, "examples" = [2], "x-also-called" = ["k"]))]
    pub coverage_factor: Option<f64>,
    /// Degrees of freedom of the standard uncertainty. Left out: infinitely many.
    #[schemars(extend("minimum" = 0.5, "maximum" = 1e9, "examples" = [9], "x-left-out" = "infinitely many",
        "x-also-called" = ["nu", "ν", "dof", "df"]))]
    pub degrees_of_freedom: Option<f64>,
    /// How far the standard uncertainty may itself be off, as a fraction of it, instead of degrees of freedom: 0.25 makes 8
    /// of them (GUM G.4.2).
    #[schemars(extend("exclusiveMinimum" = 0, "maximum" = 1, "examples" = [0.25]))]
    pub uncertainty_trusted_within: Option<f64>,
    /// What is known, as a probability distribution (JCGM 101 table 1).
    pub distribution: Option<Shape<Plain>>,
    /// Readings of it, one after the other: their mean and its standard deviation (GUM 4.2).
    #[schemars(length(min = 1, max = 100_000))]
    pub readings: Option<Numbers>,
    /// Earlier work that tells the scatter of such readings better than these few do (GUM 4.2.4).
    pub scatter_from: Option<WrittenScatter>,
    /// Readings in groups, by days or by people: one-way analysis of variance (GUM H.5).
    pub from_groups: Option<WrittenGroups>,
    /// The height of a straight line that is fitted to readings, as of a calibration curve, or its slope (GUM H.3). Inputs
    /// from a line through the same points are correlated, as it gives them.
    pub from_straight_line: Option<WrittenLine>,
}

/// The scatter of one reading, from earlier work: by its figures, or by the series of that work.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum WrittenScatter {
    /// By its figures.
    Figures(ScatterFigures),
    /// By the series, whose scatters are pooled.
    Series(ScatterSeries),
}

/// A standard deviation of one reading.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScatterFigures {
    /// Standard deviation of one reading.
    #[schemars(extend("minimum" = 0, "x-difference" = true))]
    pub standard_deviation: Quantity<Plain>,
    /// Its degrees of freedom.
    #[schemars(range(min = 0.5, max = 1e9), extend("examples" = [24]))]
    pub degrees_of_freedom: f64,
}

/// Series of readings under the same conditions.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScatterSeries {
    /// One list of readings each.
    #[schemars(length(min = 1, max = 1000), inner(length(min = 2, max = 10_000)))]
    pub series: Vec<Numbers>,
}

/// Groups of equally many readings: the readings themselves, or mean and standard deviation of each group.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum WrittenGroups {
    /// The readings.
    Readings(GroupReadings),
    /// What came of them.
    Summaries(GroupSummaries),
}

/// Readings in groups.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GroupReadings {
    /// One list of readings each.
    #[schemars(length(min = 2, max = 1000), inner(length(min = 2, max = 1000)))]
    pub groups: Vec<Numbers>,
    /// Whether the groups are taken to differ by more than their readings scatter. Left out: so if chance alone
    /// would make them differ as much less than once in 20 times.
    pub groups_differ: Option<bool>,
}

/// Mean and standard deviation of each group.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GroupSummaries {
    /// Mean of each group.
    #[schemars(length(min = 2, max = 1000))]
    pub means: Numbers,
    /// Standard deviation of the readings in each group, in the same order.
    #[schemars(length(min = 2, max = 1000), inner(range(min = 0.0)))]
    pub standard_deviations: Numbers,
    /// How many readings there are in each group.
    #[schemars(range(min = 2, max = 100_000))]
    pub readings_in_each: usize,
    /// Whether the groups are taken to differ by more than their readings scatter. Left out: so if chance alone
    /// would make them differ as much less than once in 20 times.
    pub groups_differ: Option<bool>,
}

/// A straight line by least squares.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WrittenLine {
    /// The readings that it is fitted to, each `[x, y]`; y in the unit of this input.
    #[schemars(length(min = 3, max = 10_000))]
    pub points: Vec<[f64; 2]>,
    /// What of it is meant. Left out: its height.
    pub of: Option<WrittenOfLine>,
    /// The x at which its height is taken.
    pub at: Option<f64>,
    /// Whether a single reading there is meant, which scatters about the line as the points do, rather than the line
    /// itself. Left out: the line itself.
    #[schemars(extend("default" = false, "x-source" = "GUM H.3.4 takes the line itself"))]
    pub for_one_reading: bool,
}

/// What of a straight line is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum WrittenOfLine {
    /// Its height at an x.
    Height,
    /// Its slope, in the unit of this input.
    Slope,
}

/// How two inputs are correlated.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WrittenCorrelation {
    /// The two inputs.
    pub between: [String; 2],
    /// Their correlation coefficient.
    #[schemars(range(min = -1.0, max = 1.0), extend("examples" = [0.5]))]
    pub coefficient: f64,
}
