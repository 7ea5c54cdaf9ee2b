//! Every statement that changes the log, each in a transaction of its own.

use super::rows::{pour, ug};
use super::schema::database;
use super::{StoreError, Write};
use crate::record::{BatchRecord, HandRecord, PourRecord, Verdict};
use rusqlite::{Connection, Transaction, params};
use std::path::PathBuf;

/// The writer's connection.
pub(super) struct Base {
    pub(super) db: Connection,
    pub(super) path: PathBuf,
}

impl Base {
    /// Writes one thing; on success it is on disk.
    pub(super) fn write(&mut self, write: &mut Write) -> Result<(), StoreError> {
        let wrong = database(&self.path);
        let tx = self.db.transaction().map_err(&wrong)?;
        match write {
            Write::BatchCreated(batch) => batch_created(&tx, batch),
            Write::BatchBegun { id, at } => tx
                .execute(
                    "UPDATE batch SET begun_us = COALESCE(begun_us, ?2) WHERE id = ?1",
                    params![&*id, at.unix_us()],
                )
                .map(drop),
            Write::BatchEnded { id, at } => tx
                .execute("UPDATE batch SET ended_us = ?2 WHERE id = ?1", params![&*id, at.unix_us()])
                .map(drop),
            Write::PourOpened(record) => revision(&tx, record),
            Write::Pour { pour, hand } => revision(&tx, pour).and_then(|()| match hand {
                Some((who, record)) => learned(&tx, who, *record),
                None => Ok(()),
            }),
            Write::PourDropped { id } => {
                tx.execute("DELETE FROM pour WHERE id = ?1 AND rev = 0 AND newest = 1", [&*id]).map(drop)
            }
        }
        .map_err(&wrong)?;
        tx.commit().map_err(&wrong)
    }

    /// Pours left open by a daemon that stopped without a word become void.
    pub(super) fn interrupt_open(&mut self) -> Result<Vec<PourRecord>, StoreError> {
        let wrong = database(&self.path);
        let tx = self.db.transaction().map_err(&wrong)?;
        let mut open = {
            let mut found = tx.prepare("SELECT * FROM pour WHERE newest = 1 AND rev = 0").map_err(&wrong)?;
            let rows = found.query_map([], pour).map_err(&wrong)?;
            rows.collect::<Result<Vec<_>, _>>().map_err(&wrong)?
        };
        for record in &mut open {
            record.rev = 1;
            record.verdict = Verdict::Void;
            record.interrupted = true;
            revision(&tx, record).map_err(&wrong)?;
        }
        tx.commit().map_err(&wrong)?;
        Ok(open)
    }
}

fn batch_created(tx: &Transaction<'_>, b: &BatchRecord) -> rusqlite::Result<()> {
    tx.execute(
        "INSERT INTO batch (id, name, pieces, target_ug, low_ug, high_ug, solids_ppb, pourer, jug, request, \
         created_us, begun_us, ended_us) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
        params![
            b.id,
            b.name,
            b.pieces,
            ug(b.target),
            ug(b.low),
            ug(b.high),
            b.solids_fraction.map(|x| (x * 1e9).round() as i64),
            b.pourer,
            b.jug,
            b.request,
            b.created_at.unix_us(),
            b.begun_at.map(|t| t.unix_us()),
            b.ended_at.map(|t| t.unix_us()),
        ],
    )
    .map(drop)
}

fn revision(tx: &Transaction<'_>, p: &mut PourRecord) -> rusqlite::Result<()> {
    let seq: i64 = tx.query_row("SELECT COALESCE(MAX(seq), 0) + 1 FROM pour", [], |r| r.get(0))?;
    p.seq = u64::try_from(seq).unwrap_or(0);
    tx.execute("UPDATE pour SET newest = 0 WHERE id = ?1", [&p.id])?;
    tx.execute(
        "INSERT INTO pour (id, rev, seq, batch, piece, started_us, tare_ug, target_ug, low_ug, high_ug, \
         first_net_ug, net_ug, net_u_ug, rolled_ug, top_ups, dry_ug, verdict, interrupted, settled, guided, \
         lasted_us, contact_us, flow_ug_s, stop_cue_ug, calibration, scale, newest) VALUES (?1, ?2, ?3, ?4, \
         ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23, ?24, ?25, \
         ?26, 1)",
        params![
            p.id,
            p.rev,
            seq,
            p.batch,
            p.piece,
            p.started_at.unix_us(),
            ug(p.tare),
            ug(p.target),
            ug(p.low),
            ug(p.high),
            p.first_net.map(ug),
            p.net.map(ug),
            p.net_u.map(ug),
            p.rolled.map(ug),
            p.top_ups,
            p.dry.map(ug),
            p.verdict.word(),
            i64::from(p.interrupted),
            i64::from(p.settled),
            i64::from(p.guided),
            (p.seconds * 1e6).round() as i64,
            p.contact.map(|d| i64::try_from(d.as_micros()).unwrap_or(i64::MAX)),
            p.flow_g_s.map(|f| (f * 1e6).round() as i64),
            p.stop_cue.map(ug),
            p.calibration,
            p.scale,
        ],
    )?;
    if !p.trace.is_empty() {
        let body: String = p.trace.iter().map(|b| format!("{b:02x}")).collect();
        tx.execute(
            "INSERT INTO trace (pour, body) VALUES (?1, ?2) ON CONFLICT (pour) DO UPDATE SET body = excluded.body",
            params![p.id, body],
        )?;
    }
    sums(tx, &p.batch)
}

/// The batch's sums, over the newest revisions that count.
fn sums(tx: &Transaction<'_>, batch: &str) -> rusqlite::Result<()> {
    // Squares are of whole milligrams: a pour of 5 kg gives 2.5e13, so that 300 000 of them fit.
    let mut found = tx.prepare_cached(
        "SELECT net_ug FROM pour WHERE batch = ?1 AND newest = 1 AND verdict <> 'void' AND net_ug IS NOT NULL",
    )?;
    let nets = found.query_map([batch], |r| r.get(0))?.collect::<Result<Vec<i64>, _>>()?;
    let squares: i64 = nets.iter().map(|net| (net / 1000).saturating_pow(2)).fold(0, i64::saturating_add);
    tx.execute(
        "UPDATE batch SET n = ?2, sum_ug = ?3, sum_sq_mg2 = ?4, min_ug = ?5, max_ug = ?6 WHERE id = ?1",
        params![
            batch,
            nets.len() as i64,
            nets.iter().fold(0_i64, |a, b| a.saturating_add(*b)),
            squares,
            nets.iter().min(),
            nets.iter().max()
        ],
    )
    .map(drop)
}

fn learned(tx: &Transaction<'_>, who: &str, hand: HandRecord) -> rusqlite::Result<()> {
    tx.execute(
        "INSERT INTO hand (who, hand_us, pours) VALUES (?1, ?2, ?3) \
         ON CONFLICT (who) DO UPDATE SET hand_us = excluded.hand_us, pours = excluded.pours",
        params![who, (hand.hand_s * 1e6).round() as i64, hand.pours],
    )
    .map(drop)
}
