//! The review's numbers against the outside, and what it says of odd batches.
//!
//! The source stands beside each check; all batches are invented.

mod compared;
mod coverage;
mod odd;
mod outside;
mod said;

use tarebell::record::Aim;
use tarebell::review::control_chart::{Rule, Rules};
use tarebell::review::outcome::Piece;
use tarebell::review::{Given, Review, review};
use tarebell::units::Mass;

fn aim(target: f64, low: f64, high: f64) -> Aim {
    Aim { target: Mass::saturating(target), low: Mass::saturating(low), high: Mass::saturating(high) }
}

fn given(values: &[f64], aim: Aim) -> Given {
    let piece = |(n, v): (usize, &f64)| Piece::of(n as u32 + 1, Mass::saturating(*v), aim);
    Given {
        pieces: values.iter().enumerate().map(piece).collect(),
        void: 0,
        aim,
        rules: Rules::default(),
        set_back: None,
        fired: false,
    }
}

/// Of invented pieces of 29 g with 5 %.
fn reviewed(values: &[f64]) -> Review {
    review(&given(values, aim(29.0, 27.55, 30.45)))
}

/// Which values end this pattern.
fn met(values: &[f64], rule: Rule) -> Vec<usize> {
    let given = Given { rules: Rules::none().with(rule), ..given(values, aim(29.0, 27.55, 30.45)) };
    review(&given).individuals.signals.iter().map(|s| s.index).collect()
}

fn close(found: Option<f64>, wanted: f64, within: f64, what: &str) {
    let found = found.unwrap_or_else(|| panic!("{what} is null"));
    assert!((found - wanted).abs() <= within, "{what}: {found}, wanted {wanted} within {within}");
}
