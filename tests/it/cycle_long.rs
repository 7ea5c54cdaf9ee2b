//! Cycles of many pieces, and sweeps over what hands do to a piece that was weighed: nothing is said wrongly, and
//! silence never means 'keep pouring'. All of them are invented.

use super::scenes::nearest_g;
use tarebell::daemon::rehearsal::{Played, Said, play};
use tarebell::plant::scene::Scene;
use tarebell::record::Verdict;

pub(crate) fn played(scale: &str, seed: u64, steps: &str) -> Played {
    let text = format!("scales {scale}\ntarget 29 +- 1.5\nseed {seed}\nrest 1\n{steps}");
    let scene = Scene::parse(&text, "tests/of/a.scene").unwrap_or_else(|bad| panic!("{bad}"));
    play(&scene, scale).expect("a scale of a known name")
}

/// When this cue sounded.
fn cued(played: &Played, word: &str) -> Vec<f64> {
    let is = |said: &&Said| matches!(said, Said::Cue(_, cue) if cue.cue.word() == word);
    played.said.iter().filter(is).map(|said| said.at().seconds()).collect()
}

/// When this step began.
fn began(played: &Played, step: &str) -> f64 {
    let is = |said: &&Said| matches!(said, Said::Step(_, text) if text.contains(step));
    played.said.iter().rfind(is).unwrap_or_else(|| panic!("no {step}")).at().seconds()
}

/// A piece poured to so many grams and weighed.
fn weighed(grams: f64) -> String {
    format!("land 312\nwait ready 5\nrest 0.4\npour {grams} at 8\nwait verdict 6\nrest 1\n")
}

#[test]
fn a_top_up_under_a_hand_gets_a_stop_or_a_fault_in_time() {
    let mut bad = String::new();
    for scale in ["quick", "usual", "late"] {
        for touch in ["press", "jug rests"] {
            for g in [10, 20, 30, 40, 50, 60] {
                for seed in 1..=3 {
                    let steps = format!(
                        "{}{touch} {g} for 4\nat +0.3 pour until stop at 6\nrest 6\nlift\nrest 2\n",
                        weighed(20.0)
                    );
                    let played = played(scale, seed, &steps);
                    let from = began(&played, "pour until stop");
                    let told = [cued(&played, "stop"), cued(&played, "fault")].concat();
                    let told = told.into_iter().filter(|at| *at > from - 0.5).fold(f64::MAX, f64::min);
                    // 9 g at 6 g/s are in it after 1.5 s; a usual stop is late by up to half a second.
                    let poured_g = played.truths[0].poured_g;
                    if told > from + 2.5 || poured_g > 38.0 {
                        bad += &format!(
                            "{touch} {g} on {scale}, seed {seed}: told after {:.1} s, {poured_g:.1} g\n{}",
                            told - from,
                            played.transcript()
                        );
                    }
                    for (entry, _) in played.records() {
                        let (net_g, u_g) =
                            (entry.net.map_or(0.0, |m| m.g()), entry.net_u.map_or(0.0, |m| m.g()));
                        let off_g = (net_g - nearest_g(&played.truths[0], net_g)).abs();
                        if off_g > 3.0 * u_g + played.step_g && entry.verdict != Verdict::Void {
                            bad += &format!(
                                "{touch} {g} on {scale}, seed {seed}: {off_g:.2} g off +-{u_g:.2}\n{}",
                                played.transcript()
                            );
                        }
                    }
                }
            }
        }
    }
    assert!(bad.is_empty(), "\n{bad}");
}

#[test]
fn a_coarse_display_that_stands_still_is_a_fault_and_not_every_hand_that_stops_by_itself() {
    let mut counts = String::new();
    let (mut own, mut frozen) = (0, 0);
    for flow in [5, 8] {
        for seed in 1..=20 {
            let steps =
                format!("land 312\nwait ready 5\nrest 0.4\npour 18 at {flow}\nrest 4\nlift\nrest 2\n");
            let faults = usize::from(!cued(&played("coarse", seed, &steps), "fault").is_empty());
            own += faults;
            let steps = format!(
                "land 312\nwait ready 5\nrest 0.4\npour until fault at {flow}\nat +2.2 freeze 4\nrest 4\nlift\nrest 2\n"
            );
            let stood = played("coarse", seed, &steps);
            let from = began(&stood, "freeze");
            let told =
                cued(&stood, "fault").into_iter().chain(cued(&stood, "stop")).any(|at| at < from + 1.3);
            frozen += usize::from(told);
            counts += &format!("{flow} g/s seed {seed}: {faults} {told}\n");
        }
    }
    println!("{own} of 40 own stops are a fault, {frozen} of 40 frozen displays");
    // Within a step the two look alike, and the one that is missed costs a piece: measured 32 and 37.
    assert!(own <= 35 && frozen >= 36, "{own} of 40 own stops, {frozen} of 40 frozen\n{counts}");
}

#[test]
fn a_top_up_on_a_coarse_display_gets_its_stop_whatever_came_before() {
    let mut bad = String::new();
    for seed in 1..=20 {
        let steps = format!("{}pour until stop at 6\nrest 4\nlift\nrest 2\n", weighed(20.0));
        let played = played("coarse", seed, &steps);
        let poured_g = played.truths[0].poured_g;
        if poured_g > 36.0 {
            bad += &format!("seed {seed}: {poured_g:.1} g\n{}", played.transcript());
        }
    }
    assert!(bad.is_empty(), "\n{bad}");
}

#[test]
fn a_stop_that_is_not_heard_is_said_again_on_a_coarse_display() {
    let again = |scale: &str| {
        let stops = (1..=10).map(|seed| {
            let steps = "land 312\nwait ready 5\nrest 0.4\npour 70 at 5\nrest 4\nlift\nrest 2\n";
            cued(&played(scale, seed, steps), "stop").len()
        });
        stops.collect::<Vec<_>>()
    };
    let (coarse, usual) = (again("coarse"), again("usual"));
    println!("coarse {coarse:?}, usual {usual:?}");
    assert!(coarse.iter().all(|n| *n >= 3), "coarse {coarse:?}, usual {usual:?}");
}

#[test]
fn a_stop_that_a_pressing_hand_brought_before_slop_ran_is_said_again() {
    let steps =
        format!("{}press 30 for 6\nat +0.5 pour until stop at 6\nrest 6\nlift\nrest 2\n", weighed(14.0));
    for (scale, seed) in [("late", 5), ("usual", 5), ("quick", 5)] {
        let played = played(scale, seed, &steps);
        let from = began(&played, "pour until stop");
        let told = [cued(&played, "stop"), cued(&played, "fault")].concat();
        let first = told.into_iter().filter(|at| *at > from).fold(f64::MAX, f64::min);
        assert!(first < from + 4.0, "{scale}: after {:.1} s\n{}", first - from, played.transcript());
    }
}
