//! When a stream will have given what is missing: its flow, on its way to the usual one and eased off, added up.

use super::ease::Ease;
use super::predict::LEAST_FLOW_G_S;
use super::turn::MEMORY_S;

/// The flow to come is added up in steps of this length, and not further than this, s: no warning is due earlier.
const AHEAD_S: f64 = 0.05;
const FAR_S: f64 = 3.0;

/// So many grams are missing; the present flow without easing off, the one it returns to, g/s, how long ago the hand was
/// warned, s, and how it eases off then.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Asked {
    pub(super) need_g: f64,
    pub(super) flow_g_s: f64,
    pub(super) usual_g_s: f64,
    pub(super) warned_s: f64,
    pub(super) ease: Ease,
}

/// The latest answer, as of one reading it is asked for three times: what to announce, when next, and whether it is time.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Foreseen(Option<(Asked, f64)>);

impl Foreseen {
    /// Seconds until what is missing has left the jug.
    pub(super) fn after_s(&self, asked: Asked) -> f64 {
        self.0.filter(|(kept, _)| *kept == asked).map_or_else(|| added_up(asked), |(_, after_s)| after_s)
    }

    /// Keeps the answer.
    pub(super) fn keep(&mut self, asked: Asked) {
        self.0 = Some((asked, self.after_s(asked)));
    }
}

fn added_up(asked: Asked) -> f64 {
    let Asked { need_g, flow_g_s: mut flow, usual_g_s: usual, warned_s, ease } = asked;
    let keep = (-AHEAD_S / MEMORY_S).exp();
    let eases = ease.kept < 1.0 && warned_s > f64::NEG_INFINITY;
    let (mut left_g, mut ahead_s) = (need_g, 0.0);
    loop {
        let next = usual + (flow - usual) * keep;
        let eased = if eases { ease.left_after(warned_s + ahead_s + 0.5 * AHEAD_S) } else { 1.0 };
        let rate = (0.5 * (flow + next) * eased).max(0.5 * LEAST_FLOW_G_S);
        if rate * AHEAD_S >= left_g || ahead_s > FAR_S {
            return ahead_s + left_g / rate;
        }
        (flow, left_g, ahead_s) = (next, left_g - rate * AHEAD_S, ahead_s + AHEAD_S);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn steady(need_g: f64) -> Asked {
        let ease = Ease::default();
        Asked { need_g, flow_g_s: 8.0, usual_g_s: 8.0, warned_s: f64::NEG_INFINITY, ease }
    }

    #[test]
    fn a_steady_stream_takes_grams_over_flow_and_an_eased_one_longer() {
        let even = Foreseen::default().after_s(steady(8.0));
        assert!((even - 1.0).abs() < 1e-9, "{even}");
        // Half of the flow from 1.7 s after the warning on.
        let ease = Ease { kept: 0.5, pours: 5 };
        let eased = Foreseen::default().after_s(Asked { warned_s: 5.0, ease, ..steady(8.0) });
        assert!((eased - 2.0).abs() < 1e-9, "{eased}");
    }

    #[test]
    fn a_kept_answer_is_given_to_the_same_question_only() {
        let mut foreseen = Foreseen::default();
        foreseen.keep(steady(8.0));
        for need_g in [8.0, 4.0, 80.0] {
            let after_s = foreseen.after_s(steady(need_g));
            assert!((after_s - need_g / 8.0).abs() < 1e-9, "{need_g} g after {after_s} s");
        }
    }
}
