//! The jug: what it weighs empty is kept, and what it says on the pan between two pieces is told.

use super::event::{Answer, Beginning, Reply};
use super::open::not_done;
use super::table::Table;
use super::under_way::Batch;
use crate::batch::jug::{EMPTY_G, Jug, Poured, balance, no_jug};
use crate::batch::supply::{Stock, stock_of};
use crate::page::desk::{JugWish, Refusal};
use crate::page::view::JugView;
use crate::pour::engine::Command;
use crate::pour::jug as pour;
use crate::pour::trace::Input;
use crate::record::{JugRecord, Stood};
use crate::store::Write;
use crate::units::Mass;

/// What weighs the same to this is the same thing on the pan, g: ten steps of a coarse scale (own choice).
const SAME_G: f64 = 10.0;

/// The head of a batch's id (UUIDv7): the time to a millisecond, and some of its chance.
fn head(id: &str) -> i64 {
    uuid::Uuid::parse_str(id).map_or(0, |id| i64::try_from(id.as_u128() >> 65).unwrap_or(i64::MAX))
}

/// The jug as the engine of this batch knows it at the begin.
pub(super) fn known(jug: Option<JugRecord>, beginning: &Beginning) -> Option<pour::Jug> {
    let took = beginning.poured.iter().filter_map(|p| p.net);
    let pieces = u32::try_from(took.clone().count()).unwrap_or(u32::MAX);
    let poured = took.fold(Mass::ZERO, |sum, net| sum + net);
    let stock = stock_of(&beginning.batch.request);
    let slop = stock.map(|stock| stock.after(poured, pieces).slop);
    jug.map(|jug| pour::Jug { slop, ..pour::Jug::of(jug.empty) })
}

/// What the jug held when it stood on the pan last in this batch, before the program was started again.
pub(super) fn stood(jug: Option<JugRecord>, batch: &Batch) -> Option<JugView> {
    let (jug, stood) = jug.and_then(|jug| Some((jug, jug.stood?)))?;
    if stood.batch != head(&batch.record.id) {
        return None;
    }
    let stock = batch.stock.unwrap_or_default();
    let supply = |slop| batch.pieces.enough_of(&Stock { slop, ..stock }, &batch.record);
    Some(JugView::stood(&Jug::of(stood.gross, jug.empty, supply, None), stood.at))
}

impl Table {
    /// The jug weighs so much empty from now on, or none is known. From the next begin on.
    pub(super) fn keep_jug(&mut self, wish: JugWish, reply: Reply) {
        match self.new_jug(wish) {
            Err(refusal) => reply.tell(Err(refusal)),
            // It counts from when it is on disk.
            Ok(jug) => drop(self.log.ask(Write::Jug(jug), reply, Answer::Jug(jug.map(|jug| jug.empty)))),
        }
    }

    fn new_jug(&self, wish: JugWish) -> Result<Option<JugRecord>, Refusal> {
        if self.batch.is_some() || self.beginning.is_some() {
            // Its engine goes by what it was begun with.
            let why = "a batch is under way: end it first, then say what the jug weighs empty, or forget it";
            return Err(Refusal::Conflict(why.to_owned()));
        }
        let empty = match wish {
            JugWish::Off => None,
            JugWish::Weighs(empty) => Some(empty),
            JugWish::StandsThere => Some(self.rests_there()?),
        };
        if let Some(g) = empty.map(|m| m.g()).filter(|g| !EMPTY_G.contains(g)) {
            return Err(Refusal::Conflict(no_jug(g)));
        }
        let jug = empty.map(|empty| JugRecord { empty, stood: None });
        self.log.trouble().map_or(Ok(jug), |why| Err(not_done(&why)))
    }

    /// Another jug counts from when it is on disk. Where it stood is known here first: an older write says nothing of it.
    pub(super) fn follow_jug(&mut self, write: &Write) {
        let Write::Jug(kept) = write else { return };
        if kept.map(|jug| jug.empty) != self.jug.map(|jug| jug.empty) {
            self.jug = *kept;
        }
    }

    /// The known jug stands on the pan; `before` is what it weighed there before slop was poured into it.
    pub(super) fn jug_stands(&mut self, gross: Mass, before: Option<Mass>) {
        let (Some(jug), Some(batch)) = (&mut self.jug, &mut self.batch) else { return };
        let poured = batch.pieces.poured();
        let stock = batch.stock.unwrap_or_default();
        let of = head(&batch.record.id);
        let then = jug.stood.filter(|stood| before.is_none() && stood.batch == of);
        let since = then.and_then(|s| {
            let then = Poured { sum: s.poured, pieces: s.pieces, ..Poured::default() };
            Some((s.gross, poured.since(&then)?))
        });
        let u = batch.engine.jug_weighed_to(gross);
        let balance =
            since.map(|(was, got)| balance((was, gross), &got, stock.loss_per_piece, u, batch.record.target));
        let supply = |slop| batch.pieces.enough_of(&Stock { slop, ..stock }, &batch.record);
        let told = Jug::of(gross, jug.empty, supply, balance);
        let at = Some(self.parts.clock.wall());
        jug.stood = Some(Stood { batch: of, gross, poured: poured.sum, pieces: poured.pieces, at });
        batch.jug = Some(JugView::of(&told, at));
        let write = Write::Jug(Some(*jug));
        self.rounds.handle_news();
        self.log.add(write);
    }

    /// A piece opened: where it is what was just called a jug, and may have got its slop since, that was none.
    pub(super) fn was_no_jug(&mut self, tare: Mass) {
        let stood = self.jug.and_then(|jug| jug.stood);
        let target_g = self.batch.as_ref().map_or(0.0, |batch| batch.record.target.g());
        let more_g = stood.map(|stood| (tare - stood.gross).g());
        if more_g.is_some_and(|more_g| (-SAME_G..2.0 * target_g + SAME_G).contains(&more_g)) {
            self.forget_where_jug_stood();
        }
    }

    /// There is other slop than was counted on: the jug is weighed against the next time it stands there.
    pub(super) fn slop_came(&mut self) {
        let Some(batch) = &self.batch else { return };
        let slop = batch.stock.as_ref().and_then(|stock| batch.at_hand(stock));
        self.give(Input::Command(Command::Slop(slop), self.parts.clock.now()));
        self.forget_where_jug_stood();
    }

    /// What it lost since it stood there says nothing any more.
    pub(super) fn forget_where_jug_stood(&mut self) {
        self.batch.iter_mut().for_each(|batch| batch.jug = None);
        if let Some(jug) = self.jug.as_mut().filter(|jug| jug.stood.is_some()) {
            jug.stood = None;
            self.log.add(Write::Jug(Some(*jug)));
        }
    }
}
