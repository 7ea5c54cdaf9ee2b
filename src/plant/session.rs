//! A simulated potter at the table: places pieces, pours when ready, stops when told,
//! waits for the verdict, lifts, and takes the next piece.

use super::chance::Chance;
use super::hand::{Person, Stream};
use super::scale::{Scale, ScaleModel, Shown, TICK_S};
use crate::time::Instant;

/// A piece set down presses with this time constant, s (a guess).
const SET_DOWN_S: f64 = 0.05;
/// A potter who hears nothing stops by eye at this many targets.
const BY_EYE: f64 = 2.5;

/// What a piece really got.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Poured {
    /// Piece, from 1.
    pub piece: u32,
    /// True net mass in the pot, g.
    pub net_g: f64,
}

#[derive(Clone, Debug)]
enum Doing {
    /// Nothing on the pan until then.
    Away { until_s: f64 },
    /// A piece is on the pan; pours once `ready` was heard and this has passed.
    Waiting { begins_s: Option<f64> },
    /// The stream runs, or has just ended.
    Pouring { stream: Box<Stream>, ended_s: Option<f64> },
}

/// The potter.
#[derive(Clone, Debug)]
pub struct Potter {
    chance: Chance,
    person: Person,
    scale: Scale,
    target_g: f64,
    pieces: u32,
    piece: u32,
    piece_g: f64,
    on_pan_g: f64,
    now_s: f64,
    ticks: u64,
    doing: Doing,
    /// What each finished piece got.
    pub results: Vec<Poured>,
}

impl Potter {
    /// A potter who will pour this many pieces; the first lands 1.5 s after the start.
    pub fn new(seed: u64, person: Person, scale: ScaleModel, target_g: f64, pieces: u32) -> Self {
        Self {
            chance: Chance::new(seed),
            person,
            scale: Scale::new(scale),
            target_g,
            pieces,
            piece: 0,
            piece_g: 0.0,
            on_pan_g: 0.0,
            now_s: 0.0,
            ticks: 0,
            doing: Doing::Away { until_s: 1.5 },
            results: Vec::new(),
        }
    }

    /// Hears a cue that sounds at `due`; only `ready`, `stop` and `fault` change what is done.
    pub fn handle_cue(&mut self, cue: &str, due: Instant) {
        let in_s = due.seconds() - self.now_s;
        match (cue, &mut self.doing) {
            ("ready", Doing::Waiting { begins_s }) => {
                begins_s.get_or_insert(self.now_s + in_s.max(0.0) + self.chance.uniform(0.3, 0.8));
            }
            ("stop" | "fault", Doing::Pouring { stream, .. }) => stream.hear_stop(in_s),
            _ => {}
        }
    }

    /// Goes on until `to`; gives the readings sent on the way.
    pub fn advance(&mut self, to: Instant) -> Vec<Shown> {
        let mut shown = Vec::new();
        while self.now_s + TICK_S <= to.seconds() {
            self.ticks += 1;
            self.now_s = self.ticks as f64 * TICK_S;
            let pan_g = self.act();
            shown.extend(self.scale.tick(self.now_s, pan_g, &mut self.chance));
        }
        shown
    }

    /// All pieces are poured and lifted.
    pub fn done(&self) -> bool {
        self.results.len() >= self.pieces as usize
    }

    /// One tick of hand and pot: what presses on the pan.
    fn act(&mut self) -> f64 {
        let now_s = self.now_s;
        let mut slop_g = 0.0;
        match &mut self.doing {
            Doing::Away { until_s } => {
                if now_s >= *until_s && self.results.len() < self.pieces as usize {
                    self.piece += 1;
                    self.piece_g = 300.0 + 8.0 * self.chance.normal();
                    self.doing = Doing::Waiting { begins_s: None };
                } else {
                    self.piece_g = 0.0;
                }
            }
            Doing::Waiting { begins_s } => {
                if begins_s.is_some_and(|at| now_s >= at) {
                    let stream = Box::new(Stream::new(self.person, self.chance.bits()));
                    self.doing = Doing::Pouring { stream, ended_s: None };
                }
            }
            Doing::Pouring { stream, ended_s } => {
                slop_g = stream.tick();
                if stream.left_jug_g() > BY_EYE * self.target_g {
                    stream.hear_stop(0.0);
                }
                if stream.ended() {
                    let ended = *ended_s.get_or_insert(now_s + self.chance.uniform(1.8, 2.6));
                    if now_s >= ended {
                        self.results.push(Poured { piece: self.piece, net_g: stream.landed_g() });
                        self.doing = Doing::Away { until_s: now_s + 1.2 };
                        self.on_pan_g = 0.0;
                        slop_g = 0.0;
                        self.piece_g = 0.0;
                    }
                }
            }
        }
        let settle = 1.0 - (-TICK_S / SET_DOWN_S).exp();
        self.on_pan_g += (self.piece_g - self.on_pan_g) * settle;
        self.on_pan_g + slop_g
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_readings() {
        let run = |seed| {
            let mut p = Potter::new(seed, Person::ordinary(), ScaleModel::with_lag(0.3), 29.0, 1);
            let mut shown = p.advance(Instant::from_us(3_000_000));
            p.handle_cue("ready", Instant::from_us(3_000_000));
            shown.extend(p.advance(Instant::from_us(9_000_000)));
            shown
        };
        assert_eq!(run(7), run(7));
        assert_ne!(run(7), run(8));
    }
}
