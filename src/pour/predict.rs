//! Where the pour is now and where it will be: mass that has left the jug, its flow,
//! and the scale's lag, in one Kalman filter.
//!
//! The pan of a steadily filling pot already shows what has left the jug: the impact
//! of the falling stream equals the weight of the slop still in the air (derived from
//! momentum; see Shinder and Moldover, Flow Meas. Instrum. 2010, for the same weak
//! dependence in flow metrology). So there is no in-flight term here.

use crate::time::Instant;

const N: usize = 4;
/// Longest step of the model; far below any scale's lag.
const STEP_S: f64 = 0.01;
/// Relative wander of a hand's flow per square root of a second. A guess from a simulated
/// hand (12 % wander with 1.5 s memory gives 0.14); to be replaced by logged flows.
const WANDER: f64 = 0.14;
/// Absolute wander, g/s per square root of a second: lets the filter follow a trickle.
const WANDER_FLOOR: f64 = 0.4;
/// While a stream begins or ends its flow may change by about 8 g/s within 0.3 s:
/// 8 squared over 0.3 (derived from that ramp).
const TURN_PSD: f64 = 210.0;
/// The beginning lasts this long after the first slop (the ramp of the same hand).
const BEGIN_S: f64 = 0.45;
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
const TIMING_S: f64 = 0.02;
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
    /// What hands usually pour, mean and standard deviation, g/s.
    usual: (f64, f64),
}

impl Predictor {
    /// A filter for a stream that begins about `began` from `net_g` on the pan.
    pub(super) fn begin(
        net_g: f64,
        began: Instant,
        lag_s: f64,
        reading_sd_g: f64,
        usual: (f64, f64),
    ) -> Self {
        let mut covariance = [[0.0; N]; N];
        covariance[1][1] = 1.0;
        for i in [0, 2, 3] {
            covariance[i][i] = 0.25 * reading_sd_g * reading_sd_g;
        }
        Self {
            state: [net_g, 0.0, net_g, net_g],
            covariance,
            at: began,
            began,
            stopped_at: None,
            seen_at: began,
            believed_g: net_g,
            clipped_to: 0,
            residual: 0.0,
            shaking: 0.0,
            odd_since: None,
            // Two equal stages have the right first moment and come close to a moving average before a pole.
            stage_s: (lag_s / 2.0).max(0.02),
            variance: reading_sd_g * reading_sd_g,
            usual,
        }
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

    /// Takes a net reading that the scale took at `at`; false when it jumped as no slop does
    /// and was left out.
    pub(super) fn handle_net(&mut self, net_g: f64, at: Instant) -> bool {
        let since_s = at.seconds_from(std::mem::replace(&mut self.seen_at, at)).max(0.05);
        self.advance(at);
        let residual = net_g - self.state[3];
        self.shaken(residual);
        let limit = CLIP_SIGMAS * (self.covariance[3][3] + self.noise()).sqrt();
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
        let sigma = (self.covariance[3][3] + self.variance).sqrt();
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
        self.variance + self.shaking + (self.state[1] * TIMING_S).powi(2)
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
        self.state[1]
    }

    /// The lag of the scale as assumed, s.
    pub(super) fn lag_s(&self) -> f64 {
        2.0 * self.stage_s
    }

    /// Standard uncertainty of the mass out of the jug.
    pub(super) fn net_sd_g(&self) -> f64 {
        self.covariance[0][0].max(0.0).sqrt()
    }

    /// When mass plus `hand_s` of flow reaches the target; `None` while nothing runs.
    pub(super) fn stop_due(&self, target_g: f64, hand_s: f64) -> Option<Instant> {
        if self.state[1] < 0.3 {
            return None;
        }
        let flow = self.likely_flow_g_s();
        let wait_s = (target_g - self.state[0]) / flow - hand_s;
        (wait_s < 600.0).then(|| self.at.offset_seconds(wait_s))
    }

    /// The flow seen, weighed against what hands usually pour: the first readings of a stream
    /// say little, and a stop must not come of them alone.
    fn likely_flow_g_s(&self) -> f64 {
        let (usual, spread) = self.usual;
        let (seen, usual_var) = (self.covariance[1][1].max(0.0), spread * spread);
        (self.state[1] * usual_var + usual * seen) / (usual_var + seen)
    }

    fn advance(&mut self, to: Instant) {
        let mut left_s = to.seconds_from(self.at).clamp(0.0, 5.0);
        let mut since_begin_s = self.at.seconds_from(self.began);
        let ended_s = self.stopped_at.map(|t| self.at.seconds_from(t));
        while left_s > 1e-9 {
            let dt = left_s.min(STEP_S);
            let turning = since_begin_s < BEGIN_S || ended_s.is_some_and(|e| e + since_begin_s >= 0.0);
            let wander = (WANDER * self.state[1]).powi(2) + WANDER_FLOOR.powi(2);
            self.step(dt, if turning { TURN_PSD } else { wander });
            left_s -= dt;
            since_begin_s += dt;
        }
        if to > self.at {
            self.at = to;
        }
    }

    fn step(&mut self, dt: f64, flow_psd: f64) {
        let k = 1.0 - (-dt / self.stage_s).exp();
        let a: [Row; N] =
            [[1.0, dt, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [k, 0.0, 1.0 - k, 0.0], [0.0, 0.0, k, 1.0 - k]];
        self.state = times(&a, &self.state);
        let ap: [Row; N] = std::array::from_fn(|i| across(&a[i], |m, j| self.covariance[m][j]));
        self.covariance = std::array::from_fn(|i| across(&ap[i], |m, j| a[j][m]));
        self.covariance[0][0] += flow_psd * dt.powi(3) / 3.0;
        self.covariance[0][1] += flow_psd * dt * dt / 2.0;
        self.covariance[1][0] += flow_psd * dt * dt / 2.0;
        self.covariance[1][1] += flow_psd * dt;
    }

    fn update(&mut self, residual: f64) {
        let s = self.covariance[3][3] + self.noise();
        let gain: Row = std::array::from_fn(|i| self.covariance[i][3] / s);
        let seen = self.covariance[3];
        for (value, k) in self.state.iter_mut().zip(gain) {
            *value += k * residual;
        }
        for (row, k) in self.covariance.iter_mut().zip(gain) {
            for (value, c) in row.iter_mut().zip(seen) {
                *value -= k * c;
            }
        }
    }
}

/// A row times a matrix.
fn across(row: &Row, matrix: impl Fn(usize, usize) -> f64) -> Row {
    std::array::from_fn(|j| row.iter().enumerate().map(|(m, x)| x * matrix(m, j)).sum())
}

fn times(a: &[Row; N], x: &Row) -> Row {
    std::array::from_fn(|i| (0..N).map(|m| a[i][m] * x[m]).sum())
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
            let mut p = Predictor::begin(0.0, start, lag, 0.042, USUAL_G_S);
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
        let mut p = Predictor::begin(0.0, start, 0.3, 0.042, USUAL_G_S);
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
        let mut p = Predictor::begin(0.0, start, 0.3, 0.042, USUAL_G_S);
        for (i, net_g) in (1..).zip(DRIPS_THEN_A_FLOOD) {
            assert!(p.handle_net(net_g, start.offset_seconds(0.1 * f64::from(i))), "{net_g} g was left out");
        }
        assert!((p.flow_g_s() - 17.0).abs() < 3.0, "flow {}", p.flow_g_s());
    }
}
