//! A scale whose pan does exactly what a test says, so that a page can be held in one state.
//!
//! No hand and no chance: the masses are invented.

use crate::rig::Rig;
use std::io::Write;
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// Twenty readings a second, the quickest pace of a common bench scale (common practice, no source).
pub(crate) const PACE: Duration = Duration::from_millis(50);

/// What lies on the pan.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Load {
    pub(crate) mass_g: f64,
    /// Grows by this much,
    pub(crate) flow_g_s: f64,
    /// up to this mass.
    pub(crate) up_to_g: f64,
    /// Reads this much too high and too low in turn.
    pub(crate) wobble_g: f64,
    /// Sends nothing.
    pub(crate) silent: bool,
    gone: bool,
}

/// The pan; it ends with the value.
pub(crate) struct Pan {
    load: Arc<Mutex<Load>>,
}

impl Pan {
    /// An empty pan that reads from now on.
    pub(crate) fn on(rig: &Rig) -> Self {
        let load = Arc::new(Mutex::new(Load::default()));
        let mut line = rig.line.try_clone().expect("the line");
        let seen = load.clone();
        std::thread::spawn(move || {
            let mut sign = 1.0;
            loop {
                let now = {
                    let mut load = seen.lock().expect("the pan");
                    let grown = load.mass_g + load.flow_g_s * PACE.as_secs_f64();
                    load.mass_g = grown.min(load.up_to_g.max(load.mass_g));
                    *load
                };
                if now.gone {
                    return;
                }
                sign = -sign;
                if !now.silent {
                    // A daemon that is gone reads nothing more; the test sees that elsewhere.
                    let text = format!("{:.1} g\r\n", now.mass_g + sign * now.wobble_g);
                    let _ = line.write_all(text.as_bytes());
                }
                std::thread::sleep(PACE);
            }
        });
        Self { load }
    }

    fn set(&self, change: impl FnOnce(&mut Load)) {
        change(&mut self.load.lock().expect("the pan"));
    }

    /// This mass lies still.
    pub(crate) fn still(&self, mass_g: f64) {
        self.set(|l| *l = Load { mass_g, ..Load::default() });
    }

    /// This mass swings, and nothing can be said of it yet.
    pub(crate) fn swings(&self, mass_g: f64) {
        self.set(|l| *l = Load { mass_g, wobble_g: 6.0, ..Load::default() });
    }

    /// The jug leans on the piece: no rest, and no lift.
    pub(crate) fn shakes(&self, mass_g: f64) {
        self.set(|l| *l = Load { mass_g, wobble_g: 0.8, ..Load::default() });
    }

    /// Slop runs in, up to this mass.
    pub(crate) fn runs(&self, flow_g_s: f64, up_to_g: f64) {
        self.set(|l| *l = Load { flow_g_s, up_to_g, mass_g: l.mass_g, ..Load::default() });
    }

    /// Nothing is sent any more.
    pub(crate) fn falls_silent(&self) {
        self.set(|l| l.silent = true);
    }
}

impl Drop for Pan {
    fn drop(&mut self) {
        self.set(|l| l.gone = true);
    }
}
