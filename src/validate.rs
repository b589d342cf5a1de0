//! `howflat validate`.

use crate::{
    args::Validate, failure::Failure, files, print, progress::Progress, say_written, terminal_width,
    use_threads,
};
use howflat::validation::record::ValidationRecord;
use std::{process::ExitCode, thread};

/// Runs the embedded examples and checks, and prints or writes the record; exit code 1 if anything disagrees.
pub fn validate(arguments: &Validate) -> Result<ExitCode, Failure> {
    use_threads(arguments.run.threads)?;
    let progress = Progress::new(ValidationRecord::n_parts());
    let date = jiff::Timestamp::now().strftime("%Y-%m-%d %H:%M UTC").to_string();
    let (trials, seed) = (arguments.trials, arguments.run.seed);
    let record = ValidationRecord::run(date, machine(arguments), trials, seed, &|n| progress.advance(n))
        .map_err(|_| Failure::Ours)?;
    progress.finish();
    if let Some(folder) = &arguments.out {
        let files = record.files();
        files::write_report(folder, &files)?;
        say_written(folder, files.len(), "validation.md");
    }
    if arguments.json {
        print(&format!("{:#}\n", record.json()))?;
    } else {
        print(&record.text(terminal_width()))?;
    }
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
