//! `[scale] layout`: a word, or the shape of a binary message.

use super::{SettingsError, Source, kind};
use crate::frame::MessageFormat;
use crate::frame::layout::{Checksum, ChecksumKind, Count, Endian, Flag, LONGEST, Layout, UnitByte};
use crate::units::plainly;
use serde::Deserialize;
use std::collections::BTreeMap;
use toml::Spanned;

/// How notifications are read.
#[derive(Clone, Debug, PartialEq)]
pub enum Notifications {
    /// Text lines, split anywhere.
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
    #[serde(default)]
    endian: EndianText,
    #[serde(default)]
    signed: bool,
    #[serde(default = "one_gram")]
    unit_g: f64,
}

fn one_gram() -> f64 {
    1.0
}

#[derive(Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum EndianText {
    #[default]
    Little,
    Big,
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
    kind: ChecksumKindText,
    offset: usize,
    from: Option<usize>,
    to: Option<usize>,
}

#[derive(Deserialize)]
#[serde(rename_all = "lowercase")]
enum ChecksumKindText {
    Sum,
    Xor,
    Crc8,
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

/// What the parser says of a table.
fn misfit(error: &toml::de::Error) -> Misfit {
    let whole = error.to_string();
    // It names the place in a last line of its own: in `mass.offset`.
    let place = whole.trim_end().lines().last().and_then(|l| l.strip_prefix("in `")?.strip_suffix('`'));
    match (place, kind::wrong_kind(error.message())) {
        (Some(place), Some(expected)) => Misfit::Kind { place: place.to_owned(), expected },
        _ => Misfit::Value(plainly(whole.trim_end())),
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
            let layout = layout(text).map_err(Misfit::Value)?;
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

fn layout(text: LayoutText) -> Result<Layout, String> {
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
        return Err("negative: not together with mass.signed = true: leave one out".to_owned());
    }
    place("header", layout.header.len())?;
    if let Some(length) = layout.length.filter(|length| *length < layout.least()) {
        return Err(format!("length: {length} is too short: the places named need {}", layout.least()));
    }
    place("length", layout.length.unwrap_or(0))?;
    Ok(layout)
}

/// Places are within the longest message.
fn place(name: &str, offset: usize) -> Result<usize, String> {
    if offset <= LONGEST { Ok(offset) } else { Err(format!("{name}: {offset} is more than {LONGEST}")) }
}

fn grams(name: &str, value: f64) -> Result<f64, String> {
    // From a microgram to a kilogram a count.
    let good = (1e-6..=1000.0).contains(&value);
    good.then_some(value).ok_or_else(|| format!("{name}: {value} is not between 0.000001 and 1000 g a count"))
}

fn count(text: &CountText) -> Result<Count, String> {
    if !(1..=4).contains(&text.bytes) {
        return Err(format!("mass.bytes: {} is not between 1 and 4", text.bytes));
    }
    Ok(Count {
        // All of the count is within the longest message.
        offset: place("mass.offset", text.offset.saturating_add(text.bytes)).map(|_| text.offset)?,
        bytes: text.bytes,
        endian: match text.endian {
            EndianText::Little => Endian::Little,
            EndianText::Big => Endian::Big,
        },
        signed: text.signed,
        unit_g: grams("mass.unit_g", text.unit_g)?,
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
    let offset = place(&format!("{name}.offset"), text.offset)?;
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
    Ok(UnitByte { offset: place("unit.offset", text.offset)?, grams })
}

fn checksum(text: ChecksumText) -> Result<Checksum, String> {
    let offset = place("checksum.offset", text.offset)?;
    let (from, to) = (text.from.unwrap_or(0), place("checksum.to", text.to.unwrap_or(offset))?);
    if from >= to {
        return Err(format!("checksum: covers nothing from {from} up to {to}"));
    }
    if (from..to).contains(&offset) {
        return Err(format!("checksum.offset: {offset} is among the bytes that it covers"));
    }
    let kind = match text.kind {
        ChecksumKindText::Sum => ChecksumKind::Sum,
        ChecksumKindText::Xor => ChecksumKind::Xor,
        ChecksumKindText::Crc8 => ChecksumKind::Crc8,
    };
    Ok(Checksum { kind, offset, from, to })
}
