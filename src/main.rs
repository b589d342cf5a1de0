//! The command line: reads files, calls the library, writes, and picks the exit code.

mod args;
mod budget;
mod failure;
mod files;
mod judge;
mod lesson;
mod plan;
mod progress;
mod recall;
mod report_folder;
mod sheet;
mod starter;
mod terminal;
mod validate;

use args::{Arguments, Command, Described, Output, Simulate};
use clap::Parser;
use failure::Failure;
use howflat::{
    propagation::simulation::{self, Settings},
    report::{
        budget_report,
        check_report::{self, CheckReport},
        judge_report, lesson_report, plan_report, recall_report,
    },
};
use progress::Progress;
use report_folder::Earlier;
use std::{
    panic,
    process::ExitCode,
    sync::{Arc, Mutex},
};
use terminal::{print, print_json, say, terminal_width};

fn main() -> ExitCode {
    // A mistake of ours is told in a line, not in a trace, and has an exit code of its own.
    let place = Arc::new(Mutex::new(String::from("at an unknown place")));
    let noted = Arc::clone(&place);
    panic::set_hook(Box::new(move |info| {
        if let (Some(location), Ok(mut noted)) = (info.location(), noted.lock()) {
            *noted = location.to_string();
        }
    }));
    let outcome = panic::catch_unwind(|| match Arguments::try_parse() {
        Ok(arguments) => run(&arguments.command),
        Err(told) => usage(&told),
    });
    let ours = || Failure::Ours(place.lock().map_or_else(|_| String::new(), |place| place.clone()));
    outcome.unwrap_or_else(|_| Err(ours())).unwrap_or_else(|failure| {
        say(&failure.to_string());
        failure.exit_code()
    })
}

/// What was asked about the program, on standard output; what was typed wrong, on standard error.
fn usage(told: &clap::Error) -> Result<ExitCode, Failure> {
    let text = told.render().to_string();
    if told.use_stderr() {
        return Err(Failure::Use(text.trim_end().to_owned()));
    }
    print(&text)?;
    Ok(ExitCode::SUCCESS)
}

fn run(command: &Command) -> Result<ExitCode, Failure> {
    // Before anything asks for threads, and before an hour's work turns out to have no place to go.
    use_threads(command.threads())?;
    if let Some(folder) = command.out() {
        report_folder::try_folder(folder)?;
    }
    match command {
        Command::Simulate(arguments) => simulate(arguments),
        Command::Budget(arguments) => budget::budget(arguments),
        Command::Validate(arguments) => validate::validate(arguments),
        Command::Judge(arguments) => judge::judge(arguments),
        Command::Lesson(arguments) => lesson::lesson(arguments),
        Command::Recall(arguments) => recall::recall(arguments),
        Command::Plan(arguments) => plan::plan(arguments),
        Command::Sheet(arguments) => sheet::sheet(arguments),
        Command::New(arguments) => starter::new(arguments),
        Command::Schema(arguments) => {
            let schema = match arguments.of {
                Described::Setup => howflat::setup::schema(),
                Described::Model => howflat::setup::model_schema(),
                Described::Simulate => check_report::json_schema(),
                Described::Budget => budget_report::json_schema(),
                Described::Judge => judge_report::json_schema(),
                Described::Lesson => lesson_report::json_schema(),
                Described::Recall => recall_report::json_schema(),
                Described::Plan => plan_report::json_schema(),
                Described::Validate => howflat::validation::record::json_schema(),
            };
            print_json(&schema)?;
            Ok(ExitCode::SUCCESS)
        }
    }
}

fn simulate(arguments: &Simulate) -> Result<ExitCode, Failure> {
    let setup = files::read_setup(&arguments.setup)?;
    let settings = Settings {
        n_trials: arguments.trials,
        seed: arguments.run.seed,
        n_judged: arguments.judged,
        ..Settings::default()
    };
    let progress = Progress::new(simulation::n_trials_in_all(&setup.check, settings));
    let simulation = simulation::simulate(&setup.check, settings, &|n| progress.advance(n))
        .map_err(|why| Failure::input(&arguments.setup, why))?;
    progress.finish();
    let report =
        CheckReport { date: arguments.output.date.as_deref(), ..CheckReport::new(&setup, &simulation) };
    hand_over(&arguments.output, || report.files(), || report.json(), |width| report.text(width))?;
    Ok(ExitCode::SUCCESS)
}

/// Writes a report's files where a folder was named, then prints the report as JSON or as text.
fn hand_over<E: std::fmt::Display>(
    output: &Output,
    files: impl FnOnce() -> Result<Vec<(String, Vec<u8>)>, E>,
    json: impl FnOnce() -> serde_json::Value,
    text: impl FnOnce(Option<usize>) -> String,
) -> Result<(), Failure> {
    let written = match &output.out {
        Some(folder) => files()
            .map_err(Failure::picture)
            .and_then(|files| report_folder::write_report(folder, &files, Earlier::Replaced)),
        None => Ok(()),
    };
    // A result that was computed is shown even where it cannot be kept.
    if output.json {
        print_json(&json())?
    } else {
        print(&text(terminal_width()))?
    }
    written
}

fn use_threads(threads: Option<u16>) -> Result<(), Failure> {
    let n_threads = threads.map_or(0, usize::from);
    rayon::ThreadPoolBuilder::new()
        .num_threads(n_threads)
        .build_global()
        .map_err(|_| Failure::Threads(n_threads))
}
