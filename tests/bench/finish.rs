//! Pours finished with a trickle beside those with one stop: what it gains, and what it costs in time.

use super::cell::{HANDS, Setup};
use super::figures::{Figures, LEARNING, figures};
use super::grid::MUG;
use super::run::{Caller, Fill};
use super::work::{Job, play};
use anyhow::Context;
use std::fmt::Write;
use tarebell::pour::finish::Finish;

/// Scales in steps of 0.1 g; a coarse one can't show so little.
const SCALES: [&str; 4] = ["quick", "usual", "late", "lossy"];
/// What a trickle should reach at most, RMS, g, with a usual hand (our own aim).
pub(crate) const AIM_G: f64 = 0.30;
/// ... and so much longer it may stand at most, besides what the scale takes to settle, s (our own aim).
pub(crate) const LONGER_S: f64 = 3.5;

/// A cell of the mug, finished so.
pub(crate) fn setup(scale: &str, hand: &str, finish: Finish) -> anyhow::Result<Setup> {
    let mut setup = Setup::of(scale, hand, MUG.0, MUG.1).context("no such scale or hand")?;
    setup.settings.finish = finish;
    Ok(setup)
}

/// Share of the fills whose first stop left more than the target.
pub(crate) fn over_at_first(sessions: &[Vec<Fill>], target_g: f64) -> f64 {
    let firsts: Vec<f64> =
        sessions.iter().filter_map(|s| s.get(LEARNING..)).flatten().filter_map(|f| f.first_g).collect();
    firsts.iter().filter(|g| **g > target_g).count() as f64 / firsts.len().max(1) as f64
}

fn line(scale: &str, hand: &str, one: &Figures, two: &Figures, over: f64) -> String {
    format!(
        "| {scale} | {hand} | {:+.2} | {:.2} | {:.2} | {:+.2} | {:.2} | {:.2} | {:.1} % | {:.1} s | {:.1} s | {:+.1} s |\n",
        one.mean_g,
        one.rms_g,
        one.p95_g,
        two.mean_g,
        two.rms_g,
        two.p95_g,
        100.0 * over,
        one.contact_s,
        two.contact_s,
        two.contact_s - one.contact_s
    )
}

/// The table as text.
pub(crate) fn all(sessions: u64) -> anyhow::Result<String> {
    let cells: Vec<(&str, &str)> = SCALES.into_iter().flat_map(|s| HANDS.map(|h| (s, h))).collect();
    let mut jobs = Vec::new();
    for (scale, hand) in &cells {
        for finish in Finish::ALL {
            jobs.push(Job { setup: setup(scale, hand, finish)?, caller: Caller::Engine });
        }
    }
    let played = play("finish", &jobs, sessions)?;
    let mut out = format!(
        "{:.0} g at {} g/s, {sessions} sessions of 66 pours each, the first six left out. A hand lets 2.5 g/s trickle on the \
         average (a guess), begins 0.3 to 0.8 s after the second `ready`, and lifts 1 to 2 s after the stream's end, as with \
         one stop. Aim, with a usual hand: {AIM_G:.2} g RMS, at most {LONGER_S} s longer on the ware besides what the scale \
         takes to settle.\n\n\
         | scale | hand | one stop: mean | RMS | P95 | with a trickle: mean | RMS | P95 | over at the first stop | on the ware: one stop | with a trickle | longer |\n\
         | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n",
        MUG.0, MUG.1
    );
    for ((scale, hand), pair) in cells.iter().zip(played.chunks(2)) {
        let [one, two] = pair else { continue };
        let figures = |p: &super::work::Played| figures(&p.sessions, MUG.0);
        let over = over_at_first(&two.sessions, MUG.0);
        out += &line(scale, hand, &figures(one), &figures(two), over);
        for why in one.stuck.iter().chain(&two.stuck) {
            let _ = writeln!(out, "\nLeft out: {why}");
        }
    }
    Ok(out + "\n")
}
