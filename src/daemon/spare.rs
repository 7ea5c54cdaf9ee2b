//! Whether a weight can be the spare one, that voids the last record when it is set on the bare pan.
//!
//! Pure: decides, and says why not.

use crate::pour::LEAST_SPARE_G;
use crate::units::Mass;

/// So many steps of the display, or it can't be told from what sticks to the pan (our choice).
const LEAST_STEPS: f64 = 5.0;
/// Bare ware of one form scatters by 3 to 4 % (common practice, no source): lighter than the lightest known
/// piece by three times that, so that the next light one is not taken for it.
const LIGHTER: f64 = 0.9;
/// Never so near to a weight of the log: placed anew, a load shows up to 0.2 % more or less, and so does the
/// piece (a guess): four standard deviations of 0.05 %, as `pour/put_back.rs` takes a placement; ten times that.
const APART: f64 = 0.02;

/// What a spare weight must be told from.
pub(super) struct Known<'a> {
    /// The display's step.
    pub(super) step: Mass,
    /// A rise above this is a piece.
    pub(super) min_piece: Mass,
    /// Bare weight, and weight with slop, of the latest pieces.
    pub(super) lately: &'a [(Mass, Option<Mass>)],
}

impl Known<'_> {
    /// The weights that a refusal of this one may tell rounded, in full, g.
    pub(super) fn weights_g(&self, spare: Mass) -> Vec<f64> {
        let of_pieces =
            self.lately.iter().flat_map(|(bare, full)| [Some(*bare), *full]).flatten().map(Mass::g);
        let lighter = self.lately.iter().map(|(bare, _)| LIGHTER * bare.g());
        [spare.g()].into_iter().chain(of_pieces).chain(lighter).collect()
    }
}

/// Whether this weight will do; else why not.
pub(super) fn fits(spare: Mass, known: &Known<'_>) -> Result<(), String> {
    let (grams, least_g) = (spare.g(), LEAST_SPARE_G.max(LEAST_STEPS * known.step.g()));
    if grams < least_g {
        return Err(format!(
            "{grams:.1} g is too light for a spare weight on this scale, what sticks to the pan may weigh as much: \
             take one of {least_g:.1} g or more"
        ));
    }
    let weights = known.lately.iter().flat_map(|(bare, full)| [Some(*bare), *full]).flatten();
    if let Some(near) = weights.into_iter().find(|w| (w.g() - grams).abs() <= APART * grams) {
        return Err(format!(
            "{grams:.1} g is too near to a piece of {:.1} g in the log: such a piece would void the one before it. \
             Take another weight",
            near.g()
        ));
    }
    let lightest_g = known.lately.iter().map(|(bare, _)| bare.g()).reduce(f64::min);
    let most_g = lightest_g.map_or(known.min_piece.g(), |g| LIGHTER * g);
    if grams > most_g {
        let of = lightest_g.map_or_else(
            || "no piece is in the log yet, and from min_piece_g on it could be one".to_owned(),
            |g| format!("the lightest of the latest pieces weighs {g:.1} g"),
        );
        return Err(format!(
            "{grams:.1} g is too heavy for a spare weight: {of}. Take one under {most_g:.1} g"
        ));
    }
    Ok(())
}

/// What to say where a bare piece of a batch may weigh what the spare weight does.
pub(super) fn may_be_a_piece(spare: Option<Mass>, bare: Option<(Mass, Mass)>) -> Option<String> {
    let (spare_g, (least, greatest)) = (spare?.g(), bare?);
    let apart_g = APART * spare_g;
    (least.g() - apart_g..=greatest.g() + apart_g).contains(&spare_g).then(|| {
        format!(
            "the spare weight of {spare_g:.1} g weighs what a bare piece of this batch may: such a piece would void \
             the one before it. Forget the spare weight, or take another"
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_batch_whose_bare_pieces_may_weigh_as_much_is_warned_of() {
        let ware = Some((g(290.0), g(320.0)));
        assert_eq!(may_be_a_piece(Some(g(120.0)), ware), None);
        assert_eq!((may_be_a_piece(None, ware), may_be_a_piece(Some(g(300.0)), None)), (None, None));
        for near in [285.0, 300.0, 326.0] {
            assert!(may_be_a_piece(Some(g(near)), ware).is_some_and(|said| said.contains("spare weight")));
        }
        assert_eq!(may_be_a_piece(Some(g(280.0)), ware), None);
    }

    fn g(grams: f64) -> Mass {
        Mass::saturating(grams)
    }

    fn fits_among(spare_g: f64, lately: &[(Mass, Option<Mass>)]) -> Result<(), String> {
        fits(g(spare_g), &Known { step: g(0.1), min_piece: g(40.0), lately })
    }

    #[test]
    fn a_pebble_of_some_steps_that_is_lighter_than_any_piece_will_do() {
        assert_eq!(fits_among(15.0, &[]), Ok(()));
        for light in [0.4, 2.0, 14.9] {
            assert!(fits_among(light, &[]).is_err_and(|why| why.contains("15.0 g or more")));
        }
        let coarse = Known { step: g(5.0), min_piece: g(40.0), lately: &[] };
        assert!(fits(g(20.0), &coarse).is_err_and(|why| why.contains("25.0 g or more")));
        assert_eq!(fits_among(40.0, &[]), Ok(()));
        assert!(fits_among(41.0, &[]).is_err_and(|why| why.contains("no piece is in the log yet")));
        let mugs = [(g(310.0), Some(g(339.0))), (g(300.0), None)];
        assert_eq!(fits_among(120.0, &mugs), Ok(()));
        assert_eq!(fits_among(270.0, &mugs), Ok(()));
        assert!(fits_among(271.0, &mugs).is_err_and(|why| why.contains("under 270.0 g")));
    }

    #[test]
    fn a_weight_near_to_a_bare_or_a_filled_piece_is_refused_whatever_else_is_known() {
        let both = [(g(300.0), Some(g(329.0)))];
        assert!(fits_among(298.0, &both).is_err_and(|why| why.contains("too near to a piece of 300.0 g")));
        assert!(fits_among(331.0, &both).is_err_and(|why| why.contains("329.0 g")));
    }
}
