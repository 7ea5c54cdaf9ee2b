//! What the scale is known to be by its calibration: which one it goes by, from when on, and what a weight is worth by it.
//! A piece on the pan is weighed to its end as it was begun.

use super::event::{Answer, Reply};
use super::open::not_done;
use super::table::Table;
use crate::calibration::check::{Due, due};
use crate::calibration::correction::Correction;
use crate::calibration::fitness::{Fitness, fitness};
use crate::calibration::report::{Report, report};
use crate::calibration::request::from_json;
use crate::calibration::uncertainty::{Known, combined_g};
use crate::guide::weighed::Weighed;
use crate::page::view::{FitnessView, InForceView};
use crate::pour::engine::Command;
use crate::pour::trace::Input;
use crate::record::{Aim, BatchRecord, CalibrationRecord, CalibrationWrite, CheckRecord};
use crate::store::Write;
use crate::units::to_step;

/// The calibration that a scale goes by.
#[derive(Clone, Debug)]
pub(super) struct InForce {
    pub(super) record: CalibrationRecord,
    pub(super) correction: Correction,
    /// What was found of the scale; none where its readings can't be reckoned with any more.
    pub(super) found: Option<Box<Report>>,
    /// Temperature of the room then.
    pub(super) room_c: Option<f64>,
}

impl InForce {
    /// Of a calibration as it is kept.
    pub(super) fn of(record: CalibrationRecord) -> Self {
        let request = from_json(&record.request).ok();
        let room_c = request.as_ref().and_then(|r| r.room_c);
        let found = request.and_then(|request| report(&request).ok());
        let correction = Correction {
            offset_g: record.offset_g,
            slope: record.slope,
            bend_per_g: record.bend_per_g,
            bends_to_g: found.as_ref().map_or(f64::MAX, |found| found.bends_to_g),
        };
        Self { record, correction, found: found.map(Box::new), room_c }
    }

    /// What is known of the scale by it.
    pub(super) fn known(&self) -> Option<Known> {
        self.found.as_ref().map(|found| found.known)
    }

    /// Standard uncertainty of a net weight of so much, g.
    pub(super) fn net_u_g(&self, net_g: f64) -> Option<f64> {
        self.known().map(|known| combined_g(&known.net(net_g)))
    }

    /// Whether the scale will do for this.
    fn fitness(&self, aim: Aim) -> Option<(Fitness, f64)> {
        let u_g = self.net_u_g(aim.target.g())?;
        Some((fitness(u_g, aim.half_width_g()), u_g))
    }

    /// Step of the display that it was made with, g; where its readings are no longer read a fine one.
    fn step_g(&self) -> f64 {
        self.found.as_ref().map_or(0.001, |found| found.known.division_g)
    }

    /// As told.
    pub(super) fn view(&self) -> InForceView {
        InForceView {
            id: self.record.id.clone(),
            made_at: self.record.made_at.rfc3339(),
            offset_g: to_step(self.record.offset_g, self.step_g()),
            slope: self.record.slope,
            bend_per_g: self.record.bend_per_g,
            verdict: self.record.verdict.clone(),
            room_c: self.room_c,
        }
    }
}

/// The narrowest of what the pieces of a batch should get.
fn narrowest(batch: &BatchRecord) -> Aim {
    let narrower =
        |least: Aim, aim: &Aim| if aim.half_width_g() < least.half_width_g() { *aim } else { least };
    batch.ladder.iter().fold(batch.aim(), narrower)
}

/// Whether the scale will do for this batch, and what is to be said of it: warns, and refuses nothing.
pub(super) fn judged(by: Option<&InForce>, batch: &BatchRecord) -> (Option<FitnessView>, Option<String>) {
    let aim = narrowest(batch);
    let Some((by, (fitness, u_g))) = by.and_then(|by| Some((by, by.fitness(aim)?))) else {
        return (None, None);
    };
    let (expanded_g, half_g) = (2.0 * u_g, aim.half_width_g());
    let said = match fitness {
        Fitness::Good => None,
        Fitness::Usable => Some(format!(
            "the scale's own uncertainty is {expanded_g:.2} g (k = 2), more than a third of the {half_g:.2} g either \
             way: verdicts nearer to a limit than that are uncertain"
        )),
        Fitness::TooCoarse => Some(format!(
            "the scale's own uncertainty is {expanded_g:.2} g (k = 2): too coarse for {half_g:.2} g either way. Widen \
             the tolerance to {:.2} g, or use a finer scale",
            2.0 * expanded_g
        )),
    };
    let told = FitnessView {
        calibration: by.record.id.clone(),
        net_u_g: u_g,
        tolerance_g: half_g,
        verdict: fitness.word(),
    };
    (Some(told), said)
}

impl Table {
    /// What was found of the scale is to be kept, or gone by.
    pub(super) fn keep_calibration(&mut self, write: CalibrationWrite, reply: Reply) {
        match self.log.trouble() {
            Some(why) => reply.tell(Err(not_done(&why))),
            None => drop(self.log.ask(Write::Calibration(write), reply, Answer::Kept)),
        }
    }

    /// It is on disk.
    pub(super) fn follow_calibration(&mut self, write: &Write) {
        let Write::Calibration(write) = write else { return };
        let mine = |scale: &String| *scale == self.parts.scale.id;
        match write {
            CalibrationWrite::Made { record, in_force: true } if mine(&record.scale) => {
                self.next_calibration = Some(Some(InForce::of(record.clone())));
            }
            CalibrationWrite::InForce { scale, calibration, .. } if mine(scale) => {
                self.next_calibration = Some(calibration.as_deref().cloned().map(InForce::of));
            }
            CalibrationWrite::Checked(check) if mine(&check.scale) => self.checked = Some(check.clone()),
            CalibrationWrite::Made { .. }
            | CalibrationWrite::InForce { .. }
            | CalibrationWrite::Checked(_)
            | CalibrationWrite::Masses { .. } => return,
        }
        self.take_calibration();
    }

    /// Between two pieces the scale goes by the newest calibration.
    pub(super) fn take_calibration(&mut self) {
        let between = self.batch.as_ref().is_none_or(super::under_way::Batch::idle);
        if !between || self.next_calibration.is_none() {
            return;
        }
        let Some(next) = self.next_calibration.take() else { return };
        self.calibration = next;
        // Half of them would be weighed by another measure.
        self.weighed = self.weighed.take().map(Weighed::begun_anew);
        self.checked = self.checked.take().filter(|c| self.is_of_now(c));
        // What the jug weighed was by another measure too.
        self.forget_where_jug_stood();
        let correction = self.correction();
        if self.batch.is_some() {
            self.give(Input::Command(Command::Correction(correction), self.parts.clock.now()));
        }
        self.rounds.handle_news();
    }

    /// A check says nothing of a calibration that came after it.
    fn is_of_now(&self, check: &CheckRecord) -> bool {
        check.calibration.as_ref() == self.calibration.as_ref().map(|c| &c.record.id)
    }

    /// Why the scale is to be checked, where it is: the last check was not in order or long ago, or the room is another. Blocks nothing.
    pub(super) fn check_due(&self) -> Option<Due> {
        let by = self.calibration.as_ref()?;
        let checked = self.checked.as_ref().filter(|c| self.is_of_now(c));
        let last = checked.map_or(by.record.made_at, |c| c.made_at.max(by.record.made_at));
        let then_c = checked.and_then(|c| c.room_c).or(by.room_c);
        let gone_us = self.parts.clock.wall().unix_us().saturating_sub(last.unix_us());
        due(checked.map(|c| c.says.as_str()), gone_us / 1_000_000, then_c, self.room_c)
    }

    /// What a begin says of a check that was not in order; the other reasons are said after the first piece.
    pub(super) fn check_said(&self) -> Option<String> {
        match self.check_due()? {
            Due::NotInOrder => Some(
                "the last check of the scale was not in order: check it again, or calibrate it, before weights are \
                 relied on"
                    .to_owned(),
            ),
            Due::Day | Due::Room => None,
        }
    }

    /// The room is now this warm, degrees Celsius.
    pub(super) fn handle_room(&mut self, room_c: Option<f64>, reply: &Reply) {
        if reply.wanted.take() {
            self.room_c = room_c;
            self.rounds.handle_news();
            reply.tell(Ok(Answer::Kept));
        }
    }

    /// What sets the scale right now.
    pub(super) fn correction(&self) -> Correction {
        self.calibration.as_ref().map_or(Correction::NONE, |c| c.correction)
    }
}
