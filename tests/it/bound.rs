//! How close a stop could come at all: the kept figures against a linear filter that is told everything.
//!
//! Source: Kalman, J. Basic Eng. 82 (1960) 35 to 45 (from memory): of linear estimators of a linear system none has a smaller
//! error than his, and its covariance needs no measurement, so that it is reckoned here without playing a pour. The filter
//! is told the scale's moving average and pole as they are, when each reading was taken, how the flow wanders, and how the
//! potter's flows differ; a step of the display counts as noise of its own variance. What it can't know is what the hand
//! does after the tone, and how the flow wanders then: that is taken from the kept figures of the caller who knows all.

use super::stop::kept_of;
use tarebell::plant::{Person, ScaleModel, Table};

/// The model's step, s, and how long a pour of 29 g at 8 g/s has run when its stop is due.
const STEP_S: f64 = 0.02;
const POURED_S: f64 = 3.3;
const FLOW_G_S: f64 = 8.0;

type Matrix = Vec<Vec<f64>>;

/// Mass out of the jug, flow, what it returns to, the mass of so many steps before, and what the pole shows.
struct Model {
    states: usize,
    moves: Matrix,
    noise: f64,
}

impl Model {
    fn of(scale: &ScaleModel, table: &Table, wander: f64) -> Self {
        let taps = (scale.ma_s / STEP_S).round().max(1.0) as usize;
        let states = 4 + taps;
        let mut moves = vec![vec![0.0; states]; states];
        let keep = (-STEP_S / table.memory_s).exp();
        moves[0][0] = 1.0;
        moves[0][1] = STEP_S;
        (moves[1][1], moves[1][2], moves[2][2]) = (keep, 1.0 - keep, 1.0);
        for tap in 0..taps {
            moves[3 + tap][if tap == 0 { 0 } else { 2 + tap }] = 1.0;
        }
        let share = 1.0 - (-STEP_S / scale.pole_s).exp();
        moves[states - 1][states - 1] = 1.0 - share;
        (0..taps).for_each(|tap| moves[states - 1][3 + tap] = share / taps as f64);
        let noise = (wander * FLOW_G_S).powi(2) * (1.0 - keep * keep);
        Self { states, moves, noise }
    }

    /// The covariance a step later.
    fn later(&self, p: &Matrix) -> Matrix {
        let product = |a: &Matrix, b: &Matrix, turned: bool| -> Matrix {
            let n = self.states;
            let cell =
                |i: usize, j: usize| (0..n).map(|k| a[i][k] * if turned { b[j][k] } else { b[k][j] }).sum();
            (0..n).map(|i| (0..n).map(|j| cell(i, j)).collect()).collect()
        };
        let mut next = product(&product(&self.moves, p, false), &self.moves, true);
        next[1][1] += self.noise;
        next
    }
}

/// The covariance after a reading of the last state with this variance.
fn after_reading(p: &Matrix, variance: f64) -> Matrix {
    let last = p.len() - 1;
    let sum = p[last][last] + variance;
    let cell = |i: usize, j: usize| p[i][j] - p[i][last] * p[last][j] / sum;
    (0..p.len()).map(|i| (0..p.len()).map(|j| cell(i, j)).collect()).collect()
}

/// Least RMS of a stop, g: what the filter can't know when the stop is due, what the tare hides, and what nobody can know.
fn least_rms_g(name: &str, hand: &str, wander: f64, person: &Person) -> f64 {
    let scale = ScaleModel::named(name).expect("a scale");
    let table = Table { flow_wander: wander, flow_g_s: FLOW_G_S, ..Table::default() };
    let model = Model::of(&scale, &table, wander);
    let mut p = vec![vec![0.0; model.states]; model.states];
    let (flows, wanders) = ((table.flow_cv * FLOW_G_S).powi(2), (wander * FLOW_G_S).powi(2));
    (p[1][1], p[1][2], p[2][1], p[2][2]) = (flows + wanders, flows, flows, flows);
    let rounding = scale.step_g * scale.step_g / 12.0;
    let clock_g = FLOW_G_S * scale.clock_jitter_s;
    let variance = scale.noise_g * scale.noise_g + rounding + clock_g * clock_g;
    let mut due_s = 0.0;
    for _ in 0..(POURED_S / STEP_S) as u32 {
        p = model.later(&p);
        due_s += STEP_S;
        // Of readings that get lost the others tell the more of.
        if due_s >= scale.period_s / (1.0 - scale.drop_p) {
            due_s = 0.0;
            p = after_reading(&p, variance);
        }
    }
    for _ in 0..((scale.age_s + 0.5 * scale.period_s) / STEP_S).round() as u32 {
        p = model.later(&p);
    }
    let ahead_s = person.mean_reaction_s() + 0.4 * person.tilt_s;
    let flow = table.memory_s * (1.0 - (-ahead_s / table.memory_s).exp());
    let grows = [1.0, flow, ahead_s - flow];
    let unknown: f64 =
        (0..3).flat_map(|i| (0..3).map(move |j| (i, j))).map(|(i, j)| grows[i] * grows[j] * p[i][j]).sum();
    let all = kept_of(name, hand, "knows all").1;
    (unknown + rounding + all * all).sqrt()
}

#[test]
fn the_stop_comes_nearly_as_close_as_a_filter_that_is_told_everything_could() {
    let people = [("steady", 0.05, Person::good()), ("usual", 0.12, Person::typical())];
    for (hand, wander, person) in people {
        for name in ["quick", "usual", "late", "coarse", "lossy"] {
            let (least_g, ours_g) =
                (least_rms_g(name, hand, wander, &person), kept_of(name, hand, "Tarebell").1);
            println!("{name}/{hand}: {ours_g:.2} g, at best {least_g:.2} g");
            // Kept figures and this bound are good to some per cent each. A steady hand lies a quarter above
            // it on the late scale; why is not known.
            assert!(ours_g < 1.35 * least_g, "{name}/{hand}: {ours_g:.2} g, at best {least_g:.2} g");
            assert!(
                ours_g > 0.8 * least_g,
                "{name}/{hand}: {ours_g:.2} g beats what can be: the bound is wrong"
            );
        }
    }
}
