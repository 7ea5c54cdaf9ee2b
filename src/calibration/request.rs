//! A calibration as it is told: shape only, numbers not yet judged.

use crate::batch::{Refused, unique};
use crate::units::plain::plainly;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

/// What was set on the pan, and what the scale showed.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CalibrationRequest {
    /// Step of the display, g.
    pub division_g: f64,
    /// Loads with their readings.
    pub points: Vec<PointRequest>,
    /// One load set down several times.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeat: Option<RepeatRequest>,
    /// One load in the centre and towards four corners.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corners: Option<CornersRequest>,
    /// The pour that it is judged for, g; absent: 29.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub net_g: Option<f64>,
    /// How far that pour may be off, g; absent: 5 percent of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance_g: Option<f64>,
    /// Change of a constant load over some minutes, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub creep_g: Option<f64>,
    /// How far the bare pan came back from its zero after that load, g.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zero_return_g: Option<f64>,
    /// Rounds of zero and span, a minute apart, until two were alike; 30: they never were.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warm_up_rounds: Option<u32>,
    /// How far checks of this scale were off, over the mass, beyond what their readings scatter (a standard uncertainty): its
    /// drift between calibrations. Absent: found from the checks that are kept, where there are ten.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drift_share: Option<f64>,
    /// What a bare piece weighs, g; absent: as the latest that were poured, or 300.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece_g: Option<f64>,
    /// Temperature of the room, degrees Celsius.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub room_c: Option<f64>,
    /// Who did it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
}

/// One load.
#[derive(Clone, Debug, Default, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PointRequest {
    /// What the mass is worth, g; 0: the bare pan.
    pub nominal_g: f64,
    /// `E1` to `M3` of OIML R 111, or `F` of NIST Handbook 105-1; a load may be made up of several weights of one set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub class: Option<String>,
    /// Its limit of error, mg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mpe_mg: Option<f64>,
    /// Expanded uncertainty (k = 2) of its certificate, mg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty_mg: Option<f64>,
    /// What the scale showed, g: one for each time it was set down.
    pub readings_g: Vec<f64>,
    /// What it showed without this mass each time, g: a bare pan, or a piece that it is set upon.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub base_readings_g: Option<Vec<f64>>,
    /// `up` or `down`, in a series.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub direction: Option<String>,
    /// Where on the pan, in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub position: Option<String>,
}

/// One load set down several times.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RepeatRequest {
    /// The load, g.
    pub load_g: f64,
    /// What the scale showed each time, g.
    pub readings_g: Vec<f64>,
    /// Standard uncertainty of that mass, g; absent: that of a point with the same mass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u_mass_g: Option<f64>,
}

/// One load in five places.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CornersRequest {
    /// What it showed in the centre, g.
    pub centre_g: f64,
    /// What it showed towards each of four corners, g.
    pub readings_g: Vec<f64>,
}

impl CalibrationRequest {
    /// Whether this term of the budget was tried. One that was not counts as nothing, which is not to be read as none.
    pub fn tells(&self, term: &str) -> bool {
        match term {
            "off the centre" => self.corners.is_some(),
            "creep" => self.creep_g.is_some(),
            "drift" => self.drift_share.is_some(),
            _ => true,
        }
    }
}

/// A request from JSON text; a refusal names the field that does not fit.
///
/// # Errors
/// See there.
pub fn from_json(text: &str) -> Result<CalibrationRequest, Refused> {
    let whole: Value = unique::json(text.as_bytes())
        .map_err(|error| Refused::new("request", format!("not JSON: {error}; check commas and quotes")))?;
    from_value(&whole)
}

/// A request from JSON already read; a refusal names the field that does not fit.
///
/// # Errors
/// See there.
pub fn from_value(whole: &Value) -> Result<CalibrationRequest, Refused> {
    if let Some(points) = whole.get("points").and_then(Value::as_array) {
        let each = |(n, part)| shaped::<PointRequest>(part, &format!("points[{n}]")).map(drop);
        points.iter().enumerate().try_for_each(each)?;
    }
    let section = |name| whole.get(name).filter(|part| !part.is_null());
    section("repeat").map_or(Ok(()), |part| shaped::<RepeatRequest>(part, "repeat").map(drop))?;
    section("corners").map_or(Ok(()), |part| shaped::<CornersRequest>(part, "corners").map(drop))?;
    shaped(whole, "")
}

/// Members that are words.
const WORDS: [&str; 7] = ["class", "direction", "position", "operator", "name", "says", "parts"];
/// Members that are lists.
const LISTS: [&str; 4] = ["points", "readings_g", "base_readings_g", "masses"];

/// A part of a request as its type; a refusal names the member that does not fit.
///
/// # Errors
/// See there.
pub fn shaped<T: DeserializeOwned>(part: &Value, at: &str) -> Result<T, Refused> {
    // A list would pass for its members in their order.
    if !part.is_object() {
        let field = if at.is_empty() { "request" } else { at };
        let looks = look(at).unwrap_or(r#"{"division_g": 0.1, "points": []}"#);
        return Err(Refused::new(field, format!("expected an object, such as {looks}")));
    }
    T::deserialize(part).map_err(|error| {
        let reason = plainly(&error.to_string());
        let told = reason.contains(" field `").then(|| reason.split('`').nth(1).map(str::to_owned)).flatten();
        let inner = told.or_else(|| odd_one(part));
        let field = match (at, inner) {
            ("", None) => "request".to_owned(),
            ("", Some(inner)) => inner,
            (at, None) => at.to_owned(),
            (at, Some(inner)) => format!("{at}.{inner}"),
        };
        let looks = look(&field)
            .filter(|_| reason.starts_with("expected "))
            .map(|looks| format!("; give such as {looks}"));
        Refused::new(field, reason + &looks.unwrap_or_default())
    })
}

/// What a part or a list looks like; the numbers are invented.
fn look(field: &str) -> Option<&'static str> {
    let last = field.rsplit('.').next().unwrap_or(field);
    Some(match last.split('[').next().unwrap_or(last) {
        "points" if last.ends_with(']') => {
            r#"{"nominal_g": 200, "class": "M1", "readings_g": [200.6, 200.5]}"#
        }
        "points" => r#"[{"nominal_g": 200, "class": "M1", "readings_g": [200.6, 200.5]}]"#,
        "masses" if last.ends_with(']') => r#"{"nominal_g": 50, "class": "M1"}"#,
        "readings_g" | "base_readings_g" => "[200.6, 200.5]",
        "repeat" => r#"{"load_g": 200, "readings_g": [200.6, 200.5]}"#,
        "corners" => r#"{"centre_g": 200, "readings_g": [200.1, 200, 199.9, 200]}"#,
        _ => return None,
    })
}

/// The first member that is not of the kind that its name says.
fn odd_one(part: &Value) -> Option<String> {
    let numbers = |value: &Value| value.as_array().is_some_and(|l| l.iter().all(Value::is_number));
    let fits = |name: &str, value: &Value| match name {
        "points" | "masses" => value.is_array(),
        name if LISTS.contains(&name) => numbers(value),
        name if WORDS.contains(&name) => value.is_string(),
        "repeat" | "corners" => value.is_object(),
        _ => value.is_number() || value.is_boolean(),
    };
    let members = part.as_object()?.iter().filter(|(_, value)| !value.is_null());
    members.into_iter().find(|(name, value)| !fits(name, value)).map(|(name, _)| name.clone())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_does_not_fit_is_named_by_its_place() {
        for (text, field) in [
            ("{}", "division_g"),
            (r#"{ "division_g": "fine", "points": [] }"#, "division_g"),
            (r#"{ "division_g": 0.1, "points": "none" }"#, "points"),
            (r#"{ "division_g": 0.1, "points": [{ "nominal_g": 5 }] }"#, "points[0].readings_g"),
            (
                r#"{ "division_g": 0.1, "points": [{ "nominal_g": "5", "readings_g": [5] }] }"#,
                "points[0].nominal_g",
            ),
            (
                r#"{ "division_g": 0.1, "points": [], "repeat": { "load_g": 5, "readings_g": 5 } }"#,
                "repeat.readings_g",
            ),
            (r#"{ "division_g": 0.1, "points": [], "corners": { "center_g": 5 } }"#, "corners.center_g"),
            (r#"{ "division_g": 0.1, "points": [], "colour": 5 }"#, "colour"),
            ("[]", "request"),
        ] {
            let refused = from_json(text).unwrap_err();
            assert_eq!(refused.field, field, "{text}: {}", refused.reason);
        }
    }
}
