//! Records from elsewhere, as a table (CSV): read line by line, every fault named, nothing taken in by itself.
//!
//! Pure: text in, rows and faults out.

mod number;
mod read;

pub use number::{DateOrder, number};
pub use read::{Column, Fault, Intake, Mapping, Row, look};
