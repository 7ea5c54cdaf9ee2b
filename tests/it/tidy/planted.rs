//! Planted faults: each rule has to find its own, at its line, and nothing else.
//!
//! In the texts below `//~ words` ends a line that is at fault; several faults of a line are
//! divided by `;`.

use super::rules::{MAY_IMPORT, MAY_USE, PURE, Source};
use super::strangers;

/// The faults of `text` below a module comment: line and words.
fn found(path: &str, text: &str) -> Vec<(usize, String)> {
    let text = format!("//! Planted.\n{text}");
    match Source::read(path, &text) {
        Ok(source) => source.faults(&source.facts.enums),
        Err(fault) => vec![fault],
    }
}

/// Wants exactly the marked faults found.
#[track_caller]
fn check(path: &str, text: &str) {
    let mut want: Vec<(usize, &str)> = Vec::new();
    for (i, line) in text.lines().enumerate() {
        let marks = line.split_once("//~").map(|(_, words)| words.split(';'));
        want.extend(marks.into_iter().flatten().map(|words| (i + 2, words.trim())));
    }
    let mut found = found(path, text);
    for (line, words) in want {
        let hit = found.iter().position(|(at, what)| *at == line && what.contains(words));
        let hit = hit.unwrap_or_else(|| panic!("{path}: line {line} '{words}' not in {found:?}\n{text}"));
        found.remove(hit);
    }
    assert!(found.is_empty(), "{path}: not marked: {found:?}\n{text}");
}

#[test]
fn an_import_across_the_layers_is_found_however_it_is_written() {
    check(
        "src/page/a.rs",
        "use crate::store::Store; //~ `page` may not import `store`
         use crate::{
             batch::Target,
             link::{A, B}, //~ `link`
             units::Mass,
             daemon as d, //~ `daemon`
         };
         use super::super::{store, record}; //~ `store`
         use self::super::super::link; //~ `link`
         use super::desk;
         use super::super as root; //~ `super`
         use crate as whole; //~ `crate`
         use crate::*; //~ `*`
         extern crate self as own; //~ `crate`
         pub(crate) use super::view::Now;
         fn f(a: Vec<crate::store::Row>) -> impl Fn(crate::link::X) { //~ `store`; `link`
             crate::daemon::go::<u8>(a); //~ `daemon`
             let crate::sound::Tone { .. } = b; //~ `sound`
             panic!(\"{}\", crate::store::x(1)); //~ `store`
         }
         mod inner {
             use super::super::super::store; //~ `store`
             use super::super::view;
         }
         macro_rules! m { () => { use $crate::{record::R, store::S}; } } //~ `store`
         #[derive(crate::store::Kept)] //~ `store`
         struct A { #[serde(with = \"crate::store::text\")] b: u8 } //~ `store`
        ",
    );
    check("src/page/mod.rs", "use super::store::A; //~ `store`\nuse super::batch::B;\n");
    check("src/lib.rs", "pub use store::Store; //~ `lib` may not import `store`\npub mod store;\n");
    check("src/main.rs", "use tarebell::{cli::Cli, link}; //~ `link`\n");
    check("src/time.rs", "use crate::units::Mass; //~ `units`\n");
}

/// For each module and each other: refused just when the table says so.
#[test]
fn every_cell_of_the_import_table_is_held() {
    for (from, row) in MAY_IMPORT.iter().filter(|(from, _)| !["main", "lib"].contains(from)) {
        for (to, _) in MAY_IMPORT {
            let everyone = ["units", "time"].contains(to) && !["units", "time"].contains(from);
            let may = from == to || row.contains(to) || everyone;
            for text in [format!("use crate::{to}::X;"), format!("use crate::{{{to}::X}};")] {
                let mark = if may { String::new() } else { format!(" //~ `{from}` may not import `{to}`") };
                check(&format!("src/{from}/a.rs"), &format!("\n{text}{mark}\n"));
            }
        }
    }
    assert!(found("src/newcomer.rs", "").iter().any(|(_, what)| what.contains("no row")));
}

#[test]
fn what_is_only_talked_about_is_not_found() {
    check(
        "src/units.rs",
        "// crate::store /* */ println!() x.unwrap()
         /* crate::page /* nested */ crate::link */
         /// See [`crate::store`] and `std::fs`.
         const A: &str = \"crate::store\\\" std::fs .unwrap() println!\";
         const B: &str = r#\"\"crate::store\"#;
         const C: [char; 2] = ['\"', '\\''];
        ",
    );
}

#[test]
fn a_crate_outside_its_module_is_found() {
    for (name, row) in MAY_USE {
        for (module, _) in MAY_IMPORT.iter().filter(|(module, _)| !["main", "lib"].contains(module)) {
            let may =
                row.contains(module) || row.contains(&"*") || (row.contains(&"I") && !PURE.contains(module));
            let mark = if may { "" } else { "//~ may not use the crate" };
            check(
                &format!("src/{module}/a.rs"),
                &format!(
                    "use {name}::X; {mark}\nfn f() {{ {name}::x(); {mark}\n vec![{name}::x()] }} {mark}\n"
                ),
            );
        }
    }
    check("src/page/a.rs", "use rusqlite; //~ rusqlite\nextern crate rusqlite as r; //~ rusqlite\n");
}

#[test]
fn what_a_pure_module_may_not_do_is_found() {
    for work in [
        "use std::fs;",
        "use std::{fmt, fs};",
        "use std::fs as f;",
        "use std::*;",
        "use std as s;",
        "use std::time;",
        "use std::{time::{self}, fmt};",
        "use std::net::TcpStream;",
        "use std::thread::spawn;",
        "use std::sync::mpsc;",
        "use std::time::Instant;",
        "use std::time::{Duration, SystemTime};",
        "extern crate std as s;",
        "async fn f() {}",
        "fn f() { async {}; }",
        "fn f() { async || 1; }",
        "fn f() { println!() }",
        "fn f() { vec![eprintln!()] }",
        "fn f() { dbg!(1) }",
        "fn f() { std::fs::read(x); }",
        "fn f() { ::std::fs::read(x); }",
        "fn f() { format!(\"{}\", std::env::var(x)); }",
        "fn f() { Zoned::now(); }",
        "fn f() { m![a.await] }",
        "struct A(std::net::UdpSocket);",
        "trait A { async fn f(); }",
    ] {
        for module in PURE {
            check(&format!("src/{module}.rs"), &format!("\n{work} //~ is pure\n"));
        }
        check("src/daemon/a.rs", &format!("\n{work}\n"));
    }
    check("src/time.rs", "fn f() { jiff::Timestamp::now(); } //~ is pure\n");
    check("src/pour/a.rs", "use tokio::time::Instant; //~ may not use the crate `tokio`\n");
    check("src/pour/a.rs", "fn f() { tracing::info!(\"x\"); } //~ may not use the crate `tracing`\n");
    check(
        "src/settings.rs",
        "use std::net::{IpAddr, SocketAddr};
         use std::{collections::VecDeque, fmt::{self, Display}, time::Duration};
         fn f(plant: &Plant) -> f64 { plant.now(); std::f64::consts::PI }
        ",
    );
}

#[test]
fn a_function_of_51_lines_is_found_and_one_of_50_is_not() {
    let function = |lines: usize| format!("fn long(a: [u8; 4]) {{\n{}}}", "    // {\n".repeat(lines - 2));
    check("src/units.rs", &function(50));
    let long = function(51).replacen('\n', " //~ a function of 51 lines\n", 1);
    for around in [("", ""), ("impl A {\n", "}"), ("trait A {\n", "}"), ("mod a {\n", "}")] {
        check("src/store/a.rs", &format!("{}{long}{}\n", around.0, around.1));
    }
    check("src/store/a.rs", &format!("trait A {{ fn f(&self); }}\ntype F = fn(u8);\n{}", "\n".repeat(80)));
    check("src/store/a.rs", &format!("#[cfg(test)]\nmod tests {{ {} }}\n", function(60)));
}

#[test]
fn a_file_of_401_lines_is_found_unless_its_tests_make_it_so() {
    let code = |lines: usize| "//\n".repeat(lines - 1);
    check("src/store/a.rs", &code(400));
    assert_eq!(
        found("src/store/a.rs", &code(401)),
        [(0, "401 lines without tests, 400 is the most".to_owned())]
    );
    let tests = format!("#[cfg(test)]\nmod tests {{\n{}}}\n", code(50));
    check("src/store/a.rs", &format!("{tests}{}", code(400)));
}

#[test]
fn a_panicking_call_outside_tests_is_found_unless_proven_where_it_stands() {
    check(
        "src/store/a.rs",
        "fn f() {
             x.unwrap(); //~ `unwrap`
             y
                 .expect(&z); //~ `expect`
             x.unwrap_err(); //~ `unwrap_err`
             a.map(Result::unwrap); //~ `unwrap`
             vec![x.unwrap()]; //~ `unwrap`
             vec![a.map(Option::unwrap)]; //~ `unwrap`
             x.unwrap_or(1); x.expected(); expect(1); x.unwrap; [1..unwrap(1)]
         }
         #[expect(clippy::unwrap_used, reason = \"proven\")]
         fn g() { x.unwrap() }
         #[allow(clippy::unwrap_used, reason = \"proven\")]
         static S: L = L::new(|| x.unwrap());
         fn h() {
             #[expect(clippy::expect_used, reason = \"proven\")]
             let a = x.expect(\"a\");
             #[expect(clippy::expect_used, reason = \"proven\")]
             x.expect(\"a\");
             x.expect(\"b\"); //~ `expect`
         }
         #[expect(clippy::expect_used, reason = \"of another lint\")]
         fn other() { x.unwrap() } //~ `unwrap`
         #[allow(clippy::unwrap_used, reason = \" \")] //~ eases a lint
         fn blank() { x.unwrap() } //~ `unwrap`
         #[allow(clippy::unwrap_used)] //~ eases a lint
         fn i() { x.unwrap() } //~ `unwrap`
         #[allow(clippy::unwrap_used, reason = \"for all of it\")] //~ eases a lint
         impl A { fn j() { x.unwrap() } } //~ `unwrap`
         #[cfg_attr(all(), allow(clippy::unwrap_used, reason = \"x\"))] //~ eases a lint
         mod m { fn k() { x.unwrap() } } //~ `unwrap`
        ",
    );
    for lint in ["clippy::unwrap_used", "clippy::expect_used", "clippy::restriction", "warnings"] {
        check(
            "src/store/a.rs",
            &format!(
                "#![allow({lint}, reason = \"x\")] //~ eases a lint\nfn f() {{ x.unwrap() }} //~ `unwrap`\n"
            ),
        );
    }
}

#[test]
fn code_after_a_test_module_is_still_checked() {
    check(
        "src/store/a.rs",
        "#[cfg(test)]
         mod tests;
         fn f() { x.unwrap() } //~ `unwrap`
         #[cfg(test)]
         #[allow(x)]
         mod more { use crate::page; fn f() { x.unwrap() } }
         #[cfg(not(test))]
         mod real { use crate::page; } //~ `page`
        ",
    );
    check("src/store/mod.rs", "mod tests; //~ without #[cfg(test)]\n");
}

#[test]
fn a_way_around_the_reading_is_found() {
    check("src/store/a.rs", "#[path = \"tests.rs\"] //~ a path of its own\nmod real;\n");
    check("src/store/a.rs", "include!(\"x.rs\"); //~ included\nconst A: &str = include_str!(\"x.sql\");\n");
    check("src/store/a.rs", "fn f() {\n    let ; //~ expected\n}\n");
}

#[test]
fn an_arm_that_takes_all_beside_our_own_enum_is_found() {
    check(
        "src/store/a.rs",
        "enum Own { A, B(u8) }
         fn f() {
             match x { Own::A => 1,
                 _ => 2, //~ beside arms of `Own`
             };
             match (x, y) { (Some(Own::B(_)), 1) => 1,
                 (_, _) => 2, //~ beside arms of `Own`
             };
             match x { &Own::A | Own::B(1) => 1,
                 other => 2, //~ beside arms of `Own`
             };
             match x { [Own::A, ..] => 1,
                 _ => 2, //~ beside arms of `Own`
             };
             match x { Own::A => 1, Own::B(_) => 2 };
             match x { Own::A => 1, other if other.b() => 2, Own::B(_) => 2 };
             match x { Theirs::A => 1, _ => 2 };
             match x { 1 => Own::A, _ => Own::B(2) };
         }
         impl Own { fn g(self) { match self { Self::A => 1,
             _ => 2 } } } //~ beside arms of `Self`
        ",
    );
}

#[test]
fn a_file_without_a_head_or_with_a_name_that_says_nothing_is_found() {
    for (path, text) in
        [("src/page/a.rs", "// x\n"), ("src/store/tests.rs", "use a::b;\n"), ("src/units.rs", "\n//! x\n")]
    {
        let faults = Source::read(path, text).map(|s| s.faults(&[])).expect("Rust");
        assert!(faults.iter().any(|(line, what)| *line == 1 && what.contains("//!")), "{path}: {faults:?}");
    }
    for name in ["utils.rs", "common.rs", "helpers.rs", "utils/mod.rs", "data/a.rs"] {
        let faults = found(&format!("src/page/{name}"), "");
        assert!(faults.iter().any(|(_, what)| what.contains("says nothing")), "{name}: {faults:?}");
    }
}

#[test]
fn a_stranger_at_the_top_level_is_found() {
    let names = ["Cargo.toml", ".ci", "target", "notes.txt", "src"].map(str::to_owned);
    assert_eq!(strangers(&names, "target/\n"), ["notes.txt"]);
    assert_eq!(strangers(&names, "notes.txt\n"), ["target"]);
}
