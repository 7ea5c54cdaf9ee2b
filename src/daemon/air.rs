//! What is in reach over cables and through the air, for `scales` and `doctor`.

use super::commands::{note, print};
use crate::cli::ScalesArgs;
use crate::link::ble::{self, BleError, Found, ServiceFound};
use crate::link::serial;
use crate::settings::{By, short};
use serde_json::{Value, json};
use std::process::ExitCode;
use std::time::Duration;

/// Scales announce themselves several times a second while they wait, but some only every two seconds to
/// save their battery (common practice, no source).
const SEARCH: Duration = Duration::from_secs(4);

/// Looks for what is in the air in a runtime of its own; with `by` until that is found.
pub(super) fn look(by: Option<&By>) -> Result<Vec<Found>, BleError> {
    // Without a runtime nothing of the system's Bluetooth can be asked.
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(1)
        .enable_all()
        .build()
        .map_err(|_| BleError::Mute)?;
    let found = runtime.block_on(ble::look(by, SEARCH));
    // A thread that hangs on the bus is left behind.
    runtime.shutdown_background();
    found
}

/// Lists all scales in reach.
pub(super) fn scales(args: &ScalesArgs) -> anyhow::Result<ExitCode> {
    let ports = serial::ports();
    let air = look(None);
    if let Err(trouble) = &air {
        note(format!("through the air nothing is heard: {trouble}; {}", trouble.try_this()));
    }
    let found = air.unwrap_or_default();
    if args.json {
        let wired =
            ports.iter().map(|f| json!({ "link": "serial", "port": f.path, "description": f.description }));
        print(&Value::from_iter(wired.chain(found.iter().map(in_json))).to_string())?;
    } else if ports.is_empty() && found.is_empty() {
        print("nothing in reach: plug the scale in, or switch it on and bring it near")?;
    } else {
        let wired = ports.iter().map(|f| format!("{}  {}", f.path, f.description));
        print(&wired.chain(found.iter().map(in_words)).collect::<Vec<_>>().join("\n"))?;
    }
    Ok(ExitCode::SUCCESS)
}

fn in_json(f: &Found) -> Value {
    let service =
        |s: &ServiceFound| json!({ "service": short(s.uuid), "name": s.name, "uuid": s.uuid.to_string() });
    json!({
        "link": "ble", "address": f.address, "name": f.name, "signal_dbm": f.signal_dbm,
        "connected": f.connected, "services": f.services.iter().map(service).collect::<Vec<_>>(),
    })
}

fn in_words(f: &Found) -> String {
    let services: Vec<String> = f
        .services
        .iter()
        .map(|s| s.name.map_or_else(|| short(s.uuid), |name| format!("{} ({name})", short(s.uuid))))
        .collect();
    let with = if services.is_empty() { String::new() } else { format!(", service {}", services.join(", ")) };
    format!("{}  Bluetooth, {}, {}{with}", f.address, f.name.as_deref().unwrap_or("no name"), signal(f))
}

/// How it is heard.
pub(super) fn signal(f: &Found) -> String {
    match f.signal_dbm {
        Some(dbm) => format!("signal {dbm} dBm"),
        None if f.connected => "connected".to_owned(),
        None => "signal unknown".to_owned(),
    }
}
