//! Stretches of counts that no hand can have made.
//!
//! Not a family: the raw material of *spin-out* (false motion) and of partial *tracking loss* (thinned counts), found in
//! one search so that one event becomes one finding.
//!
//! A hand's velocity changes by no more than [`ARM_ACCELERATION`]. From the mean velocity v₀ of the last reports before
//! a place, the motion of the next w reports of slot width h can therefore be told to within
//!
//! ```text
//! b(w) = ROUNDING + NOISE · v₀ · √w + A h² · w (w + f) / 2        counts
//! ```
//!
//! f: reports that v₀ was taken from; where they come faster than [`CELL`], those within it are taken together. A stretch begins where the counts of w = 1 to 12 reports lie further off than b,
//! sideways or backwards (*false motion*) or so far behind that a third and more is missing (*thin*); it ends where
//! counts run in v₀'s direction again, or at a thin stretch's recovery. Several w, because a short stretch stands out
//! at once and a weak one only over a time. A third kind needs no jump: motion that is *repeated*, the same counts on
//! both axes, report after report, across a hidden peak; or, where a sensor's frames beat against the reports, a level
//! top in a swipe that comes up short ([`crate::shortfall`]) by about what a peak above it would have counted.
//!
//! Only within runs of reports without an empty slot (what follows a silence may carry its make-up), away from the
//! stops, at [`DUE`] counts a slot and more. Cost: O(reports of the swipe).

use crate::series::{DUE, Frame, Sample, Series};
use crate::swipes::Swipe;
use std::ops::Range;

/// No hand on a desk is more abrupt, m/s². Our own proposal: hard flicks reach 50 to 60 m/s² (common practice, no
/// source).
pub const ARM_ACCELERATION: f64 = 150.0;
/// Nor faster, m/s; hard flicks reach 4 to 5 m/s (likewise).
pub const ARM_SPEED: f64 = 8.0;
/// Both ends of a window and both of the reports before it are rounded to a count each.
const ROUNDING: f64 = 2.5;
/// Scatter of a report's counts beside rounding: data sheets give 1 % typical; five standard deviations of 2 %, and of
/// v₀ on top.
const NOISE: f64 = 0.15;
/// Reports that come faster than this are taken together: what is worth reporting lasts about as long, and a few counts
/// in each report would tell nothing. Nanoseconds.
const CELL: f64 = 1e6;
/// Reports in a cell at most (64 kHz).
const MOST_IN_CELL: f64 = 64.0;
/// Time from which v₀ is taken, nanoseconds; one cell to [`MOST_BEFORE`].
const BEFORE: f64 = 4e6;
const MOST_BEFORE: usize = 4;
/// Windows that are looked at, in cells.
const WINDOWS: [usize; 7] = [1, 2, 3, 4, 6, 8, 12];
/// An empty slot lies between reports that are further apart than this many intervals. A cell of many reports may hold
/// one that came late.
const CONTIGUOUS: f64 = 1.6;
const CONTIGUOUS_MANY: f64 = 2.2;
/// Distance from the stops within which a device may bounce or twist, mm.
const END_ZONE_MM: f64 = 8.0;
/// Motion runs in a direction again if what lies across it is less than this share (14 degrees).
const ACROSS: f64 = 0.25;
/// Two stretches of false motion this near to each other are one event, nanoseconds.
const ONE_EVENT: i64 = 20_000_000;
/// Thin counts: at most this share of what was due.
const THIN: f64 = 0.67;
/// False or missing motion worth reporting, mm.
pub const LEAST_MM: f64 = 2.0;
/// Equal reports in a row, and counts in each, from which a repeat may be told; see also [`hidden_rise`].
const REPEATS: (usize, f64) = (5, 8.0);
/// A top is level if its counts, averaged over this time, differ by no more than this share, for so much of the swipe;
/// a natural peak stays within it for a sixth (minimum jerk). Nanoseconds.
const LEVEL_OVER: f64 = 2.5e6;
const LEVEL: f64 = 0.05;
const LEVEL_SHARE: f64 = 0.2;
/// And the shoulders of a natural peak hide some 2 % of the travel; twice that is asked for.
const LEVEL_MISSING: f64 = 0.04;
/// What a peak over it would have counted by its shoulders, and what is missing, agree within this factor.
const ALIKE: f64 = 2.5;
/// Counts, and share of the level, by which the hidden peak must rise above a level that is held.
pub const HIDDEN: (f64, f64) = (3.0, 0.02);

/// What is wrong with a stretch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// Backwards.
    Reversal,
    /// Across the swipe.
    Sideways,
    /// Faster than an arm.
    BeyondAnArm,
    /// The same motion again and again.
    Repeated,
    /// Too little.
    Thin,
}

/// A stretch of counts that no hand made.
#[derive(Clone, Debug)]
pub struct Stretch {
    /// What is wrong with it.
    pub wrong: Wrong,
    /// Samples of the phase's series.
    pub rows: Range<usize>,
    /// Time of the last report before it.
    pub begin: i64,
    /// Time of its last report.
    pub end: i64,
    /// Velocity change at its onset, m/s, over [`Stretch::within_s`].
    pub jump_m_s: f64,
    /// Time over which the onset stood out, seconds.
    pub within_s: f64,
    /// Its counts along and across.
    pub counts: (f64, f64),
    /// True if the motion came back to what it should be before the swipe's end.
    pub recovered: bool,
}

impl Stretch {
    /// True if another one that follows is the same event: the way back from false motion is as abrupt as the way there.
    fn joins(&self, next: &Stretch) -> bool {
        next.begin.saturating_sub(self.end) <= ONE_EVENT
            && self.wrong != Wrong::Thin
            && next.wrong != Wrong::Thin
    }

    fn extend(&mut self, next: Stretch) {
        self.rows.end = next.rows.end;
        self.end = next.end;
        self.counts = (self.counts.0 + next.counts.0, self.counts.1 + next.counts.1);
        self.recovered = next.recovered;
    }
}

/// What a search needs to know beside the series.
pub struct Bench {
    /// Counts per millimetre.
    pub counts_per_mm: f64,
    /// Report interval, nanoseconds.
    pub slot: f64,
}

/// Searches one swipe.
pub fn find(series: &Series, frame: Frame, swipe: &Swipe, bench: &Bench) -> Vec<Stretch> {
    let Some(mut search) = Search::new(series, frame, swipe, bench) else { return Vec::new() };
    let mut found: Vec<Stretch> = Vec::new();
    let mut row = search.inner.start;
    while row < search.inner.end {
        match search.at(row) {
            Some(stretch) => {
                let end = stretch.rows.end - swipe.rows.start;
                let after = search.cells.iter().position(|c| c.rows.start >= end);
                row = after.unwrap_or(search.cells.len()).max(row + 1);
                // The first cell after it may still be false in part.
                search.since = row + 1;
                match found.last_mut() {
                    Some(last) if last.joins(&stretch) => last.extend(stretch),
                    _ => found.push(stretch),
                }
            }
            None => row += 1,
        }
    }
    let mut repeats = search.repeats();
    if found.is_empty() && repeats.is_empty() && swipe.is_short() {
        repeats.extend(search.level_top(-swipe.surplus));
    }
    found.extend(repeats.into_iter().filter(|r| !found_at(&found, r)).collect::<Vec<_>>());
    found.sort_by_key(|s| s.begin);
    found
}

fn found_at(found: &[Stretch], one: &Stretch) -> bool {
    found.iter().any(|s| s.rows.start < one.rows.end && one.rows.start < s.rows.end)
}

/// Some reports that are looked at together: one, or those of [`CELL`].
#[derive(Clone, Debug)]
struct Cell {
    /// Rows of the swipe.
    rows: Range<usize>,
    /// Counts along and across, in the swipe's own direction.
    counts: (f64, f64),
    /// True if no report is missing before it or in it.
    contiguous: bool,
    /// True if it has as many reports as it should.
    whole: bool,
}

/// Groups reports into cells of equal numbers; with their width.
fn cells(samples: &[Sample], counts: &[(f64, f64)], slot: f64) -> (Vec<Cell>, f64) {
    let each = (CELL / slot).round().clamp(1.0, MOST_IN_CELL) as usize;
    let most = slot * if each == 1 { CONTIGUOUS } else { CONTIGUOUS_MANY };
    let follows = |row: usize| row > 0 && ((samples[row].t - samples[row - 1].t) as f64) < most;
    let mut cells: Vec<Cell> = Vec::new();
    for (row, c) in counts.iter().enumerate().take(samples.len()) {
        let follows = follows(row);
        match cells.last_mut() {
            Some(last) if follows && last.rows.len() < each => {
                last.rows.end = row + 1;
                last.counts = (last.counts.0 + c.0, last.counts.1 + c.1);
            }
            _ => cells.push(Cell { rows: row..row + 1, counts: *c, contiguous: follows, whole: each == 1 }),
        }
        if let Some(last) = cells.last_mut() {
            last.whole = last.rows.len() == each;
        }
    }
    // A cell that was cut off says nothing, and neither does one after it.
    let mut whole = false;
    for cell in &mut cells {
        let own = cell.whole;
        cell.contiguous &= own && whole;
        whole = own;
    }
    (cells, each as f64 * slot)
}

/// One swipe under search; cells count from the swipe's first.
struct Search<'a> {
    samples: &'a [Sample],
    first: usize,
    cells: Vec<Cell>,
    /// Report interval and width of a cell, nanoseconds.
    slot: f64,
    width: f64,
    counts_per_mm: f64,
    /// Counts by which a velocity (per cell) may change within a cell.
    arm: f64,
    /// Cells away from the stops.
    inner: Range<usize>,
    /// First cell after the last stretch: what came before it tells no velocity.
    since: usize,
}

impl<'a> Search<'a> {
    fn new(series: &'a Series, frame: Frame, swipe: &Swipe, bench: &Bench) -> Option<Search<'a>> {
        let samples = series.samples.get(swipe.rows.clone())?;
        if bench.slot.is_nan()
            || bench.slot <= 0.0
            || bench.counts_per_mm.is_nan()
            || bench.counts_per_mm <= 0.0
        {
            return None;
        }
        let sign = swipe.sign();
        let counts: Vec<(f64, f64)> = samples
            .iter()
            .map(|s| {
                let (along, across) = frame.of(s);
                (sign * along, sign * across)
            })
            .collect();
        let (cells, width) = cells(samples, &counts, bench.slot);
        let seconds = width * 1e-9;
        let arm = ARM_ACCELERATION * 1e3 * bench.counts_per_mm * seconds * seconds;
        let inner = inner(&cells, END_ZONE_MM * bench.counts_per_mm);
        Some(Search {
            samples,
            first: swipe.rows.start,
            cells,
            slot: bench.slot,
            width,
            counts_per_mm: bench.counts_per_mm,
            arm,
            inner,
            since: 0,
        })
    }

    fn sum(&self, rows: Range<usize>) -> (f64, f64) {
        self.cells[rows].iter().fold((0.0, 0.0), |a, c| (a.0 + c.counts.0, a.1 + c.counts.1))
    }

    /// Mean counts per cell before one, with the number of cells.
    fn before(&self, cell: usize) -> Option<((f64, f64), usize)> {
        let most = ((BEFORE / self.width) as usize).clamp(1, MOST_BEFORE);
        let from = cell.saturating_sub(most).max(self.since.min(cell));
        // The cell at `from` needs nothing before it.
        let from = (from + 1..=cell).rev().find(|&c| !self.cells[c].contiguous).unwrap_or(from);
        let n = cell - from;
        if n == 0 || !self.cells[cell].contiguous || !self.cells[from].whole {
            return None;
        }
        let (along, across) = self.sum(from..cell);
        let mean = (along / n as f64, across / n as f64);
        (mean.0 >= DUE as f64).then_some((mean, n))
    }

    fn bound(&self, speed: f64, w: usize, f: usize) -> f64 {
        let (w, f) = (w as f64, f as f64);
        ROUNDING + NOISE * speed * w.sqrt() + self.arm * w * (w + f) / 2.0
    }

    /// A stretch that begins at this cell.
    fn at(&self, cell: usize) -> Option<Stretch> {
        let (v, f) = self.before(cell)?;
        let speed = v.0.hypot(v.1);
        let to = |c: (f64, f64)| ((c.0 * v.0 + c.1 * v.1) / speed, (c.1 * v.0 - c.0 * v.1) / speed);
        let mut onset: Option<(Wrong, usize, f64, f64)> = None;
        for w in WINDOWS {
            let end = cell + w;
            if end > self.inner.end || (cell + 1..end).any(|c| !self.cells[c].contiguous) {
                break;
            }
            let (along, across) = to(self.sum(cell..end));
            let due = speed * w as f64;
            let bound = self.bound(speed, w, f);
            let per_ms = along.hypot(across) / self.counts_per_mm / (w as f64 * self.width * 1e-6);
            let wrong = if along < 0.0 && due - along > bound {
                Wrong::Reversal
            } else if across.abs() > bound && across.abs() > ACROSS * due {
                Wrong::Sideways
            } else if per_ms > ARM_SPEED && w >= 2 && along - due > bound {
                Wrong::BeyondAnArm
            } else if due - along > bound && along < THIN * due {
                Wrong::Thin
            } else {
                continue;
            };
            // The first cell of false motion is partly right, and looks thin by itself.
            if onset.is_none_or(|(was, ..)| was == Wrong::Thin && wrong != Wrong::Thin) {
                onset = Some((wrong, w, (due - along).hypot(across) / w as f64, along / w as f64));
            }
            if wrong != Wrong::Thin {
                break;
            }
        }
        let (wrong, w, jump, level) = onset?;
        // The first cells of a wide window may still be right.
        let right = |c: usize| {
            let (along, across) = to(self.cells[c].counts);
            (along - speed).abs() <= ROUNDING + NOISE * speed && across.abs() <= ROUNDING
        };
        let start = (cell..cell + w - 1).find(|&c| !right(c)).unwrap_or(cell + w - 1);
        let (stop, recovered) = self.stop(start, cell + w, wrong, v, level);
        let counts = self.sum(start..stop);
        let bulk = to(counts);
        let wrong = match wrong {
            Wrong::BeyondAnArm => wrong,
            _ if bulk.0 < 0.0 => Wrong::Reversal,
            _ if bulk.1.abs() > ACROSS * bulk.0 && bulk.1.abs() > ROUNDING => Wrong::Sideways,
            other => other,
        };
        let (first, last) = (&self.cells[start].rows, &self.cells[stop - 1].rows);
        Some(Stretch {
            wrong,
            rows: self.first + first.start..self.first + last.end,
            begin: self.samples[first.start.saturating_sub(1)].t,
            end: self.samples[last.end - 1].t,
            jump_m_s: jump / self.counts_per_mm / (self.width * 1e-6),
            within_s: w as f64 * self.width * 1e-9,
            counts,
            recovered,
        })
    }

    /// First cell after the stretch, and whether the motion came back. The onset stood out up to `seen`.
    fn stop(&self, start: usize, seen: usize, wrong: Wrong, v: (f64, f64), level: f64) -> (usize, bool) {
        let speed = v.0.hypot(v.1);
        let n = self.cells.len();
        // False motion that stands out over a window may look right cell by cell.
        for row in (start + 1).max(if wrong == Wrong::Thin { seen } else { start + 1 })..n {
            let to = (row + 3).min(n);
            let (mut along, mut across) = self.sum(row..to);
            let count = (to - row) as f64;
            (along, across) =
                ((along * v.0 + across * v.1) / speed / count, (across * v.0 - along * v.1) / speed / count);
            let forward = along > 0.0 && across.abs() <= (ACROSS * along).max(ROUNDING / count);
            let back = match wrong {
                Wrong::Thin => {
                    forward && along - level > (self.bound(level.max(0.0), 1, 1)).max(0.3 * (speed - level))
                }
                Wrong::BeyondAnArm => forward && along < 1.5 * speed,
                _ => forward,
            };
            // The window begins with the first report that is right itself.
            let counts = self.cells[row].counts;
            let own = (counts.0 * v.0 + counts.1 * v.1) / speed;
            let apart = (counts.1 * v.0 - counts.0 * v.1) / speed;
            if back && own > 0.5 * along && apart.abs() <= (2.0 * ACROSS * own).max(ROUNDING) {
                return (row, true);
            }
        }
        (n, false)
    }

    /// Runs of equal reports that hide a peak.
    fn repeats(&self) -> Vec<Stretch> {
        let mut found = Vec::new();
        let Some(inner) = self.cells.get(self.inner.clone()).filter(|c| !c.is_empty()) else { return found };
        let inner = inner[0].rows.start..inner[inner.len() - 1].rows.end;
        let size = |s: &Sample| f64::from(s.x).hypot(f64::from(s.y));
        let counts: Vec<f64> = self.samples.iter().map(size).collect();
        let mut begin = 0;
        for row in 1..=self.samples.len() {
            let pair = self.samples.get(row).zip(self.samples.get(row - 1));
            if pair.is_some_and(|(a, b)| {
                (a.x, a.y) == (b.x, b.y) && ((a.t - b.t) as f64) < CONTIGUOUS * self.slot
            }) {
                continue;
            }
            let run = begin..row;
            begin = row;
            let level = counts[run.start];
            let long_enough = run.len() >= REPEATS.0 && level >= REPEATS.1;
            if !long_enough || run.end > inner.end || run.start < inner.start {
                continue;
            }
            if hidden_rise(&counts, &run) <= HIDDEN.0.max(HIDDEN.1 * level) {
                continue;
            }
            found.push(Stretch {
                wrong: Wrong::Repeated,
                rows: self.first + run.start..self.first + run.end,
                begin: self.samples[run.start].t,
                end: self.samples[run.end - 1].t,
                jump_m_s: 0.0,
                within_s: 0.0,
                counts: (level * run.len() as f64, 0.0),
                recovered: run.end < self.samples.len(),
            });
        }
        found
    }
}

impl Search<'_> {
    /// A level top that hides about as many counts as are missing.
    fn level_top(&self, missing: f64) -> Option<Stretch> {
        let reach = ((LEVEL_OVER / self.width) as usize).min(2);
        let along: Vec<f64> = self.cells.iter().map(|c| c.counts.0).collect();
        let smooth: Vec<f64> = (0..along.len())
            .map(|i| {
                let near = &along[i.saturating_sub(reach)..(i + reach + 1).min(along.len())];
                near.iter().sum::<f64>() / near.len() as f64
            })
            .collect();
        let mut best = 0..0;
        let (mut begin, mut low, mut high) = (self.inner.start, f64::INFINITY, f64::NEG_INFINITY);
        for i in self.inner.clone() {
            (low, high) = (low.min(smooth[i]), high.max(smooth[i]));
            if high - low > (LEVEL * high).max(2.0) {
                // The next run begins where it can.
                begin = i;
                while begin > self.inner.start
                    && (smooth[begin - 1] - smooth[i]).abs() <= (LEVEL * smooth[i]).max(2.0)
                {
                    begin -= 1;
                }
                let run = &smooth[begin..=i];
                low = run.iter().copied().fold(f64::INFINITY, f64::min);
                high = run.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                if high - low > (LEVEL * high).max(2.0) {
                    (begin, low, high) = (i, smooth[i], smooth[i]);
                }
            }
            if i + 1 - begin > best.len() {
                best = begin..i + 1;
            }
        }
        let long_enough =
            best.len() >= REPEATS.0 && best.len() as f64 >= LEVEL_SHARE * self.cells.len() as f64;
        if !long_enough || smooth[best.start] < REPEATS.1 {
            return None;
        }
        let hidden = hidden_rise(&smooth, &best) * best.len() as f64 * 2.0 / 3.0;
        let travel: f64 = along.iter().sum::<f64>() + missing;
        if missing.min(hidden) < LEVEL_MISSING * travel
            || !(missing / ALIKE..=missing * ALIKE).contains(&hidden)
        {
            return None;
        }
        let (first, last) = (&self.cells[best.start].rows, &self.cells[best.end - 1].rows);
        Some(Stretch {
            wrong: Wrong::Repeated,
            rows: self.first + first.start..self.first + last.end,
            begin: self.samples[first.start].t,
            end: self.samples[last.end - 1].t,
            jump_m_s: 0.0,
            within_s: 0.0,
            counts: self.sum(best.clone()),
            recovered: true,
        })
    }
}

/// Counts by which a smooth peak with the shoulders of a run of reports at one level would rise above it: a parabola
/// that meets a level at slopes a and b over L reports rises (a + b)/2 · L/4 above it. A sound device's own peak rises
/// by its rounding. `counts` are magnitudes, one a report.
pub fn hidden_rise(counts: &[f64], run: &Range<usize>) -> f64 {
    let reach = (run.len() / 2).max(3);
    let level = counts[run.start];
    // A run that begins or ends with the swipe itself has the steepest shoulder there is.
    let slope = |row: usize, edge: usize| match row.abs_diff(edge) {
        0 => level,
        apart => (level - counts[row]) / apart as f64,
    };
    let (first, last) = (run.start, run.end - 1);
    let rise = slope(first.saturating_sub(reach), first);
    let fall = slope((last + reach).min(counts.len() - 1), last);
    0.5 * (rise + fall) * run.len() as f64 / 4.0
}

/// Cells that lie further than `zone` from where the swipe began and before its last run forward came within `zone` of
/// its end; a run of no more than one and a half zones is a device that bounces.
fn inner(cells: &[Cell], zone: f64) -> Range<usize> {
    let mut place = 0.0;
    let begun = |c: &Cell| {
        place += c.counts.0;
        place > zone
    };
    let from = cells.iter().position(begun).unwrap_or(cells.len());
    let (mut run, mut end, mut to) = (0.0, cells.len(), 0);
    for (i, cell) in cells.iter().enumerate().rev() {
        if cell.counts.0 < 0.0 {
            (run, end) = (0.0, i);
            continue;
        }
        if run <= zone {
            end = i;
        }
        run += cell.counts.0;
        if run > 1.5 * zone {
            to = end;
            break;
        }
    }
    from..to.max(from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verdict::Direction;

    /// 1600 counts per inch.
    const PER_MM: f64 = 1600.0 / 25.4;

    /// A minimum-jerk swipe of 300 mm in 0.2 s (Flash & Hogan 1985), counted in whole counts every `slot_ns`, with what
    /// `tell` makes of each report's motion in counts.
    fn swipe(slot_ns: i64, tell: impl Fn(f64, (f64, f64)) -> (f64, f64)) -> (Series, Swipe) {
        let slots = 200_000_000 / slot_ns;
        let place = |s: f64| 300.0 * PER_MM * s.powi(3) * (10.0 - 15.0 * s + 6.0 * s * s);
        let (mut told, mut rounded) = ((0.0, 0.0), (0.0f64, 0.0f64));
        let mut samples = Vec::new();
        for i in 0..slots {
            let (from, to) = (i as f64 / slots as f64, (i + 1) as f64 / slots as f64);
            let (along, across) = tell(from, (place(to) - place(from), 0.0));
            told = (told.0 + along, told.1 + across);
            let (x, y) = (told.0.round() - rounded.0, told.1.round() - rounded.1);
            rounded = (rounded.0 + x, rounded.1 + y);
            if x != 0.0 || y != 0.0 {
                let t = 1_000_000_000 + (i + 1) * slot_ns;
                samples.push(Sample { t, x: x as i32, y: y as i32, timed: true, idle_before: 0 });
            }
        }
        let swipe = Swipe {
            number: 1,
            direction: Direction::Out,
            rows: 0..samples.len(),
            begin: samples[0].t,
            end: samples[samples.len() - 1].t,
            along: told.0,
            across: told.1,
            peak: 1.0,
            exit: 0.0,
            one_travel: 300.0 * PER_MM,
            surplus: 0.0,
            began_short: false,
            stopped_short: false,
        };
        (Series { reports: samples.len(), samples, same_stamp: 0 }, swipe)
    }

    fn found(slot_ns: i64, tell: impl Fn(f64, (f64, f64)) -> (f64, f64)) -> Vec<Stretch> {
        let (series, swipe) = swipe(slot_ns, tell);
        let frame = Frame { cos: 1.0, sin: 0.0 };
        find(&series, frame, &swipe, &Bench { counts_per_mm: PER_MM, slot: slot_ns as f64 })
    }

    const SLOTS: [i64; 5] = [125_000, 500_000, 1_000_000, 4_000_000, 8_000_000];

    #[test]
    fn a_sound_swipe_is_left_alone_at_any_interval() {
        for slot in SLOTS {
            assert!(found(slot, |_, c| c).is_empty(), "{slot}");
            // Frames that beat against reports: every third report has a sixth less, the next as much more.
            let beat = |s: f64, c: (f64, f64)| {
                let n = (s * 200e6 / slot as f64).round() as i64 % 3;
                (c.0 * [1.0, 0.95, 1.05][n as usize], c.1)
            };
            assert!(found(slot, beat).is_empty(), "{slot}");
        }
    }

    #[test]
    fn a_bounce_off_the_stop_is_no_false_motion() {
        // The last 5 mm are thrown back and come again.
        let bounce = |s: f64, c: (f64, f64)| if (0.94..0.97).contains(&s) { (-40.0, 10.0) } else { c };
        assert!(found(1_000_000, bounce).is_empty());
    }

    #[test]
    fn motion_backwards_and_sideways_is_found_where_it_was_put() {
        for slot in SLOTS {
            for (turn, wrong) in [((-0.8, 0.1), Wrong::Reversal), ((0.2, 0.9), Wrong::Sideways)] {
                let tell = |s: f64, c: (f64, f64)| {
                    if (0.4..0.56).contains(&s) { (c.0 * turn.0, c.0 * turn.1) } else { c }
                };
                let all = found(slot, tell);
                assert_eq!(all.len(), 1, "{slot} {wrong:?}: {all:?}");
                let at = |t: i64| (t - 1_000_000_000) as f64 / 200e6;
                let margin = 0.01 + slot as f64 / 200e6;
                assert!(all[0].wrong == wrong && all[0].recovered, "{slot}: {all:?}");
                assert!((at(all[0].begin) - 0.4).abs() <= margin, "{slot}: {}", at(all[0].begin));
                assert!((at(all[0].end) - 0.56).abs() <= 2.0 * margin, "{slot}: {}", at(all[0].end));
            }
        }
    }

    #[test]
    fn counts_that_thin_out_at_once_are_found_and_those_of_a_braking_hand_are_not() {
        let thin = |s: f64, c: (f64, f64)| if (0.4..0.6).contains(&s) { (c.0 / 3.0, c.1) } else { c };
        let all = found(1_000_000, thin);
        assert!(all.len() == 1 && all[0].wrong == Wrong::Thin && all[0].recovered, "{all:?}");
        // Down to a third within 20 ms, as 80 m/s² does, and up again.
        let brakes = |s: f64, c: (f64, f64)| {
            let depth = (1.0 - ((s - 0.5).abs() / 0.1)).clamp(0.0, 1.0);
            (c.0 * (1.0 - 0.6 * depth), c.1)
        };
        assert!(found(1_000_000, brakes).is_empty());
    }

    #[test]
    fn the_same_report_over_a_hidden_peak_is_a_repeat() {
        let (level, _) = swipe(1_000_000, |_, c| c);
        let held = f64::from(level.samples[70].x);
        let all = found(1_000_000, |s, c| if (0.36..0.64).contains(&s) { (held, 0.0) } else { c });
        assert!(all.len() == 1 && all[0].wrong == Wrong::Repeated, "{all:?}");
    }

    #[test]
    fn nothing_panics_on_what_no_device_sends() {
        let odd = [i32::MIN, i32::MAX, 0, 1, -1];
        let samples: Vec<Sample> = (0..200)
            .map(|i| Sample {
                t: if i % 7 == 0 { 5 } else { i * 1_000_000 },
                x: odd[i as usize % 5],
                y: odd[(i as usize / 5) % 5],
                timed: i % 3 == 0,
                idle_before: u32::MAX,
            })
            .collect();
        let (_, mut swipe) = swipe(1_000_000, |_, c| c);
        let series = Series { reports: 200, samples, same_stamp: 0 };
        for (slot, per_mm) in
            [(1e6, 31.0), (0.0, 31.0), (f64::NAN, 1.0), (1e6, 0.0), (1e-9, 1e300), (1e18, 1e-300)]
        {
            for rows in [0..200, 0..0, 10..500] {
                swipe.rows = rows;
                find(&series, Frame { cos: 0.6, sin: 0.8 }, &swipe, &Bench { counts_per_mm: per_mm, slot });
            }
        }
    }
}
