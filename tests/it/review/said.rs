//! The sentence: what a person would say.

use super::{aim, given, reviewed};
use tarebell::review::outcome::{Why, counted};
use tarebell::review::{Given, review};
use tarebell::units::Mass;

/// Invented: even, but for two thin ones.
fn board() -> Vec<f64> {
    let mut values: Vec<f64> =
        (0..24).map(|i| 29.1 + 0.1 * f64::from([0, 3, -2, 1, -3, 2, -1][i % 7])).collect();
    values[6] = 27.2;
    values[18] = 27.4;
    values
}

#[test]
fn thin_and_thick_pieces_are_named() {
    let said = reviewed(&board()).sentence;
    assert_eq!(said, "24 pieces, 29.0 g on average, 0.55 g spread; look at 7 and 19, thin.");
    let mut values = board();
    values[11] = 31.0;
    let said = reviewed(&values).sentence;
    assert!(said.contains("look at 7 and 19, thin, and at 12, thick"), "{said}");
    let said = reviewed(&[27.0; 9]).sentence;
    assert!(said.contains("look at 1, 2, 3, 4, 5, 6 and 3 more, thin"), "{said}");
}

#[test]
fn a_piece_within_its_limits_but_unlike_the_others_is_named_too() {
    let mut values: Vec<f64> =
        (0..24).map(|i| 29.0 + 0.02 * f64::from([0, 3, -2, 1, -3, 2, -1][i % 7])).collect();
    values[10] = 29.9;
    let r = reviewed(&values);
    assert!(r.sentence.contains("look at 11, unlike the others"), "{}", r.sentence);
    assert_eq!(r.look.iter().map(|l| (l.piece, l.why)).collect::<Vec<_>>(), [(11, Why::Odd)]);
}

#[test]
fn coats_that_grew_are_told_with_what_to_do() {
    let grown = |by: f64| -> Vec<f64> {
        (0..24).map(|i| 28.6 + by * i as f64 + 0.05 * f64::from([0, 3, -2, 1, -3, 2, -1][i % 7])).collect()
    };
    let heavier = reviewed(&grown(0.05)).sentence;
    assert!(
        heavier.ends_with("; coats grew heavier by 0.05 g a piece: your stop comes later, or the scale drifts: check with a mass."),
        "{heavier}"
    );
    let lighter = reviewed(&grown(-0.03)).sentence;
    assert!(lighter.contains("grew lighter by 0.03 g a piece"), "{lighter}");
    assert!(!reviewed(&board()).sentence.contains("grew"));
}

#[test]
fn a_shift_is_told_where_no_line_explains_it() {
    let mut values: Vec<f64> =
        (0..30).map(|i| 29.0 + 0.1 * f64::from([0, 3, -2, 1, -3, 2, -1][i % 7])).collect();
    for (i, value) in values.iter_mut().enumerate().skip(10).take(9) {
        *value = 29.3 + 0.04 * f64::from([0, 3, -2, 1, -3, 2, -1][i % 7]);
    }
    let said = reviewed(&values).sentence;
    assert!(said.contains("8 in a row above the average up to piece 18"), "{said}");
}

#[test]
fn capability_goes_by_the_first_stop_and_verdicts_by_what_was_weighed_last() {
    let mut given = given(&[29.0, 29.2, 28.9, 29.1, 29.05, 28.95], aim(29.0, 28.0, 30.0));
    given.pieces[1].first = Some(Mass::saturating(27.0));
    let r = review(&given);
    assert_eq!(r.share_within, Some(1.0));
    let all_net = review(&Given {
        pieces: given.pieces.iter().map(|p| tarebell::review::outcome::Piece { first: None, ..*p }).collect(),
        ..given.clone()
    });
    assert!(r.capability.ppk < all_net.capability.ppk, "{:?} {:?}", r.capability, all_net.capability);
    assert_eq!(r.mean_g, all_net.mean_g);
}

#[test]
fn the_scales_own_part_is_taken_out_of_the_spread() {
    let mut given = given(&[29.0, 29.5, 28.5, 29.5, 28.5, 29.0], aim(29.0, 28.0, 30.0));
    given.pieces.iter_mut().for_each(|p| p.u = Some(Mass::saturating(0.3)));
    let spread = review(&given).spread;
    // Derived: s^2 = 1 / 5; 0.2 - 0.09 = 0.11.
    assert!((spread.hand_g.unwrap() - 0.11_f64.sqrt()).abs() < 1e-9, "{spread:?}");
    given.pieces.iter_mut().for_each(|p| p.u = Some(Mass::saturating(0.5)));
    let r = review(&given);
    assert_eq!(r.spread.hand_g, None);
    assert!(r.warnings.iter().any(|w| w.contains("no greater than the scale's own")), "{:?}", r.warnings);
}

#[test]
fn pieces_with_targets_of_their_own_are_laid_beside_them() {
    let mut given = given(&[23.1, 26.1, 29.1, 32.1, 35.1], aim(29.0, 27.55, 30.45));
    for (piece, target) in given.pieces.iter_mut().zip([23.0, 26.0, 29.0, 32.0, 35.0]) {
        piece.aim = aim(target, target - 1.0, target + 1.0);
    }
    let r = review(&given);
    assert!((r.mean_g.unwrap() - 29.1).abs() < 1e-9 && r.sd_g.unwrap() < 1e-9, "{:?}", r.sd_g);
    assert_eq!(r.share_within, Some(1.0));
    assert!(r.warnings.iter().any(|w| w.contains("different targets")));
}

#[test]
fn no_record_no_piece() {
    assert_eq!(counted(&[]), (Vec::new(), 0));
}
