//! Tests of the real binary on real terminals, files and sockets.
