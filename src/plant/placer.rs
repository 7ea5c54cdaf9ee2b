//! A simulated hand that sets reference masses down as it is asked, for a calibration without anybody at the pan.
//!
//! Goes by words and grams alone and does not know who asks. All times are invented.

use super::Plant;
use super::chance::Chance;

const FOR_PLACING: u64 = 6;
/// From what is asked to the mass on the pan, seconds: of a hand that has it ready (a guess), and of one that need not reach.
const REACH_S: (f64, f64) = (0.8, 1.6);
const AT_ONCE_S: (f64, f64) = (0.1, 0.2);
/// What it takes for a piece, for a heavy and for a light thing, grams (invented).
const PIECE_G: f64 = 312.4;
const LIGHT_G: f64 = 12.6;

/// What lies on the pan by its doing.
#[derive(Clone, Debug)]
pub struct Placer {
    chance: Chance,
    /// Which step it did last.
    turn: Option<usize>,
    on_g: f64,
    /// What it had in the hand last.
    thing_g: f64,
    /// What a mass shows more off the middle, as a share of it: towards each of four corners.
    off_centre: [f64; 4],
    reach_s: (f64, f64),
}

impl Placer {
    /// A hand with its own dice; `off_centre` as of the scale that it works at.
    pub fn new(seed: u64, off_centre: [f64; 4]) -> Self {
        let chance = Chance::of(seed, FOR_PLACING, 0);
        Self { chance, turn: None, on_g: 0.0, thing_g: 0.0, off_centre, reach_s: REACH_S }
    }

    /// The same, as quick as can be: for whoever waits in real time.
    #[must_use]
    pub fn at_once(self) -> Self {
        Self { reach_s: AT_ONCE_S, ..self }
    }

    /// Asked once for each step (`turn` tells them apart): a word of what to do and the grams of the mass it is about.
    pub fn handle_step(
        &mut self,
        plant: &mut Plant,
        turn: usize,
        word: &str,
        mass_g: f64,
        place: Option<usize>,
    ) {
        if self.turn.replace(turn) == Some(turn) {
            return;
        }
        let (was_g, mut felt) = (self.on_g, 1.0);
        match word {
            "put" => self.on_g = mass_g,
            "add" | "on-top" => self.on_g += mass_g,
            "take-off" => self.on_g -= mass_g,
            "move" => {
                self.on_g = mass_g;
                felt += place.and_then(|at| self.off_centre.get(at)).copied().unwrap_or(0.0);
            }
            "piece" | "heavy" => (self.on_g, self.thing_g) = (PIECE_G, PIECE_G),
            "light" => (self.on_g, self.thing_g) = (LIGHT_G, LIGHT_G),
            "again" => self.on_g = self.thing_g,
            "empty" | "off" | "lift" => self.on_g = 0.0,
            _ => return,
        }
        if (was_g - self.on_g).abs() > 0.0 {
            let at = plant.now().offset_seconds(self.chance.between(self.reach_s.0, self.reach_s.1));
            plant.bear(at, felt * self.on_g);
        }
    }
}
