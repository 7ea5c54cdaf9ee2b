//! The files a browser loads, built into the binary. Nothing is asked of any other machine.

use super::words;
use crate::units::shown::Shown;

const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";

/// Name, kind and text of each.
const FILES: [(&str, &str, &str); 37] = [
    ("page.js", SCRIPT, include_str!("assets/page.js")),
    ("page.css", STYLE, include_str!("assets/page.css")),
    ("places.css", STYLE, include_str!("assets/places.css")),
    ("record.css", STYLE, include_str!("assets/record.css")),
    ("field.css", STYLE, include_str!("assets/field.css")),
    ("live.js", SCRIPT, include_str!("assets/live.js")),
    ("face.js", SCRIPT, include_str!("assets/face.js")),
    ("say.js", SCRIPT, include_str!("assets/say.js")),
    ("section.js", SCRIPT, include_str!("assets/section.js")),
    ("marks.js", SCRIPT, include_str!("assets/marks.js")),
    ("pour.js", SCRIPT, include_str!("assets/pour.js")),
    ("batch.js", SCRIPT, include_str!("assets/batch.js")),
    ("begun.js", SCRIPT, include_str!("assets/begun.js")),
    ("setup.js", SCRIPT, include_str!("assets/setup.js")),
    ("fields.js", SCRIPT, include_str!("assets/fields.js")),
    ("bucket.js", SCRIPT, include_str!("assets/bucket.js")),
    ("coat.js", SCRIPT, include_str!("assets/coat.js")),
    ("ware.js", SCRIPT, include_str!("assets/ware.js")),
    ("inside.js", SCRIPT, include_str!("assets/inside.js")),
    ("shelf.js", SCRIPT, include_str!("assets/shelf.js")),
    ("glaze.js", SCRIPT, include_str!("assets/glaze.js")),
    ("weigh.js", SCRIPT, include_str!("assets/weigh.js")),
    ("hold.js", SCRIPT, include_str!("assets/hold.js")),
    ("curve.js", SCRIPT, include_str!("assets/curve.js")),
    ("log.js", SCRIPT, include_str!("assets/log.js")),
    ("scale.js", SCRIPT, include_str!("assets/scale.js")),
    ("calibrate.js", SCRIPT, include_str!("assets/calibrate.js")),
    ("late.js", SCRIPT, include_str!("assets/late.js")),
    ("compare.js", SCRIPT, include_str!("assets/compare.js")),
    ("find.js", SCRIPT, include_str!("assets/find.js")),
    ("keep.js", SCRIPT, include_str!("assets/keep.js")),
    ("picture.js", SCRIPT, include_str!("assets/picture.js")),
    ("report.css", STYLE, include_str!("assets/report.css")),
    ("review.css", STYLE, include_str!("assets/review.css")),
    ("review.js", SCRIPT, include_str!("assets/review.js")),
    ("lit-html.js", SCRIPT, include_str!("assets/lit-html.js")),
    // Its terms want the notice wherever the code goes, so the binary carries it.
    ("lit-html.LICENSE", "text/plain; charset=utf-8", include_str!("assets/lit-html.LICENSE")),
];

/// The page itself.
pub(super) fn front() -> String {
    include_str!("assets/page.html")
        .replace("{title}", &words::word("title"))
        .replace("{no-script}", &words::word("no_script"))
}

/// Kind and text of one file.
pub(super) fn find(name: &str, shown: Shown) -> Option<(&'static str, String)> {
    if name == "words.js" {
        return Some((SCRIPT, words::script(shown)));
    }
    FILES.iter().find(|(file, ..)| *file == name).map(|(_, kind, text)| (*kind, (*text).to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A second on a slow wireless link of 2 Mbit/s (own choice); compressed it is about a third.
    const MOST_BYTES: usize = 210_000;

    #[test]
    fn all_that_a_browser_loads_is_here_and_small() {
        let mut bytes = front().len() + find("words.js", Shown::default()).map_or(0, |(_, text)| text.len());
        for (name, _, text) in FILES {
            bytes += text.len();
            for wanted in text.split("from \"").skip(1).filter_map(|rest| rest.split('"').next()) {
                let file = wanted.rsplit('/').next().unwrap_or_default();
                assert!(find(file, Shown::default()).is_some(), "{name} wants {wanted}");
            }
            let foreign = text.contains("http://") || text.contains("https://");
            assert!(name.starts_with("lit-html") || !foreign, "{name} names another machine");
        }
        assert!(bytes < MOST_BYTES, "{bytes} bytes");
        assert!(
            find("page.html", Shown::default()).is_none() && find("../words.rs", Shown::default()).is_none()
        );
    }
}
