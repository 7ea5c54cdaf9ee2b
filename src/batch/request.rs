//! A request for a target, as it arrives: shape only, numbers not yet judged.
//!
//! Never computes. [`super::target`] turns it into checked values or refuses.

use super::bounds::Refused;
use crate::units::plainly;
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

/// How the bucket was measured. Uncertainties may stand here or at the top.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(tag = "by", rename_all = "lowercase", deny_unknown_fields)]
pub enum GlazeRequest {
    /// Weights that went into the mix.
    Mix {
        /// Dry powder, g.
        dry_g: f64,
        /// Water, g.
        water_g: f64,
        /// Standard uncertainty of `dry_g`, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_dry_g: Option<f64>,
        /// Standard uncertainty of `water_g`, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_water_g: Option<f64>,
    },
    /// A known volume of slop was weighed.
    Density {
        /// Slop over water, same volume.
        specific_gravity: f64,
        /// Density of the dry powder's grains, g/mL.
        powder_density_g_ml: f64,
        /// Standard uncertainty of `specific_gravity`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_specific_gravity: Option<f64>,
        /// Standard uncertainty of `powder_density_g_ml`, g/mL.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_powder_density_g_ml: Option<f64>,
    },
    /// A sample was weighed wet, dried, and weighed again.
    Drying {
        /// Sample before drying, g.
        wet_g: f64,
        /// The same sample bone dry, g.
        dry_g: f64,
        /// Standard uncertainty of either weighing, g.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_dry_g: Option<f64>,
    },
}

/// The inside of the piece; all diameters are inside diameters.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(tag = "by", rename_all = "lowercase", deny_unknown_fields)]
pub enum FormRequest {
    /// Points up the inside wall; a floor only if it starts at radius 0.
    Profile {
        /// Pairs of height and inside radius, mm, from the bottom up.
        points_mm: Vec<[f64; 2]>,
        /// Standard uncertainty of the area, percent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_area_percent: Option<f64>,
    },
    /// Straight wall and flat floor.
    Cylinder {
        /// Inside diameter, mm.
        diameter_mm: f64,
        /// Height of the coated wall, mm.
        height_mm: f64,
        /// Standard uncertainty of the area, percent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_area_percent: Option<f64>,
    },
    /// Part of a sphere.
    Bowl {
        /// Inside diameter at the rim, mm.
        diameter_mm: f64,
        /// Depth at the middle, mm.
        depth_mm: f64,
        /// Standard uncertainty of the area, percent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_area_percent: Option<f64>,
    },
    /// Slanting wall and flat floor.
    Cone {
        /// Inside diameter at the floor, mm; 0 for a point.
        bottom_mm: f64,
        /// Inside diameter at the rim, mm.
        top_mm: f64,
        /// Height, mm.
        height_mm: f64,
        /// Standard uncertainty of the area, percent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_area_percent: Option<f64>,
    },
    /// Known already.
    Area {
        /// Inside area, cm2.
        area_cm2: f64,
        /// Standard uncertainty of the area, percent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        u_area_percent: Option<f64>,
    },
}

/// The layer wanted.
#[derive(Clone, Debug, Deserialize, Serialize, PartialEq, ToSchema)]
#[serde(tag = "by", rename_all = "lowercase", deny_unknown_fields)]
pub enum CoatRequest {
    /// Dry powder per area.
    Dry {
        /// g/cm2.
        dry_g_per_cm2: f64,
    },
    /// Thickness after the firing.
    Fired {
        /// Fired thickness, mm.
        thickness_mm: f64,
        /// Density of the fired glaze, g/mL.
        fired_density_g_ml: f64,
        /// Share of the dry mass that the fire drives off, 0 to below 1.
        loss_on_ignition: f64,
        /// How much lengths of the piece shrink from glazing to fired, percent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        firing_shrinkage_percent: Option<f64>,
    },
    /// As on a piece that came out well.
    Piece {
        /// Slop that stayed on it, g.
        slop_g: f64,
        /// Dry share of that slop; or give `specific_gravity`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        solids_fraction: Option<f64>,
        /// Specific gravity of that slop; or give `solids_fraction`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        specific_gravity: Option<f64>,
        /// Inside area of that piece, cm2.
        area_cm2: f64,
    },
    /// The slop itself.
    Direct {
        /// g per piece.
        slop_g: f64,
    },
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
}

/// Whether the request that a batch was made from reckoned its grams from a measured bucket.
/// What is no request was not reckoned at all.
pub fn from_bucket(request: &str) -> bool {
    let whole: Value = serde_json::from_str(request).unwrap_or_default();
    whole.get("glaze").is_some_and(Value::is_object) && whole["coat"]["by"] != "direct"
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
    section::<GlazeRequest>(whole, "glaze")?;
    section::<FormRequest>(whole, "form")?;
    section::<CoatRequest>(whole, "coat")?;
    section::<ToleranceRequest>(whole, "tolerance")?;
    TargetRequest::deserialize(whole).map_err(|error| {
        let reason = plainly(&error.to_string());
        Refused::new(
            named("request", &reason).or_else(|| odd_one(whole)).unwrap_or("request".to_owned()),
            reason,
        )
    })
}

fn section<T: DeserializeOwned>(whole: &Value, name: &str) -> Result<(), Refused> {
    let optional = matches!(name, "glaze" | "form");
    let Some(part) = whole.get(name).filter(|part| !(optional && part.is_null())) else { return Ok(()) };
    T::deserialize(part).map(drop).map_err(|error| {
        let reason = plainly(&error.to_string());
        let inner = named(name, &reason).or_else(|| odd_one(part));
        Refused::new(inner.map_or(name.to_owned(), |inner| format!("{name}.{inner}")), reason)
    })
}

/// The field that serde's message about section `name` speaks of, where it names one.
fn named(name: &str, reason: &str) -> Option<String> {
    if reason.starts_with("unknown variant") && name != "tolerance" {
        return Some("by".to_owned());
    }
    reason.contains(" field `").then(|| reason.split('`').nth(1).map(str::to_owned)).flatten()
}

/// The first member that should be a number and is not.
fn odd_one(part: &Value) -> Option<String> {
    let shapes = ["by", "glaze", "form", "coat", "tolerance"];
    let fits = |name: &str, value: &Value| match name {
        "points_mm" => value.is_array() && value.as_array().into_iter().flatten().all(is_pair),
        _ => value.is_number() || shapes.contains(&name),
    };
    part.as_object()?.iter().find(|(name, value)| !fits(name, value)).map(|(name, _)| name.clone())
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
    fn grams_typed_in_are_not_from_a_bucket_even_where_one_was_measured() {
        let glaze = r#""glaze": { "by": "mix", "dry_g": 1000, "water_g": 800 }"#;
        assert!(from_bucket(&format!(r#"{{ {glaze}, "coat": {{ "by": "dry", "dry_g_per_cm2": 0.06 }} }}"#)));
        assert!(!from_bucket(&format!(r#"{{ {glaze}, "coat": {{ "by": "direct", "slop_g": 29 }} }}"#)));
        assert!(!from_bucket(r#"{ "coat": { "by": "direct", "slop_g": 29 } }"#));
        assert!(!from_bucket("") && !from_bucket("[1]") && !from_bucket(r#"{ "glaze": null }"#));
    }
}
