//! Bytes from a scale. Opening and finding are two things.
//!
//! A link decodes nothing: the daemon chooses by the settings what reads the bytes.

pub mod ble;
pub mod faulty;
pub mod serial;

use crate::time::Instant;

/// What a link tells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LinkEvent {
    /// Open: bytes can come.
    Up,
    /// Bytes, stamped when they came.
    Bytes {
        /// As they came: from a port as they lay in its buffer, over the air one whole notification.
        bytes: Vec<u8>,
        /// When.
        arrived_at: Instant,
    },
    /// What the link knows of itself.
    Facts(Facts),
    /// Not open, or no longer.
    Down {
        /// What is wrong.
        reason: String,
        /// What to try.
        try_this: String,
    },
}

/// What a link knows of itself, where it is offered.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Facts {
    /// Strength of the scale's signal as last heard, dBm.
    pub signal_dbm: Option<i16>,
    /// Charge of the scale's battery, percent.
    pub battery_percent: Option<u8>,
    /// Value of the standard service's Weight Scale Feature (0x2A9E), read once after connecting.
    pub weight_feature: Option<u32>,
}
