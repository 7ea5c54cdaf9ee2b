//! The layout as a test: who imports whom, what is pure, how long things may be.

use std::path::{Path, PathBuf};

/// Module, and what it may import besides itself, units and time.
const MAY_IMPORT: [(&str, &[&str]); 19] = [
    ("units", &[]),
    ("time", &[]),
    ("reading", &[]),
    ("scale", &["reading"]),
    ("frame", &["reading"]),
    ("settle", &["reading", "scale"]),
    ("batch", &[]),
    // A verdict is part of the record; the two share value types.
    ("pour", &["reading", "scale", "settle", "record"]),
    ("record", &[]),
    ("plant", &[]),
    ("settings", &["frame", "pour", "scale"]),
    ("cli", &["batch", "settings"]),
    ("link", &["settings"]),
    ("store", &["record"]),
    ("page", &["batch", "pour", "record"]),
    ("daemon", &["*"]),
    ("main", &["cli", "daemon"]),
    ("lib", &["*"]),
    ("sound", &["pour"]),
];

const PURE: [&str; 12] = [
    "units", "time", "reading", "scale", "frame", "settle", "batch", "pour", "plant", "record", "settings",
    "cli",
];

const IMPURE: [&str; 13] = [
    "std::fs",
    "std::thread",
    "std::net::Tcp",
    "std::time::Instant",
    "SystemTime",
    "println!",
    "eprintln!",
    "tracing::",
    "tokio",
    "rusqlite",
    "axum",
    "async fn",
    "std::io",
];

const LONGEST_FUNCTION: usize = 50;
const LONGEST_FILE: usize = 400;

/// A line that breaks a rule.
fn fault(path: &str, line: usize, what: impl AsRef<str>) -> String {
    format!("{path}:{line}: {}", what.as_ref())
}

/// The lines before the test module, and only the code on them.
fn code(text: &str) -> Vec<&str> {
    let end = text.find("#[cfg(test)]\nmod ").unwrap_or(text.len());
    text[..end].lines().map(|l| if l.trim_start().starts_with("//") { "" } else { l }).collect()
}

fn module(path: &str) -> &str {
    let inside = path.strip_prefix("src/").unwrap_or(path);
    inside.split('/').next().unwrap_or(inside).trim_end_matches(".rs")
}

fn faults(path: &str, text: &str) -> Vec<String> {
    if path.ends_with("/tests.rs") {
        return Vec::new();
    }
    let lines = code(text);
    let mut found = imports(path, &lines);
    found.extend(purity(path, &lines));
    found.extend(lengths(path, &lines));
    found.extend(lines.iter().enumerate().filter_map(|(i, line)| {
        let local = text.contains("allow(clippy::unwrap_used, reason");
        let unwraps = line.contains(".unwrap()") || line.contains(".expect(\"");
        (unwraps && !local).then(|| fault(path, i + 1, "unwrap or expect outside tests"))
    }));
    found
}

fn imports(path: &str, lines: &[&str]) -> Vec<String> {
    let own = module(path);
    let Some((_, allowed)) = MAY_IMPORT.iter().find(|(m, _)| *m == own) else {
        return vec![fault(path, 1, format!("module '{own}' is not in the import table"))];
    };
    let mut found = Vec::new();
    for (i, line) in lines.iter().enumerate() {
        for after in line.split("crate::").skip(1) {
            let word: String = after.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            let known = ["units", "time", own].contains(&word.as_str());
            if !known && !allowed.contains(&word.as_str()) && !allowed.contains(&"*") {
                found.push(fault(path, i + 1, format!("'{own}' may not import '{word}'")));
            }
        }
    }
    found
}

fn purity(path: &str, lines: &[&str]) -> Vec<String> {
    if !PURE.contains(&module(path)) {
        return Vec::new();
    }
    let mut found = Vec::new();
    for (i, line) in lines.iter().enumerate() {
        for word in IMPURE.iter().filter(|word| line.contains(**word)) {
            found.push(fault(path, i + 1, format!("'{word}' in a pure module")));
        }
    }
    found
}

fn lengths(path: &str, lines: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    if lines.len() > LONGEST_FILE {
        found.push(fault(path, lines.len(), format!("{} lines, {LONGEST_FILE} are allowed", lines.len())));
    }
    let mut start: Option<(usize, usize)> = None;
    for (i, line) in lines.iter().enumerate() {
        let indent = line.len() - line.trim_start().len();
        match start {
            None => {
                let words = line.trim_start();
                let opens = words.starts_with("fn ") || words.contains(" fn ");
                if opens && !line.trim_end().ends_with([';', '}']) && !words.starts_with("Box<") {
                    start = Some((i, indent));
                }
            }
            // rustfmt closes a function at its own indent.
            Some((from, depth)) if line.trim_end() == format!("{}}}", " ".repeat(depth)) => {
                let length = i - from + 1;
                if length > LONGEST_FUNCTION {
                    found.push(fault(path, from + 1, format!("a function of {length} lines")));
                }
                start = None;
            }
            Some(_) => {}
        }
    }
    found
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

#[test]
fn every_source_file_keeps_the_layout() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    rust_files(&root.join("src"), &mut files);
    assert!(files.len() > 30, "only {} files found", files.len());
    let mut found = Vec::new();
    for file in files {
        let path = file.strip_prefix(root).expect("inside").to_string_lossy().replace('\\', "/");
        if ["utils.rs", "common.rs", "helpers.rs"].iter().any(|name| path.ends_with(name)) {
            found.push(fault(&path, 1, "a name that says nothing"));
        }
        found.extend(faults(&path, &std::fs::read_to_string(&file).expect("text")));
    }
    assert!(found.is_empty(), "\n{}", found.join("\n"));
}

#[test]
fn the_top_level_holds_only_what_belongs_there() {
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "src",
        "config",
        "tests",
        "examples",
        "target",
        "proptest-regressions",
    ];
    for entry in std::fs::read_dir(env!("CARGO_MANIFEST_DIR")).expect("a folder") {
        let name = entry.expect("an entry").file_name().to_string_lossy().into_owned();
        assert!(
            name.starts_with('.') || allowed.contains(&name.as_str()),
            "{name} does not belong at the top"
        );
    }
}

#[test]
fn each_kind_of_fault_is_found_when_planted() {
    let long = format!("fn a() {{\n{}}}\n", "    b();\n".repeat(60));
    for (path, text, words) in [
        ("src/store/x.rs", "use crate::page::view::Now;\n", "may not import 'page'"),
        ("src/pour/x.rs", "use crate::daemon::clock::Clock;\n", "may not import 'daemon'"),
        ("src/plant/x.rs", "fn a() { crate::pour::engine(); }\n", "may not import 'pour'"),
        ("src/settle/x.rs", "let t = std::time::Instant::now();\n", "in a pure module"),
        ("src/batch/x.rs", "println!(\"x\");\n", "in a pure module"),
        ("src/page/x.rs", "let x = y.unwrap();\n", "unwrap"),
        ("src/page/x.rs", long.as_str(), "a function of 62 lines"),
        ("src/other/x.rs", "", "not in the import table"),
    ] {
        let found = faults(path, text);
        assert!(found.iter().any(|f| f.contains(words) && f.starts_with(path)), "{words}: {found:?}");
    }
    assert!(faults("src/page/x.rs", &"a\n".repeat(401)).iter().any(|f| f.contains("401 lines")));
    assert_eq!(faults("src/pour/x.rs", "// println! is not used here\nfn a() {}\n"), Vec::<String>::new());
}
