//! TOML text to checked settings. What is learned is not a setting.
//!
//! Every default stands here with its reason; `config/tarebell.toml` repeats both.

mod ble;
mod fault;
mod kind;
mod layout;
mod places;
mod pour;
mod show;
mod together;

pub use ble::{Ble, By, number, numbered, short};

use crate::frame::MessageFormat;
use crate::frame::line::{LineFormat, Unit};
use crate::frame::standard::{IMPERIAL_STEP_G, SI_STEP_G};
use crate::pour::PourSettings;
use crate::scale::{Origin, ScaleFacts};
use crate::time::Duration;
use crate::units::{Mass, as_told, shown::Shown};
pub use fault::SettingsError;
use fault::Source;
pub use layout::Notifications;
use pour::PourText;
pub use pour::Reminding;
use serde::Deserialize;
use std::net::SocketAddr;
use toml::Spanned;

/// How bytes come from the scale.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Link {
    /// Nothing set: the daemon runs and says so.
    None,
    /// A serial port.
    Serial(Serial),
    /// A scale in the air.
    Ble(Ble),
    /// The simulated potter.
    Simulated,
}

/// A serial port's settings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Serial {
    /// Path or name of the port.
    pub port: String,
    /// Bits a second.
    pub baud: u32,
    /// Data bits, parity, stop bits, such as `8N1`.
    pub framing: Framing,
    /// Sent to get a reading, and how often.
    pub ask: Option<(String, Duration)>,
}

/// Data bits, parity and stop bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Framing {
    /// 7 or 8.
    pub data_bits: u8,
    /// `N`, `E` or `O`.
    pub parity: char,
    /// 1 or 2.
    pub stop_bits: u8,
}

impl Framing {
    /// The framing of a word such as `8N1`.
    pub fn from_word(word: &str) -> Option<Self> {
        let mut chars = word.chars();
        let (d, p, s, rest) = (chars.next()?, chars.next()?, chars.next()?, chars.next());
        let data_bits = d.to_digit(10).filter(|d| (7..=8).contains(d))?;
        let stop_bits = s.to_digit(10).filter(|s| (1..=2).contains(s))?;
        let parity = p.to_ascii_uppercase();
        ("NEO".contains(parity) && rest.is_none()).then_some(Self {
            data_bits: data_bits as u8,
            parity,
            stop_bits: stop_bits as u8,
        })
    }
}

/// The loudspeaker's settings.
#[derive(Clone, Debug, PartialEq)]
pub struct Sound {
    /// Part of the device's name; none: the system's usual one.
    pub device: Option<String>,
    /// 0.05 to 1.
    pub volume: f64,
    /// Only `stop`, `short`, `over` and `fault` sound.
    pub quiet: bool,
    /// `good` sounds too.
    pub good: bool,
    /// The warning pips sound; else the stop comes alone.
    pub pips: bool,
}

impl Default for Sound {
    fn default() -> Self {
        // The system's own volume is set by ear; ours leaves room to be turned up over a fan
        // (chosen by us, not tried on people).
        Self { device: None, volume: 0.7, quiet: false, good: false, pips: true }
    }
}

/// Checked settings.
#[derive(Clone, Debug)]
pub struct Settings {
    /// How bytes come.
    pub link: Link,
    /// How lines are read.
    pub line: LineFormat,
    /// Unit of lines that name none.
    pub unit: Unit,
    /// How notifications are read.
    pub notifications: Notifications,
    /// The scale as told.
    pub scale: ScaleFacts,
    /// Address of the page.
    pub listen: SocketAddr,
    /// The most that the scale carries, where told.
    pub capacity: Option<Mass>,
    /// Pouring.
    pub pour: PourSettings,
    /// What is said between two pieces.
    pub reminding: Reminding,
    /// The loudspeaker.
    pub sound: Sound,
    /// Units in which weights and lengths are shown.
    pub shown: Shown,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            link: Link::None,
            line: LineFormat::Auto,
            unit: Unit::Gram,
            notifications: Notifications::Text,
            scale: ScaleFacts {
                id: "scale".to_owned(),
                // The usual step of a bench scale for 1 to 3 kg (common practice, no source).
                step: Mass::saturating(0.1),
                // A third of a step: a scale that shows 0.1 g rarely flickers more (common practice, no source).
                noise: Mass::saturating(0.03),
                // The middle of the 0.1 to 0.7 s that bench scales show (common practice, no source).
                lag: Duration::from_millis(300),
                lag_origin: Origin::Assumed,
            },
            listen: SocketAddr::from(([127, 0, 0, 1], 8737)),
            capacity: None,
            pour: PourSettings::default(),
            reminding: Reminding::default(),
            sound: Sound::default(),
            shown: Shown::default(),
        }
    }
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Text {
    #[serde(default)]
    scale: ScaleText,
    #[serde(default)]
    page: PageText,
    #[serde(default)]
    pour: PourText,
    #[serde(default)]
    sound: SoundText,
    #[serde(default)]
    show: show::ShowText,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct ScaleText {
    link: Option<Spanned<String>>,
    name: Option<Spanned<String>>,
    port: Option<Spanned<String>>,
    baud: Option<Spanned<u32>>,
    framing: Option<Spanned<String>>,
    ask: Option<Spanned<String>>,
    ask_every_ms: Option<Spanned<u64>>,
    line: Option<Spanned<String>>,
    layout: Option<Spanned<toml::Value>>,
    unit: Option<Spanned<String>>,
    step_g: Option<Spanned<f64>>,
    noise_g: Option<Spanned<f64>>,
    lag_ms: Option<Spanned<u64>>,
    capacity_g: Option<Spanned<f64>>,
    address: Option<Spanned<String>>,
    service: Option<Spanned<String>>,
    characteristic: Option<Spanned<String>>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct PageText {
    listen: Option<Spanned<String>>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct SoundText {
    device: Option<Spanned<String>>,
    volume: Option<Spanned<f64>>,
    quiet: Option<Spanned<bool>>,
    good: Option<bool>,
    pips: Option<bool>,
}

impl Settings {
    /// Settings from TOML text; `file` is for messages.
    pub fn parse(text: &str, file: &str) -> Result<Self, SettingsError> {
        let shape: Text = toml::from_str(text).map_err(|e| kind::sort(text, file, &e))?;
        let source = Source { text, file };
        let (line, unit) = line(&source, &shape.scale)?;
        let notifications = notifications(&source, &shape.scale)?;
        let scale = scale(&source, &shape.scale, &notifications)?;
        let pour = pour::pour(&source, &shape.pour)?;
        Ok(Self {
            link: link(&source, &shape.scale, &notifications)?,
            line,
            unit,
            notifications,
            scale,
            listen: listen(&source, shape.page.listen.as_ref())?,
            capacity: pour::capacity(&source, shape.scale.capacity_g.as_ref(), pour.min_piece)?,
            pour,
            reminding: pour::reminding(&source, &shape.pour)?,
            sound: sound(&source, &shape.sound)?,
            shown: show::shown(&source, &shape.show)?,
        })
    }
}

fn link(source: &Source<'_>, t: &ScaleText, how: &Notifications) -> Result<Link, SettingsError> {
    // Checked whatever the link is: a bad value is not to wait until the link is changed.
    let framing = framing(source, t)?;
    let baud = source.number("scale.baud", t.baud.as_ref(), 9600, 110..=1_000_000, "bits a second")?;
    let every = source.number("scale.ask_every_ms", t.ask_every_ms.as_ref(), 100, 20..=10_000, "ms")?;
    let ask = t.ask.as_ref().map(|a| (a.get_ref().clone(), Duration::from_millis(every)));
    ble::check(source, t)?;
    together::check(source, t, how)?;
    let Some(word) = &t.link else { return Ok(Link::None) };
    match word.get_ref().as_str() {
        "serial" => Ok(Link::Serial(Serial { port: port(source, t, word)?, baud, framing, ask })),
        "simulated" => Ok(Link::Simulated),
        "ble" => Ok(Link::Ble(ble::link(source, t, word, how)?)),
        other => {
            let known = "\"serial\", \"ble\" or \"simulated\"";
            let why = if other == "replay" { "is not in this version: use" } else { "is not" };
            Err(source.wrong("scale.link", word, format!("'{other}' {why} {known}")))
        }
    }
}

fn port(source: &Source<'_>, t: &ScaleText, link: &Spanned<String>) -> Result<String, SettingsError> {
    let missing = "needs [scale] port, such as \"/dev/ttyUSB0\": `tarebell scales` lists what is in reach";
    let port = t.port.as_ref().ok_or_else(|| source.wrong("scale.port", link, missing))?;
    if port.get_ref().trim().is_empty() {
        return Err(source.wrong("scale.port", port, missing));
    }
    Ok(port.get_ref().clone())
}

fn framing(source: &Source<'_>, t: &ScaleText) -> Result<Framing, SettingsError> {
    let Some(word) = &t.framing else { return Ok(Framing { data_bits: 8, parity: 'N', stop_bits: 1 }) };
    let expected = "expected data bits, parity, stop bits, such as \"8N1\" or \"7E1\"";
    Framing::from_word(word.get_ref()).ok_or_else(|| source.wrong("scale.framing", word, expected))
}

/// Groups a line pattern may name; any other is a slip of the pen.
const GROUPS: [&str; 6] = ["mass", "unit", "sign", "stable", "unstable", "overload"];

fn line(source: &Source<'_>, t: &ScaleText) -> Result<(LineFormat, Unit), SettingsError> {
    let format = match &t.line {
        None => LineFormat::Auto,
        Some(word) if word.get_ref() == "auto" => LineFormat::Auto,
        Some(text) => {
            let pattern = regex::Regex::new(text.get_ref()).map_err(|e| {
                source.wrong("scale.line", text, format!("not \"auto\" and not a pattern: {e}"))
            })?;
            if !pattern.capture_names().flatten().any(|n| n == "mass") {
                let why = "the pattern has no group named mass: write (?<mass>[0-9.]+)";
                return Err(source.wrong("scale.line", text, why));
            }
            if let Some(odd) = pattern.capture_names().flatten().find(|n| !GROUPS.contains(n)) {
                let why = format!("unknown group '{odd}': known are {}", GROUPS.join(", "));
                return Err(source.wrong("scale.line", text, why));
            }
            LineFormat::Pattern(pattern)
        }
    };
    let unit = match &t.unit {
        None => Unit::Gram,
        Some(word) => Unit::from_word(word.get_ref())
            .ok_or_else(|| source.wrong("scale.unit", word, "expected g, kg, mg, oz or lb"))?,
    };
    Ok((format, unit))
}

fn notifications(source: &Source<'_>, t: &ScaleText) -> Result<Notifications, SettingsError> {
    let Some(value) = &t.layout else { return Ok(Notifications::Text) };
    layout::notifications(value.get_ref()).map_err(|misfit| misfit.of(source, value))
}

fn scale(source: &Source<'_>, t: &ScaleText, how: &Notifications) -> Result<ScaleFacts, SettingsError> {
    let d = Settings::default().scale;
    let step = step(source, t, how)?;
    let noise = source.number("scale.noise_g", t.noise_g.as_ref(), d.noise.g(), 0.0..=5.0, "g")?;
    let lag_ms =
        source.number("scale.lag_ms", t.lag_ms.as_ref(), d.lag.as_millis() as u64, 0..=3000, "ms")?;
    Ok(ScaleFacts {
        id: t.name.as_ref().map_or(d.id, |n| n.get_ref().clone()),
        step,
        noise: Mass::saturating(noise),
        lag: Duration::from_millis(lag_ms),
        lag_origin: if t.lag_ms.is_some() { Origin::Told } else { Origin::Assumed },
    })
}

/// The display's step; one finer than one count of what is sent would promise what no weight can show.
fn step(source: &Source<'_>, t: &ScaleText, how: &Notifications) -> Result<Mass, SettingsError> {
    let usual = Settings::default().scale.step.g();
    let (usual, least_g, counts) = match how {
        // Counts in steps of its own, however fine the display is.
        Notifications::Messages(MessageFormat::Standard) => {
            (SI_STEP_G, IMPERIAL_STEP_G, "the standard service counts in 5 g or 0.01 lb".to_owned())
        }
        Notifications::Messages(MessageFormat::Layout(layout)) => {
            let count = layout.finest_g();
            (usual.max(count), count, format!("one count of its layout is {count} g"))
        }
        Notifications::Text => (usual, 0.001, String::new()),
    };
    if usual > MOST_STEP_G
        && let Some(layout) = &t.layout
    {
        let why = format!("{counts}: too coarse to pour by, a step may be at most {MOST_STEP_G} g");
        return Err(source.wrong("scale.layout", layout, why));
    }
    // A percent is less than any two steps of a scale differ by.
    if let Some(told) =
        t.step_g.as_ref().filter(|told| *told.get_ref() < least_g / 1.01 && !counts.is_empty())
    {
        let told_g = as_told(*told.get_ref());
        let why = format!("{told_g} is finer than its bytes can tell: {counts}; take step_g out");
        return Err(source.wrong("scale.step_g", told, why));
    }
    let step = source.number("scale.step_g", t.step_g.as_ref(), usual, 0.001..=MOST_STEP_G, "g")?;
    Ok(Mass::saturating(step))
}

/// Chosen: coarser than any bench scale counts, and no coat of some tens of grams can be poured by it.
const MOST_STEP_G: f64 = 10.0;

/// A listening address, from the file or from the command line.
pub fn loopback(text: &str) -> Result<SocketAddr, String> {
    let address: SocketAddr =
        text.parse().map_err(|_| format!("'{text}' is not an address such as 127.0.0.1:8737"))?;
    let open =
        || format!("{address} can be reached from other machines, and there are no keys yet: use 127.0.0.1");
    address.ip().is_loopback().then_some(address).ok_or_else(open)
}

fn listen(source: &Source<'_>, value: Option<&Spanned<String>>) -> Result<SocketAddr, SettingsError> {
    let Some(value) = value else { return Ok(Settings::default().listen) };
    loopback(value.get_ref()).map_err(|why| source.wrong("page.listen", value, why))
}

/// A twentieth of full scale is 26 dB below it: under that nobody hears a stop (our choice, tried on nobody).
const LEAST_VOLUME: f64 = 0.05;

fn sound(source: &Source<'_>, t: &SoundText) -> Result<Sound, SettingsError> {
    let d = Sound::default();
    let empty = "empty: give part of a loudspeaker's name, or take the line out for the usual one";
    let device = match &t.device {
        Some(name) if name.get_ref().trim().is_empty() => {
            return Err(source.wrong("sound.device", name, empty));
        }
        Some(name) => Some(name.get_ref().trim().to_owned()),
        None => d.device,
    };
    let least = "of full scale: four cues must stay heard; to be silent use --no-sound";
    let volume = source.number("sound.volume", t.volume.as_ref(), d.volume, LEAST_VOLUME..=1.0, least)?;
    let good = t.good.unwrap_or(d.good);
    let quiet = match &t.quiet {
        // Two wishes that exclude each other: neither is to be dropped in silence.
        Some(quiet) if good && *quiet.get_ref() => {
            return Err(source.wrong("sound.quiet", quiet, "not together with good = true: leave one out"));
        }
        Some(quiet) => *quiet.get_ref(),
        None => d.quiet,
    };
    Ok(Sound { device, volume, quiet, good, pips: t.pips.unwrap_or(d.pips) })
}
