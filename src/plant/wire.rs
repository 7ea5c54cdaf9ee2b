//! The way of a scene's readings from the display to whoever reads them: lines, late, lost, in the wrong
//! order, at odd times. Knows no port.

use super::{ScaleModel, Shown};
use crate::time::{Duration, Instant};

/// What the reader gets.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// Bytes of a line.
    Line(String),
    /// The cable is in again.
    Up,
    /// The cable is out.
    Down,
}

/// Something that reached the reader.
#[derive(Clone, Debug, PartialEq)]
pub struct Sent {
    /// When, by the scene's own clock.
    pub at: Instant,
    /// What.
    pub what: What,
}

/// The wire and what is wrong with it, each until an instant.
#[derive(Clone, Debug, Default)]
pub(super) struct Wire {
    silent: Option<Instant>,
    unplugged: Option<Instant>,
    frozen: Option<Instant>,
    crossed: Option<Instant>,
    paired: Option<Instant>,
    shown_g: f64,
    kept: Option<Shown>,
}

impl Wire {
    pub(super) fn silence(&mut self, until: Instant) {
        self.silent = Some(until);
    }

    pub(super) fn unplug(&mut self, until: Instant, now: Instant) -> Sent {
        self.unplugged = Some(until);
        Sent { at: now, what: What::Down }
    }

    pub(super) fn freeze(&mut self, until: Instant) {
        self.frozen = Some(until);
    }

    pub(super) fn cross(&mut self, until: Instant) {
        self.crossed = Some(until);
    }

    pub(super) fn pair(&mut self, until: Instant) {
        self.paired = Some(until);
    }

    /// The cable is put in again when it is time.
    pub(super) fn turn(&mut self, now: Instant) -> Option<Sent> {
        let over = self.unplugged.is_some_and(|until| until <= now);
        over.then(|| {
            self.unplugged = None;
            Sent { at: now, what: What::Up }
        })
    }

    /// A reading that has come to the end of the wire.
    pub(super) fn carry(&mut self, shown: Shown, model: &ScaleModel) -> Vec<Sent> {
        let on = |until: Option<Instant>| until.is_some_and(|until| shown.arrives_at < until);
        if !on(self.frozen) {
            self.shown_g = shown.mass_g;
        }
        if on(self.silent) || self.unplugged.is_some() {
            return Vec::new();
        }
        let shown = Shown { mass_g: self.shown_g, ..shown };
        let (crossed, paired) = (on(self.crossed), on(self.paired));
        let Some(kept) = self.kept.take() else {
            if crossed || paired {
                self.kept = Some(shown);
                return Vec::new();
            }
            return vec![line(shown.mass_g, shown.arrives_at, model)];
        };
        let (first_g, second_g) =
            if crossed { (shown.mass_g, kept.mass_g) } else { (kept.mass_g, shown.mass_g) };
        let at = shown.arrives_at;
        vec![
            line(first_g, if paired { at } else { at - Duration::from_millis(30) }, model),
            line(second_g, at, model),
        ]
    }
}

fn line(g: f64, at: Instant, model: &ScaleModel) -> Sent {
    let places = usize::from(model.step_g < 1.0 || model.step_g.fract() != 0.0);
    Sent { at, what: What::Line(format!("{g:.places$} g\r\n")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(i: u64) -> Shown {
        let at = Instant::from_us(i * 100_000);
        Shown { arrives_at: at, taken_at: at, mass_g: i as f64 }
    }

    /// What arrives of ten readings, as (tenths of a second, grams).
    fn through(spoil: impl Fn(&mut Wire)) -> Vec<(f64, String)> {
        let mut wire = Wire::default();
        spoil(&mut wire);
        let sent = (0..10).flat_map(|i| wire.carry(shown(i), &ScaleModel::middling()));
        let line = |s: Sent| match s.what {
            What::Line(text) => (s.at.seconds() * 10.0, text.trim().to_owned()),
            What::Up | What::Down => (-1.0, String::new()),
        };
        sent.map(line).collect()
    }

    fn said(grams: &[f64]) -> Vec<String> {
        grams.iter().map(|g| format!("{g:.1} g")).collect()
    }

    fn texts(all: &[(f64, String)]) -> Vec<String> {
        all.iter().map(|(_, text)| text.clone()).collect()
    }

    const HALF: Instant = Instant::from_us(450_000);

    #[test]
    fn a_sound_wire_carries_every_reading_at_its_time() {
        let all = through(|_| {});
        assert_eq!(texts(&all), said(&[0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0]));
        assert!(all.iter().zip(0..).all(|((at, _), i)| (at - f64::from(i)).abs() < 1e-9));
    }

    #[test]
    fn a_silent_wire_loses_readings_and_a_frozen_display_repeats_one() {
        assert_eq!(texts(&through(|w| w.silence(HALF))), said(&[5.0, 6.0, 7.0, 8.0, 9.0]));
        let frozen = through(|w| {
            w.carry(shown(3), &ScaleModel::middling());
            w.freeze(HALF);
        });
        assert_eq!(texts(&frozen), said(&[3.0, 3.0, 3.0, 3.0, 3.0, 5.0, 6.0, 7.0, 8.0, 9.0]));
    }

    #[test]
    fn readings_change_places_or_come_at_one_moment_and_none_is_lost() {
        let crossed = through(|w| w.cross(HALF));
        assert_eq!(texts(&crossed), said(&[1.0, 0.0, 3.0, 2.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0]));
        assert!(crossed.windows(2).all(|w| w[0].0 < w[1].0), "{crossed:?}");
        let paired = through(|w| w.pair(HALF));
        assert_eq!(texts(&paired), said(&[0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0]));
        assert_eq!(paired.windows(2).filter(|w| w[0].0 == w[1].0).count(), 2);
    }

    #[test]
    fn a_cable_that_is_out_carries_nothing_and_says_when_it_is_in_again() {
        let mut wire = Wire::default();
        assert_eq!(wire.unplug(HALF, Instant::START).what, What::Down);
        assert!(wire.carry(shown(1), &ScaleModel::middling()).is_empty());
        assert_eq!(wire.turn(Instant::from_us(440_000)), None);
        assert_eq!(wire.turn(HALF), Some(Sent { at: HALF, what: What::Up }));
        assert_eq!(wire.carry(shown(5), &ScaleModel::middling()).len(), 1);
    }
}
