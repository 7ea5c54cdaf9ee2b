//! Tests of the real binary on real terminals, files and sockets.

#![allow(clippy::expect_used, clippy::unwrap_used, reason = "a test that panics has failed, and says where")]

mod again;
mod air;
mod air_link;
mod air_rig;
mod air_trouble;
mod appearance;
mod axe;
mod between;
mod browser;
mod calibrate;
mod clients;
mod crowd;
mod deaf;
mod described;
mod disk;
mod doctor;
mod ear;
mod faces;
mod glaze;
mod history;
mod kept;
mod kill;
mod late;
mod order;
mod ounces;
mod page;
mod pan;
mod port;
mod pour;
mod printed;
mod quick;
mod refill;
mod refused;
mod review;
mod rig;
mod setup;
mod shelf;
mod simulated;
mod sound;
mod stop;
mod void;
mod wake;
mod window;
mod zero;
