//! `howflat page`: the page for the person at the plate, served to this computer or written into one file.

use super::{
    args::Page,
    failure::Failure,
    files,
    page_server::Server,
    terminal::{print, say},
};
use flate2::{Compression, write::GzEncoder};
use howflat::page::{Engine, document};
use std::{
    fs::File,
    io::{self, Read, Write},
    path::Path,
    process::{Command, ExitCode, Stdio},
};

/// The engine for the browser, where the program was built with it inside.
#[cfg(feature = "browser-engine")]
const MODULE: Option<&[u8]> = Some(include_bytes!(concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/target/wasm32-unknown-unknown/browser/howflat.wasm"
)));
#[cfg(not(feature = "browser-engine"))]
const MODULE: Option<&[u8]> = None;

/// What a program without it says. The commands are those of the README.
const WITHOUT: &str = "this program was built without the engine for the browser. Once, in its source folder:\n  \
     rustup target add wasm32-unknown-unknown\n  \
     cargo rustc --lib --crate-type cdylib --profile browser --target wasm32-unknown-unknown --no-default-features\n\
     and then: cargo run --release --features browser-engine -- page --save FILE";

/// A page that was written by this command begins with this.
const OURS: &str = "<!DOCTYPE html>\n<html lang=\"en\" data-page=\"howflat\">";

/// Serves the page, or writes it.
pub fn page(arguments: &Page) -> Result<ExitCode, Failure> {
    let given = match &arguments.setup {
        Some(path) => Some(files::read_setup_and_text(path)?.1),
        None => None,
    };
    match &arguments.save {
        Some(path) => save(path, given.as_deref()),
        None => serve(given.as_deref(), arguments.open),
    }
}

fn serve(given: Option<&str>, open: bool) -> Result<ExitCode, Failure> {
    let server = Server::new(document(Engine::Served, given)).map_err(no_place)?;
    let address = server.address();
    print(&format!("{address}\n"))?;
    say("The page is served to this computer alone, until you stop it with Ctrl-C.");
    if open && !opened(&address) {
        say("no browser could be started; open the address by hand");
    }
    server.serve().map_err(no_place)?;
    Ok(ExitCode::SUCCESS)
}

fn no_place(error: io::Error) -> Failure {
    Failure::Use(format!("the page cannot be served on this computer: {error}"))
}

/// Asks the system for its browser.
fn opened(address: &str) -> bool {
    let (program, first): (&str, &[&str]) = match std::env::consts::OS {
        "macos" => ("open", &[]),
        "windows" => ("explorer", &[]),
        _ => ("xdg-open", &[]),
    };
    let mut command = Command::new(program);
    command.args(first).arg(address).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    command.spawn().is_ok()
}

fn save(path: &Path, given: Option<&str>) -> Result<ExitCode, Failure> {
    let module = MODULE.ok_or_else(|| Failure::Use(WITHOUT.into()))?;
    let is_new = !path.exists();
    if !is_new {
        files::try_file(path)?;
        if !is_ours(path) {
            let why = "exists already and is no page of this program; give another name, or move it away";
            return Err(Failure::Use(format!("{} {why}", path.display())));
        }
    }
    let mut packed = GzEncoder::new(Vec::new(), Compression::best());
    let packed = packed.write_all(module).and_then(|()| packed.finish()).map_err(Failure::Output)?;
    let page = document(Engine::Inside(&packed), given);
    if is_new {
        files::write_new(path, &page)?;
    } else {
        files::Ready::new(path, page.as_bytes())?.put()?;
    }
    let written = if is_new { "is written" } else { "is written anew" };
    say(&format!("{} {written}: open it in a browser, or pass it on", path.display()));
    Ok(ExitCode::SUCCESS)
}

fn is_ours(path: &Path) -> bool {
    let mut head = vec![0; OURS.len()];
    File::open(path).and_then(|mut file| file.read_exact(&mut head)).is_ok() && head == OURS.as_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The page that is written is the page that is replaced.
    #[test]
    fn our_own_page_is_known() {
        assert!(document(Engine::Served, None).starts_with(OURS));
    }
}
