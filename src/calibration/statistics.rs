//! Mean and spread of a few readings.

/// Mean of the values; none: not a number.
pub fn mean(values: &[f64]) -> f64 {
    // About the first value, so that many digits before the point cost none behind it.
    let Some(&first) = values.first() else { return f64::NAN };
    first + values.iter().map(|v| v - first).sum::<f64>() / values.len() as f64
}

/// Sum of the squared distances from the mean: two passes, with what the mean's rounding leaves taken out.
pub fn squares_about_mean(values: &[f64]) -> f64 {
    let centre = mean(values);
    let (squares, sum) = values.iter().fold((0.0, 0.0), |(squares, sum), v| {
        let off = v - centre;
        (squares + off * off, sum + off)
    });
    squares - sum * sum / values.len() as f64
}

/// Standard deviation with n - 1; `None` of fewer than two values.
pub fn sample_sd(values: &[f64]) -> Option<f64> {
    (values.len() >= 2).then(|| (squares_about_mean(values) / (values.len() - 1) as f64).max(0.0).sqrt())
}
