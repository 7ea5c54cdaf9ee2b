//! Tests of the placing on a clock of our own: each cue is a run of ones, so that it shows where it is.

use super::*;

const RATE: u32 = 48_000;
/// Frames of one call of the device.
const PERIOD: usize = 512;

fn ms(ms: u64) -> Instant {
    Instant::from_us(ms * 1000)
}

fn cue(cue: Cue, due_ms: u64, level: f32, length_ms: usize) -> Placed {
    Placed { cue, due: ms(due_ms), samples: vec![level; length_ms * 48].into() }
}

/// One second of sound from time 0, with these cues given before the call at their time in ms.
fn played(mut given: Vec<(u64, Placed)>) -> Vec<f32> {
    let mut score = Score::new(RATE);
    let mut out = Vec::new();
    while out.len() < RATE as usize {
        let heard = Instant::START.offset_seconds(out.len() as f64 / f64::from(RATE));
        while given.first().is_some_and(|(at, _)| ms(*at) <= heard) {
            score.handle_cue(given.remove(0).1);
        }
        let mut part = [0.0; PERIOD];
        score.fill(&mut part, heard);
        out.extend(part);
    }
    out
}

/// First and last ms, about, at which it is this loud.
fn span(sound: &[f32], level: f32) -> Option<(f64, f64)> {
    let here = |s: &f32| (s - level).abs() < 1e-4;
    let (from, to) = (sound.iter().position(here)?, sound.iter().rposition(here)?);
    Some((from as f64 / 48.0, to as f64 / 48.0))
}

#[test]
fn a_cue_is_heard_when_it_is_due_to_a_sample() {
    for due in [100, 205, 333, 500] {
        let sound = played(vec![(50, cue(Cue::Count, due, 0.5, 80))]);
        let (from, to) = span(&sound, 0.5).expect("it sounds");
        assert!((from - due as f64).abs() < 0.03 && (to - from - 80.0).abs() < 0.1, "{from} to {to}");
    }
}

#[test]
fn a_late_cue_sounds_at_once_and_one_over_100_ms_late_does_not_unless_it_is_a_stop_or_a_fault() {
    let late = |kind: Cue, by: u64| span(&played(vec![(400, cue(kind, 400 - by, 0.5, 80))]), 0.5);
    for kind in [Cue::Ready, Cue::Approach, Cue::Count, Cue::Good, Cue::Short, Cue::Over, Cue::Clear] {
        let (from, _) = late(kind, 85).expect("it sounds");
        // Found at the next call of the device.
        assert!((400.0..411.0).contains(&from), "{from}");
        assert_eq!(late(kind, 102), None, "{kind:?}");
    }
    for kind in [Cue::Stop, Cue::Fault] {
        let (from, _) = late(kind, 399).expect("it sounds");
        assert!((400.0..411.0).contains(&from), "{from}");
    }
}

#[test]
fn a_stop_cuts_off_what_is_playing_and_nothing_sounds_in_the_300_ms_before_it() {
    let sound = played(vec![
        (10, cue(Cue::Approach, 150, 0.3, 400)),
        (20, cue(Cue::Stop, 500, 0.8, 300)),
        (30, cue(Cue::Count, 450, 0.4, 80)),
    ]);
    let (from, to) = span(&sound, 0.3).expect("the approach begins");
    assert!((from - 150.0).abs() < 0.1 && (to - 200.0).abs() < 0.1, "{from} to {to}");
    assert_eq!(span(&sound, 0.4), None, "the pip is dropped");
    let silent = |from: usize, to: usize| sound[from * 48..to * 48].iter().all(|s| s.abs() < 1e-6);
    assert!(silent(206, 499));
    let (from, to) = span(&sound, 0.8).expect("the stop");
    assert!((from - 500.0).abs() < 0.1 && (to - 800.0).abs() < 0.1, "{from} to {to}");
}

#[test]
fn a_stop_that_is_known_late_cuts_at_once_and_fades_what_it_cuts() {
    let sound = played(vec![(10, cue(Cue::Approach, 100, 0.3, 400)), (300, cue(Cue::Stop, 250, 0.8, 200))]);
    let (_, cut) = span(&sound, 0.3).expect("the approach");
    assert!((300.0..311.5).contains(&cut), "{cut}");
    // The stop here begins with a step; besides that no step is larger than the fade's.
    let steps = sound.windows(2).map(|w| (w[1] - w[0]).abs()).filter(|d| *d > 0.01).count();
    assert_eq!(steps, 3, "begin of the approach, begin and end of the stop");
}

#[test]
fn while_a_stop_sounds_the_others_wait_and_a_fault_does_not() {
    let stop = (10, cue(Cue::Stop, 100, 0.8, 300));
    let sound = played(vec![stop.clone(), (20, cue(Cue::Over, 350, 0.5, 100))]);
    assert!((span(&sound, 0.8).expect("the stop").1 - 400.0).abs() < 0.1);
    assert!((span(&sound, 0.5).expect("over").0 - 400.0).abs() < 0.1);
    let sound = played(vec![stop.clone(), (20, cue(Cue::Over, 250, 0.5, 100))]);
    assert_eq!(span(&sound, 0.5), None, "150 ms late when the stop ends");
    let sound = played(vec![stop, (20, cue(Cue::Good, 120, 0.4, 80)), (30, cue(Cue::Fault, 250, 0.5, 100))]);
    // Alone after the 5 ms in which the stop fades.
    assert!((span(&sound, 0.5).expect("fault").0 - 255.0).abs() < 0.1);
}

#[test]
fn a_jitter_of_the_devices_own_delay_moves_nothing_by_more_than_a_tenth_of_it() {
    let mut score = Score::new(RATE);
    let mut out = Vec::new();
    for call in 0..100_u32 {
        let jitter = if call % 2 == 0 { 0.004 } else { -0.004 };
        let heard = Instant::from_us(1_000_000).offset_seconds(out.len() as f64 / f64::from(RATE) + jitter);
        if call == 50 {
            score.handle_cue(cue(Cue::Count, 1900, 0.5, 80));
        }
        let mut part = [0.0; PERIOD];
        score.fill(&mut part, heard);
        out.extend(part);
    }
    let (from, _) = span(&out, 0.5).expect("it sounds");
    assert!((from - 900.0).abs() < 0.8, "{from}");
}

#[test]
fn a_gap_in_the_sound_is_followed_at_once() {
    let mut score = Score::new(RATE);
    let mut part = [0.0; PERIOD];
    score.fill(&mut part, ms(0));
    score.handle_cue(cue(Cue::Count, 3005, 0.5, 3));
    score.fill(&mut part, ms(3000));
    let (from, _) = span(&part, 0.5).expect("it sounds");
    assert!((from - 5.0).abs() < 0.1, "{from}");
}
