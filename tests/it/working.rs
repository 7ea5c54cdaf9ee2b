//! The working that is printed: whoever takes a pocket calculator to a line gets what stands behind its `=`.
//!
//! Each line is reckoned again from its own digits by a small calculator of the tests' own: numbers, `+ - x / ^`, brackets,
//! `pi` and `%`; all other words are units and explanations. What stands after a semicolon or a comma is one, too.

use crate::outside::{example, with, worked};
use serde_json::{Value, json};
use std::f64::consts::PI;
use tarebell::batch::{Step, told};

const UNITS: [&str; 7] = ["g/cm2", "g/mL", "cm2", "mL", "cm", "mm", "g"];

/// Numbers and signs of a line of working.
fn tokens(working: &str) -> Vec<String> {
    let line = working.split([';', ',']).next().unwrap_or_default();
    let spaced: String =
        line.chars().map(|c| if "()^".contains(c) { format!(" {c} ") } else { c.to_string() }).collect();
    let keeps = |word: &&str| {
        ["+", "-", "x", "/", "^", "(", ")", "pi", "%"].contains(word) || word.parse::<f64>().is_ok()
    };
    spaced.split_whitespace().filter(|word| !UNITS.contains(word)).filter(keeps).map(str::to_owned).collect()
}

struct Calculator {
    tokens: Vec<String>,
    at: usize,
}

impl Calculator {
    fn peek(&self) -> &str {
        self.tokens.get(self.at).map_or("", String::as_str)
    }

    fn take(&mut self, sign: &str) -> bool {
        let is = self.peek() == sign;
        self.at += usize::from(is);
        is
    }

    fn sum(&mut self) -> Option<f64> {
        let mut value = self.product()?;
        loop {
            if self.take("+") {
                value += self.product()?;
            } else if self.take("-") {
                value -= self.product()?;
            } else {
                return Some(value);
            }
        }
    }

    fn product(&mut self) -> Option<f64> {
        let mut value = self.power()?;
        loop {
            if self.take("x") {
                value *= self.power()?;
            } else if self.take("/") {
                value /= self.power()?;
            } else if self.peek() == "pi" {
                // As written: 2 pi.
                value *= self.power()?;
            } else {
                return Some(value);
            }
        }
    }

    fn power(&mut self) -> Option<f64> {
        let value = self.number()?;
        if self.take("^") { Some(value.powf(self.number()?)) } else { Some(value) }
    }

    fn number(&mut self) -> Option<f64> {
        let value = if self.take("(") {
            let inner = self.sum()?;
            self.take(")").then_some(inner)?
        } else if self.take("pi") {
            PI
        } else {
            let number = self.peek().parse::<f64>().ok()?;
            self.at += 1;
            number
        };
        Some(if self.take("%") { value / 100.0 } else { value })
    }
}

fn reckoned(working: &str) -> Option<f64> {
    let mut calculator = Calculator { tokens: tokens(working), at: 0 };
    let value = calculator.sum()?;
    (calculator.at == calculator.tokens.len()).then_some(value)
}

/// The number behind the `=`, and one of its last digit.
fn shown(result: &str) -> (f64, f64) {
    let number = result.split_whitespace().next().unwrap_or_default().trim_end_matches(',');
    let decimals = number.split_once('.').map_or(0, |(_, after)| after.len());
    (number.parse().expect("a number"), 0.1_f64.powi(i32::try_from(decimals).expect("few")))
}

/// Lines that are no sum but say where a number is from.
const TOLD: [&str; 7] = [
    "as given",
    "of the same shape",
    "rings between",
    "degrees Celsius",
    "plus or minus",
    "targets, ",
    "piece by piece",
];

fn every_line_is_right(steps: &[Step]) -> usize {
    let sums = steps.iter().filter(|step| !TOLD.iter().any(|told| step.working.contains(told)));
    let mut checked = 0;
    for Step { what, working, result } in sums {
        let (value, last) = shown(result);
        let found = reckoned(working).unwrap_or_else(|| panic!("{what}: {working}: {:?}", tokens(working)));
        assert!((found - value).abs() <= 1.01 * last, "{what}: {working} = {result}, reckoned {found}");
        checked += 1;
    }
    checked
}

#[test]
fn the_tests_own_calculator_reckons_as_people_write() {
    for (working, value) in [
        ("2.5 x (1.45 - 1) / (1.45 x (2.5 - 1))", 15.0 / 29.0),
        ("wall 2 pi x 4 cm x 9 cm + floor pi x (4 cm)^2", 88.0 * PI),
        ("300 g x 11.00 % - 14 g in it already", 19.0),
        ("29 g / (1 - 6 %)^2 for shrinkage; some words, 3", 29.0 / 0.8836),
    ] {
        let found = reckoned(working).unwrap();
        assert!((found / value - 1.0).abs() < 1e-12, "{working}: {found}");
    }
    assert_eq!(reckoned("2 x (3 - 1"), None);
}

#[test]
fn every_line_of_the_working_can_be_checked_by_hand() {
    let vessel =
        json!({ "by": "vessel", "empty_g": 82.1, "water_g": [182.3, 182.0], "slop_g": [227.5, 227.1] });
    let mix = json!({ "by": "mix", "dry_g": 1007, "water_g": 943 });
    let drying = json!({ "by": "drying", "wet_g": 31.3, "dry_g": 16.2 });
    let glazes = [
        example()["glaze"].clone(),
        mix.clone(),
        drying.clone(),
        json!({ "by": "volume", "ounces_per_pint": 28.7, "powder_density_g_ml": 2.63 }),
        json!({ "by": "volume", "g_per_100_ml": 147.3, "powder_density_g_ml": 2.63 }),
        json!({ "by": "several", "measures": [vessel.clone(), mix, drying] }),
        json!({ "by": "several", "measures": [vessel, { "by": "mix", "dry_g": 1007, "water_g": 943 }],
            "powder_density_g_ml": 2.57 }),
    ];
    let forms = [
        json!({ "by": "cylinder", "diameter_mm": 83, "height_mm": 91 }),
        json!({ "by": "cylinder", "diameter_mm": 83, "height_mm": 91, "corner_mm": 13, "bare_rim_mm": 4 }),
        json!({ "by": "cone", "bottom_mm": 57, "top_mm": 83, "height_mm": 91, "bare_rim_mm": 7 }),
        json!({ "by": "bowl", "diameter_mm": 153, "depth_mm": 61, "bare_rim_mm": 4, "shrinkage_percent": 6.5 }),
        json!({ "by": "square", "width_mm": 71, "length_mm": 83, "height_mm": 61, "corner_mm": 7 }),
        json!({ "by": "oval", "length_mm": 103, "width_mm": 71, "height_mm": 61, "fired_water_g": 303,
            "fired_shrinkage_percent": 5.5 }),
    ];
    let coats = [
        json!({ "by": "dry", "dry_g_per_cm2": 0.0613 }),
        json!({ "by": "tile", "area_cm2": 51, "before_g": 120.4, "after_g": 123.7 }),
        json!({ "by": "piece", "slop_g": 31, "specific_gravity": 1.43, "area_cm2": 263 }),
        json!({ "by": "piece", "slop_g": 31, "specific_gravity": 1.43 }),
        json!({ "by": "fired", "thickness_mm": 0.27, "fired_density_g_ml": 2.4, "loss_on_ignition": 0.07,
            "firing_shrinkage_percent": 5.5 }),
    ];
    let mut checked = 0;
    for (glaze, form) in glazes.iter().flat_map(|glaze| forms.iter().map(move |form| (glaze, form))) {
        for coat in &coats {
            for wanted in [1.39, 1.57] {
                let mut request = with("/glaze", glaze.clone());
                request["form"] = form.clone();
                request["coat"] = coat.clone();
                request["water_c"] = json!(17);
                request["wanted"] = json!({ "specific_gravity": wanted, "slop_ml": 4100 });
                request["ware"] =
                    json!({ "state": "outside", "dry_g": 307, "soaked_g": 341, "outside_slop_g": 13 });
                request["supply"] =
                    json!({ "pieces": 13, "slop_g": 147, "left_in_jug_g": 7, "loss_g_per_piece": 0.7 });
                checked += every_line_is_right(&worked(request).steps);
            }
        }
    }
    assert!(checked > 3000, "{checked} lines");
}

#[test]
fn a_line_that_is_wrong_is_found() {
    let mut steps = worked(example()).steps;
    let at = steps.iter().position(|step| step.what == "Slop per piece").unwrap();
    steps[at].result = "29.03 g".to_owned();
    assert!(std::panic::catch_unwind(|| every_line_is_right(&steps)).is_err());
}

#[test]
fn the_printed_working_ends_with_the_grams_and_says_what_was_taken() {
    let t = worked(Value::Object(example().as_object().unwrap().clone()));
    let text = told(&t);
    let last = text.trim_end().lines().last().unwrap();
    assert!(last.starts_with("Each piece gets 29.00 g of slop, good from 27.55 g to 30.45 g"), "{last}");
    for words in [
        "1. Dry share",
        "Taken because not given: standard uncertainty of specific_gravity = 0.005",
        "All pieces alike:",
        "Most uncertain:",
        "Thicknesses are estimates:",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
}
