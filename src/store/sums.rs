//! Running sums of a batch's net masses, in whole micrograms.
//!
//! Pure integer arithmetic; never touches the log.

use crate::record::{PourRecord, Verdict};

/// Sums over the newest revisions of a batch's pours that count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct BatchSums {
    /// Pours that count.
    pub n: u64,
    /// Sum of net masses, micrograms.
    pub sum_ug: i64,
    /// Sum of squared net masses, square micrograms.
    pub sum_squares_ug2: i128,
    /// Least net mass, micrograms.
    pub min_ug: Option<i64>,
    /// Greatest net mass, micrograms.
    pub max_ug: Option<i64>,
}

impl BatchSums {
    /// The sums with one more net mass.
    #[must_use]
    pub fn with(self, ug: i64) -> Self {
        Self {
            n: self.n.saturating_add(1),
            sum_ug: self.sum_ug.saturating_add(ug),
            sum_squares_ug2: self.sum_squares_ug2.saturating_add(square(ug)),
            min_ug: Some(self.min_ug.map_or(ug, |min| min.min(ug))),
            max_ug: Some(self.max_ug.map_or(ug, |max| max.max(ug))),
        }
    }

    /// The sums with one net mass fewer; `None` where it was an end, so that the new
    /// end is only known from the pours themselves.
    pub(super) fn without(self, ug: i64) -> Option<Self> {
        if self.min_ug == Some(ug) || self.max_ug == Some(ug) {
            return None;
        }
        Some(Self {
            n: self.n.saturating_sub(1),
            sum_ug: self.sum_ug.saturating_sub(ug),
            sum_squares_ug2: self.sum_squares_ug2.saturating_sub(square(ug)),
            ..self
        })
    }
}

fn square(ug: i64) -> i128 {
    i128::from(ug) * i128::from(ug)
}

/// The net mass by which a revision counts, in micrograms: committed, weighed and not void.
pub(super) fn counted(pour: &PourRecord) -> Option<i64> {
    match pour.verdict {
        Verdict::Good | Verdict::Short | Verdict::Over if pour.rev > 0 => pour.net.map(super::rows::ug),
        Verdict::Good | Verdict::Short | Verdict::Over | Verdict::Void => None,
    }
}
