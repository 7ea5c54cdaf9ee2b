//! From what the potter measured to the grams each piece should get.
//!
//! Bucket ([`slurry`]), piece ([`form`]) and wanted layer ([`coat`]) give a
//! [`Target`]. Pure arithmetic: never reads a scale, a file or a clock.

mod bounds;
pub mod coat;
pub mod form;
pub mod reply;
pub mod request;
pub mod shelf;
pub mod slurry;
pub mod steps;
mod sum;
pub mod unique;

pub use bounds::Refused;
pub use reply::TargetReply;
pub use request::{TargetRequest, from_json};
pub use steps::{Step, told};
pub use sum::{Target, target};
