//! Text lines to readings.
//!
//! Lines end with CR, LF or both and may arrive split anywhere. A line that is not a
//! weight is counted with the reason and skipped; an unfinished one is not an error.
//! Through the air a line may also come without an end, whole in one notification (`whole.rs`).

use super::whole::Whole;
use super::{Counts, Skipped};
use crate::reading::{Indicated, Reading};
use crate::time::Instant;
use crate::units::Mass;
use regex::Regex;
use std::borrow::Cow;
use std::collections::VecDeque;
use std::sync::LazyLock;

/// Longer lines are no scale's.
const LONGEST: usize = 256;
/// International avoirdupois pound in grams, exact (1959 agreement; NIST Handbook 44, App. C).
const POUND_G: f64 = 453.592_37;

/// A unit of mass a scale may name.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Unit {
    /// Gram.
    #[default]
    Gram,
    /// Kilogram.
    Kilogram,
    /// Milligram.
    Milligram,
    /// Avoirdupois ounce, a sixteenth of a pound.
    Ounce,
    /// Avoirdupois pound.
    Pound,
}

impl Unit {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Gram => "g",
            Self::Kilogram => "kg",
            Self::Milligram => "mg",
            Self::Ounce => "oz",
            Self::Pound => "lb",
        }
    }

    /// The unit for a word such as `g` or `KG`; `None` for any other.
    pub fn from_word(word: &str) -> Option<Self> {
        let all = [Self::Gram, Self::Kilogram, Self::Milligram, Self::Ounce, Self::Pound];
        all.into_iter().find(|unit| word.eq_ignore_ascii_case(unit.word()))
    }

    fn to_grams(self, value: f64) -> f64 {
        match self {
            Self::Gram => value,
            Self::Kilogram => value * 1000.0,
            Self::Milligram => value / 1000.0,
            Self::Ounce => value * POUND_G / 16.0,
            Self::Pound => value * POUND_G,
        }
    }
}

/// How a line is read.
#[derive(Clone, Debug, Default)]
pub enum LineFormat {
    /// One signed decimal number and perhaps a unit; words before it are status.
    #[default]
    Auto,
    /// A pattern with the groups mass, unit, sign, stable, unstable, overload.
    Pattern(Regex),
}

/// Splits bytes into lines and reads them.
#[derive(Clone, Debug)]
pub struct LineDecoder {
    format: LineFormat,
    unit: Unit,
    buffer: Vec<u8>,
    /// Bytes are ignored until the next line end: the first line may be half a line, or one is too long.
    ignoring: bool,
    too_long: bool,
    readings: VecDeque<Reading>,
    counts: Counts,
    first_unit: Option<Unit>,
    /// Bytes come in notifications.
    whole: Option<Whole>,
}

impl LineDecoder {
    /// A decoder whose first line may be whole; `unit` holds where a line names none.
    pub fn new(format: LineFormat, unit: Unit) -> Self {
        Self {
            format,
            unit,
            buffer: Vec::new(),
            ignoring: false,
            too_long: false,
            readings: VecDeque::new(),
            counts: Counts::default(),
            first_unit: None,
            whole: None,
        }
    }

    /// For bytes that come in notifications: a line may be whole in one, without an end.
    #[must_use]
    pub fn in_notifications(self) -> Self {
        Self { whole: Some(Whole::default()), ..self }
    }

    /// After a link came up: what is half read is dropped, and so is the line in progress.
    pub fn reset(&mut self) {
        self.buffer.clear();
        self.ignoring = true;
        self.too_long = false;
        self.whole = self.whole.take().map(|_| Whole::default());
    }

    /// Takes bytes as they came.
    pub fn handle_bytes(&mut self, bytes: &[u8], arrived_at: Instant) {
        if let Some(whole) = &mut self.whole {
            let believed = whole.believed();
            if whole.handle_message(bytes) {
                self.buffer.clear();
                self.too_long = false;
                self.read_line(bytes, arrived_at);
                return;
            }
            // From here on up to a line end it may be the end of a line only.
            self.ignoring |= believed;
        }
        for &byte in bytes {
            if byte == b'\r' || byte == b'\n' {
                self.end_line(arrived_at);
            } else if !self.ignoring && self.buffer.len() >= LONGEST {
                self.ignoring = true;
                self.too_long = true;
            } else if !self.ignoring {
                self.buffer.push(byte);
            }
        }
    }

    /// The next reading, oldest first.
    pub fn poll_reading(&mut self) -> Option<Reading> {
        self.readings.pop_front()
    }

    /// What was read and skipped.
    pub fn counts(&self) -> &Counts {
        &self.counts
    }

    fn end_line(&mut self, arrived_at: Instant) {
        if self.buffer.is_empty() && !self.too_long {
            self.ignoring = false;
            return;
        }
        let mut line = std::mem::take(&mut self.buffer);
        self.end_of(&line, arrived_at);
        line.clear();
        self.buffer = line;
    }

    fn end_of(&mut self, line: &[u8], arrived_at: Instant) {
        let ignored = std::mem::replace(&mut self.ignoring, false);
        if std::mem::replace(&mut self.too_long, false) {
            return self.skip(line, format!("longer than {LONGEST} bytes"));
        }
        if !ignored && !line.iter().all(u8::is_ascii_whitespace) {
            self.read_line(line, arrived_at);
        }
    }

    fn read_line(&mut self, line: &[u8], arrived_at: Instant) {
        let text = String::from_utf8_lossy(line);
        let read = match &self.format {
            LineFormat::Auto => read_auto(&text, self.unit),
            LineFormat::Pattern(pattern) => read_pattern(pattern, &text, self.unit),
        };
        match read {
            Ok((indicated, stable, unit)) => {
                self.note(unit);
                self.counts.readings += 1;
                self.readings.push_back(Reading { indicated, stable, arrived_at, taken_at: arrived_at });
            }
            Err(reason) => self.skip(line, reason),
        }
    }

    /// Notes the unit that a line names; the first one is the one the scale was set to.
    fn note(&mut self, unit: Option<Unit>) {
        let Some(unit) = unit else { return };
        let first = *self.first_unit.get_or_insert(unit);
        self.counts.other_unit = Some(unit).filter(|unit| *unit != first);
    }

    fn skip(&mut self, line: &[u8], reason: String) {
        self.counts.skipped += 1;
        let text = String::from_utf8_lossy(line).chars().filter(|c| !c.is_control()).take(80).collect();
        self.counts.last_skipped = Some(Skipped { text, reason });
    }
}

#[expect(
    clippy::unwrap_used,
    reason = "the pattern is constant; any test that reads an auto line compiles it"
)]
static NUMBER: LazyLock<Regex> =
    LazyLock::new(|| Regex::new(r"([+\u{2212}-]?)[ \t]*(\d+(?:[.,]\d+)?|[.,]\d+)").unwrap());

/// As [`super::Read`], with the unit that holds for the mass.
type Read = Result<(Indicated, Option<bool>, Option<Unit>), String>;

fn read_auto(text: &str, default: Unit) -> Read {
    // Frame marks and padding at the ends are no part of the line; inside it they are damage.
    let text = text.trim_matches(|c: char| c.is_control() || c.is_whitespace());
    if text.chars().any(|c| c == char::REPLACEMENT_CHARACTER || (c.is_control() && c != '\t')) {
        return Err("bytes in it that are not text".to_owned());
    }
    let found = if text.is_ascii() { number_in_ascii(text) } else { number_in(text) };
    let Some(Number { before, sign, digits, after }) = found else { return read_state(text) };
    if after.chars().any(|c| c.is_numeric()) {
        return Err("more than one number in it".to_owned());
    }
    if before.contains(SIGNS) || after.contains(SIGNS) {
        return Err("a sign apart from the number".to_owned());
    }
    let unit = unit_after(after, default)?;
    let mass = mass(matches!(sign, "-" | "\u{2212}"), digits, unit)?;
    Ok((Indicated::Mass(mass), stable_word(before), Some(unit)))
}

/// The first number of a text, and what stands around it.
#[derive(Debug, PartialEq)]
struct Number<'a> {
    before: &'a str,
    sign: &'a str,
    digits: &'a str,
    after: &'a str,
}

fn number_in(text: &str) -> Option<Number<'_>> {
    let found = NUMBER.captures(text)?;
    let (whole, sign, digits) = (found.get(0)?, found.get(1)?.as_str(), found.get(2)?.as_str());
    Some(Number { before: &text[..whole.start()], sign, digits, after: &text[whole.end()..] })
}

/// The same of plain text, without the pattern: nearly all lines are, and the pattern takes most of the time of a line.
fn number_in_ascii(text: &str) -> Option<Number<'_>> {
    let bytes = text.as_bytes();
    let is_point = |i: usize| matches!(bytes.get(i), Some(b'.' | b','));
    let after_digits =
        |from: usize| from + bytes.iter().skip(from).take_while(|b| b.is_ascii_digit()).count();
    let first = bytes.iter().position(u8::is_ascii_digit)?;
    let fraction_only = first > 0 && is_point(first - 1);
    let from = if fraction_only { first - 1 } else { first };
    let whole = after_digits(first);
    let fraction = after_digits(whole + 1);
    let end = if !fraction_only && is_point(whole) && fraction > whole + 1 { fraction } else { whole };
    let sign_end = text[..from].trim_end_matches([' ', '\t']).len();
    let signed = sign_end > 0 && matches!(bytes.get(sign_end - 1), Some(b'+' | b'-'));
    let start = if signed { sign_end - 1 } else { sign_end };
    Some(Number {
        before: &text[..start],
        sign: &text[start..sign_end],
        digits: &text[from..end],
        after: &text[end..],
    })
}

/// Plus, hyphen, and the true minus sign.
const SIGNS: [char; 3] = ['+', '-', '\u{2212}'];
/// Marks that may stand around a unit, as in `12.3 [kg]`. A percent or degree sign is none: that is no mass.
const MARKS: [char; 10] = ['(', ')', '[', ']', ':', ';', '|', '*', '?', '_'];

/// The unit named by the first word after the number; `default` when nothing stands there.
fn unit_after(after: &str, default: Unit) -> Result<Unit, String> {
    if after.starts_with(['.', ',']) {
        return Err("the number is not a plain decimal".to_owned());
    }
    let rest = after.trim_start_matches(|c: char| c.is_whitespace() || MARKS.contains(&c));
    let (word, beyond) = rest.split_at(rest.find(|c: char| !c.is_alphabetic()).unwrap_or(rest.len()));
    let next = beyond.chars().next();
    if let Some(odd) = next.filter(|c| !c.is_whitespace() && !MARKS.contains(c) && !".,".contains(*c)) {
        return Err(format!("'{word}{odd}' after the number is no unit of mass"));
    }
    if word.is_empty() {
        return Ok(default);
    }
    Unit::from_word(word).ok_or_else(|| format!("unknown unit '{word}': g, kg, mg, oz, lb are known"))
}

/// Lines without a number may tell a state.
fn read_state(text: &str) -> Read {
    let plain = text.trim().to_ascii_lowercase();
    let words: Vec<&str> = plain.split(|c: char| !c.is_alphabetic()).filter(|w| !w.is_empty()).collect();
    if words.iter().any(|w| ["ol", "overload", "over"].contains(w)) || plain.contains("+++") {
        return Ok((Indicated::Overload, None, None));
    }
    if words.iter().any(|w| ["ul", "underload", "under"].contains(w)) || plain.contains("---") {
        return Ok((Indicated::Underload, None, None));
    }
    Err("no number in it".to_owned())
}

fn stable_word(before: &str) -> Option<bool> {
    let mut words = before.split(|c: char| !c.is_alphabetic());
    words.find_map(|word| {
        let is = |named: &&str| word.eq_ignore_ascii_case(named);
        let still = ["stable", "rest"].iter().any(is);
        let moves = ["unstable", "moving", "motion"].iter().any(is);
        (still || moves).then_some(still)
    })
}

fn mass(negative: bool, digits: &str, unit: Unit) -> Result<Mass, String> {
    let point = if digits.contains(',') { digits.replace(',', ".").into() } else { Cow::from(digits) };
    let value: f64 = point.parse().map_err(|_| format!("'{digits}' is not a plain decimal number"))?;
    let grams = unit.to_grams(if negative { -value } else { value });
    Mass::grams(grams).filter(|m| m.abs().g() < 1e6).ok_or_else(|| "more than a tonne".to_owned())
}

fn read_pattern(pattern: &Regex, text: &str, default: Unit) -> Read {
    let found = pattern.captures(text).ok_or_else(|| "the line pattern does not match".to_owned())?;
    if found.name("overload").is_some() {
        return Ok((Indicated::Overload, None, None));
    }
    let digits = found.name("mass").ok_or_else(|| "the pattern's group 'mass' is empty".to_owned())?;
    let own_sign = digits.as_str().trim().starts_with('-');
    let digits: String =
        digits.as_str().chars().filter(|c| !c.is_whitespace() && !"+-".contains(*c)).collect();
    let negative = own_sign || found.name("sign").is_some_and(|s| s.as_str().trim() == "-");
    let unit = match found.name("unit").map(|u| u.as_str().trim()).filter(|u| !u.is_empty()) {
        Some(word) => Unit::from_word(word).ok_or_else(|| format!("unknown unit '{word}'"))?,
        None => default,
    };
    let stable = match (found.name("stable"), found.name("unstable")) {
        (_, Some(_)) => Some(false),
        (Some(_), None) => Some(true),
        (None, None) => None,
    };
    Ok((Indicated::Mass(mass(negative, &digits, unit)?), stable, Some(unit)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn in_plain_text_the_same_number_is_found_as_by_the_pattern(text in "[a-z0-9.,+ \\t-]{0,12}") {
            prop_assert_eq!(number_in_ascii(&text), number_in(&text), "{:?}", text);
        }
    }
}
