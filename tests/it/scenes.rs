//! Scenes at the table, one file each in `tests/scenes`: what is said and written down is kept beside them
//! in `tests/scenes/said`, and each is judged against the truth by rule. All of them are invented.
//!
//! `TAREBELL_SAID=write` writes what is said now in place of what is kept: look at the difference before
//! you commit it.

use super::cycles::alike;
use super::silence::{guided, silent};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use tarebell::daemon::rehearsal::{Played, Said, play};
use tarebell::plant::Truth;
use tarebell::plant::scene::Scene;
use tarebell::pour::entry::{Cue, Entry};
use tarebell::record::Verdict;
use tarebell::units::Mass;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scenes")
}

fn scenes_in(folder: &Path) -> Vec<Scene> {
    let entries = std::fs::read_dir(folder).expect("a folder of scenes");
    let mut files: Vec<PathBuf> = entries.map(|e| e.expect("an entry").path()).collect();
    files.retain(|f| f.extension().is_some_and(|end| end == "scene"));
    files.sort();
    let read = |file: &PathBuf| {
        let text = std::fs::read_to_string(file).expect("a scene");
        Scene::parse(&text, &file.to_string_lossy()).unwrap_or_else(|bad| panic!("{bad}"))
    };
    files.iter().map(read).collect()
}

/// The scenes that are kept.
pub(crate) fn kept() -> Vec<Scene> {
    scenes_in(&folder())
}

/// A rule that was broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Broken {
    /// Called good, and truly outside the limits by more than the weight is known to.
    FalseGood,
    /// A poured piece has no record.
    Missed,
    /// A piece has more than one record, or nothing that was poured has one.
    Doubled,
    /// The weight is further off the truth than its uncertainty says.
    Wrong,
    /// Called short or over, and truly another by more than the weight is known to.
    WrongVerdict,
    /// Called good, and known to so little that it might as well be outside the limits.
    UnsureGood,
    /// A revision of a record has no greater number than the one before it.
    Unordered,
    /// Slop ran on above the limits while neither `stop` nor `fault` sounded (see `silence.rs`).
    Silent,
}

/// What is poured counts as a pour from here on: less is a splash that the engine does not enter.
pub(crate) fn least_pour_g(target_g: f64) -> f64 {
    (0.1 * target_g).clamp(2.0, 3.0)
}

/// The truth by which a record is judged: slop at a lift, or as it was put back, whichever is nearest (a
/// record may be of either), but of none before the last slop ran into it: what was weighed before that is past.
pub(crate) fn nearest_g(truth: &Truth, net_g: f64) -> f64 {
    let off = |g: &f64| (g - net_g).abs();
    let last = truth.ran.last().map(|(at, _)| *at);
    // A lift after each landing, and a weight with each landing but the first.
    let landings = truth.landed.iter().filter(|at| last.is_some_and(|last| **at <= last)).count();
    let since = truth.at_lift_g.iter().skip(2 * landings.saturating_sub(1));
    since.copied().min_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(truth.net_g)
}

/// Less than a few drops: nothing was poured.
const NO_SLOP_G: f64 = 0.5;

/// A `good` may be uncertain by so many times how far off is still good. Spread evenly in its limits a weight would be
/// uncertain by 0.58 of that, so at twice as much it lies outside them in three of five cases (normal law), whatever is shown.
/// The allowance of two uncertainties above could never fail there.
const UNSURE: f64 = 2.0;

/// A broken rule, the place of the piece where it is of one, and words.
pub(crate) type Found = (Broken, Option<usize>, String);

/// Every rule that is broken.
pub(crate) fn judge(scene: &Scene, played: &Played) -> Vec<Found> {
    let mut broken = Vec::new();
    let records = played.records();
    for (i, truth) in played.truths.iter().enumerate() {
        let own: Vec<&Entry> = records.iter().filter(|(_, on)| *on == Some(i)).map(|(e, _)| e).collect();
        let least_g = least_pour_g(scene.target_g);
        let what = format!("piece {}: {:.1} g and {} records", i + 1, truth.poured_g, own.len());
        if truth.poured_g >= least_g && own.is_empty() {
            broken.push((Broken::Missed, Some(i), what));
        } else if own.len() > 1 || (truth.poured_g < NO_SLOP_G && !own.is_empty()) {
            broken.push((Broken::Doubled, Some(i), what));
        }
        let weights = own.iter().flat_map(|entry| judge_weight(scene, played, truth, entry));
        broken.extend(weights.map(|(kind, what)| (kind, Some(i), what)));
    }
    broken.extend(unordered(played));
    broken.extend(silent(scene, played).into_iter().map(|(i, what)| (Broken::Silent, Some(i), what)));
    for (entry, _) in records.iter().filter(|(_, on)| on.is_none()) {
        broken.push((Broken::Doubled, None, format!("record {} of nothing", entry.piece)));
    }
    broken
}

/// Each revision of a record replaces the one before it.
fn unordered(played: &Played) -> Vec<Found> {
    let mut newest = BTreeMap::new();
    let mut found = Vec::new();
    for said in &played.said {
        let Said::Record(_, entry, on) = said else { continue };
        if newest.insert(entry.piece, entry.rev).is_some_and(|before| before >= entry.rev) {
            let what = format!("record {}: revision {} once more", entry.piece, entry.rev);
            found.push((Broken::Unordered, on.map(|(piece, _)| piece), what));
        }
    }
    found
}

/// Three standard uncertainties: outside them lies one weight in 370 (normal law); one step more, because
/// a display may stand at the edge of a digit all along, which is no scatter. For a verdict two are enough:
/// a potter who hears it must not be told good of a piece that can be seen to be wrong.
fn judge_weight(scene: &Scene, played: &Played, truth: &Truth, entry: &Entry) -> Vec<(Broken, String)> {
    let net_g = entry.net.map_or(f64::NAN, |n| n.g());
    let u_g = entry.net_u.map_or(0.0, |u| u.g());
    let true_g = nearest_g(truth, net_g);
    let over_g = true_g - scene.target_g;
    let within = (net_g - true_g).abs() <= 3.0 * u_g + played.step_g;
    let wrong_verdict = match entry.verdict {
        Verdict::Good => over_g.abs() > scene.tolerance_g + 2.0 * u_g,
        Verdict::Short => over_g > 2.0 * u_g - scene.tolerance_g,
        Verdict::Over => over_g < scene.tolerance_g - 2.0 * u_g,
        Verdict::Void => false,
    };
    // A scale too coarse for the limits knows no weight any better, and is said to call nothing.
    let unsure =
        entry.verdict == Verdict::Good && u_g > UNSURE * scene.tolerance_g && guided(scene, played, truth);
    let kind = if entry.verdict == Verdict::Good { Broken::FalseGood } else { Broken::WrongVerdict };
    let verdict = entry.verdict.word();
    let what = || format!("record {}: {verdict} {net_g:.2} g +-{u_g:.2}, truly {true_g:.2} g", entry.piece);
    let rules = [(kind, wrong_verdict), (Broken::Wrong, !within), (Broken::UnsureGood, unsure)];
    rules.into_iter().filter(|(_, broken)| *broken).map(|(kind, _)| (kind, what())).collect()
}

/// The lines of one text against another's, differing ones marked.
fn difference(kept: &str, said: &str) -> String {
    let (kept, said): (Vec<&str>, Vec<&str>) = (kept.lines().collect(), said.lines().collect());
    let mut text = String::new();
    for i in 0..kept.len().max(said.len()) {
        match (kept.get(i), said.get(i)) {
            (a, b) if a == b => text += &format!("  {}\n", a.unwrap_or(&"")),
            (a, b) => {
                text += &a.map_or(String::new(), |line| format!("- {line}\n"));
                text += &b.map_or(String::new(), |line| format!("+ {line}\n"));
            }
        }
    }
    text
}

#[test]
fn every_scene_says_what_is_kept_of_it_and_keeps_the_rules() {
    let write = std::env::var("TAREBELL_SAID").is_ok_and(|v| v == "write");
    let said_in = folder().join("said");
    let (mut wrong, mut known) = (String::new(), BTreeSet::new());
    let scenes = scenes_in(&folder());
    for scene in &scenes {
        for scale in &scene.scales {
            let played = play(scene, scale).expect("a scale of a known name");
            let (said, name) = (played.transcript(), format!("{}.{scale}.txt", scene.name));
            for (_, _, what) in judge(scene, &played) {
                let _ = writeln!(wrong, "{} on {scale}: {what}\n{said}", scene.name);
            }
            let kept = std::fs::read_to_string(said_in.join(&name)).unwrap_or_default();
            if write {
                std::fs::write(said_in.join(&name), &said).expect("to write what is said");
            } else if kept != said {
                let _ = writeln!(wrong, "{name} (- kept, + said now):\n{}", difference(&kept, &said));
            }
            known.insert(name);
        }
    }
    let entries = std::fs::read_dir(&said_in).expect("a folder of what is said");
    for name in entries.map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned()) {
        if !known.contains(&name) {
            let _ = writeln!(wrong, "{name} is of no scene, or of no scale of it");
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
    assert!(scenes.len() >= 70, "only {} scenes", scenes.len());
}

/// What is broken of a scene whose pieces weigh alike, and whether each of those is one that no weight could tell and what was
/// written down last, which took the slop, is not good.
fn assumed(scene: &Scene, played: &Played) -> (String, bool) {
    let broken = judge(scene, played);
    let told = broken.iter().all(|(_, piece, _)| piece.is_some_and(|i| alike(played, i)));
    let mut entries = played.said.iter().filter_map(|said| match said {
        Said::Record(_, entry, _) => Some(entry.verdict),
        Said::Step(..) | Said::Cue(..) | Said::Dropped(..) | Said::VoidLast(_) | Said::Jug(..) => None,
    });
    let good = entries.next_back() == Some(Verdict::Good);
    let kinds: BTreeSet<String> = broken.iter().map(|(kind, ..)| format!("{kind:?}")).collect();
    (kinds.into_iter().collect::<Vec<_>>().join(", "), told && !good)
}

#[test]
fn of_pieces_that_no_weight_could_tell_apart_what_is_assumed_is_said_and_none_is_called_good() {
    let folder = folder().join("alike");
    let mut wrong = String::new();
    let scenes = scenes_in(&folder);
    for scene in &scenes {
        let text = std::fs::read_to_string(folder.join(format!("{}.scene", scene.name))).expect("a scene");
        let mut lines = text.lines();
        let assumes = lines.next().is_some_and(|line| line.starts_with("# Assumed: "));
        assert!(assumes, "{}: the first line says what is assumed", scene.name);
        let breaks = lines.next().and_then(|line| line.strip_prefix("# Breaks: "));
        let breaks = breaks.unwrap_or_else(|| panic!("{}: the second line says which rules", scene.name));
        for scale in &scene.scales {
            let played = play(scene, scale).expect("a scale of a known name");
            let (found, alike) = assumed(scene, &played);
            if found != breaks || breaks.is_empty() || !alike {
                let said = played.transcript();
                let _ = writeln!(wrong, "{} on {scale} breaks '{found}', not '{breaks}'\n{said}", scene.name);
            }
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
    assert!(!scenes.is_empty(), "no scene in {}", folder.display());
}

pub(crate) fn scene(steps: &str) -> Scene {
    seeded(7, steps)
}

fn seeded(seed: u64, steps: &str) -> Scene {
    let text = format!("scales usual\ntarget 29 +- 1.5\nseed {seed}\n{steps}");
    Scene::parse(&text, "tests/of/a.scene").unwrap_or_else(|bad| panic!("{bad}"))
}

fn times(played: &Played, of: &str) -> Vec<f64> {
    let is = |said: &&Said| match said {
        Said::Step(_, text) => text == of,
        Said::Cue(_, cue) => cue.cue.word() == of,
        Said::Record(..) | Said::Dropped(..) | Said::VoidLast(_) | Said::Jug(..) => false,
    };
    played.said.iter().filter(is).map(|said| said.at().seconds()).collect()
}

#[test]
fn the_same_scene_says_the_same_twice_and_another_seed_something_else() {
    let steps = "rest 1\nland 312\nwait ready 3\nrest 0.4\npour until stop at 8\nwait verdict 4\nlift\n";
    let said = |scene: &Scene| play(scene, "usual").expect("a known scale").transcript();
    assert_eq!(said(&scene(steps)), said(&scene(steps)));
    assert!(said(&scene(steps)).contains("record 1.1 good"), "{}", said(&scene(steps)));
    assert_ne!(said(&scene(steps)), said(&seeded(8, steps)));
}

#[test]
fn steps_follow_one_another_and_what_is_marked_runs_beside_and_holds_up_nothing() {
    let steps = "rest 1\nland 312\nrest 2\nat +0.5 bump 1\nat +1 press 3 for 0.4\nrest 1\n";
    let played = play(&scene(steps), "usual").expect("a known scale");
    for (of, wanted) in
        [("land 312", 1.0), ("rest 2", 1.2), ("bump 1", 1.7), ("press 3 for 0.4", 2.2), ("rest 1", 0.0)]
    {
        let of = if of.starts_with("bump") { "at +0.5 bump 1" } else { of };
        let of = if of.starts_with("press") { "at +1 press 3 for 0.4" } else { of };
        let at = *times(&played, of).first().unwrap_or_else(|| panic!("{of}: {}", played.transcript()));
        assert!((at - wanted).abs() < 0.01, "{of} at {at} s, wanted {wanted} s");
    }
    assert!((times(&played, "rest 1")[1] - 3.2).abs() < 0.01, "the next step waits for nothing beside");
}

#[test]
fn a_hand_answers_a_stop_after_its_own_time_and_pours_what_is_asked_without_one() {
    let steps = "rest 1\nland 312\nwait ready 3\npour 20 at 8\nrest 2\nlift\n";
    let played = play(&scene(steps), "usual").expect("a known scale");
    assert!((played.truths[0].net_g - 20.0).abs() < 0.4, "{:.2} g", played.truths[0].net_g);
    let steps = "rest 1\nland 312\nrest 2\npour until stop at 8\nrest 2\nlift\n";
    let played = play(&scene(steps), "usual").expect("a known scale");
    assert_eq!(times(&played, "stop").len(), 1);
    assert!((played.truths[0].net_g - 29.0).abs() < 1.5, "{:.2} g", played.truths[0].net_g);
}

#[test]
fn a_line_that_says_nothing_is_refused_with_file_line_and_what_was_expected() {
    let head = "scales usual\ntarget 29 +- 1.5\nseed 7\n";
    for (text, wanted) in [
        (
            format!("{head}rest 1\nland heavy"),
            "t.scene:5: expected grams of the bare piece after 'land', found 'heavy'",
        ),
        (format!("{head}# a word\n\nfly 3"), "t.scene:6: expected a step (land, "),
        (
            format!("{head}wheel 3 turning 0 for 9"),
            "t.scene:4: expected turns a second (more than 0, at most 100000) after 'turning', found '0'",
        ),
        (format!("{head}wheel 3 turning 60 for 9"), "t.scene:4: expected at most 10 turns a second"),
        (
            format!("{head}wheel 3 turning"),
            "t.scene:4: expected turns a second after 'turning', found the end of the line",
        ),
        (format!("{head}wheel 3"), "t.scene:4: expected 'for' after '3', found the end of the line"),
        (format!("{head}shake for 3"), "t.scene:4: expected grams after 'shake', found 'for'"),
        (format!("{head}press 40"), "t.scene:4: expected 'for' after '40', found the end of the line"),
        (
            format!("{head}pour until tea at 8"),
            "t.scene:4: expected 'stop' or 'fault' after 'until', found 'tea'",
        ),
        (
            format!("{head}rest 1e9"),
            "t.scene:4: expected seconds (from 0 to 100000) after 'rest', found '1e9'",
        ),
        (
            format!("{head}pour -29 at 8"),
            "t.scene:4: expected grams, or 'until stop' (from 0 to 100000) after",
        ),
        (
            format!("{head}pour 29 at inf"),
            "t.scene:4: expected grams per second (more than 0, at most 100000)",
        ),
        ("seed 100001".to_owned(), "t.scene:1: expected a whole number (from 0 to 100000) after 'seed'"),
        ("seed -7".to_owned(), "t.scene:1: expected a whole number (from 0 to 100000) after 'seed'"),
        (
            format!("{head}land 0"),
            "t.scene:4: expected grams of the bare piece (more than 0, at most 100000) after 'land'",
        ),
        (
            format!("{head}wait tomorrow 3"),
            "t.scene:4: expected 'ready', 'stop', 'fault', 'clear' or 'verdict' and then seconds after 'wait', found 'tomorrow'",
        ),
        (
            format!("{head}clock sideways 2"),
            "t.scene:4: expected 'on' or 'back' after 'clock', found 'sideways'",
        ),
        (format!("{head}rest 1 2"), "t.scene:4: expected nothing more after '1', found '2'"),
        (format!("{head}rest -1"), "t.scene:4: expected seconds (from 0 to 100000) after 'rest', found '-1'"),
        (
            "scales usual odd".to_owned(),
            "t.scene:1: expected quick, usual, late, coarse or lossy after 'usual', found 'odd'",
        ),
        (
            "scales usual\nseed 7\nrest 1".to_owned(),
            "t.scene:3: expected a line 'target GRAMS +- GRAMS', found none",
        ),
        (head.to_owned(), "t.scene:3: expected a step, found none"),
        (format!("{head}rest 1\nscales usual"), "t.scene:5: expected a step (land, "),
        (
            "scales usual\ntarget 29 +- 40".to_owned(),
            "t.scene:2: expected less than the target of 29 g after '+-', found '40'",
        ),
        (
            "target 29 +- 0".to_owned(),
            "t.scene:1: expected grams (more than 0, at most 100000) after '+-', found '0'",
        ),
        (
            "counts in 0".to_owned(),
            "t.scene:1: expected grams (more than 0, at most 100000) after 'in', found '0'",
        ),
        ("counts 2.5".to_owned(), "t.scene:1: expected 'in' after 'counts', found '2.5'"),
        ("seed 1.7".to_owned(), "t.scene:1: expected a whole number after 'seed', found '1.7'"),
        (
            "spare 0".to_owned(),
            "t.scene:1: expected grams (more than 0, at most 100000) after 'spare', found '0'",
        ),
        (
            format!("{head}seed 8"),
            "t.scene:4: expected one line 'seed', found another: leave one of them out",
        ),
        (
            format!("{head}pour 29 at 0"),
            "t.scene:4: expected grams per second (more than 0, at most 100000) after 'at', found '0'",
        ),
        (
            format!("{head}lift"),
            "t.scene:4: expected a 'land' or 'put back' above it whose piece still stands there, found 'lift' of no piece",
        ),
        (format!("{head}land 300\nlift\nlift"), "t.scene:6: expected a 'land' or 'put back' above it whose"),
        (format!("{head}land 300\nswap 310\nlift\nlift"), "t.scene:7: expected a 'land' or 'put back' above"),
        (
            format!("{head}land 300\nput back"),
            "t.scene:5: expected a 'lift' above it whose piece is not back yet, found 'put back' of no piece",
        ),
        (
            format!("{head}land 300\nlift\nput back\nput back"),
            "t.scene:7: expected a 'lift' above it whose piece is not back yet, found 'put back' of no piece",
        ),
        (
            format!("{head}set jug 900\ntake jar"),
            "t.scene:5: expected a 'set' of it above that still lies there, found 'take' of 'jar'",
        ),
        (
            format!("{head}set jug 900\ntake jug\ntake jug"),
            "t.scene:6: expected a 'set' of it above that still lies there, found 'take' of 'jug'",
        ),
        (format!("{head}rest 1\nat +100000 rest 1"), "t.scene:5: expected at most 3600 seconds after 'at'"),
    ] {
        let bad = Scene::parse(&text, "t.scene").expect_err(&text).to_string();
        assert!(bad.starts_with(wanted), "{bad}\nwanted {wanted}");
    }
}

#[test]
fn a_line_of_the_head_below_a_step_is_told_where_it_belongs() {
    let text = "scales usual\ntarget 29 +- 1.5\nseed 7\nrest 1\nvessel jug\n";
    let bad = Scene::parse(text, "t.scene").expect_err("the head comes first").to_string();
    assert!(bad.ends_with("found 'vessel', a line of the head: move it above the first step"), "{bad}");
}

#[test]
fn a_refused_word_is_repeated_without_control_characters_and_no_longer_than_a_line() {
    let text = format!("scales \u{1b}[31m{}", "x".repeat(100_000));
    let bad = Scene::parse(&text, "t.scene").expect_err("no such scale").to_string();
    assert!(bad.len() < 200 && !bad.chars().any(char::is_control), "{bad}");
    let marked = Scene::parse("\u{feff}scales usual\ntarget 29 +- 1.5\nseed 7\nrest 1\n", "t.scene");
    assert_eq!(marked.expect("an editor's mark before the first word says nothing").scales, ["usual"]);
}

#[test]
fn a_scene_that_takes_longer_than_an_hour_is_said_to_be_cut() {
    let dir = tempfile::tempdir().expect("a folder");
    let file = dir.path().join("long.scene");
    std::fs::write(&file, "scales usual\ntarget 29 +- 1.5\nseed 1\nrest 3700\n").expect("to write");
    let (code, _, err) = replayed(&[&file.to_string_lossy()]);
    assert!(code == Some(1) && err.contains("cut after an hour"), "{code:?} {err}");
}

#[test]
fn replay_says_of_an_older_trace_that_it_has_no_checksum_and_of_a_cut_one_that_it_is_cut() {
    let dir = tempfile::tempdir().expect("a folder");
    let file = dir.path().join("trace");
    let whole = super::run::Run::new().trace.encode();
    let of_7 = super::run::OF_VERSION_7;
    let old = [&[6], &of_7[5..of_7.len() - 5]].concat();
    let replay = |bytes: &[u8]| {
        std::fs::write(&file, bytes).expect("to write");
        replayed(&[&file.to_string_lossy()])
    };
    assert_eq!(replay(&whole), (Some(0), String::new(), String::new()));
    let (code, _, err) = replay(&old);
    assert!(code == Some(0) && err.contains("carries no checksum"), "{code:?} {err}");
    let (code, _, err) = replay(&whole[..whole.len() - 1]);
    assert!(code == Some(1) && err.contains("the trace is cut"), "{code:?} {err}");
    let (code, _, err) = replayed(&["/dev/zero"]);
    assert!(code == Some(1) && err.contains("a device or a pipe"), "{code:?} {err}");
}

#[test]
fn the_tour_without_sound_shows_every_cue_and_every_trouble_and_says_that_nothing_is_heard() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_tarebell"));
    command.args(["demo", "--tour", "--no-sound", "--data"]).arg(dir.path());
    let out = command.output().expect("to run tarebell");
    let said = String::from_utf8_lossy(&out.stdout);
    assert!(out.status.success() && said.contains("no sound is heard"), "{said}");
    for word in tarebell::pour::entry::Cue::ALL.map(Cue::word) {
        assert!(said.lines().any(|line| line.starts_with(word)), "{word}: {said}");
    }
    assert!(said.contains("What goes wrong") && said.contains("residue"), "{said}");
}

#[test]
fn what_stays_on_the_pan_is_no_part_of_the_piece() {
    let steps = "rest 1\nland 312\nrest 2\npour 20 at 8\nat +1 splash 4\nrest 2\nlift leaving 1\nrest 3\n";
    let played = play(&scene(steps), "usual").expect("a known scale");
    assert!((played.truths[0].at_lift_g[0] - 19.0).abs() < 0.4, "{:?}", played.truths[0]);
    let wet =
        play(&scene(&steps.replace("leaving 1", "leaving 1 of water")), "usual").expect("a known scale");
    assert!((wet.truths[0].at_lift_g[0] - 20.0).abs() < 0.4, "{:?}", wet.truths[0]);
}

#[test]
fn a_weight_of_before_the_last_slop_is_no_truth_of_what_the_piece_holds() {
    let steps = "land 312\nwait ready 3\npour 20 at 8\nrest 2\nlift\nrest 2\nput back less 1\nrest 2\n";
    let truth = |more: &str| {
        let played = play(&scene(&format!("rest 1\n{steps}{more}lift\nrest 1\n")), "usual");
        played.expect("a known scale").truths[0].clone()
    };
    let rolled = truth("");
    for g in [20.0, 19.0] {
        assert!((nearest_g(&rolled, g) - g).abs() < 0.4, "{g}: {:?}", rolled.at_lift_g);
    }
    let poured_on = truth("pour 20 at 8\nrest 1\n");
    for g in [20.0, 19.0, 39.0] {
        assert!((nearest_g(&poured_on, g) - 39.0).abs() < 0.8, "{g}: {:?}", poured_on.at_lift_g);
    }
}

#[test]
fn each_rule_finds_what_breaks_it() {
    let steps = "rest 1\nland 312\nwait ready 3\npour until stop at 8\nwait verdict 4\nlift\nrest 1\n";
    let (scene, mut played) = (scene(steps), None);
    let mut found = |spoil: fn(&mut Played)| {
        let fresh = || play(&scene, "usual").expect("a known scale");
        let mut spoiled = played.get_or_insert_with(fresh).clone();
        spoil(&mut spoiled);
        judge(&scene, &spoiled).into_iter().map(|(b, ..)| b).collect::<Vec<_>>()
    };
    assert_eq!(found(|_| {}), []);
    assert_eq!(found(|p| p.said.retain(|s| !matches!(s, Said::Record(..)))), [Broken::Missed]);
    let again = |p: &mut Played| {
        let record = p.said.iter().rfind(|s| matches!(s, Said::Record(..))).cloned();
        if let Some(Said::Record(at, entry, on)) = record {
            p.said.push(Said::Record(at, Entry { piece: 2, ..entry }, on));
        }
    };
    assert_eq!(found(again), [Broken::Doubled]);
    assert_eq!(found(|p| p.truths[0].at_lift_g = vec![26.0]), [Broken::FalseGood, Broken::Wrong]);
    assert_eq!(found(|p| p.truths[0].at_lift_g = vec![28.0]), [Broken::Wrong]);
    fn unsure(p: &mut Played, u_g: f64) {
        for said in &mut p.said {
            if let Said::Record(_, entry, _) = said {
                entry.net_u = Some(Mass::saturating(u_g));
            }
        }
    }
    assert_eq!(found(|p| unsure(p, 3.1)), [Broken::UnsureGood]);
    assert_eq!(found(|p| unsure(p, 2.9)), []);
    assert!(played.is_some_and(|p| times(&p, Cue::Good.word()).len() == 1));
}

fn replayed(arguments: &[&str]) -> (Option<i32>, String, String) {
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_tarebell"));
    let out = command.arg("replay").args(arguments).current_dir(folder()).output().expect("to run tarebell");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}

#[test]
fn replay_plays_a_scene_on_each_of_its_scales_as_it_is_kept() {
    let kept = |scale: &str| {
        std::fs::read_to_string(folder().join(format!("said/landing-soft.{scale}.txt"))).expect("a text")
    };
    let (code, out, err) = replayed(&["landing-soft.scene"]);
    let wanted: Vec<String> = ["quick", "usual", "late", "coarse"].map(kept).into();
    assert_eq!((code, out, err), (Some(0), wanted.join("\n") + "\n", String::new()));
    let (code, out, _) = replayed(&["--json", "landing-soft.scene"]);
    let lines: Vec<serde_json::Value> =
        out.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    let records: Vec<_> = lines.iter().filter(|l| l["kind"] == "entry").collect();
    let scales: BTreeSet<_> = records.iter().filter_map(|r| r["scale"].as_str()).collect();
    assert_eq!((code, scales), (Some(0), BTreeSet::from(["quick", "usual", "late", "coarse"])));
    let off_g = |r: &serde_json::Value| r["net_g"].as_f64().unwrap() - r["true_net_g"].as_f64().unwrap();
    // The coarse display counts in 1 g.
    assert!(records.iter().all(|r| off_g(r).abs() < 2.3), "{records:?}");
}

#[test]
fn replay_refuses_a_scene_that_says_nothing_and_one_that_is_not_there() {
    let dir = tempfile::tempdir().expect("a folder");
    let file = dir.path().join("odd.scene");
    std::fs::write(&file, "scales usual\ntarget 29 +- 1.5\nseed 1\nfly 3\n").expect("to write");
    let name = file.to_string_lossy();
    let (code, out, err) = replayed(&[&name]);
    assert_eq!((code, out), (Some(1), String::new()));
    assert!(err.contains(&format!("{name}:4: expected a step (land, ")), "{err}");
    let (code, _, err) = replayed(&["none.scene"]);
    assert!(code == Some(1) && err.contains("can't read none.scene"), "{code:?} {err}");
}
