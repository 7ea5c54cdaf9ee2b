//! A yardstick from trade: how even the fills of an automatic filling instrument have to be. Nobody fills by hand
//! under these rules; they only say what is called even elsewhere.
//!
//! Limits: in use, class X(1), United Kingdom S.I. 2006/1258, schedule 5, table 2 (after OIML R 61): each fill
//! against the average of the fills. Class factors 1, 2 or 5 times a power of ten: the same schedule. Sixty fills
//! up to 1 kg, and the average within a quarter of that limit of what was set: R 61, from memory; the quarter is
//! also what 0.312 of the stricter limit for new instruments comes to (0.312 x 7.2 % = 2.2 %, 0.25 x 9 % = 2.25 %).

/// The share of a fill's limit within which the average has to be of the target.
const SETTING: f64 = 0.25;

/// A class factor; infinite where no class would do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Class(pub(crate) f64);

impl std::fmt::Display for Class {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "X({})", self.0)
    }
}

/// How far a fill may be off the average of the fills in class X(1), g, by what they weigh.
pub(crate) fn limit_g(mass_g: f64) -> f64 {
    match mass_g {
        m if m <= 50.0 => 0.09 * m,
        m if m <= 100.0 => 4.5,
        m if m <= 200.0 => 0.045 * m,
        m if m <= 300.0 => 9.0,
        m if m <= 500.0 => 0.03 * m,
        m if m <= 1000.0 => 15.0,
        m => 0.015 * m,
    }
}

fn average(run: &[f64]) -> f64 {
    run.iter().sum::<f64>() / run.len() as f64
}

/// Share of a run's fills within class X(1)'s limit of their average.
pub(crate) fn share_within(run: &[f64]) -> f64 {
    let average_g = average(run);
    let within = run.iter().filter(|g| (*g - average_g).abs() <= limit_g(average_g)).count();
    within as f64 / run.len() as f64
}

/// The best class all fills of this run pass, and its average too.
pub(crate) fn class_of(run: &[f64], target_g: f64) -> Class {
    let average_g = average(run);
    let furthest_g = run.iter().fold(0.0_f64, |most, g| most.max((g - average_g).abs()));
    let needed =
        (furthest_g / limit_g(average_g)).max((average_g - target_g).abs() / (SETTING * limit_g(target_g)));
    // No more than rounding is forgiven.
    let passed = |class: &f64| needed <= *class * (1.0 + 1e-12);
    let classes = (-2..=1).flat_map(|k| [1.0, 2.0, 5.0].map(|d| d * 10.0_f64.powi(k)));
    // A power of a tenth has no exact double: two places are all that is meant.
    Class(classes.map(|c| (c * 100.0).round() / 100.0).find(passed).unwrap_or(f64::INFINITY))
}
