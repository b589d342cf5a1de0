//! The program itself: exit codes, messages, standard input and output, files.

use crate::common::program::{BEGINNER, howflat, run};
use crate::common::schema::misfits;
use assert_cmd::Command;
use std::{
    fs,
    path::{Path, PathBuf},
};

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
    assert_eq!(misfits(&document, &schema), Vec::<String>::new());
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
    assert_eq!(faults.len(), 3, "{}", run.err);
    assert!(faults.iter().all(|fault| fault.contains("bad.json: line ")), "{}", run.err);
    for told in ["plate.lenght", "write \"length\"", "plate.width", "indicator.graduation", "furlong"] {
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
    for arguments in [
        ["--trials", "7"],
        ["--trials", "many"],
        ["--trials", "-5"],
        ["--threads", "0"],
        ["--threads", "-1"],
        ["--judged", "1"],
        ["--seed", "-1"],
    ] {
        let run = run(howflat().arg("simulate").arg(&setup).args(arguments));
        assert_eq!((run.code, run.out.as_str()), (2, ""), "{arguments:?}");
        assert!(run.err.contains(arguments[1]) && !run.err.contains("-- -"), "{}", run.err);
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
    // A file where the folder should be made: known before anything is computed.
    let blocked = folder.path().join("mine.json/report");
    let refused = run(simulate(&setup).arg("--out").arg(&blocked));
    assert_eq!((refused.code, refused.out.as_str()), (2, ""), "{}", refused.err);
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

/// Readings so many that their sums are taken in parts, on the threads that were asked for.
#[test]
fn very_many_readings_work_at_any_number_of_threads() {
    let readings: Vec<String> = (0..9000).map(|i| format!("{}", 10 + i % 7)).collect();
    let model = format!(
        r#"{{ "title": "many", "measurands": [{{ "name": "y", "unit": "µm", "formula": "x" }}],
             "inputs": [{{ "name": "x", "unit": "µm", "readings": [{}] }}] }}"#,
        readings.join(",")
    );
    let budget = |threads: &str| {
        run(howflat()
            .args(["budget", "-", "--json", "--no-trials", "--threads", threads])
            .write_stdin(model.clone()))
    };
    let one = budget("1");
    assert_eq!((one.code, one.err.as_str()), (0, ""));
    assert_eq!(budget("2").out, one.out);
    let json: serde_json::Value = serde_json::from_str(&one.out).expect("JSON");
    // 10 to 16 in turn, 1286 times each but the last two of the 9000: their mean, from the sum by hand.
    let sum: u32 = (0..9000).map(|i| 10 + i % 7).sum();
    let estimate =
        json["law_of_propagation"]["estimate"].as_f64().or(json["estimate"].as_f64()).expect("a mean");
    assert!((estimate - f64::from(sum) / 9000.0).abs() < 1e-12);
}

/// What cannot be computed with is refused: no NaN, no infinity, no number that is missing, and no factor of many digits.
#[test]
fn numbers_without_bounds_are_refused() {
    let model = |formula: &str, x: &str| {
        format!(
            r#"{{ "title": "far", "measurands": [{{ "name": "y", "formula": "{formula}" }}],
                 "inputs": [{{ "name": "x", {x} }}] }}"#
        )
    };
    const LARGE: &str = "measurands[0].formula is without a value at the estimates (formula of y, column 1: the result is too large";
    for (formula, x, said) in [
        ("x*x", r#""estimate": 1e200, "standard_uncertainty": 1e200"#, LARGE),
        (
            "x",
            r#""estimate": 1, "standard_uncertainty": 1e308"#,
            "the result's answer is too large or too small to compute with",
        ),
        ("exp(x)", r#""estimate": 800, "standard_uncertainty": 1"#, LARGE),
        ("1/x", r#""estimate": 0, "standard_uncertainty": 1"#, "column 1: division by zero"),
        ("x", r#""readings": [1e308, -1e308]"#, "inputs[0].readings is an input whose scale is inf"),
        (
            "x",
            r#""estimate": 1, "standard_uncertainty": 0.1, "degrees_of_freedom": 0.01"#,
            "inputs[0].degrees_of_freedom is 0.01, but must be a number from 0.5",
        ),
    ] {
        for option in ["--json", "--full"] {
            let run = run(howflat()
                .args(["budget", "-", "--trials", "1000", option])
                .write_stdin(model(formula, x)));
            assert_eq!((run.code, run.out.as_str()), (2, ""), "{formula} {x}: {}", run.err);
            // For this reason and for no other.
            assert!(run.err.contains(said) && run.err.lines().count() == 1, "{formula} {x}: {}", run.err);
        }
    }
    // What is large and can be computed with is: a square has twice the relative uncertainty.
    let run = run(howflat()
        .args(["budget", "-", "--trials", "1000", "--json"])
        .write_stdin(model("x*x", r#""estimate": 1e60, "standard_uncertainty": 1e57"#)));
    assert_eq!(run.code, 0, "{}", run.err);
    let json: serde_json::Value = serde_json::from_str(&run.out).expect("JSON");
    let u = json["combined_standard_uncertainty"].as_f64().expect("a number");
    assert!((u / 2e117 - 1.0).abs() < 1e-9, "{u}");
}

/// What a user calls `NaN` or `inf` is a name, and no lack of a number.
#[test]
fn names_are_no_numbers() {
    let model = r#"{ "measurands": [{ "name": "NaN", "formula": "inf + 1" }],
                     "inputs": [{ "name": "inf", "estimate": 1, "standard_uncertainty": 1 }] }"#;
    for option in ["--json", "--full"] {
        let run = run(howflat().args(["budget", "-", "--trials", "1000", option]).write_stdin(model));
        assert_eq!(run.code, 0, "{}", run.err);
        assert!(run.out.contains("NaN"));
    }
}

/// The first fifty faults and how many more there are, each on one line of its own and no longer than can be read.
#[test]
fn faults_are_capped_and_shortened() {
    let folder = folder();
    let setup = file(folder.path(), "mine.json", BEGINNER);
    let long = "very ".repeat(1000);
    let rows: String = (0..120).map(|i| format!("middle,\"{long}\n{i}\"\n")).collect();
    let readings = file(folder.path(), "readings.csv", &format!("target,reading\n{rows}"));
    let run = run(howflat().arg("judge").arg(&setup).arg(&readings));
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    let lines: Vec<&str> = run.err.lines().collect();
    assert_eq!(lines.len(), 51);
    assert!(lines[50].ends_with("and 70 more"), "{}", lines[50]);
    assert!(lines.iter().all(|line| line.contains("readings.csv: ") && line.chars().count() < 400));
}

/// Whatever a path, a title or a cell holds, nothing of it acts on the terminal.
#[test]
fn nothing_that_acts_reaches_a_terminal() {
    let folder = folder();
    let hostile = "\u{1b}]0;x\u{7}\u{9b}2J\u{202e}\u{2066}";
    let setup = file(folder.path(), &format!("{hostile}.json"), &BEGINNER.replace("US A", hostile));
    let titled = BEGINNER.replacen('{', &format!(r#"{{ "title": "\u001b[2J{}","#, "\\u202e"), 1);
    let titled = file(folder.path(), &format!("t{hostile}.json"), &titled);
    let readings = file(folder.path(), "r.csv", &format!("target,reading\nmiddle,{hostile}\n{hostile},1\n"));
    let runs = [
        run(&mut simulate(&setup)),
        run(&mut simulate(&titled)),
        run(howflat().args(["simulate", hostile])),
        run(howflat().args(["simulate", "x", &format!("--{hostile}")])),
        run(howflat().arg("lesson").arg(&titled).arg("--json")),
        run(howflat().arg("sheet").arg(&titled)),
        run(howflat().arg("judge").arg(&titled).arg(&readings)),
        run(howflat().arg("judge").arg(&titled).arg(&readings).args(["--grade", hostile])),
        run(howflat().arg("new").arg(&titled)),
    ];
    for run in runs {
        let text = run.out + &run.err;
        let acts = |c: char| {
            (c.is_control() && c != '\n') || ('\u{202a}'..='\u{202e}').contains(&c) || c == '\u{2066}'
        };
        assert!(!text.is_empty() && !text.contains(acts), "{text:?}");
    }
}

/// A setup that came from somebody else opens nothing outside its own folder, by no name and over no link.
#[test]
fn a_setup_names_nothing_outside_its_folder() {
    let (folder, elsewhere) = (folder(), folder());
    let secret = file(elsewhere.path(), "secret", "the key is under the mat\n");
    let mut names =
        vec![secret.to_str().expect("a name").to_owned(), "../secret".into(), "a/../../secret".into()];
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(&secret, folder.path().join("linked")).expect("a link");
        names.push("linked".into());
    }
    for name in names {
        let map =
            format!(r#"{{ "wear": {{ "map": {{ "file": "{name}", "standard_uncertainty": "0.3 um" }} }},"#);
        let run = run(&mut simulate(&file(folder.path(), "mine.json", &BEGINNER.replacen('{', &map, 1))));
        assert_eq!((run.code, run.out.as_str()), (2, ""), "{name}: {}", run.err);
        assert!(run.err.contains("outside the folder") && !run.err.contains("mat"), "{name}: {}", run.err);
    }
    // What is no map is not quoted either.
    fs::write(folder.path().join("near"), "the key is under the mat\n").expect("a file");
    let map = r#"{ "wear": { "map": { "file": "near", "standard_uncertainty": "0.3 um" } },"#;
    let run = run(&mut simulate(&file(folder.path(), "mine.json", &BEGINNER.replacen('{', map, 1))));
    assert!(run.code == 2 && !run.err.contains("mat"), "{}", run.err);
}

/// Other encodings and kinds of file are named, with what to do.
#[test]
fn what_is_not_utf_8_is_named() {
    let folder = folder();
    let setup = file(folder.path(), "mine.json", BEGINNER);
    let utf_16 = |text: &str| -> Vec<u8> { text.encode_utf16().flat_map(u16::to_le_bytes).collect() };
    let table = "target,reading\nmiddle,1\n";
    for (bytes, said) in [
        (utf_16(&format!("\u{feff}{table}")), "UTF-16"),
        (utf_16(table), "UTF-16"),
        (b"target,reading,remark\nmiddle,1,Pr\xFCfung\n".to_vec(), "\"ü\" on line 2, if that is Latin-1"),
        (b"target,reading\nmiddle,1\x81\n".to_vec(), "no UTF-8 text (line 2)"),
        (b"PK\x03\x04rest".to_vec(), "a spreadsheet or an archive"),
    ] {
        let readings = folder.path().join("readings.csv");
        fs::write(&readings, bytes).expect("a file");
        let run = run(howflat().arg("judge").arg(&setup).arg(&readings));
        assert!(run.code == 2 && run.err.contains(said) && run.err.contains("UTF-8"), "{said}: {}", run.err);
    }
    let run = run(howflat().arg("judge").arg(&setup).arg(folder.path()));
    assert!(run.code == 2 && run.err.contains("a folder, where a file is needed"), "{}", run.err);
}

/// Completions and manual pages know every command and every long option that the help knows.
#[test]
fn completions_and_manual_pages_say_what_the_help_says() {
    let out = |arguments: &[&str]| {
        let run = run(howflat().args(arguments));
        assert_eq!((run.code, run.err.as_str()), (0, ""), "{arguments:?}");
        run.out
    };
    let help = out(&["--help"]);
    let listed = help.split("Commands:\n").nth(1).expect("commands").split("\n\n").next().expect("a list");
    let commands: Vec<&str> = listed
        .lines()
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert!(commands.len() > 10 && commands.contains(&"judge"), "{commands:?}");
    let page = out(&["man"]);
    let scripts = ["bash", "zsh", "fish", "powershell", "elvish"].map(|shell| out(&["completions", shell]));
    for command in commands {
        assert!(page.contains(&format!("howflat\\-{command}")), "{command}");
        let help = out(&[command, "--help"]);
        let page = out(&["man", command]);
        for option in help.split_whitespace().filter(|word| word.starts_with("--") && word.len() > 2) {
            let option = option.trim_end_matches(|c: char| !c.is_ascii_lowercase());
            assert!(page.contains(&option.replace('-', "\\-")), "{command} {option}");
            // A fish script has no dashes before its options.
            let name = option.trim_start_matches('-');
            assert!(
                scripts.iter().all(|script| script.contains(command) && script.contains(name)),
                "{option}"
            );
        }
    }
    let unknown = run(howflat().args(["man", "fly"]));
    assert!(unknown.code == 2 && unknown.err.contains("judge"), "{}", unknown.err);
    assert_eq!(run(howflat().args(["completions", "abacus"])).code, 2);
}
