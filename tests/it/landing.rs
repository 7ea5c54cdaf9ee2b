//! How soon `ready` comes after a landing.

use crate::run::start;
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tarebell::pour::engine::Engine;
use tarebell::pour::entry::{Cue, Output};
use tarebell::reading::Weighing;
use tarebell::time::Instant;
use tarebell::units::Mass;

/// Quick, usual and late bench scales: lag, period of readings, s.
fn scales() -> [(&'static str, ScaleModel); 4] {
    let with = |lag_s: f64, period_s: f64| ScaleModel { period_s, ..ScaleModel::with_lag(lag_s) };
    [
        ("quick", with(0.11, 0.05)),
        ("usual", with(0.30, 0.1)),
        ("late", with(0.70, 0.2)),
        ("late at 10", with(0.70, 0.1)),
    ]
}

/// When this scale, without noise and steps, is within half a step of a piece that was set down at 1 s.
fn rests_at(model: &ScaleModel) -> f64 {
    let exact = ScaleModel {
        noise_g: 0.0,
        step_g: 1e-6,
        period_s: 0.01,
        clock_jitter_s: 0.0,
        age_s: 0.0,
        jitter_s: 0.0,
        ..model.clone()
    };
    let mut plant = Plant::new(1, Person::typical(), exact, Table { piece_cv: 0.0, ..Table::default() });
    plant.place(Instant::from_us(1_000_000));
    let shown = plant.advance(Instant::from_us(9_000_000));
    let off = shown.iter().rfind(|s| (s.mass_g - 320.0).abs() > 0.5 * model.step_g);
    off.expect("it was empty").taken_at.seconds()
}

/// `ready` after that moment, s, and how far the tare is from 320 g, for many seeds.
fn landings(model: &ScaleModel) -> Vec<(f64, f64)> {
    let rests_at = rests_at(model);
    (0..40)
        .map(|seed| {
            let mut plant = Plant::new(
                seed,
                Person::typical(),
                model.clone(),
                Table { piece_cv: 0.0, ..Table::default() },
            );
            let mut engine = Engine::new(start());
            plant.place(Instant::from_us(1_000_000 + seed * 7_000));
            let mut shown_g = 0.0;
            for shown in plant.advance(Instant::from_us(9_000_000)) {
                shown_g = shown.mass_g;
                engine.handle_weighing(Weighing {
                    mass: Mass::saturating(shown.mass_g),
                    arrived_at: shown.arrives_at,
                    taken_at: shown.taken_at,
                });
            }
            let outputs: Vec<Output> = std::iter::from_fn(|| engine.poll_output()).collect();
            // The tare as it is when slop begins: what the display shows less the net.
            let net = engine.snapshot(Instant::from_us(9_000_000)).net.map(|net| net.g());
            let tare = net.map(|net| shown_g - net);
            let ready = outputs.iter().find_map(|o| match o {
                Output::Cue(c) if c.cue == Cue::Ready => Some(c.at.seconds()),
                Output::Cue(_)
                | Output::Entry(_)
                | Output::Dropped { .. }
                | Output::Learned(_)
                | Output::VoidLast
                | Output::Jug { .. } => None,
            });
            (ready.expect("ready") - rests_at - 0.007 * seed as f64, tare.expect("a tare") - 320.0)
        })
        .collect()
}

#[test]
fn ready_comes_within_six_tenths_of_a_second_of_the_scales_own_rest() {
    for (name, model) in scales() {
        let all = landings(&model);
        let mut late: Vec<f64> = all.iter().map(|(s, _)| *s).collect();
        late.sort_by(f64::total_cmp);
        let off = all.iter().map(|(_, g)| g.abs()).fold(0.0, f64::max);
        let mean = all.iter().map(|(_, g)| g).sum::<f64>() / all.len() as f64;
        println!(
            "{name}: rest at {:.2} s, ready {:+.2} to {:+.2} s after, median {:+.2}; tare off by {off:.2} g at most, {mean:+.3} g on average",
            rests_at(&model) - 1.0,
            late[0],
            late[late.len() - 1],
            late[late.len() / 2]
        );
        assert!(late.iter().all(|s| *s <= 0.6), "{name}: {late:?}");
        // A step at most; on average a fifth of one.
        assert!(off <= 0.1 && mean.abs() <= 0.02, "{name}: off by {off} g, {mean} g on average");
    }
}
