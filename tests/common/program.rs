//! The program, run as a user would.

use assert_cmd::Command;
use serde_json::Value;
use std::{fs, path::PathBuf};

/// The seven words of a beginner's plate; read to 0.2 tenths.
pub const BEGINNER: &str = r#"{
  "plate": { "length": "36 in", "width": "24 in", "grade": "US A" },
  "stand": { "feet": { "front_apart": "5 in", "front_to_rear": "6 in" } },
  "indicator": { "graduation": "0.0001 in" }
}
"#;

/// `howflat`, ready for arguments.
pub fn howflat() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_howflat"));
    command.env_remove("RUST_BACKTRACE");
    command
}

/// What a run left behind.
pub struct Run {
    pub code: i32,
    pub out: String,
    pub err: String,
}

/// Runs a command to its end.
pub fn run(command: &mut Command) -> Run {
    let output = command.output().expect("a program that runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    Run {
        code: output.status.code().expect("an exit code"),
        out: text(output.stdout),
        err: text(output.stderr),
    }
}

/// A bench of its own: a folder with a setup and a readings file.
pub struct Desk {
    pub folder: tempfile::TempDir,
}

impl Desk {
    pub fn new(setup: &str, readings: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        fs::write(folder.path().join("mine.json"), setup).expect("a file");
        fs::write(folder.path().join("mine.csv"), readings).expect("a file");
        Self { folder }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn judge(&self, arguments: &[&str]) -> Run {
        run(howflat().arg("judge").arg(self.path("mine.json")).arg(self.path("mine.csv")).args(arguments))
    }

    pub fn json(&self, arguments: &[&str]) -> Value {
        let run = self.judge(&[&["--json"], arguments].concat());
        serde_json::from_str(&run.out).unwrap_or_else(|error| panic!("{error}: {}{}", run.out, run.err))
    }
}

/// What a report says where a sentence of it has `{}`.
pub fn told<const N: usize>(sentence: &str, report: &str) -> [String; N] {
    let parts: Vec<&str> = sentence.split("{}").collect();
    assert_eq!(parts.len(), N + 1, "{sentence}");
    let fits = |start: usize| {
        let mut rest = &report[start + parts[0].len()..];
        let mut words = Vec::new();
        for part in &parts[1..] {
            let (word, after) = rest.split_once(part)?;
            words.push(word.to_owned());
            rest = after;
        }
        // A sentence is within a paragraph.
        words.iter().all(|word| !word.contains('\n')).then_some(words)
    };
    let found = report.match_indices(parts[0]).find_map(|(start, _)| fits(start));
    found.unwrap_or_else(|| panic!("not said: {sentence}")).try_into().expect("as many words as places")
}

/// A number as reports round it.
pub fn rounded(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.chars().any(|c| ('1'..='9').contains(&c)) { text } else { text.replace('-', "") }
}

/// A shipped report, in words and in numbers.
pub fn shipped_report(name: &str) -> (String, Value) {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("reports").join(name);
    let read = |file: &str| fs::read_to_string(folder.join(file)).expect("a shipped report");
    (read("report.md"), serde_json::from_str(&read("result.json")).expect("JSON"))
}
