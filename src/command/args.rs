//! Arguments as typed: nothing here knows the world.

use clap::{Args, CommandFactory, FromArgMatches, Parser, Subcommand, ValueEnum};
use howflat::{
    propagation::{improvement_gain, simulation},
    quantity::{
        day::{Day, WrittenDay},
        unit::{Dimension, Unit},
    },
};
use std::{
    ffi::OsString,
    path::{Path, PathBuf},
};

/// How far can a shop check of a surface plate be from its true flatness, and is that good enough?
///
/// Exit codes: 0 done (and, where there is a verdict, within), 1 a verdict of out or undecided,
/// 2 bad input or use, 3 anything else.
#[derive(Debug, Parser)]
#[command(name = "howflat", version, max_term_width = 100)]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

impl Arguments {
    /// What was typed, the program's name first.
    pub fn read(typed: impl IntoIterator<Item = impl Into<OsString> + Clone>) -> Result<Self, clap::Error> {
        Self::from_arg_matches(&Self::line().try_get_matches_from(typed)?)
    }

    /// The command line: a negative number for an option is for the option to refuse, and no option of its own.
    fn line() -> clap::Command {
        Self::command().mut_subcommands(|command| {
            command.mut_args(|arg| {
                let takes = arg.get_action().takes_values() && !arg.is_positional();
                arg.allow_negative_numbers(takes)
            })
        })
    }
}

/// What the program can do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// How far a shop check can be from the true flatness, before anything is read.
    Simulate(Simulate),
    /// The uncertainty budget of any measurement: of a formula model, or of a shop check's reading and spread.
    Budget(Budget),
    /// Check this program on this machine: published examples again, and repeated measurements of known truth.
    Validate(Validate),
    /// What readings say of a plate: its flatness, and whether it may be used.
    Judge(Judge),
    /// Why a dip under one foot misleads: a teaching sheet with pictures, numbers and exercises for this stand and plate.
    Lesson(Lesson),
    /// When plates must go out for recalibration, from what is on record of them.
    Recall(Recall),
    /// What would make a check good enough, where to put stand and block, and what other methods would have given.
    Plan(Plan),
    /// A blank sheet for the readings of a setup, to fill in or to print.
    Sheet(Sheet),
    /// Write a setup file to start from: asks on a terminal, or takes the answers as options.
    New(New),
    /// The page for the person at the plate: type readings on a drawing of the plate, see the verdict, print the report.
    Page(Page),
    /// The minimum zone of a plain file of points: the flatness deviation that they have, exactly.
    Zone(Zone),
    /// Print the JSON Schema of setup files, for editors, or of a command's JSON output.
    Schema(Schema),
    /// Print a script with which a shell completes commands and options.
    Completions(Completions),
    /// Print a manual page: of the program, or of one command.
    Man(Man),
}

impl Command {
    /// How many threads were asked for.
    pub fn threads(&self) -> Option<u16> {
        let run = match self {
            Self::Simulate(command) => &command.run,
            Self::Budget(command) => &command.run,
            Self::Validate(command) => &command.run,
            Self::Judge(command) => &command.run,
            Self::Recall(command) => &command.run,
            Self::Plan(command) => &command.run,
            Self::Page(_)
            | Self::Lesson(_)
            | Self::Sheet(_)
            | Self::New(_)
            | Self::Zone(_)
            | Self::Schema(_)
            | Self::Completions(_)
            | Self::Man(_) => return None,
        };
        run.threads
    }

    /// Where the report goes, if it goes anywhere.
    pub fn out(&self) -> Option<&Path> {
        let out = match self {
            Self::Simulate(command) => &command.output.out,
            Self::Budget(command) => &command.output.out,
            Self::Validate(command) => &command.output.out,
            Self::Judge(command) => &command.output.out,
            Self::Recall(command) => &command.output.out,
            Self::Plan(command) => &command.output.out,
            Self::Lesson(command) => &command.output.out,
            Self::Sheet(command) => &command.out,
            Self::Zone(command) => &command.output.out,
            Self::Page(_) | Self::New(_) | Self::Schema(_) | Self::Completions(_) | Self::Man(_) => {
                return None;
            }
        };
        out.as_deref()
    }
}

/// How a run is done, and done again.
#[derive(Debug, Args)]
pub struct Run {
    /// Seed of all random numbers; the same seed gives the same result to the last digit.
    #[arg(long, value_name = "S", default_value_t = simulation::Settings::default().seed, value_parser = seed)]
    pub seed: u64,
    /// How many threads to use; all cores where not given. Changes no number.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
}

fn judged(text: &str) -> Result<u64, String> {
    let said =
        || "must be 0, or a whole number from 2 to 10000: one estimate alone has no scatter".to_owned();
    text.parse().ok().filter(|&n| n != 1 && n <= 10_000).ok_or_else(said)
}

fn seed(text: &str) -> Result<u64, String> {
    text.parse().map_err(|_| format!("must be a whole number from 0 to {}, such as 1", u64::MAX))
}

/// What a plate is held against.
#[derive(Debug, Args)]
pub struct Limit {
    /// The largest flatness deviation that is good, such as "50 µin"; that of the setup where not given.
    #[arg(long, value_name = "HEIGHT", conflicts_with = "grade")]
    pub tolerance: Option<String>,
    /// The grade that the plate is to keep, such as "US A"; that of the setup where not given.
    #[arg(long, value_name = "GRADE")]
    pub grade: Option<String>,
}

/// Where a report goes, and what stands on it.
#[derive(Debug, Args)]
pub struct Output {
    /// The date to put on the report, in any words; the program asks no clock.
    #[arg(long, value_name = "TEXT")]
    pub date: Option<String>,
    /// Write the report (report.html, report.md), result.json, tables and pictures into this folder.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print all of the report, not just the answer and what to do next.
    #[arg(long, conflicts_with = "json")]
    pub full: bool,
    /// Print one JSON document and nothing else.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `simulate`.
#[derive(Debug, Args)]
pub struct Simulate {
    /// The setup file (JSON); `-` reads standard input.
    pub setup: PathBuf,
    /// How many plates are drawn and checked.
    #[arg(long, value_name = "N", default_value_t = simulation::USUAL_TRIALS, value_parser = clap::value_parser!(u64).range(1_000..=20_000_000))]
    pub trials: u64,
    /// How many of the checks are also judged from their readings, for the model-based estimate [default: 64; fewer for
    /// checks of more than 30 readings, which take long].
    #[arg(long, value_name = "N", value_parser = judged)]
    pub judged: Option<u64>,
    /// Write every trial into this file (CSV): the plate's true flatness, and what each way of reading gives.
    #[arg(long, value_name = "FILE")]
    pub trials_csv: Option<PathBuf>,
    #[command(flatten)]
    pub run: Run,
    #[command(flatten)]
    pub output: Output,
}

/// Arguments of `budget`.
#[derive(Debug, Args)]
pub struct Budget {
    /// A formula model or the setup of a shop check (JSON); `-` reads standard input.
    pub file: PathBuf,
    /// Coverage probability of the expanded uncertainty and of all intervals.
    #[arg(long, value_name = "P", default_value_t = 0.95, value_parser = coverage)]
    pub coverage: f64,
    /// 1: the linear terms of the law of propagation; 2: also the next higher ones (independent inputs only).
    #[arg(long, value_name = "1|2", default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=2))]
    pub order: u8,
    /// How many Monte Carlo trials. Left out: a million for a formula model, and up to eight where these leave open
    /// whether the result by the law may be used; 100000 for a shop check.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1_000..=20_000_000), group = "how_many")]
    pub trials: Option<u64>,
    /// Run as many trials as it takes for so many significant digits of the standard uncertainty to stand.
    #[arg(long, value_name = "1|2", value_parser = clap::value_parser!(u32).range(1..=2), group = "how_many")]
    pub digits: Option<u32>,
    /// Leave Monte Carlo out.
    #[arg(long, group = "how_many")]
    pub no_trials: bool,
    /// By which interval both ways are compared.
    #[arg(long, value_enum, default_value_t = Interval::Symmetric)]
    pub interval: Interval,
    #[command(flatten)]
    pub run: Run,
    #[command(flatten)]
    pub output: Output,
}

/// A kind of coverage interval.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Interval {
    /// With equal probabilities below and above.
    Symmetric,
    /// The shortest.
    Shortest,
}

/// Arguments of `validate`.
#[derive(Debug, Args)]
pub struct Validate {
    /// Trials of each example that needs some; fewer than a million widen the tolerances accordingly.
    #[arg(long, value_name = "N", default_value_t = 1_000_000, value_parser = clap::value_parser!(u64).range(20_000..=20_000_000))]
    pub trials: u64,
    /// What this machine is called, for the record.
    #[arg(long, value_name = "NAME")]
    pub machine: Option<String>,
    #[command(flatten)]
    pub run: Run,
    #[command(flatten)]
    pub output: Output,
}

fn coverage(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(p) if (0.5..=0.9999).contains(&p) => Ok(p),
        _ => Err("must be a probability from 0.5 to 0.9999, such as 0.95".into()),
    }
}

/// Arguments of `judge`.
#[derive(Debug, Args)]
pub struct Judge {
    /// The setup file (JSON).
    pub setup: PathBuf,
    /// The readings (CSV, such as a filled-in sheet of `howflat sheet`); `-` reads standard input.
    pub readings: PathBuf,
    #[command(flatten)]
    pub limit: Limit,
    /// How the verdict is reached.
    #[arg(long, value_enum, default_value_t = DecisionRule::Proven)]
    pub rule: DecisionRule,
    /// Probability that such a plate is within the tolerance before it is read: 0.5 where it is doubted. That of the setup
    /// where not given, else what the setup's wear says.
    #[arg(long, value_name = "P", value_parser = before)]
    pub before: Option<f64>,
    #[command(flatten)]
    pub run: Run,
    #[command(flatten)]
    pub output: Output,
}

/// Arguments of `recall`.
///
/// The history's first line names its columns, in any order: `date` (2024-03-01, 3/15/2021, 15.03.2021), `plate` (where there are several),
/// `kind` (certificate, shop check, resurfacing), `value` (flatness deviation, or spread of a shop check), `U` and `k`
/// (of the value), `file` (readings of a shop check or map of a certificate, instead of a value), `remark`. A plate unlike
/// the setup's has its own `setup` (a file), `grade` or `tolerance`, `size`, `usage` (light, heavy, or hours a week) in one row.
#[derive(Debug, Args)]
pub struct Recall {
    /// The setup file (JSON) of the shop checks.
    pub setup: PathBuf,
    /// What is on record (CSV); `-` reads standard input.
    pub history: PathBuf,
    /// The day for which all is said, such as 2026-03-01; that of the last entry where not given.
    #[arg(long, value_name = "DATE", value_parser = day)]
    pub on: Option<Day>,
    /// The probability of being out of tolerance at which a plate goes out; that of the setup where not given.
    #[arg(long, value_name = "P", value_parser = risk)]
    pub risk: Option<f64>,
    /// What being early and being late cost, in any one currency:
    /// recalibration=450,day=60,days-away=10,bad-part=80,bad-parts=12 (bad parts a year while the plate is out).
    #[arg(long, value_name = "NAME=NUMBER,...")]
    pub costs: Option<String>,
    #[command(flatten)]
    pub limit: Limit,
    #[command(flatten)]
    pub run: Run,
    #[command(flatten)]
    pub output: Output,
}

fn day(text: &str) -> Result<Day, String> {
    match Day::read(text) {
        Some(WrittenDay::One(day, _)) => Ok(day),
        Some(WrittenDay::Open { day_first, month_first }) => {
            Err(format!("can be read as {day_first} and as {month_first}; write which"))
        }
        None => Err("must be a day of the calendar from 1900-01-01 to 2199-12-31, such as 2026-03-01".into()),
    }
}

fn risk(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(p) if (0.0001..=0.5).contains(&p) => Ok(p),
        _ => Err("must be a probability from 0.0001 to 0.5, such as 0.05".into()),
    }
}

fn before(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(p) if (0.001..=0.999).contains(&p) => Ok(p),
        _ => Err("must be a probability from 0.001 to 0.999, such as 0.5".into()),
    }
}

/// How a verdict is reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum DecisionRule {
    /// Within or out only where that is proven, at one minus the setup's risk (95 %); else undecided.
    Proven,
    /// The estimate decides, where the check is four times as good as the tolerance; else undecided.
    Simple,
    /// The estimate decides, whatever its uncertainty: both sides share the risk.
    Shared,
}

/// Arguments of `lesson`.
#[derive(Debug, Args)]
pub struct Lesson {
    /// The setup file (JSON); `-` reads standard input.
    pub setup: PathBuf,
    #[command(flatten)]
    pub output: Output,
}

/// Arguments of `plan`.
#[derive(Debug, Args)]
pub struct Plan {
    /// The setup file (JSON); `-` reads standard input.
    pub setup: PathBuf,
    #[command(flatten)]
    pub limit: Limit,
    /// How many readings you are willing to take, zeros and closing readings not counted. Left out: as many as the
    /// setup's survey has, at most 24.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=60))]
    pub readings: Option<u16>,
    /// By which way of reading the check is used, and steps are ranked.
    #[arg(long, value_enum, default_value_t = ReadBy::Spread)]
    pub read_by: ReadBy,
    /// With how many plates each set of steps is tried.
    #[arg(long, value_name = "N", default_value_t = improvement_gain::USUAL_TRIALS, value_parser = clap::value_parser!(u64).range(5_120..=1_000_000))]
    pub trials: u64,
    #[command(flatten)]
    pub run: Run,
    #[command(flatten)]
    pub output: Output,
}

/// A way of reading flatness from the numbers of a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ReadBy {
    /// The spread, taken at its word.
    Spread,
    /// The spread off the best-fit plane.
    Levelled,
    /// The estimate fitted to simulated checks.
    Fitted,
}

/// Arguments of `sheet`.
#[derive(Debug, Args)]
pub struct Sheet {
    /// The setup file (JSON); `-` reads standard input.
    pub setup: PathBuf,
    /// Print the page (HTML) instead of the CSV file.
    #[arg(long)]
    pub html: bool,
    /// Write sheet.csv and a page to print, sheet.html, into this folder. A sheet that is filled in is never
    /// overwritten.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

/// Arguments of `new`. Lengths are typed with their unit: `36 in`, `610 mm`.
#[derive(Debug, Args)]
pub struct New {
    /// The file to write; standard output where not given. An existing file is never overwritten.
    pub file: Option<PathBuf>,
    /// What the check is called.
    #[arg(long)]
    pub title: Option<String>,
    /// The plate's long side.
    #[arg(long, value_name = "LENGTH")]
    pub length: Option<String>,
    /// The plate's short side.
    #[arg(long, value_name = "LENGTH")]
    pub width: Option<String>,
    /// The plate's thickness.
    #[arg(long, value_name = "LENGTH")]
    pub thickness: Option<String>,
    /// What the plate is made of: granite, cast iron, ...
    #[arg(long)]
    pub material: Option<String>,
    /// The grade the plate is to keep: US A, ISO 8512 grade 1, DIN 876 grade 0, ...
    #[arg(long)]
    pub grade: Option<String>,
    /// State of the plate: fresh from lapping, in daily use, worn.
    #[arg(long)]
    pub state: Option<String>,
    /// Distance between the stand's two front feet.
    #[arg(long, value_name = "LENGTH")]
    pub front_apart: Option<String>,
    /// Distance of the rear foot from the line of the front feet.
    #[arg(long, value_name = "LENGTH")]
    pub front_to_rear: Option<String>,
    /// How far the tip can be from the middle of the feet.
    #[arg(long, value_name = "LENGTH")]
    pub longest_reach: Option<String>,
    /// One graduation of the indicator.
    #[arg(long, value_name = "LENGTH")]
    pub graduation: Option<String>,
    /// How the stand moves: parked, turned, carried.
    #[arg(long)]
    pub stand: Option<String>,
    /// How plate, feet and block are cleaned: wiped each time, wiped once, not wiped.
    #[arg(long)]
    pub cleanliness: Option<String>,
}

/// Arguments of `zone`.
///
/// The file's first line names its columns with their units, in any order: x (mm), y (mm), z (µm).
#[derive(Debug, Args)]
pub struct Zone {
    /// The points (CSV: x, y, z), at most 2 million; `-` reads standard input.
    pub points: PathBuf,
    /// The unit of x and y where the file names none: mm, in.
    #[arg(long, value_name = "UNIT", value_parser = length_unit)]
    pub plan_unit: Option<Unit>,
    /// The unit of z where the file names none: µm, µin, tenths.
    #[arg(long, value_name = "UNIT", value_parser = length_unit)]
    pub height_unit: Option<Unit>,
    #[command(flatten)]
    pub output: Output,
}

fn length_unit(text: &str) -> Result<Unit, String> {
    match Unit::parse(text) {
        Ok(unit) if unit.dimension() == Dimension::Length => Ok(unit),
        _ => Err("must be a unit of length, such as mm, in, µm or µin".into()),
    }
}

/// Arguments of `page`. It is served to this computer alone, until it is stopped with Ctrl-C.
#[derive(Debug, Args)]
pub struct Page {
    /// A setup file (JSON) to begin with; without one the page asks.
    pub setup: Option<PathBuf>,
    /// Start the browser.
    #[arg(long, conflicts_with = "save")]
    pub open: bool,
    /// Serve nothing: write the page with the engine inside into this file, which opens on any computer or telephone without
    /// a network.
    #[arg(long, value_name = "FILE")]
    pub save: Option<PathBuf>,
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
pub struct Completions {
    /// The shell.
    #[arg(value_enum)]
    pub shell: clap_complete::Shell,
}

/// Arguments of `man`.
#[derive(Debug, Args)]
pub struct Man {
    /// The command; the program as a whole where not given.
    pub command: Option<String>,
}

/// Arguments of `schema`.
#[derive(Debug, Args)]
pub struct Schema {
    /// What is to be described.
    #[arg(value_enum, default_value_t = Described::Setup)]
    pub of: Described,
}

/// What `schema` can describe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Described {
    /// The setup file of a shop check.
    Setup,
    /// The file of a formula model.
    Model,
    /// The output of `simulate --json`.
    Simulate,
    /// The output of `budget --json`.
    Budget,
    /// The output of `judge --json`.
    Judge,
    /// The output of `lesson --json`.
    Lesson,
    /// The output of `recall --json`.
    Recall,
    /// The output of `plan --json`.
    Plan,
    /// The output of `validate --json`.
    Validate,
    /// The output of `zone --json`.
    Zone,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;
    use proptest::{
        prelude::*,
        test_runner::{Config, RngAlgorithm, TestRng, TestRunner},
    };

    /// Whatever is typed is understood, or answered in words that fit a screen; as many lines as files in `tests/fuzz.rs`.
    #[test]
    fn anything_typed_is_understood_or_answered() {
        let n = std::env::var("HOWFLAT_FUZZ").map_or(500, |n| n.parse().unwrap());
        let command = Arguments::command();
        let mut words: Vec<String> = [
            "-", "--", "-1", "0", "1", "1e999", "NaN", "", "\u{0}", "🙂", "--=", "--json=1", "-hV", "x.json",
            "US A",
        ]
        .map(str::to_owned)
        .into();
        words.push("9".repeat(5000));
        for of in command.get_subcommands() {
            // Commands come up more often: most of what is typed begins with one.
            words.extend(vec![of.get_name().to_owned(); 4]);
            words.extend(of.get_arguments().filter_map(|a| a.get_long()).map(|long| format!("--{long}")));
            let values = of.get_arguments().flat_map(|a| a.get_possible_values());
            words.extend(values.map(|value| value.get_name().to_owned()));
        }
        let config = Config { cases: n, failure_persistence: None, ..Config::default() };
        let rng = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
        let typed = proptest::collection::vec(proptest::sample::select(words), 0..7);
        let answered = TestRunner::new_with_rng(config, rng).run(&typed, |typed| {
            let parse = || Arguments::read(["howflat".to_owned()].iter().chain(&typed));
            match (parse(), parse()) {
                (Ok(once), Ok(again)) => prop_assert_eq!(format!("{once:?}"), format!("{again:?}")),
                (Err(once), Err(again)) => {
                    let text = once.render().to_string();
                    prop_assert_eq!(&text, &again.render().to_string());
                    prop_assert!(!text.trim().is_empty());
                    prop_assert!(!once.use_stderr() || text.chars().count() < 1000 + 5000, "{text}");
                    prop_assert!([0, 2].contains(&once.exit_code()));
                }
                _ => prop_assert!(false, "understood and not understood"),
            }
            Ok(())
        });
        assert!(answered.is_ok(), "{answered:?}");
    }
}
