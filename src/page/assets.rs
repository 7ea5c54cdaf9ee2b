//! The files a browser loads, built into the binary. Nothing is asked of any other machine.

use super::words;

const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";

/// Name, kind and text of each.
const FILES: [(&str, &str, &str); 14] = [
    ("page.js", SCRIPT, include_str!("assets/page.js")),
    ("page.css", STYLE, include_str!("assets/page.css")),
    ("places.css", STYLE, include_str!("assets/places.css")),
    ("field.css", STYLE, include_str!("assets/field.css")),
    ("live.js", SCRIPT, include_str!("assets/live.js")),
    ("face.js", SCRIPT, include_str!("assets/face.js")),
    ("say.js", SCRIPT, include_str!("assets/say.js")),
    ("section.js", SCRIPT, include_str!("assets/section.js")),
    ("marks.js", SCRIPT, include_str!("assets/marks.js")),
    ("pour.js", SCRIPT, include_str!("assets/pour.js")),
    ("batch.js", SCRIPT, include_str!("assets/batch.js")),
    ("log.js", SCRIPT, include_str!("assets/log.js")),
    ("scale.js", SCRIPT, include_str!("assets/scale.js")),
    ("lit-html.js", SCRIPT, include_str!("assets/lit-html.js")),
];

/// The page itself.
pub(super) fn front() -> String {
    include_str!("assets/page.html")
        .replace("{title}", &words::word("title"))
        .replace("{no-script}", &words::word("no_script"))
}

/// Kind and text of one file.
pub(super) fn find(name: &str) -> Option<(&'static str, String)> {
    if name == "words.js" {
        return Some((SCRIPT, words::script()));
    }
    FILES.iter().find(|(file, ..)| *file == name).map(|(_, kind, text)| (*kind, (*text).to_owned()))
}
