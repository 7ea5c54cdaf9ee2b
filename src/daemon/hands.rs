//! A learned hand as the log keeps it, and as the engine uses it.

use crate::pour::ease::Ease;
use crate::pour::guidance::Guidance;
use crate::pour::hand::{Hand, Trickle};
use crate::pour::pace::Pace;
use crate::record::{BatchRecord, HandRecord, PaceRecord, WhoPours};

/// Whose hand it is: of this pourer with this jug on this scale, guided so.
pub(super) fn who(batch: &BatchRecord, guidance: Guidance, scale: &str) -> WhoPours {
    let guided = (guidance != Guidance::default()).then_some(guidance.word());
    WhoPours::new(batch.pourer.as_deref(), batch.jug.as_deref(), guided, scale)
}

pub(super) fn kept(hand: Hand) -> HandRecord {
    let pace = |of: Pace| PaceRecord { flow_g_s: of.flow_g_s, cv: of.cv, pours: of.pours };
    HandRecord {
        hand_s: hand.hand_s,
        pours: hand.pours,
        lag_s: hand.lag_s,
        scatter_s: hand.scatter_s,
        ease_kept: hand.ease.kept,
        ease_pours: hand.ease.pours,
        pace: Some(pace(hand.pace)),
        trickle_s: Some(hand.trickle.hand_s),
        trickle: Some(pace(hand.trickle.pace)),
    }
}

pub(super) fn used(record: HandRecord) -> Hand {
    let pace = |of: PaceRecord| Pace { flow_g_s: of.flow_g_s, cv: of.cv, pours: of.pours };
    let expected = Trickle::default();
    Hand {
        hand_s: record.hand_s,
        pours: record.pours,
        lag_s: record.lag_s,
        scatter_s: record.scatter_s,
        ease: Ease { kept: record.ease_kept, pours: record.ease_pours },
        pace: record.pace.map_or(Pace::POUR, pace),
        trickle: Trickle {
            hand_s: record.trickle_s.unwrap_or(expected.hand_s),
            pace: record.trickle.map_or(expected.pace, pace),
        },
    }
}
