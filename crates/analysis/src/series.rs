//! One phase's motion as a series that detectors may rely on.
//!
//! Rows of the device that carry X and Y, in order, with times regularised: reports that were read in one wake-up
//! share a stamp, and those before the last had been waiting. They are spread backwards by the report interval, never
//! past the report before. So are those that woke the reader one by one and yet came in a rush after a silence: a device
//! does not send twice in a slot, and their stamps would make motion of any speed; or in a [queue](caught_up) that a link sends faster than the
//! device reports. Counts stay integers in the sensor's
//! axes; the swipe's frame is applied on the way out.
//! Cost: one pass, 24 bytes a moving report of the phase.

use crate::stats::{mad, median};
use slipgauge_trace::Nanos;
use slipgauge_trace::recording::{DeviceTrace, PhaseSpan};
use std::ops::Range;

pub mod ticks;

/// A report within this share of an interval after the one before came in a rush: one that is due later than that may be late
/// by the rest, but has not been sent so near to it.
pub const RUSHED: f64 = 0.25;
/// Empty slots before a rush: one and a half may be a single report's doing, that was late by one.
const BEFORE_A_RUSH: f64 = 1.5;
/// And nanoseconds: a reader without real-time priority is late by up to 1 ms on an idle computer (common practice, no
/// source), and four times that is no ordinary one. (Without it the short intervals of a late reader's reports were left out of
/// the report interval's median, which came out too long.)
const HELD_UP: f64 = 4e6;

/// True if reports that come in a rush after empty slots of so long together, nanoseconds, were held up.
pub fn held_up(empty: f64, interval: f64) -> bool {
    empty >= HELD_UP.max(BEFORE_A_RUSH * interval)
}

/// A link that sends what it holds as fast as it is polled, and not at once, takes half of the device's own interval and less for
/// each report; this lies half way to the whole. (Added after a radio that held reports for 0.2 s and sent them every millisecond, of
/// a device of 2 to 8 ms, had been told as clean up to 10.7 m/s where the hand made 2.9.)
const DRAINED: f64 = 0.75;
/// So many in a row are neither late polls nor frames that polls sample, which leave no two intervals in three as short as that.
const LEAST_DRAINED: usize = 4;

/// How many reports came in a rush after the one in row `first`, of so many rows: at once; or, of a link that [drains], one after
/// another. `apart` is the time from the row before to a row, nanoseconds.
pub fn rush(first: usize, rows: usize, interval: f64, drains: bool, apart: impl Fn(usize) -> f64) -> usize {
    let within = |share: f64| (first + 1..rows).take_while(|&row| apart(row) < share * interval).count();
    let (at_once, drained) = (within(RUSHED), if drains { within(DRAINED) } else { 0 });
    if drained >= LEAST_DRAINED && drained > at_once { drained } else { at_once }
}

/// The last of the reports with which a queue that was held up catches up, of so many rows from `first` on, most of which come faster than
/// the device makes them: by then as many have come as it made since the one before; or it falls silent again, and the hand rests. What
/// was held up once more for less than that is among them. `apart` as above; `sent` is how many reports a row stands for.
pub fn caught_up(
    first: usize,
    rows: usize,
    interval: f64,
    apart: impl Fn(usize) -> f64,
    sent: impl Fn(usize) -> i64,
) -> Option<usize> {
    let (mut late, mut close) = (0.0, 0);
    let drains = |close: usize, after: usize| close as f64 >= DRAINED * after as f64;
    let told =
        |close: usize, last: usize| (close >= LEAST_DRAINED && drains(close, last - first)).then_some(last);
    for row in first..rows {
        if row > first && held_up(apart(row) - interval, interval) {
            return told(close, row - 1);
        }
        late += apart(row) / interval - sent(row) as f64;
        close += usize::from(row > first && apart(row) < DRAINED * interval);
        if late <= 0.5 {
            return told(close, row);
        }
        if row - first >= 4 * LEAST_DRAINED && !drains(close, row - first) {
            return None;
        }
    }
    told(close, rows.checked_sub(1)?)
}

/// True if reports that follow each other faster than the device makes them, after a silence, are a queue's: no more than half of all.
/// A device that itself reports faster when the hand is fast does so in all of a fast phase.
pub fn drains(rows: usize, interval: f64, apart: impl Fn(usize) -> f64) -> bool {
    let (mut first, mut drained) = (1, 0);
    while first < rows {
        let more = rush(first, rows, interval, true, &apart);
        let held_up = more >= LEAST_DRAINED && held_up(apart(first) - interval, interval);
        drained += if held_up { 1 + more } else { 0 };
        first += 1 + more;
    }
    2 * drained <= rows
}

/// One in so many reports may share a stamp for having been held up with others. Ticks of a coarse clock after which as long a
/// silence can be seen leave three in five and more such reports.
const HELD_UP_AT_MOST: usize = 4;

/// Counts reports that share the stamp of others in a rush: no clock is coarse for them.
struct HeldUp {
    interval: Option<i64>,
    in_a_rush: bool,
    same_stamp: usize,
}

impl HeldUp {
    fn new(interval: Option<Nanos>) -> HeldUp {
        HeldUp { interval: interval.map(|i| i.0), in_a_rush: false, same_stamp: 0 }
    }

    /// Takes a report that woke the reader so long after the one before.
    fn count(&mut self, since: i64) {
        let Some(interval) = self.interval.map(|i| i as f64) else { return };
        if since as f64 >= RUSHED * interval {
            self.in_a_rush = held_up(since as f64 - interval, interval);
        }
        self.same_stamp += usize::from(self.in_a_rush && since == 0);
    }
}

/// Nanoseconds: where reports come no faster than this, there is a count for each at the speeds that are looked at.
const FEW_COUNTS: i64 = 1_000_000;
/// Reports before a rush that tell how far those in it are apart at least.
const BESIDE_A_RUSH: usize = 12;

/// How far the last of some reports are apart (median), nanoseconds: one that has no count for every slot sends in none of those.
/// (Added after what a reader took late of a device of 0.125 ms and 400 counts an inch had been spread over a third of its time, and
/// the rest told to be lost.)
fn apart_beside(samples: &[Sample], interval: i64) -> i64 {
    if interval >= FEW_COUNTS {
        return interval;
    }
    let last = samples.get(samples.len().saturating_sub(BESIDE_A_RUSH + 1)..).unwrap_or_default();
    let apart = |two: &[Sample]| two[1].t.saturating_sub(two[0].t) as f64 / two[1].sent() as f64;
    median(&last.windows(2).map(apart).collect::<Vec<f64>>()).unwrap_or(0.0) as i64
}

/// One report with motion fields.
#[derive(Clone, Copy, Debug)]
pub struct Sample {
    /// Regularised time, nanoseconds since the session's start.
    pub t: i64,
    /// Counts in the sensor's X.
    pub x: i32,
    /// Counts in the sensor's Y.
    pub y: i32,
    /// False for a report that had been waiting when it was read: its own arrival is not known.
    pub timed: bool,
    /// Reports that came since the sample before and moved nothing.
    pub idle_before: u32,
}

impl Sample {
    /// Reports that it stands for: itself, and those before it that moved nothing.
    fn sent(&self) -> i64 {
        1 + i64::from(self.idle_before)
    }
}

/// How many reports some samples stand for.
fn sent(samples: &[Sample]) -> i64 {
    samples.iter().map(Sample::sent).fold(0, i64::saturating_add)
}

/// Spreads samples that had been waiting backwards from the last one's time, `step` nanoseconds for each report.
fn spread(samples: &mut [Sample], last: i64, step: i64) {
    let mut behind = 0i64;
    for sample in samples.iter_mut().rev() {
        sample.t = last - step * behind;
        sample.timed = false;
        behind += sample.sent();
    }
}

/// A phase's reports that moved something.
#[derive(Clone, Debug, Default)]
pub struct Series {
    /// Samples with x or y not zero, in order of time.
    pub samples: Vec<Sample>,
    /// Reports with motion fields, moving or not.
    pub reports: usize,
    /// Pairs of neighbouring reports that woke the reader separately and yet carry the same stamp.
    pub same_stamp: usize,
    /// True if stamps had ticks that are [coarse](ticks) for the report interval.
    pub coarse_ticks: bool,
}

impl Series {
    /// Collects a phase whose reports were read in batches: each is spread backwards from its stamp, as one that is known for one is; or
    /// on from the one before, if that is full, it lacks some, and as many and more are lacking after it: a silence that began in it is
    /// one silence. (Added after the last reports before a sensor went blind had been told to follow a dropout.)
    pub fn of_batches(trace: &DeviceTrace, phase: &PhaseSpan, interval: i64) -> Series {
        let mut series = Series::of_phase(trace, phase, None);
        let in_company = |a: &Sample, b: &Sample| b.t.saturating_sub(a.t) < ticks::READ as i64;
        // Stamp and reports of each.
        let batches: Vec<(i64, i64)> = series
            .samples
            .chunk_by(in_company)
            .map(|batch| (batch[batch.len() - 1].t, sent(batch)))
            .collect();
        let room = |at: usize| {
            let before = at.checked_sub(1).map_or(i64::MIN, |before| batches[before].0);
            batches[at].0.saturating_sub(before).min(Nanos::SECOND.0)
        };
        let lacks = |at: usize| room(at) - interval.saturating_mul(batches[at].1);
        for (at, batch) in series.samples.chunk_by_mut(in_company).enumerate() {
            let (stamp, count) = batches[at];
            let step = interval.min(room(at) / count);
            let goes_silent = at > 0
                && lacks(at - 1) <= interval
                && lacks(at) > interval
                && batches.get(at + 1).is_some_and(|_| lacks(at + 1) >= lacks(at));
            if goes_silent {
                spread(batch, batches[at - 1].0 + step * count, step);
            } else if batch.len() > 1 {
                spread(batch, stamp, step);
            }
        }
        series
    }

    /// Collects a phase. `interval` is the report interval, if known.
    pub fn of_phase(trace: &DeviceTrace, phase: &PhaseSpan, interval: Option<Nanos>) -> Series {
        let motion = &trace.motion;
        let mut series = Series::default();
        let mut latest = i64::MIN;
        let mut batch: Vec<Sample> = Vec::new();
        let (mut last_timed, mut idle) = (i64::MIN, 0u32);
        let mut held_up = HeldUp::new(interval);
        for row in motion.rows(phase.begin, phase.end) {
            if !trace.has_motion(row) {
                continue;
            }
            series.reports += 1;
            let (t, place) = (motion.received_ns[row], motion.place[row]);
            if place == 0 {
                latest = series.settle(&mut batch, latest, interval);
                held_up.count(t.saturating_sub(last_timed));
                series.same_stamp += usize::from(t == last_timed);
                last_timed = t;
            }
            let (x, y) = (motion.x[row], motion.y[row]);
            batch.push(Sample { t, x, y, timed: true, idle_before: idle });
            idle = if x == 0 && y == 0 { idle.saturating_add(1) } else { 0 };
        }
        series.settle(&mut batch, latest, interval);
        if held_up.same_stamp * HELD_UP_AT_MOST <= series.reports {
            series.same_stamp -= held_up.same_stamp;
        }
        // Stamps that are coarser than the interval have a rush at every tick.
        if let Some(interval) = interval.filter(|i| i.0 > 0 && !series.coarse_clock()) {
            // What came before the phase is not looked at: its line stands for it.
            let line = Sample { t: phase.begin.0, x: 0, y: 0, timed: false, idle_before: 0 };
            series.samples.insert(0, line);
            series.spread_rushes(interval.0);
            series.samples.remove(0);
        }
        series
    }

    /// Spreads reports that came in a rush over the silence before them: from the last one's stamp backwards; or on from the
    /// report before, where the device moves less at their end. Slots that stay empty then lie where it had least to say.
    /// A queue that is held up again before it has caught up comes in two rushes, however short the second silence: where the
    /// second rush holds more than that has room for, the first was later than its stamps, too. Both are spread over both.
    fn spread_rushes(&mut self, interval: i64) {
        let since = |samples: &[Sample], row: usize| samples[row].t.saturating_sub(samples[row - 1].t);
        let drains = drains(self.samples.len(), interval as f64, |row| since(&self.samples, row) as f64);
        let size = |s: &Sample| f64::from(s.x).hypot(f64::from(s.y));
        let mut first = 1;
        // Where the rush before began, if it ended with the report before.
        let mut earlier: Option<usize> = None;
        while first < self.samples.len() {
            let before = self.samples[first - 1].t;
            let apart = |row: usize| since(&self.samples, row);
            let rush = rush(first, self.samples.len(), interval as f64, drains, |row| apart(row) as f64);
            let told = self.samples[first].sent();
            let empty = apart(first).saturating_sub(interval.saturating_mul(told));
            let mut rows = first..first + 1 + rush;
            if drains && held_up(empty as f64, interval as f64) {
                let sent = |row: usize| self.samples[row].sent();
                let apart = |row: usize| apart(row) as f64;
                let last = caught_up(first, self.samples.len(), interval as f64, apart, sent);
                rows.end = rows.end.max(last.map_or(0, |last| last + 1));
            }
            let rush = rows.len() - 1;
            first = rows.end;
            let count =
                |rows: &Range<usize>| 1i64.saturating_add(sent(&self.samples[rows.start + 1..rows.end]));
            let stamp = self.samples[rows.end - 1].t;
            let crowded = count(&rows).saturating_mul(interval) > stamp.saturating_sub(before);
            let again = earlier.filter(|_| crowded);
            if rush == 0 || (again.is_none() && !held_up(empty as f64, interval as f64)) {
                earlier = None;
                continue;
            }
            rows.start = again.unwrap_or(rows.start);
            earlier = Some(rows.start);
            let before = self.samples[rows.start - 1].t;
            let beside = apart_beside(&self.samples[..rows.start], interval);
            let largest = |a: usize| self.samples.iter().skip(a).take(2).map(size).fold(0.0, f64::max);
            let moves_less_at_the_end = largest(rows.start - 1) > largest(rows.end - 1);
            let count = count(&rows);
            let rows = &mut self.samples[rows];
            let step = interval.max(beside).min(stamp.saturating_sub(before) / count);
            let last = if moves_less_at_the_end { before + step * count } else { stamp };
            spread(rows, last, step);
        }
    }

    /// Spreads a batch backwards from its stamp and appends what moves; returns the time of its last report.
    fn settle(&mut self, batch: &mut Vec<Sample>, latest: i64, interval: Option<Nanos>) -> i64 {
        let Some(stamp) = batch.last().map(|s| s.t) else { return latest };
        let count = batch.len() as i64;
        if count > 1 {
            let room = stamp.saturating_sub(latest.max(stamp.saturating_sub(Nanos::SECOND.0)));
            let step = interval.map_or(0, |i| i.0.max(apart_beside(&self.samples, i.0))).min(room / count);
            for (place, sample) in (0..count).zip(batch.iter_mut()) {
                sample.t = stamp - step * (count - 1 - place);
                sample.timed = false;
            }
        }
        self.samples.extend(batch.drain(..).filter(|s| s.x != 0 || s.y != 0));
        stamp
    }

    /// The series with nothing where a report holds more than a hand moves in the time since the one before, though a host
    /// was late with that by `slot` nanoseconds, and `fastest` counts a second: `None` if there is no such report.
    pub fn calm(&self, fastest: f64, slot: f64) -> Option<Series> {
        let mut last = None;
        let mut beyond = Vec::new();
        for (row, s) in self.samples.iter().enumerate() {
            let since = last.map_or(slot, |t| s.t.saturating_sub(t) as f64).max(slot) + slot;
            last = Some(s.t);
            if f64::from(s.x).hypot(f64::from(s.y)) > fastest * since * 1e-9 {
                beyond.push(row);
            }
        }
        if beyond.is_empty() {
            return None;
        }
        let mut calm = self.clone();
        for row in beyond {
            if let Some(s) = calm.samples.get_mut(row) {
                (s.x, s.y) = (0, 0);
            }
        }
        Some(calm)
    }

    /// True if stamps are too coarse for judging time: more than one in twenty separate wake-ups share a stamp, which
    /// a clock finer than the report interval cannot give, or its ticks are [coarse](ticks).
    pub fn coarse_clock(&self) -> bool {
        self.coarse_ticks || self.same_stamp * 20 > self.reports
    }
}

/// Smallest magnitude, in counts, at which a report is taken to be due in every interval: at three counts per
/// interval a device that reports only when it has something to say has something to say. Of a device that counts in
/// [steps](crate::quantum), so many of these.
pub const DUE: i64 = 3;

/// Reports that are further apart than so many intervals have an empty slot between them.
pub const CONTIGUOUS: f64 = 1.6;

/// Report intervals in motion fast enough that every slot is used, in nanoseconds: both reports timed, of at least
/// `due` counts on the larger axis, and not further apart than `longest`.
pub fn fast_intervals(series: &Series, longest: Nanos, due: i64) -> Vec<f64> {
    let pairs = series.samples.windows(2).filter(|pair| pair.iter().all(|s| s.timed && is_due(s, due)));
    pairs
        .map(|pair| pair[1].t - pair[0].t)
        .filter(|&dt| dt > 0 && dt <= longest.0)
        .map(|dt| dt as f64)
        .collect()
}

/// True for a report of at least `due` counts on the larger axis.
fn is_due(s: &Sample, due: i64) -> bool {
    i64::from(s.x.unsigned_abs().max(s.y.unsigned_abs())) >= due
}

/// Intervals in fast motion that alternate between a shorter and a longer one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turns {
    /// The shorter, nanoseconds.
    pub short: f64,
    /// The longer.
    pub long: f64,
    /// Counts after the longer over counts after the shorter.
    pub counts: f64,
    /// Standard uncertainty of half their difference, and of half their sum alike, nanoseconds.
    pub uncertainty: f64,
    /// How often it was seen.
    pub seen: usize,
}

/// Two intervals, one apart, are alike within this share; the one between differs by this factor.
const ALIKE: f64 = 0.25;
const UNLIKE: f64 = 1.5;
/// As many of all must alternate, and so many in all. A late reader's intervals alternate by chance, in at most half.
const MOSTLY: f64 = 0.75;
const LEAST_TURNS: usize = 24;

impl Turns {
    /// The report interval: how long reports are apart on the mean.
    pub fn mean(&self) -> f64 {
        0.5 * (self.short + self.long)
    }

    /// Half the difference.
    pub fn swing(&self) -> f64 {
        0.5 * (self.long - self.short)
    }

    /// True if reports bring the counts of their own interval: a reader that is late with every second one alternates too.
    pub fn of_the_device(&self) -> bool {
        self.counts > 1.0 + 0.5 * (self.long / self.short - 1.0)
    }
}

/// Whether intervals alternate (2, 1, 2, 1 ms): then neither is the report interval. Looks at four reports of at least `due`
/// counts in a row. `None` where they do not.
pub fn turns<'a>(series: impl IntoIterator<Item = &'a Series>, longest: Nanos, due: i64) -> Option<Turns> {
    let size = |s: &Sample| i64::from(s.x.unsigned_abs().max(s.y.unsigned_abs()));
    let (mut all, mut counts) = (0usize, (0i64, 0i64));
    let (mut short, mut long) = (Vec::new(), Vec::new());
    for four in series.into_iter().flat_map(|s| s.samples.windows(4)) {
        let apart = |a: usize| four[a + 1].t.saturating_sub(four[a].t);
        let all_due = four.iter().all(|s| s.timed && size(s) >= due);
        if !all_due || (0..3).any(|a| apart(a) <= 0 || apart(a) > longest.0) {
            continue;
        }
        all += 1;
        let (outer, inner) = (0.5 * (apart(0) + apart(2)) as f64, apart(1) as f64);
        let alike = (apart(0) - apart(2)).abs() as f64 <= ALIKE * outer;
        if alike && (inner >= UNLIKE * outer || outer >= UNLIKE * inner) {
            short.push(inner.min(outer));
            long.push(inner.max(outer));
            let (inner_counts, outer_counts) = (2 * size(&four[2]), size(&four[1]) + size(&four[3]));
            let pair =
                if inner < outer { (inner_counts, outer_counts) } else { (outer_counts, inner_counts) };
            counts = (counts.0 + pair.0, counts.1 + pair.1);
        }
    }
    let seen = short.len();
    if seen < LEAST_TURNS || (seen as f64) < MOSTLY * all as f64 {
        return None;
    }
    let halves: Vec<f64> = short.iter().zip(&long).map(|(a, b)| 0.5 * (b - a)).collect();
    let spread = mad(&halves, median(&halves)?)?;
    Some(Turns {
        short: median(&short)?,
        long: median(&long)?,
        counts: counts.1 as f64 / counts.0.max(1) as f64,
        uncertainty: spread / (seen as f64).sqrt(),
        seen,
    })
}

/// Direction of travel in the sensor's axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Cosine of the angle from the sensor's X to the swipe's *out*.
    pub cos: f64,
    /// Sine of it.
    pub sin: f64,
}

impl Frame {
    /// The principal axis of displacements summed over windows of `window`: the direction in which the counts spread
    /// most, whatever their sign. The sign is that of the first window that moves a tenth of the largest. `None`
    /// without motion. Second moments about zero: a swipe and its return are alike.
    pub fn principal<'a>(series: impl IntoIterator<Item = &'a Series>, window: Nanos) -> Option<Frame> {
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        let mut sums: Vec<(f64, f64)> = Vec::new();
        for one in series {
            let mut slot = i64::MIN;
            for s in &one.samples {
                let now = s.t.div_euclid(window.0.max(1));
                if now != slot {
                    sums.push((0.0, 0.0));
                    slot = now;
                }
                if let Some(sum) = sums.last_mut() {
                    sum.0 += f64::from(s.x);
                    sum.1 += f64::from(s.y);
                }
            }
        }
        let mut largest = 0.0f64;
        for (x, y) in &sums {
            xx += x * x;
            xy += x * y;
            yy += y * y;
            largest = largest.max(x.hypot(*y));
        }
        if xx + yy <= 0.0 {
            return None;
        }
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
        let frame = Frame { cos: angle.cos(), sin: angle.sin() };
        let first = sums.iter().find(|(x, y)| x.hypot(*y) >= 0.1 * largest)?;
        let forward = frame.along(first.0, first.1) >= 0.0;
        Some(if forward { frame } else { Frame { cos: -frame.cos, sin: -frame.sin } })
    }

    /// Turned to the left by an angle of this tangent.
    pub fn turned(self, slope: f64) -> Frame {
        let (sin, cos) = slope.atan().sin_cos();
        Frame { cos: self.cos * cos - self.sin * sin, sin: self.sin * cos + self.cos * sin }
    }

    /// Counts along the swipe.
    pub fn along(self, x: f64, y: f64) -> f64 {
        x * self.cos + y * self.sin
    }

    /// Counts across it, positive to the left of *out* in the sensor's axes.
    pub fn across(self, x: f64, y: f64) -> f64 {
        y * self.cos - x * self.sin
    }

    /// Both for one sample.
    pub fn of(self, s: &Sample) -> (f64, f64) {
        let (x, y) = (f64::from(s.x), f64::from(s.y));
        (self.along(x, y), self.across(x, y))
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    fn series(points: &[(i64, i32, i32)]) -> Series {
        let samples =
            points.iter().map(|&(t, x, y)| Sample { t, x, y, timed: true, idle_before: 0 }).collect();
        Series { samples, reports: points.len(), ..Series::default() }
    }

    #[test]
    fn a_rush_after_a_silence_is_spread_over_it_and_other_times_are_left_alone() {
        let ms = 1_000_000;
        // Reports 3 to 7 come all at once, with the seventh; then a pair of which the first was late by a slot.
        let times = [
            0,
            ms,
            2 * ms,
            7 * ms,
            7 * ms,
            7 * ms,
            7 * ms + 9,
            7 * ms + 9,
            8 * ms,
            10 * ms,
            10 * ms + 5,
            11 * ms,
        ];
        let mut got = series(&times.map(|t| (t, 5, 0)));
        got.spread_rushes(ms);
        let spread = [0, ms, 2 * ms, 3 * ms + 9, 4 * ms + 9, 5 * ms + 9, 6 * ms + 9, 7 * ms + 9, 8 * ms];
        let told: Vec<i64> = got.samples.iter().map(|s| s.t).collect();
        assert_eq!(told[..9], spread);
        assert_eq!(told[9..], times[9..]);
        assert_eq!(got.samples.iter().filter(|s| !s.timed).count(), 5);
        // At a stop the silence goes on: two reports that follow on the ones before.
        let stop = [(0, 50), (ms, 40), (30 * ms, 30), (30 * ms, 5), (700 * ms, 1)];
        let mut got = series(&stop.map(|(t, x)| (t, x, 0)));
        got.spread_rushes(ms);
        assert_eq!(got.samples.iter().map(|s| s.t / ms).collect::<Vec<_>>(), [0, 1, 2, 3, 700]);
        // More reports than the silence has room for stay within it.
        let mut got = series(&[0, 6 * ms, 6 * ms, 6 * ms, 6 * ms, 6 * ms, 6 * ms, 6 * ms].map(|t| (t, 5, 0)));
        got.spread_rushes(ms);
        assert_eq!(got.samples.iter().map(|s| s.t / ms).collect::<Vec<_>>(), [0, 0, 1, 2, 3, 4, 5, 6]);
        // A queue of ten that was held up twice, and had handed on two when it was again.
        let late = [0, 6, 6, 11, 11, 11, 11, 11, 11, 11, 11, 12].map(|t| (t * ms, 5, 0));
        let mut got = series(&late);
        got.spread_rushes(ms);
        let each: Vec<i64> = [0].into_iter().chain(2..=12).collect();
        assert_eq!(got.samples.iter().map(|s| s.t / ms).collect::<Vec<_>>(), each);
    }

    /// Reports every 2 ms, of which those of some times are held up until then and sent every millisecond.
    pub(crate) fn queue(held: impl Fn(i64) -> Option<i64>) -> Vec<i64> {
        let ms = 1_000_000;
        let mut last = i64::MIN;
        let made = (0..400).map(|i| 2 * ms * i);
        let sent = made.map(|t| {
            last = held(t / ms).map_or(t, |until| until * ms).max(last.saturating_add(ms));
            last
        });
        sent.collect()
    }

    #[test]
    fn a_queue_that_is_sent_faster_than_the_device_reports_is_spread_over_its_silence() {
        let ms = 1_000_000;
        let held = |t: i64| (200..300).contains(&t).then_some(300);
        let mut got = series(&queue(held).into_iter().map(|t| (t, 9, 0)).collect::<Vec<_>>());
        got.spread_rushes(2 * ms);
        let even = |w: &[Sample]| (w[1].t - w[0].t - 2 * ms).abs() <= ms / 10;
        assert!(got.samples.windows(2).all(even), "{:?}", got.samples);
        // Held up again before it has caught up; and from a rest on, so that it never does.
        let again = |t: i64| match t {
            200..300 => Some(300),
            300..306 => Some(310),
            _ => None,
        };
        let mut got = series(&queue(again).into_iter().map(|t| (t, 9, 0)).collect::<Vec<_>>());
        got.spread_rushes(2 * ms);
        assert!(got.samples.windows(2).all(even), "{:?}", got.samples);
        let rested = queue(held).into_iter().enumerate().map(|(i, t)| (t, if i < 120 { 0 } else { 9 }, 0));
        let mut got = series(&rested.filter(|r| r.1 > 0).collect::<Vec<_>>());
        got.samples.insert(0, Sample { t: 0, ..got.samples[0] });
        got.spread_rushes(2 * ms);
        assert!(got.samples[1..].windows(2).all(even), "{:?}", got.samples);
        // A device that is itself twice as fast whenever the hand moves.
        let own: Vec<_> = (0..400).map(|i| ((i + i / 50 * 500) * ms, 9, 0)).collect();
        let mut got = series(&own);
        got.spread_rushes(2 * ms);
        assert!(got.samples.iter().zip(&own).all(|(s, o)| s.t == o.0));
    }

    #[test]
    fn intervals_that_alternate_are_told_and_whether_counts_go_with_them() {
        let ms = 1_000_000;
        let points = |long: i64, after_short: i32, after_long: i32| -> Vec<(i64, i32, i32)> {
            let at = |i: i64| (i / 2 * (1 + long) + i % 2) * ms + (i * 7919) % 20_000;
            (0..200).map(|i| (at(i), if i % 2 == 1 { after_short } else { after_long }, 0)).collect()
        };
        for long in [2, 3, 7] {
            let found = turns([&series(&points(long, 9, 9 * long as i32))], Nanos(20 * ms), DUE).unwrap();
            assert!((found.short / 1e6 - 1.0).abs() < 0.02 && (found.long / 1e6 - long as f64).abs() < 0.02);
            assert!(found.of_the_device() && found.seen > 190, "{found:?}");
            // A reader that is late with every second one.
            let late = turns([&series(&points(long, 9, 9))], Nanos(20 * ms), DUE).unwrap();
            assert!(!late.of_the_device());
        }
        // Even ones, and polls of 1 ms of a device that has something to say every 7.5 ms.
        assert_eq!(turns([&series(&points(1, 9, 9))], Nanos(20 * ms), DUE), None);
        let polled: Vec<_> = (0..200).map(|i| (i * 15 / 2 * ms, 9, 0)).collect();
        assert_eq!(turns([&series(&polled)], Nanos(20 * ms), DUE), None);
        // Late by up to a slot, by chance.
        let mut late: Vec<_> =
            (0..2000i64).map(|i| ((i * 1000 + i * i * 7919 % 1000) * 1000, 9, 0)).collect();
        late.sort_unstable();
        assert_eq!(turns([&series(&late)], Nanos(20 * ms), DUE), None);
    }

    #[test]
    fn finds_the_direction_of_a_tilted_device_whatever_the_sign() {
        let out: Vec<_> = (0..50).map(|i| (i * 1_000_000, 4, 3)).collect();
        let back: Vec<_> = (50..100).map(|i| (i * 1_000_000, -4, -3)).collect();
        let frame = Frame::principal([&series(&[out, back].concat())], Nanos(20_000_000)).unwrap();
        assert!((frame.cos - 0.8).abs() < 1e-12 && (frame.sin - 0.6).abs() < 1e-12);
        let (along, across) = frame.of(&Sample { t: 0, x: 4, y: 3, timed: true, idle_before: 0 });
        assert!((along - 5.0).abs() < 1e-12 && across.abs() < 1e-12);
        assert_eq!(Frame::principal([&series(&[])], Nanos(1)), None);
        // Three by four, turned on by three by four: 7 by 24.
        let turned = frame.turned(0.75);
        assert!((turned.cos - 0.28).abs() < 1e-12 && (turned.sin - 0.96).abs() < 1e-12);
    }
}
