//! What each command does once its arguments are read. Prints results; returns the exit code.

use super::doctor;
use super::event::Event;
use super::signals::Signals;
use super::simulated;
use super::{Daemon, Setup};
use crate::batch;
use crate::cli::{
    Cli, Command, DemoArgs, DoctorArgs, PlaceArgs, ReplayArgs, ScalesArgs, ServeArgs, TargetArgs,
};
use crate::frame::Decoder;
use crate::frame::line::LineDecoder;
use crate::link::serial;
use crate::plant::session::{Potter, Script};
use crate::plant::{Person, Plant, ScaleModel, Table};
use crate::pour::entry::Output;
use crate::pour::trace::Trace;
use crate::settings::{Link, Settings, loopback};
use crate::store::Reader;
use anyhow::{Context, anyhow};
use std::io::{Read, Write};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Wrong usage.
const USAGE: u8 = 2;

/// Runs a command.
pub fn run(cli: Cli) -> anyhow::Result<ExitCode> {
    match cli.command {
        Command::Serve(args) => in_runtime(serve(&args)),
        Command::Demo(DemoArgs { tour: true, config, data, .. }) => {
            super::tour::run(settings(&PlaceArgs { config, data })?.sound)
        }
        Command::Demo(args) => in_runtime(super::demo::run(args.pieces, !args.no_sound)),
        Command::Scales(args) => Ok(scales(&args)),
        Command::Target(args) => target(&args),
        Command::Replay(args) => replay(&args),
        Command::Doctor(args) => Ok(look(&args)),
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
fn data_folder(place: &PlaceArgs) -> PathBuf {
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

fn settings(place: &PlaceArgs) -> anyhow::Result<Settings> {
    let file = config_file(place);
    match std::fs::read_to_string(&file) {
        Ok(text) => Ok(Settings::parse(&text, &file.display().to_string())?),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound && place.config.is_none() => {
            Ok(Settings::default())
        }
        Err(e) => Err(anyhow!("can't read {}: {e}", file.display())),
    }
}

async fn serve(args: &ServeArgs) -> anyhow::Result<ExitCode> {
    let mut signals = Signals::new()?;
    let settings = settings(&args.place)?;
    let dir = data_folder(&args.place);
    let listen = match args.listen {
        Some(address) => loopback(&address.to_string()).map_err(|why| anyhow!("--listen: {why}"))?,
        None => settings.listen,
    };
    let decoder = Decoder::Lines(LineDecoder::new(settings.line.clone(), settings.unit));
    let scale = settings.scale.clone();
    let (pour, sound) = (settings.pour.clone(), (!args.no_sound).then(|| settings.sound.clone()));
    let daemon = Daemon::start(Setup { dir: &dir, listen, scale, pour, decoder, sound }).await?;
    say(format!("serving http://{}, data in {}", daemon.bound, dir.display()));
    let stop = Arc::new(AtomicBool::new(false));
    start_link(&daemon, &settings, &stop);
    let ended = daemon.run_until(signals.asked()).await;
    stop.store(true, Ordering::Relaxed);
    ended.map(|()| ExitCode::SUCCESS)
}

/// To whoever looks on; a terminal that was closed, or a pipe, need not take it.
pub(super) fn say(text: impl std::fmt::Display) {
    let _ = writeln!(std::io::stdout(), "{text}");
}

fn start_link(daemon: &Daemon, settings: &Settings, stop: &Arc<AtomicBool>) {
    match &settings.link {
        Link::None => {
            say("no scale set: write [scale] into the settings; `tarebell scales` lists what is in reach");
        }
        Link::Serial(port) => {
            let (events, clock) = (daemon.events.clone(), daemon.clock);
            // When the engine's thread is gone the daemon is stopping.
            let tell = move |event| drop(events.send(Event::Link(event)));
            tokio::spawn(serial::run(port.clone(), move || clock.now(), tell));
        }
        Link::Simulated => {
            let (events, clock, told) = (daemon.events.clone(), daemon.clock, daemon.told.subscribe());
            let stop = stop.clone();
            let potter = Potter::new(
                Plant::new(1, Person::typical(), ScaleModel::with_lag(0.3), Table::default()),
                Script::of(u32::MAX, 29.0),
            );
            std::thread::spawn(move || simulated::run(potter, clock, told, &events, &stop));
        }
    }
}

fn scales(args: &ScalesArgs) -> ExitCode {
    let found = serial::ports();
    if args.json {
        let list: Vec<_> = found
            .iter()
            .map(|f| serde_json::json!({ "link": "serial", "port": f.path, "description": f.description }))
            .collect();
        println!("{}", serde_json::Value::from(list));
    } else if found.is_empty() {
        println!("no serial port in reach: plug the scale in (BLE is not in this version)");
    } else {
        for f in found {
            println!("{}  {}", f.path, f.description);
        }
    }
    ExitCode::SUCCESS
}

fn target(args: &TargetArgs) -> anyhow::Result<ExitCode> {
    let request = match &args.request_file {
        Some(file) => batch::from_json(&read(file)?),
        None => args.request(),
    };
    match request.and_then(|request| batch::target(&request)) {
        Ok(target) if args.json => println!("{}", serde_json::to_string(&batch::TargetReply::from(&target))?),
        Ok(target) => println!("{}", batch::told(&target).trim_end()),
        Err(refused) => {
            eprintln!("tarebell target: {refused}");
            return Ok(ExitCode::from(USAGE));
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn read(file: &std::path::Path) -> anyhow::Result<String> {
    if file.as_os_str() == "-" {
        let mut text = String::new();
        std::io::stdin().read_to_string(&mut text).context("can't read standard input")?;
        return Ok(text);
    }
    std::fs::read_to_string(file).with_context(|| format!("can't read {}", file.display()))
}

fn replay(args: &ReplayArgs) -> anyhow::Result<ExitCode> {
    let trace = Trace::decode(&trace_bytes(args)?)?;
    if trace.cut {
        eprintln!("this trace was cut after 200000 inputs: what came later was not kept");
    }
    for output in trace.replay() {
        if args.json {
            println!("{}", output_json(&output));
        } else {
            println!("{}", output_text(&output));
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// From a file, or from the log when the word is the id of a pour.
fn trace_bytes(args: &ReplayArgs) -> anyhow::Result<Vec<u8>> {
    let word = args.trace.to_string_lossy();
    if !args.trace.exists() && uuid::Uuid::parse_str(&word).is_ok() {
        let place = PlaceArgs { config: None, data: args.data.clone() };
        let found = Reader::open(&data_folder(&place))?.trace(&word)?;
        return found.ok_or_else(|| anyhow!("no trace of a pour {word} in the log: /pours lists the ids"));
    }
    std::fs::read(&args.trace).with_context(|| {
        format!(
            "can't read {}: give a trace's file, or a pour's whole id as /pours lists it",
            args.trace.display()
        )
    })
}

fn output_json(output: &Output) -> serde_json::Value {
    let grams = |m: Option<crate::units::Mass>| m.map(|m| m.g());
    match output {
        Output::Cue(c) => {
            serde_json::json!({ "kind": "cue", "n": c.n, "cue": c.cue.word(), "at_us": c.at.us(), "due_us": c.due.us() })
        }
        Output::Entry(e) => serde_json::json!({
            "kind": "entry", "piece": e.piece, "rev": e.rev, "tare_g": e.tare.g(),
            "net_g": grams(e.net), "verdict": e.verdict.word(), "settled": e.settled
        }),
        Output::Dropped { piece } => serde_json::json!({ "kind": "dropped", "piece": piece }),
        Output::Learned(hand) => {
            serde_json::json!({ "kind": "learned", "hand_s": hand.hand_s, "pours": hand.pours })
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
    }
}

fn look(args: &DoctorArgs) -> ExitCode {
    let lines = doctor::report(
        &config_file(&args.place),
        args.place.config.is_some(),
        &data_folder(&args.place),
        args.no_sound,
    );
    if args.json {
        println!("{}", serde_json::json!(lines));
    } else {
        for line in &lines {
            println!("{}  {:9} {}", if line.ok { "ok" } else { "--" }, line.what, line.says);
        }
    }
    if lines.iter().all(|l| l.ok) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
