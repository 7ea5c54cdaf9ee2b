//! What an engine is built from.

use super::PourSettings;
use super::hand::Hand;
use super::jug::Jug;
use super::kept::Memory;
use super::ware::Ware;
use crate::calibration::correction::Correction;
use crate::record::Aim;
use crate::scale::ScaleFacts;
use crate::scale::response::Lags;
use crate::time::Duration;
use crate::units::Mass;

/// What the engine is built from.
#[derive(Clone, Debug, PartialEq)]
pub struct Start {
    /// Aim net mass.
    pub target: Mass,
    /// Least good net mass.
    pub low: Mass,
    /// Greatest good net mass.
    pub high: Mass,
    /// The scale.
    pub scale: ScaleFacts,
    /// The learned stopping time.
    pub hand: Hand,
    /// At first cues are announced this long before they are due.
    pub ahead: Duration,
    /// What the studio set.
    pub settings: PourSettings,
    /// Number of the next piece, from 1.
    pub first_piece: u32,
    /// What the bare pan shows, corrected.
    pub zero: Mass,
    /// The log can't be written at the start.
    pub held: bool,
    /// What stands on the pan at the start may hold slop: it must be lifted off first.
    pub lift_first: bool,
    /// A loudspeaker that was there in this batch is gone.
    pub lost: bool,
    /// That was said, and not yet that it is back.
    pub lost_said: bool,
    /// A known weight that voids the last record when it is set on the bare pan.
    pub spare: Option<Mass>,
    /// A jug that is no piece.
    pub jug: Option<Jug>,
    /// Bare weights of this batch: given, and seen before.
    pub ware: Ware,
    /// Pieces lifted of late, which may come back.
    pub memory: Memory,
    /// What steps of the pan showed of the scale's lag.
    pub lags: Lags,
    /// What sets the scale right.
    pub correction: Correction,
}

impl Start {
    /// A first batch with what is usual: nothing was seen, learned or lost before it.
    pub fn fresh(aim: Aim, scale: ScaleFacts) -> Self {
        Self {
            target: aim.target,
            low: aim.low,
            high: aim.high,
            scale,
            hand: Hand::default(),
            ahead: Duration::ZERO,
            settings: PourSettings::default(),
            first_piece: 1,
            zero: Mass::ZERO,
            held: false,
            lift_first: false,
            lost: false,
            lost_said: false,
            spare: None,
            jug: None,
            ware: Ware::default(),
            memory: Memory::default(),
            lags: Lags::default(),
            correction: Correction::NONE,
        }
    }
}
