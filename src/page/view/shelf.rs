//! The potter's own glazes, forms and coats as they are told and asked for.

use crate::record::{Shelf, ShelfRecord};
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

/// One version of a glaze, a form or a coat.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ShelfView {
    /// `glaze`, `form` or `coat`.
    pub shelf: &'static str,
    /// What the potter calls it.
    pub name: String,
    /// From 1; each change is a new one.
    pub version: u32,
    /// What it is; null: it was taken off the shelf.
    #[schema(value_type = Option<Object>)]
    pub what: Option<Value>,
    /// What was done.
    pub note: String,
    /// When (RFC 3339).
    pub made_at: String,
}

impl ShelfView {
    /// As told.
    pub fn of(record: &ShelfRecord) -> Self {
        Self {
            shelf: record.shelf.word(),
            name: record.name.clone(),
            version: record.version,
            what: record.body.as_deref().and_then(|body| serde_json::from_str(body).ok()),
            note: record.note.clone(),
            made_at: record.made_at.rfc3339(),
        }
    }
}

/// All that stands on the shelves, each with its newest version, by name.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ShelvesView {
    /// Buckets of glaze, as they were measured last.
    pub glazes: Vec<ShelfView>,
    /// Insides of pieces.
    pub forms: Vec<ShelfView>,
    /// Layers wanted.
    pub coats: Vec<ShelfView>,
}

impl ShelvesView {
    /// As told.
    pub fn of(all: &[ShelfRecord]) -> Self {
        let on = |shelf| all.iter().filter(|r| r.shelf == shelf).map(ShelfView::of).collect();
        Self { glazes: on(Shelf::Glaze), forms: on(Shelf::Form), coats: on(Shelf::Coat) }
    }
}

/// A new version, or that something is taken off its shelf.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/shelf.rs reads it field by field")]
pub struct ShelfRequest {
    /// `glaze`, `form` or `coat`.
    pub shelf: String,
    /// What the potter calls it, 1 to 80 characters.
    pub name: String,
    /// Of a glaze: `glaze` as in a request for a target, with `water_c` and uncertainties, and what is noted of it: `slop_g`
    /// in the bucket, `cup_s` (seconds through a cup), `deflocculant`, `sieved`. Of a form: `form`, `u_area_percent`.
    /// Of a coat: `coat`, `tolerance`. Null: it is taken off the shelf.
    #[schema(value_type = Option<Object>)]
    pub what: Option<Value>,
    /// What was done, such as `added water`, 1 to 80 characters.
    pub note: Option<String>,
}

/// A text to take in.
#[derive(ToSchema)]
#[allow(dead_code, reason = "describes the request; page/shelf.rs reads it field by field")]
pub struct ShelfImport {
    /// As `GET /api/shelves.toml` hands out.
    pub toml: String,
}

/// What became of it.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
pub struct ShelfImported {
    /// New versions.
    pub added: usize,
    /// Stood there already as they are.
    pub there_already: usize,
}
