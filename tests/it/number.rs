//! Numbers given to the engine between two pieces.

use crate::run::{Run, start, stream, weighing};
use tarebell::pour::curve::Moment;
use tarebell::pour::engine::{Command, Engine};
use tarebell::pour::entry::{Cue, Phase};
use tarebell::pour::trace::{Input, Trace};
use tarebell::time::Instant;

fn number(run: &mut Run, piece: u32, at_s: f64) {
    run.one(Input::Command(Command::Number(piece), Instant::START.offset_seconds(at_s)));
}

/// Two pieces, with a number given before the first, in its pour, and after it.
fn two_pieces() -> Run {
    let mut run = Run::new();
    run.curve(0.0, 1.0, |_| 0.0);
    number(&mut run, 7, 1.0);
    run.curve(1.1, 4.0, |_| 300.0);
    number(&mut run, 3, 4.0);
    run.curve(4.1, 12.0, |t| stream(t, 7.6));
    number(&mut run, 3, 12.0);
    run.curve(12.1, 14.0, |_| 0.0);
    number(&mut run, 5, 14.0);
    run.curve(14.1, 17.0, |_| 310.0);
    run
}

#[test]
fn the_next_piece_gets_the_number_it_is_given_between_two_pieces_and_none_is_changed_in_a_pour() {
    let run = two_pieces();
    let opened: Vec<u32> = run.entries().iter().filter(|e| e.rev == 0).map(|e| e.piece).collect();
    assert_eq!(opened, [7, 5]);
    assert!(run.entries().iter().filter(|e| e.rev > 0).all(|e| e.piece == 7), "{:?}", run.entries());
    let mut on = two_pieces();
    on.curve(17.1, 19.0, |_| 0.0);
    on.curve(19.1, 22.0, |_| 300.0);
    assert_eq!(
        on.entries().last().map(|e| e.piece),
        Some(5),
        "a piece that was taken away empty keeps its number"
    );
}

#[test]
fn a_batch_left_for_nine_hours_goes_on_with_the_next_piece_also_over_a_scale_that_slept() {
    for asleep in [false, true] {
        let mut run = Run::new();
        run.curve(0.0, 2.0, |_| 0.0);
        run.curve(2.0, 4.0, |_| 300.0);
        run.curve(4.0, 12.0, |t| stream(t, 7.6));
        run.curve(12.0, 14.0, |_| 0.0);
        let before = run.cues().len();
        let back = 14.0 + 9.0 * 3600.0;
        if !asleep {
            run.hz = 1.0;
            run.curve(14.0, back, |_| 0.0);
            run.hz = 10.0;
        }
        run.curve(back, back + 2.0, |_| 0.0);
        run.curve(back + 2.0, back + 4.0, |_| 305.0);
        run.curve(back + 4.0, back + 12.0, |t| 5.0 + stream(t - back, 7.6));
        let cues: Vec<Cue> = run.cues()[before..].to_vec();
        assert_eq!(
            (cues.first(), cues.contains(&Cue::Fault)),
            (Some(&Cue::Ready), false),
            "{asleep}: {cues:?}"
        );
        assert!(cues.contains(&Cue::Stop), "{cues:?}");
        let last = *run.entries().last().expect("an entry");
        assert_eq!((last.piece, last.guided), (2, true));
    }
}

/// As the daemon keeps a trace: begun anew between two pieces.
struct Kept {
    engine: Engine,
    trace: Trace,
}

impl Kept {
    fn curve(&mut self, from_s: f64, to_s: f64, gross: impl Fn(f64) -> f64) {
        for i in 0..((to_s - from_s) * 10.0).round() as u64 {
            let t = from_s + i as f64 / 10.0;
            let input = weighing(t, gross(t) + if i % 3 == 1 { 0.1 } else { 0.0 });
            let idle = self.engine.snapshot(Instant::START).phase == Phase::Idle;
            self.trace.note(input, idle);
            input.give(&mut self.engine);
            while self.engine.poll_output().is_some() {}
            if idle {
                self.trace.start_from(&self.engine);
            }
        }
    }
}

#[test]
fn the_curve_of_a_piece_is_its_own_though_the_short_one_before_it_stands_in_the_lead_of_its_trace() {
    let mut kept = Kept { engine: Engine::new(start()), trace: Trace::new(start()) };
    kept.curve(0.0, 1.0, |_| 0.0);
    kept.curve(1.0, 4.0, |_| 300.0);
    kept.curve(4.0, 11.0, |t| stream(t, 7.4));
    kept.curve(11.0, 12.0, |_| 0.0);
    kept.curve(12.0, 14.0, |_| 360.0);
    kept.curve(14.0, 22.0, |t| 60.0 + stream(t - 10.0, 7.6));
    let curve = Trace::decode(&kept.trace.encode()).expect("our own bytes").curve();
    let grams: Vec<f64> = curve.points.iter().map(|p| p[1]).collect();
    assert!(grams.len() > 50 && grams.iter().all(|g| (-1.0..35.0).contains(g)), "{grams:?}");
    let weighed = curve.marks.iter().find(|m| m.what == Moment::Weighed).expect("it was weighed");
    assert!((weighed.net_g - 28.8).abs() < 0.5, "{weighed:?}");
}

#[test]
fn a_trace_with_numbers_gives_the_same_outputs_after_a_trip_through_bytes() {
    let run = two_pieces();
    let decoded = Trace::decode(&run.trace.encode()).expect("our own bytes");
    assert_eq!(decoded, run.trace);
    assert_eq!(decoded.replay(), run.outputs);
}
