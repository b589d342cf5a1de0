//! `howflat validate`.

use super::{args::Validate, failure::Failure, hand_over::hand_over, progress::Progress};
use howflat::validation::record::ValidationRecord;
use std::{process::ExitCode, thread};

/// Runs the embedded examples and checks, and prints or writes the record; exit code 1 if anything disagrees.
pub fn validate(arguments: &Validate) -> Result<ExitCode, Failure> {
    let progress = Progress::new(ValidationRecord::n_parts());
    let output = &arguments.output;
    // A record without its time is none.
    let now = || jiff::Timestamp::now().strftime("%Y-%m-%d %H:%M UTC").to_string();
    let date = output.date.clone().unwrap_or_else(now);
    let (trials, seed) = (arguments.trials, arguments.run.seed);
    let record = ValidationRecord::run(date, machine(arguments), trials, seed, &|n| progress.advance(n))
        .map_err(|_| Failure::ours())?;
    progress.finish();
    hand_over(output, &record)?;
    Ok(if record.agrees() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// The name the user gives the machine, and what of it may bear on the numbers.
fn machine(arguments: &Validate) -> String {
    let cores = thread::available_parallelism().map_or(1, usize::from);
    let kind = format!("{} on {}, {cores} cores", std::env::consts::OS, std::env::consts::ARCH);
    match &arguments.machine {
        Some(name) => format!("{name} ({kind})"),
        None => kind,
    }
}
