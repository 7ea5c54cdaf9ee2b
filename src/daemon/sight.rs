//! What can be seen of the scale, in the snapshot's words.

use crate::frame::Counts;
use crate::frame::standard::promised_step_g;
use crate::link::Facts;
use crate::page::view::{LagView, ScaleView};
use crate::reading::timing::Timing;
use crate::reading::{Indicated, Reading, Weighing};
use crate::scale::ScaleFacts;
use crate::scale::health::{Ailment, Health};
use crate::settle::pace::Pace;
use crate::time::Instant;
use crate::units::Mass;

/// What the link last said.
enum Link {
    Searching,
    Up,
    Lost { reason: String, try_this: String },
}

/// Said of a scale that can't guide.
const TOO_SLOW: &str =
    "under 4 readings a second: too slow to call a stop in time, so no ready, no stop; weights are logged";

/// How a scale is reached.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Way {
    /// Over a cable, or not at all.
    #[default]
    Cable,
    /// Through the air.
    Air,
}

/// A scale that gave a weight and is quiet for less than this may be one that sends rarely; for longer it is
/// silent (own choice: the slowest that is called slow sends every five seconds, and may lose one).
const RARELY_S: f64 = 10.0;

/// A scale that was just opened may take so long to its first weight, s (own choice: one that guides sends four a second, and
/// of the first line only the end may come).
const FIRST_S: f64 = 1.0;

/// The scale as it was last seen.
pub(super) struct Sight {
    way: Way,
    facts: Facts,
    link: Link,
    last: Option<Weighing>,
    /// Latest reading, a weight or out of range.
    read_at: Option<Instant>,
    /// When it was opened.
    up_at: Option<Instant>,
    /// A reading came since it was opened.
    read: bool,
    pace: Pace,
    timing: Timing,
    health: Health,
    /// Bytes came since it was opened or since the last weight.
    heard: bool,
    settled: bool,
    range_trouble: Option<&'static str>,
}

impl Sight {
    /// Nothing seen yet of a scale reached this way.
    pub(super) fn new(way: Way, scale: &ScaleFacts) -> Self {
        Self {
            way,
            facts: Facts::default(),
            link: Link::Searching,
            last: None,
            read_at: None,
            up_at: None,
            read: false,
            pace: Pace::default(),
            timing: Timing::default(),
            health: Health::new(scale),
            heard: false,
            settled: false,
            range_trouble: None,
        }
    }

    /// Somebody says that a piece of this weight still stands there.
    pub(super) fn handle_still_on(&mut self, gross: Mass) {
        self.health.handle_still_on(gross);
    }

    /// What the link knows of itself; gives the step to go by where it is another one from now on.
    pub(super) fn handle_facts(&mut self, facts: Facts) -> Option<Mass> {
        self.facts = facts;
        let before = self.health.step();
        if let Some((si_g, imperial_g)) = facts.weight_feature.and_then(promised_step_g) {
            self.health.handle_promise(Mass::saturating(si_g), Mass::saturating(si_g.min(imperial_g)));
        }
        let step = self.health.step();
        if step == before {
            return None;
        }
        // Once: what is promised is kept while the scale is away.
        tracing::warn!("scale: it says that it counts in {} g, step_g said {} g", step.g(), before.g());
        Some(step)
    }

    pub(super) fn handle_up(&mut self, now: Instant) {
        self.link = Link::Up;
        self.up_at = Some(now);
        self.heard = false;
        self.read = false;
        self.timing.reset();
    }

    /// When the scale took this reading.
    pub(super) fn handle_arrival(&mut self, reading: &Reading) -> Instant {
        self.timing.handle_arrival(reading.arrived_at, reading.indicated.mass())
    }

    /// Bytes came, whatever they say.
    pub(super) fn handle_bytes(&mut self) {
        self.heard = true;
    }

    pub(super) fn handle_down(&mut self, reason: String, try_this: String) {
        self.link = Link::Lost { reason, try_this };
    }

    pub(super) fn handle_weighing(&mut self, w: Weighing, settled: bool) {
        let silent =
            self.read_at.map(|at| w.arrived_at.since(at)).filter(|lasted| *lasted >= self.pace.silence());
        if let Some(lasted) = silent {
            self.health.handle_silence(lasted);
        }
        self.health.handle_weighing(w, settled);
        self.settled = settled;
        self.last = Some(w);
        self.range_trouble = None;
        self.handle_read(w.arrived_at);
    }

    /// A reading that is no weight.
    pub(super) fn handle_out_of_range(&mut self, reading: Reading) {
        self.range_trouble = match reading.indicated {
            Indicated::Mass(_) => None,
            Indicated::Overload => Some("too much on the scale"),
            Indicated::Underload => Some("the scale shows less than nothing"),
        };
        self.settled = false;
        self.handle_read(reading.arrived_at);
    }

    fn handle_read(&mut self, at: Instant) {
        self.heard = false;
        self.read = true;
        self.pace.handle_reading(at);
        self.read_at = Some(at);
    }

    fn ailing(&self, now: Instant, fresh: bool, counts: &Counts) -> Option<String> {
        let ailment = self.health.ailment(now).filter(|_| fresh).map(words);
        let unit = counts.other_unit.map(|unit| {
            format!(
                "the scale now shows {}: press its unit key until it shows what it did before",
                unit.word()
            )
        });
        unit.filter(|_| fresh).or(ailment)
    }

    /// Nothing is known of its pace, or it has just become slow: that is not silence yet.
    fn sends_rarely(&self, now: Instant) -> bool {
        let quiet_s = self.read_at.map(|at| now.seconds_from(at));
        self.read && !self.heard && self.pace.may_be_slow() && quiet_s.is_some_and(|s| s < RARELY_S)
    }

    /// It was opened so lately that its first weight may still be under way: nothing is wrong yet.
    fn just_opened(&self, now: Instant) -> bool {
        !self.read && self.up_at.is_some_and(|at| now.seconds_from(at) < FIRST_S)
    }

    /// The scale's part of a snapshot.
    pub(super) fn view(&self, now: Instant, counts: &Counts, coarse: Option<&str>) -> ScaleView {
        let age = self.last.map(|w| now.since(w.arrived_at));
        let fresh = self.read_at.is_some_and(|at| now.since(at) < self.pace.silence());
        let (state, trouble) = match &self.link {
            Link::Searching => ("searching", None),
            Link::Up if fresh => ("live", self.range_trouble.map(str::to_owned)),
            Link::Up if self.just_opened(now) => ("searching", None),
            Link::Up if self.sends_rarely(now) => ("stale", Some(TOO_SLOW.to_owned())),
            Link::Up => ("stale", Some(self.way.silent(self.heard, counts.skipped))),
            Link::Lost { reason, try_this } => ("lost", Some(format!("{reason}; {try_this}"))),
        };
        let slow = self.pace.too_slow().then(|| TOO_SLOW.to_owned());
        let rhythm = self.timing.rhythm();
        ScaleView {
            state,
            mass_g: self.last.map(|w| w.mass.g()),
            settled: self.settled && fresh,
            age_ms: age.map(|a| u64::try_from(a.as_millis()).unwrap_or(u64::MAX)),
            trouble: trouble
                .or(slow)
                .or(coarse.map(str::to_owned))
                .or_else(|| self.ailing(now, fresh, counts)),
            readings: counts.readings,
            skipped: counts.skipped,
            signal_dbm: self.facts.signal_dbm,
            battery_percent: self.facts.battery_percent,
            spare_g: None,
            jug_g: None,
            promised_step_g: self.facts.weight_feature.and_then(promised_step_g).map(|(si_g, _)| si_g),
            rate_hz: rhythm.rate_hz.map(thousandths),
            jitter_ms: rhythm.jitter_s.map(|s| thousandths(s * 1000.0)),
            loss: rhythm.loss.map(thousandths),
            lag: LagView::default(),
            lag_test: None,
            calibration: None,
            check: None,
            routine: None,
            check_due: None,
            weighed: None,
        }
    }
}

impl Sight {
    /// Readings come so far apart, s, where that is known.
    pub(super) fn interval_s(&self) -> Option<f64> {
        self.timing.rhythm().rate_hz.filter(|hz| *hz > 0.0).map(|hz| 1.0 / hz)
    }
}

/// As fine as a rhythm is known.
fn thousandths(value: f64) -> f64 {
    (1000.0 * value).round() / 1000.0
}

/// What is wrong with a scale that reads, and what to try.
fn words(ailment: Ailment) -> String {
    match ailment {
        Ailment::OwnTare => "less than nothing on the pan: the scale's own tare key was used. Empty the pan, press \
                             it again, and leave taring to Tarebell"
            .to_owned(),
        Ailment::Coarse(step) => format!(
            "at this load the scale counts in {} g, coarser than told: set step_g to that, or use a finer scale",
            (step.g() * 1000.0).round() / 1000.0
        ),
        Ailment::Promised(step) => format!(
            "the scale says that it counts in {} g, coarser than step_g: set step_g to that, or use a finer scale",
            (step.g() * 1000.0).round() / 1000.0
        ),
        Ailment::Holds => "the display stands still while the weight changes, then jumps: switch the scale's hold \
                           (its steady display) off, or no stop can be called in time"
            .to_owned(),
        Ailment::Hides => "the scale took a piece for its zero, and there its zero tracking may swallow a slow \
                           trickle: switch that off, leave taring to Tarebell, lift the piece off after this pour"
            .to_owned(),
        Ailment::Swallowed(mass) => format!(
            "{:.1} g came off with the piece that the display never showed: the scale's zero tracking swallowed a \
             slow trickle. Switch it off, and leave taring to Tarebell",
            mass.g()
        ),
        Ailment::Restless => {
            "the weight does not come to rest: look for a draught, a table that shakes, a hose or cloth on the pan"
                .to_owned()
        }
        Ailment::SleepsSoon(after) => format!(
            "the scale went to sleep once after {} s without a change, and will again soon: touch the pan, or \
             switch its auto-off off",
            after.as_secs()
        ),
    }
}

impl Way {
    /// What is wrong with a scale that is open and gives no weight.
    fn silent(self, heard: bool, skipped: u64) -> String {
        match (self, heard) {
            (Self::Cable, true) if skipped == 0 => {
                "bytes come, but no whole line of text: check baud rate and framing".to_owned()
            }
            (Self::Cable, true) => {
                format!(
                    "no readable weight ({skipped} lines skipped): check baud rate, framing and line format"
                )
            }
            (Self::Cable, false) => {
                "the port is open but the scale says nothing: switch it on, check its sending mode".to_owned()
            }
            (Self::Air, true) => {
                format!(
                    "values come, but no readable weight ({skipped} skipped): check characteristic and layout. Text needs a line end after each weight, or each weight whole in a notification, with its unit and always as long; bytes that are no text need a `layout`, \"standard\" for service 181d"
                )
            }
            (Self::Air, false) => {
                "the scale is connected but sends nothing: wake it, check its mode and battery".to_owned()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(every_s: f64) -> (Sight, Instant) {
        let mut sight = Sight::new(Way::Cable, &crate::settings::Settings::default().scale);
        sight.handle_up(Instant::START);
        let mut at = Instant::START;
        for _ in 0..6 {
            at = at.offset_seconds(every_s);
            sight.handle_weighing(Weighing { mass: Mass::ZERO, arrived_at: at, taken_at: at }, true);
        }
        (sight, at)
    }

    #[test]
    fn a_scale_that_was_just_opened_is_not_called_silent_and_its_framing_is_not_doubted_before_a_second_is_over()
     {
        for way in [Way::Cable, Way::Air] {
            for heard in [false, true] {
                let mut sight = Sight::new(way, &crate::settings::Settings::default().scale);
                let opened = Instant::START.offset_seconds(5.0);
                sight.handle_up(opened);
                if heard {
                    sight.handle_bytes();
                }
                let told = |s: f64| sight.view(opened.offset_seconds(s), &Counts::default(), None);
                for s in [0.0, 0.9] {
                    assert_eq!(
                        (told(s).state, told(s).trouble),
                        ("searching", None),
                        "{way:?} {heard} {s} s"
                    );
                }
                let late = told(1.1);
                assert_eq!((late.state, late.trouble.is_some()), ("stale", true), "{way:?} {heard}");
            }
        }
    }

    #[test]
    fn a_scale_that_comes_back_is_not_called_silent_before_its_first_weight_could_be_there() {
        let (mut sight, at) = seen(0.1);
        let state = |sight: &Sight, s: f64| sight.view(at.offset_seconds(s), &Counts::default(), None).state;
        sight.handle_down("unplugged".to_owned(), "plug it in".to_owned());
        assert_eq!(state(&sight, 5.0), "lost");
        sight.handle_up(at.offset_seconds(6.0));
        assert_eq!((state(&sight, 6.5), state(&sight, 7.1)), ("searching", "stale"));
    }

    #[test]
    fn a_slow_scale_is_live_between_its_readings_and_said_to_be_slow() {
        let (sight, at) = seen(1.0);
        let view = sight.view(at.offset_seconds(0.95), &Counts::default(), None);
        assert_eq!(view.state, "live");
        assert!(view.trouble.is_some_and(|t| t.contains("too slow")));
        assert_eq!(sight.view(at.offset_seconds(3.1), &Counts::default(), None).state, "stale");
    }

    #[test]
    fn a_scale_that_sends_every_two_seconds_is_called_too_slow_from_its_first_pause_on_and_never_silent() {
        let mut sight = Sight::new(Way::Air, &crate::settings::Settings::default().scale);
        sight.handle_up(Instant::START);
        let trouble = |sight: &Sight, t: f64| {
            let view = sight.view(Instant::START.offset_seconds(t), &Counts::default(), None);
            (view.state, view.trouble.unwrap_or_default())
        };
        let read = |sight: &mut Sight, t: f64| {
            sight.handle_bytes();
            let at = Instant::START.offset_seconds(t);
            sight.handle_weighing(Weighing { mass: Mass::ZERO, arrived_at: at, taken_at: at }, true);
        };
        for i in 0..8 {
            let t = 2.0 * f64::from(i);
            read(&mut sight, t);
            for later in [0.9, 1.5, 1.9] {
                let (state, said) = trouble(&sight, t + later);
                assert!(!said.contains("sends nothing"), "{later} s after reading {i}: {said}");
                assert!(said.contains("under 4 readings a second") || i < 3, "{later} s after {i}: {said}");
                assert_eq!(state, if i == 0 { "stale" } else { "live" }, "{later} s after reading {i}");
            }
        }
        // Three of its own intervals are silence.
        assert!(trouble(&sight, 14.0 + 6.1).1.contains("sends nothing"));
        // One that gave a single weight is silent after a while.
        let mut sight = Sight::new(Way::Air, &crate::settings::Settings::default().scale);
        sight.handle_up(Instant::START);
        read(&mut sight, 0.0);
        assert!(trouble(&sight, 9.0).1.contains("too slow"));
        assert!(trouble(&sight, 10.1).1.contains("sends nothing"));
    }

    #[test]
    fn a_quick_scale_that_becomes_slow_is_called_slow_from_its_second_pause_on_and_one_that_stops_is_silent()
    {
        let (mut sight, at) = seen(0.1);
        let said =
            |sight: &Sight, at: Instant| sight.view(at, &Counts::default(), None).trouble.unwrap_or_default();
        assert!(said(&sight, at.offset_seconds(1.5)).contains("says nothing"));
        let next = at.offset_seconds(2.0);
        sight.handle_weighing(Weighing { mass: Mass::ZERO, arrived_at: next, taken_at: next }, true);
        assert!(said(&sight, next.offset_seconds(1.5)).contains("too slow"));
        assert!(said(&sight, next.offset_seconds(10.1)).contains("says nothing"));
    }

    #[test]
    fn a_scale_that_is_loaded_too_much_is_live_and_says_so() {
        let (mut sight, at) = seen(0.1);
        for i in 1..20 {
            let arrived_at = at.offset_seconds(0.1 * f64::from(i));
            let indicated = Indicated::Overload;
            sight.handle_out_of_range(Reading { indicated, stable: None, arrived_at, taken_at: arrived_at });
        }
        let view = sight.view(at.offset_seconds(1.95), &Counts::default(), None);
        assert_eq!((view.state, view.trouble.as_deref()), ("live", Some("too much on the scale")));
        assert!(!view.settled);
    }
}
