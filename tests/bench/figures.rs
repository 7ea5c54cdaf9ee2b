//! What a cell's fills come to.

use crate::run::Fill;

#[derive(Clone, Copy, Debug)]
pub(crate) struct Figures {
    pub(crate) n: usize,
    pub(crate) mean_g: f64,
    pub(crate) sd_g: f64,
    pub(crate) rms_g: f64,
    /// 95 % of the fills are within this of the target.
    pub(crate) p95_g: f64,
    /// Shares of the fills within 5 % and 9 % of the target.
    pub(crate) within: (f64, f64),
    pub(crate) contact_s: f64,
    /// The stop came and was not answered too soon.
    pub(crate) told: f64,
    /// What the log says is off by so much (root mean square); not a number where nothing was logged.
    pub(crate) log_off_g: f64,
}

pub(crate) fn figures(fills: &[Fill], target_g: f64) -> Figures {
    let n = fills.len();
    let count = n as f64;
    let errors: Vec<f64> = fills.iter().map(|f| f.net_g - target_g).collect();
    let mean_g = errors.iter().sum::<f64>() / count;
    let square = errors.iter().map(|e| e * e).sum::<f64>() / count;
    let mut sizes: Vec<f64> = errors.iter().map(|e| e.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let share = |limit: f64| sizes.iter().filter(|e| **e <= limit * target_g).count() as f64 / count;
    Figures {
        n,
        mean_g,
        sd_g: (square - mean_g * mean_g).max(0.0).sqrt(),
        rms_g: square.sqrt(),
        p95_g: sizes.get((0.95 * count) as usize).copied().unwrap_or(f64::NAN),
        within: (share(0.05), share(0.09)),
        contact_s: fills.iter().map(|f| f.contact_s).sum::<f64>() / count,
        log_off_g: {
            let off: Vec<f64> = fills.iter().filter_map(|f| Some(f.logged_g? - f.net_g)).collect();
            (off.iter().map(|g| g * g).sum::<f64>() / off.len() as f64).sqrt()
        },
        told: fills.iter().filter(|f| f.told).count() as f64 / count,
    }
}
