//! The simulated scale and hand as a link: hears the cues, pours, and shows weights as lines.

use super::clock::Clock;
use super::event::Event;
use crate::guide::calibrate::Place;
use crate::link::LinkEvent;
use crate::page::view::{Event as Told, RoutineView};
use crate::plant::session::Potter;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::SyncSender;
use std::time::Duration;
use tokio::sync::broadcast;

/// Runs the potter in real time until done or told to stop, pouring while a batch is under way; gives the potter back.
pub(super) fn run(
    mut potter: Potter,
    clock: Clock,
    mut told: broadcast::Receiver<Told>,
    events: &SyncSender<Event>,
    stop: &Arc<AtomicBool>,
    under_way: impl Fn() -> bool,
    step: impl Fn() -> Option<RoutineView>,
) -> Potter {
    if events.send(Event::Link(LinkEvent::Up)).is_err() {
        return potter;
    }
    // The decoder drops the first, possibly partial line of a link.
    let _ = events.send(Event::Link(LinkEvent::Bytes { bytes: b"\n".to_vec(), arrived_at: clock.now() }));
    while !stop.load(Ordering::Relaxed) && !potter.done() {
        while let Ok(message) = told.try_recv() {
            if let Told::Cue(cue) = message {
                potter.handle_cue(cue.cue, crate::time::Instant::from_us(cue.due_us));
            }
        }
        // Whoever pours waits for a batch.
        potter.wait(!under_way());
        if let Some(asked) = step() {
            let place = asked.place.and_then(|word| Place::CORNERS.iter().position(|p| p.word() == word));
            potter.handle_step(asked.done as usize, asked.wants, asked.mass_g.unwrap_or(0.0), place);
        }
        for shown in potter.advance(clock.now()) {
            let bytes = format!("{:.1} g\r\n", shown.mass_g).into_bytes();
            if events.send(Event::Link(LinkEvent::Bytes { bytes, arrived_at: clock.now() })).is_err() {
                return potter;
            }
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    potter
}
