//! A pour's curve out of its trace.

use crate::run::{Run, stream};
use tarebell::pour::curve::{Curve, MOST_POINTS, Moment};
use tarebell::pour::engine::Command;
use tarebell::pour::entry::{Cue, Phase};
use tarebell::pour::trace::{Input, Trace};
use tarebell::time::Instant;

/// A piece of 300 g lands, gets slop until the stop is called and 0.3 s more, rests until
/// `lift_s`, is lifted.
fn poured(lift_s: f64) -> Run {
    let mut run = Run::new();
    run.curve(0.0, 1.0, |_| 0.0);
    run.curve(1.0, 7.0, |t| stream(t, 99.0));
    let stop_s = *run.due_s(Cue::Stop).first().unwrap_or(&6.9);
    let mut run = Run::new();
    run.curve(0.0, 1.0, |_| 0.0);
    run.curve(1.0, lift_s, |t| stream(t, stop_s + 0.3));
    run.curve(lift_s, lift_s + 1.0, |t| (300.0 - 3000.0 * (t - lift_s)).max(0.0));
    run
}

fn at(curve: &Curve, what: Moment) -> Vec<f64> {
    curve.marks.iter().filter(|m| m.what == what).map(|m| m.at_s).collect()
}

#[test]
fn a_curve_begins_at_ready_marks_stop_weight_and_lift_and_ends_with_the_lift() {
    let run = poured(11.0);
    assert_eq!(run.phase(), Phase::Idle);
    let entry = run.entries()[1];
    let curve = run.trace.curve();
    let ready_s = entry.started.seconds();
    let first = curve.points[0];
    assert!((0.0..0.11).contains(&first[0]) && first[1].abs() < 0.2, "{first:?}");
    let stop = run.due_s(Cue::Stop)[0] - ready_s;
    assert!((at(&curve, Moment::Stop)[0] - stop).abs() < 0.001, "{:?} {stop}", curve.marks);
    assert!((at(&curve, Moment::Weighed)[0] - entry.seconds).abs() < 0.001);
    let lift = at(&curve, Moment::Lift)[0];
    assert!((lift - (11.0 - ready_s)).abs() <= 0.1001, "{lift}");
    let last = curve.points[curve.points.len() - 1];
    assert_eq!(last[0], lift, "what the hand took away is no slop");
    // The net that was entered is the curve's own end, to a reading's scatter and step.
    assert!((last[1] - run.net_g()).abs() < 0.2, "{last:?} {}", run.net_g());
    assert!(curve.points.iter().all(|p| p[1] > -0.3), "{:?}", curve.points);
    assert!(curve.marks.is_sorted_by(|a, b| a.at_s <= b.at_s));
}

#[test]
fn the_stored_bytes_give_the_same_curve() {
    let run = poured(11.0);
    let back = Trace::decode(&run.trace.encode()).expect("a trace");
    assert_eq!(back.curve(), run.trace.curve());
}

#[test]
fn a_piece_that_stands_for_an_hour_has_no_more_points_than_are_drawn() {
    let curve = poured(3600.0).trace.curve();
    assert!((100..=MOST_POINTS).contains(&curve.points.len()), "{}", curve.points.len());
    let most = curve.points.iter().map(|p| p[1]).fold(f64::MIN, f64::max);
    assert!(curve.points.iter().any(|p| p[0] > 3590.0) && most > 20.0);
}

#[test]
fn a_trace_without_a_pour_has_no_curve() {
    let mut run = Run::new();
    run.curve(0.0, 3.0, |_| 0.0);
    assert_eq!(run.trace.curve(), Curve::default());
    // A piece that was tared and taken off again got nothing.
    run.curve(3.0, 6.0, |_| 300.0);
    assert_eq!(run.phase(), Phase::Ready);
    run.curve(6.0, 8.0, |_| 0.0);
    assert_eq!(run.trace.curve(), Curve::default());
}

#[test]
fn after_a_hidden_piece_was_said_to_stand_there_the_curve_goes_on_from_its_weight() {
    let mut run = Run::new();
    run.curve(0.0, 1.0, |_| 0.0);
    run.curve(1.0, 5.0, |_| 300.0);
    // Asleep, then awake at zero.
    run.flat(8.0, 9.0, |_| 0.0);
    let at = Instant::START.offset_seconds(9.0);
    run.give(Input::Command(Command::StillOn, at), at);
    run.curve(9.1, 10.0, |_| 0.0);
    run.curve(10.0, 16.0, |t| stream(t - 6.0, 7.6) - 300.0);
    let curve = run.trace.curve();
    let last = curve.points.last().expect("points")[1];
    assert!((last - run.net_g()).abs() < 0.3, "ends at {last} g, weighed {} g", run.net_g());
    let least = curve.points.iter().filter(|[s, _]| *s > 7.0).map(|p| p[1]).fold(f64::INFINITY, f64::min);
    assert!(least > -1.0, "{least} g");
}
