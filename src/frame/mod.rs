//! Bytes from a scale to readings. Knows no port and no radio.

pub mod line;
