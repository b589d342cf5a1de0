//! A planned survey, written as the survey block of a setup file.

use super::checked::Setup;
use super::tree::Node;
use crate::quantity::unit::{INCH, MILLIMETRE, Measure};
use crate::shop::survey::{Plan, StandUse, Zeroing};
use serde_json::{Value, json};

impl Setup {
    /// How far apart planned placements lie, in mm: they can be found with a rule laid along the edges.
    pub fn placement_step(&self) -> f64 {
        if self.plan_unit == INCH { Measure { value: 0.5, unit: INCH }.to(MILLIMETRE) } else { 10.0 }
    }

    /// The `survey` member of a setup file for a plan that is to be read in place of this setup's own: placements and targets
    /// by their places, in the setup's plan unit, to a hundredth of an inch or a tenth of a millimetre.
    pub fn survey_block(&self, plan: &Plan) -> Value {
        let place = |at: [f64; 2]| json!(at.map(|side| self.length_text(side)));
        let stations = plan.stations.iter().map(|station| {
            let mut placement = json!({});
            if plan.stand_use != StandUse::Carried {
                placement["at"] = place(station.at);
            }
            if plan.stand_use != StandUse::Turned {
                placement["heading"] = json!(format!("{}°", station.heading.rem_euclid(360.0)));
            }
            placement["targets"] =
                station.targets.iter().map(|target| json!({ "at": place(target.at) })).collect();
            placement
        });
        let mut block = json!({ "stand": plan.stand_use.name() });
        if plan.stand_use == StandUse::Carried {
            block["reach"] = json!(self.length_text(plan.carried_reach));
        }
        block["placements"] = stations.collect();
        block["zeroing"] = json!(match plan.zeroing {
            Zeroing::Once => "once",
            Zeroing::EachPass => "each pass",
            Zeroing::EachStation => "each placement",
        });
        if plan.passes > 1 {
            block["passes"] = json!(plan.passes);
            block["lift_between_passes"] = json!(plan.lifted);
        }
        block["closing_reading"] = json!(plan.closing_reading);
        block["correct_drift"] = json!(plan.drift_corrected);
        block["time_per_reading"] = json!(format!("{} min", plan.minutes_per_reading));
        block["time_per_move"] = json!(format!("{} min", plan.minutes_per_move));
        block
    }
}

/// The text of a setup with another survey in it; `None` where the text is none.
pub fn with_survey(text: &str, block: &Value) -> Option<String> {
    let mut written = Node::parse(text).ok()?.canonical();
    *written.as_object_mut()?.entry("survey").or_insert(Value::Null) = block.clone();
    Some(written.to_string())
}

/// A survey block as it is pasted into a setup file: a placement's head and each target on a line of its own.
pub fn pasted(block: &Value) -> String {
    let Some(members) = block.as_object() else { return String::new() };
    let lines: Vec<String> = members
        .iter()
        .map(|(name, value)| match value.as_array() {
            Some(placements) => {
                let placements: Vec<String> = placements.iter().map(placement).collect();
                format!("  {}: [\n{}\n  ]", json!(name), placements.join(",\n"))
            }
            None => format!("  {}: {value}", json!(name)),
        })
        .collect();
    format!("\"survey\": {{\n{}\n}}", lines.join(",\n"))
}

fn placement(placement: &Value) -> String {
    let head: Vec<String> = placement
        .as_object()
        .into_iter()
        .flatten()
        .filter(|(name, _)| *name != "targets")
        .map(|(name, value)| format!("{}: {value}", json!(name)))
        .collect();
    let targets: Vec<String> = placement["targets"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|target| format!("        {target}"))
        .collect();
    format!("    {{ {}, \"targets\": [\n{}\n      ] }}", head.join(", "), targets.join(",\n"))
}
