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
//! Asked only of swipes whose length neither placing nor the operator nor the computer explains. Smallest found: 5 % of the travel in a leap of 1 m/s
//! at 4 ms and less. (Added after sensors that held their motion for 60 to 120 ms had been told as short in this swipe and partial
//! in the next, so that no family failed.) Cost: O(reports of such swipes × [`STARTS`]).

use super::{ALIKE, BENT, BOUNCE_MM, LEAST_RUN, Look, ROUNDING, START_MM, STARTS, STRAIGHT, WINDOWS};
use crate::erratic::{ARM_ACCELERATION, Bench, Stretch, Wrong};
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
            let Some(found) = look.frozen(bench.beat).filter(|s| !host.explain(s.begin, s.end)) else {
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

impl Look<'_> {
    /// The longest one of a swipe, if it makes up what its length is off by.
    fn frozen(&self, beat: f64) -> Option<Stretch> {
        let n = self.counts.len();
        let runs = (0..n).step_by((n / STARTS).max(1)).map(|first| first..self.line(first, n));
        let runs = runs.filter_map(|run| Some((self.wakes(&run, beat)?, run)));
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
    fn wakes(&self, run: &Range<usize>, beat: f64) -> Option<usize> {
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
        if level < LEAST_RUN.1 || self.leaps(begins.checked_sub(1)?, level, beat, Side::Before) {
            return None;
        }
        // A report or two may fit in with the line by chance.
        let from = last.saturating_sub(2 * self.each).max(first + 1);
        let wakes = (from..=last + self.each).find(|row| self.leaps(*row, level, beat, Side::After))?;
        if self.places[self.counts.len()] - self.places[wakes] < BOUNCE_MM * self.per_mm {
            return None;
        }
        let after = self.mean(wakes + self.each..wakes + (1 + AFTER) * self.each)? / self.width_s();
        let change = after - speed;
        let bend = change.abs() * seconds / 8.0;
        let hidden = change * seconds / 2.0;
        let share = (self.swipe.one_travel - self.swipe.along) / hidden;
        // Where the hand went on to its peak meanwhile a steady change hides less than it took. And it has not been faster before:
        // else counts are only fewer for a while.
        let alike = share >= 1.0 / ALIKE && (share <= ALIKE || change > 0.0);
        let fewer = change > 0.0 && self.has_been_faster(begins, level, beat);
        let outrun = || self.outruns(begins, speed, seconds, give);
        (after > 0.0 && !fewer && (bend >= BENT * give && alike || share < 0.0 && outrun())).then_some(wakes)
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
    fn has_been_faster(&self, before: usize, level: f64, beat: f64) -> bool {
        let most = level * (1.0 + NOISE + beat) + ROUNDING;
        (self.each..=before).any(|row| self.sum(row - self.each..row).0 > most)
    }

    /// Whether the cells that end or begin with a report are further off a level (counts a cell) than an arm comes meanwhile. The level
    /// is known by the whole run; a report may hold a frame more or less.
    fn leaps(&self, row: usize, level: f64, beat: f64, side: Side) -> bool {
        let arm = ARM_ACCELERATION * 1e3 * self.per_mm * self.width_s().powi(2);
        WINDOWS.into_iter().any(|w| {
            let n = w * self.each;
            let rows = match side {
                Side::Before => (row + 1).saturating_sub(n)..row + 1,
                Side::After => row..row + n,
            };
            let whole =
                rows.len() == n && rows.end <= self.counts.len() && rows.clone().all(|r| self.follows(r));
            let cells = w as f64;
            let bound = ROUNDING + NOISE * level * cells.sqrt() + beat * level + arm * cells * cells / 2.0;
            whole && (self.sum(rows).0 - level * cells).abs() > bound
        })
    }
}
