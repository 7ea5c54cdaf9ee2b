//! Tests of the pure parts, all in parallel.
mod outside;
