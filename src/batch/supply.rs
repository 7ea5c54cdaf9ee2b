//! The slop at hand against the pieces to be poured.
//!
//! Never weighs: grams come in, grams and pieces go out.

use super::bounds::{Notes, Refused, within};
use super::request::SupplyRequest;
use crate::units::Mass;

/// Most pieces of one batch.
const MOST_PIECES: u32 = 10_000;

/// Slop at hand, and what of it gets into no piece.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stock {
    /// All there is.
    pub slop: Mass,
    /// What can't be poured from the jug.
    pub left_in_jug: Mass,
    /// What goes astray with each piece.
    pub loss_per_piece: Mass,
}

/// The slop that a batch was planned with, as its request tells it; `None` where it tells of none.
pub fn stock_of(request: &str) -> Option<Stock> {
    let whole: serde_json::Value = serde_json::from_str(request).ok()?;
    let told: SupplyRequest = serde_json::from_value(whole.get("supply")?.clone()).ok()?;
    let mass = |g: Option<f64>| Mass::saturating(g.unwrap_or(0.0));
    Some(Stock {
        slop: mass(Some(told.slop_g)),
        left_in_jug: mass(told.left_in_jug_g),
        loss_per_piece: mass(told.loss_g_per_piece),
    })
}

/// Slop that came since a batch was planned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refill {
    /// So much is there now, whatever was reckoned to be left.
    Now(Mass),
    /// So much came to what was left.
    Added(Mass),
}

/// The request of a batch with its slop told anew, so that from here on what is left is counted down from this; `left` is
/// what is there by the count so far. `None` where the request tells of no slop.
pub fn refilled(request: &str, left: Mass, refill: Refill) -> Option<String> {
    let told = stock_of(request)?.slop;
    let more = match refill {
        Refill::Now(now) => now - left,
        // Where more was poured than was told of there was nothing left, and no debt.
        Refill::Added(added) => added + Mass::saturating((-left.g()).max(0.0)),
    };
    let mut whole: serde_json::Value = serde_json::from_str(request).ok()?;
    *whole.get_mut("supply")?.get_mut("slop_g")? = serde_json::json!((told + more).g());
    Some(whole.to_string())
}

/// A request with the slop that another one tells of: a change of the bucket leaves what was refilled.
pub fn with_slop_of(request: &str, other: &str) -> String {
    let slop = stock_of(other)
        .and_then(|stock| refilled(request, Mass::ZERO, Refill::Added(stock.slop - stock_of(request)?.slop)));
    slop.unwrap_or_else(|| request.to_owned())
}

impl Stock {
    /// What is there once so many pieces got so much together: the count goes down while pouring.
    pub fn after(&self, poured: Mass, pieces: u32) -> Self {
        let lost = Mass::saturating(self.loss_per_piece.g() * f64::from(pieces));
        Self { slop: self.slop - poured - lost, ..*self }
    }
}

/// Whether the slop is enough.
#[derive(Clone, Debug, PartialEq)]
pub struct Supply {
    /// Slop that all pieces need, what stays in the jug and what goes astray with it.
    pub needed: Mass,
    /// Slop at hand.
    pub at_hand: Mass,
    /// How many pieces it is enough for, more than planned ones too.
    pub enough_for: u32,
    /// The piece of the plan, counted from 1, that gets too little.
    pub runs_out_at: Option<u32>,
    /// Slop to mix, at the least; zero where it is enough.
    pub short: Mass,
    /// Powder in it, where the dry share is known.
    pub powder: Option<Mass>,
    /// Water in it, where the dry share is known.
    pub water: Option<Mass>,
}

/// The stock against a target for each piece in turn; `usual` is the target of pieces beyond those.
pub fn supply(stock: &Stock, targets: &[Mass], usual: Mass, solids: Option<f64>) -> Supply {
    let with_loss = |target: &Mass| target.g() + stock.loss_per_piece.g();
    let needed = targets.iter().map(with_loss).sum::<f64>() + stock.left_in_jug.g();
    // A billionth of a gram more or less is arithmetic, not slop.
    let mut rest = stock.slop.g() - stock.left_in_jug.g() + 1e-9;
    let mut poured = 0_u32;
    for target in targets {
        if with_loss(target) > rest {
            break;
        }
        rest -= with_loss(target);
        poured += 1;
    }
    let all = u32::try_from(targets.len()).is_ok_and(|planned| poured == planned);
    let more = if all && with_loss(&usual) > 0.0 { whole(rest / with_loss(&usual)) } else { 0 };
    let short = Mass::saturating((needed - stock.slop.g()).max(0.0));
    let short = if all { Mass::ZERO } else { short };
    let powder = solids.map(|x| Mass::saturating(short.g() * x));
    Supply {
        needed: Mass::saturating(needed),
        at_hand: stock.slop,
        enough_for: poured.saturating_add(more),
        runs_out_at: (!all).then(|| poured.saturating_add(1)),
        short,
        powder,
        water: powder.map(|powder| short - powder),
    }
}

/// Whole pieces, at most [`MOST_PIECES`].
fn whole(pieces: f64) -> u32 {
    let most = f64::from(MOST_PIECES);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "held between 0 and MOST_PIECES the line before; the fraction is meant to go"
    )]
    let whole = pieces.clamp(0.0, most) as u32;
    whole
}

/// The supply asked about, for a plan of these targets (empty: all have `usual`).
pub(super) fn asked(
    request: &SupplyRequest,
    ladder: &[Mass],
    usual: Mass,
    solids: Option<f64>,
    notes: &mut Notes,
) -> Result<Supply, Refused> {
    if !(1..=MOST_PIECES).contains(&request.pieces) {
        let reason = format!("{} is no number of pieces from 1 to {MOST_PIECES}", request.pieces);
        return Err(Refused::new("supply.pieces", reason));
    }
    let mut told = |name: &str, value: Option<f64>| {
        let field = format!("supply.{name}");
        if value.is_none() {
            notes.assumed.push((field.clone(), 0.0));
        }
        within(&field, value.unwrap_or(0.0), 0.0, 1e6, "g").map(Mass::saturating)
    };
    let stock = Stock {
        slop: told("slop_g", Some(request.slop_g))?,
        left_in_jug: told("left_in_jug_g", request.left_in_jug_g)?,
        loss_per_piece: told("loss_g_per_piece", request.loss_g_per_piece)?,
    };
    let targets: Vec<Mass> =
        ladder.iter().copied().chain(std::iter::repeat(usual)).take(request.pieces as usize).collect();
    let found = supply(&stock, &targets, usual, solids);
    tell(&stock, &targets, &found, notes);
    Ok(found)
}

fn tell(stock: &Stock, targets: &[Mass], found: &Supply, notes: &mut Notes) {
    let (lost, left, pieces) = (stock.loss_per_piece.g(), stock.left_in_jug.g(), targets.len());
    let sum = targets.iter().fold(Mass::ZERO, |sum, target| sum + *target).g();
    let working = format!(
        "{sum:.3} g for all targets + {pieces} x {lost} g astray + {left} g that can't be poured from the \
         jug"
    );
    notes.step("Slop needed", working, format!("{:.1} g", found.needed.g()));
    let working = format!("of {:.1} g at hand, piece by piece", found.at_hand.g());
    notes.step("Enough for", working, format!("{} pieces", found.enough_for));
    let Some(piece) = found.runs_out_at else { return };
    notes.warnings.push(format!(
        "The slop runs out at piece {piece} of {pieces}: {:.1} g are missing",
        found.short.g()
    ));
    if let Some((powder, water)) = found.powder.zip(found.water) {
        let short = found.short.g();
        let working = format!("{short:.3} g of slop x {:.4} dry as the bucket's", powder.g() / short);
        notes.step("Powder to mix for the rest", working, format!("{:.1} g", powder.g()));
        let working = format!("{short:.3} g of slop - {:.3} g powder", powder.g());
        notes.step("Water to mix for the rest", working, format!("{:.1} g", water.g()));
    }
}
