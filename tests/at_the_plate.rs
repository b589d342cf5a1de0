//! The page for the person at the plate: its answers are the library's and the commands', and its server answers nobody else.

use crate::common::program::{BEGINNER, Desk, howflat, run};
use howflat::page::{LONGEST_QUESTION, answer};
use serde_json::{Value, json};
use std::{
    fs,
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    process::{Child, Command, Stdio},
    thread,
    time::{Duration, Instant},
};

fn ask(question: &Value) -> Value {
    serde_json::from_str(&answer(&question.to_string())).unwrap()
}

fn about(setup: &str) -> Value {
    json!({ "setup": setup })
}

/// The walk of the beginner's plate with these readings in it, in order; blank where there are none.
fn typed(readings: &[&str]) -> Vec<Value> {
    let bench = ask(&json!({ "ask": "bench", "about": about(BEGINNER) }));
    let rows = bench["walk"].as_array().unwrap().iter().map(|step| step["row"].clone());
    rows.enumerate()
        .map(|(i, mut row)| {
            row["reading"] = json!(readings.get(i).copied().unwrap_or(""));
            row
        })
        .collect()
}

/// What was read on the shipped plate.
const READ: [&str; 9] = ["0", "-4", "1.6", "2.6", "-2.2", "-1", "3.8", "1.8", "0.6"];

#[test]
fn every_field_is_named_with_what_it_takes() {
    let answer = ask(&json!({ "ask": "fields" }));
    let fields = answer["fields"].as_array().unwrap();
    let field =
        |path: &str| fields.iter().find(|field| field["path"] == path).unwrap_or_else(|| panic!("{path}"));
    // As `src/setup/written.rs` says.
    assert_eq!(field("plate.length")["range"], json!(["100 mm", "10 m"]));
    assert_eq!(field("survey.passes")["default"], "1");
    assert_eq!(field("survey.passes")["range"], json!(["1", "50"]));
    assert_eq!(field("stand.pad_diameter")["source"], "pads are 8 to 15 mm; common practice, no source");
    assert_eq!(field("survey.stand")["choices"], json!(["parked", "turned", "carried"]));
    assert_eq!(field("temperature.top_to_bottom")["uncertain"], true);
    for path in [
        "stand.feet.front_apart",
        "wear.state",
        "cleanliness.grain_chance",
        "decision.consumer_risk",
        "survey.placements",
    ] {
        field(path);
    }
    // Every one that is assumed for a beginner's plate can be given.
    let bench = ask(&json!({ "ask": "bench", "about": about(BEGINNER) }));
    for assumed in bench["assumed"].as_array().unwrap() {
        let path = assumed["field"].as_str().unwrap().split('[').next().unwrap();
        let is_held = fields.iter().any(|field| {
            let known = field["path"].as_str().unwrap();
            path == known || path.starts_with(&format!("{known}.")) || known.starts_with(&format!("{path}."))
        });
        assert!(is_held, "{path} is in no field");
    }
    for question in answer["questions"].as_array().unwrap() {
        let path = question["path"].as_str().unwrap();
        assert!(
            path == "wear" || path == "cleanliness" || fields.iter().any(|f| f["path"] == path),
            "{path}"
        );
    }
}

#[test]
fn faults_of_a_setup_are_told_by_field() {
    for (setup, field) in [
        (BEGINNER.replace("36 in", "36"), "plate.length"),
        (BEGINNER.replace("US A", "US Z"), "plate.grade"),
        (BEGINNER.replace("6 in", "0.1 in"), "stand.feet.front_to_rear"),
    ] {
        let answer = ask(&json!({ "ask": "bench", "about": about(&setup) }));
        assert_eq!(answer["answer"], "refused", "{answer}");
        let fault = &answer["faults"][0];
        assert_eq!(fault["field"], field);
        assert!(
            fault["line"].as_u64().is_some() && fault["said"].as_str().unwrap().contains("must be"),
            "{fault}"
        );
    }
}

/// The walk is the reading sheet, and its geometry the survey's: the stand's column lies where the arm begins.
#[test]
fn the_walk_is_the_sheet() {
    let desk = Desk::new(BEGINNER, "");
    let sheet = run(howflat().arg("sheet").arg(desk.path("mine.json"))).out;
    let bench = ask(&json!({ "ask": "bench", "about": about(BEGINNER) }));
    let walk = bench["walk"].as_array().unwrap();
    let lines: Vec<&str> = sheet.lines().filter(|line| !line.starts_with('#')).skip(1).collect();
    assert_eq!(walk.len(), lines.len());
    for (step, line) in walk.iter().zip(lines) {
        let row = &step["row"];
        let cells: Vec<&str> = ["placement", "target", "pass", "reading"]
            .iter()
            .map(|name| row[name].as_str().unwrap())
            .collect();
        assert!(line.starts_with(&cells.join(",")), "{line}: {cells:?}");
        // 5 in between the front feet, 6 in to the rear, column over the middle of the feet: 2 in behind the front line.
        let feet: Vec<[f64; 2]> = serde_json::from_value(step["feet"].clone()).unwrap();
        let column: [f64; 2] = serde_json::from_value(step["column"].clone()).unwrap();
        let apart = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]) / 25.4;
        let front = [(feet[0][0] + feet[1][0]) / 2.0, (feet[0][1] + feet[1][1]) / 2.0];
        assert!((apart(column, front) - 2.0).abs() < 1e-9 && (apart(column, feet[2]) - 4.0).abs() < 1e-9);
    }
    assert_eq!(walk.iter().filter(|step| step["zero"] == true).count(), 1);
    assert_eq!(walk.last().unwrap()["closing"], true);
}

/// What is typed gives the numbers of `howflat judge`, and its report the same bytes.
#[test]
fn readings_are_judged_as_by_the_command() {
    let rows = typed(&READ);
    let looked = ask(&json!({ "ask": "look", "about": about(BEGINNER), "readings": rows }));
    assert_eq!(
        (looked["n_readings"].as_u64(), looked["doubted"].as_array().map(Vec::len)),
        (Some(9), Some(0))
    );
    // 3.8 + 4, read off by hand.
    assert!((looked["spread"].as_f64().unwrap() - 7.8).abs() < 1e-9);
    let desk = Desk::new(BEGINNER, looked["csv"].as_str().unwrap());
    let command = desk.judge(&["--json", "--date", "3 May", "--out", desk.path("out").to_str().unwrap()]);
    let mut expected: Value = serde_json::from_str(&command.out).unwrap();
    expected.as_object_mut().unwrap().remove("map");
    let mut judged = ask(&json!({ "ask": "judge", "about": about(BEGINNER), "readings": rows }));
    assert_eq!(judged["answer"], "judged", "{judged}");
    expected["date"] = Value::Null;
    assert_eq!(judged["result"].take(), expected);
    assert_eq!(judged["shown"]["verdict"], expected["verdict"]);
    assert!(judged["effective_draws"].as_f64().unwrap() >= 2000.0);

    let report = |by: &str| {
        let question = json!({
            "ask": "report", "about": about(BEGINNER), "readings": rows, "date": "3 May", "checked_by": by
        });
        ask(&question)["html"].as_str().unwrap().to_string()
    };
    assert_eq!(report(" "), fs::read_to_string(desk.path("out").join("report.html")).unwrap());
    let signed = report("<b>A. Keeper</b>");
    assert!(
        signed.contains("checked by</dt><dd>&lt;b&gt;A. Keeper&lt;/b&gt;"),
        "who checked stands there as text"
    );
}

/// Some of the readings are judged as a file with only these is.
#[test]
fn part_of_the_walk_is_judged() {
    let rows = typed(&["0", "-4", "1.6"]);
    let judged = ask(&json!({ "ask": "judge", "about": about(BEGINNER), "readings": rows, "draws": "few" }));
    assert_eq!(judged["n_readings"], 3);
    assert_eq!(judged["full"], false);
    let all =
        ask(&json!({ "ask": "judge", "about": about(BEGINNER), "readings": typed(&READ), "draws": "few" }));
    let width = |answer: &Value| {
        let interval = answer["result"]["flatness"]["interval_symmetric"].clone();
        let [low, high]: [f64; 2] = serde_json::from_value(interval).unwrap();
        high - low
    };
    assert!(width(&judged) > width(&all), "with two readings more is open than with eight");

    // What is open would narrow that, each a little more; what is read is not among it.
    let full = ask(&json!({ "ask": "judge", "about": about(BEGINNER), "readings": rows }));
    let now = full["result"]["flatness"]["standard_deviation"].as_f64().unwrap();
    let open = full["open"].as_array().unwrap();
    let then: Vec<f64> = open.iter().map(|one| one["standard_uncertainty_then"].as_f64().unwrap()).collect();
    assert!(!then.is_empty() && then[0] < now && then.is_sorted_by(|a, b| a >= b), "{now}: {then:?}");
    let mut open_rows: Vec<u64> = open.iter().map(|one| one["row"].as_u64().unwrap()).collect();
    open_rows.sort_unstable();
    open_rows.dedup();
    assert!(
        open_rows.len() == open.len() && open_rows.iter().all(|row| (3..8).contains(row)),
        "{open_rows:?}"
    );
    let whole = ask(&json!({ "ask": "judge", "about": about(BEGINNER), "readings": typed(&READ) }));
    assert_eq!(whole["open"], json!([]), "nothing is open where all is read");
}

#[test]
fn a_check_is_simulated_as_by_the_command() {
    let desk = Desk::new(BEGINNER, "");
    let arguments = ["--trials", "2000", "--judged", "0", "--json"];
    let command = run(howflat().arg("simulate").arg(desk.path("mine.json")).args(arguments));
    let expected: Value = serde_json::from_str(&command.out).unwrap();
    let check = ask(&json!({ "ask": "check", "about": about(BEGINNER), "n_trials": 2000 }));
    assert_eq!(check["result"], expected);
    let parts = check["shown"]["parts"].as_array().unwrap();
    for name in ["histogram", "shares"] {
        assert!(parts.iter().any(|part| part["name"] == name), "{name}");
    }
    assert!(parts.iter().any(|part| part["card"] == true), "the card is shown");
}

#[test]
fn readings_that_cannot_be_meant_are_asked_about() {
    let look = |reading: &str| {
        let rows = typed(&["0", reading]);
        ask(&json!({ "ask": "look", "about": about(BEGINNER), "readings": rows }))
    };
    // A tenth is a graduation here, and a fifth of it is read.
    for (reading, doubt) in
        [("100", "100 graduations"), ("-250", "250 graduations"), ("1.3", "between the marks")]
    {
        let said = &look(reading)["doubted"][0];
        assert_eq!(said["row"], 1, "{reading}");
        assert!(said["said"].as_str().unwrap().contains(doubt), "{said}");
    }
    for reading in ["1.2", "-3", "1,2", "\u{2212}1.4", "50 µin"] {
        let looked = look(reading);
        let doubts = looked["doubted"].as_array().unwrap_or_else(|| panic!("{reading}: {looked}"));
        // 50 µin is half a tenth, which is between the marks of fifths.
        assert_eq!(doubts.len(), usize::from(reading.contains("µin")), "{reading}");
    }
    for reading in ["high", "0.0001", "1 2"] {
        let refused = look(reading);
        assert_eq!(refused["answer"], "refused", "{reading}");
        assert_eq!(refused["faults"][0]["row"], 1, "{reading}");
    }
}

#[test]
fn a_readings_file_is_opened_or_refused_by_line() {
    let open = |file: &str| ask(&json!({ "ask": "open", "about": about(BEGINNER), "file": file }));
    let shipped = fs::read_to_string("budgets/granite-parked.readings.csv").unwrap();
    let opened = open(&shipped);
    let rows = opened["readings"].as_array().unwrap();
    assert_eq!(rows.iter().map(|row| row["reading"].as_str().unwrap()).collect::<Vec<_>>(), READ);
    assert_eq!(rows[8]["pass"], "1 closing");
    let in_microinches = open("target,reading (µin)\nback right,-400\n");
    assert_eq!(in_microinches["readings"][0]["reading"], "-400 µin");
    let broken = open(&shipped.replace("1.6", "one"));
    assert_eq!(broken["answer"], "refused");
    // Counted in the file: three lines of comment, a heading, zero, back right, back left.
    assert_eq!(broken["faults"][0]["line"], 7);
}

#[test]
fn what_is_no_question_is_refused_in_words() {
    let long = format!("\"{}\"", "a".repeat(LONGEST_QUESTION));
    for (question, said) in [
        ("", "not a question"),
        ("{", "not a question"),
        ("[]", "not a question"),
        (r#"{"ask": "verdict"}"#, "unknown variant"),
        (r#"{"ask": "bench", "about": {"setup": "{}", "path": "/etc"}}"#, "unknown field"),
        (r#"{"ask": "check", "about": {"setup": "{}"}, "n_trials": -1}"#, "not a question"),
        (&long, "a question of"),
    ] {
        let answer: Value = serde_json::from_str(&answer(question)).unwrap();
        assert_eq!(answer["answer"], "refused");
        assert!(answer["said"].as_str().unwrap().contains(said), "{answer}");
    }
    for n_trials in [0_u64, 999, 100_001, u64::MAX] {
        let refused = ask(&json!({ "ask": "check", "about": about(BEGINNER), "n_trials": n_trials }));
        assert!(refused["said"].as_str().unwrap().starts_with("n_trials is "), "{refused}");
    }
}

/// A setup may name files, which come with it or are asked for; none is ever looked for.
#[test]
fn a_measured_map_comes_with_its_setup() {
    let setup = fs::read_to_string("budgets/measured-map.json").unwrap();
    let map = fs::read_to_string("budgets/measured-map.csv").unwrap();
    let refused = ask(&json!({ "ask": "bench", "about": about(&setup) }));
    assert!(refused["said"].as_str().unwrap().contains("open it together with the setup"), "{refused}");
    let given = json!({ "setup": setup, "files": { "measured-map.csv": map } });
    assert_eq!(ask(&json!({ "ask": "bench", "about": given }))["answer"], "bench");
}

/// With the rear foot in the dip's middle and the block clear of it, the indicator shows depth times (reach − front)/(rear − front):
/// the line through rear and front carried out to the tip.
#[test]
fn the_lesson_shows_the_lever() {
    let lesson = |more: Value| {
        let mut question = json!({ "ask": "lesson", "about": about(BEGINNER) });
        question.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        ask(&question)
    };
    // Front feet 2 in ahead of the column, rear 4 in behind it.
    for (reach, depth) in [(14.0, 1.0), (20.0, 2.5), (26.0, 0.0)] {
        let shown = lesson(json!({ "at": 4.0, "reach": reach, "depth": depth }));
        // The block, 14 in and more from the dip of 1.2 in, and the front feet, 6 in from it (five sigma): 4e-6 of it at most.
        let expected = -depth * (reach - 2.0) / 6.0;
        let reading = shown["reading"].as_f64().unwrap();
        assert!((reading - expected).abs() <= 2e-5 * expected.abs(), "{reach}: {reading} {expected}");
    }
    // A carried stand reads nothing of a bow (a quadratic has the same curvature everywhere).
    let carried = lesson(json!({ "bow": 6.0 }));
    let places: Vec<[f64; 3]> = serde_json::from_value(carried["carried"].clone()).unwrap();
    assert!(places.len() > 10 && places.iter().all(|place| place[2].abs() < 1e-9), "{places:?}");
    let bowed = places.iter().map(|place| place[1]).fold(f64::MIN, f64::max);
    assert!(bowed > 4.0, "it is bowed all the same: {bowed}");
    // No handle can be put where there is nothing to show.
    let ends = lesson(json!({ "at": 1e300, "reach": -1e300, "depth": 1e300, "bow": -5 }));
    for name in ["at", "reach", "depth", "bow"] {
        let [at, from, to] = ["at", "from", "to"].map(|end| ends[name][end].as_f64().unwrap());
        assert!((from..=to).contains(&at), "{name}");
    }
    assert!(ends["reading"].as_f64().unwrap().is_finite());
}

/// A server that is stopped when the test is over.
struct Served {
    program: Child,
    port: u16,
    path: String,
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}

impl Served {
    fn new() -> Self {
        let mut program = Command::new(env!("CARGO_BIN_EXE_howflat"))
            .arg("page")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut address = String::new();
        BufReader::new(program.stdout.take().unwrap()).read_line(&mut address).unwrap();
        let rest = address.trim().strip_prefix("http://127.0.0.1:").unwrap();
        let (port, path) = rest.split_once('/').unwrap();
        Self { program, port: port.parse().unwrap(), path: format!("/{path}") }
    }

    /// Sends a request as it stands, and gives status and body.
    fn send(&self, request: &str) -> (u16, String) {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
        let mut response = String::new();
        stream.read_to_string(&mut response).unwrap();
        let status = response.split(' ').nth(1).unwrap().parse().unwrap();
        let (head, body) = response.split_once("\r\n\r\n").unwrap();
        assert!(
            head.contains("Cache-Control: no-store") && head.contains("frame-ancestors 'none'"),
            "{head}"
        );
        (status, body.to_string())
    }

    fn post(&self, question: &str) -> String {
        let Self { port, path, .. } = self;
        format!(
            "POST {path}ask HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nContent-Type: \
             application/json\r\nContent-Length: {}\r\n\r\n{question}",
            question.len()
        )
    }
}

#[test]
fn the_page_is_served_with_its_answers() {
    let served = Served::new();
    let Served { port, path, .. } = &served;
    let (status, page) = served.send(&format!("GET {path} HTTP/1.1\r\nHost: localhost:{port}\r\n\r\n"));
    assert_eq!(status, 200);
    assert_eq!(page, howflat::page::document(howflat::page::Engine::Served, None));
    let question = json!({ "ask": "bench", "about": about(BEGINNER) }).to_string();
    assert_eq!(served.send(&served.post(&question)), (200, answer(&question)));
}

#[test]
fn nobody_else_is_answered() {
    let served = Served::new();
    let Served { port, path, .. } = &served;
    let fine = served.post(r#"{"ask": "fields"}"#);
    assert_eq!(served.send(&fine).0, 200);
    let origin = format!("Origin: http://127.0.0.1:{port}\r\n");
    let own = format!("Host: 127.0.0.1:{port}");
    let wrong_token = format!("/{}/", "0".repeat(32));
    for (request, status) in [
        (format!("GET / HTTP/1.1\r\n{own}\r\n\r\n"), 404),
        (format!("GET {wrong_token} HTTP/1.1\r\n{own}\r\n\r\n"), 404),
        (fine.replace(path.as_str(), &wrong_token), 404),
        (fine.replace(&own, &format!("Host: evil.example:{port}")), 403),
        (fine.replace(&own, "Host: 127.0.0.1"), 403),
        (fine.replace(&format!("{own}\r\n"), ""), 403),
        (format!("GET {path} HTTP/1.1\r\nHost: evil.example\r\n\r\n"), 403),
        (format!("GET {path} HTTP/1.1\r\n{own}\r\n{own}\r\n\r\n"), 400),
        (fine.replace(&origin, "Origin: http://evil.example\r\n"), 403),
        (fine.replace(&origin, "Origin: null\r\n"), 403),
        (fine.replace(&origin, &format!("Origin: http://localhost:{port}\r\n")), 403),
        (fine.replace(&origin, ""), 403),
        (fine.replace("application/json", "text/plain"), 415),
        (fine.replace("Content-Length: 17\r\n", ""), 411),
        (fine.replace("Content-Length: 17", &format!("Content-Length: {}", LONGEST_QUESTION + 1)), 413),
        (fine.replace("Content-Length: 17", "Content-Length: -1"), 413),
        (format!("GET {path} HTTP/1.1\r\nX: {}\r\n\r\n", "a".repeat(20_000)), 400),
        ("\0\0\0\r\n\r\n".to_string(), 400),
    ] {
        let (found, body) = served.send(&request);
        assert_eq!(found, status, "{}", &request[..request.len().min(300)]);
        assert!(body.len() < 200 && !body.contains(path.as_str()), "a refusal gives nothing away");
    }
    assert_eq!(served.send(&fine).0, 200, "and it still answers");
}

/// A long question is given up for the next one, and says so.
#[test]
fn the_next_question_ends_the_running_one() {
    let served = Served::new();
    let long =
        served.post(&json!({ "ask": "check", "about": about(BEGINNER), "n_trials": 100_000 }).to_string());
    let began = Instant::now();
    thread::scope(|scope| {
        let running = scope.spawn(|| served.send(&long));
        thread::sleep(Duration::from_millis(700));
        assert_eq!(served.send(&served.post(r#"{"ask": "fields"}"#)).0, 200);
        let (status, said) = running.join().unwrap();
        assert_eq!(status, 409, "{said}");
    });
    // A hundred thousand plates with their shares take many times as long.
    assert!(began.elapsed() < Duration::from_secs(20), "{:?}", began.elapsed());
}

#[test]
fn a_program_without_the_browser_engine_says_how_to_build_one() {
    if cfg!(feature = "browser-engine") {
        return;
    }
    let desk = Desk::new(BEGINNER, "");
    let file = desk.path("howflat.html");
    let told = run(howflat().args(["page", "--save"]).arg(&file));
    assert_eq!(told.code, 2);
    assert!(!file.exists());
    let readme = fs::read_to_string("README.md").unwrap();
    let commands =
        told.err.lines().filter_map(|line| line.trim().strip_prefix("and then: ").or(Some(line.trim())));
    let commands: Vec<&str> =
        commands.filter(|line| line.starts_with("rustup ") || line.starts_with("cargo ")).collect();
    assert_eq!(commands.len(), 3, "{}", told.err);
    for command in commands {
        let begins = command.split(" FILE").next().unwrap();
        assert!(readme.contains(begins), "the README has: {begins}");
    }
}

#[test]
fn a_setup_with_faults_is_not_served() {
    let desk = Desk::new(&BEGINNER.replace("36 in", "36"), "");
    let told = run(howflat().arg("page").arg(desk.path("mine.json")));
    assert_eq!(told.code, 2);
    assert!(told.err.contains("plate.length") && told.out.is_empty(), "{}", told.err);
}
