//! `doctor`: is everything that a pour needs in order? Each line says ok, or what to do.

use super::air;
use super::clock::Clock;
use super::files;
use crate::link::ble;
use crate::link::serial;
use crate::settings::{Ble, Link, Settings};
use crate::sound::{self, Looked, SoundError};
use crate::store::{Reader, try_writable};
use serde::Serialize;
use std::io::ErrorKind;
use std::path::Path;

/// Before this the clock was never set: 2026-01-01 in seconds since 1970.
const CLOCK_FLOOR_S: i64 = 1_767_225_600;

/// One line of the report.
#[derive(Clone, Debug, Serialize)]
pub struct Line {
    /// What was looked at.
    pub what: &'static str,
    /// In order.
    pub ok: bool,
    /// What was found, and what to do when it is not in order.
    pub says: String,
}

/// Looks at config, scale, sound, disk and clock.
pub fn report(config: &Path, told_config: bool, dir: &Path, no_sound: bool) -> Vec<Line> {
    let settings = settings(config, told_config);
    let scale = match &settings {
        Ok((settings, _)) => scale(settings),
        Err(_) => line("scale", false, "not looked for: mend the settings first".to_owned()),
    };
    let first = match &settings {
        Ok((_, says)) => line("settings", true, says.clone()),
        Err(says) => line("settings", false, says.clone()),
    };
    let sound = match &settings {
        _ if no_sound => line("sound", true, "not looked at (--no-sound)".to_owned()),
        Ok((settings, _)) => sound(settings),
        Err(_) => line("sound", false, "not looked for: mend the settings first".to_owned()),
    };
    vec![first, scale, sound, disk(dir), clock()]
}

fn line(what: &'static str, ok: bool, says: String) -> Line {
    Line { what, ok, says }
}

fn settings(config: &Path, told: bool) -> Result<(Settings, String), String> {
    let found = files::settings(config, told).map_err(|error| error.to_string())?;
    Ok(match found {
        Some(settings) => (settings, config.display().to_string()),
        None => (Settings::default(), format!("no {}: the defaults hold", config.display())),
    })
}

fn scale(settings: &Settings) -> Line {
    match &settings.link {
        Link::Simulated => line("scale", true, "simulated: no hardware needed".to_owned()),
        Link::Serial(serial) => port(&serial.port),
        Link::Ble(scale) => in_the_air(scale),
        Link::None => {
            let says = "none set: write [scale] link = \"serial\" and port (or \"ble\" and address) into the settings; \
                        `tarebell scales` lists what is in reach";
            line("scale", false, says.to_owned())
        }
    }
}

fn sound(settings: &Settings) -> Line {
    let clock = Clock::default();
    match sound::look(&settings.sound, move || clock.now()) {
        Ok(Looked { device, latency, measured }) => {
            let says = format!(
                "'{device}', {} ms from order to ear: the most measured over half a second of silence, as the sound \
                 system counts the samples before a new one, and one call's length; cues are ordered {} ms early; a \
                 delay beyond it (a wireless loudspeaker has 100 to 300 ms) is not in it",
                measured.as_millis(),
                latency.as_millis()
            );
            line("sound", true, says)
        }
        // Held by the daemon, as it may be while it runs.
        Err(SoundError::Busy { device }) => line("sound", true, format!("'{device}' is there and in use")),
        Err(
            error @ (SoundError::None
            | SoundError::NotNamed { .. }
            | SoundError::Permission { .. }
            | SoundError::Refused { .. }
            | SoundError::Hangs
            | SoundError::Dead { .. }),
        ) => line("sound", false, format!("{error}; or --no-sound")),
    }
}

/// Adapter and scale; connects nothing.
fn in_the_air(scale: &Ble) -> Line {
    let found = air::look(Some(&scale.by));
    match found.and_then(|found| ble::chosen(&scale.by, &found).map(|place| found[place].clone())) {
        Ok(found) => {
            line("scale", true, format!("the Bluetooth adapter is on; {}: {}", scale.by, air::signal(&found)))
        }
        Err(trouble) => line("scale", false, format!("{trouble}; {}", trouble.try_this())),
    }
}

fn port(port: &str) -> Line {
    if !Path::new(port).exists() {
        let found: Vec<String> = serial::ports().into_iter().map(|f| f.path).collect();
        let says = if found.is_empty() {
            format!("{port} is not there, and no other serial port is: plug the scale in")
        } else {
            format!("{port} is not there; in reach: {}", found.join(", "))
        };
        return line("scale", false, says);
    }
    match is_serial(Path::new(port)) {
        Ok(true) => line("scale", true, format!("{port} is there")),
        Ok(false) => {
            let says = format!(
                "{port} is not a serial port: set [scale] port to one; `tarebell scales` lists what is in reach"
            );
            line("scale", false, says)
        }
        Err(error) if error.kind() == ErrorKind::PermissionDenied => {
            let says = format!(
                "no permission to open {port}: add yourself to the group that owns it (often dialout), log in again"
            );
            line("scale", false, says)
        }
        // Held by the daemon, as it should be while it runs.
        Err(error) if error.kind() == ErrorKind::ResourceBusy => {
            line("scale", true, format!("{port} is there and in use"))
        }
        Err(error) => line("scale", false, format!("{port} can't be opened: {error}; plug it in again")),
    }
}

/// Is it a terminal line? Opens it without waiting for a carrier, reads and changes nothing.
#[cfg(unix)]
fn is_serial(port: &Path) -> std::io::Result<bool> {
    use rustix::fs::OFlags;
    use std::io::IsTerminal as _;
    use std::os::unix::fs::{FileTypeExt as _, OpenOptionsExt as _};
    if !std::fs::metadata(port)?.file_type().is_char_device() {
        return Ok(false);
    }
    let flags = OFlags::NONBLOCK | OFlags::NOCTTY;
    // The flags are bits of a C int.
    let port =
        std::fs::OpenOptions::new().read(true).write(true).custom_flags(flags.bits() as i32).open(port)?;
    Ok(port.is_terminal())
}

/// Elsewhere a port that exists by name is taken for one.
#[cfg(not(unix))]
fn is_serial(_: &Path) -> std::io::Result<bool> {
    Ok(true)
}

fn disk(dir: &Path) -> Line {
    if let Err(error) = std::fs::create_dir_all(dir) {
        return line("disk", false, format!("can't make {}: {error}", dir.display()));
    }
    match try_writable(dir) {
        Err(error) => line("disk", false, error.to_string()),
        Ok(()) => match Reader::open(dir).and_then(|r| r.batches()) {
            Ok(batches) => line("disk", true, format!("{}: {} batches", dir.display(), batches.len())),
            Err(_) if !dir.join("tarebell.db").exists() => {
                line("disk", true, format!("{}: can be written, no log yet", dir.display()))
            }
            Err(error) => line("disk", false, error.to_string()),
        },
    }
}

fn clock() -> Line {
    let now = Clock::default().wall();
    let ok = now.unix_us() / 1_000_000 > CLOCK_FLOOR_S;
    let says = if ok {
        now.rfc3339()
    } else {
        format!("{} can't be: set the date, or records will be dated wrongly", now.rfc3339())
    };
    line("clock", ok, says)
}
