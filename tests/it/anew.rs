//! A piece that is lifted without slop and set down again: the word of a hand that heard what it was taken for.

use crate::cycle::lift;
use crate::run::{Run, start, stream};
use crate::scenes::scene;
use tarebell::daemon::rehearsal::play;
use tarebell::pour::engine::{Command, Start};
use tarebell::pour::entry::{Cue, CueCall, Entry, Output, Phase};
use tarebell::pour::remark::Remark;
use tarebell::pour::trace::{Input, Trace};
use tarebell::pour::vessel::Vessel;
use tarebell::pour::{PourSettings, ware::Ware};
use tarebell::record::Verdict;
use tarebell::time::Instant;
use tarebell::units::Mass;

/// Of ware that weighs 280 to 330 g bare, a piece of 300 g gets a stream from 4 s until `end_s` and is lifted at 11 s.
fn lifted(end_s: f64) -> Run {
    let grams = Mass::saturating;
    let mut run = Run::of(Start { ware: Ware::of(Some((grams(280.0), grams(330.0)))), ..start() });
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    run.curve(4.0, 11.0, |t| stream(t, end_s));
    run.curve(11.0, 19.0, |_| 0.0);
    run
}

/// It stands there from `at_s` for two seconds, is lifted for one, and so on; the cue of each time.
fn set_down(run: &mut Run, at_s: f64, gross_g: f64, times: usize) -> Vec<Cue> {
    let mut said = Vec::new();
    for i in 0..times {
        let from_s = at_s + 3.0 * i as f64;
        run.curve(from_s, from_s + 2.0, |_| gross_g);
        said.extend(run.cues().into_iter().rfind(|cue| *cue != Cue::Note));
        lift(run, from_s + 2.0, from_s + 3.0, gross_g);
    }
    said
}

fn of(run: &Run, piece: u32) -> Entry {
    run.entries().into_iter().rfind(|e| e.piece == piece).expect("an entry")
}

fn is(entry: &Entry, net_g: f64, verdict: Verdict) -> bool {
    entry.verdict == verdict && entry.net.is_some_and(|net| (net.g() - net_g).abs() < 0.2)
}

#[test]
fn a_good_one_that_some_was_poured_out_of_is_bare_at_first_and_known_once_it_is_set_down_again() {
    let mut run = lifted(7.625);
    let said = set_down(&mut run, 19.0, 317.0, 3);
    assert_eq!(
        said,
        [Cue::Ready, Cue::Ready, Cue::Short],
        "taken for a bare one until it was set down twice again"
    );
    assert!(is(&of(&run, 1), 17.0, Verdict::Short), "{:?}", of(&run, 1));
    let lacks =
        run.outputs.iter().rev().find_map(|o| if let Output::Cue(call) = o { call.left } else { None });
    assert!(lacks.is_some_and(|g| (g.g() - 12.0).abs() < 0.2), "what is said is what it lacks: {lacks:?}");
}

#[test]
fn it_is_topped_up_to_good_with_a_stop_of_its_own() {
    let mut run = lifted(7.625);
    set_down(&mut run, 19.0, 317.0, 2);
    run.curve(25.0, 27.0, |_| 317.0);
    run.curve(27.0, 33.0, |t| 317.0 + 6.0 * (t - 27.0).min(2.0));
    let stops = run.due_s(Cue::Stop);
    assert!(stops.len() == 2 && (27.5..29.0).contains(&stops[1]), "12 g at 6 g/s from 27 s on: {stops:?}");
    assert!(is(&of(&run, 1), 29.0, Verdict::Good), "{:?}", of(&run, 1));
    assert!(run.entries().iter().all(|e| e.piece == 1 || e.net.is_none()), "no other one has a record");
}

#[test]
fn a_bare_one_that_weighs_like_a_short_one_is_ready_once_it_is_set_down_again_and_the_short_one_has_its_old_record()
 {
    let mut run = lifted(6.5);
    let before = of(&run, 1);
    assert!(is(&before, 20.0, Verdict::Short), "{before:?}");
    assert_eq!(set_down(&mut run, 19.0, 320.1, 2), [Cue::Short, Cue::Ready]);
    let after = of(&run, 1);
    assert_eq!(
        (after.net, after.verdict, after.rolled, after.marks),
        (before.net, before.verdict, None, before.marks)
    );
    assert!(after.rev > before.rev, "by a revision of its own");
}

#[test]
fn what_is_set_down_later_than_at_once_or_weighs_otherwise_is_another() {
    for (away_s, gross_g) in [(6.0, 317.0), (1.0, 312.0)] {
        let mut run = lifted(7.625);
        set_down(&mut run, 19.0, 317.0, 2);
        run.curve(25.0, 24.0 + away_s, |_| 0.0);
        run.curve(24.0 + away_s, 26.0 + away_s, |_| gross_g);
        assert_eq!(run.cues().last(), Some(&Cue::Ready), "{away_s} s, {gross_g} g");
    }
}

#[test]
fn a_replay_knows_what_was_set_down_before_it_and_how_often() {
    let mut run = lifted(7.625);
    set_down(&mut run, 19.0, 317.0, 2);
    let mut trace = Trace::new(start());
    trace.start_from(&run.engine);
    let read = Trace::decode(&trace.encode()).expect("own bytes");
    assert_eq!(Trace::new(read.start.clone()).encode(), trace.encode(), "all of it is kept");
    let mut later = Run::of(read.start);
    later.curve(25.0, 27.0, |_| 317.0);
    assert_eq!(later.cues(), [Cue::Short]);
}

fn ladled() -> Run {
    let settings = PourSettings { vessel: Vessel::Ladle, ..start().settings };
    let mut run = Run::of(Start { settings, ..start() });
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    assert_eq!(run.phase(), Phase::Ready);
    run
}

fn has_record(run: &Run) -> bool {
    run.entries().iter().any(|e| e.net.is_some())
}

#[test]
fn who_ladles_and_lifts_it_without_slop_has_no_record_of_it_where_it_is_set_down_again_and_a_void_one_where_not()
 {
    let mut run = ladled();
    lift(&mut run, 4.0, 5.0, 300.0);
    run.curve(5.0, 8.0, |_| 300.0);
    assert!(!has_record(&run) && run.outputs.contains(&Output::Dropped { piece: 1 }));
    let mut run = ladled();
    lift(&mut run, 4.0, 8.5, 300.0);
    assert!(!has_record(&run), "it may still be set down again");
    run.curve(8.5, 11.0, |_| 0.0);
    assert!(of(&run, 1).verdict == Verdict::Void && has_record(&run), "{:?}", of(&run, 1));
    let told = |o: &Output| matches!(o, Output::Cue(CueCall { about: Some(Remark::Unsure), .. }));
    assert!(run.outputs.iter().any(told), "and that is said");
}

#[test]
fn what_waits_to_be_written_down_is_written_before_another_is_tared_and_as_the_batch_ends() {
    let mut run = ladled();
    lift(&mut run, 4.0, 5.0, 300.0);
    assert!(!run.engine.takes_number(), "its number is not free yet");
    run.curve(5.0, 8.0, |_| 310.0);
    assert!(
        of(&run, 1).verdict == Verdict::Void && of(&run, 2).net.is_none(),
        "the next one has the next number"
    );
    let mut run = ladled();
    lift(&mut run, 4.0, 5.0, 300.0);
    run.one(Input::Command(Command::End, Instant::from_us(5_100_000)));
    assert!(has_record(&run) && of(&run, 1).verdict == Verdict::Void);
}

#[test]
fn a_bare_one_set_down_twice_again_is_good_where_nothing_else_can_be_meant_and_void_where_a_void_one_may_be()
{
    // Poured before its `ready`: nobody knows what it holds.
    let early = "land 280\nrest 0.5\npour 24 at 6\nrest 4\nlift\nrest 9\n";
    let again = "wait ready 9\nrest 0.5\nlift\nrest 0.8\nput back\n".repeat(2);
    let poured = "wait ready 9\nrest 0.5\npour until stop at 8\nrest 4\nlift\nrest 3\n";
    for (before, wanted) in [("", Verdict::Good), (early, Verdict::Void)] {
        let steps = format!("rest 1\n{before}land 307\n{again}{poured}");
        let played = play(&scene(&steps), "usual").expect("a known scale");
        let (last, _) = played.records().pop().expect("a record");
        assert_eq!(last.verdict, wanted, "{}", played.transcript());
    }
}

#[test]
fn slop_that_runs_into_a_piece_too_light_to_be_one_is_a_fault_until_it_is_lifted_off() {
    let mut run = Run::of(start());
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 8.0, |_| 34.0);
    assert_eq!(run.cues(), [], "it is under `min_piece_g`, and was never tared");
    run.curve(8.0, 14.0, |t| 34.0 + (8.0 * (t - 8.0)).min(20.0));
    assert_eq!(run.cues(), [Cue::Fault], "and told once");
    let due_s = run.due_s(Cue::Fault)[0];
    assert!((9.5..10.5).contains(&due_s), "once it climbed evenly for two seconds: {due_s}");
    lift(&mut run, 14.0, 17.0, 54.0);
    assert_eq!(run.cues(), [Cue::Fault, Cue::Clear]);
}

#[test]
fn another_form_that_weighs_like_a_short_one_and_like_no_bare_piece_is_ready_once_it_is_set_down_again() {
    let grams = Mass::saturating;
    let mut run = Run::of(Start { ware: Ware::of(Some((grams(295.0), grams(305.0)))), ..start() });
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    run.curve(4.0, 11.0, |t| stream(t, 6.5));
    run.curve(11.0, 19.0, |_| 0.0);
    assert_eq!(set_down(&mut run, 19.0, 320.1, 2), [Cue::Short, Cue::Ready]);
}
