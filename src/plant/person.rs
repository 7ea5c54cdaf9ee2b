//! The pouring hand: how long from hearing to tilting, how long the tilt takes, what drips after.
//!
//! All numbers are working values for simulation, not measurements of anyone.

use super::chance::Chance;
use crate::time::Instant;

/// How a person stops.
#[derive(Clone, Debug, PartialEq)]
pub struct Person {
    /// Centre of the normal part of the time from sound to tilt, seconds.
    pub mu_s: f64,
    /// Spread of the normal part, seconds.
    pub sigma_s: f64,
    /// Mean of the slow tail, seconds; the mean time is `mu_s + tau_s`.
    pub tau_s: f64,
    /// Mean time to tilt the jug back, seconds.
    pub tilt_s: f64,
    /// Coefficient of variation of `tilt_s`.
    pub tilt_cv: f64,
    /// Mean mass that drips after the tilt, grams.
    pub drip_g: f64,
    /// Coefficient of variation of `drip_g`.
    pub drip_cv: f64,
    /// Time constant of the dripping, seconds.
    pub drip_s: f64,
    /// Step of the slow walk of `mu_s` from piece to piece, seconds.
    pub drift_s: f64,
    /// Slows to half the flow over 1.5 s when told the target is near.
    pub eases: bool,
    /// Chance per stop of not attending, which adds 0.2 s to 0.6 s; 0 in the presets.
    pub lapse_p: f64,
    /// Chance per warning of stopping on the warning; 0 in the presets.
    pub false_start_p: f64,
    /// Reacts faster and more evenly to a stop 0.3 s to 1.0 s after a warning; off in the presets.
    pub warning_helps: bool,
    /// Keeps time with three even pips and stops on the fourth beat; off in the presets.
    pub keeps_time: bool,
}

/// Pips that a beat is taken from.
const BEATS: usize = 3;
/// A person who keeps time is early by this, mean and spread between people, s (Repp 2005, Repp and Su 2013, as quoted by
/// others: 20 to 80 ms early at a moderate tempo); the mean is taken for everybody here.
const EARLY_S: f64 = 0.040;
/// Its spread: 18 ms and 4.5 % of the beat (from memory of work on tapping; a heavy jug is another thing).
const BEAT_SPREAD: (f64, f64) = (0.018, 0.045);
/// Misses the beat and waits for the tone so often (a guess).
const WAITS_P: f64 = 0.05;

impl Person {
    fn reacting(mu_ms: f64, sigma_ms: f64, tau_ms: f64) -> Self {
        Self {
            mu_s: mu_ms / 1e3,
            sigma_s: sigma_ms / 1e3,
            tau_s: tau_ms / 1e3,
            // Tilting 10 to 20 degrees under load takes 150 ms to 250 ms: from memory, no source.
            tilt_s: 0.2,
            tilt_cv: 0.15,
            // Creamy slop drips 0.1 g to 0.6 g: a guess, to be measured with each jug.
            drip_g: 0.3,
            drip_cv: 0.4,
            drip_s: 0.2,
            drift_s: 0.005,
            eases: false,
            lapse_p: 0.0,
            false_start_p: 0.0,
            warning_helps: false,
            keeps_time: false,
        }
    }

    /// Practised and attentive: 176 ms mean, 28 ms spread.
    pub fn good() -> Self {
        Self::reacting(154.0, 18.0, 22.0)
    }

    /// Typical: 210 ms mean, 45 ms spread. The mean lies by the 231 ms to a light of Woods et al.,
    /// Front. Hum. Neurosci. 9:131 (2015), less the usual gain of sound over light.
    pub fn typical() -> Self {
        Self::reacting(170.0, 20.0, 40.0)
    }

    /// Slow or busy: 250 ms mean, 65 ms spread.
    pub fn novice() -> Self {
        Self::reacting(190.0, 25.0, 60.0)
    }

    /// The same person, slower by `ms` milliseconds (faster when negative).
    pub fn shifted(mut self, ms: f64) -> Self {
        self.mu_s += ms / 1e3;
        self
    }

    /// Mean seconds from sound to tilt, lapses left out.
    pub fn mean_reaction_s(&self) -> f64 {
        self.mu_s + self.tau_s
    }

    /// After these pips: when the hand begins to tilt, if it keeps time with them. The beat to come is taken half from the
    /// last one and half from their mean (work on changing tempo, from memory).
    pub(super) fn on_the_beat(&self, chance: &mut Chance, pips: &[Instant]) -> Option<Instant> {
        let &[first, before, last] = pips.get(pips.len().checked_sub(BEATS)?..)? else { return None };
        if !self.keeps_time {
            return None;
        }
        let beat_s = 0.5 * last.seconds_from(before) + 0.25 * last.seconds_from(first);
        let (spread_s, share) = BEAT_SPREAD;
        let off_s = spread_s.hypot(share * beat_s) * chance.normal() - EARLY_S;
        (!chance.happens(WAITS_P)).then(|| last.offset_seconds(beat_s + off_s))
    }

    /// Seconds from a stop to the tilt. Takes the same number of draws whatever the options are.
    pub(super) fn reaction(&self, chance: &mut Chance, walked_s: f64, warned: bool) -> f64 {
        // What a warning gives: tail x 0.55, spread x 0.9, 10 ms sooner; from memory, no source.
        let (sooner, even, tail) =
            if warned && self.warning_helps { (0.010, 0.9, 0.55) } else { (0.0, 1.0, 1.0) };
        let normal = self.mu_s + walked_s - sooner + self.sigma_s * even * chance.normal();
        let slow = chance.exponential(self.tau_s * tail);
        let lapses = chance.happens(self.lapse_p);
        let lapse = chance.between(0.2, 0.6);
        (normal + slow + if lapses { lapse } else { 0.0 }).max(0.0)
    }
}
