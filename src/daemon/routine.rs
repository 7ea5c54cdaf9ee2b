//! A calibration or a check at the table: begun and left off by a wish, led by what the scale shows, kept when it is done.
//! Never in a batch; one that is left off has changed nothing.

use super::event::{Answer, Reply};
use super::lateness;
use super::open::not_done;
use super::table::Table;
use super::weighing::AtPan;
use crate::batch::Refused;
use crate::calibration::check::{Says, says, weighed};
use crate::calibration::reference::Reference;
use crate::calibration::report::report;
use crate::calibration::request::CalibrationRequest;
use crate::guide::calibrate::{Heard, Outcome, Routine, Wish};
use crate::page::desk::{Refusal, RoutineWish};
use crate::page::view::{CueView, Event as Told, RoutineView};
use crate::page::words;
use crate::pour::entry::{Cue, CueCall};
use crate::reading::Weighing;
use crate::record::{CalibrationRecord, CalibrationWrite, CheckRecord};
use crate::store::Write;
use crate::units::Mass;

/// A routine, and what became of it.
pub(super) struct Run {
    routine: Routine,
    result: Option<String>,
    verdict: Option<&'static str>,
    refused: Option<String>,
    /// What it says is to be looked at: the scale is not as it should be.
    look: bool,
}

impl Run {
    fn new(routine: Routine) -> Self {
        Self { routine, result: None, verdict: None, refused: None, look: false }
    }

    /// It is under way.
    pub(super) fn goes_on(&self) -> bool {
        self.routine.outcome().is_none()
    }

    pub(super) fn is_check(&self) -> bool {
        self.routine.is_check()
    }

    /// The cue for a step, in the meaning that it has in a pour: at the pan eyes and hands are busy as well.
    fn cue(&self, heard: Heard) -> Cue {
        match heard {
            Heard::Taken => Cue::Ready,
            Heard::Wrong => Cue::Fault,
            Heard::Again => Cue::Short,
            Heard::Over if self.refused.is_some() => Cue::Fault,
            Heard::Over if self.look => Cue::Note,
            Heard::Over => Cue::Clear,
        }
    }

    /// As told.
    pub(super) fn view(&self) -> RoutineView {
        let step = self.routine.poll_step();
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let (says, amiss_says) = words::of_step(&step);
        RoutineView {
            kind: if self.routine.is_check() { "check" } else { "calibration" },
            wants: step.ask.word(),
            says,
            mass: step.mass.as_ref().map(|m| m.name.clone()),
            mass_g: step.mass.as_ref().map(|m| m.reference.mass_g),
            place: step.ask.place().map(|place| place.word()),
            seconds_left: step.seconds_left,
            amiss: step.amiss.map(|a| a.word()),
            amiss_says,
            done: count(step.done),
            steps: count(step.steps),
            result: self.result.clone(),
            verdict: self.verdict,
            refused: self.refused.clone(),
        }
    }
}

fn unfit(refused: Refused) -> Refusal {
    Refusal::Unfit { field: refused.field, why: refused.reason }
}

impl Table {
    /// A routine begins where none is under way; none: the one under way is left off.
    pub(super) fn begin_routine(&mut self, wish: Option<RoutineWish>, reply: &Reply) {
        let made = match wish {
            None => Ok(None),
            Some(wish) => self.new_routine(wish).map(Some),
        };
        let made = match made {
            Ok(made) => made,
            Err(refusal) => return reply.tell(Err(refusal)),
        };
        // One that was withdrawn is not begun.
        if !reply.wanted.take() {
            return;
        }
        self.routine = made.map(Run::new);
        self.parts.outlet.routine(self.routine.is_some());
        if self.routine.is_some() {
            // What was done before is not told beside it.
            (self.test, self.weighed) = (None, None);
        }
        self.rounds.handle_news();
        let view = self.routine.as_ref().map(|run| Box::new(run.view()));
        reply.tell(Ok(Answer::Routine(view)));
    }

    fn new_routine(&self, wish: RoutineWish) -> Result<Routine, Refusal> {
        let kind = if wish.check { AtPan::Check } else { AtPan::Calibration };
        self.pan_is_free_for(kind)?;
        if self.batch.is_some() || self.beginning.is_some() {
            let why = "a batch is under way: end it first, then calibrate or check the scale";
            return Err(Refusal::Conflict(why.to_owned()));
        }
        if let Some(why) = self.log.trouble() {
            return Err(not_done(&why));
        }
        let scale = &self.parts.scale;
        let check = wish.check;
        let wish = Wish {
            masses: wish.masses,
            parts: wish.parts,
            division_g: scale.step.g(),
            capacity_g: self.parts.capacity.map(Mass::g),
            pour_g: wish.pour_g,
            drift_share: wish.drift_share,
            piece_g: wish.piece_g,
            // Told with it, or before.
            room_c: wish.room_c.or(self.room_c),
            operator: wish.operator,
        };
        if check { Routine::check(wish) } else { Routine::new(wish, scale) }.map_err(unfit)
    }

    /// The pan shows this, as indicated, to the routine under way.
    pub(super) fn follow_routine(&mut self, w: Weighing, rest: Option<Mass>) {
        let Some(run) = self.routine.as_mut() else { return };
        let over = run.routine.handle_weighing(w, rest);
        let heard = run.routine.poll_heard();
        if let Some(outcome) = run.routine.outcome().cloned().filter(|_| over) {
            self.keep_outcome(outcome);
        }
        if let Some(heard) = heard {
            self.tell_heard(heard);
        }
        if over {
            self.parts.outlet.routine(false);
        }
    }

    /// A step is heard on every loudspeaker, and is no cue of a pour: the page's last one stays.
    fn tell_heard(&mut self, heard: Heard) {
        let Some(cue) = self.routine.as_ref().map(|run| run.cue(heard)) else { return };
        let at = self.parts.clock.now();
        let due = at + self.parts.outlet.hearing().ahead;
        self.cues += 1;
        let call = CueCall { n: self.cues, cue, at, due, left: None, piece: 0, about: None };
        self.parts.outlet.play(&call);
        self.rounds.handle_news();
        // No client is no error.
        let view = CueView { routine: Some(heard.word()), ..CueView::from(&call) };
        let _ = self.parts.told.send(Told::Cue(view));
    }

    fn keep_outcome(&mut self, outcome: Outcome) {
        match outcome {
            Outcome::Calibration { request, lag } => {
                if let Some(found) = lag {
                    let (scale, lag) = (self.parts.scale.id.clone(), lateness::measured(&found));
                    self.log.add(Write::Lag { scale, lag });
                }
                self.room_c = request.room_c.or(self.room_c);
                self.keep_found(&request);
            }
            Outcome::Check { mass, shown_g, room_c } => self.keep_check(mass, shown_g, room_c),
        }
    }

    /// More lies there than the scale carries.
    pub(super) fn overload_routine(&mut self) {
        let Some(run) = &mut self.routine else { return };
        run.routine.handle_overload();
        if let Some(heard) = run.routine.poll_heard() {
            self.tell_heard(heard);
        }
    }

    /// It counts from when it is on disk.
    fn keep_found(&mut self, request: &CalibrationRequest) {
        let (scale, made_at) = (self.parts.scale.id.clone(), self.parts.clock.wall());
        let Some(run) = &mut self.routine else { return };
        let found = match report(request) {
            Ok(found) => found,
            Err(refused) => {
                run.refused = Some(refused.reason);
                return;
            }
        };
        let record = CalibrationRecord {
            id: uuid::Uuid::now_v7().to_string(),
            scale,
            made_at,
            // Shapes of strings and numbers always have a JSON form.
            request: serde_json::to_string(request).unwrap_or_default(),
            offset_g: found.offset_g,
            slope: found.slope,
            bend_per_g: found.bend_per_g,
            verdict: found.fitness.word().to_owned(),
        };
        let verdict = found.misfit_g.map_or(found.fitness.word(), |_| "does-not-fit");
        (run.result, run.verdict) = (Some(record.id.clone()), Some(verdict));
        let in_force = found.goes_unasked();
        run.look = !in_force;
        self.log.add(Write::Calibration(CalibrationWrite::Made { record, in_force }));
    }

    fn keep_check(&mut self, mass: Reference, shown_g: f64, room_c: Option<f64>) {
        let by = self.calibration.as_ref();
        let found = by.and_then(|by| by.found.as_deref());
        let found = weighed(found, self.correction(), self.parts.scale.step.g(), mass, shown_g);
        let said = says(found.error_g, found.u_g);
        // What was not told with it was perhaps told before; later moves are counted from here.
        self.room_c = room_c.or(self.room_c);
        let check = CheckRecord {
            id: uuid::Uuid::now_v7().to_string(),
            scale: self.parts.scale.id.clone(),
            calibration: by.map(|by| by.record.id.clone()),
            made_at: self.parts.clock.wall(),
            mass_g: mass.mass_g,
            shown_g,
            error_g: found.error_g,
            u_g: found.u_g,
            room_c: self.room_c,
            says: said.word().to_owned(),
        };
        if let Some(run) = &mut self.routine {
            (run.result, run.verdict) = (Some(check.id.clone()), Some(said.word()));
            run.look = said != Says::InOrder;
        }
        self.log.add(Write::Calibration(CalibrationWrite::Checked(check)));
    }
}
