//! Slop at hand, the jug's balance, and targets that differ from piece to piece.
//!
//! "Derived" means worked out by hand.

use crate::outside::{asked, close, example, worked};
use crate::seeds::seeded;
use proptest::prelude::*;
use serde_json::{Value, json};
use tarebell::batch::jug::{Jug, Poured, balance};
use tarebell::batch::ladder::shuffled;
use tarebell::batch::supply::{Refill, Stock, refilled, stock_of, supply, with_slop_of};
use tarebell::batch::{Target, told};
use tarebell::units::Mass;

fn asks(section: &str, value: Value) -> Value {
    let mut request = example();
    request[section] = value;
    request
}

fn g(grams: f64) -> Mass {
    Mass::saturating(grams)
}

/// Derived: 12 x (29 + 1) + 40 = 400 g.
#[test]
fn slop_that_is_just_enough_is_and_one_gram_less_runs_out_at_the_last_piece() {
    let ask = |slop: f64| json!({ "pieces": 12, "slop_g": slop, "left_in_jug_g": 40, "loss_g_per_piece": 1 });
    let t = worked(asks("supply", ask(400.0)));
    let found = t.supply.unwrap();
    close(found.needed.g(), 400.0, 1e-9, "needed g");
    assert_eq!((found.enough_for, found.runs_out_at, found.short), (12, None, Mass::ZERO));
    assert!(t.warnings.is_empty(), "{:?}", t.warnings);
    let t = worked(asks("supply", ask(399.0)));
    let found = t.supply.clone().unwrap();
    assert_eq!((found.enough_for, found.runs_out_at), (11, Some(12)));
    close(found.short.g(), 1.0, 1e-9, "short g");
    assert!(t.warnings.join("\n").contains("runs out at piece 12 of 12"), "{:?}", t.warnings);
    assert_eq!(worked(asks("supply", ask(490.0))).supply.unwrap().enough_for, 15, "three more than planned");
    assert_eq!(worked(asks("supply", ask(20.0))).supply.unwrap().runs_out_at, Some(1));
}

/// Derived: 10 x 29 = 290 g needed, 145 g at hand; the missing 145 g are 75 g powder and 70 g water (15/29 dry).
#[test]
fn powder_and_water_to_mix_for_the_rest_are_of_the_buckets_own_dry_share() {
    let t = worked(asks("supply", json!({ "pieces": 10, "slop_g": 145 })));
    let found = t.supply.clone().unwrap();
    assert_eq!(found.runs_out_at, Some(6));
    close(found.powder.unwrap().g(), 75.0, 1e-9, "powder g");
    close(found.water.unwrap().g(), 70.0, 1e-9, "water g");
    let working = told(&t);
    assert!(working.contains("= 75.0 g\n") && working.contains("= 70.0 g\n"), "{working}");
    for name in ["supply.left_in_jug_g", "supply.loss_g_per_piece"] {
        assert!(t.assumed.contains(&(name.to_owned(), 0.0)), "{name}: {:?}", t.assumed);
    }
    let direct =
        json!({ "coat": { "by": "direct", "slop_g": 29 }, "supply": { "pieces": 10, "slop_g": 145 } });
    let found = worked(direct).supply.unwrap();
    assert_eq!((found.runs_out_at, found.powder), (Some(6), None));
    for (ask, field) in [
        (json!({ "pieces": 0, "slop_g": 145 }), "supply.pieces"),
        (json!({ "pieces": 1.5, "slop_g": 145 }), "supply.pieces"),
        (json!({ "pieces": 10, "slop_g": -1 }), "supply.slop_g"),
        (json!({ "pieces": 10 }), "supply.slop_g"),
        (json!({ "pieces": 10, "slop_g": 145, "jug": 1 }), "supply.jug"),
    ] {
        assert_eq!(asked(asks("supply", ask.clone())).unwrap_err().field, field, "{ask}");
    }
}

#[test]
fn the_count_goes_down_while_pouring_and_foretells_the_same_piece() {
    let stock = Stock { slop: g(200.0), left_in_jug: g(10.0), loss_per_piece: g(0.5) };
    let targets = [g(29.0); 8];
    let before = supply(&stock, &targets, g(29.0), None);
    assert_eq!(before.runs_out_at, Some(7), "190 g are six pieces of 29.5 g");
    let later = supply(&stock.after(g(2.0 * 29.0), 2), &targets[2..], g(29.0), None);
    assert_eq!(later.runs_out_at, Some(5), "the fifth of those left is the seventh");
    let heavy = supply(&stock.after(g(2.0 * 36.0), 2), &targets[2..], g(29.0), None);
    assert_eq!(heavy.runs_out_at, Some(4), "two heavy pieces bring it forward");
}

/// Derived: a jug weighed twice to 0.1 g and ten pours to 0.1 g each: 2 x 0.1 x sqrt 12 = 0.69 g.
#[test]
fn a_jug_weighed_before_and_after_checks_the_sum_of_the_pours() {
    let poured = Poured { sum: g(290.0), pieces: 10, u: g(0.1 * 10.0_f64.sqrt()), unweighed: 0 };
    let checked = |after: f64| balance((g(900.0), g(after)), &poured, g(0.5), g(0.1), g(29.0));
    close(checked(605.0).room.g(), 0.2 * 12.0_f64.sqrt(), 1e-9, "room g");
    let fits = checked(605.4);
    assert!(fits.agrees() && checked(604.6).agrees(), "290 g poured and 5 g of drips");
    assert_eq!(
        fits.told(),
        "It lost 294.6 g, the pieces got 290.0 g and 5.0 g went astray as told: they agree, weighing explains 0.7 g."
    );
    let missing = checked(570.0);
    close(missing.difference.g(), 35.0, 1e-9, "missing g");
    for (after, agrees, words) in [
        (601.0, false, "4.0 g more went than was logged: drips"),
        (
            570.0,
            false,
            "35.0 g more went than was logged: spilled, or poured into a piece that has no record?",
        ),
        (700.0, false, "95.0 g more was logged than went"),
        (1200.0, false, "It holds 300.0 g more than before: counted on from here."),
    ] {
        let found = checked(after);
        assert!(found.agrees() == agrees && found.told().contains(words), "{}", found.told());
    }
}

#[test]
fn a_jug_on_the_pan_says_what_is_in_it_and_for_how_many_pieces() {
    let enough = |slop| supply(&Stock { slop, left_in_jug: g(12.0), ..Stock::default() }, &[], g(29.0), None);
    let told = |gross: f64| Jug::of(g(gross), g(250.0), enough, None).told();
    assert_eq!(
        told(762.0),
        "The jug holds 512.0 g of slop, enough for 17 pieces.",
        "500 g of it can be poured"
    );
    assert_eq!(told(300.0), "The jug holds 50.0 g of slop, enough for one piece.");
    assert_eq!(told(249.6), "The jug holds 0.0 g of slop, not enough for a piece.");
}

#[test]
fn what_was_poured_since_the_jug_stood_there_has_its_share_of_the_doubt() {
    let at = |sum: f64, pieces: u32, u: f64| Poured { sum: g(sum), pieces, u: g(u), unweighed: 0 };
    let since = at(290.0, 10, 0.4).since(&at(181.0, 6, 0.0)).expect("more was poured");
    close(since.sum.g(), 109.0, 1e-9, "poured g");
    assert_eq!(since.pieces, 4);
    close(since.u.g(), 0.4 * 0.4_f64.sqrt(), 1e-9, "four of ten pieces, weighed alike");
    assert_eq!(at(29.0, 1, 0.1).since(&at(181.0, 6, 0.0)), None, "of another batch");
}

fn rungs(t: &Target) -> Vec<f64> {
    t.ladder.iter().map(|rung| rung.g()).collect()
}

#[test]
fn a_ladder_is_even_from_low_to_high_and_the_seed_fixes_its_order() {
    let plain = worked(asks("ladder", json!({ "low_g": 23, "high_g": 35, "steps": 5 })));
    assert_eq!(rungs(&plain), [23.0, 26.0, 29.0, 32.0, 35.0]);
    let listed = worked(asks("ladder", json!({ "targets_g": [35, 23, 29] })));
    assert_eq!(rungs(&listed), [35.0, 23.0, 29.0]);
    let seeded = |seed: u64| {
        rungs(&worked(asks(
            "ladder",
            json!({ "low_g": 23, "high_g": 35, "steps": 5, "of_each": 2, "seed": seed }),
        )))
    };
    assert_eq!(seeded(7), seeded(7));
    assert!((0..20).any(|seed| seeded(seed) != seeded(7)), "another seed, another order");
    let mut sorted = seeded(7);
    sorted.sort_by(f64::total_cmp);
    assert_eq!(sorted, [23.0, 23.0, 26.0, 26.0, 29.0, 29.0, 32.0, 32.0, 35.0, 35.0]);
    let same = worked(asks("ladder", json!({ "targets_g": [29, 29, 29, 23], "seed": 1 })));
    assert!(same.warnings.join("\n").contains("too many of one"), "{:?}", same.warnings);
}

#[test]
fn a_ladder_that_cannot_be_is_refused_by_name() {
    let rows = [
        (json!({ "low_g": 35, "high_g": 23, "steps": 5 }), "ladder.high_g"),
        (json!({ "low_g": 23, "high_g": 35, "steps": 1 }), "ladder.steps"),
        (json!({ "low_g": 23, "high_g": 35 }), "ladder.targets_g"),
        (json!({ "targets_g": [] }), "ladder.targets_g"),
        (json!({ "targets_g": [29, 0.1] }), "ladder.targets_g[1]"),
        (json!({ "targets_g": [29], "low_g": 3 }), "ladder.targets_g"),
        (json!({ "targets_g": [29], "of_each": 0 }), "ladder.of_each"),
        (json!({ "targets_g": [29], "of_each": 1001 }), "ladder.of_each"),
        (json!({ "targets_g": ["29"] }), "ladder.targets_g"),
    ];
    for (ladder, field) in rows {
        let refused = asked(asks("ladder", ladder.clone())).unwrap_err();
        assert_eq!(refused.field, field, "{ladder}: {}", refused.reason);
    }
    let mut narrow = asks("ladder", json!({ "targets_g": [1, 29] }));
    narrow["tolerance"] = json!({ "grams": 1.5 });
    assert_eq!(asked(narrow).unwrap_err().field, "tolerance");
}

#[test]
fn supply_counts_with_the_targets_of_the_ladder() {
    let mut request = asks("ladder", json!({ "targets_g": [50, 10, 10] }));
    request["supply"] = json!({ "pieces": 4, "slop_g": 70 });
    let found = worked(request).supply.unwrap();
    close(found.needed.g(), 50.0 + 10.0 + 10.0 + 29.0, 1e-9, "the fourth has the batch's own target");
    assert_eq!((found.enough_for, found.runs_out_at), (3, Some(4)));
}

proptest! {
    #![proptest_config(seeded())]

    #[test]
    fn a_shuffled_ladder_has_the_same_targets_and_no_equal_neighbours(
        counts in prop::collection::vec(1usize..6, 2..8), seed in any::<u64>(),
    ) {
        let most = counts.iter().max().copied().unwrap_or(0);
        let whole: usize = counts.iter().sum();
        let rung = |n: usize| Mass::saturating(20.0 + f64::from(u32::try_from(n).unwrap()));
        let all: Vec<Mass> = counts.iter().enumerate().flat_map(|(n, count)| vec![rung(n); *count]).collect();
        let order = shuffled(&all, seed);
        let sorted = |list: &[Mass]| {
            let mut g: Vec<f64> = list.iter().map(|m| m.g()).collect();
            g.sort_by(f64::total_cmp);
            g
        };
        prop_assert_eq!(sorted(&order), sorted(&all));
        if 2 * most <= whole + 1 {
            prop_assert!(order.windows(2).all(|pair| pair[0] != pair[1]), "{:?}", order);
        }
    }

    #[test]
    fn a_supply_that_is_enough_stays_enough_with_more_slop(
        slop in 0.0..2000.0f64, more in 0.0..500.0f64, pieces in 1usize..30, left in 0.0..100.0f64, loss in 0.0..3.0f64,
    ) {
        let of = |slop: f64| {
            let stock = Stock { slop: g(slop), left_in_jug: g(left), loss_per_piece: g(loss) };
            supply(&stock, &vec![g(29.0); pieces], g(29.0), Some(0.5))
        };
        let (less, greater) = (of(slop), of(slop + more));
        prop_assert!(greater.enough_for >= less.enough_for && greater.short.g() <= less.short.g() + 1e-6);
        prop_assert_eq!(less.runs_out_at.is_none(), slop + 1e-9 >= less.needed.g());
        let mended = of(slop + less.short.g());
        prop_assert!(mended.runs_out_at.is_none(), "what was short is enough: {:?}", mended);
    }
}

/// Derived: of 400 g told 290 g are left after 110 g; 350 g there now means 460 g told; 60 g more the same.
#[test]
fn slop_that_comes_to_a_batch_is_counted_on_from_and_stays_through_a_change_of_the_bucket() {
    let request = |sg: f64| {
        let glaze = json!({ "by": "density", "specific_gravity": sg, "powder_density_g_ml": 2.5 });
        json!({ "glaze": glaze, "supply": { "pieces": 12, "slop_g": 400, "left_in_jug_g": 40 } }).to_string()
    };
    let told = |request: &str| stock_of(request).unwrap().slop.g();
    let by_whole = refilled(&request(1.45), g(290.0), Refill::Now(g(350.0))).unwrap();
    let by_more = refilled(&request(1.45), g(290.0), Refill::Added(g(60.0))).unwrap();
    close(told(&by_whole), 460.0, 1e-9, "slop told g");
    close(told(&by_more), 460.0, 1e-9, "slop told g");
    let after = stock_of(&by_whole).unwrap().after(g(110.0), 4);
    assert_eq!((after.slop, after.left_in_jug), (g(350.0), g(40.0)));
    let less = refilled(&request(1.45), g(290.0), Refill::Now(g(250.0))).unwrap();
    close(told(&less), 360.0, 1e-9, "some was poured away: slop told g");
    let changed = with_slop_of(&request(1.40), &by_whole);
    close(told(&changed), 460.0, 1e-9, "after the change g");
    assert!(changed.contains("1.4,") || changed.contains("1.4}"), "{changed}");
    // 40 g more were poured than was told of: none was left, and the 60 g are there.
    let after_debt = refilled(&request(1.45), g(-40.0), Refill::Added(g(60.0))).unwrap();
    let debt = stock_of(&after_debt).unwrap().slop.g() - stock_of(&request(1.45)).unwrap().slop.g();
    assert!((debt - 100.0).abs() < 1e-9, "{debt}");
    assert_eq!(refilled(r#"{"coat":{}}"#, g(0.0), Refill::Added(g(60.0))), None, "it tells of no slop");
    assert_eq!(with_slop_of(r#"{"coat":{}}"#, &by_whole), r#"{"coat":{}}"#);
}
