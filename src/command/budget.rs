//! `howflat budget`.

use super::{
    args::{Budget, Interval},
    failure::Failure,
    files::{self, Measurement},
    hand_over::hand_over,
    progress::Progress,
};
use howflat::{
    propagation::{
        evaluation::{Evaluation, EvaluationSettings},
        law::Order,
        monte_carlo::{Adaptive, IntervalKind, Trials},
        simulation::{self, Settings},
    },
    report::budget_report::BudgetReport,
    setup::{MeasurementSetup, Setup},
};
use std::process::ExitCode;

/// Trials of a formula model where it is not said: what JCGM 101 7.2.2 takes as a rule for 95 %.
const USUAL_TRIALS: u64 = 1_000_000;
/// So many values, trials times measurands, where the usual trials leave open whether the result by the law may be used.
const MORE_VALUES: u64 = 8_000_000;
/// Adaptive trials end here.
const MOST_TRIALS: u64 = 20_000_000;
/// So many values are kept at once, trials times measurands, before memory runs short.
const MOST_VALUES: u64 = 60_000_000;

/// Reads the file, evaluates it by both ways, and prints or writes the report.
pub fn budget(arguments: &Budget) -> Result<ExitCode, Failure> {
    match files::read_measurement(&arguments.file)? {
        Measurement::FormulaModel(setup) => of_model(arguments, &setup),
        Measurement::ShopCheck(setup) => of_check(arguments, &setup),
    }
}

fn of_model(arguments: &Budget, setup: &MeasurementSetup) -> Result<ExitCode, Failure> {
    let n_measurands = setup.model.measurands().len() as u64;
    let trials = match (arguments.no_trials, arguments.digits) {
        (true, _) => None,
        (_, Some(significant_digits)) => Some(Trials::Adaptive(Adaptive {
            significant_digits,
            for_validation: true,
            at_most: MOST_TRIALS.min(MOST_VALUES / n_measurands),
        })),
        (_, None) => Some(Trials::Fixed(arguments.trials.unwrap_or(USUAL_TRIALS))),
    };
    if let Some(Trials::Fixed(n_trials)) = trials
        && n_trials * n_measurands > MOST_VALUES
    {
        let most = MOST_VALUES / n_measurands;
        let why = format!(
            "--trials {n_trials} of {n_measurands} measurands need too much memory; write at most {most}"
        );
        return Err(Failure::input(&arguments.file, why));
    }
    let n_trials = match trials {
        None => 0,
        Some(Trials::Fixed(n_trials)) => n_trials,
        Some(Trials::Adaptive(adaptive)) => adaptive.at_most,
    };
    let evaluate = |settings, n_trials| {
        let progress = Progress::new(n_trials);
        let evaluation = Evaluation::of(&setup.model, settings, &|n| progress.advance(n))
            .map_err(|why| Failure::input(&arguments.file, why));
        progress.finish();
        evaluation
    };
    let settings = EvaluationSettings {
        coverage_probability: arguments.coverage,
        order: if arguments.order == 2 { Order::Second } else { Order::First },
        trials,
        interval: match arguments.interval {
            Interval::Symmetric => IntervalKind::Symmetric,
            Interval::Shortest => IntervalKind::Shortest,
        },
        significant_digits: arguments.digits.unwrap_or(2),
        seed: arguments.run.seed,
    };
    let mut evaluation = evaluate(settings, n_trials)?;
    let is_open = evaluation.validations.iter().flatten().any(|validation| !validation.is_decided);
    let n_trials = MORE_VALUES / n_measurands;
    if is_open && n_trials > USUAL_TRIALS && arguments.trials.is_none() && arguments.digits.is_none() {
        evaluation =
            evaluate(EvaluationSettings { trials: Some(Trials::Fixed(n_trials)), ..settings }, n_trials)?;
    }
    let date = arguments.output.date.as_deref();
    hand_over(&arguments.output, &BudgetReport { date, ..BudgetReport::of_model(setup, &evaluation) })
}

fn of_check(arguments: &Budget, setup: &Setup) -> Result<ExitCode, Failure> {
    let unfit = [
        (arguments.digits.is_some(), "--digits"),
        (arguments.no_trials, "--no-trials"),
        (arguments.order == 2, "--order 2"),
        (arguments.interval == Interval::Shortest, "--interval shortest"),
    ];
    if let Some((_, option)) = unfit.into_iter().find(|(given, _)| *given) {
        let why = format!(
            "{option} is for formula models, and this is the setup of a shop check, whose readings are linear and whose \
             spread needs its trials; leave it out"
        );
        return Err(Failure::input(&arguments.file, why));
    }
    let settings = Settings {
        n_trials: arguments.trials.unwrap_or(simulation::USUAL_TRIALS),
        seed: arguments.run.seed,
        coverage_probability: arguments.coverage,
        n_judged: 0,
    };
    let progress = Progress::new(simulation::n_trials_in_all(&setup.check, settings));
    let simulation = simulation::simulate(&setup.check, settings, &|n| progress.advance(n))
        .map_err(|why| Failure::input(&arguments.file, why))?;
    progress.finish();
    let date = arguments.output.date.as_deref();
    hand_over(&arguments.output, &BudgetReport { date, ..BudgetReport::of_check(setup, &simulation) })
}
