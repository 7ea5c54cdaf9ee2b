//! The bare pieces of a batch: what they weigh, and which one is unlike the others.

use super::kept::normal;
use crate::units::Mass;

/// Fewer bare pieces than this say nothing about the next.
const LEAST_PIECES: u32 = 4;
/// Matching ware thrown by hand scatters by about 3 % (common practice, no source): nothing is told apart more finely.
const LEAST_CV: f64 = 0.03;
/// Before two pieces are known their scatter is taken for this.
const USUAL_CV: f64 = 0.04;
/// Limits that were given are read off some of the pieces and rounded: bare ones lie beyond them by this share of what is
/// between them, and by this of their weight, as standard deviations (guesses).
const GIVEN_SLACK: f64 = 0.15;
const GIVEN_CV: f64 = 0.002;
/// Limits that were read off a few pieces may be narrower than that: so many lie further beyond them, by so much of their weight at
/// most (guesses).
const NARROW: (f64, f64) = (0.000_4, 0.05);
/// A piece further than this from the mean is another form (normal law: 1 in 16 000 of the same).
const UNLIKE_SIGMAS: f64 = 4.0;
/// Two unlike ones in a row within this share of each other are a form of their own, and the measure from then on.
const ALIKE: f64 = 0.08;

/// One piece in so many is of another form, of any weight up to twice the others' (a guess): however far a weight lies from
/// the bare ones, it may be a bare one's.
const OTHER_FORM: f64 = 0.001;

/// Bare weights of a batch, as seen so far.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ware {
    /// Least and greatest bare weight, where the potter gave them.
    pub given: Option<(Mass, Mass)>,
    /// Pieces counted.
    pub n: u32,
    /// Their mean, g.
    pub mean_g: f64,
    /// Their sum of squared differences from the mean, g squared.
    pub squares_g2: f64,
    /// The latest one that was unlike them, g; none since one was like them.
    pub unlike_g: Option<f64>,
}

impl Ware {
    /// Only what the potter gave.
    pub fn of(given: Option<(Mass, Mass)>) -> Self {
        Self { given, ..Self::default() }
    }

    /// Takes the bare weight of a piece that was poured into.
    pub fn handle_bare(&mut self, bare_g: f64) {
        if !self.unlike_others(bare_g) {
            self.unlike_g = None;
            return self.count(bare_g);
        }
        let again = self.unlike_g.is_some_and(|before| (bare_g - before).abs() < ALIKE * before);
        if let (Some(before), true) = (self.unlike_g, again) {
            *self = Self::of(self.given);
            self.count(before);
            self.count(bare_g);
        } else {
            self.unlike_g = Some(bare_g);
        }
    }

    fn count(&mut self, bare_g: f64) {
        self.n += 1;
        let from_mean = bare_g - self.mean_g;
        self.mean_g += from_mean / f64::from(self.n);
        self.squares_g2 += from_mean * (bare_g - self.mean_g);
    }

    /// Standard deviation of the bare weights, g: at least what matching ware has.
    pub fn sd_g(&self) -> f64 {
        let seen = if self.n < 2 { 0.0 } else { (self.squares_g2 / f64::from(self.n - 1)).sqrt() };
        seen.max(if self.n < LEAST_PIECES { USUAL_CV } else { LEAST_CV } * self.mean_g)
    }

    /// What bare pieces of this batch weigh is known: given, or seen often enough.
    pub fn tells(&self) -> bool {
        self.given.is_some() || self.n >= LEAST_PIECES
    }

    /// A bare piece unlike the others of this batch.
    pub fn is_unlike(&self, bare_g: f64) -> bool {
        match self.given {
            Some((least, greatest)) => !(least.g()..=greatest.g()).contains(&bare_g),
            None => self.unlike_others(bare_g),
        }
    }

    /// Far from every bare piece of this batch, from the first one on: another form, if it is a piece at all.
    pub fn is_far(&self, bare_g: f64) -> bool {
        let far = self.n > 0 && (bare_g - self.mean_g).abs() > UNLIKE_SIGMAS * self.next_sd_g();
        self.is_unlike(bare_g) || self.given.is_none() && far
    }

    /// How the next bare piece scatters about the mean of those seen, g.
    fn next_sd_g(&self) -> f64 {
        self.sd_g() * (1.0 + 1.0 / f64::from(self.n.max(1))).sqrt()
    }

    fn unlike_others(&self, bare_g: f64) -> bool {
        self.n >= LEAST_PIECES && (bare_g - self.mean_g).abs() > UNLIKE_SIGMAS * self.sd_g()
    }

    /// How likely the next bare piece of this batch weighs about so much, per gram; none while nothing is known. It scatters
    /// about the mean of `n`, which is itself known to its standard error (the variance of a prediction, derived), and
    /// within given limits, where few were seen, evenly; one of another form weighs anything. Never nothing.
    pub fn density_per_g(&self, bare_g: f64) -> Option<f64> {
        let next_sd_g = self.next_sd_g();
        let other = |most_g: f64| OTHER_FORM / (2.0 * most_g);
        let seen = (self.n > 0).then(|| normal(bare_g - self.mean_g, next_sd_g));
        let Some((least, greatest)) = self.given.map(|(least, greatest)| (least.g(), greatest.g())) else {
            return seen.map(|seen| seen + other(self.mean_g));
        };
        let slack_g = (GIVEN_SLACK * (greatest - least)).hypot(GIVEN_CV * greatest);
        let even = 1.0 / (greatest - least + 2.0 * slack_g);
        let off_g = (least - bare_g).max(bare_g - greatest).max(0.0);
        let within = seen.filter(|_| self.n >= LEAST_PIECES).unwrap_or(even);
        let beyond_g = NARROW.1 * greatest;
        let beyond = if off_g < beyond_g { NARROW.0 / (greatest - least + 2.0 * beyond_g) } else { 0.0 };
        Some(within * (-0.5 * (off_g / slack_g).powi(2)).exp() + beyond + other(greatest))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(weights_g: &[f64]) -> Ware {
        let mut ware = Ware::default();
        weights_g.iter().for_each(|g| ware.handle_bare(*g));
        ware
    }

    #[test]
    fn a_bowl_among_mugs_is_unlike_them_and_a_heavy_mug_is_not() {
        let ware = seen(&[312.0, 305.0, 321.0, 318.0]);
        assert!(ware.is_unlike(450.0) && ware.is_unlike(240.0));
        assert!(!ware.is_unlike(335.0) && !ware.is_unlike(290.0));
        assert!(!seen(&[312.0, 305.0, 321.0]).is_unlike(450.0), "three pieces say too little");
    }

    #[test]
    fn two_unlike_pieces_in_a_row_are_the_measure_from_then_on() {
        let ware = seen(&[312.0, 305.0, 321.0, 318.0, 452.0, 447.0, 455.0, 449.0]);
        assert!(!ware.is_unlike(460.0) && ware.is_unlike(312.0), "{ware:?}");
        let ware = seen(&[312.0, 305.0, 321.0, 318.0, 452.0, 315.0]);
        assert!(ware.is_unlike(452.0) && !ware.is_unlike(312.0), "one alone changes nothing: {ware:?}");
    }

    #[test]
    fn given_limits_tell_a_bare_piece_from_one_with_its_slop() {
        let g = Mass::saturating;
        let given = Ware::of(Some((g(300.0), g(306.0))));
        let of = |ware: &Ware, bare_g: f64| ware.density_per_g(bare_g).expect("something is known");
        assert!(of(&given, 303.0) > 0.1 && of(&given, 307.0) > 0.05 && of(&given, 323.0) < 1e-5);
        // It adds up to one over all weights, to what the slack takes at the ends.
        let sum: f64 = (2_500..3_500).map(|tenth| 0.1 * of(&given, 0.1 * f64::from(tenth))).sum();
        assert!((sum - 1.0).abs() < 0.1, "{sum}");
        let mut some = given;
        [303.0, 304.0, 302.5, 303.5].iter().for_each(|bare_g| some.handle_bare(*bare_g));
        assert!(of(&some, 303.0) > of(&some, 300.0) && of(&some, 323.0) < 1e-5);
        assert!(Ware::default().density_per_g(303.0).is_none());
    }

    #[test]
    fn a_weight_far_from_all_bare_ones_is_unlikely_and_never_impossible() {
        let ware = seen(&[56.4, 54.3]);
        let of = |bare_g: f64| ware.density_per_g(bare_g).expect("something is known");
        assert!(of(159.5) > 0.0 && of(159.5) < 1e-4 * of(55.0), "{} {}", of(159.5), of(55.0));
    }

    #[test]
    fn given_limits_are_kept_whatever_came() {
        let g = Mass::saturating;
        let ware = Ware::of(Some((g(300.0), g(330.0))));
        assert!(ware.is_unlike(331.0) && ware.is_unlike(299.9) && !ware.is_unlike(330.0));
    }
}
