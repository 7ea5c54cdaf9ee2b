//! The guided calibration from end to end at simulated scales: a simulated hand does what each step asks, and pours that
//! follow are held against the uncertainty that came of it.
//!
//! Scale, masses and hand are invented; what is drawn, and from which law, stands with each test.

use crate::cycles::Dice;
use tarebell::calibration::masses::{MassRequest, OwnMass};
use tarebell::calibration::report::report;
use tarebell::calibration::request::CalibrationRequest;
use tarebell::guide::calibrate::{Amiss, Ask, Outcome, Parts, Place, Routine, Wish};
use tarebell::plant::{Person, Placer, Plant, ScaleModel, Shown, Table};
use tarebell::reading::Weighing;
use tarebell::scale::{Origin, ScaleFacts};
use tarebell::settle::{Motion, Settler};
use tarebell::time::{Duration, Instant};
use tarebell::units::Mass;

const STEP_G: f64 = 0.1;

/// From -1 to 1, evenly.
fn even(dice: &mut Dice) -> f64 {
    2.0 * dice.unit() - 1.0
}

/// A bench with a scale on it, and what rests there.
struct Bench {
    plant: Plant,
    settler: Settler,
    now: Instant,
}

/// What the scale shows, and where it rests.
type Seen = (Weighing, Option<Mass>);

impl Bench {
    fn new(seed: u64, model: ScaleModel) -> Self {
        let plant = Plant::new(seed, Person::typical(), model.clone(), Table::default());
        Self { plant, settler: Settler::new(&facts(&model)), now: Instant::START }
    }

    fn seen(&mut self, shown: Shown) -> Seen {
        let mass = Mass::saturating(shown.mass_g);
        let w = Weighing { mass, arrived_at: shown.arrives_at, taken_at: shown.taken_at };
        let rest = match self.settler.handle_weighing(w) {
            Motion::AtRest { mass } => Some(mass),
            Motion::Moving { .. } => None,
        };
        (w, rest)
    }

    fn moves_on(&mut self) -> Vec<Seen> {
        self.now = self.now + Duration::from_millis(20);
        let shown = self.plant.advance(self.now);
        shown.into_iter().map(|s| self.seen(s)).collect()
    }

    /// Where it rests four seconds after so much was set down, g.
    fn rests_g(&mut self, load_g: f64) -> f64 {
        self.plant.bear(self.now, load_g);
        let end = self.now + Duration::from_secs(4);
        let mut rest = None;
        while self.now < end {
            rest = self.moves_on().into_iter().filter_map(|(_, rest)| rest).next_back().or(rest);
        }
        rest.expect("it rests").g()
    }
}

fn facts(model: &ScaleModel) -> ScaleFacts {
    ScaleFacts {
        id: "invented".into(),
        step: Mass::saturating(model.step_g),
        noise: Mass::saturating(model.noise_g),
        lag: Duration::from_millis(300),
        lag_origin: Origin::Assumed,
    }
}

/// An invented set, each with this share of its mass as its limit of error, and what each truly weighs.
struct Set {
    masses: Vec<OwnMass>,
    true_share: f64,
}

impl Set {
    /// One set is set right by one standard: all are off alike, evenly likely up to the limit.
    fn of(grams: &[f64], limit_share: f64, dice: &mut Dice) -> Self {
        let told: Vec<MassRequest> = grams
            .iter()
            .map(|g| MassRequest {
                nominal_g: Some(*g),
                mpe_mg: Some(1e3 * limit_share * g),
                ..MassRequest::default()
            })
            .collect();
        Self {
            masses: OwnMass::set(&told, "masses").expect("a set"),
            true_share: 1.0 + limit_share * even(dice),
        }
    }
}

/// The whole routine; what it found, and how many seconds it took.
fn calibrated(bench: &mut Bench, set: &Set, parts: Parts, corners: [f64; 4]) -> (CalibrationRequest, f64) {
    let from = bench.now;
    match led(bench, set, parts, corners) {
        Outcome::Calibration { request, .. } => (*request, bench.now.seconds_from(from)),
        Outcome::Check { .. } => panic!("no check was asked for"),
    }
}

/// What came of the routine.
fn led(bench: &mut Bench, set: &Set, parts: Parts, corners: [f64; 4]) -> Outcome {
    let wish = Wish {
        masses: set.masses.clone(),
        parts,
        division_g: STEP_G,
        capacity_g: None,
        pour_g: None,
        drift_share: None,
        piece_g: None,
        room_c: None,
        operator: None,
    };
    let scale = facts(&ScaleModel::middling());
    let mut routine = Routine::new(wish, &scale).expect("a routine");
    let mut hand = Placer::new(bench.plant.seed(), corners);
    let from = bench.now;
    while bench.now < from + Duration::from_secs(7200) {
        let step = routine.poll_step();
        let place = step.ask.place().and_then(|p| Place::CORNERS.iter().position(|c| *c == p));
        let mass_g = step.mass.as_ref().map_or(0.0, |m| m.reference.mass_g * set.true_share);
        hand.handle_step(&mut bench.plant, step.done, step.ask.word(), mass_g, place);
        for (w, rest) in bench.moves_on() {
            if routine.handle_weighing(w, rest) {
                return routine.outcome().expect("it says that it is done").clone();
            }
        }
    }
    panic!("never done: {:?}", routine.poll_step());
}

/// Runs of each kind: `TAREBELL_RUNS` sets how many.
fn runs() -> u64 {
    std::env::var("TAREBELL_RUNS").ok().and_then(|n| n.parse().ok()).unwrap_or(100)
}

/// A scale, its routine with two masses, and a pour on it; how far the true weight lies off, in stated U (k = 2).
///
/// Drawn: span within 1 percent, evenly; the set within its limit, evenly, all alike; off the centre the routine's corners
/// within 0.05 percent, evenly, and the pour's place within half the greatest of them, evenly (cg-18 takes it so); noise of
/// a reading, normal; the digit by where the load happens to lie.
fn off(seed: u64, noise_g: f64) -> f64 {
    let mut dice = Dice(seed);
    let model = ScaleModel { noise_g, span: 1.0 + 0.01 * even(&mut dice), ..ScaleModel::middling() };
    let set = Set::of(&[50.0, 200.0], 5e-4, &mut dice);
    let corners = [(); 4].map(|()| 5e-4 * even(&mut dice));
    let mut bench = Bench::new(seed, model);
    let (request, _) = calibrated(&mut bench, &set, Parts::SHORT, corners);
    let found = report(&request).expect("a report");
    let most = corners.iter().fold(0.0_f64, |most, c| most.max(c.abs()));
    let placed = 1.0 + 0.5 * most * even(&mut dice);
    let (tare_g, net_g) = (250.0 + 100.0 * dice.unit(), 27.0 + 4.0 * dice.unit());
    let before_g = bench.rests_g(placed * tare_g);
    let after_g = bench.rests_g(placed * (tare_g + net_g));
    let told_g = found.corrected_g(after_g) - found.corrected_g(before_g);
    (told_g - net_g).abs() / (2.0 * found.net_u_g)
}

/// Of `TAREBELL_RUNS` runs how many lie within U, and within a quarter of it; on two threads, as the plant is slow.
fn shares(noise_g: f64, from_seed: u64) -> (f64, f64) {
    let n = runs();
    let half = move |odd: u64| {
        (0..n).filter(|i| i % 2 == odd).map(|i| off(from_seed + i, noise_g)).collect::<Vec<f64>>()
    };
    let other = std::thread::spawn(move || half(1));
    let all = [half(0), other.join().expect("a thread")].concat();
    let share = |most: f64| all.iter().filter(|off| **off <= most).count() as f64 / n as f64;
    let (within, quarter) = (share(1.0), share(0.25));
    println!(
        "noise {noise_g} g, seeds {from_seed} to {}: {:.2} % within U, {:.1} % within a quarter of it",
        from_seed + n - 1,
        100.0 * within,
        100.0 * quarter
    );
    (within, quarter)
}

#[test]
fn pours_after_the_routine_lie_within_the_stated_uncertainty_as_often_as_it_says() {
    // A spread below the step's own is never believed, and rest is a mean of readings, so that more than 95 percent lie within:
    // the lower bound is what has to hold. A hundred runs of 95 percent have a standard deviation of 2.2.
    let least = if runs() >= 2000 { 0.94 } else { 0.88 };
    for noise_g in [0.06, 0.01] {
        let (within, quarter) = shares(noise_g, 1000);
        assert!(within >= least, "noise {noise_g}: {within}");
        // Were U four times too small, that would be found.
        assert!(quarter < least, "noise {noise_g}: {quarter}");
    }
}

#[test]
fn two_weights_take_two_minutes_and_all_parts_half_an_hour() {
    let mut dice = Dice(5);
    let set = Set::of(&[50.0, 200.0], 5e-5, &mut dice);
    let mut bench = Bench::new(5, ScaleModel { span: 1.004, ..ScaleModel::middling() });
    let (request, took_s) = calibrated(&mut bench, &set, Parts::SHORT, [4e-4; 4]);
    println!("short: {took_s:.0} s");
    assert!(took_s < 120.0, "{took_s} s with a hand that takes about a second for each step");
    let found = report(&request).expect("a report");
    assert!((found.slope - 1.0 / 1.004).abs() < 6e-4, "{found:?}");
    assert!(found.eccentric_g.is_some_and(|g| (g - 0.08).abs() < 0.06), "{found:?}");
    let set = Set::of(&[30.0, 100.0, 300.0], 5e-5, &mut dice);
    let parts = Parts { lag: false, ..Parts::ALL };
    let mut bench = Bench::new(6, ScaleModel { span: 0.997, creep: 0.0005, ..ScaleModel::middling() });
    let (request, took_s) = calibrated(&mut bench, &set, parts, [0.0; 4]);
    println!("all but the lag: {took_s:.0} s");
    assert!(took_s < 1800.0, "{took_s}");
    // 300 g creep by 0.05 percent within some minutes; half of it is over before the first reading is taken, or hidden by the digit.
    assert!(request.creep_g.is_some_and(|g| (0.0..=0.25).contains(&g)), "{:?}", request.creep_g);
    let upon = request.points.iter().find(|p| p.position.is_some()).expect("a mass on a piece");
    assert_eq!((upon.nominal_g, upon.readings_g.len()), (30.0, 3));
    assert_eq!(request.repeat.as_ref().map(|r| r.readings_g.len()), Some(10));
    let found = report(&request).expect("a report");
    assert!((found.slope - 1.0 / 0.997).abs() < 1e-3, "{found:?}");
    assert!(found.hysteresis_g.is_some());
}

#[test]
fn how_late_the_scale_shows_is_one_more_step_of_the_routine() {
    let mut dice = Dice(3);
    let set = Set::of(&[200.0], 5e-5, &mut dice);
    let mut bench = Bench::new(3, ScaleModel::middling());
    let Outcome::Calibration { lag, .. } =
        led(&mut bench, &set, Parts { lag: true, ..Parts::default() }, [0.0; 4])
    else {
        panic!("a calibration")
    };
    let lag_s = lag.expect("a lag").lag.lag_s;
    println!("lag 0.3 s: {lag_s:.3} s");
    // This hand lifts over 0.2 s, 0.05 s more than is assumed: half of that is in what is found.
    assert!((lag_s - 0.3).abs() < 0.06, "{lag_s}");
}

#[test]
fn a_mass_that_is_not_the_one_asked_for_is_told_by_a_simulated_scale_too() {
    let mut dice = Dice(9);
    let set = Set::of(&[20.0, 50.0], 5e-5, &mut dice);
    let wish = Wish {
        masses: set.masses,
        parts: Parts::default(),
        division_g: STEP_G,
        capacity_g: None,
        pour_g: None,
        drift_share: None,
        piece_g: None,
        room_c: None,
        operator: None,
    };
    let model = ScaleModel { span: 1.03, ..ScaleModel::middling() };
    let mut routine = Routine::new(wish, &facts(&model)).expect("a routine");
    let mut bench = Bench::new(9, model);
    let watch = |bench: &mut Bench, routine: &mut Routine, load_g: f64| {
        bench.plant.bear(bench.now, load_g);
        let end = bench.now + Duration::from_secs(5);
        while bench.now < end {
            for (w, rest) in bench.moves_on() {
                routine.handle_weighing(w, rest);
            }
        }
        let step = routine.poll_step();
        (step.ask, step.amiss)
    };
    assert_eq!(watch(&mut bench, &mut routine, 0.0), (Ask::Put, None));
    assert_eq!(watch(&mut bench, &mut routine, 50.0), (Ask::Put, Some(Amiss::LooksLike(50.0))));
    assert_eq!(watch(&mut bench, &mut routine, 0.0).0, Ask::Put);
    assert_eq!(
        watch(&mut bench, &mut routine, 20.0),
        (Ask::Add, None),
        "a scale 3 percent off is not another mass"
    );
}
