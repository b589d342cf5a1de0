//! Is this check good enough? Before anything is read.

use super::{
    Refusal,
    question::About,
    shown::{Shown, Signed},
};
use crate::{
    decision::{conformance::Rule, verdict_curve::verdict_curve},
    propagation::simulation::{Settings, Simulation, USUAL_TRIALS, simulate},
    report::{Report, check_report::CheckReport, leaning::LeansOn, page::Page},
    setup::Setup,
};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// How many plates are drawn for the first answer.
pub const FIRST_TRIALS: u64 = 2_000;

/// What a simulation says.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct CheckAnswer {
    /// How many plates were drawn.
    pub n_trials: u64,
    /// The answer, the card, what to do next, the histogram and where the error comes from.
    pub shown: Shown,
    /// The document of `howflat simulate --json`, of a run of so many trials that judges none.
    pub result: Value,
}

/// Draws plates, checks them, and says how far off that was.
pub fn check(about: &About, n_trials: u64, between: &(dyn Fn() + Sync)) -> Result<CheckAnswer, Refusal> {
    with_report(about, n_trials, None, between, |report, page| CheckAnswer {
        n_trials,
        shown: Shown::of(&page, &["histogram", "leaning", "shares", "plate"]),
        result: report.json(),
    })
}

/// The report on it, as one page of HTML.
pub fn report(
    about: &About,
    n_trials: u64,
    signed: Signed,
    between: &(dyn Fn() + Sync),
) -> Result<String, Refusal> {
    with_report(about, n_trials, signed.date(), between, |_, page| signed.html(page))
}

fn with_report<T>(
    about: &About,
    n_trials: u64,
    date: Option<&str>,
    between: &(dyn Fn() + Sync),
    made: impl Fn(&CheckReport, Page) -> T,
) -> Result<T, Refusal> {
    let setup = about.setup()?;
    let simulation = simulated(&setup, n_trials, between)?;
    let verdicts = match &setup.tolerance {
        Some(tolerance) => {
            let rule = Rule::Proven { probability: 1.0 - setup.consumer_risk };
            let seed = simulation.settings.seed;
            verdict_curve(&setup.check, seed, &simulation.flatness, tolerance.value, rule, 0)
                .map_err(|why| why.to_string())?
        }
        None => Vec::new(),
    };
    let leans_on = LeansOn::of(&setup, &about.setup, simulation.settings).map_err(|why| why.to_string())?;
    let report = CheckReport { verdicts, leans_on, date, ..CheckReport::new(&setup, &simulation) };
    Ok(made(&report, report.page()))
}

fn simulated(setup: &Setup, n_trials: u64, between: &(dyn Fn() + Sync)) -> Result<Simulation, Refusal> {
    const FEWEST: u64 = 1_000;
    if !(FEWEST..=USUAL_TRIALS).contains(&n_trials) {
        return Err(format!("n_trials is {n_trials}, but must be from {FEWEST} to {USUAL_TRIALS}").into());
    }
    let settings = Settings { n_trials, n_judged: 0, ..Settings::default() };
    simulate(&setup.check, settings, &|_| between()).map_err(|why| why.to_string().into())
}
