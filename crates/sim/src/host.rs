//! The host that records: when it notices a report, and on what clock.

use crate::noise::{Noise, Stream};
use serde::{Deserialize, Serialize};

/// A host.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Host {
    /// Least time from a report's arrival to its stamp, in nanoseconds.
    pub delay_ns: i64,
    /// Mean of the exponential part of that time, in nanoseconds.
    pub delay_spread_ns: f64,
}

impl Default for Host {
    /// A quiet desktop: 30 µs and 5 µs.
    fn default() -> Self {
        Host { delay_ns: 30_000, delay_spread_ns: 5_000.0 }
    }
}

/// A host at work, for one device.
pub(crate) struct HostState {
    model: Host,
    noise: Noise,
    wake: i64,
    place: u32,
}

impl HostState {
    pub(crate) fn new(model: &Host, seed: u64, device: usize) -> HostState {
        HostState {
            model: model.clone(),
            noise: Noise::new(seed, Stream::Host, device),
            wake: i64::MIN,
            place: 0,
        }
    }

    /// Stamp of a report that arrives at `t`, and its place in the batch.
    pub(crate) fn receive(&mut self, t: i64) -> (i64, u32) {
        if t <= self.wake {
            self.place += 1;
            return (self.wake, self.place);
        }
        let spread = if self.model.delay_spread_ns > 0.0 {
            self.noise.exponential(self.model.delay_spread_ns) as i64
        } else {
            0
        };
        (self.wake, self.place) = (t + self.model.delay_ns + spread, 0);
        (self.wake, 0)
    }
}
