//! What a cell's fills come to.

use super::run::Fill;
use super::yardstick::{Class, class_of, share_within};

/// Pours of a session, and how many of them are for learning: a run of 60 remains, as the yardstick wants.
pub(crate) const POURS: u32 = 66;
pub(crate) const LEARNING: usize = 6;

#[derive(Clone, Copy, Debug)]
pub(crate) struct Figures {
    pub(crate) sessions: usize,
    pub(crate) n: usize,
    pub(crate) mean_g: f64,
    pub(crate) sd_g: f64,
    pub(crate) rms_g: f64,
    /// 95 % of the fills are within this of the target.
    pub(crate) p95_g: f64,
    /// Shares within 5 % and 9 % of the target.
    pub(crate) within: (f64, f64),
    pub(crate) contact_s: f64,
    /// Shares with a stop that was called and not answered too soon.
    pub(crate) told: f64,
    /// What the log says is off by so much (root mean square); not a number where nothing was logged.
    pub(crate) log_off_g: f64,
    /// Share of fills within the limit of class X(1) about their run's average.
    pub(crate) in_class_1: f64,
    /// Class of the middle run of 60, and of the worst.
    pub(crate) class: (Class, Class),
}

/// Figures of these sessions, the fills for learning left out.
pub(crate) fn figures(sessions: &[Vec<Fill>], target_g: f64) -> Figures {
    let runs: Vec<&[Fill]> = sessions.iter().filter_map(|s| s.get(LEARNING..)).collect();
    let fills: Vec<Fill> = runs.iter().flat_map(|run| run.iter().copied()).collect();
    let count = fills.len() as f64;
    let errors: Vec<f64> = fills.iter().map(|f| f.net_g - target_g).collect();
    let mean_g = errors.iter().sum::<f64>() / count;
    let square = errors.iter().map(|e| e * e).sum::<f64>() / count;
    let mut sizes: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let share = |limit: f64| sizes.iter().filter(|e| **e <= limit * target_g).count() as f64 / count;
    let nets: Vec<Vec<f64>> = runs.iter().map(|run| run.iter().map(|f| f.net_g).collect()).collect();
    let mut classes: Vec<Class> = nets.iter().map(|run| class_of(run, target_g)).collect();
    classes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let class = |i: usize| classes.get(i).copied().unwrap_or(Class(f64::NAN));
    Figures {
        sessions: runs.len(),
        n: fills.len(),
        mean_g,
        sd_g: (square - mean_g * mean_g).max(0.0).sqrt(),
        rms_g: square.sqrt(),
        p95_g: sizes.get((0.95 * count) as usize).copied().unwrap_or(f64::NAN),
        within: (share(0.05), share(0.09)),
        contact_s: fills.iter().map(|f| f.contact_s).sum::<f64>() / count,
        told: fills.iter().filter(|f| f.told).count() as f64 / count,
        log_off_g: log_off(&fills),
        in_class_1: nets.iter().map(|run| share_within(run)).sum::<f64>() / runs.len() as f64,
        class: (class(classes.len() / 2), class(classes.len().saturating_sub(1))),
    }
}

fn log_off(fills: &[Fill]) -> f64 {
    let off: Vec<f64> = fills.iter().filter_map(|f| Some(f.logged_g? - f.net_g)).collect();
    (off.iter().map(|g| g * g).sum::<f64>() / off.len() as f64).sqrt()
}

/// Mean error of the pours of these numbers, from 0, over all sessions, g.
pub(crate) fn mean_of(sessions: &[Vec<Fill>], pours: std::ops::Range<usize>, target_g: f64) -> f64 {
    let errors: Vec<f64> = sessions
        .iter()
        .filter_map(|s| s.get(pours.clone()))
        .flat_map(|fills| fills.iter().map(|f| f.net_g - target_g))
        .collect();
    errors.iter().sum::<f64>() / errors.len() as f64
}
