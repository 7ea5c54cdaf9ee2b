//! Tests of the pure parts, all in parallel.

#![allow(clippy::expect_used, clippy::unwrap_used, reason = "a test that panics has failed, and says where")]

mod again;
mod bound;
mod bucket;
mod calibrating;
mod calibration;
mod chaos;
mod coats;
mod corrected;
mod curve;
mod cycle;
mod cycle_long;
mod cycles;
mod doubt;
mod engine;
mod finish;
mod frames;
mod guided;
mod healthy;
mod inside;
mod intake;
mod ladder;
mod lag;
mod landing;
mod messages;
mod mishaps;
mod number;
mod outlook;
mod outside;
mod readme;
mod review;
mod run;
mod scenes;
mod seeds;
mod session;
mod settings;
mod shapes;
mod silence;
mod states;
mod stop;
mod supply;
mod tidy;
mod timing;
mod units;
mod working;
