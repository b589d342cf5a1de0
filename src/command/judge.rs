//! `howflat judge`: readings in hand, a verdict out.

use super::{
    args::{DecisionRule, Judge, Limit},
    failure::Failure,
    files,
    hand_over::hand_over,
    progress::Progress,
};
use howflat::{
    decision::{
        conformance::{ACCURACY_RATIO, Rule},
        judgement::{Judgement, Question},
        limits::Verdict,
    },
    propagation::posterior::Settings,
    report::{judge_report::JudgeReport, leaning::LeansOn, unseen_words},
    setup::{self, AssumedRange, Setup},
    shop::grade::Tolerance,
};
use std::process::ExitCode;

/// Reads setup and readings, judges, and writes what is asked for.
pub fn judge(arguments: &Judge) -> Result<ExitCode, Failure> {
    files::refuse_one_input_twice([("setup", &arguments.setup), ("readings", &arguments.readings)])?;
    let (setup, text) = files::read_setup_and_text(&arguments.setup)?;
    let tolerance = tolerance(&arguments.limit, &setup)?;
    let readings = files::read_readings(&arguments.readings, &setup)?;
    let rule = match arguments.rule {
        DecisionRule::Proven => Rule::Proven { probability: 1.0 - setup.consumer_risk },
        DecisionRule::Simple => Rule::SimpleAcceptance { accuracy_ratio: ACCURACY_RATIO },
        DecisionRule::Shared => Rule::SharedRisk,
    };
    let settings = Settings { seed: arguments.run.seed, ..Settings::default() };
    let otherwise = setup.other_wear(&text);
    let assumed: Vec<_> =
        setup.assumed_ranges(&text).into_iter().filter(AssumedRange::bears_on_readings).collect();
    let figures: Vec<_> = assumed.iter().map(|figure| &figure.checks).collect();
    let question = Question {
        tolerance: tolerance.as_ref().map(|t| t.value),
        rule,
        before: arguments.before.or(setup.within_before),
        otherwise: &otherwise,
        figures: &figures,
        hollows: unseen_words::radii(setup.plan_unit),
        settings,
    };
    let progress = Progress::share();
    let judgement =
        Judgement::new(&readings.check, &readings.observations(), &question, &|done| progress.reach(done))
            .map_err(|why| Failure::input(&arguments.readings, why))?;
    progress.finish();
    let verdict = judgement.verdict;
    let report = JudgeReport {
        setup: &setup,
        readings: &readings,
        tolerance: tolerance.as_ref(),
        rule,
        settings,
        judgement: &judgement,
        leans_on: LeansOn::new(assumed, judgement.leanings.clone()),
        date: arguments.output.date.as_deref(),
    };
    let done = hand_over(&arguments.output, &report)?;
    Ok(match verdict {
        None | Some(Verdict::Within) => done,
        Some(Verdict::Out | Verdict::Undecided) => ExitCode::from(1),
    })
}

/// What the plate is judged against: what was asked for, or what the setup says.
pub fn tolerance(limit: &Limit, setup: &Setup) -> Result<Option<Tolerance>, Failure> {
    let asked = match (&limit.tolerance, &limit.grade) {
        (Some(text), _) => setup::tolerance(text),
        (None, Some(text)) => setup::grade(text, &setup.check.plate),
        (None, None) => return Ok(setup.tolerance.clone()),
    };
    asked.map(Some).map_err(|fault| Failure::Use(fault.to_string()))
}
