//! A batch that climbs from coat to coat: each piece has a target of its own, and keeps it.

use crate::run::{Run, start_for};
use tarebell::pour::engine::Command;
use tarebell::pour::entry::{Cue, CueCall, Output};
use tarebell::pour::trace::{Input, Trace};
use tarebell::record::{Aim, Verdict};
use tarebell::time::Instant;
use tarebell::units::Mass;

fn aim(target_g: f64) -> Aim {
    let start = start_for(target_g);
    Aim { target: start.target, low: start.low, high: start.high }
}

fn tell(run: &mut Run, at_s: f64, target_g: f64) {
    let at = Instant::START.offset_seconds(at_s);
    run.give(Input::Command(Command::Aim(aim(target_g)), at), at);
}

/// A piece of so many grams lands, is poured at 8 g/s to so much and lifted: 10 s.
fn poured(run: &mut Run, from_s: f64, bare_g: f64, slop_g: f64) {
    run.curve(from_s, from_s + 2.0, |_| bare_g);
    run.curve(from_s + 2.0, from_s + 8.0, |t| bare_g + (8.0 * (t - from_s - 2.0)).min(slop_g));
    run.curve(from_s + 8.0, from_s + 10.0, |_| 0.0);
}

fn readies_g(run: &Run) -> Vec<f64> {
    left_g(run, Cue::Ready)
}

/// What was left to pour at each cue of this kind, g.
fn left_g(run: &Run, of: Cue) -> Vec<f64> {
    let left = |o: &Output| match o {
        Output::Cue(CueCall { cue, left, .. }) if *cue == of => left.map(|m| m.g()),
        Output::Cue(_) | Output::Entry(_) | Output::Dropped { .. } | Output::Learned(_) => None,
        Output::VoidLast | Output::Jug { .. } => None,
    };
    run.outputs.iter().filter_map(left).collect()
}

#[test]
fn each_piece_is_told_poured_and_judged_by_its_own_target() {
    let mut run = Run::of(start_for(29.0));
    run.curve(0.0, 2.0, |_| 0.0);
    poured(&mut run, 2.0, 300.0, 29.0);
    tell(&mut run, 12.0, 20.0);
    run.curve(12.0, 14.0, |_| 0.0);
    poured(&mut run, 14.0, 310.0, 20.0);
    tell(&mut run, 24.0, 35.0);
    run.curve(24.0, 26.0, |_| 0.0);
    poured(&mut run, 26.0, 305.0, 29.0);
    assert_eq!(readies_g(&run), [29.0, 20.0, 35.0]);
    let last_of = |piece| run.entries().into_iter().rfind(|e| e.piece == piece).expect("an entry");
    let told = [1, 2, 3].map(|piece| (last_of(piece).aim, last_of(piece).verdict));
    let wanted = [(aim(29.0), Verdict::Good), (aim(20.0), Verdict::Good), (aim(35.0), Verdict::Short)];
    assert_eq!(told, wanted);
    let stops = run.due_s(Cue::Stop);
    assert_eq!(stops.len(), 2, "29 g of 35 g end before their stop: {stops:?}");
    let at = |since_s: f64, stop_s: f64| 8.0 * (stop_s - since_s);
    assert!((at(4.0, stops[0]) - at(16.0, stops[1]) - 9.0).abs() < 1.0, "nine grams sooner: {stops:?}");
}

#[test]
fn a_short_piece_put_back_when_another_target_is_next_is_topped_up_to_its_own() {
    let mut run = Run::of(start_for(29.0));
    run.curve(0.0, 2.0, |_| 0.0);
    poured(&mut run, 2.0, 300.0, 26.0);
    tell(&mut run, 12.0, 35.0);
    run.curve(12.0, 30.0, |_| 0.0);
    // The first one again, 3 g short of its own 29 g, and far more short of 35 g.
    run.curve(30.0, 33.0, |_| 326.0);
    let shorts_g = left_g(&run, Cue::Short);
    assert!(
        shorts_g.len() == 2 && (shorts_g[1] - 3.0).abs() < 0.2,
        "as it was poured and as it was put back: {shorts_g:?}"
    );
    run.curve(33.0, 36.0, |t| 326.0 + 1.5 * (t - 33.0).min(2.0));
    run.curve(36.0, 39.0, |_| 329.0);
    let entry = *run.entries().last().expect("an entry");
    assert_eq!((entry.piece, entry.aim, entry.verdict), (1, aim(29.0), Verdict::Good), "{entry:?}");
    run.curve(39.0, 42.0, |_| 0.0);
    // And the next new one gets what was next.
    poured(&mut run, 42.0, 320.0, 35.0);
    let entry = *run.entries().last().expect("an entry");
    assert_eq!((entry.piece, entry.aim, entry.verdict), (2, aim(35.0), Verdict::Good), "{entry:?}");
    let bytes = run.trace.encode();
    assert_eq!(Trace::decode(&bytes).expect("own bytes").replay(), run.outputs, "as it was");
}

#[test]
fn a_target_told_while_a_piece_has_a_record_changes_nothing() {
    let mut run = Run::of(start_for(29.0));
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    tell(&mut run, 4.0, 20.0);
    run.curve(4.0, 10.0, |t| 300.0 + (8.0 * (t - 4.0)).min(29.0));
    run.curve(10.0, 12.0, |_| 0.0);
    let entry = *run.entries().last().expect("an entry");
    assert_eq!((entry.aim, entry.verdict), (aim(29.0), Verdict::Good));
    assert_eq!(run.engine.next_aim(), aim(29.0));
}

#[test]
fn a_replay_of_a_later_piece_knows_the_targets_of_those_that_may_come_back() {
    let mut run = Run::of(start_for(29.0));
    run.curve(0.0, 2.0, |_| 0.0);
    poured(&mut run, 2.0, 300.0, 26.0);
    tell(&mut run, 12.0, 20.0);
    run.curve(12.0, 18.0, |_| 0.0);
    let mut trace = Trace::new(start_for(29.0));
    trace.start_from(&run.engine);
    assert_eq!(trace.start.target, Mass::saturating(20.0));
    let read = Trace::decode(&trace.encode()).expect("own bytes");
    let mut later = Run::of(read.start);
    later.curve(18.0, 21.0, |_| 326.0);
    let shorts_g = left_g(&later, Cue::Short);
    assert!(
        shorts_g.len() == 1 && (shorts_g[0] - 3.0).abs() < 0.2,
        "of its own 29 g, not of 20 g: {shorts_g:?}"
    );
}
