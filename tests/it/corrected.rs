//! Pours on a scale that is set right by a calibration: what is weighed is what is there, readings stay as they were shown,
//! and the piece in progress is never changed.

use super::run::{Run, start};
use tarebell::calibration::correction::Correction;
use tarebell::pour::engine::{Command, Start};
use tarebell::pour::entry::{Entry, Output};
use tarebell::pour::trace::{Input, Trace};
use tarebell::time::Instant;

/// An invented scale that shows 2 percent too much.
const TOO_MUCH: f64 = 1.02;
const RIGHT: Correction =
    Correction { offset_g: 0.0, slope: 1.0 / TOO_MUCH, bend_per_g: 0.0, bends_to_g: f64::MAX };

/// A bare piece of 300 g, and `net_g` of slop at 8 g/s, as the scale shows them; then it is lifted.
fn poured(run: &mut Run, from_s: f64, net_g: f64) {
    let slop = |t: f64| (8.0 * (t - from_s - 6.0)).clamp(0.0, net_g);
    run.curve(from_s, from_s + 2.0, |_| 0.0);
    run.curve(from_s + 2.0, from_s + 16.0, |t| TOO_MUCH * (300.0 + slop(t)));
    run.curve(from_s + 16.0, from_s + 20.0, |_| 0.0);
}

fn weighed(run: &Run) -> Vec<Entry> {
    let entries = run.outputs.iter().filter_map(|o| match o {
        Output::Entry(e) if e.rev == 1 => Some(*e),
        Output::Entry(_)
        | Output::Cue(_)
        | Output::Dropped { .. }
        | Output::Learned(_)
        | Output::VoidLast
        | Output::Jug { .. } => None,
    });
    entries.collect()
}

fn net_g(entry: &Entry) -> f64 {
    entry.net.expect("a weight").g()
}

#[test]
fn a_scale_that_shows_too_much_is_set_right_in_tare_and_net() {
    let mut plain = Run::new();
    poured(&mut plain, 0.0, 40.0);
    let mut right = Run::of(Start { correction: RIGHT, ..start() });
    poured(&mut right, 0.0, 40.0);
    let (plain, right) = (weighed(&plain)[0], weighed(&right)[0]);
    assert!((net_g(&plain) - TOO_MUCH * 40.0).abs() < 0.15, "{plain:?}");
    assert!((net_g(&right) - 40.0).abs() < 0.15 && (right.tare.g() - 300.0).abs() < 0.15, "{right:?}");
}

#[test]
fn the_piece_on_the_pan_is_weighed_to_its_end_as_it_was_begun_and_the_next_one_is_set_right() {
    let mut run = Run::new();
    let slop = |t: f64| (8.0 * (t - 6.0)).clamp(0.0, 40.0);
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 7.0, |t| TOO_MUCH * (300.0 + slop(t)));
    let at = Instant::START.offset_seconds(7.0);
    run.give(Input::Command(Command::Correction(RIGHT), at), at);
    run.curve(7.05, 16.0, |t| TOO_MUCH * (300.0 + slop(t)));
    run.curve(16.0, 20.0, |_| 0.0);
    assert_eq!(run.engine.correction(), Correction::NONE, "asked for in mid-pour it changes nothing");
    let at = Instant::START.offset_seconds(20.0);
    run.give(Input::Command(Command::Correction(RIGHT), at), at);
    poured(&mut run, 20.05, 40.0);
    assert_eq!(Trace::decode(&run.trace.encode()).expect("a trace"), run.trace, "with the change in it");
    let all = weighed(&run);
    assert!((net_g(&all[0]) - TOO_MUCH * 40.0).abs() < 0.15, "{:?}", all[0]);
    assert!((net_g(&all[1]) - 40.0).abs() < 0.15, "{:?}", all[1]);
}

#[test]
fn a_trace_holds_what_was_shown_with_the_correction_and_replays_alike() {
    let bent = Correction {
        offset_g: 0.123_456_789,
        slope: 0.987_654_321,
        bend_per_g: 1.234e-6,
        bends_to_g: 321.123_456_789,
    };
    let mut run = Run::of(Start { correction: bent, ..start() });
    poured(&mut run, 0.0, 40.0);
    let again = Trace::decode(&run.trace.encode()).expect("a trace");
    assert_eq!(again.start.correction, bent, "to the last bit");
    assert_eq!(again.replay(), run.outputs);
    let shown = again.inputs.iter().filter_map(|i| match i {
        Input::Weighing(w) => Some(w.mass.g()),
        Input::Link(..) | Input::Command(..) | Input::Timeout(_) | Input::Hearing(..) | Input::Step(..) => {
            None
        }
    });
    let tenths = |g: f64| ((10.0 * g).round() - 10.0 * g).abs() < 1e-6;
    assert!(shown.into_iter().all(tenths), "as the display of 0.1 g showed it");
}

/// An invented calibration that was told with the bare pan at -0.9 g; the scale wakes at its own zero.
const OFFSET: Correction = Correction { offset_g: 0.9, slope: 1.0, bend_per_g: 0.0, bends_to_g: f64::MAX };

/// What was said of the pan as dirty, by looking at it every second and by what was heard.
fn dirt_said(run: &Run) -> usize {
    let wipes = run.outputs.iter().filter(
        |o| matches!(o, Output::Cue(call) if call.about == Some(tarebell::pour::remark::Remark::Wipe)),
    );
    wipes.count() + usize::from(run.engine.left_on_pan().is_some())
}

#[test]
fn the_offset_of_a_calibration_that_was_told_is_no_dirt_on_the_pan() {
    let zero = OFFSET.of(tarebell::units::Mass::ZERO);
    let mut run = Run::of(Start { correction: OFFSET, zero, ..start() });
    run.curve(0.0, 3.0, |_| 0.0);
    assert_eq!(dirt_said(&run), 0, "a bare pan before the first piece");
    poured(&mut run, 3.0, 29.0);
    assert_eq!(dirt_said(&run), 0, "and after it");
    run.curve(23.0, 26.0, |_| 0.9);
    assert!(run.engine.left_on_pan().is_some(), "what does lie there is said as before");

    let mut run = Run::new();
    poured(&mut run, 0.0, 29.0);
    let at = Instant::START.offset_seconds(20.0);
    run.give(Input::Command(Command::Correction(OFFSET), at), at);
    poured(&mut run, 20.05, 29.0);
    assert_eq!(dirt_said(&run), 0, "calibrated between two pieces");
    let back = Instant::START.offset_seconds(41.0);
    run.give(Input::Command(Command::Correction(Correction::NONE), back), back);
    poured(&mut run, 41.05, 29.0);
    assert_eq!(dirt_said(&run), 0, "and back to what it shows");
    assert!(weighed(&run).iter().all(|e| (net_g(e) - 29.0 * TOO_MUCH).abs() < 0.15), "{:?}", weighed(&run));
}
