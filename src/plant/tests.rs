//! The plant as a whole: what is poured, felt and shown. Knows no cue logic.

use super::*;

fn steady() -> Table {
    Table { flow_wander: 0.0, flow_cv: 0.0, ..Table::default() }
}

fn at(seconds: f64) -> Instant {
    Instant::START.offset_seconds(seconds)
}

fn one_pour(seed: u64, person: Person) -> (Plant, Vec<Shown>) {
    let mut plant = Plant::new(seed, person, ScaleModel::middling(), Table::default());
    plant.place(at(1.0));
    plant.start_pour(at(4.0));
    let mut shown = plant.advance(at(7.0));
    plant.hear_stop(at(7.5));
    shown.extend(plant.advance(at(12.0)));
    (plant, shown)
}

#[test]
fn the_same_seed_gives_the_same_readings_and_another_seed_others() {
    let (_, first) = one_pour(42, Person::typical());
    let (_, again) = one_pour(42, Person::typical());
    let (_, other) = one_pour(43, Person::typical());
    assert!(first.len() > 100);
    assert_eq!(first, again);
    assert_ne!(first, other);
}

#[test]
fn it_does_not_matter_in_how_many_advances_time_passes() {
    let mut whole = Plant::new(3, Person::good(), ScaleModel::slow(), Table::default());
    let mut parts = whole.clone();
    for plant in [&mut whole, &mut parts] {
        plant.place(at(0.5));
        plant.start_pour(at(2.0));
        plant.lift(at(5.0));
    }
    let all = whole.advance(at(8.0));
    let mut pieced = Vec::new();
    let mut now = Instant::START;
    while now < at(8.0) {
        now = (now + Duration::from_micros(7_300)).min(at(8.0));
        let shown = parts.advance(now);
        assert!(shown.iter().all(|s| s.arrives_at <= now));
        pieced.extend(shown);
    }
    assert_eq!(all, pieced);
}

#[test]
fn while_the_stream_is_steady_the_pan_feels_what_left_the_jug() {
    // Momentum balance of a falling jet: landed + f v / g = landed + in air + f u0 / g.
    for seed in 0..20 {
        let mut plant = Plant::new(seed, Person::typical(), ScaleModel::fast(), steady());
        plant.place(at(1.0));
        plant.start_pour(at(3.0));
        plant.advance(at(4.0));
        for ms in 0..1500 {
            plant.advance(at(4.0 + f64::from(ms) / 1e3));
            let lip = plant.flow_g_s() * plant.lip_speed_m_s() / stream::GRAVITY;
            let gap = plant.apparent_net_g() - plant.left_jug_g() - lip;
            assert!(gap.abs() < 0.05, "{gap} for seed {seed}");
            assert!(plant.left_jug_g() - plant.true_net_g() > 0.3, "something must be in the air");
        }
    }
}

#[test]
fn after_the_stream_all_that_left_the_jug_has_landed_and_is_shown() {
    for seed in 0..10 {
        let (plant, shown) = one_pour(seed, Person::typical());
        assert!(plant.stream_ended());
        assert!((plant.true_net_g() - plant.left_jug_g()).abs() < 1e-9);
        let last = shown.last().unwrap().mass_g;
        assert!((last - plant.piece_g() - plant.true_net_g()).abs() < 0.2, "{last}");
    }
}

#[test]
fn a_tilt_back_adds_two_fifths_of_its_time_in_flow_and_the_drip() {
    let person = Person { tilt_cv: 0.0, drip_cv: 0.0, ..Person::typical() };
    let mut plant = Plant::new(1, person, ScaleModel::fast(), steady());
    plant.place(at(1.0));
    plant.start_pour(at(3.0));
    plant.advance(at(6.0));
    plant.hear_stop(at(6.0));
    plant.advance(at(6.0 + plant.reaction_s().unwrap()));
    let before = plant.left_jug_g();
    plant.advance(at(9.0));
    let more = plant.left_jug_g() - before;
    assert!((more - (0.4 * 0.2 * 8.0 + 0.3)).abs() < 0.02, "{more}");
}

#[test]
fn a_person_shifted_by_sixty_milliseconds_reacts_sixty_milliseconds_later() {
    for seed in 0..20 {
        let reaction = |person: Person| one_pour(seed, person).0.reaction_s().unwrap();
        let later = reaction(Person::typical().shifted(60.0)) - reaction(Person::typical());
        assert!((later - 0.060).abs() < 1e-9, "{later}");
    }
}

#[test]
fn reactions_have_the_mean_and_spread_of_their_presets() {
    for (person, mean_ms, sd_ms) in
        [(Person::good(), 176.0, 28.4), (Person::typical(), 210.0, 44.7), (Person::novice(), 250.0, 65.0)]
    {
        let mut chance = Chance::of(8, 0, 0);
        let all: Vec<f64> = (0..20_000).map(|_| person.reaction(&mut chance, 0.0, false) * 1e3).collect();
        let mean = all.iter().sum::<f64>() / 2e4;
        let sd = (all.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 2e4).sqrt();
        assert!((mean - mean_ms).abs() < 2.0 && (sd - sd_ms).abs() < 2.0, "{mean} {sd}");
    }
}

#[test]
fn a_second_stop_changes_nothing_and_a_stop_before_the_pour_is_not_heard() {
    let mut once = Plant::new(4, Person::typical(), ScaleModel::fast(), Table::default());
    once.place(at(1.0));
    once.start_pour(at(3.0));
    once.advance(at(2.0));
    once.hear_stop(at(2.0));
    once.advance(at(6.0));
    assert!(once.pouring());
    let mut twice = once.clone();
    once.hear_stop(at(6.0));
    twice.hear_stop(at(6.0));
    twice.hear_stop(at(6.05));
    assert_eq!(once.advance(at(9.0)), twice.advance(at(9.0)));
}

#[test]
fn a_person_who_eases_pours_at_half_flow_after_the_approach() {
    let mut plant = Plant::new(2, Person { eases: true, ..Person::typical() }, ScaleModel::fast(), steady());
    plant.place(at(1.0));
    plant.start_pour(at(3.0));
    plant.advance(at(4.0));
    assert!((plant.flow_g_s() - 8.0).abs() < 1e-9);
    plant.hear_approach(at(4.0));
    plant.advance(at(6.0));
    assert!((plant.flow_g_s() - 4.0).abs() < 1e-9);
}

#[test]
fn a_landing_overshoots_a_little_and_a_lift_leaves_the_pan_bare() {
    let mut plant = Plant::new(6, Person::typical(), ScaleModel::with_lag(0.01), Table::default());
    plant.place(at(1.0));
    let landing = plant.advance(at(4.0));
    let most = landing.iter().map(|s| s.mass_g).fold(0.0, f64::max);
    assert!(most > plant.piece_g() * 1.005 && most < plant.piece_g() * 1.05, "{most}");
    assert!((landing.last().unwrap().mass_g - plant.piece_g()).abs() < 0.2);
    plant.lift(at(4.0));
    assert!(plant.advance(at(6.0)).last().unwrap().mass_g.abs() < 0.2);
}

#[test]
fn a_lost_reading_is_missing_and_the_others_stay_as_they_were() {
    let run = |drop_p: f64| {
        let scale = ScaleModel { drop_p, jitter_s: 0.0, ..ScaleModel::middling() };
        Plant::new(5, Person::typical(), scale, Table::default()).advance(at(60.0))
    };
    let (all, some) = (run(0.0), run(0.05));
    assert!(some.len() < all.len() && some.len() > all.len() * 8 / 10);
    assert!(some.iter().all(|shown| all.contains(shown)));
}

#[test]
fn a_warning_makes_the_stop_sooner_only_for_whom_it_helps_and_only_in_time() {
    let reaction = |helps: bool, warned_s: f64| {
        let person = Person { warning_helps: helps, ..Person::typical() };
        let mut plant = Plant::new(12, person, ScaleModel::fast(), Table::default());
        plant.place(at(1.0));
        plant.start_pour(at(3.0));
        plant.advance(at(4.0));
        plant.hear_warning(at(6.0 - warned_s));
        assert!(plant.hear_stop(at(6.0)));
        plant.reaction_s().unwrap()
    };
    assert!(reaction(true, 0.6) < reaction(false, 0.6));
    assert_eq!(reaction(true, 1.6), reaction(false, 1.6));
}
