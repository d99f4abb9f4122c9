//! Times when the host is held up.

use crate::noise::Noise;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Stalls of the host, as a Poisson process.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Stalls {
    /// Stalls a second, on the average.
    pub rate_hz: f64,
    /// Mean length in seconds; lengths are exponential.
    pub mean_s: f64,
    /// True if the recorder's watch notices them and writes them down.
    pub seen: bool,
}

impl Default for Stalls {
    fn default() -> Self {
        Stalls { rate_hz: 0.0, mean_s: 0.005, seen: true }
    }
}

/// The stalls so far and the next ones.
pub(crate) struct StallLog {
    model: Stalls,
    noise: Noise,
    /// Stalls in order of begin, drawn up to `drawn_to`, not yet over for the log.
    known: VecDeque<(i64, i64)>,
    drawn_to: i64,
}

impl StallLog {
    pub(super) fn new(model: &Stalls, noise: Noise) -> StallLog {
        StallLog { model: *model, noise, known: VecDeque::new(), drawn_to: 0 }
    }

    pub(super) fn add(&mut self, begin: i64, end: i64) {
        let place = self.known.partition_point(|stall| stall.0 <= begin);
        self.known.insert(place, (begin, end));
    }

    /// Draws stalls until one begins after `t`.
    fn draw_to(&mut self, t: i64) {
        while self.model.rate_hz > 0.0 && self.drawn_to <= t {
            let begin = self.drawn_to + self.noise.exponential(1e9 / self.model.rate_hz) as i64 + 1;
            let end = begin + self.noise.exponential(1e9 * self.model.mean_s) as i64;
            self.add(begin, end);
            self.drawn_to = begin;
        }
    }

    /// `t`, or the end of the stall that it lies in.
    pub(super) fn end_of_stall_at(&mut self, mut t: i64) -> i64 {
        self.draw_to(t);
        for &(begin, end) in &self.known {
            if (begin..end).contains(&t) {
                t = end;
            }
        }
        t
    }

    /// The first stall that is over at `t`. Ask at times that do not go back and lie before those still to be stamped.
    pub(super) fn take_over(&mut self, t: i64) -> Option<(i64, i64)> {
        self.draw_to(t);
        let over = self.known.front().is_some_and(|stall| stall.1 <= t);
        if over { self.known.pop_front() } else { None }
    }
}
