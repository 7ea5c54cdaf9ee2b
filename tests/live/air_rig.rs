//! The daemon with a scale in the air: the stand-in service, and what stands on the scale.

use crate::air::{ADDRESS, Air, Bus, NAME, Radio, Scale};
use crate::rig::{Rig, serve};
use serde_json::Value;
use std::io::Read;
use std::os::fd::OwnedFd;
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Longest wait for anything: what takes longest, a connection that hangs, takes 10 s and a pause.
pub(crate) const WAIT: Duration = Duration::from_secs(60);

/// By name, which is what most people would set.
pub(crate) fn by_name() -> String {
    format!("[scale]\nlink = \"ble\"\nname = \"{NAME}\"\n")
}

/// By address.
pub(crate) fn by_address() -> String {
    format!("[scale]\nlink = \"ble\"\naddress = \"{ADDRESS}\"\n")
}

/// The binary, told to serve with this bus as the system's.
pub(crate) fn serve_on(dir: &Path, bus: &str) -> Command {
    let mut command = serve(dir);
    command.env("DBUS_SYSTEM_BUS_ADDRESS", bus).env("RUST_BACKTRACE", "0");
    command
}

/// The binary with this bus as the system's and these arguments; its code, and what it says on both streams.
pub(crate) fn run_on(bus: &str, arguments: &[&str]) -> (Option<i32>, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tarebell"));
    command.args(arguments).env("DBUS_SYSTEM_BUS_ADDRESS", bus).env("RUST_BACKTRACE", "0");
    let done = command.stdin(Stdio::null()).output().expect("it runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (done.status.code(), text(done.stdout), text(done.stderr))
}

/// Starts the daemon with these settings; what the rig writes into its line goes through the air, in
/// notifications of at most `split` bytes.
pub(crate) fn start(dir: &Path, settings: &str, bus: &str, air: Option<&Arc<Air>>, split: usize) -> Rig {
    std::fs::write(dir.join("tarebell.toml"), settings).expect("settings");
    let (near, mut far) = UnixStream::pair().expect("a pair");
    let air = air.cloned();
    std::thread::spawn(move || {
        let mut buffer = vec![0; split];
        while let Ok(n @ 1..) = far.read(&mut buffer) {
            if let Some(air) = &air {
                air.send(&buffer[..n]);
            }
        }
    });
    Rig::start_as(serve_on(dir, bus), dir, OwnedFd::from(near).into())
}

/// A daemon with one scale in the air, which somebody feeds.
pub(crate) struct Hall {
    // In this order they end: the daemon before the bus.
    pub(crate) feed: Option<Feed>,
    pub(crate) rig: Rig,
    pub(crate) air: Arc<Air>,
    pub(crate) bus: Bus,
    pub(crate) dir: tempfile::TempDir,
}

impl Hall {
    /// All in order, and live.
    pub(crate) fn live(settings: &str) -> Self {
        let hall = Self::start(settings, Radio::On, &[Scale::default()]);
        hall.until("live", |scale| scale["state"] == "live");
        hall
    }

    pub(crate) fn start(settings: &str, radio: Radio, scales: &[Scale]) -> Self {
        let dir = tempfile::tempdir().expect("a folder");
        let bus = Bus::start(dir.path());
        let air = Air::start(&bus, radio, scales);
        let rig = start(dir.path(), settings, &bus.address(), Some(&air), 20);
        let feed = Some(Feed::start(&air, 10));
        Self { feed, rig, air, bus, dir }
    }

    /// Waits until the scale's part of the snapshot is as wanted; gives how long that took.
    pub(crate) fn until(&self, what: &str, wanted: impl Fn(&Value) -> bool) -> Duration {
        until(&self.rig, what, wanted)
    }

    /// Waits until it is lost with these words.
    pub(crate) fn until_said(&self, words: &str) -> Duration {
        self.until(words, |scale| scale["state"] == "lost" && says(scale, words))
    }

    /// How often it said this in its own words.
    pub(crate) fn times_said(&self, words: &str) -> usize {
        self.rig.said().matches(words).count()
    }
}

pub(crate) fn says(scale: &Value, words: &str) -> bool {
    scale["trouble"].as_str().is_some_and(|trouble| trouble.contains(words))
}

pub(crate) fn until(rig: &Rig, what: &str, wanted: impl Fn(&Value) -> bool) -> Duration {
    let from = Instant::now();
    rig.until(what, |now| wanted(&now["scale"]));
    from.elapsed()
}

/// Sends a steady weight until it is let go.
pub(crate) struct Feed {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Feed {
    pub(crate) fn start(air: &Arc<Air>, a_second: u32) -> Self {
        let (stop, air) = (Arc::new(AtomicBool::new(false)), air.clone());
        let stopped = stop.clone();
        let thread = std::thread::spawn(move || {
            let every = Duration::from_secs(1) / a_second;
            let mut due = Instant::now();
            while !stopped.load(Ordering::SeqCst) {
                air.send(b"0.4 g\r\n");
                due += every;
                std::thread::sleep(due.saturating_duration_since(Instant::now()));
            }
        });
        Self { stop, thread: Some(thread) }
    }
}

impl Drop for Feed {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
