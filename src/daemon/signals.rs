//! The signals that ask for a stop.

/// Caught from when this is made; one that comes before anybody waits is kept.
#[cfg(unix)]
pub(super) struct Signals {
    interrupt: tokio::signal::unix::Signal,
    terminate: tokio::signal::unix::Signal,
    /// None where whoever started it had it ignored, as `nohup` does: then it outlives its terminal.
    hang_up: Option<tokio::signal::unix::Signal>,
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
            hang_up: if outlives_terminal() { None } else { Some(signal(SignalKind::hangup())?) },
        })
    }

    /// Comes back when a stop is asked for.
    pub(super) async fn asked(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
            () = hung_up(self.hang_up.as_mut()) => {}
        }
    }
}

#[cfg(unix)]
async fn hung_up(signal: Option<&mut tokio::signal::unix::Signal>) {
    match signal {
        Some(signal) => {
            signal.recv().await;
        }
        None => std::future::pending().await,
    }
}

/// Whether a closed terminal is ignored by this process from its start. Told by Linux alone (proc(5), `SigIgn`: bit n - 1
/// for signal n); elsewhere it is taken for a stop.
#[cfg(unix)]
fn outlives_terminal() -> bool {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    status.lines().find_map(|line| line.strip_prefix("SigIgn:")).is_some_and(ignores_hang_up)
}

#[cfg(unix)]
fn ignores_hang_up(mask: &str) -> bool {
    const HANG_UP: u32 = 1;
    u64::from_str_radix(mask.trim(), 16).is_ok_and(|bits| bits >> (HANG_UP - 1) & 1 == 1)
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
