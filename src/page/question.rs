//! What can be asked.

use super::Refusal;
use crate::setup::{Faults, Setup};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A question, as it is sent.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(tag = "ask", rename_all = "snake_case", deny_unknown_fields)]
pub enum Question {
    /// Which fields has a setup?
    Fields,
    /// What is wrong in this setup, or what does it describe?
    Bench {
        /// The setup.
        about: About,
    },
    /// What stands in this readings file?
    Open {
        /// The setup that was read by.
        about: About,
        /// The text of the file.
        file: String,
    },
    /// Can these readings be read, and be meant?
    Look {
        /// The setup.
        about: About,
        /// What was typed.
        readings: Vec<Typed>,
    },
    /// How far can this check be from the truth?
    Check {
        /// The setup.
        about: About,
        /// How many plates are drawn.
        n_trials: u64,
    },
    /// What do the readings so far say?
    Judge {
        /// The setup.
        about: About,
        /// What was typed.
        readings: Vec<Typed>,
        /// How hard to work.
        #[serde(default)]
        draws: Draws,
    },
    /// The report: on the readings where there are any, else on the check.
    Report {
        /// The setup.
        about: About,
        /// What was typed.
        readings: Option<Vec<Typed>>,
        /// How many plates are drawn for a report on the check.
        n_trials: Option<u64>,
        /// The date, as it is to stand there.
        #[serde(default)]
        date: String,
        /// Who checked, as it is to stand there.
        #[serde(default)]
        checked_by: String,
    },
    /// What does a dip under a foot do?
    Lesson {
        /// The setup whose stand and plate are used.
        about: About,
        /// Depth of the dip, in the setup's unit of heights; the usual one where it is not said.
        depth: Option<f64>,
        /// Reach, in the setup's plan unit.
        reach: Option<f64>,
        /// Where the stand is: its origin from the middle of the dip, in the plan unit.
        at: Option<f64>,
        /// How high the plate is bowed under the carried stand, in the unit of heights.
        bow: Option<f64>,
    },
}

/// A setup, with the files that it names.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct About {
    /// The text of the setup file.
    pub setup: String,
    /// Texts of the files that it names, by name.
    #[serde(default)]
    pub files: BTreeMap<String, String>,
}

impl About {
    /// The setup, or its faults.
    pub(super) fn read(&self) -> Result<Setup, Faults> {
        Setup::read(&self.setup, &|name| {
            let found = self.files.get(name).cloned();
            found.ok_or_else(|| "not given with the setup; open it together with the setup".into())
        })
    }

    pub(super) fn setup(&self) -> Result<Setup, Refusal> {
        Ok(self.read()?)
    }
}

/// A reading as it was typed: a row of a readings file.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Typed {
    /// The placement of the stand.
    pub placement: String,
    /// The target.
    pub target: String,
    /// The pass, and whether it is a zero or a closing reading.
    #[serde(default)]
    pub pass: String,
    /// What was read; blank where nothing was.
    #[serde(default)]
    pub reading: String,
    /// When.
    #[serde(default)]
    pub time: String,
    /// The remark.
    #[serde(default)]
    pub remark: String,
}

/// How hard the inference works.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Draws {
    /// As the command does: what a verdict may rest on.
    #[default]
    Full,
    /// A few hundred draws, and no look at other kinds of plate: while readings are still being typed.
    Few,
}
