//! A simulated hand, jug and scale, for the demo, the tests and the bench.
//!
//! Deterministic from a seed; knows nothing of the engine. Every preset is a guess
//! from general knowledge of hands and scales, not a measurement of anyone.

pub mod chance;
pub mod hand;
pub mod scale;
pub mod session;
