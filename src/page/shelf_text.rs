//! The shelves as one text (TOML), to keep, to read and to take in elsewhere.
//!
//! A list for each shelf; of each version `name`, `made`, `note` and, where it was not taken off, `what` it is.

use super::take::is_name;
use crate::record::{Shelf, ShelfRecord};
use crate::time::WallTime;
use serde_json::Value;
use toml::Table;

/// Words at the head of the text.
const HEAD: &str = "# Glazes, forms and coats of a glazing table. Masses in g, lengths in mm, densities in g/mL.\n\
                    # Each change is an entry of its own, the oldest first.\n\n";

/// All versions as a text.
pub(super) fn write(all: &[ShelfRecord]) -> String {
    let mut whole = Table::new();
    for shelf in Shelf::ALL {
        let mut of_shelf: Vec<&ShelfRecord> = all.iter().filter(|r| r.shelf == shelf).collect();
        of_shelf.sort_by(|a, b| (&a.name, a.version).cmp(&(&b.name, b.version)));
        let list: Vec<toml::Value> = of_shelf.into_iter().map(|r| entry(r).into()).collect();
        if !list.is_empty() {
            whole.insert(shelf.word().to_owned(), list.into());
        }
    }
    // Tables of text, numbers and lists always have a text.
    HEAD.to_owned() + &toml::to_string(&whole).unwrap_or_default()
}

fn entry(record: &ShelfRecord) -> Table {
    let mut entry = Table::new();
    entry.insert("name".to_owned(), record.name.clone().into());
    entry.insert("made".to_owned(), record.made_at.rfc3339().into());
    if !record.note.is_empty() {
        entry.insert("note".to_owned(), record.note.clone().into());
    }
    let what = record.body.as_deref().and_then(|body| serde_json::from_str::<Value>(body).ok());
    if let Some(what) = what.and_then(|what| toml::Value::try_from(what).ok()) {
        entry.insert("what".to_owned(), what);
    }
    entry
}

/// Reads such a text; `now` stands where no time is told. What is wrong comes back in words.
pub(super) fn read(text: &str, now: WallTime) -> Result<Vec<ShelfRecord>, String> {
    let whole: Table = text.parse().map_err(|error| format!("is no TOML: {error}"))?;
    let mut all = Vec::new();
    for (word, list) in &whole {
        let shelf = Shelf::from_word(word).ok_or_else(|| {
            format!("has a list '{word}': known are {}", Shelf::ALL.map(Shelf::word).join(", "))
        })?;
        let list = list.as_array().ok_or_else(|| format!("{word} is no list of [[{word}]]"))?;
        for (n, value) in list.iter().enumerate() {
            all.push(read_entry(shelf, value, now).map_err(|why| format!("{word} {}: {why}", n + 1))?);
        }
    }
    Ok(all)
}

fn read_entry(shelf: Shelf, value: &toml::Value, now: WallTime) -> Result<ShelfRecord, String> {
    let entry = value.as_table().ok_or("is no table")?;
    if let Some(other) = entry.keys().find(|key| !["name", "made", "note", "what"].contains(&key.as_str())) {
        return Err(format!("has '{other}': known are name, made, note, what"));
    }
    let words = |key: &str| match entry.get(key) {
        None => Ok(None),
        Some(value) => plain(value).map(Some).ok_or(format!("{key} must be 1 to 80 characters on one line")),
    };
    let name = words("name")?.ok_or("has no name")?;
    let what =
        entry.get("what").map(|what| serde_json::to_value(what).map_err(|e| e.to_string())).transpose()?;
    if what.as_ref().is_some_and(|what| !what.is_object()) {
        return Err("what must be a table".to_owned());
    }
    let made_at = match words("made")? {
        None => now,
        Some(made) => WallTime::from_rfc3339(&made)
            .ok_or_else(|| format!("made '{made}' is no time, such as 2026-11-26T10:00:00Z"))?,
    };
    let note = words("note")?.unwrap_or_default();
    Ok(ShelfRecord { shelf, name, version: 0, body: what.map(|what| what.to_string()), note, made_at })
}

fn plain(value: &toml::Value) -> Option<String> {
    let text = value.as_str()?.trim();
    is_name(text).then(|| text.to_owned())
}
