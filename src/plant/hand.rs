//! A simulated hand with a jug, and the stream between jug and pot.

use super::chance::Chance;
use super::scale::TICK_S;
use std::collections::VecDeque;

/// Gravity, m/s2.
const G: f64 = 9.81;
/// A stream starts within this, s.
const START_S: f64 = 0.3;
/// Memory of the flow's wander, s.
const MEMORY_S: f64 = 1.5;

/// What a simulated hand is like. Reaction times are ex-Gaussian: the sum of a normal
/// and an exponential part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Person {
    /// Mean of the normal part, s.
    pub mu_s: f64,
    /// Its standard deviation, s.
    pub sigma_s: f64,
    /// Mean of the exponential part, s.
    pub tau_s: f64,
    /// Mean flow, g/s.
    pub flow_g_s: f64,
    /// Relative scatter of the flow from pour to pour.
    pub flow_scatter: f64,
    /// Relative wander of the flow within a pour.
    pub wander: f64,
}

impl Person {
    /// Reaction of 0.21 s with 0.045 s of scatter, 8 g/s: a guess at an ordinary hand.
    pub fn ordinary() -> Self {
        Self { mu_s: 0.17, sigma_s: 0.02, tau_s: 0.04, flow_g_s: 8.0, flow_scatter: 0.25, wander: 0.12 }
    }

    /// The same hand, slower by this.
    pub fn slower_by(self, seconds: f64) -> Self {
        Self { mu_s: self.mu_s + seconds, ..self }
    }
}

/// One pour's stream.
#[derive(Clone, Debug)]
pub struct Stream {
    chance: Chance,
    person: Person,
    flow_g_s: f64,
    wander: f64,
    since_start_s: f64,
    /// Seconds until the tilt back begins, once a stop was heard.
    reaction_s: Option<f64>,
    tilting_s: f64,
    tilt_s: f64,
    drip_g: f64,
    /// Flow in the air, oldest first, one value a tick.
    air: VecDeque<f64>,
    landing_speed: f64,
    left_jug_g: f64,
    landed_g: f64,
}

impl Stream {
    /// A pour by this person that begins now.
    pub fn new(person: Person, seed: u64) -> Self {
        let mut chance = Chance::new(seed);
        let (height_m, lip_speed) = (chance.uniform(0.05, 0.15), chance.uniform(0.0, 0.2));
        let landing_speed = (lip_speed * lip_speed + 2.0 * G * height_m).sqrt();
        let fall_s = (landing_speed - lip_speed) / G;
        let flow_g_s = chance.lognormal(person.flow_g_s, person.flow_scatter).clamp(3.0, 15.0);
        Self {
            person,
            flow_g_s,
            wander: chance.normal(),
            since_start_s: 0.0,
            reaction_s: None,
            tilting_s: 0.0,
            tilt_s: chance.lognormal(0.2, 0.15),
            drip_g: chance.lognormal(0.3, 0.4),
            air: VecDeque::from(vec![0.0; (fall_s / TICK_S).round().max(1.0) as usize]),
            landing_speed,
            left_jug_g: 0.0,
            landed_g: 0.0,
            chance,
        }
    }

    /// A stop is heard in `in_s` seconds (negative: it was heard already).
    pub fn hear_stop(&mut self, in_s: f64) {
        if self.reaction_s.is_none() {
            let person = self.person;
            let reaction =
                person.mu_s + person.sigma_s * self.chance.normal() + self.chance.exponential(person.tau_s);
            self.reaction_s = Some(in_s + reaction.max(0.1));
        }
    }

    /// One tick; gives the force on the pan in grams.
    pub fn tick(&mut self) -> f64 {
        self.since_start_s += TICK_S;
        let decay = (-TICK_S / MEMORY_S).exp();
        self.wander = self.wander * decay + (1.0 - decay * decay).sqrt() * self.chance.normal();
        let out = self.out_g_s();
        self.left_jug_g += out * TICK_S;
        self.air.push_back(out);
        let landing = self.air.pop_front().unwrap_or(0.0);
        self.landed_g += landing * TICK_S;
        self.landed_g + landing * self.landing_speed / G
    }

    fn out_g_s(&mut self) -> f64 {
        let start = (self.since_start_s / START_S).min(1.0);
        let full = self.flow_g_s * (self.person.wander * self.wander).exp() * start;
        let Some(reaction_s) = &mut self.reaction_s else { return full };
        if *reaction_s > 0.0 {
            *reaction_s -= TICK_S;
            return full;
        }
        self.tilting_s += TICK_S;
        let left = (1.0 - self.tilting_s / self.tilt_s).max(0.0);
        // Flow over a lip goes as head to the power 1.5 (weir law); then the drip, over 0.2 s.
        let drip = self.drip_g / 0.2 * (-self.tilting_s / 0.2).exp();
        full * left.powf(1.5) + drip
    }

    /// Mass out of the jug, g.
    pub fn left_jug_g(&self) -> f64 {
        self.left_jug_g
    }

    /// Mass in the pot, g.
    pub fn landed_g(&self) -> f64 {
        self.landed_g
    }

    /// The stream has ended: tilt back and drip are over.
    pub fn ended(&self) -> bool {
        self.tilting_s > self.tilt_s + 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_steady_stream_weighs_on_the_pan_what_has_left_the_jug() {
        let steady = Person { wander: 0.0, ..Person::ordinary() };
        for seed in 0..20 {
            let mut stream = Stream::new(steady, seed);
            let pan = (0..2000).map(|_| stream.tick()).last().expect("ticks");
            // The lip's own speed (up to 0.2 m/s) adds flow times speed over g: derived, at most 0.31 g at 15 g/s.
            let allowed = stream.flow_g_s * 0.2 / G + 0.02;
            let excess = pan - stream.left_jug_g();
            assert!((-0.02..=allowed).contains(&excess), "seed {seed}: {excess} g");
        }
    }
}
