//! What can be seen of the scale, in the snapshot's words.

use crate::frame::line::Counts;
use crate::page::view::ScaleView;
use crate::reading::Weighing;
use crate::time::{Duration, Instant};

/// Without a reading for this long the scale is stale.
const STALE: Duration = Duration::from_millis(800);

/// What the link last said.
#[derive(Default)]
enum Link {
    #[default]
    Searching,
    Up,
    Lost {
        reason: String,
        try_this: String,
    },
}

/// The scale as it was last seen.
#[derive(Default)]
pub(super) struct Sight {
    link: Link,
    last: Option<Weighing>,
    /// Bytes came since it was opened or since the last weight.
    heard: bool,
    settled: bool,
    range_trouble: Option<&'static str>,
}

impl Sight {
    pub(super) fn handle_up(&mut self) {
        self.link = Link::Up;
        self.heard = false;
    }

    /// Bytes came, whatever they say.
    pub(super) fn handle_bytes(&mut self) {
        self.heard = true;
    }

    pub(super) fn handle_down(&mut self, reason: String, try_this: String) {
        self.link = Link::Lost { reason, try_this };
    }

    pub(super) fn handle_weighing(&mut self, w: Weighing, settled: bool) {
        self.settled = settled;
        self.last = Some(w);
        self.heard = false;
        self.range_trouble = None;
    }

    pub(super) fn handle_out_of_range(&mut self, trouble: &'static str) {
        self.range_trouble = Some(trouble);
    }

    /// The scale's part of a snapshot; `slow` when readings come too slowly to guide a pour.
    pub(super) fn view(&self, now: Instant, counts: &Counts, slow: bool) -> ScaleView {
        let age = self.last.map(|w| now.since(w.arrived_at));
        let fresh = age.is_some_and(|a| a < STALE);
        let (state, trouble) = match &self.link {
            Link::Searching => ("searching", None),
            Link::Up if fresh => ("live", self.range_trouble.map(str::to_owned)),
            Link::Up => ("stale", Some(silent(self.heard, counts.skipped))),
            Link::Lost { reason, try_this } => ("lost", Some(format!("{reason}; {try_this}"))),
        };
        let slow = slow.then(|| {
            "under 4 readings a second: too slow, this version neither calls a stop nor logs a weight"
                .to_owned()
        });
        ScaleView {
            state,
            mass_g: self.last.map(|w| w.mass.g()),
            settled: self.settled && fresh,
            age_ms: age.map(|a| u64::try_from(a.as_millis()).unwrap_or(u64::MAX)),
            trouble: trouble.or(slow),
            readings: counts.readings,
            skipped: counts.skipped,
        }
    }
}

fn silent(heard: bool, skipped: u64) -> String {
    if heard && skipped == 0 {
        "bytes come, but no whole line of text: check baud rate and framing".to_owned()
    } else if heard {
        format!("no readable weight ({skipped} lines skipped): check baud rate, framing and line format")
    } else {
        "the port is open but the scale says nothing: switch it on, check its sending mode".to_owned()
    }
}
