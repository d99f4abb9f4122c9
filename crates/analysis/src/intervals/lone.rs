//! Reports that go missing one by one in fast motion.
//!
//! A single empty slot is no dropout: a poll may be early or late. But then the interval after it is the shorter, or the
//! report brings the counts of the whole time. A report that was lost leaves an interval of two slots between intervals of
//! one on both sides, all by stamps within [`OFF`] of a slot, and after it a report with the counts of one slot.
//! One such tells nothing; a share of all is for the caller to judge: a sensor with fewer frames than the link has slots
//! looks the same, and loses nothing. Owns no judgement. Cost: one pass over the rows.

use super::{OFF, Reports, counts};
use crate::host::HostSpans;
use slipgauge_trace::Nanos;
use slipgauge_trace::recording::DeviceTrace;

/// Counts due in a slot at which one slot's are told from two slots': rounding adds up to one to each.
const LEAST_COUNTS: f64 = 6.0;

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
    /// Intervals of one slot or two.
    pub intervals: usize,
}

impl Lone {
    /// Share of reports that are missing.
    pub fn share(&self) -> f64 {
        self.rows.len() as f64 / (self.intervals + self.rows.len()).max(1) as f64
    }
}

/// Looks for them. `slot` is the report interval in nanoseconds.
pub fn find(trace: &DeviceTrace, spans: &[(Nanos, Nanos)], slot: f64, host: &HostSpans) -> Lone {
    let mut found = Lone::default();
    if slot.is_nan() || slot < 1.0 {
        return found;
    }
    let (mut all, mut whole) = (0usize, 0usize);
    let mut last: Vec<(usize, i64, i64)> = Vec::with_capacity(4);
    Reports::new(trace, spans).walk(spans, |report| {
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
        if due >= LEAST_COUNTS {
            all += 1;
            whole += usize::from(is(1, slots(1).round().max(1.0)));
        }
        if due >= LEAST_COUNTS && (is(1, 1.0) || is(1, 2.0)) {
            found.intervals += 1;
            let alone = is(0, 1.0) && is(1, 2.0) && is(2, 1.0);
            if alone && (counts(trace, row) as f64) < 1.5 * due && !host.explain(t, until) {
                found.rows.push(row);
                found.times.push(t);
            }
        }
        last.remove(0);
    });
    if whole as f64 >= WHOLE * all as f64 { found } else { Lone::default() }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{ALL, trace};
    use super::*;

    /// A report a millisecond of 20 counts, changed in some way.
    fn judged(change: impl Fn(&mut Vec<(i64, i32, u16)>)) -> Lone {
        let mut rows: Vec<_> = (0..700i64).map(|i| (i * 1_000_000 + (i * 7919) % 20_000, 20, 0)).collect();
        change(&mut rows);
        find(&trace(&rows), &ALL, 1e6, &HostSpans::default())
    }

    #[test]
    fn reports_that_are_lost_one_by_one_are_told_and_late_ones_are_not() {
        let lost = judged(|rows| {
            let mut at = 0;
            rows.retain(|_| {
                at += 1;
                at % 7 != 0
            });
        });
        assert!(lost.rows.len() == 99 && (lost.share() - 1.0 / 7.0).abs() < 0.002, "{}", lost.share());
        // Left to the next report, which brings its counts.
        let merged = judged(|rows| {
            for at in (1..rows.len() - 1).rev().filter(|at| at % 7 == 0) {
                let held = rows.remove(at).1;
                rows[at].1 += held;
            }
        });
        assert_eq!(merged.rows.len(), 0);
        // Late by nearly a slot each, so that the next comes soon after.
        let late = judged(|rows| rows.iter_mut().skip(3).step_by(7).for_each(|r| r.0 += 900_000));
        assert_eq!(late.rows.len(), 0);
        // Too few counts to tell.
        assert_eq!(judged(|rows| rows.iter_mut().for_each(|r| r.1 = 4)).intervals, 0);
    }

    #[test]
    fn hostile_times_are_no_loss_and_no_panic() {
        let far = [(i64::MIN, 20, 0), (i64::MAX, 20, 0), (i64::MAX, i32::MIN, 0), (0, 9, 0), (1, 9, 0)];
        for slot in [f64::NAN, 0.0, 1e6, f64::INFINITY] {
            assert!(find(&trace(&far), &ALL, slot, &HostSpans::default()).rows.is_empty());
        }
    }
}
