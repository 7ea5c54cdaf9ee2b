//! A scale on a serial port: opened exclusively, and looked for for ever.
//!
//! Says once per change of state what is wrong; never decodes a byte.

use super::LinkEvent;
use crate::settings::{Framing, Serial};
use crate::time::Instant;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt, ReadHalf, WriteHalf};
use tokio_serial::{DataBits, Parity, SerialPort, SerialPortBuilderExt, SerialStream, StopBits};

/// Pauses between tries grow from the first to the last.
const FIRST_PAUSE: Duration = Duration::from_millis(250);
const LAST_PAUSE: Duration = Duration::from_secs(5);

/// An open port that says nothing for this long is told as up: as long as `fault` may take.
const STAYS: Duration = Duration::from_secs(1);
/// A shortest reading, as `1.2 g` and its line end: after less the port was never really there.
const READING_BYTES: usize = 7;
/// A short question takes some milliseconds at the slowest usual rate (own choice).
const ASK_LIMIT: Duration = Duration::from_secs(1);

/// Why a port is not open.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PortError {
    /// No such port.
    #[error("{port} is not there")]
    Missing {
        /// Port.
        port: String,
    },
    /// Another program has it.
    #[error("{port} is in use by another program")]
    Busy {
        /// Port.
        port: String,
    },
    /// This user may not open it.
    #[error("no permission to open {port}")]
    Permission {
        /// Port.
        port: String,
    },
    /// Pulled out, or the other end went away.
    #[error("{port} was unplugged")]
    Unplugged {
        /// Port.
        port: String,
    },
    /// Anything else.
    #[error("{port}: {why}")]
    Other {
        /// Port.
        port: String,
        /// In the system's words.
        why: String,
    },
}

impl PortError {
    fn try_this(&self) -> &'static str {
        match self {
            Self::Missing { .. } => "plug the scale in; `tarebell scales` lists the ports in reach",
            Self::Busy { .. } => "close the other program (a second tarebell, a terminal)",
            Self::Permission { .. } => {
                "add yourself to the group that owns it (often dialout) and log in again"
            }
            Self::Unplugged { .. } => "plug the scale in again: it is looked for all the time",
            Self::Other { .. } => "check port, baud rate and framing in the settings",
        }
    }
}

/// A port in reach.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// Path to put into the settings.
    pub path: String,
    /// What is known of it.
    pub description: String,
}

/// Serial ports in reach, sorted; may block for a moment.
pub fn ports() -> Vec<Found> {
    // Listing panics in odd containers without /sys/class/tty: that is no port in reach.
    let listed = std::panic::catch_unwind(tokio_serial::available_ports);
    let mut found: Vec<Found> = listed
        .ok()
        .and_then(Result::ok)
        .unwrap_or_default()
        .into_iter()
        .map(|p| Found { path: p.port_name, description: describe(&p.port_type) })
        .collect();
    found.sort_by(|a, b| a.path.cmp(&b.path));
    found
}

fn describe(kind: &tokio_serial::SerialPortType) -> String {
    match kind {
        tokio_serial::SerialPortType::UsbPort(usb) => {
            let product = usb.product.as_deref().unwrap_or("adapter");
            format!("USB {:04x}:{:04x} {product}", usb.vid, usb.pid)
        }
        tokio_serial::SerialPortType::PciPort => "built in".to_owned(),
        tokio_serial::SerialPortType::BluetoothPort => "Bluetooth serial".to_owned(),
        tokio_serial::SerialPortType::Unknown => "kind not known".to_owned(),
    }
}

/// Opens, reads, and opens again, for ever.
///
/// A port that opens and dies at once is not told as up each time: it is up once bytes come, or
/// once it has stayed open for a second.
pub async fn run(cfg: Serial, now: impl Fn() -> Instant + Send, mut tell: impl FnMut(LinkEvent) + Send) {
    let mut pause = FIRST_PAUSE;
    let mut said: Option<PortError> = None;
    loop {
        let error = match open(&cfg) {
            Ok(port) => {
                let mut count = 0;
                let counted = |event| {
                    match &event {
                        LinkEvent::Up => said = None,
                        LinkEvent::Bytes { bytes, .. } => count += bytes.len(),
                        LinkEvent::Facts(_) | LinkEvent::Down { .. } => {}
                    }
                    tell(event);
                };
                let error = serve(port, &cfg, &now, counted).await;
                if count >= READING_BYTES {
                    pause = FIRST_PAUSE;
                }
                error
            }
            Err(error) => error,
        };
        if said.as_ref() != Some(&error) {
            tell(LinkEvent::Down { reason: error.to_string(), try_this: error.try_this().to_owned() });
            said = Some(error);
        }
        tokio::time::sleep(pause).await;
        pause = (pause * 2).min(LAST_PAUSE);
    }
}

fn open(cfg: &Serial) -> Result<SerialStream, PortError> {
    let Framing { data_bits, parity, stop_bits } = cfg.framing;
    let port = tokio_serial::new(&cfg.port, cfg.baud)
        .data_bits(if data_bits == 7 { DataBits::Seven } else { DataBits::Eight })
        .parity(match parity {
            'E' => Parity::Even,
            'O' => Parity::Odd,
            _ => Parity::None,
        })
        .stop_bits(if stop_bits == 2 { StopBits::Two } else { StopBits::One })
        .open_native_async()
        .map_err(|error| sort(&cfg.port, &error))?;
    // What lay in the buffer before is of another time; a port that can't clear is read all the same.
    let _ = port.clear(tokio_serial::ClearBuffer::Input);
    Ok(port)
}

fn sort(port: &str, error: &tokio_serial::Error) -> PortError {
    let port = port.to_owned();
    let why = error.to_string();
    let lower = why.to_lowercase();
    if lower.contains("exclusive lock") || lower.contains("busy") {
        return PortError::Busy { port };
    }
    if lower.contains("permission") {
        return PortError::Permission { port };
    }
    match error.kind() {
        tokio_serial::ErrorKind::NoDevice => PortError::Missing { port },
        tokio_serial::ErrorKind::Io(std::io::ErrorKind::NotFound) => PortError::Missing { port },
        tokio_serial::ErrorKind::Io(std::io::ErrorKind::PermissionDenied) => PortError::Permission { port },
        tokio_serial::ErrorKind::InvalidInput
        | tokio_serial::ErrorKind::Unknown
        | tokio_serial::ErrorKind::Io(_) => PortError::Other { port, why },
    }
}

/// Reads and asks until the port is gone; says why it is.
async fn serve(
    port: SerialStream,
    cfg: &Serial,
    now: &(impl Fn() -> Instant + Send),
    tell: impl FnMut(LinkEvent) + Send,
) -> PortError {
    let (from, to) = tokio::io::split(port);
    // Apart, so that a scale that takes no bytes is still read.
    tokio::select! {
        () = read(from, now, tell) => {}
        () = ask(to, cfg) => {}
    }
    PortError::Unplugged { port: cfg.port.clone() }
}

/// Reads until the port is gone.
async fn read(
    mut from: ReadHalf<SerialStream>,
    now: &(impl Fn() -> Instant + Send),
    mut tell: impl FnMut(LinkEvent) + Send,
) {
    let mut buffer = [0_u8; 512];
    let mut up = false;
    let stays = tokio::time::sleep(STAYS);
    tokio::pin!(stays);
    loop {
        let got = tokio::select! {
            biased;
            got = from.read(&mut buffer) => got,
            () = &mut stays, if !up => {
                up = true;
                tell(LinkEvent::Up);
                continue;
            }
        };
        let arrived_at = now();
        match got {
            // End of file comes again and again from a closed line: it is unplugged.
            Ok(0) | Err(_) => return,
            Ok(n) => {
                if !std::mem::replace(&mut up, true) {
                    tell(LinkEvent::Up);
                }
                tell(LinkEvent::Bytes { bytes: buffer[..n].to_vec(), arrived_at });
            }
        }
    }
}

/// Asks for readings, if the scale wants to be asked, until the port is gone.
async fn ask(mut to: WriteHalf<SerialStream>, cfg: &Serial) {
    let Some((words, every)) = &cfg.ask else { return std::future::pending().await };
    let mut at = tokio::time::interval(*every);
    at.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    let mut stuck = false;
    loop {
        at.tick().await;
        match tokio::time::timeout(ASK_LIMIT, to.write_all(words.as_bytes())).await {
            Ok(Ok(())) => stuck = false,
            Ok(Err(_)) => return,
            Err(_) if !std::mem::replace(&mut stuck, true) => {
                tracing::warn!(
                    "scale: {} takes no bytes, so it can't be asked: check flow control and cable",
                    cfg.port
                );
            }
            Err(_) => {}
        }
    }
}

#[cfg(test)]
mod tests;
