//! When polls happen.
//!
//! The interval is nominal, times the clocks' disagreement, times a slow wander (an Ornstein-Uhlenbeck process: Gaussian,
//! with an exponential correlation), with every so-many-th one longer; each poll lies about its place with a jitter
//! that does not add up.

use super::Link;
use crate::noise::Noise;
use serde::{Deserialize, Serialize};

/// Slow change of the interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Wander {
    /// Standard deviation of the interval as a share of it.
    pub share: f64,
    /// Time over which it changes, in seconds.
    pub time_s: f64,
}

impl Default for Wander {
    fn default() -> Self {
        Wander { share: 0.0, time_s: 1.0 }
    }
}

/// Structure: every so-many-th interval is longer.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Stretch {
    /// Which: 8 for every eighth.
    pub every: u32,
    /// By how many nanoseconds.
    pub by_ns: i64,
}

/// The polls' clock at work.
pub(super) struct Clockwork {
    interval: f64,
    jitter: f64,
    stretch: Option<Stretch>,
    /// Share kept from interval to interval, size of the new part, and present value of the wander.
    wander: Option<(f64, f64, f64)>,
    noise: Noise,
    /// Place of the last poll without jitter.
    place: f64,
    last: i64,
    count: u32,
}

impl Clockwork {
    pub(super) fn new(model: &Link, mut noise: Noise) -> Clockwork {
        let interval = model.interval_ns as f64 * (1.0 + model.clock_error);
        let wander = (model.wander.share > 0.0).then(|| {
            let keep = libm::exp(-interval * 1e-9 / model.wander.time_s);
            (keep, model.wander.share * (1.0 - keep * keep).sqrt(), model.wander.share * noise.normal())
        });
        Clockwork {
            place: noise.uniform() * interval,
            interval,
            jitter: model.jitter_ns,
            stretch: model.stretch,
            wander,
            noise,
            last: -1,
            count: 0,
        }
    }

    pub(super) fn next_poll(&mut self) -> i64 {
        let mut step = self.interval;
        if let Some((keep, fresh, value)) = &mut self.wander {
            *value = *keep * *value + *fresh * self.noise.normal();
            step *= 1.0 + value.clamp(-0.9, 10.0);
        }
        if let Some(Stretch { every, by_ns }) = self.stretch {
            self.count += 1;
            if self.count >= every {
                self.count = 0;
                step += by_ns as f64;
            }
        }
        self.place += step;
        let jitter = if self.jitter > 0.0 { self.jitter * self.noise.bell() } else { 0.0 };
        self.last = ((self.place + jitter).round() as i64).max(self.last + 1);
        self.last
    }
}
