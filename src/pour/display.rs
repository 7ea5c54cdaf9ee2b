//! What is found out of the scale in mid-batch: how late it is, the step it counts in, and that it stands still.

use super::engine::{Engine, Start};
use super::fault::Watch;
use super::state::{Fault, State, Trouble};
use super::sums::Sums;
use crate::calibration::correction::Correction;
use crate::reading::Weighing;
use crate::scale::response::{Lags, Response};
use crate::scale::{Origin, ScaleFacts};
use crate::settle::{Motion, Settler};
use crate::time::Duration;
use crate::units::Mass;

/// What is seen of how late the scale and the hand are.
#[derive(Clone, Debug)]
pub(super) struct Late {
    response: Response,
    /// What pours showed of the two together.
    pub(super) sums: Sums,
}

impl Late {
    pub(super) fn of(start: &Start) -> Self {
        let lags = start.lags.clone().or_assumed(start.scale.lag.as_secs_f64());
        Self { response: Response::from(lags), sums: Sums::default() }
    }
}

impl Engine {
    /// The scale counts in this step: rest, a display that stands still and whether it can guide are judged by
    /// it from now on.
    pub fn handle_step(&mut self, step: Mass) {
        self.start.scale.step = step;
        self.settler = Settler::new(&self.start.scale);
        self.ripple = super::swing::ripple(&self.start);
        self.watch = Watch::new(step.g(), self.start.scale.reading_sd_g());
    }

    /// The display stands still while slop should be showing.
    pub fn froze(&self) -> bool {
        matches!(&self.state, State::Fault(Fault { trouble: Trouble::Frozen, .. }))
    }

    /// A scale nobody told the lag of shows it as pieces land and leave.
    pub(super) fn look_for_lag(&mut self, w: Weighing, gap: bool) {
        let sd_g = self.start.scale.reading_sd_g();
        let rest_g = self.at_rest();
        // A pour is no step, however unevenly its readings come.
        let pours = match self.state {
            State::Pouring(_) | State::Draining(_) => true,
            State::Idle | State::Landing(_) | State::Other(_) | State::Ready(_) => false,
            State::Done(_) | State::Fault(_) => false,
        };
        let learned = self.late.response.handle_weighing(w, rest_g, sd_g, gap || pours);
        if !learned || self.start.scale.lag_origin == Origin::Told {
            return;
        }
        let Some(lag_s) = self.late.response.lags().lag_s() else { return };
        self.start.scale.lag = Duration::from_micros((lag_s * 1e6).round() as u64);
        if self.late.response.lags().is_seen() {
            self.start.scale.lag_origin = Origin::Learned;
        }
        self.settler.set_lag(lag_s);
        self.hand = self.hand.beside(lag_s);
    }

    /// What the scale is taken to be by now.
    pub fn scale(&self) -> ScaleFacts {
        self.start.scale.clone()
    }

    /// Steps of the pan that showed its lag since the engine began.
    pub fn lag_steps(&self) -> u32 {
        self.late.response.learned()
    }

    /// What pours showed of lag and hand together.
    pub fn sums(&self) -> &Sums {
        &self.late.sums
    }

    /// What sets it right.
    pub fn correction(&self) -> Correction {
        self.correction
    }

    /// What steps of the pan showed of its lag.
    pub fn lags(&self) -> Lags {
        self.late.response.lags().clone()
    }

    pub(super) fn at_rest(&self) -> Option<f64> {
        match self.motion {
            Motion::AtRest { mass } => Some(mass.g()),
            Motion::Moving { .. } => None,
        }
    }

    pub(super) fn threshold_g(&self) -> f64 {
        // Four standard deviations and two steps: noise does not start a pour (normal law: 1 in 16 000).
        (4.0 * self.start.scale.reading_sd_g()).max(2.0 * self.start.scale.step.g()).max(0.3)
    }
}
