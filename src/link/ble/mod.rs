//! A scale in the air (Bluetooth Low Energy): looked for, connected and listened to for ever.
//!
//! Words: an *adapter* is the computer's radio; a *service* groups *characteristics*, each a value
//! that can be read or that the scale sends by itself. One supervisor (`run.rs`) goes from state to
//! state; where it goes after a trouble is worked out in `course.rs`, which does nothing itself. What
//! arrives is drained by tasks of its own (`ears.rs`) into a bounded channel.
//!
//! Never writes to the scale (the system does, to have values sent), never switches an adapter on,
//! never decodes a byte.

mod block;
mod course;
mod ears;
mod find;
mod run;
mod trouble;
mod way;

pub use find::{Found, ServiceFound, chosen, look};
pub use run::run;
pub use trouble::{BleError, TwoAlike};

use std::time::Duration;

/// A call that stays within this computer takes milliseconds (measured with a stand-in); this is the
/// longest wait before it is taken for dead (own choice).
const CALL: Duration = Duration::from_secs(2);

/// The library unwraps in a task of its own when a stream is let go while messages still come, or when
/// the bus is gone. Only that task ends, and nothing is lost: no reason to alarm whoever reads the words.
fn ease_known_panics() {
    static ONCE: std::sync::Once = std::sync::Once::new();
    ONCE.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            let known = panic.location().is_some_and(|at| at.file().ends_with("messagestream.rs"));
            if known {
                tracing::debug!("Bluetooth library: {panic}");
            } else {
                before(panic);
            }
        }));
    });
}
