//! `demo --tour --page`: each kind of trouble as it happens, behind a daemon of its own, so that its page shows it.
//! All of it is invented.

use super::troubles::TROUBLES;
use crate::daemon::Daemon;
use crate::daemon::clock::Clock;
use crate::daemon::commands::say;
use crate::daemon::demo::{begin, setup};
use crate::daemon::event::Event;
use crate::daemon::signals::Signals;
use crate::link::LinkEvent;
use crate::page::desk::Desk;
use crate::page::view::Event as Told;
use crate::plant::scene::Scene;
use crate::plant::stage::Stage;
use crate::plant::{Sent, What};
use crate::settings::{Settings, Sound};
use crate::time::Instant;
use anyhow::Context;
use std::net::SocketAddr;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::sync::broadcast;

/// Time to read what comes, and to open the page before the first.
const READ: Duration = Duration::from_secs(3);

/// Shows each trouble in real time, about three minutes in all.
pub(in crate::daemon) async fn run(sound: Option<Sound>) -> anyhow::Result<ExitCode> {
    let mut signals = Signals::new()?;
    let dir = std::env::temp_dir().join(format!("tarebell-tour-{}", uuid::Uuid::now_v7()));
    let shown = show(&dir, sound, &mut signals).await;
    // The folder is the tour's own; one that stays behind does no harm.
    let _ = std::fs::remove_dir_all(&dir);
    shown.map(|()| ExitCode::SUCCESS)
}

async fn show(dir: &std::path::Path, sound: Option<Sound>, signals: &mut Signals) -> anyhow::Result<()> {
    let settings = Settings::default();
    let taken = std::net::TcpListener::bind(settings.listen).is_err();
    let listen = if taken { SocketAddr::from(([127, 0, 0, 1], 0)) } else { settings.listen };
    let plan = setup(dir, listen, settings, false);
    let daemon = Daemon::start(crate::daemon::Setup { sound, ..plan }).await?;
    say(format!("what goes wrong at an invented table, as it happens: watch http://{}", daemon.bound));
    let stop = Arc::new(AtomicBool::new(false));
    tokio::select! {
        shown = all(&daemon, &stop) => shown?,
        () = signals.asked() => {}
        () = daemon.ended() => {}
    }
    stop.store(true, Ordering::Relaxed);
    daemon.stop().await
}

async fn all(daemon: &Daemon, stop: &Arc<AtomicBool>) -> anyhow::Result<()> {
    for (name, text) in TROUBLES {
        tokio::time::sleep(READ).await;
        let title = text.lines().next().unwrap_or(name).trim_start_matches(['#', ' ']).to_owned();
        say(format!("\n{title}"));
        let id = begin(daemon, &title, 1).await?;
        let scene = Scene::parse(text, name)?;
        let model = scene.scale(&scene.scales[0]).context("a scale of an unknown name")?;
        let stage = Stage::new(&scene, model);
        let (events, clock, told) = (daemon.events.clone(), daemon.clock, daemon.told.subscribe());
        let stopped = stop.clone();
        let played = move || play(stage, clock, told, &events, &stopped);
        tokio::task::spawn_blocking(played).await?;
        let desk = daemon.desk.clone();
        let ended = tokio::task::spawn_blocking(move || desk.end(&id)).await?;
        ended.map_err(|refusal| anyhow::anyhow!("the tour's batch could not end: {refusal:?}"))?;
    }
    Ok(())
}

/// A scene in real time: its lines go to the link, the daemon's cues to its hand.
fn play(
    mut stage: Stage,
    clock: Clock,
    mut told: broadcast::Receiver<Told>,
    events: &std::sync::mpsc::SyncSender<Event>,
    stop: &AtomicBool,
) {
    let from = clock.now();
    let scene_s = |at: Instant| at.seconds_from(from);
    let send = |event: LinkEvent| events.send(Event::Link(event)).is_ok();
    // The decoder drops the first, possibly partial line of a link.
    let line = b"\n".to_vec();
    let mut goes = send(LinkEvent::Up) && send(LinkEvent::Bytes { bytes: line, arrived_at: from });
    while goes && !stop.load(Ordering::Relaxed) && !stage.done() {
        while let Ok(message) = told.try_recv() {
            if let Told::Cue(cue) = message {
                say(format!("  {:6.1}  {}", scene_s(clock.now()), cue.cue));
                stage.handle_cue(
                    cue.cue,
                    Instant::START.offset_seconds(scene_s(Instant::from_us(cue.due_us))),
                );
            }
        }
        let now = clock.now();
        for Sent { what, .. } in stage.advance(Instant::START.offset_seconds(scene_s(now))) {
            goes &= match what {
                What::Line(text) => {
                    send(LinkEvent::Bytes { bytes: text.into_bytes(), arrived_at: clock.now() })
                }
                // No scene of the tour pulls the cable out.
                What::Up | What::Down => true,
            };
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}
