//! `demo`: the whole daemon with a simulated scale and hand, in its own temporary folder.
//!
//! Everything shown is invented and says so.

use super::commands::say;
use super::signals::Signals;
use super::simulated;
use super::{Daemon, Setup, Way};
use crate::frame::Decoder;
use crate::frame::line::{LineDecoder, LineFormat, Unit};
use crate::page::view::Event as Told;
use crate::plant::session::{Potter, Script};
use crate::plant::{Person, Plant, ScaleModel, Table};
use crate::record::{Shelf, ShelfRecord};
use crate::settings::Settings;
use crate::time::{Duration, Instant, WallTime};
use anyhow::Context;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tokio::sync::broadcast;

const TARGET_G: f64 = 29.0;
const SEED: u64 = 2026;

/// Pours a batch of this many invented pieces; where a folder is named, its log stays there.
pub async fn run(pieces: u32, sound: bool, keep: Option<PathBuf>) -> anyhow::Result<ExitCode> {
    let mut signals = Signals::new()?;
    if let Some(dir) = keep {
        // Invented pours never stand among a potter's own.
        let there = dir.join(crate::store::LOG_FILE);
        anyhow::ensure!(
            !there.exists(),
            "{} is there already: name an empty folder for the demo",
            there.display()
        );
        pour(&dir, pieces, sound, &mut signals).await?;
        say(format!("kept in {}: `tarebell review --data {}` looks at it", dir.display(), dir.display()));
        return Ok(ExitCode::SUCCESS);
    }
    let dir = std::env::temp_dir().join(format!("tarebell-demo-{}", uuid::Uuid::now_v7()));
    let done = pour(&dir, pieces, sound, &mut signals).await;
    // The folder is the demo's own; one that stays behind does no harm.
    let _ = std::fs::remove_dir_all(&dir);
    done.map(|()| ExitCode::SUCCESS)
}

async fn pour(
    dir: &std::path::Path,
    pieces: u32,
    with_sound: bool,
    signals: &mut Signals,
) -> anyhow::Result<()> {
    let settings = Settings::default();
    // A port of its own when the usual one is taken.
    let taken = std::net::TcpListener::bind(settings.listen).is_err();
    let listen = if taken { SocketAddr::from(([127, 0, 0, 1], 0)) } else { settings.listen };
    let daemon = Daemon::start(setup(dir, listen, settings, with_sound)).await?;
    say(format!("simulated scale and hand, invented cups and glaze, {pieces} pieces of {TARGET_G} g"));
    say(format!("watch http://{}", daemon.bound));
    let told = daemon.told.subscribe();
    if with_sound {
        wait_for_sound(&daemon).await;
    }
    keep_by_name(&daemon).await?;
    begin(&daemon, "invented cups (simulated)", pieces).await?;
    let potter = Potter::new(
        Plant::new(SEED, Person::typical(), ScaleModel::with_lag(0.3), Table::default()),
        Script::of(pieces, TARGET_G),
    );
    let (events, clock, heard) = (daemon.events.clone(), daemon.clock, daemon.told.subscribe());
    let stop = Arc::new(AtomicBool::new(false));
    let hand = {
        let stop = stop.clone();
        tokio::task::spawn_blocking(move || {
            simulated::run(potter, clock, heard, &events, &stop, || true, || None)
        })
    };
    let nets = tokio::select! {
        nets = shown(told, pieces as usize) => Some(nets?),
        () = signals.asked() => None,
        () = daemon.ended() => None,
    };
    stop.store(true, Ordering::Relaxed);
    hand.await?;
    if let Some(nets) = nets {
        compare(&nets, pieces);
    }
    daemon.stop().await
}

pub(super) fn setup(
    dir: &std::path::Path,
    listen: SocketAddr,
    settings: Settings,
    with_sound: bool,
) -> Setup<'_> {
    Setup {
        dir,
        listen,
        scale: settings.scale,
        pour: settings.pour,
        reminding: settings.reminding,
        capacity: settings.capacity,
        decoder: Decoder::Lines(LineDecoder::new(LineFormat::Auto, Unit::Gram)),
        way: Way::Cable,
        sound: with_sound.then_some(settings.sound),
        shown: settings.shown,
    }
}

/// How early cues must be announced is known once the loudspeaker is open; without one nothing is lost.
async fn wait_for_sound(daemon: &Daemon) {
    let mut now = daemon.now.clone();
    let on = now.wait_for(|now| now.sound.state == "on");
    let _ = tokio::time::timeout(Duration::from_millis(500), on).await;
}

/// Shows each pour as it is logged; gives the weights.
async fn shown(mut told: broadcast::Receiver<Told>, pieces: usize) -> anyhow::Result<Vec<f64>> {
    let mut nets = Vec::new();
    while nets.len() < pieces {
        if let Told::Pour(pour) = told.recv().await?
            // Told again at the lift.
            && pour.rev == 1
            && let Some(net) = pour.net_g
        {
            say(format!("piece {:2}: {net:5.1} g  {}", pour.piece, pour.verdict));
            nets.push(net);
        }
    }
    Ok(nets)
}

fn compare(nets: &[f64], pieces: u32) {
    let (mean, sd) = figures(nets);
    let (plain_mean, plain_sd) = figures(&plain_tone(pieces));
    say(format!("simulated: mean {mean:.2} g, SD {sd:.2} g; wanted {TARGET_G:.2} g"));
    say(format!(
        "a plain tone at the target, on the same simulated hand: mean {plain_mean:.2} g, SD {plain_sd:.2} g"
    ));
}

/// A glaze, an inside and a coat to look at and to make a batch from: README's example of a target.
async fn keep_by_name(daemon: &Daemon) -> anyhow::Result<()> {
    let (counter, records) = (daemon.desk.clone(), invented(daemon.clock.wall()));
    tokio::task::spawn_blocking(move || crate::page::desk::Desk::put(counter.as_ref(), records))
        .await?
        .map_err(|refusal| anyhow::anyhow!("the demo's glaze could not be kept: {refusal:?}"))
}

fn invented(made_at: WallTime) -> Vec<ShelfRecord> {
    let record = |shelf, name: &str, body: &str| ShelfRecord {
        shelf,
        name: name.to_owned(),
        version: 0,
        body: Some(body.to_owned()),
        note: "invented for the demo".to_owned(),
        made_at,
    };
    let glaze = r#"{ "glaze": { "by": "density", "specific_gravity": 1.45, "powder_density_g_ml": 2.6 }, "slop_g": 5000.0 }"#;
    let form = r#"{ "form": { "by": "cylinder", "diameter_mm": 80.0, "height_mm": 90.0, "corner_mm": 10.0, "bare_rim_mm": 5.0 } }"#;
    let coat = r#"{ "coat": { "by": "dry", "dry_g_per_cm2": 0.057 }, "tolerance": { "percent": 5.0 } }"#;
    vec![
        record(Shelf::Glaze, "invented celadon", glaze),
        record(Shelf::Form, "invented mug", form),
        record(Shelf::Coat, "invented coat", coat),
    ]
}

/// A batch of this name under way; its id.
pub(super) async fn begin(daemon: &Daemon, name: &str, pieces: u32) -> anyhow::Result<String> {
    let request = crate::batch::from_json(
        r#"{ "coat": { "by": "direct", "slop_g": 29.0 }, "tolerance": { "percent": 5.0 } }"#,
    )?;
    let target = crate::batch::target(&request)?;
    let counter = daemon.desk.clone();
    let wall = daemon.clock.wall();
    let record = crate::record::BatchRecord {
        id: uuid::Uuid::now_v7().to_string(),
        name: name.to_owned(),
        pieces,
        target: target.target,
        low: target.low,
        high: target.high,
        ladder: Vec::new(),
        solids_fraction: None,
        pourer: None,
        jug: None,
        vessel: None,
        finish: None,
        glaze_name: None,
        bucket: None,
        measured_at: None,
        bare: None,
        form: None,
        fired: false,
        request: String::new(),
        created_at: wall,
        begun_at: None,
        ended_at: None,
    };
    tokio::task::spawn_blocking(move || {
        use crate::page::desk::Desk;
        let id = record.id.clone();
        counter.create(record).and_then(|_| counter.begin(&id)).map(|_| id)
    })
    .await?
    .map_err(|refusal| anyhow::anyhow!("the demo's batch could not begin: {refusal:?}"))
    .context("demo")
}

/// What a tone at the very target gives: no daemon, a virtual clock, the same seed.
fn plain_tone(pieces: u32) -> Vec<f64> {
    let mut potter = Potter::new(
        Plant::new(SEED, Person::typical(), ScaleModel::with_lag(0.3), Table::default()),
        Script::of(pieces, TARGET_G),
    );
    let mut t = Instant::START;
    let (mut tare, mut steady, mut before) = (None::<f64>, 0, 0.0);
    while !potter.done() && t.seconds() < 3600.0 {
        t = t + Duration::from_millis(2);
        for shown in potter.advance(t) {
            steady = if (shown.mass_g - before).abs() < 0.25 { steady + 1 } else { 0 };
            before = shown.mass_g;
            match tare {
                None if shown.mass_g > 100.0 && steady >= 5 => {
                    tare = Some(shown.mass_g);
                    potter.handle_cue("ready", t);
                }
                Some(tare_g) if shown.mass_g - tare_g >= TARGET_G => potter.handle_cue("stop", t),
                Some(_) if shown.mass_g < 50.0 => tare = None,
                Some(_) | None => {}
            }
        }
    }
    potter.results().iter().map(|p| p.net_g).collect()
}

fn figures(values: &[f64]) -> (f64, f64) {
    let n = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / n;
    let square = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
    (mean, (square / (n - 1.0).max(1.0)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::batch::shelf::{check_coat, check_form, check_glaze};
    use serde_json::{Map, Value};

    /// 28.6 g: README's working of the same numbers.
    #[test]
    fn what_the_demo_keeps_by_name_says_that_it_is_invented_and_gives_the_grams_of_the_example() {
        let mut whole = Map::new();
        for record in invented(WallTime::from_unix_us(1_700_000_000_000_000)) {
            assert!(record.name.starts_with("invented") && record.note.contains("invented"), "{record:?}");
            let body: Map<String, Value> = serde_json::from_str(record.body.as_deref().unwrap()).unwrap();
            match record.shelf {
                Shelf::Glaze => check_glaze(&body),
                Shelf::Form => check_form(&body),
                Shelf::Coat => check_coat(&body),
            }
            .unwrap();
            whole.extend(body);
        }
        whole.remove("slop_g");
        let request = crate::batch::from_json(&Value::Object(whole).to_string()).unwrap();
        let target = crate::batch::target(&request).unwrap();
        assert!((target.target.g() - 28.56).abs() < 0.005, "{:?}", target.target);
    }
}
