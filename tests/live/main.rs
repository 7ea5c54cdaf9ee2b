//! Tests of the real binary on real terminals, files and sockets.

#![allow(clippy::expect_used, clippy::unwrap_used, reason = "a test that panics has failed, and says where")]

mod browser;
mod described;
mod disk;
mod doctor;
mod ear;
mod kill;
mod page;
mod port;
mod pour;
mod refused;
mod rig;
mod setup;
mod sound;
mod stop;
mod window;
