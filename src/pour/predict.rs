//! Where the pour is now and where it will be: mass that has left the jug, its flow,
//! and the scale's lag, in one Kalman filter.
//!
//! The pan of a steadily filling pot already shows what has left the jug: the impact
//! of the falling stream equals the weight of the slop still in the air (derived from
//! momentum; see Shinder and Moldover, Flow Meas. Instrum. 2010, for the same weak
//! dependence in flow metrology). So there is no in-flight term here.

use crate::time::Instant;

const N: usize = 6;
/// Mass, flow, the flow it returns to, and the scale's stages; the last one is shown.
const MASS: usize = 0;
const FLOW: usize = 1;
const USUAL: usize = 2;
const SHOWN: usize = N - 1;
/// Memory.
static MEMORY_S: std::sync::LazyLock<f64> = std::sync::LazyLock::new(|| std::env::var("MEMORY_S").map_or(1.5, |v| v.parse().unwrap()));
/// Longest step of the model; far below any scale's lag.
const STEP_S: f64 = 0.01;
/// Relative wander of a hand's flow per square root of a second. A guess from a simulated
/// hand (12 % wander with 1.5 s memory gives 0.14); to be replaced by logged flows.
static WANDER: std::sync::LazyLock<f64> = std::sync::LazyLock::new(|| std::env::var("WANDER").map_or(0.14, |v| v.parse().unwrap()));
/// Absolute wander, g/s per square root of a second: lets the filter follow a trickle.
static WANDER_FLOOR: std::sync::LazyLock<f64> = std::sync::LazyLock::new(|| std::env::var("WANDER_FLOOR").map_or(0.4, |v| v.parse().unwrap()));
/// While a stream begins or ends its flow may change by about 8 g/s within 0.3 s:
/// 8 squared over 0.3 (derived from that ramp).
static TURN_PSD: std::sync::LazyLock<f64> = std::sync::LazyLock::new(|| std::env::var("TURN_PSD").map_or(210.0, |v| v.parse().unwrap()));
/// The beginning lasts this long after the first slop (the ramp of the same hand).
static BEGIN_S: std::sync::LazyLock<f64> = std::sync::LazyLock::new(|| std::env::var("BEGIN_S").map_or(0.45, |v| v.parse().unwrap()));
static RAMP_S: std::sync::LazyLock<f64> = std::sync::LazyLock::new(|| std::env::var("RAMP_S").map_or(0.15, |v| v.parse().unwrap()));
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
/// How well it is known when a reading was taken, s: a scale's own clock and what is left of the link's
/// unevenness (the best of 0.01, 0.02 and 0.03 on simulated links).
static TIMING_S: std::sync::LazyLock<f64> = std::sync::LazyLock::new(|| std::env::var("TIMING_S").map_or(0.02, |v| v.parse().unwrap()));
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

static EASE_FROM: std::sync::LazyLock<f64> = std::sync::LazyLock::new(|| std::env::var("EASE_FROM").map_or(0.2, |v| v.parse().unwrap()));
static EASE_FOR: std::sync::LazyLock<f64> = std::sync::LazyLock::new(|| std::env::var("EASE_FOR").map_or(1.5, |v| v.parse().unwrap()));
static EASE_B: std::sync::LazyLock<f64> = std::sync::LazyLock::new(|| std::env::var("EASE_B").map_or(0.3, |v| v.parse().unwrap()));
static EASE_MEM: std::sync::LazyLock<f64> = std::sync::LazyLock::new(|| std::env::var("EASE_MEM").map_or(0.5, |v| v.parse().unwrap()));
type Row = [f64; N];

/// Mass out of the jug [g], flow [g/s], and two lag stages of the scale [g].
#[derive(Clone, Debug)]
pub(super) struct Predictor {
    state: Row,
    covariance: [Row; N],
    at: Instant,
    /// From here on the flow may turn quickly for a while.
    began: Instant,
    stopped_at: Option<Instant>,
    warned_at: Option<Instant>,
    pub(super) ease: f64,
    pub(super) warned_flow: f64,
    /// Latest reading, fed or not.
    seen_at: Instant,
    /// The latest net fed.
    believed_g: f64,
    /// The side to which the latest residual was clipped, if it was.
    clipped_to: i8,
    /// The latest residual, and the variance that shaking adds to a reading's.
    residual: f64,
    shaking: f64,
    /// Readings have not been believed since.
    odd_since: Option<Instant>,
    stage_s: f64,
    variance: f64,
    step_g: f64,
    /// What hands usually pour, mean and standard deviation, g/s.
    usual: (f64, f64),
}

impl Predictor {
    /// A filter for a stream that begins about `began` from `net_g` on the pan.
    pub(super) fn begin(
        net_g: f64,
        began: Instant,
        lag_s: f64,
        (step_g, noise_g): (f64, f64),
        usual: (f64, f64),
    ) -> Self {
        let reading_sd_g = noise_g.hypot(step_g / 12_f64.sqrt());
        let mut covariance = [[0.0; N]; N];
        covariance[FLOW][FLOW] = 1.0;
        covariance[USUAL][USUAL] = usual.1 * usual.1;
        for i in [0, 3, 4, 5] {
            for j in [0, 3, 4, 5] {
                covariance[i][j] = reading_sd_g * reading_sd_g;
            }
            covariance[i][i] += 1e-4;
        }
        Self {
            state: [net_g, 0.0, usual.0, net_g, net_g, net_g],
            covariance,
            at: began,
            began,
            stopped_at: None,
            warned_at: None,
            ease: 1.0,
            warned_flow: 0.0,
            seen_at: began,
            believed_g: net_g,
            clipped_to: 0,
            residual: 0.0,
            shaking: 0.0,
            odd_since: None,
            // Two equal stages have the right first moment and come close to a moving average before a pole.
            stage_s: (lag_s / 3.0).max(0.01),
            variance: noise_g * noise_g,
            step_g,
            usual,
        }
    }

    /// From here on the hand is expected to stop.
    pub(super) fn expect_end(&mut self, at: Instant) {
        self.stopped_at = Some(at);
    }

    /// From here on the hand may ease off.
    pub(super) fn expect_easing(&mut self, at: Instant) {
        self.warned_at = Some(at);
        self.warned_flow = self.state[FLOW];
    }

    /// Share of its flow that is left so long after the hand was warned.
    fn eased(&self, warned_s: f64) -> f64 {
        1.0 - (1.0 - self.ease) * ((warned_s - *EASE_FROM) / *EASE_FOR).clamp(0.0, 1.0)
    }

    /// Slop goes on after all.
    pub(super) fn expect_more(&mut self, at: Instant) {
        self.stopped_at = None;
        self.began = at;
    }

    /// Takes a net reading that the scale took at `at`; false when it jumped as no slop does
    /// and was left out.
    pub(super) fn handle_net(&mut self, net_g: f64, at: Instant) -> bool {
        let since_s = at.seconds_from(std::mem::replace(&mut self.seen_at, at)).max(0.05);
        self.advance(at);
        let residual = net_g - self.state[SHOWN];
        self.shaken(residual);
        let limit = CLIP_SIGMAS * (self.covariance[SHOWN][SHOWN] + self.noise() + self.step_g.powi(2) / 12.0).sqrt();
        let jump_g = limit + JUMP_G_S * since_s;
        // Against the reading before too: a filter that fell behind is no jump.
        if residual.abs() > jump_g && (net_g - self.believed_g).abs() > jump_g {
            let odd_s = at.seconds_from(*self.odd_since.get_or_insert(at));
            if odd_s < ODD_LIMIT_S {
                return false;
            }
            self.update(residual);
        } else {
            let counted = self.clipped(residual, limit, at);
            self.update(counted);
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
            self.began = at;
        }
        if again { residual } else { clipped }
    }

    /// Residuals that go to and fro are a shaken pan, not slop.
    fn shaken(&mut self, residual: f64) {
        let sigma = (self.covariance[SHOWN][SHOWN] + self.variance + self.step_g.powi(2) / 12.0).sqrt();
        let before = std::mem::replace(&mut self.residual, residual);
        let to_and_fro = before * residual < 0.0 && before.abs().min(residual.abs()) > SHAKEN_SIGMAS * sigma;
        let calmer = SHAKEN_KEPT * self.shaking;
        self.shaking = if to_and_fro { calmer.max(residual * residual) } else { calmer };
    }

    /// How far the pan is shaken to either side, as seen of late.
    pub(super) fn shaking_g(&self) -> f64 {
        self.shaking.sqrt()
    }

    fn noise(&self) -> f64 {
        self.variance + self.shaking + (self.state[1] * (*TIMING_S)).powi(2)
    }

    /// The flow is known well enough to say when the target will be reached.
    pub(super) fn flow_known(&self) -> bool {
        self.covariance[1][1].max(0.0).sqrt() < FLOW_KNOWN * self.state[1]
    }

    /// Mass out of the jug at `at`, at the present flow.
    pub(super) fn net_g(&self, at: Instant) -> f64 {
        self.state[0] + self.state[1].max(0.0) * at.seconds_from(self.at).max(0.0)
    }

    /// Present flow, g/s.
    pub(super) fn flow_g_s(&self) -> f64 {
        self.state[1] * self.eased(self.warned_at.map_or(f64::NEG_INFINITY, |t| self.at.seconds_from(t)))
    }

    /// The lag of the scale as assumed, s.
    pub(super) fn lag_s(&self) -> f64 {
        3.0 * self.stage_s
    }

    /// Standard uncertainty of the mass out of the jug.
    pub(super) fn net_sd_g(&self) -> f64 {
        self.covariance[0][0].max(0.0).sqrt()
    }

    /// When mass plus `hand_s` of flow reaches the target; `None` while nothing runs.
    pub(super) fn stop_due(&self, target_g: f64, hand_s: f64) -> Option<Instant> {
        if self.state[FLOW] < 0.3 {
            return None;
        }
        let need = target_g - self.state[MASS];
        let (mut f, b) = (self.state[FLOW], self.state[USUAL].max(0.3));
        let warned_s = self.warned_at.map_or(f64::NEG_INFINITY, |t| self.at.seconds_from(t));
        let mut t = 0.0;
        let mut m = 0.0;
        let dt = 0.05;
        let keep = (-dt / (*MEMORY_S)).exp();
        if need < 0.0 {
            t = need / (f * self.eased(warned_s));
        } else {
            loop {
                let next = b + (f - b) * keep;
                let rate = (0.5 * (f + next) * self.eased(warned_s + t + 0.5 * dt)).max(0.1);
                if m + rate * dt >= need || t > 3.0 {
                    t += (need - m) / rate;
                    break;
                }
                m += rate * dt;
                t += dt;
                f = next;
            }
        }
        let wait_s = t - hand_s;
        (wait_s < 600.0).then(|| self.at.offset_seconds(wait_s))
    }

    fn advance(&mut self, to: Instant) {
        let from = self.at;
        let whole_s = to.seconds_from(from).clamp(0.0, 5.0);
        let since = |t: Option<Instant>| t.map_or(f64::NEG_INFINITY, |t| from.seconds_from(t));
        let (began_s, ended_s, warned_s) = (since(Some(self.began)), since(self.stopped_at), since(self.warned_at));
        let mut gone_s = 0.0;
        while whole_s - gone_s > 1e-9 {
            let dt = (whole_s - gone_s).min(STEP_S);
            let wander = ((*WANDER) * self.state[USUAL].max(self.state[FLOW])).powi(2) + (*WANDER_FLOOR).powi(2);
            let (psd, memory_s) = if ended_s + gone_s >= 0.0 {
                ((*TURN_PSD), 1e9)
            } else if began_s + gone_s < (*BEGIN_S) {
                ((*TURN_PSD), (*RAMP_S))
            } else {
                (wander, (*MEMORY_S))
            };
            let eased = self.eased(warned_s + gone_s + 0.5 * dt);
            self.step(dt, psd, memory_s, eased);
            gone_s += dt;
        }
        self.at = self.at.max(to);
    }

    fn step(&mut self, dt: f64, flow_psd: f64, memory_s: f64, eased: f64) {
        let k = 1.0 - (-dt / self.stage_s).exp();
        let keep = (-dt / memory_s).exp();
        let through = if memory_s > 1e6 { dt } else { memory_s * (1.0 - keep) };
        let on = |v: &mut Row| {
            let [mass, flow, usual, a, b, c] = *v;
            let m = mass + eased * (usual * (dt - through) + flow * through);
            let a1 = a + k * (0.5 * (mass + m) - a);
            let b1 = b + k * (0.5 * (a + a1) - b);
            let c1 = c + k * (0.5 * (b + b1) - c);
            *v = [m, usual + (flow - usual) * keep, usual, a1, b1, c1];
        };
        on(&mut self.state);
        self.covariance.iter_mut().for_each(on);
        for j in 0..N {
            let mut column: Row = std::array::from_fn(|i| self.covariance[i][j]);
            on(&mut column);
            for (row, value) in self.covariance.iter_mut().zip(column) {
                row[j] = value;
            }
        }
        self.covariance[0][0] += eased * eased * flow_psd * dt.powi(3) / 3.0;
        self.covariance[0][1] += eased * flow_psd * dt * dt / 2.0;
        self.covariance[1][0] += eased * flow_psd * dt * dt / 2.0;
        self.covariance[1][1] += flow_psd * dt;
    }

    /// A display says in which cell the value lies, no more: the values the filter holds likely, cut to that cell
    /// (the Gaussian fit of Curry, Estimation and Control with Quantized Measurements, 1970, from memory).
    fn update(&mut self, residual: f64) {
        let variance = self.covariance[SHOWN][SHOWN] + self.noise();
        let sd = variance.sqrt();
        let half = 0.5 * self.step_g / sd;
        let z = residual / sd;
        let (mean, left) = if half > 0.25 && z.abs() < 3.0 + half {
            cut(z - half, z + half)
        } else {
            let rounding = half * half / 3.0;
            (z / (1.0 + rounding), rounding / (1.0 + rounding))
        };
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

/// Mean and variance of a standard normal value known to lie from `low` to `high`.
fn cut(low: f64, high: f64) -> (f64, f64) {
    let density = |z: f64| (-0.5 * z * z).exp() * 0.398_942_280_401_432_7;
    let below = |z: f64| 0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2);
    let inside = if low > 0.0 { below(-low) - below(-high) } else { below(high) - below(low) };
    if inside < 1e-6 {
        let mid = 0.5 * (low + high);
        return (mid, (high - low).powi(2) / 12.0);
    }
    let mean = (density(low) - density(high)) / inside;
    let square = 1.0 + (low * density(low) - high * density(high)) / inside;
    (mean, (square - mean * mean).clamp(1e-6, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A perfect stream through a scale with one pole: reading lags a ramp by exactly its time constant.
    fn shown(t: f64, flow: f64, lag: f64) -> f64 {
        if t <= 0.0 { 0.0 } else { flow * (t - lag * (1.0 - (-t / lag).exp())) }
    }

    #[test]
    fn a_steady_stream_through_a_lagging_scale_is_seen_without_the_lag() {
        for lag in [0.15, 0.3, 0.7] {
            let start = Instant::from_us(1_000_000);
            let mut p = Predictor::begin(0.0, start, lag, (0.1, 0.03), USUAL_G_S);
            for i in 1..=30 {
                let t = f64::from(i) * 0.1;
                p.handle_net(shown(t, 8.0, lag), start.offset_seconds(t));
            }
            assert!((p.flow_g_s() - 8.0).abs() < 0.4, "lag {lag}: flow {}", p.flow_g_s());
            assert!((p.net_g(p.at) - 24.0).abs() < 0.5, "lag {lag}: net {}", p.net_g(p.at));
        }
    }

    #[test]
    fn the_stop_is_due_one_hand_time_of_flow_before_the_target() {
        let start = Instant::from_us(0);
        let mut p = Predictor::begin(0.0, start, 0.3, (0.1, 0.03), USUAL_G_S);
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
        let mut p = Predictor::begin(0.0, start, 0.3, (0.1, 0.03), USUAL_G_S);
        for (i, net_g) in (1..).zip(DRIPS_THEN_A_FLOOD) {
            assert!(p.handle_net(net_g, start.offset_seconds(0.1 * f64::from(i))), "{net_g} g was left out");
        }
        assert!((p.flow_g_s() - 17.0).abs() < 3.0, "flow {}", p.flow_g_s());
    }
}
