//! A piece that leaves without slop since its `ready`, and may have got it before: with the landing, where nobody could see it.
//!
//! It has a record, of which nothing is called, unless it is set down again at once as it was: then it had none.

use super::anew::AT_ONCE;
use super::done::EITHER;
use super::engine::Engine;
use super::entry::Output;
use super::remark::Remark;
use super::state::{Pour, State};
use crate::time::Instant;
use std::collections::VecDeque;

/// A weight that is so many times likelier for a bare piece is one: one in ten would hold slop (own choice).
const FAR_LIKELIER: f64 = 9.0;

/// What is not written down yet. No trace begins while it waits, so none has to keep it.
#[derive(Clone, Debug)]
pub(super) struct Unwritten {
    pub(super) pour: Pour,
    pub(super) recent: VecDeque<(Instant, f64)>,
    /// The lump that was seen in its landing, g; where none was, it may have got its target.
    pub(super) known: Option<f64>,
    pub(super) lifted_at: Instant,
}

impl Engine {
    /// It left, and whether it has slop in it is told by whether it is set down again.
    pub(super) fn left_perhaps_with_a_lump(&mut self, it: Unwritten) {
        self.left_bare(it.pour.tare, it.lifted_at);
        self.unwritten = Some(Box::new(it));
        self.enter(State::Idle);
    }

    /// Nobody set it down again in time.
    pub(super) fn write_what_waited(&mut self, now: Instant) {
        let over = |it: &mut Box<Unwritten>| now.since(it.lifted_at) > AT_ONCE;
        if let Some(it) = self.unwritten.take_if(over) {
            self.write_unseen(*it, now);
            self.note(Remark::Unsure, now);
        }
    }

    /// Something has landed: the same at once, which held nothing, or something else.
    pub(super) fn has_landed(&mut self, gross_g: f64, at: Instant) {
        if self.set_anew(gross_g).is_none() {
            return self.does_not_come_back(at);
        }
        if let Some(it) = self.unwritten.take() {
            self.outputs.push_back(Output::Dropped { piece: it.pour.piece });
        }
    }

    /// What was lifted last is not set down again.
    pub(super) fn does_not_come_back(&mut self, at: Instant) {
        self.was_asked_for_in_vain(at);
        if let Some(it) = self.unwritten.take() {
            self.write_unseen(*it, at);
            self.remind(Remark::Unsure);
        }
    }

    fn write_unseen(&mut self, it: Unwritten, at: Instant) {
        let Unwritten { mut pour, recent, known, lifted_at } = it;
        let lump_g = known.unwrap_or(pour.aim.target.g());
        pour.tare -= lump_g;
        let mut s = self.stream(pour, &recent, lump_g);
        s.pour.settled = true;
        s.pour.doubt_g = lump_g;
        s.pour.net_u = Some(EITHER * lump_g);
        let pour = self.write_down(s, lump_g, at);
        self.piece = self.piece.max(pour.piece.saturating_add(1));
        // One that got nothing may be set down again for its slop, and what it weighs bare nobody knows.
        if known.is_some() {
            self.keep(&pour, lifted_at);
        }
    }

    /// A ladle's lump that fell with the landing is shown as a part of it. Whoever ladles and lifts a piece that got no slop
    /// since its `ready` has poured before it, unless what it weighed is far likelier for a bare one of this batch, or for none
    /// of it with or without slop, or it is the one that was lifted before it, rolled and put back.
    pub(super) fn may_hold_a_lump(&self, gross_g: f64) -> bool {
        let with_g = gross_g - self.start.target.g();
        let density = |g: f64| self.ware.density_per_g(g - self.zero_g);
        let holds = density(with_g).zip(density(gross_g));
        self.start.settings.vessel.in_lumps()
            && !self.is_no_piece(gross_g, self.start.target.g())
            && holds.is_none_or(|(with, bare)| with * FAR_LIKELIER >= bare)
            && !self.may_be_rolled(gross_g)
    }

    /// No piece of this batch, with so much slop in it or without.
    pub(super) fn is_no_piece(&self, gross_g: f64, slop_g: f64) -> bool {
        [gross_g - slop_g, gross_g].iter().all(|g| self.ware.is_far(g - self.zero_g))
    }
}
