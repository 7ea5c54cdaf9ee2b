//! What a person would say of a batch, and what to know before its numbers are believed.

use super::outcome::{Look, Why};
use super::{FEW, Given, Review};
use crate::units::shown::{Shown, WeightIn};

/// A drift is said where chance makes so steep a line in one batch of a hundred: one batch of twenty would be said of
/// too many (own choice).
const SURE: f64 = 0.01;
/// Pieces that are named; of more, how many (own choice: what can be kept in mind on the way to the board).
const NAMED: usize = 6;

/// What to know of ware that was fired already.
const FIRED: &str = "the ware was fired already: what was poured in is not its coat, so no dry coat is told; keep what comes \
                     of it apart from what comes of bisque";

/// The sentence, with its weights in these units: each is rounded once.
pub fn sentence(r: &Review, shown: Shown) -> String {
    let grams = |g: f64| weight(g, shown);
    let (Some(mean), true) = (r.mean_g, r.n > 0) else {
        return match r.void {
            0 => "No pieces yet: pour some, then look again.".to_owned(),
            1 => "1 piece, and it does not count: nothing to review.".to_owned(),
            void => format!("{void} pieces, and none of them counts: nothing to review."),
        };
    };
    let mut said = if r.n == 1 {
        format!("1 piece, {}", grams(mean))
    } else {
        match r.sd_g.filter(|sd| *sd > 0.0) {
            Some(sd) => format!("{} pieces, {} on average, {} spread", r.n, grams(mean), grams(sd)),
            None => format!("{} pieces, all of them {}", r.n, grams(mean)),
        }
    };
    said += &looks(&r.look, r.n);
    if let Some(drift) = drifted(r, shown) {
        said += &drift;
    } else if let Some(run) = run(r) {
        said += &run;
    }
    said + "."
}

/// Two digits where one would say nothing.
fn weight(g: f64, shown: Shown) -> String {
    let small = g.abs() < 0.95;
    let text = shown.grams(g, if small { 2 } else { 1 });
    let plain = shown.weight == WeightIn::Gram && small;
    let text = if plain { text.strip_suffix('0').unwrap_or(&text) } else { &text };
    format!("{text} {}", shown.weight.word())
}

fn looks(look: &[Look], n: usize) -> String {
    let of = |why: Why| -> Vec<u32> { look.iter().filter(|l| l.why == why).map(|l| l.piece).collect() };
    let kinds = [(Why::Thin, "thin"), (Why::Thick, "thick"), (Why::Odd, "unlike the others")];
    let said: Vec<String> = kinds
        .into_iter()
        .filter_map(|(why, word)| {
            let pieces = of(why);
            (!pieces.is_empty()).then(|| format!("{}, {word}", names(&pieces)))
        })
        .collect();
    match said.as_slice() {
        [] if n == 1 => "; within the limits".to_owned(),
        [] => "; all within the limits".to_owned(),
        said => format!("; look at {}", said.join(", and at ")),
    }
}

/// `7`, `7 and 19`, `7, 12 and 19`, or how many more.
pub(super) fn names(pieces: &[u32]) -> String {
    let words: Vec<String> = pieces.iter().take(NAMED).map(u32::to_string).collect();
    match words.split_last() {
        None => String::new(),
        Some(_) if pieces.len() > NAMED => format!("{} and {} more", words.join(", "), pieces.len() - NAMED),
        Some((only, [])) => only.clone(),
        Some((last, before)) => format!("{} and {last}", before.join(", ")),
    }
}

/// A drift that chance seldom makes.
pub(super) fn drifted(r: &Review, shown: Shown) -> Option<String> {
    let slope = r.drift.slope_g_per_piece?;
    if r.drift.p_value.is_none_or(|p| p >= SURE) || r.drift.correlated {
        return None;
    }
    let by = shown.weight(slope.abs(), if slope.abs() < 0.005 { 4 } else { 2 });
    let coats = if r.fired { "pours" } else { "coats" };
    Some(if slope > 0.0 {
        format!(
            "; {coats} grew heavier by {by} a piece: your stop comes later, or the scale drifts: check with a mass"
        )
    } else {
        format!(
            "; {coats} grew lighter by {by} a piece: your stop comes sooner, the jug runs low, or the scale drifts: check with a mass"
        )
    })
}

/// The first long run on one side.
fn run(r: &Review) -> Option<String> {
    let first = r.individuals.signals.iter().find(|s| s.rule.ends_with("one-side")).filter(|_| !r.coarse)?;
    let above = r.smoothed.values_g.get(first.index).zip(r.individuals.centre).is_some_and(|(v, c)| *v > c);
    let (side, length) =
        (if above { "above" } else { "below" }, if first.rule.starts_with("nine") { 9 } else { 8 });
    Some(format!(
        "; {length} in a row {side} the average up to piece {}: something shifted there, the bucket, the hand or the scale",
        first.piece
    ))
}

/// What to know first.
pub(super) fn warnings(r: &Review, given: &Given) -> Vec<String> {
    let mut all = Vec::new();
    if given.fired {
        all.push(FIRED.to_owned());
    }
    let mut say = |when: bool, what: String| {
        if when {
            all.push(what);
        }
    };
    say(
        r.n > 0 && r.n < FEW,
        format!(
            "{} few: what is said of spread and tolerance may be far off under {FEW}",
            if r.n == 1 { "1 piece is".to_owned() } else { format!("{} pieces are", r.n) }
        ),
    );
    say(r.coarse, "the step is too coarse for a chart: its limits and signals say little".to_owned());
    say(r.n > 1 && r.sd_g == Some(0.0), "all weights are equal: no spread can be told".to_owned());
    let spread = r.spread;
    say(
        spread.scale_g.is_some() && spread.hand_g.is_none() && r.sd_g.is_some_and(|sd| sd > 0.0),
        "the spread is no greater than the scale's own: nothing can be said of the hand".to_owned(),
    );
    say(
        r.drift.correlated,
        "neighbouring pieces are alike, so chance makes steep lines more often than the p value says"
            .to_owned(),
    );
    if let Some(piece) = given.set_back {
        let what = "was ready before the one before it by its time: was the clock set back? Days and times of this batch are not to be trusted; pieces stand in the order of their numbers";
        say(true, format!("piece {piece} {what}"));
    }
    let own = given.pieces.iter().any(|p| p.aim.target != given.aim.target);
    say(own, "pieces had different targets: each is laid beside its own".to_owned());
    all
}
