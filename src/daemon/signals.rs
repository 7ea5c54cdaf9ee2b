//! The signals that ask for a stop.

/// Caught from when this is made; one that comes before anybody waits is kept.
#[cfg(unix)]
pub(super) struct Signals {
    interrupt: tokio::signal::unix::Signal,
    terminate: tokio::signal::unix::Signal,
    hang_up: tokio::signal::unix::Signal,
}

#[cfg(unix)]
impl Signals {
    /// From here on no signal ends the process by itself.
    pub(super) fn new() -> std::io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        Ok(Self {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
            // A terminal that is closed.
            hang_up: signal(SignalKind::hangup())?,
        })
    }

    /// Comes back when a stop is asked for.
    pub(super) async fn asked(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
            _ = self.hang_up.recv() => {}
        }
    }
}

/// Where there are no signals: the interrupt key.
#[cfg(not(unix))]
pub(super) struct Signals;

#[cfg(not(unix))]
impl Signals {
    pub(super) fn new() -> std::io::Result<Self> {
        Ok(Self)
    }

    pub(super) async fn asked(&mut self) {
        // One that can't be caught ends the process by itself.
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending().await
        }
    }
}
