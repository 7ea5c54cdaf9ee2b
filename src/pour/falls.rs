//! By how much a piece is lighter than its tare, for longer than a knock swings: a pan wiped beneath it, or a hand that
//! bears it.

use std::collections::VecDeque;

/// Readings that show a fall: a knock swings the other way within them (own choice).
const READINGS: usize = 3;

/// The greatest fall that stayed.
#[derive(Clone, Debug, Default)]
pub(super) struct Falls {
    recent: VecDeque<f64>,
    fell_g: f64,
}

impl Falls {
    /// Takes what is shown above the tare, g.
    pub(super) fn note(&mut self, above_g: f64) {
        self.recent.push_back(-above_g);
        if self.recent.len() > READINGS {
            self.recent.pop_front();
            let stays_g = self.recent.iter().copied().fold(f64::INFINITY, f64::min);
            self.fell_g = self.fell_g.max(stays_g);
        }
    }

    /// It stands at its tare again.
    pub(super) fn forget(&mut self) {
        self.fell_g = 0.0;
    }

    /// So much, g; nothing where it never stayed below.
    pub(super) fn fell_g(&self) -> f64 {
        self.fell_g
    }
}
