//! The beat in which a scale takes its readings, found though a link delivers them unevenly and loses some.
//!
//! Arrivals lie about a line, one place of the beat after another. Which place a late reading has, or the next one after
//! a loss, is often not plain at once: all near ones are weighed against each other and against how often readings get
//! lost, and the line learns from a reading only when those after it have shown where it belongs (the most likely
//! path, after Viterbi 1967; the line by least squares that forget). What is said of the newest is the mean over its
//! places, each by its likelihood. While slop runs the weight tells too: between two readings it grows by what it grew of
//! late, or by twice that where one between them was lost.

use std::collections::VecDeque;

/// Arrivals from which a beat is looked for: six seconds of a usual scale.
const WINDOW: usize = 64;
/// After so many more it is looked for again.
const AGAIN: usize = 16;
/// Places weighed for each reading, and which of them is the line's own: one held back by two periods is still told.
const PLACES: usize = 5;
const OWN: i64 = 2;
/// A place is settled when so many readings came after it: each tells one place from the next better than 20 to 1
/// where the scatter is 0.4 of a period (derived from the normal law).
const LATER: usize = 8;
/// What the line forgets from reading to reading: a memory of a hundred (a guess; a clock drifts by far less).
const FORGET: f64 = 0.99;
/// No link is more even than this, s (a guess).
const LEAST_SD_S: f64 = 0.004;
/// With more of a period as scatter, or a greater share lost, any row of arrivals has a beat (tried on simulated links).
const MOST_SD: f64 = 0.45;
const MOST_LOST: f64 = 0.2;
/// Shares lost that count as none, and as the most.
const LOST: (f64, f64) = (0.01, 0.5);
/// Periods tried: from a little above the mean interval down to a quarter less, in steps of which each is off by a
/// third of a period at most at the window's end (derived).
const LONGEST: f64 = 1.02;
const FINER: f64 = 0.005;
const TRIED: usize = 49;
/// No scale that sends more often is read, s.
const LEAST_PERIOD_S: f64 = 1e-3;
/// The scatter that a trial begins with, as a share of the period.
const FIRST_SD: f64 = 0.3;
/// A reading this many standard deviations before the line is among the soonest of ten (normal law).
pub(super) const PROMPT_SDS: f64 = 1.3;
/// A line that is so young says nothing.
const YOUNG: u64 = 4;
/// Readings whose growth says what the next one adds.
const GROWTH: usize = 4;
/// How far one place's growth is off, as a share of it (a stream that begins or ends), and g (noise and a step of 0.1 g); guesses.
const UNLIKE: (f64, f64) = (0.2, 0.04);
/// What weight says of a place counts for so much at most, in nats: less than three arrivals.
const MOST_SAID: f64 = 6.0;
/// Places of a greater cost, in nats, have a likelihood of 0 in the arithmetic of a computer (exp(-745.2) is less than half
/// its least number).
const WEIGHS_NOTHING: f64 = 746.0;
/// Longer pauses end the row; scale and link stay what they were.
const PAUSE_S: f64 = 0.8;

/// Where arrivals lie: one at its place, the period, and both's variances in units of one reading's own.
#[derive(Clone, Copy, Debug)]
struct Line {
    place: i64,
    at_s: f64,
    period_s: f64,
    variance: [f64; 3],
}

impl Line {
    fn at_s(&self, place: i64) -> f64 {
        self.at_s + self.period_s * (place - self.place) as f64
    }

    fn nearest(&self, at_s: f64) -> i64 {
        self.place + ((at_s - self.at_s) / self.period_s).round() as i64
    }

    /// Goes on to this place and learns from the arrival there; how much later than the line it came, s.
    fn learn(&mut self, place: i64, at_s: f64) -> f64 {
        let n = (place - self.place) as f64;
        let [a, b, c] = self.variance;
        let [a, b, c] = [a + 2.0 * n * b + n * n * c, b + n * c, c].map(|v| v / FORGET);
        self.at_s = self.at_s(place);
        self.place = place;
        let late_s = at_s - self.at_s;
        let (gain, slope) = (a / (a + 1.0), b / (a + 1.0));
        self.at_s += gain * late_s;
        self.period_s = (self.period_s + slope * late_s).max(LEAST_PERIOD_S);
        self.variance = [a - gain * a, b - gain * b, c - slope * b];
        late_s
    }
}

/// An arrival, its first place, and for each place the least cost of a path there and where that came from.
#[derive(Clone, Copy, Debug)]
struct Seen {
    came: Came,
    first: i64,
    costs: [f64; PLACES],
    from: [usize; PLACES],
}

/// When a reading came, s, and the grams it showed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Came {
    pub(super) at_s: f64,
    pub(super) mass_g: Option<f64>,
}

/// What a place adds to the weight of late, g, and how far that is off.
#[derive(Clone, Copy, Debug, Default)]
struct Growth {
    each_g: f64,
    sd_g: f64,
}

impl Growth {
    /// The cost of having grown by so much over so many places.
    fn cost(&self, grown_g: f64, places: i64) -> f64 {
        if self.sd_g <= 0.0 {
            return 0.0;
        }
        let off = grown_g - self.each_g * places as f64;
        (0.5 * off * off / (self.sd_g * self.sd_g)).min(MOST_SAID)
    }
}

/// A beat that is followed.
#[derive(Clone, Debug)]
struct Track {
    line: Line,
    sd_s: f64,
    /// Readings lost for each that came.
    lost: f64,
    /// Logarithms of the odds that a reading comes, and that one is lost, their signs turned.
    comes: f64,
    loses: f64,
    seen: VecDeque<Seen>,
    settled: u64,
    last: Option<i64>,
}

impl Track {
    /// A beat from its first arrival on; `period_sd` is how well its period is known, in scatters of a reading.
    fn begin(came: Came, period_s: f64, period_sd: f64, sd_s: f64, lost: f64) -> Self {
        let line = Line { place: 0, at_s: came.at_s, period_s, variance: [1.0, 0.0, period_sd * period_sd] };
        let (seen, settled, last) = (VecDeque::with_capacity(LATER + 1), 0, None);
        let mut track = Self { line, sd_s, lost, comes: 0.0, loses: 0.0, seen, settled, last };
        track.weigh_losses();
        track.handle_arrival(came);
        track
    }

    fn loss(&self) -> f64 {
        self.lost / (1.0 + self.lost)
    }

    fn weigh_losses(&mut self) {
        let share = self.loss().clamp(LOST.0, LOST.1);
        (self.comes, self.loses) = (-(1.0 - share).ln(), -share.ln());
    }

    fn handle_arrival(&mut self, came: Came) {
        let first = self.line.nearest(came.at_s) - OWN;
        let (mut costs, mut from) = ([0.0; PLACES], [0; PLACES]);
        let ways = (first..).zip(self.ways_to(first, came));
        for ((place, (before, way)), (cost, from)) in ways.zip(costs.iter_mut().zip(&mut from)) {
            let late = (came.at_s - self.line.at_s(place)) / self.sd_s;
            (*cost, *from) = (before + 0.5 * late * late + self.comes, way);
        }
        let least = costs.iter().copied().fold(f64::INFINITY, f64::min);
        // No way there: a clock that stood. The row begins anew.
        costs = if least.is_finite() { costs.map(|cost| cost - least) } else { [0.0; PLACES] };
        self.seen.push_back(Seen { came, first, costs, from });
        if self.seen.len() > LATER {
            self.settle();
        }
    }

    /// For each place from `first` on the least cost of a path that it can follow on, and its place in the reading before.
    fn ways_to(&self, first: i64, came: Came) -> [(f64, usize); PLACES] {
        let Some(before) = self.seen.back() else { return [(0.0, 0); PLACES] };
        let growth = self.growth();
        let grown_g = came.mass_g.zip(before.came.mass_g).map(|(now, then)| now - then);
        // Between two readings so many places and more, whichever they have: each costs the same wherever it begins.
        let least = first - before.first - (PLACES as i64 - 1);
        let between: [(f64, f64); 2 * PLACES - 1] = std::array::from_fn(|i| {
            let places = least + i as i64;
            let weighed = grown_g.filter(|_| places > 0).map_or(0.0, |g| growth.cost(g, places));
            (self.loses * (places - 1) as f64, weighed)
        });
        let mut best = [(f64::INFINITY, 0); PLACES];
        for (place, best) in best.iter_mut().enumerate() {
            for (i, cost) in before.costs.iter().enumerate() {
                let n = place + PLACES - 1 - i;
                let (lost, weighed) = between[n];
                let cost = cost + lost + weighed;
                if least + n as i64 > 0 && cost < best.0 {
                    *best = (cost, i);
                }
            }
        }
        best
    }

    /// The likeliest of the newest reading's places.
    fn likeliest(&self) -> usize {
        let newest = self.seen.back().map_or([0.0; PLACES], |s| s.costs);
        (0..PLACES).min_by(|a, b| newest[*a].total_cmp(&newest[*b])).unwrap_or(0)
    }

    /// How the latest readings grew along the likeliest path; nothing said where one has no weight.
    fn growth(&self) -> Growth {
        let mut i = self.likeliest();
        let mut latest = [(0_i64, 0.0); GROWTH];
        let mut n = 0;
        for (seen, kept) in self.seen.iter().rev().zip(&mut latest) {
            let Some(mass_g) = seen.came.mass_g else { return Growth::default() };
            *kept = (seen.first + i as i64, mass_g);
            i = seen.from[i];
            n += 1;
        }
        if n < GROWTH {
            return Growth::default();
        }
        let places = (latest[0].0 - latest[GROWTH - 1].0).max(1) as f64;
        let each_g = (latest[0].1 - latest[GROWTH - 1].1) / places;
        let off = |w: &[(i64, f64)]| (w[0].1 - w[1].1 - each_g * (w[0].0 - w[1].0) as f64).powi(2);
        let uneven = latest.windows(2).map(off).sum::<f64>() / (GROWTH - 2) as f64;
        let least = (UNLIKE.0 * each_g).powi(2) + UNLIKE.1 * UNLIKE.1;
        Growth { each_g, sd_g: (uneven + least).sqrt() }
    }

    /// The oldest arrival has the place that the likeliest path gives it.
    fn settle(&mut self) {
        let mut i = self.likeliest();
        for later in self.seen.iter().skip(1).rev() {
            i = later.from[i];
        }
        let Some(oldest) = self.seen.pop_front() else { return };
        let place = oldest.first + i as i64;
        let late_s = self.line.learn(place, oldest.came.at_s);
        self.settled += 1;
        let gain = (1.0 / self.settled as f64).max(1.0 - FORGET);
        let variance = self.sd_s * self.sd_s;
        // One that is odd counts for three standard deviations.
        self.sd_s =
            (variance + gain * ((late_s * late_s).min(9.0 * variance) - variance)).sqrt().max(LEAST_SD_S);
        let gone = self.last.map_or(0, |last| (place - last - 1).clamp(0, 3));
        self.lost += gain * (gone as f64 - self.lost);
        self.last = Some(place);
        self.weigh_losses();
    }

    /// When the newest was taken, but for what all are late by, s.
    fn newest_s(&self) -> Option<f64> {
        let newest = self.seen.back().filter(|_| self.settled >= YOUNG)?;
        let (mut weights, mut sum_s) = (0.0, 0.0);
        for (place, cost) in (newest.first..).zip(newest.costs) {
            // Where this is nothing, `exp` takes ten times as long to say so.
            let weight = if cost > WEIGHS_NOTHING { 0.0 } else { (-cost).exp() };
            weights += weight;
            sum_s += weight * self.line.at_s(place);
        }
        // The likeliest has a cost of 0: the sum is 1 at least.
        Some(sum_s / weights)
    }

    fn fits(&self) -> bool {
        self.sd_s <= MOST_SD * self.line.period_s && self.loss() <= MOST_LOST
    }

    /// How badly it explains its arrivals: their scatter, and what it takes to say which were lost, in nats for each.
    fn strain(&self) -> f64 {
        let share = self.loss().clamp(LOST.0, LOST.1);
        let lost = -(share * share.ln() + (1.0 - share) * (1.0 - share).ln());
        (self.sd_s / self.line.period_s).ln() + lost
    }
}

/// What is known of a beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Found {
    pub(super) period_s: f64,
    /// Standard deviation of how late readings come.
    pub(super) sd_s: f64,
    /// Share of readings that never come.
    pub(super) loss: f64,
}

/// Arrivals to their places in a beat.
#[derive(Clone, Debug, Default)]
pub(super) struct Beat {
    window: VecDeque<Came>,
    track: Option<Track>,
    since: usize,
}

impl Beat {
    /// Takes when a reading arrived and what it showed, and says when the scale took it, but for what all are late by, where a
    /// beat is clear: the moment at which the soonest of ten would have arrived.
    pub(super) fn handle_arrival(&mut self, came: Came) -> Option<f64> {
        if self.window.back().is_some_and(|before| came.at_s - before.at_s > PAUSE_S) {
            self.go_on(came);
            return None;
        }
        self.window.push_back(came);
        if self.window.len() > WINDOW {
            self.window.pop_front();
        }
        if let Some(track) = &mut self.track {
            track.handle_arrival(came);
        }
        if !self.track.as_ref().is_some_and(Track::fits) {
            self.look();
        }
        let track = self.track.as_ref()?;
        track.newest_s().map(|newest_s| newest_s - PROMPT_SDS * track.sd_s)
    }

    /// After a pause the beat begins anew; its period, scatter and losses are the same.
    fn go_on(&mut self, came: Came) {
        self.window.clear();
        self.window.push_back(came);
        // The period to a ten-thousandth of a scatter: hundreds of readings have shown it.
        let same = |t: Track| Track::begin(came, t.line.period_s, 1e-4, t.sd_s, t.lost);
        self.track = self.track.take().map(same);
    }

    fn look(&mut self) {
        if self.track.take().is_some() {
            self.since = 0;
        }
        self.since += 1;
        if self.window.len() == WINDOW && self.since.is_multiple_of(AGAIN) {
            self.track = look_for(&self.window);
        }
    }

    pub(super) fn found(&self) -> Option<Found> {
        let track = self.track.as_ref().filter(|t| t.settled >= YOUNG)?;
        Some(Found { period_s: track.line.period_s, sd_s: track.sd_s, loss: track.loss() })
    }
}

/// The beat that explains these arrivals best, if one does.
fn look_for(window: &VecDeque<Came>) -> Option<Track> {
    let (first, last) = (*window.front()?, *window.back()?);
    let mean_s = (last.at_s - first.at_s) / window.len().saturating_sub(1).max(1) as f64;
    let trial = |i: usize| {
        let period_s = mean_s * (LONGEST - FINER * i as f64);
        let lost = (mean_s / period_s - 1.0).max(LOST.0);
        let mut track = Track::begin(first, period_s, FINER / FIRST_SD, FIRST_SD * period_s, lost);
        window.iter().skip(1).for_each(|came| track.handle_arrival(*came));
        track
    };
    let trials = (0..TRIED).filter(|_| mean_s > LEAST_PERIOD_S).map(trial);
    trials.min_by(|a, b| a.strain().total_cmp(&b.strain())).filter(Track::fits)
}
