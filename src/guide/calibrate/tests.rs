//! The routine's steps, with weights given by hand: what is said where something goes wrong, and that nothing is lost.

use super::*;
use crate::calibration::masses::MassRequest;
use crate::scale::Origin;

fn masses(grams: &[f64]) -> Vec<OwnMass> {
    let told: Vec<MassRequest> = grams
        .iter()
        .map(|g| MassRequest { nominal_g: Some(*g), mpe_mg: Some(5.0), ..MassRequest::default() })
        .collect();
    OwnMass::set(&told, "masses").unwrap()
}

fn wish(grams: &[f64], parts: Parts) -> Wish {
    Wish {
        masses: masses(grams),
        parts,
        division_g: 0.1,
        capacity_g: Some(2000.0),
        pour_g: None,
        drift_share: None,
        piece_g: None,
        room_c: Some(19.0),
        operator: None,
    }
}

fn facts() -> ScaleFacts {
    ScaleFacts {
        id: "invented".into(),
        step: Mass::saturating(0.1),
        noise: Mass::saturating(0.03),
        lag: Duration::from_millis(300),
        lag_origin: Origin::Assumed,
    }
}

/// A routine with its own clock: ten readings a second.
struct Pan {
    routine: Routine,
    t: f64,
    heard: Vec<Heard>,
}

impl Pan {
    fn new(grams: &[f64], parts: Parts) -> Self {
        Self { routine: Routine::new(wish(grams, parts), &facts()).unwrap(), t: 0.0, heard: Vec::new() }
    }

    fn shows(&mut self, grams: f64, rests: bool, for_s: f64) {
        let until = self.t + for_s;
        while self.t < until {
            let (at, mass) = (Instant::START.offset_seconds(self.t), Mass::saturating(grams));
            let w = Weighing { mass, arrived_at: at, taken_at: at };
            self.routine.handle_weighing(w, rests.then_some(mass));
            self.heard.extend(self.routine.poll_heard());
            self.t += 0.1;
        }
    }

    /// A hand moves, and then this lies still.
    fn rests(&mut self, grams: f64) -> &mut Self {
        self.shows(grams, false, 0.3);
        self.shows(grams, true, 2.2);
        self
    }

    /// What was heard since it was asked last.
    fn heard(&mut self) -> Vec<Heard> {
        std::mem::take(&mut self.heard)
    }

    fn asks(&self) -> Ask {
        self.routine.poll_step().ask
    }

    fn amiss(&self) -> Option<Amiss> {
        self.routine.poll_step().amiss
    }

    fn told(&self) -> CalibrationRequest {
        match self.routine.outcome().expect("an outcome") {
            Outcome::Calibration { request, .. } => (**request).clone(),
            Outcome::Check { .. } => panic!("a check"),
        }
    }
}

#[test]
fn two_weights_make_a_series_and_placements_in_as_many_steps_as_two_minutes_have_room_for() {
    let mut pan = Pan::new(&[200.0, 50.0], Parts::SHORT);
    let steps = pan.routine.poll_step().steps;
    assert!(steps <= 21, "{steps}: at some five seconds each");
    let mut asked = Vec::new();
    for grams in [0.3, 50.4, 251.3, 50.4, 0.3] {
        asked.push(pan.asks());
        pan.rests(grams);
    }
    assert_eq!(asked, [Ask::Empty, Ask::Put, Ask::Add, Ask::TakeOff, Ask::Off]);
    for shown in [201.2, 201.3, 201.2] {
        pan.rests(shown).rests(0.3);
    }
    // The middle and four corners.
    for shown in [201.2, 201.3, 201.2, 201.1, 201.2] {
        assert!(matches!(pan.asks(), Ask::Put | Ask::Move(_)), "{:?}", pan.routine.poll_step());
        pan.rests(shown).rests(0.3);
    }
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Done, None));
    let told = pan.told();
    let seen: Vec<_> =
        told.points.iter().map(|p| (p.nominal_g, p.direction.as_deref(), p.readings_g.clone())).collect();
    let wanted = [
        (0.0, None, vec![0.3; 9]),
        (50.0, Some("up"), vec![50.4]),
        (250.0, Some("up"), vec![251.3]),
        (50.0, Some("down"), vec![50.4]),
        (200.0, None, vec![201.2, 201.3, 201.2]),
    ];
    assert_eq!(seen, wanted);
    assert_eq!(told.points[4].base_readings_g, Some(vec![0.3; 3]), "what the pan showed before each");
    assert_eq!(told.corners.as_ref().map(|c| c.readings_g.clone()), Some(vec![201.0, 200.9, 200.8, 200.9]));
    let found = crate::calibration::report::report(&told).unwrap();
    assert!((found.slope - 1.0 / 1.0046).abs() < 1e-3, "{found:?}");
    assert!(found.offset_g.abs() < 0.1, "a zero of the day is no error: {found:?}");
}

#[test]
fn a_wrong_mass_is_told_by_what_it_looks_like_and_nothing_is_taken_for_it() {
    let mut pan = Pan::new(&[20.0, 50.0], Parts::default());
    pan.rests(0.0).rests(50.1);
    assert_eq!(
        (pan.asks(), pan.amiss()),
        (Ask::Put, Some(Amiss::LooksLike(50.0))),
        "one of the set, out of order"
    );
    pan.rests(0.0);
    assert_eq!(pan.amiss(), None, "it was taken off: nothing is amiss any more");
    pan.rests(100.2);
    assert_eq!(pan.amiss(), Some(Amiss::LooksLike(100.0)), "one that others have");
    pan.rests(0.0).rests(33.0);
    assert_eq!(pan.amiss(), Some(Amiss::Other));
    pan.rests(0.0).rests(20.0);
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Add, None));
    pan.rests(90.0);
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Add, Some(Amiss::Other)));
    pan.rests(70.0).rests(50.0);
    assert_eq!(
        (pan.asks(), pan.amiss()),
        (Ask::TakeOff, Some(Amiss::LooksLike(20.0))),
        "the other was taken off"
    );
    pan.rests(20.0);
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Off, None));
}

#[test]
fn a_light_mass_of_the_set_in_the_place_of_a_heavy_one_is_told_and_a_sleeve_is_not() {
    let mut pan = Pan::new(&[20.0, 200.0], Parts::default());
    pan.rests(0.0).rests(20.0).rests(220.0).rests(20.0).rests(0.0);
    assert_eq!(pan.asks(), Ask::Put);
    pan.rests(8.0);
    assert_eq!(pan.amiss(), None, "as little as a sleeve bears");
    pan.rests(20.1);
    assert_eq!(pan.amiss(), Some(Amiss::LooksLike(20.0)));
    pan.rests(0.0).rests(200.0);
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Off, None));
}

#[test]
fn a_zero_that_moved_has_its_group_done_again_and_what_was_read_before_stays() {
    let mut pan = Pan::new(&[200.0], Parts::default());
    pan.rests(0.0).rests(200.1).rests(0.0).rests(200.2);
    let before = pan.routine.poll_step().done;
    pan.rests(0.6);
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Put, Some(Amiss::ZeroMoved)));
    assert_eq!(pan.routine.poll_step().done, before - 1, "only the placement is done again");
    pan.rests(200.8).rests(0.6).rests(200.7).rests(0.6).rests(200.8).rests(0.6);
    let told = pan.told();
    let placed = told.points.last().unwrap();
    assert_eq!(
        (&placed.readings_g, &placed.base_readings_g),
        (&vec![200.8, 200.7, 200.8], &Some(vec![0.6; 3]))
    );
    assert_eq!(told.points[1].readings_g, [200.1], "the series of before");
}

#[test]
fn too_much_and_a_weight_that_never_rests_are_told_and_gone_on_from() {
    let mut pan = Pan::new(&[200.0], Parts::default());
    pan.rests(0.0);
    pan.routine.handle_overload();
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Put, Some(Amiss::TooMuch)));
    pan.rests(0.0);
    assert_eq!(pan.amiss(), None);
    pan.shows(199.0, false, 10.0);
    assert_eq!(pan.amiss(), None, "a late scale and a slow hand");
    pan.shows(199.0, false, 4.0);
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Put, Some(Amiss::Restless)));
    pan.rests(200.0);
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Off, None));
    let refused = Routine::new(wish(&[200.0, 3000.0], Parts::default()), &facts()).unwrap_err();
    assert!(refused.field == "masses[1].nominal_g" && refused.reason.contains("carries"), "{refused}");
    assert!(Routine::new(wish(&[0.5], Parts::default()), &facts()).is_err(), "under ten steps");
}

#[test]
fn a_pan_that_is_not_bare_at_first_is_told() {
    let mut pan = Pan::new(&[200.0], Parts::default());
    pan.rests(320.0);
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Empty, Some(Amiss::NotBare)));
    pan.rests(0.4).rests(200.4).rests(120.0);
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Off, Some(Amiss::NotBare)));
}

#[test]
fn a_small_mass_on_top_of_a_piece_is_told_with_the_piece_beneath_it() {
    let parts = Parts { on_piece: true, ..Parts::default() };
    let mut pan = Pan::new(&[30.0, 200.0], parts);
    pan.rests(0.0).rests(30.0).rests(230.1).rests(30.0).rests(0.0);
    for _ in 0..3 {
        pan.rests(200.1).rests(0.0);
    }
    assert_eq!(pan.asks(), Ask::Piece);
    pan.rests(60.0);
    assert_eq!(pan.amiss(), Some(Amiss::TooLight));
    pan.rests(311.5);
    for shown in [341.5, 341.6, 341.5] {
        assert_eq!(pan.asks(), Ask::OnTop);
        pan.rests(shown);
        assert_eq!(pan.asks(), Ask::TakeOff);
        pan.rests(311.5);
    }
    pan.rests(0.0);
    let told = pan.told();
    let upon = told.points.last().unwrap();
    assert_eq!((upon.nominal_g, &upon.readings_g), (30.0, &vec![341.5, 341.6, 341.5]));
    assert_eq!(upon.base_readings_g, Some(vec![311.5; 3]));
}

#[test]
fn a_load_left_lying_tells_its_creep_and_one_taken_off_too_soon_is_put_on_again() {
    let mut pan = Pan::new(&[300.0], Parts { creep: true, ..Parts::default() });
    pan.rests(0.0).rests(300.0).rests(0.0);
    for _ in 0..3 {
        pan.rests(300.0).rests(0.0);
    }
    pan.rests(300.0);
    assert_eq!(pan.asks(), Ask::Stay);
    pan.shows(300.0, true, 100.0);
    assert!(pan.routine.poll_step().seconds_left.is_some_and(|s| (150..250).contains(&s)));
    pan.rests(0.0);
    assert_eq!((pan.asks(), pan.amiss()), (Ask::Put, Some(Amiss::TakenOff)));
    pan.rests(300.0);
    pan.shows(300.2, true, 301.0);
    assert_eq!(pan.asks(), Ask::Off);
    pan.rests(0.1);
    let told = pan.told();
    assert_eq!((told.creep_g, told.zero_return_g), (Some(0.2), Some(0.1)));
}

#[test]
fn the_warm_up_ends_when_zero_and_span_are_steady() {
    let mut pan = Pan::new(&[200.0], Parts { warm_up: true, ..Parts::default() });
    pan.rests(0.0);
    for (zero, span) in [(0.3, 199.0), (0.6, 199.6), (0.7, 199.7)] {
        assert_eq!(pan.asks(), Ask::Put);
        pan.rests(zero + span).rests(zero);
        assert_eq!(pan.asks(), Ask::Wait);
        pan.shows(zero, true, 61.0);
    }
    assert_eq!(pan.asks(), Ask::Put, "a third round: it was not steady yet");
    pan.rests(200.4).rests(0.7);
    pan.shows(0.7, true, 61.0);
    let steps = pan.routine.poll_step();
    assert_eq!((steps.ask, steps.done), (Ask::Put, 4), "the series");
}

#[test]
fn a_check_asks_for_one_mass_for_ten_seconds() {
    let routine = Routine::check(wish(&[200.0], Parts::default())).unwrap();
    let mut pan = Pan { routine, t: 0.0, heard: Vec::new() };
    pan.rests(0.1).rests(200.3);
    assert_eq!(pan.asks(), Ask::Stay);
    pan.shows(200.3, true, 10.5);
    pan.rests(0.1);
    let Some(Outcome::Check { mass, shown_g, room_c }) = pan.routine.outcome() else {
        panic!("{:?}", pan.routine.poll_step())
    };
    assert!((mass.mass_g, *room_c) == (200.0, Some(19.0)) && (shown_g - 200.2).abs() < 1e-9);
}

#[test]
fn a_check_asks_for_the_heaviest_and_knows_a_lighter_one_of_the_set() {
    let routine = Routine::check(wish(&[20.0, 200.0], Parts::default())).unwrap();
    let mut pan = Pan { routine, t: 0.0, heard: Vec::new() };
    pan.rests(0.0).rests(20.0);
    assert_eq!(pan.amiss(), Some(Amiss::LooksLike(20.0)));
    pan.rests(0.0).rests(200.0).shows(200.0, true, 10.5);
    pan.rests(0.0);
    let Some(Outcome::Check { mass, .. }) = pan.routine.outcome() else {
        panic!("{:?}", pan.routine.poll_step())
    };
    assert_eq!(mass.mass_g, 200.0);
}

#[test]
fn each_step_is_heard_once_as_taken_wrong_again_or_over_and_nothing_else_is() {
    use Heard::{Again, Over, Taken, Wrong};
    let mut pan = Pan::new(&[200.0], Parts::default());
    pan.rests(0.0);
    assert_eq!(pan.heard(), [Taken]);
    pan.shows(0.0, true, 20.0);
    assert_eq!(pan.heard(), [], "nothing happens");
    pan.rests(500.0);
    pan.shows(500.0, true, 20.0);
    assert_eq!(pan.heard(), [Wrong], "said once, however long it lies there");
    pan.rests(0.0);
    assert_eq!(pan.heard(), [], "taken off, which says nothing new");
    pan.rests(350.0).rests(0.0);
    assert_eq!(pan.heard(), [Wrong], "another one that is wrong is said anew");
    pan.rests(200.1).rests(0.0).rests(200.2);
    assert_eq!(pan.heard(), [Taken; 3]);
    pan.rests(0.6);
    assert_eq!(pan.heard(), [Again], "the zero moved");
    pan.shows(199.0, false, 30.0);
    assert_eq!(pan.heard(), [Wrong], "it never comes to rest");
    pan.rests(200.8).rests(0.6).rests(200.7).rests(0.6).rests(200.8);
    assert_eq!(pan.heard(), [Taken; 5]);
    pan.rests(0.6);
    assert_eq!(pan.heard(), [Over]);
    pan.rests(0.0).rests(200.0);
    assert_eq!(pan.heard(), [], "it is over");
}

#[test]
fn more_than_the_scale_carries_is_heard_once_and_a_load_taken_off_too_soon_as_one_to_do_again() {
    let mut pan = Pan::new(&[200.0], Parts::default());
    let mut overload = || {
        pan.routine.handle_overload();
        pan.routine.poll_heard()
    };
    assert_eq!([overload(), overload()], [Some(Heard::Wrong), None]);
    let routine = Routine::check(wish(&[200.0], Parts::default())).unwrap();
    let mut pan = Pan { routine, t: 0.0, heard: Vec::new() };
    pan.rests(0.0).rests(200.0).rests(0.0);
    assert_eq!(pan.heard(), [Heard::Taken, Heard::Taken, Heard::Again]);
}
