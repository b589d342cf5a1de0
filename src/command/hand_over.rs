//! What a command found, handed over: checked, printed, and written where a folder was named.

use super::{
    args::Output,
    failure::Failure,
    files, number_check,
    report_folder::{self, Earlier},
    terminal::{print, print_json, say, terminal_width},
};
use howflat::report::page::Page;
use std::{cell::LazyCell, path::Path};

/// Makes sure that every number is one, writes a report's files where a folder was named, and a table where one was, both or
/// neither; then prints the report as JSON or as text.
pub fn hand_over<E: std::fmt::Display>(
    output: &Output,
    schema: impl FnOnce() -> serde_json::Value,
    page: impl FnOnce() -> Page,
    files: impl FnOnce(&Page) -> Result<Vec<(String, Vec<u8>)>, E>,
    json: impl FnOnce() -> serde_json::Value,
    text: impl FnOnce(&Page, Option<usize>) -> String,
    table: Option<(&Path, &dyn Fn() -> String)>,
) -> Result<(), Failure> {
    let document = json();
    if let Some(path) = number_check::missing_number(&document, &schema()) {
        let why =
            "is beyond all numbers that can be reckoned with; check the sizes and units of what was put in";
        return Err(Failure::Use(format!("the result's {path} {why}")));
    }
    let page = LazyCell::new(page);
    let write = || {
        let table = table.map(|(path, table)| files::Ready::new(path, table().as_bytes())).transpose()?;
        let written = match output.out.as_deref() {
            Some(folder) => {
                let files = files(&page).map_err(Failure::picture)?;
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
        print(&text(&page, terminal_width()))?;
    }
    if let Some((folder, n)) = written? {
        say_written(folder, n, "report.html");
    }
    Ok(())
}

/// What was written where, and which file to open; beside what is printed, not in it.
pub fn say_written(folder: &Path, n_files: usize, first: &str) {
    say(&format!("{n_files} files are in {}; open {}", folder.display(), folder.join(first).display()));
}

/// A report on the screen: what matters now, or all of it where that was asked for.
pub fn on_screen(output: &Output) -> impl Fn(&Page, Option<usize>) -> String {
    move |page, width| {
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
