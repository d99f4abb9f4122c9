//! What one swipe's counts say of motion near an axis of the sensor. Knows no swipe but this one, and no verdict.
//!
//! In the sensor's own axes: *major* is the axis that the swipe mostly runs along, *minor* the other. Everything is told
//! as minor counts against major counts, so that speed does not enter. Minor counts are in steps of the device
//! ([`crate::quantum`]): a device that counts by fours tells a path to four counts only, and keeps the rest for later.

use crate::series::Sample;
use std::ops::Range;

/// Where starts, stops and the way to and from a straight edge are: nothing is looked for within this share of the travel
/// from either end. (A body that touches an edge bends its path abruptly, and along the edge it may lie truly on its axis.)
const ENDS: f64 = 0.1;
/// A stretch without minor counts is at least this share of the travel. A knock or a flaw of the edge may bend a path as
/// abruptly over some millimetres, not over these.
const LEAST_RUN: f64 = 0.05;
/// The flank beside it is at most this share of the stretch, so that it is not judged by a path from far away.
const FLANK: f64 = 0.5;
/// Minor counts that a flank holds at the least: fewer may be a knock.
const LEAST_COUNTS: f64 = 20.0;
/// And this many times as many as a smooth path may have there ([`smooth`]).
const MARGIN: f64 = 1.5;
/// Both are compared at equal speed: only reports whose speed is within this factor of the one between them. What thins
/// small counts out in slow motion (firmware that cuts off fractions) changes little over that range, and a rest or a
/// stop ends it.
const SAME_SPEED: f64 = 0.75;
/// Motion further from an axis than 30 degrees is sideways motion, and no straightening is that coarse.
const STEEPEST: f64 = 0.577;

/// Minor counts of a window in which a small slope is counted evenly...
const EVEN_COUNTS: i64 = 12;
/// ...with no gap in which more than this many were due. (At an even slope a gap holds one; a path whose slope doubles
/// over the window has gaps of up to 1.5. Where motion is bent now and then, and half of it is missing, whole counts of
/// the steep motion come in groups, with gaps of more.)
const LONGEST_GAP: f64 = 2.5;
/// A window is no longer than this share of the travel.
const LONGEST_WINDOW: f64 = 0.25;
/// Windows begin this often over the travel.
const WINDOWS: i64 = 64;

/// Minor counts in one report that are told apart, up to this less one.
pub(super) const VALUES: usize = 10;

/// Minor counts that vanish: a stretch without any beside a flank that is full of them.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Bend {
    /// Reports of the stretch.
    pub(super) run: Range<usize>,
    /// Reports of the flank.
    pub(super) flank: Range<usize>,
    /// Major counts of the stretch.
    pub(super) run_major: i64,
    /// Major counts of the flank.
    pub(super) flank_major: i64,
    /// Minor counts of the flank.
    pub(super) flank_minor: i64,
    /// Slope of the flank.
    pub(super) slope: f64,
}

/// One swipe.
#[derive(Clone, Debug, Default)]
pub(super) struct Look {
    /// The bend with the longest stretch, if any.
    pub(super) bend: Option<Bend>,
    /// Smallest slope that was counted evenly.
    pub(super) least: Option<f64>,
    /// True if the swipe ran along the sensor's X.
    pub(super) along_x: bool,
    /// Minor counts in a step.
    pub(super) grain: i32,
    /// Reports near the axis by how many steps of minor counts they hold.
    pub(super) values: [u32; VALUES],
    /// Reports near the axis without minor counts in which one step was due and more, at the slope of those that hold some.
    pub(super) none: u32,
    /// Reports by how many steps of major counts they hold.
    pub(super) major_values: [u32; VALUES],
}

/// Counts in a step of each axis.
#[derive(Clone, Copy, Debug)]
pub(super) struct Grain {
    pub(super) x: i32,
    pub(super) y: i32,
}

/// Sums up to and with each report.
struct Sums {
    major: Vec<i64>,
    minor: Vec<i64>,
}

/// Adds a report to those of as many steps.
fn tally(values: &mut [u32; VALUES], steps: i64) {
    let value = usize::try_from(steps.unsigned_abs()).unwrap_or(usize::MAX);
    values.iter_mut().skip(value).take(1).for_each(|n| *n = n.saturating_add(1));
}

/// Looks at a swipe's reports; `speed` in any unit, one a report.
pub(super) fn look(samples: &[Sample], speed: &[f64], grain: Grain) -> Look {
    let sum = |of: fn(&Sample) -> i32| samples.iter().map(|s| i64::from(of(s))).sum::<i64>();
    let (x, y) = (sum(|s| s.x), sum(|s| s.y));
    let along_x = x.unsigned_abs() >= y.unsigned_abs();
    let sign = if along_x { x.signum() } else { y.signum() };
    let (major_grain, grain) = if along_x { (grain.x, grain.y) } else { (grain.y, grain.x) };
    let (major_grain, steep) = (i64::from(major_grain.max(1)), STEEPEST / f64::from(grain.max(1)));
    // A part of a step is false motion, or a field's edge.
    let parts = |s: &Sample| -> (i64, i64) {
        let (major, minor) = if along_x { (s.x, s.y) } else { (s.y, s.x) };
        (sign * i64::from(major), i64::from(minor) / i64::from(grain.max(1)))
    };
    let counts: Vec<(i64, i64)> = samples.iter().map(parts).collect();
    let mut out = Look { along_x, grain, ..Look::default() };
    let total: i64 = counts.iter().map(|c| c.0).sum();
    if total <= 0 || speed.len() != samples.len() {
        return out;
    }
    let near =
        |&&(major, minor): &&(i64, i64)| (minor.unsigned_abs() as f64) < steep * major.unsigned_abs() as f64;
    counts.iter().filter(near).for_each(|c| tally(&mut out.values, c.1));
    counts.iter().for_each(|c| tally(&mut out.major_values, c.0 / major_grain));
    out.none = none(counts.iter().filter(near));
    let mut sums = Sums { major: Vec::with_capacity(counts.len()), minor: Vec::with_capacity(counts.len()) };
    let (mut major, mut minor) = (0i64, 0i64);
    for c in &counts {
        (major, minor) = (major.saturating_add(c.0), minor.saturating_add(c.1));
        sums.major.push(major);
        sums.minor.push(minor);
    }
    // Reports that lie wholly between the ends.
    let near = (ENDS * total as f64) as i64;
    let inside = |i: usize| sums.major[i] - counts[i].0 >= near && sums.major[i] <= total - near;
    let first = (0..counts.len()).find(|&i| inside(i));
    let last = (0..counts.len()).rev().find(|&i| inside(i));
    let (Some(first), Some(last)) = (first, last.map(|i| i + 1)) else { return out };
    out.bend = bend(&counts, speed, first..last, total, steep);
    out.least = least_even(&counts, &sums, first..last, total);
    // From steps back to counts.
    let grain = f64::from(grain.max(1));
    out.least = out.least.map(|slope| slope * grain);
    if let Some(bend) = &mut out.bend {
        bend.slope *= grain;
    }
    out
}

/// Reports without minor counts in which one was due and more, at the slope of those that hold some: who drops nothing and keeps
/// what is less than one for later makes none on a straight path.
fn none<'a>(counts: impl Iterator<Item = &'a (i64, i64)> + Clone) -> u32 {
    let (major, minor) = counts
        .clone()
        .filter(|c| c.1 != 0)
        .fold((0.0, 0.0), |sum, c| (sum.0 + c.0.unsigned_abs() as f64, sum.1 + c.1.unsigned_abs() as f64));
    let due = |c: &&(i64, i64)| c.1 == 0 && minor > 0.0 && c.0.unsigned_abs() as f64 * minor >= major;
    u32::try_from(counts.filter(due).count()).unwrap_or(u32::MAX)
}

/// Minor counts that a smooth path may have on a flank of `share` of the stretch's length.
///
/// Without minor counts it stays within half a count of a line over the stretch. A polynomial of degree n that does so
/// leaves it at x (−1 to 1 on the stretch) by at most ½ |Tₙ(x)|, since Chebyshev's polynomials grow fastest of all. Degree
/// 4, T₄(x) = 8 x⁴ − 8 x² + 1: a path that turns three times on stretch and flank. Rounding at the flank's end adds one.
/// By hand: 12.75 counts for a quarter, 49.5 for a half (degree 2: 2.75 and 4.5; degree 3: 5.5 and 14).
pub(super) fn smooth(share: f64) -> f64 {
    let square = (1.0 + 2.0 * share).powi(2);
    0.5 * (8.0 * square * (square - 1.0) + 1.0) + 1.0
}

/// The longest stretch without minor counts that has a full flank.
fn bend(counts: &[(i64, i64)], speed: &[f64], inside: Range<usize>, total: i64, steep: f64) -> Option<Bend> {
    let least = LEAST_RUN * total as f64;
    let mut best: Option<Bend> = None;
    let mut from = inside.start;
    while from < inside.end {
        let to = (from..inside.end).find(|&i| counts[i].1 != 0).unwrap_or(inside.end);
        let run: i64 = counts[from..to].iter().map(|c| c.0).sum();
        if run as f64 >= least {
            let after =
                Side { kink: to, run: (from..to).rev().collect(), beyond: (to..inside.end).collect() };
            let before = from.checked_sub(1).filter(|&kink| kink >= inside.start).map(|kink| Side {
                kink,
                run: (from..to).collect(),
                beyond: (inside.start..from).rev().collect(),
            });
            for side in before.into_iter().chain((to < inside.end).then_some(after)) {
                let found = side.bend(counts, speed, least, steep);
                let longer = |b: &Bend| best.as_ref().is_none_or(|old| b.run_major > old.run_major);
                if let Some(found) = found.filter(longer) {
                    best = Some(found);
                }
            }
        }
        from = to + 1;
    }
    best
}

/// A stretch and what lies beyond one end of it, both from that end outwards.
struct Side {
    /// The first report with minor counts.
    kink: usize,
    run: Vec<usize>,
    beyond: Vec<usize>,
}

impl Side {
    fn bend(&self, counts: &[(i64, i64)], speed: &[f64], least: f64, steep: f64) -> Option<Bend> {
        let at = speed[self.kink];
        if at.is_nan() || at <= 0.0 {
            return None;
        }
        let equal = |i: &&usize| speed[**i] >= SAME_SPEED * at && speed[**i] <= at / SAME_SPEED;
        let run: Vec<usize> = self.run.iter().take_while(equal).copied().collect();
        let run_major: i64 = run.iter().map(|&i| counts[i].0).sum();
        if (run_major as f64) < least {
            return None;
        }
        let (mut flank_major, mut flank_minor, mut most) = (0i64, 0i64, 0i64);
        for (n, &i) in self.beyond.iter().take_while(equal).enumerate() {
            let (major, minor) = counts[i];
            (flank_major, flank_minor) = (flank_major + major, flank_minor + minor);
            most = most.max(minor.abs());
            let share = flank_major as f64 / run_major as f64;
            if share > FLANK {
                return None;
            }
            let enough = LEAST_COUNTS.max(MARGIN * smooth(share));
            // A flow, and no lump in one report.
            let full = flank_minor.abs() as f64 >= enough && 2 * most <= flank_minor.abs();
            if full && flank_minor.abs() as f64 <= steep * flank_major as f64 {
                let span = |a: usize, b: usize| a.min(b)..a.max(b) + 1;
                let far = run.last().copied()?;
                return Some(Bend {
                    run: span(run.first().copied()?, far),
                    flank: span(self.kink, self.beyond.get(n).copied()?),
                    run_major,
                    flank_major,
                    flank_minor,
                    slope: flank_minor.abs() as f64 / flank_major.max(1) as f64,
                });
            }
        }
        None
    }
}

/// Smallest slope over a window of [`EVEN_COUNTS`] minor counts that come evenly.
fn least_even(counts: &[(i64, i64)], sums: &Sums, inside: Range<usize>, total: i64) -> Option<f64> {
    let stride = (total / WINDOWS).max(1);
    let longest = (LONGEST_WINDOW * total as f64) as i64;
    let mut best: Option<f64> = None;
    let mut next = i64::MIN;
    for from in inside.clone() {
        if sums.major[from] < next {
            continue;
        }
        next = sums.major[from].saturating_add(stride);
        let (mut gap, mut widest) = (0i64, 0i64);
        for (to, &(major, minor)) in counts.iter().enumerate().take(inside.end).skip(from + 1) {
            let (span, net) = (sums.major[to] - sums.major[from], sums.minor[to] - sums.minor[from]);
            if span > longest {
                break;
            }
            gap = if minor == 0 { gap + major.max(0) } else { 0 };
            widest = widest.max(gap);
            if net.abs() < EVEN_COUNTS {
                continue;
            }
            let slope = net.abs() as f64 / span.max(1) as f64;
            // Half-way between a quarter and three quarters.
            let middle = from + (to - from).div_ceil(2);
            let half = (sums.minor[middle] - sums.minor[from]) * net.signum();
            let even =
                widest as f64 * slope <= LONGEST_GAP && 4 * half >= net.abs() && 4 * half <= 3 * net.abs();
            if even && to - from >= 4 && best.is_none_or(|b| slope < b) {
                best = Some(slope);
            }
            break;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    const SINGLY: Grain = Grain { x: 1, y: 1 };

    /// Reports of `step` counts along the major axis, 8,000 in all, of a path whose minor place is `path` of the major.
    fn swipe(step: i32, path: impl Fn(f64) -> f64) -> Vec<Sample> {
        let mut last = 0;
        let reports = 1..=8000 / step;
        let sample = |i: i32| {
            let now = path(f64::from(i * step)).round() as i32;
            let y = now - last;
            last = now;
            Sample { t: i64::from(i) * 1_000_000, x: step, y, timed: true, idle_before: 0 }
        };
        reports.map(sample).collect()
    }

    fn even(samples: &[Sample]) -> Look {
        look(samples, &vec![1.0; samples.len()], SINGLY)
    }

    /// By hand: T₄(1.5) = 23.5, T₄(2) = 97.
    #[test]
    fn a_smooth_path_leaves_a_line_no_faster_than_chebyshevs_polynomial() {
        assert!((smooth(0.25) - 12.75).abs() < 1e-12 && (smooth(0.5) - 49.5).abs() < 1e-12);
        for step in [4, 20, 100] {
            for degree in [2.0, 3.0, 4.0] {
                // ½ Tₙ between 2,400 and 5,600 counts, and what it grows to on both sides of them.
                let path = |major: f64| {
                    let x: f64 = (major - 4000.0) / 1600.0;
                    let angle = if x.abs() <= 1.0 {
                        (degree * x.acos()).cos()
                    } else {
                        (degree * x.abs().acosh()).cosh()
                    };
                    0.499 * angle
                };
                assert_eq!(even(&swipe(step, path)).bend, None, "step {step}, degree {degree}");
            }
        }
    }

    #[test]
    fn a_kink_in_the_middle_is_a_bend_with_the_slope_beside_it() {
        for step in [4, 20, 100] {
            for turned in [false, true] {
                let path = |major: f64| {
                    0.1 * if turned { (4000.0 - major).max(0.0) } else { (major - 4000.0).max(0.0) }
                };
                let got = even(&swipe(step, path));
                let bend = got.bend.unwrap();
                assert!((bend.slope - 0.1).abs() < 0.02, "{bend:?}");
                assert!(bend.run_major >= 3000 && bend.flank_minor.abs() >= 20, "{bend:?}");
                assert!(got.least.is_none_or(|least| least > 0.08), "{:?}", got.least);
            }
        }
    }

    #[test]
    fn a_line_and_a_parabola_through_the_axis_are_counted_evenly() {
        let line = even(&swipe(20, |major| 0.02 * major));
        assert!(line.bend.is_none() && (line.least.unwrap() - 0.02).abs() < 0.002, "{line:?}");
        let parabola = even(&swipe(20, |major| 1e-5 * (major - 4000.0).powi(2)));
        assert!(parabola.bend.is_none() && parabola.least.unwrap() < 0.0349, "{parabola:?}");
        let axis = even(&swipe(20, |_| 0.0));
        assert_eq!((axis.bend, axis.least), (None, None));
    }

    /// The body slides along to a straight edge in the first tenth of the travel, or leaves it in the last.
    #[test]
    fn what_happens_at_the_stops_is_not_looked_at() {
        assert_eq!(even(&swipe(20, |major| 0.1 * (800.0 - major).max(0.0))).bend, None);
        assert_eq!(even(&swipe(20, |major| 0.1 * (major - 7200.0).max(0.0))).bend, None);
    }

    #[test]
    fn counts_that_vanish_in_slower_motion_are_no_bend() {
        let samples = swipe(20, |major| 0.1 * (major - 4000.0).max(0.0));
        let speed: Vec<f64> = (1..=400).map(|i| if i * 20 <= 4000 { 0.7 } else { 1.0 }).collect();
        assert_eq!(look(&samples, &speed, SINGLY).bend, None);
        assert!(look(&samples, &[1.0; 400], SINGLY).bend.is_some());
    }

    #[test]
    fn a_lump_sideways_is_no_flow() {
        assert_eq!(even(&swipe(20, |major| if major < 4000.0 { 0.0 } else { 60.0 })).bend, None);
    }

    #[test]
    fn nothing_panics_on_hostile_input() {
        let one = |x, y| Sample { t: i64::MAX, x, y, timed: true, idle_before: u32::MAX };
        let wild = [one(i32::MAX, i32::MIN), one(i32::MIN, i32::MIN), one(i32::MAX, 0), one(0, 0)];
        let many: Vec<Sample> = wild.iter().cycle().take(1000).copied().collect();
        for speed in [0.0, -1.0, f64::NAN, f64::INFINITY, 1.0] {
            look(&many, &vec![speed; many.len()], SINGLY);
            look(&many, &vec![speed; many.len()], Grain { x: 0, y: 16 });
        }
        look(&[], &[], SINGLY);
        look(&wild, &[1.0], SINGLY);
    }
}
