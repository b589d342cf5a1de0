//! Reading what the user names, and writing what may be written anew.

use super::{failure::Failure, report_folder};
use howflat::{
    quantity::day::Day,
    setup::{FileKind, HistoryFile, MeasurementSetup, PointFile, PointUnits, Readings, Setup},
};
use std::{
    fs,
    io::{self, Read, Write},
    path::{Component, Path, PathBuf},
    sync::Mutex,
};
use tempfile::NamedTempFile;

/// Larger files are no setups, readings or maps.
const LARGEST: u64 = 4 << 20;
/// Larger files are no files of points, of which there may be millions.
const LARGEST_OF_POINTS: u64 = 256 << 20;

/// Every file that was read: no output may replace one of them.
static INPUTS: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// Reads and checks a setup, with the files it names beside it; `-` is standard input.
pub fn read_setup(path: &Path) -> Result<Setup, Failure> {
    read_setup_and_text(path).map(|(setup, _)| setup)
}

/// A setup, and the text it was read from.
pub fn read_setup_and_text(path: &Path) -> Result<(Setup, String), Failure> {
    let text = read_input(path)?;
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
    Readings::read(&read_input(path)?, setup).map_err(|faults| Failure::Faults(path.to_owned(), faults))
}

/// Reads and checks a history of a setup's plates, with the files it names beside it; `-` is standard input.
pub fn read_history(
    path: &Path,
    setup: &Setup,
    today: Option<Day>,
    to_keep: &dyn Fn(&Setup) -> Option<howflat::shop::grade::Tolerance>,
) -> Result<HistoryFile, Failure> {
    HistoryFile::read(&read_input(path)?, setup, today, to_keep, &loader(path))
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
    let text = read_input(path)?;
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

/// Reads the files that another file names, from the folder where that is and from nowhere else: a setup that came from
/// somebody else is to open nothing of the reader's.
fn loader(path: &Path) -> impl Fn(&str) -> Result<String, String> {
    let folder = path.parent().unwrap_or(Path::new(""));
    move |name| {
        let outside = || "outside the folder of the file that names it; put a copy there".to_owned();
        let is_below = |part: Component| matches!(part, Component::Normal(_) | Component::CurDir);
        if !Path::new(name).components().all(is_below) {
            return Err(outside());
        }
        let named = folder.join(name);
        let real = |path: &Path| path.canonicalize().map_err(|error| error.to_string());
        let home = real(if folder == Path::new("") { Path::new(".") } else { folder })?;
        if !real(&named)?.starts_with(home) {
            return Err(outside());
        }
        read_text(&named, LARGEST).map_err(|error| error.to_string())
    }
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

/// Reads and checks a file of points; `-` is standard input.
pub fn read_points(path: &Path, units: PointUnits) -> Result<PointFile, Failure> {
    const MOST: usize = 2_000_000;
    let text =
        read_text(path, LARGEST_OF_POINTS).map_err(|error| Failure::Unreadable(path.to_owned(), error))?;
    PointFile::read(&text, units, MOST).map_err(|faults| Failure::Faults(path.to_owned(), faults))
}

fn read_input(path: &Path) -> Result<String, Failure> {
    read_text(path, LARGEST).map_err(|error| Failure::Unreadable(path.to_owned(), error))
}

/// Reads a text file of at most so many bytes; `-` is standard input.
fn read_text(path: &Path, largest: u64) -> io::Result<String> {
    let mut bytes = Vec::new();
    if path == Path::new("-") {
        io::stdin().take(largest + 1).read_to_end(&mut bytes)?;
    } else {
        let file = fs::File::open(path)?;
        if file.metadata()?.is_dir() {
            return Err(io::Error::new(io::ErrorKind::IsADirectory, "a folder, where a file is needed"));
        }
        file.take(largest + 1).read_to_end(&mut bytes)?;
        if let (Ok(real), Ok(mut inputs)) = (path.canonicalize(), INPUTS.lock()) {
            inputs.push(real);
        }
    }
    if bytes.len() as u64 > largest {
        let why = format!("larger than {} MiB", largest >> 20);
        return Err(io::Error::new(io::ErrorKind::FileTooLarge, why));
    }
    decoded(bytes).map_err(|why| io::Error::new(io::ErrorKind::InvalidData, why))
}

/// The text of a file, or what kind of file it is instead, and how to save it.
fn decoded(bytes: Vec<u8>) -> Result<String, String> {
    const SAVE: &str = "save it as UTF-8 (in a spreadsheet: \"CSV UTF-8\")";
    let in_pairs = bytes.len() > 3 && [0, 1].iter().any(|odd| bytes[*odd] == 0 && bytes[2 + odd] == 0);
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) || in_pairs {
        return Err(format!("it is UTF-16 text, which spreadsheets call \"Unicode text\"; {SAVE}"));
    }
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]) {
        return Err(format!("it is a spreadsheet or an archive, not text; {SAVE}"));
    }
    String::from_utf8(bytes).map_err(|error| {
        let (bytes, at) = (error.as_bytes(), error.utf8_error().valid_up_to());
        let line = 1 + bytes[..at].iter().filter(|byte| **byte == b'\n').count();
        let byte = bytes[at];
        if byte >= 0xA0 {
            format!(
                "it is text in an old encoding (\"{}\" on line {line}, if that is Latin-1); {SAVE}",
                char::from(byte)
            )
        } else {
            format!("it is no UTF-8 text (line {line}); {SAVE}")
        }
    })
}

/// Whether a path leads to a file that was read, by whatever name or link.
pub fn is_input(path: &Path) -> bool {
    let Ok(inputs) = INPUTS.lock() else { return true };
    inputs.iter().any(|input| is_same_file(input, path))
}

#[cfg(unix)]
fn is_same_file(a: &Path, b: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let identity = |path: &Path| fs::metadata(path).map(|known| (known.dev(), known.ino())).ok();
    identity(a).is_some_and(|a| identity(b) == Some(a))
}

#[cfg(not(unix))]
fn is_same_file(a: &Path, b: &Path) -> bool {
    a.canonicalize().ok().is_some_and(|a| b.canonicalize().ok() == Some(a))
}

/// Tries whether a file that the user named can be written, over whatever is there but what was read.
pub fn try_file(path: &Path) -> Result<(), Failure> {
    if is_input(path) {
        return Err(Failure::Use(format!("{} was read for this; give another name", path.display())));
    }
    if path.is_dir() {
        return Err(Failure::Use(format!("{} is a folder; add the name of a file", path.display())));
    }
    let is_plain = |path: &Path| fs::symlink_metadata(path).map_or(true, |there| there.is_file());
    if !is_plain(path) {
        let why = "is a link or a device, which a file of ours would replace; give the name of a file";
        return Err(Failure::Use(format!("{} {why}", path.display())));
    }
    if report_folder::is_of_a_report(path) {
        return Err(Failure::Use(format!("{} is part of a report; give another name", path.display())));
    }
    report_folder::try_folder(folder_of(path))
}

/// A file that [`try_file`] has tried, in full and on the disk, that waits beside its place; gone when dropped.
pub struct Ready<'a>(&'a Path, NamedTempFile);

impl<'a> Ready<'a> {
    /// Writes it.
    pub fn new(path: &'a Path, bytes: &[u8]) -> Result<Self, Failure> {
        let written = complete(path, bytes).map_err(|error| Failure::Unwritable(path.to_owned(), error));
        Ok(Self(path, written?))
    }

    /// Puts it in its place.
    pub fn put(self) -> Result<(), Failure> {
        let Self(path, file) = self;
        file.persist(path).map(|_| ()).map_err(|error| Failure::Unwritable(path.to_owned(), error.error))
    }
}

/// A file beside its place, written in full and on the disk.
fn complete(path: &Path, bytes: &[u8]) -> io::Result<NamedTempFile> {
    let mut file = report_folder::temporary_in(folder_of(path))?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    Ok(file)
}

/// The folder that a file stands in.
fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."))
}

/// Writes a file that must not exist yet: whole, or not at all.
pub fn write_new(path: &Path, text: &str) -> Result<(), Failure> {
    let written = complete(path, text.as_bytes()).and_then(|file| Ok(file.persist_noclobber(path)?));
    written.map(|_| ()).map_err(|error| match error.kind() {
        io::ErrorKind::AlreadyExists => {
            Failure::Use(format!("{} exists already; give another name, or move it away", path.display()))
        }
        io::ErrorKind::NotFound | io::ErrorKind::PermissionDenied | io::ErrorKind::NotADirectory => {
            Failure::Use(format!("{}: cannot be written: {error}", path.display()))
        }
        _ => Failure::Unwritable(path.to_owned(), error),
    })
}
