//! The rules: facts of one file in, what breaks them out.

use super::look::{Facts, Named, look};

/// Each module and what it may import besides itself and [`EVERYONE`].
pub(super) const MAY_IMPORT: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("time", &[]),
    ("reading", &[]),
    ("scale", &["reading"]),
    ("frame", &["reading"]),
    ("settle", &["reading", "scale"]),
    ("batch", &[]),
    // How a refusal names its field.
    ("calibration", &["batch", "plot", "reading"]),
    // A verdict is part of the record; the two share value types.
    ("pour", &["reading", "scale", "settle", "calibration", "record"]),
    // How a refusal names its field.
    ("guide", &["reading", "scale", "settle", "batch", "calibration"]),
    ("record", &[]),
    ("intake", &["record"]),
    ("plot", &[]),
    ("review", &["calibration", "plot", "record"]),
    // The simulator must not know the engine that it tries.
    ("plant", &[]),
    // Settings are made of the types that they set.
    ("settings", &["frame", "pour", "scale"]),
    ("cli", &["batch", "calibration", "guide", "settings"]),
    // The adapters never import each other.
    ("link", &["settings"]),
    ("sound", &["pour", "settings"]),
    ("store", &["record"]),
    ("page", &["batch", "calibration", "guide", "intake", "plot", "pour", "record", "review"]),
    (
        "daemon",
        &[
            "reading",
            "scale",
            "frame",
            "settle",
            "batch",
            "calibration",
            "pour",
            "guide",
            "record",
            "review",
            "plant",
            "settings",
            "cli",
            "link",
            "sound",
            "store",
            "page",
        ],
    ),
    ("main", &["cli", "daemon"]),
    ("lib", &[]),
];
/// What every module but these two may import.
const EVERYONE: [&str; 2] = ["units", "time"];

/// Modules without I/O, async, logging or a clock.
pub(super) const PURE: [&str; 21] = [
    "units",
    "time",
    "reading",
    "scale",
    "frame",
    "settle",
    "batch",
    "calibration",
    "pour",
    "guide",
    "plant",
    "record",
    "intake",
    "plot",
    "review",
    "settings",
    "cli",
    "daemon/reminders",
    "daemon/spare",
    "sound/score",
    "sound/tone",
];

/// Each dependency and the modules that may name it; `*` is every module, `I` every one that is not pure.
pub(super) const MAY_USE: &[(&str, &[&str])] = &[
    ("alsa", &["sound"]),
    ("anyhow", &["daemon", "main"]),
    ("axum", &["page"]),
    ("btleplug", &["link"]),
    ("clap", &["cli", "main"]),
    ("cpal", &["sound"]),
    ("crc32fast", &["pour"]),
    ("libm", &["pour"]),
    ("nalgebra", &["calibration"]),
    // In the manifest only for its feature.
    ("dbus", &[]),
    ("futures_util", &["I"]),
    ("jiff", &["time"]),
    ("plotters", &["plot"]),
    ("csv", &["intake"]),
    ("regex", &["frame", "settings"]),
    ("rusqlite", &["store"]),
    ("rustix", &["daemon", "link"]),
    ("serde", &["batch", "calibration", "review", "settings", "I"]),
    ("serde_json", &["batch", "calibration", "I"]),
    ("statrs", &["review"]),
    ("thiserror", &["*"]),
    ("tokio", &["I"]),
    ("tokio_serial", &["link"]),
    ("toml", &["settings", "page"]),
    ("tracing", &["I"]),
    ("tracing_appender", &["main"]),
    ("tracing_subscriber", &["main"]),
    ("utoipa", &["batch", "calibration", "page", "review"]),
    ("utoipa_axum", &["page"]),
    ("uuid", &["settings", "I"]),
];
/// Rows above that are laid out for what is not there yet.
pub(super) const TO_COME: [&str; 0] = [];

/// What a pure module may use of `std`. An address is a value, not a connection.
const PURE_STD: [&str; 31] = [
    "array",
    "borrow",
    "cmp",
    "collections",
    "convert",
    "default",
    "error",
    "f32",
    "f64",
    "fmt",
    "hash",
    "iter",
    "marker",
    "mem",
    "net::IpAddr",
    "net::Ipv4Addr",
    "net::Ipv6Addr",
    "net::SocketAddr",
    "num",
    "ops",
    "option",
    "path::PathBuf",
    "result",
    "slice",
    "str",
    "string",
    "sync::Arc",
    "sync::LazyLock",
    "sync::OnceLock",
    "time::Duration",
    "vec",
];
const PRINTS: [&str; 5] = ["println!", "eprintln!", "print!", "eprint!", "dbg!"];
const NAMES_THAT_SAY_NOTHING: [&str; 9] =
    ["util", "utils", "common", "helper", "helpers", "misc", "manager", "handler", "data"];
const LONGEST_FUNCTION: usize = 50;
const LONGEST_FILE: usize = 400;

/// Line (0: the whole file) and words.
pub(super) type Fault = (usize, String);

/// A source file below `src`.
pub(super) struct Source<'a> {
    path: &'a str,
    /// The path without `src/`, `.rs` and `/mod.rs`.
    inner: &'a str,
    /// The module below the root of the crate that it belongs to.
    module: &'a str,
    pub(super) facts: Facts,
    lines: usize,
}

impl<'a> Source<'a> {
    /// Reads the file at `path`; what is no Rust is a fault too.
    pub(super) fn read(path: &'a str, text: &str) -> Result<Self, Fault> {
        let inner = path.strip_prefix("src/").unwrap_or(path);
        let inner = inner.strip_suffix("/mod.rs").or_else(|| inner.strip_suffix(".rs")).unwrap_or(inner);
        let depth = if ["main", "lib"].contains(&inner) { 0 } else { inner.split('/').count() };
        let facts = look(text, depth).map_err(|e| (e.span().start().line, e.to_string()))?;
        let module = inner.split('/').next().unwrap_or(inner);
        Ok(Self { path, inner, module, facts, lines: text.lines().count() })
    }

    /// All that breaks a rule; `enums` are the names of all our own.
    pub(super) fn faults(&self, enums: &[String]) -> Vec<Fault> {
        let mut found = self.names();
        if !self.facts.has_head {
            found.push((1, "no `//!` comment that says what the file is for".to_owned()));
        }
        // A file `tests.rs` is test code: its parent has to say so, or is at fault itself.
        if !self.path.ends_with("/tests.rs") {
            found.extend(self.imports());
            found.extend(self.facts.paths.iter().filter_map(|path| self.crates(path)));
            found.extend(self.facts.paths.iter().filter_map(|path| self.purity(path)));
            found.extend(self.lengths());
            found.extend(self.panics());
            found.extend(self.easings());
            found.extend(self.catch_alls(enums));
            found.extend(self.facts.hidden.iter().map(|(line, what)| (*line, (*what).to_owned())));
        }
        found.sort();
        found.dedup();
        found
    }

    fn names(&self) -> Vec<Fault> {
        let odd = self.inner.split('/').filter(|part| NAMES_THAT_SAY_NOTHING.contains(part));
        odd.map(|part| (0, format!("`{part}` says nothing"))).collect()
    }

    fn imports(&self) -> Vec<Fault> {
        let Some((_, row)) = MAY_IMPORT.iter().find(|(name, _)| *name == self.module) else {
            return vec![(0, format!("`{}` has no row in the import table", self.module))];
        };
        let alone = EVERYONE.contains(&self.module) || self.module == "lib";
        let may = |to: &str| to == self.module || row.contains(&to) || (!alone && EVERYONE.contains(&to));
        let wrong = |path: &Named| {
            let to = leads_to(path).filter(|to| !may(to))?;
            Some((path.line, format!("`{}` may not import `{to}`", self.module)))
        };
        self.facts.paths.iter().filter_map(wrong).collect()
    }

    fn is_pure(&self) -> bool {
        let within =
            |root: &&str| self.inner.strip_prefix(*root).is_some_and(|r| r.is_empty() || r.starts_with('/'));
        PURE.iter().any(within)
    }

    fn crates(&self, path: &Named) -> Option<Fault> {
        let first = path.parts.first().filter(|_| path.import || path.parts.len() > 1)?;
        let (_, row) = MAY_USE.iter().find(|(name, _)| name == first)?;
        let may = row.contains(&"*") || row.contains(&self.module) || (row.contains(&"I") && !self.is_pure());
        (!may).then(|| (path.line, format!("`{}` may not use the crate `{first}`", self.module)))
    }

    fn purity(&self, path: &Named) -> Option<Fault> {
        if !self.is_pure() {
            return None;
        }
        let whole = path.parts.join("::");
        let last = path.parts.last()?;
        let of_std =
            |root: &&str| whole[5..].strip_prefix(*root).is_some_and(|r| r.is_empty() || r.starts_with("::"));
        let std = whole == "std" || (whole.starts_with("std::") && !PURE_STD.iter().any(of_std));
        let clock = path.parts.len() > 1 && (last == "now" || last.starts_with("now_"))
            || path.parts.contains(&"SystemTime".into());
        let works = ["async", "await"].contains(&whole.as_str()) || PRINTS.contains(&last.as_str());
        (std || clock || works)
            .then(|| (path.line, format!("`{}` is pure and may not use `{whole}`", self.module)))
    }

    fn lengths(&self) -> Vec<Fault> {
        let long = self.facts.functions.iter().filter(|(_, lines)| *lines > LONGEST_FUNCTION);
        let mut found: Vec<Fault> = long
            .map(|(at, lines)| (*at, format!("a function of {lines} lines, {LONGEST_FUNCTION} is the most")))
            .collect();
        let lines = self.lines.saturating_sub(self.facts.test_lines);
        if lines > LONGEST_FILE {
            found.push((0, format!("{lines} lines without tests, {LONGEST_FILE} is the most")));
        }
        found
    }

    /// A reasoned easing of just this lint, on just this statement or function.
    fn proven(&self, line: usize, lint: &str) -> bool {
        self.facts.proofs.iter().any(|p| p.covers.contains(&line) && p.lints.iter().any(|l| l == lint))
    }

    fn panics(&self) -> Vec<Fault> {
        let lint = |call: &str| if call.starts_with("expect") { "expect_used" } else { "unwrap_used" };
        let calls = self.facts.panics.iter().filter(|(line, call)| !self.proven(*line, lint(call)));
        calls.map(|(line, call)| (*line, format!("`{call}` outside tests without a proof"))).collect()
    }

    fn easings(&self) -> Vec<Fault> {
        let local = |line: usize| self.facts.proofs.iter().any(|p| p.line == line);
        let wide = self.facts.easings.iter().filter(|line| !local(**line));
        wide.map(|line| {
            (*line, "eases a lint without a reason, or for more than a statement or function".into())
        })
        .collect()
    }

    fn catch_alls(&self, enums: &[String]) -> Vec<Fault> {
        let own = |name: &&String| enums.contains(name) || *name == "Self";
        let wrong = |(line, named): &(usize, Vec<String>)| {
            let name = named.iter().find(own)?;
            let fault = (*line, format!("an arm that takes all, beside arms of `{name}`"));
            (!self.proven(*line, "wildcard_enum_match_arm")).then_some(fault)
        };
        self.facts.catch_alls.iter().filter_map(wrong).collect()
    }
}

/// What a path leads to right below the root of the crate, if it starts there.
fn leads_to(path: &Named) -> Option<&str> {
    let parts: Vec<&str> = path.parts.iter().map(String::as_str).collect();
    let parts = if parts.first() == Some(&"self") { &parts[1..] } else { &parts[..] };
    let ups = parts.iter().take_while(|part| **part == "super").count();
    let at_root =
        path.depth == 0 && parts.first().is_some_and(|first| MAY_IMPORT.iter().any(|(m, _)| m == first));
    // The root itself imported under another name would hide what is taken from it.
    let below = |ups: usize| parts.get(ups).or_else(|| parts.last().filter(|_| path.import)).copied();
    match parts.first() {
        Some(&("crate" | "tarebell")) => below(1),
        Some(&"super") if ups >= path.depth => below(ups),
        Some(&first) if at_root && parts.len() > 1 => Some(first),
        _ => None,
    }
}
