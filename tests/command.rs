//! The program itself: exit codes, messages, standard input and output, files.

use crate::common::program::{howflat, run};
use assert_cmd::Command;
use std::{
    fs,
    path::{Path, PathBuf},
};

/// The ten-line file of a beginner.
const BEGINNER: &str = r#"{
  "plate": { "length": "36 in", "width": "24 in", "grade": "US A" },
  "stand": { "feet": { "front_apart": "5 in", "front_to_rear": "6 in" } },
  "indicator": { "graduation": "0.0001 in" }
}
"#;

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

fn file(folder: &Path, name: &str, text: &str) -> PathBuf {
    let path = folder.join(name);
    fs::write(&path, text).expect("a file");
    path
}

fn simulate(setup: &Path) -> Command {
    let mut command = howflat();
    command.arg("simulate").arg(setup).args(["--trials", "2000"]);
    command
}

#[test]
fn a_beginners_file_gets_its_answer_first() {
    let folder = folder();
    let run = run(&mut simulate(&file(folder.path(), "mine.json", BEGINNER)));
    assert_eq!((run.code, run.err.as_str()), (0, ""));
    let mut lines = run.out.lines();
    assert_eq!(lines.next(), Some("36 x 24 in granite plate, parked stand"));
    assert!(
        lines.nth(1).is_some_and(|line| line.starts_with("In 95 % of such checks the spread reads ")),
        "{}",
        run.out
    );
    assert!(run.out.contains("This is not a calibration."));
    assert!(run.out.contains("2000 trials"));
}

#[test]
fn standard_input_and_json() {
    let run = run(howflat().args(["simulate", "-", "--trials", "2000", "--json"]).write_stdin(BEGINNER));
    assert_eq!((run.code, run.err.as_str()), (0, ""));
    let json: serde_json::Value = serde_json::from_str(&run.out).expect("one JSON document and nothing else");
    for field in [
        "unit",
        "trials",
        "seed",
        "setup_digest",
        "version",
        "true_flatness",
        "readings",
        "shares",
        "limits",
        "budget",
    ] {
        assert!(json.get(field).is_some(), "{field} is missing");
    }
    for way in ["spread", "levelled", "fitted"] {
        for part in ["result", "error"] {
            for field in [
                "mean",
                "standard_deviation",
                "interval_symmetric",
                "interval_shortest",
                "coverage_probability",
            ] {
                assert!(json["readings"][way][part].get(field).is_some(), "{way}.{part}.{field} is missing");
            }
        }
    }
    for field in ["tolerance", "consumer_risk", "accept_at_or_below", "out_at_or_above"] {
        assert!(json["limits"].get(field).is_some(), "limits.{field} is missing");
    }
    assert_eq!((&json["unit"], &json["trials"], &json["seed"]), (&"tenth".into(), &2000.into(), &1.into()));
}

#[test]
fn the_document_keeps_its_own_schema() {
    let schema = run(howflat().args(["schema", "simulate"]));
    let schema: serde_json::Value = serde_json::from_str(&schema.out).expect("a schema");
    let document = run(howflat().args(["simulate", "-", "--trials", "1000", "--json"]).write_stdin(BEGINNER));
    let document: serde_json::Value = serde_json::from_str(&document.out).expect("a document");
    let required = schema["required"].as_array().expect("required fields");
    for field in required {
        assert!(document.get(field.as_str().expect("a name")).is_some(), "{field}");
    }
    for field in document.as_object().expect("an object").keys() {
        assert!(schema["properties"].get(field).is_some(), "{field} is not in the schema");
    }
    assert_eq!(run(howflat().arg("schema")).code, 0);
}

#[test]
fn the_numbers_do_not_depend_on_threads_but_on_the_seed() {
    let folder = folder();
    let setup = file(folder.path(), "mine.json", BEGINNER);
    let with = |arguments: &[&str]| run(simulate(&setup).arg("--json").args(arguments)).out;
    let one = with(&["--threads", "1"]);
    assert_eq!(one, with(&["--threads", "2"]));
    assert_eq!(one, with(&["--threads", "7"]));
    assert_ne!(one, with(&["--seed", "2"]));
}

#[test]
fn all_faults_at_once_with_line_and_what_to_write() {
    let folder = folder();
    let setup = file(
        folder.path(),
        "bad.json",
        r#"{
  "plate": { "lenght": "36 in", "width": "24" },
  "stand": { "feet": { "front_apart": "5 in", "front_to_rear": "6 in" } },
  "indicator": { "graduation": "0.0001 furlong" }
}"#,
    );
    let run = run(&mut simulate(&setup));
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    let faults: Vec<&str> = run.err.lines().collect();
    assert_eq!(faults.len(), 4, "{}", run.err);
    assert!(faults.iter().all(|fault| fault.contains("bad.json: line ")), "{}", run.err);
    for told in ["plate.lenght", "plate.length", "plate.width", "indicator.graduation", "furlong"] {
        assert!(run.err.contains(told), "{told} in {}", run.err);
    }
}

#[test]
fn bad_use_is_code_2() {
    let folder = folder();
    let setup = file(folder.path(), "mine.json", BEGINNER);
    let missing = run(&mut simulate(&folder.path().join("none.json")));
    assert_eq!(missing.code, 2);
    assert!(missing.err.contains("none.json: cannot be read"), "{}", missing.err);
    for arguments in [["--trials", "7"], ["--trials", "many"], ["--threads", "0"], ["--seed", "-1"]] {
        let run = run(howflat().arg("simulate").arg(&setup).args(arguments));
        assert_eq!((run.code, run.out.as_str()), (2, ""), "{arguments:?}");
    }
    assert_eq!(run(&mut howflat()).code, 2);
}

#[test]
fn a_report_is_written_whole_and_readable() {
    let folder = folder();
    let setup = file(folder.path(), "mine.json", BEGINNER);
    let out = folder.path().join("deep/report");
    let run = run(simulate(&setup).arg("--out").arg(&out));
    let said = format!("open {}", out.join("report.html").display());
    assert!(run.code == 0 && run.err.trim_end().ends_with(&said), "{}", run.err);
    let mut names: Vec<String> = fs::read_dir(&out)
        .expect("the folder")
        .map(|e| e.expect("an entry").file_name().into_string().expect("a name"))
        .collect();
    names.sort();
    for name in ["budget.csv", "budget.md", "histogram.png", "histogram.svg", "plate.svg", "result.json"] {
        assert!(names.iter().any(|n| n == name), "{name} is missing from {names:?}");
    }
    assert!(names.iter().all(|name| !name.starts_with('.')), "nothing temporary is left: {names:?}");
    assert!(fs::read(out.join("histogram.png")).expect("a picture").starts_with(b"\x89PNG"));
    let json: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(out.join("result.json")).expect("a document"))
            .expect("JSON");
    let csv = fs::read_to_string(out.join("budget.csv")).expect("a table");
    assert_eq!(csv.lines().count(), 1 + json["budget"]["inputs"].as_array().expect("inputs").len());
}

/// A folder that cannot be written, and a bad setup, leave an earlier report as it was.
#[test]
fn a_failed_run_never_touches_an_earlier_report() {
    let folder = folder();
    let setup = file(folder.path(), "mine.json", BEGINNER);
    let out = folder.path().join("report");
    assert_eq!(run(simulate(&setup).arg("--out").arg(&out)).code, 0);
    let before = fs::read(out.join("result.json")).expect("a document");
    let bad = file(folder.path(), "bad.json", "{}");
    assert_eq!(run(simulate(&bad).arg("--out").arg(&out)).code, 2);
    // A folder where a file should go: the last file cannot be put in place.
    let blocked = folder.path().join("mine.json/report");
    assert_eq!(run(simulate(&setup).arg("--out").arg(&blocked)).code, 3);
    assert_eq!(fs::read(out.join("result.json")).expect("a document"), before);
}

#[test]
fn new_writes_a_setup_that_simulates_and_never_overwrites() {
    let folder = folder();
    let path = folder.path().join("new.json");
    let new = |extra: &[&str]| {
        run(howflat()
            .arg("new")
            .arg(&path)
            .args([
                "--length",
                "610 mm",
                "--width",
                "457 mm",
                "--front-apart",
                "90 mm",
                "--front-to-rear",
                "100 mm",
            ])
            .args(["--graduation", "0.002 mm"])
            .args(extra))
    };
    let first = new(&["--grade", "ISO 8512 grade 1", "--stand", "turned"]);
    assert_eq!(first.code, 0, "{}", first.err);
    assert_eq!(run(&mut simulate(&path)).code, 0);
    let again = new(&[]);
    assert_eq!(again.code, 2);
    assert!(again.err.contains("exists already"), "{}", again.err);
    // Before a single question: answers given to a file that cannot be written would be lost.
    let hasty = run(howflat().arg("new").arg(&path));
    assert!(hasty.code == 2 && hasty.err.contains("exists already"), "{}", hasty.err);
    let incomplete = run(howflat().args(["new", "--length", "610 mm"]));
    assert_eq!((incomplete.code, incomplete.out.as_str()), (2, ""));
    assert!(incomplete.err.contains("--width is missing"), "{}", incomplete.err);
    let nonsense = run(howflat().args([
        "new",
        "--length",
        "610",
        "--width",
        "457 mm",
        "--front-apart",
        "90 mm",
        "--front-to-rear",
        "100 mm",
        "--graduation",
        "0.002 mm",
    ]));
    assert_eq!(nonsense.code, 2);
    assert!(nonsense.err.contains("plate.length"), "{}", nonsense.err);
}

/// What a user typed acts on no terminal and in no file.
#[test]
fn a_hostile_title_is_inert_everywhere() {
    let folder = folder();
    let title = "x<script>alert(1)</script>]]>\\u001b[31m\\u202eevil`|";
    let text = BEGINNER.replacen('{', &format!("{{ \"title\": \"{title}\","), 1);
    let setup = file(folder.path(), "mine.json", &text);
    let out = folder.path().join("report");
    let run = run(simulate(&setup).arg("--out").arg(&out));
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(!run.out.contains('\u{1b}') && !run.out.contains('\u{202e}'));
    for name in ["report.md", "histogram.svg", "plate.svg", "budget.md"] {
        let text = fs::read_to_string(out.join(name)).expect("a file");
        assert!(!text.contains("<script") && !text.contains('\u{1b}'), "{name}");
    }
}

#[test]
fn a_closed_pipe_is_no_failure() {
    let folder = folder();
    let setup = file(folder.path(), "mine.json", BEGINNER);
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_howflat"))
        .arg("simulate")
        .arg(&setup)
        .args(["--trials", "1000"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .expect("a program that runs");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("an end");
    assert_eq!((output.status.code(), output.stderr.as_slice()), (Some(0), b"".as_slice()));
}
