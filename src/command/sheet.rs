//! `howflat sheet`: a blank sheet for the readings.

use super::{
    args::Sheet,
    failure::Failure,
    files,
    hand_over::say_written,
    report_folder::{self, Earlier},
    terminal::print,
};
use howflat::report::reading_sheet::ReadingSheet;
use std::process::ExitCode;

/// Prints the sheet, or writes it and its page into a folder.
pub fn sheet(arguments: &Sheet) -> Result<ExitCode, Failure> {
    let setup = files::read_setup(&arguments.setup)?;
    let sheet = ReadingSheet { setup: &setup };
    if let Some(folder) = &arguments.out {
        let files = sheet.files();
        report_folder::write_report(folder, &files, Earlier::Kept)?;
        say_written(folder, files.len(), "sheet.html");
    }
    if arguments.html {
        print(&sheet.html())?;
    } else if arguments.out.is_none() {
        print(&sheet.csv())?;
    }
    Ok(ExitCode::SUCCESS)
}
