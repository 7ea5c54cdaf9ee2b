//! Bytes from a scale to readings. Knows no port and no radio.

pub mod layout;
pub mod line;
pub mod standard;
mod whole;

use crate::reading::{Indicated, Reading};
use crate::time::Instant;
use layout::Layout;
use line::{LineDecoder, Unit};
use std::collections::VecDeque;

/// Something that gave no reading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Skipped {
    /// What came, readable, at most 80 characters.
    pub text: String,
    /// Why.
    pub reason: String,
}

/// What a decoder has seen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Readings decoded.
    pub readings: u64,
    /// Lines or messages skipped.
    pub skipped: u64,
    /// The last one skipped.
    pub last_skipped: Option<Skipped>,
    /// The unit now named, where it is another than at first: somebody touched the unit key.
    pub other_unit: Option<Unit>,
}

/// What a line or a message says, and the scale's own opinion on rest; or why it says nothing.
pub type Read = Result<(Indicated, Option<bool>), String>;

/// How whole messages are read.
#[derive(Clone, Debug, PartialEq)]
pub enum MessageFormat {
    /// The Weight Measurement of the standard Weight Scale Service.
    Standard,
    /// Bytes at fixed places.
    Layout(Layout),
}

/// Reads messages that come whole, one in each notification.
#[derive(Clone, Debug)]
pub struct MessageDecoder {
    format: MessageFormat,
    readings: VecDeque<Reading>,
    counts: Counts,
}

impl MessageDecoder {
    /// A decoder that has seen nothing.
    pub fn new(format: MessageFormat) -> Self {
        Self { format, readings: VecDeque::new(), counts: Counts::default() }
    }

    fn handle_message(&mut self, bytes: &[u8], arrived_at: Instant) {
        let read = match &self.format {
            MessageFormat::Standard => standard::read(bytes),
            MessageFormat::Layout(layout) => layout.read(bytes),
        };
        match read {
            Ok((indicated, stable)) => {
                self.counts.readings += 1;
                self.readings.push_back(Reading { indicated, stable, arrived_at, taken_at: arrived_at });
            }
            Err(reason) => {
                self.counts.skipped += 1;
                // 26 bytes of three characters each.
                let text: Vec<String> = bytes.iter().take(26).map(|b| format!("{b:02x}")).collect();
                self.counts.last_skipped = Some(Skipped { text: text.join(" "), reason });
            }
        }
    }
}

/// What makes readings of a link's bytes.
#[derive(Clone, Debug)]
pub enum Decoder {
    /// Text lines, split anywhere, or each whole in a notification.
    Lines(LineDecoder),
    /// Whole messages.
    Messages(MessageDecoder),
}

impl Decoder {
    /// After a link came up: what is half read is dropped.
    pub fn reset(&mut self) {
        match self {
            Self::Lines(lines) => lines.reset(),
            Self::Messages(messages) => messages.readings.clear(),
        }
    }

    /// Takes bytes as they came: any piece of text, or one whole message.
    pub fn handle_bytes(&mut self, bytes: &[u8], arrived_at: Instant) {
        match self {
            Self::Lines(lines) => lines.handle_bytes(bytes, arrived_at),
            Self::Messages(messages) => messages.handle_message(bytes, arrived_at),
        }
    }

    /// The next reading, oldest first.
    pub fn poll_reading(&mut self) -> Option<Reading> {
        match self {
            Self::Lines(lines) => lines.poll_reading(),
            Self::Messages(messages) => messages.readings.pop_front(),
        }
    }

    /// What was read and skipped.
    pub fn counts(&self) -> &Counts {
        match self {
            Self::Lines(lines) => lines.counts(),
            Self::Messages(messages) => &messages.counts,
        }
    }
}
