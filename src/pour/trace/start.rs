//! The start values of a trace.

use super::{
    BadTrace, Bytes, FIRST_VERSION, Start, mass, micrograms, put, put_aim, put_correction, put_optional,
};
use crate::pour::PourSettings;
use crate::pour::anew::Anew;
use crate::pour::ease::Ease;
use crate::pour::finish::Finish;
use crate::pour::guidance::Guidance;
use crate::pour::hand::{Hand, Trickle};
use crate::pour::jug::Jug;
use crate::pour::kept::{Kept, Memory};
use crate::pour::pace::Pace;
use crate::pour::state::Pour;
use crate::pour::vessel::Vessel;
use crate::pour::ware::Ware;
use crate::record::{Aim, Marks, Verdict};
use crate::scale::{Origin, ScaleFacts};
use crate::time::{Duration, Instant};
use crate::units::Mass;

const ORIGINS: [Origin; 3] = [Origin::Assumed, Origin::Told, Origin::Learned];
const VERDICTS: [Verdict; 4] = [Verdict::Good, Verdict::Short, Verdict::Over, Verdict::Void];

pub(super) fn put_start(out: &mut Vec<u8>, s: &Start) {
    for mass in [s.target, s.low, s.high, s.scale.step, s.scale.noise, s.settings.min_piece] {
        put(out, micrograms(mass));
    }
    for us in [s.scale.lag, s.ahead, s.settings.approach] {
        put(out, us.as_micros() as i64);
    }
    put(out, (s.hand.hand_s * 1e9).round() as i64);
    put(out, i64::from(s.hand.pours));
    put(out, i64::from(s.first_piece));
    put(out, micrograms(s.zero));
    put(out, bits(&[s.held, s.lift_first, s.lost, s.lost_said]));
    // From here on of version 5.
    put(out, s.settings.vessel as i64);
    put(out, s.settings.contact_limit.as_micros() as i64);
    put_optional(out, s.spare.map(micrograms));
    put_optional(out, s.ware.given.map(|(least, _)| micrograms(least)));
    put_optional(out, s.ware.given.map(|(_, greatest)| micrograms(greatest)));
    put(out, i64::from(s.ware.n));
    put(out, millionths(s.ware.mean_g));
    put(out, millionths(s.ware.squares_g2));
    put_optional(out, s.ware.unlike_g.map(millionths));
    put(out, i64::from(s.memory.came_back));
    put(out, i64::from(s.memory.new));
    put(out, s.memory.kept.len() as i64);
    for kept in &s.memory.kept {
        put_kept(out, kept);
    }
    // From here on of version 8.
    put(out, millionths(s.hand.ease.kept));
    put(out, i64::from(s.hand.ease.pours));
    put_optional(out, s.hand.lag_s.map(millionths));
    put_optional(out, s.hand.scatter_s.map(millionths));
    put(out, s.settings.guidance as i64);
    put(out, s.scale.lag_origin as i64);
    put(out, s.lags.until.us() as i64);
    put(out, s.lags.of_steps_s.len() as i64);
    for lag_s in &s.lags.of_steps_s {
        put(out, millionths(*lag_s));
    }
    // From here on of version 9.
    for kept in &s.memory.kept {
        put_aim(out, &kept.pour.aim);
    }
    put_paces(out, s);
}

/// What is of version 10.
fn put_paces(out: &mut Vec<u8>, s: &Start) {
    for pace in [s.hand.pace, s.hand.trickle.pace] {
        put(out, millionths(pace.flow_g_s));
        put(out, millionths(pace.cv));
        put(out, i64::from(pace.pours));
    }
    put(out, millionths(s.hand.trickle.hand_s));
    put(out, s.settings.finish as i64);
    // From here on of version 11.
    put_correction(out, &s.correction);
    // From here on of version 13.
    put(out, i64::from(s.jug.is_some()));
    if let Some(jug) = &s.jug {
        put(out, micrograms(jug.empty));
        put_optional(out, jug.slop.map(micrograms));
        put_optional(out, jug.lifted.map(|(gross, _)| micrograms(gross)));
        put(out, jug.lifted.map_or(0, |(_, at)| at.us() as i64));
    }
    // From here on of version 14.
    for kept in &s.memory.kept {
        put(out, millionths(kept.zero_g));
    }
    // From here on of version 15.
    put(out, i64::from(s.memory.anew.is_some()));
    if let Some(anew) = &s.memory.anew {
        put(out, millionths(anew.gross_g));
        put(out, anew.lifted_at.us() as i64);
        put(out, millionths(anew.times));
        put(out, i64::from(anew.taken_for.is_some()));
        if let Some(kept) = &anew.taken_for {
            put_kept(out, kept);
            put_aim(out, &kept.pour.aim);
            put(out, millionths(kept.zero_g));
        }
        put(out, i64::from(anew.in_vain));
        put(out, i64::from(anew.unsaid.is_some()));
        if let Some((verdict, net)) = anew.unsaid {
            put(out, verdict as i64);
            put(out, millionths(net));
        }
    }
}

/// What a piece that may come back had in the first version that told of it.
fn put_kept(out: &mut Vec<u8>, kept: &Kept) {
    put_pour(out, &kept.pour);
    put(out, millionths(kept.gross_g));
    put(out, millionths(kept.u_g));
    put(out, kept.lifted_at.us() as i64);
}

fn put_pour(out: &mut Vec<u8>, p: &Pour) {
    for count in [p.piece, p.rev, p.top_ups] {
        put(out, i64::from(count));
    }
    put(out, millionths(p.tare));
    put(out, p.started.us() as i64);
    for value in [p.first_net, p.net, p.net_u, p.flow_g_s, p.stop_cue, p.rolled] {
        put_optional(out, value.map(millionths));
    }
    put_optional(out, p.first_slop.map(|t| t.us() as i64));
    put_optional(out, p.contact.map(|d| d.as_micros() as i64));
    put(out, p.verdict as i64);
    put(out, i64::from(p.marks.bits()));
    put(out, millionths(p.unsure_g));
    let flags = [p.settled, p.guided, p.troubled, p.unheard, p.ran_on, p.promised, p.came_back, p.paused];
    // A trace of before the last one was kept has none of it.
    put(out, bits(&flags) | i64::from(p.told) << flags.len());
}

fn millionths(value: f64) -> i64 {
    (value * 1e6).round() as i64
}

fn bits(flags: &[bool]) -> i64 {
    (0..).zip(flags).map(|(bit, set)| i64::from(*set) << bit).sum()
}

impl Bytes<'_> {
    fn grams(&mut self) -> Result<f64, BadTrace> {
        Ok(self.take()? as f64 / 1e6)
    }

    fn optional_grams(&mut self) -> Result<Option<f64>, BadTrace> {
        Ok(self.optional()?.map(|ug| ug as f64 / 1e6))
    }

    fn instant(&mut self) -> Result<Instant, BadTrace> {
        u64::try_from(self.take()?).map(Instant::from_us).map_err(|_| BadTrace::Broken(self.at))
    }

    fn one_of<T: Copy>(&mut self, all: &[T]) -> Result<T, BadTrace> {
        let index = usize::try_from(self.take()?).map_err(|_| BadTrace::Broken(self.at))?;
        all.get(index).copied().ok_or(BadTrace::Broken(self.at))
    }

    pub(super) fn start(&mut self, version: u8) -> Result<Start, BadTrace> {
        let (target, low, high) = (mass(self.take()?), mass(self.take()?), mass(self.take()?));
        let (step, noise, min_piece) = (mass(self.take()?), mass(self.take()?), mass(self.take()?));
        let (lag, ahead, approach) = (self.span()?, self.span()?, self.span()?);
        let hand = Hand { hand_s: self.take()? as f64 / 1e9, pours: self.count()?, ..Hand::default() };
        let first_piece = self.piece()?;
        let (zero, marks) =
            if version == FIRST_VERSION { (Mass::ZERO, 0) } else { (mass(self.take()?), self.take()?) };
        let scale = ScaleFacts { id: "trace".into(), step, noise, lag, lag_origin: Origin::Told };
        let mut start = Start {
            hand,
            ahead,
            settings: PourSettings { min_piece, approach, ..PourSettings::default() },
            first_piece,
            zero,
            held: marks & 1 != 0,
            lift_first: marks & 2 != 0,
            lost: marks & 4 != 0,
            lost_said: marks & 8 != 0,
            ..Start::fresh(Aim { target, low, high }, scale)
        };
        if version >= 5 {
            self.seen(&mut start)?;
        }
        if version >= 8 {
            self.guided(&mut start)?;
        }
        if version >= 9 {
            for kept in &mut start.memory.kept {
                kept.pour.aim = self.aim()?;
            }
        }
        if version >= 10 {
            start.hand.pace = self.pace()?;
            start.hand.trickle = Trickle { pace: self.pace()?, hand_s: self.grams()? };
            start.settings.finish = self.one_of(&Finish::ALL)?;
        }
        if version >= 11 {
            start.correction = self.correction(version)?;
        }
        if version >= 13 && self.take()? != 0 {
            start.jug = Some(self.jug()?);
        }
        if version >= 14 {
            self.remembered(&mut start, version)?;
        }
        Ok(start)
    }

    /// What versions 14 and 15 have besides.
    fn remembered(&mut self, start: &mut Start, version: u8) -> Result<(), BadTrace> {
        for kept in &mut start.memory.kept {
            kept.zero_g = self.grams()?;
        }
        if version >= 15 && self.take()? != 0 {
            start.memory.anew = Some(self.anew()?);
        }
        Ok(())
    }

    fn anew(&mut self) -> Result<Anew, BadTrace> {
        let (gross_g, lifted_at, times) = (self.grams()?, self.instant()?, self.grams()?);
        let taken_for = if self.take()? != 0 { Some(Box::new(self.kept_whole()?)) } else { None };
        let in_vain = self.take()? != 0;
        let unsaid = if self.take()? != 0 { Some((self.one_of(&VERDICTS)?, self.grams()?)) } else { None };
        Ok(Anew { gross_g, lifted_at, times, taken_for, unsaid, in_vain })
    }

    fn kept_whole(&mut self) -> Result<Kept, BadTrace> {
        let mut kept = self.kept()?;
        kept.pour.aim = self.aim()?;
        kept.zero_g = self.grams()?;
        Ok(kept)
    }

    /// A piece that may come back, with what the first version that told of it had.
    fn kept(&mut self) -> Result<Kept, BadTrace> {
        let pour = self.pour()?;
        let (gross_g, u_g, lifted_at) = (self.grams()?, self.grams()?, self.instant()?);
        Ok(Kept { pour, gross_g, u_g, zero_g: 0.0, lifted_at })
    }

    /// What version 8 has besides.
    fn guided(&mut self, start: &mut Start) -> Result<(), BadTrace> {
        start.hand.ease = Ease { kept: self.grams()?, pours: self.count()? };
        start.hand.lag_s = self.optional_grams()?;
        start.hand.scatter_s = self.optional_grams()?;
        start.settings.guidance = self.one_of(&Guidance::ALL)?;
        start.scale.lag_origin = self.one_of(&ORIGINS)?;
        start.lags.until = self.instant()?;
        for _ in 0..self.count()? {
            start.lags.of_steps_s.push_back(self.grams()?);
        }
        Ok(())
    }

    fn jug(&mut self) -> Result<Jug, BadTrace> {
        let (empty, slop) = (mass(self.take()?), self.optional()?.map(mass));
        let (gross, at) = (self.optional()?.map(mass), self.instant()?);
        Ok(Jug { empty, slop, lifted: gross.map(|gross| (gross, at)) })
    }

    fn pace(&mut self) -> Result<Pace, BadTrace> {
        Ok(Pace { flow_g_s: self.grams()?, cv: self.grams()?, pours: self.count()? })
    }

    /// What version 5 has besides.
    fn seen(&mut self, start: &mut Start) -> Result<(), BadTrace> {
        start.settings.vessel = self.one_of(&Vessel::ALL)?;
        start.settings.contact_limit = self.span()?;
        start.spare = self.optional()?.map(mass);
        let given = self.optional()?.map(mass).zip(self.optional()?.map(mass));
        let (n, mean_g, squares_g2) = (self.count()?, self.grams()?, self.grams()?);
        start.ware = Ware { given, n, mean_g, squares_g2, unlike_g: self.optional_grams()? };
        start.memory = Memory { came_back: self.count()?, new: self.count()?, ..Memory::default() };
        for _ in 0..self.count()? {
            let mut kept = self.kept()?;
            // Before version 9 all pieces of a batch had one target.
            kept.pour.aim = Aim { target: start.target, low: start.low, high: start.high };
            // Before version 14 nobody knew what lay on the pan since.
            kept.zero_g = start.zero.g();
            start.memory.kept.push_back(kept);
        }
        Ok(())
    }

    fn pour(&mut self) -> Result<Pour, BadTrace> {
        let (piece, rev, top_ups) = (self.piece()?, self.count()?, self.count()?);
        let tare = self.grams()?;
        let mut pour = Pour { rev, top_ups, ..Pour::open(piece, Aim::default(), tare, self.instant()?) };
        (pour.first_net, pour.net) = (self.optional_grams()?, self.optional_grams()?);
        (pour.net_u, pour.flow_g_s) = (self.optional_grams()?, self.optional_grams()?);
        (pour.stop_cue, pour.rolled) = (self.optional_grams()?, self.optional_grams()?);
        let time = |us: Option<i64>| us.map(|us| us.unsigned_abs());
        pour.first_slop = time(self.optional()?).map(Instant::from_us);
        pour.contact = time(self.optional()?).map(Duration::from_micros);
        pour.verdict = self.one_of(&VERDICTS)?;
        pour.marks = Marks::from_bits(self.take()?);
        pour.unsure_g = self.grams()?;
        let flags = self.take()?;
        let flag = |bit: u32| flags >> bit & 1 != 0;
        (pour.settled, pour.guided, pour.troubled, pour.unheard) = (flag(0), flag(1), flag(2), flag(3));
        (pour.ran_on, pour.promised, pour.came_back, pour.paused) = (flag(4), flag(5), flag(6), flag(7));
        pour.told = flag(8);
        Ok(pour)
    }
}
