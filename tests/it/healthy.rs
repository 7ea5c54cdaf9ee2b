//! A scale in order is called nothing else while it works: simulated sessions and steady streams.

use super::run::start_for;
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tarebell::pour::engine::Engine;
use tarebell::pour::entry::{Cue, Output};
use tarebell::reading::Weighing;
use tarebell::scale::health::{Ailment, Health};
use tarebell::settle::{Motion, Settler};
use tarebell::time::{Duration, Instant};
use tarebell::units::Mass;

/// Every ailment said in a session of six pieces on a scale that counts as told.
fn said(seed: u64, step_g: f64, period_s: f64) -> Vec<(f64, Ailment)> {
    said_of(seed, ScaleModel { step_g, period_s, ..ScaleModel::middling() }, |shown| shown)
}

/// The same on any scale, whose display shows what `display` makes of it.
fn said_of(seed: u64, model: ScaleModel, mut display: impl FnMut(f64) -> f64) -> Vec<(f64, Ailment)> {
    let step_g = model.step_g;
    let mut potter =
        Potter::new(Plant::new(seed, Person::typical(), model, Table::default()), Script::of(6, 29.0));
    let mut start = start_for(29.0);
    start.scale.step = Mass::saturating(step_g);
    let (mut health, mut settler) = (Health::new(&start.scale), Settler::new(&start.scale));
    let mut engine = Engine::new(start);
    let (mut t, mut said) = (Instant::START, Vec::new());
    while !potter.done() && t.seconds() < 300.0 {
        t = t + Duration::from_millis(2);
        for shown in potter.advance(t) {
            let mass = Mass::saturating(display(shown.mass_g));
            let w = Weighing { mass, arrived_at: t, taken_at: shown.taken_at };
            let at_rest = matches!(settler.handle_weighing(w), Motion::AtRest { .. });
            health.handle_weighing(w, at_rest);
            said.extend(health.ailment(t).map(|a| (t.seconds(), a)));
            engine.handle_weighing(w);
        }
        if engine.poll_timeout().is_some_and(|due| due <= t) {
            engine.handle_timeout(t);
        }
        while let Some(output) = engine.poll_output() {
            if let Output::Cue(c) = output {
                let plain = if c.cue == Cue::Fault { "stop" } else { c.cue.word() };
                potter.handle_cue(plain, c.due);
            }
        }
    }
    said
}

#[test]
fn a_scale_that_counts_as_told_is_never_called_coarser_in_a_session() {
    let mut wrong = Vec::new();
    for step_g in [0.01, 0.1, 0.2, 0.5] {
        for period_s in [0.05, 0.1, 0.2] {
            for seed in 1..=6 {
                let said = said(500 + seed, step_g, period_s);
                if let Some(first) = said.first() {
                    wrong.push(format!(
                        "{step_g} g every {period_s} s, seed {seed}: {first:?}, {} times",
                        said.len()
                    ));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Scales of every kind that the plant has, each told with the lag that is assumed for all.
fn kinds() -> Vec<(&'static str, ScaleModel)> {
    let middling = ScaleModel::middling();
    vec![
        ("fast", ScaleModel::fast()),
        ("middling", middling.clone()),
        ("slow", ScaleModel::slow()),
        ("quick readings", ScaleModel { period_s: 0.05, ..middling.clone() }),
        ("few readings", ScaleModel { period_s: 0.2, ..middling.clone() }),
        ("coarse", ScaleModel { step_g: 0.5, ..middling.clone() }),
        ("fine", ScaleModel { step_g: 0.01, ..middling.clone() }),
        ("without noise", ScaleModel { noise_g: 0.0, ..ScaleModel::fast() }),
        ("noisy", ScaleModel { noise_g: 0.08, ..middling.clone() }),
        ("in bunches", ScaleModel { bunch_s: 0.4, ..middling.clone() }),
        ("with losses", ScaleModel { drop_p: 0.05, ..ScaleModel::fast() }),
        ("in bunches with losses", ScaleModel { bunch_s: 0.2, drop_p: 0.02, ..middling }),
    ]
}

#[test]
fn no_scale_that_follows_the_weight_is_said_to_be_held_or_pulled_to_zero() {
    let mut wrong = Vec::new();
    for (kind, model) in kinds() {
        for seed in 1..=8 {
            let said = said_of(900 + seed, model.clone(), |shown| shown);
            let odd = |(_, a): &&(f64, Ailment)| {
                matches!(a, Ailment::Holds | Ailment::Hides | Ailment::Swallowed(_))
            };
            wrong.extend(said.iter().find(odd).map(|first| format!("{kind}, seed {seed}: {first:?}")));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn a_display_that_is_held_until_it_is_two_grams_off_is_told_from_its_jumps() {
    for (kind, model) in [("fast", ScaleModel::fast()), ("middling", ScaleModel::middling())] {
        for seed in 1..=4 {
            let mut held = 0.0_f64;
            let said = said_of(950 + seed, model.clone(), |shown| {
                if (shown - held).abs() >= 2.0 {
                    held = shown;
                }
                held
            });
            let first = said.iter().find(|(_, a)| *a == Ailment::Holds);
            println!("{kind}, seed {seed}: said after {:?} s", first.map(|(t, _)| *t));
            assert!(first.is_some(), "{kind}, seed {seed}: {:?}", said.first());
        }
    }
}

#[test]
fn a_steady_stream_whose_readings_rise_by_equal_steps_proves_no_coarser_step() {
    for flow in 4..=40 {
        for period_s in [0.05, 0.1, 0.2] {
            let start = start_for(29.0);
            let mut health = Health::new(&start.scale);
            for i in 0..200 {
                let t = f64::from(i) * period_s;
                let at = Instant::START.offset_seconds(t);
                let g = ((300.0 + 0.5 * f64::from(flow) * t) * 10.0).round() / 10.0;
                health.handle_weighing(
                    Weighing { mass: Mass::saturating(g), arrived_at: at, taken_at: at },
                    false,
                );
                assert_eq!(health.observed_step(), None, "{} g/s every {period_s} s", 0.5 * f64::from(flow));
            }
        }
    }
}
