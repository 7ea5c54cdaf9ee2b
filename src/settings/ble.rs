//! The keys of `[scale]` that say which scale in the air is meant, and where its weights come from.

use super::layout::Notifications;
use super::{ScaleText, SettingsError, Source};
use crate::frame::MessageFormat;
use toml::Spanned;
use uuid::Uuid;

/// The part that numbers of the standard share: a number stands in its upper 32 bits
/// (Bluetooth Core Specification, volume 3, part B, 2.5.1, from memory).
const BASE: u128 = 0x0000_0000_0000_1000_8000_0080_5f9b_34fb;

/// A scale in the air.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ble {
    /// How it is known.
    pub by: By,
    /// The service its weights come from; none: any.
    pub service: Option<Uuid>,
    /// The characteristic its weights come from; none: the only one that sends by itself.
    pub characteristic: Option<Uuid>,
}

/// How a scale in the air is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum By {
    /// By its address, or by the id that the system gives it where addresses are hidden; upper case.
    Address(String),
    /// By the name it sends.
    Name(String),
    /// By a service it says it has.
    Service(Uuid),
}

impl std::fmt::Display for By {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Address(address) => f.write_str(address),
            Self::Name(name) => write!(f, "'{name}'"),
            Self::Service(service) => write!(f, "a scale with service {}", short(*service)),
        }
    }
}

/// The whole of a number of the standard, such as `0x181d`.
pub const fn numbered(number: u16) -> Uuid {
    Uuid::from_u128(((number as u128) << 96) | BASE)
}

/// The number of the standard, where it is one.
pub fn number(uuid: Uuid) -> Option<u16> {
    let head = uuid.as_u128() >> 96;
    u16::try_from(head).ok().filter(|n| numbered(*n) == uuid)
}

/// As a person writes it: the number where it is one of the standard, else all of it.
pub fn short(uuid: Uuid) -> String {
    number(uuid).map_or_else(|| uuid.to_string(), |n| format!("{n:04x}"))
}

/// Bluetooth Assigned Numbers: the Weight Scale Service and its Weight Measurement.
const WEIGHT_SCALE: u16 = 0x181d;
const WEIGHT_MEASUREMENT: u16 = 0x2a9d;

/// The standard's layout says where its values are: another place would be read as what it is not.
fn only_standard(source: &Source<'_>, t: &ScaleText, told: &Checked) -> Result<(), SettingsError> {
    let places = [
        ("scale.service", &t.service, told.service, WEIGHT_SCALE),
        ("scale.characteristic", &t.characteristic, told.characteristic, WEIGHT_MEASUREMENT),
    ];
    for (key, at, told, wanted) in places {
        if let (Some(at), Some(told)) = (at, told.filter(|told| *told != numbered(wanted))) {
            let why = format!(
                "{} does not go with layout = \"standard\", which reads {wanted:04x}: take it out, or say with \
                 layout how the bytes of your scale are read",
                short(told)
            );
            return Err(source.wrong(key, at, why));
        }
    }
    Ok(())
}

pub(super) fn link(
    source: &Source<'_>,
    t: &ScaleText,
    at: &Spanned<String>,
    how: &Notifications,
) -> Result<Ble, SettingsError> {
    let told = check(source, t)?;
    let standard = *how == Notifications::Messages(MessageFormat::Standard);
    if standard {
        only_standard(source, t, &told)?;
    }
    let Checked { address, service, characteristic } = told;
    let characteristic = characteristic.or(standard.then_some(numbered(WEIGHT_MEASUREMENT)));
    let name = t.name.as_ref().map(|n| n.get_ref().trim().to_owned()).filter(|n| !n.is_empty());
    let by = address.map(By::Address).or(name.map(By::Name)).or(service.map(By::Service)).ok_or_else(|| {
        let missing = "needs [scale] address, or the name or service the scale sends: `tarebell scales` lists \
                       what is in reach";
        source.wrong("scale.address", at, missing)
    })?;
    Ok(Ble { by, service, characteristic })
}

/// The keys, each good by itself.
pub(super) struct Checked {
    address: Option<String>,
    service: Option<Uuid>,
    characteristic: Option<Uuid>,
}

/// Checks the keys whatever the link is.
pub(super) fn check(source: &Source<'_>, t: &ScaleText) -> Result<Checked, SettingsError> {
    Ok(Checked {
        address: t.address.as_ref().map(|a| address(source, a)).transpose()?,
        service: t.service.as_ref().map(|s| uuid(source, "scale.service", s)).transpose()?,
        characteristic: t
            .characteristic
            .as_ref()
            .map(|c| uuid(source, "scale.characteristic", c))
            .transpose()?,
    })
}

fn address(source: &Source<'_>, text: &Spanned<String>) -> Result<String, SettingsError> {
    let upper = text.get_ref().trim().to_ascii_uppercase();
    let pair = |part: &str| part.len() == 2 && part.chars().all(|c| c.is_ascii_hexdigit());
    let pairs: Vec<&str> = upper.split(':').collect();
    if (pairs.len() == 6 && pairs.into_iter().all(pair)) || Uuid::parse_str(&upper).is_ok() {
        return Ok(upper);
    }
    let expected = "expected an address such as \"02:00:00:00:00:01\", as `tarebell scales` lists it";
    Err(source.wrong("scale.address", text, expected))
}

fn uuid(source: &Source<'_>, key: &'static str, text: &Spanned<String>) -> Result<Uuid, SettingsError> {
    let word = text.get_ref().trim().to_ascii_lowercase();
    let digits = word.strip_prefix("0x").unwrap_or(&word);
    let numbered = (digits.len() == 4 && !digits.starts_with('+'))
        .then(|| u16::from_str_radix(digits, 16).ok())
        .flatten()
        .map(numbered);
    numbered.or_else(|| Uuid::parse_str(&word).ok().filter(|_| word.len() == 36)).ok_or_else(|| {
        let expected = "expected a number of the standard such as \"181d\", or a whole UUID of 36 characters";
        source.wrong(key, text, expected)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_of_the_standard_is_spelled_out_and_found_again() {
        // Bluetooth Assigned Numbers: Battery Service 0x180F, in whole as profile documents print it (from memory).
        let battery = Uuid::parse_str("0000180f-0000-1000-8000-00805f9b34fb").unwrap();
        assert_eq!(numbered(0x180f), battery);
        assert_eq!((number(battery), short(battery).as_str()), (Some(0x180f), "180f"));
        let own = Uuid::parse_str("f3a10000-7c1e-4b6e-9d55-0a0b0c0d0e0f").unwrap();
        assert_eq!((number(own), short(own)), (None, own.to_string()));
        let wide = Uuid::parse_str("0001180f-0000-1000-8000-00805f9b34fb").unwrap();
        assert_eq!(number(wide), None);
    }
}
