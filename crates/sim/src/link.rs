//! The link: when the host polls, and which reports get through.

mod interval;
mod radio;

pub use interval::{Stretch, Wander};
pub use radio::{Interference, Radio};

use crate::fault::Missing;
use crate::noise::{Noise, Stream};
use interval::Clockwork;
use radio::RadioState;
use serde::{Deserialize, Serialize};

/// A link.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Link {
    /// Nominal report interval in nanoseconds: 8, 4, 2, 1, 0.5, 0.25 or 0.125 ms as a rule.
    pub interval_ns: i64,
    /// True interval over nominal, less one: the two clocks' disagreement.
    pub clock_error: f64,
    /// Standard deviation of each poll about its place, in nanoseconds.
    pub jitter_ns: f64,
    /// Slow change of the interval.
    pub wander: Wander,
    /// Structure in the interval.
    pub stretch: Option<Stretch>,
    /// Loss in bursts.
    pub radio: Option<Radio>,
    /// Loss at regular times.
    pub interference: Option<Interference>,
}

impl Default for Link {
    /// A cable polled every millisecond: clocks 20 parts in a million apart, 1 µs of jitter.
    fn default() -> Self {
        Link {
            interval_ns: 1_000_000,
            clock_error: -20e-6,
            jitter_ns: 1_000.0,
            wander: Wander::default(),
            stretch: None,
            radio: None,
            interference: None,
        }
    }
}

/// What became of a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fate {
    Arrives,
    Misses(Missing),
}

/// Reports that miss because somebody said so.
#[derive(Debug, Clone, Copy)]
enum Forced {
    Reports(u32, Missing),
    Until(i64),
}

/// A link at work.
pub(crate) struct LinkState {
    clockwork: Clockwork,
    radio: Option<RadioState>,
    interference: Option<Interference>,
    forced: Option<Forced>,
}

impl LinkState {
    pub(crate) fn new(model: &Link, seed: u64, device: usize) -> LinkState {
        LinkState {
            clockwork: Clockwork::new(model, Noise::new(seed, Stream::Link, device)),
            radio: model.radio.map(|radio| RadioState::new(radio, Noise::new(seed, Stream::Radio, device))),
            interference: model.interference,
            forced: None,
        }
    }

    /// Time of the next poll.
    pub(crate) fn next_poll(&mut self) -> i64 {
        let poll = self.clockwork.next_poll();
        if let Some(radio) = &mut self.radio {
            radio.slot();
        }
        poll
    }

    /// From now on so many reports miss.
    pub(crate) fn force(&mut self, reports: u32, counts: Missing) {
        self.forced = Some(Forced::Reports(reports, counts));
    }

    /// Nothing arrives until then.
    pub(crate) fn cut_until(&mut self, t: i64) {
        self.forced = Some(Forced::Until(t));
    }

    /// Decides the fate of a report at a poll.
    pub(crate) fn carry(&mut self, poll: i64) -> Fate {
        match &mut self.forced {
            Some(Forced::Reports(left, counts)) if *left > 0 => {
                *left -= 1;
                return Fate::Misses(*counts);
            }
            Some(Forced::Until(t)) if poll < *t => return Fate::Misses(Missing::Lost),
            _ => self.forced = None,
        }
        if let Some(counts) = self.interference.and_then(|i| i.hits(poll)) {
            return Fate::Misses(counts);
        }
        self.radio.as_mut().map_or(Fate::Arrives, RadioState::carry)
    }
}
