//! The program: does what the command line asks for, and ends with its exit code.

mod command;

use command::{Failure, run, say};
use std::{
    panic,
    process::ExitCode,
    sync::{Arc, Mutex},
};

fn main() -> ExitCode {
    // A mistake of ours is told in a line, not in a trace, and has an exit code of its own.
    let place = Arc::new(Mutex::new(String::from("at an unknown place")));
    let noted = Arc::clone(&place);
    panic::set_hook(Box::new(move |info| {
        if let (Some(location), Ok(mut noted)) = (info.location(), noted.lock()) {
            *noted = location.to_string();
        }
    }));
    let outcome = panic::catch_unwind(run);
    let ours = || Failure::Ours(place.lock().map_or_else(|_| String::new(), |place| place.clone()));
    outcome.unwrap_or_else(|_| Err(ours())).unwrap_or_else(|failure| {
        say(&failure.to_string());
        failure.exit_code()
    })
}
