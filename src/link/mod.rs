//! Bytes from a scale. Opening and finding are two things.

pub mod serial;
