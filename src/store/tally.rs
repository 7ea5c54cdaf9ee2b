//! What is kept with a batch besides its sums, so that batches are compared and searched without their pours.
//!
//! Whole numbers, added and taken away exactly.

use crate::record::{PourRecord, Tally, Verdict};
use crate::time::WallTime;
use rusqlite::{Connection, params};

/// Farther off its target is no pour: only keeps squares in range, mg.
const FARTHEST_MG: i64 = 1_000_000;

/// What one newest revision adds.
#[derive(Clone, Copy, Default, PartialEq)]
struct Share([i64; 6]);

impl Share {
    fn of(pour: &PourRecord) -> Self {
        if pour.rev == 0 {
            return Self::default();
        }
        if pour.verdict == Verdict::Void {
            return Self([0, 0, 1, 0, 0, 0]);
        }
        let Some(net) = pour.net else { return Self::default() };
        let off =
            ((super::rows::ug(net) - super::rows::ug(pour.target)) / 1000).clamp(-FARTHEST_MG, FARTHEST_MG);
        let one = |of: bool| i64::from(of);
        Self([
            one(pour.verdict == Verdict::Good),
            one(pour.verdict == Verdict::Short),
            0,
            one(pour.guided),
            off,
            off * off,
        ])
    }

    fn less(self, other: Self) -> Self {
        Self(std::array::from_fn(|i| {
            self.0.get(i).copied().unwrap_or(0) - other.0.get(i).copied().unwrap_or(0)
        }))
    }
}

/// The newest revision of a pour is another one now.
pub(super) fn update(conn: &Connection, old: Option<&PourRecord>, new: &PourRecord) -> rusqlite::Result<()> {
    let before = old.map_or(Share::default(), Share::of);
    match old {
        Some(old) if old.batch != new.batch => {
            add(conn, &old.batch, Share::default().less(before), None)?;
            add(conn, &new.batch, Share::of(new), Some(new))
        }
        Some(_) | None => add(conn, &new.batch, Share::of(new).less(before), Some(new)),
    }
}

fn add(conn: &Connection, batch: &str, share: Share, started: Option<&PourRecord>) -> rusqlite::Result<()> {
    let at = started.filter(|p| p.rev > 0).map(|p| p.started_at.unix_us());
    if share == Share::default() && at.is_none() {
        return Ok(());
    }
    let [good, short, voids, guided, off, squares] = share.0;
    conn.prepare_cached(
        "UPDATE batch SET good = good + $1, short = short + $2, voids = voids + $3, guided = guided + $4, \
         off_mg = off_mg + $5, off_squares_mg2 = off_squares_mg2 + $6, \
         first_us = CASE WHEN $7 IS NULL OR first_us < $7 THEN first_us ELSE $7 END, \
         last_us = CASE WHEN $7 IS NULL OR last_us > $7 THEN last_us ELSE $7 END WHERE id = $8",
    )?
    .execute(params![good, short, voids, guided, off, squares, at, batch])?;
    Ok(())
}

/// All that is kept for comparing; an index holds it.
pub(super) const ALL: &str = "SELECT created_us, glaze_name, form, fired, pourer, target_ug, n, good, guided, off_mg, off_squares_mg2 \
     FROM batch WHERE n > 0 ORDER BY created_us";

/// Of all batches with a piece that counts, the oldest first. Reads an index and nothing else.
pub(super) fn all(conn: &Connection) -> rusqlite::Result<Vec<Tally>> {
    conn.prepare_cached(ALL)?
        .query_map([], |row| {
            Ok(Tally {
                made_at: WallTime::from_unix_us(row.get(0)?),
                glaze: row.get(1)?,
                form: row.get(2)?,
                fired: row.get(3)?,
                pourer: row.get(4)?,
                target_g: row.get::<_, i64>(5)? as f64 / 1e6,
                n: row.get(6)?,
                good: row.get(7)?,
                guided: row.get(8)?,
                off_mg: row.get(9)?,
                off_squares_mg2: row.get(10)?,
            })
        })?
        .collect()
}
