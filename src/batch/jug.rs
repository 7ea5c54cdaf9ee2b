//! A jug weighed between two pieces: what is in it, for how many pieces, and whether what it lost is what they got.
//!
//! Never weighs: grams come in, grams and words go out.

use super::supply::Supply;
use crate::units::{Mass, as_told};

/// No jug of slop is lighter or heavier empty, g (own choice).
pub const EMPTY_G: std::ops::RangeInclusive<f64> = 20.0..=20_000.0;

/// Why so much is no empty jug.
pub fn no_jug(grams: f64) -> String {
    // What is too large to be rounded stays.
    let told = as_told(Some((1e4 * grams).round() / 1e4).filter(|g| g.is_finite()).unwrap_or(grams));
    format!(
        "{told} g is no empty jug: one of {} to {} g can be known by its weight",
        EMPTY_G.start(),
        EMPTY_G.end()
    )
}

/// What pieces got, together.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Poured {
    /// Slop in all of them.
    pub sum: Mass,
    /// How many.
    pub pieces: u32,
    /// Standard uncertainty of the sum.
    pub u: Mass,
    /// Records besides that have no weight.
    pub unweighed: u32,
}

impl Poured {
    /// What came since it stood at `before`; none where that was of more pieces. What was poured back since takes away.
    pub fn since(&self, before: &Self) -> Option<Self> {
        let pieces = self.pieces.checked_sub(before.pieces)?;
        let sum = self.sum - before.sum;
        // Pieces are weighed independently, each to about the same; one that was topped up is weighed anew.
        let weighed = if sum == Mass::ZERO { pieces } else { pieces.max(1) };
        let share = f64::from(weighed) / f64::from(self.pieces.max(1));
        Some(Self { sum, pieces, u: Mass::saturating(self.u.g() * share.sqrt()), unweighed: self.unweighed })
    }
}

/// What the jug lost against what the pieces got.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Balance {
    /// What the jug weighs less than before.
    pub gone: Mass,
    /// What the records say was poured.
    pub poured: Mass,
    /// What goes astray with so many pieces, as told.
    pub astray: Mass,
    /// Records of the batch that have no weight.
    pub unweighed: u32,
    /// Gone, less poured, less what goes astray: positive where slop is missing.
    pub difference: Mass,
    /// How far they may differ by weighing alone (k = 2).
    pub room: Mass,
    /// So much would be a piece of its own.
    pub piece: Mass,
}

/// A jug weighed before and after against the pours between; `u` is the standard uncertainty of one weighing of it,
/// `piece` what a piece gets.
pub fn balance(
    (before, after): (Mass, Mass),
    poured: &Poured,
    loss_per_piece: Mass,
    u: Mass,
    piece: Mass,
) -> Balance {
    let gone = before - after;
    let astray = Mass::saturating(f64::from(poured.pieces) * loss_per_piece.g());
    Balance {
        gone,
        poured: poured.sum,
        astray,
        unweighed: poured.unweighed,
        difference: gone - poured.sum - astray,
        // Independent weighings: the jug twice, and the pours.
        room: Mass::saturating(2.0 * (2.0 * u.g() * u.g() + poured.u.g() * poured.u.g()).sqrt()),
        piece,
    }
}

impl Balance {
    /// Whether the records and the jug agree.
    pub fn agrees(&self) -> bool {
        self.difference.abs() <= self.room
    }

    /// The same in words.
    pub fn told(&self) -> String {
        let (gone, poured, apart) = (self.gone.g(), self.poured.g(), self.difference.abs().g());
        let room = self.room.g();
        if gone < -room && self.agrees() {
            return format!("It holds {:.1} g more than before, which was poured back.", -gone);
        }
        if gone < -room {
            return format!("It holds {:.1} g more than before: counted on from here.", -gone);
        }
        let astray = match self.astray.g() {
            g if g > 0.0 => format!(" and {g:.1} g went astray as told"),
            _ => String::new(),
        };
        // What a jug "lost" by the noise of two weighings is nothing.
        let head = format!("It lost {:.1} g, the pieces got {poured:.1} g{astray}", gone.max(0.0));
        if self.agrees() {
            return format!("{head}: they agree, weighing explains {room:.1} g.");
        }
        let why = if self.difference < Mass::ZERO {
            "more was logged than went: was slop poured back into it, or did the scale drift?"
        } else if self.difference.g() < 0.5 * self.piece.g() {
            "more went than was logged: drips, or a splash."
        } else if self.unweighed > 0 {
            "more went than was logged: spilled, or in a piece whose record has no weight?"
        } else {
            "more went than was logged: spilled, or poured into a piece that has no record?"
        };
        format!("{head}: {apart:.1} g {why}")
    }
}

/// What a jug on the pan says.
#[derive(Clone, Debug, PartialEq)]
pub struct Jug {
    /// Slop in it.
    pub left: Mass,
    /// For so many pieces.
    pub enough_for: u32,
    /// What it lost since it stood there last, against what the pieces got.
    pub balance: Option<Balance>,
}

impl Jug {
    /// What it weighs, less what it weighs empty; `supply` tells for how many pieces that is.
    pub fn of(gross: Mass, empty: Mass, supply: impl Fn(Mass) -> Supply, balance: Option<Balance>) -> Self {
        let left = Mass::saturating((gross - empty).g().max(0.0));
        Self { left, enough_for: supply(left).enough_for, balance }
    }

    /// What it held when it stood on the pan before the program was started, in words.
    pub fn told_of_before(&self) -> String {
        let left_g = self.left.g();
        format!(
            "The jug held {left_g:.1} g of slop when it stood on the pan last, before this start: set it there to know what is left."
        )
    }

    /// The same in words.
    pub fn told(&self) -> String {
        let pieces = match self.enough_for {
            0 => "not enough for a piece".to_owned(),
            1 => "enough for one piece".to_owned(),
            n => format!("enough for {n} pieces"),
        };
        let head = format!("The jug holds {:.1} g of slop, {pieces}.", self.left.g());
        self.balance.map_or(head.clone(), |balance| format!("{head} {}", balance.told()))
    }
}
