//! A learned hand as the log keeps it, and as the engine uses it.

use crate::pour::ease::Ease;
use crate::pour::guidance::Guidance;
use crate::pour::hand::Hand;
use crate::record::{BatchRecord, HandRecord, WhoPours};

/// Whose hand it is: of this pourer with this jug on this scale, guided so.
pub(super) fn who(batch: &BatchRecord, guidance: Guidance, scale: &str) -> WhoPours {
    let guided = (guidance != Guidance::default()).then_some(guidance.word());
    WhoPours::new(batch.pourer.as_deref(), batch.jug.as_deref(), guided, scale)
}

pub(super) fn kept(hand: Hand) -> HandRecord {
    HandRecord {
        hand_s: hand.hand_s,
        pours: hand.pours,
        lag_s: hand.lag_s,
        scatter_s: hand.scatter_s,
        ease_kept: hand.ease.kept,
        ease_pours: hand.ease.pours,
    }
}

pub(super) fn used(record: HandRecord) -> Hand {
    Hand {
        hand_s: record.hand_s,
        pours: record.pours,
        lag_s: record.lag_s,
        scatter_s: record.scatter_s,
        ease: Ease { kept: record.ease_kept, pours: record.ease_pours },
    }
}
