//! A hand that does not stop, or pours again before the weight is known: it must be told a second time.
//! Closed loop on a virtual clock; hand and scale are invented.

use super::run::start_for;
use tarebell::pour::engine::Engine;
use tarebell::pour::entry::{Cue, Entry, Output};
use tarebell::reading::Weighing;
use tarebell::scale::Origin;
use tarebell::time::Instant;
use tarebell::units::Mass;

const TARGET_G: f64 = 29.0;
const PIECE_G: f64 = 300.0;

/// How one hand pours one piece.
#[derive(Clone, Copy, Debug)]
struct Hand {
    flow_g_s: f64,
    /// From the stop's sound to the end of the stream; no time: it hears only what comes after the first.
    reacts_s: Option<f64>,
    /// It pours again so long after its stream ended.
    again_s: Option<f64>,
    /// The display stands still between these seconds of the pour.
    frozen: (f64, f64),
    lag_s: f64,
}

const STEADY: Hand =
    Hand { flow_g_s: 8.0, reacts_s: Some(0.3), again_s: None, frozen: (9e9, 9e9), lag_s: 0.3 };

struct Told {
    net_g: f64,
    stops: usize,
    entry: Option<Entry>,
    /// Seconds of the pour and net grams at which a stop was due while nothing ran.
    idle_stops: Vec<(f64, f64)>,
}

/// Pours until the hand has ended for good and the piece was lifted.
fn pour(hand: Hand) -> Told {
    let mut start = start_for(TARGET_G);
    start.scale.lag_origin = Origin::Assumed;
    let mut engine = Engine::new(start);
    let (mut net_g, mut shown_g, mut frozen_g) = (0.0, 0.0, 0.0);
    let (mut begun, mut ended, mut stop_at): (Option<f64>, Option<f64>, Option<f64>) = (None, None, None);
    let mut told = Told { net_g: 0.0, stops: 0, entry: None, idle_stops: Vec::new() };
    let mut pours_again = hand.again_s;
    for ms in (0..40_000).step_by(2) {
        let t = f64::from(ms) / 1000.0;
        let poured_s = begun.map_or(-1.0, |b| t - b);
        let runs = poured_s > 0.0 && ended.is_none();
        if runs {
            net_g += 0.002 * hand.flow_g_s;
        }
        if runs && (stop_at.is_some_and(|at| t >= at) || net_g > 3.0 * TARGET_G) {
            ended = Some(t);
        }
        if let (Some(end), Some(wait)) = (ended, pours_again)
            && t >= end + wait
        {
            (ended, stop_at, pours_again) = (None, None, None);
        }
        let lifted = ended.is_some_and(|end| pours_again.is_none() && t > end + 3.0);
        let felt_g = if t < 2.0 || lifted { 0.0 } else { PIECE_G + net_g };
        shown_g += (felt_g - shown_g) * 0.002 / hand.lag_s;
        let now = Instant::START.offset_seconds(t);
        if engine.poll_timeout().is_some_and(|due| due <= now) {
            engine.handle_timeout(now);
        }
        if ms % 100 == 0 {
            if !(hand.frozen.0..hand.frozen.1).contains(&poured_s) {
                let scatter = 0.03 * (f64::from(ms / 100 * 7919 % 13) / 6.0 - 1.0);
                frozen_g = ((shown_g + scatter) * 10.0).round() / 10.0;
            }
            engine.handle_weighing(Weighing {
                mass: Mass::saturating(frozen_g),
                arrived_at: now,
                taken_at: now,
            });
        }
        while let Some(output) = engine.poll_output() {
            match output {
                Output::Cue(c) if c.cue == Cue::Ready => begun = begun.or(Some(t + 0.6)),
                Output::Cue(c) if c.cue == Cue::Stop || (c.cue == Cue::Fault && begun.is_some()) => {
                    told.stops += usize::from(c.cue == Cue::Stop);
                    if c.cue == Cue::Stop && ended.is_some_and(|end| t > end + 0.5) {
                        told.idle_stops.push((poured_s, net_g));
                    }
                    let hears = hand.reacts_s.or((told.stops > 1).then_some(0.3));
                    stop_at = stop_at.or(hears.map(|s| c.due.seconds() + s));
                }
                Output::Entry(e) if e.rev > 0 => told.entry = Some(e),
                Output::Cue(_)
                | Output::Entry(_)
                | Output::Dropped { .. }
                | Output::Learned(_)
                | Output::VoidLast
                | Output::Jug { .. } => {}
            }
        }
    }
    told.net_g = net_g;
    told
}

#[test]
fn a_stop_that_was_not_heard_is_told_again_within_two_seconds() {
    for flow_g_s in [4.0, 8.0, 14.0] {
        for lag_s in [0.15, 0.3, 0.7] {
            let hand = Hand { reacts_s: None, flow_g_s, lag_s, ..STEADY };
            let told = pour(hand);
            println!("{flow_g_s} g/s, lag {lag_s} s: {:.1} g, {} stops", told.net_g, told.stops);
            assert!(
                told.stops >= 2 && told.net_g < TARGET_G + 3.0 * flow_g_s,
                "{hand:?}: {:.1} g",
                told.net_g
            );
            let logged = told.entry.and_then(|e| e.net).map_or(f64::NAN, |n| n.g());
            assert!(
                (logged - told.net_g).abs() < 0.5,
                "{hand:?}: logged {logged:.2} g of {:.2} g",
                told.net_g
            );
        }
    }
}

#[test]
fn a_hand_that_pours_again_before_the_weight_is_known_gets_a_second_stop() {
    for flow_g_s in [4.0, 8.0] {
        for reacts_s in [0.0, 0.3] {
            for again_s in [0.15, 0.3, 0.5, 0.7, 0.9, 1.2, 2.0] {
                let hand = Hand { flow_g_s, reacts_s: Some(reacts_s), again_s: Some(again_s), ..STEADY };
                let told = pour(hand);
                println!(
                    "{flow_g_s} g/s, reacts in {reacts_s} s, again after {again_s} s: {:.1} g, {} stops",
                    told.net_g, told.stops
                );
                // A second of the flow, and the hand's own time, beyond the target.
                assert!(
                    told.stops >= 2 && told.net_g < TARGET_G + 2.0 * flow_g_s,
                    "{hand:?}: {:.1} g",
                    told.net_g
                );
            }
        }
    }
}

#[test]
fn one_stop_is_enough_for_a_hand_that_stops_also_on_a_scale_slower_than_assumed() {
    for flow_g_s in [4.0, 8.0, 14.0] {
        for lag_s in [0.1, 0.3, 0.7] {
            for reacts_s in [0.2, 0.3, 0.45] {
                let hand = Hand { flow_g_s, lag_s, reacts_s: Some(reacts_s), ..STEADY };
                let told = pour(hand);
                assert_eq!(told.stops, 1, "{hand:?}: {:.1} g", told.net_g);
            }
        }
    }
}

#[test]
fn after_a_display_that_stood_still_no_stop_is_told_to_a_jug_that_is_upright() {
    for (from, to) in [(1.0, 1.8), (1.5, 2.4), (2.0, 2.8), (0.8, 3.0)] {
        for again_s in [0.6, 1.0, 2.0] {
            let hand = Hand { frozen: (from, to), again_s: Some(to - from + again_s), ..STEADY };
            let told = pour(hand);
            println!(
                "frozen {from} to {to} s, again after {again_s} s: {:.1} g, {} stops, {:?}",
                told.net_g, told.stops, told.idle_stops
            );
            assert!(told.idle_stops.is_empty(), "{hand:?}: {:?}", told.idle_stops);
            assert!(told.net_g < TARGET_G + 16.0, "{hand:?}: {:.1} g", told.net_g);
        }
    }
}
