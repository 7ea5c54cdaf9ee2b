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
    pub fn through<'a>(
        readings: impl DoubleEndedIterator<Item = &'a (Instant, f64)> + Clone,
    ) -> Option<Self> {
        let &(last, _) = readings.clone().next_back()?;
        let x = |at: &Instant| at.seconds_from(last);
        let (n, x_sum, sum_g) = readings
            .clone()
            .fold((0.0, 0.0, 0.0), |(n, x_sum, sum_g), (t, y)| (n + 1.0, x_sum + x(t), sum_g + y));
        let (x_mean, mean_g) = (x_sum / n, sum_g / n);
        let (sxx, sxy) = readings.clone().fold((0.0, 0.0), |(sxx, sxy), (t, y)| {
            let off_s = x(t) - x_mean;
            (sxx + off_s * off_s, sxy + off_s * (y - mean_g))
        });
        let slope_g_s = if sxx > 0.0 { sxy / sxx } else { 0.0 };
        let off = |(t, y): &(Instant, f64)| (y - mean_g - slope_g_s * (x(t) - x_mean)).abs();
        let worst_g = readings.map(off).fold(0.0, f64::max);
        Some(Self { mean_g, slope_g_s, end_g: mean_g - slope_g_s * x_mean, worst_g })
    }
}
