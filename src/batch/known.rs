//! A number and what makes it uncertain: which input, by how much, and how far that moves it.
//!
//! Uncertainty is propagated to first order (JCGM 100:2008, 5.1.2). What two numbers have in common
//! is kept by name, so that an input used twice counts once and cancels where the arithmetic cancels.

/// Where an uncertainty comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// The input, as its path in the request, e.g. `glaze.specific_gravity`.
    pub input: String,
    /// The same in the potter's words, e.g. `the specific gravity`.
    pub what: String,
    /// Standard uncertainty of the input, in `unit`.
    pub u: f64,
    /// Unit of `u`; empty for a ratio.
    pub unit: &'static str,
    /// What makes it smaller.
    pub advice: &'static str,
}

/// A value with its doubts: for each source how far one standard uncertainty of it moves the value.
#[derive(Clone, Debug, PartialEq)]
pub struct Known {
    value: f64,
    moved: Vec<(Source, f64)>,
}

impl Known {
    /// A number without doubt.
    pub const fn exact(value: f64) -> Self {
        Self { value, moved: Vec::new() }
    }

    /// A number told with one source of doubt.
    pub fn told(value: f64, source: Source) -> Self {
        let by = source.u;
        Self { value, moved: vec![(source, by)] }
    }

    /// The value of a function of other numbers, each with its slope there.
    pub fn of(value: f64, parts: &[(&Self, f64)]) -> Self {
        let mut moved: Vec<(Source, f64)> = Vec::new();
        for (part, slope) in parts {
            for (source, by) in &part.moved {
                match moved.iter_mut().find(|(known, _)| known.input == source.input) {
                    Some((_, sum)) => *sum += by * slope,
                    None => moved.push((source.clone(), by * slope)),
                }
            }
        }
        Self { value, moved }
    }

    /// The number itself.
    pub const fn value(&self) -> f64 {
        self.value
    }

    /// Its standard uncertainty.
    pub fn u(&self) -> f64 {
        self.moved.iter().map(|(_, by)| by * by).sum::<f64>().sqrt()
    }

    /// Each source and how far it moves the value, the largest first; those that cancel are left out.
    pub fn doubts(&self) -> Vec<(&Source, f64)> {
        let least = 1e-9 * self.value.abs();
        let mut found: Vec<_> =
            self.moved.iter().map(|(s, by)| (s, by.abs())).filter(|(_, by)| *by > least).collect();
        found.sort_by(|a, b| b.1.total_cmp(&a.1));
        found
    }

    /// The sum.
    pub fn plus(&self, other: &Self) -> Self {
        Self::of(self.value + other.value, &[(self, 1.0), (other, 1.0)])
    }

    /// The difference.
    pub fn minus(&self, other: &Self) -> Self {
        Self::of(self.value - other.value, &[(self, 1.0), (other, -1.0)])
    }

    /// The product.
    pub fn times(&self, other: &Self) -> Self {
        Self::of(self.value * other.value, &[(self, other.value), (other, self.value)])
    }

    /// The quotient; `other` is not zero.
    pub fn over(&self, other: &Self) -> Self {
        let value = self.value / other.value;
        Self::of(value, &[(self, 1.0 / other.value), (other, -value / other.value)])
    }

    /// So many times as much.
    pub fn scaled(&self, factor: f64) -> Self {
        Self::of(self.value * factor, &[(self, factor)])
    }

    /// The same value, its doubts so many times as large.
    pub fn doubted(&self, factor: f64) -> Self {
        Self { value: self.value, ..Self::of(self.value, &[(self, factor)]) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(input: &str, value: f64, u: f64) -> Known {
        let source = Source { input: input.to_owned(), what: input.to_owned(), u, unit: "", advice: "" };
        Known::told(value, source)
    }

    #[test]
    fn independent_doubts_add_in_squares_and_shared_ones_cancel() {
        let (a, b) = (told("a", 6.0, 0.3), told("b", 2.0, 0.4));
        assert!((a.plus(&b).u() - 0.5).abs() < 1e-12);
        assert!((a.minus(&b).u() - 0.5).abs() < 1e-12);
        // Relative 0.05 and 0.2 in squares, of 12 and of 3.
        let share = 0.05_f64.hypot(0.2);
        assert!((a.times(&b).u() - 12.0 * share).abs() < 1e-12);
        assert!((a.over(&b).u() - 3.0 * share).abs() < 1e-12);
        let both = a.times(&b).over(&a.scaled(2.0));
        assert!((both.value() - 1.0).abs() < 1e-12 && (both.u() - 0.2).abs() < 1e-12);
        let names: Vec<_> = both.doubts().iter().map(|(s, _)| s.input.clone()).collect();
        assert_eq!(names, ["b"], "what cancels is not named");
    }
}
