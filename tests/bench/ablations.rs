//! One thing changed at a time, what theory says of it, and what was seen.
//!
//! Theory: delays that are the same each time add to one time, which is learned; only their scatter and the flow's
//! wander while they last remain. Sources of the numbers stand with each table.

use super::cell::Setup;
use super::ear::ROOM_S;
use super::figures::{POURS, figures, mean_of};
use super::grid::MUG;
use super::run::Caller;
use super::work::{Job, play};
use anyhow::Context;
use std::time::Duration;
use tarebell::plant::ScaleModel;
use tarebell::pour::guidance::Guidance;

/// One table.
struct Table {
    title: &'static str,
    theory: &'static str,
    /// What was seen of it, when the table was last read.
    seen: &'static str,
    rows: Vec<(String, Job)>,
}

fn usual(hand: &str) -> anyhow::Result<Setup> {
    Setup::of("usual", hand, MUG.0, MUG.1).context("no such hand")
}

fn with(caller: Caller, setup: &Setup, change: impl FnOnce(&mut Setup)) -> Job {
    let mut setup = setup.clone();
    change(&mut setup);
    Job { setup, caller }
}

/// The mug, where the engine's own filter is set against one that is told everything.
fn told_all() -> anyhow::Result<Table> {
    let mut rows = Vec::new();
    for (scale, hand) in [
        ("quick", "usual"),
        ("usual", "usual"),
        ("late", "usual"),
        ("coarse", "usual"),
        ("lossy", "usual"),
        ("usual", "steady"),
        ("late", "steady"),
    ] {
        let setup = Setup::of(scale, hand, MUG.0, MUG.1).context("no such cell")?;
        let in_grams = (setup.scale.step_g >= 1.0).then_some(Caller::Cloud);
        for caller in [Caller::Engine, Caller::Told].into_iter().chain(in_grams) {
            rows.push((format!("{scale}, {hand} hand: {}", caller.word()), with(caller, &setup, |_| ())));
        }
    }
    Ok(Table {
        title: "Told everything of the scale and of how flows wander",
        theory: "A linear filter that is told the scale's moving average and pole, when each reading was taken, when the stream began, and how flows differ and wander has the least error of all linear ones; it learns the hand's time as Tarebell does. On a display in grams one that takes a reading for a step, in which the weight lies, does better: a cloud of guesses has nearly the least error of all. What they leave is what readings so late, so far apart and so coarse do not tell.",
        seen: "Agrees: on quick, usual and lossy scales Tarebell comes as close, to 7 %; on a late one too with a usual hand, and lies a tenth above it with a steady one. On the coarse one it comes as close as the linear filter, and lies 4 to 8 % above the cloud (0.71 g, and 0.74 g with another draw).",
        rows,
    })
}

fn lag_off() -> anyhow::Result<Table> {
    let mut rows = Vec::new();
    for hand in ["usual", "easing"] {
        let setup = usual(hand)?;
        let engine = |change: fn(&mut Setup)| with(Caller::Engine, &setup, change);
        rows.push((format!("{hand} hand, lag learned"), engine(|_| ())));
        rows.push((format!("{hand} hand, told 0.30 s"), engine(|s| s.change.told_lag_s = Some(0.3))));
        rows.push((format!("{hand} hand, told 0 s"), engine(|s| s.change.told_lag_s = Some(0.0))));
    }
    Ok(Table {
        title: "The scale's lag left out",
        theory: "Told 0 s where it is 0.30 s, the first pour ends over by flow x lag, 8 x 0.3 = 2.4 g; then the hand's time takes it up, as only the sum is seen in finished pours, and the mean comes back. A hand that eases off should suffer most: a late scale shows the flow that was.",
        seen: "Agrees: +2.4 g at first, then the same scatter as with the lag known; the easing hand suffers a little (about a twentieth more RMS), less than was thought.",
        rows,
    })
}

fn in_flight() -> anyhow::Result<Table> {
    // A fall of 0.10 m from rest: the square root of 2 x 0.10 / 9.81.
    let fall_s = (2.0 * 0.10 / 9.806_65_f64).sqrt();
    let setup = usual("usual")?;
    let rows = [("no term", 0.0), ("flow x 0.143 s", fall_s)];
    let row = |(name, air_s): (&str, f64)| {
        (format!("knows all, {name}"), with(Caller::Oracle, &setup, |s| s.change.air_s = air_s))
    };
    Ok(Table {
        title: "A term for slop in the air",
        theory: "The pan already feels what has left the jug: weight in the air and push of what lands are the same. A term for it counts twice: the first pour ends short by flow x fall, 8 x 0.143 = 1.1 g against no term; then the learned time takes it up.",
        seen: "Agrees: the first pour ends 1.2 g shorter than without the term, later ones are the same.",
        rows: rows.map(row).to_vec(),
    })
}

fn gains() -> anyhow::Result<Table> {
    let setup = usual("usual")?;
    let mut rows = Vec::new();
    for (late, adapts) in [(false, 0.0), (false, 0.3), (true, 0.3)] {
        for gain in [0.1, 0.2, 0.3, 0.5, 0.9] {
            let name =
                format!("gain {gain}{}, person mends {adapts}", if late { ", one pour late" } else { "" });
            let job = with(Caller::Oracle, &setup, |s| {
                s.change.gain = Some(gain);
                s.change.late_by_one = late;
                s.change.adapts = adapts;
                s.sound_s = (ROOM_S, 0.0);
            });
            rows.push((name, job));
        }
    }
    Ok(Table {
        title: "The gain of learning, with a person who learns too",
        theory: "A constant gain costs the square root of 2 / (2 - gain) in SD when nothing drifts: 1.03, 1.05, 1.08, 1.15, 1.35. Person and tool add up: 0.9 and 0.3 are above 1 and ring, yet stay below 2. Taught one pour late, the tool alone is stable below 1 only: with 0.9 and a person the errors swing widely.",
        seen: "Agrees in kind: 0.9 alone costs a quarter, with a person a third, and one pour late twice as much; nothing diverges, as the errors of a pour that count are limited.",
        rows,
    })
}

/// Words that are left out where only the stop, or only the early warning and the stop, guide.
const PIPS: &[&str] = &["count"];

fn guidance() -> anyhow::Result<Table> {
    let mut rows = Vec::new();
    for wander in [0.05, 0.12, 0.25] {
        let mut setup = usual("usual")?;
        setup.table.flow_wander = wander;
        let engine = |name: &str, change: &dyn Fn(&mut Setup)| {
            (format!("wander {wander}: {name}"), with(Caller::Engine, &setup, |s| change(s)))
        };
        rows.push(engine("stop only", &|s| s.settings.guidance = Guidance::Stop));
        rows.push(engine("approach and stop", &|s| s.change.unsaid = PIPS));
        rows.push(engine("warned by pips, which quicken", &|_| ()));
        rows.push(engine("warned by pips, which do nothing", &|s| s.person.warning_helps = false));
        rows.push(engine("countdown, to a hand that keeps time", &|s| {
            s.settings.guidance = Guidance::Countdown;
            s.person.keeps_time = true;
        }));
    }
    Ok(Table {
        title: "Stop only, warned, or a countdown",
        theory: "A warning that shortens the tail of the answer helps a little (0.62 to 0.52 g in another simulation, with a working value). A hand on the beat is even, but bound one beat early: it should win at a wander of 0.05 at most and lose at 0.12 and 0.25.",
        seen: "Agrees for warnings (they are worth what they quicken, and nothing else); contradicts the theory for a countdown, which loses at a wander of 0.05 too: its beats are laid out while the flow is still little known, and theory took it as known.",
        rows,
    })
}

fn leads() -> anyhow::Result<Table> {
    let mut rows = Vec::new();
    for hand in ["usual", "easing"] {
        let setup = usual(hand)?;
        for ms in [500, 800, 1300, 2000] {
            let job = with(Caller::Engine, &setup, |s| s.settings.approach = Duration::from_millis(ms));
            rows.push((format!("{hand} hand, approach {:.1} s before", ms as f64 / 1e3), job));
        }
    }
    Ok(Table {
        title: "How early `approach` comes",
        theory: "A hand that does not ease off gains nothing by it. One that eases to half within 1.5 s of hearing stops at about half the flow when there is time for all of it, so the error nearly halves from 0.5 s to 2 s (hand and flow scatter go with the flow).",
        seen: "Agrees for the easing hand (0.5 s to 2 s nearly halves the RMS; most of it by 1.3 s); a usual hand gains a little up to 0.8 s, not by easing but because only then the pips, which quicken it, have room.",
        rows,
    })
}

fn filters() -> anyhow::Result<Table> {
    let mut rows = Vec::new();
    for scale in ["usual", "late"] {
        for (name, halves) in [("even filter", false), ("lag halves while it moves", true)] {
            let setup = Setup::of(scale, "usual", MUG.0, MUG.1).context("no such scale")?;
            let change = |s: &mut Setup| s.scale = ScaleModel { halves_moving: halves, ..s.scale.clone() };
            rows.push((format!("{scale} scale, {name}"), with(Caller::Engine, &setup, change)));
        }
    }
    Ok(Table {
        title: "A scale whose filter follows faster while the weight moves",
        theory: "In the pour it is less late, so less flow passes unseen: the scatter should fall. But the lag seen when pieces land is not the one in a slow stream, and the filter changes as the stream begins, so some of the gain is lost.",
        seen: "Agrees: a fifth less scatter on the late scale, a tenth on the usual one; the first pour ends over a gram apart, as the lag of a landing is not that of a stream.",
        rows,
    })
}

fn loudspeakers() -> anyhow::Result<Table> {
    let setup = usual("usual")?;
    let rows = [
        ("at once", (0.0, 0.0), 0.0),
        ("180 ms, known", (0.18, 0.015), 0.18),
        ("180 ms, not known", (0.18, 0.015), 0.0),
    ];
    let row = |(name, sound_s, known_s): (&str, (f64, f64), f64)| {
        (name.to_owned(), with(Caller::Engine, &setup, |s| (s.sound_s, s.sound_known_s) = (sound_s, known_s)))
    };
    Ok(Table {
        title: "A loudspeaker that is late: 180 ms, scatter 15 ms",
        theory: "Not known, the first pour ends over by 8 x 0.18 = 1.4 g, and the hand's time takes it up. The scatter of 15 ms is 0.12 g; the longer blind time adds more through the flow's wander, known or not.",
        seen: "Agrees: +1.4 g at first where it is not known, and a quarter more scatter in either case; being told it saves the first pours only.",
        rows: rows.map(row).to_vec(),
    })
}

const HEAD: &str = "| | first pour, mean | pours 2 to 6, mean | later: mean | SD | RMS | P95 |\n| --- | --- | --- | --- | --- | --- | --- |\n";

/// All tables as text.
pub(crate) fn all(sessions: u64) -> anyhow::Result<String> {
    let tables =
        [told_all()?, lag_off()?, in_flight()?, gains()?, guidance()?, leads()?, filters()?, loudspeakers()?];
    let jobs: Vec<Job> = tables.iter().flat_map(|t| t.rows.iter().map(|(_, job)| job.clone())).collect();
    let mut played = play("ablations", &jobs, sessions)?.into_iter();
    let mut out = format!(
        "{:.0} g at {} g/s, usual scale and hand where nothing else is said, {sessions} sessions of {POURS} pours each.\n\n",
        MUG.0, MUG.1
    );
    for table in tables {
        out += &format!("### {}\n\nTheory: {}\n\nSeen: {}\n\n{HEAD}", table.title, table.theory, table.seen);
        for ((name, _), came) in table.rows.iter().zip(played.by_ref()) {
            let f = figures(&came.sessions, MUG.0);
            let early = |pours| mean_of(&came.sessions, pours, MUG.0);
            let stuck = if came.stuck.is_empty() {
                String::new()
            } else {
                format!(" ({} sessions stuck)", came.stuck.len())
            };
            out += &format!(
                "| {name}{stuck} | {:+.2} g | {:+.2} g | {:+.2} g | {:.2} g | {:.2} g | {:.2} g |\n",
                early(0..1),
                early(1..6),
                f.mean_g,
                f.sd_g,
                f.rms_g,
                f.p95_g,
            );
        }
        out += "\n";
    }
    Ok(out)
}
