//! Student's and the normal distribution, from the statistics library.
//!
//! Nothing here is not finite: what can't be reckoned is `None`.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// The normal quantile of a two-sided 95 % interval.
pub const Z_95: f64 = 1.959_963_984_540_054;

/// How often |t| is at least this with so many degrees of freedom, were there nothing to find.
pub fn two_sided_p(t: f64, freedom: usize) -> Option<f64> {
    let of_t = StudentsT::new(0.0, 1.0, freedom as f64).ok()?;
    // The tail beyond all numbers is empty.
    let p = if t.is_infinite() { 0.0 } else { 2.0 * of_t.sf(t.abs()) };
    p.is_finite().then_some(p.clamp(0.0, 1.0))
}

/// The quantile of a two-sided 95 % interval with so many degrees of freedom.
pub fn t_95(freedom: usize) -> Option<f64> {
    let of_t = StudentsT::new(0.0, 1.0, freedom as f64).ok()?;
    Some(of_t.inverse_cdf(0.975)).filter(|t| t.is_finite())
}

/// Half the 95 % interval of a mean of n values with this standard deviation; `None` below two.
pub fn half_width(sd: f64, n: usize) -> Option<f64> {
    let t = t_95(n.checked_sub(1).filter(|freedom| *freedom > 0)?)?;
    Some(t * sd / (n as f64).sqrt())
}

/// Share of a normal distribution below z.
pub fn normal_below(z: f64) -> f64 {
    if z.is_nan() { 0.5 } else { Normal::standard().cdf(z) }
}
