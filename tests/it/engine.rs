//! The engine against random and hand-made inputs.

use super::run::{Run, start, stream, weighing};
use crate::seeds::seeded;
use proptest::prelude::*;
use tarebell::pour::engine::{Command, Engine, Hearing, LinkChange, Start};
use tarebell::pour::entry::{Cue, Output, Phase};
use tarebell::pour::remark::Remark;
use tarebell::pour::trace::{Input, LARGEST, Trace};
use tarebell::reading::Weighing;
use tarebell::record::Verdict;
use tarebell::time::{Duration, Instant};
use tarebell::units::Mass;

#[test]
fn a_piece_lands_is_tared_poured_stopped_weighed_and_logged() {
    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    assert_eq!(run.cues(), [Cue::Ready]);
    run.curve(4.0, 7.6, |t| stream(t, 99.0));
    let due = run.outputs.iter().find_map(|o| match o {
        Output::Cue(c) if c.cue == Cue::Stop => Some(c.due),
        Output::Cue(_)
        | Output::Entry(_)
        | Output::Dropped { .. }
        | Output::Learned(_)
        | Output::VoidLast
        | Output::Jug { .. } => None,
    });
    let due = due.expect("a stop was called").seconds();
    // 29 g at 8 g/s are reached at 7.625 s; the default hand time of 0.29 s before that is 7.335 s.
    assert!((due - 7.335).abs() < 0.15, "stop due at {due} s");
    run.curve(7.6, 10.5, |t| stream(t, due + 0.29));
    assert_eq!(run.cues(), [Cue::Ready, Cue::Approach, Cue::Count, Cue::Count, Cue::Stop, Cue::Good]);
    let entry = run.outputs.iter().rev().find_map(|o| match o {
        Output::Entry(e) => Some(*e),
        Output::Cue(_)
        | Output::Dropped { .. }
        | Output::Learned(_)
        | Output::VoidLast
        | Output::Jug { .. } => None,
    });
    let entry = entry.expect("an entry");
    assert_eq!((entry.rev, entry.verdict, entry.settled), (1, Verdict::Good, true));
    assert!((entry.net.expect("a net weight").g() - 29.0).abs() < 1.3, "{:?}", entry.net);
    run.curve(10.5, 12.0, |_| 0.0);
    assert_eq!(run.engine.snapshot(Instant::START).piece, 2);
}

#[test]
fn silence_in_mid_pour_is_a_fault_within_a_second_and_readings_clear_it() {
    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    run.curve(4.0, 5.5, |t| stream(t, 99.0));
    let last_s = 5.4;
    run.give(Input::Timeout(Instant::START.offset_seconds(6.3)), Instant::START.offset_seconds(6.3));
    let fault = run.outputs.iter().find_map(|o| match o {
        Output::Cue(c) if c.cue == Cue::Fault => Some(c.at.seconds()),
        Output::Cue(_)
        | Output::Entry(_)
        | Output::Dropped { .. }
        | Output::Learned(_)
        | Output::VoidLast
        | Output::Jug { .. } => None,
    });
    assert!(fault.expect("a fault") - last_s < 1.0);
    assert_eq!(run.engine.snapshot(Instant::START).phase, Phase::Fault);
    run.curve(6.5, 6.8, |t| stream(t, 5.5));
    assert!(run.cues().ends_with(&[Cue::Fault, Cue::Clear]), "{:?}", run.cues());
}

#[test]
fn a_display_that_halts_without_a_tail_in_mid_pour_is_a_fault() {
    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    run.curve(4.0, 6.0, |t| stream(t, 99.0));
    for i in 0..8 {
        let t = 6.0 + f64::from(i) * 0.1;
        run.give(weighing(t, stream(5.9, 99.0)), Instant::START.offset_seconds(t));
    }
    assert!(run.cues().contains(&Cue::Fault), "{:?}", run.cues());
}

#[test]
fn a_hand_that_pauses_leaves_the_scales_own_tail_and_is_no_fault() {
    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    run.curve(4.0, 9.5, |t| stream(t, 5.5));
    assert_eq!(run.cues(), [Cue::Ready, Cue::Short]);
}

#[test]
fn while_the_log_cannot_be_written_no_piece_is_called_ready() {
    let mut run = Run::new();
    run.curve(0.0, 1.0, |_| 0.0);
    run.one(Input::Command(Command::Hold, Instant::START.offset_seconds(1.0)));
    run.curve(1.1, 4.0, |_| 300.0);
    assert_eq!(run.cues(), [Cue::Fault]);
    run.one(Input::Command(Command::Resume, Instant::START.offset_seconds(4.0)));
    run.curve(4.1, 5.0, |_| 300.0);
    assert_eq!(run.cues(), [Cue::Fault, Cue::Clear, Cue::Ready]);
}

#[test]
fn the_same_trace_gives_the_same_outputs_after_a_trip_through_bytes() {
    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    run.curve(4.0, 11.0, |t| stream(t, 7.6));
    let decoded = Trace::decode(&run.trace.encode()).expect("our own bytes");
    assert_eq!(decoded, run.trace);
    assert_eq!(decoded.replay(), run.outputs);
    assert!(run.outputs.len() >= 5);
}

fn hearing(ahead_ms: u64, lost: bool) -> Hearing {
    Hearing { ahead: Duration::from_millis(ahead_ms), lost }
}

/// Cues with when they were announced and due, in s.
fn calls(run: &Run) -> Vec<(Cue, f64, f64)> {
    let call = |o: &Output| {
        if let Output::Cue(c) = o { Some((c.cue, c.at.seconds(), c.due.seconds())) } else { None }
    };
    run.outputs.iter().filter_map(call).collect()
}

/// A pour of 29 g from 4 s on, in which at `at_s` it changes how the cues are heard.
fn pour_with(at_s: f64, change: Hearing) -> Run {
    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    run.curve(4.0, at_s, |t| stream(t, 99.0));
    let at = Instant::START.offset_seconds(at_s);
    run.give(Input::Hearing(change, at), at);
    run.curve(at_s + 0.05, 10.5, |t| stream(t, 7.62));
    run
}

#[test]
fn cues_announced_after_the_loudspeaker_became_later_are_that_much_earlier_and_none_is_moved() {
    // `approach` is announced at about 6 s, the stop is due at about 7.3 s.
    let (plain, later) = (pour_with(6.3, hearing(0, false)), pour_with(6.3, hearing(200, false)));
    let (plain, later) = (calls(&plain), calls(&later));
    let words = |calls: &[(Cue, f64, f64)]| calls.iter().map(|c| c.0).collect::<Vec<_>>();
    assert_eq!(words(&plain), words(&later));
    for ((cue, at_s, due_s), (_, _, plain_due_s)) in later.iter().zip(&plain) {
        let ahead_s = due_s - at_s;
        if *at_s < 6.3 {
            assert!(ahead_s < 0.001 && (due_s - plain_due_s).abs() < 1e-6, "{cue:?} {later:?}");
        } else {
            assert!((ahead_s - 0.2).abs() < 0.001, "{cue:?} {later:?}");
        }
    }
    assert!(later.iter().any(|c| c.0 == Cue::Approach && c.1 < 6.3), "{later:?}");
    let stop_s = |calls: &[(Cue, f64, f64)]| calls.iter().find(|c| c.0 == Cue::Stop).expect("a stop").2;
    assert!((stop_s(&later) - stop_s(&plain)).abs() < 0.05, "the stop itself stays where it is: {later:?}");
}

#[test]
fn a_loudspeaker_lost_in_mid_pour_is_a_fault_the_pour_goes_on_and_nothing_is_learned() {
    let run = pour_with(6.3, hearing(0, true));
    let (cues, entry) = (run.cues(), run.entries().pop().expect("an entry"));
    assert_eq!(cues.iter().filter(|c| **c == Cue::Fault).count(), 1, "{cues:?}");
    assert!(cues.contains(&Cue::Stop) && entry.guided && entry.rev == 1, "{cues:?} {entry:?}");
    let learned = |run: &Run| run.outputs.iter().any(|o| matches!(o, Output::Learned(_)));
    assert!(!learned(&run) && learned(&pour_with(6.3, hearing(0, false))));
    assert_eq!(Trace::decode(&run.trace.encode()).expect("our own bytes").replay(), run.outputs);
}

#[test]
fn a_loudspeaker_that_comes_back_clears_the_fault_and_one_lost_while_nothing_is_poured_is_none() {
    let mut run = pour_with(6.3, hearing(0, true));
    let at = Instant::START.offset_seconds(11.0);
    run.give(Input::Hearing(hearing(30, false), at), at);
    assert!(run.cues().ends_with(&[Cue::Clear]), "{:?}", run.cues());
    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    let at = Instant::START.offset_seconds(2.0);
    run.give(Input::Hearing(hearing(0, true), at), at);
    run.give(Input::Hearing(hearing(30, false), at), at);
    assert_eq!(run.cues(), []);
}

#[test]
fn a_loudspeaker_lost_between_two_pieces_is_still_lost_in_the_replay_of_the_next_and_nothing_is_learned() {
    // In the first pour, where it is said, or after it; the trace of the second begins after that.
    for said in [true, false] {
        let mut run = pour_with(6.3, hearing(0, said));
        run.curve(10.6, 13.9, |_| 0.0);
        run.one(Input::Hearing(hearing(0, true), Instant::START.offset_seconds(13.9)));
        let mut next = Run { trace: Trace::new(start()), outputs: Vec::new(), ..run };
        next.trace.start_from(&next.engine);
        next.curve(14.0, 16.0, |_| 0.0);
        next.curve(16.0, 18.0, |_| 300.0);
        next.curve(18.0, 24.5, |t| stream(t - 14.0, 7.62));
        let at = Instant::START.offset_seconds(24.6);
        next.give(Input::Hearing(hearing(0, false), at), at);
        assert!(next.cues().contains(&Cue::Stop), "{:?}", next.cues());
        assert_eq!(next.cues().contains(&Cue::Clear), said, "{:?}", next.cues());
        assert!(!next.outputs.iter().any(|o| matches!(o, Output::Learned(_))));
        let replayed = Trace::decode(&next.trace.encode()).expect("our own bytes");
        assert_eq!((replayed.start.lost, replayed.start.lost_said), (true, said));
        let learned = |outputs: &[Output]| outputs.iter().filter(|o| matches!(o, Output::Learned(_))).count();
        assert_eq!(learned(&replayed.replay()), 0);
        let words = |outputs: &[Output]| {
            let cue = |o: &Output| if let Output::Cue(c) = o { Some(c.cue) } else { None };
            outputs.iter().filter_map(cue).collect::<Vec<_>>()
        };
        assert_eq!(words(&replayed.replay()), next.cues());
    }
}

#[test]
fn a_step_that_turns_out_too_coarse_gives_no_ready_and_is_a_fault_for_a_hand_that_was_promised_a_stop() {
    let step = |at_s: f64| (Instant::START.offset_seconds(at_s), Mass::saturating(10.0));
    let mut run = Run::new();
    run.curve(0.0, 1.0, |_| 0.0);
    let (at, coarse) = step(1.0);
    run.give(Input::Step(coarse, at), at);
    run.curve(1.0, 4.0, |t| if t < 2.0 { 0.0 } else { 300.0 });
    assert!(!run.engine.guides() && run.cues().is_empty(), "{:?}", run.cues());
    assert_eq!(Trace::decode(&run.trace.encode()).expect("a trace").inputs, run.trace.inputs);

    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    let (at, coarse) = step(4.0);
    run.give(Input::Step(coarse, at), at);
    run.curve(4.05, 9.0, |t| stream(t, 99.0));
    assert_eq!(run.cues()[..2], [Cue::Ready, Cue::Fault]);
}

#[test]
fn a_trace_of_an_older_version_is_still_read_and_known_to_have_no_checksum() {
    let sealed = super::run::OF_VERSION_7;
    assert!(Trace::has_checksum(&sealed));
    assert_eq!(Trace::decode(&sealed).expect("an older version"), Run::new().trace);
    // Before 7 there were no length, no checksum, and no word of the piece before (one byte here).
    let bytes = &sealed[5..sealed.len() - 5];
    // An engine that has seen nothing yet and knows no spare weight ends its start values with what is new in
    // version 5: vessel, limit of contact (4 bytes), and nine that are nought. Before 5 they were not there.
    let short = &bytes[..bytes.len() - 15];
    for (version, body) in [(3, short), (4, short), (5, bytes), (6, bytes)] {
        let whole = [&[version], body].concat();
        assert_eq!(Trace::decode(&whole).expect("an older version"), Run::new().trace, "version {version}");
        assert!(!Trace::has_checksum(&whole));
    }
    assert!(Trace::decode(&[&[9], bytes].concat()).is_err());
}

#[test]
fn a_trace_that_was_cut_or_changed_anywhere_is_an_error_that_says_so() {
    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    let whole = run.trace.encode();
    for end in 1..whole.len() {
        let said = Trace::decode(&whole[..end]).expect_err("it is cut").to_string();
        assert!(said.contains("the trace is cut") && said.contains("copy it again"), "{end}: {said}");
    }
    let said = Trace::decode(&[&whole[..], &[0]].concat()).expect_err("too long").to_string();
    assert!(said.contains("was changed"), "{said}");
    // The first byte says of which version it is: the rest is then read as that.
    for (at, bit) in (1..whole.len()).flat_map(|at| (0..8).map(move |bit| (at, bit))) {
        let mut bytes = whole.clone();
        bytes[at] ^= 1 << bit;
        let said = Trace::decode(&bytes).expect_err("it was changed").to_string();
        assert!(said.contains("was changed") || said.contains("is cut"), "{at}.{bit}: {said}");
    }
}

#[test]
fn the_checksum_of_a_trace_is_the_crc_32_of_ethernet() {
    // Check value of CRC-32/ISO-HDLC over "123456789", as listed in catalogues of CRCs (from memory).
    assert_eq!(crc32(b"123456789"), 0xcbf4_3926);
    let whole = Run::new().trace.encode();
    let (rest, sum) = whole.split_at(whole.len() - 4);
    assert_eq!(crc32(rest).to_le_bytes(), sum);
}

/// Bit by bit, by the reflected polynomial of IEEE 802.3.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |s, _| if s & 1 == 1 { s >> 1 ^ 0xedb8_8320 } else { s >> 1 })
    })
}

#[test]
fn a_number_that_no_piece_has_is_refused_in_a_trace_and_overflows_nothing() {
    let mut run = Run::of(Start { first_piece: u32::MAX, ..start() });
    let said = Trace::decode(&run.trace.encode()).expect_err("no such piece").to_string();
    assert!(said.contains("piece 4294967295") && said.contains("10000000 is the greatest"), "{said}");
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    run.curve(4.0, 11.0, |t| stream(t, 7.6));
    run.curve(11.0, 14.0, |_| 0.0);
    assert!(run.entries().iter().all(|e| e.piece == u32::MAX));
    let mut run = Run::new();
    run.one(Input::Command(Command::Number(u32::MAX), Instant::START));
    assert!(Trace::decode(&run.trace.encode()).is_err());
}

#[test]
fn the_longest_trace_of_the_widest_inputs_is_within_the_limit_of_a_file() {
    let mut trace = Run::new().trace;
    for i in 0..200_001_u64 {
        let at = Instant::from_us(if i % 2 == 0 { 0 } else { i64::MAX as u64 });
        let mass = Mass::saturating(if i % 2 == 0 { -1e9 } else { 1e9 });
        trace.note(Input::Weighing(Weighing { mass, arrived_at: at, taken_at: at }), false);
    }
    let bytes = trace.encode().len();
    assert!(trace.cut && (1_000_000..=LARGEST).contains(&bytes), "{bytes} bytes");
}

#[test]
fn the_end_of_the_piece_before_in_the_lead_of_a_trace_is_no_entry_of_its_replay() {
    let mut run = Run::new();
    let (mut begun, mut next) = (0, None);
    let mut give = |run: &mut Run, from_s: f64, to_s: f64, gross: &dyn Fn(f64) -> f64| {
        for i in 0..((to_s - from_s) * 10.0).round() as u64 {
            let t = from_s + i as f64 / 10.0;
            let idle = run.phase() == Phase::Idle;
            let input = weighing(t, gross(t));
            run.trace.note(input, idle);
            input.give(&mut run.engine);
            run.outputs.extend(std::iter::from_fn(|| run.engine.poll_output()));
            if idle {
                run.trace.start_from(&run.engine);
                (begun, next) = (run.outputs.len(), Some(run.trace.clone()));
            }
        }
    };
    give(&mut run, 0.0, 2.0, &|_| 0.0);
    give(&mut run, 2.0, 4.0, &|_| 300.0);
    give(&mut run, 4.0, 12.0, &|t| stream(t, 7.6));
    // The next one stands there 0.8 s after the lift.
    give(&mut run, 12.0, 12.8, &|_| 0.0);
    give(&mut run, 12.8, 15.0, &|_| 340.0);
    let opened = |outputs: &[Output]| -> Vec<(u32, u32)> {
        outputs
            .iter()
            .filter_map(|o| if let Output::Entry(e) = o { Some((e.piece, e.rev)) } else { None })
            .collect()
    };
    let told = Trace::decode(&run.trace.encode()).expect("our own bytes");
    assert!(next.is_some() && told.lead > 0 && told.lead == run.trace.lead);
    assert_eq!(opened(&run.outputs[begun..]), [(2, 0)]);
    assert_eq!(opened(&told.replay()), [(2, 0)]);
}

fn any_input() -> impl Strategy<Value = (u8, f64, f64)> {
    (0_u8..22, 0.01_f64..1.5, -50.0_f64..900.0)
}

proptest! {
    #![proptest_config(seeded())]

    #[test]
    fn arbitrary_bytes_never_panic_as_a_trace(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        if let Ok(trace) = Trace::decode(&bytes) {
            let _ = trace.encode();
        }
    }

    #[test]
    fn random_events_keep_the_engines_promises(events in proptest::collection::vec(any_input(), 1..250)) {
        let mut run = Run::new();
        let (mut t, mut g) = (0.0, 0.0);
        for (kind, dt, x) in events {
            t += if kind < 15 { 0.1 } else { dt };
            let at = Instant::START.offset_seconds(t);
            match kind {
                0..=3 => run.give(weighing(t, g), at),
                4..=9 => { g += 0.8; run.give(weighing(t, g), at); }
                10..=14 => for i in 0..8 { t += 0.1; run.give(weighing(t, g), at + Duration::from_millis(100 * (i + 1))); },
                15..=16 => { g = if g > 100.0 { 0.0 } else { x.max(0.0) }; run.give(weighing(t, g), at); }
                17 => run.give(Input::Link(LinkChange::Down, at), at),
                18 => run.give(Input::Timeout(at), at),
                19 => run.give(Input::Hearing(hearing(x.abs() as u64 % 251, x > 400.0), at), at),
                20 => run.give(Input::Command(Command::Remind(Remark::Stir), at), at),
                _ => run.give(Input::Command(if x > 800.0 { Command::End } else { Command::Hold }, at), at),
            }
        }
        promises(&run.outputs)?;
        stops_keep_clear_of_pips(&run.trace)?;
        let end = Instant::START.offset_seconds(t + 1.0);
        run.one(Input::Command(Command::End, end));
        prop_assert_eq!(run.engine.snapshot(end).phase, Phase::Idle);
        promises(&run.outputs)?;
    }
}

#[test]
fn a_piece_that_comes_back_before_the_bare_pan_was_seen_has_each_revision_once() {
    let mut run = Run::new();
    let mut t = 0.0;
    let mut rests = |run: &mut Run, g: f64, readings: u32| {
        for _ in 0..readings {
            t += 0.1;
            run.give(weighing(t, g), Instant::START.offset_seconds(t));
        }
        Instant::START.offset_seconds(t)
    };
    for (g, readings) in [(0.0, 9), (284.6, 9), (285.4, 1), (286.2, 1), (287.0, 9), (287.8, 9)] {
        rests(&mut run, g, readings);
    }
    let at = rests(&mut run, 287.8, 1);
    run.give(Input::Command(Command::End, at), at);
    // It stands there still, is taken for what may be the one put back, and leaves something on the pan.
    for (g, readings) in [(287.8, 8), (0.0, 1), (0.8, 9)] {
        rests(&mut run, g, readings);
    }
    let revisions = run.outputs.iter().filter(|o| matches!(o, Output::Entry(e) if e.rev > 0)).count();
    assert!(revisions >= 3, "nothing is tried: {:?}", run.outputs);
    promises(&run.outputs).unwrap();
}

/// A stop keeps clear of a pip as it was planned when that was announced: what is said with it, and where nothing but time passes
/// after it. (A reading may bring the stop nearer: none is delayed for a pip that has sounded.) Says how many pips there were.
fn stops_keep_clear_of_pips(trace: &Trace) -> Result<usize, TestCaseError> {
    let mut engine = Engine::new(trace.start.clone());
    let mut pips = 0;
    for input in &trace.inputs {
        input.give(&mut engine);
        let mut said: Vec<Output> = std::iter::from_fn(|| engine.poll_output()).collect();
        let is_pip = |o: &Output| matches!(o, Output::Cue(c) if c.cue == Cue::Count);
        let Some(first) = said.iter().position(is_pip) else { continue };
        let Output::Cue(pip) = said.remove(first) else { continue };
        pips += 1;
        let mut next = said.split_off(first);
        let mut alone = engine.clone();
        while let Some(at) = alone.poll_timeout().filter(|at| at.seconds_from(pip.at) < 0.3) {
            Input::Timeout(at).give(&mut alone);
            next.extend(std::iter::from_fn(|| alone.poll_output()));
            if alone.poll_timeout() == Some(at) {
                break;
            }
        }
        for output in next {
            let Output::Cue(next) = output else { continue };
            let clear = next.cue != Cue::Stop || next.due.seconds_from(pip.due) >= 0.2999;
            prop_assert!(clear, "a stop on the heels of a pip: {next:?} after {pip:?}");
        }
    }
    Ok(pips)
}

#[test]
fn a_stop_keeps_clear_of_each_pip_of_a_plain_pour() {
    let mut run = Run::new();
    run.curve(0.0, 2.0, |_| 0.0);
    run.curve(2.0, 4.0, |_| 300.0);
    run.curve(4.0, 7.6, |t| stream(t, 99.0));
    assert_eq!(stops_keep_clear_of_pips(&run.trace).unwrap(), 2);
}

/// No stop without a pour, one open pour at most, revisions in order for each piece, cue numbers in order.
fn promises(outputs: &[Output]) -> Result<(), TestCaseError> {
    let mut open: Option<(u32, u32)> = None;
    let mut revs = std::collections::HashMap::new();
    let mut cues = 0;
    for output in outputs {
        match output {
            Output::Entry(e) if e.rev == 0 => {
                prop_assert!(open.is_none_or(|(_, rev)| rev > 0), "a second pour opened beside an open one");
                open = Some((e.piece, 0));
                revs.insert(e.piece, 0);
            }
            Output::Entry(e) => {
                prop_assert_eq!(
                    revs.insert(e.piece, e.rev),
                    Some(e.rev - 1),
                    "an entry follows its own pour's last revision"
                );
                prop_assert!(e.net.is_some_and(|n| n.g().is_finite()));
                if open.is_some_and(|(piece, _)| piece == e.piece) {
                    open = Some((e.piece, e.rev));
                }
            }
            Output::Dropped { piece } => {
                prop_assert_eq!(open, Some((*piece, 0)));
                open = None;
            }
            Output::Learned(hand) => prop_assert!((0.0..=1.5).contains(&hand.hand_s)),
            Output::VoidLast | Output::Jug { .. } => {
                prop_assert!(false, "no spare weight and no jug is known")
            }
            Output::Cue(c) => {
                cues += 1;
                prop_assert_eq!(c.n, cues);
                prop_assert!(c.due >= c.at);
                prop_assert!(c.cue != Cue::Stop || open.is_some(), "a stop without a pour");
            }
        }
    }
    Ok(())
}
