//! Messages whose weight lies at a fixed place: a count of so many grams, and perhaps bits
//! for rest and range, a unit byte, a header, a length and a checksum.
//!
//! Describes the shape of a message in general terms; knows no scale by name.

use super::Read;
use crate::reading::Indicated;
use crate::units::Mass;

/// Longer messages are no scale's: the longest attribute value of the Bluetooth Core Specification.
pub const LONGEST: usize = 512;

/// Which byte of a number comes first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Endian {
    /// The least.
    #[default]
    Little,
    /// The greatest.
    Big,
}

/// Where the count stands and what one of it weighs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Count {
    /// First byte, from 0.
    pub offset: usize,
    /// Width, 1 to 4 bytes.
    pub bytes: usize,
    /// Byte order.
    pub endian: Endian,
    /// Two's complement.
    pub signed: bool,
    /// Grams of one count.
    pub unit_g: f64,
}

/// One bit and what it means when it is set to `when`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Flag {
    /// Byte, from 0.
    pub offset: usize,
    /// Bit, 0 (least) to 7.
    pub bit: u32,
    /// The value that says yes.
    pub when: bool,
}

/// A byte that names the unit: grams of one count for each of its values.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitByte {
    /// Byte, from 0.
    pub offset: usize,
    /// Value and grams of one count.
    pub grams: Vec<(u8, f64)>,
}

/// How a checksum is worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChecksumKind {
    /// Sum of the bytes, its lowest eight bits.
    Sum,
    /// Exclusive or of the bytes.
    Xor,
    /// Cyclic check with polynomial 0x07, start 0, highest bit first (CRC-8/SMBUS; catalogues of
    /// parametrised checks give 0xF4 for the nine digits "123456789").
    Crc8,
}

/// A checksum over the bytes from `from` up to, not with, `to`, kept at `offset`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Checksum {
    /// Kind.
    pub kind: ChecksumKind,
    /// Byte that holds it.
    pub offset: usize,
    /// First byte covered.
    pub from: usize,
    /// One past the last byte covered.
    pub to: usize,
}

/// The shape of a message.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Bytes that every message starts with.
    pub header: Vec<u8>,
    /// Length of every message, where it is always the same.
    pub length: Option<usize>,
    /// The weight.
    pub mass: Count,
    /// A sign beside an unsigned count.
    pub negative: Option<Flag>,
    /// The scale's own opinion on rest.
    pub stable: Option<Flag>,
    /// More on the pan than the scale can weigh.
    pub overload: Option<Flag>,
    /// The unit byte.
    pub unit: Option<UnitByte>,
    /// The checksum.
    pub checksum: Option<Checksum>,
}

impl Layout {
    /// A layout of a weight alone.
    pub fn of(mass: Count) -> Self {
        Self {
            header: Vec::new(),
            length: None,
            mass,
            negative: None,
            stable: None,
            overload: None,
            unit: None,
            checksum: None,
        }
    }

    /// The least grams that one count can weigh.
    pub fn finest_g(&self) -> f64 {
        let named = self.unit.iter().flat_map(|unit| &unit.grams).map(|(_, grams)| *grams);
        named.reduce(f64::min).unwrap_or(self.mass.unit_g)
    }

    /// Bytes a message must have for all of it to be read.
    pub fn least(&self) -> usize {
        let flags = [&self.negative, &self.stable, &self.overload];
        let flags = flags.into_iter().flatten().map(|f| f.offset + 1);
        let unit = self.unit.iter().map(|u| u.offset + 1);
        let check = self.checksum.iter().map(|c| c.to.max(c.offset + 1));
        let fixed = [self.header.len(), self.mass.offset + self.mass.bytes];
        fixed.into_iter().chain(flags).chain(unit).chain(check).max().unwrap_or(0)
    }

    /// Reads one message.
    ///
    /// # Errors
    /// Words, for a message of another shape, with a wrong checksum or an unknown unit.
    pub fn read(&self, bytes: &[u8]) -> Read {
        self.shape(bytes)?;
        let stable = self.stable.map(|flag| flag.says_yes(bytes));
        if self.overload.is_some_and(|flag| flag.says_yes(bytes)) {
            return Ok((Indicated::Overload, stable));
        }
        let sign = if self.negative.is_some_and(|flag| flag.says_yes(bytes)) { -1.0 } else { 1.0 };
        let grams = sign * self.mass.of(bytes) as f64 * self.unit_g(bytes)?;
        let mass = Mass::grams(grams).filter(|m| m.abs().g() < 1e6).ok_or("more than a tonne")?;
        Ok((Indicated::Mass(mass), stable))
    }

    fn shape(&self, bytes: &[u8]) -> Result<(), String> {
        let (length, least) = (bytes.len(), self.least());
        if let Some(wanted) = self.length.filter(|wanted| *wanted != length) {
            return Err(format!("{length} bytes: every message should have {wanted}"));
        }
        if length < least || length > LONGEST {
            return Err(format!("{length} bytes: a message should have {least} to {LONGEST}"));
        }
        if !bytes.starts_with(&self.header) {
            return Err("it does not start with the header".to_owned());
        }
        let Some(check) = self.checksum else { return Ok(()) };
        let (found, worked_out) = (bytes[check.offset], check.of(bytes));
        if found == worked_out {
            return Ok(());
        }
        Err(format!("checksum {found:02x}, worked out {worked_out:02x}: damaged on its way"))
    }

    fn unit_g(&self, bytes: &[u8]) -> Result<f64, String> {
        let Some(unit) = &self.unit else { return Ok(self.mass.unit_g) };
        let code = bytes[unit.offset];
        let known = unit.grams.iter().find(|(value, _)| *value == code);
        known.map(|(_, grams)| *grams).ok_or_else(|| format!("unknown unit {code:#04x}"))
    }
}

impl Flag {
    fn says_yes(self, bytes: &[u8]) -> bool {
        (bytes[self.offset] >> self.bit & 1 == 1) == self.when
    }
}

impl Count {
    fn of(self, bytes: &[u8]) -> i64 {
        let field = bytes[self.offset..self.offset + self.bytes].iter();
        let joined = |sum: i64, byte: &u8| sum << 8 | i64::from(*byte);
        let count = match self.endian {
            Endian::Little => field.rev().fold(0, joined),
            Endian::Big => field.fold(0, joined),
        };
        let bits = 8 * self.bytes as u32;
        if self.signed && count >> (bits - 1) & 1 == 1 { count - (1 << bits) } else { count }
    }
}

impl Checksum {
    fn of(self, bytes: &[u8]) -> u8 {
        let covered = bytes[self.from..self.to].iter();
        match self.kind {
            ChecksumKind::Sum => covered.fold(0, |sum, byte| sum.wrapping_add(*byte)),
            ChecksumKind::Xor => covered.fold(0, |sum, byte| sum ^ byte),
            ChecksumKind::Crc8 => covered.fold(0, |crc, byte| crc8(crc ^ byte)),
        }
    }
}

fn crc8(byte: u8) -> u8 {
    (0..8).fold(byte, |crc, _| if crc & 0x80 == 0 { crc << 1 } else { crc << 1 ^ 0x07 })
}
