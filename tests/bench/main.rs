//! The bench of the stop: simulated potters, and who calls their stop. `cargo bench --bench stop -- --help`.

mod cell;
mod figures;
mod run;

use anyhow::Context;
use cell::Setup;
use clap::Parser;
use figures::figures;
use run::{Caller, Fill, session};
use std::sync::atomic::{AtomicU64, Ordering};

/// Pours of a session, and how many of them are for learning.
const POURS: u32 = 50;
const LEARNING: usize = 6;
/// Cells of the short form: scale and hand, at 29 g and 8 g/s.
const SHORT: [(&str, &str); 7] = [
    ("quick", "usual"),
    ("usual", "steady"),
    ("usual", "usual"),
    ("usual", "easing"),
    ("late", "usual"),
    ("coarse", "usual"),
    ("lossy", "usual"),
];

/// Who stops how well at simulated tables: plain tone, fixed grams, Tarebell, and one who knows the jug.
#[derive(Parser)]
struct Asked {
    /// Sessions of 50 pours in each cell.
    #[arg(long, default_value_t = 20)]
    sessions: u64,
    /// Only these, as SCALE/HAND.
    #[arg(long)]
    only: Vec<String>,
    /// Only Tarebell.
    #[arg(long)]
    alone: bool,
    /// Warnings don't quicken the hand.
    #[arg(long)]
    unhelped: bool,
    /// Cargo says so.
    #[arg(long, hide = true)]
    bench: bool,
}

/// All fills of a cell but those for learning, on two threads.
fn cell(setup: &Setup, caller: Caller, sessions: u64) -> anyhow::Result<Vec<Fill>> {
    let next = AtomicU64::new(0);
    let work = || -> Result<Vec<(u64, Vec<Fill>)>, String> {
        let mut done = Vec::new();
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            if i >= sessions {
                return Ok(done);
            }
            let mut fills = session(&setup.clone().with_person(i, sessions), caller, 5000 + i, POURS)?;
            done.push((i, fills.split_off(LEARNING.min(fills.len()))));
        }
    };
    let both = std::thread::scope(|scope| [scope.spawn(work), scope.spawn(work)].map(|t| t.join()));
    let mut all = Vec::new();
    for half in both {
        let half = half.map_err(|_| anyhow::anyhow!("a session panicked"))?;
        all.extend(half.map_err(anyhow::Error::msg)?);
    }
    all.sort_by_key(|(i, _)| *i);
    Ok(all.into_iter().flat_map(|(_, fills)| fills).collect())
}

fn main() -> anyhow::Result<()> {
    let asked = Asked::parse();
    for (scale, hand) in SHORT {
        let name = format!("{scale}/{hand}");
        if !asked.only.is_empty() && !asked.only.contains(&name) {
            continue;
        }
        let mut setup = Setup::of(scale, hand, 29.0, 8.0).context("no such scale or hand")?;
        setup.person.warning_helps = !asked.unhelped;
        for caller in Caller::ALL.into_iter().filter(|c| !asked.alone || *c == Caller::Engine) {
            let f = figures(&cell(&setup, caller, asked.sessions)?, setup.target_g);
            println!(
                "{name:13} {:12} n {} mean {:+.2} SD {:.2} RMS {:.2} P95 {:.2} g; within 5 % {:.3}, 9 % {:.3}; on the ware {:.1} s; told {:.3}; log {:.2} g off",
                caller.word(),
                f.n,
                f.mean_g,
                f.sd_g,
                f.rms_g,
                f.p95_g,
                f.within.0,
                f.within.1,
                f.contact_s,
                f.told,
                f.log_off_g,
            );
        }
    }
    Ok(())
}
