//! Reports held at a top value: what a report's field, or the firmware, could not hold.
//!
//! Not a family: the raw material of *report ceiling*, found before the expected motion, which must not trust clipped
//! counts.
//!
//! A swipe *holds* the top value of an axis if at least [`TOPS`] of its reports carry it, no two of them more than one
//! other report apart (frames may beat against reports, so that every other report holds less). The top value is that
//! of the axis over the whole session and no less than [`LEAST_TOP`]. Below the field's limit the run must also hide a
//! peak: its shoulders are too steep for a level as short as it is ([`hidden_rise`]). At least [`SWIPES`] swipes must
//! hold it: one swipe alone raises false alarms, since at constant speed a sound device repeats a delta. And they must
//! be most of the swipes that hold any level so: a sensor that repeats its last motion holds another level each time.
//! Cost: O(reports).

use crate::erratic::{HIDDEN, hidden_rise};
use crate::series::{Sample, Series};
use crate::swipes::Swipe;
use slipgauge_trace::recording::DeviceTrace;
use std::ops::Range;

/// Swipes that must hold the top value.
const SWIPES: usize = 3;
/// Reports that each must hold at it.
const TOPS: usize = 3;
/// A smaller top value is held by rounding alone.
const LEAST_TOP: i32 = 20;
/// Reports further apart than this many intervals do not belong to one run.
const CONTIGUOUS: f64 = 1.9;

/// An axis of the sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axis {
    /// The first.
    X,
    /// The second.
    Y,
}

impl Axis {
    fn of(self, s: &Sample) -> i32 {
        match self {
            Axis::X => s.x,
            Axis::Y => s.y,
        }
    }
}

/// A run at the top value in one swipe.
#[derive(Clone, Debug)]
pub struct Clip {
    /// The top value.
    pub top: i32,
    /// True if it is the limit of the descriptor or of the field.
    pub at_field: bool,
    /// Samples of the phase's series.
    pub rows: Range<usize>,
    /// Reports in it that hold the top value.
    pub tops: usize,
    /// Counts of the peak that it hides, by its shoulders.
    pub hidden: f64,
}

/// Searches all swipes of a step, given with their phase's series; one answer a swipe.
pub fn find(trace: &DeviceTrace, swipes: &[(&Series, &Swipe)], slot: f64) -> Vec<Option<Clip>> {
    let mut found: Vec<Option<Clip>> = vec![None; swipes.len()];
    for axis in [Axis::X, Axis::Y] {
        let Some(top) = top_value(trace, axis).filter(|&top| top >= LEAST_TOP) else { continue };
        let at_field = limit(trace, axis).is_some_and(|limit| i64::from(top) >= limit);
        let held = |(series, swipe): &(&Series, &Swipe)| {
            let samples = series.samples.get(swipe.rows.clone())?;
            let (run, tops) = run(samples, axis, top, slot)?;
            let counts: Vec<f64> = samples.iter().map(|s| f64::from(axis.of(s).saturating_abs())).collect();
            let smooth = smooth(&counts, &run);
            let rise = hidden_rise(&smooth, &run);
            let level = smooth.get(run.start).copied().unwrap_or(0.0);
            let clips = at_field || rise > HIDDEN.0.max(HIDDEN.1 * level);
            // Two thirds of the rise, over its length: the area under a parabola.
            let hidden = rise.max(0.0) * run.len() as f64 * 2.0 / 3.0;
            let rows = swipe.rows.start + run.start..swipe.rows.start + run.end;
            clips.then_some(Clip { top, at_field, rows, tops, hidden })
        };
        let clips: Vec<Option<Clip>> = swipes.iter().map(held).collect();
        let holding = clips.iter().flatten().count();
        let others = swipes.iter().zip(&clips).filter(|((series, swipe), clip)| {
            clip.is_none() && holds_another(&series.samples[swipe.rows.clone()], axis, top, slot)
        });
        if holding < SWIPES || (!at_field && others.count() * 2 > holding) {
            continue;
        }
        for (slot, clip) in found.iter_mut().zip(clips) {
            if slot.is_none() {
                *slot = clip;
            }
        }
    }
    found
}

/// The longest run at the top value with the number of reports that hold it.
fn run(samples: &[Sample], axis: Axis, top: i32, slot: f64) -> Option<(Range<usize>, usize)> {
    let mut best = (0..0, 0);
    let mut now: Option<(Range<usize>, usize)> = None;
    for (row, s) in samples.iter().enumerate() {
        let apart = row > 0 && (s.t - samples[row - 1].t) as f64 >= CONTIGUOUS * slot;
        if apart {
            now = None;
        }
        if axis.of(s).saturating_abs() < top {
            continue;
        }
        let (range, tops) = match now.take() {
            Some((range, tops)) if row - range.end <= 1 => (range.start..row + 1, tops + 1),
            _ => (row..row + 1, 1),
        };
        if tops > best.1 {
            best = (range.clone(), tops);
        }
        now = Some((range, tops));
    }
    (best.1 >= TOPS).then_some(best)
}

/// True if a swipe holds a level below the top, over a hidden peak, as long as a clip would.
fn holds_another(samples: &[Sample], axis: Axis, top: i32, slot: f64) -> bool {
    let own = samples.iter().map(|s| axis.of(s).saturating_abs()).max().unwrap_or(0);
    if own >= top || own < LEAST_TOP {
        return false;
    }
    let counts: Vec<f64> = samples.iter().map(|s| f64::from(axis.of(s).saturating_abs())).collect();
    run(samples, axis, own, slot).is_some_and(|(run, _)| {
        let smooth = smooth(&counts, &run);
        hidden_rise(&smooth, &run) > HIDDEN.0.max(HIDDEN.1 * f64::from(own))
    })
}

/// Counts with the run at its own mean and all else averaged over three reports, so that frames that beat against
/// reports make no shoulder.
fn smooth(counts: &[f64], run: &Range<usize>) -> Vec<f64> {
    let level = counts[run.clone()].iter().sum::<f64>() / run.len().max(1) as f64;
    let mean = |row: usize| {
        let near = &counts[row.saturating_sub(1)..(row + 2).min(counts.len())];
        near.iter().sum::<f64>() / near.len() as f64
    };
    (0..counts.len()).map(|row| if run.contains(&row) { level } else { mean(row) }).collect()
}

/// Largest magnitude on an axis that the descriptor or its field allows, by sign of the travel: the smaller one.
pub fn limit(trace: &DeviceTrace, axis: Axis) -> Option<i64> {
    let index = match axis {
        Axis::X => 0,
        Axis::Y => 1,
    };
    let limits = trace.formats.iter().filter_map(|f| {
        let (low, high) = f.limits?[index];
        let (field_low, field_high) = f.field_range?[index];
        // A descriptor that states no range at all leaves the field's own.
        let high = if high > 0 { i64::from(high).min(field_high) } else { field_high };
        let low =
            if low < 0 { i64::from(low).unsigned_abs().min(field_low.unsigned_abs()) } else { u64::MAX };
        Some(high.min(i64::try_from(low).unwrap_or(i64::MAX)))
    });
    limits.max()
}

/// Top value of an axis over the whole session.
fn top_value(trace: &DeviceTrace, axis: Axis) -> Option<i32> {
    let column = match axis {
        Axis::X => &trace.motion.x,
        Axis::Y => &trace.motion.y,
    };
    column.iter().map(|v| v.saturating_abs()).max()
}

/// Speed in m/s at which reports reach a top value: top × report rate / resolution. `slot` in nanoseconds.
pub fn ceiling_m_s(top: i32, slot: f64, counts_per_mm: f64) -> f64 {
    f64::from(top) / (slot * 1e-9) / counts_per_mm * 1e-3
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Top value × rate / resolution, recomputed: 127 at 125 Hz and 1600 counts/inch is 0.252 m/s (9.92 in/s), at 1 kHz
    /// and 400 counts/inch 8.065 m/s; 2047 at 125 Hz and 6400 counts/inch 1.016 m/s.
    #[test]
    fn ceilings_are_those_of_the_arithmetic() {
        let speed = |top, hz: f64, per_inch: f64| ceiling_m_s(top, 1e9 / hz, per_inch / 25.4);
        assert!((speed(127, 125.0, 1600.0) - 0.252).abs() < 5e-4);
        assert!((speed(127, 1000.0, 400.0) - 8.065).abs() < 5e-4);
        assert!((speed(2047, 125.0, 6400.0) - 1.016).abs() < 5e-4);
    }

    fn samples(x: &[i32]) -> Vec<Sample> {
        let one =
            |(i, &x): (usize, &i32)| Sample { t: i as i64 * 1_000_000, x, y: 0, timed: true, idle_before: 0 };
        x.iter().enumerate().map(one).collect()
    }

    #[test]
    fn a_run_may_miss_every_other_report_and_no_more() {
        let found = |x: &[i32]| run(&samples(x), Axis::X, 30, 1e6);
        assert_eq!(found(&[10, 30, 30, 30, 10]), Some((1..4, 3)));
        assert_eq!(found(&[10, 30, 26, 30, 26, 30, 10]), Some((1..6, 3)));
        assert_eq!(found(&[10, 30, 26, 26, 30, 26, 26, 30]), None);
        assert_eq!(found(&[30, 30, 10]), None);
    }
}
