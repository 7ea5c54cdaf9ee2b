//! The Weight Measurement characteristic (0x2A9D) of the Weight Scale Service (0x181D).
//!
//! Layout: Bluetooth SIG, Weight Scale Service and GATT Specification Supplement. It was made
//! for people on bathroom scales: it counts in 5 g or 0.01 lb, and has no sign, no rest and
//! no overload.

use super::Read;
use crate::reading::Indicated;
use crate::units::Mass;

/// One count in grams where the flags say SI: 0.005 kg.
pub const SI_STEP_G: f64 = 5.0;
/// One count in grams where the flags say imperial: 0.01 of the international pound.
pub const IMPERIAL_STEP_G: f64 = 4.535_923_7;

const IMPERIAL: u8 = 0x01;
const TIME_STAMP: u8 = 0x02;
const USER: u8 = 0x04;
const BODY: u8 = 0x08;
/// Reserved: set by a later version, or by bytes that are no weight measurement at all, such as text.
/// A weight made up from those would be worse than none.
const RESERVED: u8 = 0xf0;
/// Instead of a weight: the scale could not weigh.
const UNSUCCESSFUL: u16 = 0xffff;

/// Reads one value of the characteristic, length and time stamp checked.
///
/// # Errors
/// Words, for a value that is too short, too long, damaged, or says that weighing failed.
pub fn read(bytes: &[u8]) -> Read {
    let &[flags, low, high, ref rest @ ..] = bytes else {
        return Err(format!("{} bytes: a weight measurement has at least 3", bytes.len()));
    };
    if flags & RESERVED != 0 {
        return Err(format!(
            "flags {flags:#04x}: of a later version of the service, or no weight measurement"
        ));
    }
    let has = |flag: u8, length: usize| if flags & flag == 0 { 0 } else { length };
    let wanted = has(TIME_STAMP, 7) + has(USER, 1) + has(BODY, 4);
    if rest.len() < wanted {
        return Err(format!("{} bytes: its flags announce {}", bytes.len(), 3 + wanted));
    }
    if rest.len() > wanted {
        return Err(format!("{} bytes: its flags announce only {}", bytes.len(), 3 + wanted));
    }
    if flags & TIME_STAMP != 0 {
        time_stamp(&rest[..7])?;
    }
    let count = u16::from_le_bytes([low, high]);
    if count == UNSUCCESSFUL {
        return Err("the scale says that it could not weigh".to_owned());
    }
    let step_g = if flags & IMPERIAL == 0 { SI_STEP_G } else { IMPERIAL_STEP_G };
    Ok((Indicated::Mass(Mass::saturating(f64::from(count) * step_g)), None))
}

/// Year, month, day, hour, minute, second; zero is 'not known' for the first three.
/// It is not used: it counts whole seconds. One that can't be means damaged bytes.
fn time_stamp(t: &[u8]) -> Result<(), String> {
    let year = u16::from_le_bytes([t[0], t[1]]);
    let known = year == 0 || (1582..=9999).contains(&year);
    if known && t[2] <= 12 && t[3] <= 31 && t[4] <= 23 && t[5] <= 59 && t[6] <= 59 {
        return Ok(());
    }
    Err(format!(
        "its time stamp can't be: {year}-{:02}-{:02} {:02}:{:02}:{:02}",
        t[2], t[3], t[4], t[5], t[6]
    ))
}

/// The step in grams (SI, imperial) that the Weight Scale Feature (0x2A9E) promises: bits 3 to 6.
/// `None` where it promises none, and for reserved codes.
pub fn promised_step_g(feature: u32) -> Option<(f64, f64)> {
    let code = (feature >> 3) & 0x0f;
    let pound_g = 100.0 * IMPERIAL_STEP_G;
    let (kg, lb) = match code {
        1 => (0.5, 1.0),
        2 => (0.2, 0.5),
        3 => (0.1, 0.2),
        4 => (0.05, 0.1),
        5 => (0.02, 0.05),
        6 => (0.01, 0.02),
        7 => (0.005, 0.01),
        _ => return None,
    };
    Some((kg * 1000.0, lb * pound_g))
}
