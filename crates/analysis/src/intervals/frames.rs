//! Frames on a clock of their own, which polls sample: a sensor's, or slots of a radio, further apart than polls are.
//!
//! The k-th report then comes with the first poll after kT + φ, and holds one frame. So reports are n or n + 1 polls apart, T
//! lies between, and no report is as much as a poll away from its place on an even clock. A row of intervals shows that if there
//! is a T with (m − 1)/l < T/P < (m + 1)/l for every l intervals in it that last m polls: such words are *balanced* (Morse and
//! Hedlund 1940). Reports that are lost or left out at random break it: of rows of [`LONG`] intervals and [`RARER`] of the rarer
//! kind at most [`BY_CHANCE`] are balanced. So [`MOSTLY`] of them must be, and more than chance makes.
//!
//! A device that samples at each poll and leaves polls out, however evenly, brings counts in proportion to the time; one frame is
//! one frame, whether it waited for one poll or two. Where there are counts enough to tell, they decide. Reports that a link
//! *loses* evenly look like frames, counts and all: that is for the caller to tell, by the resolution.
//!
//! One clock holds in all rows. Each balanced one tells between which bounds T/P lies, those of nothing but n polls as well: where more of
//! them, by their intervals, than chance makes lie off the T of the others, reports are regular in different ways at different times, and have no even clock.
//! (Added after reports of which every fifth was lost from the middle of a session on had been told to have one of 1.03 and 1.11
//! polls, the mean of 1 and 1.25.)
//!
//! Owns no judgement. Cost: one pass over the rows, and O(length) a report in a row, at most [`LONGEST`].

use super::{Clock, LEAST, OFF, Reports, Run, Runs, counts};
use crate::host::HostSpans;
use crate::stats::median;
use slipgauge_trace::Nanos;
use slipgauge_trace::recording::DeviceTrace;
use statrs::distribution::{Binomial, DiscreteCDF};

/// Intervals in a row that is looked at, at least, and how many of them are of the rarer kind.
const LONG: usize = 8;
const RARER: usize = 3;
/// Share of such rows that are balanced if each interval is drawn by itself: 400 to 2,000 drawn at each
/// share of long ones from 2 to 50 %.
const BY_CHANCE: f64 = 0.15;
/// Rows end here, told or not: T is then within a per cent of whole polls, and their beat is of no account.
const LONGEST: usize = 512;
/// Share of rows that are balanced; a reader that is late by half a poll spoils some. And the chance at which as many are.
const MOSTLY: f64 = 0.5;
const LEVEL: f64 = 1e-3;
/// A sensor's own oscillator holds to this within a session (common practice, no source).
const DRIFTS: f64 = 0.01;
/// Share of intervals that must be whole polls: of later readers' stamps nothing can be said (as in [`super::lone`]).
const WHOLE: f64 = 0.9;
/// Intervals that are longer than frames explain are lost frames: at most so many (as of reports that are lost one by one).
const LOST: f64 = 0.01;
/// Beyond this number of polls in a frame one more or less is a sixteenth of the interval.
const MOST_POLLS: usize = 16;
/// Counts in a frame at which they are told from those of another poll, and pairs of intervals to compare: rounding adds up to
/// one count to each, so a hundredth or two of the sum of as many.
const LEAST_COUNTS: f64 = 6.0;
const LEAST_PAIRS: usize = 24;

/// Frames that polls sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frames {
    /// Their clock.
    pub clock: Clock,
    /// The poll interval, nanoseconds.
    pub poll: f64,
    /// Reports are so many polls apart, or one more.
    pub polls: usize,
    /// Counts after the longer interval over counts after the shorter; `None` with too few counts to tell.
    pub counts: Option<f64>,
}

/// True if so many balanced rows of all are not chance's.
fn frames(even: usize, seen: usize) -> bool {
    let (Some(more), Ok(all)) = (even.checked_sub(1), Binomial::new(BY_CHANCE, seen as u64)) else {
        return false;
    };
    even as f64 >= MOSTLY * seen as f64 && all.sf(more as u64) < LEVEL
}

/// A report in fast motion: its time, counts, and polls since the one before.
#[derive(Clone, Copy)]
struct Frame {
    t: i64,
    counts: f64,
    polls: usize,
}

/// Looks for them. `poll` is the interval at which the host polls, nanoseconds.
pub fn find(trace: &DeviceTrace, spans: &[(Nanos, Nanos)], poll: f64, host: &HostSpans) -> Option<Frames> {
    if poll.is_nan() || poll < 1.0 {
        return None;
    }
    let reports = Reports::new(trace, spans);
    let rows = rows(&reports, spans, poll, host)?;
    let polls = shorter(&rows)?;
    let fits = |frame: &Frame| frame.polls == polls || frame.polls == polls + 1;
    // Of one frame; a longer silence is a rest, or a dropout.
    let lost =
        |pair: &[Frame]| (polls + 2..=2 * polls + 2).contains(&pair[0].polls) && pair[1].polls >= polls;
    let lost = rows.iter().flat_map(|row| row[1..].windows(2)).filter(|pair| lost(pair)).count();
    let all: usize = rows.iter().map(|row| row.len() - 1).sum();
    if lost as f64 > LOST * all as f64 {
        return None;
    }
    let (mut runs, mut told) = (Runs::default(), Told::default());
    let mut pairs = Pairs { least: LEAST_COUNTS * reports.step as f64, ..Pairs::default() };
    for row in &rows {
        let mut begin = 0;
        for end in 1..=row.len() {
            if row.get(end).is_some_and(fits) {
                continue;
            }
            let run = &row[begin..end];
            begin = end;
            if run.len() < LEAST {
                continue;
            }
            pairs.add(run, polls);
            told.add(run, polls);
            let first = run[0].t;
            runs.runs.push(Run {
                number: (0..run.len()).map(|k| k as f64).collect(),
                time: run.iter().map(|frame| (frame.t - first) as f64).collect(),
            });
        }
    }
    let counts = pairs.ratio();
    let in_proportion = counts.is_some_and(|ratio| ratio > 1.0 + 0.5 / polls as f64);
    if !frames(told.even, told.seen) || in_proportion || told.elsewhere() > BY_CHANCE {
        return None;
    }
    Some(Frames { clock: runs.clock()?, poll, polls, counts })
}

/// Rows of reports in fast motion, two and more. `None` where their intervals are not whole polls.
fn rows(reports: &Reports, spans: &[(Nanos, Nanos)], poll: f64, host: &HostSpans) -> Option<Vec<Vec<Frame>>> {
    let (mut rows, mut row) = (Vec::new(), Vec::new());
    let (mut all, mut whole) = (0usize, 0usize);
    let mut close = |row: &mut Vec<Frame>| {
        let row = std::mem::take(row);
        if row.len() > 1 {
            rows.push(row);
        }
    };
    let mut last: Option<(i64, i64)> = None;
    reports.walk(spans, |report| {
        let Some((at, number, t)) = report else {
            close(&mut row);
            last = None;
            return;
        };
        let mut polls = 0;
        if let Some((before, since)) = last.replace((number, t)) {
            let apart = t.saturating_sub(since) as f64 / poll;
            if number - before > 1 || host.explain(since, t) {
                close(&mut row);
            } else {
                (all, whole) = (all + 1, whole + usize::from((apart - apart.round()).abs() <= OFF));
                polls = apart.round().clamp(0.0, f64::from(u32::MAX)) as usize;
            }
        }
        row.push(Frame { t, counts: counts(reports.trace, at) as f64, polls });
    });
    (whole as f64 >= WHOLE * all as f64).then_some(rows)
}

/// The n for which most intervals are n or n + 1 polls, and there are both.
fn shorter(rows: &[Vec<Frame>]) -> Option<usize> {
    let mut seen = [0usize; MOST_POLLS + 2];
    for frame in rows.iter().flat_map(|row| &row[1..]) {
        if let Some(of) = seen.get_mut(frame.polls) {
            *of += 1;
        }
    }
    let both = |n: usize| seen[n] + seen[n + 1];
    let most = (1..=MOST_POLLS).max_by_key(|&n| both(n))?;
    (seen[most].min(seen[most + 1]) > 0).then_some(most)
}

/// What rows tell.
#[derive(Default)]
struct Told {
    /// Rows that can be looked at, and those of them that are balanced.
    seen: usize,
    even: usize,
    /// Balanced rows of [`LONG`] intervals and more.
    balanced: Vec<Row>,
}

impl Told {
    fn add(&mut self, run: &[Frame], polls: usize) {
        let mut row = Row::default();
        for frame in &run[1..] {
            row.push(frame.polls as f64, frame.polls > polls);
            if row.is_long() {
                (self.seen, self.even) = (self.seen + 1, self.even + usize::from(row.balanced()));
            }
            if row.is_long() || row.slots.len() > LONGEST {
                self.close(std::mem::take(&mut row));
            }
        }
        self.close(row);
    }

    fn close(&mut self, row: Row) {
        if row.slots.len() > LONG && row.balanced() {
            self.balanced.push(row);
        }
    }

    /// Share of the intervals of balanced rows in those that lie off the middle of the ones that have both kinds.
    fn elsewhere(&self) -> f64 {
        let middle = |row: &Row| 0.5 * (row.bounds.0 + row.bounds.1);
        let both = self.balanced.iter().filter(|row| row.is_long());
        let Some(middle) = median(&both.map(middle).collect::<Vec<_>>()) else { return 0.0 };
        let off =
            |row: &&Row| middle < row.bounds.0 * (1.0 - DRIFTS) || middle > row.bounds.1 * (1.0 + DRIFTS);
        let intervals =
            |rows: &mut dyn Iterator<Item = &Row>| rows.map(|row| row.slots.len() - 1).sum::<usize>();
        let elsewhere = intervals(&mut self.balanced.iter().filter(off));
        elsewhere as f64 / intervals(&mut self.balanced.iter()).max(1) as f64
    }
}

/// A row of intervals, and between which bounds T/P lies.
struct Row {
    /// Polls from the row's begin.
    slots: Vec<f64>,
    shorter: usize,
    longer: usize,
    bounds: (f64, f64),
}

impl Default for Row {
    fn default() -> Self {
        Row { slots: vec![0.0], shorter: 0, longer: 0, bounds: (0.0, f64::INFINITY) }
    }
}

impl Row {
    fn push(&mut self, polls: f64, longer: bool) {
        let now = self.slots[self.slots.len() - 1] + polls;
        for (intervals, before) in (1u32..).zip(self.slots.iter().rev()) {
            let (low, high) =
                ((now - before - 1.0) / f64::from(intervals), (now - before + 1.0) / f64::from(intervals));
            self.bounds = (self.bounds.0.max(low), self.bounds.1.min(high));
        }
        self.slots.push(now);
        self.shorter += usize::from(!longer);
        self.longer += usize::from(longer);
    }

    fn is_long(&self) -> bool {
        self.slots.len() > LONG && self.shorter.min(self.longer) >= RARER
    }

    fn balanced(&self) -> bool {
        self.bounds.0 < self.bounds.1
    }
}

/// Counts after shorter and longer intervals that follow each other, so at one speed.
#[derive(Default)]
struct Pairs {
    /// Counts of each at least.
    least: f64,
    seen: usize,
    shorter: f64,
    longer: f64,
}

impl Pairs {
    fn add(&mut self, run: &[Frame], polls: usize) {
        for pair in run[1..].windows(2) {
            let (a, b) = if pair[0].polls == polls { (pair[0], pair[1]) } else { (pair[1], pair[0]) };
            if a.polls == polls && b.polls > polls && a.counts + b.counts >= 2.0 * self.least {
                self.seen += 1;
                self.shorter += a.counts;
                self.longer += b.counts;
            }
        }
    }

    fn ratio(&self) -> Option<f64> {
        (self.seen >= LEAST_PAIRS).then_some(self.longer / self.shorter)
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{ALL, trace};
    use super::*;

    /// Six swipes of reports at these polls, each of so many counts, 1 ms a poll, stamped up to 50 µs late.
    fn found(reports: impl Fn(i64) -> Vec<(i64, i32)>) -> Option<Frames> {
        let mut rows = Vec::new();
        for swipe in 0..6i64 {
            for (poll, counts) in reports(swipe) {
                let t = (1000 * swipe + poll) * 1_000_000 + (poll * 7919) % 50_000;
                rows.push((t, counts, 0));
            }
            rows.push(((1000 * swipe + 900) * 1_000_000, 1, 0));
        }
        find(&trace(&rows), &ALL, 1e6, &HostSpans::default())
    }

    /// Reports of frames so many polls apart.
    fn frames(apart: f64, swipe: i64) -> Vec<i64> {
        (0..250).map(|k| (f64::from(k) * apart + 0.37 * swipe as f64).ceil() as i64).collect()
    }

    #[test]
    fn frames_that_polls_sample_are_told_with_their_clock() {
        for apart in [1.13, 1.45, 1.5, 1.6, 1.85, 1.95, 2.05, 2.5, 3.3] {
            let got =
                found(|swipe| frames(apart, swipe).into_iter().map(|poll| (poll, 20)).collect()).unwrap();
            assert!((got.clock.interval / apart / 1e6 - 1.0).abs() < 2e-3, "{apart}: {got:?}");
            assert_eq!((got.polls, got.counts), (apart as usize, Some(1.0)), "{apart}");
        }
    }

    #[test]
    fn reports_that_hold_the_counts_of_their_interval_are_no_frames() {
        for apart in [1.13, 1.5, 1.6, 2.5] {
            let got = found(|swipe| {
                let polls = frames(apart, swipe);
                polls.windows(2).map(|w| (w[1], 12 * (w[1] - w[0]) as i32)).collect()
            });
            assert_eq!(got, None, "{apart}");
        }
    }

    #[test]
    fn neither_uneven_reports_nor_lost_ones_are_frames() {
        let regular = |step: i64| (0..400).map(move |k| (k * step, 20)).collect::<Vec<_>>();
        assert_eq!(found(|_| regular(1)), None);
        assert_eq!(found(|_| regular(2)), None);
        // One and three polls in turn; one, one, two, two; one or two in no order.
        assert_eq!(found(|_| (0..400).map(|k| (2 * k - k % 2, 20)).collect()), None);
        assert_eq!(found(|_| (0..400).map(|k| (k + k / 4 * 2 + (k % 4 - 2).max(0), 20)).collect()), None);
        let mut word = 1u32;
        let mut poll = 0;
        let random: Vec<_> = (0..400)
            .map(|_| {
                word = word.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                poll += 1 + i64::from(word >> 31);
                (poll, 20)
            })
            .collect();
        assert_eq!(found(|_| random.clone()), None);
        // Every twelfth frame is lost.
        let lossy = |swipe| frames(1.6, swipe).into_iter().enumerate().filter(|(k, _)| k % 12 != 5);
        assert_eq!(found(|swipe| lossy(swipe).map(|(_, poll)| (poll, 20)).collect()), None);
    }

    /// Polls of which every fifth is lost are those of frames 1.25 polls apart; the ones before were none.
    #[test]
    fn two_clocks_at_different_times_are_none() {
        let polls = |lossy: bool| (0..100).filter(move |k| !lossy || k % 5 != 3).map(|k| (k, 20)).collect();
        let all = found(|_| polls(true)).unwrap();
        assert!((all.clock.interval / 1.25e6 - 1.0).abs() < 2e-3, "{all:?}");
        for first in 1..6 {
            assert_eq!(found(|swipe| polls(swipe >= first)), None, "{first}");
        }
    }

    #[test]
    fn hostile_times_are_no_frames_and_no_panic() {
        let far = [(i64::MIN, 20, 0), (i64::MAX, 20, 0), (i64::MAX, i32::MIN, 0), (0, 9, 0), (1, 9, 0)];
        for poll in [f64::NAN, 0.0, 1e-300, 1e6, f64::INFINITY] {
            assert_eq!(find(&trace(&far), &ALL, poll, &HostSpans::default()), None);
        }
    }
}
