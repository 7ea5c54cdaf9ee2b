//! What sounds before the stop, as the studio wants it.

use super::run::{Run, start_for};
use tarebell::pour::PourSettings;
use tarebell::pour::engine::Start;
use tarebell::pour::entry::Cue;
use tarebell::pour::guidance::Guidance;
use tarebell::pour::hand::Hand;
use tarebell::pour::trace::Trace;

/// Beat of the pips, and how far a beat may be moved, s.
const BEAT_S: f64 = 0.425;
const BENDS: f64 = 0.25;

/// A pour of the target at this flow, which changes to another share of itself two seconds in.
fn pour(guidance: Guidance, target_g: f64, flow_g_s: f64, share: f64) -> Run {
    let settings = PourSettings { guidance, ..PourSettings::default() };
    let mut run = Run::of(Start { settings, hand: Hand::expected(guidance), ..start_for(target_g) });
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    let shown = |s: f64| s - 0.3 * (1.0 - (-s / 0.3).exp());
    let poured = |t: f64| {
        let s = (t - 4.0).max(0.0);
        let g = flow_g_s * (shown(s) + (share - 1.0) * shown((s - 2.0).max(0.0)));
        300.0 + g.min(target_g)
    };
    run.curve(4.0, 12.0, poured);
    run
}

#[test]
fn with_the_stop_alone_nothing_sounds_before_it() {
    let run = pour(Guidance::Stop, 29.0, 8.0, 1.0);
    assert_eq!(run.cues(), [Cue::Ready, Cue::Stop, Cue::Good]);
}

#[test]
fn a_countdown_is_three_even_pips_and_the_stop_on_the_fourth_beat() {
    for share in [0.7, 0.9, 1.0, 1.1, 1.4] {
        let run = pour(Guidance::Countdown, 40.0, 8.0, share);
        let (pips, stop) = (run.due_s(Cue::Count), run.due_s(Cue::Stop));
        assert_eq!((pips.len(), stop.len()), (3, 1), "{share}: {:?}", run.cues());
        assert_eq!(run.due_s(Cue::Approach).len(), 1, "{share}: {:?}", run.cues());
        for pair in pips.windows(2) {
            let off = (pair[1] - pair[0]) / BEAT_S - 1.0;
            assert!(off.abs() < BENDS + 0.01, "{share}: {pips:?}");
        }
        // Earlier where slop runs quicker than was foreseen, never later than the beat.
        assert!(stop[0] - pips[2] < (1.0 + BENDS) * BEAT_S + 0.005, "{share}: {pips:?} {stop:?}");
    }
}

#[test]
fn a_countdown_that_has_no_room_is_left_out_as_a_whole() {
    let run = pour(Guidance::Countdown, 10.0, 8.0, 1.0);
    let pips = run.due_s(Cue::Count).len();
    assert!(pips == 0 || pips == 3, "{:?}", run.cues());
    assert_eq!(run.due_s(Cue::Stop).len(), 1, "{:?}", run.cues());
}

#[test]
fn a_hand_that_keeps_time_is_expected_to_be_quicker_than_one_that_answers() {
    let time_s = |guidance| Hand::expected(guidance).hand_s;
    assert!(time_s(Guidance::Countdown) < 0.5 * time_s(Guidance::Warned));
    assert!((time_s(Guidance::Stop) - time_s(Guidance::Warned)).abs() < 1e-9);
}

#[test]
fn a_trace_keeps_how_a_stream_was_guided_and_gives_the_same_cues_again() {
    for guidance in Guidance::ALL {
        let run = pour(guidance, 29.0, 8.0, 1.0);
        let again = Trace::decode(&run.trace.encode()).expect("a whole trace");
        assert_eq!(again.start.settings.guidance, guidance);
        assert_eq!(again.replay(), run.outputs, "{guidance:?}");
    }
}
