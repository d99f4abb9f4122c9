//! Reports that go missing one by one in fast motion.
//!
//! A single empty slot is no dropout: a poll may be early or late. But then the interval after it is the shorter, or the
//! report brings the counts of the whole time. A report that was lost leaves an interval of two slots between intervals of
//! one on both sides, all by stamps within [`OFF`] of a slot, and after it a report with the counts of one slot. With those of
//! two it was only left out: its counts came with the next.
//! One such tells nothing; a share of all is for the caller to judge: a sensor with fewer frames than the link has slots
//! looks the same, and loses nothing. Owns no judgement. Cost: one pass over the rows.

use super::{OFF, Reports, counts};
use crate::host::HostSpans;
use slipgauge_trace::Nanos;
use slipgauge_trace::recording::DeviceTrace;

/// Steps of counts due in a slot at which one slot's are told from two slots': rounding adds up to one to each.
const LEAST_COUNTS: f64 = 6.0;

/// Where reports go missing one by one, so many slots running are empty by chance as well: of a quarter missing one interval in 4,000 is longer.
/// (Added after 24 % had been told as 10 %, of those between whole ones alone.)
const MOST_SLOTS: f64 = 6.0;

/// More than two slots' counts and half of one are none of two.
const MOST_COUNTS: f64 = 2.5;

/// Share of intervals that must be whole slots: a reader that is late by more than a slot makes any pattern of intervals by
/// chance. (Seen: of reports 0.25 ms apart, read 0.5 ms late on average, more than 1 % seemed to be lost.)
const WHOLE: f64 = 0.9;

/// What was seen of them.
#[derive(Clone, Debug, Default)]
pub struct Lone {
    /// Rows of the first reports after.
    pub rows: Vec<usize>,
    /// Times of the last ones before.
    pub times: Vec<i64>,
    /// Counts due in each, on the larger axis: as much as the reports beside it hold.
    pub due: Vec<f64>,
    /// Intervals of one slot or two.
    pub intervals: usize,
    /// Slots in fast motion, and those of them that are empty as these are, next to each other or not.
    pub slots: usize,
    /// See `slots`.
    pub missing: usize,
}

impl Lone {
    /// Share of reports that are missing between whole ones.
    pub fn alone(&self) -> f64 {
        self.rows.len() as f64 / (self.intervals + self.rows.len()).max(1) as f64
    }

    /// Share of reports that are missing.
    pub fn share(&self) -> f64 {
        self.missing as f64 / self.slots.max(1) as f64
    }
}

/// Those that were lost, and those whose counts came with the next. `slot` is the report interval in nanoseconds.
pub fn find(trace: &DeviceTrace, spans: &[(Nanos, Nanos)], slot: f64, host: &HostSpans) -> [Lone; 2] {
    let [mut lost, mut merged] = [Lone::default(), Lone::default()];
    if slot.is_nan() || slot < 1.0 {
        return [lost, merged];
    }
    let (mut all, mut whole) = (0usize, 0usize);
    let (mut of_all, mut empty) = (0usize, 0usize);
    let mut last: Vec<(usize, i64, i64)> = Vec::with_capacity(4);
    let reports = Reports::new(trace, spans);
    let least = LEAST_COUNTS * reports.step as f64;
    reports.walk(spans, |report| {
        let Some(report) = report else {
            last.clear();
            return;
        };
        if last.last().is_some_and(|before| report.1 - before.1 > 1) {
            last.clear();
        }
        last.push(report);
        let [_, (from, _, t), (row, _, until), (next, ..)] = last[..] else { return };
        let slots = |a: usize| last[a + 1].2.saturating_sub(last[a].2) as f64 / slot;
        let is = |a: usize, of: f64| (slots(a) - of).abs() <= OFF;
        let due = 0.5 * (counts(trace, from) as f64 + counts(trace, next) as f64);
        let n = slots(1).round().max(1.0);
        if due >= least {
            all += 1;
            whole += usize::from(is(1, n));
        }
        if due >= least && n <= MOST_SLOTS && is(1, n) && (n == 1.0 || !host.explain(t, until)) {
            of_all += n as usize;
            empty += n as usize - 1;
        }
        if due >= least && (is(1, 1.0) || is(1, 2.0)) {
            lost.intervals += 1;
            merged.intervals += 1;
            let alone = is(0, 1.0) && is(1, 2.0) && is(2, 1.0);
            let share = counts(trace, row) as f64 / due;
            if alone && share < MOST_COUNTS && !host.explain(t, until) {
                let kind = if share < 1.5 { &mut lost } else { &mut merged };
                kind.rows.push(row);
                kind.times.push(t);
                kind.due.push(due);
            }
        }
        last.remove(0);
    });
    // Those next to each other are of the kind that those between whole ones are.
    let of_each = [lost.rows.len(), merged.rows.len()];
    for (one, n) in [&mut lost, &mut merged].into_iter().zip(of_each) {
        (one.slots, one.missing) = (of_all, empty * n / (of_each[0] + of_each[1]).max(1));
    }
    if whole as f64 >= WHOLE * all as f64 { [lost, merged] } else { Default::default() }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{ALL, trace};
    use super::*;

    /// A report a millisecond of 20 counts, changed in some way.
    fn judged(change: impl Fn(&mut Vec<(i64, i32, u16)>)) -> [Lone; 2] {
        let mut rows: Vec<_> = (0..700i64).map(|i| (i * 1_000_000 + (i * 7919) % 20_000, 20, 0)).collect();
        change(&mut rows);
        find(&trace(&rows), &ALL, 1e6, &HostSpans::default())
    }

    #[test]
    fn reports_that_are_lost_one_by_one_are_told_and_late_ones_are_not() {
        let [lost, merged] = judged(|rows| {
            let mut at = 0;
            rows.retain(|_| {
                at += 1;
                at % 7 != 0
            });
        });
        assert!(lost.rows.len() == 99 && (lost.share() - 1.0 / 7.0).abs() < 0.002, "{}", lost.share());
        assert!(merged.rows.is_empty());
        // Left to the next report, which brings its counts.
        let [lost, merged] = judged(|rows| {
            for at in (1..rows.len() - 1).rev().filter(|at| at % 7 == 0) {
                let held = rows.remove(at).1;
                rows[at].1 += held;
            }
        });
        assert!(lost.rows.is_empty());
        assert!(
            merged.rows.len() == 99 && (merged.share() - 1.0 / 7.0).abs() < 0.003,
            "{}",
            merged.rows.len()
        );
        // Late by nearly a slot each, so that the next comes soon after.
        let late = judged(|rows| rows.iter_mut().skip(3).step_by(7).for_each(|r| r.0 += 900_000));
        assert!(late.iter().all(|l| l.rows.is_empty()));
        // Too few counts to tell.
        assert_eq!(judged(|rows| rows.iter_mut().for_each(|r| r.1 = 4))[0].intervals, 0);
    }

    /// Of 4,000 a quarter at random, some next to each other.
    #[test]
    fn those_that_are_missing_next_to_each_other_count() {
        let mut state = 1u64;
        let mut missing = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            state >> 62 == 0
        };
        let mut rows: Vec<_> = (0..4000i64).map(|i| (i * 1_000_000, 20, 0)).collect();
        rows.retain(|_| !missing());
        let gone = 1.0 - rows.len() as f64 / 4000.0;
        let [lost, merged] = find(&trace(&rows), &ALL, 1e6, &HostSpans::default());
        assert!((lost.share() - gone).abs() < 0.003 && lost.alone() < 0.15, "{} of {gone}", lost.share());
        assert!(merged.missing == 0);
    }

    #[test]
    fn hostile_times_are_no_loss_and_no_panic() {
        let far = [(i64::MIN, 20, 0), (i64::MAX, 20, 0), (i64::MAX, i32::MIN, 0), (0, 9, 0), (1, 9, 0)];
        for slot in [f64::NAN, 0.0, 1e6, f64::INFINITY] {
            let found = find(&trace(&far), &ALL, slot, &HostSpans::default());
            assert!(found.iter().all(|l| l.rows.is_empty()));
        }
    }
}
