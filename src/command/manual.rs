//! `howflat completions` and `howflat man`: what a shell and a reader want to know of the command line, made from it.

use super::{
    args::{Arguments, Completions, Man},
    failure::Failure,
    terminal::print,
};
use clap::CommandFactory;
use std::process::ExitCode;

/// Prints a shell's completions.
pub fn completions(arguments: &Completions) -> Result<ExitCode, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut Arguments::command(), "howflat", &mut script);
    print(&String::from_utf8_lossy(&script))?;
    Ok(ExitCode::SUCCESS)
}

/// Prints a manual page.
pub fn man(arguments: &Man) -> Result<ExitCode, Failure> {
    let mut program = Arguments::command();
    // So that a command's page calls it as it is called.
    program.build();
    let described = match &arguments.command {
        None => program,
        Some(name) => program.find_subcommand(name).cloned().ok_or_else(|| {
            let names: Vec<&str> = program.get_subcommands().map(clap::Command::get_name).collect();
            Failure::Use(format!("there is no command \"{name}\"; write one of {}", names.join(", ")))
        })?,
    };
    let mut page = Vec::new();
    clap_mangen::Man::new(described).render(&mut page).map_err(Failure::Output)?;
    print(&String::from_utf8_lossy(&page))?;
    Ok(ExitCode::SUCCESS)
}
