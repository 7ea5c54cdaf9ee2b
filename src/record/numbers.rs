//! Which number the next piece gets: on from the last one that was used, but first those that are to be
//! poured again.

/// The greatest number of a piece: a thousand a day for 27 years (our choice). None can be counted past.
pub const MOST_NUMBER: u32 = 10_000_000;

/// The numbers of a batch, or of all batches of one glaze.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Numbers {
    /// One more than the greatest that was used or left out.
    on: u32,
    /// To be poured again, oldest wish first.
    again: Vec<u32>,
    /// To be left out, each with the wish for it: that is not on disk yet.
    reserved: Vec<(u32, u64)>,
}

impl Numbers {
    /// After `last`, the greatest number that was ever used, 0 for none; first those of `again`.
    pub fn after(last: u32, again: impl IntoIterator<Item = u32>) -> Self {
        let mut numbers = Self { on: last.saturating_add(1), again: Vec::new(), reserved: Vec::new() };
        again.into_iter().for_each(|piece| numbers.again(piece));
        numbers
    }

    /// The next piece's.
    pub fn next(&self) -> u32 {
        let is_free = |piece: &u32| self.reserved.iter().all(|(reserved, _)| reserved != piece);
        let again = self.again.iter().copied().find(is_free);
        again.or_else(|| (self.on..=u32::MAX).find(is_free)).unwrap_or(self.on)
    }

    /// Nobody gets this number while a wish to leave it out is on its way.
    pub fn reserve(&mut self, piece: u32, wish: u64) {
        self.reserved.push((piece, wish));
    }

    /// That wish was refused; false where it was for no number.
    pub fn give_back(&mut self, wish: u64) -> bool {
        let before = self.reserved.len();
        self.reserved.retain(|(_, reserved_by)| *reserved_by != wish);
        self.reserved.len() < before
    }

    /// A piece of this number was weighed, or its number is left out.
    pub fn used(&mut self, piece: u32) {
        self.again.retain(|wanted| *wanted != piece);
        self.reserved.retain(|(reserved, _)| *reserved != piece);
        self.on = self.on.max(piece.saturating_add(1));
    }

    /// The next piece gets this number, unless others wait before it.
    pub fn again(&mut self, piece: u32) {
        if piece < self.on && !self.again.contains(&piece) {
            self.again.push(piece);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_go_on_from_the_last_and_one_to_be_poured_again_comes_first_and_once() {
        let mut numbers = Numbers::after(0, []);
        assert_eq!(numbers.next(), 1);
        (1..=4).for_each(|piece| numbers.used(piece));
        numbers.again(2);
        numbers.again(2);
        assert_eq!(numbers.next(), 2);
        numbers.used(2);
        assert_eq!(numbers.next(), 5, "on from the last, not from the one that was poured again");
        // A number that is left out is used up, whichever it is.
        numbers.used(5);
        numbers.again(3);
        numbers.used(3);
        assert_eq!(numbers.next(), 6);
    }

    #[test]
    fn a_number_that_was_never_used_cannot_be_poured_again() {
        let mut numbers = Numbers::after(7, [9]);
        numbers.again(8);
        assert_eq!(numbers.next(), 8);
        numbers.used(8);
        assert_eq!(numbers.next(), 9);
    }

    #[test]
    fn a_number_that_is_being_left_out_is_nobodys_and_comes_back_if_that_is_refused() {
        let mut numbers = Numbers::after(4, [2]);
        for wish in 0..3 {
            let piece = numbers.next();
            numbers.reserve(piece, wish);
        }
        assert_eq!(numbers.next(), 7, "2, 5 and 6 are on their way");
        numbers.used(2);
        numbers.used(6);
        assert!(numbers.give_back(1) && !numbers.give_back(1) && !numbers.give_back(9));
        assert_eq!(numbers.next(), 7, "one after it is used up");
        let mut numbers = Numbers::after(4, [2]);
        numbers.reserve(2, 7);
        numbers.reserve(numbers.next(), 8);
        assert!(numbers.give_back(7) && numbers.give_back(8));
        assert_eq!(numbers.next(), 2);
        numbers.used(2);
        assert_eq!(numbers.next(), 5);
    }

    #[test]
    fn several_wishes_are_met_in_their_order() {
        let mut numbers = Numbers::after(9, [4, 2]);
        let mut got = Vec::new();
        for _ in 0..3 {
            got.push(numbers.next());
            numbers.used(numbers.next());
        }
        assert_eq!(got, [4, 2, 10]);
    }
}
