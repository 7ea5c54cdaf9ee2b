//! Sampling times from arrival times, on links that bunch, jitter and lose.

use super::seeds::seeded;
use proptest::prelude::*;
use tarebell::reading::timing::{Rhythm, Timing};
use tarebell::time::Instant;
use tarebell::units::Mass;

/// Numbers from 0 to 1 that look random; the same for the same seed.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// A link that hands readings over at even moments, late by chance, and loses some.
#[derive(Clone, Copy)]
struct Air {
    period_s: f64,
    /// Readings are handed over every so many seconds; 0: at once.
    every_s: f64,
    jitter_s: f64,
    loss: f64,
    seed: u64,
}

const EVEN: Air = Air { period_s: 0.1, every_s: 0.0, jitter_s: 0.0, loss: 0.0, seed: 7 };

/// Sampling and arrival times of those that came, s.
fn through(air: Air, readings: usize) -> Vec<(f64, f64)> {
    let mut chance = Chance(air.seed.wrapping_mul(2_654_435_769) | 1);
    let mut latest = 0.0_f64;
    let mut came = Vec::new();
    for i in 0..readings {
        let taken_s = 5.03 + air.period_s * i as f64;
        let held_s = if air.every_s > 0.0 { (taken_s / air.every_s).ceil() * air.every_s } else { taken_s };
        latest = latest.max(held_s + air.jitter_s * chance.next());
        if chance.next() >= air.loss {
            came.push((taken_s, latest));
        }
    }
    came
}

/// Errors of the worked-out sampling times without their mean, s, of the readings after the first 64.
fn errors_s(came: &[(f64, f64)]) -> (Vec<f64>, Rhythm) {
    let mut timing = Timing::default();
    let mut errors = Vec::new();
    for (taken_s, arrived_s) in came {
        let got = timing.handle_arrival(Instant::START.offset_seconds(*arrived_s), None);
        assert!(got.seconds() <= arrived_s + 1e-6, "taken after it arrived");
        errors.push(got.seconds() - taken_s);
    }
    let errors = errors.split_off(64.min(errors.len()));
    let mean = errors.iter().sum::<f64>() / errors.len().max(1) as f64;
    (errors.iter().map(|e| e - mean).collect(), timing.rhythm())
}

fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt()
}

#[test]
fn four_readings_at_once_every_four_tenths_are_put_back_where_they_were_taken() {
    let (errors, rhythm) = errors_s(&through(Air { every_s: 0.4, jitter_s: 0.004, ..EVEN }, 400));
    // Arrivals alone miss by 0.11 s rms.
    assert!(rms(&errors) < 0.005, "{} s", rms(&errors));
    assert!((rhythm.rate_hz.expect("a rhythm") - 10.0).abs() < 0.05, "{rhythm:?}");
    let jitter_s = rhythm.jitter_s.expect("a rhythm");
    assert!((0.2..0.32).contains(&jitter_s) && rhythm.loss == Some(0.0), "{rhythm:?}");
}

#[test]
fn a_connection_interval_that_does_not_fit_the_period_is_smoothed_away() {
    for every_s in [0.02, 0.03, 0.045, 0.07, 0.15] {
        let air = Air { every_s, jitter_s: 0.002, ..EVEN };
        let (errors, _) = errors_s(&through(air, 600));
        assert!(rms(&errors) < 0.012, "every {every_s} s: {} s", rms(&errors));
    }
}

/// Arrivals less sampling times without their mean, s.
fn raw_s(came: &[(f64, f64)]) -> Vec<f64> {
    let mean = came.iter().map(|(taken, arrived)| arrived - taken).sum::<f64>() / came.len() as f64;
    came.iter().map(|(taken, arrived)| arrived - taken - mean).collect()
}

#[test]
fn lost_readings_are_counted_and_move_the_times_of_the_others_little() {
    let (mut worked_out, mut arrived) = (Vec::new(), Vec::new());
    for seed in 1..40 {
        let came = through(Air { every_s: 0.045, jitter_s: 0.01, loss: 0.02, seed, ..EVEN }, 600);
        let (errors, rhythm) = errors_s(&came);
        worked_out.extend(errors);
        arrived.extend(raw_s(&came));
        let kept = &came[came.len() - 64..];
        let lost = 1.0 - 63.0 / ((kept[63].0 - kept[0].0) / 0.1);
        if let Rhythm { rate_hz: Some(rate_hz), loss: Some(loss), .. } = rhythm {
            assert!((rate_hz - 10.0).abs() < 0.3, "seed {seed}: {rhythm:?}");
            assert!((loss - lost).abs() < 0.04, "seed {seed}: {lost} lost, {rhythm:?}");
        }
    }
    println!("lossy: {:.4} s, arrivals {:.4} s", rms(&worked_out), rms(&arrived));
    assert!(rms(&worked_out) < rms(&arrived), "{} of {} s", rms(&worked_out), rms(&arrived));
}

/// A sum of twelve is normal to the third digit: mean 0, standard deviation 1.
fn normal(chance: &mut Chance) -> f64 {
    (0..12).map(|_| chance.next()).sum::<f64>() - 6.0
}

/// Root mean square errors of the times worked out and of the arrivals, s: readings late by chance with a standard deviation
/// of two fifths of a period, a twelfth of them lost, of a weight that grows so fast, shown in steps of 0.1 g.
fn shaken_and_lost(growth_g_s: f64) -> (f64, f64) {
    let (mut worked_out, mut arrived) = (Vec::new(), Vec::new());
    for seed in 1..20_u64 {
        let mut chance = Chance(seed.wrapping_mul(2_654_435_769) | 1);
        let (mut timing, mut latest_s) = (Timing::default(), 0.0_f64);
        let (mut ours, mut raw) = (Vec::new(), Vec::new());
        for i in 0..800 {
            let taken_s = 5.0 + 0.1 * f64::from(i);
            let late_s = (0.06 + 0.04 * normal(&mut chance)).max(0.0);
            latest_s = (taken_s + late_s).max(latest_s);
            if chance.next() < 1.0 / 12.0 {
                continue;
            }
            let shown_g = (10.0 * (300.0 + growth_g_s * taken_s)).round() / 10.0;
            let at = Instant::START.offset_seconds(latest_s);
            let got = timing.handle_arrival(at, Some(Mass::saturating(shown_g)));
            if i >= 200 {
                ours.push(got.seconds() - taken_s);
                raw.push(latest_s - taken_s);
            }
        }
        for (all, of) in [(&mut worked_out, ours), (&mut arrived, raw)] {
            let mean_s = of.iter().sum::<f64>() / of.len() as f64;
            all.extend(of.iter().map(|s| s - mean_s));
        }
    }
    println!("{growth_g_s} g/s: {:.4} s, arrivals {:.4} s", rms(&worked_out), rms(&arrived));
    (rms(&worked_out), rms(&arrived))
}

#[test]
fn the_beat_is_found_under_much_unevenness_and_losses_and_a_growing_weight_tells_what_was_lost() {
    let (at_rest_s, arrived_s) = shaken_and_lost(0.0);
    assert!(at_rest_s < 0.75 * arrived_s, "{at_rest_s} of {arrived_s} s");
    let (pouring_s, arrived_s) = shaken_and_lost(8.0);
    assert!(pouring_s < 0.4 * arrived_s, "{pouring_s} of {arrived_s} s");
}

#[test]
fn bunches_with_losses_are_put_back_too() {
    let (mut worked_out, mut arrived) = (Vec::new(), Vec::new());
    for seed in 1..40 {
        let came = through(Air { every_s: 0.3, jitter_s: 0.005, loss: 0.03, seed, ..EVEN }, 600);
        worked_out.extend(errors_s(&came).0);
        arrived.extend(raw_s(&came));
    }
    println!("bunched and lossy: {:.4} s, arrivals {:.4} s", rms(&worked_out), rms(&arrived));
    assert!(rms(&worked_out) < 0.4 * rms(&arrived), "{} of {} s", rms(&worked_out), rms(&arrived));
}

#[test]
fn readings_without_a_rhythm_were_nearly_always_taken_when_they_arrived() {
    let mut chance = Chance(99);
    let mut at_s = 1.0;
    let mut timing = Timing::default();
    let (mut worst, mut n) = (0.0_f64, 0);
    for i in 0..400 {
        // A scale that only speaks when its weight changes.
        at_s += 0.02 - 0.25 * (1.0 - chance.next()).ln();
        let at = Instant::START.offset_seconds(at_s);
        let back = at.seconds_from(timing.handle_arrival(at, None));
        if i > 64 {
            worst = worst.max(back);
            n += i32::from(back > 0.3);
        }
    }
    // Chance looks like a rhythm now and then.
    assert!(n <= 25 && worst < 1.0, "{n} of 335 moved by over 0.3 s, worst {worst} s");
}

#[test]
fn a_scale_that_changes_its_rate_is_followed_within_a_window() {
    let slow = through(EVEN, 200);
    let from = slow.last().expect("it").1;
    let quick = through(Air { period_s: 0.05, ..EVEN }, 300);
    let later = quick.iter().map(|(t, a)| (t + from, a + from + 0.05));
    let came: Vec<_> = slow.iter().copied().chain(later).collect();
    let (_, rhythm) = errors_s(&came);
    assert!((rhythm.rate_hz.expect("a rhythm") - 20.0).abs() < 0.1, "{rhythm:?}");
}

#[test]
fn a_pause_begins_a_new_sequence() {
    let mut timing = Timing::default();
    for i in 0..100 {
        timing.handle_arrival(Instant::START.offset_seconds(0.1 * f64::from(i)), None);
    }
    assert!(timing.rhythm().rate_hz.is_some());
    let at = Instant::START.offset_seconds(12.0);
    assert_eq!(timing.handle_arrival(at, None), at);
    assert_eq!(timing.rhythm(), Rhythm::default());
}

proptest! {
    #![proptest_config(seeded())]

    #[test]
    fn sampling_times_rise_and_never_lie_after_the_arrival(gaps_us in proptest::collection::vec(0_u64..400_000, 0..300)) {
        let mut timing = Timing::default();
        let (mut at, mut latest) = (1_000_000, 0);
        for gap_us in gaps_us {
            at += gap_us + 1;
            let taken = timing.handle_arrival(Instant::from_us(at), None).us();
            prop_assert!(taken <= at && taken > latest, "{} then {}, arrived {}", latest, taken, at);
            latest = taken;
        }
    }
}
