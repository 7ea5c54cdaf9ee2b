//! A line, or a curve of second degree, through points by weighted least squares.
//!
//! Solved by QR with the abscissae centred and scaled, so that large numbers cost no digits.

use super::statistics::mean;
use nalgebra::{DMatrix, DVector};

/// What is fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Through the origin.
    Slope,
    /// Offset and slope.
    Line,
    /// Offset, slope and bend.
    Bend,
}

/// A point: where, how much, and how much it counts (one over its variance, or 1 for all).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Abscissa.
    pub x: f64,
    /// Ordinate.
    pub y: f64,
    /// Weight; positive.
    pub weight: f64,
}

/// A fit in powers of x.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Coefficients of 1, x, x^2; zero where there is none.
    pub coefficients: [f64; 3],
    /// Their covariance where the weights are one over the points' true variances.
    pub unit_covariance: [[f64; 3]; 3],
    /// Residuals, as the points stand.
    pub residuals: Vec<f64>,
    /// Weighted sum of their squares.
    pub squares: f64,
    /// Points more than coefficients.
    pub freedom: usize,
}

impl Fit {
    /// Value at x.
    pub fn at(&self, x: f64) -> f64 {
        let [offset, slope, bend] = self.coefficients;
        offset + x * (slope + x * bend)
    }

    /// Standard deviation of the weighted residuals; 0 without freedom.
    pub fn residual_sd(&self) -> f64 {
        if self.freedom == 0 { 0.0 } else { (self.squares / self.freedom as f64).sqrt() }
    }

    /// Standard deviation of a coefficient by the weights alone.
    pub fn unit_sd(&self, power: usize) -> f64 {
        self.unit_covariance.get(power).and_then(|row| row.get(power)).map_or(0.0, |v| v.max(0.0).sqrt())
    }

    /// Standard deviation of a coefficient by the points' own scatter about the fit; 0 without freedom.
    pub fn sd(&self, power: usize) -> f64 {
        self.unit_sd(power) * self.residual_sd()
    }
}

/// Fits; `None` with too few points or too few different abscissae.
pub fn fit(points: &[Point], shape: Shape) -> Option<Fit> {
    let powers: &[usize] = match shape {
        Shape::Slope => &[1],
        Shape::Line => &[0, 1],
        Shape::Bend => &[0, 1, 2],
    };
    let xs: Vec<f64> = points.iter().map(|p| p.x).collect();
    // Through the origin nothing may be shifted.
    let centre = if shape == Shape::Slope { 0.0 } else { mean(&xs) };
    let scale = xs.iter().map(|x| (x - centre).abs()).fold(0.0, f64::max);
    if points.len() < powers.len() || scale <= 0.0 || points.iter().any(|p| p.weight <= 0.0) {
        return None;
    }
    let root = |p: &Point| p.weight.sqrt();
    let column = |(row, power): (usize, usize)| {
        let p = points.get(row).copied().unwrap_or(Point { x: 0.0, y: 0.0, weight: 0.0 });
        root(&p) * ((p.x - centre) / scale).powi(i32::try_from(power).unwrap_or(0))
    };
    let design = DMatrix::from_fn(points.len(), powers.len(), |row, at| {
        column((row, powers.get(at).copied().unwrap_or(0)))
    });
    let wanted = DVector::from_iterator(points.len(), points.iter().map(|p| root(p) * p.y));
    let qr = design.clone().qr();
    let inverse = qr.r().try_inverse()?;
    let scaled = &inverse * (qr.q().transpose() * &wanted);
    let rest = &wanted - &design * &scaled;
    let squares = rest.norm_squared();
    let freedom = points.len() - powers.len();
    let back = unscale(powers, centre, scale);
    let coefficients = &back * &scaled;
    let covariance = &back * (&inverse * inverse.transpose()) * back.transpose();
    let pick = |m: &DMatrix<f64>, r: usize, c: usize| m.get((r, c)).copied().unwrap_or(0.0);
    let mut fitted = Fit {
        coefficients: std::array::from_fn(|power| coefficients.get(power).copied().unwrap_or(0.0)),
        unit_covariance: std::array::from_fn(|r| std::array::from_fn(|c| pick(&covariance, r, c))),
        residuals: Vec::new(),
        squares,
        freedom,
    };
    fitted.residuals = rest.iter().zip(points).map(|(rest, p)| rest / root(p)).collect();
    Some(fitted)
}

/// From powers of (x - centre) / scale to powers of x.
fn unscale(powers: &[usize], centre: f64, scale: f64) -> DMatrix<f64> {
    let (c, s) = (centre, scale);
    let rows =
        [[1.0, -c / s, c * c / (s * s)], [0.0, 1.0 / s, -2.0 * c / (s * s)], [0.0, 0.0, 1.0 / (s * s)]];
    DMatrix::from_fn(3, powers.len(), |row, at| {
        let power = powers.get(at).copied().unwrap_or(0);
        rows.get(row).and_then(|r| r.get(power)).copied().unwrap_or(0.0)
    })
}
