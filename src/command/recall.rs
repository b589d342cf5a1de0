//! `howflat recall`: what is on record in, the date of the next recalibration out.

use super::{args::Recall, failure::Failure, files, hand_over::hand_over, judge, progress::Progress};
use howflat::{
    decision::recall_plan::{CannotRecall, RecallPlan, RecallQuestion},
    propagation::{posterior::Settings, wear_history::WearPrior},
    report::recall_report::RecallReport,
    setup::{self, Fault, HistoryFile, RefusedPlate, Setup},
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
    // Bare heights in the history are held against what a plate is to keep, to catch a slip of the unit: its own row's grade or
    // tolerance, else what is asked for, else what its setup names.
    let setup = Setup { tolerance: Some(tolerance.clone()), ..setup };
    let to_keep = |its: &Setup| judge::tolerance(&arguments.limit, its).ok().flatten();
    let mut history = files::read_history(&arguments.history, &setup, arguments.on, &to_keep)?;
    hold_to_their_setups(&mut history, arguments)?;
    let today = arguments.on.or(history.last_day()).ok_or_else(Failure::ours)?;
    let question = RecallQuestion {
        tolerance: tolerance.value,
        risk: arguments.risk.unwrap_or(setup.consumer_risk),
        today,
        costs: costs.as_ref().map(|typed| typed.costs),
        prior: WearPrior::default(),
        settings: Settings { seed: arguments.run.seed, ..Settings::default() },
    };
    let progress = Progress::share();
    let plan = RecallPlan::new(&setup.check, &history.records, &question, &|done| progress.reach(done))
        .map_err(|why| match why {
            CannotRecall::Judge(why) => Failure::input(&arguments.history, why),
            CannotRecall::Contradictions(all) => {
                Failure::Faults(arguments.history.clone(), faults(&history.refused_with(&all)).into())
            }
        })?;
    progress.finish();
    let refused = history.refused_with(&plan.contradictions);
    let report = RecallReport {
        setup: &setup,
        history: &history,
        refused: &refused,
        question: &question,
        assumed_costs: costs.as_ref().map_or(&[], |typed| &typed.assumed),
        tolerance: &tolerance,
        plan: &plan,
        date: arguments.output.date.as_deref(),
    };
    let done = hand_over(&arguments.output, &report)?;
    // The other plates have their dates; that some have none must not go unseen.
    match faults(&refused) {
        none if none.is_empty() => Ok(done),
        faults => Err(Failure::Faults(arguments.history.clone(), faults.into())),
    }
}

/// Gives plates with a setup of their own the tolerance that is asked for, or that this setup names.
fn hold_to_their_setups(history: &mut HistoryFile, arguments: &Recall) -> Result<(), Failure> {
    for (record, own) in history.records.iter_mut().zip(&mut history.own) {
        let (None, Some((file, setup))) = (&own.tolerance, &own.setup) else { continue };
        let Some(tolerance) = judge::tolerance(&arguments.limit, setup)? else {
            let why = format!(
                "{file}, the setup of {}, names no grade and no tolerance; add a column \"grade\" or \"tolerance\", or \
                 --grade or --tolerance",
                record.name
            );
            return Err(Failure::input(&arguments.history, why));
        };
        record.tolerance = Some(tolerance.value);
        own.tolerance = Some(tolerance);
    }
    Ok(())
}

/// All that is wrong with plates of which nothing is said, in the order of the file.
fn faults(refused: &[RefusedPlate]) -> Vec<Fault> {
    let mut faults: Vec<Fault> = refused.iter().flat_map(|plate| plate.faults.clone()).collect();
    faults.sort_by_key(|fault| fault.at);
    faults
}
