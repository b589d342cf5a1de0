//! From the blank sheet to the verdict: `howflat sheet` and `howflat judge`.

use crate::common::program::{BEGINNER, Desk, howflat, run, shipped_report};
use crate::common::schema::misfits;
use howflat::{
    propagation::check_experiment::CheckExperiment,
    propagation::trials::Experiment,
    quantity::{stream::Streams, unit},
    setup::Setup,
};
use serde_json::{Value, json};
use std::{
    fs,
    path::{Path, PathBuf},
};

/// A plate that is hardly out, read in one pass from one corner.
const SMALL: &str = "\
target,reading
front right,0
back right,0.4
back left,0.2
front,0
right,0.2
back,0.2
left,0.2
middle,0
front right,0.2
";

fn budgets() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("budgets")
}

fn shipped(name: &str) -> String {
    fs::read_to_string(budgets().join(name)).expect("a shipped file")
}

fn setup(text: &str) -> Setup {
    Setup::read(text, &|name| Err(format!("no {name}"))).expect("a sound setup")
}

/// What would be written of one simulated plate, in the rows of the blank sheet: true flatness (µm), and the file.
///
/// The plate is drawn from the setup's own wear, but for what is put in its place.
fn drawn(text: &str, wear: Value, trial: u64) -> (f64, String) {
    let mut written: Value = serde_json::from_str(text).expect("JSON");
    for (field, value) in wear.as_object().expect("fields") {
        written["wear"][field] = value.clone();
    }
    let sheet = setup(text);
    let sound = setup(&written.to_string());
    let experiment = CheckExperiment::new(&sound.check).expect("a sound check");
    let (flatness, values) = experiment.written(&Streams::new(1), trial, &mut experiment.scratch());
    let blank = howflat::report::reading_sheet::ReadingSheet { setup: &sheet }.csv();
    let mut filled = String::new();
    let mut readings = values.into_iter();
    for line in blank.lines() {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        if !line.starts_with('#') && !line.starts_with("placement") {
            let value = readings.next().expect("a reading for each row");
            let in_unit = unit::Measure { value, unit: unit::MICROMETRE }.to(sheet.unit);
            // Names of targets may hold commas; time and remark do not.
            let reading = cells.len() - 3;
            cells[reading] = format!("{}", (in_unit * 1e6).round() / 1e6 + 0.0);
        }
        filled += &(cells.join(",") + "\n");
    }
    (flatness, filled)
}

/// The readings that are shipped are made up: a plate drawn by the program itself, worn as its setup says, but with a dip
/// of this depth where the rear foot of the stand comes to stand; and which trial it is.
const SHIPPED: [(&str, [&str; 3], u64); 3] = [
    ("granite-parked", ["3 µm", "0.45 in", "0.45 in"], 8),
    ("granite-turned", ["4 µm", "1.1 in", "2.2 in"], 6),
    ("iron-metric", ["2.5 µm", "433 mm", "315 mm"], 6),
];

/// The shipped readings are what the program draws; `HOWFLAT_WRITE_READINGS=1` writes them anew.
#[test]
fn the_shipped_readings_are_drawn_by_the_program() {
    for (name, [depth, from_end, from_side], trial) in SHIPPED {
        let text = shipped(&format!("{name}.json"));
        let dip = json!({ "chance": 1, "corner": "front left", "depth": depth, "radius": "45 mm",
            "from_end": from_end, "from_side": from_side });
        let (flatness, csv) = drawn(&text, json!({ "corner_dips": [dip] }), trial);
        let heights = howflat::report::heights::Heights { unit: setup(&text).unit };
        let truth = heights.text(flatness);
        // A filled sheet has no need of the note on blanks.
        let rows: String =
            csv.lines().filter(|line| !line.starts_with("# Blank")).map(|line| format!("{line}\n")).collect();
        let file = format!(
            "# Made up: drawn by the program, a dip under the rear foot, true flatness {truth}\n{rows}"
        );
        let path = format!("{}/budgets/{name}.readings.csv", env!("CARGO_MANIFEST_DIR"));
        if std::env::var_os("HOWFLAT_WRITE_READINGS").is_some() {
            std::fs::write(path, file).expect("a file");
        } else {
            assert_eq!(std::fs::read_to_string(path).expect("the shipped readings"), file, "{name}");
        }
    }
}

#[test]
fn from_the_blank_sheet_to_a_verdict() {
    let desk = Desk::new(BEGINNER, "");
    let sheet = run(howflat().arg("sheet").arg(desk.path("mine.json")));
    assert_eq!((sheet.code, sheet.err.as_str()), (0, ""));
    // Eight targets and the closing reading; the zero is filled in.
    assert_eq!(sheet.out.lines().filter(|line| line.starts_with("front left,")).count(), 9, "{}", sheet.out);
    // Nothing was read yet.
    fs::write(desk.path("mine.csv"), &sheet.out).expect("a file");
    let blank = desk.judge(&[]);
    assert_eq!((blank.code, blank.out.as_str()), (2, ""));
    assert!(blank.err.contains("besides the zero"), "{}", blank.err);
    let filled = sheet.out.replace(",1,,,", ",1,0.2,08:15,").replace("closing,,", "closing,0,");
    fs::write(desk.path("mine.csv"), filled).expect("a file");
    let judged = desk.judge(&["--tolerance", "4 tenths"]);
    assert_eq!((judged.code, judged.err.as_str()), (0, ""), "{}", judged.out);
    let mut lines = judged.out.lines();
    assert_eq!(lines.next(), Some("36 x 24 in granite plate, parked stand"));
    let verdict = lines.nth(1).expect("a verdict");
    assert!(
        verdict.starts_with("Within: with a probability of ") && verdict.contains("tolerance 4 tenths"),
        "{verdict}"
    );
    assert!(judged.out.contains("This is not a calibration."));
}

#[test]
fn a_sheet_that_is_filled_in_is_never_overwritten() {
    let desk = Desk::new(BEGINNER, SMALL);
    let out = desk.path("sheet");
    let write = || run(howflat().arg("sheet").arg(desk.path("mine.json")).arg("--out").arg(&out));
    assert_eq!(write().code, 0);
    assert_eq!(write().code, 0, "a blank one may be");
    let page = fs::read_to_string(out.join("sheet.html")).expect("a page");
    assert!(page.contains("<svg") && page.contains("@page") && !page.contains("<script"));
    assert!(page.contains("http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'"));
    assert!(
        !page.contains("http://")
            || page.matches("http://").count() == page.matches("http://www.w3.org/2000/svg").count()
    );
    let other = "placement,target,pass,reading,time,remark\na,b,1,0,,set the zero here\na,c,1,,,\n";
    for kept in [SMALL, other] {
        fs::write(out.join("sheet.csv"), kept).expect("a file");
        let refused = write();
        assert_eq!(refused.code, 2);
        assert!(refused.err.contains("is not blank as it was printed"), "{}", refused.err);
        assert_eq!(fs::read_to_string(out.join("sheet.csv")).expect("a file"), kept);
    }
}

/// A sheet asks for the cleaning that the setup counts on.
#[test]
fn a_sheet_wipes_as_the_setup_does() {
    for (state, said) in [
        ("wiped each time", "wipe again each time"),
        ("wiped once", "feet once before you begin"),
        ("not wiped", "counts on no wiping"),
    ] {
        let setup = BEGINNER.replacen('{', &format!("{{ \"cleanliness\": {{ \"state\": \"{state}\" }},"), 1);
        let page = run_sheet(&Desk::new(&setup, ""));
        assert!(page.contains(said), "{state}: {page}");
        assert_eq!(page.contains("wipe again each time"), state == "wiped each time");
    }
}

#[test]
fn exit_codes_tell_the_verdict() {
    let desk = Desk::new(BEGINNER, SMALL);
    for (arguments, code, verdict) in [
        (&["--tolerance", "5 tenths"][..], 0, "Within: "),
        (&["--tolerance", "5 µin"], 1, "Out: "),
        (&["--tolerance", "0.8 tenths"], 1, "Undecided: "),
        (&["--tolerance", "0.8 tenths", "--rule", "simple"], 1, "Undecided: "),
        (&["--tolerance", "2.5 tenths", "--rule", "shared"], 0, "Within: "),
        (&["--grade", "US B"], 0, "Within: "),
    ] {
        let run = desk.judge(arguments);
        assert_eq!((run.code, run.err.as_str()), (code, ""), "{arguments:?}: {}", run.out);
        assert!(
            run.out.lines().nth(2).is_some_and(|line| line.starts_with(verdict)),
            "{arguments:?}: {}",
            run.out
        );
    }
    for arguments in [
        &["--tolerance", "5"][..],
        &["--tolerance", "-1 µm"],
        &["--grade", "US C"],
        &["--grade", "US A", "--tolerance", "5 µm"],
        &["--rule", "guess"],
    ] {
        let run = desk.judge(arguments);
        assert_eq!((run.code, run.out.as_str()), (2, ""), "{arguments:?}");
    }
    // A name with a comma in it stands in quotes like all others.
    let names = desk.judge(&["--grade", "US C"]).err;
    assert!(names.contains("\"US A, printed table\", "), "{names}");
    // A plate without a tolerance has a flatness and no verdict.
    let desk = Desk::new(&BEGINNER.replace(", \"grade\": \"US A\"", ""), SMALL);
    let run = desk.judge(&["--json"]);
    let json: Value = serde_json::from_str(&run.out).expect("JSON");
    assert_eq!((run.code, &json["verdict"], &json["tolerance"]), (0, &Value::Null, &Value::Null));
}

#[test]
fn faults_are_told_all_at_once_by_line() {
    let desk = Desk::new(BEGINNER, "target,reading\nfront right,0\nback lft,0.2\nmiddle,0.3 K\nnowhere,\n");
    let run = desk.judge(&[]);
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    let faults: Vec<&str> = run.err.lines().collect();
    assert_eq!(faults.len(), 2, "{}", run.err);
    assert!(faults[0].contains("mine.csv: line 3, column 1: target is \"back lft\""), "{}", run.err);
    assert!(faults[0].contains("did you mean \"back left\"?"), "{}", run.err);
    assert!(faults[1].contains("mine.csv: line 4, column 8: reading is \"0.3 K\""), "{}", run.err);
}

/// The same readings in other words are the same readings.
#[test]
fn order_units_and_separators_change_nothing() {
    let plain = Desk::new(BEGINNER, SMALL).json(&[]);
    let mut rows: Vec<&str> = SMALL.lines().skip(1).collect();
    rows[1..8].reverse();
    let other: Vec<String> = rows
        .iter()
        .map(|row| {
            let (target, tenths) = row.split_once(',').expect("two cells");
            // In microinches, with a decimal comma.
            format!("{},0 µin;;{target};front left", tenths.parse::<f64>().expect("a number") * 100.0)
        })
        .collect();
    let other = format!("reading;time;target;placement\r\n{}\r\n", other.join("\r\n"));
    let other = Desk::new(BEGINNER, &other).json(&[]);
    assert_eq!(plain["spread"], other["spread"]);
    // The sampler meets them in another order; what is left is its own noise.
    let [a, b] = [&plain, &other].map(|json| json["flatness"]["mean"].as_f64().expect("a number"));
    let u = plain["flatness"]["standard_deviation"].as_f64().expect("a number");
    assert!((a - b).abs() < 0.15 * u, "{a} {b} {u}");
}

#[test]
fn the_document_has_its_keys_and_keeps_its_schema() {
    let json = Desk::new(BEGINNER, SMALL).json(&["--tolerance", "0.8 tenths"]);
    for key in [
        "unit",
        "flatness",
        "tolerance",
        "conformance_probability",
        "verdict",
        "rule",
        "spread",
        "map",
        "fit",
        "effective_sample_size",
        "prior_influence",
        "next",
    ] {
        assert!(json.get(key).is_some(), "{key} is missing");
    }
    for key in
        ["mean", "standard_deviation", "interval_symmetric", "interval_shortest", "coverage_probability"]
    {
        assert!(json["flatness"].get(key).is_some(), "flatness.{key} is missing");
    }
    for key in ["x", "y", "height", "standard_uncertainty"] {
        assert!(json["map"][0].get(key).is_some(), "map[0].{key} is missing");
    }
    assert!(json["fit"]["p_value"].is_f64() && json["fit"]["worst_reading"]["line"].is_u64());
    assert_eq!(
        (&json["unit"], &json["verdict"], &json["rule"]["name"]),
        (&json!("tenth"), &json!("undecided"), &json!("proven"))
    );
    assert!(json["effective_sample_size"].as_f64().expect("a number") >= 2000.0);
    let others: Vec<&str> = json["prior_influence"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|o| o["wear"].as_str())
        .collect();
    assert_eq!(others, ["fresh from lapping", "worn"]);
    let schema = run(howflat().args(["schema", "judge"]));
    let schema: Value = serde_json::from_str(&schema.out).expect("a schema");
    assert_eq!(misfits(&json, &schema), Vec::<String>::new());
}

#[test]
fn the_numbers_do_not_depend_on_threads_but_on_the_seed() {
    let desk = Desk::new(BEGINNER, SMALL);
    let one = desk.judge(&["--json", "--threads", "1"]).out;
    assert_eq!(one, desk.judge(&["--json", "--threads", "2"]).out);
    assert_eq!(one, desk.judge(&["--json", "--threads", "5"]).out);
    assert_ne!(one, desk.judge(&["--json", "--seed", "2"]).out);
}

/// Common practice, no source: a plate that reads 0, +2, 0, +2, 0, +1 tenths over its corners, edges and middle passes in
/// the shop for work to about two tenths, and never for work to 50 µin.
#[test]
fn the_shops_habit_ranks_the_same() {
    let readings = "front right,0\nright,2\nback right,0\nback,2\nback left,0\nmiddle,1\n";
    let desk = Desk::new(BEGINNER, readings);
    let probability = |tolerance: &str| {
        desk.json(&["--tolerance", tolerance])["conformance_probability"].as_f64().expect("a probability")
    };
    let (two_tenths, fifty_microinches) = (probability("2 tenths"), probability("50 µin"));
    assert!(two_tenths > fifty_microinches + 0.2, "{two_tenths} {fifty_microinches}");
    assert!(fifty_microinches < 0.5, "{fifty_microinches}");
}

/// What is advised to be read next can be added to the file as it is printed.
#[test]
fn what_to_read_next_reads_back() {
    let text = shipped("granite-parked.readings.csv");
    let desk = Desk::new(&shipped("granite-parked.json"), &text);
    let json = desk.json(&[]);
    let next = json["next"].as_array().expect("a list");
    assert!(next.len() >= 2 && next[0]["sets_zero"] == true, "{next:?}");
    let u = json["flatness"]["standard_deviation"].as_f64().expect("a number");
    let promised: Vec<f64> =
        next.iter().filter_map(|row| row["expected_standard_uncertainty"].as_f64()).collect();
    assert!((1..=3).contains(&promised.len()) && promised.iter().all(|p| *p < u), "{promised:?} {u}");
    let more = next.iter().map(|row| {
        let [placement, target] = ["placement", "target"].map(|key| row[key].as_str().expect("a place"));
        format!("{placement},{target},1,0,,\n")
    });
    fs::write(desk.path("mine.csv"), text + &more.collect::<String>()).expect("a file");
    let again = desk.json(&[]);
    assert_eq!(again["n_readings"].as_u64().expect("a number") as usize, 9 + next.len());
}

/// A dip where the rear foot stands makes the spread many times the flatness; the judgement finds foot and sign.
#[test]
fn a_dip_under_the_rear_foot_is_found() {
    let json = shipped_judgement("granite-turned");
    let number = |value: &Value| value.as_f64().expect("a number");
    assert_eq!(json["foot_dip"]["foot"], "rear foot");
    assert!(number(&json["foot_dip"]["height"]) < 0.0);
    let [low, high] = [0, 1].map(|end| number(&json["flatness"]["interval_symmetric"][end]));
    // The file's first line says what the plate was drawn with.
    let head = shipped("granite-turned.readings.csv");
    let words: Vec<&str> = head.lines().next().expect("a line").split(' ').collect();
    let truth: f64 = words[words.len() - 2].parse().expect("the true flatness, in tenths");
    assert!(number(&json["spread"]) > 3.0 * truth, "{} {truth}", json["spread"]);
    assert!(low < truth && truth < high, "{low} {truth} {high}");
}

fn shipped_judgement(name: &str) -> Value {
    let files = [format!("{name}.json"), format!("{name}.readings.csv")].map(|file| budgets().join(file));
    let run = run(howflat().arg("judge").args(files).arg("--json"));
    assert!(run.code <= 1 && run.err.is_empty(), "{}", run.err);
    serde_json::from_str(&run.out).expect("a document")
}

/// A slip of the pen is called by its line, and nothing is proved by readings that hold one.
#[test]
fn readings_that_do_not_fit_prove_nothing() {
    // Lower than any grain under the block could make it, and deeper than dips are.
    let slip = SMALL.replace("\nback,0.2", "\nback,-30");
    let desk = Desk::new(BEGINNER, &slip);
    let run = desk.judge(&["--tolerance", "20 tenths"]);
    assert_eq!(run.code, 1, "{}", run.out);
    assert!(run.out.contains("Undecided: these readings do not fit this setup"), "{}", run.out);
    assert!(
        run.out.contains("The reading at \"back\" from \"front left\" (line 7 of the file) is"),
        "{}",
        run.out
    );
    let json = desk.json(&[]);
    assert_eq!((&json["fit"]["misfit"], &json["fit"]["worst_reading"]["line"]), (&json!(true), &json!(7)));
}

#[test]
fn a_report_is_written_whole_and_its_readings_read_again() {
    let desk = Desk::new(BEGINNER, SMALL);
    let out = desk.path("report");
    assert_eq!(desk.judge(&["--tolerance", "5 tenths", "--out", out.to_str().expect("a path")]).code, 0);
    for name in ["result.json", "report.md", "judged.csv", "map.svg", "map.png", "flatness.svg"] {
        assert!(out.join(name).is_file(), "{name} is missing");
    }
    assert!(fs::read(out.join("map.png")).expect("a picture").starts_with(b"\x89PNG"));
    let before = fs::read_to_string(out.join("result.json")).expect("a document");
    fs::copy(out.join("judged.csv"), desk.path("mine.csv")).expect("a copy");
    let after = desk.judge(&["--tolerance", "5 tenths", "--json"]).out;
    let [before, after] = [before, after].map(|text| serde_json::from_str::<Value>(&text).expect("JSON"));
    assert_eq!((&before["flatness"], &before["spread"]), (&after["flatness"], &after["spread"]));
}

/// What a user typed acts on no terminal and in no file.
#[test]
fn hostile_remarks_and_names_are_inert() {
    let remark = "=cmd|'/c calc'!A0 <script>alert(1)</script> \u{1b}[31m \u{202e}evil `| ]]>";
    let setup = BEGINNER.replacen('{', "{ \"title\": \"<script>x</script>\\u001b[31m\",", 1);
    let rows: Vec<String> = SMALL
        .lines()
        .skip(1)
        .map(|row| {
            format!(
                "front left,{},1,{},{remark},\"{remark}\"",
                row.split(',').next().expect("a target"),
                row.split(',').nth(1).expect("a reading")
            )
        })
        .collect();
    let desk = Desk::new(&setup, &rows.join("\n"));
    let out = desk.path("report");
    let run = desk.judge(&["--out", out.to_str().expect("a path")]);
    assert!(run.code <= 1, "{}", run.err);
    assert!(!run.out.contains('\u{1b}') && !run.out.contains('\u{202e}'));
    for name in ["report.md", "judged.csv", "map.svg", "flatness.svg", "result.json"] {
        let text = fs::read_to_string(out.join(name)).expect("a file");
        assert!(!text.contains('\u{1b}') && !text.contains('\u{202e}'), "{name}");
        assert!(["judged.csv", "result.json"].contains(&name) || !text.contains("<script"), "{name}");
        assert!(!text.contains(",=cmd") && !text.contains(",\"=cmd"), "{name}");
    }
    let page = run_sheet(&desk);
    assert!(!page.contains("<script") && !page.contains('\u{1b}'));
}

fn run_sheet(desk: &Desk) -> String {
    run(howflat().arg("sheet").arg(desk.path("mine.json")).arg("--html")).out
}

#[test]
fn standard_input_for_one_of_the_two() {
    let desk = Desk::new(BEGINNER, SMALL);
    let piped = run(howflat()
        .arg("judge")
        .arg(desk.path("mine.json"))
        .args(["-", "--tolerance", "5 tenths"])
        .write_stdin(SMALL));
    assert_eq!((piped.code, piped.err.as_str()), (0, ""));
    let both = run(howflat().args(["judge", "-", "-"]).write_stdin(SMALL));
    assert_eq!((both.code, both.out.as_str()), (2, ""));
}

/// A carried stand over a pattern of this many rows and columns, in two headings.
fn pattern(rows: usize, columns: usize) -> String {
    let mut written: Value = serde_json::from_str(&shipped("granite-carried.json")).expect("JSON");
    written["survey"]["pattern"] = json!({ "rows": rows, "columns": columns });
    written.to_string()
}

/// Time grows with the cube of the readings: what cannot be judged in time is refused before it is begun, with the number
/// that can; and checks of so many readings are simulated all the same, without judging them.
#[test]
fn more_readings_than_can_be_judged_are_refused() {
    let text = pattern(8, 7);
    let (_, readings) = drawn(&text, json!({}), 3);
    let desk = Desk::new(&text, &readings);
    let refused = desk.judge(&[]);
    assert_eq!(refused.code, 2, "{}{}", refused.out, refused.err);
    assert!(refused.out.is_empty());
    // All but the zero; the closing reading counts.
    assert!(
        refused.err.contains("mine.csv") && refused.err.contains("112 different readings"),
        "{}",
        refused.err
    );
    assert!(refused.err.contains("at most 100"), "{}", refused.err);
    let simulated =
        run(howflat().args(["simulate", "--trials", "1000", "--json"]).arg(desk.path("mine.json")));
    assert_eq!(simulated.code, 0, "{}", simulated.err);
    let found: Value = serde_json::from_str(&simulated.out).expect("JSON");
    assert!(found["model_based"].is_null(), "{}", found["model_based"]);
}

/// As many as can be judged are.
#[test]
fn a_hundred_readings_are_judged() {
    let text = pattern(5, 10);
    let (truth, readings) = drawn(&text, json!({}), 5);
    let found = Desk::new(&text, &readings).json(&[]);
    let interval = &found["flatness"]["interval_symmetric"];
    let at = |k: usize| interval[k].as_f64().expect("a number") * 2.54;
    assert!(at(0) < truth && truth < at(1), "{truth} in {interval}");
}

/// Every sentence of a judgement that carries a number or a decision, against the numbers of its document. Heights have two
/// decimals, probabilities are whole percents.
fn words_follow_from_numbers(report: &str, json: &Value) {
    let number = |value: &Value| value.as_f64().expect("a number");
    let said = |words: String| assert!(report.contains(&words), "not said: {words}");
    let percent = |p: f64| format!("{:.0} %", 100.0 * p);
    let unit =
        if json["unit"] == "tenth" { "tenths".to_owned() } else { json["unit"].as_str().unwrap().to_owned() };
    let height = |value: f64| format!("{value:.2} {unit}");
    let between = |interval: &Value| {
        format!("between {:.2} and {}", number(&interval[0]), height(number(&interval[1])))
    };

    // The verdict: a proof is 95 % on either side, and nothing that a minute at the plate would settle.
    let tolerance = number(&json["tolerance"]);
    let p = number(&json["conformance_probability"]);
    let proof = number(&json["rule"]["probability"]);
    let settled = json["hangs_on"].as_array().unwrap().is_empty() && json["sample_suffices"] == true;
    let verdict = match p {
        p if settled && p >= proof => "within",
        p if settled && 1.0 - p >= proof => "out",
        _ => "undecided",
    };
    assert_eq!(json["verdict"], verdict);
    if verdict == "undecided" && settled {
        said(format!(
            "Undecided: with a probability of {} the plate's flatness deviation is at most {}",
            percent(p),
            height(tolerance)
        ));
        said(format!("the rule asks for a proof at {}", percent(proof)));
    }

    // What the readings say, and against what was taken for granted.
    let (mean, interval) = (number(&json["flatness"]["mean"]), &json["flatness"]["interval_symmetric"]);
    let u = number(&json["flatness"]["standard_deviation"]);
    said(format!(
        "estimated at {}, with a standard uncertainty of {}; with a probability of 95 % it lies {}",
        height(mean),
        height(u),
        between(interval)
    ));
    let spread = number(&json["spread"]);
    let allowed = (number(&interval[0])..=number(&interval[1])).contains(&spread);
    said(if allowed {
        format!("the spread would have said {}, which the estimate's uncertainty allows", height(spread))
    } else {
        let more = if spread > mean { "more" } else { "less" };
        let off = height((spread - mean).abs());
        format!("the spread would have said {}, which is {off} {more} than the estimate", height(spread))
    });
    said(format!(
        "a plate as the setup describes it lies {}; now it lies {} (95 %)",
        between(&json["before"]["interval_symmetric"]),
        between(interval)
    ));
    let before = number(&json["conformance_probability_before"]);
    said(format!("within with a probability of {} before any reading", percent(before)));
    let factor = number(&json["evidence"]["factor"]);
    // Posterior odds over prior odds (Bayes' theorem), from the two probabilities alone.
    let odds = |p: f64| p / (1.0 - p);
    // A share of draws is kept off 0 and 1, which is little beside what the number of draws leaves open.
    let slack = 0.1 * number(&json["evidence"]["relative_standard_uncertainty"]);
    assert!((odds(p) / odds(before) / factor - 1.0).abs() < slack, "{factor}");
    let (favoured, other) = if factor >= 1.0 { ("within", "out") } else { ("out", "within") };
    let ratio = factor.max(1.0 / factor);
    said(format!("favour a plate that is {favoured} over one that is {other} by {ratio:.1} to 1"));
    assert_eq!(report.contains("hardly tell the two apart"), ratio < 3.0, "{ratio}");
    let doubted = number(&json["evidence"]["conformance_probability_if_doubted"]);
    assert!((odds(doubted) / factor - 1.0).abs() < slack, "even odds times the factor: {doubted}");
    said(format!(
        "as likely before it is read, the plate would be within with a probability of {}",
        percent(doubted)
    ));
    for kind in json["prior_influence"].as_array().unwrap() {
        let estimate = height(number(&kind["flatness"]["mean"]));
        said(format!("{estimate} as \"{}\"", kind["wear"].as_str().unwrap()));
        let p = number(&kind["conformance_probability"]);
        let turned = verdict == "undecided" && settled && (p >= proof || 1.0 - p >= proof);
        let name = kind["wear"].as_str().unwrap();
        assert_eq!(report.contains(&format!("as \"{name}\", and the verdict")), turned, "{name}: {p}");
    }

    // Whether readings and setup go together: alarms at 1 in 100.
    let p_value = number(&json["fit"]["p_value"]);
    assert_eq!(json["fit"]["misfit"] == true, p_value < 0.01);
    assert_eq!(report.contains(&format!("The readings fit the setup (p = {p_value:.2})")), p_value >= 0.01);
    let closing = number(&json["fit"]["closing_p_value"]);
    let came_back = format!("The zero came back as well as it should (p = {closing:.2})");
    assert_eq!(report.contains(&came_back), closing >= 0.01);

    // What was not looked at.
    let unseen = &json["unseen"];
    let length_unit = json["length_unit"].as_str().unwrap();
    let is_named = |hollow: &&Value| {
        report.contains(&format!("a hollow {:.0} {length_unit} across and", number(&hollow["across"])))
    };
    let named = unseen["hollows"].as_array().unwrap().iter().find(is_named).expect("one of the hollows");
    said(format!("and {} deep ", height(number(&unseen["depth"]))));
    assert_eq!(number(&unseen["depth"]), tolerance);
    let share = number(&named["share_of_working_surface"]);
    said(format!("So it is with {} of the working surface", percent(share)));
    said(format!("takes one in {:.0} plates to be out", 1.0 / number(&unseen["plates_turned"])));
    assert_eq!(report.contains("It hangs on them"), unseen["verdict_hangs_on_it"] == true);

    // What to read next, and what that is worth.
    let next = json["next"].as_array().unwrap();
    let reached = next.iter().filter_map(|row| row["expected_standard_uncertainty"].as_f64());
    let reached: Vec<f64> = reached.collect();
    assert!(reached.is_sorted_by(|a, b| a >= b) && reached.iter().all(|&left| left < u), "{reached:?}");
    said(format!(
        "the standard uncertainty should shrink from {} to about {}",
        height(u),
        height(*reached.last().unwrap())
    ));
    let proves = number(&json["next_proves"]);
    said(format!("the plate is within with a probability of {}", percent(proves)));
    assert_eq!(report.contains("which is not yet a proof"), proves < proof);

    // Every reading, with what the others say of it.
    for row in json["readings"].as_array().unwrap() {
        let cells = |key: &str| row[key].as_f64().map_or(String::new(), |value| format!("{value:.2}"));
        let table_row = report
            .lines()
            .find(|line| {
                line.starts_with('|')
                    && line.split('|').nth(1).unwrap().trim().parse().ok() == row["line"].as_u64()
            })
            .unwrap_or_else(|| panic!("no row of line {}", row["line"]));
        let shown: Vec<&str> = table_row.split('|').map(str::trim).collect();
        assert_eq!(shown[5..9], ["value", "foreseen", "off", "p_value"].map(cells), "{table_row}");
        if let [Some(value), Some(foreseen), Some(off)] =
            ["value", "foreseen", "off"].map(|key| row[key].as_f64())
        {
            assert!((value - foreseen - off).abs() < 1e-9, "{table_row}");
        }
    }
}

#[test]
fn shipped_words_follow_from_shipped_numbers() {
    for name in ["granite-parked/judge", "granite-turned/judge", "iron-metric/judge"] {
        let (report, json) = shipped_report(name);
        words_follow_from_numbers(&report, &json);
    }
}

/// Numbers and dates stand in the title block and in the document; a certificate that had run out on the day of the report is
/// said beside the answer, one that had not is not (ISO/IEC 17025:2017, 6.5 and 7.8.2 ask for the trace).
#[test]
fn an_overdue_certificate_is_said_beside_the_answer() {
    let setup = BEGINNER.replacen(
        '{',
        r#"{ "traceability": {
            "plate": { "serial": "LM-07", "certificate": "C-118", "calibrated": "2024-05-02", "due": "2026-05-02" },
            "indicator": { "serial": "T-3", "due": "2027-01-15" }, "checked_by": "A. Keeper" },"#,
        1,
    );
    let folder = tempfile::tempdir().expect("a folder");
    let [mine, out] = ["mine.json", "out"].map(|name| folder.path().join(name));
    std::fs::write(&mine, setup).expect("a setup");
    let mut pages = ["2026-05-02", "2026-05-03", "a Friday"].into_iter().map(|date| {
        let command = ["simulate", "--trials", "2000", "--judged", "0", "--date", date];
        let found = run(howflat().args(command).arg(&mine).arg("--out").arg(&out));
        assert_eq!(found.code, 0, "{}", found.err);
        std::fs::read_to_string(out.join("report.md")).expect("a report")
    });
    let [in_time, late, unknown]: [String; 3] = std::array::from_fn(|_| pages.next().expect("a page"));
    let said = "Overdue on 2026-05-03: the plate's certificate (C-118) was due on 2026-05-02.";
    assert!(late.contains(said) && !late.contains("indicator's certificate"), "{late}");
    assert!([in_time, unknown].iter().all(|page| !page.contains("Overdue")));
    for fact in [
        "plate no.: serial LM-07, certificate C-118, calibrated 2024-05-02, due 2026-05-02",
        "checked by: A. Keeper",
    ] {
        assert!(late.contains(fact), "{fact} in {late}");
    }
    let document: Value =
        serde_json::from_str(&std::fs::read_to_string(out.join("result.json")).expect("a document"))
            .expect("JSON");
    assert_eq!(document["traceability"]["indicator"]["serial"], "T-3");
}
