//! An axis: its words, and a range that is finite and not empty.

/// Ticks that fit beside each other, at most.
const MOST_TICKS: f64 = 7.0;
/// Room beyond the outermost values, as a share of their range.
const ROOM: f64 = 0.06;

/// What stands along an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Along {
    /// Any number.
    Number,
    /// A count: whole.
    Count,
    /// A weight in grams, or such a weight in each second.
    Weight,
}

/// An axis from less to more.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    words: String,
    from: f64,
    to: f64,
    along: Along,
}

impl Axis {
    /// With room for all of these; those that are not finite are left out, and none give 0 to 1.
    pub fn around(words: impl Into<String>, values: impl IntoIterator<Item = f64>) -> Self {
        let ends = values.into_iter().filter(|v| v.is_finite()).fold(None, |ends: Option<(f64, f64)>, v| {
            Some(ends.map_or((v, v), |(least, most)| (least.min(v), most.max(v))))
        });
        let (least, most) = ends.unwrap_or((0.0, 1.0));
        // Where all are equal, a range about them; relative too, so that huge values differ from their neighbours.
        let room = ((most - least) * ROOM).max(least.abs().max(most.abs()) * 1e-9);
        let room = if most > least { room } else { room.max(0.5) };
        Self { words: words.into(), from: least - room, to: most + room, along: Along::Number }
    }

    /// From zero, with room above for all of these.
    pub fn from_zero(words: impl Into<String>, values: impl IntoIterator<Item = f64>) -> Self {
        let axis = Self::around(words, values.into_iter().chain([0.0]));
        Self { from: 0.0, to: axis.to.max(1e-9), ..axis }
    }

    /// Counts: ticks at whole numbers only.
    #[must_use]
    pub fn whole(self) -> Self {
        Self { along: Along::Count, ..self }
    }

    /// Weights in grams, or such a weight in each second: what is drawn along it can be drawn in another unit.
    #[must_use]
    pub fn of_weight(self) -> Self {
        Self { along: Along::Weight, ..self }
    }

    /// Grams of one unit where it is of weights, else 1.
    pub(super) fn grams_in(&self, unit_g: f64) -> f64 {
        match self.along {
            Along::Weight => unit_g,
            Along::Number | Along::Count => 1.0,
        }
    }

    /// In units of so many grams, by their sign.
    pub(super) fn in_unit(self, unit_g: f64, sign: &str) -> Self {
        if self.along != Along::Weight {
            return self;
        }
        let word = |word: &str| match word.split_once('/') {
            _ if word == "g" => sign.to_owned(),
            Some(("g", rest)) => format!("{sign}/{rest}"),
            Some(_) | None => word.to_owned(),
        };
        let words = self.words.split(' ').map(word).collect::<Vec<_>>().join(" ");
        Self { words, from: self.from / unit_g, to: self.to / unit_g, ..self }
    }

    /// What is said of it.
    pub fn words(&self) -> &str {
        &self.words
    }

    /// From and to.
    pub fn ends(&self) -> (f64, f64) {
        (self.from, self.to)
    }

    /// Where it is marked, with what is written there: 1, 2 or 5 times a power of ten apart.
    pub fn ticks(&self) -> Vec<(f64, String)> {
        let wanted = (self.to - self.from) / MOST_TICKS;
        let power = 10f64.powf(wanted.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].map(|n| n * power).into_iter().find(|step| *step >= wanted * 0.999);
        let step = step.unwrap_or(10.0 * power);
        let step = if self.along == Along::Count { step.max(1.0) } else { step };
        let decimals = (-(step.log10() + 1e-9).floor()).clamp(0.0, 9.0) as usize;
        let first = (self.from / step).ceil();
        let each = (0..=2 * MOST_TICKS as u32).map(|n| (first + f64::from(n)) * step);
        // A step's rounding must not write minus nought.
        let inside = each.filter(|at| *at <= self.to).map(|at| if at.abs() < step * 1e-6 { 0.0 } else { at });
        inside.map(|at| (at, format!("{at:.decimals$}"))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_numbers_inside_the_axis() {
        let written = |axis: Axis| axis.ticks().into_iter().map(|(_, words)| words).collect::<Vec<_>>();
        assert_eq!(
            written(Axis::around("g", [27.9, 30.6])),
            ["28.0", "28.5", "29.0", "29.5", "30.0", "30.5"]
        );
        assert_eq!(written(Axis::around("g", [-0.2, 0.2])), ["-0.2", "-0.1", "0.0", "0.1", "0.2"]);
        assert_eq!(written(Axis::around("piece", [1.0, 3.0]).whole()), ["1", "2", "3"]);
        assert_eq!(written(Axis::from_zero("pieces", [240.0])), ["0", "50", "100", "150", "200", "250"]);
    }

    #[test]
    fn an_axis_has_a_range_whatever_it_is_given() {
        let odd =
            [vec![], vec![29.0; 3], vec![f64::NAN], vec![1e15, 1e15], vec![0.0], vec![f64::INFINITY, 2.0]];
        for values in odd {
            for axis in [Axis::around("", values.clone()), Axis::from_zero("", values.clone())] {
                let (from, to) = axis.ends();
                assert!(from.is_finite() && to.is_finite() && from < to, "{values:?}: {from} to {to}");
                assert!(axis.ticks().len() <= 13, "{values:?}: {:?}", axis.ticks());
            }
        }
    }
}
