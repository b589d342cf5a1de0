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
mod sheet;
mod starter;
mod validate;
mod zone;

use anstream::{eprintln, stdout};
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
use std::{
    io::{self, IsTerminal, Write},
    panic,
    path::Path,
    process::ExitCode,
};

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    // A mistake of ours is told in a line, not in a trace, and has an exit code of its own.
    panic::set_hook(Box::new(|_| {}));
    let outcome = panic::catch_unwind(|| run(&arguments.command)).unwrap_or(Err(Failure::Ours));
    outcome.unwrap_or_else(|failure| {
        eprintln!("{failure}");
        failure.exit_code()
    })
}

fn run(command: &Command) -> Result<ExitCode, Failure> {
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
            print(&format!("{schema:#}\n"))?;
            Ok(ExitCode::SUCCESS)
        }
    }
}

fn simulate(arguments: &Simulate) -> Result<ExitCode, Failure> {
    let setup = files::read_setup(&arguments.setup)?;
    use_threads(arguments.run.threads)?;
    let settings = Settings {
        n_trials: arguments.trials,
        seed: arguments.run.seed,
        n_judged: arguments.judged,
        ..Settings::default()
    };
    let progress = Progress::new(simulation::n_trials_in_all(&setup.check, settings));
    let simulation = simulation::simulate(&setup.check, settings, &|n| progress.advance(n))
        .map_err(|why| Failure::input(&arguments.setup, why))?;
    let rule = Rule::Proven { probability: 1.0 - setup.consumer_risk };
    let verdicts = match &setup.tolerance {
        Some(tolerance) if arguments.judged > 0 => {
            let (seed, flatness, n) = (settings.seed, &simulation.flatness, arguments.judged as usize);
            verdict_curve(&setup.check, seed, flatness, tolerance.value, rule, n)
                .map_err(|why| Failure::input(&arguments.setup, why))?
        }
        _ => Vec::new(),
    };
    progress.finish();
    let date = arguments.output.date.as_deref();
    let report = CheckReport { verdicts, date, ..CheckReport::new(&setup, &simulation) };
    if let Some(file) = &arguments.trials_csv {
        files::write_file(file, report.trials_csv().into_bytes())?;
    }
    hand_over(
        &arguments.output,
        || report.files(),
        || report.json(),
        on_screen(&arguments.output, &report.page()),
    )?;
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
        Some(folder) => {
            let files = files().map_err(Failure::picture)?;
            files::write_report(folder, &files)?;
            Some((folder, files.len()))
        }
        None => None,
    };
    print(&if output.json { format!("{:#}\n", json()) } else { text(terminal_width()) })?;
    if let Some((folder, n)) = written {
        say_written(folder, n, "report.html");
    }
    Ok(())
}

/// What was written where, and which file to open; beside what is printed, not in it.
fn say_written(folder: &Path, n_files: usize, first: &str) {
    eprintln!("{n_files} files are in {}; open {}", folder.display(), folder.join(first).display());
}

/// A report on the screen: what matters now, or all of it where that was asked for.
fn on_screen<'a>(output: &'a Output, page: &'a Page) -> impl Fn(Option<usize>) -> String + 'a {
    move |width| {
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

/// Prints to standard output. A reader that has gone away is no failure: it has seen enough.
fn print(text: &str) -> Result<(), Failure> {
    let mut out = stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        outcome => outcome.map_err(Failure::Output),
    }
}

/// How wide the terminal is; `None` where standard output is a pipe or a file.
fn terminal_width() -> Option<usize> {
    const NARROWEST: usize = 60;
    if !io::stdout().is_terminal() {
        return None;
    }
    let columns = terminal_size::terminal_size().map_or(100, |(width, _)| usize::from(width.0));
    Some(columns.clamp(NARROWEST, 160))
}
