//! Arguments as typed: nothing here knows the world.

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

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

/// What the program can do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// How far a shop check can be from the true flatness, before anything is read.
    Simulate(Simulate),
    /// Print the JSON Schema of setup files, for editors.
    Schema,
}

/// Arguments of `simulate`.
#[derive(Debug, Args)]
pub struct Simulate {
    /// The setup file (JSON); `-` reads standard input.
    pub setup: PathBuf,
    /// How many plates are drawn and checked.
    #[arg(long, value_name = "N", default_value_t = 100_000, value_parser = clap::value_parser!(u64).range(1_000..=20_000_000))]
    pub trials: u64,
    /// Seed of all random numbers; the same seed gives the same result to the last digit.
    #[arg(long, value_name = "S", default_value_t = 1)]
    pub seed: u64,
    /// How many threads to use; all cores where not given. Changes no number.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Write result.json, report.md, budget and pictures into this folder.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print one JSON document and nothing else.
    #[arg(long)]
    pub json: bool,
}
