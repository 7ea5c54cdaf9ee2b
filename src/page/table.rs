//! Pours as a table (RFC 4180): of one batch, and of the whole log with the batch of each.

use super::told;
use super::view::PourView;
use crate::record::{BatchRecord, PourRecord};
use serde_json::{Value, json};

/// Columns of a batch's table, all of the record's plain fields.
const COLUMNS: [&str; 26] = [
    "piece",
    "started_at",
    "net_g",
    "first_net_g",
    "net_u_g",
    "target_g",
    "low_g",
    "high_g",
    "verdict",
    "settled",
    "guided",
    "interrupted",
    "top_ups",
    "tare_g",
    "marks",
    "dry_g",
    "bucket",
    "calibration",
    "rolled_g",
    "seconds",
    "contact_ms",
    "flow_g_s",
    "stop_cue_g",
    "scale",
    "label",
    "fired",
];

/// The table of one batch.
pub(super) fn of_batch(pours: &[PourRecord]) -> String {
    let rows: String = pours.iter().map(|pour| row(&[], pour, &[])).collect();
    COLUMNS.join(",") + "\r\n" + &rows
}

/// The head of the whole log's table.
pub fn whole_head() -> String {
    format!("batch,batch_name,glaze_name,{},form_name\r\n", COLUMNS.join(","))
}

/// A batch's rows in it.
pub fn whole_rows(batch: &BatchRecord, pours: &[PourRecord]) -> String {
    let before = [batch.id.as_str(), batch.name.as_str(), batch.glaze_name.as_deref().unwrap_or_default()];
    let form = batch.form.as_deref().unwrap_or_default();
    pours.iter().map(|pour| row(&before, pour, &[form])).collect()
}

fn row(before: &[&str], pour: &PourRecord, behind: &[&str]) -> String {
    let told = json!(PourView::from(pour));
    let cell = |column: &&str| match &told[*column] {
        Value::Null => String::new(),
        Value::String(text) => quoted(text),
        // Words without blanks or commas of their own.
        Value::Array(words) => words.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(" "),
        // A value that was read or made as JSON always has a JSON form.
        plain @ (Value::Bool(_) | Value::Number(_) | Value::Object(_)) => {
            told::text(plain).unwrap_or_default()
        }
    };
    let text = |text: &&str| quoted(text);
    let cells = before.iter().map(text).chain(COLUMNS.iter().map(cell)).chain(behind.iter().map(text));
    cells.collect::<Vec<_>>().join(",") + "\r\n"
}

/// Between quotes where it must be. A spreadsheet would take text that begins like a formula for one: such text is led
/// by an apostrophe (common practice, no source).
fn quoted(text: &str) -> String {
    let formula = text.starts_with(['=', '+', '-', '@', '\t']);
    let text = if formula { format!("'{text}") } else { text.to_owned() };
    if text.contains([',', '"', '\n', '\r']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_with_commas_quotes_or_a_formula_stays_one_cell_and_text() {
        assert_eq!(quoted("Tenmoku, thin"), "\"Tenmoku, thin\"");
        assert_eq!(quoted("the \"good\" jug"), "\"the \"\"good\"\" jug\"");
        assert_eq!(quoted("=1+1"), "'=1+1");
        assert_eq!(quoted("plain"), "plain");
    }
}
