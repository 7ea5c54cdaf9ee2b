//! The worst that can happen at the table: slop runs on and on while nothing is said. A rule for every scene and every
//! random cycle, and tests of that rule on made-up plays.
//!
//! It goes by what truly landed in a piece and by the cues that sounded, never by what is written down: a pour to three
//! times the target that is logged `over` is still one that nobody stopped.

use super::scenes::{judge, scene};
use tarebell::daemon::rehearsal::{Played, Said};
use tarebell::plant::Truth;
use tarebell::plant::scene::Scene;
use tarebell::pour::entry::{Cue, CueCall};
use tarebell::time::Instant;

/// Less than this in a second is the end of the dripping: the slowest jug of the random cycles pours 0.3 g/s.
const RUNS_G_S: f64 = 0.25;
/// What runs again after a longer pause is another stretch, which wants a cue of its own. Shorter ones lie between the
/// strokes of a bottle (0.4 s) and in a breath taken.
const PAUSE_S: f64 = 1.0;
/// A first cue may come so long after the upper limit was passed, beside the scale's own lag, and never has to come below
/// so many times the target, whichever is later. A `stop` in time sounds before the limit; where it is not seen coming (a
/// stream that is hurried, a hand that leans on the piece), the readings of a second are needed to tell a stream from a
/// touch, and half a second until one that is hidden shows. A hand that is told then still pours less than twice the target.
const FIRST: (f64, f64) = (1.5, 1.5);
/// `It comes again if slop runs on`: after a cue a slow hand tilts within 0.9 s (0.25 s, and 0.6 s where it does not attend),
/// the stream ends 0.5 s later, the slowest display shows that 0.7 s later, and a second and a half tells a climb from a
/// tail at five readings a second: 3.6 s, rounded up.
const AGAIN_S: f64 = 4.0;
/// What is less than so many steps of the display it can't tell from standing still.
const STEPS: f64 = 3.0;

/// A moment and the slop in the piece then, s and g.
type Moment = (f64, f64);

/// The pieces into which slop ran in silence, with words.
pub(crate) fn silent(scene: &Scene, played: &Played) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    for (i, truth) in played.truths.iter().enumerate() {
        let ear = Ear::of(scene, played, truth);
        if !ear.guided {
            continue;
        }
        let all = stretches(&truth.ran);
        if let Some((from, to)) = all.iter().find_map(|stretch| ear.silence(stretch)) {
            let what = format!(
                "piece {}: {:.1} g at {:.1} s, {:.1} g at {:.1} s, and nothing was said between",
                i + 1,
                from.1,
                from.0,
                to.1,
                to.0
            );
            found.push((i, what));
        }
    }
    found
}

/// Slop that runs without a pause.
fn stretches(ran: &[(Instant, f64)]) -> Vec<Vec<Moment>> {
    let mut all: Vec<Vec<Moment>> = Vec::new();
    let moments = ran.iter().map(|(at, g)| (at.seconds(), *g)).collect::<Vec<Moment>>();
    for pair in moments.windows(2) {
        let (before, now) = (pair[0], pair[1]);
        let after_s = now.0 - before.0;
        if after_s > PAUSE_S || now.1 - before.1 < RUNS_G_S * after_s {
            continue;
        }
        match all.last_mut().filter(|last| last.last().is_some_and(|(at, _)| now.0 - at <= PAUSE_S)) {
            Some(last) => last.push(now),
            None => all.push(vec![before, now]),
        }
    }
    all
}

/// The display's step under this piece, as the plant's grows coarser.
fn counts_in_g(scene: &Scene, played: &Played, truth: &Truth) -> f64 {
    let scale = scene.scale(&played.scale).expect("a scale of a known name");
    let coarser = match truth.bare_g + scene.target_g {
        load_g if !scale.step_grows || load_g < 500.0 => 1.0,
        load_g if load_g < 1000.0 => 2.0,
        _ => 5.0,
    };
    coarser * scale.step_g
}

/// README: the step must fit twice between the least and the most, else neither a stop nor a sure weight is promised.
pub(crate) fn guided(scene: &Scene, played: &Played, truth: &Truth) -> bool {
    counts_in_g(scene, played, truth) <= scene.tolerance_g
}

/// What is heard at the table, and what a piece's limits are.
struct Ear {
    guided: bool,
    high_g: f64,
    target_g: f64,
    lag_s: f64,
    least_g: f64,
    told: Vec<f64>,
    /// While no reading came, or a display stood, and a fault had said so.
    excused: Vec<(f64, f64)>,
}

impl Ear {
    fn of(scene: &Scene, played: &Played, truth: &Truth) -> Self {
        let scale = scene.scale(&played.scale).expect("a scale of a known name");
        let step_g = counts_in_g(scene, played, truth);
        let cues = |word: &[&str]| {
            let is = |said: &Said| match said {
                Said::Cue(at, cue) => word.contains(&cue.cue.word()).then(|| at.seconds()),
                Said::Step(..) | Said::Record(..) | Said::Dropped(..) | Said::VoidLast(_) | Said::Jug(..) => {
                    None
                }
            };
            played.said.iter().filter_map(is).collect::<Vec<f64>>()
        };
        let (faults, over) = (cues(&["fault"]), cues(&["clear", "ready"]));
        let excused = blind(played).into_iter().filter_map(|(from, to)| {
            let fault = faults.iter().copied().filter(|at| *at < to).fold(f64::NEG_INFINITY, f64::max);
            let stands = !over.iter().any(|at| *at > fault && *at < to);
            (stands && fault > f64::NEG_INFINITY).then_some((from.max(fault), to))
        });
        Self {
            guided: guided(scene, played, truth),
            high_g: scene.target_g + scene.tolerance_g,
            target_g: scene.target_g,
            lag_s: scale.lag() + scale.age_s + scale.period_s,
            // A display that holds counts in no finer steps than it holds.
            least_g: STEPS * step_g.max(scale.hold_g),
            told: cues(&["stop", "fault"]),
            excused: excused.collect(),
        }
    }

    /// From where to where it was silent for too long.
    fn silence(&self, stretch: &[Moment]) -> Option<(Moment, Moment)> {
        let (mut before_s, _) = *stretch.first()?;
        let (mut crossed, mut cued): (Option<Moment>, Option<Moment>) = (None, None);
        for now in stretch.iter().copied() {
            let heard = |at: &f64| *at > before_s && *at <= now.0;
            let excused = |(from, to): &(f64, f64)| (*from..*to).contains(&now.0);
            if self.told.iter().any(heard) || self.excused.iter().any(excused) {
                cued = Some(now);
            }
            before_s = now.0;
            if now.1 <= self.high_g {
                continue;
            }
            let crossing = *crossed.get_or_insert(now);
            let from = cued.filter(|cue| cue.0 > crossing.0).unwrap_or(crossing);
            let (for_s, g) = (now.0 - from.0, now.1 - from.1);
            let first = cued.is_none() && for_s > FIRST.0 + self.lag_s && now.1 > FIRST.1 * self.target_g;
            if g > self.least_g && (first || for_s > AGAIN_S) {
                return Some((from, now));
            }
        }
        None
    }
}

/// While no readings came, or the display stood: the engine can't know what runs then.
fn blind(played: &Played) -> Vec<(f64, f64)> {
    let span = |said: &Said| {
        let Said::Step(at, text) = said else { return None };
        let words: Vec<&str> = text.split_whitespace().collect();
        let words = if words.first() == Some(&"at") { &words[2..] } else { &words[..] };
        let [what, for_s] = words else { return None };
        let for_s: f64 = for_s.parse().ok()?;
        ["silence", "unplug", "freeze"].contains(what).then(|| (at.seconds(), at.seconds() + for_s))
    };
    played.said.iter().filter_map(span).collect()
}

/// A made-up play: slop runs from one time to another at so many grams a second, with these cues.
fn made_up(runs: &[(f64, f64, f64)], cues: &[(f64, Cue)], steps: &[(f64, &str)]) -> Played {
    let at = |s: f64| Instant::START.offset_seconds(s);
    let mut truth = Truth { bare_g: 312.0, landed: vec![at(1.0)], ..Truth::default() };
    for &(from, to, g_s) in runs {
        let n = ((to - from) * 10.0).round() as u32;
        for tenth in 0..=n {
            truth.net_g += if tenth > 0 { 0.1 * g_s } else { 0.0 };
            truth.ran.push((at(from + 0.1 * f64::from(tenth)), truth.net_g));
        }
    }
    truth.poured_g = truth.net_g;
    let call = |at, cue| CueCall { n: 1, cue, at, due: at, left: None, piece: 1, about: None };
    let cues = cues.iter().map(|&(s, cue)| Said::Cue(at(s), call(at(s), cue)));
    let steps = steps.iter().map(|&(s, text)| Said::Step(at(s), text.to_owned()));
    Played {
        scene: "made-up".to_owned(),
        scale: "usual".to_owned(),
        said: steps.chain(cues).collect(),
        truths: vec![truth],
        step_g: 0.1,
        moves: std::collections::BTreeSet::new(),
        whole: true,
    }
}

/// Whether a made-up play to 29 g, limits 27.5 and 30.5, breaks the rule.
fn breaks(runs: &[(f64, f64, f64)], cues: &[(f64, Cue)], steps: &[(f64, &str)]) -> bool {
    !silent(&scene("rest 1\n"), &made_up(runs, cues, steps)).is_empty()
}

#[test]
fn slop_that_runs_on_without_a_stop_or_a_fault_is_silence_and_with_one_it_is_not() {
    let runs = [(4.0, 14.0, 8.0)];
    assert!(breaks(&runs, &[], &[]));
    assert!(breaks(&runs, &[(2.0, Cue::Ready), (7.0, Cue::Approach), (7.2, Cue::Count)], &[]));
    for cue in [Cue::Stop, Cue::Fault] {
        assert!(!breaks(&[(4.0, 7.9, 8.0)], &[(7.3, cue)], &[]), "a pour to its stop");
        assert!(!breaks(&[(4.0, 9.0, 8.0)], &[(8.5, cue)], &[]), "late, and said all the same");
        assert!(breaks(&runs, &[(3.9, cue)], &[]), "before slop ran");
        assert!(breaks(&runs, &[(14.5, cue)], &[]), "after it had ended");
    }
}

#[test]
fn each_stretch_of_slop_wants_a_cue_of_its_own_and_a_breath_or_a_stroke_makes_none() {
    let stop = [(7.3, Cue::Stop)];
    assert!(breaks(&[(4.0, 7.9, 8.0), (10.0, 18.0, 3.0)], &stop, &[]), "into a good piece");
    assert!(!breaks(
        &[(4.0, 7.9, 8.0), (10.0, 18.0, 3.0)],
        &[stop[0], (12.0, Cue::Fault), (15.0, Cue::Stop)],
        &[]
    ));
    assert!(!breaks(&[(4.0, 7.2, 8.0), (8.0, 9.0, 8.0)], &stop, &[]), "a breath: told in the same pour");
    let strokes: Vec<_> =
        (0..40).map(|i| (4.0 + 0.8 * f64::from(i), 4.4 + 0.8 * f64::from(i), 8.0)).collect();
    assert!(breaks(&strokes, &[], &[]));
    assert!(!breaks(&strokes[..11], &[(11.5, Cue::Stop)], &[]));
}

#[test]
fn a_stop_that_is_not_heeded_comes_again_within_four_seconds() {
    let first = (7.3, Cue::Stop);
    assert!(breaks(&[(4.0, 16.0, 8.0)], &[first], &[]));
    assert!(!breaks(&[(4.0, 11.5, 8.0)], &[first], &[]));
    assert!(!breaks(&[(4.0, 16.0, 8.0)], &[first, (11.0, Cue::Stop), (14.0, Cue::Fault)], &[]));
    assert!(breaks(&[(4.0, 42.0, 1.0)], &[], &[]), "a trickle, long before half as much again");
    assert!(
        !breaks(&[(4.0, 38.0, 1.0), (40.0, 60.0, 0.1)], &[(34.0, Cue::Stop)], &[]),
        "what drips is no slop that runs"
    );
}

#[test]
fn while_the_scale_says_nothing_a_fault_that_stands_is_enough_and_no_longer() {
    let runs = [(4.0, 18.0, 4.0)];
    for what in ["at +2 silence 9", "unplug 9", "freeze 9"] {
        let steps = [(6.0, what)];
        assert!(breaks(&runs, &[], &steps), "{what}: nobody was told");
        assert!(!breaks(&runs, &[(6.8, Cue::Fault)], &steps), "{what}");
        assert!(breaks(&runs, &[(6.8, Cue::Fault), (8.0, Cue::Clear)], &steps), "{what}: said to be over");
        assert!(breaks(&[(4.0, 24.0, 4.0)], &[(6.8, Cue::Fault)], &steps), "{what}: readings came again");
    }
}

#[test]
fn where_no_stop_is_promised_none_is_wanted_and_the_rule_is_one_of_those_by_which_scenes_are_judged() {
    let of = |head: &str| {
        let text = format!("scales usual\ntarget 29 +- 1.5\nseed 7\n{head}rest 1\n");
        Scene::parse(&text, "a.scene").expect("a scene")
    };
    let played = made_up(&[(4.0, 14.0, 8.0)], &[], &[]);
    assert!(silent(&of("counts in 2\n"), &played).is_empty(), "too coarse for the limits: not guided");
    assert!(!silent(&of("counts in 1\n"), &played).is_empty());
    let kinds: Vec<_> = judge(&of(""), &played).into_iter().map(|(kind, ..)| kind).collect();
    assert!(kinds.contains(&super::scenes::Broken::Silent), "{kinds:?}");
}
