//! HTTP and WebSocket: the contract's face of the daemon.
pub mod desk;
pub mod view;
