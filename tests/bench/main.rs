//! The bench of the stop. `cargo bench --bench stop` says how.

mod cell;
mod figures;
mod run;

use cell::Setup;
use figures::figures;
use run::{Caller, Fill, session};

fn cell(setup: &Setup, caller: Caller, sessions: u64, pieces: u32, learning: usize) -> Vec<Fill> {
    let one = |i: u64| {
        let setup = setup.clone().with_person(i, sessions);
        let mut fills = session(&setup, caller, 5000 + i, pieces).expect("a session that ends");
        fills.split_off(learning.min(fills.len()))
    };
    std::thread::scope(|scope| {
        let halves: Vec<_> = (0..2)
            .map(|half| {
                scope.spawn(move || (0..sessions).filter(|i| i % 2 == half).flat_map(one).collect::<Vec<_>>())
            })
            .collect();
        halves.into_iter().flat_map(|h| h.join().expect("a half")).collect()
    })
}

fn main() {
    let sessions = std::env::var("SESSIONS").ok().map_or(10, |s| s.parse().expect("a number"));
    for (scale, hand) in [
        ("quick", "usual"),
        ("usual", "steady"),
        ("usual", "usual"),
        ("usual", "easing"),
        ("late", "usual"),
        ("coarse", "usual"),
        ("lossy", "usual"),
    ] {
        if std::env::var("ONLY").is_ok_and(|only| !only.split(',').any(|o| o == format!("{scale}/{hand}"))) {
            continue;
        }
        let setup = Setup::of(scale, hand, 29.0, 8.0).expect("a cell");
        for caller in [Caller::Plain, Caller::Grams, Caller::Engine, Caller::Oracle] {
            if std::env::var("ENGINE").is_ok() && caller != Caller::Engine {
                continue;
            }
            let f = figures(&cell(&setup, caller, sessions, 50, 6), setup.target_g);
            println!(
                "{scale:7} {hand:7} {caller:?}: n {} mean {:+.2} SD {:.2} RMS {:.2} P95 {:.2} within {:.2} {:.2} contact {:.1} told {:.2}",
                f.n, f.mean_g, f.sd_g, f.rms_g, f.p95_g, f.within.0, f.within.1, f.contact_s, f.told
            );
        }
    }
}
