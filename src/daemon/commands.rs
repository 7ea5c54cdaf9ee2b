//! What each command does once its arguments are read. Prints results; returns the exit code.

use super::doctor;
use super::event::Event;
use super::files;
use super::reviewing;
use super::signals::Signals;
use super::simulated;
use super::{Daemon, Setup, Way, air, rehearsal};
use crate::batch;
use crate::cli::{Cli, Command, DemoArgs, DoctorArgs, PlaceArgs, ReplayArgs, ServeArgs, TargetArgs};
use crate::frame::line::LineDecoder;
use crate::frame::{Decoder, MessageDecoder};
use crate::link::{ble, serial};
use crate::page::told::text as json_text;
use crate::plant::session::{Potter, Script};
use crate::plant::{Person, Plant, ScaleModel, Table};
use crate::pour::entry::Output;
use crate::pour::trace::Trace;
use crate::settings::{Link, Notifications, Settings, Sound, loopback};
use crate::store::Reader;
use crate::units::shown::Shown;
use anyhow::{Context, anyhow};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::sync::watch;
use tokio::task::JoinHandle;

/// Wrong usage.
const USAGE: u8 = 2;
/// The scale is let go while the rest stops, which may take two seconds in all; after that it has this long.
const LINK_LIMIT: Duration = Duration::from_millis(100);

/// Runs a command.
pub fn run(cli: Cli) -> anyhow::Result<ExitCode> {
    match cli.command {
        Command::Serve(args) => in_runtime(serve(&args)),
        Command::Demo(DemoArgs { tour: true, page, no_sound, config, data, .. }) => {
            let set = settings(&PlaceArgs { config, data })?.sound;
            if page {
                return in_runtime(super::tour::on_page::run((!no_sound).then_some(set)));
            }
            super::tour::run(set, no_sound)
        }
        Command::Demo(args) => in_runtime(super::demo::run(args.pieces, !args.no_sound, args.data)),
        Command::Scales(args) => air::scales(&args),
        Command::Calibrate(args) => in_runtime(super::calibrating::run(&args)),
        Command::Target(args) => target(&args),
        Command::Review(args) => reviewing::review(&args),
        Command::Export(args) => reviewing::export(&args),
        Command::Replay(args) => replay(&args),
        Command::Doctor(args) => look(&args),
    }
}

/// Runs to the end, and then waits for no thread: a read that hangs must not hold a stop up.
fn in_runtime(work: impl Future<Output = anyhow::Result<ExitCode>>) -> anyhow::Result<ExitCode> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .context("can't start the runtime")?;
    let done = runtime.block_on(work);
    runtime.shutdown_background();
    done
}

/// Where data lives when nothing is said.
pub(super) fn data_folder(place: &PlaceArgs) -> PathBuf {
    place.data.clone().unwrap_or_else(|| {
        let home = std::env::var_os("HOME").map_or_else(|| PathBuf::from("."), PathBuf::from);
        let share =
            std::env::var_os("XDG_DATA_HOME").map_or_else(|| home.join(".local/share"), PathBuf::from);
        share.join("tarebell")
    })
}

fn config_file(place: &PlaceArgs) -> PathBuf {
    place.config.clone().unwrap_or_else(|| data_folder(place).join("tarebell.toml"))
}

pub(super) fn settings(place: &PlaceArgs) -> anyhow::Result<Settings> {
    Ok(files::settings(&config_file(place), place.config.is_some())?.unwrap_or_default())
}

async fn serve(args: &ServeArgs) -> anyhow::Result<ExitCode> {
    let mut signals = Signals::new()?;
    let settings = settings(&args.place)?;
    let dir = data_folder(&args.place);
    let listen = match args.listen {
        Some(address) => loopback(&address.to_string()).map_err(|why| anyhow!("--listen: {why}"))?,
        None => settings.listen,
    };
    let settings = Settings { listen, ..settings };
    let sound = (!args.no_sound).then(|| settings.sound.clone());
    let daemon = Daemon::start(setup_of(&settings, &dir, sound)).await?;
    say(format!("serving http://{}, data in {}", daemon.bound, dir.display()));
    let (stop, stopped) = watch::channel(false);
    let link = start_link(&daemon, &settings, stopped);
    let asked = async {
        signals.asked().await;
        stop.send_replace(true);
    };
    let ended = daemon.run_until(asked).await;
    stop.send_replace(true);
    if let Some(link) = link {
        let _ = tokio::time::timeout(LINK_LIMIT, link).await;
    }
    ended.map(|()| ExitCode::SUCCESS)
}

/// What a daemon of these settings is started from.
pub(super) fn setup_of<'a>(settings: &Settings, dir: &'a Path, sound: Option<Sound>) -> Setup<'a> {
    Setup {
        dir,
        listen: settings.listen,
        scale: settings.scale.clone(),
        pour: settings.pour.clone(),
        reminding: settings.reminding,
        capacity: settings.capacity,
        decoder: decoder(settings),
        way: if matches!(settings.link, Link::Ble(_)) { Way::Air } else { Way::Cable },
        sound,
        shown: settings.shown,
    }
}

/// What reads the link's bytes: only what comes through the air comes in notifications.
fn decoder(settings: &Settings) -> Decoder {
    match (&settings.link, &settings.notifications) {
        (Link::Ble(_), Notifications::Messages(format)) => {
            Decoder::Messages(MessageDecoder::new(format.clone()))
        }
        (Link::Ble(_), Notifications::Text) => {
            Decoder::Lines(LineDecoder::new(settings.line.clone(), settings.unit).in_notifications())
        }
        (Link::None | Link::Serial(_) | Link::Simulated, _) => {
            Decoder::Lines(LineDecoder::new(settings.line.clone(), settings.unit))
        }
    }
}

/// To whoever looks on; a terminal that was closed, or a pipe, need not take it.
pub(super) fn say(text: impl std::fmt::Display) {
    let _ = writeln!(std::io::stdout(), "{text}");
}

/// A result, whole, to whoever asked for it. A pipe that was closed wants no more of it, and that is no fault.
pub(super) fn print(text: &str) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.write_all(b"\n")).and_then(|()| out.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(anyhow!("can't write the result: {error}; make room there, or write it elsewhere"))
        }
        Ok(()) | Err(_) => Ok(()),
    }
}

/// A word beside the result; a terminal that was closed need not take it.
pub(super) fn note(text: impl std::fmt::Display) {
    let _ = writeln!(std::io::stderr(), "{text}");
}

/// Starts what brings the bytes; gives what is to be waited for at the end.
pub(super) fn start_link(
    daemon: &Daemon,
    settings: &Settings,
    mut stop: watch::Receiver<bool>,
) -> Option<JoinHandle<()>> {
    let (events, clock) = (daemon.events.clone(), daemon.clock);
    let now = move || clock.now();
    match &settings.link {
        Link::None => {
            say("no scale set: write [scale] into the settings; `tarebell scales` lists what is in reach");
            None
        }
        Link::Serial(port) => {
            // When the engine's thread is gone the daemon is stopping.
            let tell = move |event| drop(events.send(Event::Link(event)));
            // It holds nothing that must be let go.
            drop(tokio::spawn(serial::run(port.clone(), now, tell)));
            None
        }
        Link::Ble(scale) => {
            let tell = move |event| drop(events.send(Event::Link(event)));
            let scale = scale.clone();
            Some(tokio::spawn(async move {
                let stopped = async move { drop(stop.wait_for(|stop| *stop).await) };
                ble::run(scale, now, tell, stopped).await;
            }))
        }
        Link::Simulated => {
            let told = daemon.told.subscribe();
            let flag = Arc::new(AtomicBool::new(false));
            let potter = Potter::new(
                Plant::new(1, Person::typical(), ScaleModel::with_lag(0.3), Table::default()),
                Script::of(u32::MAX, 29.0),
            );
            let (seen, now) = (flag.clone(), daemon.now.clone());
            let step = {
                let now = now.clone();
                move || now.borrow().scale.routine.clone()
            };
            let under_way = move || now.borrow().batch.is_some();
            std::thread::spawn(move || simulated::run(potter, clock, told, &events, &seen, under_way, step));
            tokio::spawn(async move {
                let _ = stop.wait_for(|stop| *stop).await;
                flag.store(true, Ordering::Relaxed);
            });
            None
        }
    }
}

/// The units of the settings; where those can't be read, what was asked for is still told, in grams.
pub(super) fn shown(place: &PlaceArgs) -> Shown {
    settings(place).map_or_else(
        |error| {
            note(format!("{error:#}; weights are in grams"));
            Shown::default()
        },
        |settings| settings.shown,
    )
}

fn target(args: &TargetArgs) -> anyhow::Result<ExitCode> {
    let request = match &args.request_file {
        Some(file) => batch::from_json(&files::text(file)?),
        None => args.request(),
    };
    match request.and_then(|request| batch::target(&request)) {
        Ok(target) if args.json => print(&json_text(&batch::TargetReply::from(&target))?)?,
        Ok(target) => print(batch::told_in(&target, shown(&args.place)).trim_end())?,
        Err(refused) => {
            note(format!("tarebell target: {refused}"));
            return Ok(ExitCode::from(USAGE));
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn replay(args: &ReplayArgs) -> anyhow::Result<ExitCode> {
    if args.trace.extension().is_some_and(|end| end == "scene") {
        return rehearsal::run(args);
    }
    let bytes = trace_bytes(args)?;
    let trace = Trace::decode(&bytes)?;
    if !Trace::has_checksum(&bytes) {
        note("this trace is of an older version and carries no checksum: a change of it would not be seen");
    }
    if trace.cut {
        note("this trace was cut after 200000 inputs: what came later was not kept");
    }
    let line = |output: &Output| match args.json {
        true => json_text(&output_json(output)),
        false => Ok(output_text(output)),
    };
    let lines: Vec<String> = trace.replay().iter().map(line).collect::<Result<_, _>>()?;
    if !lines.is_empty() {
        print(&lines.join("\n"))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// From a file, or from the log when the word is the id of a pour.
fn trace_bytes(args: &ReplayArgs) -> anyhow::Result<Vec<u8>> {
    let word = args.trace.to_string_lossy();
    if !args.trace.exists() && uuid::Uuid::parse_str(&word).is_ok() {
        let place = PlaceArgs { config: None, data: args.data.clone() };
        let found = Reader::open(&data_folder(&place))?.trace(&word)?;
        return found.ok_or_else(|| anyhow!(
            "no trace of a pour {word} in the log: /pours lists the ids, also of pours that were interrupted, which have none"
        ));
    }
    files::trace(&args.trace)
        .context("replay takes a trace's file, a scene, or a pour's whole id as /pours lists it")
}

pub(super) fn output_json(output: &Output) -> serde_json::Value {
    let grams = |m: Option<crate::units::Mass>| m.map(|m| m.g());
    match output {
        Output::Cue(c) => {
            serde_json::json!({ "kind": "cue", "n": c.n, "cue": c.cue.word(), "at_us": c.at.us(), "due_us": c.due.us() })
        }
        Output::Entry(e) => serde_json::json!({
            "kind": "entry", "piece": e.piece, "rev": e.rev, "tare_g": e.tare.g(),
            "net_g": grams(e.net), "net_u_g": grams(e.net_u), "verdict": e.verdict.word(), "settled": e.settled,
            "marks": e.marks.iter().map(|m| m.word()).collect::<Vec<_>>()
        }),
        Output::Dropped { piece } => serde_json::json!({ "kind": "dropped", "piece": piece }),
        Output::Learned(hand) => {
            serde_json::json!({ "kind": "learned", "hand_s": hand.hand_s, "pours": hand.pours })
        }
        Output::VoidLast => serde_json::json!({ "kind": "void-last" }),
        Output::Jug { gross, before } => {
            serde_json::json!({ "kind": "jug", "gross_g": gross.g(), "before_g": grams(*before) })
        }
    }
}

fn output_text(output: &Output) -> String {
    match output {
        Output::Cue(c) => {
            format!("{:10.3} s  {} (heard {:.3} s)", c.at.seconds(), c.cue.word(), c.due.seconds())
        }
        Output::Entry(e) => match e.net {
            Some(net) => format!("              piece {}: {:.2} g, {}", e.piece, net.g(), e.verdict.word()),
            None => format!("              piece {}: tare {:.2} g", e.piece, e.tare.g()),
        },
        Output::Dropped { piece } => format!("              piece {piece}: taken away empty"),
        Output::Learned(hand) => format!("              stopping time {:.3} s", hand.hand_s),
        Output::VoidLast => {
            "              the spare weight lies there: the last record that counts is void".to_owned()
        }
        Output::Jug { gross, .. } => format!("              the jug stands there: {:.2} g", gross.g()),
    }
}

fn look(args: &DoctorArgs) -> anyhow::Result<ExitCode> {
    let lines = doctor::report(
        &config_file(&args.place),
        args.place.config.is_some(),
        &data_folder(&args.place),
        args.no_sound,
    );
    if args.json {
        print(&serde_json::json!(lines).to_string())?;
    } else {
        let text = |l: &doctor::Line| format!("{}  {:9} {}", if l.ok { "ok" } else { "--" }, l.what, l.says);
        print(&lines.iter().map(text).collect::<Vec<_>>().join("\n"))?;
    }
    Ok(if lines.iter().all(|l| l.ok) { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
