//! The grid: every scale with every hand, five targets, two flows each; and the mug of the figures.

use super::cell::{HANDS, SCALES, Setup};
use super::figures::{Figures, figures};
use super::kept;
use super::run::Caller;
use super::work::{Job, Played, play};
use super::yardstick::Class;
use anyhow::Context;
use std::io::Write;
use std::path::Path;

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

impl Row {
    /// A row of the kept table, as text.
    pub(crate) fn line(&self) -> String {
        let c = self.cell;
        let key = kept::key(c.scale, c.hand, c.target_g, c.flow_g_s, self.caller.word());
        kept::line(&key, &self.figures, self.stuck) + "\n"
    }

    /// ... and back, as far as its digits go; none of a line that is no row.
    fn of_line(line: &str) -> Option<Self> {
        let values: Vec<&str> = line.split(',').collect();
        let number = |i: usize| values.get(i)?.parse::<f64>().ok();
        let flow_g_s = TARGETS_G.into_iter().flat_map(flows_g_s).find(|f| format!("{f:.2}") == *values[3])?;
        let cell = Cell {
            scale: SCALES.into_iter().find(|s| s == &values[0])?,
            hand: HANDS.into_iter().find(|h| Some(h) == values.get(1))?,
            target_g: number(2)?,
            flow_g_s,
        };
        let figures = Figures {
            sessions: number(5)? as usize,
            n: number(6)? as usize,
            mean_g: number(7)?,
            sd_g: number(8)?,
            rms_g: number(9)?,
            p95_g: number(10)?,
            within: (number(11)?, number(12)?),
            contact_s: number(13)?,
            told: number(14)?,
            log_off_g: number(15)?,
            in_class_1: number(16)?,
            class: (Class(number(17)?), Class(number(18)?)),
        };
        let caller = Caller::ALL.into_iter().find(|c| Some(&c.word()) == values.get(4))?;
        Some(Self { cell, caller, figures, stuck: number(19)? as usize })
    }
}

/// The rows of such a file; none where there is no such file.
pub(crate) fn read(path: &Path) -> anyhow::Result<Vec<Row>> {
    if !path.exists() {
        return Ok(Vec::new());
    }
    let text = std::fs::read_to_string(path).with_context(|| format!("{} can't be read", path.display()))?;
    text.lines().map(|line| Row::of_line(line).with_context(|| format!("no row: {line}"))).collect()
}

/// Plays the cells of the grid that the file lacks, a target and a scale at a time, and adds them to it as they are done.
pub(crate) fn go_on(path: &Path, sessions: u64) -> anyhow::Result<()> {
    let done = read(path)?;
    let owed: Vec<Cell> = cells().into_iter().filter(|c| !done.iter().any(|r| r.cell == *c)).collect();
    for some in owed.chunks(HANDS.len()) {
        let text: String = rows("grid", some, &Caller::ALL, sessions, true)?.iter().map(Row::line).collect();
        let mut file = std::fs::OpenOptions::new().create(true).append(true).open(path)?;
        file.write_all(text.as_bytes())?;
    }
    Ok(())
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
