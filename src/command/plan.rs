//! `howflat plan`: what would make a check better, where to put stand and block, and what other methods would have given.

use super::{
    args::{Plan, ReadBy},
    failure::Failure,
    files,
    hand_over::hand_over,
    judge,
    progress::Progress,
    report_folder,
};
use howflat::{
    decision::{
        advice::{Advice, Question},
        methods::methods,
        placements::placements,
    },
    propagation::{improvement_gain::Workshop, simulation::WayKind},
    report::plan_report::{PlacedSetup, PlanReport},
    setup,
};
use std::process::ExitCode;

/// Reads a setup, finds out, and writes what is asked for.
pub fn plan(arguments: &Plan) -> Result<ExitCode, Failure> {
    let (setup, text) = files::read_setup_and_text(&arguments.setup)?;
    if let Some(folder) = &arguments.output.out {
        report_folder::refuse_to_lose_sheet(folder)?;
    }
    let tolerance = judge::tolerance(&arguments.limit, &setup)?;
    let way = match arguments.read_by {
        ReadBy::Spread => WayKind::Spread,
        ReadBy::Levelled => WayKind::Levelled,
        ReadBy::Fitted => WayKind::Fitted,
    };
    let cannot = |why: &dyn std::fmt::Display| Failure::input(&arguments.setup, why);
    let progress = Progress::share();
    let workshop = Workshop::new(&setup.check, &setup.plan, arguments.trials, arguments.run.seed)
        .map_err(|why| cannot(&why))?;
    let question = Question {
        offers: &setup.improvements.offers,
        way,
        target: tolerance.as_ref().map(|t| t.value / setup.improvements.accuracy_ratio),
    };
    let advice =
        Advice::new(&workshop, &question, &|done| progress.reach(0.7 * done)).map_err(|why| cannot(&why))?;
    // What is promised of placements is that of the survey as it will be read: written, and read again.
    let as_written = |plan: &_| {
        let block = setup.survey_block(plan);
        let text = setup::with_survey(&text, &block)?;
        let placed = files::setup_of(&text, &arguments.setup).ok()?;
        Some((placed.check.clone(), (placed, block)))
    };
    let seed = arguments.run.seed;
    let n_readings = arguments.readings.map(usize::from);
    let placed = placements(&setup.check, &setup.plan, n_readings, setup.placement_step(), seed, as_written)
        .map_err(|why| cannot(&why))?
        .map(|(placements, (setup, block))| PlacedSetup { setup, block, placements });
    progress.reach(0.9);
    let limits = [&tolerance, &setup.local_variation].map(|limit| limit.as_ref().map(|limit| limit.value));
    let methods = methods(&setup.check, &workshop, seed, limits[0], limits[1]).map_err(|why| cannot(&why))?;
    progress.finish();
    let report = PlanReport {
        setup: &setup,
        tolerance: tolerance.as_ref(),
        way,
        advice: &advice,
        placed: placed.as_ref(),
        methods: &methods,
        seed,
        date: arguments.output.date.as_deref(),
    };
    hand_over(&arguments.output, &report)
}
