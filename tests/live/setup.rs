//! `tests/setup.sh` on machines where something is missing: stand-in tools, nothing is installed.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A machine that has these tools only, in a folder with a space.
struct Machine {
    place: tempfile::TempDir,
}

impl Machine {
    fn with(tools: &[(&str, &str)]) -> Self {
        let machine = Self { place: tempfile::tempdir().expect("a folder") };
        std::fs::create_dir_all(machine.home().join(".cargo/bin")).expect("a folder");
        std::fs::create_dir(machine.bin()).expect("a folder");
        for (name, says) in tools {
            machine.tool(&machine.bin().join(name), says);
        }
        machine
    }

    fn home(&self) -> PathBuf {
        self.place.path().join("a home")
    }

    fn bin(&self) -> PathBuf {
        self.place.path().join("a bin")
    }

    fn tool(&self, at: &Path, says: &str) {
        // By a child of its own: a file that this process holds open for writing can't be run
        // while another test's fork still has it.
        let script = "printf '#!/bin/bash\\n%s\\n' \"$2\" > \"$1\" && chmod +x \"$1\"";
        let made = Command::new("/bin/bash").args(["-c", script, "tool"]).arg(at).arg(says).status();
        assert!(made.expect("bash").success(), "{}", at.display());
    }

    /// Sources the script and does `then`; gives code and all that was said.
    fn setup(&self, then: &str) -> (Option<i32>, String) {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/setup.sh");
        let Output { status, stdout, stderr } = Command::new("/bin/bash")
            .args(["-euo", "pipefail", "-c", &format!("source \"$1\"; {then}"), "setup", script])
            .env_clear()
            .env("PATH", self.bin())
            .env("HOME", self.home())
            .env("BIN", self.bin())
            .output()
            .expect("bash");
        (status.code(), String::from_utf8_lossy(&[stdout, stderr].concat()).into_owned())
    }
}

const ROOT: (&str, &str) = ("id", "echo 0");
const SOMEONE: (&str, &str) = ("id", "echo 1000");
const CARGO: (&str, &str) = ("cargo", "exit 0");
const CC: (&str, &str) = ("cc", "exit 0");
/// Finds the sound headers.
const HEADERS: (&str, &str) = ("pkg-config", "exit 0");
const BUS: (&str, &str) = ("dbus-daemon", "exit 0");
/// Logs what it is asked; a compiler and the sound headers are there afterwards.
const APT: (&str, &str) = (
    "apt-get",
    "echo \"apt-get $*\"; for t in cc pkg-config; do printf '#!/bin/bash\\n' > \"$BIN/$t\"; \
     /bin/chmod +x \"$BIN/$t\"; done",
);

#[test]
fn without_cargo_it_says_where_to_get_it() {
    let (code, said) = Machine::with(&[ROOT, CC, HEADERS]).setup("setup");
    assert_eq!(code, Some(1), "{said}");
    assert!(
        said.contains("cargo is missing") && said.contains("1.95") && said.contains(".cargo/bin"),
        "{said}"
    );
}

#[test]
fn cargo_in_the_home_folder_is_found_though_the_path_lacks_it() {
    let machine = Machine::with(&[ROOT, CC, HEADERS]);
    machine.tool(&machine.home().join(".cargo/bin/cargo"), "echo found $1");
    let (code, said) = machine.setup("setup; cargo build");
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("found build") && said.contains("nothing to install"), "{said}");
}

#[test]
fn without_rustfmt_or_clippy_the_checks_name_the_component_and_the_demo_goes_on() {
    for (missing, component) in [("fmt", "rustfmt"), ("clippy", "clippy")] {
        let machine = Machine::with(&[ROOT, CC, HEADERS, ("cargo", &format!("[ \"$1\" != {missing} ]"))]);
        let (code, said) = machine.setup("setup checks");
        assert_eq!(code, Some(1), "{said}");
        assert!(said.contains(&format!("rustup component add {component}")), "{said}");
        assert_eq!(machine.setup("setup").0, Some(0));
    }
}

#[test]
fn without_a_compiler_root_installs_it_once_and_says_what() {
    let machine = Machine::with(&[ROOT, CARGO, HEADERS, APT]);
    let (code, said) = machine.setup("setup; echo again; setup");
    assert_eq!(code, Some(0), "{said}");
    let (first, second) = said.split_once("again").expect("two runs");
    assert!(first.contains("installing gcc libc6-dev ("), "{first}");
    assert!(first.contains("apt-get update") && first.contains("recommends gcc libc6-dev\n"), "{first}");
    assert!(second.contains("nothing to install") && !second.contains("apt-get"), "{second}");
}

#[test]
fn without_the_sound_headers_or_what_finds_them_it_installs_just_those_and_says_what_for() {
    let wanted = [("exit 1", "recommends libasound2-dev\n"), ("", "recommends pkg-config libasound2-dev\n")];
    for (pkg_config, installed) in wanted {
        let mut tools = vec![ROOT, CC, CARGO, APT];
        if !pkg_config.is_empty() {
            tools.push(("pkg-config", pkg_config));
        }
        let (code, said) = Machine::with(&tools).setup("setup; echo again; setup");
        assert_eq!(code, Some(0), "{said}");
        let (first, second) = said.split_once("again").expect("two runs");
        assert!(first.contains(installed) && first.contains("for sound"), "{first}");
        assert!(second.contains("nothing to install") && !second.contains("apt-get"), "{second}");
    }
}

#[test]
fn without_root_it_asks_sudo_and_without_sudo_it_says_what_to_run() {
    let with_sudo = Machine::with(&[SOMEONE, CARGO, HEADERS, APT, ("sudo", "echo by sudo; \"$@\"")]);
    let (code, said) = with_sudo.setup("setup");
    assert_eq!((code, said.matches("by sudo").count()), (Some(0), 2), "{said}");
    let (code, said) = Machine::with(&[SOMEONE, CARGO, HEADERS, APT]).setup("setup");
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("sudo is missing") && said.contains("apt-get install gcc libc6-dev"), "{said}");
    let (code, said) = Machine::with(&[ROOT, CARGO, HEADERS]).setup("setup");
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("apt-get is missing too") && said.contains("missing: gcc libc6-dev"), "{said}");
}

/// What the checks need beside a browser, all there.
const NODE: (&str, &str) = ("node", "exit 0");
const NPM: (&str, &str) = ("npm", "[ \"$1\" = ls ]");

#[test]
fn the_checks_install_a_browser_once_and_the_demo_needs_none() {
    let apt = (
        "apt-get",
        "echo \"apt-get $*\"; for t in chromium chromedriver; do printf '#!/bin/bash\\n' > \"$BIN/$t\"; /bin/chmod +x \"$BIN/$t\"; done",
    );
    let machine = Machine::with(&[ROOT, CARGO, CC, HEADERS, BUS, NODE, NPM, apt]);
    let (code, said) = machine.setup("setup");
    assert!(code == Some(0) && !said.contains("chromium"), "{said}");
    let (code, said) = machine.setup("setup checks; echo again; setup checks");
    assert_eq!(code, Some(0), "{said}");
    let (first, second) = said.split_once("again").expect("two runs");
    assert!(first.contains("installing chromium chromium-driver"), "{first}");
    assert!(second.contains("browser found") && !second.contains("apt-get"), "{second}");
    let (code, said) = Machine::with(&[ROOT, CARGO, CC, HEADERS, BUS]).setup("setup checks");
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("apt-get is missing") && said.contains("chromium-driver"), "{said}");
}

#[test]
fn the_checks_install_a_message_bus_once_and_the_demo_needs_none() {
    let apt = (
        "apt-get",
        "echo \"apt-get $*\"; printf '#!/bin/bash\\n' > \"$BIN/dbus-daemon\"; /bin/chmod +x \"$BIN/dbus-daemon\"",
    );
    let browser = [("chromium", "exit 0"), ("chromedriver", "exit 0")];
    let tools = [&[ROOT, CARGO, CC, HEADERS, NODE, NPM][..], &browser[..]].concat();
    let machine = Machine::with(&[&tools[..], &[apt]].concat());
    let (code, said) = machine.setup("setup");
    assert!(code == Some(0) && !said.contains("dbus"), "{said}");
    let (code, said) = machine.setup("setup checks; echo again; setup checks");
    assert_eq!(code, Some(0), "{said}");
    let (first, second) = said.split_once("again").expect("two runs");
    assert!(first.contains("installing dbus-daemon (for the tests of Bluetooth)"), "{first}");
    assert!(second.contains("message bus found") && !second.contains("apt-get"), "{second}");
    let (code, said) = Machine::with(&tools).setup("setup checks");
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("apt-get is missing") && said.contains("dbus-daemon"), "{said}");
}

const CHROMIUM: (&str, &str) = ("chromium", "exit 0");
const DRIVER: (&str, &str) = ("chromedriver", "exit 0");

#[test]
fn the_checks_install_node_and_npm_and_with_them_axe_core_once_and_the_demo_needs_none() {
    // Stands ready where the path does not look; puts axe-core where `ls` finds it.
    let npm = "echo \"npm $* in $PWD\"; [ \"$1\" = ci ] && echo > \"$HOME/axe\"; [ -e \"$HOME/axe\" ]";
    let apt = "echo \"apt-get $*\"; for t in node npm; do /bin/cp \"$HOME/npm\" \"$BIN/$t\"; done";
    let machine = Machine::with(&[ROOT, CARGO, CC, HEADERS, BUS, CHROMIUM, DRIVER, ("apt-get", apt)]);
    machine.tool(&machine.home().join("npm"), npm);
    let (code, said) = machine.setup("setup");
    assert!(code == Some(0) && !said.contains("npm"), "{said}");
    let (code, said) = machine.setup("setup checks; echo again; setup checks");
    assert_eq!(code, Some(0), "{said}");
    let (first, second) = said.split_once("again").expect("two runs");
    assert!(first.contains("installing nodejs npm (for the tests of the page)"), "{first}");
    assert!(first.contains("npm ci --ignore-scripts") && first.contains("tests/page\n"), "{first}");
    assert!(second.contains("axe-core found: nothing to install"), "{second}");
    assert!(!second.contains("apt-get") && !second.contains("npm ci"), "{second}");
}

#[test]
fn without_npm_or_its_network_the_checks_say_what_is_missing_and_what_to_try() {
    let there = [ROOT, CARGO, CC, HEADERS, BUS, CHROMIUM, DRIVER, NODE];
    let (code, said) = Machine::with(&there).setup("setup checks");
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("missing: npm; apt-get is missing too"), "{said}");
    let (code, said) = Machine::with(&[&there[..], &[("npm", "exit 1")]].concat()).setup("setup checks");
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("axe-core could not be installed") && said.contains("network"), "{said}");
}
