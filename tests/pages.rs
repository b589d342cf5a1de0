//! The pages of HTML: the same numbers as in Markdown, nothing from outside, and what users typed is inert in every format.
//!
//! That they are valid, accessible and printable is checked in a browser, by `tests/page/check.mjs`.

use crate::common::program::howflat;
use std::{collections::BTreeMap, fs, path::Path};

/// What a hostile or careless person may type: markup of every format, a formula, an escape sequence, a direction
/// override; and letters that must survive.
const EVIL: &str =
    "=1+1 <script>alert(1)</script> ]]> -- --> & \" ' `*_| ${x} <!-- \\u001b[31m \\u202egnp.exe שלום 📐";

fn setup() -> String {
    // A name is matched as it is written in the readings, so it holds nothing that a sheet could not.
    let name = EVIL.replace("\\u001b", "").replace("\\u202e", "").replace('"', "\\\"");
    format!(
        r#"{{ "title": "{}",
  "plate": {{ "length": "36 in", "width": "24 in", "grade": "US A" }},
  "stand": {{ "feet": {{ "front_apart": "5 in", "front_to_rear": "6 in" }} }},
  "indicator": {{ "graduation": "0.0001 in" }},
  "survey": {{ "placements": [ {{ "name": "{name}", "at": ["4 in", "4 in"], "heading": "33°", "targets": [
    {{ "name": "{name}", "at": ["34 in", "2 in"] }}, {{ "name": "b", "at": ["34 in", "22 in"] }},
    {{ "name": "c", "at": ["2 in", "22 in"] }}, {{ "name": "d", "at": ["18 in", "12 in"] }} ] }} ] }}
}}"#,
        EVIL.replace('"', "\\\"")
    )
}

/// Runs a command with `--out` and gives back every file of its report.
fn report(arguments: &[&str], folder: &Path) -> BTreeMap<String, String> {
    let out = folder.join("out");
    let output = howflat()
        .current_dir(folder)
        .args(arguments)
        .arg("--out")
        .arg(&out)
        .output()
        .expect("a program that runs");
    assert!(matches!(output.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&output.stderr));
    let mut files = BTreeMap::from([(
        "screen.txt".to_string(),
        String::from_utf8(output.stdout).expect("text on the screen"),
    )]);
    for entry in fs::read_dir(&out).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.extension().is_none_or(|ending| ending != "png") {
            let name = path.file_name().expect("a name").to_string_lossy().into_owned();
            files.insert(name, fs::read_to_string(&path).expect("a text file"));
        }
    }
    files
}

/// Texts between tags, with entities turned back.
fn texts(markup: &str) -> Vec<String> {
    let plain = |text: &str| {
        text.replace("&lt;", "<")
            .replace("&gt;", ">")
            .replace("&quot;", "\"")
            .replace("&#39;", "'")
            .replace("&amp;", "&")
    };
    let inside = markup.split('>').skip(1).filter_map(|part| part.split('<').next());
    inside.map(|text| plain(text.trim())).filter(|text| !text.is_empty()).collect()
}

/// No element, comment or section that we did not write, in a page or a picture.
fn assert_markup_is_ours(name: &str, text: &str) {
    const OURS: &[&str] = &[
        "!DOCTYPE",
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "header",
        "main",
        "footer",
        "section",
        "h3",
        "div",
        "p",
        "pre",
        "h1",
        "h2",
        "dl",
        "dt",
        "dd",
        "ul",
        "li",
        "b",
        "i",
        "code",
        "figure",
        "figcaption",
        "table",
        "caption",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
        "svg",
        "desc",
        "g",
        "path",
        "rect",
        "line",
        "polyline",
        "polygon",
        "circle",
        "text",
        "span",
        "label",
        "input",
    ];
    for part in text.split('<').skip(1) {
        let element: String =
            part.trim_start_matches('/').chars().take_while(|c| c.is_alphanumeric() || *c == '!').collect();
        assert!(OURS.contains(&element.as_str()), "{name}: <{}", &part[..part.len().min(60)]);
    }
    assert!(!text.contains("]]>") && !text.contains("-->"), "{name}");
}

fn assert_inert(files: &BTreeMap<String, String>) {
    for (name, text) in files {
        assert!(!text.contains(['\u{1b}', '\u{202e}']), "{name}: a character that acts");
        match name.rsplit('.').next() {
            Some("html" | "svg") => assert_markup_is_ours(name, text),
            Some("md") => {
                // CommonMark takes what follows a backslash as it is, so markup is what has none before it.
                assert!(!text.contains(['<', '>']), "{name}");
                for (at, _) in text.match_indices("alert(1)") {
                    assert!(text[..at].ends_with("&lt;script&gt;"), "{name}");
                }
                for (at, mark) in text.match_indices(['`', '$']) {
                    assert!(text[..at].ends_with('\\'), "{name}: {mark} at {at}");
                }
            }
            Some("csv") => {
                let mut rows =
                    csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
                for row in rows.records() {
                    for cell in row.expect("a row").iter().filter(|cell| cell.parse::<f64>().is_err()) {
                        assert!(!cell.starts_with(['=', '+', '-', '@']), "{name}: {cell}");
                    }
                }
            }
            Some("json") => {
                serde_json::from_str::<serde_json::Value>(text).expect("JSON");
            }
            _ => {}
        }
    }
    let page = &files["report.html"];
    for kept in ["שלום", "📐", "alert(1)"] {
        assert!(page.contains(kept), "{kept} is lost");
    }
}

#[test]
fn what_users_type_is_inert_in_every_format() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("mine.json"), setup()).expect("a file");
    let date = "<b>today</b> ]]> 📐";
    let files = report(&["simulate", "mine.json", "--trials", "2000", "--date", date], folder.path());
    assert_inert(&files);
    assert!(files["report.html"].contains("<dd>&lt;b&gt;today&lt;/b&gt; ]]&gt; 📐</dd>"));
    let json: serde_json::Value = serde_json::from_str(&files["result.json"]).expect("JSON");
    assert_eq!(json["date"], date);

    let sheet = report(&["sheet", "mine.json"], folder.path());
    let filled = sheet["sheet.csv"].replace("1,,", "1,1,");
    fs::write(folder.path().join("read.csv"), filled).expect("a file");
    assert_markup_is_ours("sheet.html", &sheet["sheet.html"]);
    fs::remove_dir_all(folder.path().join("out")).expect("a folder that goes");
    assert_inert(&report(&["judge", "mine.json", "read.csv", "--date", date], folder.path()));

    let plate = EVIL.replace("\\u001b", "\u{1b}").replace("\\u202e", "\u{202e}").replace('"', "\"\"");
    let history = format!(
        "date,plate,kind,value,U,remark\n2024-01-09,\"{plate}\",certificate,1 tenth,0.2 tenths,\"{plate}\"\n\
         2024-01-09,b,certificate,1 tenth,0.2 tenths,\n"
    );
    fs::write(folder.path().join("mine.csv"), history).expect("a file");
    fs::remove_dir_all(folder.path().join("out")).expect("a folder that goes");
    assert_inert(&report(&["recall", "mine.json", "mine.csv", "--date", date], folder.path()));
    fs::remove_dir_all(folder.path().join("out")).expect("a folder that goes");
    let evil = EVIL.replace("\\u001b", "").replace("\\u202e", "").replace('"', "\\\"");
    let unit: String = evil.chars().take(40).collect();
    let costly = setup().trim_end().trim_end_matches('}').to_string()
        + &format!(r#", "improvements": {{ "effort_unit": "{unit}", "wider_feet": {{ "effort": 1 }} }} }}"#);
    fs::write(folder.path().join("costly.json"), costly).expect("a file");
    assert_inert(&report(
        &[
            "plan",
            "costly.json",
            "--trials",
            "5120",
            "--readings",
            "2",
            "--tolerance",
            "60 µm",
            "--date",
            date,
        ],
        folder.path(),
    ));

    let name = "<script>alert(1)</script> שלום 📐 ]]> --";
    let model = format!(
        r#"{{ "title": "{name}", "measurands": [{{ "name": "{name}", "unit": "mm", "formula": "a + b" }}],
        "inputs": [ {{ "name": "a", "unit": "mm", "estimate": 1, "standard_uncertainty": 0.1 }},
                    {{ "name": "b", "unit": "mm", "estimate": 2, "standard_uncertainty": 0.1 }} ] }}"#
    );
    fs::write(folder.path().join("model.json"), model).expect("a file");
    fs::remove_dir_all(folder.path().join("out")).expect("a folder that goes");
    assert_inert(&report(&["budget", "model.json", "--trials", "2000"], folder.path()));
}

/// Every shipped page and the Markdown beside it have the same tables, cell by cell.
#[test]
fn pages_and_markdown_carry_the_same_numbers() {
    let mut n_cells = 0;
    for folder in shipped() {
        let [page, markdown] =
            ["report.html", "report.md"].map(|name| fs::read_to_string(folder.join(name)).expect("a report"));
        let cells_of = |part: &str| -> Vec<String> {
            // A date that is kept whole is a part of its cell.
            part.replace("<span class=\"whole\">", "")
                .replace("</span>", "")
                .split("<tbody>")
                .skip(1)
                .flat_map(|rest| texts(&format!(">{}", rest.split("</tbody>").next().unwrap_or_default())))
                .map(|cell| as_plain(&cell))
                .collect()
        };
        let rows = markdown.lines().filter(|line| line.starts_with('|'));
        let mut cells_of_markdown = Vec::new();
        let mut in_body = false;
        for row in rows {
            if row.starts_with("|--") || row.starts_with("|-:") {
                in_body = true;
                continue;
            }
            let cells = row.trim_matches('|').split(" |").map(|cell| unescaped(cell.trim()));
            let cells: Vec<String> = cells.filter(|cell| !cell.is_empty()).collect();
            cells_of_markdown.push((in_body, cells));
        }
        let flat: Vec<&String> = cells_of_markdown.iter().flat_map(|(_, cells)| cells).collect();
        // Markdown's lines hold headings as well; every cell of the page must be there, in order. A page's annex stands
        // behind the rest, in Markdown where it belongs.
        for part in page.split("<section class=\"annex\"") {
            let mut from = 0;
            for cell in &cells_of(part) {
                // What there is none of is a dash, each in its own way.
                let is_it = |other: &&String| *other == cell || (*other == "-" && cell == "–");
                let found = flat[from..].iter().position(is_it);
                let at =
                    found.unwrap_or_else(|| panic!("{}: no cell \"{cell}\" after {from}", folder.display()));
                from += at + 1;
                n_cells += 1;
            }
        }
    }
    assert!(n_cells > 3000, "only {n_cells} cells were compared");
}

/// Shipped pages ask for nothing: no address but the name of the SVG namespace, no script, and a policy that forbids both.
#[test]
fn pages_stand_alone() {
    for folder in shipped() {
        let page = fs::read_to_string(folder.join("report.html")).expect("a report");
        let addresses = page.matches("http").count() - page.matches("http-equiv").count();
        assert_eq!(
            addresses,
            page.matches("xmlns=\"http://www.w3.org/2000/svg\"").count(),
            "{}",
            folder.display()
        );
        for forbidden in ["<script", " src=", "url(", "@import", " onload", " href", " id="] {
            assert!(!page.contains(forbidden), "{}: {forbidden}", folder.display());
        }
        assert!(page.contains("content=\"default-src 'none'; style-src 'unsafe-inline'"));
        for picture in page.split("<svg ").skip(1) {
            let head = &picture[..picture.find("<desc>").expect("a description")];
            assert!(head.contains("role=\"img\"") && head.contains("<title>"), "{}", folder.display());
        }
    }
}

/// Folders of shipped reports that have a page.
fn shipped() -> Vec<std::path::PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("reports");
    let mut folders = vec![root];
    let mut found = Vec::new();
    while let Some(folder) = folders.pop() {
        if folder.join("report.html").exists() {
            found.push(folder.clone());
        }
        let entries = fs::read_dir(&folder).expect("a folder").map(|entry| entry.expect("an entry").path());
        folders.extend(entries.filter(|path| path.is_dir()));
    }
    assert!(found.len() >= 10, "{found:?}");
    found
}

/// A cell set in type, as plain text writes it.
fn as_plain(cell: &str) -> String {
    let mut text = cell.replace('−', "-").replace('∞', "inf");
    if let Some((size, power)) = text.clone().split_once("×10") {
        let digit = |c: char| match c {
            '⁻' => '-',
            '¹' => '1',
            '²' => '2',
            '³' => '3',
            c => char::from_digit(u32::from(c) - 0x2070, 10).unwrap_or(c),
        };
        text = format!("{size}e{}", power.chars().map(digit).collect::<String>());
    }
    text
}

fn unescaped(cell: &str) -> String {
    let mut out = String::new();
    let mut escaped = false;
    for c in cell.chars() {
        match c {
            '\\' if !escaped => escaped = true,
            c => {
                out.push(c);
                escaped = false;
            }
        }
    }
    let out = out.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&");
    // Where ranges of numbers stand in words, both write the same sign.
    out.replace('−', "-").replace('∞', "inf")
}
