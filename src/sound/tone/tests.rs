//! Tests of the samples themselves: what a microphone before a perfect loudspeaker would show.

use super::*;

const RATE: u32 = 48_000;
const ALL: [Cue; 10] = Cue::ALL;
const LOUD: Voice = Voice { volume: 1.0, quiet: false, good: true, pips: true };

fn ms(frames: usize) -> f32 {
    frames as f32 * 1000.0 / RATE as f32
}

/// Strength of one frequency (Goertzel's recurrence): the amplitude of a steady sine of that frequency.
fn strength(samples: &[f32], hz: f32) -> f32 {
    let turn = 2.0 * (TAU * hz / RATE as f32).cos();
    let (mut before, mut last) = (0.0_f32, 0.0_f32);
    for s in samples {
        (before, last) = (last, s + turn * last - before);
    }
    let power = before * before + last * last - turn * before * last;
    2.0 * power.max(0.0).sqrt() / samples.len() as f32
}

/// The frequency from 200 to 6000 Hz that is strongest, to 2 Hz.
fn strongest(samples: &[f32]) -> f32 {
    let all = (100..3000).map(|n| n as f32 * 2.0);
    all.max_by(|a, b| strength(samples, *a).total_cmp(&strength(samples, *b))).expect("a frequency")
}

/// The highest sample of each 2 ms: longer than half a wave of 500 Hz.
fn envelope(samples: &[f32]) -> Vec<f32> {
    samples.chunks(RATE as usize / 500).map(|c| c.iter().fold(0.0, |top: f32, s| top.max(s.abs()))).collect()
}

/// Loud or not, for each 2 ms: all that is left without pitch and level.
fn rhythm(cue: Cue) -> Vec<bool> {
    let envelope = envelope(&samples(cue, RATE, &LOUD));
    let top = envelope.iter().copied().fold(0.0, f32::max);
    envelope.iter().map(|e| *e > top * 0.2).collect()
}

/// Lengths in ms of what is loud and what is not, in turn.
fn strokes_and_gaps(cue: Cue) -> Vec<usize> {
    rhythm(cue).chunk_by(|a, b| a == b).map(|run| run.len() * 2).collect()
}

fn first_stroke(cue: Cue) -> Vec<f32> {
    let length = tone(cue).strokes[0].length_ms as usize * RATE as usize / 1000;
    samples(cue, RATE, &LOUD)[..length].to_vec()
}

#[test]
fn every_fundamental_is_from_500_to_1600_hz_and_is_what_the_table_says() {
    for cue in ALL {
        let (stroke, wanted) = (first_stroke(cue), tone(cue));
        let found = strongest(&stroke);
        let beside = wanted.beside.map_or(found, |times| wanted.hz * times);
        println!("{:8} {found:6.0} Hz strongest, {} Hz in the table", cue.word(), wanted.hz);
        // A stroke of 40 ms has lines 25 Hz wide; half of that either way.
        let near = |hz: f32| (found - hz).abs() < 13.0;
        assert!(near(wanted.hz) || near(beside), "{}: {found} Hz", cue.word());
        assert!((500.0..=1600.0).contains(&found) && (500.0..=1600.0).contains(&wanted.hz));
        // Harmonics are there, so that a loudspeaker or an ear that lacks one has another.
        let (one, two) = (strength(&stroke, wanted.hz), strength(&stroke, 2.0 * wanted.hz));
        assert!(two > 0.2 * one, "{}: {one} and {two}", cue.word());
    }
}

#[test]
fn most_energy_is_under_1500_hz_for_all_that_says_stop_pouring_in_time() {
    // ISO 7731 asks this of danger signals for people with hearing loss (from memory).
    for cue in [Cue::Approach, Cue::Count, Cue::Stop, Cue::Fault, Cue::Short] {
        let stroke = first_stroke(cue);
        // On the lines of this stroke's own length energies add up.
        let line = RATE as f32 / stroke.len() as f32;
        let power = |from: f32, to: f32| -> f32 {
            let lines = (from / line).ceil() as usize..(to / line) as usize;
            lines.map(|n| strength(&stroke, n as f32 * line).powi(2)).sum()
        };
        let (low, high) = (power(200.0, 1500.0), power(1500.0, 8000.0));
        assert!(low > high, "{}: {low} under, {high} over", cue.word());
    }
}

#[test]
fn the_rise_is_5_to_10_ms_and_the_length_is_the_tables() {
    for cue in ALL {
        let (all, wanted) = (samples(cue, RATE, &LOUD), tone(cue));
        assert!((ms(all.len()) - wanted.length_ms() as f32).abs() < 0.1, "{}", cue.word());
        assert!((5..=10).contains(&wanted.rise_ms) && (5..=10).contains(&FALL_MS));
        // Measured on the samples: how far a running top of 1 ms is from the level after the rise.
        let level = first_stroke(cue)[..RATE as usize / 50].iter().fold(0.0_f32, |t, s| t.max(s.abs()));
        let risen = all.windows(48).position(|w| w.iter().any(|s| s.abs() > 0.9 * level));
        let measured = ms(risen.expect("it rises") + 48);
        println!(
            "{:8} {:4} ms long, 90 % reached after {measured:.1} ms, rise {} ms",
            cue.word(),
            wanted.length_ms(),
            wanted.rise_ms
        );
        // 90 % of a raised cosine is at four fifths of it; then the next crest, at most half a wave later.
        assert!((0.6 * wanted.rise_ms as f32..wanted.rise_ms as f32 + 4.0).contains(&measured), "{measured}");
    }
}

#[test]
fn nothing_is_over_the_peak_and_nothing_clicks() {
    for rate in [22_050, 44_100, 48_000, 96_000] {
        for cue in ALL {
            let (all, wanted) = (samples(cue, rate, &LOUD), tone(cue));
            let top = all.iter().fold(0.0_f32, |t, s| t.max(s.abs()));
            assert!((top - PEAK * wanted.level).abs() < 1e-4, "{}: {top}", cue.word());
            // The steepest a sum of its sines can be: strengths times frequencies; what is steeper is a click.
            let steep: f32 = HARMONICS.iter().zip(1..).map(|(s, n)| s * n as f32).sum();
            let highest_hz = wanted.hz * wanted.beside.unwrap_or(1.0);
            let limit = top * steep * TAU * highest_hz / rate as f32 * 1.1;
            let jump = all.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f32::max);
            assert!(jump < limit, "{} at {rate}: {jump} of {limit}", cue.word());
            for edge in [all[0], all[all.len() - 1]] {
                assert!(edge.abs() < 0.001, "{} at {rate} begins or ends at {edge}", cue.word());
            }
        }
    }
}

#[test]
fn any_two_cues_are_told_apart_without_pitch_or_level() {
    let mut nearest = (usize::MAX, "", "");
    for (i, a) in ALL.iter().enumerate() {
        for b in &ALL[i + 1..] {
            let (x, y) = (rhythm(*a), rhythm(*b));
            let on = |r: &[bool], i: usize| r.get(i).copied().unwrap_or(false);
            let apart = 2 * (0..x.len().max(y.len())).filter(|&i| on(&x, i) != on(&y, i)).count();
            nearest = nearest.min((apart, a.word(), b.word()));
            // A shorter stroke is told from a longer one at about a tenth (common practice, no source);
            // 25 ms of 40 and of 100 is far over that.
            assert!(apart >= 25, "{} and {} differ for {apart} ms only", a.word(), b.word());
            let (p, q) = (strokes_and_gaps(*a), strokes_and_gaps(*b));
            let half_as_long = |x: usize, y: usize| x.max(y) * 2 >= x.min(y) * 3;
            let differ = p.len() != q.len() || p.iter().zip(&q).any(|(x, y)| half_as_long(*x, *y));
            assert!(differ, "{p:?} and {q:?}");
        }
    }
    println!("nearest: {nearest:?} ms");
}

#[test]
fn the_stop_is_the_lowest_and_has_the_longest_stroke() {
    let longest = |cue: Cue| tone(cue).strokes.iter().map(|s| s.length_ms).max();
    for cue in ALL.into_iter().filter(|c| *c != Cue::Stop) {
        assert!(tone(cue).hz > tone(Cue::Stop).hz && longest(cue) < longest(Cue::Stop), "{}", cue.word());
    }
}

#[test]
fn the_pitches_that_may_follow_each_other_closely_are_a_fifth_apart() {
    let mut near = [Cue::Stop, Cue::Approach, Cue::Count, Cue::Ready].map(|c| tone(c).hz);
    near.sort_by(f32::total_cmp);
    assert!(near.windows(2).all(|w| w[1] > 1.2 * w[0]), "{near:?}");
}

#[test]
fn good_is_silent_unless_set_quiet_leaves_only_trouble_and_the_stop_and_pips_may_be_left_out() {
    let heard = |voice: Voice| -> Vec<&str> {
        ALL.into_iter().filter(|c| !samples(*c, RATE, &voice).is_empty()).map(Cue::word).collect()
    };
    let plain = Voice { volume: 1.0, quiet: false, good: false, pips: true };
    assert_eq!(
        heard(plain),
        ["ready", "approach", "count", "stop", "short", "over", "fault", "clear", "note"]
    );
    assert_eq!(heard(LOUD).len(), 10);
    for good in [false, true] {
        assert_eq!(heard(Voice { quiet: true, good, ..plain }), ["stop", "short", "over", "fault"]);
    }
    let alone = heard(Voice { pips: false, ..plain });
    assert_eq!(alone, ["ready", "approach", "stop", "short", "over", "fault", "clear", "note"]);
}

#[test]
fn the_volume_scales_and_nought_is_silence() {
    let top = |volume: f32| {
        let all = samples(Cue::Stop, RATE, &Voice { volume, ..LOUD });
        all.iter().fold(0.0_f32, |t, s| t.max(s.abs()))
    };
    assert!((top(0.5) - 0.5 * PEAK).abs() < 1e-4 && (top(7.0) - PEAK).abs() < 1e-4);
    assert!(top(0.0).abs() < f32::EPSILON);
}

/// What is heard at a step of a calibration or a check, as stated in the table above `tone.rs` and measured on the samples:
/// fundamental, strokes, and the level of the whole and of a hand's breadth into it.
#[test]
fn each_sound_of_a_step_at_the_pan_has_its_stated_pitch_strokes_and_level() {
    // Taken, wrong, again, over with something to look at, over.
    let stated: [(Cue, f32, &[f32], f32); 5] = [
        (Cue::Ready, 1180.0, &[40.0], 0.45),
        (Cue::Fault, 640.0, &[320.0, 70.0, 50.0, 70.0, 320.0], 1.0),
        (Cue::Short, 800.0, &[60.0, 320.0, 60.0, 60.0, 120.0], 0.8),
        (Cue::Note, 970.0, &[50.0, 90.0, 200.0, 90.0, 50.0], 0.35),
        (Cue::Clear, 770.0, &[50.0, 110.0, 220.0], 0.5),
    ];
    for (cue, hz, lengths, level) in stated {
        let all = samples(cue, RATE, &LOUD);
        // The longest stroke tells its pitch best: its lines are the narrowest.
        let longest = lengths.iter().step_by(2).copied().fold(0.0_f32, f32::max);
        let (place, _) =
            lengths.iter().enumerate().step_by(2).find(|(_, l)| **l == longest).expect("a stroke");
        let before: f32 = lengths[..place].iter().sum();
        let at = |ms: f32| (ms / 1000.0 * RATE as f32) as usize;
        let stroke = &all[at(before)..at(before + longest)];
        let found = strongest(stroke);
        let (width, beside) = (500.0 / longest, hz * 1.38);
        let rough = cue == Cue::Fault && (found - beside).abs() < width;
        let measured: f32 = ms(all.len());
        let top = all.iter().fold(0.0_f32, |top, s| top.max(s.abs()));
        println!("{:6} {found:5.0} Hz, {measured:.1} ms, level {:.3}", cue.word(), top / PEAK);
        assert!((found - hz).abs() < width || rough, "{}: {found} Hz of {hz}", cue.word());
        assert!((measured - lengths.iter().sum::<f32>()).abs() < 0.1, "{}: {measured} ms", cue.word());
        assert!((top / PEAK - level).abs() < 1e-3, "{}: {top}", cue.word());
        // Between two strokes it is silent: quieter by 60 dB.
        let mut from = 0.0;
        for (n, length) in lengths.iter().enumerate() {
            let within = &all[at(from) + 1..at(from + length) - 1];
            let loudest = within.iter().fold(0.0_f32, |top, s| top.max(s.abs()));
            assert!(
                if n % 2 == 0 { loudest > 0.2 * top } else { loudest < 0.001 * top },
                "{}: {n}",
                cue.word()
            );
            from += length;
        }
    }
}
