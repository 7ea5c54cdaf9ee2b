//! Tests of the pure parts, all in parallel.

mod engine;
mod outside;
mod session;
