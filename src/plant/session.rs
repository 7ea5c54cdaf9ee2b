//! A simulated potter at work: places, waits for ready, pours, stops when told, lifts, goes on.
//!
//! Owns the plant and is moved by time and by the words of cues; never decides when a stop is due
//! (except to save the table), and does not know who sends the cues.

use super::chance::Chance;
use super::{AWAY_S, HEARS_S, Placer, Plant, Shown, TRIES};
use crate::time::{Duration, Instant};

const FOR_PAUSES: u64 = 5;
/// How closely the potter watches, also the coarsest step in which the plant is moved.
const WATCH: Duration = Duration::from_millis(5);
/// A `ready` for the trickle is waited for so long, seconds (a guess).
const PATIENT_S: f64 = 6.0;
/// What a mass shows more towards each corner of the pan, as a share of it (invented).
const OFF_CENTRE: [f64; 4] = [0.0004, -0.0002, 0.0001, 0.0003];
/// Without any stop, the potter gives up at this many times the target.
const GIVES_UP_AT: f64 = 3.0;

/// What the potter means to do. All values are invented.
#[derive(Clone, Debug, PartialEq)]
pub struct Script {
    /// Pieces to pour.
    pub pieces: u32,
    /// Wanted net mass, grams; used only to give up at three times as much.
    pub target_g: f64,
    /// When the first piece lands.
    pub first_at: Instant,
    /// Least and greatest wait from ready to pouring, seconds.
    pub before_pour_s: (f64, f64),
    /// Least and greatest wait from the end of the stream to the lift, seconds.
    pub before_lift_s: (f64, f64),
    /// From a lift to the next piece, seconds.
    pub between_s: f64,
    /// A second `ready` is waited for and answered with a trickle of so many grams per second on the average; none: the
    /// piece is lifted after its one stop.
    pub trickle_g_s: Option<f64>,
}

impl Script {
    /// The usual pace, the first piece landing one second after the start.
    pub fn of(pieces: u32, target_g: f64) -> Self {
        Self {
            pieces,
            target_g,
            first_at: Instant::START + Duration::from_secs(1),
            before_pour_s: (0.3, 0.8),
            before_lift_s: (1.0, 2.0),
            between_s: 2.0,
            trickle_g_s: None,
        }
    }
}

/// Why a pour ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// A stop was heard.
    Told,
    /// A fault was heard.
    Fault,
    /// Nothing was heard; the potter stopped at three times the target.
    GaveUp,
    /// The hand stopped before any of these, on a warning.
    TooSoon,
}

/// What one piece truly got.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Poured {
    /// Piece number, from 1.
    pub piece: u32,
    /// Mass of the bare piece, grams.
    pub bare_g: f64,
    /// Slop in it at the lift, grams.
    pub net_g: f64,
    /// Flow when the tilt-back began, grams per second.
    pub flow_g_s: f64,
    /// Seconds from the sound to the tilt-back.
    pub reaction_s: f64,
    /// Why it ended.
    pub ending: Ending,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Doing {
    Fetching { place_at: Instant },
    Listening { ready_before: bool },
    SettingDownAgain { at: Instant, lifted: bool },
    Reaching { pour_at: Instant },
    Pouring { ending: Option<Ending> },
    Waiting { until: Instant, ending: Ending },
    Looking { lift_at: Instant, ending: Ending },
    Home,
}

/// The potter and the plant.
#[derive(Clone, Debug)]
pub struct Potter {
    plant: Plant,
    script: Script,
    pauses: Chance,
    doing: Doing,
    /// Its trickle was waited for, or came; it was asked for.
    trickled: bool,
    asked: bool,
    /// How often this piece was set down again.
    tries: u32,
    results: Vec<Poured>,
    /// No piece is set down.
    waits: bool,
    placer: Placer,
}

impl Potter {
    /// A potter about to begin.
    pub fn new(plant: Plant, script: Script) -> Self {
        let doing = match script.pieces {
            0 => Doing::Home,
            _ => Doing::Fetching { place_at: script.first_at },
        };
        Self {
            pauses: Chance::of(plant.seed(), FOR_PAUSES, 0),
            placer: Placer::new(plant.seed(), OFF_CENTRE).at_once(),
            plant,
            script,
            doing,
            trickled: false,
            asked: false,
            tries: 0,
            results: Vec::new(),
            waits: false,
        }
    }

    /// Whether nothing is to be poured just now: no piece is set down, and one that waits for `ready` is taken off. The
    /// next one comes a second after.
    pub fn wait(&mut self, waits: bool) {
        let soon = self.plant.now().offset_seconds(1.0);
        match self.doing {
            Doing::Fetching { place_at } if self.waits && !waits => {
                self.doing = Doing::Fetching { place_at: place_at.max(soon) };
            }
            Doing::Listening { .. } if waits && !self.waits => {
                self.doing = Doing::Looking { lift_at: self.plant.now(), ending: Ending::Fault };
            }
            Doing::Fetching { .. }
            | Doing::Listening { .. }
            | Doing::SettingDownAgain { .. }
            | Doing::Reaching { .. }
            | Doing::Pouring { .. }
            | Doing::Waiting { .. }
            | Doing::Looking { .. }
            | Doing::Home => {}
        }
        self.waits = waits;
    }

    /// A step of a calibration: the hand does it, while nothing is to be poured.
    pub fn handle_step(&mut self, turn: usize, word: &str, mass_g: f64, place: Option<usize>) {
        if self.waits {
            self.placer.handle_step(&mut self.plant, turn, word, mass_g, place);
        }
    }

    /// A cue that is to be heard at `due`; unknown words, and words that ask nothing of a hand, do
    /// nothing.
    pub fn handle_cue(&mut self, cue_word: &str, due: Instant) {
        match cue_word {
            "ready" => self.reach(due),
            "clear" if matches!(self.doing, Doing::Listening { ready_before: true }) => self.reach(due),
            "approach" => self.plant.hear_approach(due),
            "count" => self.plant.hear_warning(due),
            "stop" => self.stop(due, Ending::Told),
            "fault" => self.stop(due, Ending::Fault),
            "short" | "over" if matches!(self.doing, Doing::Listening { .. }) => self.set_down_again(due),
            "good" | "short" | "over" => self.look(due),
            _ => {}
        }
    }

    /// It was taken for another one.
    fn set_down_again(&mut self, due: Instant) {
        if self.tries < TRIES {
            self.tries += 1;
            let at = due.max(self.plant.now()).offset_seconds(HEARS_S);
            self.doing = Doing::SettingDownAgain { at, lifted: false };
        }
    }

    /// The piece's weight was said: no trickle is wanted.
    fn look(&mut self, due: Instant) {
        if let Doing::Waiting { ending, .. } = self.doing {
            let wait = self.pauses.between(self.script.before_lift_s.0, self.script.before_lift_s.1);
            self.doing = Doing::Looking { lift_at: due.max(self.plant.now()).offset_seconds(wait), ending };
        }
    }

    /// Moves on to `to`; all readings that have arrived by then and were not yet given.
    pub fn advance(&mut self, to: Instant) -> Vec<Shown> {
        let mut shown = Vec::new();
        loop {
            let next = (self.plant.now() + WATCH).min(to);
            shown.extend(self.plant.advance(next));
            self.turn();
            if next >= to {
                return shown;
            }
        }
    }

    /// All pieces are poured and lifted.
    pub fn done(&self) -> bool {
        matches!(self.doing, Doing::Home)
    }

    /// What each piece truly got, in order.
    pub fn results(&self) -> &[Poured] {
        &self.results
    }

    /// The plant as it stands.
    pub fn plant(&self) -> &Plant {
        &self.plant
    }

    fn reach(&mut self, due: Instant) {
        // Before the last drop fell.
        self.asked |= matches!(self.doing, Doing::Pouring { ending: Some(_) });
        if matches!(self.doing, Doing::Listening { .. } | Doing::Waiting { .. }) {
            let wait = self.pauses.between(self.script.before_pour_s.0, self.script.before_pour_s.1);
            self.doing = Doing::Reaching { pour_at: due.max(self.plant.now()).offset_seconds(wait) };
        }
    }

    fn stop(&mut self, due: Instant, why: Ending) {
        match (self.doing, why) {
            (Doing::Pouring { ending: None }, _) => {
                let counted = self.plant.hear_stop(due);
                let ending = if counted { why } else { Ending::TooSoon };
                self.doing = Doing::Pouring { ending: Some(ending) };
            }
            (Doing::Reaching { .. }, Ending::Fault) => self.doing = Doing::Listening { ready_before: true },
            (Doing::Waiting { ending, .. }, Ending::Fault) => {
                self.doing = Doing::Looking { lift_at: due.offset_seconds(1.0), ending };
            }
            (Doing::Fetching { .. } | Doing::Listening { .. } | Doing::SettingDownAgain { .. }, _)
            | (Doing::Reaching { .. }, _)
            | (Doing::Pouring { ending: Some(_) } | Doing::Waiting { .. }, _)
            | (Doing::Looking { .. } | Doing::Home, _) => {}
        }
    }

    fn turn(&mut self) {
        let now = self.plant.now();
        match self.doing {
            Doing::Fetching { place_at } if now >= place_at && !self.waits => {
                self.plant.place(now);
                self.plant.act();
                self.doing = Doing::Listening { ready_before: false };
            }
            Doing::SettingDownAgain { at, lifted: false } if now >= at => {
                self.plant.lift(now);
                self.plant.act();
                self.doing = Doing::SettingDownAgain { at: now.offset_seconds(AWAY_S), lifted: true };
            }
            Doing::SettingDownAgain { at, lifted: true } if now >= at => {
                self.plant.place_again(now);
                self.plant.act();
                self.doing = Doing::Listening { ready_before: false };
            }
            Doing::Reaching { pour_at } if now >= pour_at => {
                match self.script.trickle_g_s.filter(|_| self.plant.left_jug_g() > 0.0) {
                    Some(mean_g_s) => self.plant.start_trickle(now, mean_g_s),
                    None => self.plant.start_pour(now),
                }
                self.plant.act();
                self.doing = Doing::Pouring { ending: None };
            }
            Doing::Pouring { ending } => self.watch(now, ending),
            Doing::Waiting { until, ending } if now >= until => {
                self.doing = Doing::Looking { lift_at: now, ending };
            }
            Doing::Looking { lift_at, ending } if now >= lift_at => self.lift(now, ending),
            Doing::Fetching { .. }
            | Doing::Listening { .. }
            | Doing::SettingDownAgain { .. }
            | Doing::Reaching { .. }
            | Doing::Waiting { .. }
            | Doing::Looking { .. }
            | Doing::Home => {}
        }
    }

    fn watch(&mut self, now: Instant, ending: Option<Ending>) {
        if self.plant.stream_ended() {
            let wait = self.pauses.between(self.script.before_lift_s.0, self.script.before_lift_s.1);
            let ending = ending.unwrap_or(Ending::TooSoon);
            if self.script.trickle_g_s.is_some() && !std::mem::replace(&mut self.trickled, true) {
                self.doing = Doing::Waiting { until: now.offset_seconds(PATIENT_S), ending };
                if self.asked {
                    self.reach(now);
                }
                return;
            }
            self.doing = Doing::Looking { lift_at: now.offset_seconds(wait), ending };
        } else if ending.is_none() && self.plant.true_net_g() >= GIVES_UP_AT * self.script.target_g {
            self.stop(now, Ending::GaveUp);
        }
    }

    fn lift(&mut self, now: Instant, ending: Ending) {
        self.results.push(Poured {
            piece: self.plant.piece(),
            bare_g: self.plant.piece_g(),
            net_g: self.plant.true_net_g(),
            flow_g_s: self.plant.tilt_flow_g_s().unwrap_or(0.0),
            reaction_s: self.plant.reaction_s().unwrap_or(0.0),
            ending,
        });
        (self.trickled, self.asked, self.tries) = (false, false, 0);
        self.plant.lift(now);
        self.plant.act();
        self.doing = if self.plant.piece() < self.script.pieces {
            Doing::Fetching { place_at: now.offset_seconds(self.script.between_s) }
        } else {
            Doing::Home
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::{Person, ScaleModel, Table};

    fn potter(seed: u64, pieces: u32, scale: ScaleModel, table: Table) -> Potter {
        Potter::new(Plant::new(seed, Person::typical(), scale, table), Script::of(pieces, 30.0))
    }

    /// Ready once a piece has rested a second; a stop as soon as the display shows the target.
    fn plain_tone(mut potter: Potter, target_g: f64) -> Vec<Poured> {
        let (mut at, mut tare, mut rest_since) = (Instant::START, None, None::<(f64, Instant)>);
        while !potter.done() {
            assert!(at.seconds() < 3600.0, "the session never ended");
            at = at + Duration::from_millis(10);
            for shown in potter.advance(at) {
                let rests = rest_since.is_some_and(|(g, _)| (shown.mass_g - g).abs() < 0.35);
                if !rests {
                    rest_since = Some((shown.mass_g, at));
                }
                let rested = rest_since.is_some_and(|(_, since)| at.seconds_from(since) > 1.0);
                match tare {
                    None if rested && shown.mass_g > 100.0 => {
                        tare = Some(shown.mass_g);
                        potter.handle_cue("ready", at);
                    }
                    Some(bare) if shown.mass_g - bare >= target_g => potter.handle_cue("stop", at),
                    Some(_) if shown.mass_g < 100.0 => tare = None,
                    None | Some(_) => {}
                }
            }
        }
        potter.results().to_vec()
    }

    #[test]
    fn a_plain_tone_at_target_overshoots_by_flow_times_all_delays() {
        // By hand: 8 g/s x (lag 0.30 + age 0.04 + half a period 0.05 + reaction 0.21 + 0.4 x tilt 0.20)
        // + drip 0.3 = 5.7 g; the band allows for chance and for stream push.
        let poured = plain_tone(potter(11, 60, ScaleModel::with_lag(0.3), Table::default()), 30.0);
        assert_eq!(poured.len(), 60);
        assert!(poured.iter().all(|p| p.ending == Ending::Told));
        let mean = poured.iter().map(|p| p.net_g - 30.0).sum::<f64>() / 60.0;
        assert!((4.0..=8.5).contains(&mean), "{mean}");
        let by_hand = 8.0 * (0.30 + 0.04 + 0.05 + 0.21 + 0.08) + 0.3;
        assert!((mean - by_hand).abs() < 0.8, "{mean} against {by_hand}");
    }

    #[test]
    fn without_a_stop_the_potter_gives_up_at_three_times_the_target() {
        let mut potter = potter(5, 1, ScaleModel::fast(), Table::default());
        let mut at = Instant::START;
        while !potter.done() {
            assert!(at.seconds() < 200.0);
            at = at + Duration::from_millis(50);
            potter.advance(at);
            potter.handle_cue("ready", at);
        }
        let poured = potter.results()[0];
        assert_eq!(poured.ending, Ending::GaveUp);
        assert!(poured.net_g >= 90.0 && poured.net_g < 100.0, "{}", poured.net_g);
    }

    #[test]
    fn a_fault_stops_the_pour_and_no_ready_means_no_pour() {
        let mut potter = potter(5, 1, ScaleModel::fast(), Table::default());
        potter.advance(Instant::from_us(20_000_000));
        assert_eq!(potter.plant().left_jug_g(), 0.0);
        potter.handle_cue("ready", Instant::from_us(20_000_000));
        potter.advance(Instant::from_us(22_500_000));
        assert!(potter.plant().pouring());
        potter.handle_cue("fault", Instant::from_us(22_500_000));
        potter.advance(Instant::from_us(40_000_000));
        assert!(potter.done());
        assert_eq!(potter.results()[0].ending, Ending::Fault);
        assert!(potter.results()[0].net_g < 30.0);
    }

    #[test]
    fn a_hand_that_stops_on_a_warning_has_stopped_too_soon() {
        let hasty = Person { false_start_p: 1.0, ..Person::typical() };
        let plant = Plant::new(3, hasty, ScaleModel::fast(), Table::default());
        let mut potter = Potter::new(plant, Script::of(1, 30.0));
        potter.advance(Instant::from_us(3_000_000));
        potter.handle_cue("ready", Instant::from_us(3_000_000));
        potter.advance(Instant::from_us(5_000_000));
        potter.handle_cue("count", Instant::from_us(5_000_000));
        potter.handle_cue("stop", Instant::from_us(6_000_000));
        potter.advance(Instant::from_us(5_600_000));
        assert!(!potter.plant().pouring());
        potter.advance(Instant::from_us(15_000_000));
        assert_eq!(potter.results()[0].ending, Ending::TooSoon);
    }

    #[test]
    fn who_hears_that_a_bare_piece_is_short_sets_it_down_again_three_times_at_most() {
        let mut potter = potter(5, 1, ScaleModel::fast(), Table::default());
        let (mut at, mut lifts) = (Instant::from_us(3_000_000), 0);
        potter.advance(at);
        for _ in 0..5 {
            potter.handle_cue("short", at);
            let (mut lowest_g, until) = (f64::INFINITY, at + Duration::from_secs(3));
            while at < until {
                at = at + Duration::from_millis(50);
                lowest_g = potter.advance(at).iter().map(|shown| shown.mass_g).fold(lowest_g, f64::min);
            }
            lifts += u32::from(lowest_g < 10.0);
            let stands = potter.advance(at + Duration::from_millis(100));
            at = at + Duration::from_millis(100);
            assert!(stands.iter().all(|shown| shown.mass_g > 100.0), "it stands there again: {stands:?}");
        }
        assert_eq!((lifts, potter.plant().piece()), (TRIES, 1));
        potter.handle_cue("ready", at);
        potter.advance(at + Duration::from_secs(4));
        assert!(potter.plant().true_net_g() > 5.0, "and pours at its ready");
    }

    #[test]
    fn the_script_keeps_its_pauses() {
        let mut potter = potter(9, 2, ScaleModel::fast(), Table::default());
        let ready = Instant::from_us(3_000_000);
        potter.advance(ready);
        potter.handle_cue("ready", ready);
        let mut at = ready;
        let mut began = None;
        let mut ended = None;
        let mut lifted = None;
        while potter.plant().piece() < 2 {
            at = at + Duration::from_millis(5);
            potter.advance(at);
            if potter.plant().pouring() && began.is_none() {
                began = Some(at);
                potter.handle_cue("stop", at + Duration::from_secs(2));
            }
            if began.is_some() && potter.plant().stream_ended() && ended.is_none() {
                ended = Some(at);
            }
            if !potter.results().is_empty() && lifted.is_none() {
                lifted = Some(at);
            }
            assert!(at.seconds() < 60.0);
        }
        let (began, ended, lifted) = (began.unwrap(), ended.unwrap(), lifted.unwrap());
        assert!((0.29..0.82).contains(&began.seconds_from(ready)));
        assert!((0.99..2.02).contains(&lifted.seconds_from(ended)));
        assert!((1.99..2.03).contains(&at.seconds_from(lifted)));
    }
}
