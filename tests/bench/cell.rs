//! What is tried: scales, hands, targets and flows. All of it invented.

use tarebell::plant::{Person, ScaleModel, Table};
use tarebell::pour::PourSettings;

/// Scales and hands by name, in the order of the tables.
pub(crate) const SCALES: [&str; 5] = ["quick", "usual", "late", "coarse", "lossy"];
pub(crate) const HANDS: [&str; 4] = ["steady", "usual", "easing", "busy"];

/// What one session is made of.
#[derive(Clone, Debug)]
pub(crate) struct Setup {
    pub(crate) scale: ScaleModel,
    pub(crate) person: Person,
    pub(crate) table: Table,
    pub(crate) target_g: f64,
    pub(crate) settings: PourSettings,
    /// From the end of the stream to the lift, s.
    pub(crate) before_lift_s: (f64, f64),
    /// How late a tone is heard, mean and scatter, s.
    pub(crate) sound_s: (f64, f64),
    /// How late the engine is told it is, s.
    pub(crate) sound_known_s: f64,
    /// What the person lets trickle where the pour is finished so, g/s on the average.
    pub(crate) trickle_g_s: f64,
    pub(crate) change: Change,
}

/// What is done otherwise than in the grid.
#[derive(Clone, Debug, Default)]
pub(crate) struct Change {
    /// The engine is told that the scale's lag is this, s.
    pub(crate) told_lag_s: Option<f64>,
    /// The oracle holds so many seconds of flow for slop in the air that the pan does not feel.
    pub(crate) air_s: f64,
    /// The floor of the oracle's gain, in place of the engine's; and each pour teaches one pour too late.
    pub(crate) gain: Option<f64>,
    pub(crate) late_by_one: bool,
    /// Share of each error that the person mends by themselves.
    pub(crate) adapts: f64,
    /// Words that the hand is not told.
    pub(crate) unsaid: &'static [&'static str],
}

/// A jug held so that it just runs, g/s (a guess; from pour to pour and within it varies as the flow does).
const TRICKLE_G_S: f64 = 2.5;
/// People of one kind differ by so much in their mean time, s (SD; a working value).
const BETWEEN_S: f64 = 0.025;

impl Setup {
    /// A cell of the grid.
    pub(crate) fn of(scale: &str, hand: &str, target_g: f64, flow_g_s: f64) -> Option<Self> {
        let (person, wander) = match hand {
            "steady" => (Person::good(), 0.05),
            "usual" => (Person::typical(), 0.12),
            "easing" => (Person { eases: true, ..Person::typical() }, 0.12),
            "busy" => (Person { lapse_p: 0.01, ..Person::novice() }, 0.25),
            _ => return None,
        };
        Some(Self {
            scale: ScaleModel::named(scale)?,
            person: Person { warning_helps: true, ..person },
            table: Table { flow_g_s, flow_wander: wander, ..Table::default() },
            target_g,
            settings: PourSettings::default(),
            before_lift_s: (1.0, 2.0),
            sound_s: (0.0, 0.0),
            sound_known_s: 0.0,
            trickle_g_s: TRICKLE_G_S,
            change: Change::default(),
        })
    }

    /// The same with the person of this session: the sessions share the kinds of people evenly among them.
    pub(crate) fn with_person(mut self, session: u64, sessions: u64) -> Self {
        let share = (session as f64 + 0.5) / sessions as f64;
        self.person = self.person.shifted(1000.0 * BETWEEN_S * normal_quantile(share));
        self
    }

    /// How late each tone is heard.
    pub(crate) fn sound(&self, seed: u64) -> Box<dyn FnMut() -> f64> {
        let (mean, scatter) = self.sound_s;
        let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
        Box::new(move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let share = ((state >> 12) as f64 + 0.5) / (1_u64 << 52) as f64;
            (mean + scatter * normal_quantile(share)).max(0.0)
        })
    }
}

/// The normal law's quantile, to 0.0005 (Abramowitz and Stegun 26.2.23, from memory).
fn normal_quantile(share: f64) -> f64 {
    let tail = share.min(1.0 - share);
    let t = (-2.0 * tail.ln()).sqrt();
    let x = t
        - (2.515_517 + 0.802_853 * t + 0.010_328 * t * t)
            / (1.0 + 1.432_788 * t + 0.189_269 * t * t + 0.001_308 * t * t * t);
    if share < 0.5 { -x } else { x }
}
