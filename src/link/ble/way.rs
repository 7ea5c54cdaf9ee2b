//! A way to the system's bus, and its end.

use super::trouble::{BleError, sort};
use btleplug::platform::Manager;
use std::sync::Arc;
use std::time::Duration;
use tokio::runtime::{Builder, Handle, Runtime};
use tokio::time::timeout;

/// A way to the bus is opened in a moment, or it hangs (own choice).
const OPEN: Duration = Duration::from_secs(5);

/// A way to the bus.
///
/// The library keeps each one open for as long as the runtime lives in which it was made, and the bus
/// takes only so many: so each has a runtime of its own, which ends with it.
pub(super) struct Way {
    pub(super) manager: Manager,
    runtime: Option<Runtime>,
}

impl Drop for Way {
    fn drop(&mut self) {
        if let Some(runtime) = self.runtime.take() {
            runtime.shutdown_background();
        }
    }
}

/// A thread that opens one.
pub(super) type Opening = tokio::task::JoinHandle<Result<Way, BleError>>;

/// Opens a way. That blocks its thread, which may hang: there is never a second one beside it.
pub(super) async fn open(opening: &mut Option<Opening>) -> Result<Arc<Way>, BleError> {
    let made = opening.get_or_insert_with(|| Handle::current().spawn_blocking(make));
    let Ok(made) = timeout(OPEN, made).await else { return Err(BleError::Mute) };
    *opening = None;
    // A library that panics on a broken bus has opened nothing either.
    made.map_err(|_| BleError::NoBus)?.map(Arc::new)
}

fn make() -> Result<Way, BleError> {
    // Without threads to be had nothing can be asked.
    let runtime = Builder::new_multi_thread()
        .worker_threads(1)
        .thread_name("bus")
        .enable_all()
        .build()
        .map_err(|_| BleError::Mute)?;
    let manager = runtime.block_on(Manager::new()).map_err(|error| sort("Bluetooth", &error))?;
    Ok(Way { manager, runtime: Some(runtime) })
}
