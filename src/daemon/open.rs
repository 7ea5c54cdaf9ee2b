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
use crate::units::{Mass, as_told};

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

/// What to say where bare pieces of a batch are too light to be taken for pieces, some of them or all.
pub(super) fn too_light(min_piece: Mass, bare: Option<(Mass, Mass)>) -> Option<String> {
    let (least, greatest) = bare?;
    let (from_g, lightest_g) = (as_told(min_piece.g()), as_told(least.g()));
    let who = if greatest <= min_piece {
        "no bare piece of this batch is".to_owned()
    } else if least <= min_piece {
        format!("bare pieces of this batch may weigh {lightest_g} g, and those up to {from_g} g are not")
    } else {
        return None;
    };
    Some(format!(
        "{who} taken for a piece: nothing that weighs {from_g} g or less is, so it is never tared, called or logged. Set \
         [pour] min_piece_g in the settings well under {lightest_g} g (1 g is the least) and start anew, or set bare_g right"
    ))
}

/// The weights that the warnings at a begin tell rounded, in full, g.
pub(super) fn exact_g(
    batch: &BatchRecord,
    heaviest: Option<Mass>,
    spare: Option<Mass>,
    told: &Outlook,
) -> Vec<f64> {
    let slop_g = batch.ladder.iter().map(|aim| aim.high.g()).fold(batch.high.g(), f64::max);
    let aims = batch.ladder.iter().copied().chain([batch.aim()]);
    let limits = aims.flat_map(|aim| [aim.low.g(), aim.high.g(), aim.half_width_g()]).collect::<Vec<_>>();
    let weights = [heaviest.map(Mass::g), heaviest.map(|m| m.g() + slop_g), spare.map(Mass::g)];
    weights.into_iter().flatten().chain([2.0 * told.spread_g]).chain(limits).collect()
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
    Begun { batch, warnings, exact_g: Vec::new(), expected: None, weighing: None, left_out: None }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bare_pieces_that_are_wholly_or_partly_too_light_to_be_taken_for_pieces_are_warned_of() {
        let g = Mass::saturating;
        let said = |least: f64, greatest: f64| too_light(g(40.0), Some((g(least), g(greatest))));
        let wholly = said(20.0, 35.5).expect("a warning");
        assert!(wholly.starts_with("no bare piece of this batch is taken for a piece"), "{wholly}");
        assert!(wholly.contains("[pour] min_piece_g") && wholly.contains("well under 20 g"), "{wholly}");
        let partly = said(38.5, 60.0).expect("a warning");
        assert!(
            partly.starts_with("bare pieces of this batch may weigh 38.5 g, and those up to 40 g are not")
        );
        // What weighs just as much is no piece either: the engine takes what is above it.
        assert!(
            said(40.0, 60.0).is_some() && said(30.0, 40.0).is_some_and(|s| s.starts_with("no bare piece"))
        );
        assert_eq!((said(40.1, 60.0), too_light(g(40.0), None)), (None, None));
    }
}
