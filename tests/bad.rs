//! Files with one slip each, and what must be said of it. In `bad/`, a case is:
//!
//! ```text
//! === what the slip is
//! the file; ‸ stands where its faults must be shown, in order
//! --- words that the first fault must hold, in order; three dots stand for what is between them
//! --- the same for the second
//! ```
//!
//! Where a file of cases begins with a sound file, a case may be lines `this => that` to be changed in it. Every fault
//! must be expected and shown where it is; a fault of the file as a whole has no place.

use howflat::setup::{
    Faults, HistoryFile, MeasurementSetup, PointFile, PointUnits, Position, Readings, Setup,
};
use std::{fs, path::Path};

const MARK: char = '‸';

pub struct Case {
    pub name: String,
    pub text: String,
    places: Vec<Position>,
    words: Vec<String>,
}

pub fn cases(kind: &str) -> Vec<Case> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bad").join(kind);
    let all = fs::read_to_string(path).expect("cases");
    let mut parts = all.split("=== ");
    let base = parts.next().unwrap_or_default();
    parts
        .map(|part| {
            let (name, rest) = part.split_once('\n').expect("a name");
            let (body, words) = rest.split_once("\n--- ").unwrap_or_else(|| panic!("{name}: no words"));
            let edits: Option<Vec<_>> = body.lines().map(|line| line.split_once(" => ")).collect();
            let marked = match edits.filter(|edits| !base.trim().is_empty() && !edits.is_empty()) {
                Some(edits) => edits.into_iter().fold(base.to_owned(), |text, (this, that)| {
                    assert!(text.contains(this), "{name}: no {this}");
                    text.replacen(this, that, 1)
                }),
                None => body.to_owned(),
            };
            let marked = marked.replace("\\t", "\t");
            let (mut text, mut places) = (String::new(), Vec::new());
            for c in marked.chars() {
                if c == MARK {
                    let line = text.rsplit('\n').next().unwrap_or_default();
                    let (line, column) = (text.matches('\n').count() + 1, line.chars().count() + 1);
                    places.push(Position { line, column });
                } else {
                    text.push(c);
                }
            }
            let words = words.trim_end().split("\n--- ").map(str::to_owned).collect();
            Case { name: name.to_owned(), text, places, words }
        })
        .collect()
}

/// Tries every case, and tells all that are wrong at once.
fn try_all<T>(kind: &str, at_least: usize, read: impl Fn(&str) -> Result<T, Faults>) {
    let cases = cases(kind);
    assert!(cases.len() >= at_least, "{} cases", cases.len());
    let mut wrong = String::new();
    for Case { name, text, places, words } in cases {
        let Err(faults) = read(&text) else {
            wrong += &format!("{name}: is read\n");
            continue;
        };
        let said: Vec<String> = faults.iter().map(ToString::to_string).collect();
        let holds = |said: &String, words: &String| {
            let mut rest = said.as_str();
            words.split(" ... ").all(|word| match rest.split_once(word) {
                Some((_, after)) => {
                    rest = after;
                    true
                }
                None => false,
            })
        };
        let is_said = said.len() == words.len() && said.iter().zip(&words).all(|(s, w)| holds(s, w));
        let shown: Vec<Position> = faults.iter().filter_map(|fault| fault.at).collect();
        if !is_said || shown != places {
            let places: Vec<_> = places.iter().map(|at| (at.line, at.column)).collect();
            wrong += &format!("{name}: expected at {places:?}\n   {}\n", said.join("\n   "));
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
}

const SETUP: &str = r#"{
  "plate": { "length": "36 in", "width": "24 in" },
  "stand": { "feet": { "front_apart": "5 in", "front_to_rear": "6 in" } },
  "indicator": { "graduation": "0.0001 in" }
}"#;

const MAP: &str = "x (in),y (in),z (um)\n2,2,0\n34,2,1\n2,22,1\n34,22,0\n";

fn beside(name: &str) -> Result<String, String> {
    match name {
        "map.csv" => Ok(MAP.into()),
        "short.csv" => Ok("x (in),y (in),z (um)\n2,2,0\n34,2,1\n".into()),
        "far.csv" => Ok(MAP.replace("34,22", "99,22")),
        "readings.csv" => Ok("front right,0\nmiddle,1\n".into()),
        "slip.csv" => Ok("front right,0\nmidle,1\n".into()),
        _ => Err("no such file".into()),
    }
}

fn setup() -> Setup {
    Setup::read(SETUP, &beside).expect("a setup")
}

#[test]
fn setups() {
    try_all("setups.txt", 80, |text| Setup::read(text, &beside));
}

#[test]
fn readings() {
    let setup = setup();
    try_all("readings.txt", 40, |text| Readings::read(text, &setup));
}

#[test]
fn histories() {
    let setup = setup();
    try_all("histories.txt", 30, |text| {
        HistoryFile::read(text, &setup, None, &|its| its.tolerance.clone(), &beside)
    });
}

#[test]
fn points() {
    try_all("points.txt", 20, |text| PointFile::read(text, PointUnits::default(), 1000));
}

#[test]
fn models() {
    try_all("models.txt", 30, MeasurementSetup::read);
}
