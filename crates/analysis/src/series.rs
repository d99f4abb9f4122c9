//! One phase's motion as a series that detectors may rely on.
//!
//! Rows of the device that carry X and Y, in order, with times regularised: reports that were read in one wake-up
//! share a stamp, and those before the last had been waiting. They are spread backwards by the report interval, never
//! past the report before. Counts stay integers in the sensor's axes; the swipe's frame is applied on the way out.
//! Cost: one pass, 24 bytes a moving report of the phase.

use slipgauge_trace::Nanos;
use slipgauge_trace::recording::{DeviceTrace, PhaseSpan};

/// One report with motion fields.
#[derive(Clone, Copy, Debug)]
pub struct Sample {
    /// Regularised time, nanoseconds since the session's start.
    pub t: i64,
    /// Counts in the sensor's X.
    pub x: i32,
    /// Counts in the sensor's Y.
    pub y: i32,
    /// False for a report that had been waiting when it was read: its own arrival is not known.
    pub timed: bool,
    /// Reports that came since the sample before and moved nothing.
    pub idle_before: u32,
}

/// A phase's reports that moved something.
#[derive(Clone, Debug, Default)]
pub struct Series {
    /// Samples with x or y not zero, in order of time.
    pub samples: Vec<Sample>,
    /// Reports with motion fields, moving or not.
    pub reports: usize,
    /// Pairs of neighbouring reports that woke the reader separately and yet carry the same stamp.
    pub same_stamp: usize,
}

impl Series {
    /// Collects a phase. `interval` is the report interval, if known.
    pub fn of_phase(trace: &DeviceTrace, phase: &PhaseSpan, interval: Option<Nanos>) -> Series {
        let motion = &trace.motion;
        let mut series = Series::default();
        let mut latest = i64::MIN;
        let mut batch: Vec<Sample> = Vec::new();
        let (mut last_timed, mut idle) = (i64::MIN, 0u32);
        for row in motion.rows(phase.begin, phase.end) {
            if !trace.has_motion(row) {
                continue;
            }
            series.reports += 1;
            let (t, place) = (motion.received_ns[row], motion.place[row]);
            if place == 0 {
                latest = series.settle(&mut batch, latest, interval);
                series.same_stamp += usize::from(t == last_timed);
                last_timed = t;
            }
            let (x, y) = (motion.x[row], motion.y[row]);
            batch.push(Sample { t, x, y, timed: true, idle_before: idle });
            idle = if x == 0 && y == 0 { idle.saturating_add(1) } else { 0 };
        }
        series.settle(&mut batch, latest, interval);
        series
    }

    /// Spreads a batch backwards from its stamp and appends what moves; returns the time of its last report.
    fn settle(&mut self, batch: &mut Vec<Sample>, latest: i64, interval: Option<Nanos>) -> i64 {
        let Some(stamp) = batch.last().map(|s| s.t) else { return latest };
        let count = batch.len() as i64;
        if count > 1 {
            let room = stamp.saturating_sub(latest.max(stamp.saturating_sub(Nanos::SECOND.0)));
            let step = interval.map_or(0, |i| i.0).min(room / count);
            for (place, sample) in (0..count).zip(batch.iter_mut()) {
                sample.t = stamp - step * (count - 1 - place);
                sample.timed = false;
            }
        }
        self.samples.extend(batch.drain(..).filter(|s| s.x != 0 || s.y != 0));
        stamp
    }

    /// The series with nothing where a report holds more than a hand moves in the time since the one before, though a host
    /// was late with that by `slot` nanoseconds, and `fastest` counts a second: `None` if there is no such report.
    pub fn calm(&self, fastest: f64, slot: f64) -> Option<Series> {
        let mut last = None;
        let mut beyond = Vec::new();
        for (row, s) in self.samples.iter().enumerate() {
            let since = last.map_or(slot, |t| s.t.saturating_sub(t) as f64).max(slot) + slot;
            last = Some(s.t);
            if f64::from(s.x).hypot(f64::from(s.y)) > fastest * since * 1e-9 {
                beyond.push(row);
            }
        }
        if beyond.is_empty() {
            return None;
        }
        let mut calm = self.clone();
        for row in beyond {
            if let Some(s) = calm.samples.get_mut(row) {
                (s.x, s.y) = (0, 0);
            }
        }
        Some(calm)
    }

    /// True if stamps are too coarse for judging time: more than one in twenty separate wake-ups share a stamp, which
    /// a clock finer than the report interval cannot give.
    pub fn coarse_clock(&self) -> bool {
        self.same_stamp * 20 > self.reports
    }
}

/// Smallest magnitude, in counts, at which a report is taken to be due in every interval: at three counts per
/// interval a device that reports only when it has something to say has something to say.
pub const DUE: i64 = 3;

/// Report intervals in motion fast enough that every slot is used, in nanoseconds: both reports timed, of at least
/// [`DUE`] counts on the larger axis, and not further apart than `longest`.
pub fn fast_intervals(series: &Series, longest: Nanos) -> Vec<f64> {
    let due = |s: &Sample| s.timed && i64::from(s.x.unsigned_abs().max(s.y.unsigned_abs())) >= DUE;
    let pairs = series.samples.windows(2).filter(|pair| pair.iter().all(due));
    pairs
        .map(|pair| pair[1].t - pair[0].t)
        .filter(|&dt| dt > 0 && dt <= longest.0)
        .map(|dt| dt as f64)
        .collect()
}

/// Direction of travel in the sensor's axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Cosine of the angle from the sensor's X to the swipe's *out*.
    pub cos: f64,
    /// Sine of it.
    pub sin: f64,
}

impl Frame {
    /// The principal axis of displacements summed over windows of `window`: the direction in which the counts spread
    /// most, whatever their sign. The sign is that of the first window that moves a tenth of the largest. `None`
    /// without motion. Second moments about zero: a swipe and its return are alike.
    pub fn principal<'a>(series: impl IntoIterator<Item = &'a Series>, window: Nanos) -> Option<Frame> {
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        let mut sums: Vec<(f64, f64)> = Vec::new();
        for one in series {
            let mut slot = i64::MIN;
            for s in &one.samples {
                let now = s.t.div_euclid(window.0.max(1));
                if now != slot {
                    sums.push((0.0, 0.0));
                    slot = now;
                }
                if let Some(sum) = sums.last_mut() {
                    sum.0 += f64::from(s.x);
                    sum.1 += f64::from(s.y);
                }
            }
        }
        let mut largest = 0.0f64;
        for (x, y) in &sums {
            xx += x * x;
            xy += x * y;
            yy += y * y;
            largest = largest.max(x.hypot(*y));
        }
        if xx + yy <= 0.0 {
            return None;
        }
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
        let frame = Frame { cos: angle.cos(), sin: angle.sin() };
        let first = sums.iter().find(|(x, y)| x.hypot(*y) >= 0.1 * largest)?;
        let forward = frame.along(first.0, first.1) >= 0.0;
        Some(if forward { frame } else { Frame { cos: -frame.cos, sin: -frame.sin } })
    }

    /// Counts along the swipe.
    pub fn along(self, x: f64, y: f64) -> f64 {
        x * self.cos + y * self.sin
    }

    /// Counts across it, positive to the left of *out* in the sensor's axes.
    pub fn across(self, x: f64, y: f64) -> f64 {
        y * self.cos - x * self.sin
    }

    /// Both for one sample.
    pub fn of(self, s: &Sample) -> (f64, f64) {
        let (x, y) = (f64::from(s.x), f64::from(s.y));
        (self.along(x, y), self.across(x, y))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(points: &[(i64, i32, i32)]) -> Series {
        let samples =
            points.iter().map(|&(t, x, y)| Sample { t, x, y, timed: true, idle_before: 0 }).collect();
        Series { samples, reports: points.len(), same_stamp: 0 }
    }

    #[test]
    fn finds_the_direction_of_a_tilted_device_whatever_the_sign() {
        let out: Vec<_> = (0..50).map(|i| (i * 1_000_000, 4, 3)).collect();
        let back: Vec<_> = (50..100).map(|i| (i * 1_000_000, -4, -3)).collect();
        let frame = Frame::principal([&series(&[out, back].concat())], Nanos(20_000_000)).unwrap();
        assert!((frame.cos - 0.8).abs() < 1e-12 && (frame.sin - 0.6).abs() < 1e-12);
        let (along, across) = frame.of(&Sample { t: 0, x: 4, y: 3, timed: true, idle_before: 0 });
        assert!((along - 5.0).abs() < 1e-12 && across.abs() < 1e-12);
        assert_eq!(Frame::principal([&series(&[])], Nanos(1)), None);
    }
}
