//! Every word the page shows: `assets/words.json`, the one place.

use crate::guide::calibrate::{Amiss, StepView};
use crate::units::shown::{LengthIn, Shown, WeightIn};
use serde_json::{Value, json};
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
            // An ounce is marked in more digits of grams than a scale shows.
            Amiss::LooksLike(g) => ((g * 1e4).round() / 1e4).to_string(),
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

/// Parts that stay in grams: tables of older weights, and what a scale is set to send.
const IN_GRAMS: [&str; 2] = ["keep", "steps"];
/// Layers are thin and stay in millimetres.
const IN_MM: [&str; 5] = ["film", "layers", "fired_mm", "fired", "thickness"];

/// All words as JSON, with weights and sizes in these units, and the units themselves.
fn in_units(shown: Shown) -> Value {
    let mut all = READ.clone();
    rename(shown, "", &mut all);
    // About 1.5 g: what an unpractised hand misses by.
    let usual = if shown.weight == WeightIn::Ounce { "0.05" } else { "1.5" };
    all["units"] = json!({
        "g": shown.weight.word(), "mm": shown.length.word(), "cm2": shown.length.squared().replace('²', "2"),
        "finer": shown.weight.finer(), "tolerance": usual,
    });
    all
}

/// The words as a module for the page's scripts: in the order in which they are written, which is that of its choices, and
/// after them those that are told in other units.
pub(super) fn script(shown: Shown) -> String {
    let said = in_units(shown);
    let mut told = format!("const all = {ALL};\nall.units = {};\n", said["units"]);
    changed(&READ, &said, "all", &mut told);
    told + "export default all;\n"
}

fn changed(before: &Value, after: &Value, at: &str, told: &mut String) {
    match before {
        Value::String(words) if after != words => *told += &format!("{at} = {after};\n"),
        Value::Array(list) => {
            list.iter().enumerate().for_each(|(n, one)| changed(one, &after[n], &format!("{at}[{n}]"), told));
        }
        Value::Object(object) => {
            object.iter().for_each(|(key, one)| changed(one, &after[key], &format!("{at}[{key:?}]"), told));
        }
        Value::String(_) | Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

fn rename(shown: Shown, name: &str, at: &mut Value) {
    if IN_GRAMS.contains(&name) {
        return;
    }
    match at {
        Value::String(words) => {
            if shown.weight == WeightIn::Ounce {
                *words = of_weights(shown, words).replace(" grams", " ounces");
                if let Some(rest) = words.strip_prefix("grams ") {
                    *words = format!("ounces {rest}");
                }
            }
            if shown.length != LengthIn::Millimetre && !IN_MM.contains(&name) {
                *words = unit(words, "mm", shown.length.word());
                *words = unit(words, "cm²", shown.length.squared());
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|one| rename(shown, name, one)),
        Value::Object(object) => object.iter_mut().for_each(|(name, one)| rename(shown, name, one)),
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

/// A sentence with places for weights, in the studio's unit.
pub(super) fn of_weights(shown: Shown, words: &str) -> String {
    unit(&shown.retold(words), "g", shown.weight.word())
}

/// Words with this unit in place of that one, where it stands alone.
fn unit(words: &str, from: &str, to: &str) -> String {
    let part = |word: &str| {
        let bare = word.trim_end_matches(['.', ',', ':', ';', ')', '?']);
        if bare == from { format!("{to}{}", &word[bare.len()..]) } else { word.to_owned() }
    };
    words.split(' ').map(part).collect::<Vec<_>>().join(" ")
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
    fn the_words_name_the_units_of_the_studio_and_tables_from_elsewhere_stay_in_grams() {
        let said = in_units(Shown { weight: WeightIn::Ounce, length: LengthIn::Inch });
        let at = |place: &str| said.pointer(place).unwrap().as_str().unwrap().to_owned();
        assert_eq!((at("/gram"), at("/batch/grams")), ("oz".into(), "Slop for each piece, oz".into()));
        assert_eq!(at("/target_line"), "{target} oz a piece, {low} to {high}");
        assert_eq!(at("/do/wipe"), "Wipe the pan: {grams} oz on it");
        assert_eq!(at("/batch/in_grams"), "in ounces");
        assert_eq!(
            (at("/batch/diameter"), at("/batch/area")),
            ("Inside diameter, inch".into(), "Inside area, in²".into())
        );
        assert_eq!(at("/batch/coat"), "Dry coat, g/cm²");
        assert_eq!(at("/batch/film"), "wet coat {film} mm");
        assert_eq!(at("/shelf/coats/fired"), "{thickness_mm} mm fired");
        let script = script(Shown { weight: WeightIn::Ounce, length: LengthIn::Inch });
        assert!(script.contains("all[\"batch\"][\"grams\"] = \"Slop for each piece, oz\";\n"), "{script}");
        assert!(script.contains(ALL) && !script.contains("all[\"keep\"]"));
        assert_eq!((at("/record/load"), at("/calibrate/mass")), ("Load, oz".into(), "Weight, oz".into()));
        assert!(at("/calibrate/judged").starts_with("A pour of {net} oz is known to {u} oz"));
        assert_eq!(at("/calibrate/density"), "g/mL");
        assert!(at("/keep/target_g").starts_with("Target, g"));
        assert_eq!(in_units(Shown::default())["batch"], READ["batch"]);
        let cm = in_units(Shown { weight: WeightIn::Gram, length: LengthIn::Centimetre });
        assert_eq!(
            (&cm["batch"]["height"], &cm["batch"]["area"]),
            (&json!("Inside height, cm"), &json!("Inside area, cm²"))
        );
    }

    #[test]
    fn the_words_parse_and_the_first_ones_are_there() {
        assert!(serde_json::from_str::<serde_json::Value>(ALL).is_ok_and(|all| all.is_object()));
        assert!(!word("title").is_empty() && !word("no_script").is_empty());
    }
}
