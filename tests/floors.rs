//! The floors of the house: a file names only its own floor or a lower one, and pure computation
//! knows no file, clock, terminal or web.

use std::{
    fs,
    path::{Path, PathBuf},
};

/// The folders of `src/` with their height; `main.rs` and `lib.rs` at its top stand above all.
const FLOORS: [(&str, u32); 10] = [
    ("quantity", 1),
    ("model", 2),
    ("shop", 2),
    ("propagation", 3),
    ("decision", 4),
    ("setup", 5),
    ("report", 6),
    ("page", 7),
    ("validation", 7),
    ("command", 8),
];

/// What the library may not name.
const OUTSIDE: [&str; 8] =
    ["std::fs", "std::io", "std::env", "std::time", "std::process", "std::net", "println!(", "eprintln!("];

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a readable folder") {
        let path = entry.expect("a readable entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

fn all_sources() -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut paths = Vec::new();
    sources(&root, &mut paths);
    paths.sort();
    paths
        .iter()
        .map(|path| {
            let name =
                path.strip_prefix(&root).expect("a path below src").to_string_lossy().replace('\\', "/");
            (name, fs::read_to_string(path).expect("a readable source"))
        })
        .collect()
}

fn floor(name: &str) -> Option<(&'static str, u32)> {
    let folder = name.split('/').next()?;
    FLOORS.into_iter().find(|(known, _)| *known == folder)
}

/// A line without what follows `//`.
fn code(line: &str) -> &str {
    line.split("//").next().unwrap_or(line)
}

/// The floors that a source names: `crate::shop`, and `crate::{shop::…, quantity::…}`.
fn named(source: &str) -> Vec<&'static str> {
    let text: String = source.lines().map(code).collect::<Vec<_>>().join("\n");
    let mut found = Vec::new();
    for (start, _) in text.match_indices("crate::") {
        let rest = &text[start + "crate::".len()..];
        let heads: Vec<String> = if let Some(group) = rest.strip_prefix('{') {
            heads(group)
        } else {
            vec![rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()]
        };
        found.extend(
            FLOORS.iter().map(|(name, _)| *name).filter(|name| heads.iter().any(|head| head == name)),
        );
    }
    found
}

/// The first segment of each path in a braced import.
fn heads(group: &str) -> Vec<String> {
    let mut depth = 0;
    let mut heads = vec![String::new()];
    let mut in_head = true;
    for c in group.chars() {
        match c {
            '{' => depth += 1,
            '}' if depth == 0 => break,
            '}' => depth -= 1,
            ',' if depth == 0 => {
                heads.push(String::new());
                in_head = true;
            }
            c if depth == 0 && in_head && (c.is_alphanumeric() || c == '_') => {
                heads.last_mut().expect("never empty").push(c);
            }
            c if c.is_whitespace() => {}
            _ => in_head = false,
        }
    }
    heads
}

#[test]
fn a_lower_floor_never_names_a_higher_one() {
    let mut faults = Vec::new();
    for (name, source) in all_sources() {
        let Some((folder, height)) = floor(&name) else { continue };
        for other in named(&source) {
            let (_, other_height) = floor(other).expect("a known floor");
            let neighbour = other != folder && other_height == height;
            if other_height > height || neighbour {
                faults.push(format!("src/{name} (floor {height}) names {other} (floor {other_height})"));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn computation_knows_no_file_clock_terminal_or_web() {
    let mut faults = Vec::new();
    let of_the_library = |name: &str| !name.starts_with("command/") && name != "main.rs";
    for (name, source) in all_sources().into_iter().filter(|(name, _)| of_the_library(name)) {
        let tests = source.find("#[cfg(test)]").unwrap_or(source.len());
        for (number, line) in source[..tests].lines().enumerate() {
            for outside in OUTSIDE.iter().filter(|outside| code(line).contains(*outside)) {
                faults.push(format!("src/{name}:{} names {outside}", number + 1));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn all_but_the_crate_page_and_the_entry_is_on_a_floor() {
    for entry in fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("src")).expect("a readable folder") {
        let path = entry.expect("a readable entry").path();
        let name = path.file_name().expect("a name").to_string_lossy().into_owned();
        let is_top = ["lib.rs", "main.rs"].contains(&name.as_str());
        assert!(is_top || floor(&name).is_some(), "src/{name} is on no floor");
    }
}

/// The checks above are only worth something if they see imports of all forms.
#[test]
fn imports_are_seen() {
    assert_eq!(named("use crate::shop::plate::Plate;"), ["shop"]);
    assert_eq!(
        named("use crate::{quantity::sample::{range, Summary}, shop::{form, grid}};"),
        ["quantity", "shop"]
    );
    assert_eq!(named("fn f(x: crate::setup::Setup) {} // crate::report"), ["setup"]);
    assert!(named("use crate::VERSION;").is_empty());
}
