//! How long one reading takes, from its bytes to the plan of the stop, in mid-pour.

use super::cell::Setup;
use super::run::engine;
use anyhow::Context;
use std::hint::black_box;
use tarebell::frame::line::{LineDecoder, LineFormat, Unit};
use tarebell::plant::Plant;
use tarebell::pour::engine::Engine;
use tarebell::reading::timing::Timing;
use tarebell::reading::{Indicated, Weighing};
use tarebell::time::Instant;

/// A pour that goes on, so that readings in mid-pour are many, g; nobody pours so much.
const TARGET_G: f64 = 2000.0;
/// The pour begins then, and readings count from this long after it, s.
const POURS_AT_S: u64 = 6;
const SETTLED_S: u64 = 3;
/// Readings counted, and how often all is done anew.
const READINGS: usize = 1500;
const RUNS: usize = 5;
/// What it should take at most, ns (our own aim: a thousandth of the time between two readings of the quickest scale
/// would do).
pub(crate) const AIM_NS: f64 = 2000.0;

/// Lines of a scale and when they came.
fn lines(setup: &Setup) -> Vec<(Instant, String)> {
    let mut plant = Plant::new(1, setup.person.clone(), setup.scale.clone(), setup.table.clone());
    plant.place(Instant::from_us(1_000_000));
    plant.start_pour(Instant::from_us(POURS_AT_S * 1_000_000));
    let shown = plant.advance(Instant::from_us((POURS_AT_S + SETTLED_S + 180) * 1_000_000));
    shown.into_iter().map(|s| (s.arrives_at, format!("{:.1} g\r\n", s.mass_g))).collect()
}

/// A decoder, the clock of the readings and an engine.
struct Chain {
    decoder: LineDecoder,
    timing: Timing,
    engine: Engine,
}

impl Chain {
    fn take(&mut self, at: Instant, line: &str) {
        if self.engine.poll_timeout().is_some_and(|due| due <= at) {
            self.engine.handle_timeout(at);
        }
        self.decoder.handle_bytes(line.as_bytes(), at);
        while let Some(reading) = self.decoder.poll_reading() {
            let taken_at = self.timing.handle_arrival(at, reading.indicated.mass());
            if let Indicated::Mass(mass) = reading.indicated {
                self.engine.handle_weighing(Weighing { mass, arrived_at: at, taken_at });
            }
        }
        while let Some(output) = self.engine.poll_output() {
            black_box(&output);
        }
    }
}

/// What is counted, alone in the program so that a counter of instructions can be told to count it and no more.
#[inline(never)]
fn mid_pour(chain: &mut Chain, counted: &[(Instant, String)]) {
    counted.iter().for_each(|(at, line)| chain.take(*at, black_box(line)));
}

/// Nanoseconds of one reading, the middle of five runs; and the line that says so, with the load.
pub(crate) fn one_reading() -> anyhow::Result<(f64, String)> {
    let setup = Setup::of("usual", "steady", TARGET_G, 8.0).context("no such scale or hand")?;
    let lines = lines(&setup);
    let from = Instant::from_us((POURS_AT_S + SETTLED_S) * 1_000_000);
    let mut took_ns = Vec::new();
    for _ in 0..RUNS {
        let mut chain = Chain {
            decoder: LineDecoder::new(LineFormat::Auto, Unit::Gram),
            timing: Timing::default(),
            engine: engine(&setup),
        };
        let (before, counted) = lines.split_at(lines.partition_point(|(at, _)| *at < from));
        before.iter().for_each(|(at, line)| chain.take(*at, line));
        let phase = format!("{:?}", chain.engine.snapshot(from).phase);
        anyhow::ensure!(phase == "Pouring", "not in mid-pour but {phase}");
        let counted = counted.get(..READINGS).context("too few readings")?;
        let since = std::time::Instant::now();
        mid_pour(&mut chain, counted);
        took_ns.push(since.elapsed().as_nanos() as f64 / READINGS as f64);
        let last = counted.last().map_or(from, |(at, _)| *at);
        let phase = format!("{:?}", chain.engine.snapshot(last).phase);
        anyhow::ensure!(phase == "Pouring", "not in mid-pour to the end but {phase}");
    }
    took_ns.sort_by(f64::total_cmp);
    let middle = took_ns.get(RUNS / 2).copied().unwrap_or(f64::NAN);
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_else(|_| "not known".into());
    let load = load.split(' ').next().unwrap_or_default();
    let all: Vec<String> = took_ns.iter().map(|ns| format!("{ns:.0}")).collect();
    let said = format!(
        "One reading in mid-pour, from its bytes through decoder, settler, predictor and plan: {middle:.0} ns (middle of {RUNS} runs of {READINGS} readings: {}; load of the machine {load}; aim: under {AIM_NS:.0} ns).",
        all.join(", ")
    );
    Ok((middle, said))
}
