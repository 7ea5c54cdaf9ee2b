//! What is told beside the readings, and its limits: the same over HTTP, at the terminal and in the routine at the pan.

use crate::batch::Refused;
use crate::units::as_told;

/// The pour that a scale is judged for where nothing else is told: 29 g, 5 percent either way (common practice, no source).
const USUAL: (f64, f64) = (29.0, 0.05);
/// Rooms that people glaze in, and sheds in winter, degrees Celsius.
pub const ROOM_C: (f64, f64) = (-20.0, 60.0);
/// Longest name of who did it, in characters: one line of a sheet.
const LONGEST_NAME: usize = 80;

/// A number between its ends.
pub(super) fn within(field: &str, value: f64, (least, most): (f64, f64)) -> Result<f64, Refused> {
    if value >= least && value <= most {
        return Ok(value);
    }
    let told = as_told(value);
    Err(Refused::new(field, format!("{told} is outside {least} to {most}: check unit and decimal point")))
}

/// The pour it is judged for and how far that may be off, g.
///
/// # Errors
/// Where one is out of its limits.
pub fn pour(net_g: Option<f64>, tolerance_g: Option<f64>) -> Result<(f64, f64), Refused> {
    let net_g = within("net_g", net_g.unwrap_or(USUAL.0), (0.5, 5000.0))?;
    let tolerance_g = tolerance_g.unwrap_or(USUAL.1 * net_g);
    within("tolerance_g", tolerance_g, (1e-3, net_g)).map(|tolerance_g| (net_g, tolerance_g))
}

/// How warm the room is and who did it, where told.
///
/// # Errors
/// A room that nobody works in; a name that does not fit on one line.
pub fn room_and_operator(room_c: Option<f64>, operator: Option<&str>) -> Result<(), Refused> {
    room_c.map_or(Ok(0.0), |room_c| within("room_c", room_c, ROOM_C))?;
    let Some(name) = operator else { return Ok(()) };
    let length = name.chars().count();
    if name.trim().is_empty() || length > LONGEST_NAME {
        let why = format!("has {length} characters: write 1 to {LONGEST_NAME}, or leave it out");
        return Err(Refused::new("operator", why));
    }
    match name.chars().find(|c| c.is_control()) {
        None => Ok(()),
        Some(odd) => {
            let why =
                format!("holds a control character (U+{:04X}): write plain text on one line", odd as u32);
            Err(Refused::new("operator", why))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rooms_names_and_pours_out_of_their_limits_are_refused_by_their_field() {
        let long = "a".repeat(81);
        for (room_c, operator, field) in [
            (Some(f64::NAN), None, "room_c"),
            (Some(f64::INFINITY), None, "room_c"),
            (Some(-20.1), None, "room_c"),
            (Some(60.1), None, "room_c"),
            (None, Some(long.as_str()), "operator"),
            (None, Some(" "), "operator"),
            (None, Some("a\nb"), "operator"),
        ] {
            assert_eq!(
                room_and_operator(room_c, operator).unwrap_err().field,
                field,
                "{room_c:?} {operator:?}"
            );
        }
        assert_eq!(room_and_operator(Some(60.0), Some(&long[..80])), Ok(()));
        assert_eq!(room_and_operator(None, None), Ok(()));
        assert_eq!(pour(Some(5000.1), None).unwrap_err().field, "net_g");
        assert_eq!(pour(None, Some(29.1)).unwrap_err().field, "tolerance_g");
        assert_eq!(pour(Some(f64::NAN), None).unwrap_err().field, "net_g");
        assert_eq!(pour(Some(100.0), None), Ok((100.0, 5.0)));
    }
}
