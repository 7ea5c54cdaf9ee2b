//! Every word the page shows: `assets/words.json`, the one place.

const ALL: &str = include_str!("assets/words.json");

/// One of the words that stand in the page before its script runs.
pub(super) fn word(name: &str) -> String {
    let all: serde_json::Value = serde_json::from_str(ALL).unwrap_or_default();
    all[name].as_str().unwrap_or_default().to_owned()
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
    use crate::guide::Amiss;
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
        assert_eq!(words(&all["late"]["amiss"]), sorted(Amiss::ALL.map(Amiss::word).to_vec()));
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
