//! What can go wrong, and the exit code it gets.

use howflat::setup::Faults;
use std::{
    fmt, io,
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Why a command could not do its work.
#[derive(Debug)]
pub enum Failure {
    /// A file that was named cannot be read.
    Unreadable(PathBuf, io::Error),
    /// A file holds things that cannot be used.
    Faults(PathBuf, Faults),
    /// A file is sound, field by field, but cannot be worked with.
    Input(PathBuf, String),
    /// What was typed cannot be used, and what to type instead.
    Use(String),
    /// A report cannot be written.
    Unwritable(PathBuf, io::Error),
    /// Standard output failed.
    Output(io::Error),
    /// So many threads cannot be had.
    Threads(usize),
    /// A picture could not be made.
    Picture(String),
    /// A mistake in the program, and where in its text.
    Ours(String),
}

/// Most faults that are told of one file.
const MOST_FAULTS: usize = 50;

impl Failure {
    /// A mistake in the program, found where this is called.
    #[track_caller]
    pub fn ours() -> Self {
        Self::Ours(std::panic::Location::caller().to_string())
    }

    /// A file that cannot be worked with, and why.
    pub fn input(path: &Path, why: impl fmt::Display) -> Self {
        Self::Input(path.to_owned(), why.to_string())
    }

    /// A picture that could not be made, and why.
    pub fn picture(why: impl fmt::Display) -> Self {
        Self::Picture(why.to_string())
    }

    /// 2 for what the user can mend in input or use, 3 for the rest.
    pub fn exit_code(&self) -> ExitCode {
        match self {
            Self::Unreadable(..) | Self::Faults(..) | Self::Input(..) | Self::Use(_) => ExitCode::from(2),
            Self::Unwritable(..) | Self::Output(_) | Self::Threads(_) | Self::Picture(_) | Self::Ours(_) => {
                ExitCode::from(3)
            }
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable(path, error) => write!(f, "{}: cannot be read: {error}", named(path)),
            Self::Faults(path, faults) => {
                for (i, fault) in faults.iter().take(MOST_FAULTS).enumerate() {
                    let end = if i + 1 < faults.len() { "\n" } else { "" };
                    write!(f, "{}: {fault}{end}", named(path))?;
                }
                match faults.len().saturating_sub(MOST_FAULTS) {
                    0 => Ok(()),
                    more => write!(f, "{}: and {more} more", named(path)),
                }
            }
            Self::Input(path, why) => write!(f, "{}: {why}", named(path)),
            Self::Use(why) => f.write_str(why),
            Self::Unwritable(path, error) => write!(f, "{}: cannot be written: {error}", named(path)),
            Self::Output(error) => write!(f, "standard output: {error}"),
            Self::Threads(n) => {
                write!(f, "--threads {n}: so many threads cannot be started here; ask for fewer")
            }
            Self::Picture(why) => write!(f, "a picture could not be made: {why}"),
            Self::Ours(place) => write!(
                f,
                "howflat stopped over a mistake of its own, not of yours ({place}); please report it with the file you \
                 gave it."
            ),
        }
    }
}

/// A path as it is told: on one line.
fn named(path: &Path) -> String {
    path.display().to_string().replace('\n', "␊")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mistake_of_ours_says_where_and_a_path_stays_on_its_line() {
        let said = Failure::ours().to_string();
        let place = said.split_once("src/command/failure.rs:").expect("a file").1;
        assert!(place.starts_with(|c: char| c.is_ascii_digit()), "{said}");
        let said = Failure::input(Path::new("a\nb.json: is fine"), "faulty").to_string();
        assert_eq!(said, "a␊b.json: is fine: faulty");
    }
}
