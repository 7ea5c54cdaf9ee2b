//! What a batch has besides its target, out of the request that makes it.

use super::ask::{Answer, aim};
use super::problem::Problem;
use super::take::name;
use crate::batch::{Refused, Target};
use crate::pour::finish::Finish;
use crate::pour::vessel::Vessel;
use crate::record::Aim;
use crate::units::{Mass, as_told};
use serde_json::{Map, Value};

/// What a batch has besides its target.
pub(super) struct Plan {
    pub(super) name: String,
    pub(super) pieces: Option<u32>,
    pub(super) pourer: Option<String>,
    pub(super) jug: Option<String>,
    pub(super) vessel: Option<String>,
    pub(super) finish: Option<String>,
    pub(super) glaze_name: Option<String>,
    pub(super) bare: Option<(Mass, Mass)>,
}

/// One of the words that are known here.
fn word(object: &mut Map<String, Value>, key: &'static str, known: &[&str]) -> Answer<Option<String>> {
    match name(object, key)? {
        Some(word) if !known.contains(&word.as_str()) => {
            Err(Problem::field(key, format!("'{word}' is none of {}", known.join(", "))))
        }
        word => Ok(word),
    }
}

/// The lightest ware that can be weighed, g: the least that `[pour] min_piece_g` can be set to, and nothing lighter is taken
/// for a piece.
const LIGHTEST_G: f64 = 1.0;
/// The heaviest ware that a potter lifts onto a scale by hand, g (a guess).
const HEAVIEST_G: f64 = 100_000.0;

/// From the least to the greatest weight of a bare piece.
fn bare(object: &mut Map<String, Value>) -> Answer<Option<(Mass, Mass)>> {
    let Some(value) = object.remove("bare_g").filter(|value| !value.is_null()) else { return Ok(None) };
    let ends = || -> Option<(f64, f64)> {
        let pair = value.as_array().filter(|pair| pair.len() == 2)?;
        pair[0].as_f64().zip(pair[1].as_f64())
    };
    let why = "expected two weights in grams, the least and the greatest of a bare piece, such as [290, 320]";
    let (least, greatest) = ends().ok_or_else(|| Problem::field("bare_g", why))?;
    if let Some(odd) = [least, greatest].into_iter().find(|g| !(LIGHTEST_G..=HEAVIEST_G).contains(g)) {
        let why = format!(
            "{} g is outside {LIGHTEST_G} to {HEAVIEST_G} g, which is what a bare piece can weigh; check the unit and the \
             decimal point",
            as_told(odd)
        );
        return Err(Problem::field("bare_g", why));
    }
    if least > greatest {
        let (least, greatest) = (as_told(least), as_told(greatest));
        let why = format!("{least} g, the least, is over {greatest} g, the greatest: were the two swapped?");
        return Err(Problem::field("bare_g", why));
    }
    Ok(Some((Mass::saturating(least), Mass::saturating(greatest))))
}

/// A target for each piece in turn, each with the batch's tolerance.
pub(super) fn ladder(told: &Value, batch: &Target) -> Answer<Vec<Aim>> {
    let field = "targets_g";
    let list = told.as_array().filter(|list| (1..=MOST_PIECES).contains(&(list.len() as u64)));
    let list = list.ok_or_else(|| {
        let why = format!("expected a list of 1 to {MOST_PIECES} targets in grams, such as [23, 26, 29]");
        Problem::field(field, why)
    })?;
    let each = |(n, value): (usize, &Value)| {
        value.as_f64().and_then(|g| aim(batch, Mass::saturating(g))).ok_or_else(|| {
            let why = format!(
                "{value} is no target with the tolerance of this batch: give grams, each well over its tolerance"
            );
            Problem::field(format!("{field}[{n}]"), why)
        })
    };
    list.iter().enumerate().map(each).collect()
}

/// The targets that the request's own ladder gave.
pub(super) fn climbed(batch: &Target) -> Answer<Vec<Aim>> {
    let aims: Option<Vec<Aim>> = batch.ladder.iter().map(|g| aim(batch, *g)).collect();
    aims.ok_or_else(|| Problem::field("ladder", "a target of it leaves no room for the tolerance"))
}

/// Pieces of a batch; more may be poured.
const MOST_PIECES: u64 = 1000;

/// What a batch takes beside a request for a target.
const OWN: [&str; 10] =
    ["name", "pieces", "pourer", "jug", "vessel", "finish", "glaze_name", "bare_g", "targets_g", "method"];

/// An unknown field of a batch is told with all that are known: those of a target are the request's own.
pub(super) fn with_own_fields(refused: Refused) -> Refused {
    const KNOWN: &str = "expected one of ";
    // Of a field within a section the reason has its last part alone.
    if !refused.reason.starts_with(&format!("unknown field `{}`", refused.field)) {
        return refused;
    }
    let own: String = OWN.iter().map(|name| format!("`{name}`, ")).collect();
    Refused { reason: refused.reason.replacen(KNOWN, &(KNOWN.to_owned() + &own), 1), ..refused }
}

impl Plan {
    /// Pieces planned. Who gives a target for each of several pieces wants all of them poured: there are as many at the least.
    pub(super) fn pieces_for(&self, ladder: &[Aim]) -> u32 {
        let targets = u32::try_from(ladder.len()).unwrap_or(u32::MAX);
        self.pieces.unwrap_or(1).max(targets)
    }
}

/// Takes its own part out of what a batch is made from.
pub(super) fn plan(object: &mut Map<String, Value>) -> Answer<Plan> {
    let title = name(object, "name")?.unwrap_or_else(|| "batch".to_owned());
    let pieces = match object.remove("pieces") {
        None | Some(Value::Null) => None,
        Some(value) => {
            let told = value.as_u64().and_then(|n| u32::try_from(n).ok());
            let told = told.filter(|n| (1..=MOST_PIECES).contains(&u64::from(*n)));
            let why = || Problem::field("pieces", format!("expected a whole number from 1 to {MOST_PIECES}"));
            Some(told.ok_or_else(why)?)
        }
    };
    match object.remove("method") {
        None | Some(Value::Null) => {}
        Some(method) if method == "pour-in" => {}
        Some(_) => return Err(Problem::field("method", "only \"pour-in\" is built so far")),
    }
    Ok(Plan {
        name: title,
        pieces,
        pourer: name(object, "pourer")?,
        jug: name(object, "jug")?,
        vessel: word(object, "vessel", &Vessel::ALL.map(Vessel::word))?,
        finish: word(object, "finish", &Finish::ALL.map(Finish::word))?,
        glaze_name: name(object, "glaze_name")?,
        bare: bare(object)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::batch::TargetRequest;
    use crate::batch::request::from_value;
    use crate::page::view::BatchRequest;
    use serde_json::json;
    use std::collections::BTreeSet;
    use utoipa::PartialSchema;

    /// The members that the description has of it, without those that it takes from elsewhere.
    fn described<T: PartialSchema>() -> BTreeSet<String> {
        let schema = serde_json::to_value(T::schema()).expect("JSON");
        let parts = schema["allOf"].as_array().cloned().unwrap_or_else(|| vec![schema]);
        let members = parts.iter().filter_map(|part| part["properties"].as_object());
        members.flat_map(|members| members.keys().cloned()).collect()
    }

    #[test]
    fn a_bare_weight_that_no_piece_can_have_is_refused_with_what_one_can_weigh() {
        let read = |told: Value| bare(&mut Map::from_iter([("bare_g".to_owned(), told)]));
        let mass = Mass::saturating;
        assert_eq!(read(json!([290, 320])).ok(), Some(Some((mass(290.0), mass(320.0)))));
        assert_eq!(
            read(json!([LIGHTEST_G, HEAVIEST_G])).ok(),
            Some(Some((mass(LIGHTEST_G), mass(HEAVIEST_G))))
        );
        for (told, said) in [
            (json!([1e-300, 320]), "1e-300 g is outside 1 to 100000 g"),
            (json!([0.99, 320]), "0.99 g is outside 1 to 100000 g"),
            (json!([-290, 320]), "-290 g is outside"),
            (json!([290, 1e300]), "1e300 g is outside"),
            (json!([320, 290]), "320 g, the least, is over 290 g, the greatest"),
            (json!([320]), "expected two weights in grams"),
            (json!("300"), "expected two weights in grams"),
        ] {
            let refused = read(told.clone()).expect_err("refused");
            assert_eq!(refused.field.as_deref(), Some("bare_g"), "{told}");
            assert!(refused.detail.starts_with(said), "{told}: {}", refused.detail);
        }
    }

    #[test]
    fn the_lightest_bare_piece_is_as_light_as_the_settings_let_a_piece_be() {
        let set =
            |g: f64| crate::settings::Settings::parse(&format!("[pour]\nmin_piece_g = {g}\n"), "invented");
        assert!(set(LIGHTEST_G).is_ok());
        assert!(set(0.99 * LIGHTEST_G).is_err());
    }

    #[test]
    fn an_unknown_field_of_a_batch_is_refused_with_every_field_that_is_known() {
        let (own, of_target) = (described::<BatchRequest>(), described::<TargetRequest>());
        assert!(own.len() >= 10 && of_target.len() >= 15, "{own:?} {of_target:?}");
        for unknown in ["piecez", "pieces.all", "coat.x"] {
            let whole = json!({ "coat": { "by": "direct", "slop_g": 29 }, unknown: 3 });
            let refused = from_value(&whole).map_err(with_own_fields).unwrap_err();
            assert_eq!(refused.field, unknown);
            let told: BTreeSet<String> =
                refused.reason.split('`').skip(3).step_by(2).map(str::to_owned).collect();
            assert_eq!(told, own.union(&of_target).cloned().collect(), "{}", refused.reason);
        }
        let inner = json!({ "coat": { "by": "direct", "slop_g": 29, "x": 1 } });
        let refused = from_value(&inner).map_err(with_own_fields).unwrap_err();
        assert_eq!((refused.field.as_str(), refused.reason.contains("pieces")), ("coat.x", false));
    }

    #[test]
    fn a_batch_has_a_piece_for_each_target_at_the_least() {
        for (told, targets, pieces) in [
            (None, 0, 1),
            (None, 3, 3),
            (Some(1), 3, 3),
            (Some(3), 3, 3),
            (Some(12), 3, 12),
            (Some(12), 0, 12),
        ] {
            let mut asked = Map::from_iter([("pieces".to_owned(), json!(told))]);
            let plan = plan(&mut asked).unwrap_or_else(|refused| panic!("{}", refused.detail));
            assert_eq!(plan.pieces_for(&vec![Aim::default(); targets]), pieces, "{told:?} {targets}");
        }
    }

    #[test]
    fn an_optional_field_that_is_null_is_not_given() {
        let mut all = OWN.iter().map(|name| ((*name).to_owned(), Value::Null)).collect::<Map<_, _>>();
        all.remove("targets_g");
        let plan = plan(&mut all).unwrap_or_else(|refused| panic!("{}", refused.detail));
        assert_eq!((plan.name.as_str(), plan.pieces, all.len()), ("batch", None, 0));
        assert!(
            [plan.pourer, plan.jug, plan.vessel, plan.finish, plan.glaze_name].iter().all(Option::is_none)
        );
        assert_eq!(plan.bare, None);
        let plain = json!({ "coat": { "by": "direct", "slop_g": 29 } });
        let fields = described::<TargetRequest>();
        for field in fields.iter().filter(|field| *field != "coat") {
            let mut told = plain.clone();
            told[field] = Value::Null;
            assert_eq!(from_value(&told), from_value(&plain), "{field}");
        }
    }

    #[test]
    fn every_field_that_is_told_as_known_is_taken() {
        let Value::Object(mut all) = json!({ "name": "invented", "pieces": 3, "pourer": "A", "jug": "B", "vessel": "jug",
            "finish": "stop", "glaze_name": "C", "bare_g": [290, 320], "targets_g": [29], "method": "pour-in" })
        else {
            unreachable!()
        };
        assert_eq!(all.len(), OWN.len());
        assert!(OWN.iter().all(|name| all.contains_key(*name)));
        // The targets are read beside the target, which they need.
        all.remove("targets_g");
        let plan = plan(&mut all).unwrap_or_else(|refused| panic!("{}", refused.detail));
        assert_eq!((plan.name.as_str(), plan.pieces, all.len()), ("invented", Some(3), 0));
    }
}
