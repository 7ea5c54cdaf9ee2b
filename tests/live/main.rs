//! Tests of the real binary on real terminals, files and sockets.

#![allow(clippy::expect_used, clippy::unwrap_used, reason = "a test that panics has failed, and says where")]

mod axe;
mod browser;
mod crowd;
mod described;
mod disk;
mod doctor;
mod ear;
mod faces;
mod kill;
mod page;
mod pan;
mod port;
mod pour;
mod quick;
mod refused;
mod rig;
mod setup;
mod sound;
mod stop;
mod views;
mod wake;
mod window;
