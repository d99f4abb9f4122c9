//! Starts from rest, and what in a start shows that motion came before its first report.
//!
//! Not a family: the raw material of [wake-up](crate::families), found once a step. Owns the reading of one start;
//! does not know how long a swipe ought to be.
//!
//! A *start* is a report into a swipe after [20 ms](crate::step::LONGEST_INTERVAL) of silence, if the device has lain
//! still for [`REST`] by then, or else if it shows a lump: a count of the hand that waits may lie between. Still is
//! what stays within [`LIES`] counts, or 0.1 mm, of one place: counts that flicker at an edge are no motion. (First
//! still was what said nothing; of devices that lost the first 36 to 84 ms of every swipe and flickered while they
//! lay at the stop, a third of the starts were then put down to the sensor, or to nothing.)
//!
//! Two looks, each with the distance from what a sound start may do in standard deviations, z:
//!
//! - *lump*: the first report holds more than a slot's counts. A hand that sets out gets faster, so a sound one holds at
//!   most the c counts a slot that come after it, and one sensor frame more where frames beat against reports:
//!   `z = (first − c (1 + f)) / σ`, f: a frame of [`FRAME`] in slots, at most one. Where nothing comes after but a bounce,
//!   because the swipe has ended meanwhile, c is what a hand moves in a slot at its fastest.
//! - *steep*: reports after the first, over w and over as long again, hold X₁ and X₂ counts. From rest at an acceleration
//!   that does not fall, X₂ ≥ 3 X₁ (equal at constant acceleration; a smooth start makes 7 X₁). A swipe that is seen from
//!   its middle on makes less: `z = (3 X₁ − X₂) / σ`. With R = X₂/X₁ and constant acceleration the hand had been moving
//!   for `τ = w (3 − R) / (2 (R − 1))` and made `X₁ τ² / (w² + 2 w τ)` counts that the device did not; of a smooth start
//!   more than that.
//!
//! What was held back may come in several reports of a slot each, within 16 ms ([`handed_on`]). Then the first k of them are the lump
//! if the last holds [`OWN`] times what comes after it, c, and all of them more than c (k + f) as above, and more than an arm makes that
//! speeds up from rest and has braked to c by then: `A T²/4 + T v/2 − v²/4A`, T = k + f slots, v the speed of c, at most A T. Each report
//! is worth a slot, whatever its stamp says: what a host held up comes in a rush, but in no fuller reports. Of a swipe that lacks more
//! than the lump it is none ([`GAIN`]). A device that sticks and slips jumps by a millimetre as well, but less abruptly. (Added after
//! starts of up to 80 mm that came in two to five reports had been told as clean swipes.)
//!
//! A hand that moves less than a count in the silence s before adds up to 2 w/s to `3 X₁ − X₂`, which is taken off.
//!
//! σ: rounding of each edge (1/√12 count), 2 % of the counts, and a frame at each edge. Cost: O(reports of the flank).

use crate::erratic::{ARM_ACCELERATION, ARM_SPEED};
use crate::series::{CONTIGUOUS, DUE, Frame, Sample};
use crate::silence::{BEYOND_THE_STOP, CELL, OWN, handed_on};
use crate::step::{LONGEST_INTERVAL, PhaseView, StepView, SwipeView};
use crate::swipes::Swipe;
use std::ops::Range;

/// No motion for so long is rest: no device that moves at all is silent for a tenth of a second.
pub(crate) const REST: i64 = 100_000_000;
/// Standard deviations beyond what a sound start may do: with some 700 looks a session, one session in 5,000 at most.
const BEYOND: f64 = 5.0;
/// Of a start that is beyond that already, its first report is so far beyond a slot's: one sound start in 700.
const SURE_OF_THE_SECOND: f64 = 3.0;
/// Smallest motion that is missing or late, as the start itself tells: some half of what it is where the start is smooth.
pub(crate) const LEAST_MM: f64 = 1.0;
/// A body comes to rest at a stop no better, mm.
pub(crate) const LEAST_SCATTER_MM: f64 = 0.1;
/// Times w over which reports are taken together, nanoseconds; whole slots, one and more.
const SPANS: [f64; 9] = [2e6, 3e6, 4e6, 6e6, 8e6, 12e6, 16e6, 24e6, 32e6];
/// Both spans together lie in so much of the travel: a minimum-jerk swipe keeps X₂ > 3 X₁ up to half of it, one that peaks
/// at a third of its time up to a third.
const PART: f64 = 0.2;
/// Standard deviations by which counts may be fewer than just before while a hand gets faster.
const GROWS: f64 = 3.0;
/// Longest time between two looks of a sensor that is awake (1,500 a second; from memory of old data sheets).
const FRAME: f64 = 7e5;
/// Scatter of counts beside rounding, as in [`crate::erratic`]: data sheets give 1 % typical; 2 % is believed.
const NOISE: f64 = 0.02;
/// Reports with an empty slot between them are apart by more than a reader's delay as well, nanoseconds.
const DELAY: f64 = 5e5;
/// Counts within which a body that lies still is found: one that flickers at an edge of each axis.
const LIES: f64 = 2.0;
/// Before a rest on the way the hand slows, to this share of the swipe's peak or of its own speed just before; else it is
/// a silence and no rest. The second is what ends a silence in [`crate::silence`].
const SLOWED: (f64, f64) = (0.1, 0.6);
/// Time over which that is seen, nanoseconds; two slots and more.
const SLOWED_OVER: i64 = 10_000_000;
/// A swipe that lacks more than came late, and this share of the travel for a gain, has lost something else, and its counts may have
/// fallen for that, or because it struck the stop.
const GAIN: f64 = 0.05;
/// Mean rate after the first report is taken over this time, nanoseconds; one slot and more.
const RATE_OVER: f64 = 2e6;

/// More in the first report than a slot, or in several than in theirs.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Lump {
    /// Counts beyond half a slot's, and beyond the slots of further reports: the device may have woken at any time in the first.
    pub(crate) counts: f64,
    pub(crate) z: f64,
    /// Reports that it came in.
    pub(crate) reports: usize,
}

/// A start at speed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Steep {
    /// Width of each span, nanoseconds, and their counts.
    pub(crate) span: f64,
    pub(crate) counts: (f64, f64),
    /// Counts that were made before at constant acceleration; infinite if there is none.
    pub(crate) before: f64,
    pub(crate) z: f64,
}

/// A start from rest.
#[derive(Clone, Debug)]
pub struct Start {
    /// Time of the first report, of the last one before, and since when the device has lain where it was.
    pub(crate) t: i64,
    pub(crate) before: i64,
    pub(crate) still: i64,
    /// Time of the last report of its lump, or of the first report.
    pub(crate) until: i64,
    /// Counts along of the first report, and a slot after the lump.
    pub(crate) first: f64,
    pub(crate) per_slot: f64,
    pub(crate) lump: Lump,
    /// The one of all spans by which most is missing, of those that stand out.
    pub(crate) steep: Option<Steep>,
    /// Spans that were looked at.
    pub(crate) looks: usize,
    /// True if no arm sets out like this: it is at speed, and so fast by the second report that an arm has moved by [`LEAST_MM`]
    /// unsaid, as for a silence ([`crate::silence`]). No jerk does that.
    pub(crate) by_no_arm: bool,
}

impl Start {
    /// True if counts were made before the first report, by how it goes on.
    pub(crate) fn at_speed(&self, per_mm: f64) -> bool {
        self.steep.is_some_and(|s| s.before >= LEAST_MM * per_mm)
    }

    /// True if they came with it. Where the start says already that they were made, less of a lump will do.
    pub(crate) fn late(&self, per_mm: f64) -> bool {
        let least_z = if self.at_speed(per_mm) { SURE_OF_THE_SECOND } else { BEYOND };
        self.lump.z >= least_z && self.lump.counts >= LEAST_MM * per_mm
    }

    /// True if they came with it and the next ones.
    pub(crate) fn several(&self, per_mm: f64) -> bool {
        self.until > self.t && self.late(per_mm)
    }

    fn by_no_arm(&self, per_mm: f64, slot: f64) -> bool {
        let arm = 1e3 * ARM_ACCELERATION;
        let speed = self.per_slot / (slot * 1e-9) / per_mm;
        self.at_speed(per_mm) && speed > 1.5 * arm * slot.max(CELL) * 1e-9 + (2.0 * arm * LEAST_MM).sqrt()
    }
}

/// Counts that were lost before a start.
#[derive(Clone, Copy, Debug)]
pub(crate) struct LostBefore {
    /// Time of its first report.
    pub(crate) t: i64,
    /// At constant acceleration.
    pub(crate) likely: f64,
    /// At the speed with which it begins since the last report before.
    pub(crate) at_most: f64,
}

/// What was lost before the starts of a swipe that show a loss or what came late (of which a full report throws away the
/// rest). Only what no arm makes counts.
pub(crate) fn lost_before(starts: &[Start], per_mm: f64, slot: f64) -> Vec<LostBefore> {
    let own = starts.iter().filter(|s| s.by_no_arm || s.late(per_mm));
    let each = own.map(|s| {
        let late = s.late(per_mm);
        let at_most = if late { 0.0 } else { s.per_slot / slot * s.t.saturating_sub(s.before) as f64 };
        LostBefore { t: s.t, likely: s.steep.map_or(0.0, |steep| steep.before.min(at_most)), at_most }
    });
    each.collect()
}

/// Starts of each swipe of a phase.
pub(crate) fn of_phase(step: &StepView, phase: &PhaseView) -> Vec<Vec<Start>> {
    let per_mm = step.scale.map_or(f64::INFINITY, |s| s.counts_per_mm);
    let mut after = i64::MIN;
    let each = phase.swipes.iter().map(|swipe| {
        let mut own = of_swipe(step, phase, swipe, after);
        own.retain(|start| start.t.saturating_sub(start.still) >= REST || start.late(per_mm));
        after = swipe.swipe.end;
        own
    });
    each.collect()
}

/// Starts from rest in a swipe or just before it; `after` is the end of the swipe before.
fn of_swipe(step: &StepView, phase: &PhaseView, swipe: &SwipeView, after: i64) -> Vec<Start> {
    let Some(frame) = phase.frame else { return Vec::new() };
    let per_mm = step.scale.map_or(1.0, |s| s.counts_per_mm);
    let samples = &phase.series.samples;
    let end = swipe.swipe.rows.end.min(samples.len());
    let mut first = swipe.swipe.rows.start.min(end);
    // The swipe is taken to begin where it has left a creep; its first counts may lie before.
    while first > 0
        && first < end
        && samples[first].t.saturating_sub(samples[first - 1].t) < REST
        && samples[first - 1].t > after
    {
        first -= 1;
    }
    let flank = Flank {
        samples: &samples[..end],
        frame,
        sign: swipe.swipe.sign(),
        slot: step.slot(),
        most: PART * swipe.swipe.one_travel,
        least_z: BEYOND,
        arm: ARM_ACCELERATION * 1e3 * per_mm * 1e-18,
        fastest: ARM_SPEED * 1e3 * per_mm * 1e-9,
        lies: LIES.max(LEAST_SCATTER_MM * per_mm),
        least: LEAST_MM * per_mm,
        lacks: swipe.swipe.one_travel * (1.0 - GAIN) - swipe.swipe.along,
    };
    let rests = |row: &usize| {
        let before = row.checked_sub(1).map_or(phase.span.begin.0, |b| samples[b].t);
        samples[*row].t.saturating_sub(before) >= LONGEST_INTERVAL.0
            && (*row <= swipe.swipe.rows.start || flank.rested(first..*row, &swipe.swipe))
    };
    let rows = (first..end).filter(rests);
    rows.filter_map(|row| {
        let before = row.checked_sub(1).map_or(phase.span.begin.0, |b| samples[b].t);
        let still = flank.still_since(row, phase.span.begin.0);
        let by_no_arm = |start: &Start| start.by_no_arm(per_mm, flank.slot);
        let start = flank.start(row, before);
        let start = start.map(|start| Start { still, by_no_arm: by_no_arm(&start), ..start });
        start.filter(|start| !step.host.explain(start.t, flank.end(start.t)))
    })
    .collect()
}

/// Reports up to a swipe's end.
struct Flank<'a> {
    samples: &'a [Sample],
    frame: Frame,
    sign: f64,
    slot: f64,
    /// Counts within which a start is looked at.
    most: f64,
    least_z: f64,
    /// An arm's acceleration, counts per square nanosecond.
    arm: f64,
    /// A hand's highest speed, counts per nanosecond.
    fastest: f64,
    /// Counts within which a body that lies still may be found.
    lies: f64,
    /// Least motion, counts.
    least: f64,
    /// Counts that the swipe lacks by more than a gain.
    lacks: f64,
}

impl Flank<'_> {
    fn along(&self, s: &Sample) -> f64 {
        self.sign * self.frame.of(s).0
    }

    /// Time until which a start is looked at at least.
    fn end(&self, t: i64) -> i64 {
        t.saturating_add((2.0 * SPANS[3].max(self.slot)) as i64)
    }

    /// Time since which the device lies within [`LIES`] counts or [0.1 mm](LEAST_SCATTER_MM) of where a report finds it: a hand's
    /// tremble, and counts that flicker at an edge, are no motion.
    fn still_since(&self, row: usize, begin: i64) -> i64 {
        let Some(t) = self.samples.get(row).map(|s| s.t) else { return begin };
        let mut place = (0.0f64, 0.0f64);
        for s in self.samples[..row].iter().rev() {
            if t.saturating_sub(s.t) >= REST {
                return s.t;
            }
            place = (place.0 + f64::from(s.x), place.1 + f64::from(s.y));
            if place.0.hypot(place.1) > self.lies {
                return s.t;
            }
        }
        begin
    }

    /// True if the hand rested after the last of these reports: it had slowed, or would else be far beyond the stop.
    fn rested(&self, rows: Range<usize>, swipe: &Swipe) -> bool {
        let (Some(last), Some(next)) = (self.samples[rows.clone()].last(), self.samples.get(rows.end)) else {
            return true;
        };
        let over = SLOWED_OVER.max((2.0 * self.slot) as i64);
        let counts = |from: i64, to: i64| -> f64 {
            let ages = self.samples[rows.clone()].iter().rev().map(|s| (last.t.saturating_sub(s.t), s));
            let here = ages.take_while(|(age, _)| *age < to).filter(|(age, _)| *age >= from);
            here.map(|(_, s)| self.along(s).abs()).sum()
        };
        let recent = counts(0, over);
        let still = (SLOWED.0 * swipe.peak * over as f64 * 1e-9).max(DUE as f64 * over as f64 / self.slot);
        let half_way_on = 0.5 * recent * next.t.saturating_sub(last.t) as f64 / over as f64;
        recent <= still
            || recent <= SLOWED.1 * counts(over, over.saturating_mul(2))
            || swipe.along + half_way_on > BEYOND_THE_STOP * swipe.one_travel
    }

    /// True if no empty slot lies before a report.
    fn follows(&self, row: usize) -> bool {
        let apart = self.samples[row].t.saturating_sub(self.samples[row - 1].t) as f64;
        apart <= (CONTIGUOUS * self.slot).max(self.slot + DELAY)
    }

    /// True if a report is missing before this one.
    fn missing(&self, row: usize) -> bool {
        let due = |s: &Sample| self.along(s).abs() >= DUE as f64;
        !self.follows(row) && due(&self.samples[row]) && due(&self.samples[row - 1])
    }

    /// Counts of the reports after `row` within so many slots of it and after so many; `None` where the swipe ends
    /// before, or a report is missing in it.
    fn sum(&self, row: usize, from: f64, to: f64) -> Option<f64> {
        let t = self.samples[row].t;
        let slots = |s: &Sample| s.t.saturating_sub(t) as f64 / self.slot;
        let (from, to) = (from + 0.5, to + 0.5);
        let mut sum = 0.0;
        let mut ended = true;
        for i in row + 1..self.samples.len() {
            let s = &self.samples[i];
            if self.missing(i) {
                return None;
            }
            if slots(s) > to {
                ended = false;
                break;
            }
            if slots(s) > from {
                sum += self.along(s);
            }
        }
        (!ended).then_some(sum)
    }

    /// True if the counts of each half of both spans are no fewer than those of the half before, beyond chance: else
    /// something has set in that is no start (the sensor counts too little from some speed on, or the hand slows), and
    /// fewer counts in the second span tell nothing of the time before the first.
    fn grows(&self, row: usize, n: f64) -> bool {
        let step = (0.5 * n).floor().max(1.0);
        let mut last = 0.0f64;
        let mut from = 0.0;
        while from + step <= 2.0 * n {
            let Some(now) = self.sum(row, from, from + step) else { return false };
            let frame = (FRAME / self.slot).min(1.0) * last.max(now) / step;
            let variance = (1.0 + frame * frame) / 3.0 + (NOISE * last).powi(2) + (NOISE * now).powi(2);
            if now < last - GROWS * variance.sqrt() {
                return false;
            }
            (last, from) = (now, from + step);
        }
        true
    }

    fn start(&self, row: usize, before: i64) -> Option<Start> {
        let (t, first) = (self.samples[row].t, self.along(&self.samples[row]));
        // What a full report could not hold is handed on with the next ones.
        let top = |s: &Sample| s.x.unsigned_abs().max(s.y.unsigned_abs());
        let full = top(&self.samples[row]);
        let rows = row + 1..self.samples.len();
        let same = rows.take_while(|&i| top(&self.samples[i]) == full && self.follows(i)).count();
        let first_look = self.lump(row, row + same);
        let mut look = first_look;
        // Nothing else tells of such a start.
        let told = look.goes_on || look.lump.z >= self.least_z;
        let (mut last, mut looks) = (row, 1);
        let most = handed_on(self.slot);
        for to in row + 1..self.samples.len().min(row + most) {
            if !self.follows(to) {
                break;
            }
            let several = self.lump(row, to);
            if to <= row + same {
                continue;
            }
            if self.along(&self.samples[to]) <= OWN * several.per_slot {
                if last > row {
                    break;
                }
                continue;
            }
            looks += 1;
            let more = several.lump.counts > look.lump.counts + several.per_slot;
            let z = several.lump.z.min(self.beyond_an_arm(&several));
            if several.lump.counts >= self.least.max(self.lacks)
                && z >= SURE_OF_THE_SECOND
                && (more || look.lump.z < z)
            {
                (look, last) = (Look { lump: Lump { z, ..several.lump }, ..several }, to);
            }
        }
        if !told && look.lump.z < self.least_z {
            return None;
        }
        let (mut steep, mut steep_looks) = self.steepest(last, before);
        // By itself, or where the motion after it says so as well.
        let says_so = steep.is_some_and(|s| s.before >= self.least);
        if last > row && look.lump.z < self.least_z && !says_so {
            (look, last) = (first_look, row);
            (steep, steep_looks) = self.steepest(last, before);
        }
        Some(Start {
            t,
            before,
            still: before,
            until: self.samples[last].t,
            first,
            per_slot: look.per_slot,
            lump: look.lump,
            steep: steep.filter(|_| look.goes_on),
            looks: looks + steep_looks,
            by_no_arm: false,
        })
    }

    /// What reports up to one hold beyond their slots.
    fn lump(&self, row: usize, last: usize) -> Look {
        let held: f64 = self.samples[row..=last].iter().map(|s| self.along(s)).sum();
        let n = (RATE_OVER / self.slot).round().max(1.0);
        // Where the hand has struck the stop meanwhile nothing more comes, or a bounce: the slot holds no more than a hand
        // moves in it.
        let goes_on = self.sum(last, 0.0, n).map(|sum| sum / n);
        let per_slot = goes_on.filter(|per_slot| *per_slot >= 0.0).unwrap_or(self.fastest * self.slot);
        let reports = last - row + 1;
        let slots = reports as f64;
        let most = per_slot * (slots + self.frame());
        let z = (held - most) / self.unsure(held, most, slots);
        let lump = Lump { counts: held - (slots - 0.5) * per_slot, z, reports };
        Look { lump, held, per_slot, goes_on: goes_on.is_some() }
    }

    /// A sensor's frame in slots.
    fn frame(&self) -> f64 {
        (FRAME / self.slot).min(1.0)
    }

    /// Standard deviation of counts that some slots hold, against what they hold at most.
    fn unsure(&self, held: f64, most: f64, slots: f64) -> f64 {
        let n = (RATE_OVER / self.slot).round().max(1.0);
        let edges = (1.0 + (slots / n).powi(2)) / 6.0;
        (edges + (NOISE * held).powi(2) + (NOISE * most).powi(2)).sqrt()
    }

    /// By how many standard deviations a lump is more than an arm makes that speeds up from rest and has braked by the end of its last
    /// report.
    fn beyond_an_arm(&self, look: &Look) -> f64 {
        let slots = look.lump.reports as f64;
        let time = (slots + self.frame()) * self.slot;
        let v = (look.per_slot / self.slot).min(self.arm * time);
        let most = 0.25 * self.arm * time * time + 0.5 * time * v - 0.25 * v * v / self.arm;
        (look.held - most) / self.unsure(look.held, most, slots)
    }

    /// The reports after one as a start at speed, and the spans looked at; `before` is the last one before the start.
    fn steepest(&self, row: usize, before: i64) -> (Option<Steep>, usize) {
        let (mut found, mut looks, mut last): (Option<Steep>, usize, f64) = (None, 0, 0.0);
        for span in SPANS {
            let n = (span / self.slot).round().max(1.0);
            if n == last {
                continue;
            }
            last = n;
            let (Some(x1), Some(x2)) = (self.sum(row, 0.0, n), self.sum(row, n, 2.0 * n)) else { break };
            if x1 + x2 > self.most {
                break;
            }
            if !self.grows(row, n) {
                break;
            }
            looks += 1;
            let within = self.frame() * (x1 + x2) / (2.0 * n);
            // Less than a count was made in the silence before, so that the hand ran at most at one in its length.
            let silent = self.samples[row].t.saturating_sub(before) as f64;
            let ran = 2.0 * n * self.slot / silent.max(self.slot);
            let Some(steep) = steep(n * self.slot, (x1, x2), (within, ran), self.arm) else { continue };
            let more = found.is_none_or(|s| steep.before > s.before);
            if steep.z >= self.least_z && more {
                found = Some(steep);
            }
        }
        (found, looks)
    }
}

/// What some first reports hold.
#[derive(Clone, Copy)]
struct Look {
    lump: Lump,
    /// All of their counts.
    held: f64,
    /// Counts a slot after them.
    per_slot: f64,
    /// True if something comes after.
    goes_on: bool,
}

/// Looks at the counts of two spans of one width; `frame` counts come within a frame, `ran` at most in both by the speed before,
/// and an arm accelerates by `arm` counts per square nanosecond.
fn steep(span: f64, (x1, x2): (f64, f64), (frame, ran): (f64, f64), arm: f64) -> Option<Steep> {
    if x1 <= 0.0 || x2 < 0.0 {
        return None;
    }
    // 3 X₁ − X₂ weighs the three edges by −3, 4 and −1.
    let edges = 26.0 / 12.0 * (1.0 + frame * frame);
    let sigma = (edges + (3.0 * NOISE * x1).powi(2) + (NOISE * x2).powi(2)).sqrt();
    let r = x2 / x1;
    let tau = if r > 1.0 { (3.0 - r) / (2.0 * (r - 1.0)) } else { f64::INFINITY };
    let tau = tau.max(0.0);
    // No faster than an arm; and where the hand is slowing, that is all that is known.
    let arm = (x1 / span).powi(2) / (2.0 * arm);
    let before = if tau.is_finite() { (x1 * tau.powi(2) / (1.0 + 2.0 * tau)).max(arm) } else { arm };
    Some(Steep { span, counts: (x1, x2), before, z: (3.0 * x1 - x2 - ran) / sigma })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A minimum-jerk swipe of 300 mm in 0.2 s (Flash & Hogan 1985), in whole counts every `slot` ns; of its first
    /// `asleep` seconds the first report holds a share.
    fn start(slot: i64, per_mm: f64, asleep: f64, kept: f64) -> Start {
        let place = |t: f64| {
            let u = (t / 0.2).min(1.0);
            300.0 * per_mm * u * u * u * (10.0 - 15.0 * u + 6.0 * u * u)
        };
        let mut samples = Vec::new();
        let (mut told, mut from) = (0.0, place(asleep) * (1.0 - kept));
        for i in 1..=200_000_000 / slot {
            let t = i as f64 * slot as f64 * 1e-9;
            if t >= asleep {
                let x = (place(t) - from).floor() - told;
                told += x;
                if x > 0.0 {
                    samples.push(Sample { t: i * slot, x: x as i32, y: 0, timed: true, idle_before: 0 });
                }
            }
        }
        from = 300.0 * per_mm;
        flank(&samples, slot as f64, per_mm, PART * from).start(0, 0).unwrap()
    }

    fn flank(samples: &[Sample], slot: f64, per_mm: f64, most: f64) -> Flank<'_> {
        let frame = Frame { cos: 1.0, sin: 0.0 };
        let arm = ARM_ACCELERATION * 1e3 * per_mm * 1e-18;
        let fastest = ARM_SPEED * 1e3 * per_mm * 1e-9;
        Flank {
            samples,
            frame,
            sign: 1.0,
            slot,
            most,
            least_z: 5.0,
            arm,
            fastest,
            lies: 2.0,
            least: per_mm,
            lacks: 0.0,
        }
    }

    const SLOTS: [i64; 4] = [125_000, 1_000_000, 4_000_000, 8_000_000];
    /// 400 and 6400 counts per inch.
    const PER_MM: [f64; 2] = [400.0 / 25.4, 6400.0 / 25.4];

    #[test]
    fn a_smooth_start_is_neither_a_lump_nor_steep() {
        for slot in SLOTS {
            for per_mm in PER_MM {
                let sound = start(slot, per_mm, 0.0, 0.0);
                assert!(sound.steep.is_none(), "{slot} {per_mm}: {sound:?}");
                assert!(sound.lump.z < 3.0, "{slot} {per_mm}: {sound:?}");
                assert!(sound.looks > 3);
            }
        }
    }

    /// In 26 ms the hand goes 300 · 10 · 0.13³ · (1 − 1.5 · 0.13 + 0.6 · 0.13²) = 5.4 mm.
    #[test]
    fn what_is_slept_through_shows_as_a_steep_start_and_what_comes_late_as_a_lump() {
        for slot in SLOTS {
            for per_mm in PER_MM {
                let lost = start(slot, per_mm, 0.026, 0.0);
                let before = lost.steep.unwrap().before / per_mm;
                assert!((2.0..9.0).contains(&before), "{slot} {per_mm}: {lost:?}");
                assert!(lost.lump.z < 3.0, "{slot} {per_mm}: {lost:?}");
                let late = start(slot, per_mm, 0.026, 1.0);
                let lump = late.lump;
                // By itself, or with a steep start beside it: as `late` takes it.
                let stands_out = lump.z > 5.0 || (lump.z > 3.0 && late.steep.is_some());
                assert!(stands_out && lump.counts > 3.0 * per_mm, "{slot} {per_mm}: {late:?}");
            }
        }
    }

    /// By hand: constant acceleration for one span before makes 1/2, then 3/2 and 5/2; from rest 1 and 3.
    #[test]
    fn a_constant_acceleration_is_told_exactly() {
        let seen = steep(1e6, (150.0, 250.0), (0.0, 0.0), 1e9).unwrap();
        assert!((seen.before - 50.0).abs() < 1e-9, "{seen:?}");
        let sigma = (26.0f64 / 12.0 + 81.0 + 25.0).sqrt();
        assert!((seen.z - 200.0 / sigma).abs() < 1e-9, "{seen:?}");
        let rest = steep(1e6, (100.0, 300.0), (0.0, 0.0), 1e9).unwrap();
        assert!(rest.z == 0.0 && rest.before < 1e-9, "{rest:?}");
    }

    /// At 1 m/s an arm of 150 m/s² has made 3.33 mm; a hand that slows tells no more.
    #[test]
    fn a_start_that_slows_is_worth_what_an_arm_cannot_but_have_made() {
        let arm = ARM_ACCELERATION * 1e3 * 10.0 * 1e-18;
        let seen = steep(4e6, (40.0, 39.0), (0.0, 0.0), arm).unwrap();
        assert!((seen.before / 10.0 - 1.0 / 0.3).abs() < 0.01, "{seen:?}");
    }

    #[test]
    fn nothing_panics_on_what_no_device_sends() {
        let odd = [i32::MIN, i32::MAX, 0, 1, -1];
        let sample = |i: i64| Sample {
            t: [i, i64::MAX - i, i64::MIN + i, 5][i as usize % 4],
            x: odd[i as usize % 5],
            y: odd[i as usize / 5 % 5],
            timed: false,
            idle_before: u32::MAX,
        };
        let samples: Vec<Sample> = (0..200).map(sample).collect();
        for (slot, per_mm) in [(1e6, 31.0), (0.0, 31.0), (f64::NAN, 1.0), (1e-9, 1e300), (1e18, 0.0)] {
            for row in [0, 100, 199] {
                flank(&samples, slot, per_mm, f64::INFINITY).start(row, i64::MIN);
            }
        }
    }
}
