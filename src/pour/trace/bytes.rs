//! Numbers of a trace as bytes: zigzag varints, a few bits each.

use super::BadTrace;
use crate::calibration::correction::Correction;
use crate::record::{Aim, MOST_NUMBER};
use crate::time::Duration;
use crate::units::Mass;

pub(super) fn micrograms(mass: Mass) -> i64 {
    (mass.g() * 1e6).round() as i64
}

pub(super) fn mass(ug: i64) -> Mass {
    Mass::saturating(ug as f64 / 1e6)
}

pub(super) fn put_aim(out: &mut Vec<u8>, aim: &Aim) {
    for mass in [aim.target, aim.low, aim.high] {
        put(out, micrograms(mass));
    }
}

/// To the last bit: a replay must come out alike.
pub(super) fn put_correction(out: &mut Vec<u8>, c: &Correction) {
    for value in [c.offset_g, c.slope, c.bend_per_g] {
        put(out, value.to_bits() as i64);
    }
    // From here on of version 12.
    if c.bend_per_g != 0.0 {
        put(out, c.bends_to_g.to_bits() as i64);
    }
}

pub(super) fn put(out: &mut Vec<u8>, value: i64) {
    let mut z = ((value << 1) ^ (value >> 63)) as u64;
    while z >= 0x80 {
        out.push((z as u8) | 0x80);
        z >>= 7;
    }
    out.push(z as u8);
}

pub(super) fn put_optional(out: &mut Vec<u8>, value: Option<i64>) {
    put(out, i64::from(value.is_some()));
    if let Some(value) = value {
        put(out, value);
    }
}

/// Bytes, and how far they are read.
pub(super) struct Bytes<'a> {
    pub(super) bytes: &'a [u8],
    pub(super) at: usize,
}

impl Bytes<'_> {
    pub(super) fn take(&mut self) -> Result<i64, BadTrace> {
        let mut z = 0_u64;
        for shift in (0..64).step_by(7) {
            let byte = *self.bytes.get(self.at).ok_or(BadTrace::Broken(self.at))?;
            self.at += 1;
            z |= u64::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                return Ok(((z >> 1) as i64) ^ -((z & 1) as i64));
            }
        }
        Err(BadTrace::Broken(self.at))
    }

    pub(super) fn optional(&mut self) -> Result<Option<i64>, BadTrace> {
        if self.take()? == 0 { Ok(None) } else { self.take().map(Some) }
    }

    pub(super) fn span(&mut self) -> Result<Duration, BadTrace> {
        u64::try_from(self.take()?).map(Duration::from_micros).map_err(|_| BadTrace::Broken(self.at))
    }

    pub(super) fn count(&mut self) -> Result<u32, BadTrace> {
        u32::try_from(self.take()?).map_err(|_| BadTrace::Broken(self.at))
    }

    pub(super) fn aim(&mut self) -> Result<Aim, BadTrace> {
        Ok(Aim { target: mass(self.take()?), low: mass(self.take()?), high: mass(self.take()?) })
    }

    pub(super) fn correction(&mut self, version: u8) -> Result<Correction, BadTrace> {
        let mut number = || {
            let value = f64::from_bits(self.take()? as u64);
            if value.is_finite() { Ok(value) } else { Err(BadTrace::Broken(self.at)) }
        };
        let (offset_g, slope, bend_per_g) = (number()?, number()?, number()?);
        let told = version >= 12 && bend_per_g != 0.0;
        let bends_to_g = if told { number()? } else { f64::MAX };
        Ok(Correction { offset_g, slope, bend_per_g, bends_to_g })
    }

    pub(super) fn piece(&mut self) -> Result<u32, BadTrace> {
        let piece = self.count()?;
        if piece <= MOST_NUMBER { Ok(piece) } else { Err(BadTrace::Piece(piece)) }
    }
}
