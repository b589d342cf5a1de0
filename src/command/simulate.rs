//! `howflat simulate`: a setup in, how far its check can be from the truth out.

use super::{args::Simulate, failure::Failure, files, hand_over::hand_over_with, progress::Progress};
use howflat::{
    decision::{conformance::Rule, verdict_curve::verdict_curve},
    propagation::simulation::{self, Settings},
    report::{check_report::CheckReport, leaning::LeansOn},
};
use std::process::ExitCode;

/// Reads a setup, simulates its check, and writes what is asked for.
pub fn simulate(arguments: &Simulate) -> Result<ExitCode, Failure> {
    let (setup, text) = files::read_setup_and_text(&arguments.setup)?;
    if let Some(file) = &arguments.trials_csv {
        files::try_file(file)?;
    }
    let n_judged = arguments.judged.unwrap_or_else(|| simulation::usual_judged(&setup.check));
    let settings =
        Settings { n_trials: arguments.trials, seed: arguments.run.seed, n_judged, ..Settings::default() };
    let progress = Progress::new(simulation::n_trials_in_all(&setup.check, settings));
    let simulation = simulation::simulate(&setup.check, settings, &|n| progress.advance(n))
        .map_err(|why| Failure::input(&arguments.setup, why))?;
    let rule = Rule::Proven { probability: 1.0 - setup.consumer_risk };
    let verdicts = match &setup.tolerance {
        Some(tolerance) => {
            // Of a run of few trials nothing is judged twice: it is in a hurry.
            let n = n_judged.min(arguments.trials / 500) as usize;
            let (seed, flatness) = (settings.seed, &simulation.flatness);
            verdict_curve(&setup.check, seed, flatness, tolerance.value, rule, n)
                .map_err(|why| Failure::input(&arguments.setup, why))?
        }
        None => Vec::new(),
    };
    let leans_on =
        LeansOn::of(&setup, &text, settings).map_err(|why| Failure::input(&arguments.setup, why))?;
    progress.finish();
    let date = arguments.output.date.as_deref();
    let report = CheckReport { verdicts, leans_on, date, ..CheckReport::new(&setup, &simulation) };
    let trials = || report.trials_csv();
    let table = arguments.trials_csv.as_deref().map(|file| (file, &trials as &dyn Fn() -> String));
    hand_over_with(&arguments.output, &report, table)
}
