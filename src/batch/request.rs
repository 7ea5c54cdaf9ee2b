//! A request for a target, as it arrives: shape only, numbers not yet judged.
//!
//! Never computes. [`super::target`] turns it into checked values or refuses.

mod coat;
mod form;
mod glaze;
mod plan;

pub use coat::{CoatRequest, WareRequest, WareState};
pub use form::{FormRequest, ShapeRequest};
pub use glaze::{GlazeRequest, WantedRequest};
pub use plan::{LadderRequest, SupplyRequest};

use super::bounds::Refused;
use crate::units::plain::plainly;
use crate::units::{Mass, as_told};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

/// What the potter measured and wants.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TargetRequest {
    /// The bucket. May be absent when the coat is given directly.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub glaze: Option<GlazeRequest>,
    /// The inside of the piece. May be absent when the coat is given directly.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub form: Option<FormRequest>,
    /// The layer wanted.
    pub coat: CoatRequest,
    /// Plus or minus, around the target; absent: 5 percent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<ToleranceRequest>,
    /// Temperature of the water, in degrees Celsius; absent: water at 1.000 g/mL.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub water_c: Option<f64>,
    /// The bucket is to be changed: told with the target.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wanted: Option<WantedRequest>,
    /// What the ware is like.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ware: Option<WareRequest>,
    /// The slop at hand: is it enough?
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supply: Option<SupplyRequest>,
    /// Targets that differ from piece to piece.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ladder: Option<LadderRequest>,
    /// Standard uncertainty of one weighing of a piece, in grams.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_piece_g: Option<f64>,
    /// Standard uncertainty of the specific gravity.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_specific_gravity: Option<f64>,
    /// Standard uncertainty of the powder density, in g/mL.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_powder_density_g_ml: Option<f64>,
    /// Standard uncertainty of the area, in percent of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_area_percent: Option<f64>,
    /// Standard uncertainty of the dry mass, in grams.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_dry_g: Option<f64>,
    /// Standard uncertainty of the water's mass, in grams.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_water_g: Option<f64>,
}

impl TargetRequest {
    /// A coat and nothing else.
    pub const fn plain(coat: CoatRequest) -> Self {
        Self {
            glaze: None,
            form: None,
            coat,
            tolerance: None,
            water_c: None,
            wanted: None,
            ware: None,
            supply: None,
            ladder: None,
            u_piece_g: None,
            u_specific_gravity: None,
            u_powder_density_g_ml: None,
            u_area_percent: None,
            u_dry_g: None,
            u_water_g: None,
        }
    }
}

/// Plus or minus, around the target.
#[derive(Clone, Copy, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum ToleranceRequest {
    /// Percent of the target.
    Percent(f64),
    /// Grams.
    Grams(f64),
}

impl ToleranceRequest {
    /// Taken when none is given: 5 percent (common practice, no source), 1.45 g at 29 g: wide
    /// enough for a bench scale and a hand. To be set per glaze.
    pub const USUAL_PERCENT: f64 = 5.0;

    /// Plus or minus so much of this target, g.
    pub fn half_g(self, target: Mass) -> f64 {
        match self {
            Self::Percent(percent) => target.g() * percent / 100.0,
            Self::Grams(grams) => grams,
        }
    }
}

/// Less than this, and more than nothing, is no number in grams, millimetres or shares that anybody measured (own choice).
const LEAST: f64 = 1e-12;

/// No number of it is too small to be meant; what is too large is refused with the range of its field.
pub(super) fn meant(request: &TargetRequest) -> Result<(), Refused> {
    // A struct of numbers and words always has a JSON form.
    let whole = serde_json::to_value(request).unwrap_or_default();
    let Some((field, odd)) = too_small(&whole, "") else { return Ok(()) };
    let told = as_told(odd);
    Err(Refused::new(field, format!("{told} is too small to be meant: give 0, or check the decimal point")))
}

/// The first such number, by its path.
fn too_small(value: &Value, at: &str) -> Option<(String, f64)> {
    match value {
        Value::Number(number) => {
            let odd = number.as_f64().filter(|n| *n != 0.0 && n.abs() < LEAST)?;
            Some((at.to_owned(), odd))
        }
        Value::Array(list) => {
            list.iter().enumerate().find_map(|(n, one)| too_small(one, &format!("{at}[{n}]")))
        }
        Value::Object(object) => object.iter().find_map(|(name, one)| {
            let at = if at.is_empty() { name.clone() } else { format!("{at}.{name}") };
            too_small(one, &at)
        }),
        Value::Null | Value::Bool(_) | Value::String(_) => None,
    }
}

/// Whether the request that a batch was made from reckoned its grams from a measured bucket.
/// What is no request was not reckoned at all.
pub fn from_bucket(request: &str) -> bool {
    let whole: Value = serde_json::from_str(request).unwrap_or_default();
    whole.get("glaze").is_some_and(Value::is_object) && whole["coat"]["by"] != "direct"
}

/// How many pieces were foreseen, where the request that a batch was made from tells it: one is taken where it does not.
pub fn foreseen(pieces: u32, request: &str) -> Option<u32> {
    let told = || {
        let whole: Value = serde_json::from_str(request).unwrap_or_default();
        whole.get("pieces").is_some_and(Value::is_u64)
    };
    (pieces > 1 || told()).then_some(pieces)
}

/// A request from JSON text; a refusal names the field that does not fit.
pub fn from_json(text: &str) -> Result<TargetRequest, Refused> {
    let whole: Value = super::unique::json(text.as_bytes())
        .map_err(|error| Refused::new("request", format!("not JSON: {error}; check commas and quotes")))?;
    from_value(&whole)
}

/// A request from JSON already read; a refusal names the field that does not fit.
pub fn from_value(whole: &Value) -> Result<TargetRequest, Refused> {
    if !whole.is_object() {
        return Err(Refused::new("request", "must be a JSON object with a coat"));
    }
    several(whole)?;
    section::<GlazeRequest>(whole, "glaze")?;
    section::<FormRequest>(whole, "form")?;
    section::<CoatRequest>(whole, "coat")?;
    one_tolerance(whole)?;
    section::<ToleranceRequest>(whole, "tolerance")?;
    section::<WantedRequest>(whole, "wanted")?;
    section::<WareRequest>(whole, "ware")?;
    section::<SupplyRequest>(whole, "supply")?;
    section::<LadderRequest>(whole, "ladder")?;
    TargetRequest::deserialize(whole).map_err(|error| {
        let field = named("request", &error.to_string()).or_else(|| odd_one(whole));
        told(&field.unwrap_or("request".to_owned()), &error.to_string())
    })
}

/// What a section, or a list in one, looks like; the numbers are invented.
const LOOKS: [(&str, &str); 12] = [
    ("glaze", r#"{"by": "density", "specific_gravity": 1.45, "powder_density_g_ml": 2.6}"#),
    ("form", r#"{"by": "cylinder", "diameter_mm": 80, "height_mm": 90}"#),
    ("coat", r#"{"by": "dry", "dry_g_per_cm2": 0.057}"#),
    ("tolerance", r#"{"percent": 5}"#),
    ("wanted", r#"{"specific_gravity": 1.45, "slop_g": 8000}"#),
    ("ware", r#"{"state": "dry"}"#),
    ("supply", r#"{"pieces": 12, "slop_g": 600}"#),
    ("ladder", r#"{"targets_g": [23, 26, 29, 32, 35]}"#),
    ("points_mm", "[[0, 0], [0, 35], [90, 40]]"),
    ("targets_g", "[23, 26, 29, 32, 35]"),
    ("measures", r#"[{"by": "mix", "dry_g": 1000, "water_g": 800}]"#),
    ("measures[]", r#"{"by": "mix", "dry_g": 1000, "water_g": 800}"#),
];

/// A refusal in people's words; where a section or a list was wanted, with one.
fn told(field: &str, message: &str) -> Refused {
    let reason = plainly(message);
    let last = field.rsplit('.').next().unwrap_or(field);
    let last = if last.ends_with(']') { "measures[]" } else { last };
    let looks = LOOKS.iter().find(|(name, _)| *name == last && reason.starts_with("expected "));
    Refused::new(field, looks.map_or(reason.clone(), |(_, looks)| format!("{reason}; give such as {looks}")))
}

/// A tolerance is told in one of two ways.
fn one_tolerance(whole: &Value) -> Result<(), Refused> {
    let Some(told) = whole.get("tolerance").and_then(Value::as_object) else { return Ok(()) };
    let (looks, usual) = (r#"{"percent": 5} or {"grams": 1.5}"#, ToleranceRequest::USUAL_PERCENT);
    let both = told.contains_key("percent") && told.contains_key("grams");
    let reason = if both {
        format!("percent and grams are both given: leave one of them out, as in {looks}")
    } else if told.is_empty() {
        format!(
            "neither percent nor grams is given: give one of them, as in {looks}, or leave tolerance out for {usual} percent"
        )
    } else {
        let odd = told.keys().find(|key| !["percent", "grams"].contains(&key.as_str()));
        let Some(odd) = odd else { return Ok(()) };
        format!("unknown field `{odd}`: give percent or grams, as in {looks}")
    };
    Err(Refused::new("tolerance", reason))
}

/// The sections that may be null, which is the same as absent.
const OPTIONAL: [&str; 7] = ["glaze", "form", "tolerance", "wanted", "ware", "supply", "ladder"];

fn section<T: DeserializeOwned>(whole: &Value, name: &str) -> Result<(), Refused> {
    let optional = OPTIONAL.contains(&name);
    let Some(part) = whole.get(name).filter(|part| !(optional && part.is_null())) else { return Ok(()) };
    fits::<T>(part, name)
}

fn fits<T: DeserializeOwned>(part: &Value, name: &str) -> Result<(), Refused> {
    // A list would pass for its members in their order.
    if !part.is_object() {
        return Err(told(name, &format!("invalid type: {}, expected map", kind(part))));
    }
    T::deserialize(part).map(drop).map_err(|error| {
        let inner = named(name, &error.to_string()).or_else(|| odd_one(part));
        told(&inner.map_or(name.to_owned(), |inner| format!("{name}.{inner}")), &error.to_string())
    })
}

/// A value as its reader would name it.
fn kind(value: &Value) -> String {
    match value {
        Value::Null => "null".to_owned(),
        Value::Bool(is) => format!("boolean `{is}`"),
        Value::Number(number) => format!("integer `{number}`"),
        Value::String(text) => format!("string {text:?}"),
        Value::Array(_) => "sequence".to_owned(),
        Value::Object(_) => "map".to_owned(),
    }
}

/// Each of several measurements by its place in the list.
fn several(whole: &Value) -> Result<(), Refused> {
    let measures = whole.get("glaze").and_then(|glaze| glaze.get("measures")).and_then(Value::as_array);
    let mut places = measures.into_iter().flatten().enumerate();
    places.try_for_each(|(n, part)| fits::<GlazeRequest>(part, &format!("glaze.measures[{n}]")))
}

/// The field that serde's message about section `name` speaks of, where it names one.
fn named(name: &str, reason: &str) -> Option<String> {
    if reason.starts_with("unknown variant") && name == "ware" {
        return Some("state".to_owned());
    }
    if reason.starts_with("unknown variant") && name != "tolerance" {
        return Some("by".to_owned());
    }
    reason.contains(" field `").then(|| reason.split('`').nth(1).map(str::to_owned)).flatten()
}

/// Members that are sections or words.
const NO_NUMBERS: [&str; 9] =
    ["by", "glaze", "form", "coat", "tolerance", "wanted", "ware", "supply", "ladder"];

/// The first member that should be a number, or a list of them, and is not.
fn odd_one(part: &Value) -> Option<String> {
    let listed =
        |value: &Value, fits: fn(&Value) -> bool| value.as_array().is_some_and(|l| l.iter().all(fits));
    let glaze_lists = part.get("by").is_some_and(|by| by == "vessel");
    let fits = |name: &str, value: &Value| match name {
        "points_mm" => listed(value, is_pair),
        "targets_g" => listed(value, Value::is_number),
        "water_g" | "slop_g" if glaze_lists => listed(value, Value::is_number),
        "measures" => value.is_array(),
        "state" | "bisque_cone" => value.is_string(),
        "pieces" | "steps" | "of_each" | "seed" => value.is_u64(),
        _ => value.is_number() || NO_NUMBERS.contains(&name),
    };
    let mut odd = part.as_object()?.iter().filter(|(name, value)| !fits(name, value));
    // What is null may be optional: then another one is what does not fit.
    let first = odd.clone().find(|(_, value)| !value.is_null()).or_else(|| odd.next());
    first.map(|(name, _)| name.clone())
}

fn is_pair(value: &Value) -> bool {
    value.as_array().is_some_and(|pair| pair.len() == 2 && pair.iter().all(Value::is_number))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_where_a_number_belongs_is_refused_in_plain_words() {
        let refused = from_json(r#"{ "coat": { "by": "direct", "slop_g": "much" } }"#).unwrap_err();
        assert_eq!(refused.field, "coat.slop_g");
        assert!(refused.reason.contains("expected a number"), "{}", refused.reason);
    }

    #[test]
    fn a_null_that_may_stand_there_is_never_named_as_what_does_not_fit() {
        let refused = |form: &str| {
            let text = format!(r#"{{ "coat": {{ "by": "direct", "slop_g": 29 }}, "form": {form} }}"#);
            from_json(&text).unwrap_err()
        };
        for form in [
            r#"{ "by": "cylinder", "corner_mm": null, "diameter_mm": 80, "height_mm": "x" }"#,
            r#"{ "by": "cylinder", "corner_mm": 5, "diameter_mm": 80, "height_mm": null }"#,
        ] {
            let refused = refused(form);
            assert_eq!(refused.field, "form.height_mm", "{form}: {}", refused.reason);
        }
    }

    #[test]
    fn a_section_that_is_none_is_refused_with_one_that_is() {
        for (told, field, said) in [
            (r#""ladder": "x""#, "ladder", "an object"),
            (r#""supply": [12, 600]"#, "supply", "an object"),
            (r#""ladder": { "targets_g": 23 }"#, "ladder.targets_g", "a list"),
            (r#""ware": { "state": 3 }"#, "ware.state", "a word"),
            (r#""supply": { "pieces": -1, "slop_g": 600 }"#, "supply.pieces", "a whole number from 0"),
            (r#""form": { "by": "profile", "points_mm": [[1, 2, 3]] }"#, "form.points_mm", "two numbers"),
        ] {
            let whole = format!(r#"{{ "coat": {{ "by": "direct", "slop_g": 29 }}, {told} }}"#);
            let refused = from_json(&whole).unwrap_err();
            assert_eq!(refused.field, field, "{told}: {}", refused.reason);
            assert!(refused.reason.starts_with(&format!("expected {said}")), "{told}: {}", refused.reason);
            let example = refused.reason.split("give such as ").nth(1);
            let last = field.rsplit('.').next().unwrap_or(field);
            let fits = |example| {
                let mut request = serde_json::json!({ "coat": { "by": "direct", "slop_g": 29 } });
                let example: Value = serde_json::from_str(example).unwrap();
                match field.split_once('.') {
                    None => request[field] = example,
                    Some(("ladder", _)) => request["ladder"] = serde_json::json!({ last: example }),
                    Some(_) => request["form"] = serde_json::json!({ "by": "profile", last: example }),
                }
                from_value(&request).is_ok()
            };
            assert!(example.is_none_or(fits), "{example:?}");
            assert_eq!(
                example.is_some(),
                said == "an object" || last.starts_with("points") || last.starts_with("targets")
            );
        }
    }

    #[test]
    fn a_tolerance_given_in_both_ways_or_in_none_or_in_another_is_refused_in_plain_words_with_one_that_fits()
    {
        for (told, said) in [
            (r#"{ "percent": 5, "grams": 1 }"#, "percent and grams are both given: leave one"),
            (r#"{ "percent": null, "grams": 1 }"#, "percent and grams are both given: leave one"),
            ("{}", "neither percent nor grams is given: give one of them"),
            (r#"{ "gram": 1 }"#, "unknown field `gram`: give percent or grams"),
            (r#"{ "percent": 5, "x": 1 }"#, "unknown field `x`: give percent or grams"),
        ] {
            let text = format!(r#"{{ "coat": {{ "by": "direct", "slop_g": 29 }}, "tolerance": {told} }}"#);
            let refused = from_json(&text).unwrap_err();
            assert_eq!(refused.field, "tolerance", "{told}");
            assert!(refused.reason.starts_with(said), "{told}: {}", refused.reason);
            assert!(refused.reason.contains(r#"as in {"percent": 5} or {"grams": 1.5}"#), "{told}");
        }
        for fits in [r#"{ "percent": 5 }"#, r#"{ "grams": 1.5 }"#] {
            let text = format!(r#"{{ "coat": {{ "by": "direct", "slop_g": 29 }}, "tolerance": {fits} }}"#);
            assert!(from_json(&text).is_ok(), "{fits}");
        }
    }

    /// Each number of a request in turn is one that nobody means: what is said of it stays short.
    #[test]
    fn a_number_of_hundreds_of_digits_is_refused_or_reckoned_with_and_never_printed_digit_by_digit() {
        let whole = serde_json::json!({
            "glaze": { "by": "density", "specific_gravity": 1.45, "powder_density_g_ml": 2.6 },
            "form": { "by": "cylinder", "diameter_mm": 80, "height_mm": 90, "corner_mm": 10, "bare_rim_mm": 5,
                "shrinkage_percent": 6, "fired_water_g": 400, "fired_shrinkage_percent": 5 },
            "coat": { "by": "fired", "thickness_mm": 0.3, "fired_density_g_ml": 2.5, "loss_on_ignition": 0.08 },
            "tolerance": { "percent": 5 },
            "water_c": 20, "wanted": { "specific_gravity": 1.42, "slop_g": 8000 },
            "ware": { "state": "dry", "dry_g": 300, "soaked_g": 333 },
            "supply": { "pieces": 12, "slop_g": 600, "left_in_jug_g": 10, "loss_g_per_piece": 0.5 },
            "ladder": { "low_g": 23, "high_g": 35, "steps": 5 },
            "u_piece_g": 0.1, "u_specific_gravity": 0.005, "u_area_percent": 2
        });
        let others = [
            serde_json::json!({ "glaze": { "by": "mix", "dry_g": 1000, "water_g": 800 },
                "form": { "by": "profile", "points_mm": [[0, 0], [0, 35], [90, 40]] },
                "coat": { "by": "tile", "area_cm2": 60, "before_g": 151.2, "after_g": 154.7 },
                "tolerance": { "grams": 1.5 } }),
            serde_json::json!({ "coat": { "by": "direct", "slop_g": 29 }, "ladder": { "targets_g": [23, 26] } }),
            serde_json::json!({ "glaze": { "by": "volume", "ounces_per_pint": 29, "powder_density_g_ml": 2.6 },
                "form": { "by": "area", "area_cm2": 250 },
                "coat": { "by": "piece", "slop_g": 29, "solids_fraction": 0.5, "area_cm2": 250 } }),
        ];
        let mut refused = 0;
        for whole in others.iter().chain([&whole]) {
            assert!(from_value(whole).and_then(|fits| crate::batch::target(&fits)).is_ok(), "{whole}");
            for place in numbers(whole, "") {
                for odd in [1e308, -1e308, 1e300, 1e-300] {
                    let mut absurd = whole.clone();
                    *absurd.pointer_mut(&place).unwrap() = serde_json::json!(odd);
                    let said = from_value(&absurd).and_then(|request| crate::batch::target(&request));
                    refused += usize::from(said.is_err());
                    let said =
                        said.map_or_else(|e| e.to_string(), |t| format!("{:?} {:?}", t.warnings, t.steps));
                    let longest = said.split(|c: char| !c.is_ascii_digit()).map(str::len).max();
                    assert!(longest < Some(16), "{place} = {odd}: {said}");
                }
            }
        }
        assert!(refused > 100, "{refused}");
        let mut tiny = whole;
        tiny["form"]["corner_mm"] = serde_json::json!(1e-300);
        let refused = from_value(&tiny).and_then(|request| crate::batch::target(&request)).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "form.corner_mm: 1e-300 is too small to be meant: give 0, or check the decimal point"
        );
    }

    /// The places of all numbers in it, as JSON pointers.
    fn numbers(value: &Value, at: &str) -> Vec<String> {
        match value {
            Value::Number(_) => vec![at.to_owned()],
            Value::Array(list) => {
                list.iter().enumerate().flat_map(|(n, one)| numbers(one, &format!("{at}/{n}"))).collect()
            }
            Value::Object(object) => {
                object.iter().flat_map(|(name, one)| numbers(one, &format!("{at}/{name}"))).collect()
            }
            Value::Null | Value::Bool(_) | Value::String(_) => Vec::new(),
        }
    }

    #[test]
    fn a_tolerance_that_no_scale_can_tell_is_refused_with_the_least_that_is_taken() {
        let target = |tolerance: &str| {
            let text =
                format!(r#"{{ "coat": {{ "by": "direct", "slop_g": 29 }}, "tolerance": {tolerance} }}"#);
            from_json(&text).and_then(|request| crate::batch::target(&request))
        };
        for (small, field) in [(r#"{ "percent": 1e-9 }"#, "percent"), (r#"{ "grams": 0.0009 }"#, "grams")] {
            let refused = target(small).unwrap_err();
            assert_eq!(refused.field, format!("tolerance.{field}"));
            assert!(refused.reason.contains("give 0.001 g or more"), "{}", refused.reason);
        }
        assert!(target(r#"{ "grams": 0.001 }"#).is_ok());
    }

    #[test]
    fn a_key_that_stands_twice_in_a_request_is_refused() {
        let text =
            r#"{ "coat": { "by": "direct", "slop_g": 29 }, "coat": { "by": "direct", "slop_g": 92 } }"#;
        assert!(from_json(text).unwrap_err().reason.contains("`coat` stands there twice"));
    }

    #[test]
    fn pieces_are_foreseen_only_where_the_batch_says_how_many() {
        let coat = r#""coat": { "by": "direct", "slop_g": 29 }"#;
        assert_eq!(foreseen(1, &format!(r#"{{ "pieces": 1, {coat} }}"#)), Some(1));
        assert_eq!(foreseen(1, &format!("{{ {coat} }}")), None);
        assert_eq!((foreseen(1, ""), foreseen(6, "")), (None, Some(6)), "of a demo nothing else is kept");
    }

    #[test]
    fn grams_typed_in_are_not_from_a_bucket_even_where_one_was_measured() {
        let glaze = r#""glaze": { "by": "mix", "dry_g": 1000, "water_g": 800 }"#;
        assert!(from_bucket(&format!(r#"{{ {glaze}, "coat": {{ "by": "dry", "dry_g_per_cm2": 0.06 }} }}"#)));
        assert!(!from_bucket(&format!(r#"{{ {glaze}, "coat": {{ "by": "direct", "slop_g": 29 }} }}"#)));
        assert!(!from_bucket(r#"{ "coat": { "by": "direct", "slop_g": 29 } }"#));
        assert!(!from_bucket("") && !from_bucket("[1]") && !from_bucket(r#"{ "glaze": null }"#));
    }
}
