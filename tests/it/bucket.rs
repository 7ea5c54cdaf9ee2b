//! The bucket measured in several ways, and changed, against the outside and against itself.
//!
//! The source stands beside each check. "Derived" means worked out by hand from the formula named.

use crate::outside::{asked, close, example, with, worked};
use crate::seeds::seeded;
use proptest::prelude::*;
use serde_json::{Value, json};
use tarebell::batch::slurry::change::{clear_to_take, powder_to_add, water_to_add};
use tarebell::batch::slurry::gravity::{PINT_ML, VolumeWeight};
use tarebell::batch::slurry::{powder_ratio, solids_fraction, specific_gravity, water_density};
use tarebell::batch::{Target, told};
use tarebell::units::{Density, INCH_MM, Length, Mass, OUNCE_G};

fn several(measures: Value) -> Value {
    with("/glaze", json!({ "by": "several", "measures": measures }))
}

fn solids(t: &Target) -> f64 {
    t.solids_fraction.unwrap()
}

/// Standard uncertainty of the dry share: with an exact area and an exact coat the target has the same share of doubt.
fn u_solids(mut request: Value) -> f64 {
    request["form"]["u_area_percent"] = json!(0.0);
    let t = worked(request);
    t.standard_uncertainty.unwrap().g() / t.target.g() * solids(&t)
}

/// 1450 g/L, 145 g per 100 mL and 29 ounces per pint are one slop (W = (P - 20) g / (g - 1), M. Cardew, Pioneer
/// Pottery, p. 269, seen quoted: a pint of water is 20 ounces).
#[test]
fn one_slop_told_in_four_units_gives_the_same_grams() {
    for told in
        [json!({ "g_per_ml": 1.45 }), json!({ "g_per_100_ml": 145 }), json!({ "ounces_per_pint": 29 })]
    {
        let mut glaze = told.clone();
        glaze["by"] = json!("volume");
        glaze["powder_density_g_ml"] = json!(2.5);
        let t = worked(with("/glaze", glaze));
        close(t.target.g(), 29.0, 1e-9, &told.to_string());
        close(
            t.standard_uncertainty.unwrap().g(),
            worked(example()).standard_uncertainty.unwrap().g(),
            1e-9,
            "u",
        );
    }
}

/// Ounce 28.349523125 g = 437.5 / 7000 of 453.59237 g (NIST Handbook 44, appendix C); pint 568.26125 mL = 4.54609 L / 8,
/// 20 fluid ounces of 28.4130625 mL. Derived: a pint of water at 62 F (16.667 C), 0.998835 g/mL, weighed in air
/// (divided by 1.00105) is 567.0 g, and 20 ounces are 566.990 g: the pint rule is right to 0.01 percent.
#[test]
fn twenty_ounces_of_water_fill_the_pint_to_a_hundredth_of_a_percent() {
    close(OUNCE_G, 453.592_37 * 437.5 / 7000.0, 1e-12, "ounce");
    close(PINT_ML, 4546.09 / 8.0, 1e-12, "pint");
    let water = water_density(50.0 / 3.0).unwrap().g_ml();
    close(water, 0.998_835, 5e-6, "water at 62 F");
    close(PINT_ML * water / 1.001_05 / (20.0 * OUNCE_G), 1.0, 1e-4, "pint rule");
}

/// Derived: (227.5 - 82.5) / (182.5 - 82.5) = 1.45. A scale that shows 3 percent too much, and a vessel of any size,
/// change nothing.
#[test]
fn slop_and_water_in_one_vessel_cancel_its_volume_and_the_scales_span() {
    let vessel = |span: f64, size: f64, zero: f64| {
        let shown = |g: f64| span * (82.5 + size * g) + zero;
        json!({ "by": "vessel", "empty_g": shown(0.0), "water_g": [shown(100.0), shown(100.0)],
            "slop_g": [shown(145.0)], "powder_density_g_ml": 2.5 })
    };
    for (span, size, zero) in [(1.0, 1.0, 0.0), (1.03, 1.0, 0.0), (0.97, 2.5, 0.0), (1.0, 1.0, 4.0)] {
        close(worked(with("/glaze", vessel(span, size, zero))).target.g(), 29.0, 1e-9, "slop g");
    }
}

/// Derived: 0.5 mL of 100 is 0.5 percent of the slop's mass, 0.00725 in gravity at 1.45; dx/x = 1 / (S - 1) - ... =
/// 1 / (S (S - 1)) per unit of S: 1.11 percent of the target.
#[test]
fn filling_to_the_mark_dominates_the_budget_of_a_vessel_and_is_named() {
    let glaze = json!({ "by": "vessel", "empty_g": 0, "water_g": [100], "slop_g": [145], "powder_density_g_ml": 2.5,
        "step_g": 0.1, "u_repeat_g": 0.1, "u_fill_ml": 0.5, "u_powder_density_g_ml": 0 });
    let mut request = with("/glaze", glaze);
    request["form"]["u_area_percent"] = json!(0);
    let t = worked(request.clone());
    let first = &t.doubts[0];
    close(first.percent, 100.0 * 0.00725 / (1.45 * 0.45), 0.001, "percent by one filling");
    close(first.percent, 1.11, 0.005, "percent by one filling");
    assert!(first.what.contains("filled to the mark"), "{first:?}");
    let largest = t.largest_doubt.unwrap();
    assert!(
        largest.contains("0.5 mL")
            && largest.contains("1.1 %")
            && largest.contains("measure the bucket again"),
        "{largest}"
    );
    request["glaze"]["water_g"] = json!([100, 100, 100, 100]);
    request["glaze"]["slop_g"] = json!([145, 145, 145, 145]);
    let four = worked(request);
    close(four.doubts[0].percent, first.percent / 2.0, 1e-9, "four fillings halve it");
}

/// Derived by hand: both fillings 0.5 mL, digits 0.1 / sqrt 12 and repeat 0.1 in each of three readings:
/// u(S) = sqrt((1.45 x 0.5)^2 + (1.45 x 0.5)^2 + r^2 (1 + 1.45^2 + 0.45^2)) / 100, r^2 = 0.01 + 0.01 / 12.
#[test]
fn the_vessels_budget_is_that_of_its_three_readings_and_two_fillings() {
    let glaze = json!({ "by": "vessel", "empty_g": 0, "water_g": [100], "slop_g": [145], "powder_density_g_ml": 2.5,
        "u_powder_density_g_ml": 0 });
    let reading = 0.01_f64 + 0.01 / 12.0;
    let u = (2.0 * 0.725_f64.powi(2) + reading * (1.0 + 1.45_f64.powi(2) + 0.45_f64.powi(2))).sqrt() / 100.0;
    let slope = (solids_fraction(1.4501, 2.5) - solids_fraction(1.4499, 2.5)) / 2e-4;
    close(u_solids(with("/glaze", glaze.clone())), u * slope, 1e-6, "uncertainty of the dry share");
    let t = worked(with("/glaze", glaze));
    for name in ["glaze.step_g", "glaze.u_repeat_g", "glaze.u_fill_ml"] {
        assert!(t.assumed.iter().any(|(assumed, _)| assumed == name), "{name}: {:?}", t.assumed);
    }
}

#[test]
fn fillings_that_scatter_widen_the_doubt_and_are_told() {
    let glaze = |slop: Value| {
        with(
            "/glaze",
            json!({ "by": "vessel", "empty_g": 0, "water_g": [100, 100], "slop_g": slop,
            "powder_density_g_ml": 2.5, "u_fill_ml": 0.2 }),
        )
    };
    let (even, uneven) = (glaze(json!([145, 145])), glaze(json!([142, 148])));
    assert!(worked(even.clone()).warnings.is_empty());
    let said = worked(uneven.clone()).warnings.join("\n");
    assert!(said.contains("scatter by") && said.contains("tap the bubbles"), "{said}");
    assert!(u_solids(uneven) > 3.0 * u_solids(even));
}

/// Weighted mean by inverse squares and its uncertainty (P. R. Bevington, Data Reduction, 4.1, from memory), here
/// worked from what each measurement gives alone.
#[test]
fn independent_measurements_are_weighted_by_the_inverse_of_their_squared_uncertainties() {
    let mix = json!({ "by": "mix", "dry_g": 1000, "water_g": 940, "u_dry_g": 10, "u_water_g": 10 });
    let density = json!({ "by": "density", "specific_gravity": 1.45, "powder_density_g_ml": 2.5 });
    let drying = json!({ "by": "drying", "wet_g": 50, "dry_g": 25.7, "u_dry_g": 0.2 });
    let alone: Vec<(f64, f64)> = [&mix, &density, &drying]
        .map(|one| with("/glaze", one.clone()))
        .map(|request| (solids(&worked(request.clone())), u_solids(request)))
        .to_vec();
    let whole: f64 = alone.iter().map(|(_, u)| u.powi(-2)).sum();
    let mean = alone.iter().map(|(x, u)| x * u.powi(-2)).sum::<f64>() / whole;
    let all = several(json!([mix, density, drying]));
    let t = worked(all.clone());
    close(solids(&t), mean, 1e-12, "weighted dry share");
    close(u_solids(all), whole.powf(-0.5), 1e-9, "its uncertainty");
    assert!(t.warnings.is_empty(), "{:?}", t.warnings);
    assert!(told(&t).contains("Weighted dry share"), "{}", told(&t));
}

/// Derived: 15/29 dry at gravity 1.45 is powder of 2.5 (x S / (1 - S (1 - x)) = 0.75 / 0.3).
#[test]
fn weights_and_density_together_give_the_powders_density_and_are_not_counted_again() {
    close(powder_ratio(15.0 / 29.0, 1.45).unwrap(), 2.5, 1e-12, "powder");
    assert_eq!(powder_ratio(0.2, 1.5), None, "no powder is so heavy");
    let mix = json!({ "by": "mix", "dry_g": 1500, "water_g": 1400 });
    let gravity = json!({ "by": "density", "specific_gravity": 1.45 });
    let both = several(json!([mix, gravity]));
    let t = worked(both.clone());
    close(solids(&t), 15.0 / 29.0, 1e-12, "dry share of the weights alone");
    close(t.powder_density.unwrap().g_ml(), 2.5, 1e-9, "powder");
    close(u_solids(both), u_solids(with("/glaze", mix)), 1e-12, "the density adds nothing");
    assert!(t.doubts.iter().all(|doubt| !doubt.input.contains("specific_gravity")), "{:?}", t.doubts);
    assert!(told(&t).contains("used up for it"), "{}", told(&t));
    let alone = asked(several(json!([{ "by": "density", "specific_gravity": 1.45 }]))).unwrap_err();
    assert_eq!(alone.field, "glaze.powder_density_g_ml", "{}", alone.reason);
}

#[test]
fn measurements_that_disagree_beyond_their_uncertainties_are_told_in_plain_words() {
    let measures = |sg: f64| {
        json!([{ "by": "mix", "dry_g": 1500, "water_g": 1400 },
            { "by": "density", "specific_gravity": sg, "powder_density_g_ml": 2.5 }])
    };
    assert!(worked(several(measures(1.452))).warnings.is_empty());
    let far = worked(several(measures(1.38)));
    let said = far.warnings.join("\n");
    for word in ["the mix weights", "the slop's density", "do not agree", "k = 2", "Stir well"] {
        assert!(said.contains(word), "{word}: {said}");
    }
    let wide = u_solids(several(measures(1.38)));
    let near = u_solids(several(measures(1.452)));
    assert!(wide > 3.0 * near, "a disagreement widens the doubt: {wide} against {near}");
}

#[test]
fn what_cannot_be_of_a_bucket_is_refused_with_its_place_and_the_likely_slip() {
    let density = |sg: f64, powder: f64| json!({ "by": "density", "specific_gravity": sg, "powder_density_g_ml": powder });
    let vessel = |empty: f64, water: f64, slop: f64| {
        json!({ "by": "vessel", "empty_g": empty, "water_g": [water],
        "slop_g": [slop], "powder_density_g_ml": 2.5 })
    };
    let rows = [
        (density(29.0, 2.5), "glaze.specific_gravity", "ounces per imperial pint"),
        (density(145.0, 2.5), "glaze.specific_gravity", "grams per 100 mL"),
        (density(1450.0, 2.5), "glaze.specific_gravity", "grams per litre"),
        (density(0.45, 2.5), "glaze.specific_gravity", "the 1 before the point"),
        (density(1.0, 2.5), "glaze.specific_gravity", "above 1"),
        (density(1.45, 1.2), "glaze.powder_density_g_ml", "loose powder"),
        (density(1.45, 2600.0), "glaze.powder_density_g_ml", "divide by 1000"),
        (density(1.45, 6.1), "glaze.powder_density_g_ml", "near 2.6"),
        (vessel(80.0, 180.0, 170.0), "glaze.slop_g", "swapped"),
        (vessel(80.0, 70.0, 170.0), "glaze.water_g", "tared"),
        (
            json!({ "by": "vessel", "empty_g": 0, "water_g": [], "slop_g": [145] }),
            "glaze.water_g",
            "0 readings",
        ),
        (json!({ "by": "vessel", "empty_g": 0, "water_g": 100, "slop_g": [145] }), "glaze.water_g", ""),
        (json!({ "by": "volume", "powder_density_g_ml": 2.5 }), "glaze.g_per_ml", "missing"),
        (
            json!({ "by": "volume", "g_per_ml": 1.4, "ounces_per_pint": 29 }),
            "glaze.ounces_per_pint",
            "beside",
        ),
        (
            json!({ "by": "volume", "g_per_100_ml": 1.45, "powder_density_g_ml": 2.5 }),
            "glaze.g_per_100_ml",
            "water",
        ),
        (json!({ "by": "density", "specific_gravity": 1.45 }), "glaze.powder_density_g_ml", "missing"),
        (json!({ "by": "several", "measures": [] }), "glaze.measures", "0 measurements"),
        (
            json!({ "by": "several", "measures": [{ "by": "mix", "dry_g": 5 }] }),
            "glaze.measures[0].water_g",
            "missing",
        ),
        (
            json!({ "by": "several", "measures": [{ "by": "drying", "wet_g": 5, "dry_g": 6 }] }),
            "glaze.measures[0].dry_g",
            "swapped",
        ),
        (
            json!({ "by": "several", "measures": [{ "by": "several", "measures": [] }] }),
            "glaze.measures[0].by",
            "once",
        ),
        (
            json!({ "by": "several", "powder_density_g_ml": 2.5, "measures": [density(1.45, 2.5)] }),
            "glaze.measures[0].powder_density_g_ml",
            "twice",
        ),
        (json!({ "by": "mix", "dry_g": 1000, "water_g": 1 }), "glaze.dry_g", "can't be poured"),
    ];
    for (glaze, field, slip) in rows {
        let refused = asked(with("/glaze", glaze.clone())).unwrap_err();
        assert_eq!(refused.field, field, "{glaze}: {}", refused.reason);
        assert!(refused.reason.contains(slip), "{glaze}: {}", refused.reason);
    }
}

fn wanted(sg: f64, more: Value) -> Value {
    let mut request = example();
    request["wanted"] = more;
    request["wanted"]["specific_gravity"] = json!(sg);
    request
}

/// A. Brongniart, Traite des Arts Ceramiques, vol. 1, 1854, p. 249, as tabled in Harrison et al., Handbook for Australian
/// Potters (seen quoted): powder 2.6, 812 g dry in a litre at 1.50 and 650 at 1.40. Derived from it: a litre at 1.50
/// thinned to 1.40 makes 812.5 / 650 = 1.25 L, so 250 mL of water.
#[test]
fn water_to_add_follows_from_the_dry_grams_per_litre_of_the_handbook() {
    let mut request = wanted(1.40, json!({ "slop_ml": 1000 }));
    request["glaze"] = json!({ "by": "density", "specific_gravity": 1.5, "powder_density_g_ml": 2.6 });
    let change = worked(request).change.unwrap();
    close(change.slop.g(), 1500.0, 1e-9, "slop g");
    close(change.water.g(), 250.0, 1e-9, "water g");
    assert_eq!((change.powder, change.clear), (Mass::ZERO, Mass::ZERO));
}

/// Derived: 1000 g at 15/29 dry hold 517.24 g; at 1.50 and powder 2.5 the dry share is 5/9, so 931.03 g of slop: 68.97 g
/// of clear water off, or (5/9 - 15/29) x 1000 / (4/9) = 86.21 g of powder in.
#[test]
fn a_thin_slop_gets_powder_or_loses_clear_water() {
    let t = worked(wanted(1.5, json!({})));
    let change = t.change.clone().unwrap();
    close(change.clear.g(), 68.966, 1e-3, "clear water g");
    close(change.powder.g(), 86.207, 1e-3, "powder g");
    assert!(!change.whole_bucket && change.water == Mass::ZERO);
    let working = told(&t);
    for words in ["Powder to add", "for 1000 g", "which some slops never do"] {
        assert!(working.contains(words), "{words}: {working}");
    }
    for (more, field) in [
        (json!({ "slop_g": 1, "slop_ml": 1 }), "wanted.slop_ml"),
        (json!({ "slop_g": -1 }), "wanted.slop_g"),
        (json!({ "litres": 1 }), "wanted.litres"),
    ] {
        assert_eq!(asked(wanted(1.5, more)).unwrap_err().field, field);
    }
    assert_eq!(asked(wanted(2.5, json!({}))).unwrap_err().field, "wanted.specific_gravity");
    let direct = json!({ "coat": { "by": "direct", "slop_g": 29 }, "wanted": { "specific_gravity": 1.5 } });
    assert_eq!(asked(direct).unwrap_err().field, "glaze");
}

proptest! {
    #![proptest_config(seeded())]

    #[test]
    fn water_added_and_taken_off_again_leaves_the_bucket_as_it_was(
        slop in 100.0..20_000.0f64, sg in 1.25..1.8f64, thinner in 0.02..0.2f64, powder in 2.3..3.2f64,
    ) {
        let (x, thin) = (solids_fraction(sg, powder), solids_fraction(sg - thinner, powder));
        let water = water_to_add(Mass::saturating(slop), x, thin);
        prop_assert!(water.g() > 0.0);
        let more = Mass::saturating(slop) + water;
        prop_assert!((slop * x / more.g() - thin).abs() < 1e-12, "the powder stays");
        prop_assert!((clear_to_take(more, thin, x) - water).g().abs() < 1e-6);
        let powder_in = powder_to_add(more, thin, x).g();
        prop_assert!(((more.g() * thin + powder_in) / (more.g() + powder_in) - x).abs() < 1e-12);
    }

    #[test]
    fn every_unit_of_a_volumes_weight_comes_back(sg in 1.01..3.0f64, celsius in 0.0..40.0f64) {
        let water = water_density(celsius).unwrap_or(Density::saturating(1.0));
        for unit in VolumeWeight::ALL {
            let value = unit.from_gravity(sg, water);
            prop_assert!((unit.to_gravity(value, water) - sg).abs() < 1e-12, "{unit:?}");
        }
        prop_assert!((VolumeWeight::GramsPer100Ml.from_gravity(sg, water) / 100.0
            - VolumeWeight::GramsPerMl.from_gravity(sg, water)).abs() < 1e-12);
    }

    #[test]
    fn ounces_and_inches_come_back(value in 0.001..1e5f64) {
        let (mass, length) = (Mass::ounces(value).unwrap(), Length::inches(value).unwrap());
        prop_assert!((mass.oz() / value - 1.0).abs() < 1e-12 && (mass.g() / OUNCE_G / value - 1.0).abs() < 1e-12);
        prop_assert!((length.inch() / value - 1.0).abs() < 1e-12 && (length.mm() / INCH_MM / value - 1.0).abs() < 1e-12);
    }

    #[test]
    fn dry_share_gravity_and_powder_each_follow_from_the_other_two(sg in 1.05..2.0f64, powder in 2.1..6.0f64) {
        let x = solids_fraction(sg, powder);
        prop_assert!((specific_gravity(x, powder) - sg).abs() < 1e-9);
        prop_assert!((powder_ratio(x, sg).unwrap_or(0.0) / powder - 1.0).abs() < 1e-6);
    }
}
