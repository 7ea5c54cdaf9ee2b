//! The layout as a test: who imports whom, what is pure, how long things may be.
//!
//! Source files are parsed, not compiled: `look` gathers what stands in one file, `rules`
//! judges it, `planted` plants one fault of each kind and wants it found at its line.

mod look;
mod planted;
mod rules;

use rules::{MAY_IMPORT, MAY_USE, PURE, Source, TO_COME};
use std::path::{Path, PathBuf};

const TOP_LEVEL: [&str; 9] = [
    "Cargo.toml",
    "Cargo.lock",
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "src",
    "config",
    "tests",
    "examples",
];
/// Lints that hold what a parser without types can't see in full.
const LINTS: [&str; 3] = ["unwrap_used", "expect_used", "wildcard_enum_match_arm"];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn text(name: &str) -> String {
    std::fs::read_to_string(root().join(name)).expect(name)
}

fn rust_files(dir: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(dir).expect("a folder").map(|e| e.expect("an entry").path()) {
        if entry.is_dir() {
            rust_files(&entry, found);
        } else if entry.extension().is_some_and(|e| e == "rs") {
            found.push(entry);
        }
    }
}

/// The names that have no place at the top: neither laid out, hidden nor ignored by git.
fn strangers<'a>(names: &'a [String], git_ignores: &str) -> Vec<&'a str> {
    let ignored = |name: &str| git_ignores.lines().any(|line| line.trim_matches('/') == name);
    let known = |name: &str| TOP_LEVEL.contains(&name) || name.starts_with('.') || ignored(name);
    names.iter().map(String::as_str).filter(|name| !known(name)).collect()
}

#[test]
fn every_source_file_keeps_the_layout() {
    let mut files = Vec::new();
    rust_files(&root().join("src"), &mut files);
    assert!(files.len() > 30, "only {} files found", files.len());
    let inside =
        |file: &PathBuf| file.strip_prefix(root()).expect("inside").to_string_lossy().replace('\\', "/");
    let paths: Vec<String> = files.iter().map(inside).collect();
    let read: Vec<_> = paths.iter().map(|path| (path, Source::read(path, &text(path)))).collect();
    let enums: Vec<String> =
        read.iter().filter_map(|(_, s)| s.as_ref().ok()).flat_map(|s| s.facts.enums.clone()).collect();
    let faults = read.iter().flat_map(|(path, source)| {
        let found = source.as_ref().map_or_else(|fault| vec![fault.clone()], |s| s.faults(&enums));
        found.into_iter().map(move |(line, what)| format!("{path}:{line}: {what}"))
    });
    let faults: Vec<String> = faults.collect();
    assert!(faults.is_empty(), "\n{}", faults.join("\n"));
}

#[test]
fn every_row_of_the_tables_is_there_and_every_dependency_has_a_row() {
    let cargo: toml::Table = text("Cargo.toml").parse().expect("TOML");
    let platforms = cargo.get("target").and_then(toml::Value::as_table).into_iter().flatten();
    let tables = platforms.filter_map(|(_, part)| part.get("dependencies")).chain([&cargo["dependencies"]]);
    let used: Vec<String> = tables
        .flat_map(|table| table.as_table().expect("a table").keys())
        .map(|k| k.replace('-', "_"))
        .collect();
    for name in &used {
        assert!(MAY_USE.iter().any(|(row, _)| row == name), "no row says which module may use {name}");
    }
    let present = |name: &str| {
        let file = |end: &str| root().join(format!("src/{name}{end}")).exists();
        file(".rs") || file("/mod.rs") || used.iter().any(|u| u == name)
    };
    let rows = MAY_IMPORT.iter().chain(MAY_USE).map(|(name, _)| name).chain(&PURE);
    for name in rows.filter(|name| !TO_COME.contains(name)) {
        assert!(present(name), "{name} has a row and is not there");
    }
}

#[test]
fn the_lints_that_hold_the_rest_are_on() {
    let cargo: toml::Table = text("Cargo.toml").parse().expect("TOML");
    let lints = cargo["lints"]["clippy"].as_table().expect("a table");
    for lint in LINTS {
        assert!(lints.get(lint).is_some_and(|level| level.as_str() == Some("warn")), "{lint} is off");
    }
}

#[test]
fn the_top_level_holds_only_what_belongs_there() {
    let entries = std::fs::read_dir(root()).expect("a folder");
    let names: Vec<String> =
        entries.map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
    assert_eq!(strangers(&names, &text(".gitignore")), Vec::<&str>::new());
}
