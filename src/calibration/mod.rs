//! How good the scale is at the load that matters, and what of its error can be corrected.
//!
//! Reference masses ([`mod@reference`]), a straight line through what the scale showed of them ([`mod@fit`]), and the
//! uncertainty of a net weight from there ([`uncertainty`]). Pure arithmetic: never reads a scale, a file or a clock.
//! A studio's own check: no legal verification, and no certificate.

pub mod check;
pub mod correction;
pub mod fit;
pub mod fitness;
pub mod masses;
pub mod plots;
pub mod reference;
pub mod report;
pub mod request;
pub mod statistics;
mod taken;
pub mod told;
pub mod uncertainty;
pub mod warnings;
