//! The fields of a setup file: their names, what they mean, what they may be, and what is taken when
//! they are left out.
//!
//! This is the only list of fields. The published schema is made from it, and the walker reads a
//! file by that schema. Beside the words of JSON Schema it uses a few of our own:
//!
//! - `x-unit`: a text holds a number and a unit that can be converted to this one;
//! - `x-unit-name`: a text holds a unit alone;
//! - `x-plausible`: the low and the high end of what is plausible where the field is left out (common practice, no source);
//!   `x-settled-by`: what would settle it at the bench;
//! - `x-plain`: a number in whatever unit the user has in mind;
//! - `x-shares`: a quantity may also be a share of these;
//! - `x-whole`: shares may be taken of this field;
//! - `x-at-least`, `x-at-most`: limits of a quantity, or of an estimate;
//! - `x-uncertain`: a value or a distribution;
//! - `x-either`: pairs of fields of which at most one may be given; the first one's default holds
//!   only if the second is not given;
//! - `x-defaults-by`: this member names a state or a class that has defaults for the others;
//! - `x-stated`: a state or class has a default for this member;
//! - `x-source`: where a default comes from.

use super::improvements::WrittenImprovements;
use super::kind::{
    Degrees, Graduations, Kelvins, KelvinsPerHour, Micrometres, MicrometresPerHour, Millimetres, Minutes,
    PerKelvin, Plain, PlateShares, Quantity, Readings, Uncertain, WearDepth,
};
use super::state::{CleanState, WearState};
use super::traceability::Traceability;
use crate::quantity::unit::{self, Unit};
use crate::shop::{
    gauge_block::BlockGrade, grade::Grade, indicator::IndicatorClass, material::Material, survey::StandUse,
    wear::Corner,
};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, de::Error};
use serde_json::json;
use std::borrow::Cow;

/// A shop check of a surface plate: what is checked, with what, in what state, and how. Only the
/// plate's length and width, the stand's feet and the indicator's graduation have to be given.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "howflat setup")]
pub struct Written {
    /// Address of this schema, for editors.
    #[serde(rename = "$schema")]
    #[allow(dead_code, reason = "it is there for editors alone")]
    pub schema: Option<String>,
    /// What the check is called in reports. Left out: made up from plate and stand.
    #[schemars(length(max = 200))]
    pub title: Option<String>,
    /// Unit of heights in reports. Left out: tenth for an indicator graduated in inches, µm for
    /// others.
    pub unit: Option<Choice<HeightUnit>>,
    /// The plate: its size, what it is made of, and the grade or tolerance it is to keep.
    pub plate: Plate,
    /// What is known of the plate's surface before it is read.
    #[schemars(extend("default" = {}))]
    pub wear: Wear,
    /// What carries the indicator: feet, reach and column.
    pub stand: Stand,
    /// The indicator: its graduation, how it is read, and its limits.
    pub indicator: Indicator,
    /// The gauge block that is read on.
    #[schemars(extend("default" = {}))]
    pub gauge_block: GaugeBlock,
    /// Plate and room during the check.
    #[schemars(extend("default" = {}))]
    pub temperature: Temperature,
    /// What feet and block catch when they are put down.
    #[schemars(extend("default" = {}))]
    pub cleanliness: Cleanliness,
    /// Where stand and block go, in what order, and how the zero is handled.
    #[schemars(extend("default" = {}))]
    pub survey: Survey,
    /// How the result is judged.
    #[schemars(extend("default" = {}))]
    pub decision: Decision,
    /// Numbers and dates of what is used, and who checks, for the record.
    #[schemars(extend("default" = {}))]
    pub traceability: Traceability,
    /// What may be done to make the check better, for `howflat plan`. Left out: all usual steps.
    pub improvements: Option<WrittenImprovements>,
}

/// The plate.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("x-either" = [["material", "expansion"], ["grade", "tolerance"]]))]
pub struct Plate {
    /// Length, the long side: x, from the operator's left to right.
    #[schemars(extend("x-whole" = "length", "x-at-least" = "100 mm", "x-at-most" = "10 m"))]
    pub length: Quantity<Millimetres>,
    /// Width: y, from the front edge (the operator's side) to the back.
    #[schemars(extend("x-whole" = "width", "x-at-least" = "100 mm", "x-at-most" = "10 m"))]
    pub width: Quantity<Millimetres>,
    /// Thickness; for a ribbed iron plate its overall depth. Left out: as usual for the size.
    #[schemars(extend("x-at-least" = "20 mm", "x-at-most" = "1 m"))]
    pub thickness: Option<Quantity<Millimetres>>,
    /// What it is made of.
    #[schemars(extend("default" = "granite", "x-source" = "most plates; 4 to 9 ppm/K by kind of stone"))]
    pub material: Option<Choice<Material>>,
    /// Coefficient of linear expansion, instead of a material.
    #[schemars(extend("x-at-least" = "0 /K", "x-at-most" = "30 ppm/K"))]
    pub expansion: Option<Uncertain<PerKelvin>>,
    /// Strip along every edge that is not judged. Left out: by the grade's standard; without a grade
    /// 25 mm, or a twelfth of the width where that is less.
    #[schemars(extend("x-at-least" = "0 mm", "x-at-most" = "200 mm"))]
    pub margin: Option<Quantity<Millimetres>>,
    /// The grade it is to keep. A US grade alone means the standard's printed table where the size
    /// is in it (within 5 %), else its formula rounded to 25 µin.
    pub grade: Option<Choice<Grade>>,
    /// The largest flatness deviation allowed, instead of a grade.
    #[schemars(extend("x-at-least" = "0.1 µm", "x-at-most" = "1 mm"))]
    pub tolerance: Option<Quantity<Micrometres>>,
    /// Whether the flatness to be known holds the bow by heat of the moment. A certificate's does
    /// not: then a bow during the check is an error.
    #[schemars(extend("default" = false, "x-source" = "certificates are for a plate without a temperature difference"))]
    pub flatness_holds_bow: bool,
}

/// What is known of the plate's surface before it is read: a state by its name, any part of it in
/// figures instead, or a measured map.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("x-defaults-by" = "state", "x-either" = [
    ["amount", "map"], ["middle", "map"], ["front_edge", "map"], ["corner_dips", "map"], ["stand_dips", "map"], ["dips", "map"], ["twist", "map"], ["long_wave", "map"]
]))]
pub struct Wear {
    /// State of the plate. It stands for all figures below that are not given.
    #[schemars(extend("default" = "in daily use", "x-source" = "what most doubted plates are"))]
    #[allow(dead_code, reason = "the walker has used it up")]
    pub state: Choice<WearState>,
    /// How worn the plate is at large, against what is usual: a factor on the depths of middle and front edge, on the
    /// twist and on the long waves. Left out: what the state says, or 1 where any of those is given in figures.
    #[schemars(extend("x-stated" = true))]
    pub amount: Option<Uncertain<Plain>>,
    /// The dish in the middle, where work is done.
    #[schemars(extend("default" = {}))]
    pub middle: Option<MiddleWear>,
    /// The band along the front edge, on the operator's side.
    #[schemars(extend("default" = {}))]
    pub front_edge: Option<FrontEdgeWear>,
    /// Dips near corners, each there or not.
    #[schemars(length(max = 8), extend("x-stated" = true))]
    pub corner_dips: Option<Vec<CornerDip>>,
    /// Dips where the stand's feet are put down, each there or not.
    #[schemars(length(max = 8), extend("x-stated" = true))]
    pub stand_dips: Option<Vec<StandDip>>,
    /// Dips anywhere, each there or not.
    #[schemars(length(max = 8), extend("x-stated" = true))]
    pub dips: Option<Vec<Dip>>,
    /// Twist: two opposite corners are higher than the middle by this much, the other two lower.
    /// Negative: front left and back right low.
    #[schemars(extend("x-stated" = true, "x-at-least" = "-1 mm", "x-at-most" = "1 mm"))]
    pub twist: Option<Uncertain<WearDepth>>,
    /// Long waves: everything that has no name of its own.
    #[schemars(extend("default" = {}))]
    pub long_wave: Option<LongWave>,
    /// Short waves, of lapping and scraping; with a map, those that its points are too far apart to
    /// show.
    #[schemars(extend("default" = {}))]
    pub waviness: Waviness,
    /// A measured map of the plate, as a certificate gives it, instead of wear.
    pub map: Option<Map>,
}

/// A dish of Gaussian profile in the middle of the plate.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MiddleWear {
    /// Depth at its centre.
    #[schemars(extend("x-stated" = true, "x-at-least" = "-1 mm", "x-at-most" = "1 mm"))]
    pub depth: Uncertain<WearDepth>,
    /// Centre along the length, from the left edge.
    #[schemars(extend("x-at-least" = "-10 m", "x-at-most" = "20 m", "x-source" = COMMON_PRACTICE, "default" = {
        "normal": {"mean": "0.5 of the length", "standard_deviation": "0.08 of the length"}
    }))]
    pub x: Uncertain<PlateShares>,
    /// Centre along the width, from the front edge.
    #[schemars(extend("x-at-least" = "-10 m", "x-at-most" = "20 m", "x-source" = COMMON_PRACTICE, "default" = {
        "normal": {"mean": "0.45 of the width", "standard_deviation": "0.08 of the width"}
    }))]
    pub y: Uncertain<PlateShares>,
    /// Distance from the centre along the length at which it is 61 % as deep (one sigma).
    #[schemars(extend("x-at-least" = "5 mm", "x-at-most" = "20 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0.15 of the length", "to": "0.35 of the length"}
    }))]
    pub half_length: Uncertain<PlateShares>,
    /// The same along the width.
    #[schemars(extend("x-at-least" = "5 mm", "x-at-most" = "20 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0.15 of the width", "to": "0.35 of the width"}
    }))]
    pub half_width: Uncertain<PlateShares>,
}

/// Wear along the front edge, deepest at the edge.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FrontEdgeWear {
    /// Depth at the edge.
    #[schemars(extend("x-stated" = true, "x-at-least" = "-1 mm", "x-at-most" = "1 mm"))]
    pub depth: Uncertain<WearDepth>,
    /// Distance from the edge at which it is 61 % as deep (one sigma).
    #[schemars(extend("x-at-least" = "1 mm", "x-at-most" = "20 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0.05 of the width", "to": "0.18 of the width"}
    }))]
    pub reach: Uncertain<PlateShares>,
    /// Where along the length it is deepest, from the left edge.
    #[schemars(extend("x-at-least" = "-10 m", "x-at-most" = "20 m", "x-source" = COMMON_PRACTICE, "default" = {
        "normal": {"mean": "0.5 of the length", "standard_deviation": "0.1 of the length"}
    }))]
    pub x: Uncertain<PlateShares>,
    /// Distance from there along the edge at which it is 61 % as deep.
    #[schemars(extend("x-at-least" = "5 mm", "x-at-most" = "20 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0.15 of the length", "to": "0.4 of the length"}
    }))]
    pub half_length: Uncertain<PlateShares>,
}

/// A dip near a corner, of round Gaussian profile.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CornerDip {
    /// Chance that it is there at all.
    #[schemars(range(min = 0.0, max = 1.0), extend("default" = 1, "x-source" = "a dip that is listed is there"))]
    pub chance: f64,
    /// Which corner. Left out: any, each as likely.
    pub corner: Option<Choice<Corner>>,
    /// Depth at its centre.
    #[schemars(extend("x-at-least" = "-1 mm", "x-at-most" = "1 mm"))]
    pub depth: Uncertain<WearDepth>,
    /// Distance from its centre at which it is 61 % as deep (one sigma).
    #[schemars(extend("x-at-least" = "1 mm", "x-at-most" = "10 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0.05 of the width", "to": "0.15 of the width"}
    }))]
    pub radius: Uncertain<PlateShares>,
    /// Distance of its centre from the corner's end edge (left or right).
    #[schemars(extend("x-at-least" = "0 mm", "x-at-most" = "10 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0 of the width", "to": "0.3 of the width"}
    }))]
    pub from_end: Uncertain<PlateShares>,
    /// Distance of its centre from the corner's long edge (front or back).
    #[schemars(extend("x-at-least" = "0 mm", "x-at-most" = "10 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0 of the width", "to": "0.3 of the width"}
    }))]
    pub from_side: Uncertain<PlateShares>,
}

/// A dip where one of the stand's feet is put down in this check, of round Gaussian profile.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StandDip {
    /// Chance that it is there at all.
    #[schemars(range(min = 0.0, max = 1.0), extend("default" = 1, "x-source" = "a dip that is listed is there"))]
    pub chance: f64,
    /// Depth at its centre.
    #[schemars(extend("x-at-least" = "-1 mm", "x-at-most" = "1 mm"))]
    pub depth: Uncertain<WearDepth>,
    /// Distance from its centre at which it is 61 % as deep (one sigma).
    #[schemars(extend("x-at-least" = "1 mm", "x-at-most" = "10 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0.04 of the width", "to": "0.12 of the width"}
    }))]
    pub radius: Uncertain<PlateShares>,
    /// Distance of its centre from the middle of the foot, along the length and along the width.
    #[schemars(extend("x-at-least" = "-10 m", "x-at-most" = "10 m", "x-source" = COMMON_PRACTICE, "default" = {
        "normal": {"mean": "0 mm", "standard_deviation": "15 mm"}
    }))]
    pub off: Uncertain<PlateShares>,
}

/// A dip of round Gaussian profile, anywhere.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Dip {
    /// Chance that it is there at all.
    #[schemars(range(min = 0.0, max = 1.0), extend("default" = 1, "x-source" = "a dip that is listed is there"))]
    pub chance: f64,
    /// Depth at its centre.
    #[schemars(extend("x-at-least" = "-1 mm", "x-at-most" = "1 mm"))]
    pub depth: Uncertain<WearDepth>,
    /// Distance from its centre at which it is 61 % as deep (one sigma).
    #[schemars(extend("x-at-least" = "1 mm", "x-at-most" = "10 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0.05 of the width", "to": "0.2 of the width"}
    }))]
    pub radius: Uncertain<PlateShares>,
    /// Its centre along the length, from the left edge.
    #[schemars(extend("x-at-least" = "-10 m", "x-at-most" = "20 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0 of the length", "to": "1 of the length"}
    }))]
    pub x: Uncertain<PlateShares>,
    /// Its centre along the width, from the front edge.
    #[schemars(extend("x-at-least" = "-10 m", "x-at-most" = "20 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0 of the width", "to": "1 of the width"}
    }))]
    pub y: Uncertain<PlateShares>,
}

/// A random field of long waves.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LongWave {
    /// Standard deviation of its heights.
    #[schemars(extend("x-stated" = true, "x-at-least" = "0 µm", "x-at-most" = "1 mm"))]
    pub standard_deviation: Uncertain<WearDepth>,
    /// Distance over which heights are alike (squared-exponential correlation length).
    #[schemars(extend("x-at-least" = "20 mm", "x-at-most" = "20 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0.15 of the diagonal", "to": "0.65 of the diagonal"}
    }))]
    pub correlation_length: Uncertain<PlateShares>,
}

/// A random field of short waves.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Waviness {
    /// Standard deviation of its heights.
    #[schemars(extend("x-stated" = true, "x-at-least" = "0 µm", "x-at-most" = "100 µm"))]
    pub standard_deviation: Uncertain<WearDepth>,
    /// Distance over which heights are alike (squared-exponential correlation length).
    #[schemars(extend("x-at-least" = "5 mm", "x-at-most" = "20 m", "x-source" = COMMON_PRACTICE, "default" = {
        "rectangular": {"from": "0.14 of the width", "to": "0.22 of the width"}
    }))]
    pub correlation_length: Uncertain<PlateShares>,
}

/// A measured map of the surface.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Map {
    /// A CSV file beside the setup, with a first line that names columns and units, such as
    /// `x (in), y (in), z (µin)`.
    #[schemars(length(min = 1, max = 500))]
    pub file: String,
    /// Standard uncertainty of each height: half the U (k = 2) of the certificate.
    #[schemars(extend("x-at-least" = "0 µm", "x-at-most" = "100 µm"))]
    pub standard_uncertainty: Quantity<Micrometres>,
}

/// What carries the indicator.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("x-either" = [["column", "column_expansion"]]))]
pub struct Stand {
    /// Its three feet: their distances, or their places `[x, y]` seen from the column, x towards
    /// the tip and y to the left of it.
    #[schemars(extend("examples" = [{"front_apart": "3 in", "front_to_rear": "4 in"}]))]
    pub feet: Feet,
    /// Diameter of a foot's pad.
    #[schemars(extend("default" = "10 mm", "x-at-least" = "1 mm", "x-at-most" = "100 mm",
        "x-source" = "pads are 8 to 15 mm; common practice, no source"))]
    pub pad_diameter: Quantity<Millimetres>,
    /// How far from the column the tip can be. Left out: as far as is asked for.
    #[schemars(extend("default" = {}))]
    pub reach: Reach,
    /// Height of the column that carries the arm.
    #[schemars(extend("default" = "150 mm", "x-at-least" = "20 mm", "x-at-most" = "1 m", "x-source" = COMMON_PRACTICE))]
    pub height: Quantity<Millimetres>,
    /// What the column is made of.
    #[schemars(extend("default" = "steel", "x-source" = COMMON_PRACTICE))]
    pub column: Option<Choice<Material>>,
    /// The column's coefficient of linear expansion, instead of its material.
    #[schemars(extend("x-at-least" = "0 /K", "x-at-most" = "30 ppm/K"))]
    pub column_expansion: Option<Uncertain<PerKelvin>>,
}

/// Three feet.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Feet {
    /// Two in front, one behind in the middle.
    Spans(FootSpans),
    /// Their places, seen from the column.
    Places([[Quantity<Millimetres>; 2]; 3]),
}

/// Two feet in front, one behind in the middle.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FootSpans {
    /// Distance between the two front feet, from middle to middle.
    #[schemars(extend("x-at-least" = "10 mm", "x-at-most" = "1 m"))]
    pub front_apart: Quantity<Millimetres>,
    /// Distance of the rear foot from the line of the front feet.
    #[schemars(extend("x-at-least" = "10 mm", "x-at-most" = "1 m"))]
    pub front_to_rear: Quantity<Millimetres>,
    /// How far the line of the front feet is ahead of the column. Left out: a third of
    /// `front_to_rear`, the column over the middle of the feet.
    #[schemars(extend("x-at-least" = "-1 m", "x-at-most" = "1 m"))]
    pub front_ahead: Option<Quantity<Millimetres>>,
}

/// How far from the column the tip can be.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Reach {
    /// The shortest. Left out: as short as is asked for.
    #[schemars(extend("x-at-least" = "0 mm", "x-at-most" = "10 m"))]
    pub shortest: Option<Quantity<Millimetres>>,
    /// The longest. Left out: as long as is asked for.
    #[schemars(extend("x-at-least" = "1 mm", "x-at-most" = "20 m"))]
    pub longest: Option<Quantity<Millimetres>>,
}

/// A dial or lever indicator, as it is used in this check.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("x-defaults-by" = "class"))]
pub struct Indicator {
    /// One graduation of its dial.
    #[schemars(extend("examples" = ["0.0001 in", "0.001 mm"], "x-whole" = "graduation", "x-at-least" = "0.05 µm", "x-at-most" = "100 µm"))]
    pub graduation: Quantity<Micrometres>,
    /// How finely it is read.
    #[schemars(extend("default" = "1/5 graduation", "x-at-least" = "0.001 µm", "x-at-most" = "100 µm",
        "x-source" = "a fifth is the finest a practised reader can defend"))]
    pub read_to: Quantity<Graduations>,
    /// The standard whose limits it keeps. It stands for error limit, hysteresis and repeatability
    /// where they are not given.
    #[schemars(extend("default" = "ASME B89.1.10M", "x-source" = "from memory; its limits count graduations"))]
    pub class: Choice<&'static IndicatorClass>,
    /// Limit of its error over the part of the range that is used, ±.
    #[schemars(extend("x-plausible" = ["1/2 graduation", "2 graduations"],
        "x-settled-by" = "its certificate, over the travel that is used"))]
    #[schemars(extend("x-stated" = true, "x-at-least" = "0 µm", "x-at-most" = "1 mm"))]
    pub error_limit: Quantity<Graduations>,
    /// Travel over which that error goes through one swing.
    #[schemars(extend("default" = "20 graduations", "x-at-least" = "0.1 µm", "x-at-most" = "100 mm",
        "x-source" = COMMON_PRACTICE))]
    pub error_travel: Quantity<Graduations>,
    /// How far the pointer can go, from one end to the other. A reading beyond it cannot have been read.
    #[schemars(extend("default" = "400 graduations", "x-at-least" = "1 µm", "x-at-most" = "100 mm",
        "x-source" = COMMON_PRACTICE))]
    pub travel: Quantity<Graduations>,
    /// Difference between readings approached from above and from below (retrace).
    #[schemars(extend("x-plausible" = [{"rectangular": {"from": "0 graduation", "to": "1/10 graduation"}}, {"rectangular": {"from": "0 graduation", "to": "2/3 graduation"}}],
        "x-settled-by" = "come to one spot from above and from below ten times, or always from one side"))]
    #[schemars(extend("x-stated" = true, "x-at-least" = "-1 mm", "x-at-most" = "1 mm"))]
    pub hysteresis: Uncertain<Graduations>,
    /// From which side the tip comes to a reading.
    #[schemars(extend("default" = "either side", "x-source" = "what happens when nobody takes care"))]
    pub approach: Approach,
    /// Standard deviation of a reading repeated on one spot, or the readings that give it.
    #[schemars(extend("x-plausible" = ["1/10 graduation", "1/2 graduation"],
        "x-settled-by" = "lift and lower the tip ten times on one spot"))]
    #[schemars(extend("x-stated" = true, "x-at-least" = "0 µm", "x-at-most" = "1 mm"))]
    pub repeatability: Repeatability,
    /// Standard deviation of a shift of the zero each time the stand is put down.
    #[schemars(extend("x-plausible" = ["0 µm", "0.5 µm"],
        "x-settled-by" = "put the stand down ten times on one spot and read its zero each time"))]
    #[schemars(extend("default" = "0.1 µm", "x-at-least" = "0 µm", "x-at-most" = "1 mm",
        "x-source" = COMMON_PRACTICE))]
    pub zero_shift: Quantity<Graduations>,
    /// Angle between the contact arm (or plunger) and its right position.
    #[schemars(extend("x-plausible" = [{"rectangular": {"from": "0°", "to": "10°"}}, {"rectangular": {"from": "0°", "to": "30°"}}],
        "x-settled-by" = "set the lever along the surface by eye, or measure its angle"))]
    #[schemars(extend("x-at-least" = "-80°", "x-at-most" = "80°",
        "default" = {"rectangular": {"from": "0°", "to": "20°"}},
        "x-source" = "how carefully levers are set; common practice, no source"))]
    pub contact_angle: Uncertain<Degrees>,
    /// Whether readings were multiplied by the cosine of that angle.
    #[schemars(extend("default" = false, "x-source" = COMMON_PRACTICE))]
    pub cosine_corrected: bool,
}

/// From which side the tip comes to a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
pub enum Approach {
    /// Always from the same side, so that hysteresis drops out.
    #[serde(rename = "one side")]
    OneSide,
    /// As it comes.
    #[serde(rename = "either side")]
    EitherSide,
}

/// How well a reading repeats.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Repeatability {
    /// Standard deviation, taken as known.
    Known(Quantity<Graduations>),
    /// Standard deviation, and how well it is known.
    Estimated(EstimatedDeviation),
    /// Readings of one spot, as they were taken.
    Readings(RepeatReadings),
}

/// A standard deviation from so many readings.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EstimatedDeviation {
    /// The standard deviation.
    pub standard_deviation: Quantity<Graduations>,
    /// Its degrees of freedom: one less than there were readings.
    #[schemars(range(min = 1.0, max = 1e6))]
    pub degrees_of_freedom: f64,
}

/// Readings of one spot.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RepeatReadings {
    /// The readings, with their unit.
    pub readings: Readings<Micrometres, 2>,
}

/// A gauge block that is moved from spot to spot. Its length cancels.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("x-either" = [["grade", "length_variation"], ["material", "expansion"]]))]
pub struct GaugeBlock {
    /// Nominal length. Left out: 1 in for a plate given in inches, else 25 mm.
    #[schemars(extend("x-at-least" = "0.5 mm", "x-at-most" = "500 mm"))]
    pub length: Option<Quantity<Millimetres>>,
    /// Sides of its measuring face.
    #[schemars(extend("default" = ["9 mm", "35 mm"], "x-at-least" = "1 mm", "x-at-most" = "100 mm",
        "x-source" = "ISO 3650 for lengths over 10 mm"))]
    pub face: [Quantity<Millimetres>; 2],
    /// Its grade (ISO 3650; AS-1 and AS-2 are the names of ASME B89.1.9 for 1 and 2).
    #[schemars(extend("default" = "1", "x-source" = COMMON_PRACTICE))]
    pub grade: Option<Choice<BlockGrade>>,
    /// Variation in length over the face, instead of a grade.
    #[schemars(extend("x-at-least" = "0 µm", "x-at-most" = "10 µm"))]
    pub length_variation: Option<Quantity<Micrometres>>,
    /// What it is made of.
    #[schemars(extend("default" = "gauge block steel", "x-source" = COMMON_PRACTICE))]
    pub material: Option<Choice<Material>>,
    /// Coefficient of linear expansion, instead of a material.
    #[schemars(extend("x-at-least" = "0 /K", "x-at-most" = "30 ppm/K"))]
    pub expansion: Option<Uncertain<PerKelvin>>,
}

/// What heat does while the check lasts.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Temperature {
    /// Top of the plate minus its bottom.
    #[schemars(extend("x-plausible" = [{"normal": {"mean": "0 K", "standard_deviation": "0.05 K"}}, {"normal": {"mean": "0 K", "standard_deviation": "0.5 K"}}],
        "x-settled-by" = "a thermometer on top of the plate and one under it"))]
    #[schemars(extend("x-at-least" = "-10 K", "x-at-most" = "10 K",
        "default" = {"normal": {"mean": "0 K", "standard_deviation": "0.2 K"}},
        "x-source" = "0.1 to 0.3 K in a quiet shop; common practice, no source"))]
    pub top_to_bottom: Uncertain<Kelvins>,
    /// How fast the stand's column warms.
    #[schemars(extend("x-plausible" = [{"rectangular": {"from": "-0.05 K/h", "to": "0.05 K/h"}}, {"rectangular": {"from": "-0.5 K/h", "to": "0.5 K/h"}}],
        "x-settled-by" = "read the zero every few minutes for half an hour"))]
    #[schemars(extend("x-at-least" = "-20 K/h", "x-at-most" = "20 K/h",
        "default" = {"rectangular": {"from": "-0.2 K/h", "to": "0.2 K/h"}}, "x-source" = COMMON_PRACTICE))]
    pub column_rate: Uncertain<KelvinsPerHour>,
    /// Any further drift of the zero.
    #[schemars(extend("x-at-least" = "-1 mm/h", "x-at-most" = "1 mm/h", "default" = "0 µm/h",
        "x-source" = "the column's is reckoned apart"))]
    pub zero_drift: Uncertain<MicrometresPerHour>,
    /// How much the hand has warmed column and block when the first reading is taken.
    #[schemars(extend("x-plausible" = [{"rectangular": {"from": "0 K", "to": "0.1 K"}}, {"rectangular": {"from": "0 K", "to": "1 K"}}],
        "x-settled-by" = "gloves and a wait; or read the zero every minute from the moment it is set"))]
    #[schemars(extend("x-at-least" = "-10 K", "x-at-most" = "10 K",
        "default" = {"rectangular": {"from": "0 K", "to": "0.3 K"}}, "x-source" = COMMON_PRACTICE))]
    pub handling: Uncertain<Kelvins>,
    /// Time constant with which that fades.
    #[schemars(extend("x-at-least" = "1 s", "x-at-most" = "24 h", "default" = "10 min", "x-source" = COMMON_PRACTICE))]
    pub fading: Quantity<Minutes>,
}

/// What feet and block catch when they are put down: a state by its name, or figures.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("x-defaults-by" = "state"))]
pub struct Cleanliness {
    /// How plate, feet and block are cleaned. It stands for the figures below that are not given.
    #[schemars(extend("default" = "wiped once", "x-source" = COMMON_PRACTICE))]
    #[allow(dead_code, reason = "the walker has used it up")]
    pub state: Choice<CleanState>,
    /// Standard deviation of the seat of a foot or the block on stone that looks clean.
    #[schemars(extend("x-plausible" = ["0.1 µm", "1 µm"],
        "x-settled-by" = "put the stand down ten times on one spot, wiped as always, and read one far target each time"))]
    #[schemars(extend("x-stated" = true, "x-at-least" = "0 µm", "x-at-most" = "100 µm"))]
    pub film: Quantity<Micrometres>,
    /// Chance that a foot or the block catches a grain when it is put down.
    #[schemars(extend("x-plausible" = [0.001, 0.05],
        "x-settled-by" = "put the stand down often, wiped as always, and count the readings that stand apart"))]
    #[schemars(range(min = 0.0, max = 1.0), extend("x-stated" = true))]
    pub grain_chance: f64,
    /// How high a caught grain lifts it.
    #[schemars(extend("x-plausible" = [{"lognormal": {"median": "4 µm", "spread": 0.4}}, {"lognormal": {"median": "16 µm", "spread": 0.4}}],
        "x-settled-by" = "put the stand down often, wiped as always, and see how far some readings stand apart"))]
    #[schemars(extend("x-at-least" = "0 µm", "x-at-most" = "1 mm",
        "default" = {"lognormal": {"median": "8 µm", "spread": 0.4}},
        "x-source" = "iron dust is 4 to 20 µm; the smallest grain the eye sees 40 µm"))]
    pub grain: Uncertain<Micrometres>,
}

/// Where stand and block go, in what order, and how the zero is handled.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("x-either" = [["from", "placements"], ["pattern", "placements"]]))]
pub struct Survey {
    /// How the stand moves. Parked: the feet stay put and the arm swings. Turned: the stand is
    /// turned on its spot to point at each target. Carried: stand and block travel together.
    #[schemars(extend("default" = "parked", "x-source" = "the simplest of the three"))]
    pub stand: Choice<StandUse>,
    /// Where a parked or turned stand stands: a place, or a list of places that are gone through in
    /// turn. At a named place its pads are on the plate with 5 mm to spare (for a turned stand in
    /// every direction).
    pub from: Option<Stations>,
    /// Direction of a parked stand's arm, from the plate's length towards its back. Left out:
    /// towards the middle of the plate.
    #[schemars(extend("x-at-least" = "-360°", "x-at-most" = "360°"))]
    pub heading: Option<Quantity<Degrees>>,
    /// Where the block is read. Spots that the stand covers are left out; for a carried stand the
    /// pattern is laid over all the places where its feet stay on the plate.
    #[schemars(extend("default" = "corners, edges and middle", "x-source" = COMMON_PRACTICE))]
    pub pattern: Option<Pattern>,
    /// Places of the stand with their own targets, instead of `from` and `pattern`.
    #[schemars(length(min = 1, max = 50))]
    pub placements: Option<Vec<Placement>>,
    /// Distance from column to tip of a carried stand. Left out: 80 mm more than the front feet are
    /// ahead of the column.
    #[schemars(extend("x-at-least" = "1 mm", "x-at-most" = "10 m"))]
    pub reach: Option<Quantity<Millimetres>>,
    /// Headings of a carried stand: the pattern is gone through once for each. Left out: 0°, along the
    /// length. A second heading,
    /// turned by 90°, shows a one-way bow that the first cannot see.
    #[schemars(length(min = 1, max = 12), extend("x-at-least" = "-360°", "x-at-most" = "360°"))]
    pub headings: Option<Vec<Quantity<Degrees>>>,
    /// How many times everything is gone through.
    #[schemars(range(min = 1, max = 50), extend("default" = 1, "x-source" = COMMON_PRACTICE))]
    pub passes: usize,
    /// Whether a parked stand is lifted before each further pass and put down anew on wiped feet, so that its seat is
    /// averaged too. Left out: it stays where it is.
    pub lift_between_passes: Option<bool>,
    /// When the indicator is set to zero. Left out: at each placement where there are several, else
    /// once; a carried stand's zero is carried through all headings, or a bow would not show between
    /// them.
    pub zeroing: Option<ZeroSetting>,
    /// Whether the zero target is read again before the zero is given up.
    #[schemars(extend("default" = true, "x-source" = "good practice: it shows the drift"))]
    pub closing_reading: bool,
    /// Whether readings are corrected, linearly in time, by the closing reading.
    #[schemars(extend("default" = false, "x-source" = COMMON_PRACTICE))]
    pub correct_drift: bool,
    /// Time from one reading to the next.
    #[schemars(extend("x-plausible" = ["30 s", "3 min"],
        "x-settled-by" = "a watch"))]
    #[schemars(extend("x-at-least" = "1 s", "x-at-most" = "24 h", "default" = "1 min", "x-source" = COMMON_PRACTICE))]
    pub time_per_reading: Quantity<Minutes>,
    /// Further time to put the stand down elsewhere.
    #[schemars(extend("x-at-least" = "0 s", "x-at-most" = "24 h", "default" = "1 min", "x-source" = COMMON_PRACTICE))]
    pub time_per_move: Quantity<Minutes>,
}

/// One place or several.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Stations {
    /// One.
    One(Place),
    /// Several.
    Several(#[schemars(length(min = 1, max = 50))] Vec<Place>),
}

/// A place on the plate: by its name, or `[x, y]` from the front left corner.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Place {
    /// By its name.
    Named(Choice<Spot>),
    /// x along the length, y from the front edge.
    At([Quantity<Millimetres>; 2]),
}

/// Where the block is read.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(untagged)]
pub enum Pattern {
    /// A pattern by its name.
    Named(NamedPattern),
    /// Rows along the length.
    Rows(Rows),
}

/// A pattern by its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
pub enum NamedPattern {
    /// The four corners of the working surface.
    #[serde(rename = "corners")]
    Corners,
    /// Corners and middle.
    #[serde(rename = "corners and middle")]
    CornersAndMiddle,
    /// Corners, the middles of the four edges, and the middle.
    #[serde(rename = "corners, edges and middle")]
    CornersEdgesAndMiddle,
    /// Corners, middle, and halfway between on both diagonals.
    #[serde(rename = "diagonals")]
    Diagonals,
}

/// Rows along the length.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rows {
    /// How many rows, from front to back.
    #[schemars(range(min = 1, max = 20))]
    pub rows: usize,
    /// How many readings in each row, from left to right.
    #[schemars(range(min = 1, max = 20))]
    pub columns: usize,
}

/// The stand at one place, and the targets that are read from there.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Placement {
    /// What it is called. Left out: by its place or its number.
    #[schemars(length(min = 1, max = 100))]
    pub name: Option<String>,
    /// Where the column is. A carried stand has no place of its own; the others need one.
    pub at: Option<Place>,
    /// Direction of the arm, from the plate's length towards its back. Left out: for a parked stand
    /// towards the middle of the plate; 0° for a carried one.
    #[schemars(extend("x-at-least" = "-360°", "x-at-most" = "360°"))]
    pub heading: Option<Quantity<Degrees>>,
    /// What is read from there, in order. The first is where the zero is set.
    #[schemars(length(min = 1, max = 400))]
    pub targets: Vec<Target>,
}

/// A spot where the gauge block is read.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Target {
    /// What it is called. Left out: by its place or its number.
    #[schemars(length(min = 1, max = 100))]
    pub name: Option<String>,
    /// Where the middle of the block is.
    pub at: Place,
}

/// When the indicator is set to zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
pub enum ZeroSetting {
    /// Once; the zero is carried through everything.
    #[serde(rename = "once")]
    Once,
    /// At the first target of every pass.
    #[serde(rename = "each pass")]
    EachPass,
    /// At the first target of every placement.
    #[serde(rename = "each placement")]
    EachPlacement,
}

/// How the result is judged.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Decision {
    /// Largest chance that a plate which is accepted is out of tolerance.
    #[schemars(extend("default" = 0.05, "exclusiveMinimum" = 0, "maximum" = 0.5,
        "x-source" = "ISO 14253-1: 95 % unless agreed otherwise"))]
    pub consumer_risk: f64,
    /// Probability that such a plate is within its tolerance before it is read, where that is known better than by what
    /// is said of its wear: from the shop's own records, say.
    #[schemars(extend("minimum" = 0.001, "maximum" = 0.999))]
    pub within_before: Option<f64>,
}

/// Why a default is what it is, where no document says.
const COMMON_PRACTICE: &str = "common practice, no source";

/// One of a fixed list, by its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Choice<T>(pub T);

/// Something that is chosen by name.
pub trait Named: Sized {
    /// What the list is called in the schema.
    const TITLE: &'static str;

    /// All there are, in the order they are listed to a user.
    fn all() -> Vec<(&'static str, Self)>;
}

impl<T: Named> JsonSchema for Choice<T> {
    fn schema_name() -> Cow<'static, str> {
        T::TITLE.into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let names: Vec<&str> = T::all().into_iter().map(|(name, _)| name).collect();
        json_schema!({ "type": "string", "enum": json!(names) })
    }
}

impl<'de, T: Named> Deserialize<'de> for Choice<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let written = String::deserialize(deserializer)?;
        let chosen = T::all().into_iter().find(|(name, _)| *name == written);
        chosen
            .map(|(_, chosen)| Self(chosen))
            .ok_or_else(|| D::Error::custom(format!("no {} `{written}`", T::TITLE)))
    }
}

impl Named for Material {
    const TITLE: &'static str = "material";

    fn all() -> Vec<(&'static str, Self)> {
        Self::ALL.map(|material| (material.name(), material)).to_vec()
    }
}

impl Named for Grade {
    const TITLE: &'static str = "grade";

    fn all() -> Vec<(&'static str, Self)> {
        Self::ALL.map(|grade| (grade.name(), grade)).to_vec()
    }
}

impl Named for BlockGrade {
    const TITLE: &'static str = "gauge_block_grade";

    fn all() -> Vec<(&'static str, Self)> {
        Self::NAMES.to_vec()
    }
}

impl Named for &'static IndicatorClass {
    const TITLE: &'static str = "indicator_class";

    fn all() -> Vec<(&'static str, Self)> {
        IndicatorClass::ALL.iter().map(|class| (class.name, class)).collect()
    }
}

impl Named for StandUse {
    const TITLE: &'static str = "use_of_the_stand";

    fn all() -> Vec<(&'static str, Self)> {
        Self::ALL.map(|stand_use| (stand_use.name(), stand_use)).to_vec()
    }
}

impl Named for Corner {
    const TITLE: &'static str = "corner";

    fn all() -> Vec<(&'static str, Self)> {
        Self::ALL.map(|corner| (corner.name(), corner)).to_vec()
    }
}

/// A unit of heights in reports.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeightUnit(pub Unit);

impl Named for HeightUnit {
    const TITLE: &'static str = "unit_of_heights";

    fn all() -> Vec<(&'static str, Self)> {
        let units = [
            ("tenth", unit::TENTH),
            ("µin", unit::MICROINCH),
            ("uin", unit::MICROINCH),
            ("µm", unit::MICROMETRE),
            ("um", unit::MICROMETRE),
            ("mm", unit::MILLIMETRE),
            ("in", unit::INCH),
        ];
        units.map(|(name, unit)| (name, Self(unit))).to_vec()
    }
}

/// A place that has a name: a corner, the middle of an edge, or the middle. Each coordinate is -1,
/// 0 or 1: low side, middle, high side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spot {
    /// Its name.
    pub name: &'static str,
    /// Along the length.
    pub x: i8,
    /// Along the width.
    pub y: i8,
}

impl Spot {
    /// All nine: corners round the plate, edges round the plate, the middle.
    pub const ALL: [Self; 9] = [
        Self { name: "front left", x: -1, y: -1 },
        Self { name: "front right", x: 1, y: -1 },
        Self { name: "back right", x: 1, y: 1 },
        Self { name: "back left", x: -1, y: 1 },
        Self { name: "front", x: 0, y: -1 },
        Self { name: "right", x: 1, y: 0 },
        Self { name: "back", x: 0, y: 1 },
        Self { name: "left", x: -1, y: 0 },
        Self { name: "middle", x: 0, y: 0 },
    ];

    /// Those from which less reach is needed than from a corner.
    pub const NEARER: [Self; 5] = {
        let [_, _, _, _, front, right, back, left, middle] = Self::ALL;
        [front, back, left, right, middle]
    };
}

impl Named for Spot {
    const TITLE: &'static str = "place_by_name";

    fn all() -> Vec<(&'static str, Self)> {
        Self::ALL.map(|spot| (spot.name, spot)).to_vec()
    }
}
