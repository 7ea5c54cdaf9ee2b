//! A pour between its first and last entry: what makes its entries one record.

use crate::calibration::uncertainty::Known;
use crate::page::desk::{Begun, Refusal};
use crate::pour::PourSettings;
use crate::pour::entry::Entry;
use crate::pour::outlook::Outlook;
use crate::pour::vessel::Vessel;
use crate::record::{BatchRecord, Mark, PourRecord};
use crate::scale::ScaleFacts;
use crate::time::{Instant, WallTime};
use crate::units::Mass;

/// A pour's identity between its entries.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Open {
    pub(super) id: String,
    pub(super) piece: u32,
    pub(super) started_at: WallTime,
    /// When it was ready, on this daemon's clock.
    pub(super) started: Instant,
    /// Taken out of the count.
    pub(super) voided: bool,
    /// Dry share of the bucket that it was poured from, and the version of its glaze.
    pub(super) solids: Option<f64>,
    pub(super) bucket: Option<u32>,
    /// The calibration that it is weighed by.
    pub(super) by: Option<By>,
}

/// A calibration by its id, and what is known of the scale by it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct By {
    pub(super) id: String,
    pub(super) known: Option<Known>,
}

impl Open {
    /// What is not known of the weight: what the pour itself left open, and what the scale's calibration does.
    fn net_u(&self, e: &Entry) -> Option<Mass> {
        let (own, net) = (e.net_u?, e.net?);
        let Some(known) = self.by.as_ref().and_then(|by| by.known) else { return Some(own) };
        let put_back = e.marks.has(Mark::PutBack) || e.rolled.is_some();
        let gross_g = put_back.then_some(e.tare.g() + net.g());
        Some(Mass::saturating(known.of_pour(own.g(), net.g(), gross_g)))
    }

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
            target: e.aim.target,
            low: e.aim.low,
            high: e.aim.high,
            first_net: e.first_net,
            net: e.net,
            net_u: self.net_u(e),
            rolled: e.rolled,
            top_ups: e.top_ups,
            dry: self.solids.zip(e.net).map(|(x, net)| Mass::saturating(x * net.g())),
            fired: batch.fired,
            verdict: e.verdict,
            interrupted: false,
            settled: e.settled,
            guided: e.guided,
            seconds: e.seconds,
            contact: e.contact,
            flow_g_s: e.flow_g_s,
            stop_cue: e.stop_cue,
            bucket: self.bucket,
            calibration: self.by.as_ref().map(|by| by.id.clone()),
            scale,
            label: None,
            marks: e.marks,
            trace,
        }
    }
}

/// What to say where the scale's step is too coarse for the limits.
pub(super) fn too_coarse(scale: &ScaleFacts, batch: &BatchRecord) -> Option<String> {
    let narrowest = batch
        .ladder
        .iter()
        .fold(batch.aim(), |least, aim| if aim.half_width_g() < least.half_width_g() { *aim } else { least });
    let (step_g, low_g, high_g) = (scale.step.g(), narrowest.low.g(), narrowest.high.g());
    (!scale.tells_apart(narrowest.low, narrowest.high)).then(|| {
        format!(
            "the scale counts in {step_g} g: too coarse for limits of {low_g:.2} to {high_g:.2} g, so no ready, no stop; \
             weights are logged. These limits need steps of {:.2} g or finer",
            0.5 * (high_g - low_g)
        )
    })
}

/// What to say where the heaviest piece known, with its slop, is more than the scale carries.
pub(super) fn too_heavy(
    capacity: Option<Mass>,
    heaviest: Option<Mass>,
    batch: &BatchRecord,
) -> Option<String> {
    let (most_g, piece_g) = (capacity?.g(), heaviest?.g());
    let slop_g = batch.ladder.iter().map(|aim| aim.high.g()).fold(batch.high.g(), f64::max);
    (piece_g + slop_g > most_g).then(|| {
        format!(
            "the scale carries {most_g} g, and the heaviest piece known weighs {piece_g:.1} g bare and {:.1} g with \
             its slop: it may not be weighed. Use a larger scale for such pieces",
            piece_g + slop_g
        )
    })
}

/// What may be done where fills will scatter by more than the tolerance, or a pour is over before its flow is seen.
pub(super) fn advice(told: &Outlook, batch: &BatchRecord, usual: &PourSettings) -> Option<String> {
    let target_g = batch.target.g();
    let short = told.shortest_g > target_g;
    let vessel = batch.vessel.as_deref().and_then(Vessel::from_word).unwrap_or(usual.vessel);
    if vessel != Vessel::Jug || told.slower_g_s.is_none() && !told.bottle {
        return None;
    }
    let why = if short {
        format!(
            "a pour of {target_g:.1} g at {:.1} g/s is over before its flow is seen; the shortest is {:.0} g",
            told.flow_g_s, told.shortest_g
        )
    } else {
        format!(
            "at {:.1} g/s 95 of 100 pours will lie within {:.1} g of the target, and the limits are closer",
            told.flow_g_s,
            2.0 * told.spread_g
        )
    };
    Some(match told.slower_g_s {
        Some(slower_g_s) => format!("{why}: pour slower, at {slower_g_s:.1} g/s or less"),
        None => format!("{why}: pour slower; a squeeze bottle suits {target_g:.1} g"),
    })
}

pub(super) fn begun(batch: BatchRecord, warnings: Vec<String>) -> Begun {
    Begun { batch, warnings, expected: None, weighing: None, left_out: None }
}

pub(super) fn not_done(why: &str) -> Refusal {
    Refusal::Storage(format!("nothing was done: {why}"))
}

#[cfg(test)]
impl Open {
    /// Its record as the log would hold it; the numbers are invented.
    pub(super) fn record_for_test(&self, verdict: crate::record::Verdict) -> PourRecord {
        let g = Mass::saturating;
        PourRecord {
            id: self.id.clone(),
            rev: 2,
            seq: 1,
            batch: "invented".to_owned(),
            piece: self.piece,
            started_at: self.started_at,
            tare: g(300.0),
            target: g(29.0),
            low: g(28.0),
            high: g(30.0),
            first_net: None,
            net: Some(g(29.0)),
            net_u: None,
            rolled: None,
            top_ups: 0,
            dry: None,
            fired: false,
            verdict,
            interrupted: false,
            settled: true,
            guided: true,
            seconds: 4.0,
            contact: None,
            flow_g_s: None,
            stop_cue: None,
            bucket: None,
            calibration: None,
            scale: "invented scale".to_owned(),
            label: None,
            marks: crate::record::Marks::default(),
            trace: Vec::new(),
        }
    }
}
