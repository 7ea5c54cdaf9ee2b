//! The row of the kept table, as text and back. One row a line, so that a change shows as one.

use super::figures::Figures;

/// Names of the columns.
pub(crate) const HEAD: &str = "scale,hand,target_g,flow_g_s,caller,sessions,fills,mean_g,sd_g,rms_g,p95_g,within_5,within_9,contact_s,told,log_off_g,in_x1,class_middle,class_worst,stuck";

/// What a cell is called.
pub(crate) fn key(scale: &str, hand: &str, target_g: f64, flow_g_s: f64, caller: &str) -> String {
    format!("{scale},{hand},{target_g:.0},{flow_g_s:.2},{caller}")
}

/// A line of the table.
pub(crate) fn line(key: &str, f: &Figures, stuck: usize) -> String {
    format!(
        "{key},{},{},{:+.3},{:.3},{:.3},{:.3},{:.3},{:.3},{:.2},{:.3},{:.3},{:.3},{},{},{stuck}",
        f.sessions,
        f.n,
        f.mean_g,
        f.sd_g,
        f.rms_g,
        f.p95_g,
        f.within.0,
        f.within.1,
        f.contact_s,
        f.told,
        f.log_off_g,
        f.in_class_1,
        f.class.0.0,
        f.class.1.0,
    )
}
