//! The bench of the stop: simulated potters, and who calls their stop. `cargo bench --bench stop -- --help`.

mod ablations;
mod cell;
mod cloud;
mod ear;
mod figures;
mod finish;
mod grid;
mod kept;
mod other;
mod pace;
mod plot;
mod run;
mod table;
mod told;
mod work;
mod yardstick;

use anyhow::Context;
use clap::Parser;
use grid::{MUG, Row};
use run::Caller;
use std::path::{Path, PathBuf};

/// Who stops how well at simulated tables: plain tone, fixed grams, Tarebell, and one who knows the jug.
///
/// Without --all: the mug of the figures (29 g at 8 g/s) on every scale with every hand, printed. With --all also five
/// targets at two flows each, one thing changed at a time, the time of one reading, and the plot; written to
/// tests/bench/figures.md, figures.csv and stop.svg. How long that took last stands in figures.md.
#[derive(Parser)]
struct Asked {
    /// Plays everything and writes the kept table and the plot anew.
    #[arg(long)]
    all: bool,
    /// Sessions of 66 pours in each cell of the mug, and for each thing changed.
    #[arg(long, default_value_t = 20)]
    sessions: u64,
    /// Sessions in each other cell of the grid.
    #[arg(long, default_value_t = 20)]
    grid_sessions: u64,
    /// Plays the grid alone and adds it to this file as it goes on; begun again, it plays what the file lacks.
    #[arg(long)]
    grid_into: Option<PathBuf>,
    /// With --all: takes what such a file has of the grid, and plays the rest.
    #[arg(long)]
    grid_from: Option<PathBuf>,
    /// Only these, as SCALE/HAND.
    #[arg(long)]
    only: Vec<String>,
    /// Another target than the mug's, g, and another flow, g/s.
    #[arg(long, default_value_t = MUG.0)]
    target: f64,
    #[arg(long, default_value_t = MUG.1)]
    flow: f64,
    /// Only Tarebell.
    #[arg(long)]
    alone: bool,
    /// Warnings don't quicken the hand.
    #[arg(long)]
    unhelped: bool,
    /// Only one thing changed at a time, printed.
    #[arg(long)]
    ablations: bool,
    /// Only pours finished with a trickle beside those with one stop, printed.
    #[arg(long)]
    finish: bool,
    /// Only the time of one reading, printed.
    #[arg(long)]
    pace: bool,
    /// Cargo says so.
    #[arg(long, hide = true)]
    bench: bool,
}

/// Where the kept table and the plot are.
fn kept(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench").join(name)
}

fn write(name: &str, text: &str) -> anyhow::Result<()> {
    let path = kept(name);
    std::fs::write(&path, text).with_context(|| format!("{} could not be written", path.display()))
}

fn csv(rows: &[Row]) -> String {
    format!("{}\n", kept::HEAD) + &rows.iter().map(Row::line).collect::<String>()
}

const ABOUT: &str = "\
Made by `cargo bench --bench stop -- --all`; do not edit. Every scale, hand, jug and piece is simulated and invented
(`src/plant/`); nobody tells Tarebell the scale's lag. Sessions of 66 pours, the first six for learning and left out, so
that 60 remain. Mean, SD, RMS and P95 (95 % of fills are no further off) in g of true net against target. *On the ware*:
from the first drop to the lift, which comes 1 to 2 s after the stream's end. *Told*: stops called and not answered too
soon. The last three columns: mean and RMS of the other callers. Two flows for each target: the fastest that is sensible
(a pour of 3 s: common practice, no source; 15 g/s at most: a guess) and half of it.

Warnings quicken these hands (a working value). Quick: 20 readings a second, lag 0.11 s. Usual: 10, 0.30 s. Late: 5, 0.70 s. Coarse: as usual, in steps of 1 g.
Lossy: as usual, unevenly, 8 % of readings lost. Steady hand: 176 ms to answer, SD 28 ms, flow wanders by 5 %. Usual: 210,
45 ms, 12 %. Easing: as usual, slows to half in 1.5 s after `approach`. Busy: 250, 65 ms, 25 %, one stop in a hundred
0.2 to 0.6 s late.

R 61 is a yardstick only: limits for automatic filling instruments in use, by UK S.I. 2006/1258, schedule 5, table 2 (class
X(1): up to 50 g 9 %, to 100 g 4.5 g, to 200 g 4.5 %, of each fill against the average of the 60). *In X(1)*: share of fills
within that. *Class of 60*: the least class all 60 pass, their average within a quarter of the limit of the target (that
quarter, and the 60, from memory of OIML R 61); the middle session's and the worst one's.
";

/// Everything, written.
fn all(asked: &Asked) -> anyhow::Result<()> {
    let since = std::time::Instant::now();
    let (_, pace) = pace::one_reading()?;
    eprintln!("{pace}");
    let mut rows = grid::rows("mug", &grid::at(MUG.0, MUG.1), &Caller::ALL, asked.sessions, true)?;
    plot::draw(&rows, &kept("stop.svg"))?;
    let changed = ablations::all(asked.sessions)?;
    let finished = finish::all(asked.sessions)?;
    let before = asked.grid_from.as_deref().map_or(Ok(Vec::new()), grid::read)?;
    let owed: Vec<grid::Cell> =
        grid::cells().into_iter().filter(|c| !before.iter().any(|r| r.cell == *c)).collect();
    let what = if before.is_empty() { "All of it took" } else { "The grid was played before; the rest took" };
    rows.extend(before);
    rows.extend(grid::rows("grid", &owed, &Caller::ALL, asked.grid_sessions, true)?);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let took = format!("{what} {:.0} min on {threads} threads.", since.elapsed().as_secs_f64() / 60.0);
    let text = format!(
        "# Figures of the stop\n\n{ABOUT}\n{pace}\n\n{took}\n\n## Where a promise does not hold\n\n{}## Finished with a trickle\n\n{finished}## One thing changed at a time\n\n{changed}",
        table::grid(&rows)
    );
    write("figures.md", &text)?;
    write("figures.csv", &csv(&rows))?;
    eprintln!("{took}");
    Ok(())
}

fn main() -> anyhow::Result<()> {
    let asked = Asked::parse();
    if asked.all {
        return all(&asked);
    }
    if let Some(path) = &asked.grid_into {
        return grid::go_on(path, asked.grid_sessions);
    }
    if asked.finish {
        print!("{}", finish::all(asked.sessions)?);
        return Ok(());
    }
    if asked.pace {
        println!("{}", pace::one_reading()?.1);
        return Ok(());
    }
    if asked.ablations {
        print!("{}", ablations::all(asked.sessions)?);
        return Ok(());
    }
    let mut cells = grid::at(asked.target, asked.flow);
    cells.retain(|c| asked.only.is_empty() || asked.only.contains(&format!("{}/{}", c.scale, c.hand)));
    anyhow::ensure!(
        !cells.is_empty(),
        "--only: no such SCALE/HAND; scales {:?}, hands {:?}",
        cell::SCALES,
        cell::HANDS
    );
    let callers: &[Caller] = if asked.alone { &[Caller::Engine] } else { &Caller::ALL };
    print!("{}", csv(&grid::rows("mug", &cells, callers, asked.sessions, !asked.unhelped)?));
    Ok(())
}
