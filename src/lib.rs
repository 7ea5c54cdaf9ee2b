//! Pours glaze by weight.
//!
//! Read in this order:
//!
//! 1. [`units`], [`time`]: quantities and instants.
//! 2. [`reading`], [`scale`], [`frame`]: bytes become readings.
//! 3. [`settle`]: readings become weighings, at rest or moving.
//! 4. [`batch`]: bucket, form and coat become a target.
//! 5. [`calibration`]: readings of reference masses become a correction and what a weight is worth.
//! 6. [`pour`]: weighings become cues and entries.
//! 7. [`guide`]: steps at the pan that lead themselves.
//! 8. [`record`]: what is kept; [`plot`]: values become pictures; [`review`]: how even it was; [`intake`]: records
//!    from elsewhere.
//! 9. [`plant`]: a simulated hand and scale.
//! 10. [`settings`], [`cli`]: what a person sets.
//! 11. [`link`], [`sound`], [`store`], [`page`]: the outside world.
//! 12. [`daemon`]: the only module that joins them.

pub mod batch;
pub mod calibration;
pub mod cli;
pub mod daemon;
pub mod frame;
pub mod guide;
pub mod intake;
pub mod link;
pub mod page;
pub mod plant;
pub mod plot;
pub mod pour;
pub mod reading;
pub mod record;
pub mod review;
pub mod scale;
pub mod settings;
pub mod settle;
pub mod sound;
pub mod store;
pub mod time;
pub mod units;
