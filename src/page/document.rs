//! The page as one document: markup, sheet, script, and what it is given to begin with.

use crate::report::page::Page;
use sha2::{Digest, Sha256};

/// What answers the page's questions.
#[derive(Debug, Clone, Copy)]
pub enum Engine<'a> {
    /// The program that serves the page.
    Served,
    /// The engine inside the page: a WebAssembly module, compressed with gzip.
    Inside(&'a [u8]),
}

const MARKUP: &str = include_str!("page.html");
const SHEET: &str = include_str!("page.css");
const WORKER: &str = include_str!("worker.js");
/// The parts of the script, in the order in which they build on one another.
const SCRIPTS: [&str; 7] = [
    include_str!("base.js"),
    include_str!("engine.js"),
    include_str!("plate.js"),
    include_str!("setup.js"),
    include_str!("check.js"),
    include_str!("readings.js"),
    include_str!("lesson.js"),
];
const START: &str = include_str!("start.js");

/// The document. `given` is the text of a setup to begin with, where there is one.
///
/// It fetches nothing. Its content policy lets its own scripts and sheets run, by their hashes, and nothing else.
pub fn document(engine: Engine, given: Option<&str>) -> String {
    let reports = report_sheet();
    let script = format!("'use strict';\n{}{START}", SCRIPTS.concat());
    let (module, policy) = match engine {
        Engine::Served => (String::new(), "connect-src 'self'"),
        Engine::Inside(module) => (base64(module), "worker-src blob:"),
    };
    let eval = if module.is_empty() { "" } else { " 'wasm-unsafe-eval'" };
    let policy = format!(
        "default-src 'none'; base-uri 'none'; form-action 'none'; frame-src blob:; script-src {}{eval}; style-src {} {}; {policy}",
        hash(&script),
        hash(SHEET),
        hash(&reports),
    );
    // A data block ends where "</script" stands, so none may.
    let given = serde_json::Value::from(given).to_string().replace('<', "\\u003c");
    let parts = [
        ("POLICY", policy.as_str()),
        ("REPORTS", &reports),
        ("SHEET", SHEET),
        ("VERSION", crate::VERSION),
        ("GIVEN", &given),
        ("WORKER", WORKER),
        ("MODULE", &module),
        ("SCRIPT", &script),
    ];
    fill(MARKUP, &parts)
}

/// The markup with each `{{NAME}}` replaced; what is put in is not looked at again.
fn fill(markup: &str, parts: &[(&str, &str)]) -> String {
    let mut filled =
        String::with_capacity(markup.len() + parts.iter().map(|(_, text)| text.len()).sum::<usize>());
    let mut rest = markup;
    while let Some((before, after)) = rest.split_once("{{") {
        filled += before;
        let (name, after) = after.split_once("}}").unwrap_or((after, ""));
        filled += parts.iter().find(|(known, _)| *known == name).map_or("", |(_, text)| text);
        rest = after;
    }
    filled + rest
}

/// The sheet of reports, as it stands between its tags: reports are shown inside the page under its policy, and its pictures are
/// theirs.
fn report_sheet() -> String {
    let html = Page::default().html();
    let sheet = html.split_once("<style>").and_then(|(_, rest)| rest.split_once("</style>"));
    sheet.map_or(String::new(), |(sheet, _)| sheet.to_string())
}

/// What a content policy calls a script or a sheet.
fn hash(text: &str) -> String {
    format!("'sha256-{}'", base64(&Sha256::digest(text.as_bytes())))
}

/// Base64 (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for group in bytes.chunks(3) {
        let all =
            group.iter().fold(0_u32, |all, byte| all << 8 | u32::from(*byte)) << (8 * (3 - group.len()));
        for i in 0..4 {
            let is_there = i <= group.len();
            text.push(if is_there { char::from(LETTERS[(all >> (18 - 6 * i)) as usize & 63]) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The test vectors of RFC 4648, section 10.
    #[test]
    fn base64_is_that_of_its_standard() {
        for (plain, coded) in
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foobar", "Zm9vYmFy")]
        {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    /// SHA-256 of nothing, FIPS 180-4 (NIST's example values), in base64.
    #[test]
    fn a_policy_names_what_it_lets_run() {
        assert_eq!(hash(""), "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='");
    }

    #[test]
    fn what_is_given_cannot_end_its_block() {
        let page = document(Engine::Served, Some("</script><script>alert(1)</script>"));
        assert!(!page.contains("alert(1)</script>"));
        assert!(page.contains("\\u003c/script>"));
        assert_eq!(page.matches("{{").count(), 0);
    }

    /// Nothing is named that would have to be fetched, and nothing runs that the policy does not know.
    #[test]
    fn the_document_stands_alone() {
        let page = document(Engine::Served, None);
        for from_outside in
            ["src=", "@import", "url(", "http://", " onclick=", " onload=", " oninput=", "javascript:"]
        {
            let found = page.replace("http://www.w3.org/2000/svg", "");
            assert!(!found.contains(from_outside), "{from_outside}");
        }
    }
}
