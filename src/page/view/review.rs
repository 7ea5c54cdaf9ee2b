//! A review as it is asked for and told.

use crate::batch::shelf::area_cm2;
use crate::record::BatchRecord;
use crate::review::plots::{Picture, picture};
use crate::review::{Given, Review, review};
use crate::units::shown::Shown;
use serde::Serialize;
use utoipa::ToSchema;

/// Values to review.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[allow(
    dead_code,
    reason = "a shape for the description: read field by field, so that each refusal names its own"
)]
pub struct ReviewRequest {
    /// What each piece got, in the order they were poured, g.
    pub values_g: Vec<f64>,
    /// Wanted, g.
    pub target_g: f64,
    /// Least good, g.
    pub low_g: f64,
    /// Greatest good, g.
    pub high_g: f64,
    /// Run rules that are looked for; absent: `beyond-3-sigma` and `eight-one-side`.
    pub rules: Option<Vec<String>>,
}

/// A plot that there is enough for.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct PlotView {
    /// Its word in the address.
    pub plot: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// What it is good for.
    pub says: &'static str,
}

impl From<Picture> for PlotView {
    fn from(picture: Picture) -> Self {
        Self { plot: picture.word(), title: picture.title(), says: picture.says() }
    }
}

/// How even a batch was.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct BatchReviewView {
    /// Id of the batch.
    pub batch: String,
    /// What the potter calls it.
    pub name: String,
    /// The glaze by name.
    pub glaze_name: Option<String>,
    /// When it was made (RFC 3339).
    pub created_at: String,
    /// Plots that there is enough for.
    pub plots: Vec<PlotView>,
    /// The numbers.
    #[serde(flatten)]
    pub review: Review,
}

impl BatchReviewView {
    /// The review of this batch, its sentence in these units.
    pub fn new(batch: &BatchRecord, given: &Given, shown: Shown) -> Self {
        let mut review = review(given);
        review.sentence = review.sentence_in(shown);
        let area = area_cm2(&batch.request);
        let there = |p: &Picture| picture(*p, given, &review, area).is_some();
        Self {
            batch: batch.id.clone(),
            name: batch.name.clone(),
            glaze_name: batch.glaze_name.clone(),
            created_at: batch.created_at.rfc3339(),
            plots: Picture::ALL.into_iter().filter(there).map(PlotView::from).collect(),
            review,
        }
    }
}
