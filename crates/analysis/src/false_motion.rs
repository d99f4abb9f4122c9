//! False motion that a search for abrupt changes away from the stops ([`crate::erratic`]) does not reach or not name.
//!
//! Not a family: raw material of *spin-out* (also [`ahead`] and [`frozen`]), and of *tracking loss* ([`one_axis`], [`top_speed`]). Three looks
//! at one swipe, each asked only where the one before found nothing:
//!
//! - *Named*: counts that are merely missing leave nothing backwards and nothing across. So a reversal that went back by no more than
//!   rounding is none (added after a settled count within a silence had been told as 260 mm of false motion); a thin stretch in which reports
//!   run backwards by more than rounding, or that leaves more than [`ACROSS`] of what is missing across, and of
//!   [`LEAST_MM`], is false motion.
//! - *A turn*: motion that turns as no arm can, further short of the stop than any bounce happens ([`BEFORE_STOP`] of
//!   the travel); and goes on in the swipe's direction after it, or lacks counts and went backwards or sideways further than
//!   any bounce goes ([`BOUNCE_MM`]), up to the stop or near it. The bound is that of [`crate::erratic`], held against the
//!   whole change of velocity, along and across. At long report intervals
//!   an arm may turn as abruptly; but a hand that turns back on its way still gets to the stop. So a swipe that goes back
//!   without a rest and lacks what it went back, and more, has not been turned by the hand ([`Look::back`]).
//! - *Straight*: the place runs along a straight line for so long that a peak above it, by the slopes beside it, would have
//!   counted what the swipe lacks. Place and not speed, because frames that beat against the reports leave it straight to
//!   one frame's motion, while a hand's own peak bends it by c L³/120 (c: bend of the speed, L: length), 9 mm in 0.1 s of
//!   a 0.2 s swipe. Only swipes whose shortfall
//!   the operator does not explain: a hand's flat top with steep shoulders can come near it (seen: 51 ms, 20 mm short). Once
//!   one swipe of the step has repeated, those that the operator would explain are asked, too ([`excused`]).
//!
//! Cost: O(reports of the swipe).

use crate::erratic::arc::{self, Turning, turned};
use crate::erratic::cells::CONTIGUOUS_MANY;
use crate::erratic::{ARM_ACCELERATION, Bench, LEAST_MM, Stretch, Wrong};
use crate::host::HostSpans;
use crate::series::{CONTIGUOUS, DUE, Frame, Sample, Series};
use crate::step::{PhaseView, SwipeView};
use crate::swipes::{PAUSE, Swipe};
use std::ops::Range;

pub(crate) mod ahead;
pub(crate) mod frozen;
pub(crate) mod one_axis;
mod setting_out;
pub(crate) mod top_speed;

/// Reports that come faster than this are taken together, nanoseconds.
const CELL: f64 = 1e6;
/// Time from which the speed before a place is taken, nanoseconds.
const BEFORE: f64 = 4e6;
/// Both ends of a window and of the reports before it are rounded to a count.
const ROUNDING: f64 = 2.5;
/// Five standard deviations of 2 % a report, and of the speed before on top.
const NOISE: f64 = 0.15;
/// Windows in which a turn may stand out, in cells.
const WINDOWS: [usize; 4] = [1, 2, 3, 4];
/// Motion across is no motion along from this share on (14 degrees).
pub const ACROSS: f64 = 0.25;
/// A bounce happens at the stop: nearer to it than this share of the travel, even if a tenth of the counts were lost.
const BEFORE_STOP: f64 = 0.9;
/// No bounce goes further back, mm: a contact at 1.5 m/s that throws back 40 % of the speed, against a hand that
/// pushes on with 20 m/s², goes 9 mm (common practice, no source).
pub const BOUNCE_MM: f64 = 12.0;
/// A turn back is looked at over this time before and after it, nanoseconds: three reports at 8 ms.
const TURN_NS: i64 = 24_000_000;
/// Next to where a swipe begins, a device may twist, mm.
const START_MM: f64 = 8.0;
/// A straight place stays this near to a line: rounding in counts, and the motion within a frame of 3 kHz (data sheets say
/// 1,500 to 12,000 a second; a slower sensor that repeats is told as a short swipe).
const STRAIGHT: (f64, f64) = (2.0, 0.33e6);
/// Starts that are tried for the longest straight run.
const STARTS: usize = 64;
/// Time beside a straight run over which its change of speed is known, nanoseconds; half a quarter of a run if that is less.
const BESIDE: f64 = 8e6;
/// Straight runs in a swipe at most.
const MOST_RUNS: usize = 4;
/// Reports in a straight run at least, and counts in each cell.
const LEAST_RUN: (usize, f64) = (5, 8.0);
/// The shoulders of a natural peak hide 1.4 % of the travel in what is straight of it (minimum jerk in 0.2 s); twice that is
/// asked for.
const HIDDEN: f64 = 0.03;
/// A peak would have counted by its shoulders what is missing, to this factor. (It may have counted far more: a sensor that
/// repeats goes on while the hand already slows, and counts too much there.)
const ALIKE: f64 = 2.5;
/// A peak with these shoulders would have bent the place by so many times what a straight one may. One that just fits in has
/// 1.25 by its own shoulders, because they get steeper away from it; a hand's flat top was seen to have 3.2.
const BENT: f64 = 5.0;

/// Names and adds false motion of one swipe; `lacks`: it is short, and no operator explains it.
pub fn complete(
    series: &Series,
    frame: Frame,
    swipe: &Swipe,
    bench: &Bench,
    lacks: bool,
    stretches: &mut Vec<Stretch>,
) {
    let known = |v: f64| v.is_finite() && v > 0.0;
    if !known(bench.slot) || !known(bench.counts_per_mm) || !known(swipe.one_travel) {
        return;
    }
    let Some(look) = Look::new(series, frame, swipe, bench) else { return };
    for stretch in stretches.iter_mut().filter(|s| s.wrong == Wrong::Reversal && !look.goes_back(s)) {
        stretch.wrong = Wrong::Thin;
    }
    for stretch in stretches.iter_mut().filter(|s| s.wrong == Wrong::Thin) {
        stretch.wrong = look.named(stretch).unwrap_or(Wrong::Thin);
    }
    if stretches.iter().all(|s| s.wrong == Wrong::Thin)
        && let Some(found) =
            look.turn().or_else(|| look.back()).or_else(|| look.setting_out().filter(|_| lacks))
    {
        stretches.retain(|s| s.rows.end <= found.rows.start);
        stretches.push(found);
    }
    if lacks {
        look.add_straight(stretches);
    }
}

/// Straight runs of swipes that are short and that the operator would explain, by what others of the step show: a sensor that
/// repeats makes swipes short by any amount, and so now and then two in a row alike, or the last one. (Added after one in
/// thirty repeats of 4 % of the travel had been seen to be excused so.)
pub fn excused(phases: &mut [PhaseView], bench: &Bench, host: &HostSpans) {
    let repeats = |s: &SwipeView| s.stretches.iter().any(|s| s.wrong == Wrong::Repeated);
    if !phases.iter().flat_map(|p| &p.swipes).any(repeats) {
        return;
    }
    for PhaseView { series, swipes, frame, .. } in phases {
        let Some(frame) = *frame else { continue };
        for view in swipes.iter_mut().filter(|s| s.swipe.began_short || s.swipe.stopped_short) {
            if let Some(look) = Look::new(series, frame, &view.swipe, bench) {
                look.add_straight(&mut view.stretches);
                view.stretches.retain(|s| !s.is_explained_by(host));
            }
        }
    }
}

/// Takes back reversals that the stop may have made: where, with as many counts as were lost before the swipe's first report, it may have
/// been there, and the motion goes no further after. (Added after devices that were thrown back by 20 to 30 mm had been told to spin out in
/// 39 swipes whose start they had lost.)
pub fn drop_bounces(
    series: &Series,
    frame: Frame,
    swipe: &Swipe,
    bench: &Bench,
    lost: f64,
    stretches: &mut Vec<Stretch>,
) {
    if lost <= 0.0 || stretches.iter().all(|s| s.wrong != Wrong::Reversal) {
        return;
    }
    let Some(look) = Look::new(series, frame, swipe, bench) else { return };
    let may_be_a_bounce = |s: &Stretch| {
        let place = look.places[s.rows.start.saturating_sub(swipe.rows.start).min(look.counts.len())];
        let further = look.places[look.counts.len()] - place;
        place + lost >= BEFORE_STOP * swipe.one_travel && further <= BOUNCE_MM * look.per_mm
    };
    stretches.retain(|s| s.wrong != Wrong::Reversal || !may_be_a_bounce(s));
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
    /// Radians per count by which it turns on its way.
    bend: f64,
    /// See [`Bench::beat`].
    beat: f64,
}

impl<'a> Look<'a> {
    fn new(series: &'a Series, frame: Frame, swipe: &'a Swipe, bench: &Bench) -> Option<Look<'a>> {
        let samples = series.samples.get(swipe.rows.clone()).filter(|s| s.len() > LEAST_RUN.0)?;
        let counts = swipe.counts(samples, frame);
        let mut places = Vec::with_capacity(counts.len() + 1);
        places.push(0.0);
        let mut place = 0.0;
        places.extend(counts.iter().map(|c| {
            place += c.0;
            place
        }));
        let (slot, per_mm) = (bench.slot, bench.counts_per_mm);
        let bend = swipe.sign() * bench.bend;
        let (each, beat) = (per_cell(slot), bench.beat);
        Some(Look { samples, counts, places, swipe, slot, per_mm, each, bend, beat })
    }

    fn of(phase: &'a PhaseView, view: &'a SwipeView, bench: &Bench) -> Option<Look<'a>> {
        Look::new(&phase.series, phase.frame?, &view.swipe, bench)
    }

    fn sum(&self, rows: Range<usize>) -> (f64, f64) {
        self.counts[rows].iter().fold((0.0, 0.0), |a, c| (a.0 + c.0, a.1 + c.1))
    }

    /// True if no report is missing before this one.
    fn follows(&self, row: usize) -> bool {
        let most = if self.each == 1 { CONTIGUOUS } else { CONTIGUOUS_MANY };
        row > 0 && (self.samples[row].t.saturating_sub(self.samples[row - 1].t) as f64) < most * self.slot
    }

    /// Mean motion of the reports right before one, and how many cells they fill.
    fn before(&self, row: usize) -> Option<((f64, f64), f64)> {
        let most = self.each * ((BEFORE / (self.slot * self.each as f64)) as usize).clamp(1, 4);
        let from = (row.saturating_sub(most) + 1..=row).rev().find(|&r| !self.follows(r));
        // The swipe's first report may hold what a long silence did.
        let from = from.unwrap_or(row.saturating_sub(most)).max(1);
        let n = row.saturating_sub(from);
        if n < self.each {
            return None;
        }
        let (mut along, mut across) = self.sum(from..row);
        if !self.follows(from) {
            // What the first report after a silence holds of it was made all through it.
            let slots = self.samples[from].t.saturating_sub(self.samples[from - 1].t) as f64 / self.slot;
            let share = 1.0 - 1.0 / slots.max(1.0);
            (along, across) = (along - share * self.counts[from].0, across - share * self.counts[from].1);
        }
        let per = self.each as f64 / n as f64;
        let mean = (along * per, across * per);
        (mean.0 >= DUE as f64).then_some((mean, n as f64 / self.each as f64))
    }

    /// Where the swipe may have struck its stop: from there on it only comes back, and no further than a bounce.
    fn bounce(&self) -> usize {
        let highest = |best: usize, row: usize| if self.places[row] > self.places[best] { row } else { best };
        let top = (1..self.places.len()).fold(0, highest);
        let back = self.places[top..].iter().map(|place| self.places[top] - place).fold(0.0, f64::max);
        if back <= BOUNCE_MM * self.per_mm { top } else { self.counts.len() }
    }

    /// Whether the place falls by more than rounding within a reversal.
    fn goes_back(&self, stretch: &Stretch) -> bool {
        let row = |row: usize| row.saturating_sub(self.swipe.rows.start).min(self.counts.len());
        let (first, last) = (row(stretch.rows.start), row(stretch.rows.end));
        let (mut top, mut most) = (f64::NEG_INFINITY, 0.0f64);
        for place in &self.places[first..=last.max(first)] {
            top = top.max(*place);
            most = most.max(top - place);
        }
        most > ROUNDING
    }

    /// What a thin stretch really is; `None` if counts are merely missing. (A thin stretch reaches to the stop if the swipe is
    /// too short for its counts to come back: one in forty partial losses at half of the peak was a reversal for its bounce.)
    fn named(&self, stretch: &Stretch) -> Option<Wrong> {
        let own = |row: usize| row.checked_sub(self.swipe.rows.start);
        let (first, last) = (own(stretch.rows.start)?, own(stretch.rows.end)?.min(self.counts.len()));
        let from = first.saturating_sub(self.each);
        let to = (last + self.each).min(self.bounce());
        let (v, _) = self.before(from).or_else(|| self.before(first))?;
        let speed = v.0.hypot(v.1);
        if from > to {
            return None;
        }
        let turning = Turning {
            bend: self.bend,
            counts_per_mm: self.per_mm,
            speed: speed / self.width_s(),
            left: self.swipe.one_travel - self.places[from],
        };
        // Each in the local direction: on an arc this turns on the way.
        let local = |row: usize| arc::along(self.counts[row], v, turning.within(self.seconds(from, row)));
        let turned: Vec<(f64, f64)> = (from..to).map(local).collect();
        let (mut run, mut deepest) = (0.0f64, 0.0f64);
        for (along, _) in &turned {
            run = if *along < 0.0 { run + along } else { 0.0 };
            deepest = deepest.min(run);
        }
        // A body thrown back by its stop comes back by less, and last of all. (Added after the rebounds of a hand that
        // struck hard, of 0.2 mm, had been told as 100 to 160 mm of false motion, by what was missing before them.)
        let goes_on = self.places[self.counts.len()] - self.places[to] > BOUNCE_MM * self.per_mm;
        let thrown_back = if goes_on { LEAST_MM } else { BOUNCE_MM } * self.per_mm;
        if deepest < -ROUNDING.max(thrown_back) {
            return Some(Wrong::Reversal);
        }
        let along: f64 = turned.iter().map(|c| c.0).sum();
        let across: f64 = turned.iter().map(|c| c.1).sum();
        // Of the least that is worth a finding at least: where nothing is missing a hand's own wobble is not false. And of what
        // goes on in the swipe's direction: that is there, however little a hand that speeds up lacks by then.
        let missing = speed / self.each as f64 * turned.len() as f64 - along;
        let wrong = missing.abs().max(along).max(LEAST_MM * self.per_mm);
        (across.abs() > ROUNDING.max(ACROSS * wrong)).then_some(Wrong::Sideways)
    }

    /// Width of a cell, seconds.
    fn width_s(&self) -> f64 {
        self.slot * self.each as f64 * 1e-9
    }

    /// Counts by which an arm may change what a cell holds from one to the next.
    fn arm(&self) -> f64 {
        ARM_ACCELERATION * 1e3 * self.per_mm * self.width_s().powi(2)
    }

    /// Counts by which some cells may differ from what the speed (counts a cell) of `f` cells before them leads to.
    fn bound(&self, speed: f64, cells: f64, f: f64) -> f64 {
        ROUNDING + NOISE * speed * cells.sqrt() + self.arm() * cells * (cells + f) / 2.0
    }

    /// A turn that no arm makes, short of the stop: the motion goes on after it, or stays wrong for longer than a bounce.
    fn turn(&self) -> Option<Stretch> {
        let bounce = BOUNCE_MM * self.per_mm;
        let lacks = self.swipe.one_travel - self.swipe.along;
        let width_s = self.width_s();
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
                let bound = self.bound(speed, cells, f);
                let due = speed * cells;
                // As far as it can have come before it turned back, no slower than it came.
                if place + (due + along) / 2.0 > BEFORE_STOP * self.swipe.one_travel {
                    break;
                }
                let wrong = match (due - along).hypot(across) > bound {
                    true if along < -ROUNDING => Wrong::Reversal,
                    // Of what it is as well: after a report that held little, a whole one in its direction is no motion across.
                    true if across.abs() > ROUNDING.max(ACROSS * due.max(along)) => Wrong::Sideways,
                    _ => continue,
                };
                let to = self.forward_again(row + 1, v);
                let all = self.sum(row..to);
                let (back, aside) = turned(all, v);
                // What goes on for longer than a bounce comes back was not at the stop.
                let goes_on = self.places[self.counts.len()] - self.places[to] > bounce;
                if !goes_on && ((-back).max(aside.abs()) < bounce || lacks < bounce) {
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

    /// The furthest way back, short of the stop and without a rest, of a swipe that lacks as much and more. A hand that turns
    /// back on its way lacks nothing in the end, and one that has lost counts on its way does not turn.
    fn back(&self) -> Option<Stretch> {
        let (mut top, mut best) = (0, (0, 0, 0.0));
        for row in 1..self.places.len() {
            if self.places[row] >= self.places[top] {
                top = row;
            } else if self.places[top] - self.places[row] > best.2 {
                best = (top, row, self.places[top] - self.places[row]);
            }
        }
        let (from, to, depth) = best;
        let short_of_it = self.places[from] < BEFORE_STOP * self.swipe.one_travel;
        let lacks = self.swipe.one_travel - self.swipe.along;
        let gap = |r: usize| self.samples[r].t.saturating_sub(self.samples[r - 1].t);
        let rests = from == 0 || (from..to).any(|r| gap(r) >= PAUSE);
        if depth < BOUNCE_MM * self.per_mm || lacks < depth || !short_of_it || rests {
            return None;
        }
        // No slower around the turn than a share of what it runs at before and after.
        let speed =
            |a: usize, b: usize| (self.places[b] - self.places[a]) / self.seconds(a - 1, b - 1).max(1e-9);
        let early = self.samples.partition_point(|s| s.t < self.samples[from - 1].t.saturating_sub(TURN_NS));
        let late = self.samples.partition_point(|s| s.t <= self.samples[from - 1].t.saturating_add(TURN_NS));
        let (early, late) = (early.max(1).min(from - 1), late.min(to).max(from + 1));
        if early == 0 || early >= from || late > to {
            return None;
        }
        let (there, back) = (speed(early, from), speed(from, late));
        let fast = 0.5 * depth / self.seconds(from - 1, to - 1).max(1e-9);
        if there < fast || -back < fast {
            return None;
        }
        Some(Stretch {
            wrong: Wrong::Reversal,
            rows: self.swipe.rows.start + from..self.swipe.rows.start + to,
            begin: self.samples[from - 1].t,
            end: self.samples[to - 1].t,
            jump_m_s: (there - back) / self.per_mm * 1e-3,
            within_s: self.seconds(early - 1, late - 1) / 2.0,
            counts: self.sum(from..to),
            recovered: to < self.counts.len(),
        })
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

    /// Adds straight runs where nothing else than repeats is wrong. Some equal reports in such a run are part of it.
    fn add_straight(&self, stretches: &mut Vec<Stretch>) {
        if stretches.iter().any(|s| s.wrong != Wrong::Repeated) {
            return;
        }
        let found = self.straight();
        let part = |s: &Stretch| found.iter().any(|f| s.rows.start < f.rows.end && f.rows.start < s.rows.end);
        stretches.retain(|s| !part(s));
        stretches.extend(found);
        stretches.sort_by_key(|s| s.begin);
    }

    /// Straight runs that hide as many counts as are missing, and more: a hand that rests on its way has some.
    fn straight(&self) -> Vec<Stretch> {
        let travel = self.swipe.one_travel;
        let missing = travel - self.swipe.along;
        if missing < HIDDEN * travel {
            return Vec::new();
        }
        let (mut parts, mut found, mut all) = (Vec::new(), Vec::new(), 0.0);
        parts.push(0..self.counts.len());
        while let Some(part) = parts.pop().filter(|_| found.len() < MOST_RUNS) {
            let Some((run, hidden)) = self.straight_run(&part) else { continue };
            parts.extend([part.start..run.start, run.end..part.end]);
            all += hidden;
            found.push(Stretch {
                wrong: Wrong::Repeated,
                rows: self.swipe.rows.start + run.start..self.swipe.rows.start + run.end,
                begin: self.samples[run.start].t,
                end: self.samples[run.end - 1].t,
                jump_m_s: 0.0,
                within_s: 0.0,
                counts: self.sum(run.clone()),
                recovered: true,
            });
        }
        found.retain(|_| all >= missing / ALIKE);
        found
    }

    /// The longest straight run of some reports, if it hides a peak, with the counts that this would have had.
    fn straight_run(&self, part: &Range<usize>) -> Option<(Range<usize>, f64)> {
        let n = part.len();
        let starts = part.clone().step_by((n / STARTS).max(1));
        let longest = starts.map(|first| (first, self.line(first, part.end)));
        let (first, last) = longest.max_by_key(|(first, last)| last.saturating_sub(*first))?;
        if last < first + LEAST_RUN.0 {
            return None;
        }
        let run = self.seconds(first, last);
        let counts = self.places[last + 1] - self.places[first + 1];
        let level = counts * self.each as f64 / (last - first) as f64;
        let speed = counts / run;
        if level < LEAST_RUN.1 || !speed.is_finite() || speed <= 0.0 {
            return None;
        }
        // Sooner after the swipe's first report than an arm comes up to it, it begins with what was lost before that one: what it hides is
        // not known by one shoulder. (Added after swipes by a stage that had lost their start had been told as a top speed.)
        if speed > 1e3 * ARM_ACCELERATION * self.per_mm * (self.seconds(0, first) + 1e-9 * self.slot) {
            return None;
        }
        // Mean change of speed beside it, over a quarter of its length or half of that: less says nothing, unless it is as long
        // as says something beside any ([`BESIDE`]: a hand that flicks is seen no longer beside a level of 130 ms).
        let reach = (0.25e9 * run).max(2.0 * self.slot) as i64;
        let beside = |from: usize, to: usize| -> Option<f64> {
            let t = self.seconds(from, to);
            let counts = self.places[to + 1] - self.places[from + 1];
            (to > from + 1 && t >= (0.5 * reach as f64).min(BESIDE) * 1e-9)
                .then(|| 2.0 * (speed * t - counts) / (t * t))
        };
        let early = self.samples.partition_point(|s| s.t < self.samples[first].t.saturating_sub(reach));
        let late = self.samples.partition_point(|s| s.t <= self.samples[last].t.saturating_add(reach));
        // No further than to where reports are missing: what a silence hides tells no change of speed.
        let apart = |row: usize| {
            self.samples[row].t.saturating_sub(self.samples[row - 1].t) as f64 > self.most_apart()
        };
        let (early, late) =
            (early.max(part.start).min(first), late.min(part.end).saturating_sub(1).max(last));
        let early = (early + 1..=first).rev().find(|row| apart(*row)).unwrap_or(early);
        let late = (last + 1..=late).find(|row| apart(*row)).map_or(late, |row| row - 1);
        let (rise, fall) = (beside(early, first), beside(last, late));
        let (rise, fall) = (rise.or(fall)?, fall.or(rise)?);
        if rise <= 0.0 || fall <= 0.0 {
            return None;
        }
        // A parabola that meets a level at slopes a and b over L rises (a + b)/2 · L/4 above it, and bends its place by
        // (a + b) L² / 120.
        let hidden = 0.5 * (rise + fall) * run / 4.0 * run * 2.0 / 3.0;
        let bend = (rise + fall) * run * run / 120.0;
        let give = STRAIGHT.0 + speed * STRAIGHT.1 * 1e-9;
        let enough = hidden >= HIDDEN * self.swipe.one_travel && bend >= BENT * give;
        enough.then_some((first + 1..last + 1, hidden))
    }

    fn seconds(&self, from: usize, to: usize) -> f64 {
        self.samples[to].t.saturating_sub(self.samples[from].t) as f64 * 1e-9
    }

    /// Time between reports, nanoseconds, from which on some are missing where they are taken together: within a cell their
    /// place shows whether counts were lost. (At two slots the retries of a radio of 8 kHz had cut each level of 0.1 s in
    /// two, so that none was seen.)
    fn most_apart(&self) -> f64 {
        (CONTIGUOUS_MANY * self.slot).max(CELL)
    }

    /// Last report up to which the place runs along one line from this one (a cone that narrows).
    fn line(&self, first: usize, end: usize) -> usize {
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        for row in first + 1..end {
            let dt = self.samples[row].t.saturating_sub(self.samples[first].t) as f64;
            let gap = self.samples[row].t.saturating_sub(self.samples[row - 1].t) as f64;
            if dt <= 0.0 || gap > self.most_apart() {
                return row - 1;
            }
            let moved = self.places[row + 1] - self.places[first + 1];
            let give = STRAIGHT.0 + moved / dt * STRAIGHT.1;
            (low, high) = (low.max((moved - give) / dt), high.min((moved + give) / dt));
            if low > high {
                return row - 1;
            }
        }
        end - 1
    }
}

#[cfg(test)]
mod tests;
