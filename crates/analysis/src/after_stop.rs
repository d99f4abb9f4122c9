//! Whether what a swipe counts too much came after the stop, or on the way.
//!
//! A gain that rises with speed spreads its surplus over the way, and ends with the hand; a device that goes on after the
//! stop has counted one travel by then, and what follows is no hand's. Three signs tell, each alone:
//! - *struck*: where one travel is full, within placing, the speed jumps as no hand changes it ([`FLICK_ACCELERATION`]
//!   and [`ROUNDING`]), by twice as much as anywhere before: that is the stop, and the surplus comes after it. Or up to [`EARLIER`]
//!   of the travel before that: the slow swipes, which say what one travel is, may have gone on as well;
//! - *steady*: the surplus runs at one speed to its end, within [`EVEN`], for [`LEAST_NS`] and more, though the hand had
//!   braked until then, by [`BRAKED`] times what the surplus can have slowed by. A hand that eases into the stop may be
//!   steady, too, but slower than [`AT_SPEED`] of its peak; there the speed must have been another one just before one travel
//!   was full;
//! - *again*: the speed has fallen to [`FALLEN`] of that of the surplus where one travel is full, and a report later it is that
//!   speed, and level to its end, by more than two reports' rounding. (Added for intervals of 8 ms, at which the surplus is but a few
//!   reports; the rounding since gains of 9 % had failed as carry-on at 0.125 ms, where reports of no count and of two came at once.)
//!
//! Assumes a surplus beyond placing, and of more than a bounce ([`BOUNCE_MM`]): with less, swipes of a gain of 1.8 % that
//! struck the stop hard were seen to be carry-on in 5 of 240 sessions. What fades from the speed that the hand arrived with
//! shows none: it looks like braking. Cost: O(reports).

use crate::erratic::FLICK_ACCELERATION;
use crate::false_motion::BOUNCE_MM;
use crate::series::Sample;
use crate::shortfall::Measure;
use crate::step::{PhaseView, StepView, SwipeView};
use crate::swipes::AT_SPEED;
use std::ops::Range;

/// Faster than this at the stop is motion, m/s; what a hand presses on or a pad gives is slower: five times what counts as
/// rest in [`crate::swipes`].
pub const FAST: f64 = 0.05;
/// Speeds are compared over so many nanoseconds and two reports at least: a strike is over within a millisecond.
const STRIKE_NS: f64 = 2e6;
/// Share of the travel that slow swipes have gone on by: what is more makes a resolution that nobody takes for the nominal. (Added after
/// motion that went on for 80 ms, by 10 mm in slow swipes and 50 in fast ones, had been told as a gain of 14 %.)
const EARLIER: f64 = 0.05;
/// Counts that two sums of reports differ by for rounding and the fractions carried on, each by one, and the noise of some.
const ROUNDING: f64 = 2.5;
/// Of the surplus four cells are compared, which differ by no more than this share and [`ROUNDING`]. Over 30 ms at 1 m/s
/// that is a hand that brakes by less than 4 m/s²; to stop from there within 30 mm takes 17.
const EVEN: f64 = 0.03;
const CELLS: usize = 4;
/// Share of the surplus's speed that the motion falls to before it sets in again.
const FALLEN: f64 = 0.25;
/// Reports that are then at one speed differ by no more than this share: one frame of ten and more.
const LEVEL: f64 = 0.1;
/// So many of them at least.
const LEAST_LEVEL: usize = 3;
/// Shorter than this a hand's braking does not show either.
const LEAST_NS: i64 = 15_000_000;
/// A hand that brakes goes on braking: no arm leaves off from one moment to the next, so that its last millimetres slow by
/// less than a third of what those before them did in the same time. (First the surplus had only to be even. Seen then: a
/// hand that eased into the stop slowed by a sixth within 160 counts, which is even within their rounding.)
const BRAKED: f64 = 3.0;
/// The speed before one travel was full was another one, if it differs by this share: what cells may differ by between
/// them, and more than twice that for a window as short as four reports.
const ANOTHER: f64 = 0.2;

/// The counts of a swipe that came last, as many as it has too much.
pub struct Tail<'a> {
    /// The swipe's reports.
    pub samples: &'a [Sample],
    /// Counts along in each of them, positive in the swipe's direction.
    pub along: Vec<f64>,
    /// The first of the tail.
    pub first: usize,
}

/// Such a tail by its time.
pub struct Halves {
    /// Where it begins and ends, nanoseconds.
    pub begin: i64,
    /// See above.
    pub end: i64,
    /// Counts in the first half of the time, and in the second.
    pub early: f64,
    /// See above.
    pub late: f64,
    /// Counts a second in the first half.
    pub at_the_stop: f64,
}

impl<'a> Tail<'a> {
    /// The tail of a swipe that is longer than one travel.
    pub fn of(phase: &'a PhaseView, view: &SwipeView) -> Option<Tail<'a>> {
        let (frame, swipe) = (phase.frame?, &view.swipe);
        let samples = phase.series.samples.get(swipe.rows.clone())?;
        let along = swipe.along(samples, frame);
        let first = (swipe.surplus > 0.0).then(|| last_counts(&along, swipe.surplus))??;
        Some(Tail { samples, along, first })
    }

    /// Its two halves in time. The first report's counts came since the one before it, a `slot` ago.
    pub fn halves(&self, slot: f64) -> Option<Halves> {
        let begin = self.samples.get(self.first)?.t.saturating_sub(slot as i64);
        let end = self.samples.last()?.t;
        let middle = begin.saturating_add(end.saturating_sub(begin) / 2);
        let (first, all) = (self.first, self.samples.len());
        let split = self.samples.partition_point(|s| s.t <= middle).max(first + 1).min(all);
        let early = self.counts(first..split);
        let seconds = self.samples.get(split - 1)?.t.saturating_sub(begin).max(1) as f64 * 1e-9;
        Some(Halves { begin, end, early, late: self.counts(split..all), at_the_stop: early / seconds })
    }

    /// Counts over some rows.
    fn counts(&self, rows: Range<usize>) -> f64 {
        self.along.get(rows).unwrap_or_default().iter().sum()
    }

    /// Reports over some rows, those that moved nothing as well.
    fn reports(&self, rows: Range<usize>) -> f64 {
        let rows = self.samples.get(rows).unwrap_or_default();
        rows.iter().map(|s| 1.0 + f64::from(s.idle_before)).sum()
    }

    /// Mean counts of a report over some rows.
    fn in_a_report(&self, rows: Range<usize>) -> f64 {
        self.counts(rows.clone()) / self.reports(rows).max(1.0)
    }

    /// The rows between which one travel is full, within placing, or so much earlier.
    fn full(&self, surplus: f64, placing: f64, earlier: f64) -> Option<(usize, usize)> {
        let reach = placing.min(0.5 * surplus);
        let from = last_counts(&self.along, surplus + reach + earlier)?;
        Some((from, last_counts(&self.along, surplus - reach)?))
    }

    /// True if the speed jumps where one travel is full, and by twice as much as anywhere before.
    fn struck(&self, surplus: f64, (placing, earlier): (f64, f64), per_mm: f64, slot: f64) -> bool {
        // By reports and not by their times: a host that is late with one makes no jump.
        let width = (STRIKE_NS / slot).ceil().max(2.0);
        let rows = width as usize;
        let Some((from, to)) = self.full(surplus, placing, earlier) else { return false };
        let jump = |i: usize| (self.in_a_report(i..i + rows) - self.in_a_report(i - rows..i)).abs() * width;
        let largest = |range: Range<usize>| range.map(jump).fold(0.0, f64::max);
        let last = self.along.len().saturating_sub(rows);
        let here = largest(from.max(rows)..(to + 1).min(last));
        let before = largest(rows..from.saturating_sub(rows).min(last));
        let hand = FLICK_ACCELERATION * 1e3 * per_mm * (width * slot * 1e-9).powi(2);
        here > hand + ROUNDING && here > 2.0 * before
    }

    /// True if the motion had nearly ended where one travel is full, and sets in again at one speed.
    fn again(&self, surplus: f64, placing: f64) -> bool {
        let Some((from, to)) = self.full(surplus, placing, 0.0) else { return false };
        let speed = |row: usize| self.in_a_report(row..row + 1);
        let last = self.along.len().saturating_sub(1);
        let near = from.saturating_sub(1)..(to + 2).min(last);
        let Some(lowest) = near.min_by(|a, b| speed(*a).total_cmp(&speed(*b))) else { return false };
        let fastest = (lowest..last).map(speed).fold(0.0, f64::max);
        let Some(sets_in) = (lowest..last).find(|row| speed(*row) > 0.5 * fastest) else { return false };
        // The first report may hold a part of its interval.
        let rows = sets_in + 1..last;
        if rows.len() < LEAST_LEVEL || self.lasts(&rows) < LEAST_NS {
            return false;
        }
        let level = self.in_a_report(rows.clone());
        let even = rows.into_iter().all(|row| (speed(row) - level).abs() <= LEVEL * level + ROUNDING);
        // Of a few counts a report any is level, and one without a count has fallen.
        even && speed(lowest) <= FALLEN * level && level - speed(lowest) > 2.0 * ROUNDING
    }

    /// True if the surplus runs at one speed that the hand did not arrive with.
    fn steady(&self, view: &SwipeView, placing: f64, slowest: f64) -> bool {
        let n = self.along.len();
        // The stop shakes the device, and the last report holds a part of its interval.
        let rows = self.first + (n - self.first) / 4..n.saturating_sub(1);
        if self.first == 0 || rows.len() < CELLS {
            return false;
        }
        let (lasts, level) = (self.lasts(&rows), self.speed(rows.clone()));
        if lasts < LEAST_NS || level < slowest || !self.even(&rows) || !self.braked_until(&rows, lasts) {
            return false;
        }
        let swipe = &view.swipe;
        level > AT_SPEED * swipe.peak || self.differs_before(swipe.surplus + placing, level)
    }

    /// Time in which the counts of some rows came, of which none is the first.
    fn lasts(&self, rows: &Range<usize>) -> i64 {
        let at = |row: usize| self.samples.get(row).map_or(0, |s| s.t);
        at(rows.end.saturating_sub(1)).saturating_sub(at(rows.start.saturating_sub(1))).max(1)
    }

    /// Counts per second over some rows, of which none is the first.
    fn speed(&self, rows: Range<usize>) -> f64 {
        self.counts(rows.clone()) / (self.lasts(&rows) as f64 * 1e-9)
    }

    /// True if the motion slowed before the surplus, in the same time, by far more than some rows of the surplus do.
    fn braked_until(&self, rows: &Range<usize>, lasts: i64) -> bool {
        let Some(full) = self.samples.get(self.first) else { return false };
        let since = full.t.saturating_sub(lasts);
        let before = self.samples.partition_point(|s| s.t < since).max(1)..self.first;
        let slows = |rows: Range<usize>| {
            let middle = rows.start + rows.len() / 2;
            self.speed(rows.start..middle) - self.speed(middle..rows.end)
        };
        let rounding = ROUNDING / (0.5e-9 * lasts as f64);
        before.len() >= CELLS && slows(before) > BRAKED * (slows(rows.clone()).abs() + rounding)
    }

    /// True if cells hold alike, by their times or by their reports: either shows a hand that brakes.
    fn even(&self, rows: &Range<usize>) -> bool {
        let cut = |k: usize| rows.start + rows.len() * k / CELLS;
        let cells: Vec<Range<usize>> = (0..CELLS).map(|k| cut(k)..cut(k + 1)).collect();
        let alike = |width: &dyn Fn(&Range<usize>) -> f64| {
            let mean = self.counts(rows.clone()) / cells.iter().map(width).sum::<f64>().max(1.0);
            cells.iter().all(|r| {
                let due = mean * width(r);
                (self.counts(r.clone()) - due).abs() <= EVEN * due + ROUNDING
            })
        };
        alike(&|r| self.lasts(r) as f64) || alike(&|r| self.reports(r.clone()))
    }

    /// True if the reports before the last so many counts ran at another speed, counts per second.
    fn differs_before(&self, counts: f64, level: f64) -> bool {
        let Some(end) = last_counts(&self.along, counts) else { return false };
        let Some(begin) = end.checked_sub(CELLS).filter(|b| *b > 0) else { return false };
        (self.speed(begin..end) / level - 1.0).abs() > ANOTHER
    }
}

/// The first of the last rows that hold so many counts.
fn last_counts(along: &[f64], counts: f64) -> Option<usize> {
    let mut sum = 0.0;
    along.iter().rposition(|c| {
        sum += c;
        sum >= counts
    })
}

/// The tail of a swipe by more than a bounce, nearer than which the strike itself jumps; with what lengths are held against, and
/// counts a millimetre.
fn beyond_a_bounce<'a>(
    step: &StepView,
    phase: &'a PhaseView,
    view: &SwipeView,
) -> Option<(Tail<'a>, Measure, f64)> {
    let (measure, per_mm) = (step.measure?, step.scale?.counts_per_mm);
    let tail = Tail::of(phase, view).filter(|_| view.swipe.surplus >= BOUNCE_MM * per_mm)?;
    Some((tail, measure, per_mm))
}

/// True if a swipe's surplus came after the stop.
fn shows(step: &StepView, phase: &PhaseView, view: &SwipeView) -> bool {
    let Some((tail, measure, per_mm)) = beyond_a_bounce(step, phase, view) else { return false };
    let before = (measure.most, EARLIER * measure.one_travel);
    tail.struck(view.swipe.surplus, before, per_mm, step.slot())
        || tail.steady(view, measure.most, FAST * 1e3 * per_mm)
        || tail.again(view.swipe.surplus, measure.most)
}

/// True if it is seen by the third sign.
fn sets_in_again(step: &StepView, phase: &PhaseView, view: &SwipeView) -> bool {
    let tail = beyond_a_bounce(step, phase, view);
    tail.is_some_and(|(tail, measure, _)| tail.again(view.swipe.surplus, measure.most))
}

/// Share of the longer swipes that show it by any sign: a strike may jump there now and then.
const MOST: f64 = 0.5;
/// And by the third sign alone, with how many at least: no gain makes it, and swipes that arrive at the speed that the device goes on
/// with do not show it.
const SOME: (f64, usize) = (0.2, 4);

/// True if the swipes that are longer than one travel are seen to have gone on, as far as they show it. (First more than half had to
/// show it: motion at one speed for 18 to 26 mm had been told as a gain at 4 and 8 ms, by 17 and 25 of 60 that did.)
pub fn they_show<'a>(
    step: &StepView,
    phase: &PhaseView,
    swipes: impl IntoIterator<Item = &'a SwipeView>,
) -> bool {
    // What a ceiling held back is handed on after the stop: level, too, and no carry-on.
    let long: Vec<&SwipeView> =
        swipes.into_iter().filter(|s| s.swipe.surplus > 0.0 && s.clip.is_none()).collect();
    let some = |least: usize, share: f64, shows: fn(&StepView, &PhaseView, &SwipeView) -> bool| {
        let n = long.iter().filter(|s| shows(step, phase, s)).count();
        n >= least && n as f64 > share * long.len() as f64
    };
    some(1, MOST, shows) || some(SOME.1, SOME.0, sets_in_again)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reports of 1 ms at 100 counts a millimetre; what a place in millimetres at each makes of them.
    fn tail(
        places: impl Fn(f64) -> f64,
        milliseconds: usize,
        surplus: f64,
    ) -> (Vec<Sample>, Vec<f64>, usize) {
        let at = |i: usize| (100.0 * places(i as f64)).round();
        let along: Vec<f64> = (1..=milliseconds).map(|i| at(i) - at(i - 1)).collect();
        let samples = along.iter().zip(1i64..);
        let sample = |(x, i): (&f64, i64)| Sample {
            t: i * 1_000_000,
            x: *x as i32,
            y: 0,
            timed: true,
            idle_before: 0,
        };
        let first = last_counts(&along, surplus).unwrap();
        (samples.map(sample).collect(), along, first)
    }

    /// A hand that brakes by 8 m/s² from 2 m/s for so long, mm.
    fn brakes(ms: f64) -> f64 {
        2.0 * ms - 0.004 * ms * ms
    }

    fn struck_up_to(earlier: f64, places: impl Fn(f64) -> f64, milliseconds: usize, surplus: f64) -> bool {
        let (samples, along, first) = tail(places, milliseconds, surplus);
        Tail { samples: &samples, along, first }.struck(surplus, (200.0, earlier), 100.0, 1e6)
    }

    fn struck(places: impl Fn(f64) -> f64, milliseconds: usize, surplus: f64) -> bool {
        struck_up_to(0.0, places, milliseconds, surplus)
    }

    #[test]
    fn a_jump_where_one_travel_is_full_is_the_stop() {
        let stop = brakes(220.0);
        // Braked to 0.24 m/s, then 10 mm at 0.7 m/s: half of them are not due before the surplus.
        let goes_on = |ms: f64| if ms <= 220.0 { brakes(ms) } else { stop + 0.7 * (ms - 220.0) };
        assert!(struck(goes_on, 234, 980.0));
        assert!(!struck(goes_on, 234, 2_000.0), "the jump lies beyond placing from there");
        assert!(!struck(brakes, 220, 980.0), "a hand that brakes");
        // As where the slow swipes went on by 6 mm, too.
        assert!(!struck(goes_on, 234, 380.0) && struck_up_to(600.0, goes_on, 234, 380.0));
        assert!(!struck_up_to(600.0, brakes, 220, 380.0));
    }

    #[test]
    fn what_no_longer_slows_is_steady() {
        let even = |places: &dyn Fn(f64) -> f64, milliseconds, surplus| {
            let (samples, along, first) = tail(places, milliseconds, surplus);
            let tail = Tail { samples: &samples, along, first };
            let rows = tail.first + 3..tail.along.len() - 1;
            tail.even(&rows) && tail.braked_until(&rows, tail.lasts(&rows))
        };
        let (stop, speed) = (brakes(120.0), 1.04);
        let goes_on = |ms: f64| if ms <= 120.0 { brakes(ms) } else { stop + speed * (ms - 120.0) };
        assert!(even(&goes_on, 150, 3_120.0));
        assert!(!even(&brakes, 150, 3_120.0), "it goes on braking");
        assert!(!even(&|ms| 1.04 * ms, 150, 3_120.0), "it never braked");
        // As slow as its counts hardly show it: 0.05 m/s, less by a sixth over the last 5 mm.
        let eases = |ms: f64| 0.06 * ms - 1e-4 * ms * ms;
        assert!(!even(&eases, 150, 300.0));
    }
}
