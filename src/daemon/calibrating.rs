//! `calibrate`: the routine at the pan on a terminal. The same routine as on the page, in words.

use super::commands::{data_folder, note, print, say, settings, setup_of, start_link};
use super::signals::Signals;
use super::{Daemon, counter::Counter};
use crate::batch::Refused;
use crate::calibration::masses::OwnMass;
use crate::calibration::report::report;
use crate::calibration::request::from_json;
use crate::calibration::told::{pour, room_and_operator};
use crate::cli::CalibrateArgs;
use crate::page::desk::{Desk, Refusal, RoutineWish};
use crate::page::view::{CalibrationView, CheckView, Now, RoutineView};
use crate::record::CalibrationWrite;
use crate::settings::Link;
use crate::units::shown::Shown;
use anyhow::{Context, anyhow};
use std::net::SocketAddr;
use std::process::ExitCode;
use std::sync::Arc;
use tokio::sync::watch;

/// Wrong usage.
const USAGE: u8 = 2;

/// Leads through the routine; gives the exit code.
pub(super) async fn run(args: &CalibrateArgs) -> anyhow::Result<ExitCode> {
    if let Err(refused) = told_well(args) {
        note(format!("tarebell calibrate: {refused}"));
        return Ok(ExitCode::from(USAGE));
    }
    let mut signals = Signals::new()?;
    let mut settings = settings(&args.place)?;
    anyhow::ensure!(
        settings.link != Link::None,
        "no scale is set: write [scale] into the settings; `tarebell scales` lists what is in reach"
    );
    // Nobody looks for it: the page that is open elsewhere is that of a daemon.
    settings.listen = SocketAddr::from(([127, 0, 0, 1], 0));
    let dir = data_folder(&args.place);
    let sound = (!args.no_sound).then(|| settings.sound.clone());
    let daemon = Daemon::start(setup_of(&settings, &dir, sound)).await?;
    let (stop, stopped) = watch::channel(false);
    let link = start_link(&daemon, &settings, stopped);
    let done = tokio::select! {
        done = lead(&daemon, args, settings.shown) => done,
        () = signals.asked() => Err(anyhow!("left off: nothing was changed")),
        () = daemon.ended() => Err(anyhow!("a part of the daemon ended by itself; please report it")),
    };
    stop.send_replace(true);
    drop(link);
    let ended = daemon.stop().await;
    let code = done?;
    ended.map(|()| code)
}

/// What is told beside the masses, by the limits that hold over HTTP: before anyone has stood at the pan for it.
fn told_well(args: &CalibrateArgs) -> Result<(), Refused> {
    pour(args.net_g, args.tolerance_g)?;
    room_and_operator(args.room_c, args.operator.as_deref())
}

/// What the desk is asked may wait for the disk.
async fn ask<T: Send + 'static>(
    daemon: &Daemon,
    ask: impl FnOnce(&Counter) -> Result<T, Refusal> + Send + 'static,
) -> anyhow::Result<Result<T, Refusal>> {
    let desk = daemon.desk.clone();
    tokio::task::spawn_blocking(move || ask(desk.as_ref())).await.context("calibrate")
}

fn words(refusal: Refusal) -> String {
    match refusal {
        Refusal::Missing(why) | Refusal::Conflict(why) | Refusal::Storage(why) => why,
        Refusal::Unfit { field, why } => format!("{field}: {why}"),
    }
}

async fn lead(daemon: &Daemon, args: &CalibrateArgs, shown: Shown) -> anyhow::Result<ExitCode> {
    let masses = match masses(daemon, args).await? {
        Ok(masses) => masses,
        Err(why) => {
            note(format!("tarebell calibrate: {why}"));
            return Ok(ExitCode::from(USAGE));
        }
    };
    let beside = ask(daemon, |desk| desk.beside_readings()).await?.map_err(|r| anyhow!(words(r)))?;
    let wish = wish(args, masses, beside);
    if let Err(refusal) = ask(daemon, move |desk| desk.routine(Some(wish))).await? {
        note(format!("tarebell calibrate: {}", words(refusal)));
        return Ok(ExitCode::from(USAGE));
    }
    let last = steps(daemon.now.clone(), args.json, shown).await?;
    match last {
        RoutineView { refused: Some(why), .. } => Err(anyhow!("nothing was kept: {why}")),
        RoutineView { result: Some(id), .. } if args.check => checked(daemon, id, args.json, shown).await,
        RoutineView { result: Some(id), .. } => calibrated(daemon, id, args.json, shown).await,
        RoutineView { result: None, .. } => Err(anyhow!("nothing came of it; please report it")),
    }
}

/// Those that are typed, which are kept from now on; else those that are kept.
async fn masses(daemon: &Daemon, args: &CalibrateArgs) -> anyhow::Result<Result<Vec<OwnMass>, String>> {
    let told = if args.masses.is_empty() {
        let kept = ask(daemon, |desk| desk.masses()).await?.map_err(|r| anyhow!(words(r)))?;
        kept.and_then(|body| serde_json::from_str(&body).ok()).unwrap_or_default()
    } else {
        args.masses.clone()
    };
    if told.is_empty() {
        let why = "no masses are kept: give those at hand, such as --mass 50:M1 --mass 100:M1";
        return Ok(Err(why.to_owned()));
    }
    let set = OwnMass::set(&told, "mass").map_err(|refused| refused.to_string());
    if set.is_ok() && !args.masses.is_empty() {
        let body = serde_json::to_string(&told).unwrap_or_default();
        let write = CalibrationWrite::Masses { body, at: daemon.clock.wall() };
        ask(daemon, move |desk| desk.keep_calibration(write)).await?.map_err(|r| anyhow!(words(r)))?;
    }
    Ok(set)
}

fn wish(
    args: &CalibrateArgs,
    mut masses: Vec<OwnMass>,
    (drift_share, piece_g): (Option<f64>, Option<f64>),
) -> RoutineWish {
    if args.check {
        masses = masses.split_off(masses.len().saturating_sub(1));
    }
    let told = args.net_g.is_some() || args.tolerance_g.is_some();
    let net_g = args.net_g.unwrap_or(29.0);
    RoutineWish {
        masses,
        parts: args.parts(),
        pour_g: told.then(|| (net_g, args.tolerance_g.unwrap_or(0.05 * net_g))),
        drift_share,
        piece_g,
        room_c: args.room_c,
        operator: args.operator.clone(),
        check: args.check,
    }
}

/// Says each step once, and what is amiss with it; gives where it stands at the end.
async fn steps(mut now: watch::Receiver<Arc<Now>>, quiet: bool, shown: Shown) -> anyhow::Result<RoutineView> {
    let tell = |text: String| if quiet { note(text) } else { say(text) };
    let (mut step, mut amiss, mut trouble) = (None, None, None);
    loop {
        let (routine, scale) = {
            let seen = now.borrow_and_update();
            (seen.scale.routine.clone(), seen.scale.trouble.clone())
        };
        if scale.is_some() && scale != trouble {
            tell(format!("  scale: {}", scale.clone().unwrap_or_default()));
        }
        trouble = scale;
        if let Some(routine) = routine {
            if routine.wants == "done" {
                return Ok(routine);
            }
            if step != Some((routine.done, routine.wants)) {
                step = Some((routine.done, routine.wants));
                amiss = None;
                // A mass is called as it was told.
                let says = if routine.mass.is_some() { routine.says } else { shown.retold(&routine.says) };
                tell(format!("{:2}/{}  {says}", routine.done + 1, routine.steps));
            }
            if routine.amiss_says.is_some() && routine.amiss_says != amiss {
                tell(format!("       {}", shown.retold(&routine.amiss_says.clone().unwrap_or_default())));
            }
            amiss = routine.amiss_says;
        }
        now.changed().await.context("the daemon has ended; please report it")?;
    }
}

/// What was found is on its way to the disk: it is waited for.
async fn written<T: Send + 'static>(
    daemon: &Daemon,
    find: impl Fn(&Counter) -> Result<Option<T>, Refusal> + Clone + Send + 'static,
) -> anyhow::Result<T> {
    for _ in 0..100 {
        let find = find.clone();
        if let Some(found) = ask(daemon, move |desk| find(desk)).await?.map_err(|r| anyhow!(words(r)))? {
            return Ok(found);
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    Err(anyhow!("the disk did not take it: check it with `tarebell doctor`"))
}

async fn checked(daemon: &Daemon, id: String, json: bool, shown: Shown) -> anyhow::Result<ExitCode> {
    let find = move |desk: &Counter| Ok(desk.checks(9)?.into_iter().find(|c| c.id == id));
    let check = CheckView::from(&written(daemon, find).await?);
    if json {
        print(&serde_json::to_string(&check)?)?;
    } else {
        print(&shown.retold(&format!(
            "{:.2} g off {} g (standard uncertainty {:.2} g): {}",
            check.error_g,
            (check.mass_g * 1e4).round() / 1e4,
            check.u_g,
            check.says
        )))?;
    }
    Ok(ExitCode::SUCCESS)
}

async fn calibrated(daemon: &Daemon, id: String, json: bool, shown: Shown) -> anyhow::Result<ExitCode> {
    let find = move |desk: &Counter| match desk.calibration(&id) {
        Ok(found) => Ok(Some(found)),
        Err(Refusal::Missing(_)) => Ok(None),
        Err(other @ (Refusal::Conflict(_) | Refusal::Storage(_) | Refusal::Unfit { .. })) => Err(other),
    };
    let record = written(daemon, find).await?;
    let request = from_json(&record.request)?;
    let found = report(&request)?;
    let by = ask(daemon, |desk| desk.in_force()).await?.map_err(|r| anyhow!(words(r)))?;
    let view = CalibrationView::of(&record, request, &found, by.is_some_and(|by| by.id == record.id));
    print(&if json { serde_json::to_string(&view)? } else { told(&view, shown) })?;
    Ok(ExitCode::SUCCESS)
}

/// What came of it, in lines.
fn told(view: &CalibrationView, shown: Shown) -> String {
    let sign = shown.weight.word();
    let offset = shown.grams(view.offset_g, 3);
    let mut lines = vec![format!("corrected = {offset} {sign} + {:.5} x indicated", view.slope)];
    if view.bend_per_g != 0.0 {
        lines.push(format!("            + {:.3e} x indicated^2", view.bend_per_g * shown.weight.in_g()));
    }
    let heads = ["load", "error", "left", "U (k = 2)", "class III"].map(|h| format!("{h} {sign}"));
    let row = |cells: [String; 5]| cells.map(|cell| format!("{cell:>12}")).concat();
    lines.push(row(heads));
    for l in &view.loads {
        let cells = [l.load_g, l.error_g, l.residual_g, l.u_g, l.limit_g];
        lines.push(row(cells.map(|g| shown.grams(g, 2))));
    }
    lines.push("what is not known of the pour, standard uncertainty:".to_owned());
    let term = |what: &str, g: f64| format!("  {what:24} {} {sign}", shown.grams(g, 4));
    lines.extend(view.budget.iter().map(|t| term(t.what, t.u_g)));
    lines.push(format!(
        "a pour of {} {sign} is known to {} {sign} (k = 2); {} {sign} either way: {}",
        shown.grams(view.net_g, 1),
        shown.grams(2.0 * view.net_u_g, 2),
        shown.grams(view.tolerance_g, 2),
        view.verdict
    ));
    lines.extend(view.warnings.iter().map(|w| format!("  {}", shown.retold(w))));
    lines.push(
        if view.in_force { "kept, and gone by from now on" } else { "kept, and not gone by" }.to_owned(),
    );
    lines.push("a studio's own check, no legal verification".to_owned());
    lines.join("\n")
}
