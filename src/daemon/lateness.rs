//! How late scale and hand are, as it is known, kept and told.

use super::under_way::Batch;
use crate::guide::lag::{Found, LagTest};
use crate::guide::{Amiss, Want};
use crate::page::view::{HandView, LagTestView, LagView, SumView};
use crate::pour::sums::Agreement;
use crate::record::LagRecord;
use crate::scale::response::KnownLag;
use crate::scale::{Origin, ScaleFacts};

/// Before so many steps what was assumed is still the middle one (`scale/response.rs`): it is not kept as learned.
const LEAST_STEPS: u32 = 3;

/// What is known by now of the scale's lag in this batch.
pub(super) fn known(batch: &Batch) -> Option<LagRecord> {
    let before = batch.lag_before.as_ref();
    let as_known = before.map(|b| KnownLag { lag_s: b.lag_s, u_s: b.u_s, steps: b.steps });
    let known = KnownLag::since(as_known, &batch.engine.lags(), batch.engine.lag_steps())?;
    Some(record(known, before.and_then(|b| b.way.clone())))
}

/// What is to be kept of that: nothing where a person told the lag, or pieces told it no better.
pub(super) fn learned(batch: &Batch) -> Option<LagRecord> {
    let told = batch.engine.scale().lag_origin == Origin::Told;
    known(batch).filter(|lag| !told && lag.steps >= LEAST_STEPS && batch.engine.lag_steps() > 0)
}

/// What a test of the scale found, as it is kept.
pub(super) fn measured(found: &Found) -> LagRecord {
    record(found.lag, Some(found.shape.smoothing.word().to_owned()))
}

fn record(known: KnownLag, way: Option<String>) -> LagRecord {
    LagRecord { lag_s: known.lag_s, u_s: known.u_s, steps: known.steps, way }
}

/// The scale's lag as told: of the batch under way, else as kept.
pub(super) fn lag(scale: &ScaleFacts, kept: Option<&LagRecord>, batch: Option<&Batch>) -> LagView {
    let in_batch = batch.and_then(known);
    let known = if batch.is_some() { in_batch.as_ref() } else { kept };
    let scale = match batch {
        Some(batch) => batch.engine.scale(),
        None => scale.clone().as_learned(known.map(|k| k.lag_s), known.is_some_and(|k| k.way.is_some())).0,
    };
    let way = known.and_then(|k| k.way.clone());
    let origin = match scale.lag_origin {
        Origin::Assumed => "assumed",
        Origin::Told => "told",
        Origin::Learned if way.is_some() => "measured",
        Origin::Learned => "learned",
    };
    LagView {
        lag_ms: ms(scale.lag.as_secs_f64()),
        u_ms: known.filter(|_| scale.lag_origin == Origin::Learned).map(|k| ms(k.u_s)),
        origin,
        steps: known.map_or(0, |k| k.steps),
        measured_ms: kept.filter(|k| k.way.is_some()).map(|k| ms(k.lag_s)),
        way,
    }
}

fn ms(seconds: f64) -> f64 {
    (seconds * 1000.0).round()
}

/// The hand of the batch under way as told.
pub(super) fn hand(batch: &Batch) -> HandView {
    let hand = batch.engine.hand();
    HandView {
        pourer: batch.record.pourer.clone(),
        jug: batch.record.jug.clone(),
        guidance: batch.guidance.word(),
        hand_ms: ms(hand.hand_s),
        scatter_ms: hand.scatter_s.map(ms),
        origin: if hand.pours == 0 { "assumed" } else { "learned" },
        pours: hand.pours,
    }
}

/// The check on the two.
pub(super) fn sum(batch: &Batch) -> SumView {
    let known_s = batch.engine.scale().lag.as_secs_f64() + batch.engine.hand().hand_s;
    let sums = batch.engine.sums();
    let slope = sums.slope();
    SumView {
        known_ms: ms(known_s),
        slope_ms: slope.map(|s| ms(s.sum_s)),
        u_ms: slope.map(|s| ms(s.u_s)),
        pours: u32::try_from(sums.pours()).unwrap_or(u32::MAX),
        agreement: slope.map_or(Agreement::Unknown, |s| s.against(known_s)).word(),
    }
}

/// Where a test stands.
pub(super) fn test(test: &LagTest) -> LagTestView {
    let (done, steps) = test.guide().progress();
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let (wants, least_g, most_g) = match test.guide().want() {
        None => ("done", None, None),
        Some(Want::Bare) => ("bare", None, None),
        Some(Want::Again) => ("again", None, None),
        Some(Want::Off) => ("off", None, None),
        Some(Want::On { least, most }) => {
            (if test.is_light() { "light" } else { "heavy" }, Some(least.g()), Some(most.g()))
        }
    };
    let amiss = test.guide().amiss().map(Amiss::word);
    LagTestView { wants, done: count(done), steps: count(steps), least_g, most_g, amiss }
}
