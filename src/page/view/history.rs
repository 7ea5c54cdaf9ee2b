//! The log as a whole, as it is asked for and told.

use super::PourView;
use crate::intake::{Column, Fault, Intake, Row};
use crate::record::Found;
use crate::review::trend::Comparison;
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Lines of a table that are shown before anything is brought in.
const SHOWN: usize = 8;
/// Faults that are shown.
const FAULTS: usize = 50;

/// A pour that was found, with its batch.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct FoundView {
    /// What its batch is called.
    pub batch_name: String,
    /// Its glaze.
    pub glaze_name: Option<String>,
    /// The pour.
    #[serde(flatten)]
    pub pour: PourView,
}

impl From<&Found> for FoundView {
    fn from(found: &Found) -> Self {
        Self {
            batch_name: found.batch_name.clone(),
            glaze_name: found.glaze_name.clone(),
            pour: PourView::from(&found.pour),
        }
    }
}

/// Batches compared.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ComparisonView {
    /// They may be compared by who poured.
    pub by_pourer: bool,
    /// The groups.
    #[serde(flatten)]
    pub comparison: Comparison,
}

/// A label.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[allow(dead_code, reason = "a shape for the description: never made")]
pub struct LabelRequest {
    /// What the piece is called; null or empty: no longer. Never left out.
    #[schema(required)]
    pub label: Option<String>,
}

/// On or off.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct SwitchRequest {
    /// On.
    pub on: bool,
}

/// Whose nickname.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[allow(dead_code, reason = "a shape for the description: never made")]
pub struct PourerRequest {
    /// The nickname.
    pub pourer: String,
}

/// How much was done.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct DoneView {
    /// So many.
    pub done: usize,
}

/// How a table is read.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct MappingView {
    /// Between cells: a comma, a semicolon or a tab.
    pub between: String,
    /// Numbers have a comma before their fraction.
    pub comma: bool,
    /// `year-first`, `day-first` or `month-first`.
    pub dates: &'static str,
    /// Which column holds what: `grams`, `target`, `low`, `high`, `piece`, `date`, `batch`, `glaze`, `form`, `label`.
    pub columns: BTreeMap<&'static str, String>,
}

/// A table to look at, or to bring in.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[allow(dead_code, reason = "a shape for the description: never made")]
pub struct HistoryRequest {
    /// The table's text.
    pub csv: String,
    /// How it is read; absent: guessed, when looked at.
    pub mapping: Option<MappingView>,
    /// What pieces should have got where no column tells, g.
    pub target_g: Option<f64>,
    /// Least good then, g.
    pub low_g: Option<f64>,
    /// Greatest good then, g.
    pub high_g: Option<f64>,
    /// Bring in what can be read, and leave the rest; only when it is brought in.
    pub without_faults: Option<bool>,
}

/// A line as it was read.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct RowView {
    /// The line, from 1.
    pub line: u64,
    /// What the piece got, g.
    pub net_g: f64,
    /// What it should have got, g.
    pub target_g: f64,
    /// Least good, g.
    pub low_g: f64,
    /// Greatest good, g.
    pub high_g: f64,
    /// Its number.
    pub piece: Option<u32>,
    /// When (RFC 3339).
    pub at: Option<String>,
    /// Its batch.
    pub batch: Option<String>,
    /// Its glaze.
    pub glaze: Option<String>,
    /// Its form.
    pub form: Option<String>,
    /// Its label.
    pub label: Option<String>,
}

impl From<&Row> for RowView {
    fn from(row: &Row) -> Self {
        let (target_g, low_g, high_g) = row.aim;
        Self {
            line: row.line,
            net_g: row.net_g,
            target_g,
            low_g,
            high_g,
            piece: row.piece,
            at: row.at.map(|at| at.rfc3339()),
            batch: row.batch.clone(),
            glaze: row.glaze.clone(),
            form: row.form.clone(),
            label: row.label.clone(),
        }
    }
}

/// A line that can't be read.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct FaultView {
    /// The line, from 1.
    pub line: u64,
    /// What is wrong.
    pub says: String,
}

impl From<&Fault> for FaultView {
    fn from(fault: &Fault) -> Self {
        Self { line: fault.line, says: fault.says.clone() }
    }
}

/// A table as it would be brought in.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct LookView {
    /// Heads of its columns.
    pub heads: Vec<String>,
    /// How it is read.
    pub mapping: MappingView,
    /// Lines that can be brought in.
    pub lines: usize,
    /// Of these, in the log already.
    pub known: usize,
    /// The first of them.
    pub rows: Vec<RowView>,
    /// Lines that can't, in all.
    pub faulty: usize,
    /// The first 50 of them.
    pub faults: Vec<FaultView>,
}

impl LookView {
    /// As told.
    pub fn new(intake: &Intake, known: usize) -> Self {
        let mapping = &intake.mapping;
        let columns =
            mapping.columns.iter().map(|(column, head): (&Column, &String)| (column.word(), head.clone()));
        Self {
            heads: intake.heads.clone(),
            mapping: MappingView {
                between: mapping.between.to_string(),
                comma: mapping.comma,
                dates: mapping.dates.word(),
                columns: columns.collect(),
            },
            lines: intake.rows.len(),
            known,
            rows: intake.rows.iter().take(SHOWN).map(RowView::from).collect(),
            faulty: intake.faults.len(),
            faults: intake.faults.iter().take(FAULTS).map(FaultView::from).collect(),
        }
    }
}

/// A copy of the whole log.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BackupView {
    /// Its name.
    pub name: String,
    /// Its bytes.
    pub bytes: u64,
}
