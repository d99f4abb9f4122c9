//! Reports held at a top value: what a report's field, or the firmware, could not hold.
//!
//! Not a family: the raw material of *report ceiling*, found before the expected motion, which must not trust clipped
//! counts. A ceiling is one number of counts to a report, the same in every swipe; so it is shown by all swipes together
//! first, and then found in each.
//!
//! The top value is that of an axis over the whole session, and no less than [`LEAST_TOP`] (or than [`SMALLEST_TOP`], if
//! counts are missing); both ways or else one way, if at least half as many swipes the other way go beyond it ([`FASTER`])
//! as hold it: a hand is as fast there; or else that of the step's reports that did not come after an empty slot, or the
//! one that all but a few keep: a link may hand on two in one ([`merged`]). It is a ceiling if at least [`SWIPES`] swipes
//! hold it, and most of those that hold any level so (a sensor that repeats its last motion, and a hand at a steady speed,
//! hold another level each time). One swipe alone raises false alarms, since at constant speed a sound device repeats a
//! delta. There are these ways to hold it, and any will do:
//!
//! - a run ([`hidden`]): [`TOPS`] reports, no two of them more than one other report apart, which hide a peak, by the slopes
//!   of their shoulders. (At the field's own limit no peak need be hidden.)
//! - a pile ([`pile`]): more reports at the top than the peak of a hand's motion could leave there, however they lie: a
//!   sensor's frames are whole, and at 2 kHz every fourth report holds one more, so that only those reach the ceiling.
//! - at a top of few counts: swipes that are short, or a plateau ([`plateau`]).
//!
//! Under a ceiling every swipe with [`TOPS`] reports at the top is clipped, unless more of them lie one count below it: a
//! peak that came just so far. (First written as runs alone, in each swipe for itself. Seen then: half of the clips at 0.98
//! of the peak missed, of which 2 to 12 mm were lost.) Cost: O(reports).

mod hidden;
mod merged;
mod pile;
mod plateau;

use crate::series::{DUE, Sample, Series};
use crate::stats::median;
use crate::swipes::Swipe;
use slipgauge_trace::recording::DeviceTrace;
use std::ops::Range;

/// Swipes that must hold the top value.
const SWIPES: usize = 3;
/// Reports that each must hold at it.
const TOPS: usize = 3;
/// A smaller top value is held by rounding alone: a count of it is more than a hand repeats its speed by ([`FASTER`]), so that
/// every swipe may reach it and none go beyond. It is a ceiling only if swipes that reach it lack [`SHORT`] of the travel, or run at
/// it for longer than a hand does ([`plateau`]).
const LEAST_TOP: i32 = 20;
/// And none below this: the widest look of [`pile`] must not reach down to rest.
const SMALLEST_TOP: i32 = 5;
/// More than arcs and yaw make of a travel: 3.4 % and 1.1 %.
const SHORT: f64 = 0.05;

/// What a ceiling cuts is the hand's own motion. So no ceiling is what one in so many of the swipes that hold it reach from a motion the
/// other way, or within 14 degrees of the other axis, over so many reports before. (Added after a sensor that sent one report
/// to a corner again and again had been told as a ceiling of the firmware.)
const AGAINST: usize = 4;
const ACROSS: f64 = 0.25;
const BEFORE: usize = 4;

/// A hand repeats the peak speed of fast swipes no better than to this share: what is as near to the top may be a peak that
/// came just so far.
const FASTER: f64 = 1.03;

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

/// Reports at the top value in one swipe.
#[derive(Clone, Debug)]
pub struct Clip {
    /// The top value.
    pub top: i32,
    /// True if it is the limit of the descriptor or of the field.
    pub at_field: bool,
    /// Samples of the phase's series, from the first report at the top to the last.
    pub rows: Range<usize>,
    /// Reports in it that hold the top value.
    pub tops: usize,
    /// Counts of the peak that it hides, by the shoulders of its longest run; 0 where they do not say.
    pub hidden: f64,
}

/// The top value of an axis over the whole session.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Top {
    axis: Axis,
    /// Its magnitude where counts are negative, and positive; `None` for a way that is not asked about.
    ends: (Option<i32>, Option<i32>),
}

impl Top {
    /// The one both ways, and then those of each way: firmware may hold what it adds up in one direction alone. Last the
    /// one of the reports that came in their own slots, if others hold more, and the one beyond which there are exceptions
    /// only.
    fn all(trace: &DeviceTrace, swipes: &[(&Series, &Swipe)], axis: Axis, slot: f64) -> Vec<Top> {
        let column = match axis {
            Axis::X => &trace.motion.x,
            Axis::Y => &trace.motion.y,
        };
        let low = column.iter().copied().min().unwrap_or(0).min(0).saturating_abs();
        let high = column.iter().copied().max().unwrap_or(0).max(0);
        let of_one = merged::top_of_one(swipes, axis, slot).filter(|top| top.0.max(top.1) < low.max(high));
        let ends = [Some(both_ways(low, high)), Some((Some(low), None)), Some((None, Some(high)))];
        let of_most = merged::top_of_most(swipes, axis, slot).map(|top| both_ways(top, top));
        let ends =
            ends.into_iter().chain([of_one.map(|(low, high)| both_ways(low, high)), of_most]).flatten();
        ends.map(|ends| Top { axis, ends }).filter(|top| top.value() >= SMALLEST_TOP).collect()
    }

    /// True if a swipe the other way, where only one is asked about, goes beyond it.
    fn is_passed(self, samples: &[Sample]) -> bool {
        let beyond =
            |s: &&Sample| f64::from(self.axis.of(s).saturating_abs()) > FASTER * f64::from(self.value());
        samples.iter().filter(beyond).count() >= TOPS
    }

    /// Counts in each report, at the most: the larger of both ways.
    fn value(self) -> i32 {
        self.ends.0.max(self.ends.1).unwrap_or(0)
    }

    /// The least level at which reports are held, and not rounded to.
    fn least(self) -> i32 {
        if self.is_small() { SMALLEST_TOP } else { LEAST_TOP }
    }

    fn is_small(self) -> bool {
        self.value() < LEAST_TOP
    }

    /// Counts by which a report lies below it; the most there are for one that holds more, and is two in one.
    fn depth(self, s: &Sample) -> i32 {
        let counts = self.axis.of(s);
        let end = if counts < 0 { self.ends.0 } else { self.ends.1 };
        let below = end.map(|end| end.saturating_sub(counts.saturating_abs()));
        below.filter(|below| *below >= 0).unwrap_or(i32::MAX)
    }
}

/// The ends of one ceiling for both ways, from the largest magnitude of each.
fn both_ways(low: i32, high: i32) -> (Option<i32>, Option<i32>) {
    // Two's complement holds one more below zero than above, 128 for 127; else the ceiling is the same both ways.
    let one_more = low.checked_sub(high) == Some(1) && low.unsigned_abs().is_power_of_two();
    let most = low.max(high);
    if one_more { (Some(low), Some(high)) } else { (Some(most), Some(most)) }
}

/// Searches all swipes of a step, given with their phase's series; one answer a swipe.
pub fn find(trace: &DeviceTrace, swipes: &[(&Series, &Swipe)], slot: f64) -> Vec<Option<Clip>> {
    let mut found: Vec<Option<Clip>> = vec![None; swipes.len()];
    let samples: Vec<&[Sample]> = swipes
        .iter()
        .map(|(series, swipe)| series.samples.get(swipe.rows.clone()).unwrap_or_default())
        .collect();
    let with_travel: Vec<(&[Sample], f64)> =
        samples.iter().zip(swipes).map(|(samples, (_, swipe))| (*samples, swipe.one_travel)).collect();
    for axis in [Axis::X, Axis::Y] {
        let limit = limit(trace, axis);
        let ceiling = Top::all(trace, swipes, axis, slot).into_iter().find_map(|top| {
            let at_field = limit.is_some_and(|limit| i64::from(top.value()) >= limit);
            let hidden: Vec<Option<f64>> =
                samples.iter().map(|samples| hidden::at_top(samples, top, at_field, slot)).collect();
            let one_way = top.ends.0.is_none() || top.ends.1.is_none();
            let passed = || samples.iter().filter(|s| top.is_passed(s)).count();
            let held = || samples.iter().filter(|s| clipped(s, top).is_some()).count();
            let against = || samples.iter().filter(|s| is_against(s, top)).count();
            let by_the_way_held = || {
                if top.is_small() && !is_lost_at(swipes, &samples, top) {
                    return plateau::is_ceiling(&with_travel, top);
                }
                by_runs(&samples, &hidden, top, at_field, slot) || pile::is_ceiling(&samples, top)
            };
            let shown = (!one_way || 2 * passed() >= held())
                && by_the_way_held()
                && AGAINST * against() < held().max(1);
            shown.then_some((top, at_field, hidden))
        });
        let Some((top, at_field, hidden)) = ceiling else { continue };
        for (((clip, (_, swipe)), samples), hidden) in found.iter_mut().zip(swipes).zip(&samples).zip(hidden)
        {
            if clip.is_none() {
                let lacks = top.is_small() && swipe.along <= (1.0 - SHORT) * swipe.one_travel;
                let own = clipped(samples, top).or_else(|| held(samples, top).filter(|_| lacks));
                *clip = own.map(|(rows, tops)| Clip {
                    top: top.value(),
                    at_field,
                    rows: swipe.rows.start + rows.start..swipe.rows.start + rows.end,
                    tops,
                    hidden: hidden.unwrap_or(0.0),
                });
            }
        }
    }
    found
}

/// True if a swipe moved another way before it first held the top: backwards on that axis, or nearly across it.
fn is_against(samples: &[Sample], top: Top) -> bool {
    let Some((rows, _)) = held(samples, top) else { return false };
    // Before it came near: frames that beat against reports leave most of what is held below the top.
    let near = |s: &Sample| 2 * i64::from(top.axis.of(s)).abs() >= i64::from(top.value());
    let first = samples.iter().position(near).unwrap_or(0);
    let before = samples.get(first.saturating_sub(BEFORE)..first).unwrap_or_default();
    let sum = |of: &dyn Fn(&Sample) -> i32| before.iter().map(|s| f64::from(of(s))).sum::<f64>();
    let (x, y) = (sum(&|s| s.x), sum(&|s| s.y));
    let own = if top.axis == Axis::X { x } else { y };
    let toward = own * samples.get(rows.start).map_or(0.0, |s| f64::from(top.axis.of(s)).signum());
    x.hypot(y) >= (BEFORE as i64 * DUE) as f64 && toward < ACROSS * x.hypot(y)
}

/// True if the swipes that clip at a small top are short, of a device that has counts for the level below it.
fn is_lost_at(swipes: &[(&Series, &Swipe)], samples: &[&[Sample]], top: Top) -> bool {
    let clip = swipes.iter().zip(samples).filter(|(_, samples)| clipped(samples, top).is_some());
    let lengths: Vec<f64> = clip.map(|((_, swipe), _)| swipe.along / swipe.one_travel).collect();
    let short = lengths.len() >= SWIPES && median(&lengths).is_some_and(|length| length <= 1.0 - SHORT);
    short && samples.iter().copied().flatten().filter(|s| top.depth(s) == 1).count() >= TOPS
}

/// True if enough swipes hold the top in a run, and not as many another level.
fn by_runs(samples: &[&[Sample]], hidden: &[Option<f64>], top: Top, at_field: bool, slot: f64) -> bool {
    let holding = hidden.iter().flatten().count();
    let others = samples
        .iter()
        .zip(hidden)
        .filter(|(samples, hidden)| hidden.is_none() && hidden::below_top(samples, top, slot));
    holding >= SWIPES && (at_field || others.count() * 2 <= holding)
}

/// From the first report at a ceiling to the last, and their number, if the swipe is clipped.
fn clipped(samples: &[Sample], top: Top) -> Option<(Range<usize>, usize)> {
    let below = samples.iter().filter(|s| top.depth(s) == 1).count();
    held(samples, top).filter(|(_, tops)| *tops >= below)
}

/// The same of a swipe whose peak may have come just so far: a count below a small top is a slower motion by much, and many
/// reports hold it on the way to the ceiling.
fn held(samples: &[Sample], top: Top) -> Option<(Range<usize>, usize)> {
    let at_top = |s: &Sample| top.depth(s) == 0;
    let tops = samples.iter().filter(|s| at_top(s)).count();
    let rows = samples.iter().position(at_top)?..samples.iter().rposition(at_top)? + 1;
    (tops >= TOPS).then_some((rows, tops))
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

    pub(super) fn samples(x: &[i32]) -> Vec<Sample> {
        let one =
            |(i, &x): (usize, &i32)| Sample { t: i as i64 * 1_000_000, x, y: 0, timed: true, idle_before: 0 };
        x.iter().enumerate().map(one).collect()
    }

    const TOP: Top = Top { axis: Axis::X, ends: (Some(31), Some(30)) };

    #[test]
    fn a_report_at_the_lower_end_of_twos_complement_is_at_the_top() {
        let depths: Vec<i32> = samples(&[30, 29, -31, -30, 0]).iter().map(|s| TOP.depth(s)).collect();
        assert_eq!(depths, [0, 1, 0, 1, 30]);
    }

    #[test]
    fn a_ceiling_is_reached_from_the_motion_it_cuts() {
        assert!(!is_against(&samples(&[4, 9, 17, 26, 30, 30, 30, 20]), TOP));
        assert!(is_against(&samples(&[4, 9, 17, 26, -31, -31, -31, -31, 20]), TOP), "backwards");
        assert!(!is_against(&samples(&[0, 1, 30, 30, 30, 9]), TOP), "too few counts before to say");
        let mut across = samples(&[1, 1, 0, 1, 30, 30, 30, 1]);
        across.iter_mut().for_each(|s| s.y = 25);
        assert!(is_against(&across, TOP), "across");
    }

    #[test]
    fn a_peak_that_came_just_so_far_is_not_clipped() {
        assert_eq!(clipped(&samples(&[10, 30, 26, 26, 30, 26, 26, 30, 9]), TOP), Some((1..8, 3)));
        assert_eq!(clipped(&samples(&[10, 29, 29, 30, 30, 30, 29, 29, 9]), TOP), None);
        assert_eq!(clipped(&samples(&[10, 30, 30, 9]), TOP), None);
    }
}
