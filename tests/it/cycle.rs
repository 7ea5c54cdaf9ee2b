//! The whole cycle of a piece: lifted, put back, topped up, poured back, what stays on the pan, the spare weight.

use crate::run::{Run, start, stream, weighing};
use tarebell::pour::engine::{Command, Start};
use tarebell::pour::entry::{Cue, CueCall, Entry, Output, Phase};
use tarebell::pour::jug::Jug;
use tarebell::pour::remark::Remark;
use tarebell::pour::trace::{Input, Trace};
use tarebell::pour::vessel::Vessel;
use tarebell::pour::ware::Ware;
use tarebell::record::{Mark, Marks, Verdict};
use tarebell::time::Instant;
use tarebell::units::Mass;

/// A bare piece of 300 g stands tared from 4 s on.
fn ready_in(mut run: Run) -> Run {
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    assert_eq!(run.cues(), [Cue::Ready]);
    run
}

/// Poured at 8 g/s from 4 s on until `end_s`, weighed, and lifted at 11 s.
fn lifted(end_s: f64) -> Run {
    let mut run = ready_in(Run::new());
    run.curve(4.0, 11.0, |t| stream(t, end_s));
    run.curve(11.0, 13.0, |_| 0.0);
    run
}

/// A lift of so many grams at so many seconds, as a scale of 0.3 s shows it, and the bare pan for some time.
pub(crate) fn lift(run: &mut Run, at_s: f64, until_s: f64, gross_g: f64) {
    run.curve(at_s, until_s, |t| gross_g * (-(t - at_s) / 0.3).exp());
}

fn last(run: &Run) -> Entry {
    *run.entries().last().expect("an entry")
}

fn notes(run: &Run) -> Vec<Remark> {
    let about = |o: &Output| if let Output::Cue(CueCall { about, .. }) = o { *about } else { None };
    run.outputs.iter().filter_map(about).collect()
}

fn near(a: Option<Mass>, b: f64) -> bool {
    a.is_some_and(|a| (a.g() - b).abs() < 0.15)
}

#[test]
fn a_piece_lifted_after_its_weight_is_known_is_entered_with_how_long_its_slop_stood() {
    let run = lifted(7.625);
    let entry = last(&run);
    assert_eq!((entry.piece, entry.rev, entry.verdict), (1, 2, Verdict::Good));
    let contact_s = entry.contact.expect("slop was in it").as_secs_f64();
    assert!((contact_s - 7.1).abs() < 0.3, "from the first slop at 4 s to the lift at 11 s: {contact_s} s");
    assert_eq!(entry.marks, Marks::default());
}

#[test]
fn a_rolled_piece_is_weighed_again_and_opens_no_new_one() {
    let mut run = lifted(7.625);
    run.curve(13.0, 21.0, |_| 0.0);
    run.curve(21.0, 24.0, |_| 328.7);
    lift(&mut run, 24.0, 27.0, 328.7);
    let entry = last(&run);
    assert_eq!((entry.piece, entry.rev, entry.verdict), (1, 3, Verdict::Good));
    assert!(near(entry.rolled, 28.7) && near(entry.net, 29.0), "{entry:?}");
    assert!(entry.marks.has(Mark::PutBack));
    assert!(run.outputs.contains(&Output::Dropped { piece: 2 }));
    assert_eq!(run.engine.snapshot(Instant::START).piece, 2, "the next piece is the second");
}

#[test]
fn a_weight_estimated_at_the_lift_gives_way_to_one_at_rest_that_agrees() {
    let mut run = ready_in(Run::new());
    run.curve(4.0, 7.7, |t| stream(t, 7.625));
    run.curve(7.7, 15.0, |_| 0.0);
    let estimate = last(&run);
    assert!(!estimate.settled && estimate.rev == 1, "{estimate:?}");
    run.curve(15.0, 18.0, |_| 328.9);
    lift(&mut run, 18.0, 21.0, 328.9);
    let entry = last(&run);
    assert!(entry.settled && near(entry.net, 28.9) && entry.piece == 1, "{entry:?}");
    assert!(entry.net_u < estimate.net_u);
}

#[test]
fn a_short_piece_put_back_is_topped_up_with_a_stop_of_its_own() {
    let mut run = lifted(7.25);
    assert_eq!(last(&run).verdict, Verdict::Short);
    run.curve(13.0, 19.0, |_| 0.0);
    run.curve(19.0, 22.0, |_| 326.0);
    let Some(Output::Cue(call)) = run.outputs.last() else { panic!("a cue") };
    assert!(call.cue == Cue::Short && near(call.left, 3.0), "{call:?}");
    run.curve(22.0, 25.0, |t| 326.0 + 1.5 * (t - 22.0).min(2.0));
    let stops = run.due_s(Cue::Stop);
    let stop = *stops.last().expect("a stop");
    assert!((23.0..24.0).contains(&stop), "3 g at 1.5 g/s from 22 s on: {stops:?}");
    run.curve(25.0, 27.0, |_| 329.0);
    let entry = last(&run);
    assert_eq!((entry.piece, entry.top_ups, entry.verdict), (1, 1, Verdict::Good), "{entry:?}");
    assert!(near(entry.first_net, 26.0) && near(entry.net, 29.0));
}

#[test]
fn a_bare_piece_that_weighs_like_the_short_one_before_is_told_by_its_slop() {
    let mut run = lifted(7.25);
    run.curve(13.0, 19.0, |_| 0.0);
    run.curve(19.0, 22.0, |_| 326.0);
    // The hand stops at a stop that came too soon, looks, and pours on.
    run.curve(22.0, 26.0, |t| 326.0 + 8.0 * (t - 22.0).min(0.6));
    run.curve(26.0, 29.2, |t| 330.8 + 8.0 * (t - 26.0).clamp(0.0, 3.0));
    run.curve(29.2, 34.0, |_| 354.8);
    let entry = last(&run);
    assert!(entry.piece == 2 && near(entry.net, 28.8), "{entry:?}");
    let first = run.entries().into_iter().rfind(|e| e.piece == 1).expect("the first");
    assert!(near(first.net, 26.0) && first.rolled.is_none() && first.top_ups == 0, "{first:?}");
}

#[test]
fn some_poured_back_from_an_over_one_is_weighed_and_counts() {
    let mut run = lifted(8.25);
    assert_eq!(last(&run).verdict, Verdict::Over);
    run.curve(13.0, 19.0, |_| 0.0);
    run.curve(19.0, 22.0, |_| 329.4);
    // A bare piece may weigh as much: whoever waits for a ready gets it.
    assert_eq!(run.cues().last(), Some(&Cue::Ready));
    lift(&mut run, 22.0, 25.0, 329.4);
    let entry = last(&run);
    assert_eq!((entry.piece, entry.verdict), (1, Verdict::Good), "{entry:?}");
    assert!(near(entry.net, 29.4) && near(entry.first_net, 34.0) && entry.marks.has(Mark::PouredBack));
}

#[test]
fn slop_taken_out_while_the_piece_stands_there_is_weighed() {
    let mut run = ready_in(Run::new());
    run.curve(4.0, 11.0, |t| stream(t, 8.25));
    assert_eq!(last(&run).verdict, Verdict::Over);
    run.curve(11.0, 18.0, |t| 334.0 - (t - 11.0).min(4.0));
    let entry = last(&run);
    assert!(near(entry.net, 30.0) && entry.verdict == Verdict::Good && entry.marks.has(Mark::PouredBack));
    assert_eq!(run.cues().last(), Some(&Cue::Good));
}

#[test]
fn what_a_piece_left_on_the_pan_is_taken_off_its_weight_and_said_once() {
    let mut run = ready_in(Run::new());
    run.curve(4.0, 11.0, |t| stream(t, 7.625));
    run.curve(11.0, 15.0, |_| 2.0);
    let entry = last(&run);
    assert_eq!((entry.piece, entry.rev, entry.verdict), (1, 3, Verdict::Short), "{entry:?}");
    assert!(near(entry.net, 27.0) && entry.marks.has(Mark::Residue));
    assert!(entry.net_u.is_some_and(|u| u.g() >= 1.0), "it may have been a wet foot: {entry:?}");
    assert_eq!(notes(&run), [Remark::Wipe]);
    run.curve(15.0, 20.0, |_| 2.0);
    assert_eq!(notes(&run), [Remark::Wipe]);
}

#[test]
fn a_sponge_laid_down_after_the_lift_is_taken_off_nobodys_weight() {
    for sponge_g in [3.0, 25.0] {
        let mut run = ready_in(Run::new());
        run.curve(4.0, 11.0, |t| stream(t, 7.625));
        // Level for three readings: what was left on the pan would have been seen.
        run.curve(11.0, 11.5, |_| 0.0);
        run.curve(11.5, 15.0, |_| sponge_g);
        let entry = last(&run);
        assert!(entry.rev == 2 && near(entry.net, 29.0), "{sponge_g} g: {entry:?}");
    }
}

#[test]
fn a_sponge_at_once_after_the_lift_may_have_taken_what_the_piece_had_left() {
    // What still lies on the pan, as it is laid down, is said first.
    for (strokes_g, said) in [(0.0, Remark::Wipe), (9.0, Remark::Unsure)] {
        let mut run = ready_in(Run::new());
        run.curve(4.0, 11.0, |t| stream(t, 7.625));
        run.curve(11.0, 11.4, |t| 6.0 - 10.0 * (t - 11.0));
        run.curve(11.4, 12.5, |t| 25.0 + strokes_g * (15.0 * t).sin());
        run.curve(12.5, 15.0, |_| 0.0);
        let entry = last(&run);
        assert!(entry.rev == 3 && entry.verdict == Verdict::Void && near(entry.net, 29.0), "{entry:?}");
        assert!(entry.net_u.is_some_and(|u| u.g() > 3.0), "{entry:?}");
        assert_eq!(notes(&run), [said], "strokes of {strokes_g} g");
    }
}

#[test]
fn the_spare_weight_on_the_bare_pan_voids_the_last_record_once_and_is_no_piece() {
    let mut run = ready_in(Run::of(Start { spare: Some(Mass::saturating(75.0)), ..start() }));
    run.curve(4.0, 11.0, |t| stream(t, 7.625));
    run.curve(11.0, 14.0, |_| 0.0);
    let voids = |run: &Run| run.outputs.iter().filter(|o| **o == Output::VoidLast).count();
    run.curve(14.0, 18.0, |_| 75.1);
    assert_eq!((voids(&run), run.phase()), (1, Phase::Idle));
    // Only whoever keeps the records knows whether there was one to take out of the count.
    assert_eq!(notes(&run), []);
    let at = Instant::START.offset_seconds(18.0);
    assert_eq!(run.engine.snapshot(at).step, "nothing to take out of the count: take the spare weight off");
    run.give(Input::Command(Command::Voided, at), at);
    assert_eq!(notes(&run), [Remark::Voided]);
    assert_eq!(run.engine.snapshot(at).step, "the last record is void: take the spare weight off");
    run.curve(18.0, 20.0, |_| 0.0);
    run.curve(20.0, 23.0, |_| 305.0);
    assert_eq!(voids(&run), 1);
    assert_eq!((last(&run).piece, run.phase()), (2, Phase::Ready));
}

#[test]
fn a_piece_unlike_the_others_is_ready_with_a_remark_and_a_mark() {
    let ware = [305.0, 299.0, 311.0, 302.0].into_iter().fold(Ware::default(), |mut ware, g| {
        ware.handle_bare(g);
        ware
    });
    let mut run = Run::of(Start { ware, ..start() });
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 420.0);
    assert_eq!(run.cues(), [Cue::Ready, Cue::Note]);
    assert_eq!(notes(&run), [Remark::OtherWare]);
    assert!(last(&run).marks.has(Mark::OtherWare));
}

fn from(vessel: Vessel) -> Run {
    let mut start = start();
    start.settings.vessel = vessel;
    ready_in(Run::of(start))
}

#[test]
fn a_ladles_lump_is_slop_and_what_is_missing_is_guided_as_a_trickle() {
    let mut run = from(Vessel::Ladle);
    run.curve(4.0, 7.0, |t| 300.0 + 22.0 * ((t - 4.0) / 0.2).clamp(0.0, 1.0));
    let entry = last(&run);
    assert!(entry.rev == 1 && near(entry.net, 22.0) && entry.verdict == Verdict::Short, "{entry:?}");
    assert!(!run.cues().contains(&Cue::Stop), "{:?}", run.cues());
    run.curve(7.0, 14.0, |t| 322.0 + 2.0 * (t - 7.0).min(3.5));
    assert_eq!(run.due_s(Cue::Stop).len(), 1, "{:?}", run.cues());
    assert!(near(last(&run).net, 29.0) && last(&run).verdict == Verdict::Good, "{:?}", last(&run));
}

#[test]
fn the_strokes_of_a_squeeze_bottle_are_one_pour() {
    let mut run = from(Vessel::Squeeze);
    let stroke = |t: f64, at: f64| 6.0 * ((t - at) / 0.8).clamp(0.0, 1.0);
    run.curve(4.0, 20.0, |t| 300.0 + stroke(t, 4.0) + stroke(t, 6.8) + stroke(t, 9.6) + stroke(t, 12.4));
    let entries: Vec<Entry> = run.entries().into_iter().filter(|e| e.rev > 0).collect();
    assert_eq!(entries.len(), 1, "{entries:?}");
    assert!(near(entries[0].net, 24.0) && entries[0].top_ups == 0);
}

#[test]
fn what_a_weighed_piece_wants_is_told_by_its_verdict_and_by_how_long_its_slop_stood() {
    let step = |end_s: f64, now_s: f64| {
        let mut run = ready_in(Run::new());
        run.curve(4.0, 11.0, |t| stream(t, end_s));
        run.engine.snapshot(Instant::START.offset_seconds(now_s)).step
    };
    assert_eq!(step(7.25, 11.0), "short: pour what is missing, or let it go");
    assert_eq!(step(7.25, 25.0), "short: roll it first, then top it up, or let it go");
    assert_eq!(step(8.25, 11.0), "over: pour some back, or let it go");
    assert_eq!(step(7.625, 11.0), "weighed");
}

#[test]
fn a_pause_to_fill_the_jug_stays_in_one_record_and_is_marked() {
    let mut run = ready_in(Run::new());
    run.curve(4.0, 14.0, |t| stream(t, 5.5));
    run.curve(14.0, 22.0, |t| 312.0 + 8.0 * (t - 14.0).clamp(0.0, 2.125));
    let entry = last(&run);
    assert!(entry.piece == 1 && near(entry.net, 29.0) && entry.marks.has(Mark::Paused), "{entry:?}");
}

#[test]
fn what_bore_on_the_piece_and_was_gone_at_the_stop_is_marked_and_teaches_nothing() {
    let mut run = ready_in(Run::new());
    // The jug's lip rests on the rim with 12 g for as long as it pours.
    run.curve(4.0, 11.0, |t| {
        stream(t, 6.0) + if t < 6.1 { 12.0 * ((t - 4.0) / 0.3).clamp(0.0, 1.0) } else { 0.0 }
    });
    let entry = run.entries().into_iter().find(|e| e.rev == 1).expect("an entry");
    assert!(near(entry.net, 16.0) && entry.verdict == Verdict::Short, "{entry:?}");
    assert!(entry.marks.has(Mark::Touched), "{entry:?}");
    assert!(!run.outputs.iter().any(|o| matches!(o, Output::Learned(_))));
}

#[test]
fn a_trace_of_a_piece_put_back_gives_the_same_again() {
    let mut run = lifted(7.25);
    run.curve(13.0, 16.0, |_| 0.0);
    let mut next = Run::of(start());
    next.engine = run.engine.clone();
    next.trace.start_from(&run.engine);
    next.curve(16.0, 19.0, |_| 0.0);
    next.curve(19.0, 22.0, |_| 326.0);
    next.curve(22.0, 25.0, |t| 326.0 + 1.5 * (t - 22.0).min(2.0));
    next.one(weighing(25.1, 329.0));
    let told: Vec<Output> = Trace::decode(&next.trace.encode()).expect("it is a trace").replay();
    let entries = |outputs: &[Output]| -> Vec<Entry> {
        outputs.iter().filter_map(|o| if let Output::Entry(e) = o { Some(*e) } else { None }).collect()
    };
    assert!(!entries(&told).is_empty());
    assert_eq!(format!("{:.3?}", entries(&told)), format!("{:.3?}", entries(&next.outputs)));
}

#[test]
fn an_over_piece_keeps_its_record_when_a_bare_one_that_weighs_like_it_is_poured_into() {
    let mut run = lifted(8.25);
    assert_eq!(last(&run).verdict, Verdict::Over);
    run.curve(13.0, 19.0, |_| 0.0);
    // Bare, 329.4 g: as the one before with some poured back. Whoever waits gets a `ready`, and pours.
    run.curve(19.0, 26.0, |_| 329.4);
    assert_eq!(run.phase(), Phase::Ready);
    run.curve(26.0, 33.0, |t| 329.4 + 8.0 * (t - 26.0).clamp(0.0, 3.625));
    let entry = last(&run);
    assert!(entry.piece == 2 && near(entry.net, 29.0), "{entry:?}");
    let first = run.entries().into_iter().rfind(|e| e.piece == 1).expect("the first");
    assert!(near(first.net, 34.0) && first.verdict == Verdict::Over, "{first:?}");
    assert!(!first.marks.has(Mark::PouredBack) && !first.marks.has(Mark::PutBack) && first.rolled.is_none());
}

#[test]
fn an_over_piece_that_waited_for_nothing_and_left_is_entered_once() {
    let mut run = lifted(8.25);
    run.curve(13.0, 19.0, |_| 0.0);
    run.curve(19.0, 26.0, |_| 329.4);
    lift(&mut run, 26.0, 29.0, 329.4);
    let weighed: Vec<Entry> =
        run.entries().into_iter().filter(|e| e.piece == 1 && e.rolled.is_some()).collect();
    assert_eq!(weighed.len(), 1, "{weighed:?}");
    assert!(near(weighed[0].net, 29.4) && weighed[0].verdict == Verdict::Good);
}

#[test]
fn a_weight_that_followed_the_tail_is_entered_whichever_way_the_piece_goes() {
    let tail = |t: f64| if t < 4.0 { 300.0 } else { 329.0 - 29.0 * (-(t - 4.0).max(0.0) / 0.9).exp() };
    for way in ["end", "swapped"] {
        let mut run = ready_in(Run::new());
        run.curve(4.0, 12.0, tail);
        if run.phase() != Phase::Done {
            run.curve(12.0, 13.0, |_| 329.0);
        }
        let before = last(&run);
        if way == "end" {
            let at = Instant::START.offset_seconds(13.5);
            run.give(Input::Command(Command::End, at), at);
        } else {
            run.curve(20.0, 21.0, |_| 310.0);
        }
        let first = run.entries().into_iter().rfind(|e| e.piece == 1).expect("the first");
        assert!(near(first.net, 329.0 - 300.0), "{way}: {first:?}, before {before:?}");
    }
}

/// A piece from landing to lift, ten seconds, with so many grams left on the pan before and after.
fn quick_piece(run: &mut Run, from_s: f64, before_g: f64, after_g: f64) {
    run.curve(from_s, from_s + 2.0, |_| 300.0 + before_g);
    run.curve(from_s + 2.0, from_s + 9.0, |t| 300.0 + before_g + 8.0 * (t - from_s - 2.0).clamp(0.0, 3.625));
    // Never at rest in between.
    run.curve(from_s + 9.0, from_s + 9.5, |t| after_g + 60.0 * (from_s + 9.5 - t));
}

#[test]
fn after_the_last_piece_it_is_said_that_all_are_poured_whatever_lies_on_the_pan() {
    for (remark, said) in [(Remark::Full, Remark::Full), (Remark::Stir, Remark::Wipe)] {
        let mut run = Run::new();
        run.curve(0.0, 2.0, |_| 0.0);
        quick_piece(&mut run, 2.0, 0.0, 4.0);
        let at = Instant::START.offset_seconds(11.5);
        run.give(Input::Command(Command::Remind(remark), at), at);
        run.curve(11.5, 14.0, |_| 4.0);
        assert_eq!(notes(&run), [said], "after {remark:?}");
    }
}

#[test]
fn a_reminder_reaches_a_potter_whose_pan_never_rests_at_the_next_lift() {
    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    quick_piece(&mut run, 2.0, 0.0, 0.1);
    let at = Instant::START.offset_seconds(11.5);
    run.give(Input::Command(Command::Remind(Remark::Stir), at), at);
    quick_piece(&mut run, 11.5, 0.1, 0.2);
    quick_piece(&mut run, 21.0, 0.2, 0.3);
    assert_eq!(notes(&run), [Remark::Stir], "once");
}

#[test]
fn what_lies_on_a_pan_after_many_quick_pieces_may_be_of_the_latest_dozen() {
    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    for n in 0..20 {
        let drops = 0.1 * f64::from(n);
        quick_piece(&mut run, 2.0 + 9.5 * f64::from(n), drops, drops + 0.1);
    }
    let before = run.entries().len();
    run.curve(192.0, 195.0, |_| 2.0);
    let revised: std::collections::BTreeSet<u32> = run.entries()[before..].iter().map(|e| e.piece).collect();
    assert_eq!(revised, (8..=20).collect(), "a dozen, and the last one");
}

#[test]
fn a_pebble_set_on_a_wet_pan_at_once_is_still_the_pebble() {
    let spare = Some(Mass::saturating(75.0));
    let mut run = ready_in(Run::of(Start { spare, ..start() }));
    run.curve(4.0, 11.0, |t| stream(t, 7.625));
    run.curve(11.0, 11.5, |t| 1.0 + 300.0 * (-(t - 11.0) / 0.1).exp());
    run.curve(11.5, 14.0, |_| 76.0);
    assert!(run.outputs.contains(&Output::VoidLast), "{:?}", run.cues());
    assert_eq!(run.phase(), Phase::Idle);
    // A piece is none.
    let mut run = ready_in(Run::of(Start { spare, ..start() }));
    run.curve(4.0, 11.0, |t| stream(t, 7.625));
    run.curve(11.0, 11.5, |t| 1.0 + 300.0 * (-(t - 11.0) / 0.1).exp());
    run.curve(11.5, 14.0, |_| 84.0);
    assert!(!run.outputs.contains(&Output::VoidLast) && run.phase() == Phase::Ready);
}

#[test]
fn a_spare_weight_as_light_as_what_drips_is_none() {
    let spare = Some(Mass::saturating(2.0));
    let mut run = ready_in(Run::of(Start { spare, ..start() }));
    run.curve(4.0, 11.0, |t| stream(t, 7.625));
    run.curve(11.0, 15.0, |_| 2.0);
    assert!(!run.outputs.contains(&Output::VoidLast));
    assert_eq!(notes(&run), [Remark::Wipe]);
    assert!(near(last(&run).net, 27.0) && last(&run).marks.has(Mark::Residue));
}

/// A batch of mugs of 290 to 330 g and a jug of 250 g that holds up to 800 g of slop.
fn with_a_jug() -> Start {
    let g = Mass::saturating;
    let jug = Jug { slop: Some(g(800.0)), ..Jug::of(g(250.0)) };
    Start { jug: Some(jug), ware: Ware::of(Some((g(290.0), g(330.0)))), ..start() }
}

fn jugs(run: &Run) -> Vec<(f64, Option<f64>)> {
    let of = |o: &Output| {
        let Output::Jug { gross, before } = o else { return None };
        Some((gross.g().round(), before.map(|b| b.g().round())))
    };
    run.outputs.iter().filter_map(of).collect()
}

#[test]
fn the_jug_on_the_bare_pan_is_told_and_what_no_jug_can_weigh_is_a_piece() {
    let landed = |gross_g: f64| {
        let mut run = Run::of(with_a_jug());
        run.curve(0.0, 2.0, |_| 0.0);
        run.curve(2.0, 6.0, |_| gross_g);
        run
    };
    for full_g in [340.0, 600.0, 1050.0] {
        let run = landed(full_g);
        assert_eq!((jugs(&run), run.phase()), (vec![(full_g, None)], Phase::Idle));
        assert_eq!((notes(&run), run.entries().len()), (vec![Remark::Jug], 0), "nothing is tared");
        let at = Instant::START.offset_seconds(6.0);
        assert_eq!(run.engine.snapshot(at).step, "the jug, no piece: lift it off");
    }
    // Lighter than empty, within the ware, and more than all the slop there is.
    for piece_g in [240.0, 310.0, 1100.0] {
        let run = landed(piece_g);
        assert_eq!((jugs(&run), run.phase()), (vec![], Phase::Ready), "{piece_g} g");
    }
    let mut run = Run::of(Start { ware: Ware::default(), ..with_a_jug() });
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 6.0, |_| 600.0);
    assert_eq!((jugs(&run), run.phase()), (vec![], Phase::Ready), "nobody knows what a piece weighs yet");
}

#[test]
fn slop_tipped_into_the_jug_on_the_pan_is_told_when_it_rests_and_more_slop_than_was_told_once_that_is() {
    let mut run = Run::of(with_a_jug());
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 6.0, |_| 400.0);
    run.curve(6.0, 10.0, |_| 700.0);
    assert_eq!(jugs(&run), [(400.0, None), (700.0, Some(400.0))]);
    run.curve(10.0, 12.0, |_| 0.0);
    let at = Instant::START.offset_seconds(12.0);
    run.give(Input::Command(Command::Slop(Some(Mass::saturating(1500.0))), at), at);
    run.curve(12.0, 16.0, |_| 1700.0);
    assert_eq!(jugs(&run).last(), Some(&(1700.0, None)));
}

#[test]
fn a_replay_knows_the_jug_and_when_it_was_lifted() {
    let start = with_a_jug();
    let lifted = Some((Mass::saturating(460.0), Instant::from_us(5_000_000)));
    let jug = start.jug.map(|jug| Jug { lifted, ..jug });
    let mut trace = Trace::new(Start { jug, ..start });
    let at = Instant::from_us(6_000_000);
    for slop in [Some(Mass::saturating(812.5)), None] {
        trace.note(Input::Command(Command::Slop(slop), at), false);
    }
    assert_eq!(Trace::decode(&trace.encode()).expect("whole").start.jug, jug);
    assert_eq!(Trace::decode(&trace.encode()).expect("whole").inputs, trace.inputs);
}
