//! `howflat plan`: what would make a check better, where to put stand and block, and what other methods would have given.

use crate::{
    args::{Plan, ReadBy},
    failure::Failure,
    files, hand_over, judge, on_screen,
    progress::Progress,
    report_folder,
};
use howflat::{
    decision::{
        advice::{Advice, Question},
        wrong_calls::WrongCalls,
    },
    propagation::{
        improvement_gain::Workshop,
        other_methods::{Instruments, Method, other_methods},
        placement_choice::{Unread, choose_placements, placements_to_choose_from},
        simulation::WayKind,
    },
    quantity::{
        sample::Summary,
        unit::{INCH, MILLIMETRE, Measure},
    },
    report::plan_report::{self, MethodRow, Placements, PlanReport, Surveyed},
    setup::{self, Setup},
    shop::grade::Tolerance,
};
use std::process::ExitCode;

/// Most readings that are planned when it is not stated how many.
const MOST_PLANNED: usize = 24;

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
    let advice = Advice::new(&workshop, &question, &|done| progress.reach(0.7 * done))
        .map_err(|why| cannot(&why.reason()))?;
    let placements = placements(arguments, &setup, &text)?;
    progress.reach(0.9);
    let methods = methods(arguments, &setup, &workshop, tolerance.as_ref())?;
    progress.finish();
    let report = PlanReport {
        setup: &setup,
        tolerance: tolerance.as_ref(),
        way,
        advice: &advice,
        placements: placements.as_ref(),
        methods: &methods,
        seed: arguments.run.seed,
        date: arguments.output.date.as_deref(),
    };
    hand_over(
        &arguments.output,
        plan_report::json_schema,
        || report.page(),
        |page| report.files(page),
        || report.json(),
        on_screen(&arguments.output),
        None,
    )?;
    Ok(ExitCode::SUCCESS)
}

/// Chooses placements, writes them as a survey block, and reads the setup with that block in it.
fn placements(arguments: &Plan, setup: &Setup, text: &str) -> Result<Option<Placements>, Failure> {
    let survey = &setup.check.survey;
    let own = survey.compared().count();
    let count = arguments.readings.map_or(own.clamp(1, MOST_PLANNED), usize::from);
    // Places that can be found with a rule laid along the edges.
    let step = if setup.plan_unit == INCH { Measure { value: 0.5, unit: INCH }.to(MILLIMETRE) } else { 10.0 };
    let candidates = placements_to_choose_from(&setup.check, &setup.plan, step);
    let unread =
        Unread::new(&setup.check, arguments.run.seed).map_err(|why| Failure::input(&arguments.setup, why))?;
    let Some(plan) = choose_placements(&setup.check, &setup.plan, &unread, &candidates, count) else {
        return Ok(None);
    };
    let block = setup.survey_block(&plan);
    let Some(text) = setup::with_survey(text, &block) else { return Ok(None) };
    let Ok(placed) = files::setup_of(&text, &arguments.setup) else { return Ok(None) };
    let Some(chosen) = unread.after(&placed.check) else { return Ok(None) };
    Ok(Some(Placements {
        setup: placed,
        block,
        n_candidates: candidates.iter().map(|candidate| candidate.station.targets.len() - 1).sum(),
        n_readings: count,
        before: unread.before(),
        own: unread.after(&setup.check),
        chosen,
    }))
}

/// The check's own ways of reading, then other methods, on the same plates.
fn methods(
    arguments: &Plan,
    setup: &Setup,
    workshop: &Workshop,
    tolerance: Option<&Tolerance>,
) -> Result<Vec<MethodRow>, Failure> {
    let own = workshop.results(&[]).map_err(|why| Failure::input(&arguments.setup, why.reason()))?;
    let calls = |results: &[f64], limit: Option<f64>| {
        Some(WrongCalls::of(&own.flatness, results, tolerance?.value, limit?))
    };
    let limit = tolerance.map(|tolerance| tolerance.value);
    let mut rows: Vec<MethodRow> = own
        .ways
        .iter()
        .map(|(way, results)| {
            let errors: Vec<f64> = results.iter().zip(own.flatness.iter()).map(|(r, f)| r - f).collect();
            MethodRow {
                what: Surveyed::ThisCheck(*way),
                effort: own.effort,
                closures: 0,
                error: Summary::of(&errors, 0.95),
                limit,
                calls: calls(results, limit),
            }
        })
        .collect();
    let others = other_methods(
        &setup.check,
        &Instruments::default(),
        workshop.n_trials(),
        arguments.run.seed,
        &|_| {},
    )
    .map_err(|why| Failure::input(&arguments.setup, why))?;
    rows.extend(others.into_iter().map(|other| {
        let limit = match other.method {
            Method::RepeatReading => setup.local_variation.as_ref().map(|limit| limit.value),
            _ => limit,
        };
        MethodRow {
            what: Surveyed::Otherwise(other.method),
            effort: other.effort,
            closures: other.closures,
            calls: calls(&other.results, limit),
            error: other.error,
            limit,
        }
    }));
    Ok(rows)
}
