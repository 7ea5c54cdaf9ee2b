//! The batch under way: its engine with what is kept beside it, and its part of the snapshot.

use super::lateness;
use super::open::{begun, too_coarse};
use super::pieces::Pieces;
use super::reminders::Reminders;
use crate::batch::request::{foreseen, from_bucket};
use crate::batch::supply::{Stock, stock_of};
use crate::page::desk::{Begun, Refusal};
use crate::page::view::{JugView, Now, SlopView};
use crate::pour::engine::{Command, Engine, Start};
use crate::pour::entry::Phase;
use crate::pour::guidance::Guidance;
use crate::pour::trace::Trace;
use crate::record::{Aim, BatchRecord, LagRecord, PourRecord, WhoPours};
use crate::store::Write;
use crate::time::{Instant, WallTime};
use crate::units::Mass;

/// What is kept beside the engine of a batch.
pub(super) struct Kept {
    pub(super) pieces: Pieces,
    pub(super) reminders: Reminders,
    /// What was known of the scale's lag at the begin.
    pub(super) lag: Option<LagRecord>,
}

/// A batch under way.
pub(super) struct Batch {
    pub(super) record: BatchRecord,
    pub(super) who: WhoPours,
    pub(super) engine: Engine,
    pub(super) trace: Trace,
    pub(super) pieces: Pieces,
    pub(super) reminders: Reminders,
    /// The slop it was planned with.
    pub(super) stock: Option<Stock>,
    /// What the jug said when it last stood on the pan.
    pub(super) jug: Option<JugView>,
    /// A change of its bucket or its slop that is on its way to the disk.
    pub(super) changing: Option<u64>,
    /// What was known of the scale's lag at the begin, and how the hand is guided.
    pub(super) lag_before: Option<LagRecord>,
    pub(super) guidance: Guidance,
    /// Why this scale can't guide this batch.
    pub(super) coarse: Option<String>,
    /// So many pieces were foreseen, where that was told; all of them are there, as it was seen last.
    foreseen: Option<u32>,
    full: bool,
}

/// Why a batch can't go on from what stood on the pan.
fn nothing_offered() -> Refusal {
    let why = "nothing is offered back: the display has not gone to zero by itself with a piece on it in this batch";
    Refusal::Conflict(why.to_owned())
}

/// What stood on the pan when the display of the batch under way went to zero by itself.
pub(super) fn offered(batch: Option<&Batch>, record: &BatchRecord, now: Instant) -> Result<Mass, Refusal> {
    batch.map_or(Err(nothing_offered()), |b| b.offers(record, now))
}

impl Batch {
    /// A batch that waits for its first piece.
    pub(super) fn new(record: BatchRecord, who: WhoPours, start: Start, kept: Kept, cues: u64) -> Self {
        let mut engine = Engine::new(start.clone());
        engine.count_cues_from(cues);
        let foreseen = foreseen(record.pieces, &record.request);
        Self {
            foreseen,
            // Of one that goes on its pieces are known already: that is no news.
            full: foreseen.is_some_and(|n| kept.pieces.counted() >= n),
            stock: stock_of(&record.request),
            jug: None,
            changing: None,
            coarse: too_coarse(&start.scale, &record),
            pieces: kept.pieces,
            reminders: kept.reminders,
            lag_before: kept.lag,
            guidance: start.settings.guidance,
            trace: Trace::new(start),
            engine,
            record,
            who,
        }
    }

    /// What stood there when the display went to zero by itself in this batch, where that is known.
    fn offers(&self, record: &BatchRecord, now: Instant) -> Result<Mass, Refusal> {
        let offered = self.engine.snapshot(now).offered.filter(|_| self.record.id == record.id);
        offered.ok_or_else(nothing_offered)
    }

    /// What is to be said of the scale in this batch, with what to try.
    pub(super) fn hint(&self) -> Option<&str> {
        let froze = self.engine.froze().then_some(
            "the display stands still while slop runs: switch the scale's hold and zero tracking off if it can, and \
             leave taring to Tarebell",
        );
        self.coarse.as_deref().or(froze)
    }

    /// Nothing stands on the pan, and nothing that stood there waits to be written down.
    pub(super) fn idle(&self) -> bool {
        self.engine.snapshot(Instant::START).phase == Phase::Idle && self.engine.takes_number()
    }

    /// A trace begins with what the engine knows before the piece lands.
    pub(super) fn start_trace(&mut self) {
        self.trace.start_from(&self.engine);
    }

    /// The piece left: its trace with the lift, once for each pour.
    pub(super) fn whole_trace(&mut self) -> Option<Write> {
        let pour = self.pieces.lift()?.id;
        Some(Write::Trace { pour, bytes: self.trace.encode() })
    }

    /// Between two pieces the engine's next number, or what it should get, may be another than what is due.
    pub(super) fn renumber(&self) -> Option<Command> {
        let due = self.pieces.numbers().next();
        let other = self.engine.snapshot(Instant::START).piece != due;
        let aim = self.aim();
        match self.engine.takes_number() {
            true if other => Some(Command::Number(due)),
            true if self.engine.next_aim() != aim => Some(Command::Aim(aim)),
            true | false => None,
        }
    }

    /// What the next piece should get.
    fn aim(&self) -> Aim {
        self.pieces.next_of(&self.record.ladder).unwrap_or(self.record.aim())
    }

    /// What is left of the slop that it was planned with.
    pub(super) fn supply(&self) -> Option<SlopView> {
        self.supply_of(self.stock.as_ref()?)
    }

    /// The same by the count alone, which goes below nothing where more was poured than was told of.
    pub(super) fn at_hand(&self, stock: &Stock) -> Option<Mass> {
        Some(self.pieces.supply(stock, &self.record).at_hand)
    }

    /// What would be left of so much.
    pub(super) fn supply_of(&self, stock: &Stock) -> Option<SlopView> {
        let found = self.pieces.supply(stock, &self.record);
        let counted = self.pieces.counted();
        Some(SlopView {
            left_g: found.at_hand.told_g().max(0.0),
            enough_for: found.enough_for,
            runs_out_at: found.runs_out_at.map(|more| counted.saturating_add(more)),
        })
    }

    /// The last piece that was foreseen has come and is lifted: once, and anew where one was taken out of the count meanwhile.
    pub(super) fn became_full(&mut self) -> bool {
        // On the pan it may still be taken out of the count.
        if !self.idle() {
            return false;
        }
        let full = self.foreseen.is_some_and(|n| self.pieces.counted() >= n);
        let before = std::mem::replace(&mut self.full, full);
        full && !before
    }

    fn nth(&self) -> u32 {
        let back = (!self.engine.takes_number()).then(|| self.engine.snapshot(Instant::START).piece);
        self.pieces.nth(back)
    }

    /// Whether the next number can be left out; else why not.
    pub(super) fn may_skip(&self) -> Result<u32, Refusal> {
        match self.pieces.unweighed() {
            None => Ok(self.pieces.numbers().next()),
            Some(piece) => Err(Refusal::Conflict(format!(
                "piece {piece} stands on the scale: lift it off first, then leave its number out"
            ))),
        }
    }
}

/// Why this pour can't be taken out of the count of its batch; `ended` where the disk does not
/// know yet that the batch has ended.
pub(super) fn keeps(pour: &PourRecord, batch: &BatchRecord, ended: bool) -> Option<Refusal> {
    let why = if batch.ended_at.is_some() || ended {
        format!("the batch '{}' has ended: its log stays as it is", batch.name)
    } else if pour.rev == 0 {
        format!("piece {} is not weighed yet: wait for its weight", pour.piece)
    } else {
        return None;
    };
    Some(Refusal::Conflict(why))
}

/// The answer to the end of a batch that is not under way; none where it is still to be written. `ended`
/// where the disk does not know of its end yet; `beginning` where its begin is on its way to the disk.
pub(super) fn end(
    batch: &BatchRecord,
    ended: Option<&BatchRecord>,
    beginning: bool,
) -> Option<Result<Begun, Refusal>> {
    if let Some(ended) = ended {
        let words = "its end is not on disk yet: it is written as soon as the disk takes it".to_owned();
        return Some(Ok(begun(ended.clone(), vec![words])));
    }
    if batch.ended_at.is_some() {
        return Some(Ok(begun(batch.clone(), Vec::new())));
    }
    let refused = |why| Some(Err(Refusal::Conflict(format!("the batch '{}' {why}", batch.name))));
    if beginning {
        return refused("is just being begun: ask again in a moment");
    }
    if batch.begun_at.is_none() {
        return refused("was never begun: there is nothing to end");
    }
    None
}

/// The snapshot, but for what is known without a batch.
pub(super) fn view(batch: Option<&Batch>, now: Instant, wall: WallTime) -> Now {
    let snapshot = batch.map(|b| b.engine.snapshot(now));
    let record = batch.map(|b| &b.record);
    let grams = |m: Option<Mass>| m.map(Mass::told_g);
    Now {
        phase: snapshot.map_or("idle", |s| s.phase.word()),
        step: snapshot.map_or("no batch under way", |s| s.step).to_owned(),
        batch: record.map(|r| r.id.clone()),
        piece: snapshot.map(|s| s.piece),
        nth: batch.map(Batch::nth),
        pieces: record.map(|r| r.pieces),
        foreseen: batch.and_then(|b| b.foreseen),
        net_g: grams(snapshot.and_then(|s| s.net)),
        target_g: snapshot.map(|s| s.aim.target.told_g()),
        low_g: snapshot.map(|s| s.aim.low.told_g()),
        high_g: snapshot.map(|s| s.aim.high.told_g()),
        left_g: snapshot.and_then(|s| s.net.map(|net| (s.aim.target - net).told_g())),
        expected_g: grams(snapshot.and_then(|s| s.expected)),
        flow_g_s: snapshot.and_then(|s| s.flow_g_s),
        offered_g: grams(snapshot.and_then(|s| s.offered)),
        pan_g: grams(batch.and_then(|b| b.engine.left_on_pan())),
        bucket: record.and_then(|r| r.bucket),
        bucket_age_s: record.and_then(measured).map(|at| age_s(at, wall)),
        supply: batch.and_then(Batch::supply),
        jug: batch.and_then(|b| b.jug.clone()),
        hand: batch.map(lateness::hand),
        sum: batch.map(lateness::sum),
        bucket_old: batch.is_some_and(|b| b.reminders.bucket_old(wall)),
        ..Now::default()
    }
}

/// When the bucket was measured that the grams of this batch come from; none where they were typed in.
pub(super) fn measured(record: &BatchRecord) -> Option<WallTime> {
    from_bucket(&record.request).then(|| record.measured_at.unwrap_or(record.created_at))
}

/// Whole seconds; a clock that was set back makes nothing younger than new.
fn age_s(created: WallTime, wall: WallTime) -> u64 {
    u64::try_from((wall.unix_us() - created.unix_us()) / 1_000_000).unwrap_or(0)
}
