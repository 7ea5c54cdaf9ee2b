//! Finds pours by date, glaze, verdict and words, also among a million.
//!
//! Goes from batch to batch, the latest first, by what is kept with each: a batch that can hold none is not opened.

use super::{query, rows};
use crate::record::{Found, PourRecord, Search, Verdict};
use rusqlite::functions::FunctionFlags;
use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension, params_from_iter};

/// The library's own LOWER knows A to Z alone; PostgreSQL's knows all letters, and this one does.
pub(super) fn fold_all_letters(conn: &Connection) -> rusqlite::Result<()> {
    let flags = FunctionFlags::SQLITE_UTF8 | FunctionFlags::SQLITE_DETERMINISTIC;
    conn.create_scalar_function("lower", 1, flags, |call| {
        Ok(call.get_raw(0).as_str_or_null().ok().flatten().map(str::to_lowercase))
    })
}

/// Batches to look at, the latest first, with whether the words stand in the name.
fn candidates(search: &Search) -> (String, Vec<Value>) {
    let (mut wheres, mut with) = (vec!["last_us IS NOT NULL".to_owned()], Vec::new());
    let mut and = |condition: &str, value: Value| {
        with.push(value);
        wheres.push(condition.replace('?', &format!("${}", with.len())));
    };
    if let Some(from) = search.from {
        and("last_us >= ?", Value::Integer(from.unix_us()));
    }
    if let Some(before) = search.before {
        and("first_us < ?", Value::Integer(before.unix_us()));
    }
    if let Some(glaze) = &search.glaze {
        and("LOWER(glaze_name) = LOWER(?)", Value::Text(glaze.clone()));
    }
    if let Some(words) = &search.words {
        let like = format!("%{}%", escaped(words));
        and(
            "(LOWER(name) LIKE LOWER(?) ESCAPE '!' OR id IN (SELECT batch FROM pour WHERE label IS NOT NULL AND LOWER(label) LIKE LOWER(?) ESCAPE '!'))",
            Value::Text(like),
        );
    }
    match search.verdict {
        None => {}
        Some(Verdict::Good) => wheres.push("good > 0".to_owned()),
        Some(Verdict::Short) => wheres.push("short > 0".to_owned()),
        Some(Verdict::Over) => wheres.push("n > good + short".to_owned()),
        Some(Verdict::Void) => wheres.push("voids > 0".to_owned()),
    }
    let sql = format!("SELECT id FROM batch WHERE {} ORDER BY last_us DESC", wheres.join(" AND "));
    (sql, with)
}

fn escaped(words: &str) -> String {
    words.chars().flat_map(|c| if matches!(c, '%' | '_' | '!') { vec!['!', c] } else { vec![c] }).collect()
}

/// At most `most` of them, the latest first.
pub(super) fn find(conn: &Connection, search: &Search, most: usize) -> rusqlite::Result<Vec<Found>> {
    let (sql, with) = candidates(search);
    let mut statement = conn.prepare(&sql)?;
    let mut ids = statement.query(params_from_iter(with))?;
    let mut found = Vec::new();
    while let Some(row) = ids.next()? {
        let id: String = row.get(0)?;
        let Some(batch) = query::batch(conn, &id)? else { continue };
        let named = search.words.as_ref().is_none_or(|w| contains(&batch.name, w));
        let mut pours = query::pours(conn, &id)?;
        pours.retain(|pour| fits(pour, search, named));
        pours.sort_by_key(|pour| std::cmp::Reverse(pour.started_at));
        let of = |pour| Found { pour, batch_name: batch.name.clone(), glaze_name: batch.glaze_name.clone() };
        found.extend(pours.into_iter().map(of));
        if found.len() >= most {
            break;
        }
    }
    found.truncate(most);
    Ok(found)
}

fn contains(text: &str, words: &str) -> bool {
    text.to_lowercase().contains(&words.to_lowercase())
}

fn fits(pour: &PourRecord, search: &Search, named: bool) -> bool {
    let labelled = |words: &String| pour.label.as_ref().is_some_and(|label| contains(label, words));
    pour.rev > 0
        && search.from.is_none_or(|from| pour.started_at >= from)
        && search.before.is_none_or(|before| pour.started_at < before)
        && search.verdict.is_none_or(|verdict| pour.verdict == verdict)
        && (named || search.words.as_ref().is_some_and(labelled))
}

/// Whether batches may be compared by who poured: off until a person switches it on.
pub(super) fn by_pourer(conn: &Connection) -> rusqlite::Result<bool> {
    Ok(kept(conn, "by_pourer")?.is_some_and(|value| value != 0))
}

/// A single value by its name.
pub(super) fn kept(conn: &Connection, name: &str) -> rusqlite::Result<Option<i64>> {
    conn.query_row("SELECT value FROM kept WHERE name = $1", [name], |row| row.get(0)).optional()
}

/// Takes a nickname out of every batch, its request too, and forgets its hands.
pub(super) fn forget(conn: &Connection, pourer: &str) -> rusqlite::Result<()> {
    let sql = format!("SELECT {} FROM batch WHERE pourer = $1", rows::BATCH_COLUMNS);
    let batches: Vec<_> = conn.prepare(&sql)?.query_map([pourer], rows::batch)?.collect::<Result<_, _>>()?;
    for batch in batches {
        let request = without_pourer(&batch.request);
        conn.execute("UPDATE batch SET pourer = NULL, request = $1 WHERE id = $2", [&request, &batch.id])?;
    }
    // The key of a hand begins with the name and a separator.
    let from = format!("{pourer}\u{1f}");
    conn.execute("DELETE FROM hand WHERE SUBSTR(key, 1, LENGTH($1)) = $1", [&from])?;
    Ok(())
}

/// A request without its pourer; one that is no JSON object goes whole, as it may hold the name.
fn without_pourer(request: &str) -> String {
    let Ok(serde_json::Value::Object(mut whole)) = serde_json::from_str(request) else {
        return String::new();
    };
    whole.remove("pourer");
    serde_json::Value::Object(whole).to_string()
}
