//! What a command found, handed over: checked, printed, and written where a folder was named.

use super::{
    args::Output,
    failure::Failure,
    files, number_check,
    report_folder::{self, Earlier},
    terminal::{print, print_json, say, terminal_width},
};
use howflat::report::{Report, page::Page};
use std::{cell::LazyCell, path::Path, process::ExitCode};

/// Makes sure that every number is one, writes a report's files where a folder was named, then prints the report as JSON or as
/// text.
pub fn hand_over<R: Report>(output: &Output, report: &R) -> Result<ExitCode, Failure> {
    hand_over_with(output, report, None)
}

/// The same with a table, for the file that was named for it; both are written or neither.
pub fn hand_over_with<R: Report>(
    output: &Output,
    report: &R,
    table: Option<(&Path, &dyn Fn() -> String)>,
) -> Result<ExitCode, Failure> {
    let document = report.json();
    if let Some(path) = number_check::missing_number(&document, &R::json_schema()) {
        let why = "is too large or too small to compute with; check the sizes and units of what was put in";
        return Err(Failure::Use(format!("the result's {path} {why}")));
    }
    let page = LazyCell::new(|| report.page());
    let write = || {
        let table = table.map(|(path, table)| files::Ready::new(path, table().as_bytes())).transpose()?;
        let written = match output.out.as_deref() {
            Some(folder) => {
                let files = report.files(&page).map_err(Failure::picture)?;
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
        print(&on_screen::<R>(output, &page))?;
    }
    if let Some((folder, n)) = written? {
        say_written(folder, n, "report.html");
    }
    Ok(ExitCode::SUCCESS)
}

/// What was written where, and which file to open; beside what is printed, not in it.
pub fn say_written(folder: &Path, n_files: usize, first: &str) {
    say(&format!("{n_files} files are in {}; open {}", folder.display(), folder.join(first).display()));
}

/// A report on the screen: what matters now, or all of it where that was asked for or is little.
fn on_screen<R: Report>(output: &Output, page: &Page) -> String {
    let width = terminal_width();
    if output.full || R::IS_SHORT {
        return page.terminal(width);
    }
    let more = match output.out {
        Some(_) => "",
        None => "\nAll of it: --full on the screen, --out FOLDER as a report to read, print and sign.\n",
    };
    page.first_screen(width) + more
}
