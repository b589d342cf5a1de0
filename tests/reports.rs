//! Each `budgets/*.json` gives its `reports/*` again, byte for byte; where readings are shipped beside a setup, also
//! their judgement and a blank sheet, where a history is shipped what it says of recalls, and for a few setups the lesson,
//! each in a folder of its own below.
//!
//! `HOWFLAT_WRITE_REPORTS=1 cargo test --release --test main reports::` writes them anew. What takes longest, most
//! simulations and a plan, is made again where `HOWFLAT_ALL_REPORTS` is set, as `.ci/run` does.

use crate::common::program::howflat;
use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The setups that are shipped, by name.
fn setups() -> Vec<(String, PathBuf)> {
    let mut found: Vec<_> = fs::read_dir(root().join("budgets"))
        .expect("the folder of setups")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "json"))
        .map(|path| (path.file_stem().expect("a name").to_string_lossy().into_owned(), path))
        .collect();
    found.sort();
    found
}

/// Which command a setup is for: a formula model has measurands.
fn command(setup: &Path) -> &'static str {
    let text = fs::read_to_string(setup).expect("a setup");
    let json: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    if json.get("measurands").is_some() { "budget" } else { "simulate" }
}

/// Runs a command as a user at the top of the project would, writes its report into a folder, and what the screen shows
/// beside it.
fn run(arguments: &[&str], out: &Path) {
    let output = howflat()
        .current_dir(root())
        .args(arguments)
        .arg("--out")
        .arg(out)
        .output()
        .expect("a program that runs");
    // Only a judgement ends with 1: a verdict of out or undecided.
    let fine = output.status.success() || (arguments[0] == "judge" && output.status.code() == Some(1));
    assert!(fine, "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    if !output.stdout.is_empty() {
        fs::write(out.join("screen.txt"), output.stdout).expect("a file");
    }
}

/// Setups whose lesson is shipped.
const LESSONS: [&str; 2] = ["granite-parked", "iron-metric"];

/// Setups whose plan for a better check is shipped.
const PLANS: [&str; 2] = ["fresh-careful", "granite-parked"];

/// Setups whose simulation is made again in every run of the tests, and whose plan is.
const QUICK: [&[&str]; 2] = [&["granite-parked", "measured-map"], &["fresh-careful"]];

/// What is shipped of a setup and is made again: everything, or what does not take long.
#[derive(Clone, Copy)]
struct Wanted {
    all: bool,
}

impl Wanted {
    fn simulation(self, name: &str, setup: &Path) -> bool {
        self.all || command(setup) == "budget" || QUICK[0].contains(&name)
    }

    fn plan(self, name: &str) -> bool {
        PLANS.contains(&name) && (self.all || QUICK[1].contains(&name))
    }

    /// Whether a file of the shipped report is of this.
    fn holds(self, file: &str, name: &str, setup: &Path) -> bool {
        match file.split_once('/') {
            None => self.simulation(name, setup),
            Some(("plan", _)) => self.plan(name),
            Some(_) => true,
        }
    }
}

/// Everything that is shipped of a setup and wanted.
fn make(name: &str, setup: &Path, wanted: Wanted, out: &Path) {
    let relative = |path: &Path| {
        path.strip_prefix(root()).expect("a path of the project").to_str().expect("a plain name").to_string()
    };
    // A file of this kind beside the setup, if there is one.
    let beside =
        |kind: &str| Some(setup.with_extension(kind)).filter(|path| path.exists()).map(|p| relative(&p));
    let setup_file = &relative(setup);
    if wanted.simulation(name, setup) {
        run(&[command(setup), setup_file], out);
    }
    if let Some(readings) = beside("readings.csv") {
        let out = &out.join("judge");
        run(&["judge", setup_file, &readings], out);
        run(&["sheet", setup_file], out);
    }
    if LESSONS.contains(&name) {
        run(&["lesson", setup_file], &out.join("lesson"));
    }
    if let Some(history) = beside("history.csv") {
        let costs = "recalibration=450,day=60,days-away=10,bad-part=80,bad-parts=12";
        run(&["recall", setup_file, &history, "--costs", costs], &out.join("recall"));
    }
    if wanted.plan(name) {
        run(&["plan", setup_file], &out.join("plan"));
    }
}

/// All files below a folder, by their path from there.
fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let entries = fs::read_dir(folder).unwrap_or_else(|error| {
        panic!("{}: {error}; write reports anew as this file's head says", folder.display())
    });
    for entry in entries {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name").to_string_lossy().into_owned();
        if path.is_dir() {
            found
                .extend(contents(&path).into_iter().map(|(below, bytes)| (format!("{name}/{below}"), bytes)));
        } else {
            found.insert(name, fs::read(&path).expect("a file"));
        }
    }
    found
}

#[test]
fn every_setup_gives_its_report_again() {
    let [anew, all] =
        ["HOWFLAT_WRITE_REPORTS", "HOWFLAT_ALL_REPORTS"].map(|name| std::env::var_os(name).is_some());
    let wanted = Wanted { all: anew || all };
    let mut differing = Vec::new();
    for (name, setup) in setups() {
        let kept = root().join("reports").join(&name);
        if anew {
            // A report from before there were manifests is replaced by nobody but its maker.
            if kept.exists() {
                fs::remove_dir_all(&kept).expect("a folder that can be taken away");
            }
            fs::create_dir_all(&kept).expect("a folder");
            make(&name, &setup, wanted, &kept);
            continue;
        }
        let fresh = tempfile::tempdir().expect("a folder");
        make(&name, &setup, wanted, fresh.path());
        let (mut kept, fresh) = (contents(&kept), contents(fresh.path()));
        kept.retain(|file, _| wanted.holds(file, &name, &setup));
        let names = kept.keys().chain(fresh.keys());
        differing.extend(
            names.filter(|file| kept.get(*file) != fresh.get(*file)).map(|file| format!("{name}/{file}")),
        );
    }
    differing.dedup();
    assert!(differing.is_empty(), "not as shipped: {}", differing.join(", "));
}

#[test]
fn no_report_is_left_of_a_setup_that_is_gone() {
    let known: Vec<String> = setups().into_iter().map(|(name, _)| name).collect();
    for entry in fs::read_dir(root().join("reports")).expect("the folder of reports") {
        let name = entry.expect("an entry").file_name().to_string_lossy().into_owned();
        assert!(known.contains(&name), "reports/{name} has no setup");
    }
}

/// The README shows what the first command really prints.
#[test]
fn the_readme_shows_the_shipped_answer() {
    let readme = fs::read_to_string(root().join("README.md")).expect("the README");
    let screen =
        fs::read_to_string(root().join("reports/granite-parked/screen.txt")).expect("the shipped report");
    let shown = readme
        .split("```text\n")
        .nth(1)
        .and_then(|rest| rest.split("```").next())
        .expect("a sample of output");
    // The README breaks the long lines and leaves out what follows.
    let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    let (shown, screen) = (words(shown), words(&screen));
    assert!(shown.len() > 40, "the sample holds the answer");
    assert_eq!(shown[..], screen[..shown.len()]);
}
