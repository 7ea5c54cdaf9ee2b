//! The pour: from a piece landing to a weight that is written down.
pub mod entry;
pub mod hand;
