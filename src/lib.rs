//! Pours glaze by weight.
//!
//! Read in this order:
//!
//! 1. [`units`], [`time`]: quantities and instants.
//! 2. [`reading`], [`scale`], [`frame`]: bytes become readings.
//! 3. [`settle`]: readings become weighings, at rest or moving.
//! 4. [`batch`]: bucket, form and coat become a target.
//! 5. [`pour`]: weighings become cues and entries.
//! 6. [`guide`]: steps at the pan that lead themselves.
//! 7. [`record`]: what is kept.
//! 8. [`plant`]: a simulated hand and scale.
//! 9. [`settings`], [`cli`]: what a person sets.
//! 10. [`link`], [`sound`], [`store`], [`page`]: the outside world.
//! 11. [`daemon`]: the only module that joins them.

pub mod batch;
pub mod cli;
pub mod daemon;
pub mod frame;
pub mod guide;
pub mod link;
pub mod page;
pub mod plant;
pub mod pour;
pub mod reading;
pub mod record;
pub mod scale;
pub mod settings;
pub mod settle;
pub mod sound;
pub mod store;
pub mod time;
pub mod units;
