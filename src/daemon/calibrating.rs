//! `calibrate`: the routine at the pan on a terminal. The same routine as on the page, in words.

use super::commands::{data_folder, note, print, say, settings, setup_of, start_link};
use super::signals::Signals;
use super::{Daemon, counter::Counter};
use crate::batch::Refused;
use crate::calibration::masses::{MassRequest, OwnMass};
use crate::calibration::report::report;
use crate::calibration::request::from_json;
use crate::calibration::told::{pour, room_and_operator};
use crate::cli::CalibrateArgs;
use crate::page::desk::{Desk, Refusal, RoutineWish};
use crate::page::told::text as json_text;
use crate::page::view::{CalibrationView, CheckView, Now, RoutineView};
use crate::record::CalibrationWrite;
use crate::settings::Link;
use crate::units::shown::{Shown, WeightIn};
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
        Refusal::Missing(why)
        | Refusal::Conflict(why)
        | Refusal::Storage(why)
        | Refusal::Weighs { why, .. } => why,
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
        kept.and_then(|body| MassRequest::kept(&body)).unwrap_or_default()
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
        print(&json_text(&check)?)?;
    } else {
        print(&check_told(&check, shown))?;
    }
    Ok(ExitCode::SUCCESS)
}

async fn calibrated(daemon: &Daemon, id: String, json: bool, shown: Shown) -> anyhow::Result<ExitCode> {
    let find = move |desk: &Counter| match desk.calibration(&id) {
        Ok(found) => Ok(Some(found)),
        Err(Refusal::Missing(_)) => Ok(None),
        Err(
            other @ (Refusal::Conflict(_)
            | Refusal::Weighs { .. }
            | Refusal::Storage(_)
            | Refusal::Unfit { .. }),
        ) => Err(other),
    };
    let record = written(daemon, find).await?;
    let request = from_json(&record.request)?;
    let found = report(&request)?;
    let by = ask(daemon, |desk| desk.in_force()).await?.map_err(|r| anyhow!(words(r)))?;
    let in_force = by.is_some_and(|by| by.id == record.id);
    let units = if json { Shown::default() } else { shown };
    let view = CalibrationView::of(&record, request, &found, in_force, units);
    print(&if json { json_text(&view)? } else { told(&view, shown) })?;
    Ok(ExitCode::SUCCESS)
}

/// What a check came to.
fn check_told(check: &CheckView, shown: Shown) -> String {
    let mass = match shown.weight {
        // As it is marked.
        WeightIn::Gram => format!("{} g", (check.mass_g * 1e4).round() / 1e4),
        WeightIn::Ounce => shown.weight(check.mass_g, 2),
    };
    let (sign, error) = (shown.weight.word(), shown.signed(check.error_g, 2));
    let u = shown.weight(check.u_g, 2);
    format!("{error} {sign} off {mass} (standard uncertainty {u}): {}", check.says)
}

/// What came of it, in lines.
fn told(view: &CalibrationView, shown: Shown) -> String {
    let sign = shown.weight.word();
    let offset = shown.signed(view.offset_g, 3);
    let mut lines = vec![format!("corrected = {offset} {sign} + {:.5} x indicated", view.slope)];
    if view.bend_per_g != 0.0 {
        let bend = view.bend_per_g * shown.weight.in_g();
        let way = if bend < 0.0 { '-' } else { '+' };
        lines.push(format!("            {way} {:.3e} x indicated^2", bend.abs()));
    }
    let heads = ["load", "error", "left", "U (k = 2)", "class III"].map(|h| format!("{h}, {sign}"));
    // Two blanks between the longest of them, `class III, oz` and `-176.3698`.
    let row = |cells: [String; 5]| cells.map(|cell| format!("{cell:>15}")).concat();
    lines.push(row(heads));
    for l in &view.loads {
        lines.push(row([
            shown.grams(l.load_g, 2),
            shown.signed(l.error_g, 2),
            shown.signed(l.residual_g, 2),
            shown.grams(l.u_g, 2),
            shown.grams(l.limit_g, 2),
        ]));
    }
    lines.push("what is not known of the pour, standard uncertainty:".to_owned());
    lines.extend(view.budget.iter().map(|t| {
        let tried = view.request.tells(t.what);
        let u = if tried { shown.weight(t.u_g, 4) } else { "not tried".to_owned() };
        format!("  {:24} {u}", t.what)
    }));
    lines.push(format!(
        "a pour of {} {sign} is known to {} {sign} (k = 2); {} {sign} either way: {}",
        shown.grams(view.net_g, 1),
        shown.grams(2.0 * view.net_u_g, 2),
        shown.grams(view.tolerance_g, 2),
        view.verdict
    ));
    lines.extend(view.warnings.iter().map(|w| format!("  {w}")));
    lines.push(
        if view.in_force { "kept, and gone by from now on" } else { "kept, and not gone by" }.to_owned(),
    );
    lines.push("a studio's own check, no legal verification".to_owned());
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::CalibrationRecord;
    use crate::time::WallTime;
    use crate::units::shown::LengthIn;

    /// An invented scale that shows 2 percent too much of 200 and 5000 g, and bends.
    fn view(shown: Shown) -> CalibrationView {
        let text = r#"{ "division_g": 0.1, "net_g": 29.04, "tolerance_g": 0.15, "points": [{ "nominal_g": 0, "readings_g": [0] },
            { "nominal_g": 200, "class": "M1", "readings_g": [204, 204.1] }, { "nominal_g": 5000, "class": "M1", "readings_g": [5100] }] }"#;
        let request = from_json(text).unwrap();
        let found = report(&request).unwrap();
        let record = CalibrationRecord {
            id: "invented".to_owned(),
            scale: "invented".to_owned(),
            made_at: WallTime::from_unix_us(0),
            request: String::new(),
            offset_g: found.offset_g,
            slope: found.slope,
            bend_per_g: found.bend_per_g,
            verdict: found.fitness.word().to_owned(),
        };
        CalibrationView::of(&record, request, &found, false, shown)
    }

    #[test]
    fn the_table_of_a_terminal_stands_in_columns_and_errors_have_their_sign_in_any_unit() {
        for weight in WeightIn::ALL {
            let shown = Shown { weight, length: LengthIn::Millimetre };
            let said = told(&view(shown), shown);
            let at = said.lines().position(|line| line.trim_start().starts_with("load, ")).unwrap();
            let table: Vec<&str> = said.lines().skip(at).take(4).collect();
            // Each column ends under its heading, with two blanks at least before it.
            let ends = |line: &str| -> Vec<usize> {
                (1..=line.len()).filter(|n| n % 15 == 0 && line.as_bytes()[n - 1] != b' ').collect()
            };
            for line in &table {
                assert_eq!((line.len(), ends(line)), (75, vec![15, 30, 45, 60, 75]), "{said}");
                assert!((0..5).all(|n| line[15 * n..].starts_with("  ")), "{said}");
            }
            assert!(table[3].contains(" +"), "100 g too much is told as more: {said}");
        }
    }

    #[test]
    fn a_pour_in_ounces_has_the_same_digits_in_each_sentence_and_is_rounded_once() {
        let shown = Shown { weight: WeightIn::Ounce, length: LengthIn::Millimetre };
        let said = told(&view(shown), shown);
        // 29.04 / 28.349523125 = 1.02436, worked by hand; by way of 29.0 g it would be 1.023.
        assert!(said.contains("a pour of 1.024 oz") && said.contains("at 1.024 oz: widen"), "{said}");
        assert!(said.split_whitespace().all(|word| word.trim_end_matches([',', ':', ')']) != "g"), "{said}");
    }

    #[test]
    fn what_was_not_tried_is_not_told_as_nothing() {
        let said = told(&view(Shown::default()), Shown::default());
        let of = |what: &str| said.lines().find(|line| line.trim_start().starts_with(what)).unwrap();
        for what in ["off the centre", "creep", "drift"] {
            assert!(of(what).ends_with("not tried"), "{said}");
        }
        assert!(of("slope").ends_with(" g"), "{said}");
    }

    #[test]
    fn a_check_is_told_with_its_sign() {
        let check = |error_g: f64| CheckView {
            id: String::new(),
            made_at: String::new(),
            calibration: None,
            mass_g: 200.0,
            shown_g: 200.0 + error_g,
            error_g,
            u_g: 0.05,
            k: 1,
            room_c: None,
            says: "in-order".to_owned(),
        };
        let ounces = Shown { weight: WeightIn::Ounce, length: LengthIn::Millimetre };
        assert_eq!(
            check_told(&check(0.1), Shown::default()),
            "+0.10 g off 200 g (standard uncertainty 0.05 g): in-order"
        );
        // 0.1 / 28.349523125 = 0.00353 and 200 / 28.349523125 = 7.05479, worked by hand.
        assert_eq!(
            check_told(&check(-0.1), ounces),
            "-0.0035 oz off 7.0548 oz (standard uncertainty 0.0018 oz): in-order"
        );
    }
}
