//! How a flow changes: as it begins, while it wanders, and as it ends; and how well it is known when it began.

/// Relative wander of a hand's flow per square root of a second, and how long it remembers where it was, s. Guesses
/// from a simulated hand (12 % wander with 1.5 s memory gives 0.14); to be replaced by logged flows.
pub(super) const WANDER: f64 = 0.14;
pub(super) const MEMORY_S: f64 = 1.5;
/// Absolute wander, g/s per square root of a second: lets the filter follow a trickle.
const WANDER_FLOOR: f64 = 0.4;
/// While a stream begins or ends its flow may change by about 8 g/s within 0.3 s:
/// 8 squared over 0.3 (derived from that ramp).
pub(super) const TURN_PSD: f64 = 210.0;
/// The beginning takes the flow to its usual value within about this time (half the ramp of the same hand).
pub(super) const RAMP_S: f64 = 0.15;
/// When the first slop left the jug is known to about this, s: half of a usual scale's time between readings ...
const BEGAN_SD_S: f64 = 0.05;
/// ... and a coarse display hides it for longer, s for each gram of its step: a usual flow takes 0.125 s to fill one
/// (derived; a little less was best on simulated hands).
const BEGAN_SD_S_PER_G: f64 = 0.1;

/// How the flow changes: it wanders, and goes to its usual value within about this time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turn {
    /// Of the wander, g2/s3.
    pub(super) psd: f64,
    pub(super) memory_s: f64,
}

/// How a stream begins: for so long after its first slop, s, and known but for this share of a turn.
#[derive(Clone, Copy, Debug)]
pub(super) struct Begin {
    pub(super) for_s: f64,
    share: f64,
}

impl Begin {
    /// Of a hand nobody knows: by half longer than the ramp of that hand (best on simulated hands).
    pub(super) const OF_ANYBODY: Self = Self { for_s: 0.45, share: 1.0 };
    /// Of one whose pours are known: as long as that ramp (the share is the best on simulated hands).
    pub(super) const OF_KNOWN_HAND: Self = Self { for_s: 0.3, share: 0.25 };

    /// `psd` is how fast its flow may turn, g2/s3.
    pub(super) fn turn(self, psd: f64) -> Turn {
        Turn { psd: self.share * psd, memory_s: RAMP_S }
    }
}

impl Turn {
    /// Of one that runs at this flow, g/s.
    pub(super) fn wandering(flow_g_s: f64) -> Self {
        Self { psd: (WANDER * flow_g_s).powi(2) + WANDER_FLOOR.powi(2), memory_s: MEMORY_S }
    }

    /// Of one whose hand was told to stop.
    pub(super) fn ending(psd: f64) -> Self {
        Self { psd, memory_s: f64::INFINITY }
    }
}

/// Standard uncertainty of when the first slop left the jug, s, on a display of this step.
pub(super) fn began_sd_s(step_g: f64) -> f64 {
    BEGAN_SD_S.hypot(BEGAN_SD_S_PER_G * step_g)
}
