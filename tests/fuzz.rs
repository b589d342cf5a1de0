//! Whatever stands in a file, it is read or refused in words; what is read becomes a report that keeps its schema.
//!
//! Shipped files, and those of `bad/` with one slip each, are changed token by token, line by line or as a whole, with words of
//! the files themselves, of the schemas and of `fuzz/dictionary.txt`. The changes are the same each time: the first N of an
//! endless row, where `HOWFLAT_FUZZ` is N for each reader, and an eighth of it for each run of the program (500 if it is not set). What fails is
//! shrunk to the fewest changes; put the file it prints into `fuzz/corpus/`, and it is read, and changed further, for ever after.

use crate::common::{
    program::{howflat, run},
    schema::misfits,
};
use howflat::{
    model::formula::{Formula, FormulaError},
    propagation::check_experiment::CheckExperiment,
    setup::{
        self, Fault, Faults, FileKind, HistoryFile, MeasurementSetup, PointFile, PointUnits, Readings, Setup,
    },
};
use proptest::{
    prelude::*,
    test_runner::{Config, RngAlgorithm, TestCaseError, TestRng, TestRunner},
};
use serde_json::Value;
use std::{
    collections::{BTreeMap, BTreeSet},
    fmt::Debug,
    fs,
    ops::Range,
    path::{Path, PathBuf},
    sync::LazyLock,
    time::{Duration, Instant},
};

/// What is done to a file, where, and with what: numbers that mean something by the file they are used on.
type Edit = (u8, u32, u32);
/// Which file, and what is done to it.
type Recipe = (u16, Vec<Edit>);

/// No message is longer, a fault's or a line of the program's.
const LONGEST: usize = 1000;
/// No file of this size takes longer to read, on the slowest machine.
const SLOWEST: Duration = Duration::from_secs(30);

/// How many files each reader is given.
fn n_files() -> u32 {
    std::env::var("HOWFLAT_FUZZ").map_or(500, |n| n.parse().expect("HOWFLAT_FUZZ is a number of files"))
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Files of a kind, by the ends of their names.
struct Corpus {
    /// By name, so that they have an order.
    all: BTreeMap<String, String>,
    words: Vec<String>,
}

static CORPUS: LazyLock<Corpus> = LazyLock::new(|| {
    let mut all = BTreeMap::new();
    for folder in ["budgets", "tests/fuzz/corpus"] {
        for entry in fs::read_dir(root().join(folder)).expect("a folder") {
            let path = entry.expect("a file").path();
            let name = path.file_name().expect("a name").to_string_lossy().into_owned();
            all.insert(name, fs::read_to_string(path).expect("text"));
        }
    }
    for (kind, end) in [
        ("setups", "json"),
        ("models", "json"),
        ("readings", "readings.csv"),
        ("histories", "history.csv"),
        ("points", "points.csv"),
    ] {
        for case in crate::bad::cases(&format!("{kind}.txt")) {
            all.insert(format!("{} {}.{end}", kind, case.name), case.text);
        }
    }
    let mut words: BTreeSet<String> =
        all.values().flat_map(|text| tokens(text).into_iter().map(|token| text[token].to_owned())).collect();
    for schema in [setup::schema(), setup::model_schema()] {
        names_of(&schema, &mut words);
    }
    words.retain(|word| word.len() < 40);
    // Words that are known to trip come up as often as all others.
    let dictionary = fs::read_to_string(root().join("tests/fuzz/dictionary.txt")).expect("a dictionary");
    let own: Vec<String> = dictionary
        .lines()
        .filter(|line| !line.starts_with("# "))
        .map(|line| serde_json::from_str(line).expect("a string"))
        .collect();
    let often = own.iter().cycle().take(words.len().max(own.len())).cloned().collect::<Vec<_>>();
    Corpus { all, words: words.into_iter().chain(often).collect() }
});

/// Every name of a field that a schema knows.
fn names_of(schema: &Value, names: &mut BTreeSet<String>) {
    match schema {
        Value::Object(members) => {
            for (key, member) in members {
                if let ("properties", Some(fields)) = (key.as_str(), member.as_object()) {
                    names.extend(fields.keys().cloned());
                }
                names_of(member, names);
            }
        }
        Value::Array(items) => items.iter().for_each(|item| names_of(item, names)),
        _ => {}
    }
}

impl Corpus {
    /// The files whose names end so.
    fn of(&self, ends: &[&str]) -> Vec<&str> {
        let of_kind = |name: &&String| ends.iter().any(|end| name.ends_with(end));
        self.all.iter().filter(|(name, _)| of_kind(name)).map(|(_, text)| text.as_str()).collect()
    }

    fn word(&self, which: u32) -> &str {
        &self.words[which as usize % self.words.len()]
    }
}

/// Where runs of letters and digits are: what one would change by hand.
fn tokens(text: &str) -> Vec<Range<usize>> {
    let belongs = |c: char| c.is_alphanumeric() || "_.+-−°%".contains(c);
    let mut found: Vec<Range<usize>> = Vec::new();
    for (at, c) in text.char_indices().filter(|(_, c)| belongs(*c)) {
        let end = at + c.len_utf8();
        match found.last_mut() {
            Some(last) if last.end == at => last.end = end,
            _ => found.push(at..end),
        }
    }
    found
}

/// A file changed by a recipe.
fn cooked(corpus: &[&str], (file, edits): &Recipe) -> String {
    let pick = |which: u32| corpus[which as usize % corpus.len()];
    edits.iter().fold(pick(u32::from(*file)).to_owned(), |text, (kind, place, what)| {
        if text.len() > 1 << 16 {
            return text;
        }
        let (place, word) = (*place as usize, CORPUS.word(*what));
        let tokens = tokens(&text);
        let token = tokens.get(place % tokens.len().max(1)).map_or((0, 0), |token| (token.start, token.end));
        let put = |from: usize, to: usize, new: &str| format!("{}{new}{}", &text[..from], &text[to..]);
        let at_char = || {
            let n = text.chars().count();
            text.char_indices().nth(place % n.max(1)).map_or(0, |(at, _)| at)
        };
        let mut lines: Vec<&str> = text.split('\n').collect();
        let (line, other) = (place % lines.len(), *what as usize % lines.len());
        match kind % 18 {
            0..=3 => put(token.0, token.1, word),
            4 => put(token.0, token.0, word),
            5 => put(token.1, token.1, word),
            6 => put(token.0, token.1, ""),
            7 => put(at_char(), at_char(), word),
            8 => {
                let (from, size) = (at_char(), *what as usize % 40);
                let to = text[from..].char_indices().nth(size).map_or(text.len(), |(at, _)| from + at);
                put(from, to, "")
            }
            // A number a power of ten larger or smaller.
            9 => put(token.1, token.1, &format!("e{}", *what as i32 % 320)),
            10 => {
                lines.remove(line);
                lines.join("\n")
            }
            11 => {
                lines.insert(line, lines[other]);
                lines.join("\n")
            }
            12 => {
                lines.swap(line, other);
                lines.join("\n")
            }
            // A line of another file, or all that follows there.
            13 => {
                let foreign: Vec<&str> = pick(*what).split('\n').collect();
                lines.insert(line, foreign[place % foreign.len()]);
                lines.join("\n")
            }
            14 => {
                let foreign: Vec<&str> = pick(*what).split('\n').collect();
                lines.truncate(line);
                lines.extend(&foreign[place % foreign.len()..]);
                lines.join("\n")
            }
            // As other programs save it.
            15 => match what % 6 {
                0 => text.replace('\n', "\r\n"),
                1 => format!("\u{feff}{text}"),
                2 => text.replace(',', ";").replace('.', ","),
                3 => text.replace(',', "\t"),
                4 => text.replace('"', "'"),
                _ => text.replace('\n', ""),
            },
            16 => text[..at_char()].to_owned(),
            // Very much of it, or very deep.
            _ => put(token.0, token.1, &word.repeat(1 << (what % 12))),
        }
    })
}

fn recipes(most: usize) -> impl Strategy<Value = Recipe> {
    (any::<u16>(), proptest::collection::vec(any::<Edit>(), 0..most))
}

/// Tries a property with the first so many of its values, the same each time.
fn try_with<S: Strategy>(n: u32, strategy: S, property: impl Fn(S::Value) -> Result<(), TestCaseError>) {
    let config = Config { cases: n, failure_persistence: None, max_shrink_iters: 400, ..Config::default() };
    let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    if let Err(error) = runner.run(&strategy, property) {
        panic!("{error}");
    }
}

/// Reads twice, and looks at what was said; gives what was read.
fn read_alike<T: Debug>(
    text: &str,
    read: impl Fn(&str) -> Result<T, Faults>,
) -> Result<Option<T>, TestCaseError> {
    let begun = Instant::now();
    let (once, again) = (read(text), read(text));
    prop_assert!(begun.elapsed() < SLOWEST, "{:?} for {text:?}", begun.elapsed());
    let said = |faults: &Faults| faults.iter().map(ToString::to_string).collect::<Vec<_>>();
    match (once, again) {
        (Ok(once), Ok(again)) => {
            prop_assert!(format!("{once:?}") == format!("{again:?}"), "read in two ways: {text:?}");
            Ok(Some(once))
        }
        (Err(once), Err(again)) => {
            let once = said(&once);
            prop_assert_eq!(&once, &said(&again), "two answers to {:?}", text);
            prop_assert!(!once.is_empty(), "refused without a word: {text:?}");
            for message in &once {
                let length = message.chars().count();
                let is_line = !message.contains(|c: char| c.is_control());
                prop_assert!((1..=LONGEST).contains(&length) && is_line, "{message:?} of {text:?}");
            }
            Ok(None)
        }
        _ => Err(TestCaseError::fail(format!("read and refused: {text:?}"))),
    }
}

/// What lies beside a setup or a history.
fn beside(name: &str) -> Result<String, String> {
    let known = match name {
        "map.csv" => CORPUS.all.get("measured-map.csv"),
        "readings.csv" => CORPUS.all.get("granite-parked.readings.csv"),
        name => CORPUS.all.get(name),
    };
    known.cloned().ok_or_else(|| "no such file".into())
}

fn shipped(name: &str) -> Setup {
    Setup::read(&CORPUS.all[name], &beside).expect("a shipped setup")
}

/// What was found once, as it was found.
#[test]
fn every_file_of_the_corpus_is_read_or_refused() {
    let (parked, read) = (shipped("granite-parked.json"), |name: &str| CORPUS.of(&[name]));
    let told = |outcome: Result<(), TestCaseError>| outcome.expect("read or refused");
    for text in read("json").into_iter().chain(read("csv")) {
        told(read_alike(text, |text| Setup::read(text, &beside)).map(|_| ()));
        told(read_alike(text, MeasurementSetup::read).map(|_| ()));
        told(read_alike(text, |text| Readings::read(text, &parked)).map(|_| ()));
        told(
            read_alike(text, |text| {
                HistoryFile::read(text, &parked, None, &|its| its.tolerance.clone(), &beside)
            })
            .map(|_| ()),
        );
        told(read_alike(text, |text| PointFile::read(text, PointUnits::default(), 1000)).map(|_| ()));
    }
}

#[test]
fn any_text_is_a_setup_or_refused() {
    let corpus = CORPUS.of(&["json"]);
    try_with(n_files(), recipes(6), |recipe| {
        let text = cooked(&corpus, &recipe);
        if let Some(setup) = read_alike(&text, |text| Setup::read(text, &beside))? {
            // What is sound can be simulated, or says why not.
            if let Err(why) = CheckExperiment::new(&setup.check) {
                prop_assert!(!why.to_string().is_empty());
            }
        }
        read_alike(&text, FileKind::of).map(|_| ())
    });
}

#[test]
fn any_text_is_a_formula_model_or_refused() {
    let corpus = CORPUS.of(&["json"]);
    try_with(n_files(), recipes(6), |recipe| {
        read_alike(&cooked(&corpus, &recipe), MeasurementSetup::read).map(|_| ())
    });
}

#[test]
fn any_text_is_a_table_of_readings_or_refused() {
    let corpus = CORPUS.of(&["csv"]);
    let setups = ["granite-parked.json", "granite-turned.json", "iron-metric.json"].map(shipped);
    try_with(n_files(), (0..3_usize, recipes(6)), |(setup, recipe)| {
        read_alike(&cooked(&corpus, &recipe), |text| Readings::read(text, &setups[setup])).map(|_| ())
    });
}

#[test]
fn any_text_is_a_history_or_refused() {
    let corpus = CORPUS.of(&["history.csv", "measured-map.csv"]);
    let setups = ["granite-parked.json", "iron-metric.json"].map(shipped);
    try_with(n_files(), (0..2_usize, recipes(6)), |(setup, recipe)| {
        let read =
            |text: &str| HistoryFile::read(text, &setups[setup], None, &|its| its.tolerance.clone(), &beside);
        read_alike(&cooked(&corpus, &recipe), read).map(|_| ())
    });
}

/// Points, and the same as the map of a plate.
#[test]
fn any_text_is_a_file_of_points_or_refused() {
    let corpus = CORPUS.of(&["points.csv", "measured-map.csv"]);
    let with_map = &CORPUS.all["measured-map.json"];
    try_with(n_files(), recipes(6), |recipe| {
        let text = cooked(&corpus, &recipe);
        read_alike(&text, |text| PointFile::read(text, PointUnits::default(), 1000))?;
        read_alike(with_map, |setup| Setup::read(setup, &|_| Ok(text.clone()))).map(|_| ())
    });
}

#[test]
fn any_text_is_a_formula_or_refused() {
    let mut formulas = BTreeSet::from(["x", "y*sqrt(x) - 1/(x + 2)"].map(str::to_owned));
    for text in CORPUS.of(&["json"]) {
        let Ok(model) = serde_json::from_str::<Value>(text) else { continue };
        let measurands = model["measurands"].as_array().into_iter().flatten();
        formulas.extend(measurands.filter_map(|of| of["formula"].as_str()).map(str::to_owned));
    }
    let corpus: Vec<&str> = formulas.iter().map(String::as_str).collect();
    try_with(n_files(), recipes(6), |recipe| {
        // As a setup tells it: an error quotes as much of the formula as there is, and a fault cuts it short.
        let told = |error: FormulaError| Fault {
            field: "formula".into(),
            found: error.problem,
            must: "a formula".into(),
            fix: error.hint,
            at: None,
        };
        let read = |text: &str| Formula::parse(text, &["x", "y"]).map_err(|error| Faults(vec![told(error)]));
        if let Some(formula) = read_alike(&cooked(&corpus, &recipe), read)? {
            for at in [[0.5, -2.0], [0.0, 0.0], [f64::MAX, f64::MIN_POSITIVE]] {
                let value = || formula.value(&at).map(f64::to_bits).map_err(|error| error.to_string());
                prop_assert_eq!(value(), value());
            }
        }
        Ok(())
    });
}

/// What the program makes of files: a report that keeps its schema, or a reason in words.
fn report(command: &[&str], files: &[(&str, &str)], to_folder: bool) -> Result<(), TestCaseError> {
    static SCHEMAS: LazyLock<BTreeMap<String, Value>> = LazyLock::new(|| {
        let of = ["simulate", "lesson", "budget", "judge", "recall", "zone", "plan"].map(str::to_owned);
        let schema = |name: &String| {
            serde_json::from_str(&run(howflat().args(["schema", name])).out).expect("a schema")
        };
        of.into_iter().map(|name| (name.clone(), schema(&name))).collect()
    });
    let desk = tempfile::tempdir()?;
    for (name, text) in files {
        fs::write(desk.path().join(name), text)?;
    }
    let paths: Vec<PathBuf> = files.iter().map(|(name, _)| desk.path().join(name)).collect();
    let out = desk.path().join("out");
    let mut program = howflat();
    program.arg(command[0]).args(&paths).args(&command[1..]).arg("--json").timeout(Duration::from_secs(300));
    if to_folder {
        program.arg("--out").arg(&out);
    }
    let run = run(&mut program);
    prop_assert!(run.code <= 2, "exit code {}: {}\n{command:?} {files:?}", run.code, run.err);
    // A recall whose plates are not all sound says what it can of the others, and what is wrong.
    prop_assert!(run.code < 2 || !run.err.trim().is_empty(), "refused without a word: {command:?} {files:?}");
    prop_assert!(run.code == 2 || !run.out.is_empty(), "no answer: {command:?} {files:?}");
    for line in run.err.lines() {
        prop_assert!(line.chars().count() <= LONGEST + 200, "{line}\n{command:?} {files:?}");
    }
    if !run.out.is_empty() {
        let document: Value =
            serde_json::from_str(&run.out).map_err(|error| TestCaseError::fail(error.to_string()))?;
        let schema = &SCHEMAS[command[0]];
        let misfits = misfits(&document, schema);
        prop_assert!(misfits.is_empty(), "{misfits:?}\n{command:?} {files:?}");
        if to_folder {
            let kept = fs::read_to_string(out.join("result.json"))?;
            prop_assert!(
                kept.trim() == format!("{document:#}"),
                "printed and kept differ: {command:?} {files:?}"
            );
        }
    } else {
        prop_assert!(!out.exists(), "half-written: {command:?} {files:?}");
    }
    Ok(())
}

/// One file in, report out.
#[test]
fn any_file_becomes_a_report_or_a_reason() {
    let (json, points) = (CORPUS.of(&["json"]), CORPUS.of(&["points.csv", "measured-map.csv"]));
    const SIMULATE: [&str; 5] = ["simulate", "--trials", "1000", "--judged", "0"];
    try_with(n_files().div_ceil(8), (0..4_u8, recipes(3), any::<u8>()), |(command, recipe, out)| {
        let (command, corpus): (&[&str], _) = match command {
            0 => (&["zone"], &points),
            1 => (&["budget", "--trials", "1000"], &json),
            2 => (&["lesson"], &json),
            _ => (&SIMULATE, &json),
        };
        let name = if command[0] == "zone" { "points.csv" } else { "setup.json" };
        report(command, &[(name, &cooked(corpus, &recipe))], out % 8 == 7)
    });
}

/// Any two files in, report out: whatever setup with whatever table.
#[test]
fn any_two_files_become_a_report_or_a_reason() {
    let json = CORPUS.of(&["json"]);
    let tables = [CORPUS.of(&["readings.csv"]), CORPUS.of(&["history.csv"]), CORPUS.of(&["csv"])];
    // A setup that cannot be read hides its table: most are left as they are.
    let setups = (
        any::<u16>(),
        prop_oneof![4 => Just(Vec::new()), 1 => proptest::collection::vec(any::<Edit>(), 1..3)],
    );
    try_with(
        n_files().div_ceil(64),
        (0..2_usize, 0..4_usize, setups, recipes(3), any::<u8>()),
        |(command, table, setup, recipe, out)| {
            let kind = if table == 3 { 2 } else { command };
            let files =
                [("setup.json", cooked(&json, &setup)), ("table.csv", cooked(&tables[kind], &recipe))];
            report(
                &[["judge", "recall"][command]],
                &files.each_ref().map(|(name, text)| (*name, text.as_str())),
                out % 8 == 7,
            )
        },
    );
}
