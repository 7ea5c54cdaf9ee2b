//! Argument types.
