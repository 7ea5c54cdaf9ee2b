//! What may stand among the potter's own glazes, forms and coats: what a target can be reckoned from.
//!
//! Never keeps anything; says what can't be used before it is kept.

use super::bounds::{Refused, within};
use super::request::{TargetRequest, from_value};
use super::sum::{Target, target};
use serde_json::{Map, Value, json};

/// What of a request describes the bucket.
const OF_GLAZE: [&str; 6] =
    ["glaze", "water_c", "u_specific_gravity", "u_powder_density_g_ml", "u_dry_g", "u_water_g"];
/// What is noted of a bucket and never reckoned with, each with its greatest value; the last two in a version that only
/// says that slop came, or how much was there then.
const NOTES: [(&str, f64, &str); 4] =
    [("slop_g", 1e6, "g"), ("cup_s", 600.0, "s"), ("came_g", 1e6, "g"), ("there_g", 1e6, "g")];
/// What is noted in words.
const WORDS: [&str; 2] = ["deflocculant", "sieved"];
/// Longest of these, in characters (own choice).
const LONGEST: usize = 80;

/// A bucket: `glaze` as in a target request, with `water_c` and the uncertainties that may stand beside it; and of it
/// `slop_g` (how much there is), `cup_s` (seconds through a cup), `deflocculant` and `sieved` (words), `came_g` or `there_g`
/// (slop that came to a jug, or was there then).
///
/// # Errors
/// What can't be used, by its field.
pub fn check_glaze(body: &Map<String, Value>) -> Result<(), Refused> {
    let mut whole = Map::from_iter([("coat".to_owned(), usual_grams())]);
    for (key, value) in body {
        match NOTES.iter().find(|(name, ..)| name == key) {
            Some((name, most, unit)) => {
                let number = value.as_f64().ok_or_else(|| Refused::new(*name, "expected a number"))?;
                within(name, number, 0.0, *most, unit)?;
            }
            None if WORDS.contains(&key.as_str()) => words(key, value)?,
            None if OF_GLAZE.contains(&key.as_str()) => drop(whole.insert(key.clone(), value.clone())),
            None => return Err(unknown(key, &[&OF_GLAZE[..], &["slop_g", "cup_s"], &WORDS].concat())),
        }
    }
    needs(&whole, "glaze")?;
    reckoned(whole).map(drop)
}

/// The inside of a piece: `form` as in a target request, with `u_area_percent`.
///
/// # Errors
/// What can't be used, by its field.
pub fn check_form(body: &Map<String, Value>) -> Result<(), Refused> {
    only(body, &["form", "u_area_percent"])?;
    needs(body, "form")?;
    let mut whole = body.clone();
    whole.insert("coat".to_owned(), usual_grams());
    reckoned(whole).map(drop)
}

/// A layer: `coat` as in a target request, with `tolerance`.
///
/// # Errors
/// What can't be used, by its field.
pub fn check_coat(body: &Map<String, Value>) -> Result<(), Refused> {
    only(body, &["coat", "tolerance"])?;
    needs(body, "coat")?;
    let mut whole = body.clone();
    // Any bucket and any piece show whether the coat's own numbers can be used: a mug of 250 cm2 in a slop of 1.45.
    whole.insert(
        "glaze".to_owned(),
        json!({ "by": "density", "specific_gravity": 1.45, "powder_density_g_ml": 2.6 }),
    );
    whole.insert("form".to_owned(), json!({ "by": "area", "area_cm2": 250.0 }));
    reckoned(whole).map(drop)
}

/// The request of a batch with the bucket as it is now, and what comes of it.
///
/// # Errors
/// Grams typed in by hand don't follow the bucket; or the bucket can't be used.
pub fn with_bucket(request: &str, bucket: &Map<String, Value>) -> Result<(String, Target), Refused> {
    let whole: Value = serde_json::from_str(request).unwrap_or_default();
    let whole = whole.as_object().filter(|_| super::request::from_bucket(request)).ok_or_else(|| {
        Refused::new("coat", "the grams of this batch were typed in: they don't follow the bucket")
    })?;
    let mut whole = whole.clone();
    for key in OF_GLAZE {
        whole.remove(key);
        if let Some(value) = bucket.get(key) {
            whole.insert(key.to_owned(), value.clone());
        }
    }
    let of_target = TARGET.iter().filter_map(|key| Some(((*key).to_owned(), whole.get(*key)?.clone())));
    let found = reckoned(of_target.collect())?;
    Ok((Value::Object(whole).to_string(), found))
}

/// A form as it is asked for, in words: its shape, and its sizes as they stand there.
pub fn form_words(form: &Value) -> String {
    let shape = form.get("by").and_then(Value::as_str).unwrap_or("form");
    let sizes = form
        .as_object()
        .into_iter()
        .flatten()
        .filter_map(|(_, size)| size.as_f64())
        .map(|size| size.to_string());
    let sizes: Vec<String> = sizes.collect();
    if sizes.is_empty() { shape.to_owned() } else { format!("{shape} {}", sizes.join(" x ")) }
}

/// The inside area of a piece, cm2, from a batch's request; `None` where it does not tell.
pub fn area_cm2(request: &str) -> Option<f64> {
    let whole: Value = serde_json::from_str(request).ok()?;
    let of_target = TARGET.iter().filter_map(|key| Some(((*key).to_owned(), whole.get(*key)?.clone())));
    reckoned(of_target.collect()).ok()?.area.map(|area| area.cm2()).filter(|cm2| *cm2 > 0.0)
}

/// The fields of a target request within that of a batch, but for those that say what to do to the bucket as it was.
const TARGET: [&str; 12] = [
    "glaze",
    "form",
    "coat",
    "tolerance",
    "water_c",
    "ware",
    "u_piece_g",
    "u_specific_gravity",
    "u_powder_density_g_ml",
    "u_area_percent",
    "u_dry_g",
    "u_water_g",
];

fn usual_grams() -> Value {
    json!({ "by": "direct", "slop_g": 29.0 })
}

fn reckoned(whole: Map<String, Value>) -> Result<Target, Refused> {
    let request: TargetRequest = from_value(&Value::Object(whole))?;
    target(&request)
}

fn needs(body: &Map<String, Value>, key: &str) -> Result<(), Refused> {
    let there = body.get(key).is_some_and(Value::is_object);
    if there { Ok(()) } else { Err(Refused::new(key, "missing: give it as in a request for a target")) }
}

fn only(body: &Map<String, Value>, known: &[&str]) -> Result<(), Refused> {
    body.keys().find(|key| !known.contains(&key.as_str())).map_or(Ok(()), |key| Err(unknown(key, known)))
}

fn unknown(key: &str, known: &[&str]) -> Refused {
    Refused::new(key, format!("unknown field: known are {}", known.join(", ")))
}

fn words(key: &str, value: &Value) -> Result<(), Refused> {
    let fits = |text: &&str| text.chars().count() <= LONGEST && !text.chars().any(char::is_control);
    match value.as_str().filter(fits) {
        Some(_) => Ok(()),
        None => {
            Err(Refused::new(key, format!("expected plain text on one line, {LONGEST} characters at most")))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn object(value: Value) -> Map<String, Value> {
        value.as_object().expect("an object").clone()
    }

    /// An invented bucket of this specific gravity.
    fn bucket(sg: f64) -> Value {
        json!({ "glaze": { "by": "density", "specific_gravity": sg, "powder_density_g_ml": 2.5 } })
    }

    #[test]
    fn what_a_target_can_be_reckoned_from_may_stand_on_a_shelf_and_nothing_else() {
        let mut full = object(bucket(1.45));
        for (key, value) in [("slop_g", json!(8200)), ("cup_s", json!(12.5)), ("sieved", json!("80 mesh"))] {
            full.insert(key.to_owned(), value);
        }
        assert_eq!(check_glaze(&full), Ok(()));
        assert_eq!(check_form(&object(json!({ "form": { "by": "area", "area_cm2": 250 } }))), Ok(()));
        let coat = json!({ "coat": { "by": "dry", "dry_g_per_cm2": 0.06 }, "tolerance": { "percent": 5 } });
        assert_eq!(check_coat(&object(coat)), Ok(()));
        let fields = [
            check_glaze(&object(bucket(0.9))),
            check_glaze(&object(json!({ "slop_g": 5 }))),
            check_glaze(&object(json!({ "glaze": bucket(1.45)["glaze"], "colour": 1 }))),
            check_glaze(&object(json!({ "glaze": bucket(1.45)["glaze"], "sieved": "a\nb" }))),
            check_form(&object(json!({ "form": { "by": "area", "area_cm2": -1 } }))),
            check_coat(&object(json!({ "coat": { "by": "dry", "dry_g_per_cm2": 6 } }))),
        ]
        .map(|refused| refused.expect_err("refused").field);
        let wanted = ["glaze.specific_gravity", "glaze", "colour", "sieved", "form.area_cm2"];
        assert_eq!(fields[..5], wanted);
        assert!(fields[5].starts_with("coat"), "{fields:?}");
    }

    #[test]
    fn a_bucket_with_more_water_asks_for_more_slop_and_the_dry_coat_stays() {
        let mut request = object(bucket(1.45));
        request.insert("form".to_owned(), json!({ "by": "area", "area_cm2": 250 }));
        request.insert("coat".to_owned(), json!({ "by": "dry", "dry_g_per_cm2": 0.06 }));
        request.insert("name".to_owned(), json!("invented cups"));
        let (text, thinner) = with_bucket(&Value::Object(request.clone()).to_string(), &object(bucket(1.40)))
            .expect("reckoned");
        // 0.06 x 250 = 15 g dry, over 2.5 x 0.4 / (1.4 x 1.5) = 0.47619.
        assert!((thinner.target.g() - 31.5).abs() < 1e-9, "{:?}", thinner.target);
        assert!((thinner.dry.expect("known").g() - 15.0).abs() < 1e-9);
        let whole: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(
            (&whole["name"], &whole["glaze"]["specific_gravity"]),
            (&json!("invented cups"), &json!(1.4))
        );
        request.insert("coat".to_owned(), usual_grams());
        let typed = with_bucket(&Value::Object(request).to_string(), &object(bucket(1.40)));
        assert_eq!(typed.expect_err("typed in").field, "coat");
    }
}
