//! Several numbers in one flag.
//!
//! Never judges them; only that they are numbers, and as many as are wanted.

use crate::batch::Refused;
use crate::batch::request::{CoatRequest, GlazeRequest, LadderRequest, WareState};
use crate::units::shown::{Quantity, typed};

/// Points of `[height, radius]` in mm.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Profile(pub Vec<[f64; 2]>);

/// Numbers with colons between them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct List(pub Vec<f64>);

/// A vessel's readings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Vessel {
    empty_g: f64,
    water_g: Vec<f64>,
    slop_g: Vec<f64>,
}

impl Vessel {
    pub(super) fn request(self) -> GlazeRequest {
        GlazeRequest::Vessel {
            empty_g: self.empty_g,
            water_g: self.water_g,
            slop_g: self.slop_g,
            step_g: None,
            u_repeat_g: None,
            u_fill_ml: None,
            powder_density_g_ml: None,
            u_powder_density_g_ml: None,
        }
    }
}

/// The measurement with the powder's density in it.
pub(super) fn of_powder(mut measure: GlazeRequest, powder: f64) -> GlazeRequest {
    match &mut measure {
        GlazeRequest::Density { powder_density_g_ml, .. }
        | GlazeRequest::Volume { powder_density_g_ml, .. }
        | GlazeRequest::Vessel { powder_density_g_ml, .. }
        | GlazeRequest::Several { powder_density_g_ml, .. } => *powder_density_g_ml = Some(powder),
        GlazeRequest::Mix { .. } | GlazeRequest::Drying { .. } => {}
    }
    measure
}

pub(super) fn like_piece(list: &List) -> Result<CoatRequest, Refused> {
    let (slop_g, gravity, area_cm2) = match list.0.as_slice() {
        [slop, gravity] => (*slop, *gravity, None),
        [slop, gravity, area] => (*slop, *gravity, Some(*area)),
        _ => return Err(Refused::new("coat", "--like-piece takes SLOP:RATIO or SLOP:RATIO:CM2")),
    };
    Ok(CoatRequest::Piece {
        slop_g,
        solids_fraction: None,
        specific_gravity: Some(gravity),
        area_cm2,
        u_slop_g: None,
        u_solids_fraction: None,
        u_specific_gravity: None,
        u_area_percent: None,
    })
}

pub(super) fn like_tile(list: &List) -> Result<CoatRequest, Refused> {
    let [area_cm2, before_g, after_g] = list.0.as_slice() else {
        return Err(Refused::new("coat", "--like-tile takes CM2:BARE:COATED, e.g. 50:120.4:123.5"));
    };
    Ok(CoatRequest::Tile {
        area_cm2: *area_cm2,
        before_g: *before_g,
        after_g: *after_g,
        u_tile_g: None,
        u_area_percent: None,
    })
}

pub(super) fn ladder(list: &List, of_each: Option<u32>, seed: Option<u64>) -> Result<LadderRequest, Refused> {
    let wrong = || Refused::new("ladder.steps", "--ladder takes LOW:HIGH:STEPS, e.g. 23:35:5");
    let [low, high, steps] = list.0.as_slice() else { return Err(wrong()) };
    let count = (1_u32..=100).find(|n| f64::from(*n) == *steps).ok_or_else(wrong)?;
    Ok(LadderRequest {
        targets_g: None,
        low_g: Some(*low),
        high_g: Some(*high),
        steps: Some(count),
        of_each,
        seed,
    })
}

/// The one that was given, or none; two are refused.
pub(super) fn one<T, const N: usize>(
    field: &str,
    flags: &str,
    ways: [Option<T>; N],
) -> Result<Option<T>, Refused> {
    let mut given = ways.into_iter().flatten();
    let first = given.next();
    if given.next().is_some() {
        return Err(Refused::new(field, format!("told in more than one way; give only one of {flags}")));
    }
    Ok(first)
}

pub(super) fn sizes<const N: usize>(text: &str) -> Result<[f64; N], String> {
    let numbers = text.split('x').map(number).collect::<Result<Vec<f64>, String>>()?;
    numbers.try_into().map_err(|_| format!("give {N} lengths in mm with x between them"))
}

pub(super) fn list(text: &str) -> Result<List, String> {
    text.split(':').map(number).collect::<Result<_, _>>().map(List)
}

pub(super) fn vessel(text: &str) -> Result<Vessel, String> {
    let parts: Vec<&str> = text.split(':').collect();
    let [empty, water, slop] = parts.as_slice() else {
        return Err("give the vessel empty, with water, with slop, with colons between them".to_owned());
    };
    let fillings = |text: &str| text.split(',').map(number).collect::<Result<Vec<f64>, String>>();
    Ok(Vessel { empty_g: number(empty)?, water_g: fillings(water)?, slop_g: fillings(slop)? })
}

pub(super) fn ware(text: &str) -> Result<WareState, String> {
    match text {
        "dry" => Ok(WareState::Dry),
        "sponged" => Ok(WareState::Sponged),
        "outside" => Ok(WareState::Outside),
        "fired" => Ok(WareState::Fired),
        _ => Err("give dry, sponged, outside or fired".to_owned()),
    }
}

pub(super) fn profile(text: &str) -> Result<Profile, String> {
    let point = |pair: &str| {
        let (height, radius) =
            pair.split_once(':').ok_or_else(|| format!("`{pair}` is not HEIGHT:RADIUS in mm"))?;
        Ok([number(height)?, number(radius)?])
    };
    text.split(',').map(point).collect::<Result<Vec<_>, String>>().map(Profile)
}

/// Grams, or a weight with its unit, such as `1.02 oz`.
pub(in crate::cli) fn grams(text: &str) -> Result<f64, String> {
    let with_unit = || typed(Quantity::Weight, text);
    let not_one =
        |_| format!("`{text}` is no weight; write grams like 29 or 29.5, or its unit too, like \"1.02 oz\"");
    number(text).or_else(|error| with_unit().ok_or(error)).map_err(not_one)
}

/// With a point or a comma before its decimals; numbers of a list are parted first.
pub(super) fn number(text: &str) -> Result<f64, String> {
    let plain = text.trim().replacen(',', ".", 1);
    let not_one = || format!("`{text}` is not a number; write it like 80 or 80.5");
    plain.parse().map_err(|_| not_one())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_weight_is_grams_or_has_its_unit_and_another_unit_is_refused() {
        // 28.349523125 g is an ounce (international avoirdupois pound of 1959, 0.45359237 kg, over 16).
        assert_eq!(grams("1.5 oz"), Ok(1.5 * 28.349_523_125));
        assert_eq!([grams("29,5"), grams("29.5 g"), grams(" 29.5")], [Ok(29.5), Ok(29.5), Ok(29.5)]);
        for wrong in ["80 mm", "oz", "29 stones", "1.5 oz:M1", ""] {
            assert!(grams(wrong).is_err_and(|why| why.contains("1.02 oz")), "{wrong}");
        }
    }
}
