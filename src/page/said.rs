//! What a client of the live stream says, parsed at the edge; what does not fit is told back.

use super::desk::MOST_AHEAD;
use crate::time::Duration;
use serde_json::{Map, Value};

/// What fits.
#[derive(Debug, PartialEq)]
pub(super) enum Said {
    /// To be answered with the time.
    Ping {
        /// Given back.
        id: Value,
    },
    /// Its loudspeaker is heard this late; none: it is not heard.
    Sound(Option<Duration>),
}

/// What does not, and what to try.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Unfit {
    /// The field it is about.
    pub(super) field: Option<String>,
    /// In words.
    pub(super) why: String,
    /// It tells of a loudspeaker that is of no use: it counts as heard no longer.
    pub(super) too_late: bool,
}

fn unfit(field: &str, why: impl Into<String>) -> Unfit {
    Unfit { field: Some(field.to_owned()), why: why.into(), too_late: false }
}

fn no_object(why: String) -> Unfit {
    Unfit { field: None, why, too_late: false }
}

/// One message.
pub(super) fn parse(text: &str) -> Result<Said, Unfit> {
    let whole: Value =
        serde_json::from_str(text).map_err(|error| no_object(format!("the message is not JSON: {error}")))?;
    let Value::Object(mut object) = whole else {
        return Err(no_object("expected a JSON object: put the fields between { and }".to_owned()));
    };
    let kinds = "expected \"ping\" or \"sound\"";
    let said = match object.remove("kind").as_ref().and_then(Value::as_str) {
        Some("ping") => {
            let id = object.remove("id").ok_or_else(|| unfit("id", "is missing: it is given back"))?;
            Said::Ping { id }
        }
        Some("sound") => sound(&mut object)?,
        Some(_) | None => return Err(unfit("kind", kinds)),
    };
    match object.keys().next() {
        None => Ok(said),
        Some(key) => Err(unfit(key, "unknown field: leave it out")),
    }
}

fn sound(object: &mut Map<String, Value>) -> Result<Said, Unfit> {
    let on = object.remove("on").as_ref().and_then(Value::as_bool);
    let on = on.ok_or_else(|| unfit("on", "expected true or false: whether the loudspeaker is heard"))?;
    let latest_us = MOST_AHEAD.as_micros();
    let us = object.remove("latency_us").as_ref().and_then(Value::as_f64);
    let us = us.filter(|us| *us >= 0.0).ok_or_else(|| {
        unfit("latency_us", format!("expected microseconds from 0 to {latest_us}, from a message to the ear"))
    })?;
    if on && us > latest_us as f64 {
        let why = format!(
            "no cue is announced more than {latest_us} us ahead, so a loudspeaker this late sounds every stop too late, \
             and does not count as heard: use a wired one"
        );
        return Err(Unfit { too_late: true, ..unfit("latency_us", why) });
    }
    // Rounded up: announced too late is worse than too early.
    Ok(Said::Sound(on.then(|| Duration::from_micros(us.ceil() as u64))))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(text: &str) -> Option<Duration> {
        match parse(text) {
            Ok(Said::Sound(latency)) => latency,
            other => panic!("{text}: {other:?}"),
        }
    }

    #[test]
    fn a_loudspeaker_is_on_with_its_delay_or_off() {
        let ms = Duration::from_millis;
        assert_eq!(heard(r#"{"kind":"sound","on":true,"latency_us":40000}"#), Some(ms(40)));
        assert_eq!(heard(r#"{"kind":"sound","on":true,"latency_us":39999.4}"#), Some(ms(40)));
        assert_eq!(heard(r#"{"kind":"sound","on":true,"latency_us":0}"#), Some(ms(0)));
        assert_eq!(heard(r#"{"kind":"sound","on":true,"latency_us":250000}"#), Some(ms(250)));
        assert_eq!(heard(r#"{"kind":"sound","on":false,"latency_us":400000}"#), None);
        assert_eq!(heard(r#"{"kind":"sound","on":false,"latency_us":40000}"#), None);
    }

    #[test]
    fn what_does_not_fit_names_its_field_and_what_was_expected() {
        let wrong = [
            (r#"{"kind":"sound","on":true,"latency_us":-1}"#, Some("latency_us")),
            (r#"{"kind":"sound","on":true,"latency_us":250001}"#, Some("latency_us")),
            (r#"{"kind":"sound","on":true,"latency_us":1e300}"#, Some("latency_us")),
            (r#"{"kind":"sound","on":true,"latency_us":"40"}"#, Some("latency_us")),
            (r#"{"kind":"sound","on":true,"latency_us":null}"#, Some("latency_us")),
            (r#"{"kind":"sound","on":true}"#, Some("latency_us")),
            (r#"{"kind":"sound","on":false,"latency_us":-1}"#, Some("latency_us")),
            (r#"{"kind":"sound","on":1,"latency_us":1}"#, Some("on")),
            (r#"{"kind":"sound","on":true,"latency_us":1,"hue":1}"#, Some("hue")),
            (r#"{"kind":"sound","on":true,"latency_us":NaN}"#, None),
            (r#"{"kind":"ping"}"#, Some("id")),
            (r#"{"kind":"pour"}"#, Some("kind")),
            (r#"{"on":true}"#, Some("kind")),
            ("[]", None),
            ("", None),
        ];
        for (text, field) in wrong {
            let unfit = parse(text).expect_err(text);
            assert_eq!(unfit.field.as_deref(), field, "{text}");
            assert!(unfit.why.len() > 15, "{text}: {}", unfit.why);
        }
    }

    #[test]
    fn a_loudspeaker_too_late_for_any_stop_is_refused_with_the_reason_and_no_longer_counts() {
        let unfit = |us: &str| {
            let text = format!(r#"{{"kind":"sound","on":true,"latency_us":{us}}}"#);
            parse(&text).expect_err("refused")
        };
        for us in ["250001", "2000000", "1e300"] {
            let unfit = unfit(us);
            assert!(unfit.too_late, "{us}");
            assert!(unfit.why.contains("250000 us") && unfit.why.contains("wired"), "{}", unfit.why);
        }
        assert!(!unfit("-1").too_late, "a slip, which says nothing of the loudspeaker");
    }
}
