//! From what the potter measured to the grams each piece should get.
//!
//! Bucket ([`slurry`]), piece ([`form`]) and wanted layer ([`coat`]) give a
//! [`Target`]; beside it stand what the wall can drink ([`ware`]), whether the slop
//! is enough ([`supply`]), targets that differ ([`ladder`]) and how well all that is
//! known ([`known`], [`doubt`]). Pure arithmetic: never reads a scale, a file or a clock.

mod bounds;
pub mod coat;
pub mod doubt;
pub mod form;
pub mod jug;
pub mod known;
pub mod ladder;
pub mod reply;
pub mod request;
pub mod shelf;
pub mod slurry;
pub mod steps;
mod sum;
pub mod supply;
mod tolerance;
pub mod unique;
pub mod ware;

pub use bounds::Refused;
pub use reply::TargetReply;
pub use request::{TargetRequest, from_json};
pub use steps::{Step, in_unit, told, told_in};
pub use sum::{Target, target};
