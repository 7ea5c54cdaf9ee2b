//! Ounces and inches: exact factors, round trips, sentences told anew.

use crate::seeds::seeded;
use proptest::prelude::*;
use tarebell::settings::Settings;
use tarebell::units::shown::{LengthIn, Quantity, Shown, WeightIn, typed};
use tarebell::units::{Length, Mass};

const OUNCES: Shown = Shown { weight: WeightIn::Ounce, length: LengthIn::Inch };

/// NIST Special Publication 811 (2008), appendix B.8: pound (avoirdupois) 4.535 924 E-01 kg and ounce (avoirdupois)
/// 2.834 952 E-02 kg, inch 2.54 E-02 m, square inch 6.4516 E-04 m2; NIST Handbook 44, appendix C: 1 pound is exactly
/// 0.453 592 37 kg, and 16 ounces (from memory).
#[test]
fn the_factors_are_those_of_the_handbooks() {
    let pound_g = 453.592_37;
    assert_eq!(Mass::ounces(16.0).map(Mass::g), Some(pound_g));
    assert!((Mass::ounces(1.0).unwrap().g() - 28.349_52).abs() < 5e-6);
    assert_eq!(Length::inches(1.0).map(Length::mm), Some(25.4));
    assert!((typed(Quantity::Area, "1 in2").unwrap() - 6.4516).abs() < 1e-12);
    assert_eq!(OUNCES.of(Quantity::Weight, pound_g), 16.0);
}

proptest! {
    #![proptest_config(seeded())]

    #[test]
    fn what_is_typed_comes_back_as_it_was_typed(thousandths in 1_u32..2_000_000) {
        let written = f64::from(thousandths) / 1000.0;
        for (quantity, unit) in [(Quantity::Weight, "oz"), (Quantity::Length, "inch"), (Quantity::Area, "in2")] {
            let kept = typed(quantity, &format!("{written} {unit}")).unwrap();
            prop_assert_eq!(OUNCES.of(quantity, kept), written);
        }
        let cm = Shown { weight: WeightIn::Gram, length: LengthIn::Centimetre };
        prop_assert_eq!(cm.of(Quantity::Length, typed(Quantity::Length, &format!("{written} cm")).unwrap()), written);
    }

    /// Two weights that a scale of 0.1 g tells apart are told apart in ounces, to the digits they are shown with.
    #[test]
    fn a_step_of_the_scale_is_seen_in_ounces(tenths in 0_u32..30_000) {
        let shown = |tenths: u32| OUNCES.retold(&format!("{:.1} g", f64::from(tenths) / 10.0));
        prop_assert_ne!(shown(tenths), shown(tenths + 1));
    }
}

#[test]
fn sentences_are_told_in_ounces_and_all_else_in_them_stays() {
    for (grams, ounces) in [
        (
            "24 pieces, 29.0 g on average, 0.66 g spread; look at 7 and 19.",
            "24 pieces, 1.023 oz on average, 0.0233 oz spread; look at 7 and 19.",
        ),
        ("good from 27.55 g to 30.45 g.", "good from 0.9718 oz to 1.0741 oz."),
        ("of 150 to 600 g, such as a mug", "of 5.29 to 21.16 oz, such as a mug"),
        (
            "0.057 g/cm2 of 2.60 g/mL at 8 g/s, 12 glazes, piece 3 got -1.2 g",
            "0.057 g/cm2 of 2.60 g/mL at 8 g/s, 12 glazes, piece 3 got -0.042 oz",
        ),
        ("29 grams and 5 µg, weighing 2 gaps", "29 grams and 5 µg, weighing 2 gaps"),
        // 1e300 / 28.349523125 = 3.527e298, 198.4467 / 28.349523125 = 7.0000, worked by hand.
        ("1e300 g is outside 0.001 to 50000 g", "3.527e298 oz is outside 0.00004 to 1763.70 oz"),
        ("That looks like 198.4467 g.", "That looks like 7.0000 oz."),
        (
            "the batch '10 g cups' is not under way, 29.0 g are",
            "the batch '10 g cups' is not under way, 1.023 oz are",
        ),
        ("", ""),
    ] {
        assert_eq!(OUNCES.retold(grams), ounces);
        assert_eq!(Shown::default().retold(grams), grams);
    }
}

#[test]
fn what_is_no_number_with_a_known_unit_is_not_taken() {
    for odd in ["", "oz", "1 stone", "a lot oz", "1", "1.2.3 oz", "9e9 g"] {
        assert_eq!(typed(Quantity::Weight, odd), None, "{odd}");
    }
    assert_eq!(typed(Quantity::Weight, "1,5oz"), Mass::ounces(1.5).map(Mass::g));
    assert_eq!(typed(Quantity::Length, "3 oz"), None);
    assert_eq!(
        (typed(Quantity::Length, "8.5 cm"), typed(Quantity::Area, "250 cm²")),
        (Some(85.0), Some(250.0))
    );
}

#[test]
fn the_units_are_set_and_others_are_refused_with_the_words_that_are_known() {
    let parse = |text: &str| Settings::parse(text, "tarebell.toml");
    let set = parse("[show]\nweight = \"oz\"\nlength = \"inch\"\n").unwrap();
    assert_eq!(set.shown, OUNCES);
    assert_eq!(parse("").unwrap().shown, Shown::default());
    let said = parse("[show]\nweight = \"lb\"\n").unwrap_err().to_string();
    assert!(said.contains("show.weight") && said.contains("\"g\" or \"oz\""), "{said}");
    let said = parse("[show]\nlength = \"ft\"\n").unwrap_err().to_string();
    assert!(said.contains("show.length") && said.contains("\"mm\", \"cm\" or \"inch\""), "{said}");
}

#[test]
fn a_refused_size_is_told_in_the_studio_s_unit_and_a_layer_is_not_touched() {
    let inches = Shown { length: LengthIn::Inch, ..Shown::default() };
    let centimetres = Shown { length: LengthIn::Centimetre, ..Shown::default() };
    for (kept, cm, inch) in [
        (
            "1200 mm is outside 0 to 600 mm",
            "120 cm is outside 0 to 60 cm",
            "47.24 inch is outside 0 to 23.62 inch",
        ),
        ("254.5 mm across", "25.45 cm across", "10.02 inch across"),
        (
            "1000 cm2 is more than this inside has",
            "1000 cm2 is more than this inside has",
            "155 in² is more than this inside has",
        ),
        ("no size at all: 3 pieces", "no size at all: 3 pieces", "no size at all: 3 pieces"),
    ] {
        assert_eq!(centimetres.size_retold(kept), cm);
        assert_eq!(inches.size_retold(kept), inch);
        assert_eq!(Shown::default().size_retold(kept), kept);
    }
}
