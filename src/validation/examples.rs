//! Published worked examples: a model file each, its source, and what was published.

use crate::propagation::evaluation::{Evaluation, EvaluationSettings};
use crate::propagation::law::Order;
use crate::propagation::monte_carlo::{IntervalKind, Trials};
use crate::report::{Report, budget_report::BudgetReport};
use crate::setup::MeasurementSetup;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// Trials for which the tolerances of Monte Carlo results in the files are meant.
pub const USUAL_TRIALS: u64 = 1_000_000;

/// Relative tolerance of results that are exact but for rounding: recomputed values have ten digits.
const DETERMINISTIC: f64 = 5e-9;

/// A published example, as its file has it.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Example {
    /// What it is called: document and clause.
    pub id: String,
    /// Where it was published.
    pub source: Source,
    /// What is measured, in own words.
    pub statement: String,
    /// Where the figures were taken from.
    pub provenance: String,
    /// How it is evaluated.
    #[serde(default)]
    pub settings: ExampleSettings,
    /// A formula model, as a user would write it.
    pub model: Value,
    /// What was published.
    pub expected: Vec<Expected>,
}

/// Where an example was published.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// The document.
    pub document: String,
    /// Clause or table.
    #[serde(rename = "where")]
    pub place: String,
}

/// How an example is evaluated.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ExampleSettings {
    /// Coverage probability.
    pub coverage_probability: f64,
    /// 1 or 2: how far the law of propagation goes.
    pub order: u8,
    /// The interval by which both ways are compared: `symmetric` or `shortest`.
    pub interval: String,
}

impl Default for ExampleSettings {
    fn default() -> Self {
        Self { coverage_probability: 0.95, order: 1, interval: "symmetric".into() }
    }
}

/// One published number.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Expected {
    /// What it is.
    pub name: String,
    /// Where the JSON document of `budget` has it, as a JSON pointer (RFC 6901).
    pub at: String,
    /// What that is multiplied by to be in the unit of the print.
    #[serde(default = "one")]
    pub times: f64,
    /// Unit of the print.
    pub unit: String,
    /// As printed; none where nothing was printed.
    pub published: Option<String>,
    /// By another route, to ten digits: a number, a text or a verdict.
    pub recomputed: Value,
    /// How far a million trials may be off; none for what is exact.
    pub tolerance: Option<f64>,
    /// Why the print differs from what full precision gives.
    pub note: Option<String>,
}

fn one() -> f64 {
    1.0
}

/// What came of one published number, in the unit of the print. Both may be 0 apart for texts and verdicts; they agree where
/// they are no farther apart, and the print is either met to its last digit or explained.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(rename = "NumberDocument", description = "One published number.")]
pub struct Outcome {
    /// What it is.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// As printed; null where nothing was printed.
    pub published: Option<String>,
    /// By another route, at full precision: a number, a text or a verdict.
    pub recomputed: Value,
    /// What this program finds.
    #[serde(rename = "ours")]
    pub found: Value,
    /// How far both may be apart.
    pub tolerance: f64,
    /// Whether they agree.
    pub agrees: bool,
    /// Why the print differs from what full precision gives; null where it does not.
    pub note: Option<String>,
}

macro_rules! embedded {
    ($($file:literal),+ $(,)?) => {
        /// The files of all examples.
        const FILES: &[&str] = &[$(include_str!(concat!("examples/", $file, ".json"))),+];
    };
}

embedded![
    "gum-4.3.3",
    "gum-4.4.3",
    "gum-5.1.5",
    "gum-5.2.2",
    "gum-7.2.4",
    "gum-f.2.4.4",
    "gum-g.4.1",
    "gum-h.1",
    "gum-h.2",
    "gum-h.3",
    "gum-h.4",
    "gum-h.5",
    "s1-6.4.3.4",
    "s1-9.2.2",
    "s1-9.2.3",
    "s1-9.2.4",
    "s1-9.3",
    "s1-9.4-0.000",
    "s1-9.4-0.010",
    "s1-9.4-0.050",
    "s1-9.4.3-0.000",
    "s1-9.4.3-0.010",
    "s1-9.4.3-0.050",
    "s1-9.5",
    "s1-f.2",
    "s2-9.2.2",
    "s2-9.3-0.001-0.0",
    "s2-9.3-0.001-0.9",
    "s2-9.3-0.010-0.0",
    "s2-9.3-0.010-0.9",
    "s2-9.3-0.100-0.0",
    "s2-9.3-0.100-0.9",
    "s6-7.3-zener",
    "s6-7.3-container",
    "s6-7.4-oil",
    "s6-8.3-speed",
    "s6-9.5-resistors",
    "ea-4-02-s4",
];

/// All examples.
///
/// # Errors
///
/// If one of the embedded files cannot be read, which would be a mistake of ours.
pub fn examples() -> Result<Vec<Example>, serde_json::Error> {
    FILES.iter().map(|text| serde_json::from_str(text)).collect()
}

impl Example {
    /// Whether any published number needs trials.
    pub fn needs_trials(&self) -> bool {
        self.expected.iter().any(|e| e.at.contains("/monte_carlo") || e.at.contains("/validation"))
    }

    /// Evaluates the example and compares every number. Fewer than a million trials widen the tolerances of Monte Carlo
    /// results in proportion to their scatter. A verdict on the linear result cannot be had of a few trials: an example with
    /// one is run with 200 000 at least.
    ///
    /// # Errors
    ///
    /// If the model cannot be read or evaluated, which would be a mistake of ours.
    pub fn run(&self, n_trials: u64, seed: u64) -> Result<Vec<Outcome>, String> {
        /// Enough for every published verdict to be decided.
        const LEAST_FOR_VERDICTS: u64 = 200_000;
        let has_verdict = self.expected.iter().any(|expected| expected.at.contains("/validation"));
        let n_trials = if has_verdict { n_trials.max(LEAST_FOR_VERDICTS) } else { n_trials };
        let setup = MeasurementSetup::read(&self.model.to_string())
            .map_err(|faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))?;
        let settings = EvaluationSettings {
            coverage_probability: self.settings.coverage_probability,
            order: if self.settings.order == 2 { Order::Second } else { Order::First },
            trials: self.needs_trials().then_some(Trials::Fixed(n_trials)),
            interval: match self.settings.interval.as_str() {
                "shortest" => IntervalKind::Shortest,
                _ => IntervalKind::Symmetric,
            },
            significant_digits: 2,
            seed,
        };
        let evaluation =
            Evaluation::of(&setup.model, settings, &|_| {}).map_err(|error| error.to_string())?;
        let document = BudgetReport::of_model(&setup, &evaluation).json();
        Ok(self.expected.iter().map(|expected| expected.compare(&document, n_trials)).collect())
    }
}

impl Expected {
    /// Looks the number up in a document of `budget --json` that rests on so many trials.
    pub fn compare(&self, document: &Value, n_trials: u64) -> Outcome {
        let found = document.pointer(&self.at).cloned().unwrap_or(Value::Null);
        let found = match found.as_f64() {
            Some(number) => Value::from(number * self.times),
            None => found,
        };
        let (agrees, tolerance) = match (found.as_f64(), self.recomputed.as_f64()) {
            (Some(found), Some(recomputed)) => {
                let scatter = libm::sqrt(USUAL_TRIALS as f64 / n_trials as f64).max(1.0);
                let tolerance = match self.tolerance {
                    Some(tolerance) => tolerance * scatter,
                    None => DETERMINISTIC * recomputed.abs(),
                };
                let prints = self.tolerance.is_some() || self.note.is_some() || self.is_printed(found);
                ((found - recomputed).abs() <= tolerance && prints, tolerance)
            }
            _ => (found == self.recomputed, 0.0),
        };
        Outcome {
            name: self.name.clone(),
            unit: self.unit.clone(),
            published: self.published.clone(),
            recomputed: self.recomputed.clone(),
            found,
            tolerance,
            agrees,
            note: self.note.clone(),
        }
    }

    /// Whether a number, rounded to the digits of the print, is what was printed.
    fn is_printed(&self, found: f64) -> bool {
        let Some(published) = &self.published else { return true };
        let Ok(printed) = published.parse::<f64>() else { return false };
        let decimals = published.split_once('.').map_or(0, |(_, decimals)| decimals.len()) as i32;
        let half = 0.5 * libm::pow(10.0, f64::from(-decimals));
        (found - printed).abs() <= half * (1.0 + 1e-9)
    }
}
