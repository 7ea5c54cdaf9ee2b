//! The bare pan between two pieces: whether something is left on it.
//!
//! Never tares: what is found here is only said.

use crate::units::Mass;

/// From here on what lies on the bare pan is worth saying, g: half of what a pour may be off (`half_width_g`; what sticks
/// to a foot or is wiped off by it falsifies a weight by as much), and never less than two steps of the display, which
/// may be its own wandering (both own choice).
pub(crate) fn worth_wiping_g(half_width_g: f64, step: Mass) -> f64 {
    (0.5 * half_width_g).max(2.0 * step.g())
}

/// What the bare pan shows when it is clean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BarePan {
    zero_g: f64,
    worth_g: f64,
    piece_g: f64,
}

impl BarePan {
    /// A pan whose scale shows `clean` when it is clean, for pours that may be off by `tolerance`; from `piece` on it
    /// is a piece.
    pub fn new(clean: Mass, tolerance: Mass, step: Mass, piece: Mass) -> Self {
        Self { zero_g: clean.g(), worth_g: worth_wiping_g(tolerance.g(), step), piece_g: piece.g() }
    }

    /// What the scale shows is corrected otherwise from now on: the clean pan counts for so much more, g.
    pub fn shift(&mut self, by_g: f64) {
        self.zero_g += by_g;
    }

    /// So much more than was said is left.
    pub fn is_worth_saying(&self, left: Mass, said: Mass) -> bool {
        left.g() - said.g() >= self.worth_g - 1e-6
    }

    /// Takes a weight at rest between two pieces; gives what is left on the pan, if it is worth saying.
    pub fn handle_rest(&mut self, rest: Mass) -> Option<Mass> {
        // A millionth of a gram is below any scale: it only keeps the limits inclusive in binary arithmetic.
        let worth_g = self.worth_g - 1e-6;
        if rest.g() < self.zero_g - worth_g {
            // Lighter than clean: the scale was zeroed with something on it, or something was taken off.
            self.zero_g = rest.g();
        }
        let left_g = rest.g() - self.zero_g;
        (worth_g..self.piece_g).contains(&left_g).then(|| Mass::saturating(left_g))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn g(g: f64) -> Mass {
        Mass::saturating(g)
    }

    fn pan(tolerance_g: f64, step_g: f64) -> BarePan {
        BarePan::new(Mass::ZERO, g(tolerance_g), g(step_g), g(40.0))
    }

    #[test]
    fn half_the_tolerance_on_a_bare_pan_is_said_and_less_is_not() {
        let mut pan = pan(1.0, 0.1);
        assert_eq!(pan.handle_rest(g(0.4)), None);
        assert_eq!(pan.handle_rest(g(0.5)), Some(g(0.5)));
        assert_eq!(pan.handle_rest(g(0.6)), Some(g(0.6)));
        assert_eq!(pan.handle_rest(g(0.0)), None);
    }

    #[test]
    fn two_steps_of_the_display_are_the_least_that_is_said() {
        let mut pan = pan(1.0, 1.0);
        assert_eq!(pan.handle_rest(g(1.0)), None);
        assert_eq!(pan.handle_rest(g(2.0)), Some(g(2.0)));
    }

    #[test]
    fn a_piece_is_no_dirt() {
        let mut pan = pan(1.0, 0.1);
        assert_eq!(pan.handle_rest(g(40.0)), None);
        assert!(pan.handle_rest(g(39.0)).is_some());
    }

    #[test]
    fn a_pan_lighter_than_clean_is_the_clean_one_from_then_on() {
        let mut pan = pan(1.0, 0.1);
        assert_eq!(pan.handle_rest(g(-3.0)), None);
        assert!(pan.handle_rest(g(-2.4)).is_some());
    }
}
