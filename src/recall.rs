//! `howflat recall`: what is on record in, the date of the next recalibration out.

use crate::{args::Recall, failure::Failure, files, hand_over, judge, on_screen, progress::Progress};
use howflat::{
    decision::recall_plan::{CannotRecall, RecallPlan, RecallQuestion},
    propagation::{posterior::Settings, wear_history::WearPrior},
    report::recall_report::{self, RecallReport},
    setup,
};
use std::process::ExitCode;

/// Reads setup and history, fits, and writes what is asked for.
pub fn recall(arguments: &Recall) -> Result<ExitCode, Failure> {
    files::refuse_one_input_twice([("setup", &arguments.setup), ("history", &arguments.history)])?;
    let costs = arguments.costs.as_deref().map(setup::costs).transpose();
    let costs = costs.map_err(|fault| Failure::Use(fault.to_string()))?;
    let setup = files::read_setup(&arguments.setup)?;
    let asked = judge::tolerance(&arguments.limit, &setup)?;
    let tolerance = asked.ok_or_else(|| {
        Failure::Use(format!(
            "{} names no grade and no tolerance, so no plate of it can be out; add --grade or --tolerance",
            arguments.setup.display()
        ))
    })?;
    let history = files::read_history(&arguments.history, &setup, arguments.on)?;
    let today = arguments.on.or(history.last_day()).ok_or_else(Failure::ours)?;
    let question = RecallQuestion {
        tolerance: tolerance.value,
        risk: arguments.risk.unwrap_or(setup.consumer_risk),
        today,
        costs,
        prior: WearPrior::default(),
        settings: Settings { seed: arguments.run.seed, ..Settings::default() },
    };
    let progress = Progress::share();
    let plan = RecallPlan::new(&setup.check, &history.records, &question, &|done| progress.reach(done))
        .map_err(|why| match why {
            CannotRecall::Judge(why) => Failure::input(&arguments.history, why),
            CannotRecall::Contradiction { record, entry } => {
                Failure::Faults(arguments.history.clone(), vec![history.contradiction(record, entry)])
            }
        })?;
    progress.finish();
    let report = RecallReport {
        setup: &setup,
        history: &history,
        question: &question,
        tolerance: &tolerance,
        plan: &plan,
        date: arguments.output.date.as_deref(),
    };
    hand_over(
        &arguments.output,
        recall_report::json_schema,
        || report.files(),
        || report.json(),
        on_screen(&arguments.output, &report.page()),
    )?;
    Ok(ExitCode::SUCCESS)
}
