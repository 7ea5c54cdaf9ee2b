//! `[scale] layout`: a word, or the shape of a binary message.

use super::{SettingsError, Source, kind, places};
use crate::frame::MessageFormat;
use crate::frame::layout::{Checksum, ChecksumKind, Count, Endian, Flag, LONGEST, Layout, UnitByte};
use crate::units::as_told;
use crate::units::plain::plainly;
use serde::Deserialize;
use std::collections::BTreeMap;
use toml::Spanned;

/// How notifications are read.
#[derive(Clone, Debug, PartialEq)]
pub enum Notifications {
    /// Text lines, split anywhere, or each whole in a notification.
    Text,
    /// Whole messages.
    Messages(MessageFormat),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LayoutText {
    mass: CountText,
    #[serde(default)]
    header: Vec<u8>,
    length: Option<usize>,
    negative: Option<FlagText>,
    stable: Option<FlagText>,
    overload: Option<FlagText>,
    unit: Option<UnitText>,
    checksum: Option<ChecksumText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CountText {
    offset: usize,
    bytes: usize,
    endian: Option<String>,
    #[serde(default)]
    signed: bool,
    unit_g: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FlagText {
    offset: usize,
    bit: u32,
    #[serde(default = "set")]
    when: u8,
}

fn set() -> u8 {
    1
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UnitText {
    offset: usize,
    grams: BTreeMap<String, f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ChecksumText {
    kind: String,
    offset: usize,
    from: Option<usize>,
    to: Option<usize>,
}

/// What is wrong with a value of `layout`.
pub(super) enum Misfit {
    /// In words that name the part.
    Value(String),
    /// A part is of another kind than it takes.
    Kind {
        /// Dotted.
        place: String,
        /// What was found and what was expected.
        expected: String,
    },
}

impl Misfit {
    /// As an error of the settings.
    pub(super) fn of(self, source: &Source<'_>, at: &Spanned<toml::Value>) -> SettingsError {
        match self {
            Self::Value(why) => source.wrong("scale.layout", at, why),
            Self::Kind { place, expected } => SettingsError::Kind {
                file: source.file.to_owned(),
                line: kind::line(source.text, at.span().start),
                key: format!("scale.layout.{place}"),
                expected,
            },
        }
    }
}

const ENDIANS: &str = "\"little\" or \"big\"";
const CHECKSUMS: &str = "\"sum\", \"xor\" or \"crc8\"";
/// Keys whose values are few, and what they take.
const FEW: [(&str, &str); 5] = [
    ("endian", ENDIANS),
    ("kind", CHECKSUMS),
    ("bit", "a whole number from 0 to 7"),
    ("when", "0 or 1"),
    ("bytes", "a whole number from 1 to 4"),
];
/// Keys that must be there, and an example.
const NEEDED: [(&str, &str); 6] = [
    ("mass", "mass = { offset = 0, bytes = 2, unit_g = 0.1 }"),
    ("offset", "offset = 0"),
    ("bytes", "bytes = 2"),
    ("bit", "bit = 0"),
    ("grams", "grams = { 0 = 0.1 }"),
    ("kind", "kind = \"xor\""),
];

fn of<'a>(table: &[(&str, &'a str)], key: &str) -> Option<&'a str> {
    table.iter().find(|(name, _)| *name == key).map(|(_, words)| *words)
}

/// What the parser says of a table.
fn misfit(error: &toml::de::Error) -> Misfit {
    let whole = error.to_string();
    // It names the place in a last line of its own: in `mass.offset`.
    let place = whole.trim_end().lines().last().and_then(|l| l.strip_prefix("in `")?.strip_suffix('`'));
    let missing = error.message().strip_prefix("missing field `").and_then(|rest| rest.split('`').next());
    if let Some((key, example)) = missing.and_then(|key| Some((key, of(&NEEDED, key)?))) {
        let place = place.map_or_else(|| key.to_owned(), |place| format!("{place}.{key}"));
        return Misfit::Kind { place, expected: format!("is missing: write such as `{example}`") };
    }
    if let Some((key, known)) = unknown(error.message()) {
        let place = place.map_or_else(|| key.to_owned(), |place| format!("{place}.{key}"));
        return Misfit::Kind { place, expected: format!("is not known here: known are {known}") };
    }
    match (place, kind::wrong_kind(error.message())) {
        (Some(place), Some(said)) => {
            let few = place.rsplit('.').next().and_then(|key| of(&FEW, key));
            let found = said.split(": expected ").next().unwrap_or(&said);
            let expected = few.map_or_else(|| said.clone(), |few| format!("{found}: expected {few}"));
            Misfit::Kind { place: place.to_owned(), expected }
        }
        _ => Misfit::Value(plainly(whole.trim_end())),
    }
}

/// A key that is not known, and those that are.
fn unknown(message: &str) -> Option<(&str, String)> {
    let mut names = message.strip_prefix("unknown field `")?.split('`').step_by(2);
    Some((names.next()?, names.collect::<Vec<_>>().join(", ")))
}

/// A word that is none of those allowed.
fn no_word(place: &str, word: &str, allowed: &str) -> Misfit {
    Misfit::Kind { place: place.to_owned(), expected: format!("'{word}' does not fit: expected {allowed}") }
}

fn endian(word: Option<&str>) -> Result<Endian, Misfit> {
    match word {
        None | Some("little") => Ok(Endian::Little),
        Some("big") => Ok(Endian::Big),
        Some(other) => Err(no_word("mass.endian", other, ENDIANS)),
    }
}

fn checksum_kind(word: &str) -> Result<ChecksumKind, Misfit> {
    match word {
        "sum" => Ok(ChecksumKind::Sum),
        "xor" => Ok(ChecksumKind::Xor),
        "crc8" => Ok(ChecksumKind::Crc8),
        other => Err(no_word("checksum.kind", other, CHECKSUMS)),
    }
}

impl From<String> for Misfit {
    fn from(why: String) -> Self {
        Self::Value(why)
    }
}

/// Notifications from the value of `layout`.
///
/// # Errors
/// What names the part that is wrong.
pub(super) fn notifications(value: &toml::Value) -> Result<Notifications, Misfit> {
    let expected = "expected \"text\", \"standard\", or the places of a message: \
                    { mass = { offset = 0, bytes = 2, unit_g = 0.1 } }";
    match value {
        toml::Value::String(word) if word == "text" => Ok(Notifications::Text),
        toml::Value::String(word) if word == "standard" => {
            Ok(Notifications::Messages(MessageFormat::Standard))
        }
        toml::Value::Table(table) => {
            let text: LayoutText = table.clone().try_into().map_err(|e| misfit(&e))?;
            let layout = layout(text)?;
            Ok(Notifications::Messages(MessageFormat::Layout(layout)))
        }
        toml::Value::String(word) => Err(Misfit::Value(format!("'{word}': {expected}"))),
        toml::Value::Integer(_)
        | toml::Value::Float(_)
        | toml::Value::Boolean(_)
        | toml::Value::Datetime(_)
        | toml::Value::Array(_) => Err(Misfit::Value(expected.to_owned())),
    }
}

fn layout(text: LayoutText) -> Result<Layout, Misfit> {
    let counted_twice = text.mass.unit_g.is_some() && text.unit.is_some();
    let layout = Layout {
        header: text.header,
        length: text.length,
        mass: count(&text.mass)?,
        negative: flag("negative", text.negative)?,
        stable: flag("stable", text.stable)?,
        overload: flag("overload", text.overload)?,
        unit: text.unit.map(unit).transpose()?,
        checksum: text.checksum.map(checksum).transpose()?,
    };
    if layout.negative.is_some() && layout.mass.signed {
        return Err("negative: not together with mass.signed = true: leave one out".to_owned().into());
    }
    if counted_twice {
        let why = "mass.unit_g: not together with unit, whose grams say what a count weighs: leave one out";
        return Err(why.to_owned().into());
    }
    places::apart(&layout)?;
    ends("header", layout.header.len())?;
    if let Some(length) = layout.length.filter(|length| *length < layout.least()) {
        let why = format!("length: {length} is too short: the places named need {}", layout.least());
        return Err(why.into());
    }
    ends("length", layout.length.unwrap_or(0))?;
    Ok(layout)
}

/// Whatever has so many bytes before its end is within the longest message.
fn ends(name: &str, end: usize) -> Result<usize, String> {
    if end <= LONGEST {
        Ok(end)
    } else {
        Err(format!("{name}: {end} is more than {LONGEST}, the longest message"))
    }
}

/// All bytes of a place are within the longest message.
fn place(name: &str, offset: usize, bytes: usize) -> Result<usize, String> {
    let last = LONGEST - bytes;
    if offset <= last {
        return Ok(offset);
    }
    Err(format!(
        "{name}: {offset} is too far: {last} is the last that fits, as the longest message has {LONGEST} bytes"
    ))
}

fn grams(name: &str, value: f64) -> Result<f64, String> {
    // From a microgram to a kilogram a count.
    let good = (1e-6..=1000.0).contains(&value);
    let told = as_told(value);
    good.then_some(value).ok_or_else(|| format!("{name}: {told} is not between 0.000001 and 1000 g a count"))
}

fn count(text: &CountText) -> Result<Count, Misfit> {
    if !(1..=4).contains(&text.bytes) {
        return Err(format!("mass.bytes: {} is not between 1 and 4", text.bytes).into());
    }
    Ok(Count {
        offset: place("mass.offset", text.offset, text.bytes)?,
        bytes: text.bytes,
        endian: endian(text.endian.as_deref())?,
        signed: text.signed,
        unit_g: grams("mass.unit_g", text.unit_g.unwrap_or(1.0))?,
    })
}

fn flag(name: &str, text: Option<FlagText>) -> Result<Option<Flag>, String> {
    let Some(text) = text else { return Ok(None) };
    if text.bit > 7 {
        return Err(format!("{name}.bit: {} is not between 0 and 7", text.bit));
    }
    if text.when > 1 {
        return Err(format!("{name}.when: {} is not 0 or 1", text.when));
    }
    let offset = place(&format!("{name}.offset"), text.offset, 1)?;
    Ok(Some(Flag { offset, bit: text.bit, when: text.when == 1 }))
}

fn unit(text: UnitText) -> Result<UnitByte, String> {
    if text.grams.is_empty() {
        return Err("unit.grams: name at least one value: { 0 = 0.1 }".to_owned());
    }
    let one = |(key, value): (String, f64)| {
        let code = match key.strip_prefix("0x") {
            Some(hex) => u8::from_str_radix(hex, 16),
            None => key.parse(),
        };
        let code = code.map_err(|_| format!("unit.grams: '{key}' is no byte, such as 2 or 0x02"))?;
        Ok((code, grams(&format!("unit.grams.{key}"), value)?))
    };
    let grams = text.grams.into_iter().map(one).collect::<Result<Vec<_>, String>>()?;
    let twice = |(i, (code, _)): (usize, &(u8, f64))| {
        grams[..i].iter().any(|(other, _)| other == code).then_some(*code)
    };
    if let Some(code) = grams.iter().enumerate().find_map(twice) {
        return Err(format!("unit.grams: the value {code} (0x{code:02x}) stands there twice: leave one out"));
    }
    Ok(UnitByte { offset: place("unit.offset", text.offset, 1)?, grams })
}

fn checksum(text: ChecksumText) -> Result<Checksum, Misfit> {
    let kind = checksum_kind(&text.kind)?;
    let offset = place("checksum.offset", text.offset, 1)?;
    let (from, to) = (text.from.unwrap_or(0), ends("checksum.to", text.to.unwrap_or(offset))?);
    if from >= to {
        let why = if text.to.is_some() {
            format!("checksum.to: {to} is not after from, {from}: no byte would be checked")
        } else {
            format!(
                "checksum.offset: no byte lies between from, {from}, and {offset}: say with from and to which \
                 bytes are checked (to is one past the last), or correct offset"
            )
        };
        return Err(why.into());
    }
    if (from..to).contains(&offset) {
        return Err(format!("checksum.offset: {offset} is among the bytes that it covers").into());
    }
    Ok(Checksum { kind, offset, from, to })
}
