//! The grid: every scale with every hand, five targets, two flows each; and the mug of the figures.

use super::cell::{HANDS, SCALES, Setup};
use super::figures::{Figures, figures};
use super::run::Caller;
use super::work::{Job, Played, play};
use anyhow::Context;

/// The usual mug, g and g/s: what README and the plot show.
pub(crate) const MUG: (f64, f64) = (29.0, 8.0);
const TARGETS_G: [f64; 5] = [8.0, 15.0, 30.0, 60.0, 150.0];
/// A pour takes 3 s or more (common practice, no source), and no hand in the bench means to pour faster than
/// 15 g/s (a guess).
const SHORTEST_S: f64 = 3.0;
const FASTEST_G_S: f64 = 15.0;

/// The two flows of a target: the fastest that is sensible, and half of it.
pub(crate) fn flows_g_s(target_g: f64) -> [f64; 2] {
    let brisk = (target_g / SHORTEST_S).min(FASTEST_G_S);
    [0.5 * brisk, brisk]
}

/// A row of the table.
#[derive(Clone, Debug)]
pub(crate) struct Row {
    pub(crate) cell: Cell,
    pub(crate) caller: Caller,
    pub(crate) figures: Figures,
    pub(crate) stuck: usize,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Cell {
    pub(crate) scale: &'static str,
    pub(crate) hand: &'static str,
    pub(crate) target_g: f64,
    pub(crate) flow_g_s: f64,
}

impl Cell {
    pub(crate) fn setup(&self) -> anyhow::Result<Setup> {
        Setup::of(self.scale, self.hand, self.target_g, self.flow_g_s).context("no such scale or hand")
    }
}

/// Scales and hands at one target and flow.
pub(crate) fn at(target_g: f64, flow_g_s: f64) -> Vec<Cell> {
    let of_scale = |scale| HANDS.map(|hand| Cell { scale, hand, target_g, flow_g_s });
    SCALES.into_iter().flat_map(of_scale).collect()
}

/// All of them, without the mug's.
pub(crate) fn cells() -> Vec<Cell> {
    TARGETS_G
        .into_iter()
        .flat_map(|target| flows_g_s(target).map(|flow| (target, flow)))
        .flat_map(|(t, f)| at(t, f))
        .collect()
}

/// Plays these cells with these callers.
pub(crate) fn rows(
    what: &str,
    cells: &[Cell],
    callers: &[Caller],
    sessions: u64,
    helped: bool,
) -> anyhow::Result<Vec<Row>> {
    let pairs: Vec<(Cell, Caller)> =
        cells.iter().flat_map(|cell| callers.iter().map(|caller| (*cell, *caller))).collect();
    let mut jobs = Vec::new();
    for (cell, caller) in &pairs {
        let mut setup = cell.setup()?;
        setup.person.warning_helps = helped;
        jobs.push(Job { setup, caller: *caller });
    }
    let played = play(what, &jobs, sessions)?;
    let row = |((cell, caller), played): ((Cell, Caller), Played)| Row {
        cell,
        caller,
        figures: figures(&played.sessions, cell.target_g),
        stuck: played.stuck.len(),
    };
    let rows: Vec<Row> = pairs.into_iter().zip(played.clone()).map(row).collect();
    for why in played.iter().flat_map(|p| &p.stuck) {
        eprintln!("{why}");
    }
    Ok(rows)
}
