//! The host that records: when it notices a report, on what clock, and what it misses itself.
//!
//! A report is stamped when the reader wakes; those that came in the meantime lie in the same batch. While the host is
//! held up nothing is read; the kernel keeps a ring of reports, and what comes once it is full is lost (Linux, hidraw:
//! `HIDRAW_BUFFER_SIZE` is 64, and `hidraw_report_event` leaves one place free).

mod stalls;

pub use stalls::Stalls;

use crate::noise::{Noise, Stream};
use serde::{Deserialize, Serialize};
pub(crate) use stalls::StallLog;

/// A host.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Host {
    /// Least time from a report's arrival to its stamp, in nanoseconds.
    pub delay_ns: i64,
    /// Mean of the exponential part of that time, in nanoseconds.
    pub delay_spread_ns: f64,
    /// Resolution of the clock that stamps, in nanoseconds; 15,600,000 for a coarse one.
    pub resolution_ns: i64,
    /// Reports that the kernel keeps for a reader that is held up.
    pub ring: u32,
    /// True if the kernel's own stamp is recorded too.
    pub kernel_stamps: bool,
    /// Times when the host is held up.
    pub stalls: Stalls,
}

impl Default for Host {
    /// A quiet desktop: 30 µs and 5 µs, a clock of 1 ns, no stalls.
    fn default() -> Self {
        Host {
            delay_ns: 30_000,
            delay_spread_ns: 5_000.0,
            resolution_ns: 1,
            ring: 63,
            kernel_stamps: false,
            stalls: Stalls::default(),
        }
    }
}

/// What became of a report that arrived.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Received {
    /// Stamped, with its place in the batch and the kernel's own stamp.
    Stamped { t: i64, place: u32, kernel: Option<i64> },
    /// The ring was full. True for the first of a batch.
    Overrun { t: i64, first: bool },
}

/// A host at work, for one device.
pub(crate) struct HostState {
    model: Host,
    noise: Noise,
    stalls: StallLog,
    wake: i64,
    place: u32,
}

impl HostState {
    pub(crate) fn new(model: &Host, seed: u64, device: usize) -> HostState {
        HostState {
            model: model.clone(),
            noise: Noise::new(seed, Stream::Host, device),
            // One log for all devices: made from the same seed.
            stalls: StallLog::new(&model.stalls, Noise::new(seed, Stream::Stalls, 0)),
            wake: i64::MIN,
            place: 0,
        }
    }

    /// A time as the host's clock shows it.
    pub(crate) fn shown(&self, t: i64) -> i64 {
        t - t.rem_euclid(self.model.resolution_ns.max(1))
    }

    /// Holds the host up.
    pub(crate) fn stall(&mut self, begin: i64, length: i64) {
        self.stalls.add(begin, begin + length);
    }

    /// The next stall that is over at `t`, for the log.
    pub(crate) fn take_stall(&mut self, t: i64) -> Option<(i64, i64)> {
        self.stalls.take_over(t)
    }

    /// True if stalls are written to the session.
    pub(crate) fn stalls_are_seen(&self) -> bool {
        self.model.stalls.seen
    }

    /// Takes a report that arrives at `t`.
    pub(crate) fn receive(&mut self, t: i64) -> Received {
        if t > self.wake {
            let spread = match self.model.delay_spread_ns {
                mean if mean > 0.0 => self.noise.exponential(mean) as i64,
                _ => 0,
            };
            self.wake = self.stalls.end_of_stall_at(t + self.model.delay_ns + spread);
            self.place = 0;
        } else {
            self.place += 1;
        }
        let shown = self.shown(self.wake);
        if self.place >= self.model.ring {
            return Received::Overrun { t: shown, first: self.place == self.model.ring };
        }
        let kernel = self.model.kernel_stamps.then(|| self.shown(t));
        Received::Stamped { t: shown, place: self.place, kernel }
    }
}
