//! The pieces of a batch under way: which record an entry belongs to, which of them count, and which
//! number comes next.

use super::open::{By, Open};
use crate::batch::jug::Poured;
use crate::batch::supply::{Stock, Supply, supply};
use crate::pour::entry::Entry;
use crate::record::{Aim, BatchRecord, Numbers, PourRecord, Verdict};
use crate::time::WallTime;
use crate::units::Mass;
use std::collections::{HashMap, HashSet};

/// The pieces of one batch.
#[derive(Debug)]
pub(super) struct Pieces {
    /// On the pan.
    open: Option<Open>,
    /// All that were weighed since the begin, oldest first: a piece may come back, or a revision of it be written, late.
    /// One that was forgotten would be counted anew, and a day's work is some hundreds of small rows.
    lately: Vec<Open>,
    /// The record of the piece that was on the pan last.
    newest: Option<PourRecord>,
    /// Ids of those that count, with what they should get: in slop of the bucket as it is now.
    counted: HashMap<String, Mass>,
    /// Dry share of the bucket as it is now.
    solids: Option<f64>,
    numbers: Numbers,
    /// What each took out of the bucket, also where it does not count, and its standard uncertainty.
    took: HashMap<String, (Mass, Mass)>,
    /// Those that were weighed to nothing that is known: cut off in mid-pour.
    unweighed: HashSet<String>,
}

/// The record that an entry belongs to.
#[derive(Debug, PartialEq)]
pub(super) struct Belongs {
    /// Its identity.
    pub(super) open: Open,
    /// It stands on the pan, and the trace is its own.
    pub(super) on_pan: bool,
}

impl Pieces {
    /// Goes on from the log: the newest revision of each pour of the batch.
    pub(super) fn new(poured: &[PourRecord], numbers: Numbers, solids: Option<f64>) -> Self {
        let weighed = poured.iter().filter(|p| p.rev > 0);
        let counted = weighed.clone().filter(|p| counts(p));
        let counted = counted.map(|p| (p.id.clone(), as_now(p.target, share(p), solids))).collect();
        let took = poured
            .iter()
            .filter_map(|p| Some((p.id.clone(), (p.net?, p.net_u.unwrap_or(Mass::ZERO)))))
            .collect();
        let unweighed = poured.iter().filter(|p| p.net.is_none()).map(|p| p.id.clone()).collect();
        let newest = weighed.max_by_key(|p| p.started_at).cloned();
        Self { open: None, lately: Vec::new(), newest, counted, solids, numbers, took, unweighed }
    }

    /// The record of this entry, told by when its piece was ready.
    pub(super) fn take(
        &mut self,
        entry: &Entry,
        wall: WallTime,
        bucket: Option<u32>,
        by: Option<By>,
    ) -> Belongs {
        let same = |o: &&Open| o.started == entry.started && o.piece == entry.piece;
        if entry.rev > 0 {
            if let Some(open) = self.open.iter().find(same) {
                let open = open.clone();
                return Belongs { open: self.weighed(open, entry), on_pan: true };
            }
            if let Some(open) = self.lately.iter().rev().find(same) {
                let open = open.clone();
                return Belongs { open: self.weighed(open, entry), on_pan: false };
            }
        }
        let open = Open {
            id: uuid::Uuid::now_v7().to_string(),
            piece: entry.piece,
            started_at: wall,
            started: entry.started,
            voided: false,
            solids: self.solids,
            bucket,
            by,
        };
        if entry.rev > 0 {
            // Never opened here: a record of its own, so that no weight is lost.
            return Belongs { open: self.weighed(open, entry), on_pan: false };
        }
        self.open = Some(open.clone());
        Belongs { open, on_pan: true }
    }

    /// Keeps a piece that was weighed among the latest.
    fn weighed(&mut self, open: Open, entry: &Entry) -> Open {
        if entry.verdict != Verdict::Void && !open.voided {
            let target = as_now(entry.aim.target, open.solids, self.solids);
            self.counted.insert(open.id.clone(), target);
        }
        if !self.lately.iter().any(|o| o.id == open.id) {
            // Later revisions use up no number: it may wait for another piece by then.
            self.numbers.used(entry.piece);
            self.lately.push(open.clone());
        }
        open
    }

    /// The piece on the pan left: its identity, once.
    pub(super) fn lift(&mut self) -> Option<Open> {
        self.open.take()
    }

    /// The piece on the pan left empty: its row goes. One that was weighed stays.
    pub(super) fn drop_empty(&mut self, piece: u32) -> Option<Open> {
        if self.unweighed() == Some(piece) { self.open.take() } else { None }
    }

    /// An entry became this record.
    pub(super) fn handle_record(&mut self, pour: &PourRecord) {
        if let Some(net) = pour.net {
            self.unweighed.remove(&pour.id);
            self.took.insert(pour.id.clone(), (net, pour.net_u.unwrap_or(Mass::ZERO)));
        }
        if pour.rev > 0 {
            let voided = self.lately.iter().any(|o| o.id == pour.id && o.voided);
            let verdict = if voided { Verdict::Void } else { pour.verdict };
            self.newest = Some(PourRecord { verdict, trace: Vec::new(), ..pour.clone() });
        }
    }

    /// The record of the piece that was on the pan last, to be voided: once, and not the one before it too.
    pub(super) fn void_last(&mut self) -> Option<PourRecord> {
        let newest = self.newest.as_mut().filter(|p| p.verdict != Verdict::Void)?;
        let pour = newest.clone();
        newest.verdict = Verdict::Void;
        Some(pour)
    }

    /// A revision is on disk.
    pub(super) fn handle_written(&mut self, pour: &PourRecord) {
        let known = self.open.iter_mut().chain(&mut self.lately).filter(|o| o.id == pour.id);
        // One that is weighed and still on the pan may have a further revision there.
        known.filter(|_| pour.rev > 0).for_each(|open| open.voided = pour.verdict == Verdict::Void);
        if let Some(newest) = self.newest.as_mut().filter(|newest| newest.id == pour.id) {
            newest.verdict = pour.verdict;
        }
        if counts(pour) {
            self.counted.insert(pour.id.clone(), as_now(pour.target, share(pour), self.solids));
        } else {
            self.counted.remove(&pour.id);
        }
    }

    /// The bucket has changed: what was poured from it before counts by its dry powder.
    pub(super) fn handle_bucket(&mut self, solids: Option<f64>) {
        let before = std::mem::replace(&mut self.solids, solids);
        self.counted.values_mut().for_each(|target| *target = as_now(*target, before, solids));
    }

    /// A number is left out or was given to the next piece: that is on disk.
    pub(super) fn numbers_mut(&mut self) -> &mut Numbers {
        &mut self.numbers
    }

    /// Which number comes next.
    pub(super) fn numbers(&self) -> &Numbers {
        &self.numbers
    }

    /// Place within the batch of the piece on the pan, or of the next: one more than the others that count.
    /// `back` is the number of a piece of before that was put back.
    pub(super) fn nth(&self, back: Option<u32>) -> u32 {
        let before = || self.lately.iter().rev().find(|o| Some(o.piece) == back);
        let on_pan = self.open.as_ref().or_else(before).is_some_and(|o| self.counted.contains_key(&o.id));
        u32::try_from(self.counted.len() - usize::from(on_pan)).unwrap_or(u32::MAX).saturating_add(1)
    }

    /// What the next piece should get, of a target for each piece in turn: the first that no piece that counts had. So
    /// one that was taken out of the count, or broke, leaves its own to another.
    pub(super) fn next_of(&self, ladder: &[Aim]) -> Option<Aim> {
        self.left_of(ladder).first().copied()
    }

    /// The targets of a ladder that no piece that counts had.
    fn left_of(&self, ladder: &[Aim]) -> Vec<Aim> {
        let mut had: Vec<f64> = self.counted.values().map(|target| target.g()).collect();
        let left = ladder.iter().copied().filter(|aim| {
            let there = had.iter().position(|g| (g - aim.target.g()).abs() < SAME_G);
            there.map(|at| had.swap_remove(at)).is_none()
        });
        left.collect()
    }

    /// What is left of the slop, and for how many more pieces, of a batch planned like this.
    pub(super) fn supply(&self, stock: &Stock, batch: &BatchRecord) -> Supply {
        let poured = self.poured();
        self.enough_of(&stock.after(poured.sum, poured.pieces), batch)
    }

    /// What all pieces took, also those that do not count.
    pub(super) fn poured(&self) -> Poured {
        let sum = self.took.values().fold(Mass::ZERO, |sum, (net, _)| sum + *net);
        let squares_g2: f64 = self.took.values().map(|(_, u)| u.g() * u.g()).sum();
        let pieces = u32::try_from(self.took.len()).unwrap_or(u32::MAX);
        let unweighed = u32::try_from(self.unweighed.len()).unwrap_or(u32::MAX);
        Poured { sum, pieces, u: Mass::saturating(squares_g2.sqrt()), unweighed }
    }

    /// For how many more pieces so much slop is, of a batch planned like this.
    pub(super) fn enough_of(&self, stock: &Stock, batch: &BatchRecord) -> Supply {
        let ladder = self.left_of(&batch.ladder);
        let more = batch.pieces.saturating_sub(self.counted()) as usize;
        let targets: Vec<Mass> =
            ladder.iter().map(|aim| aim.target).chain(std::iter::repeat(batch.target)).take(more).collect();
        supply(stock, &targets, batch.target, batch.solids_fraction)
    }

    /// How many pieces have their slop and count.
    pub(super) fn counted(&self) -> u32 {
        u32::try_from(self.counted.len()).unwrap_or(u32::MAX)
    }

    /// A piece is on the pan that was not weighed yet: its number is still to be used.
    pub(super) fn unweighed(&self) -> Option<u32> {
        self.open.as_ref().filter(|o| !self.lately.iter().any(|l| l.id == o.id)).map(|o| o.piece)
    }
}

/// Two targets no further apart are one: beyond what reckoning from bucket to bucket leaves, below any scale (own choice).
const SAME_G: f64 = 0.002;

/// What a piece should have got, in slop of the bucket as it is now: the same dry powder.
fn as_now(target: Mass, then: Option<f64>, now: Option<f64>) -> Mass {
    then.zip(now).map_or(target, |(then, now)| Mass::saturating(target.g() * then / now))
}

/// Dry share of the slop in it.
fn share(pour: &PourRecord) -> Option<f64> {
    let (dry, net) = pour.dry.zip(pour.net)?;
    (net > Mass::ZERO).then(|| dry.g() / net.g())
}

fn counts(pour: &PourRecord) -> bool {
    pour.rev > 0 && pour.verdict != Verdict::Void
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Marks;
    use crate::time::Instant;

    const WALL: WallTime = WallTime::from_unix_us(1_700_000_000_000_000);

    /// An invented entry of a piece that was ready at this second.
    fn entry(piece: u32, ready_s: u64, rev: u32, verdict: Verdict) -> Entry {
        Entry {
            piece,
            rev,
            started: Instant::from_us(ready_s * 1_000_000),
            tare: Mass::saturating(300.0),
            aim: Aim::default(),
            first_net: None,
            net: None,
            net_u: None,
            top_ups: 0,
            verdict,
            settled: rev > 0,
            guided: false,
            seconds: 0.0,
            contact: None,
            flow_g_s: None,
            stop_cue: None,
            rolled: None,
            marks: Marks::default(),
        }
    }

    fn fresh() -> Pieces {
        Pieces::new(&[], Numbers::after(0, []), None)
    }

    /// One piece from `ready` to its lift; gives its record's id.
    fn poured(pieces: &mut Pieces, piece: u32, ready_s: u64) -> String {
        let opened = pieces.take(&entry(piece, ready_s, 0, Verdict::Void), WALL, None, None).open.id;
        let weighed = pieces.take(&entry(piece, ready_s, 1, Verdict::Good), WALL, None, None);
        assert!(weighed.on_pan && weighed.open.id == opened);
        pieces.lift();
        opened
    }

    #[test]
    fn a_revision_of_a_piece_before_belongs_to_its_own_record_also_with_another_on_the_pan() {
        let mut pieces = fresh();
        let first = poured(&mut pieces, 1, 10);
        let second = poured(&mut pieces, 2, 20);
        // Put back after rolling, with nothing else on the pan; and with the third opened.
        let back = pieces.take(&entry(1, 10, 2, Verdict::Good), WALL, None, None);
        assert_eq!((back.open.id, back.on_pan), (first, false));
        let third = pieces.take(&entry(3, 30, 0, Verdict::Void), WALL, None, None);
        let back = pieces.take(&entry(2, 20, 2, Verdict::Good), WALL, None, None);
        assert_eq!((back.open.id, back.on_pan), (second, false));
        assert_eq!(pieces.lift(), Some(third.open), "it is still the one on the pan");
    }

    #[test]
    fn of_two_records_with_one_number_each_gets_its_own_revisions() {
        let mut pieces = fresh();
        let old = poured(&mut pieces, 1, 10);
        let new = poured(&mut pieces, 1, 20);
        assert_ne!(old, new);
        assert_eq!(pieces.take(&entry(1, 10, 2, Verdict::Good), WALL, None, None).open.id, old);
        assert_eq!(pieces.take(&entry(1, 20, 2, Verdict::Good), WALL, None, None).open.id, new);
    }

    #[test]
    fn a_number_that_waits_for_another_piece_waits_on_whatever_becomes_of_its_first() {
        let mut pieces = fresh();
        poured(&mut pieces, 1, 10);
        poured(&mut pieces, 2, 20);
        pieces.numbers_mut().again(1);
        pieces.take(&entry(1, 10, 2, Verdict::Good), WALL, None, None);
        assert_eq!(pieces.numbers().next(), 1);
        poured(&mut pieces, 1, 30);
        assert_eq!(pieces.numbers().next(), 3);
    }

    #[test]
    fn a_revision_of_the_first_of_many_pieces_is_still_its_own_and_nothing_is_counted_twice() {
        let mut pieces = fresh();
        let ids: Vec<String> = (1..=100).map(|n| poured(&mut pieces, n, 10 * u64::from(n))).collect();
        for n in 1..=100 {
            let late = pieces.take(&entry(n, 10 * u64::from(n), 2, Verdict::Good), WALL, None, None);
            assert_eq!((&late.open.id, late.on_pan), (&ids[n as usize - 1], false));
        }
        assert_eq!((pieces.nth(None), pieces.numbers().next()), (101, 101));
    }

    #[test]
    fn the_piece_that_was_on_the_pan_last_is_the_one_that_is_voided_also_when_it_was_put_back() {
        let mut pieces = fresh();
        for (piece, ready_s, rev) in [(1, 10, 0), (1, 10, 1), (2, 20, 0), (2, 20, 1), (1, 10, 2)] {
            let entry = entry(piece, ready_s, rev, if rev == 0 { Verdict::Void } else { Verdict::Good });
            let open = pieces.take(&entry, WALL, None, None).open;
            let written = PourRecord { rev, ..open.record_for_test(Verdict::Good) };
            pieces.handle_record(&written);
        }
        assert_eq!(pieces.void_last().map(|p| p.piece), Some(1), "the first was put back after the second");
        assert_eq!(pieces.void_last(), None, "once, and not the one before it too");
    }

    #[test]
    fn each_piece_gets_the_first_target_that_none_before_it_had_and_one_out_of_the_count_leaves_its_own() {
        let g = Mass::saturating;
        let aim = |target: f64| Aim { target: g(target), low: g(target - 1.0), high: g(target + 1.0) };
        let ladder = [aim(26.0), aim(35.0), aim(26.0), aim(23.0)];
        let mut pieces = fresh();
        let mut ids = Vec::new();
        for (n, target) in (1..).zip([26.0, 35.0, 26.0]) {
            assert_eq!(pieces.next_of(&ladder), Some(aim(target)));
            let entry =
                |rev, verdict| Entry { aim: aim(target), ..entry(n, 10 * u64::from(n), rev, verdict) };
            pieces.take(&entry(0, Verdict::Void), WALL, None, None);
            ids.push(pieces.take(&entry(1, Verdict::Good), WALL, None, None).open);
            pieces.lift();
        }
        let out = PourRecord { target: g(35.0), ..ids[1].record_for_test(Verdict::Void) };
        pieces.handle_written(&out);
        assert_eq!(pieces.next_of(&ladder), Some(aim(35.0)), "poured again before the last one");
        let again = Pieces::new(&[out], Numbers::after(3, []), None);
        assert_eq!(again.next_of(&ladder), Some(aim(26.0)));
        assert_eq!(again.next_of(&[]), None);
    }

    #[test]
    fn an_empty_piece_goes_and_a_weighed_one_stays() {
        let mut pieces = fresh();
        let open = pieces.take(&entry(1, 10, 0, Verdict::Void), WALL, None, None).open;
        assert_eq!(pieces.drop_empty(2), None, "another piece's");
        assert_eq!(pieces.drop_empty(1), Some(open));
        assert_eq!((pieces.lift(), pieces.numbers().next()), (None, 1));
        pieces.take(&entry(1, 20, 0, Verdict::Void), WALL, None, None);
        pieces.take(&entry(1, 20, 1, Verdict::Good), WALL, None, None);
        assert_eq!(pieces.drop_empty(1), None);
    }

    #[test]
    fn the_place_in_the_batch_counts_what_counts_and_not_the_numbers() {
        let mut pieces = Pieces::new(&[], Numbers::after(40, []), None);
        assert_eq!((pieces.nth(None), pieces.numbers().next()), (1, 41));
        pieces.take(&entry(41, 10, 0, Verdict::Void), WALL, None, None);
        assert_eq!((pieces.nth(None), pieces.unweighed()), (1, Some(41)));
        let first = pieces.take(&entry(41, 10, 1, Verdict::Good), WALL, None, None);
        assert_eq!((pieces.nth(None), pieces.unweighed()), (1, None), "weighed, still on the pan");
        pieces.lift();
        poured(&mut pieces, 42, 20);
        assert_eq!((pieces.nth(None), pieces.numbers().next()), (3, 43));
        let first = first.open.record_for_test(Verdict::Void);
        pieces.handle_written(&first);
        assert_eq!(
            (pieces.nth(None), pieces.numbers().next()),
            (2, 43),
            "a void one is a number used and no piece"
        );
        // A top-up of a piece that was voided on disk does not count again.
        pieces.take(&entry(41, 10, 3, Verdict::Good), WALL, None, None);
        assert_eq!(pieces.nth(None), 2);
        assert_eq!(pieces.nth(Some(42)), 1, "put back, it is its own place");
    }

    #[test]
    fn a_piece_taken_out_of_the_count_while_it_is_on_the_pan_does_not_count_again_when_it_is_lifted() {
        let mut pieces = fresh();
        let open = pieces.take(&entry(1, 10, 0, Verdict::Void), WALL, None, None).open;
        pieces.handle_written(&PourRecord { rev: 0, ..open.record_for_test(Verdict::Void) });
        pieces.take(&entry(1, 10, 1, Verdict::Good), WALL, None, None);
        assert_eq!(pieces.counted(), 1, "what is opened counts as soon as it is weighed");
        pieces.handle_written(&open.record_for_test(Verdict::Void));
        assert_eq!(pieces.counted(), 0);
        let again = pieces.take(&entry(1, 10, 3, Verdict::Good), WALL, None, None);
        assert_eq!((again.on_pan, again.open.voided, pieces.counted()), (true, true, 0));
    }

    #[test]
    fn the_last_record_can_be_voided_once_also_after_a_restart() {
        let mut pieces = fresh();
        assert_eq!(pieces.void_last(), None);
        for piece in 1..=2 {
            let ready_s = 10 * u64::from(piece);
            poured(&mut pieces, piece, ready_s);
            let open = pieces.lately.last().expect("it was weighed");
            let wall = WallTime::from_unix_us(WALL.unix_us() + i64::from(piece));
            let record = PourRecord { started_at: wall, ..open.record_for_test(Verdict::Good) };
            pieces.handle_record(&record);
        }
        let last = pieces.void_last().expect("the second");
        assert_eq!((last.piece, last.verdict), (2, Verdict::Good));
        assert_eq!(pieces.void_last(), None, "not the one before it too");

        let mut again = Pieces::new(std::slice::from_ref(&last), Numbers::after(2, []), None);
        assert_eq!(again.nth(None), 2);
        assert_eq!(again.void_last().map(|p| p.id), Some(last.id.clone()));
        let void = PourRecord { verdict: Verdict::Void, ..last };
        assert_eq!(Pieces::new(&[void], Numbers::after(2, []), None).void_last(), None);
    }
}
