//! The command line: reads files, calls the library, writes, and picks the exit code.

mod args;
mod budget;
mod failure;
mod files;
mod judge;
mod lesson;
mod manual;
mod number_check;
mod plan;
mod progress;
mod recall;
mod report_folder;
mod sheet;
mod starter;
mod terminal;
mod validate;
mod zone;

use args::{Arguments, Command, Described, Output, Simulate};
use clap::Parser;
use failure::Failure;
use howflat::{
    decision::{conformance::Rule, verdict_curve::verdict_curve},
    propagation::simulation::{self, Settings},
    report::{
        budget_report,
        check_report::{self, CheckReport},
        judge_report, lesson_report,
        page::Page,
        plan_report, recall_report, zone_report,
    },
};
use progress::Progress;
use report_folder::Earlier;
use std::{
    cell::LazyCell,
    panic,
    path::Path,
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
        Command::Zone(arguments) => zone::zone(arguments),
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
                Described::Zone => zone_report::json_schema(),
                Described::Validate => howflat::validation::record::json_schema(),
            };
            print_json(&schema)?;
            Ok(ExitCode::SUCCESS)
        }
        Command::Completions(arguments) => manual::completions(arguments),
        Command::Man(arguments) => manual::man(arguments),
    }
}

fn simulate(arguments: &Simulate) -> Result<ExitCode, Failure> {
    let setup = files::read_setup(&arguments.setup)?;
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
    progress.finish();
    let date = arguments.output.date.as_deref();
    let report = CheckReport { verdicts, date, ..CheckReport::new(&setup, &simulation) };
    let trials = || report.trials_csv();
    hand_over(
        &arguments.output,
        check_report::json_schema,
        || report.page(),
        |page| report.files(page),
        || report.json(),
        on_screen(&arguments.output),
        arguments.trials_csv.as_deref().map(|file| (file, &trials as &dyn Fn() -> String)),
    )?;
    Ok(ExitCode::SUCCESS)
}

/// Makes sure that every number is one, writes a report's files where a folder was named, and a table where one was, both or
/// neither; then prints the report as JSON or as text.
fn hand_over<E: std::fmt::Display>(
    output: &Output,
    schema: impl FnOnce() -> serde_json::Value,
    page: impl FnOnce() -> Page,
    files: impl FnOnce(&Page) -> Result<Vec<(String, Vec<u8>)>, E>,
    json: impl FnOnce() -> serde_json::Value,
    text: impl FnOnce(&Page, Option<usize>) -> String,
    table: Option<(&Path, &dyn Fn() -> String)>,
) -> Result<(), Failure> {
    let document = json();
    if let Some(path) = number_check::missing_number(&document, &schema()) {
        let why =
            "is beyond all numbers that can be reckoned with; check the sizes and units of what was put in";
        return Err(Failure::Use(format!("the result's {path} {why}")));
    }
    let page = LazyCell::new(page);
    let write = || {
        let table = table.map(|(path, table)| files::Ready::new(path, table().as_bytes())).transpose()?;
        let written = match output.out.as_deref() {
            Some(folder) => {
                let files = files(&page).map_err(Failure::picture)?;
                report_folder::write_report(folder, &files, Earlier::Replaced)?;
                Some((folder, files.len()))
            }
            None => None,
        };
        table.map(files::Ready::put).transpose()?;
        Ok(written)
    };
    let written = write();
    // A result that was computed is shown even where it cannot be kept.
    if output.json {
        print_json(&document)?;
    } else {
        print(&text(&page, terminal_width()))?;
    }
    if let Some((folder, n)) = written? {
        say_written(folder, n, "report.html");
    }
    Ok(())
}

/// What was written where, and which file to open; beside what is printed, not in it.
fn say_written(folder: &Path, n_files: usize, first: &str) {
    say(&format!("{n_files} files are in {}; open {}", folder.display(), folder.join(first).display()));
}

/// A report on the screen: what matters now, or all of it where that was asked for.
fn on_screen(output: &Output) -> impl Fn(&Page, Option<usize>) -> String {
    move |page, width| {
        if output.full {
            return page.terminal(width);
        }
        let more = match output.out {
            Some(_) => "",
            None => "\nAll of it: --full on the screen, --out FOLDER as a report to read, print and sign.\n",
        };
        page.first_screen(width) + more
    }
}

fn use_threads(threads: Option<u16>) -> Result<(), Failure> {
    let n_threads = threads.map_or(0, usize::from);
    rayon::ThreadPoolBuilder::new()
        .num_threads(n_threads)
        .build_global()
        .map_err(|_| Failure::Threads(n_threads))
}
