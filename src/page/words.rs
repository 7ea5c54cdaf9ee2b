//! Every word the page shows.

/// Title of the page.
pub(super) const TITLE: &str = "Tarebell";
/// Shown by browsers without scripts.
pub(super) const NO_SCRIPT: &str =
    "This page needs scripts to follow the scale. The numbers are also at /api/now.";
