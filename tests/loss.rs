//! Nothing is lost: not an input, not a filled-in sheet, not an earlier report, whatever happens while one is written.

use crate::common::program::{howflat, run};
use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
    process::{Command, Stdio},
    thread,
    time::{Duration, Instant},
};

const SETUP: &str = r#"{
  "plate": { "length": "24 in", "width": "18 in" },
  "stand": { "feet": { "front_apart": "5 in", "front_to_rear": "6 in" } },
  "indicator": { "graduation": "0.0001 in" }
}
"#;
const READINGS: &str = "target,reading,remark\nfront right,0,\nmiddle,-3.4,after lunch\nback right,2.5,\n";

fn desk() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let setup = folder.path().join("mine.json");
    fs::write(&setup, SETUP).expect("a setup");
    (folder, setup)
}

fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry"));
    let files = entries.filter(|entry| entry.file_type().expect("a type").is_file());
    files
        .map(|entry| {
            let name = entry.file_name().into_string().expect("a name");
            (name, fs::read(entry.path()).expect("a file"))
        })
        .collect()
}

/// Whether a folder's manifest names exactly what lies there.
fn is_whole(folder: &Path) -> bool {
    use sha2::{Digest, Sha256};
    let files = contents(folder);
    let Some(manifest) = files.get("manifest.json") else { return false };
    let manifest: serde_json::Value = serde_json::from_slice(manifest).expect("JSON");
    let named = manifest["files"].as_object().expect("names");
    let digest = |bytes: &[u8]| Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect::<String>();
    named.iter().all(|(name, expected)| files.get(name).is_some_and(|bytes| digest(bytes) == *expected))
        && files.keys().all(|name| name == "manifest.json" || named.contains_key(name))
}

fn lesson(setup: &Path, out: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_howflat"));
    command.arg("lesson").arg(setup).arg("--out").arg(out);
    command.stdout(Stdio::null()).stderr(Stdio::null());
    command
}

/// What somebody else wrote under a name of ours stays, and so does what was read, under whatever name.
#[test]
fn no_output_replaces_what_was_read_or_what_others_wrote() {
    let (folder, setup) = desk();
    let own = folder.path().join("step.csv");
    for name in ["report.md", "result.json"] {
        let path = folder.path().join(name);
        fs::write(&path, "mine\n").expect("a file");
        let run = run(howflat().args(["lesson"]).arg(&setup).arg("--out").arg(folder.path()));
        assert_eq!(run.code, 2, "{}", run.err);
        assert!(run.err.contains(name) && run.err.contains("stands in the way"), "{}", run.err);
        assert!(run.out.contains("dip"), "the result is printed all the same");
        assert_eq!(fs::read_to_string(&path).expect("a file"), "mine\n");
        fs::remove_file(&path).expect("its end");
    }
    // A setup that lies in the report's folder under a report's name, and one that a link of that name leads to.
    let report = folder.path().join("result.json");
    fs::write(&report, SETUP).expect("a setup");
    let run_here = |input: &Path| run(howflat().arg("lesson").arg(input).arg("--out").arg(folder.path()));
    let read = run_here(&report);
    assert_eq!((read.code, read.err.contains("was read for this report")), (2, true), "{}", read.err);
    #[cfg(unix)]
    {
        fs::remove_file(&report).expect("its end");
        std::os::unix::fs::symlink(&setup, &report).expect("a link");
        let linked = run_here(&setup);
        assert_eq!(
            (linked.code, linked.err.contains("was read for this report")),
            (2, true),
            "{}",
            linked.err
        );
    }
    assert_eq!(fs::read_to_string(&setup).expect("the setup"), SETUP);
    assert!(!own.exists() && !folder.path().join("report.html").exists(), "nothing half-written");
}

/// A file that the setup names is an input as well, and so is one that the trials are to be written into.
#[test]
fn a_map_of_the_setup_is_never_replaced() {
    const MAP: &str = "x (in),y (in),z (um)\n1,1,0\n23,1,1\n1,17,1\n23,17,0\n";
    let (folder, setup) = desk();
    let map = folder.path().join("limits.csv");
    let with_map = SETUP.replace("\"18 in\"", "\"18 in\", \"grade\": \"US B\"");
    let with_map = with_map.replacen(
        '{',
        r#"{ "wear": { "map": { "file": "limits.csv", "standard_uncertainty": "0.3 um" } },"#,
        1,
    );
    fs::write(&setup, &with_map).expect("a setup");
    fs::write(&map, MAP).expect("a map");
    let simulate = |option: &str, path: &Path| {
        let mut command = howflat();
        command.arg("simulate").arg(&setup).args(["--trials", "1000", "--judged", "0", option]).arg(path);
        run(&mut command)
    };
    for (option, path) in [("--out", folder.path()), ("--trials-csv", &map), ("--trials-csv", &setup)] {
        let run = simulate(option, path);
        assert!(run.code == 2 && run.err.contains("was read for this"), "{option}: {} {}", run.code, run.err);
        assert_eq!(fs::read_to_string(&map).expect("the map"), MAP);
        assert_eq!(fs::read_to_string(&setup).expect("the setup"), with_map);
    }
    // Tried before anything is computed.
    assert!(simulate("--trials-csv", folder.path()).out.is_empty());
    assert_eq!(simulate("--trials-csv", &folder.path().join("trials.csv")).code, 0);
}

/// A report and the table of its trials are written together or not at all.
#[test]
fn a_report_that_cannot_be_written_keeps_the_trials_back() {
    let (folder, setup) = desk();
    let (out, trials) = (folder.path().join("out"), folder.path().join("trials.csv"));
    fs::create_dir(&out).expect("a folder");
    fs::write(out.join("report.md"), "mine\n").expect("a file");
    fs::write(&trials, "of an earlier run\n").expect("a file");
    let before = contents(folder.path());
    let simulate = || {
        let mut command = howflat();
        command.arg("simulate").arg(&setup).args(["--trials", "1000", "--judged", "0"]);
        run(command.arg("--out").arg(&out).arg("--trials-csv").arg(&trials))
    };
    let refused = simulate();
    assert!(refused.code == 2 && refused.err.contains("stands in the way"), "{}", refused.err);
    assert!(refused.out.contains("In 95 %"), "the result is printed all the same");
    assert!(contents(folder.path()) == before, "the trials were written without their report");
    fs::remove_file(out.join("report.md")).expect("its end");
    let written = simulate();
    assert_eq!(written.code, 0, "{}", written.err);
    assert!(is_whole(&out));
    let table = fs::read_to_string(&trials).expect("the trials");
    assert_eq!(table.lines().count(), 1001, "a line for each trial, and their names");
}

/// A folder from before there were manifests cannot be told from one of the user's, and says so.
#[test]
fn an_older_report_is_told_apart() {
    let (folder, setup) = desk();
    let out = folder.path().join("report");
    assert!(lesson(&setup, &out).status().expect("a run").success());
    fs::remove_file(out.join("manifest.json")).expect("its end");
    assert!(lesson(&setup, &out).status().expect("a run").success(), "the same files again lose nothing");
    fs::remove_file(out.join("manifest.json")).expect("its end");
    fs::write(out.join("report.md"), "of an older version\n").expect("a file");
    let before = contents(&out);
    let run = run(howflat().arg("lesson").arg(&setup).arg("--out").arg(&out));
    assert!(run.code == 2 && run.err.contains("early versions"), "{} {}", run.code, run.err);
    assert!(contents(&out) == before);
}

#[test]
fn a_sheet_is_overwritten_only_when_it_is_proven_blank() {
    let (folder, setup) = desk();
    let out = folder.path().join("sheet");
    let sheet = || run(howflat().arg("sheet").arg(&setup).arg("--out").arg(&out));
    assert_eq!((sheet().code, sheet().code), (0, 0), "a blank one is written anew");
    let path = out.join("sheet.csv");
    let blank = fs::read_to_string(&path).expect("a sheet");
    let row = blank.lines().find(|line| line.starts_with("front left,middle,")).expect("a row").to_owned();
    let with = |cells: &str| {
        let place = row.split(',').take(3).collect::<Vec<_>>().join(",");
        blank.replace(&row, &format!("{place},{cells}")).into_bytes()
    };
    let utf_16: Vec<u8> = [0xFF, 0xFE].into_iter().chain(blank.bytes().flat_map(|b| [b, 0])).collect();
    let large = [blank.as_bytes(), &vec![b'\n'; 5 << 20], b"middle,1.5\n"].concat();
    for kept in [with("1.5,,"), with(",08:30,"), with(",,dusty"), utf_16, b"\xB5m".to_vec(), large] {
        fs::write(&path, &kept).expect("a sheet");
        let run = sheet();
        assert_eq!((run.code, run.err.contains("is not blank")), (2, true), "{}", run.err);
        assert!(fs::read(&path).expect("the sheet") == kept);
    }
}

/// A report that has fewer files takes the rest of the earlier one with it, and nothing else.
#[test]
fn stale_files_of_ours_go_and_those_of_others_stay() {
    let (folder, setup) = desk();
    let out = folder.path().join("report");
    let graded = folder.path().join("graded.json");
    fs::write(&graded, SETUP.replace("\"18 in\"", "\"18 in\", \"grade\": \"US B\"")).expect("a setup");
    let simulate = |setup: &Path| {
        let mut command = howflat();
        command.arg("simulate").arg(setup).args(["--trials", "1000", "--judged", "0", "--out"]).arg(&out);
        let run = run(&mut command);
        assert_eq!(run.code, 0, "{}", run.err);
    };
    simulate(&graded);
    assert!(out.join("limits.csv").exists() && is_whole(&out));
    fs::write(out.join("notes.txt"), "mine").expect("a file");
    simulate(&setup);
    assert!(!out.join("limits.csv").exists(), "limits of a grade that is gone");
    assert_eq!(fs::read_to_string(out.join("notes.txt")).expect("a file"), "mine");
    fs::remove_file(out.join("notes.txt")).expect("its end");
    assert!(is_whole(&out));
}

/// Killed at any moment, the folder holds a whole report, or says that it holds none, and the next run mends it.
#[cfg(unix)]
#[test]
fn a_killed_run_leaves_no_mixture_that_passes_for_a_report() {
    let (folder, setup) = desk();
    let metric = folder.path().join("metric.json");
    fs::write(&metric, SETUP.replace("24 in", "610 mm").replace("18 in", "457 mm")).expect("a setup");
    let out = folder.path().join("report");
    assert!(lesson(&metric, &out).status().expect("a run").success());
    let of_metric = contents(&out);
    let begun = Instant::now();
    assert!(lesson(&setup, &out).status().expect("a run").success());
    let whole = begun.elapsed();
    let files_before = contents(&out);
    let mut struck = 0;
    // Until enough were struck in the midst of it, and not before or after.
    for i in 0..200 {
        if struck == 12 {
            break;
        }
        let mut child = lesson(if i % 2 == 0 { &metric } else { &setup }, &out).spawn().expect("a run");
        // As soon as something is being written, then a little later each time.
        let begun = Instant::now();
        while !out.join(".howflat-new").exists() && begun.elapsed() < 4 * whole {
            thread::sleep(Duration::from_micros(50));
        }
        thread::sleep(Duration::from_micros(400 * (i % 24)));
        child.kill().expect("a kill");
        child.wait().expect("an end");
        struck += u32::from(out.join(".howflat-new").exists() || out.join(".howflat-old").exists());
        if out.join("manifest.json").exists() {
            let is_one = [&of_metric, &files_before].contains(&&contents(&out));
            assert!(is_one && is_whole(&out), "killed run {i} left a mixture under a manifest");
        }
    }
    assert_eq!(struck, 12, "so many runs were killed while they wrote");
    assert!(lesson(&setup, &out).status().expect("a run").success());
    assert!(contents(&out) == files_before && is_whole(&out));
    let left: Vec<_> =
        fs::read_dir(&out).expect("a folder").map(|e| e.expect("an entry").file_name()).collect();
    assert!(!left.iter().any(|name| name.to_string_lossy().starts_with('.')), "{left:?}");
}

/// Two runs into one folder come one after the other.
#[test]
fn two_at_once_exclude_each_other() {
    let (folder, setup) = desk();
    let out = folder.path().join("report");
    let both: Vec<_> = (0..4).map(|_| lesson(&setup, &out).spawn().expect("a run")).collect();
    for mut child in both {
        assert!(child.wait().expect("an end").success());
    }
    assert!(is_whole(&out));
}

/// A place that cannot be written is the user's to mend, and is found before anything is computed.
#[test]
fn the_place_of_a_report_is_tried_first() {
    let (_folder, setup) = desk();
    let begun = Instant::now();
    let run = run(howflat()
        .arg("simulate")
        .arg(&setup)
        .args(["--trials", "20000000", "--out"])
        .arg(setup.join("report")));
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    assert!(run.err.contains("cannot be written") && begun.elapsed().as_secs() < 5, "{}", run.err);
}

/// The table of a judgement's readings is a readings file: numbers as they were typed, and none of ours over the user's.
#[test]
fn readings_are_kept_as_they_were_typed() {
    let (folder, setup) = desk();
    let readings = folder.path().join("readings.csv");
    fs::write(&readings, READINGS).expect("readings");
    let run = run(howflat().arg("judge").arg(&setup).arg(&readings).arg("--out").arg(folder.path()));
    assert!(run.code < 2, "{}", run.err);
    assert_eq!(fs::read_to_string(&readings).expect("readings"), READINGS);
    let table = fs::read_to_string(folder.path().join("judged.csv")).expect("a table");
    assert!(table.contains(",-3.4,") && table.contains("after lunch"), "{table}");
}

/// No space, no output, no one to tell: documented exit codes, and no panic's.
#[cfg(target_os = "linux")]
#[test]
fn full_and_closed_outputs_have_their_codes() {
    let (_folder, setup) = desk();
    let full = || fs::OpenOptions::new().write(true).open("/dev/full").expect("a full disk");
    let run = |arguments: &[&str], out: Stdio, err: Stdio| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_howflat"));
        command.args(arguments).stdin(Stdio::null()).stdout(out).stderr(err);
        command.status().expect("a run").code()
    };
    let setup = setup.to_str().expect("a plain name");
    assert_eq!(run(&["lesson", setup], full().into(), Stdio::null()), Some(3));
    assert_eq!(run(&["--help"], full().into(), Stdio::null()), Some(3));
    assert_eq!(run(&["lesson", "none.json"], Stdio::null(), full().into()), Some(2));
    assert_eq!(run(&["lesson"], Stdio::null(), full().into()), Some(2));
    assert_eq!(run(&["new"], Stdio::null(), full().into()), Some(2));
}

/// The shell's limits: no file may grow, none may be opened.
#[cfg(target_os = "linux")]
#[test]
fn a_disk_that_fills_and_too_few_descriptors_leave_the_earlier_report() {
    let (folder, setup) = desk();
    let out = folder.path().join("report");
    assert!(lesson(&setup, &out).status().expect("a run").success());
    let before = contents(&out);
    let other = folder.path().join("other.json");
    fs::write(&other, SETUP.replace("24 in", "30 in")).expect("a setup");
    let limited = |limit: &str| {
        let script = format!("{limit}; trap '' XFSZ; exec \"$0\" lesson \"$1\" --out \"$2\"");
        let mut command = Command::new("sh");
        command.args(["-c", &script, env!("CARGO_BIN_EXE_howflat")]).arg(&other).arg(&out);
        command.stdout(Stdio::null()).stderr(Stdio::null()).status().expect("a run").code()
    };
    // Blocks of 512 bytes or of 1 KiB, as the shell counts: in the midst of the report's files either way.
    assert_eq!(limited("ulimit -f 8"), Some(3));
    assert!(contents(&out) == before, "a report that could not be written touched the earlier one");
    assert!(matches!(limited("ulimit -n 4"), Some(2 | 3)));
    assert!(contents(&out) == before && is_whole(&out));
}

#[cfg(unix)]
#[test]
fn report_files_follow_the_umask() {
    use std::os::unix::fs::PermissionsExt;
    let (folder, setup) = desk();
    let out = folder.path().join("report");
    let script = "umask 077; exec \"$0\" sheet \"$1\" --out \"$2\"";
    let mut command = Command::new("sh");
    command.args(["-c", script, env!("CARGO_BIN_EXE_howflat")]).arg(&setup).arg(&out);
    assert!(command.status().expect("a run").success());
    for name in ["sheet.csv", "sheet.html", "manifest.json"] {
        let mode = fs::metadata(out.join(name)).expect("a file").permissions().mode();
        assert_eq!(mode & 0o777, 0o600, "{name}");
    }
}

/// Whatever readings and history are shipped, with whatever setup: read, or refused as bad input.
#[test]
fn every_shipped_file_is_read_or_refused_with_every_setup() {
    let budgets = Path::new(env!("CARGO_MANIFEST_DIR")).join("budgets");
    let entries = fs::read_dir(&budgets).expect("the setups");
    let files: Vec<PathBuf> = entries.map(|entry| entry.expect("one").path()).collect();
    let of_kind = |end: &str| -> Vec<&PathBuf> {
        let found: Vec<_> = files.iter().filter(|path| path.to_string_lossy().ends_with(end)).collect();
        assert!(found.len() > 1, "{end}");
        found
    };
    for setup in of_kind(".json") {
        for (command, end) in [("judge", ".csv"), ("recall", ".history.csv")] {
            for file in of_kind(end) {
                let run = run(howflat().arg(command).arg(setup).arg(file).arg("--json"));
                let what = format!("{command} {} {}: {}", setup.display(), file.display(), run.err);
                // A recall whose plates are not all sound says what it can of the others, and what is wrong.
                assert!(run.code == 2 || !run.out.is_empty(), "{what}");
                assert_eq!(run.code == 2, !run.err.is_empty(), "{what}");
                assert!(run.code < 3 && !run.err.contains("mistake"), "{what}");
            }
        }
    }
}
