//! One motion told again and again for a while, from which the sensor wakes at another speed.
//!
//! [`super::Look::straight`] finds a repeat that the hand outran and came back to. One that ends while the hand is faster, or slower,
//! ends in a leap instead: the place runs straight for [`LEAST_NS`] and more, begins at the speed of the hand, and then the speed
//! changes from one report to the next as no arm can make it (the bound of [`crate::erratic`]) and the motion goes on. A hand that
//! had changed its speed by as much meanwhile would have bent the place, by |Δv| L / 8, [`BENT`] times as far as what is straight
//! may be off. And the swipe's length must say the same: long where the hand was slower, by what a steady change hides, |Δv| L / 2,
//! to the factor [`ALIKE`]; short where it was faster, by as much or more. Of a swipe that lost counts a hand's own plateau ends in
//! a leap, too, but downwards.
//!
//! The same motion is the same across, too. And where one travel has just been counted, a leap downwards is the stop, and what follows
//! came after it ([`crate::after_stop`]). (Both added after devices that went on after the stop had been told to repeat 30 to 45 ms of the
//! way into it, in an arc.)
//!
//! Asked only of swipes whose length neither placing nor the operator nor the computer explains. Smallest found: 5 % of the travel in a leap of 1 m/s
//! at 4 ms and less. (Added after sensors that held their motion for 60 to 120 ms had been told as short in this swipe and partial
//! in the next, so that no family failed.) Cost: O(reports of such swipes × [`STARTS`]).

use super::{ALIKE, BENT, BOUNCE_MM, LEAST_RUN, Look, ROUNDING, START_MM, STARTS, STRAIGHT, WINDOWS};
use crate::erratic::{Bench, Stretch, Wrong};
use crate::host::HostSpans;
use crate::step::{PhaseView, SwipeView, is_lost_otherwise};
use std::ops::Range;

/// A hand's own speed is even for less; three reports at 8 ms.
const LEAST_NS: i64 = 24_000_000;
const LEAST_REPORTS: usize = 3;
/// Five standard deviations of 2 % a report.
const NOISE: f64 = 0.1;
/// Cells over which the speed after the leap is taken.
const AFTER: usize = 3;

/// Adds them where nothing is false yet, in place of losses that they are.
pub fn find(phases: &mut [PhaseView], bench: &Bench, host: &HostSpans) {
    for PhaseView { series, swipes, frame, .. } in phases {
        let Some(frame) = *frame else { continue };
        for view in swipes.iter_mut().filter(|s| s.swipe.is_short() || s.swipe.surplus > 0.0) {
            // A level is the sensor's, or a repeat's, by what other swipes show ([`super::top_speed`]).
            let told = |s: &Stretch| !s.wrong.is_loss() || s.wrong == Wrong::Level;
            let by_host = host.may_lose(view.swipe.begin, view.swipe.end);
            if by_host || view.stretches.iter().any(told) || is_lost_otherwise(view, bench) {
                continue;
            }
            let SwipeView { swipe, stretches, .. } = view;
            let Some(look) = Look::new(series, frame, swipe, bench) else { continue };
            let Some(found) = look.frozen().filter(|s| !host.explain(s.begin, s.end)) else {
                continue;
            };
            let apart = |s: &Stretch| s.end < found.begin || found.end < s.begin;
            stretches.retain(apart);
            stretches.push(found);
            stretches.sort_by_key(|s| s.begin);
        }
    }
}

#[derive(Clone, Copy)]
enum Side {
    Before,
    After,
}

/// Stops of a millimetre scatter by so much of a short travel.
const PLACED: f64 = 0.01;

impl Look<'_> {
    /// The longest one of a swipe, if it makes up what its length is off by.
    fn frozen(&self) -> Option<Stretch> {
        let n = self.counts.len();
        let runs = (0..n).step_by((n / STARTS).max(1)).map(|first| first..self.line(first, n));
        let runs = runs.filter_map(|run| Some((self.wakes(&run)?, run)));
        let (wakes, run) = runs.max_by_key(|(_, run)| run.len())?;
        Some(Stretch {
            wrong: Wrong::Repeated,
            rows: self.swipe.rows.start + run.start + 1..self.swipe.rows.start + wakes,
            begin: self.samples[run.start].t,
            end: self.samples[wakes - 1].t,
            jump_m_s: 0.0,
            within_s: 0.0,
            counts: self.sum(run.start + 1..wakes),
            recovered: true,
        })
    }

    /// The report with which the sensor wakes after a straight run, if it does.
    fn wakes(&self, run: &Range<usize>) -> Option<usize> {
        let Range { start: first, end: last } = *run;
        let lasts = self.samples[last].t.saturating_sub(self.samples[first].t);
        if last < first + LEAST_REPORTS || lasts < LEAST_NS || self.places[first] < START_MM * self.per_mm {
            return None;
        }
        let seconds = lasts as f64 * 1e-9;
        let speed = (self.places[last + 1] - self.places[first + 1]) / seconds;
        let level = speed * self.width_s();
        let give = STRAIGHT.0 + speed * STRAIGHT.1 * 1e-9;
        let begins = self.begins(first, speed, give);
        if level < LEAST_RUN.1 || self.leaps(begins.checked_sub(1)?, level, Side::Before) {
            return None;
        }
        // A report or two may fit in with the line by chance.
        let from = last.saturating_sub(2 * self.each).max(first + 1);
        let wakes = (from..=last + self.each).find(|row| self.leaps(*row, level, Side::After))?;
        if self.places[self.counts.len()] - self.places[wakes] < BOUNCE_MM * self.per_mm
            || !self.is_straight_across(first, wakes - 1)
        {
            return None;
        }
        let after = self.mean(wakes + self.each..wakes + (1 + AFTER) * self.each)? / self.width_s();
        let change = after - speed;
        if change < 0.0 && self.is_full_at(wakes) {
            return None;
        }
        let bend = change.abs() * seconds / 8.0;
        let hidden = change * seconds / 2.0;
        let share = (self.swipe.one_travel - self.swipe.along) / hidden;
        // Where the hand went on to its peak meanwhile a steady change hides less than it took. And it has not been faster before:
        // else counts are only fewer for a while.
        let alike = share >= 1.0 / ALIKE && (share <= ALIKE || change > 0.0);
        let fewer = change > 0.0 && self.has_been_faster(begins, level);
        let outrun = || self.outruns(begins, speed, seconds, give);
        (after > 0.0 && !fewer && (bend >= BENT * give && alike || share < 0.0 && outrun())).then_some(wakes)
    }

    /// Whether the place runs straight across as well, to rounding and one frame's motion there.
    fn is_straight_across(&self, first: usize, last: usize) -> bool {
        let across = self.sum(first + 1..last + 1).1 / self.seconds(first, last).max(1e-9);
        let give = STRAIGHT.0 + across.abs() * STRAIGHT.1 * 1e-9;
        let mut place = 0.0;
        (first + 1..=last).all(|row| {
            place += self.counts[row].1;
            (place - across * self.seconds(first, row)).abs() <= give
        })
    }

    /// Whether one travel has been counted by a report, to a cell and what lengths differ by: that is the stop.
    fn is_full_at(&self, row: usize) -> bool {
        let most = self.places.len() - 1;
        let (early, late) = (row.saturating_sub(self.each), (row + self.each).min(most));
        let give = PLACED * self.swipe.one_travel;
        (self.places[early] - give..=self.places[late] + give).contains(&self.swipe.one_travel)
    }

    /// The report with which a straight run of this speed (counts a second) begins that holds at a report.
    fn begins(&self, at: usize, speed: f64, give: f64) -> usize {
        let off = |row: usize| self.places[at + 1] - self.places[row + 1] - speed * self.seconds(row, at);
        (0..=at).rev().take_while(|row| off(*row).abs() <= give).last().unwrap_or(at)
    }

    /// Whether the hand arrived at a level so that it must have gone beyond it, and by as much as is missing, before it was slower: as
    /// for a run without a leap ([`Look::straight`]), by the slope before it alone.
    fn outruns(&self, begins: usize, speed: f64, seconds: f64, give: f64) -> bool {
        let reach = (0.25e9 * seconds).max(2.0 * self.slot) as i64;
        let from = self.samples.partition_point(|s| s.t < self.samples[begins].t.saturating_sub(reach));
        let t = self.seconds(from, begins);
        let counts = self.places[begins + 1] - self.places[from + 1];
        let rise = 2.0 * (speed * t - counts) / (t * t).max(f64::MIN_POSITIVE);
        let hidden = rise * seconds * seconds / 6.0;
        let missing = self.swipe.one_travel - self.swipe.along;
        rise > 0.0 && rise * seconds * seconds / 60.0 >= BENT * give && hidden >= missing / ALIKE
    }

    /// Whether a cell before a report holds more than a level (counts a cell), beyond noise.
    fn has_been_faster(&self, before: usize, level: f64) -> bool {
        let most = level * (1.0 + NOISE + self.beat) + ROUNDING;
        (self.each..=before).any(|row| self.sum(row - self.each..row).0 > most)
    }

    /// Whether the cells that end or begin with a report are further off a level (counts a cell) than an arm comes meanwhile. The level
    /// is known by the whole run; a report may hold a frame more or less.
    fn leaps(&self, row: usize, level: f64, side: Side) -> bool {
        WINDOWS.into_iter().any(|w| {
            let n = w * self.each;
            let rows = match side {
                Side::Before => (row + 1).saturating_sub(n)..row + 1,
                Side::After => row..row + n,
            };
            let whole =
                rows.len() == n && rows.end <= self.counts.len() && rows.clone().all(|r| self.follows(r));
            let cells = w as f64;
            let bound = ROUNDING
                + NOISE * level * cells.sqrt()
                + self.beat * level
                + self.arm() * cells * cells / 2.0;
            whole && (self.sum(rows).0 - level * cells).abs() > bound
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::erratic::tests::PER_MM;
    use crate::false_motion::tests::{FRAME, bench, swipe};

    /// Shares of the swipe's 0.2 s in which one motion is told again and again.
    fn repeats(slot_ns: i64, tell: impl Fn(f64, (f64, f64)) -> (f64, f64)) -> Option<(f64, f64)> {
        let (series, swipe) = swipe(slot_ns, tell);
        assert!(swipe.surplus > 0.0, "a long swipe");
        let look = Look::new(&series, FRAME, &swipe, &bench(slot_ns))?;
        let share = |t: i64| (t - 1_000_000_000) as f64 / 200e6;
        look.frozen().map(|s| (share(s.begin), share(s.end)))
    }

    /// Counts a report at a speed in m/s.
    fn counts(slot_ns: i64, m_s: f64) -> f64 {
        m_s * PER_MM * slot_ns as f64 * 1e-6
    }

    /// The speed of a third of the time is told again for 50 ms in which the hand slows; across it goes on as the hand, or not.
    #[test]
    fn what_is_told_again_is_the_same_across_as_well() {
        for slot in [500_000, 1_000_000, 2_000_000] {
            let held = counts(slot, 2.6);
            let tell = |across: f64| {
                move |s: f64, c: (f64, f64)| match s {
                    s if (0.5..0.75).contains(&s) => (held, 0.1 * held * (1.0 - across * (s - 0.5) / 0.25)),
                    _ => (c.0, 0.1 * c.0),
                }
            };
            let found = repeats(slot, tell(0.0));
            assert!(
                found.is_some_and(|(begin, end)| (begin - 0.5).abs() < 0.06 && (end - 0.75).abs() < 0.03),
                "{slot}: {found:?}"
            );
            assert_eq!(repeats(slot, tell(2.0)), None, "{slot}");
        }
    }
}
