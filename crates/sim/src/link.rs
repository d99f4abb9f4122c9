//! The link: when the host polls, and which reports get through.

use crate::fault::Missing;
use crate::noise::{Noise, Stream};
use serde::{Deserialize, Serialize};

/// A link.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Link {
    /// Nominal report interval in nanoseconds.
    pub interval_ns: i64,
    /// True interval over nominal, less one: the two clocks' disagreement.
    pub clock_error: f64,
}

impl Default for Link {
    /// 1 ms, 20 parts in a million fast.
    fn default() -> Self {
        Link { interval_ns: 1_000_000, clock_error: -20e-6 }
    }
}

/// What became of a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fate {
    Arrives,
    Misses(Missing),
}

/// A link at work.
pub(crate) struct LinkState {
    interval_ns: f64,
    begin: f64,
    slot: i64,
    forced: Option<(u32, Missing)>,
}

impl LinkState {
    pub(crate) fn new(model: &Link, seed: u64, device: usize) -> LinkState {
        let mut noise = Noise::new(seed, Stream::Link, device);
        let interval_ns = model.interval_ns as f64 * (1.0 + model.clock_error);
        LinkState { interval_ns, begin: noise.uniform() * interval_ns, slot: 0, forced: None }
    }

    /// Time of the next poll.
    pub(crate) fn next_poll(&mut self) -> i64 {
        self.slot += 1;
        (self.begin + self.slot as f64 * self.interval_ns).round() as i64
    }

    /// From now on so many reports miss.
    pub(crate) fn force(&mut self, reports: u32, counts: Missing) {
        self.forced = Some((reports, counts));
    }

    /// Decides the fate of a report.
    pub(crate) fn carry(&mut self) -> Fate {
        match &mut self.forced {
            Some((left, counts)) if *left > 0 => {
                *left -= 1;
                Fate::Misses(*counts)
            }
            _ => Fate::Arrives,
        }
    }
}
