//! The sound's thread with a stand-in for the sound system, on a clock that is set by hand.

use super::*;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};

/// A sound system of one loudspeaker.
#[derive(Clone, Default)]
struct Stand {
    plugged: Arc<AtomicBool>,
    hangs: Arc<AtomicBool>,
    broken: Arc<AtomicBool>,
    taken: Arc<AtomicU64>,
    looks: Arc<AtomicU64>,
    openings: Arc<AtomicU64>,
    open: Arc<AtomicU64>,
    heard: Arc<Mutex<Vec<Cue>>>,
}

impl Stand {
    fn there(&self) -> Result<(), SoundError> {
        while self.hangs.load(Ordering::SeqCst) {
            std::thread::sleep(Duration::from_millis(1));
        }
        if self.plugged.load(Ordering::SeqCst) { Ok(()) } else { Err(SoundError::None) }
    }
}

impl Find for Stand {
    type Stream = Playback;

    fn look(&self) -> Result<String, SoundError> {
        self.looks.fetch_add(1, Ordering::SeqCst);
        self.there().map(|()| "stand".to_owned())
    }

    fn open(&self) -> Result<Playback, SoundError> {
        self.openings.fetch_add(1, Ordering::SeqCst);
        self.there()?;
        self.open.fetch_add(1, Ordering::SeqCst);
        Ok(Playback(self.clone()))
    }
}

struct Playback(Stand);

impl Drop for Playback {
    fn drop(&mut self) {
        self.0.open.fetch_sub(1, Ordering::SeqCst);
    }
}

impl Playing for Playback {
    fn device(&self) -> &str {
        "stand"
    }

    fn play(&self, cue: Cue, _due: Instant) {
        self.0.heard.lock().expect("the test lives").push(cue);
    }

    fn taken(&self) -> u64 {
        self.0.taken.load(Ordering::SeqCst)
    }

    fn well_after(&self) -> u64 {
        480_000
    }

    fn broken(&self) -> bool {
        self.0.broken.load(Ordering::SeqCst)
    }

    fn latency(&self) -> Duration {
        Duration::from_millis(30)
    }
}

/// The thread's state, run by hand.
struct Bench<N, T> {
    keep: Keep<Stand, N, T>,
    stand: Stand,
    now: Arc<AtomicU64>,
    told: Arc<Mutex<Vec<SoundState>>>,
}

fn bench() -> Bench<impl Fn() -> Instant, impl Fn(SoundStatus)> {
    let stand = Stand::default();
    stand.plugged.store(true, Ordering::SeqCst);
    let now = Arc::new(AtomicU64::new(0));
    let told = Arc::new(Mutex::new(Vec::new()));
    let (clock, hear) = (now.clone(), told.clone());
    let keep = Keep::new(
        stand.clone(),
        move || Instant::from_us(clock.load(Ordering::SeqCst)),
        move |status: SoundStatus| hear.lock().expect("the test lives").push(status.state),
    );
    Bench { keep, stand, now, told }
}

impl<N: Fn() -> Instant, T: Fn(SoundStatus)> Bench<N, T> {
    /// Lets so much time pass, the device taking its frames; what is asked of it is answered at once,
    /// unless it hangs.
    fn pass(&mut self, time: Duration) {
        let end = self.now.load(Ordering::SeqCst) + time.as_micros() as u64;
        while self.now.load(Ordering::SeqCst) < end {
            let now = self.now.fetch_add(100_000, Ordering::SeqCst) + 100_000;
            if !self.stand.broken.load(Ordering::SeqCst) {
                self.stand.taken.fetch_add(4800, Ordering::SeqCst);
            }
            self.keep.tend(Instant::from_us(now));
            while self.keep.asked.is_some() && !self.stand.hangs.load(Ordering::SeqCst) {
                std::thread::sleep(Duration::from_millis(1));
                self.keep.tend(Instant::from_us(now));
            }
        }
    }

    fn at(&self) -> Instant {
        Instant::from_us(self.now.load(Ordering::SeqCst))
    }

    fn told(&self) -> Vec<SoundState> {
        self.told.lock().expect("the test lives").clone()
    }

    /// Streams open; letting go of one has a thread of its own.
    fn open(&self) -> u64 {
        std::thread::sleep(Duration::from_millis(20));
        self.stand.open.load(Ordering::SeqCst)
    }
}

const S: Duration = Duration::from_secs(1);

#[test]
fn one_that_is_unplugged_while_it_is_closed_is_missed_within_five_seconds_and_found_again() {
    let mut bench = bench();
    bench.pass(S);
    assert_eq!((bench.told(), bench.open()), (vec![SoundState::On], 1));
    bench.pass(S * 20);
    assert_eq!((bench.told(), bench.open()), (vec![SoundState::On], 0), "closed, and known");
    let looks = bench.stand.looks.load(Ordering::SeqCst);
    bench.stand.plugged.store(false, Ordering::SeqCst);
    bench.pass(S * 5 + S / 5);
    assert_eq!(bench.told(), [SoundState::On, SoundState::Missing]);
    assert_eq!(bench.stand.looks.load(Ordering::SeqCst), looks + 1, "one look, and no stream is open");
    assert_eq!(bench.open(), 0);
    bench.stand.plugged.store(true, Ordering::SeqCst);
    bench.pass(S * 5 + S / 5);
    assert_eq!(bench.told(), [SoundState::On, SoundState::Missing, SoundState::On]);
}

#[test]
fn one_that_is_closed_is_opened_at_once_for_a_batch_and_stays_open_in_it() {
    let mut bench = bench();
    bench.pass(S * 20);
    assert_eq!(bench.open(), 0);
    bench.keep.batch(true);
    bench.pass(S / 5);
    assert_eq!(bench.open(), 1);
    bench.pass(S * 300);
    assert_eq!((bench.open(), bench.told()), (1, vec![SoundState::On, SoundState::Opening, SoundState::On]));
    assert_eq!(bench.stand.openings.load(Ordering::SeqCst), 2);
}

#[test]
fn a_look_that_hangs_is_told_and_when_it_comes_back_the_device_is_opened() {
    let mut bench = bench();
    bench.pass(S * 18);
    bench.stand.hangs.store(true, Ordering::SeqCst);
    bench.pass(S * 9);
    assert_eq!(bench.told(), [SoundState::On, SoundState::Dead]);
    bench.keep.batch(true);
    bench.stand.hangs.store(false, Ordering::SeqCst);
    bench.pass(S / 5);
    assert_eq!((bench.told(), bench.open()), (vec![SoundState::On, SoundState::Dead, SoundState::On], 1));
}

#[test]
fn one_that_dies_in_a_batch_is_told_and_opened_again_with_growing_pauses() {
    let mut bench = bench();
    bench.keep.batch(true);
    bench.pass(S);
    bench.stand.broken.store(true, Ordering::SeqCst);
    bench.pass(S / 5);
    assert_eq!(bench.told(), [SoundState::On, SoundState::Dead]);
    // Pauses of 1, 2, 4, 8, 16 s and then 30 s each, and a look or two at what was opened.
    bench.pass(S * 65);
    assert_eq!(bench.stand.openings.load(Ordering::SeqCst), 7);
    bench.stand.broken.store(false, Ordering::SeqCst);
    bench.pass(S * 31);
    assert_eq!((bench.told().last(), bench.open()), (Some(&SoundState::On), 1));
}

fn cues(bench: &Bench<impl Fn() -> Instant, impl Fn(SoundStatus)>) -> Vec<Cue> {
    bench.stand.heard.lock().expect("the test lives").clone()
}

/// Closed for long, and its next opening hangs, with a batch begun.
fn begun_while_it_hangs() -> Bench<impl Fn() -> Instant, impl Fn(SoundStatus)> {
    let mut bench = bench();
    bench.pass(S * 20);
    assert_eq!((bench.told(), bench.open()), (vec![SoundState::On], 0), "closed, and known");
    bench.stand.hangs.store(true, Ordering::SeqCst);
    bench.keep.batch(true);
    bench
}

#[test]
fn a_fault_or_a_stop_that_is_due_while_it_opens_is_played_as_soon_as_it_is_open() {
    for must in [Cue::Fault, Cue::Stop] {
        let mut bench = begun_while_it_hangs();
        bench.keep.play(Cue::Ready, bench.at());
        bench.keep.play(must, bench.at());
        bench.pass(S * 2);
        assert_eq!(cues(&bench), [], "it is not open");
        bench.stand.hangs.store(false, Ordering::SeqCst);
        bench.pass(S / 5);
        assert_eq!(cues(&bench), [must], "a ready that is two seconds late is dropped");
    }
}

#[test]
fn a_cue_that_is_in_time_when_it_is_open_is_not_lost_either() {
    let mut bench = begun_while_it_hangs();
    bench.stand.hangs.store(false, Ordering::SeqCst);
    bench.keep.play(Cue::Ready, bench.at() + S / 5);
    bench.pass(S / 5);
    assert_eq!(cues(&bench), [Cue::Ready]);
}

#[test]
fn what_is_held_and_no_longer_holds_is_not_played() {
    for (held, next) in
        [(Cue::Fault, Cue::Clear), (Cue::Fault, Cue::Ready), (Cue::Stop, Cue::Good), (Cue::Stop, Cue::Ready)]
    {
        let mut bench = begun_while_it_hangs();
        bench.keep.play(held, bench.at());
        bench.pass(S);
        bench.keep.play(next, bench.at());
        bench.pass(S);
        bench.stand.hangs.store(false, Ordering::SeqCst);
        bench.pass(S / 5);
        assert_eq!(cues(&bench), [], "{held:?}, {next:?}");
    }
    // With the end of the batch nothing is said any more.
    let mut bench = begun_while_it_hangs();
    bench.keep.play(Cue::Fault, bench.at());
    bench.keep.batch(false);
    bench.stand.hangs.store(false, Ordering::SeqCst);
    bench.pass(S);
    assert_eq!(cues(&bench), []);
}

#[test]
fn while_it_opens_it_is_not_on_and_one_that_hangs_is_told_after_three_seconds() {
    let mut bench = begun_while_it_hangs();
    assert_eq!(bench.told(), [SoundState::On, SoundState::Opening]);
    bench.pass(S * 2);
    assert_eq!(bench.told().last(), Some(&SoundState::Opening));
    bench.pass(S + S / 5);
    assert_eq!(bench.told().last(), Some(&SoundState::Dead));
}
