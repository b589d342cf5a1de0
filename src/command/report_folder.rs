//! A report folder is one thing.
//!
//! `manifest.json` names every file of the report that is in the folder, with its SHA-256. Only what an earlier manifest
//! names, and what is still as it was written, is ever replaced or taken away; whatever else lies in the folder stays.
//!
//! A report is written in full into `.howflat-new`, with its manifest. Then the earlier manifest and the files it names
//! move to `.howflat-old`, the new files to their places, and last of all the new manifest: a folder without a manifest,
//! or with files that its manifest does not know, holds no whole report. A run that fails on the way undoes what it did;
//! one that was killed is undone by the next. Runs exclude each other by a lock on the folder.

use super::{failure::Failure, files};
use howflat::setup::hex;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::{
    collections::BTreeMap,
    fs::{self, File, TryLockError},
    io::{self, Write},
    path::{Path, PathBuf},
    thread,
    time::Duration,
};
use tempfile::NamedTempFile;

const MANIFEST: &str = "manifest.json";
const NEW: &str = ".howflat-new";
const OLD: &str = ".howflat-old";
/// The one file of ours that a user writes on.
const SHEET: &str = "sheet.csv";

/// What a report does to the one before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Earlier {
    /// Takes its place.
    Replaced,
    /// Lies beside it.
    Kept,
}

/// Tries whether a report can be written into a folder, and leaves nothing there.
pub fn try_folder(folder: &Path) -> Result<(), Failure> {
    let mut there = folder;
    while fs::symlink_metadata(there).is_err() {
        there = match there.parent() {
            Some(above) if above != Path::new("") => above,
            _ => Path::new("."),
        };
    }
    tempfile::tempfile_in(there)
        .map(|_| ())
        .map_err(|error| Failure::Use(format!("{}: cannot be written: {error}", folder.display())))
}

/// A file of its own in a folder, gone when dropped, with the permissions that the user's umask gives. It is locked as long as
/// its run lives, by which [`remove_temporary`] knows those of the dead.
pub fn temporary_in(folder: &Path) -> io::Result<NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".howflat-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    loop {
        let file = builder.tempfile_in(folder)?;
        // A file system without locks has none that could be taken for a dead one's.
        let _ = file.as_file().lock();
        // Between its making and its lock it could be taken for one.
        if file.path().exists() {
            return Ok(file);
        }
    }
}

/// Writes the files of a report into a folder, making it where it is missing.
///
/// # Errors
///
/// A file that stands in the way and is not ours to replace; a folder that another run is writing into, or that cannot
/// be written. The folder is then as it was.
pub fn write_report(folder: &Path, files: &[(String, Vec<u8>)], earlier: Earlier) -> Result<(), Failure> {
    let unwritable = |error: io::Error| Failure::Unwritable(folder.to_owned(), error);
    fs::create_dir_all(folder).map_err(unwritable)?;
    let lock = lock(folder)?;
    recover(folder).map_err(unwritable)?;
    let before = manifest(&folder.join(MANIFEST));
    for (name, bytes) in files {
        refuse_to_lose(&folder.join(name), bytes, before.get(name))?;
    }
    if folder.join(MANIFEST).exists() && before.is_empty() {
        return Err(in_the_way(&folder.join(MANIFEST)));
    }
    let mut digests: BTreeMap<String, String> =
        files.iter().map(|(name, bytes)| (name.clone(), digest(bytes))).collect();
    // What a user has changed since, or whoever filled in a sheet, is not ours any more.
    let is_ours = |name: &String| {
        let path = folder.join(name);
        !files::is_input(&path) && is_as_written(&path, before.get(name))
    };
    let stale: Vec<String> = before.keys().filter(|name| !digests.contains_key(*name)).cloned().collect();
    let leaving: Vec<String> = match earlier {
        Earlier::Replaced => stale.into_iter().filter(is_ours).collect(),
        Earlier::Kept => {
            digests.extend(stale.into_iter().filter_map(|name| before.get_key_value(&name)).map(owned));
            Vec::new()
        }
    };
    stage(folder, files, &digests).and_then(|()| switch(folder, files, &leaving)).map_err(unwritable)?;
    drop(lock);
    Ok(())
}

fn owned((name, digest): (&String, &String)) -> (String, String) {
    (name.clone(), digest.clone())
}

/// Refuses to write over a file that was read, or that nobody here wrote.
fn refuse_to_lose(path: &Path, bytes: &[u8], written_before: Option<&String>) -> Result<(), Failure> {
    let Ok(there) = fs::symlink_metadata(path) else { return Ok(()) };
    if files::is_input(path) {
        let why = "was read for this report, which would replace it; give another folder";
        return Err(Failure::Use(format!("{}: {why}", path.display())));
    }
    let is_the_same = || fs::read(path).is_ok_and(|now| now == bytes);
    if there.is_file() && (is_as_written(path, written_before) || is_the_same()) {
        return Ok(());
    }
    Err(in_the_way(path))
}

fn in_the_way(path: &Path) -> Failure {
    let why = if path.ends_with(SHEET) {
        "is not blank as it was printed: somebody has written on it"
    } else {
        "stands in the way, and no manifest says that a report left it so (those of early versions had none)"
    };
    Failure::Use(format!("{} {why}; move it away, or give another folder", path.display()))
}

/// Refuses a folder with a sheet that is not as it was printed: whoever filled it in would lose what was read.
pub fn refuse_to_lose_sheet(folder: &Path) -> Result<(), Failure> {
    let path = folder.join(SHEET);
    match manifest(&folder.join(MANIFEST)).get(SHEET) {
        printed if is_as_written(&path, printed) => Ok(()),
        _ if fs::symlink_metadata(&path).is_err() => Ok(()),
        _ => Err(in_the_way(&path)),
    }
}

/// Whether a file is one of those that a manifest beside it names, or that manifest.
pub fn is_of_a_report(path: &Path) -> bool {
    let known = manifest(&path.with_file_name(MANIFEST));
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    !known.is_empty() && (name == MANIFEST || known.contains_key(name.as_ref()))
}

/// Whether a file is one of ours, and as it was written.
fn is_as_written(path: &Path, written: Option<&String>) -> bool {
    written.is_some() && fs::read(path).is_ok_and(|bytes| written == Some(&digest(&bytes)))
}

/// Holds the folder until dropped.
fn lock(folder: &Path) -> Result<Option<File>, Failure> {
    let unwritable = |error: io::Error| Failure::Unwritable(folder.to_owned(), error);
    let Some(file) = lock_file(folder).map_err(unwritable)? else { return Ok(None) };
    // Writing takes a moment; so the other is waited for.
    for _ in 0..100 {
        match file.try_lock() {
            Ok(()) => return Ok(Some(file)),
            Err(TryLockError::WouldBlock) => thread::sleep(Duration::from_millis(100)),
            // A file system without locks.
            Err(TryLockError::Error(_)) => return Ok(None),
        }
    }
    let busy = io::Error::new(io::ErrorKind::ResourceBusy, "another run is writing there");
    Err(unwritable(busy))
}

/// The folder itself can be locked, so that no file is left behind.
#[cfg(unix)]
fn lock_file(folder: &Path) -> io::Result<Option<File>> {
    File::open(folder).map(Some)
}

#[cfg(not(unix))]
fn lock_file(_: &Path) -> io::Result<Option<File>> {
    Ok(None)
}

/// Writes a report and its manifest beside its place, and makes sure that they are on the disk.
fn stage(folder: &Path, files: &[(String, Vec<u8>)], digests: &BTreeMap<String, String>) -> io::Result<()> {
    let new = folder.join(NEW);
    let document = format!("{:#}\n", json!({ "report_of": "howflat", "files": digests }));
    let write = || {
        fs::create_dir(&new)?;
        for (name, bytes) in files
            .iter()
            .map(|(name, bytes)| (name.as_str(), bytes.as_slice()))
            .chain([(MANIFEST, document.as_bytes())])
        {
            let mut file = File::create_new(new.join(name))?;
            file.write_all(bytes)?;
            file.sync_all()?;
        }
        sync_folder(&new)
    };
    write().inspect_err(|_| {
        // The reason why it failed is what matters.
        let _ = fs::remove_dir_all(&new);
    })
}

/// Puts a staged report in the place of the earlier one; undoes it all if that fails.
fn switch(folder: &Path, files: &[(String, Vec<u8>)], leaving: &[String]) -> io::Result<()> {
    let [new, old] = [NEW, OLD].map(|name| folder.join(name));
    let switch = || {
        fs::create_dir(&old)?;
        let names = || files.iter().map(|(name, _)| name.as_str());
        for name in [MANIFEST].into_iter().chain(names()).chain(leaving.iter().map(String::as_str)) {
            move_if_there(&folder.join(name), &old.join(name))?;
        }
        sync_folder(folder)?;
        for name in names() {
            rename(&new.join(name), &folder.join(name))?;
        }
        sync_folder(folder)?;
        rename(&new.join(MANIFEST), &folder.join(MANIFEST))?;
        sync_folder(folder)
    };
    let switched = switch();
    let cleaned = recover(folder);
    switched.and(cleaned)
}

/// Ends what a run left half done: with the new manifest in place the report is whole, without it the earlier one comes
/// back.
fn recover(folder: &Path) -> io::Result<()> {
    let [new, old] = [NEW, OLD].map(|name| folder.join(name));
    let staged = manifest(&new.join(MANIFEST));
    let earlier = [&old, folder].map(|place| place.join(MANIFEST)).into_iter().find(|path| path.exists());
    let earlier = earlier.map_or_else(BTreeMap::new, |path| manifest(&path));
    if old.exists() && new.join(MANIFEST).exists() {
        // What somebody has written since is neither report's.
        for entry in fs::read_dir(&old)? {
            let name = entry?.file_name();
            let (path, of_ours) = (folder.join(&name), name.to_string_lossy());
            let known = [&staged, &earlier].into_iter().filter_map(|report| report.get(of_ours.as_ref()));
            if fs::symlink_metadata(&path).is_ok()
                && !known.into_iter().any(|by| is_as_written(&path, Some(by)))
            {
                let why = format!("{of_ours} was written on after a run that was killed; move it away");
                return Err(io::Error::new(io::ErrorKind::AlreadyExists, why));
            }
        }
        for (name, expected) in &staged {
            // What is not staged any more has been put in place; what both reports have alike is the earlier one's too.
            let path = folder.join(name);
            let put = || fs::read(&path).is_ok_and(|bytes| *expected == digest(&bytes));
            let is_of_both = earlier.get(name) == Some(expected);
            if !new.join(name).exists() && !old.join(name).exists() && !is_of_both && put() {
                fs::remove_file(path)?;
            }
        }
        let mut kept: Vec<PathBuf> =
            fs::read_dir(&old)?.map(|entry| entry.map(|e| e.path())).collect::<Result<_, _>>()?;
        kept.sort_by_key(|path| path.ends_with(MANIFEST));
        for path in kept {
            let name = path.file_name().unwrap_or_default();
            rename(&path, &folder.join(name))?;
        }
        sync_folder(folder)?;
    }
    for leftover in [&old, &new] {
        match fs::remove_dir_all(leftover) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
    }
    remove_temporary(folder)
}

/// Files that a killed run left, and not those that another is writing.
fn remove_temporary(folder: &Path) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name();
        let is_ours = name.to_str().is_some_and(|name| {
            name.strip_prefix(".howflat-")
                .is_some_and(|rest| rest.len() == 6 && rest.chars().all(char::is_alphanumeric))
        });
        if is_ours && entry.file_type()?.is_file() {
            let file = File::open(entry.path());
            if file.as_ref().is_ok_and(|file| file.try_lock().is_ok()) {
                fs::remove_file(entry.path())?;
            }
        }
    }
    Ok(())
}

fn move_if_there(from: &Path, to: &Path) -> io::Result<()> {
    match rename(from, to) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        moved => moved,
    }
}

fn rename(from: &Path, to: &Path) -> io::Result<()> {
    #[cfg(test)]
    tests::may_fail()?;
    fs::rename(from, to)
}

/// Names and digests of a manifest; none where there is no manifest of ours.
fn manifest(path: &Path) -> BTreeMap<String, String> {
    let read = || {
        let document: Value = serde_json::from_slice(&fs::read(path).ok()?).ok()?;
        let files = document.get("report_of").and(document.get("files"))?.as_object()?;
        let is_plain = |name: &str| Path::new(name).file_name().is_some_and(|file| file == name);
        Some(
            files
                .iter()
                .filter(|(name, _)| is_plain(name))
                .filter_map(|(name, digest)| Some((name.clone(), digest.as_str()?.to_owned())))
                .collect(),
        )
    };
    read().unwrap_or_default()
}

fn digest(bytes: &[u8]) -> String {
    hex(Sha256::digest(bytes))
}

/// Folders can be opened, and so made sure of, on Unix only.
#[cfg(unix)]
fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
fn sync_folder(_: &Path) -> io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::Cell;

    thread_local! {
        /// Before which rename something happens, and whether it is the end of the run or that rename's alone.
        static FAILS: Cell<(usize, bool)> = const { Cell::new((usize::MAX, false)) };
    }

    pub(super) fn may_fail() -> io::Result<()> {
        let (left, ends) = FAILS.get();
        let fails = left == 0;
        FAILS.set((if fails && !ends { usize::MAX } else { left.saturating_sub(1) }, ends));
        if fails { Err(io::Error::other("as the test wants it")) } else { Ok(()) }
    }

    #[test]
    fn what_another_run_is_writing_stays_and_what_a_dead_one_left_goes() {
        let folder = tempfile::tempdir().unwrap();
        let living = temporary_in(folder.path()).unwrap();
        let dead = folder.path().join(".howflat-aB3dE6");
        fs::write(&dead, "left").unwrap();
        write_report(folder.path(), &report(&[("a", "1")]), Earlier::Replaced).unwrap();
        assert!(living.path().exists() && !dead.exists());
        drop(living);
        write_report(folder.path(), &report(&[("a", "2")]), Earlier::Replaced).unwrap();
        assert_eq!(files(folder.path()).into_keys().collect::<Vec<_>>(), ["a", MANIFEST]);
    }

    type Files = BTreeMap<String, String>;
    type Report = Vec<(String, Vec<u8>)>;

    fn files(folder: &Path) -> Files {
        let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
        let name = |path: &Path| path.file_name().unwrap().to_string_lossy().into_owned();
        entries.map(|path| (name(&path), fs::read_to_string(&path).unwrap_or("a folder".into()))).collect()
    }

    fn report(of: &[(&str, &str)]) -> Report {
        of.iter().map(|(name, text)| ((*name).to_owned(), text.as_bytes().to_vec())).collect()
    }

    /// An earlier report with a note beside it, and what comes after; the folder as it is with the one and the other.
    fn desk() -> (tempfile::TempDir, Report, [Files; 2]) {
        let earlier = report(&[("a", "1"), ("b", "1"), ("both", "1"), ("stale", "1")]);
        let later = report(&[("a", "2"), ("b", "2"), ("both", "1"), ("new", "2")]);
        let write = |reports: &[&Report]| {
            let folder = tempfile::tempdir().unwrap();
            fs::write(folder.path().join("note"), "mine").unwrap();
            for report in reports {
                write_report(folder.path(), report, Earlier::Replaced).unwrap();
            }
            let files = files(folder.path());
            (folder, files)
        };
        let (folder, before) = write(&[&earlier]);
        let (_, after) = write(&[&earlier, &later]);
        assert!(!after.contains_key("stale") && after["note"] == "mine" && after["a"] == "2");
        (folder, later, [before, after])
    }

    #[test]
    fn a_rename_that_fails_leaves_the_earlier_report() {
        for at in 0.. {
            let (folder, later, [before, after]) = desk();
            FAILS.set((at, false));
            let written = write_report(folder.path(), &later, Earlier::Replaced);
            FAILS.set((usize::MAX, false));
            if written.is_ok() {
                assert!(at > 8 && files(folder.path()) == after);
                return;
            }
            assert_eq!(files(folder.path()), before, "rename {at}");
        }
    }

    /// Ended before any of its renames, a run leaves a folder that claims no report or a whole one, and that the next
    /// run makes whole.
    #[test]
    fn an_end_before_any_rename_is_mended_by_the_next_run() {
        for at in 0.. {
            let (folder, later, [before, after]) = desk();
            FAILS.set((at, true));
            let written = write_report(folder.path(), &later, Earlier::Replaced);
            FAILS.set((usize::MAX, false));
            if written.is_ok() {
                assert!(at > 8);
                return;
            }
            let known = manifest(&folder.path().join(MANIFEST));
            let is_there = |(name, expected): (&String, &String)| {
                fs::read(folder.path().join(name)).is_ok_and(|bytes| digest(&bytes) == *expected)
            };
            assert!(known.iter().all(is_there), "rename {at}: a mixture under a manifest");
            // Whoever writes under a name of the report in the meantime keeps what was written.
            let (mine, kept) = (folder.path().join("a"), fs::read(folder.path().join("a")).ok());
            fs::write(&mine, "filled in").unwrap();
            let _ = write_report(folder.path(), &later, Earlier::Replaced);
            assert_eq!(fs::read_to_string(&mine).unwrap(), "filled in", "rename {at}");
            match kept {
                Some(bytes) => fs::write(&mine, bytes).unwrap(),
                None => fs::remove_file(&mine).unwrap(),
            }
            recover(folder.path()).unwrap();
            assert!(
                [&before, &after].contains(&&files(folder.path())),
                "rename {at}: {:?}",
                files(folder.path())
            );
            write_report(folder.path(), &later, Earlier::Replaced).unwrap();
            assert_eq!(files(folder.path()), after, "rename {at}");
        }
    }
}
