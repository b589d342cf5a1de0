//! A setup, checked, and what is drawn of it: plate, stand, and the walk through the readings.

use super::{
    Refusal,
    question::{About, Typed},
    typed,
};
use crate::{
    quantity::unit::{MICROMETRE, MILLIMETRE, Measure},
    report::{heights::Heights, number::unit_label, setup_words},
    setup::Setup,
};
use schemars::JsonSchema;
use serde::Serialize;

/// A setup that is sound. Lengths in mm.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct BenchAnswer {
    /// What the check is called.
    pub title: String,
    /// Unit of heights, as it is written.
    pub unit: String,
    /// The same as it is said: "tenths (0.0001 in)".
    pub unit_name: String,
    /// Unit of plan lengths.
    pub plan_unit: String,
    /// What the indicator is read to, in `unit`.
    pub step: f64,
    /// `parked`, `turned` or `carried`.
    pub stand: &'static str,
    /// What the plate is to keep: the value and its name.
    pub tolerance: Option<String>,
    /// Length, width and margin.
    pub plate: [f64; 3],
    /// Diameter of a foot's pad.
    pub pad: f64,
    /// The block's face.
    pub block: [f64; 2],
    /// Every reading, in the order in which it is taken.
    pub walk: Vec<WalkStep>,
    /// What the setup says, in words.
    pub described: Vec<String>,
    /// What was taken because the setup does not say.
    pub assumed: Vec<Assumed>,
    /// SHA-256 of what the setup says.
    pub digest: String,
}

/// One reading of the walk. Places `[x, y]` in mm.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WalkStep {
    /// Its row.
    pub row: Typed,
    /// The three feet.
    pub feet: [[f64; 2]; 3],
    /// The column that carries the arm.
    pub column: [f64; 2],
    /// The block.
    pub target: [f64; 2],
    /// Whether the zero is set here.
    pub zero: bool,
    /// Whether it is a closing reading.
    pub closing: bool,
    /// Which putting down of the stand this is, from 0.
    pub seating: usize,
}

/// A default that holds.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Assumed {
    /// The field.
    pub field: String,
    /// What was taken.
    pub value: String,
    /// Why.
    pub why: String,
}

/// Checks a setup.
pub fn bench(about: &About) -> Result<BenchAnswer, Refusal> {
    let setup = about.setup()?;
    let check = &setup.check;
    let step = Measure { value: check.indicator.read_step, unit: MICROMETRE }.to(setup.unit);
    let heights = Heights { unit: setup.unit };
    Ok(BenchAnswer {
        title: setup.title.clone(),
        unit: unit_label(setup.unit).to_string(),
        unit_name: setup.unit.to_string(),
        plan_unit: setup.plan_unit.symbol().to_string(),
        step: (step * 1e9).round() / 1e9,
        stand: setup.plan.stand_use.name(),
        tolerance: setup.tolerance.as_ref().map(|t| format!("{} ({})", heights.text(t.value), t.name)),
        plate: [check.plate.length, check.plate.width, check.plate.margin],
        pad: check.stand.pad_diameter,
        block: check.gauge_block.face,
        walk: walk(&setup),
        described: setup_words::described(&setup),
        assumed: setup
            .assumptions
            .iter()
            .map(|a| Assumed { field: a.field.clone(), value: a.value.clone(), why: a.why.clone() })
            .collect(),
        digest: setup.digest.clone(),
    })
}

fn walk(setup: &Setup) -> Vec<WalkStep> {
    let survey = &setup.check.survey;
    let steps = typed::walk(setup).into_iter().zip(&survey.readings).enumerate();
    steps
        .map(|(index, (row, reading))| WalkStep {
            row,
            feet: reading.feet,
            column: column(setup, reading.feet),
            target: reading.target,
            zero: survey.zeros.contains(&index),
            closing: reading.closing,
            seating: reading.seating,
        })
        .collect()
}

/// Where the stand's origin is, from where its feet are: the same weights give both.
fn column(setup: &Setup, feet: [[f64; 2]; 3]) -> [f64; 2] {
    let weights = setup.check.stand.weights([0.0, 0.0]).unwrap_or([1.0 / 3.0; 3]);
    [0, 1].map(|axis| feet.iter().zip(weights).map(|(foot, weight)| weight * foot[axis]).sum())
}

/// A length in the setup's plan unit.
pub fn in_plan(setup: &Setup, millimetres: f64) -> f64 {
    Measure { value: millimetres, unit: MILLIMETRE }.to(setup.plan_unit)
}
