//! The speed of one swipe at the instant when its counts collapsed.
//!
//! Over the last [`WINDOW`] before the collapse the counted places along and across are fitted by cubics in time (speed
//! a quadratic, which a hand's rising flank is over 20 ms: the next term of a minimum-jerk swipe of 300 mm in 0.19 s is
//! worth 0.4 % at the edge). The last report holds the counts of a part of its interval: the instant of collapse is
//! where the fitted path reaches the last count, and the onset is the fitted path's speed there, both axes together,
//! since a sensor's limit knows no direction.
//!
//! *Sag*: whether counts had already thinned out before the end. A cubic through the places of [`FLANK`] foretells the
//! way of the [`SAG`] that follow; counted over foretold is 1 for a sensor that sees all of the motion until it sees
//! nothing. One swipe knows it to 2 to 3 % (a report holds one frame more or less: places scatter by half a frame), so
//! the caller takes many. Thinning that takes longer than the flank itself looks like a hand that brakes, and is not
//! seen.
//!
//! The window ends where a report is missing: counted places jump there. One that is stamped late is not missing, and the next
//! ones tell: they are not late. (First any interval of 1.6 slots ended it: at 8 kHz, where a reader is late by more than that in
//! one report of a hundred, some onsets rested on 2 ms of counts and came out by up to a fifth too high.)
//!
//! Assumes that reports before the collapse are whole. Cost: O(reports in the window).

use crate::series::{Frame, Sample};
use crate::stats::regression::{Fit, polynomial};

/// What is fitted, nanoseconds.
const WINDOW: i64 = 20_000_000;
/// The last part before the collapse, in which a sag would show, and the flank that foretells it, nanoseconds. Five to
/// one, since a cubic carries no further.
const SAG: i64 = 6_000_000;
/// See [`SAG`].
const FLANK: i64 = 30_000_000;
/// A peak is taken over this time, nanoseconds: the peak of a fast swipe falls by 0.2 % in it, and half a frame on
/// either side is worth 1 %.
const PEAK: f64 = 10e6;
/// Reports that a fit needs: twice its coefficients.
const LEAST: usize = 8;

/// A collapse as the counts show it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Onset {
    /// Speed at the collapse, counts per second.
    pub(crate) at: Option<f64>,
    /// Speed in the last report that was whole.
    pub(crate) low: f64,
    /// Speed that the flank leads to one interval after the last report that counted.
    pub(crate) high: f64,
    /// Counted in the last [`SAG`] over what was to be expected there.
    pub(crate) sag: Option<f64>,
    /// The instant, nanoseconds, and how much faster the counts were getting, counts per second squared.
    pub(crate) edge: Option<(f64, f64)>,
}

/// Looks at the reports of a swipe up to and with the last that counted. `slot` is the report interval, nanoseconds.
pub(crate) fn find(samples: &[Sample], frame: Frame, slot: f64) -> Option<Onset> {
    let (last, whole) = samples.split_last()?;
    let end = whole.last()?.t;
    let whole = back(whole, WINDOW, slot);
    let path = Path::of(whole, frame);
    let [.., a, b, c] = path.places.as_slice() else { return None };
    let speed = |a: &(i64, f64, f64), b: &(i64, f64, f64)| {
        (b.1 - a.1).hypot(b.2 - a.2) / (b.0.saturating_sub(a.0) as f64 * 1e-9)
    };
    let (before, low) = (speed(a, b), speed(b, c));
    // From the middle of the last whole interval to the latest instant of the collapse.
    let reach = 1.5 + last.t.saturating_sub(end) as f64 / slot.max(1.0);
    let high = low + reach.clamp(0.0, 3.0) * (low - before).max(0.0);
    if !low.is_finite() || !high.is_finite() {
        return None;
    }
    let mut onset = Onset { at: None, low, high, sag: None, edge: None };
    let b = c;
    let Some(fit) = path.fit(end) else { return Some(onset) };
    let (along, _) = frame.of(last);
    let sign = fit.speed(0.0).0.signum();
    let target = sign * (b.1 + along);
    // The collapse lies between the last whole report and one interval after the last that counted.
    let most = (last.t.saturating_sub(end) as f64 + slot).min(2.5 * slot).max(0.0) * 1e-9;
    let (mut early, mut late) = (0.0, most);
    for _ in 0..40 {
        let middle = 0.5 * (early + late);
        if sign * fit.place(middle) < target { early = middle } else { late = middle }
    }
    let (v, w) = fit.speed(late);
    let at = v.hypot(w);
    if !at.is_finite() {
        return Some(onset);
    }
    // One report alone is a poor measure where it holds few counts or few frames; the fit is a better one.
    let speed = |t: f64| {
        let (v, w) = fit.speed(t);
        v.hypot(w)
    };
    onset.at = Some(at);
    onset.low = speed(-0.5e-9 * slot).min(at);
    onset.high = speed(most).max(at);
    // The collapse may lie before the fit's own time.
    onset.edge = fit.slope(late).map(|slope| (end as f64 + 1e9 * late, slope));
    onset.sag = sag(back(whole, SAG + FLANK, slot), frame);
    Some(onset)
}

/// The last samples, over a time and no further back than the last place where a report is missing.
fn back(samples: &[Sample], over: i64, slot: f64) -> &[Sample] {
    let end = samples.last().map_or(0, |s| s.t);
    let within = |first: &usize| {
        let before = &samples[first - 1..];
        before.first().is_some_and(|s| end.saturating_sub(s.t) <= over) && !missing_after(before, slot)
    };
    let more = (1..samples.len()).rev().take_while(within).count();
    &samples[samples.len().saturating_sub(more + 1)..]
}

/// Reports that must stay late for one to be missing: if one stamp in a hundred is late by chance, three running are once in a
/// million.
const STAY_LATE: usize = 3;

/// True if a report is missing after the first: those that follow come an interval late, and none of them makes up for it.
fn missing_after(samples: &[Sample], slot: f64) -> bool {
    let Some((first, rest)) = samples.split_first() else { return false };
    let late = |(k, s): (usize, &Sample)| gap(first.t, s.t, slot) >= k as f64 + 1.6;
    !rest.is_empty() && rest.iter().take(STAY_LATE).enumerate().all(late)
}

fn gap(a: i64, b: i64, slot: f64) -> f64 {
    b.saturating_sub(a) as f64 / slot.max(1.0)
}

/// Counted over foretold way in the last [`SAG`].
fn sag(samples: &[Sample], frame: Frame) -> Option<f64> {
    let path = Path::of(samples, frame);
    let to = path.places.last()?;
    let cut = path.places.partition_point(|p| p.0 <= to.0.saturating_sub(SAG));
    let (early, late) = path.places.split_at_checked(cut)?;
    let from = early.last().filter(|_| late.len() > 1)?;
    let fit = Path { places: early.to_vec() }.fit(from.0)?;
    let begin = fit.place(0.0);
    // From the fitted place, not the counted one, which may be half a frame off.
    let ratio = (to.1 - begin) / (fit.place(to.0.saturating_sub(from.0) as f64 * 1e-9) - begin);
    Some(ratio).filter(|ratio| ratio.is_finite())
}

/// Counted places, summed up: (time, along, across).
struct Path {
    places: Vec<(i64, f64, f64)>,
}

impl Path {
    fn of(samples: &[Sample], frame: Frame) -> Path {
        let mut sum = (0.0, 0.0);
        let places = samples.iter().map(|s| {
            let (along, across) = frame.of(s);
            sum = (sum.0 + along, sum.1 + across);
            (s.t, sum.0, sum.1)
        });
        Path { places: places.collect() }
    }

    fn fit(&self, origin: i64) -> Option<PathFit> {
        if self.places.len() < LEAST {
            return None;
        }
        let t: Vec<f64> =
            self.places.iter().map(|p| p.0.saturating_sub(origin) as f64 / WINDOW as f64).collect();
        let fit = |value: fn(&(i64, f64, f64)) -> f64| {
            polynomial(&t, &self.places.iter().map(value).collect::<Vec<_>>(), 3)
        };
        Some(PathFit { along: fit(|p| p.1)?, across: fit(|p| p.2)? })
    }
}

/// Cubics along and across; times in seconds since their origin.
struct PathFit {
    along: Fit,
    across: Fit,
}

/// Seconds in the unit of time of a fit.
const UNIT: f64 = WINDOW as f64 * 1e-9;

impl PathFit {
    fn place(&self, seconds: f64) -> f64 {
        let x = seconds / UNIT;
        self.along.at(&[1.0, x, x * x, x * x * x]).0
    }

    /// How much faster it gets, per second squared.
    fn slope(&self, seconds: f64) -> Option<f64> {
        let x = seconds / UNIT;
        let row = [0.0, 0.0, 2.0, 6.0 * x];
        let (v, w) = self.speed(seconds);
        let (a, b) = (self.along.at(&row).0 / UNIT / UNIT, self.across.at(&row).0 / UNIT / UNIT);
        Some((v * a + w * b) / v.hypot(w)).filter(|slope| slope.is_finite())
    }

    fn speed(&self, seconds: f64) -> (f64, f64) {
        let x = seconds / UNIT;
        let row = [0.0, 1.0, 2.0 * x, 3.0 * x * x];
        (self.along.at(&row).0 / UNIT, self.across.at(&row).0 / UNIT)
    }
}

/// Fastest speed over some reports running, counts per second: over [`PEAK`], and at least two of them. Each stands for a slot,
/// however near their stamps are to each other.
pub(crate) fn fastest(samples: &[Sample], frame: Frame, slot: f64) -> f64 {
    let rows = ((PEAK / slot.max(1.0)).round() as usize).clamp(2, 200);
    let path = Path::of(samples, frame);
    let spans = path.places.windows(rows + 1).filter_map(|w| Some((w.first()?, w.last()?)));
    let dense = spans.filter(|(a, b)| gap(a.0, b.0, slot) < rows as f64 + 0.6 && b.0 > a.0);
    let seconds = |a: i64, b: i64| (b.saturating_sub(a) as f64).max(rows as f64 * slot) * 1e-9;
    let speeds = dense.map(|(a, b)| (b.1 - a.1).hypot(b.2 - a.2) / seconds(a.0, b.0));
    speeds.fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::super::hole::tests::swipe;
    use super::*;

    /// The hand had 1.35 m/s. A reader at 8 kHz is now and then late by more than half an interval.
    #[test]
    fn a_report_that_is_stamped_late_leaves_the_onset_as_it_is() {
        let samples = swipe(125_000, |_| 1.0);
        let hole = samples.windows(2).position(|w| w[1].t - w[0].t > 50_000_000).unwrap() + 1;
        let frame = Frame { cos: 1.0, sin: 0.0 };
        for back in 9..30 {
            let mut before = samples[..hole].to_vec();
            before[hole - back].t += 90_000;
            let at = find(&before, frame, 125e3).unwrap().at.unwrap() / 63e3;
            assert!((at / 1.35 - 1.0).abs() < 0.02, "{back}: {at}");
        }
    }

    /// 63 counts a millisecond; five reports come at once.
    #[test]
    fn reports_that_come_at_once_are_no_faster_than_their_slots() {
        let at = |i: i64| if (30..35).contains(&i) { 30_000_000 + i } else { i * 1_000_000 };
        let one = |i: i64| Sample { t: at(i), x: 63, y: 0, timed: true, idle_before: 0 };
        let samples: Vec<Sample> = (0..60).map(one).collect();
        let frame = Frame { cos: 1.0, sin: 0.0 };
        assert!((fastest(&samples, frame, 1e6) / 63e3 - 1.0).abs() < 1e-9);
        assert!((fastest(&samples[30..33], frame, 8e6) * 8e-3 / 63.0 - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_window_ends_where_a_report_is_missing_and_not_where_one_is_late() {
        let mut samples = swipe(1_000_000, |_| 1.0);
        samples.truncate(40);
        assert_eq!(back(&samples, WINDOW, 1e6).len(), 21);
        samples[30].t += 700_000;
        assert_eq!(back(&samples, WINDOW, 1e6).len(), 21);
        samples.remove(33);
        assert_eq!(back(&samples, WINDOW, 1e6).len(), 6);
        assert_eq!(back(&[], WINDOW, 1e6).len(), 0);
    }
}
