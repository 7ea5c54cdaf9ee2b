//! A straight line through readings: where a weight is going.

use crate::time::Instant;

/// A straight line by least squares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Mean of the readings, g.
    pub mean_g: f64,
    /// Slope, g/s.
    pub slope_g_s: f64,
    /// Where the line is at the last reading, g.
    pub end_g: f64,
    /// The greatest distance of a reading from the line, g.
    pub worst_g: f64,
}

impl Line {
    /// The line through these readings, oldest first; none through no reading.
    pub fn through<'a>(readings: impl Iterator<Item = &'a (Instant, f64)> + Clone) -> Option<Self> {
        let &(last, _) = readings.clone().last()?;
        let x = |at: &Instant| at.seconds_from(last);
        let n = readings.clone().count() as f64;
        let x_mean = readings.clone().map(|(t, _)| x(t)).sum::<f64>() / n;
        let mean_g = readings.clone().map(|(_, y)| *y).sum::<f64>() / n;
        let (mut sxx, mut sxy) = (0.0, 0.0);
        for (t, y) in readings.clone() {
            sxx += (x(t) - x_mean).powi(2);
            sxy += (x(t) - x_mean) * (y - mean_g);
        }
        let slope_g_s = if sxx > 0.0 { sxy / sxx } else { 0.0 };
        let off = |(t, y): &(Instant, f64)| (y - mean_g - slope_g_s * (x(t) - x_mean)).abs();
        let worst_g = readings.map(off).fold(0.0, f64::max);
        Some(Self { mean_g, slope_g_s, end_g: mean_g - slope_g_s * x_mean, worst_g })
    }
}
