//! Motion as it comes: is the device at rest, and which swipes of this phase are there.
//!
//! The swipes are found by the rules of the verdict (`analysis::swipes`) over the phase so far. Their scale is that of
//! the step's first swipes. Memory is bounded: [`MOST`] samples of a phase, and a second of motion.

use slipgauge_analysis::series::{DUE, Frame, Sample, Series, fast_intervals};
use slipgauge_analysis::swipes::{self, Swipe};
use slipgauge_trace::Nanos;
use std::collections::VecDeque;

/// Samples of a phase that are kept: four minutes of motion at 8 kHz, 48 MB.
const MOST: usize = 2_000_000;
/// Displacements are summed over this window to find the direction of travel, as the verdict does.
const WINDOW: Nanos = Nanos(20_000_000);
/// Longest rest that is asked about.
const REMEMBERED: i64 = 1_500_000_000;
/// What a device shows of itself at rest and no hand would: less than this, in millimetres.
const STILL_MM: f64 = 1.0;

/// Where the device went in the last second or so.
#[derive(Debug, Default)]
pub struct Rest {
    recent: VecDeque<(i64, i64, i64)>,
    place: (i64, i64),
    /// Time of the last report that moved.
    pub last_motion: Option<Nanos>,
}

impl Rest {
    /// Takes a report's motion.
    pub fn motion(&mut self, t: Nanos, x: i32, y: i32) {
        if (x, y) == (0, 0) {
            return;
        }
        self.recent.push_back((t.0, self.place.0, self.place.1));
        self.place = (self.place.0.saturating_add(x.into()), self.place.1.saturating_add(y.into()));
        self.last_motion = Some(t);
        while self.recent.front().is_some_and(|(old, ..)| t.0.saturating_sub(*old) > REMEMBERED) {
            self.recent.pop_front();
        }
    }

    /// Farthest that it was from where it is, since then, in counts.
    pub fn moved_since(&self, t: Nanos) -> f64 {
        let since = self.recent.iter().rev().take_while(|(then, ..)| *then >= t.0);
        since
            .map(|(_, x, y)| ((x - self.place.0) as f64).hypot((y - self.place.1) as f64))
            .fold(0.0, f64::max)
    }

    /// True if it has been at rest for `span`, but for what a device may do by itself.
    pub fn still(&self, now: Nanos, span: Nanos, counts_per_mm: f64) -> bool {
        self.moved_since(now - span) < (STILL_MM * counts_per_mm).max(8.0)
    }
}

/// The swipes of the phase that is under way.
#[derive(Debug, Default)]
pub struct Watch {
    series: Series,
    /// Samples when swipes were last looked for.
    looked: usize,
    /// Time in motion since the last swipe was placed.
    pub unplaced_motion: Nanos,
}

/// Longest gap between two reports that are one motion.
const ONE_MOTION: i64 = 60_000_000;

impl Watch {
    /// Takes a report's motion.
    pub fn motion(&mut self, t: Nanos, x: i32, y: i32) {
        self.series.reports += 1;
        if (x, y) == (0, 0) || self.series.samples.len() >= MOST {
            return;
        }
        if let Some(last) = self.series.samples.last() {
            let gap = t.0.saturating_sub(last.t);
            if gap < ONE_MOTION {
                self.unplaced_motion = self.unplaced_motion + Nanos(gap);
            }
        }
        self.series.samples.push(Sample { t: t.0, x, y, timed: true, idle_before: 0 });
    }

    /// True if there is motion that was not looked at.
    pub fn fresh(&self) -> bool {
        self.series.samples.len() > self.looked
    }

    /// Looks for the swipes so far. `travel` is one travel in counts, if known.
    pub fn swipes(&mut self, frame: Option<Frame>, travel: Option<f64>) -> Vec<Swipe> {
        self.looked = self.series.samples.len();
        let frame = frame.or_else(|| Frame::principal([&self.series], WINDOW));
        let Some(frame) = frame else { return Vec::new() };
        let travel = travel.or_else(|| swipes::largest_travel(&self.series, frame));
        travel.map_or_else(Vec::new, |travel| swipes::find(&self.series, frame, travel).swipes)
    }

    /// Direction of travel so far.
    pub fn frame(&self) -> Option<Frame> {
        Frame::principal([&self.series], WINDOW)
    }

    /// Typical time between reports in fast motion, in nanoseconds; `None` with too few.
    pub fn interval(&self) -> Option<f64> {
        let intervals = fast_intervals(&self.series, Nanos(20_000_000), DUE);
        (intervals.len() >= 20).then(|| slipgauge_analysis::stats::median(&intervals)).flatten()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_creep_is_rest_and_a_hand_is_not() {
        let mut rest = Rest::default();
        // One count every 20 ms at 32 counts a millimetre: 1.6 mm/s forth and back.
        for i in 0..100 {
            rest.motion(Nanos(i * 20_000_000), if i % 2 == 0 { 1 } else { -1 }, 0);
        }
        assert!(rest.still(Nanos(2_000_000_000), Nanos::SECOND, 31.5));
        for i in 0..100 {
            rest.motion(Nanos(2_000_000_000 + i * 1_000_000), 3, 0);
        }
        assert!(!rest.still(Nanos(2_500_000_000), Nanos::SECOND, 31.5));
        assert!(rest.still(Nanos(3_200_000_000), Nanos::SECOND, 31.5));
        assert!(rest.recent.len() <= 200);
    }
}
