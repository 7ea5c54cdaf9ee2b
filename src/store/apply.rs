//! One write, one transaction: what each kind of job does to the log.
//!
//! Never overwrites a revision and never waits; a transaction that fails leaves nothing.

use super::{Write, backup, calibrations, find, numbers, query, rows, shelves, sums, tally};
use crate::record::{BatchRecord, History, PourRecord, SlopCame, Verdict};
use crate::time::WallTime;
use rusqlite::{Connection, TransactionBehavior, params};

/// The last number given to a commit; never given twice, even when its row was dropped.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sequence(i64);

impl Sequence {
    /// Goes on from the greatest number in the log.
    pub(super) fn read(conn: &Connection) -> rusqlite::Result<Self> {
        conn.query_row("SELECT COALESCE(MAX(seq), 0) FROM pour", [], |row| row.get(0)).map(Self)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.saturating_add(1);
        self.0.unsigned_abs()
    }
}

/// Puts one write on disk and fills in what the log decides: `seq`, and `rev` where
/// that number was already taken by another entry.
pub(super) fn apply(conn: &mut Connection, write: &mut Write, last: &mut Sequence) -> rusqlite::Result<()> {
    if let Write::History(History::Restored { file, before }) = write {
        // In the order of the writes: whatever was asked for before is in the copy.
        backup::copy(conn, before)?;
        backup::restore(conn, file)?;
        *last = Sequence::read(conn)?;
        return Ok(());
    }
    let mut sequence = *last;
    let tx = conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
    match write {
        Write::BatchCreated(batch) => create_batch(&tx, batch)?,
        Write::BatchBegun { id, at } => begin_batch(&tx, id, *at)?,
        Write::BatchEnded { id, at } => end_batch(&tx, id, *at)?,
        Write::PourOpened(pour) => add_revision(&tx, pour, &mut sequence)?,
        Write::Pour { pour, hand, lag } => {
            stay_void(&tx, pour)?;
            add_revision(&tx, pour, &mut sequence)?;
            if let Some((key, hand)) = hand {
                rows::set_hand(&tx, key, *hand)?;
            }
            if let Some(lag) = lag {
                rows::set_lag(&tx, &pour.scale, lag)?;
            }
        }
        Write::PourVoided(pour) => void_newest(&tx, pour, &mut sequence)?,
        Write::PourAgain { pour, at } => {
            void_newest(&tx, pour, &mut sequence)?;
            // Asked twice, noted once.
            if !numbers::is_waiting(&tx, pour)? {
                numbers::note(&tx, &pour.batch, pour.piece, Some(&pour.id), *at)?;
            }
        }
        Write::NumberLeftOut { batch, piece, at } => numbers::note(&tx, batch, *piece, None, *at)?,
        Write::Lag { scale, lag } => rows::set_lag(&tx, scale, lag)?,
        Write::Shelf(records) => records.iter_mut().try_for_each(|record| shelves::put(&tx, record))?,
        Write::Calibration(write) => calibrations::put(&tx, write)?,
        Write::Retargeted(batch, came) => retarget(&tx, batch, came.as_ref())?,
        Write::History(history) => apply_history(&tx, history, &mut sequence)?,
        Write::Spare(spare) => numbers::keep_spare(&tx, *spare)?,
        Write::Jug(jug) => numbers::keep_jug(&tx, *jug)?,
        Write::Trace { pour, bytes } => rows::set_trace(&tx, pour, bytes)?,
        Write::PourDropped { id } => drop_open(&tx, id)?,
    }
    tx.commit()?;
    *last = sequence;
    Ok(())
}

fn apply_history(conn: &Connection, history: &mut History, sequence: &mut Sequence) -> rusqlite::Result<()> {
    match history {
        History::Labelled { pour, label } => label_newest(conn, pour, label, sequence),
        History::Imported { batches, pours } => {
            batches.iter().try_for_each(|batch| create_batch(conn, batch))?;
            pours.iter_mut().try_for_each(|pour| match query::newest(conn, &pour.id)? {
                Some(_) => Ok(()),
                None => add_revision(conn, pour, sequence),
            })
        }
        History::ByPourer(on) => numbers::keep(conn, "by_pourer", i64::from(*on)),
        History::RunRules(bits) => numbers::keep(conn, RUN_RULES, i64::from(*bits)),
        History::Forgotten { pourer } => find::forget(conn, pourer),
        // Done before, outside of any transaction.
        History::Restored { .. } => Ok(()),
    }
}

/// Name under which the run rules are kept.
pub(super) const RUN_RULES: &str = "run_rules";

/// A label is a further revision of the newest.
fn label_newest(conn: &Connection, id: &str, label: &str, sequence: &mut Sequence) -> rusqlite::Result<()> {
    let Some(mut pour) = query::newest(conn, id)? else {
        tracing::warn!(pour = id, "this pour is not in the log");
        return Ok(());
    };
    if pour.label.as_deref().unwrap_or_default() == label {
        return Ok(());
    }
    pour.rev = pour.rev.saturating_add(1);
    pour.label = Some(label.to_owned());
    add_revision(conn, &mut pour, sequence)
}

fn create_batch(conn: &Connection, batch: &BatchRecord) -> rusqlite::Result<()> {
    if query::batch(conn, &batch.id)?.is_some() {
        tracing::warn!(batch = batch.id, "this batch is in the log already; the first stays");
        return Ok(());
    }
    rows::insert_batch(conn, batch)
}

/// The first beginning stays; a batch begun again is not ended any more.
fn begin_batch(conn: &Connection, id: &str, at: WallTime) -> rusqlite::Result<()> {
    let changed = conn.execute(
        "UPDATE batch SET begun_us = COALESCE(begun_us, $1), ended_us = NULL WHERE id = $2",
        params![at.unix_us(), id],
    )?;
    warn_unless_known(id, changed);
    Ok(())
}

fn end_batch(conn: &Connection, id: &str, at: WallTime) -> rusqlite::Result<()> {
    let changed = conn.execute("UPDATE batch SET ended_us = $1 WHERE id = $2", params![at.unix_us(), id])?;
    warn_unless_known(id, changed);
    Ok(())
}

/// Pieces poured before keep what they should have got.
fn retarget(conn: &Connection, batch: &mut BatchRecord, came: Option<&SlopCame>) -> rusqlite::Result<()> {
    if let Some(came) = came {
        shelves::note_slop(conn, batch, came)?;
    }
    warn_unless_known(&batch.id, rows::retarget(conn, batch)?);
    Ok(())
}

fn warn_unless_known(batch: &str, changed: usize) {
    if changed == 0 {
        tracing::warn!(batch, "this batch is not in the log");
    }
}

fn add_revision(conn: &Connection, pour: &mut PourRecord, sequence: &mut Sequence) -> rusqlite::Result<()> {
    *pour = rows::rounded(pour.clone());
    let newest = query::newest(conn, &pour.id)?;
    // Who weighs a piece again knows of no label.
    if pour.label.is_none() {
        pour.label = newest.as_ref().and_then(|newest| newest.label.clone());
    }
    if let Some(there) = query::revision(conn, &pour.id, pour.rev)? {
        if same(&there, pour) {
            pour.seq = there.seq;
            return Ok(());
        }
        let top = newest.as_ref().map_or(there.rev, |newest| newest.rev);
        tracing::warn!(
            pour = pour.id,
            rev = pour.rev,
            "this revision exists; the entry gets the next number"
        );
        pour.rev = top.saturating_add(1);
    }
    pour.seq = sequence.next();
    rows::insert_pour(conn, pour)?;
    if !pour.trace.is_empty() {
        rows::set_trace(conn, &pour.id, &pour.trace)?;
    }
    if newest.as_ref().is_none_or(|newest| newest.rev < pour.rev) {
        update_sums(conn, newest.as_ref(), pour)?;
        tally::update(conn, newest.as_ref(), pour)?;
    }
    Ok(())
}

/// A committed pour that was taken out of the count is not brought back by a later weight. It may
/// have been on its way while the void was written, so only here the two are in order.
fn stay_void(conn: &Connection, pour: &mut PourRecord) -> rusqlite::Result<()> {
    if query::newest(conn, &pour.id)?.is_some_and(|newest| newest.rev > 0 && newest.verdict == Verdict::Void)
    {
        pour.verdict = Verdict::Void;
    }
    Ok(())
}

/// What was read before the void was asked for may be old: the newest revision is taken.
fn void_newest(conn: &Connection, pour: &mut PourRecord, sequence: &mut Sequence) -> rusqlite::Result<()> {
    let Some(newest) = query::newest(conn, &pour.id)? else {
        tracing::warn!(pour = pour.id, "this pour is not in the log");
        return Ok(());
    };
    *pour = newest;
    if pour.verdict == Verdict::Void {
        return Ok(());
    }
    pour.rev = pour.rev.saturating_add(1);
    pour.verdict = Verdict::Void;
    add_revision(conn, pour, sequence)
}

/// Whether a row says what the record says, but for its number and trace.
fn same(row: &PourRecord, pour: &PourRecord) -> bool {
    let mut wanted = pour.clone();
    wanted.seq = row.seq;
    wanted.trace.clear();
    *row == wanted
}

fn update_sums(conn: &Connection, old: Option<&PourRecord>, new: &PourRecord) -> rusqlite::Result<()> {
    let moved = old.is_some_and(|old| old.batch != new.batch);
    let before = old.and_then(sums::counted);
    let after = sums::counted(new);
    if before == after && !moved {
        return Ok(());
    }
    let Some(kept) = query::sums(conn, &new.batch)? else {
        warn_unless_known(&new.batch, 0);
        return Ok(());
    };
    let rest = match before {
        None => Some(kept),
        Some(ug) => kept.without(ug),
    };
    let sums = match (rest, after) {
        (Some(rest), Some(ug)) if !moved => rest.with(ug),
        (Some(rest), None) if !moved => rest,
        _ => recount(conn, &new.batch)?,
    };
    if let Some(old) = old.filter(|_| moved) {
        write_sums(conn, &old.batch, recount(conn, &old.batch)?)?;
    }
    write_sums(conn, &new.batch, sums)
}

/// Sums made anew from the pours on disk.
pub(super) fn recount(conn: &Connection, batch: &str) -> rusqlite::Result<sums::BatchSums> {
    let pours = query::pours(conn, batch)?;
    Ok(pours.iter().filter_map(sums::counted).fold(sums::BatchSums::default(), sums::BatchSums::with))
}

fn write_sums(conn: &Connection, batch: &str, sums: sums::BatchSums) -> rusqlite::Result<()> {
    conn.prepare_cached(
        "UPDATE batch SET n = $1, sum_ug = $2, sum_squares_ug2 = $3, min_ug = $4, max_ug = $5 WHERE id = $6",
    )?
    .execute(params![
        i64::try_from(sums.n).unwrap_or(i64::MAX),
        sums.sum_ug,
        sums.sum_squares_ug2.to_string(),
        sums.min_ug,
        sums.max_ug,
        batch
    ])?;
    Ok(())
}

/// An open row goes only while nothing was committed over it.
fn drop_open(conn: &Connection, id: &str) -> rusqlite::Result<()> {
    if query::newest(conn, id)?.is_some_and(|newest| newest.rev == 0) {
        conn.execute("DELETE FROM pour WHERE id = $1 AND rev = 0", [id])?;
        conn.execute("DELETE FROM trace WHERE pour = $1", [id])?;
    }
    Ok(())
}

/// Gives every pour still open the revision that says it was interrupted.
pub(super) fn interrupt_open(
    conn: &mut Connection,
    last: &mut Sequence,
) -> rusqlite::Result<Vec<PourRecord>> {
    let mut sequence = *last;
    let tx = conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let mut interrupted = query::open_pours(&tx)?;
    for pour in &mut interrupted {
        pour.rev = 1;
        pour.verdict = Verdict::Void;
        pour.interrupted = true;
        add_revision(&tx, pour, &mut sequence)?;
    }
    tx.commit()?;
    *last = sequence;
    Ok(interrupted)
}
