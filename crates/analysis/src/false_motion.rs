//! False motion that a search for abrupt changes away from the stops ([`crate::erratic`]) does not reach or not name.
//!
//! Not a family: raw material of *spin-out*. Three looks at one swipe, each asked only where the one before found nothing:
//!
//! - *Named*: counts that are merely missing leave nothing backwards and nothing across. A thin stretch in which reports
//!   run backwards by more than rounding, or that leaves more than [`ACROSS`] of what is missing across, is false motion.
//! - *To the stop*: motion that turns as no arm can, further short of the stop than any bounce happens ([`BEFORE_STOP`] of
//!   the travel) and goes on backwards or sideways further than any bounce goes ([`BOUNCE_MM`]), up to the stop or near it.
//!   The bound is that of [`crate::erratic`]; only swipes that lack more than a bounce are looked at.
//! - *Straight*: the place runs along a straight line for so long that a peak above it, by the slopes beside it, would have
//!   counted what the swipe lacks. Place and not speed, because frames that beat against the reports leave it straight to
//!   one frame's motion, while a hand's own peak bends it by c L³/120 (c: bend of the speed, L: length), 9 mm in 0.1 s of
//!   a 0.2 s swipe. Unlike shortfalls by the operator, who has no level top; so swipes that he may explain are looked at.
//!
//! Cost: O(reports of the swipe).

use crate::erratic::{ARM_ACCELERATION, Bench, Stretch, Wrong};
use crate::series::{DUE, Frame, Sample, Series};
use crate::swipes::Swipe;
use std::ops::Range;

/// Reports that come faster than this are taken together, nanoseconds.
const CELL: f64 = 1e6;
/// Time from which the speed before a place is taken, nanoseconds.
const BEFORE: f64 = 4e6;
/// Reports further apart than so many intervals have an empty slot between them; a host may be late by one of many.
const CONTIGUOUS: (f64, f64) = (1.6, 2.2);
/// Both ends of a window and of the reports before it are rounded to a count.
const ROUNDING: f64 = 2.5;
/// Five standard deviations of 2 % a report, and of the speed before on top.
const NOISE: f64 = 0.15;
/// Windows in which a turn may stand out, in cells.
const WINDOWS: [usize; 4] = [1, 2, 3, 4];
/// Motion across is no motion along from this share on (14 degrees).
const ACROSS: f64 = 0.25;
/// A bounce happens at the stop: nearer to it than this share of the travel, even if a tenth of the counts were lost.
const BEFORE_STOP: f64 = 0.9;
/// No bounce goes further back, mm: a contact at 1.5 m/s that throws back 40 % of the speed, against a hand that
/// pushes on with 20 m/s², goes 9 mm (common practice, no source).
const BOUNCE_MM: f64 = 12.0;
/// Next to where a swipe begins, a device may twist, mm.
const START_MM: f64 = 8.0;
/// A straight place stays this near to a line: rounding in counts, and the motion within a frame of 3 kHz (data sheets say
/// 1,500 to 12,000 a second; a slower sensor that repeats is told as a short swipe).
const STRAIGHT: (f64, f64) = (2.0, 0.33e6);
/// Starts that are tried for the longest straight run.
const STARTS: usize = 64;
/// Reports in a straight run at least, and counts in each.
const LEAST_RUN: (usize, f64) = (5, 8.0);
/// The shoulders of a natural peak hide some 2 % of the travel in what is straight of it; twice that is asked for.
const HIDDEN: f64 = 0.04;
/// What a peak would have counted by its shoulders, and what is missing, agree within this factor.
const ALIKE: f64 = 2.5;

/// Names and adds false motion of one swipe.
pub fn complete(
    series: &Series,
    frame: Frame,
    swipe: &Swipe,
    bench: &Bench,
    stretches: &mut Vec<Stretch>,
) {
    let known = |v: f64| v.is_finite() && v > 0.0;
    if !known(bench.slot) || !known(bench.counts_per_mm) || !known(swipe.one_travel) {
        return;
    }
    let Some(look) = Look::new(series, frame, swipe, bench) else { return };
    for stretch in stretches.iter_mut().filter(|s| s.wrong == Wrong::Thin) {
        stretch.wrong = look.named(stretch).unwrap_or(Wrong::Thin);
    }
    if stretches.iter().all(|s| s.wrong == Wrong::Thin)
        && let Some(found) = look.to_the_stop()
    {
        stretches.retain(|s| s.rows.end <= found.rows.start);
        stretches.push(found);
    }
    if stretches.is_empty() {
        stretches.extend(look.straight());
    }
}

/// Reports that are taken together so as to fill [`CELL`].
pub fn per_cell(slot: f64) -> usize {
    (CELL / slot).round().clamp(1.0, 64.0) as usize
}

/// One swipe in its own direction.
struct Look<'a> {
    samples: &'a [Sample],
    /// Counts along and across, one a report.
    counts: Vec<(f64, f64)>,
    /// Counts along before each report, and all.
    places: Vec<f64>,
    swipe: &'a Swipe,
    slot: f64,
    per_mm: f64,
    each: usize,
}

impl<'a> Look<'a> {
    fn new(series: &'a Series, frame: Frame, swipe: &'a Swipe, bench: &Bench) -> Option<Look<'a>> {
        let samples = series.samples.get(swipe.rows.clone()).filter(|s| s.len() > LEAST_RUN.0)?;
        let sign = swipe.sign();
        let counts: Vec<(f64, f64)> = samples
            .iter()
            .map(|s| {
                let (along, across) = frame.of(s);
                (sign * along, sign * across)
            })
            .collect();
        let mut places = Vec::with_capacity(counts.len() + 1);
        places.push(0.0);
        let mut place = 0.0;
        places.extend(counts.iter().map(|c| {
            place += c.0;
            place
        }));
        let (slot, per_mm) = (bench.slot, bench.counts_per_mm);
        Some(Look { samples, counts, places, swipe, slot, per_mm, each: per_cell(slot) })
    }

    fn sum(&self, rows: Range<usize>) -> (f64, f64) {
        self.counts[rows].iter().fold((0.0, 0.0), |a, c| (a.0 + c.0, a.1 + c.1))
    }

    /// True if no report is missing before this one.
    fn follows(&self, row: usize) -> bool {
        let most = if self.each == 1 { CONTIGUOUS.0 } else { CONTIGUOUS.1 };
        row > 0 && (self.samples[row].t.saturating_sub(self.samples[row - 1].t) as f64) < most * self.slot
    }

    /// Mean motion of the reports right before one, and how many cells they fill.
    fn before(&self, row: usize) -> Option<((f64, f64), f64)> {
        let most = self.each * ((BEFORE / (self.slot * self.each as f64)) as usize).clamp(1, 4);
        let from = (row.saturating_sub(most) + 1..=row).rev().find(|&r| !self.follows(r));
        let from = from.unwrap_or(row.saturating_sub(most));
        let n = row - from;
        if n < self.each {
            return None;
        }
        let (along, across) = self.sum(from..row);
        let per = self.each as f64 / n as f64;
        let mean = (along * per, across * per);
        (mean.0 >= DUE as f64).then_some((mean, n as f64 / self.each as f64))
    }

    /// What a thin stretch really is; `None` if counts are merely missing.
    fn named(&self, stretch: &Stretch) -> Option<Wrong> {
        let own = |row: usize| row.checked_sub(self.swipe.rows.start);
        let (first, last) = (own(stretch.rows.start)?, own(stretch.rows.end)?.min(self.counts.len()));
        let from = first.saturating_sub(self.each);
        let to = (last + self.each).min(self.counts.len());
        let (v, _) = self.before(from).or_else(|| self.before(first))?;
        let speed = v.0.hypot(v.1);
        let turned: Vec<(f64, f64)> = self
            .counts
            .get(from..to)?
            .iter()
            .map(|c| ((c.0 * v.0 + c.1 * v.1) / speed, (c.1 * v.0 - c.0 * v.1) / speed))
            .collect();
        let (mut run, mut deepest) = (0.0f64, 0.0f64);
        for (along, _) in &turned {
            run = if *along < 0.0 { run + along } else { 0.0 };
            deepest = deepest.min(run);
        }
        if deepest < -ROUNDING {
            return Some(Wrong::Reversal);
        }
        let along: f64 = turned.iter().map(|c| c.0).sum();
        let across: f64 = turned.iter().map(|c| c.1).sum();
        let missing = speed / self.each as f64 * turned.len() as f64 - along;
        (across.abs() > ROUNDING.max(ACROSS * missing.abs())).then_some(Wrong::Sideways)
    }

    /// A turn that no arm makes, short of the stop, after which the motion stays wrong for longer than a bounce.
    fn to_the_stop(&self) -> Option<Stretch> {
        let bounce = BOUNCE_MM * self.per_mm;
        if self.swipe.one_travel - self.swipe.along < bounce {
            return None;
        }
        let width_s = self.slot * self.each as f64 * 1e-9;
        let arm = ARM_ACCELERATION * 1e3 * self.per_mm * width_s * width_s;
        let rows = 0..self.counts.len();
        for row in rows {
            let place = self.places[row];
            if place < START_MM * self.per_mm || !self.follows(row) {
                continue;
            }
            if place > BEFORE_STOP * self.swipe.one_travel {
                return None;
            }
            let Some((v, f)) = self.before(row) else { continue };
            let speed = v.0.hypot(v.1);
            for w in WINDOWS {
                let end = row + w * self.each;
                if end > self.counts.len() || (row + 1..end).any(|r| !self.follows(r)) {
                    break;
                }
                let (along, across) = turned(self.sum(row..end), v);
                let cells = w as f64;
                let bound =
                    ROUNDING + NOISE * speed * cells.sqrt() + arm * cells * (cells + f) / 2.0;
                let due = speed * cells;
                let wrong = if along < 0.0 && due - along > bound {
                    Wrong::Reversal
                } else if across.abs() > bound && across.abs() > ACROSS * due {
                    Wrong::Sideways
                } else {
                    continue;
                };
                let to = self.forward_again(row + 1, v);
                let all = self.sum(row..to);
                let (back, aside) = turned(all, v);
                if (-back).max(aside.abs()) < bounce {
                    break;
                }
                let jump = (due - along).hypot(across) / cells;
                return Some(Stretch {
                    wrong,
                    rows: self.swipe.rows.start + row..self.swipe.rows.start + to,
                    begin: self.samples[row - 1].t,
                    end: self.samples[to - 1].t,
                    jump_m_s: jump / self.per_mm / (1e3 * width_s),
                    within_s: cells * width_s,
                    counts: all,
                    recovered: to < self.counts.len(),
                });
            }
        }
        None
    }

    /// First report from which on the motion runs in a direction again, over three cells and by itself.
    fn forward_again(&self, from: usize, v: (f64, f64)) -> usize {
        let n = self.counts.len();
        let forward = |rows: Range<usize>| {
            let (along, across) = turned(self.sum(rows), v);
            along > 0.0 && across.abs() <= (ACROSS * along).max(ROUNDING)
        };
        let cell = |r: usize| r..(r + self.each).min(n);
        (from..n).find(|&r| forward(cell(r)) && forward(r..(r + 3 * self.each).min(n))).unwrap_or(n)
    }

    /// A straight run that hides about as many counts as are missing.
    fn straight(&self) -> Option<Stretch> {
        let travel = self.swipe.one_travel;
        let missing = travel - self.swipe.along;
        if self.swipe.surplus >= 0.0 || missing < HIDDEN * travel {
            return None;
        }
        let n = self.counts.len();
        let steps = (0..n).step_by((n / STARTS).max(1));
        let longest = steps.map(|first| (first, self.line(first))).max_by_key(|(first, last)| last - first)?;
        let (first, last) = longest;
        let run = self.seconds(first, last);
        let counts = self.places[last + 1] - self.places[first + 1];
        let level = counts / (last - first).max(1) as f64;
        let speed = counts / run;
        if last - first < LEAST_RUN.0 || level < LEAST_RUN.1 || !speed.is_finite() || speed <= 0.0 {
            return None;
        }
        // Mean change of speed beside it, over half its length or what there is.
        let beside = |from: usize, to: usize| -> Option<f64> {
            let t = self.seconds(from, to);
            let counts = self.places[to + 1] - self.places[from + 1];
            (to > from + 1 && t > 0.0).then(|| 2.0 * (speed * t - counts) / (t * t))
        };
        let half = (0.5e9 * run) as i64;
        let early = self.samples.partition_point(|s| s.t < self.samples[first].t.saturating_sub(half));
        let late = self.samples.partition_point(|s| s.t <= self.samples[last].t.saturating_add(half));
        let (rise, fall) = (beside(early, first), beside(last, late.saturating_sub(1).max(last)));
        let (rise, fall) = (rise.or(fall)?, fall.or(rise)?);
        if rise <= 0.0 || fall <= 0.0 {
            return None;
        }
        // A parabola that meets a level at slopes a and b over L rises (a + b)/2 · L/4 above it.
        let hidden = 0.5 * (rise + fall) * run / 4.0 * run * 2.0 / 3.0;
        if hidden < HIDDEN * travel || !(missing / ALIKE..=missing * ALIKE).contains(&hidden) {
            return None;
        }
        Some(Stretch {
            wrong: Wrong::Repeated,
            rows: self.swipe.rows.start + first + 1..self.swipe.rows.start + last + 1,
            begin: self.samples[first].t,
            end: self.samples[last].t,
            jump_m_s: 0.0,
            within_s: 0.0,
            counts: self.sum(first + 1..last + 1),
            recovered: true,
        })
    }

    fn seconds(&self, from: usize, to: usize) -> f64 {
        self.samples[to].t.saturating_sub(self.samples[from].t) as f64 * 1e-9
    }

    /// Last report up to which the place runs along one line from this one (a cone that narrows).
    fn line(&self, first: usize) -> usize {
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        for row in first + 1..self.counts.len() {
            let dt = self.samples[row].t.saturating_sub(self.samples[first].t) as f64;
            let gap = self.samples[row].t.saturating_sub(self.samples[row - 1].t) as f64;
            if dt <= 0.0 || gap > CONTIGUOUS.1 * self.slot {
                return row - 1;
            }
            let moved = self.places[row + 1] - self.places[first + 1];
            let give = STRAIGHT.0 + moved / dt * STRAIGHT.1;
            (low, high) = (low.max((moved - give) / dt), high.min((moved + give) / dt));
            if low > high {
                return row - 1;
            }
        }
        self.counts.len() - 1
    }
}

/// Counts in the direction of `v` and across it.
fn turned(c: (f64, f64), v: (f64, f64)) -> (f64, f64) {
    let speed = v.0.hypot(v.1);
    ((c.0 * v.0 + c.1 * v.1) / speed, (c.1 * v.0 - c.0 * v.1) / speed)
}
