//! Weights and sizes in the units that the studio is shown: beside what the contract has in grams and millimetres, and as
//! they are typed.
//!
//! Only for who asks for them (the header `Shown`, or `/api/live?shown`): what others are told stays as it is.

use super::Page;
use crate::units::shown::{Quantity, Shown, WeightIn, typed};
use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;
use serde_json::{Map, Value, json};
use std::convert::Infallible;
use std::sync::Arc;

/// The header of a request whose reply is to hold what is shown.
pub(super) const HEADER: &str = "shown";
/// Sizes of pieces; layers stay in millimetres.
const LENGTHS: [&str; 11] = [
    "diameter_mm",
    "height_mm",
    "depth_mm",
    "bottom_mm",
    "top_mm",
    "width_mm",
    "length_mm",
    "corner_mm",
    "bare_rim_mm",
    "points_mm",
    "offset_mm",
];
/// Sentences of the daemon's own that tell weights.
const SENTENCES: [&str; 6] = ["sentence", "detail", "warnings", "largest_doubt", "says", "amiss_says"];

/// What stands under this name.
fn quantity(name: &str) -> Option<Quantity> {
    if LENGTHS.contains(&name) {
        return Some(Quantity::Length);
    }
    if name == "area_cm2" {
        return Some(Quantity::Area);
    }
    let weight = ["_g", "_g_s", "_g_per_piece"].iter().any(|end| name.ends_with(end)) || name == "grams";
    (weight && !name.ends_with("_per_g")).then_some(Quantity::Weight)
}

/// A number, or a list of them, as shown; nothing where there is none.
fn of(shown: Shown, quantity: Quantity, kept: &Value) -> Option<Value> {
    match kept {
        Value::Null => Some(Value::Null),
        Value::Number(number) => Some(json!(shown.of(quantity, number.as_f64()?))),
        Value::Array(list) => list.iter().map(|kept| of(shown, quantity, kept)).collect(),
        Value::Bool(_) | Value::String(_) | Value::Object(_) => None,
    }
}

/// The weights that a reply tells, g, twice and half as much (k = 2, either way) and the half-width of limits, so that a
/// sentence beside them is rounded once.
fn weights(told: &Value, found: &mut Vec<f64>) {
    match told {
        Value::Array(list) => list.iter().for_each(|one| weights(one, found)),
        Value::Object(object) => {
            let number = |name: &str| object.get(name).and_then(Value::as_f64);
            found.extend(number("target_g").zip(number("low_g")).map(|(target, low)| target - low));
            for (name, value) in object {
                match value.as_f64().filter(|_| quantity(name) == Some(Quantity::Weight)) {
                    Some(g) => found.extend([g, 2.0 * g, 0.5 * g]),
                    None => weights(value, found),
                }
            }
        }
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// Puts a member `shown` into every object that tells weights or sizes, and tells its sentences anew.
fn dress(shown: Shown, known_g: &[f64], told: &mut Value) {
    match told {
        Value::Array(list) => list.iter_mut().for_each(|one| dress(shown, known_g, one)),
        Value::Object(object) => dress_object(shown, known_g, object),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

fn dress_object(shown: Shown, known_g: &[f64], object: &mut Map<String, Value>) {
    let mut beside = Map::new();
    // A mass is called as it was told, perhaps by what is stamped on it.
    let by_name = object.get("mass").is_some_and(Value::is_string);
    let of_size = is_size(object.get("field"));
    for (name, value) in object.iter_mut() {
        if of_size && name == "detail" {
            resize(shown, value);
        }
        if SENTENCES.contains(&name.as_str()) && !(by_name && name == "says") {
            retell(shown, known_g, value);
        }
        match quantity(name).and_then(|quantity| of(shown, quantity, value)) {
            Some(seen) => drop(beside.insert(name.clone(), seen)),
            None => dress(shown, known_g, value),
        }
    }
    // The points of a curve: seconds and grams.
    if let Some(points) = object.get("points").and_then(|points| curve(shown, points)) {
        beside.insert("points".to_owned(), points);
    }
    if !beside.is_empty() {
        object.insert("shown".to_owned(), Value::Object(beside));
    }
}

fn curve(shown: Shown, points: &Value) -> Option<Value> {
    let point =
        |pair: &Value| Some(json!([pair[0].as_f64()?, shown.of(Quantity::Weight, pair[1].as_f64()?)]));
    points.as_array()?.iter().map(point).collect()
}

fn retell(shown: Shown, known_g: &[f64], told: &mut Value) {
    match told {
        Value::String(sentence) => *sentence = shown.retold_of(sentence, known_g),
        Value::Array(list) => list.iter_mut().for_each(|one| retell(shown, known_g, one)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::Object(_) => {}
    }
}

/// A refusal's field is a size: `form.diameter_mm`, `form.points_mm[2]`.
fn is_size(field: Option<&Value>) -> bool {
    let last = field.and_then(Value::as_str).and_then(|field| field.rsplit('.').next());
    let name = last.map(|last| last.split('[').next().unwrap_or(last));
    name.and_then(quantity).is_some_and(|quantity| quantity != Quantity::Weight)
}

fn resize(shown: Shown, told: &mut Value) {
    if let Value::String(sentence) = told {
        *sentence = shown.size_retold(sentence);
    }
}

/// Goes with a reply: weights that its sentences tell rounded, in full, g.
#[derive(Clone, Debug)]
pub(super) struct Exact(pub(super) Vec<f64>);

/// JSON text with what is shown in it; `exact_g` are weights that its sentences tell and no number beside them does.
pub(super) fn dressed(shown: Shown, text: &[u8], exact_g: &[f64]) -> Option<String> {
    let mut told: Value = serde_json::from_slice(text).ok()?;
    let mut known_g = exact_g.to_vec();
    if shown.weight == WeightIn::Ounce {
        weights(&told, &mut known_g);
    }
    dress(shown, &known_g, &mut told);
    super::told::text(&told).ok()
}

/// The units of sentences: the studio's where the request asks for what is shown, else grams.
pub(super) struct Told(pub(super) Shown);

impl FromRequestParts<Arc<Page>> for Told {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, page: &Arc<Page>) -> Result<Self, Infallible> {
        let asked = parts.headers.contains_key(HEADER);
        Ok(Self(if asked { page.shown } else { Shown::default() }))
    }
}

/// Dresses the reply where the request asks for it.
pub(super) async fn reply(State(page): State<Arc<Page>>, request: Request, next: Next) -> Response {
    let asked = request.headers().contains_key(HEADER);
    let response = next.run(request).await;
    let json = response.headers().get(header::CONTENT_TYPE).is_some_and(is_json);
    if !asked || !json {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    // Our own replies are whole and in memory already.
    let told = to_bytes(body, usize::MAX).await.unwrap_or_else(|_| Bytes::new());
    let exact = parts.extensions.remove::<Exact>().map_or(Vec::new(), |Exact(exact_g)| exact_g);
    let body = match dressed(page.shown, &told, &exact) {
        Some(text) => Body::from(text),
        None => Body::from(told),
    };
    parts.headers.remove(header::CONTENT_LENGTH);
    Response::from_parts(parts, body)
}

fn is_json(kind: &HeaderValue) -> bool {
    kind.to_str().is_ok_and(|kind| kind.contains("json"))
}

/// Text with a unit, such as `"slop_g": "1.02 oz"`, becomes the number that the name promises.
pub(super) fn plain(asked: &mut Map<String, Value>) {
    if let Some(Value::Array(masses)) = asked.get_mut("masses") {
        masses.iter_mut().filter_map(Value::as_object_mut).for_each(call);
    }
    for (name, value) in asked.iter_mut() {
        match quantity(name) {
            Some(quantity) => number(quantity, value),
            None => inner(value),
        }
    }
}

/// A reference mass that is told with its unit is called so, unless it has a name.
fn call(mass: &mut Map<String, Value>) {
    let Some(told) = mass.get("nominal_g").and_then(Value::as_str).map(|told| told.trim().to_owned()) else {
        return;
    };
    let unnamed = mass.get("name").is_none_or(Value::is_null);
    if !unnamed || typed(Quantity::Weight, &told).is_none() {
        return;
    }
    let name = mass.get("coins").and_then(Value::as_u64).map_or(told.clone(), |n| format!("{n} × {told}"));
    mass.insert("name".to_owned(), json!(name));
}

fn inner(value: &mut Value) {
    match value {
        Value::Object(object) => plain(object),
        Value::Array(list) => list.iter_mut().for_each(inner),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

fn number(quantity: Quantity, value: &mut Value) {
    match value {
        Value::String(text) => {
            if let Some(kept) = typed(quantity, text) {
                *value = json!(kept);
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|one| number(quantity, one)),
        Value::Object(object) => plain(object),
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::shown::LengthIn;

    const OUNCES: Shown = Shown { weight: WeightIn::Ounce, length: LengthIn::Inch };

    #[test]
    fn what_is_shown_stands_beside_the_grams_and_changes_none() {
        let told = r#"{"net_g":28.349523125,"left_g":null,"form":{"by":"cylinder","diameter_mm":50.8,"points_mm":[[0,25.4]]},
            "targets_g":[56.69904625],"warnings":["only 28.3 g left","0.06 g/cm2"],"wet_film_mm":0.7,"flow_g_s":8}"#;
        let dressed: Value = serde_json::from_str(&dressed(OUNCES, told.as_bytes(), &[]).unwrap()).unwrap();
        assert_eq!(dressed["net_g"], json!(28.349523125));
        assert_eq!(
            dressed["shown"],
            json!({"net_g": 1.0, "left_g": null, "targets_g": [2.0], "flow_g_s": 0.282192})
        );
        assert_eq!(dressed["form"]["shown"], json!({"diameter_mm": 2.0, "points_mm": [[0.0, 1.0]]}));
        assert_eq!(dressed["warnings"], json!(["only 1.000 oz left", "0.06 g/cm2"]));
    }

    /// 28.6034 g are 1.00896 oz, and 28.6 g, which they are rounded to, 1.00884 oz: by hand, with 28.349523125 g an ounce.
    #[test]
    fn a_weight_that_the_reply_tells_is_rounded_once_in_its_sentences() {
        let told = json!({ "supply": { "left_g": 28.6034 }, "target_g": 29.0, "low_g": 27.5566, "piece_u_g": 0.1476,
            "warnings": ["28.60 g left, 1.44 g either way, 0.30 g (k = 2), 600 g in all, 3.33 g of which no number tells"] });
        let dressed: Value =
            serde_json::from_str(&dressed(OUNCES, told.to_string().as_bytes(), &[]).unwrap()).unwrap();
        let said = "1.0090 oz left, 0.0509 oz either way, 0.0104 oz (k = 2), 21.16 oz in all, 0.1175 oz of which no number tells";
        assert_eq!(dressed["warnings"], json!([said]));
    }

    /// 28.6499 g are 1.01060 oz, and 28.6 g, which they are rounded to, 1.00884 oz; 312.3456 g are 11.01767 oz, and 312.3 g
    /// 11.01606 oz: by hand, with 28.349523125 g an ounce.
    #[test]
    fn a_weight_that_only_a_sentence_tells_is_rounded_once_where_it_goes_with_the_reply_in_full() {
        let told = json!({ "detail": "28.6 g is too near to a piece of 312.3 g in the log" }).to_string();
        let said = |exact_g: &[f64]| {
            let dressed: Value =
                serde_json::from_str(&dressed(OUNCES, told.as_bytes(), exact_g).unwrap()).unwrap();
            dressed["detail"].as_str().unwrap().to_owned()
        };
        assert_eq!(said(&[28.6499, 312.3456]), "1.011 oz is too near to a piece of 11.018 oz in the log");
        assert_eq!(said(&[]), "1.009 oz is too near to a piece of 11.016 oz in the log", "rounded twice");
    }

    #[test]
    fn a_refused_size_is_told_in_the_studio_s_unit_and_a_refused_layer_is_not() {
        let told = |field: &str| {
            let refused =
                json!({ "status": 422, "field": field, "detail": "1200 mm is outside 0 to 600 mm" });
            dressed(OUNCES, refused.to_string().as_bytes(), &[]).unwrap()
        };
        for size in ["form.diameter_mm", "form.points_mm[2]", "form.points_mm[2][0]"] {
            assert!(told(size).contains("47.24 inch is outside 0 to 23.62 inch"), "{}", told(size));
        }
        assert!(told("coat.fired_mm").contains("1200 mm is outside"));
    }

    #[test]
    fn a_mass_that_was_told_with_its_unit_is_called_so_and_one_with_a_name_by_its_name() {
        let Value::Object(mut asked) = json!({"masses": [{"nominal_g": "2 oz", "mpe_mg": 5}, {"nominal_g": 50, "class": "M1"},
            {"nominal_g": "50 g", "name": "the brass one"}, {"nominal_g": "0.2 oz", "coins": 40}, {"nominal_g": "two oz"}]})
        else {
            unreachable!()
        };
        plain(&mut asked);
        assert_eq!(asked["masses"][0], json!({"nominal_g": 56.69904625, "mpe_mg": 5, "name": "2 oz"}));
        assert_eq!(asked["masses"][1], json!({"nominal_g": 50, "class": "M1"}));
        assert_eq!(asked["masses"][2], json!({"nominal_g": 50.0, "name": "the brass one"}));
        assert_eq!(asked["masses"][3]["name"], "40 × 0.2 oz");
        assert_eq!(asked["masses"][4], json!({"nominal_g": "two oz"}));
    }

    #[test]
    fn a_step_names_its_mass_as_it_was_told_and_what_is_amiss_in_the_units_of_the_studio() {
        let told = r#"{"says":"Put 50 g in the middle","mass":"50 g","mass_g":50,"amiss_says":"That looks like 20 g."}"#;
        let step: Value = serde_json::from_str(&dressed(OUNCES, told.as_bytes(), &[]).unwrap()).unwrap();
        assert_eq!(step["says"], "Put 50 g in the middle");
        // 20 / 28.349523125 = 0.7055, worked by hand.
        assert_eq!(step["amiss_says"], "That looks like 0.71 oz.");
        let told = r#"{"says":"Put something of 150 to 600 g on, hands off","mass":null,"amiss_says":null}"#;
        let step: Value = serde_json::from_str(&dressed(OUNCES, told.as_bytes(), &[]).unwrap()).unwrap();
        assert_eq!(step["says"], "Put something of 5.29 to 21.16 oz on, hands off");
    }

    #[test]
    fn what_was_typed_in_ounces_and_inches_is_taken_as_grams_and_millimetres() {
        let Value::Object(mut asked) = json!({"coat": {"by": "direct", "slop_g": "1 oz"}, "name": "1 oz",
            "form": {"by": "cylinder", "diameter_mm": "2 inch", "height_mm": "8 cm", "points_mm": [["1 inch", 2]]},
            "area_cm2": "10 in2", "bare_g": ["10 oz", "12 oz"], "low_g": "a few oz"})
        else {
            unreachable!()
        };
        plain(&mut asked);
        assert_eq!(asked["coat"]["slop_g"], json!(28.349523125));
        assert_eq!(
            (&asked["form"]["diameter_mm"], &asked["form"]["height_mm"]),
            (&json!(50.8), &json!(80.0))
        );
        assert_eq!(asked["form"]["points_mm"], json!([[25.4, 2]]));
        assert!((asked["area_cm2"].as_f64().unwrap() - 64.516).abs() < 1e-12);
        assert_eq!(asked["bare_g"], json!([283.49523125, 340.1942775]));
        // What is no weight is left to whoever reads the field, and says so.
        assert_eq!((&asked["low_g"], &asked["name"]), (&json!("a few oz"), &json!("1 oz")));
    }
}
