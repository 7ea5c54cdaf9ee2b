//! What the potter hears.

pub mod score;
pub mod tone;
