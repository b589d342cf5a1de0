//! The command line: the one part of the program that knows files, the terminal and the clock.
//!
//! In come the arguments as typed ([`args`]) and the files they name ([`files`]: setups, readings, histories, points). One file
//! for each command reads, calls the library, and picks the exit code; none computes. Out go, by [`hand_over`], a report
//! or one JSON document on standard output ([`terminal`]) and the files of a report in a folder ([`report_folder`]); what went wrong
//! ([`failure`]) is said in a line on standard error, with exit code 2 for what a user can mend and 3 for the rest.
//! No number leaves that is none ([`number_check`]).

mod args;
mod budget;
mod failure;
mod files;
mod hand_over;
mod judge;
mod lesson;
mod manual;
mod number_check;
mod page;
mod page_server;
mod plan;
mod progress;
mod recall;
mod report_folder;
mod sheet;
mod simulate;
mod starter;
mod terminal;
mod validate;
mod zone;

use args::{Arguments, Command, Described};
use howflat::{
    BudgetReport, CheckReport, JudgeReport, LessonReport, PlanReport, RecallReport, Report, ZoneReport,
    validation::record::ValidationRecord,
};
use std::process::ExitCode;
use terminal::{print, print_json};

pub use failure::Failure;
pub use terminal::say;

/// Does what the arguments ask for.
pub fn run() -> Result<ExitCode, Failure> {
    match Arguments::read(std::env::args_os()) {
        Ok(arguments) => obey(&arguments.command),
        Err(told) => usage(&told),
    }
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

fn obey(command: &Command) -> Result<ExitCode, Failure> {
    // Before anything asks for threads, and before an hour's work turns out to have no place to go.
    use_threads(command.threads())?;
    if let Some(folder) = command.out() {
        report_folder::try_folder(folder)?;
    }
    match command {
        Command::Simulate(arguments) => simulate::simulate(arguments),
        Command::Budget(arguments) => budget::budget(arguments),
        Command::Validate(arguments) => validate::validate(arguments),
        Command::Judge(arguments) => judge::judge(arguments),
        Command::Lesson(arguments) => lesson::lesson(arguments),
        Command::Recall(arguments) => recall::recall(arguments),
        Command::Plan(arguments) => plan::plan(arguments),
        Command::Sheet(arguments) => sheet::sheet(arguments),
        Command::New(arguments) => starter::new(arguments),
        Command::Zone(arguments) => zone::zone(arguments),
        Command::Page(arguments) => page::page(arguments),
        Command::Schema(arguments) => {
            let schema = match arguments.of {
                Described::Setup => howflat::setup::schema(),
                Described::Model => howflat::setup::model_schema(),
                Described::Simulate => CheckReport::json_schema(),
                Described::Budget => BudgetReport::json_schema(),
                Described::Judge => JudgeReport::json_schema(),
                Described::Lesson => LessonReport::json_schema(),
                Described::Recall => RecallReport::json_schema(),
                Described::Plan => PlanReport::json_schema(),
                Described::Zone => ZoneReport::json_schema(),
                Described::Validate => ValidationRecord::json_schema(),
            };
            print_json(&schema)?;
            Ok(ExitCode::SUCCESS)
        }
        Command::Completions(arguments) => manual::completions(arguments),
        Command::Man(arguments) => manual::man(arguments),
    }
}

fn use_threads(threads: Option<u16>) -> Result<(), Failure> {
    let n_threads = threads.map_or(0, usize::from);
    rayon::ThreadPoolBuilder::new()
        .num_threads(n_threads)
        .build_global()
        .map_err(|_| Failure::Threads(n_threads))
}
