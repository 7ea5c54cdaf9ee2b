//! Where the pour is now and where it will be: mass that has left the jug, its flow,
//! and the scale's lag, in one Kalman filter.
//!
//! The pan of a steadily filling pot already shows what has left the jug: the impact
//! of the falling stream equals the weight of the slop still in the air (derived from
//! momentum; see Shinder and Moldover, Flow Meas. Instrum. 2010, for the same weak
//! dependence in flow metrology). So there is no in-flight term here.

use super::cell::{Display, Spread, within};
use super::ease::Ease;
use super::foreseen::{Asked, Foreseen};
use super::turn::{self, Begin, TURN_PSD, Turn};
use super::uneven::Uneven;
use crate::time::Instant;

const N: usize = 6;
/// Mass out of the jug, the flow, what the flow returns to, and what the last of the scale's stages shows.
const MASS: usize = 0;
const FLOW: usize = 1;
const USUAL: usize = 2;
const SHOWN: usize = N - 1;
/// Three equal stages have the first two moments of a moving average, and of one before a pole of half its
/// length (derived: 1/3 of the lag squared each).
const STAGES: f64 = 3.0;
/// Steps of the model: half of a stage's time, within these, s (with a quarter of it, and with 0.01 s throughout, the figures of
/// the stop were the same to 0.01 g).
const STEP_S: (f64, f64) = (0.01, 0.05);
/// An innovation beyond this many standard deviations counts as if it lay there: one odd reading
/// moves the filter little (normal law: 1 in 1.7 million).
const CLIP_SIGMAS: f64 = 5.0;
/// A jump faster than this is no slop: a hand or the jug on the pot. Derived: a jug of slop gives up to
/// about 25 g/s (a guess), and one more half of it leaves room for splashes.
const JUMP_G_S: f64 = 40.0;
/// After this long it is no passing touch: what is shown then counts (a guess).
const ODD_LIMIT_S: f64 = 1.0;
/// Two residuals beyond so many standard deviations, to either side, are no slop (normal law: 1 in 10 000 pairs).
const SHAKEN_SIGMAS: f64 = 2.0;
/// From reading to reading this share of a shaking is still expected: gone in half a second (a guess).
const SHAKEN_KEPT: f64 = 0.7;
/// What hands pour from a jug into a mug, mean and standard deviation, g/s (common practice, no
/// source: 29 g in about four seconds, half or twice that now and then).
pub(super) const USUAL_G_S: (f64, f64) = (8.0, 3.0);
/// ... and to top one up: 1 to 5 g at a trickle (common practice, no source).
pub(super) const TRICKLE_G_S: (f64, f64) = (3.0, 2.0);
/// The flow is known once its standard deviation is under this share of it: then a moment
/// 1.3 s ahead is known to about a quarter of a second (derived).
const FLOW_KNOWN: f64 = 0.2;
/// Slower than this nothing runs, g/s: drips.
pub(super) const LEAST_FLOW_G_S: f64 = 0.3;

type Row = [f64; N];

/// Mass out of the jug (g), flow as it would be without easing off (g/s), the flow it returns to (g/s),
/// and three stages of the scale's lag (g).
#[derive(Clone, Debug)]
pub(super) struct Predictor {
    state: Row,
    covariance: [Row; N],
    at: Instant,
    display: Display,
    ease: Ease,
    /// How fast its flow changes as it begins or ends, g2/s3.
    turn_psd: f64,
    begins: Begin,
    /// From here on the flow may turn quickly for a while.
    began: Instant,
    warned_at: Option<Instant>,
    stopped_at: Option<Instant>,
    /// Latest reading, fed or not.
    seen_at: Instant,
    uneven: Uneven,
    /// The latest net fed.
    believed_g: f64,
    /// The side to which the latest residual was clipped, if it was.
    clipped_to: i8,
    /// The latest residual, and the variance that shaking adds to a reading's.
    residual: f64,
    shaking: f64,
    /// Readings have not been believed since.
    odd_since: Option<Instant>,
    /// Flow when the hand was warned.
    warned_g_s: Option<f64>,
    foreseen: Foreseen,
}

impl Predictor {
    /// A filter for a stream that begins about `began` from `net_g` on the pan; `usual` is what hands pour, mean and
    /// standard deviation, g/s.
    pub(super) fn begin(net_g: f64, began: Instant, display: Display, usual: (f64, f64), ease: Ease) -> Self {
        let mut covariance = [[0.0; N]; N];
        covariance[FLOW][FLOW] = 1.0;
        covariance[USUAL][USUAL] = usual.1 * usual.1;
        // Where in its step the display stood at first is not known: the same for mass and display.
        let stands = display.noise_g.powi(2) + display.rounding();
        for i in [MASS, 3, 4, SHOWN] {
            for j in [MASS, 3, 4, SHOWN] {
                covariance[i][j] = stands;
            }
            covariance[i][i] += 1e-4;
        }
        // What has run unseen shows in none of the stages yet.
        covariance[MASS][MASS] += (turn::began_sd_s(display.step_g) * usual.0).powi(2);
        Self {
            state: [net_g, 0.0, usual.0, net_g, net_g, net_g],
            covariance,
            at: began,
            display,
            ease,
            turn_psd: TURN_PSD,
            begins: Begin::OF_ANYBODY,
            began,
            warned_at: None,
            stopped_at: None,
            seen_at: began,
            uneven: Uneven::default(),
            believed_g: net_g,
            clipped_to: 0,
            residual: 0.0,
            shaking: 0.0,
            odd_since: None,
            warned_g_s: None,
            foreseen: Foreseen::default(),
        }
    }

    /// The same of a hand whose pours are known: its beginning is, too.
    pub(super) fn of_known_hand(mut self) -> Self {
        self.begins = Begin::OF_KNOWN_HAND;
        self
    }

    /// The same of a trickle: it begins and ends as quickly as a pour, at a lesser flow.
    pub(super) fn trickling(mut self) -> Self {
        self.turn_psd = TURN_PSD * (self.state[USUAL] / USUAL_G_S.0).powi(2);
        self
    }

    /// From here on the hand may ease off: it was told that the target is near.
    pub(super) fn expect_easing(&mut self, at: Instant) {
        self.warned_at = Some(at);
        self.warned_g_s = Some(self.state[FLOW]);
    }

    /// What share of its flow at the warning the hand pours now, if it was warned.
    pub(super) fn eased_to(&self) -> Option<f64> {
        let warned_g_s = self.warned_g_s.filter(|flow| *flow > 1.0)?;
        Some(self.flow_g_s() / warned_g_s)
    }

    /// From here on the hand is expected to stop.
    pub(super) fn expect_end(&mut self, at: Instant) {
        self.stopped_at = Some(at);
    }

    /// Slop goes on after all.
    pub(super) fn expect_more(&mut self, at: Instant) {
        self.stopped_at = None;
        self.began = at;
    }

    /// The link held the reading that comes next back for so long.
    pub(super) fn handle_held(&mut self, held_s: f64) {
        self.uneven.handle_held(held_s);
    }

    /// Takes a net reading that the scale took at `at`; false when it jumped as no slop does
    /// and was left out.
    pub(super) fn handle_net(&mut self, net_g: f64, at: Instant) -> bool {
        let since_s = at.seconds_from(std::mem::replace(&mut self.seen_at, at)).max(0.05);
        self.uneven.handle_reading(at);
        self.advance(at);
        let residual = net_g - self.state[SHOWN];
        self.shaken(residual);
        let variance = self.spread();
        let limit = CLIP_SIGMAS * (variance + self.display.rounding()).sqrt();
        let jump_g = limit + JUMP_G_S * since_s;
        // Against the reading before too: a filter that fell behind is no jump.
        if residual.abs() > jump_g && (net_g - self.believed_g).abs() > jump_g {
            let odd_s = at.seconds_from(*self.odd_since.get_or_insert(at));
            if odd_s < ODD_LIMIT_S {
                return false;
            }
            self.update(residual, variance);
        } else {
            let counted = self.clipped(residual, limit, at);
            self.update(counted, variance);
        }
        self.believed_g = net_g;
        self.odd_since = None;
        true
    }

    /// One odd reading counts little; a second one to the same side shows that the flow is turning.
    fn clipped(&mut self, residual: f64, limit: f64, at: Instant) -> f64 {
        let clipped = residual.clamp(-limit, limit);
        let side = if clipped == residual { 0 } else { clipped.signum() as i8 };
        let again = side != 0 && self.clipped_to == side;
        self.clipped_to = side;
        if again {
            (self.began, self.begins) = (at, Begin::OF_ANYBODY);
        }
        if again { residual } else { clipped }
    }

    /// Residuals that go to and fro are a shaken pan, not slop.
    fn shaken(&mut self, residual: f64) {
        let known = self.covariance[SHOWN][SHOWN] + self.display.noise_g.powi(2) + self.display.rounding();
        let before = std::mem::replace(&mut self.residual, residual);
        let least = SHAKEN_SIGMAS * known.sqrt();
        let to_and_fro = before * residual < 0.0 && before.abs().min(residual.abs()) > least;
        let calmer = SHAKEN_KEPT * self.shaking;
        self.shaking = if to_and_fro { calmer.max(residual * residual) } else { calmer };
    }

    /// How far the pan is shaken to either side, as seen of late.
    pub(super) fn shaking_g(&self) -> f64 {
        self.shaking.sqrt()
    }

    /// Variance of what comes before the display rounds it, g2.
    fn spread(&self) -> f64 {
        let late_g = self.flow_g_s() * self.uneven.sd_s();
        self.covariance[SHOWN][SHOWN] + self.display.noise_g.powi(2) + self.shaking + late_g * late_g
    }

    /// The flow is known well enough to say when the target will be reached.
    pub(super) fn flow_known(&self) -> bool {
        self.covariance[FLOW][FLOW].max(0.0).sqrt() < FLOW_KNOWN * self.state[FLOW]
    }

    /// Mass out of the jug at `at`, at the present flow.
    pub(super) fn net_g(&self, at: Instant) -> f64 {
        self.state[MASS] + self.flow_g_s().max(0.0) * at.seconds_from(self.at).max(0.0)
    }

    /// Present flow, g/s.
    pub(super) fn flow_g_s(&self) -> f64 {
        self.state[FLOW] * self.eased_s(self.warned_s())
    }

    /// The flow it returns to where the hand does not ease off, g/s.
    pub(super) fn steady_g_s(&self) -> f64 {
        self.state[USUAL]
    }

    /// The flow to which it returns, eased off as the hand does now, g/s: a young stream is known by this sooner than by
    /// its present flow.
    pub(super) fn coming_g_s(&self) -> f64 {
        self.state[USUAL] * self.eased_s(self.warned_s())
    }

    /// Standard uncertainty of that flow, g/s.
    pub(super) fn flow_sd_g_s(&self) -> f64 {
        self.covariance[FLOW][FLOW].max(0.0).sqrt()
    }

    /// The lag of the scale as assumed, s.
    pub(super) fn lag_s(&self) -> f64 {
        self.display.lag_s
    }

    /// Standard uncertainty of the mass out of the jug.
    pub(super) fn net_sd_g(&self) -> f64 {
        self.covariance[MASS][MASS].max(0.0).sqrt()
    }

    /// Seconds since the hand was warned.
    fn warned_s(&self) -> f64 {
        self.warned_at.map_or(f64::NEG_INFINITY, |t| self.at.seconds_from(t))
    }

    fn eased_s(&self, warned_s: f64) -> f64 {
        self.ease.left_after(warned_s)
    }

    /// When the target is reached less `hand_s`, the flow returning to its usual value and the hand easing off as it
    /// does; `None` while nothing runs.
    pub(super) fn stop_due(&self, target_g: f64, hand_s: f64) -> Option<Instant> {
        if self.flow_g_s() < LEAST_FLOW_G_S {
            return None;
        }
        let wait_s = self.reaches_s(target_g - self.state[MASS]) - hand_s;
        (wait_s < 600.0).then(|| self.at.offset_seconds(wait_s))
    }

    /// Seconds until so much more has left the jug.
    fn reaches_s(&self, need_g: f64) -> f64 {
        if need_g < 0.0 {
            return need_g / self.flow_g_s();
        }
        self.foreseen.after_s(self.asked(need_g))
    }

    fn asked(&self, need_g: f64) -> Asked {
        let (flow_g_s, usual_g_s) = (self.state[FLOW], self.state[USUAL].max(LEAST_FLOW_G_S));
        Asked { need_g, flow_g_s, usual_g_s, warned_s: self.warned_s(), ease: self.ease }
    }

    /// This target is asked for until the next reading.
    pub(super) fn foresee(&mut self, target_g: f64) {
        self.foreseen.keep(self.asked(target_g - self.state[MASS]));
    }

    fn advance(&mut self, to: Instant) {
        let from = self.at;
        let whole_s = to.seconds_from(from).clamp(0.0, 5.0);
        let began_s = from.seconds_from(self.began);
        let ended_s = self.stopped_at.map_or(f64::NEG_INFINITY, |t| from.seconds_from(t));
        let warned_s = self.warned_s();
        let stage_s = (self.display.lag_s / STAGES).max(STEP_S.0);
        let steps = (whole_s / (0.5 * stage_s).clamp(STEP_S.0, STEP_S.1)).ceil();
        let dt = whole_s / steps.max(1.0);
        let moved = 1.0 - (-dt / stage_s).exp();
        let mut keep = (f64::NAN, 1.0);
        for i in 0..steps as u32 {
            let middle_s = (f64::from(i) + 0.5) * dt;
            let turn = if ended_s + middle_s >= 0.0 {
                Turn::ending(self.turn_psd)
            } else if began_s + middle_s < self.begins.for_s {
                self.begins.turn(self.turn_psd)
            } else {
                Turn::wandering(self.state[USUAL].max(self.state[FLOW]))
            };
            let eased = self.eased_s(warned_s + middle_s);
            if keep.0 != turn.memory_s {
                keep = (turn.memory_s, (-dt / turn.memory_s).exp());
            }
            self.step(dt, (moved, keep.1), turn, eased);
        }
        self.at = self.at.max(to);
    }

    /// Each stage moves by the share `k`, the flow keeps the share `keep` of what it is off its usual value; of the
    /// flow `eased` leaves the jug.
    fn step(&mut self, dt: f64, (k, keep): (f64, f64), turn: Turn, eased: f64) {
        let through = if turn.memory_s.is_finite() { turn.memory_s * (1.0 - keep) } else { dt };
        let on = |[mass, flow, usual, a, b, c]: Row| -> Row {
            let m = mass + eased * (usual * (dt - through) + flow * through);
            let a1 = a + k * (0.5 * (mass + m) - a);
            let b1 = b + k * (0.5 * (a + a1) - b);
            let c1 = c + k * (0.5 * (b + b1) - c);
            [m, usual + (flow - usual) * keep, usual, a1, b1, c1]
        };
        // All columns side by side, as a processor takes two or more at once; then the rows, turned, in the same way.
        let on_columns = |rows: [Row; N]| -> [Row; N] {
            let mut moved = rows;
            for j in 0..N {
                let column = on(std::array::from_fn(|i| rows[i][j]));
                for i in 0..N {
                    moved[i][j] = column[i];
                }
            }
            moved
        };
        self.state = on(self.state);
        self.covariance = on_columns(turned(on_columns(turned(self.covariance))));
        self.covariance[MASS][MASS] += eased * eased * turn.psd * dt.powi(3) / 3.0;
        self.covariance[MASS][FLOW] += eased * turn.psd * dt * dt / 2.0;
        self.covariance[FLOW][MASS] += eased * turn.psd * dt * dt / 2.0;
        self.covariance[FLOW][FLOW] += turn.psd * dt;
    }

    /// A display says in which step the weight lies, no more; of this variance is what it rounds.
    fn update(&mut self, residual: f64, variance: f64) {
        let sd = variance.sqrt();
        let Spread { mean, variance: left } = within(residual / sd, self.display.step_g / sd);
        let gain: Row = std::array::from_fn(|i| self.covariance[i][SHOWN] / variance);
        let seen = self.covariance[SHOWN];
        for (value, k) in self.state.iter_mut().zip(gain) {
            *value += k * mean * sd;
        }
        for (row, k) in self.covariance.iter_mut().zip(gain) {
            for (value, c) in row.iter_mut().zip(seen) {
                *value -= k * c * (1.0 - left);
            }
        }
    }
}

/// Rows to columns.
fn turned(rows: [Row; N]) -> [Row; N] {
    std::array::from_fn(|i| std::array::from_fn(|j| rows[j][i]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A perfect stream through a scale with one pole: reading lags a ramp by exactly its time constant.
    fn shown(t: f64, flow: f64, lag: f64) -> f64 {
        if t <= 0.0 { 0.0 } else { flow * (t - lag * (1.0 - (-t / lag).exp())) }
    }

    fn begin(at: Instant, lag_s: f64) -> Predictor {
        let display = Display { step_g: 0.1, noise_g: 0.03, lag_s };
        Predictor::begin(0.0, at, display, USUAL_G_S, Ease::default())
    }

    #[test]
    fn a_steady_stream_through_a_lagging_scale_is_seen_without_the_lag() {
        for lag in [0.15, 0.3, 0.7] {
            let start = Instant::from_us(1_000_000);
            let mut p = begin(start, lag);
            for i in 1..=30 {
                let t = f64::from(i) * 0.1;
                p.handle_net(shown(t, 8.0, lag), start.offset_seconds(t));
            }
            // One pole has a longer tail than the filter's three stages: at 0.7 s its start still shows after 3 s.
            assert!((p.flow_g_s() - 8.0).abs() < 0.6, "lag {lag}: flow {}", p.flow_g_s());
            assert!((p.net_g(p.at) - 24.0).abs() < 0.5, "lag {lag}: net {}", p.net_g(p.at));
        }
    }

    #[test]
    fn the_stop_is_due_one_hand_time_of_flow_before_the_target() {
        let start = Instant::from_us(0);
        let mut p = begin(start, 0.3);
        for i in 1..=25 {
            let t = f64::from(i) * 0.1;
            p.handle_net(shown(t, 8.0, 0.3), start.offset_seconds(t));
        }
        let due = p.stop_due(29.0, 0.3).expect("a stream is running");
        assert!((due.seconds() - (29.0 / 8.0 - 0.3)).abs() < 0.12, "due at {} s", due.seconds());
    }

    /// Net grams every 0.1 s that a simulated scale with a lag of 0.7 s showed of drips and a quick hand.
    const DRIPS_THEN_A_FLOOD: [f64; 27] = [
        0.08, 0.08, 0.18, 0.18, 0.18, 0.18, 0.18, 0.18, 0.28, 0.48, 0.88, 1.48, 2.38, 3.48, 4.68, 6.08, 7.78,
        9.38, 11.08, 12.58, 14.28, 15.68, 17.48, 18.98, 20.68, 22.38, 24.18,
    ];

    #[test]
    fn a_filter_that_fell_behind_a_quick_hand_does_not_take_its_slop_for_a_jump() {
        let start = Instant::from_us(1_000_000);
        let mut p = begin(start, 0.3);
        for (i, net_g) in (1..).zip(DRIPS_THEN_A_FLOOD) {
            assert!(p.handle_net(net_g, start.offset_seconds(0.1 * f64::from(i))), "{net_g} g was left out");
        }
        assert!((p.flow_g_s() - 17.0).abs() < 3.0, "flow {}", p.flow_g_s());
    }
}
