//! `howflat sheet`: a blank sheet for the readings.

use crate::{args::Sheet, failure::Failure, files, print, say_written};
use howflat::report::reading_sheet::{ReadingSheet, is_blank};
use std::{path::Path, process::ExitCode};

/// Prints the sheet, or writes it and its page into a folder.
pub fn sheet(arguments: &Sheet) -> Result<ExitCode, Failure> {
    let setup = files::read_setup(&arguments.setup)?;
    let sheet = ReadingSheet { setup: &setup };
    if let Some(folder) = &arguments.out {
        refuse_to_overwrite(folder)?;
        let files = sheet.files();
        files::write_report(folder, &files)?;
        say_written(folder, files.len(), "sheet.html");
    }
    if arguments.html {
        print(&sheet.html())?;
    } else if arguments.out.is_none() {
        print(&sheet.csv())?;
    }
    Ok(ExitCode::SUCCESS)
}

/// Refuses a folder that holds a sheet with something in it: whoever filled it in would lose what was read.
pub fn refuse_to_overwrite(folder: &Path) -> Result<(), Failure> {
    let path = folder.join("sheet.csv");
    if files::read_text(&path).is_ok_and(|text| !is_blank(&text)) {
        return Err(Failure::Use(format!(
            "{} is not blank; move it away, or give another folder",
            path.display()
        )));
    }
    Ok(())
}
