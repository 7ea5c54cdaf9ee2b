//! Replies as JSON, their numbers without what arithmetic leaves behind: 29.3, and not 29.299999999999997.

use super::problem::Problem;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use serde_json::Serializer;
use serde_json::ser::{CompactFormatter, Formatter};
use std::io::{Result, Write};

/// A reply of JSON.
pub(super) struct Json<T>(pub(super) T);

impl<T: Serialize> IntoResponse for Json<T> {
    fn into_response(self) -> Response {
        match text(&self.0) {
            Ok(text) => ([(header::CONTENT_TYPE, "application/json")], text).into_response(),
            Err(error) => {
                let why = format!("the answer can't be written as JSON ({error}); please report it");
                Problem::new(StatusCode::INTERNAL_SERVER_ERROR, why).into_response()
            }
        }
    }
}

/// JSON text of what is told.
pub(crate) fn text(told: &impl Serialize) -> serde_json::Result<String> {
    let mut text = Vec::with_capacity(256);
    told.serialize(&mut Serializer::with_formatter(&mut text, Plain))?;
    String::from_utf8(text).map_err(serde::ser::Error::custom)
}

/// As compact as usual.
struct Plain;

impl Formatter for Plain {
    fn write_f64<W: ?Sized + Write>(&mut self, writer: &mut W, value: f64) -> Result<()> {
        CompactFormatter.write_f64(writer, plain(value))
    }
}

/// To twelve digits: a calculator shows no more, no scale or bucket is known to half as many, and a sum of a thousand weights
/// is off by less.
///
/// A weight is rounded before, to the microgram that the log keeps (`Mass::told_g`), and that is another thing: of two weights
/// that are alike it leaves a difference of 0, where 2.8e-14 would stay here, and under a tonne it has no more than these digits.
fn plain(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn what_arithmetic_left_behind_a_number_is_not_told_and_nothing_else_of_it_changes() {
        let told = json!({ "net_g": 29.3 - 3.0e-15, "off_g": 30.02 - 29.0, "list": [-0.1 - 0.2, 1e-9, 0.0, -29.5],
            "third": 1.0 / 3.0, "great": 1e308, "whole": 12_345_678_901_234_u64, "words": "0.30000000000000004", "none": null });
        let text = text(&told).expect("JSON");
        for part in [
            r#""net_g":29.3,"#,
            r#""off_g":1.02,"#,
            r#""list":[-0.3,1e-9,0.0,-29.5]"#,
            r#""third":0.333333333333,"#,
            r#""great":1e+308,"#,
            r#""whole":12345678901234,"#,
            r#""words":"0.30000000000000004","#,
            r#""none":null"#,
        ] {
            assert!(text.replace('}', ",").contains(part), "{part}: {text}");
        }
    }

    #[test]
    fn what_is_no_number_is_told_as_null() {
        assert_eq!(text(&[f64::NAN, f64::INFINITY]).expect("JSON"), "[null,null]");
    }
}
