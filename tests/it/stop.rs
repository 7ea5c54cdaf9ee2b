//! The kept figures of the stop against what is played today: a few cells of `tests/bench/figures.csv`, and the
//! yardstick's arithmetic, worked by hand.

#[path = "../bench/cell.rs"]
#[allow(dead_code, reason = "the bench uses all of it")]
pub(super) mod cell;
#[path = "../bench/cloud.rs"]
mod cloud;
#[path = "../bench/ear.rs"]
#[allow(dead_code, reason = "the bench uses all of it")]
mod ear;
#[path = "../bench/figures.rs"]
#[allow(dead_code, reason = "the bench uses all of it")]
mod figures;
#[path = "../bench/kept.rs"]
#[allow(dead_code, reason = "the bench uses all of it")]
mod kept;
#[path = "../bench/other.rs"]
mod other;
#[path = "../bench/run.rs"]
#[allow(dead_code, reason = "the bench uses all of it")]
mod run;
#[path = "../bench/told.rs"]
pub(super) mod told;
#[path = "../bench/yardstick.rs"]
mod yardstick;

use cell::Setup;
use figures::{Figures, POURS, figures};
use run::{Caller, session};
use tarebell::pour::finish::Finish;
use yardstick::{Class, class_of, limit_g, share_within};

const KEPT: &str = include_str!("../bench/figures.csv");
/// Cells played again: each scale and each hand once or more.
const AGAIN: [(&str, &str); 5] =
    [("quick", "usual"), ("usual", "steady"), ("late", "easing"), ("coarse", "usual"), ("lossy", "busy")];
/// The first of these sessions' people: four of the twenty, spread over fast and slow ones.
const SESSIONS: u64 = 20;
const PLAYED: [u64; 4] = [2, 7, 12, 17];
const FIRST_SEED: u64 = 5000;
/// 240 fills tell an RMS to 1 / sqrt(2 x 240), 4.6 %, and people differ beside: a quarter is five times that.
const RMS_ROOM: f64 = 0.25;

fn played(scale: &str, hand: &str, caller: Caller) -> Figures {
    let setup = Setup::of(scale, hand, 29.0, 8.0).expect("a cell");
    let fills = PLAYED.map(|i| {
        let setup = setup.clone().with_person(i, SESSIONS);
        session(&setup, caller, FIRST_SEED + i, POURS).expect("a session that ends")
    });
    figures(&fills, setup.target_g)
}

/// Mean and RMS as kept, g.
pub(super) fn kept_of(scale: &str, hand: &str, caller: &str) -> (f64, f64) {
    let key = kept::key(scale, hand, 29.0, 8.0, caller) + ",";
    let line = KEPT.lines().find(|line| line.starts_with(&key)).expect(&key);
    let column = |name| {
        let place = kept::HEAD.split(',').position(|n| n == name).expect("a column");
        line.split(',').nth(place).expect("a value").parse().expect("a number")
    };
    (column("mean_g"), column("rms_g"))
}

#[test]
fn the_kept_figures_are_still_met_and_no_cell_is_worse_than_fixed_grams() {
    assert_eq!(KEPT.lines().next(), Some(kept::HEAD), "make the table anew");
    for (scale, hand) in AGAIN {
        let [ours, grams] = [Caller::Engine, Caller::Grams].map(|caller| {
            let f = played(scale, hand, caller);
            let (mean_g, rms_g) = kept_of(scale, hand, caller.word());
            let name = format!("{scale}/{hand}, {}: {:+.2} and {:.2} g", caller.word(), f.mean_g, f.rms_g);
            println!("{name}; kept {mean_g:+.2} and {rms_g:.2} g");
            let renew = "renew the table if that is meant: cargo bench --bench stop -- --all";
            assert!((f.rms_g / rms_g - 1.0).abs() <= RMS_ROOM, "{name}, RMS kept {rms_g:.2} g; {renew}");
            // The mean of 240 fills scatters by RMS / 15.5, and with the people's own.
            assert!((f.mean_g - mean_g).abs() <= 0.3 * rms_g, "{name}, mean kept {mean_g:+.2} g; {renew}");
            f
        });
        assert!(ours.rms_g < grams.rms_g, "{scale}/{hand}: worse than fixed grams");
        assert!(ours.mean_g.abs() <= 0.3, "{scale}/{hand}: mean {:+.2} g after six pours", ours.mean_g);
    }
}

/// The same, finished with a trickle.
fn trickled(scale: &str, hand: &str) -> (Figures, f64) {
    let mut setup = Setup::of(scale, hand, 29.0, 8.0).expect("a cell");
    setup.settings.finish = Finish::Trickle;
    let fills = PLAYED.map(|i| {
        let setup = setup.clone().with_person(i, SESSIONS);
        session(&setup, Caller::Engine, FIRST_SEED + i, POURS).expect("a session that ends")
    });
    let firsts: Vec<f64> = fills.iter().flatten().skip(figures::LEARNING).filter_map(|f| f.first_g).collect();
    let over = firsts.iter().filter(|g| **g > 29.0).count() as f64 / firsts.len() as f64;
    (figures(&fills, setup.target_g), over)
}

#[test]
fn a_pour_finished_with_a_trickle_misses_by_half_as_much_and_stands_some_seconds_longer() {
    // Measured over 20 sessions (`tests/bench/figures.md`): 0.21, 0.23 and 0.33 g against 0.42, 0.52 and 0.77 g, and 3.1, 3.8
    // and 5.3 s longer; these four people scatter a little more; a fifth to a quarter is room.
    for (scale, most_g, longer_s) in [("quick", 0.27, 3.5), ("usual", 0.31, 4.3), ("late", 0.43, 6.0)] {
        let one = played(scale, "usual", Caller::Engine);
        let (two, over) = trickled(scale, "usual");
        println!(
            "{scale}: {:.2} g, {:.2} s; one stop {:.2} g, {:.2} s",
            two.rms_g, two.contact_s, one.rms_g, one.contact_s
        );
        assert!(two.rms_g < most_g && two.rms_g < 0.7 * one.rms_g, "{scale}: {:.2} g", two.rms_g);
        assert!(two.mean_g.abs() < 0.25, "{scale}: mean {:+.2} g", two.mean_g);
        assert!(two.contact_s - one.contact_s < longer_s, "{scale}: {:.1} s", two.contact_s);
        assert!(over < 0.02, "{scale}: {over} over at the first stop");
    }
}

#[test]
fn a_slow_stream_onto_a_display_of_whole_grams_is_told_its_stop_and_no_fault() {
    for (target_g, flow_g_s) in [(15.0, 2.5), (8.0, 4.0 / 3.0)] {
        let setup = Setup::of("coarse", "steady", target_g, flow_g_s).expect("a cell");
        let fills = [2, 12]
            .map(|i| session(&setup.clone().with_person(i, SESSIONS), Caller::Engine, FIRST_SEED + i, POURS));
        let fills: Vec<_> = fills.into_iter().map(|fills| fills.expect("a session that ends")).collect();
        let f = figures(&fills, target_g);
        let told = fills.iter().flatten().filter(|fill| fill.told).count();
        println!("{target_g} g: mean {:+.2} RMS {:.2} g, {told} told", f.mean_g, f.rms_g);
        // Of 132 pours; what is off most is the tare, 0.29 g.
        assert!(told >= 130 && f.rms_g < 0.65, "{target_g} g: {told} told, RMS {:.2} g", f.rms_g);
    }
}

#[test]
fn the_yardstick_s_classes_are_those_worked_by_hand() {
    // 59 fills of 30 g and one of 33 g: average 30.05 g, limit 9 % of it, 2.7045 g; furthest 2.95 g: 1.0908 of it.
    let mut run = vec![30.0; 59];
    run.push(33.0);
    assert_eq!(class_of(&run, 30.0), Class(2.0));
    assert!((share_within(&run) - 59.0 / 60.0).abs() < 1e-12);
    // All alike, but 0.7 g over: a quarter of 2.7 g is 0.675 g, so X(1) fails by the average alone.
    assert_eq!(class_of(&[30.7; 60], 30.0), Class(2.0));
    assert_eq!(class_of(&[30.67; 60], 30.0), Class(1.0));
    // UK S.I. 2006/1258, schedule 5, table 2: each band's own limit, and no jump between them.
    let bands =
        [(30.0, 2.7), (75.0, 4.5), (150.0, 6.75), (250.0, 9.0), (400.0, 12.0), (800.0, 15.0), (2000.0, 30.0)];
    assert!(bands.iter().all(|(mass_g, limit)| (limit_g(*mass_g) - limit).abs() < 1e-9));
    for edge in [50.0, 100.0, 200.0, 300.0, 500.0, 1000.0] {
        assert!((limit_g(edge) - limit_g(edge + 1e-9)).abs() < 1e-6, "{edge}");
    }
    assert_eq!(class_of(&[f64::MAX.sqrt(), 1.0], 1.0), Class(f64::INFINITY));
}
