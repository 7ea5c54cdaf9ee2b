//! Every word the page shows: `assets/words.json`, the one place.

use crate::guide::calibrate::{Amiss, StepView};
use serde_json::Value;
use std::sync::LazyLock;

const ALL: &str = include_str!("assets/words.json");
/// Read once: a step is told with every reading.
static READ: LazyLock<Value> = LazyLock::new(|| serde_json::from_str(ALL).unwrap_or_default());

/// One of the words that stand in the page before its script runs.
pub(super) fn word(name: &str) -> String {
    let all: serde_json::Value = serde_json::from_str(ALL).unwrap_or_default();
    all[name].as_str().unwrap_or_default().to_owned()
}

/// The words at the end of this path.
pub(super) fn of(path: &[&str]) -> String {
    path.iter().fold(&*READ, |at, key| &at[*key]).as_str().unwrap_or_default().to_owned()
}

/// What a step of a routine asks, and what is amiss with it: on the page, and on a terminal.
pub(crate) fn of_step(step: &StepView) -> (String, Option<String>) {
    let of = |part: &str, word: &str| of(&["calibrate", part, word]);
    let mass = step.mass.as_ref().map_or("", |m| m.name.as_str());
    let place = step.ask.place().map_or(String::new(), |place| of("places", place.word()));
    let seconds = step.seconds_left.unwrap_or(0).to_string();
    let says = of("wants", step.ask.word())
        .replace("{mass}", mass)
        .replace("{place}", &place)
        .replace("{seconds}", &seconds);
    let amiss = step.amiss.map(|amiss| {
        let grams = match amiss {
            Amiss::LooksLike(g) => format!("{g}"),
            Amiss::NotBare
            | Amiss::Other
            | Amiss::TooMuch
            | Amiss::Restless
            | Amiss::ZeroMoved
            | Amiss::TakenOff
            | Amiss::TooLight
            | Amiss::TooHeavy
            | Amiss::NotInOneGo => String::new(),
        };
        of("amiss", amiss.word()).replace("{grams}", &grams)
    });
    (says, amiss)
}

/// Words at this place (a JSON pointer), for what is written here and not by the page's scripts.
pub(super) fn told(place: &str) -> String {
    let all: serde_json::Value = serde_json::from_str(ALL).unwrap_or_default();
    all.pointer(place).and_then(serde_json::Value::as_str).unwrap_or_default().to_owned()
}

/// The words as a module for the page's scripts.
pub(super) fn script() -> String {
    format!("export default {ALL};\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::guide;
    use crate::guide::calibrate::{Ask, Parts, Place};
    use crate::pour::finish::Finish;
    use crate::pour::guidance::Guidance;
    use crate::pour::remark::Remark;
    use crate::pour::vessel::Vessel;
    use crate::record::Mark;
    use crate::scale::smoothing::Smoothing;

    #[test]
    fn every_remark_mark_and_vessel_has_words_and_no_words_are_left_over() {
        let all: serde_json::Value = serde_json::from_str(ALL).expect("JSON");
        let words = |of: &serde_json::Value| -> Vec<String> {
            let object = of.as_object().expect("an object");
            assert!(object.values().all(|w| w.as_str().is_some_and(|w| w.len() > 2)));
            object.keys().cloned().collect()
        };
        let sorted = |mut all: Vec<&str>| {
            all.sort_unstable();
            all.into_iter().map(str::to_owned).collect::<Vec<_>>()
        };
        assert_eq!(words(&all["notes"]), sorted(Remark::ALL.map(Remark::word).to_vec()));
        assert_eq!(words(&all["record_marks"]), sorted(Mark::ALL.map(Mark::word).to_vec()));
        assert_eq!(words(&all["late"]["ways"]), sorted(Smoothing::ALL.map(Smoothing::word).to_vec()));
        assert_eq!(words(&all["late"]["amiss"]), sorted(guide::Amiss::ALL.map(guide::Amiss::word).to_vec()));
        let calibrate = &all["calibrate"];
        assert_eq!(words(&calibrate["wants"]), sorted(Ask::ALL.map(Ask::word).to_vec()));
        assert_eq!(words(&calibrate["amiss"]), sorted(Amiss::ALL.map(Amiss::word).to_vec()));
        let places: Vec<&str> = [Place::Centre].iter().chain(&Place::CORNERS).map(|p| p.word()).collect();
        assert_eq!(words(&calibrate["places"]), sorted(places));
        assert_eq!(words(&calibrate["part"]), sorted(Parts::WORDS.to_vec()));
        assert_eq!(words(&all["late"]["guided"]), sorted(Guidance::ALL.map(Guidance::word).to_vec()));
        assert_eq!(words(&all["batch"]["vessels"]), sorted(Vessel::ALL.map(Vessel::word).to_vec()));
        assert_eq!(words(&all["batch"]["finishes"]), sorted(Finish::ALL.map(Finish::word).to_vec()));
    }

    #[test]
    fn the_words_parse_and_the_first_ones_are_there() {
        assert!(serde_json::from_str::<serde_json::Value>(ALL).is_ok_and(|all| all.is_object()));
        assert!(!word("title").is_empty() && !word("no_script").is_empty());
    }
}
