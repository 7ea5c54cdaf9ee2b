//! Batches poured over a link on which everything goes wrong, on a virtual clock. The hands and scales are
//! invented; see the plant's presets.

use super::run::start_for;
use tarebell::frame::line::{LineDecoder, LineFormat, Unit};
use tarebell::link::LinkEvent;
use tarebell::link::faulty::{Faults, Faulty};
use tarebell::plant::session::{Potter, Script};
use tarebell::plant::{Person, Plant, ScaleModel, Table};
use tarebell::pour::engine::{Engine, LinkChange};
use tarebell::pour::entry::{Cue, Entry, Output, Phase};
use tarebell::reading::timing::Timing;
use tarebell::reading::{Indicated, Weighing};
use tarebell::record::{Mark, Verdict};
use tarebell::time::{Duration, Instant};

const PIECES: u32 = 8;
const SEEDS: u64 = 40;

/// What came of a batch.
struct Batch {
    /// True bare and net grams of each piece.
    pieces: Vec<(f64, f64)>,
    entries: Vec<Entry>,
    faults: usize,
    /// Silences of over a second while slop could run that no `fault` answered within a second.
    unheard: Vec<f64>,
    stuck: bool,
}

/// Everything between the plant and the engine.
struct Bench {
    engine: Engine,
    decoder: LineDecoder,
    timing: Timing,
    link: Faulty,
}

impl Bench {
    fn handle(&mut self, event: LinkEvent, now: Instant) {
        match event {
            LinkEvent::Up => {
                self.decoder.reset();
                self.timing.reset();
                self.engine.handle_link(LinkChange::Up, now);
            }
            LinkEvent::Down { .. } => self.engine.handle_link(LinkChange::Down, now),
            LinkEvent::Facts(_) => {}
            LinkEvent::Bytes { bytes, arrived_at } => {
                self.decoder.handle_bytes(&bytes, arrived_at);
                while let Some(reading) = self.decoder.poll_reading() {
                    let taken_at = self.timing.handle_arrival(arrived_at, reading.indicated.mass());
                    if let Indicated::Mass(mass) = reading.indicated {
                        self.engine.handle_weighing(Weighing { mass, arrived_at, taken_at });
                    }
                }
            }
        }
    }
}

fn pour(seed: u64, faults: Faults) -> Batch {
    let plant = Plant::new(seed, Person::typical(), ScaleModel::middling(), Table::default());
    let mut potter = Potter::new(plant, Script::of(PIECES, 29.0));
    let mut table = Bench {
        engine: Engine::new(start_for(29.0)),
        decoder: LineDecoder::new(LineFormat::Auto, Unit::Gram),
        timing: Timing::default(),
        link: Faulty::new(faults, seed),
    };
    let mut batch =
        Batch { pieces: Vec::new(), entries: Vec::new(), faults: 0, unheard: Vec::new(), stuck: false };
    let (mut t, mut heard_at, mut fault_at) = (Instant::START, Instant::START, Instant::START);
    while !potter.done() && t.seconds() < 400.0 {
        t = t + Duration::from_millis(2);
        for shown in potter.advance(t) {
            let bytes = format!("{:.1} g\r\n", shown.mass_g).into_bytes();
            table.link.handle_event(LinkEvent::Bytes { bytes, arrived_at: t }, t);
        }
        while let Some(event) = table.link.poll_event(t) {
            if matches!(event, LinkEvent::Bytes { .. }) {
                heard_at = t;
            }
            table.handle(event, t);
        }
        if table.engine.poll_timeout().is_some_and(|due| due <= t) {
            table.engine.handle_timeout(t);
        }
        while let Some(output) = table.engine.poll_output() {
            match output {
                Output::Cue(c) => {
                    batch.faults += usize::from(c.cue == Cue::Fault);
                    fault_at = if c.cue == Cue::Fault { t } else { fault_at };
                    potter.handle_cue(c.cue.word(), c.due);
                }
                Output::Entry(e) => batch.entries.push(e),
                Output::Dropped { .. } | Output::Learned(_) | Output::VoidLast | Output::Jug { .. } => {}
            }
        }
        let matters =
            matches!(table.engine.snapshot(t).phase, Phase::Ready | Phase::Pouring | Phase::Draining);
        if matters && t.since(heard_at) > Duration::from_secs(1) && fault_at < heard_at {
            batch.unheard.push(t.seconds());
        }
    }
    batch.stuck = !potter.done();
    batch.pieces = potter.results().iter().map(|p| (p.bare_g, p.net_g)).collect();
    batch
}

const BAD: Faults = Faults {
    dropped: 0.03,
    repeated: 0.01,
    delayed: 0.02,
    flipped: 0.01,
    cut: 0.004,
    bunch: Duration::from_millis(30),
    held: Duration::from_millis(400),
    down: Duration::from_millis(2500),
};

#[test]
fn on_a_link_where_everything_goes_wrong_no_weight_is_called_good_that_is_not_and_every_silence_is_heard() {
    let (mut poured, mut entered, mut faults, mut good) = (0, 0, 0, 0);
    for seed in 1..=SEEDS {
        let batch = pour(4000 + seed, BAD);
        assert!(!batch.stuck, "seed {seed}: stuck");
        assert!(batch.unheard.is_empty(), "seed {seed}: silence unheard at {:?} s", batch.unheard);
        faults += batch.faults;
        poured += batch.pieces.len();
        let mut pieces = batch.pieces.into_iter();
        for piece in 1..=PIECES {
            let Some(entry) = batch.entries.iter().rfind(|e| e.piece == piece && e.rev > 0) else { continue };
            // Numbers differ once a piece went by unseen: a piece is known by its own weight.
            let same = |(bare_g, _): &(f64, f64)| (entry.tare.g() - bare_g).abs() < 0.3;
            let (bare_g, net_g) = pieces.find(same).expect("a piece of this weight");
            entered += 1;
            let (net, u) = (entry.net.map_or(f64::NAN, |n| n.g()), entry.net_u.map_or(f64::NAN, |u| u.g()));
            if entry.verdict == Verdict::Good && entry.settled {
                good += 1;
                // 27.55 to 30.45 g, and what a reading may be off.
                assert!(
                    (27.0..31.0).contains(&net_g),
                    "seed {seed}, {bare_g:.1} g bare: {net_g:.2} g called good at {net:.2}"
                );
            }
            // A bare piece that weighs what a short one weighed may be taken for it: then its record says how little it knows.
            let taken_for_it = entry.marks.has(Mark::PutBack);
            let most = match entry.settled {
                true if taken_for_it => 3.0 * u,
                true => 0.5,
                false => (4.0 * u).max(3.0),
            };
            assert!(
                (net - net_g).abs() < most,
                "seed {seed}, {bare_g:.1} g bare: {net:.2} (+-{u:.2}) for {net_g:.2} g"
            );
        }
    }
    println!("{poured} poured, {entered} entered, {good} settled and good, {faults} faults");
    assert!(
        faults > 20 && good > 30,
        "{faults} faults, {good} good: the link was not bad, or nothing went well"
    );
}

#[test]
fn a_faulty_link_without_faults_is_a_good_one_and_each_fault_does_what_it_says() {
    let through = |faults: Faults| {
        let mut link = Faulty::new(faults, 5);
        let mut out = Vec::new();
        for i in 0..1000_u64 {
            let now = Instant::from_us(i * 100_000);
            link.handle_event(LinkEvent::Bytes { bytes: vec![0x55; 8], arrived_at: now }, now);
            out.extend(std::iter::from_fn(|| link.poll_event(now)).map(|e| (i, e)));
        }
        out
    };
    let bytes =
        |out: &[(u64, LinkEvent)]| out.iter().filter(|e| matches!(e.1, LinkEvent::Bytes { .. })).count();
    assert_eq!(bytes(&through(Faults::default())), 1000);
    let dropped = bytes(&through(Faults { dropped: 0.1, ..Faults::default() }));
    assert!((860..940).contains(&dropped), "{dropped}");
    let repeated = bytes(&through(Faults { repeated: 0.1, ..Faults::default() }));
    assert!((1060..1140).contains(&repeated), "{repeated}");
    let damaged =
        |e: &&(u64, LinkEvent)| !matches!(&e.1, LinkEvent::Bytes { bytes, .. } if *bytes == vec![0x55; 8]);
    let flipped = through(Faults { flipped: 0.1, ..Faults::default() });
    assert!((60..140).contains(&flipped.iter().filter(damaged).count()));
    let cut = through(Faults { cut: 0.01, down: Duration::from_secs(2), ..Faults::default() });
    let downs = cut.iter().filter(|e| matches!(e.1, LinkEvent::Down { .. })).count();
    let ups = cut.iter().filter(|e| e.1 == LinkEvent::Up).count();
    assert!(downs > 3 && downs - ups <= 1 && bytes(&cut) < 1000, "{downs} downs, {ups} ups");
    let late = through(Faults { delayed: 0.1, held: Duration::from_millis(500), ..Faults::default() });
    let stamps: Vec<_> = late
        .iter()
        .filter_map(
            |(i, e)| if let LinkEvent::Bytes { arrived_at, .. } = e { Some((*i, *arrived_at)) } else { None },
        )
        .collect();
    assert!(stamps.iter().zip(stamps.iter().skip(1)).all(|(a, b)| a.1 <= b.1));
    let bunched = through(Faults { bunch: Duration::from_millis(400), ..Faults::default() });
    assert!(bunched.iter().all(|(i, _)| i % 4 == 0));
}
