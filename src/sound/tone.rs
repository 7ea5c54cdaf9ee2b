//! A cue as samples. Pure: no device, no clock.
//!
//! Rhythm tells the cues apart, pitch only helps: pitch is the first thing that a small loudspeaker,
//! a fan or an older ear takes away. Times in ms, a stroke in digits, a gap in brackets:
//!
//! | cue | rhythm | Hz | level | why |
//! |---|---|---|---|---|
//! | `ready` | 40 | 1180 | 0.45 | a small tick: heard dozens of times a day, nothing is wrong |
//! | `approach` | 130 `[70]` 50 | 690 | 0.45 | long then short, slow and soft: an urgent one makes hands stop early |
//! | `count` | 100 | 905 | 0.70 | one even pip; the engine sends them at one distance, so the hand can feel the beat |
//! | `stop` | 450 | 540 | 1.00 | the lowest and the longest stroke, at full level: one meaning, no counting |
//! | `good` | silent, or 40 `[50]` 40 | 1010 | 0.40 | only trouble speaks up |
//! | `short` | 60 `[320]` 60 `[60]` 120 | 800 | 0.80 | one, a wait, two more: something is still to come |
//! | `over` | 240 `[60]` 60 `[50]` 60 `[50]` 60 | 1310 | 1.00 | close strokes and the highest pitch: the only urgent one |
//! | `fault` | 320 `[70]` 50 `[70]` 320 | 640 + 883 | 1.00 | the same forwards and backwards, and rough: two pitches that don't fit |
//! | `clear` | 50 `[110]` 220 | 770 | 0.50 | a tick that opens into a soft long one |
//! | `note` | 280 | 600 | 0.40 | one soft stroke that dies away: between two pieces, when no stop can be near |
//!
//! Sources. Fundamentals 500 to 1600 Hz: under 500 Hz a small loudspeaker fades, over 2000 Hz the hearing
//! of people of 60 and more does (ISO 7029, from memory); most energy under 1500 Hz for the same reason
//! (ISO 7731, from memory). Signals told apart by rhythm, few of them: Patterson and Mayfield 1990.
//! Short gaps, high pitch and repeats make a sound urgent: Hellier and Edworthy; Haas and Edworthy 1996.
//! A warning must be unlike the stop it announces, or it is taken for it (J Neurophysiol 2008,
//! jn.01198.2007). Pitches that may follow each other closely (`approach`, `count`, `stop`, `ready`) are
//! at least 20 % apart (NUREG-0700). A rise of 5 to 10 ms is quick enough for the ear to time it and slow
//! enough not to click (common practice, no source). Lengths and levels: chosen by us, not yet tried on people.

use crate::pour::entry::Cue;
use crate::settings::Sound;
use std::f32::consts::{PI, TAU};

/// Nothing is louder than this, of full scale: room for the loudspeaker's own filter.
pub const PEAK: f32 = 0.9;
/// Raised-cosine rise, ms.
pub const RISE_MS: u32 = 6;
/// Raised-cosine rise of the soft ones, ms.
pub const SOFT_RISE_MS: u32 = 10;
/// Raised-cosine fall, ms.
pub const FALL_MS: u32 = 10;
/// Strength of each multiple of the fundamental: an ear that has lost the highest still has the others.
const HARMONICS: [f32; 3] = [1.0, 0.45, 0.2];

/// One stroke.
#[derive(Clone, Copy, Debug)]
pub struct Stroke {
    /// From the start of the cue.
    pub start_ms: u32,
    /// Rise and fall included.
    pub length_ms: u32,
}

const fn stroke(start_ms: u32, length_ms: u32) -> Stroke {
    Stroke { start_ms, length_ms }
}

/// How a cue sounds.
#[derive(Clone, Copy, Debug)]
pub struct Tone {
    /// The rhythm, in order of time.
    pub strokes: &'static [Stroke],
    /// Fundamental, Hz.
    pub hz: f32,
    /// A second pitch at once, as a multiple of the first.
    pub beside: Option<f32>,
    /// Share of [`PEAK`].
    pub level: f32,
    /// Rise, ms.
    pub rise_ms: u32,
    /// Level at the end of each stroke as a share of its start.
    pub sinks_to: f32,
}

impl Tone {
    /// From the first sample to the last, ms.
    pub fn length_ms(&self) -> u32 {
        self.strokes.last().map_or(0, |s| s.start_ms + s.length_ms)
    }
}

const READY: &[Stroke] = &[stroke(0, 40)];
const APPROACH: &[Stroke] = &[stroke(0, 130), stroke(200, 50)];
const COUNT: &[Stroke] = &[stroke(0, 100)];
const STOP: &[Stroke] = &[stroke(0, 450)];
const GOOD: &[Stroke] = &[stroke(0, 40), stroke(90, 40)];
const SHORT: &[Stroke] = &[stroke(0, 60), stroke(380, 60), stroke(500, 120)];
const OVER: &[Stroke] = &[stroke(0, 240), stroke(300, 60), stroke(410, 60), stroke(520, 60)];
const FAULT: &[Stroke] = &[stroke(0, 320), stroke(390, 50), stroke(510, 320)];
const CLEAR: &[Stroke] = &[stroke(0, 50), stroke(160, 220)];
const NOTE: &[Stroke] = &[stroke(0, 280)];

/// The tone of a cue.
pub const fn tone(cue: Cue) -> Tone {
    match cue {
        Cue::Ready => soft(READY, 1180.0, 0.45, 0.5),
        Cue::Approach => soft(APPROACH, 690.0, 0.45, 0.4),
        Cue::Count => firm(COUNT, 905.0, 0.7, 0.6),
        Cue::Stop => firm(STOP, 540.0, 1.0, 0.6),
        Cue::Good => soft(GOOD, 1010.0, 0.4, 0.5),
        Cue::Short => firm(SHORT, 800.0, 0.8, 0.7),
        Cue::Over => firm(OVER, 1310.0, 1.0, 0.8),
        // 1.38 is near no simple ratio: the two never blend into a chord.
        Cue::Fault => Tone { beside: Some(1.38), ..firm(FAULT, 640.0, 1.0, 0.9) },
        Cue::Clear => soft(CLEAR, 770.0, 0.5, 0.4),
        Cue::Note => soft(NOTE, 600.0, 0.4, 0.3),
    }
}

const fn firm(strokes: &'static [Stroke], hz: f32, level: f32, sinks_to: f32) -> Tone {
    Tone { strokes, hz, beside: None, level, rise_ms: RISE_MS, sinks_to }
}

const fn soft(strokes: &'static [Stroke], hz: f32, level: f32, sinks_to: f32) -> Tone {
    Tone { strokes, hz, beside: None, level, rise_ms: SOFT_RISE_MS, sinks_to }
}

/// Which cues sound, and how loud.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Voice {
    /// 0 to 1.
    pub volume: f32,
    /// Only `stop`, `short`, `over` and `fault`.
    pub quiet: bool,
    /// `good` sounds too.
    pub good: bool,
    /// The warning pips sound.
    pub pips: bool,
}

impl From<&Sound> for Voice {
    fn from(sound: &Sound) -> Self {
        Self { volume: sound.volume as f32, quiet: sound.quiet, good: sound.good, pips: sound.pips }
    }
}

impl Voice {
    /// Whether this cue is to be heard at all.
    pub const fn sounds(&self, cue: Cue) -> bool {
        match cue {
            Cue::Stop | Cue::Short | Cue::Over | Cue::Fault => true,
            Cue::Ready | Cue::Approach | Cue::Clear | Cue::Note => !self.quiet,
            Cue::Count => self.pips && !self.quiet,
            Cue::Good => self.good && !self.quiet,
        }
    }
}

/// Samples from -1 to 1 of one channel at this many a second; none for a cue that is not to be heard.
pub fn samples(cue: Cue, rate_hz: u32, voice: &Voice) -> Vec<f32> {
    if !voice.sounds(cue) {
        return Vec::new();
    }
    let tone = tone(cue);
    let frames = |ms: u32| (ms as usize * rate_hz as usize) / 1000;
    let mut out = vec![0.0; frames(tone.length_ms())];
    for s in tone.strokes {
        let (from, length) = (frames(s.start_ms), frames(s.length_ms).max(1));
        let (rise, fall) = (frames(tone.rise_ms).max(1), frames(FALL_MS).max(1));
        for (i, sample) in out.iter_mut().skip(from).take(length).enumerate() {
            let along = i as f32 / length as f32;
            let sunk = 1.0 - (1.0 - tone.sinks_to) * along;
            let edge = raised_cosine(i, rise).min(raised_cosine(length - 1 - i, fall));
            *sample = wave(&tone, i as f32 / rate_hz as f32) * sunk * edge;
        }
    }
    let highest = out.iter().fold(0.0_f32, |top, s| top.max(s.abs()));
    let wanted = PEAK * tone.level * voice.volume.clamp(0.0, 1.0);
    if highest > 0.0 {
        out.iter_mut().for_each(|s| *s *= wanted / highest);
    }
    out
}

/// 0 at the edge, 1 from `span` frames on.
fn raised_cosine(from_edge: usize, span: usize) -> f32 {
    if from_edge >= span { 1.0 } else { 0.5 - 0.5 * (PI * from_edge as f32 / span as f32).cos() }
}

fn wave(tone: &Tone, at_s: f32) -> f32 {
    let one = |hz: f32| -> f32 {
        let of = |(n, strength): (usize, &f32)| strength * (TAU * hz * (n + 1) as f32 * at_s).sin();
        HARMONICS.iter().enumerate().map(of).sum()
    };
    one(tone.hz) + tone.beside.map_or(0.0, |times| one(tone.hz * times))
}

#[cfg(test)]
mod tests;
