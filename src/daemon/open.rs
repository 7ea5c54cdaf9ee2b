//! A pour between its first and last entry: what makes its entries one record.

use crate::page::desk::{Begun, Refusal};
use crate::pour::entry::Entry;
use crate::record::{BatchRecord, PourRecord};
use crate::scale::ScaleFacts;
use crate::time::WallTime;
use crate::units::Mass;

/// A pour's identity between its entries.
pub(super) struct Open {
    pub(super) id: String,
    pub(super) piece: u32,
    pub(super) started_at: WallTime,
}

impl Open {
    /// The record of an entry.
    pub(super) fn record(&self, batch: &BatchRecord, e: &Entry, scale: String, trace: Vec<u8>) -> PourRecord {
        PourRecord {
            id: self.id.clone(),
            rev: e.rev,
            seq: 0,
            batch: batch.id.clone(),
            piece: e.piece,
            started_at: self.started_at,
            tare: e.tare,
            target: batch.target,
            low: batch.low,
            high: batch.high,
            first_net: e.first_net,
            net: e.net,
            net_u: e.net_u,
            rolled: e.rolled,
            top_ups: e.top_ups,
            dry: batch.solids_fraction.zip(e.net).map(|(x, net)| Mass::saturating(x * net.g())),
            verdict: e.verdict,
            interrupted: false,
            settled: e.settled,
            guided: e.guided,
            seconds: e.seconds,
            contact: e.contact,
            flow_g_s: e.flow_g_s,
            stop_cue: e.stop_cue,
            calibration: None,
            scale,
            marks: e.marks,
            trace,
        }
    }
}

/// What to say where the scale's step is too coarse for the limits.
pub(super) fn too_coarse(scale: &ScaleFacts, batch: &BatchRecord) -> Option<String> {
    let (step_g, low_g, high_g) = (scale.step.g(), batch.low.g(), batch.high.g());
    (!scale.tells_apart(batch.low, batch.high)).then(|| {
        format!(
            "the scale counts in {step_g} g: too coarse for limits of {low_g:.2} to {high_g:.2} g, so no ready, no stop; \
             weights are logged. These limits need steps of {:.2} g or finer",
            0.5 * (high_g - low_g)
        )
    })
}

pub(super) fn begun(batch: BatchRecord, warnings: Vec<String>) -> Begun {
    Begun { batch, warnings }
}

pub(super) fn not_done(why: &str) -> Refusal {
    Refusal::Storage(format!("nothing was done: {why}"))
}
