//! Keys that do not go together. One that would do nothing is refused: it shows that another scale was meant.
//! With a simulated scale, or none, what is told of a real one waits until the link is changed.

use super::layout::Notifications;
use super::{ScaleText, SettingsError, Source};
use toml::Spanned;

type Told = (&'static str, Option<Spanned<()>>);

fn told<T>(key: &'static str, value: Option<&Spanned<T>>) -> Told {
    (key, value.map(|value| Spanned::new(value.span(), ())))
}

fn refuse(source: &Source<'_>, keys: Vec<Told>, why: &str) -> Result<(), SettingsError> {
    match keys.into_iter().find_map(|(key, at)| Some((key, at?))) {
        Some((key, at)) => Err(source.wrong(key, &at, why)),
        None => Ok(()),
    }
}

pub(super) fn check(source: &Source<'_>, t: &ScaleText, how: &Notifications) -> Result<(), SettingsError> {
    let binary = *how != Notifications::Text;
    let link = t.link.as_ref().map(|word| word.get_ref().as_str());
    if let (Some(layout), Some("serial" | "simulated"), true) = (&t.layout, link, binary) {
        let why = "is only for link = \"ble\": take it out, a scale on a cable sends lines of text";
        return Err(source.wrong("scale.layout", layout, why));
    }
    if binary {
        let text = vec![told("scale.line", t.line.as_ref()), told("scale.unit", t.unit.as_ref())];
        let why = "is for lines of text, and layout says how bytes are read: take one of the two out";
        refuse(source, text, why)?;
    }
    let cable = vec![
        told("scale.port", t.port.as_ref()),
        told("scale.baud", t.baud.as_ref()),
        told("scale.framing", t.framing.as_ref()),
        told("scale.ask", t.ask.as_ref()),
        told("scale.ask_every_ms", t.ask_every_ms.as_ref()),
    ];
    let air = vec![
        told("scale.address", t.address.as_ref()),
        told("scale.service", t.service.as_ref()),
        told("scale.characteristic", t.characteristic.as_ref()),
    ];
    match link {
        Some("ble") => {
            refuse(source, cable, "is only for link = \"serial\": take it out, or put a # before it")
        }
        Some("serial") => {
            refuse(source, air, "is only for link = \"ble\": take it out, or put a # before it")?;
            let asks = vec![told("scale.ask_every_ms", t.ask_every_ms.as_ref().filter(|_| t.ask.is_none()))];
            refuse(source, asks, "does nothing without ask: say what to send, or take it out")
        }
        _ => Ok(()),
    }
}
