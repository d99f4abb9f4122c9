//! Report intervals of a device in unbroken motion, and what they tell of its clock.
//!
//! A *run* is a row of reports in which every slot was used: each of at least [`DUE`] counts on the larger axis (a device that
//! has something to say says it in every interval; counted in the device's own [steps](quantum): one that counts by fours has
//! something to say in every third slot where three counts are due in each), each stamp within half an interval of where the one
//! before puts it. Some that are farther off, before one that is not, are left out, and so are those at which a run would begin
//! by less than a whole slot off: runs that begin at late stamps make the clock fast. (Added after a sound device of 125 µs, read
//! late by 40 µs on the mean and now and then by a slot, had been told to have 124.92 ± 0.05.) Reports that were read together
//! with others have no time of their own: they keep the run's count and are left out. Where the kernel's own stamps were recorded
//! of all reports of a run but a few these are used, and a report without one has no time; else those of receipt.
//!
//! The *clock* is the slope of time against report number, pooled over runs: b = Σ (i − ī)(t − t̄) / Σ (i − ī)². A stamp
//! that is late moves it little and does not add up, unlike the median of intervals, which jitter widens and which a
//! skewed delay shifts. Its standard uncertainty is taken from the scatter of the runs' own slopes, so that noise with
//! any correlation within a run counts. Owns no judgement. Cost: one pass over the rows; at most [`MOST`] reports kept.

pub mod frames;
pub mod lone;
pub mod rates;
pub mod rushes;
pub mod uneven;

use crate::quantum;
use crate::series::DUE;
use crate::stats::{mad, median};
use slipgauge_trace::Nanos;
use slipgauge_trace::recording::{DeviceTrace, NO_STAMP};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// Reports that are looked at; what comes after them is left out (a quarter of an hour at 1 kHz; 16 MB).
pub const MOST: usize = 1 << 20;
/// Fewer reports do not make a run.
const LEAST: usize = 8;
/// Stamps that lie further off than this share of an interval from where the one before puts them break a run, if they are as
/// many in a row as make one. Fewer were read late, and have no time of their own.
const BREAK: f64 = 0.5;
/// An interval that differs from the report interval by more than this share of it is off.
const OFF: f64 = 0.25;

/// Variance of a run's slope, times Σ (i − ī)², over what its halves say of it. Where stamps scatter for themselves it is 1;
/// where lateness adds up from report to report, as in a queue that fills, a slope of n reports has 6 τ²/5 n instead of
/// 12 σ²/n³, and it is (n²/10)/(n²/40). Runs of late stamps are believed to be that: a clock that wanders shows over long runs.
const ADDED_UP: f64 = 4.0;
/// Chance, were each stamp late by itself, at which lateness is said to add up.
const ADDS_UP: f64 = 0.01;

/// Reports of a run that are looked at as one of their own: an interval that swings within a swipe is as good as constant
/// within them, and so many tell a slope to √12 / 64^1.5, 0.7 %, of what a stamp scatters by.
const PIECE: usize = 64;

/// Share of reports in fast motion that must have the kernel's own stamp if these are to be used: the recorder leaves
/// out what it is not sure of, after a stall up to the next rest. What is left is enough, on one and the same clock.
const STAMPED: f64 = 0.9;

/// A row of reports in which every slot was used: number and time of those that have a time.
#[derive(Clone, Debug, Default)]
pub struct Run {
    /// Number of the report within the run.
    pub number: Vec<f64>,
    /// Its time in nanoseconds since the run's first report.
    pub time: Vec<f64>,
}

/// All runs of some phases.
#[derive(Clone, Debug, Default)]
pub struct Runs {
    /// In order of time.
    pub runs: Vec<Run>,
    /// True if they hold the kernel's own stamps.
    pub kernel: bool,
    /// Largest step that all stamps are multiples of, in nanoseconds; 0 without stamps.
    pub tick: i64,
    /// Intervals in fast motion between reports that both have a time.
    pub intervals: usize,
    /// Those of them that broke a run because a slot or more was missing.
    pub skipped: usize,
    /// Those that are off by more than a quarter of the interval, whether or not they broke a run.
    pub off: usize,
}

/// A clock as its runs tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clock {
    /// Report interval in nanoseconds.
    pub interval: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// Degrees of freedom of that.
    pub df: f64,
    /// Robust standard deviation of a stamp about its run's line, or about the middle of those beside it where that is
    /// less, nanoseconds: an interval that wanders bends the line.
    pub spread: f64,
    /// Standard deviation of the interval from run to run, or from [`PIECE`] to piece of them, beyond what the stamps
    /// explain, nanoseconds.
    pub wander: f64,
    /// F statistic of that, with its degrees of freedom.
    pub wander_f: (f64, f64, f64),
    /// Reports used.
    pub reports: usize,
}

/// What is known of the reports and breaks no run.
#[derive(Clone, Copy, Debug, Default)]
pub struct Known<'a> {
    /// Rows before which one report is missing, in order: they count on.
    pub missing: &'a [usize],
    /// Intervals alternate between so much less and more than the report interval, nanoseconds.
    pub swing: f64,
}

/// Collects runs. `slot` is a rough report interval in nanoseconds.
pub fn runs(trace: &DeviceTrace, spans: &[(Nanos, Nanos)], slot: f64) -> Runs {
    runs_knowing(trace, spans, slot, Known::default())
}

/// Collects runs, knowing something of the reports.
pub fn runs_knowing(trace: &DeviceTrace, spans: &[(Nanos, Nanos)], slot: f64, known: Known) -> Runs {
    let mut out = Runs::default();
    if slot.is_nan() || slot < 1.0 {
        return out;
    }
    let reports = Reports::new(trace, spans);
    out.kernel = reports.kernel;
    let apart = BREAK + known.swing / slot;
    let mut row_of = Collected { slot, apart, ..Collected::default() };
    let (mut last, mut missing) = (None, 0);
    reports.walk(spans, |report| {
        let Some((row, number, t)) = report else {
            row_of.end(&mut out);
            last = None;
            return;
        };
        out.tick = greatest_common(out.tick, t);
        missing += i64::from(known.missing.binary_search(&row).is_ok());
        let number = number + missing;
        if let Some((before, at)) = last {
            let off = t.saturating_sub(at) as f64 / slot - (number - before) as f64;
            out.intervals += 1;
            out.skipped += usize::from(off > apart);
            out.off += usize::from(off.abs() > OFF);
        }
        last = Some((number, t));
        row_of.take(number, t, &mut out);
    });
    out
}

/// A run that is being collected.
#[derive(Default)]
struct Collected {
    slot: f64,
    /// Share of it by which a stamp may lie off.
    apart: f64,
    run: Run,
    /// Number and time of its first report, and of its last.
    begin: (i64, i64),
    last: Option<(i64, i64)>,
    /// Those since that lie farther off.
    off: Vec<(i64, i64)>,
}

impl Collected {
    fn take(&mut self, number: i64, t: i64, out: &mut Runs) {
        let (before, at) = *self.last.get_or_insert((number, t));
        let (slot, apart) = (self.slot, self.apart);
        let off = |number: i64, t: i64| t.saturating_sub(at) as f64 / slot - (number - before) as f64;
        if off(number, t).abs() > apart {
            self.off.push((number, t));
            if self.off.len() == LEAST {
                let part = |&(number, t): &(i64, i64)| {
                    let off = off(number, t);
                    (off - off.round()).abs() > OFF
                };
                let rest = std::mem::take(&mut self.off);
                self.end(out);
                rest.into_iter().skip_while(part).for_each(|(number, t)| self.take(number, t, out));
            }
            return;
        }
        if self.run.number.is_empty() {
            self.begin = (number, t);
        }
        self.run.number.push((number - self.begin.0) as f64);
        self.run.time.push(t.saturating_sub(self.begin.1) as f64);
        self.last = Some((number, t));
        self.off.clear();
    }

    fn end(&mut self, out: &mut Runs) {
        out.close(&mut self.run);
        self.last = None;
        self.off.clear();
    }
}

/// How reports are read: how fast they are, and when they came.
struct Reports<'a> {
    trace: &'a DeviceTrace,
    /// True if the kernel's own stamps are used.
    kernel: bool,
    /// The step in which it counts.
    step: i64,
}

impl<'a> Reports<'a> {
    fn new(trace: &'a DeviceTrace, spans: &[(Nanos, Nanos)]) -> Reports<'a> {
        let mut reports = Reports { trace, kernel: false, step: quantum::in_spans(trace, spans) };
        if !trace.motion.kernel_ns.is_empty() {
            let all = || spans.iter().flat_map(|&(begin, end)| trace.motion.rows(begin, end));
            let fast = || all().filter(|&row| trace.has_motion(row) && reports.is_due(row));
            let stamped = fast().filter(|&row| reports.stamp(row).is_some()).count();
            reports.kernel = stamped > 0 && stamped as f64 >= STAMPED * fast().count() as f64;
        }
        reports
    }

    /// True if a report holds so many steps that one is due in every slot.
    fn is_due(&self, row: usize) -> bool {
        counts(self.trace, row) >= DUE * self.step
    }

    /// Calls with row, number and time of each report of at least [`DUE`] steps that has a time, [`MOST`] of them; with
    /// nothing where slower ones, or a span's end, come between. Numbers count those without a time as well.
    fn walk(&self, spans: &[(Nanos, Nanos)], mut take: impl FnMut(Option<(usize, i64, i64)>)) {
        let (mut number, mut kept) = (0, 0);
        for rows in spans.iter().map(|&(begin, end)| self.trace.motion.rows(begin, end)) {
            let end = rows.end;
            for row in rows.filter(|&row| self.trace.has_motion(row)) {
                if !self.is_due(row) || kept >= MOST {
                    take(None);
                    continue;
                }
                number += 1;
                if let Some(t) = self.time(row, end) {
                    kept += 1;
                    take(Some((row, number, t)));
                }
            }
            take(None);
        }
    }

    fn stamp(&self, row: usize) -> Option<i64> {
        self.trace.motion.kernel_ns.get(row).copied().filter(|&k| k != NO_STAMP)
    }

    /// Time of a report that has one of its own; `end` is that of the rows looked at.
    fn time(&self, row: usize, end: usize) -> Option<i64> {
        let motion = &self.trace.motion;
        let alone = motion.place[row] == 0 && (row + 1 >= end || motion.place[row + 1] == 0);
        if self.kernel { self.stamp(row) } else { alone.then_some(motion.received_ns[row]) }
    }
}

/// Counts of a report on the larger axis.
fn counts(trace: &DeviceTrace, row: usize) -> i64 {
    i64::from(trace.motion.x[row].unsigned_abs().max(trace.motion.y[row].unsigned_abs()))
}

pub(crate) fn greatest_common(a: i64, b: i64) -> i64 {
    let (mut a, mut b) = (a.unsigned_abs(), b.unsigned_abs());
    while b > 0 {
        (a, b) = (b, a % b);
    }
    i64::try_from(a).unwrap_or(0)
}

impl Run {
    /// Mean number, mean time, Σ (i − ī)² and slope.
    fn line(&self) -> (f64, f64, f64, f64) {
        let n = self.number.len() as f64;
        let (i, t) = (self.number.iter().sum::<f64>() / n, self.time.iter().sum::<f64>() / n);
        let (mut weight, mut cross) = (0.0, 0.0);
        for (number, time) in self.number.iter().zip(&self.time) {
            weight += (number - i) * (number - i);
            cross += (number - i) * (time - t);
        }
        (i, t, weight, cross / weight)
    }

    /// The run cut up into pieces of [`PIECE`] reports; the last is up to twice as long.
    fn pieces(&self) -> Vec<Run> {
        let n = (self.number.len() / PIECE).max(1);
        let end = |i: usize| if i == n { self.number.len() } else { i * PIECE };
        let piece = |i: usize| {
            let rows = end(i)..end(i + 1);
            Some(Run { number: self.number.get(rows.clone())?.to_vec(), time: self.time.get(rows)?.to_vec() })
        };
        (0..n).filter_map(piece).collect()
    }

    /// What stamps lie off the middle of the two beside them, scaled to the scatter of one: three that scatter by themselves
    /// make 1 + 2/4 of its variance.
    fn beside(&self) -> Vec<f64> {
        let three = self.number.windows(3).zip(self.time.windows(3));
        let even = three.filter(|(number, _)| (number[2] - number[0] - 2.0).abs() < 0.5);
        even.map(|(_, t)| (t[1] - 0.5 * (t[0] + t[2])) / 1.5f64.sqrt()).collect()
    }

    /// Square of the difference between the slopes of its halves, over what a stamp's own variance makes of it: an estimate
    /// of that variance with one degree of freedom, which holds whatever stamps that lie near each other share.
    fn halves(&self) -> Option<f64> {
        let half = self.number.len() / 2;
        let part = |rows: std::ops::Range<usize>| {
            let number = self.number.get(rows.clone())?.to_vec();
            Some(Run { number, time: self.time.get(rows)?.to_vec() }.line())
        };
        let (a, b) = (part(0..half)?, part(half..self.number.len())?);
        let q = (a.3 - b.3).powi(2) / (1.0 / a.2 + 1.0 / b.2);
        q.is_finite().then_some(q)
    }

    /// Intervals between reports that follow each other, in unbroken rows.
    pub fn intervals(&self) -> Vec<Vec<f64>> {
        let mut rows = vec![Vec::new()];
        for (number, time) in self.number.windows(2).zip(self.time.windows(2)) {
            if number[1] - number[0] > 1.5 {
                rows.push(Vec::new());
            } else if let Some(row) = rows.last_mut() {
                row.push(time[1] - time[0]);
            }
        }
        rows
    }
}

impl Runs {
    fn close(&mut self, run: &mut Run) {
        let run = std::mem::take(run);
        if run.number.len() >= LEAST {
            self.runs.push(run);
        }
    }

    /// The clock of these runs. `None` with fewer than three.
    pub fn clock(&self) -> Option<Clock> {
        let lines: Vec<_> = self.runs.iter().map(Run::line).collect();
        if lines.len() < 3 {
            return None;
        }
        let total: f64 = lines.iter().map(|l| l.2).sum();
        let interval = lines.iter().map(|l| l.2 * l.3).sum::<f64>() / total;
        let count = lines.len() as f64;
        let scatter: f64 = lines.iter().map(|l| (l.2 * (l.3 - interval)).powi(2)).sum();
        let uncertainty = (scatter * count / (count - 1.0)).sqrt() / total;
        let squares: f64 = lines.iter().map(|l| l.2 * l.2).sum();
        // Runs weigh unequally: the number of equal ones that would scatter alike.
        let df = (total * total / squares - 1.0).max(1.0);
        let residuals = self.residuals(&lines);
        let line = mad(&residuals, median(&residuals)?)?;
        let beside: Vec<f64> = self.runs.iter().flat_map(Run::beside).collect();
        let beside = median(&beside).and_then(|centre| mad(&beside, centre));
        let (wander, wander_f) = self.wander(interval)?;
        Some(Clock {
            interval,
            uncertainty,
            df,
            spread: beside.map_or(line, |beside| beside.min(line)),
            wander,
            wander_f,
            reports: residuals.len(),
        })
    }

    /// What stamps lie off their run's line.
    fn residuals(&self, lines: &[(f64, f64, f64, f64)]) -> Vec<f64> {
        let mut residuals = Vec::new();
        for (run, (i, t, _, slope)) in self.runs.iter().zip(lines) {
            let pairs = run.number.iter().zip(&run.time);
            residuals.extend(pairs.map(|(number, time)| time - t - slope * (number - i)));
        }
        residuals
    }

    /// Wander from run to run or, where that is surer, from piece to piece: its standard deviation, and F with its degrees of
    /// freedom. Both are looked at, for what wanders fast bends the runs, and what wanders slowly moves short pieces by little.
    fn wander(&self, interval: f64) -> Option<(f64, (f64, f64, f64))> {
        let by_run = self.between(interval)?;
        let pieces = Runs { runs: self.runs.iter().flat_map(Run::pieces).collect(), ..Runs::default() };
        let chance =
            |(_, (f, a, b)): &(f64, (f64, f64, f64))| FisherSnedecor::new(*a, *b).map_or(1.0, |d| d.sf(*f));
        let by_piece = pieces.between(interval).filter(|by_piece| chance(by_piece) < chance(&by_run));
        Some(by_piece.unwrap_or(by_run))
    }

    /// Wander from run to run.
    fn between(&self, interval: f64) -> Option<(f64, (f64, f64, f64))> {
        let lines: Vec<_> = self.runs.iter().map(Run::line).collect();
        let count = lines.len() as f64;
        let residuals = self.residuals(&lines);
        let within = residuals.len() as f64 - 2.0 * count;
        let noise = residuals.iter().map(|r| r * r).sum::<f64>() / within;
        let (noise, within) = self.added_up(noise, within).unwrap_or((noise, within));
        let total: f64 = lines.iter().map(|l| l.2).sum();
        let between: f64 = lines.iter().map(|l| l.2 * (l.3 - interval).powi(2)).sum();
        let squares: f64 = lines.iter().map(|l| l.2 * l.2).sum();
        let excess = (between - (count - 1.0) * noise) / (total - squares / total);
        let f = between / (count - 1.0) / noise.max(f64::MIN_POSITIVE);
        (count >= 3.0).then_some((excess.max(0.0).sqrt(), (f, count - 1.0, within)))
    }

    /// Variance of a stamp as it moves the slope of a run, and its degrees of freedom, where lateness adds up: where the
    /// halves of runs differ by more than stamps that are late by themselves, of this variance, make it.
    fn added_up(&self, noise: f64, within: f64) -> Option<(f64, f64)> {
        let halves: Vec<f64> = self.runs.iter().filter_map(Run::halves).collect();
        let n = halves.len() as f64;
        let by_halves = halves.iter().sum::<f64>() / n;
        let chance = FisherSnedecor::new(n, within).ok()?.sf(by_halves / noise.max(f64::MIN_POSITIVE));
        (chance < ADDS_UP).then_some((ADDED_UP * by_halves, n))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slipgauge_trace::recording::{Motion, RowFormat};

    /// Reports at these times, of so many counts, each the so-many-th of its wake-up.
    pub(super) fn trace(rows: &[(i64, i32, u16)]) -> DeviceTrace {
        let format =
            RowFormat { node: 0, id: None, axis_bits: Some((16, 16)), limits: None, field_range: None };
        let motion = Motion {
            received_ns: rows.iter().map(|r| r.0).collect(),
            x: rows.iter().map(|r| r.1).collect(),
            y: rows.iter().map(|_| 0).collect(),
            buttons: rows.iter().map(|_| 0).collect(),
            place: rows.iter().map(|r| r.2).collect(),
            format: rows.iter().map(|_| 0).collect(),
            ..Motion::default()
        };
        DeviceTrace { motion, formats: vec![format], ..DeviceTrace::default() }
    }

    pub(super) const ALL: [(Nanos, Nanos); 1] = [(Nanos(i64::MIN), Nanos(i64::MAX))];

    #[test]
    fn a_batch_keeps_the_count_and_a_gap_or_a_slow_report_breaks_the_run() {
        let ms = 1_000_000;
        let mut rows: Vec<_> = (0..50i64).map(|i| (i * ms, 20, 0)).collect();
        // Three reports of one wake-up, stamped with the last one's time.
        rows[20].0 = 22 * ms;
        (rows[21].0, rows[21].2) = (22 * ms, 1);
        rows[22].2 = 2;
        // A slow one.
        rows[35].1 = 1;
        let got = runs(&trace(&rows), &ALL, 1e6);
        assert_eq!(got.runs.len(), 2);
        assert_eq!((got.runs[0].number.len(), got.runs[1].number.len()), (32, 14));
        assert!(got.runs[0].number.iter().zip(&got.runs[0].time).all(|(i, t)| i * 1e6 == *t));
        assert_eq!(got.runs[0].intervals().iter().map(Vec::len).collect::<Vec<_>>(), [19, 11]);
        assert_eq!((got.tick, got.skipped), (ms, 0));
        // Two slots left out, on a clock of 0.1 ms.
        rows.iter_mut().skip(10).for_each(|r| r.0 += 2 * ms + 100_000);
        let got = runs(&trace(&rows), &ALL, 1e6);
        assert_eq!((got.runs.len(), got.skipped, got.tick), (3, 1, 100_000));
    }

    /// At three counts a slot a device that counts by fours leaves every fourth slot empty.
    #[test]
    fn a_device_that_counts_in_steps_uses_every_slot_from_three_of_them_on() {
        let speed = |i: i64| if i < 200 { 3 } else { 15 };
        let mut told = 0;
        let mut made = 0;
        let rows = (0..400).filter_map(|i| {
            made += speed(i);
            let counts = (made - told) / 4 * 4;
            told += counts;
            (counts > 0).then_some((i * 1_000_000, counts, 0))
        });
        let got = runs(&trace(&rows.collect::<Vec<_>>()), &ALL, 1e6);
        assert_eq!((got.skipped, got.off), (0, 0));
        assert!(got.intervals > 190, "{}", got.intervals);
    }

    #[test]
    fn the_kernels_stamps_are_used_where_nearly_all_fast_reports_have_one() {
        let ms = 1_000_000;
        // Read in pairs, late; every tenth moves nothing and has no stamp.
        let counts = |i: i64| if i % 10 == 9 { 0 } else { 20 };
        let rows: Vec<_> = (0..100i64).map(|i| ((i / 2 * 2 + 3) * ms, counts(i), (i % 2) as u16)).collect();
        let mut trace = trace(&rows);
        let stamps = |unsure: i64| {
            let none = move |i: i64| counts(i) == 0 || (0..unsure).contains(&i);
            (0..100i64).map(move |i| if none(i) { NO_STAMP } else { i * ms }).collect()
        };
        trace.motion.kernel_ns = stamps(5);
        let got = runs(&trace, &ALL, 1e6);
        assert!(got.kernel && got.runs.len() == 9, "{got:?}");
        assert!(got.runs.iter().all(|run| run.number.iter().zip(&run.time).all(|(i, t)| i * 1e6 == *t)));
        trace.motion.kernel_ns = stamps(20);
        assert!(!runs(&trace, &ALL, 1e6).kernel);
    }

    /// Three runs of 100 reports 1.01 ms apart; each stamp early or late by 0.1 ms in turn, which the slope averages out.
    #[test]
    fn the_clock_is_the_slope_whatever_the_jitter() {
        let rows: Vec<_> = (0..300i64)
            .map(|i| (i * 1_010_000 + (i / 100) * 50_000_000 + 50_000 * (1 - 2 * (i % 2)), 20, 0))
            .collect();
        let got = runs(&trace(&rows), &ALL, 1e6).clock().unwrap();
        // ±d in turn moves the slope of n points by 3 d / n² of a step: 15 ns here.
        assert!((got.interval - 1_010_000.0).abs() < 40.0, "{got:?}");
        assert!((got.spread - 74_000.0).abs() < 1_000.0 && got.reports == 300, "{got:?}");
        assert!(got.wander < 100.0);
    }

    /// Intervals of 2 ms that swing by 6 % in 3 s, as in swipes of a second; stamps are late by up to 40 µs.
    #[test]
    fn an_interval_that_wanders_within_runs_scatters_no_stamps() {
        let at = |i: i64| {
            let swing = 0.06 * 3e9 / std::f64::consts::TAU;
            2e6 * i as f64 - swing * (std::f64::consts::TAU * 2e6 * i as f64 / 3e9).cos()
        };
        let late = |i: i64| 4e4 * (i as f64 * 0.618_033_988_75).fract();
        let rows: Vec<_> =
            (0..6000i64).filter(|i| i % 600 < 500).map(|i| ((at(i) + late(i)) as i64, 20, 0)).collect();
        let got = runs(&trace(&rows), &ALL, 2e6).clock().unwrap();
        assert!(got.spread < 30_000.0, "{got:?}");
        let chance = FisherSnedecor::new(got.wander_f.1, got.wander_f.2).unwrap().sf(got.wander_f.0);
        assert!(chance < 1e-9 && (got.wander / 2e6 - 0.042).abs() < 0.01, "{got:?}");
        // Of a clock that does not wander neither is said.
        let rows: Vec<_> =
            (0..6000i64).filter(|i| i % 600 < 500).map(|i| (2_000_000 * i + late(i) as i64, 20, 0)).collect();
        let got = runs(&trace(&rows), &ALL, 2e6).clock().unwrap();
        assert!(got.spread < 30_000.0 && got.wander < 1e3, "{got:?}");
    }

    #[test]
    fn hostile_times_make_no_run_and_no_panic() {
        let far = [(i64::MIN, 20, 0), (i64::MAX, 20, 0), (i64::MAX, i32::MIN, 0)];
        for slot in [f64::NAN, 0.0, 1e-300, 1e6, f64::INFINITY] {
            assert!(runs(&trace(&far), &ALL, slot).clock().is_none());
        }
        let same: Vec<_> = (0..100).map(|_| (5, 20, 0)).collect();
        assert!(runs(&trace(&same), &ALL, 1e6).runs.is_empty());
    }
}
