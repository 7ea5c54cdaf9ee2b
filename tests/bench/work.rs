//! Many sessions on all cores, and how far they have come.

use super::cell::Setup;
use super::figures::POURS;
use super::run::{Caller, Fill, session};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// The first session's seed; the others' follow it.
pub(crate) const FIRST_SEED: u64 = 5000;
/// So often it is said how far they are.
const SAID_EVERY: Duration = Duration::from_secs(15);

/// One cell and who calls in it.
#[derive(Clone, Debug)]
pub(crate) struct Job {
    pub(crate) setup: Setup,
    pub(crate) caller: Caller,
}

/// What came of a job: the fills of each session, and where sessions got stuck.
#[derive(Clone, Debug, Default)]
pub(crate) struct Played {
    pub(crate) sessions: Vec<Vec<Fill>>,
    pub(crate) stuck: Vec<String>,
}

/// Session number `i` of so many of a job.
pub(crate) fn one(job: &Job, i: u64, sessions: u64) -> Result<Vec<Fill>, String> {
    session(&job.setup.clone().with_person(i, sessions), job.caller, FIRST_SEED + i, POURS)
}

/// Plays so many sessions of each job.
pub(crate) fn play(what: &str, jobs: &[Job], sessions: u64) -> anyhow::Result<Vec<Played>> {
    let all = jobs.len() * sessions as usize;
    let next = AtomicUsize::new(0);
    let progress =
        Progress { what, since: Instant::now(), said: Mutex::new(Instant::now()), all, jobs: jobs.len() };
    let work = || {
        let mut done = Vec::new();
        loop {
            let unit = next.fetch_add(1, Ordering::Relaxed);
            let Some(job) = jobs.get(unit / sessions as usize) else { return done };
            done.push((unit, one(job, unit as u64 % sessions, sessions)));
            progress.say(unit);
        }
    };
    let threads = std::thread::available_parallelism().map_or(2, usize::from);
    let parts = std::thread::scope(|scope| {
        let started: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        started.into_iter().map(std::thread::ScopedJoinHandle::join).collect::<Vec<_>>()
    });
    let mut units = Vec::new();
    for part in parts {
        units.extend(part.map_err(|_| anyhow::anyhow!("a session panicked"))?);
    }
    units.sort_by_key(|(unit, _)| *unit);
    let mut played = vec![Played::default(); jobs.len()];
    for (unit, came) in units {
        let Some(job) = played.get_mut(unit / sessions as usize) else { continue };
        match came {
            Ok(fills) => job.sessions.push(fills),
            Err(why) => job.stuck.push(why),
        }
    }
    eprintln!("{what}: {} cells in {:.0} s", jobs.len(), progress.since.elapsed().as_secs_f64());
    Ok(played)
}

struct Progress<'a> {
    what: &'a str,
    since: Instant,
    said: Mutex<Instant>,
    all: usize,
    jobs: usize,
}

impl Progress<'_> {
    fn say(&self, unit: usize) {
        let Ok(mut said) = self.said.lock() else { return };
        if said.elapsed() < SAID_EVERY {
            return;
        }
        *said = Instant::now();
        let share = (unit + 1) as f64 / self.all as f64;
        let left_s = self.since.elapsed().as_secs_f64() * (1.0 / share - 1.0);
        let cells = (share * self.jobs as f64) as usize;
        eprintln!(
            "{}: {cells} of {} cells, about {:.0} min left",
            self.what,
            self.jobs,
            (left_s / 60.0).ceil()
        );
    }
}
