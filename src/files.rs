//! Reading setups and writing reports: a report is replaced whole or not at all.

use crate::failure::Failure;
use howflat::{
    quantity::day::Day,
    setup::{FileKind, HistoryFile, MeasurementSetup, PointFile, PointUnits, Readings, Setup},
};
use std::{
    fs,
    io::{self, Read, Write},
    path::Path,
};
use tempfile::NamedTempFile;

/// Larger files are no setups, readings or maps.
const LARGEST: u64 = 4 << 20;

/// Reads and checks a setup, with the files it names beside it; `-` is standard input.
pub fn read_setup(path: &Path) -> Result<Setup, Failure> {
    read_setup_and_text(path).map(|(setup, _)| setup)
}

/// A setup, and the text it was read from.
pub fn read_setup_and_text(path: &Path) -> Result<(Setup, String), Failure> {
    let text = read_text(path).map_err(|error| Failure::Unreadable(path.to_owned(), error))?;
    if matches!(FileKind::of(&text), Ok(FileKind::FormulaModel)) {
        let why =
            format!("this is a formula model, not a shop check; run `howflat budget {}`", path.display());
        return Err(Failure::input(path, why));
    }
    let setup = setup_of(&text, path)?;
    Ok((setup, text))
}

/// Reads and checks what was read in a setup's check; `-` is standard input.
pub fn read_readings(path: &Path, setup: &Setup) -> Result<Readings, Failure> {
    let text = read_text(path).map_err(|error| Failure::Unreadable(path.to_owned(), error))?;
    Readings::read(&text, setup).map_err(|faults| Failure::Faults(path.to_owned(), faults))
}

/// Reads and checks a history of a setup's plates, with the files it names beside it; `-` is standard input.
pub fn read_history(path: &Path, setup: &Setup, today: Option<Day>) -> Result<HistoryFile, Failure> {
    let text = read_text(path).map_err(|error| Failure::Unreadable(path.to_owned(), error))?;
    HistoryFile::read(&text, setup, today, &loader(path))
        .map_err(|faults| Failure::Faults(path.to_owned(), faults))
}

/// A file of either kind that a user writes.
pub enum Measurement {
    /// A shop check.
    ShopCheck(Box<Setup>),
    /// A formula model.
    FormulaModel(MeasurementSetup),
}

/// Reads and checks a setup or a formula model, whichever it is; `-` is standard input.
pub fn read_measurement(path: &Path) -> Result<Measurement, Failure> {
    let text = read_text(path).map_err(|error| Failure::Unreadable(path.to_owned(), error))?;
    let faulty = |faults| Failure::Faults(path.to_owned(), faults);
    Ok(match FileKind::of(&text).map_err(faulty)? {
        FileKind::ShopCheck => Measurement::ShopCheck(Box::new(setup_of(&text, path)?)),
        FileKind::FormulaModel => Measurement::FormulaModel(MeasurementSetup::read(&text).map_err(faulty)?),
    })
}

/// Checks a setup's text that comes from, or stands for, this file.
pub fn setup_of(text: &str, path: &Path) -> Result<Setup, Failure> {
    Setup::read(text, &loader(path)).map_err(|faults| Failure::Faults(path.to_owned(), faults))
}

/// Reads the files that another file names, from the folder where that is.
fn loader(path: &Path) -> impl Fn(&str) -> Result<String, String> {
    let folder = path.parent().unwrap_or(Path::new(""));
    |name| read_text(&folder.join(name)).map_err(|error| error.to_string())
}

/// Refuses two files, each with what it is called, that are both to come from standard input.
pub fn refuse_one_input_twice(files: [(&str, &Path); 2]) -> Result<(), Failure> {
    let [(a, first), (b, second)] = files;
    if first == Path::new("-") && second == first {
        let why = format!("{a} and {b} cannot both be standard input; name a file for one");
        return Err(Failure::Use(why));
    }
    Ok(())
}

/// Reads a text file of sensible size; `-` is standard input.
pub fn read_text(path: &Path) -> io::Result<String> {
    read_text_up_to(path, LARGEST)
}

/// Reads a text file of at most so many bytes; `-` is standard input.
fn read_text_up_to(path: &Path, largest: u64) -> io::Result<String> {
    let mut text = String::new();
    let read = if path == Path::new("-") {
        io::stdin().take(largest + 1).read_to_string(&mut text)?
    } else {
        fs::File::open(path)?.take(largest + 1).read_to_string(&mut text)?
    };
    if read as u64 > largest {
        let why = format!("larger than {} MiB", largest >> 20);
        return Err(io::Error::new(io::ErrorKind::FileTooLarge, why));
    }
    Ok(text)
}

/// Larger files are no files of points, of which there may be millions.
const LARGEST_OF_POINTS: u64 = 256 << 20;

/// Reads and checks a file of points; `-` is standard input.
pub fn read_points(path: &Path, units: PointUnits) -> Result<PointFile, Failure> {
    const MOST: usize = 2_000_000;
    let text = read_text_up_to(path, LARGEST_OF_POINTS)
        .map_err(|error| Failure::Unreadable(path.to_owned(), error))?;
    PointFile::read(&text, units, MOST).map_err(|faults| Failure::Faults(path.to_owned(), faults))
}

/// Writes the files of a report into a folder, making it where it is missing.
///
/// All of them are written beside their places first and moved there only when each is complete, so that
/// a failure on the way leaves an earlier report as it was.
pub fn write_report(folder: &Path, files: &[(String, Vec<u8>)]) -> Result<(), Failure> {
    let unwritable = |path: &Path| {
        let path = path.to_owned();
        move |error: io::Error| Failure::Unwritable(path, error)
    };
    fs::create_dir_all(folder).map_err(unwritable(folder))?;
    let mut complete = Vec::with_capacity(files.len());
    for (name, bytes) in files {
        let path = folder.join(name);
        let written = NamedTempFile::with_prefix_in(".howflat-", folder).and_then(|mut file| {
            file.write_all(bytes)?;
            readable_by_all(&file)?;
            Ok(file)
        });
        complete.push((written.map_err(unwritable(&path))?, path));
    }
    for (file, path) in complete {
        file.persist(&path).map_err(|error| Failure::Unwritable(path, error.error))?;
    }
    Ok(())
}

/// Writes a single file whole, in the folder where it is to stand.
pub fn write_file(path: &Path, bytes: Vec<u8>) -> Result<(), Failure> {
    let Some(name) = path.file_name() else {
        return Err(Failure::Use(format!("{} is no name of a file; add one", path.display())));
    };
    let folder = path.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."));
    write_report(folder, &[(name.to_string_lossy().into_owned(), bytes)])
}

/// Writes a file that must not exist yet.
pub fn write_new(path: &Path, text: &str) -> Result<(), Failure> {
    let written = fs::File::create_new(path).and_then(|mut file| file.write_all(text.as_bytes()));
    written.map_err(|error| match error.kind() {
        io::ErrorKind::AlreadyExists => {
            Failure::Use(format!("{} exists already; give another name, or move it away", path.display()))
        }
        _ => Failure::Unwritable(path.to_owned(), error),
    })
}

/// A temporary file is its owner's alone; a report is not.
#[cfg(unix)]
fn readable_by_all(file: &NamedTempFile) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.as_file().set_permissions(fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn readable_by_all(_: &NamedTempFile) -> io::Result<()> {
    Ok(())
}
