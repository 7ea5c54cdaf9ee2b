//! Batches that are none: empty, one piece, all equal, all void, huge. No number that is none on any screen.

use super::{aim, close, given, reviewed};
use crate::seeds::seeded_cases;
use proptest::prelude::*;
use serde_json::{Value, json};
use tarebell::review::control_chart::Rules;
use tarebell::review::{Given, review};

fn nulls(value: &Value, at: &str) -> Vec<String> {
    match value {
        Value::Null => vec![at.to_owned()],
        Value::Object(map) => map.iter().flat_map(|(k, v)| nulls(v, &format!("{at}/{k}"))).collect(),
        Value::Array(list) => list.iter().flat_map(|v| nulls(v, at)).collect(),
        Value::Bool(_) | Value::Number(_) | Value::String(_) => Vec::new(),
    }
}

#[test]
fn an_empty_batch_says_so_and_has_no_numbers() {
    let r = reviewed(&[]);
    let told = json!(r);
    for field in ["mean_g", "sd_g", "bias_g", "cv_percent", "share_within"] {
        assert_eq!(told[field], Value::Null, "{field}");
    }
    for (part, field) in
        [("individuals", "centre"), ("moving_range", "upper"), ("capability", "cpk"), ("drift", "p_value")]
    {
        assert_eq!(told[part][field], Value::Null, "{part}.{field}");
    }
    assert_eq!(r.sentence, "No pieces yet: pour some, then look again.");
}

#[test]
fn a_batch_of_void_pieces_says_so() {
    let r = review(&Given { void: 3, ..given(&[], aim(29.0, 28.0, 30.0)) });
    assert_eq!(r.sentence, "3 pieces, and none of them counts: nothing to review.");
    assert_eq!((r.n, r.void), (0, 3));
}

#[test]
fn one_piece_has_a_mean_and_no_spread() {
    let r = reviewed(&[29.1]);
    assert_eq!((r.mean_g, r.sd_g, r.capability.cpk, r.individuals.upper), (Some(29.1), None, None, None));
    assert_eq!(r.sentence, "1 piece, 29.1 g; within the limits.");
}

#[test]
fn equal_pieces_have_no_chart_no_capability_and_no_drift() {
    let r = reviewed(&[29.0; 24]);
    assert_eq!((r.sd_g, r.capability.pp, r.capability.cp), (Some(0.0), None, None));
    assert_eq!((r.individuals.upper, r.moving_range.upper, r.drift.p_value), (None, None, None));
    assert_eq!(r.share_estimated, None);
    assert_eq!(r.sentence, "24 pieces, all of them 29.0 g; all within the limits.");
    assert!(r.warnings.iter().any(|w| w.contains("all weights are equal")), "{:?}", r.warnings);
}

#[test]
fn a_coarse_display_is_told_and_its_signals_make_nobody_look() {
    let values: Vec<f64> = (0..24).map(|i| if i == 20 { 30.0 } else { 29.0 }).collect();
    let r = reviewed(&values);
    assert!(r.coarse && r.warnings.iter().any(|w| w.contains("too coarse for a chart")));
    assert!(!r.individuals.signals.is_empty() && r.look.is_empty(), "{:?}", r.look);
    // Four different ranges, 0 among them, are enough.
    assert!(!reviewed(&[29.0, 29.0, 29.1, 29.3, 29.6]).coarse);
}

#[test]
fn values_on_a_line_are_a_sure_drift() {
    let r = reviewed(&(0..12).map(|i| 28.0 + 0.1 * f64::from(i)).collect::<Vec<f64>>());
    assert!(r.drift.p_value.is_some_and(|p| p < 1e-9), "{:?}", r.drift);
    assert!(r.sentence.contains("grew heavier by 0.10 g a piece"), "{}", r.sentence);
}

#[test]
fn three_pieces_never_grew_and_a_line_through_rounded_weights_is_known_no_better_than_its_step() {
    let steps = || (0..10).map(|n| 28.6 + 0.1 * f64::from(n));
    for (a, b, c) in steps().flat_map(|a| steps().flat_map(move |b| steps().map(move |c| (a, b, c)))) {
        let r = reviewed(&[a, b, c]);
        assert!(!r.sentence.contains("grew") && r.drift.p_value.is_none(), "{a} {b} {c}: {}", r.sentence);
    }
    // Derived: sd = 0.1 / sqrt(12), over sqrt(5) for four pieces: t = 7.746 with 2 degrees, p = 2 (1 - F(t)) = 0.01626.
    let r = reviewed(&[28.9, 29.0, 29.1, 29.2]);
    close(r.drift.p_value, 1.0 - 7.745_967 / (2.0_f64 + 60.0).sqrt(), 1e-6, "p");
    assert!(!r.sentence.contains("grew"), "{}", r.sentence);
}

#[test]
fn one_piece_is_few_and_two_pieces_are() {
    let few = |values: &[f64]| reviewed(values).warnings.first().cloned().unwrap_or_default();
    assert!(few(&[29.1]).starts_with("1 piece is few: "), "{}", few(&[29.1]));
    assert!(few(&[29.1, 29.0]).starts_with("2 pieces are few: "), "{}", few(&[29.1, 29.0]));
}

#[test]
fn no_rule_at_all_is_asked_for_by_one_word_alone() {
    assert_eq!(Rules::from_words(["none"]), Ok(Rules::none()));
    assert_eq!(Rules::from_words(["none", "eight-one-side"]), Err("none"));
}

/// Nothing of JSON may be null that the contract's small cases don't excuse: with five different values all is there.
#[test]
fn five_different_values_have_every_number() {
    let r = reviewed(&[29.0, 28.7, 29.4, 29.1, 28.2]);
    // Uncertainties of the weights are not told here.
    let found: Vec<String> =
        nulls(&json!(r), "").into_iter().filter(|at| !at.starts_with("/spread")).collect();
    assert_eq!(found, ["/smoothed/beyond"]);
}

proptest! {
    #![proptest_config(seeded_cases(300))]
    #[test]
    fn no_review_holds_or_says_a_number_that_is_none(
        values in proptest::collection::vec(prop_oneof![Just(29.0), 0.0..60.0, Just(0.0), -1e6..1e6, Just(1e-9)], 0..40),
        target in 1.0..1000.0_f64, half in 0.0..50.0_f64,
    ) {
        let r = review(&given(&values, aim(target, target - half, target + half)));
        let text = json!(r).to_string() + &format!("{r:?}");
        prop_assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        for share in r.share_within.into_iter().chain(r.share_estimated).chain(r.drift.p_value) {
            prop_assert!((0.0..=1.0).contains(&share));
        }
    }
}
