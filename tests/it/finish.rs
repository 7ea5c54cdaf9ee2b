//! Pours finished with a trickle: the first stop comes short, a second `ready` asks for the rest, and that gets a stop of
//! its own.

use super::run::{Run, start_for};
use tarebell::pour::PourSettings;
use tarebell::pour::engine::Start;
use tarebell::pour::entry::{Cue, Output};
use tarebell::pour::finish::Finish;
use tarebell::pour::hand::Hand;
use tarebell::pour::trace::Trace;
use tarebell::record::Verdict;

const TARGET_G: f64 = 29.0;
/// When the second stream begins, where one does.
const SECOND_S: f64 = 12.0;

/// A hand that was learned and scatters by so much, s.
fn hand(scatter_s: f64) -> Hand {
    Hand { pours: 8, scatter_s: Some(scatter_s), ..Hand::default() }
}

fn begun(finish: Finish, hand: Hand) -> Run {
    let settings = PourSettings { finish, ..PourSettings::default() };
    let mut run = Run::of(Start { settings, hand, ..start_for(TARGET_G) });
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    run
}

/// What a scale of one pole, 0.3 s, shows of a flow from `from_s` to `to_s`.
fn shown(t: f64, flow_g_s: f64, from_s: f64, to_s: f64) -> f64 {
    let ramp = |s: f64| if s <= 0.0 { 0.0 } else { flow_g_s * (s - 0.3 * (1.0 - (-s / 0.3).exp())) };
    ramp(t - from_s) - ramp(t - to_s)
}

/// Slop at 8 g/s, and from [`SECOND_S`] on at 2.5 g/s: so much of each; then it is lifted.
fn poured(finish: Finish, hand: Hand, first_g: f64, second_g: f64) -> Run {
    let mut run = begun(finish, hand);
    let gross = |t: f64| {
        300.0 + shown(t, 8.0, 4.0, 4.0 + first_g / 8.0) + shown(t, 2.5, SECOND_S, SECOND_S + second_g / 2.5)
    };
    run.curve(4.0, 18.0, gross);
    run.curve(18.0, 20.0, |_| 0.0);
    run
}

fn left_g(run: &Run, cue: Cue) -> Vec<f64> {
    let left = |o: &Output| match o {
        Output::Cue(c) if c.cue == cue => c.left.map(|m| m.g()),
        Output::Cue(_)
        | Output::Entry(_)
        | Output::Learned(_)
        | Output::Dropped { .. }
        | Output::VoidLast
        | Output::Jug { .. } => None,
    };
    run.outputs.iter().filter_map(left).collect()
}

#[test]
fn the_first_stop_comes_short_and_a_second_ready_asks_for_what_is_missing() {
    let run = poured(Finish::Trickle, hand(0.06), 24.0, 5.0);
    let cues: Vec<Cue> =
        run.cues().into_iter().filter(|c| !matches!(c, Cue::Approach | Cue::Count)).collect();
    assert_eq!(cues, [Cue::Ready, Cue::Stop, Cue::Ready, Cue::Stop, Cue::Good], "{:?}", run.cues());
    let asked = left_g(&run, Cue::Ready);
    assert!((asked[1] - 5.0).abs() < 0.2, "asked for {asked:?} g");
    // One stop would come 0.29 s before 29 g at 8 g/s; this one comes sooner by some grams of flow.
    let one = poured(Finish::Stop, hand(0.06), 29.0, 0.0).due_s(Cue::Stop)[0];
    let stops = run.due_s(Cue::Stop);
    let sooner_g = 8.0 * (one - stops[0]);
    assert!((5.0..10.0).contains(&sooner_g), "sooner by {sooner_g} g");
    // 5 g at 2.5 g/s end after 2 s, and a hand takes 0.39 s at a trickle.
    assert!((stops[1] - (SECOND_S + 2.0 - 0.39)).abs() < 0.25, "{stops:?}");
    let last = run.entries().pop().expect("an entry");
    assert_eq!((last.verdict, last.top_ups), (Verdict::Good, 1));
    assert!((last.first_net.expect("weighed").g() - 24.0).abs() < 0.2);
}

#[test]
fn a_hand_that_scatters_more_leaves_more_to_trickle() {
    let first_stop = |scatter_s| poured(Finish::Trickle, hand(scatter_s), 22.0, 7.0).due_s(Cue::Stop)[0];
    let sooner_g = 8.0 * (first_stop(0.05) - first_stop(0.15));
    // Two standard deviations: 2 x 0.1 s x 8 g/s, where the reserve is not at its most.
    assert!((1.0..2.2).contains(&sooner_g), "sooner by {sooner_g} g");
    let new = poured(Finish::Trickle, Hand::default(), 22.0, 7.0).due_s(Cue::Stop)[0];
    assert!(new < first_stop(0.05) - 0.1, "a hand nobody knows leaves more");
}

#[test]
fn with_one_stop_nothing_is_asked_for_after_it() {
    let run = poured(Finish::Stop, hand(0.06), 29.0, 0.0);
    assert_eq!(run.due_s(Cue::Ready).len(), 1, "{:?}", run.cues());
    assert_eq!(
        PourSettings::default().finish,
        Finish::Stop,
        "slop soaks into bisque: off where nothing is said"
    );
}

#[test]
fn what_the_first_stop_left_too_little_of_is_not_asked_for() {
    let run = poured(Finish::Trickle, hand(0.06), 28.6, 0.0);
    assert_eq!(run.due_s(Cue::Ready).len(), 1, "{:?}", run.cues());
    assert!(run.cues().contains(&Cue::Good));
}

#[test]
fn a_piece_that_is_lifted_without_its_trickle_is_called_short_then() {
    let run = poured(Finish::Trickle, hand(0.06), 24.0, 0.0);
    assert_eq!(run.cues().last(), Some(&Cue::Short), "{:?}", run.cues());
    assert!(run.due_s(Cue::Short)[0] > 18.0, "not while the trickle may come");
    assert_eq!(run.entries().last().map(|e| e.verdict), Some(Verdict::Short));
}

#[test]
fn the_hand_at_a_trickle_and_its_pace_are_learned_beside_the_hand_of_the_pour() {
    let before = hand(0.06);
    // Ended 1 g over: the trickle's time grows, and the pour's hardly moves, as its stop was met.
    let run = poured(Finish::Trickle, before, 24.0, 6.0);
    let after = run.engine.hand();
    assert!(after.trickle.hand_s > before.trickle.hand_s + 0.1, "{after:?}");
    assert_eq!(after.trickle.pace.pours, 1);
    assert!((after.trickle.pace.flow_g_s - 2.5).abs() < 0.4, "{after:?}");
    assert_eq!(after.pours, before.pours + 1);
}

#[test]
fn a_trace_keeps_how_a_pour_was_finished_and_gives_the_same_cues_again() {
    for finish in Finish::ALL {
        let run = poured(finish, hand(0.06), 24.0, 5.0);
        let again = Trace::decode(&run.trace.encode()).expect("a whole trace");
        assert_eq!(again.start, run.trace.start);
        assert_eq!(again.replay(), run.outputs, "{finish:?}");
    }
}
