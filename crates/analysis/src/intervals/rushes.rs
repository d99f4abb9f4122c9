//! Reports that were held up and came in a rush after a silence.
//!
//! A rush is two reports and more that follow each other faster than the device makes them ([`rush`]), after a silence longer than any
//! ordinary reader is late by ([`held_up`]); at least half as many as the silence lacks. Nothing was lost then. Who held them up, this computer or the link, is not in the file but where the recorder
//! saw a stall: those are left out. Owns no judgement. Cost: one pass over the rows.

use super::counts;
use crate::host::HostSpans;
use crate::series::{DUE, caught_up, drains, held_up, rush};
use slipgauge_trace::Nanos;
use slipgauge_trace::recording::DeviceTrace;

/// Silences before rushes, as times of the report before and of the first after.
pub fn find(trace: &DeviceTrace, spans: &[(Nanos, Nanos)], slot: f64, host: &HostSpans) -> Vec<(i64, i64)> {
    let motion = &trace.motion;
    let mut found = Vec::new();
    if slot.is_nan() || slot < 1.0 {
        return found;
    }
    for rows in spans.iter().map(|&(begin, end)| motion.rows(begin, end)) {
        let rows: Vec<usize> = rows.filter(|&row| trace.has_motion(row)).collect();
        let apart =
            |at: usize| motion.received_ns[rows[at]].saturating_sub(motion.received_ns[rows[at - 1]]) as f64;
        let drains = drains(rows.len(), slot, apart);
        let mut at = 1;
        while at < rows.len() {
            let silent = apart(at) - slot;
            let mut more = rush(at, rows.len(), slot, drains, apart);
            if drains && held_up(silent, slot) {
                let last = caught_up(at, rows.len(), slot, apart, |_| 1);
                more = more.max(last.map_or(0, |last| last - at));
            }
            let (first, last) = (at, at + more);
            at = last + 1;
            if more == 0 || !held_up(silent, slot) || (more as f64) < 0.5 * silent / slot {
                continue;
            }
            let moved = rows[first..=last].iter().map(|&row| counts(trace, row)).fold(0, i64::saturating_add);
            let span = (motion.received_ns[rows[first - 1]], motion.received_ns[rows[first]]);
            if moved >= DUE && !host.explain(span.0, span.1) {
                found.push(span);
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::tests::{ALL, trace};
    use super::*;
    use slipgauge_trace::recording::HostLog;

    #[test]
    fn reports_that_are_sent_faster_than_the_device_makes_them_are_a_rush() {
        let ms = 1_000_000;
        let held = |t: i64| (200..300).contains(&t).then_some(300);
        let rows: Vec<_> = crate::series::tests::queue(held).into_iter().map(|t| (t, 9, 0)).collect();
        assert_eq!(find(&trace(&rows), &ALL, 2e6, &HostSpans::default()), [(198 * ms, 300 * ms)]);
    }

    #[test]
    fn reports_that_come_at_once_after_a_silence_are_a_rush_and_a_single_one_is_none() {
        let ms = 1_000_000;
        let at = |i: i64| match i {
            20..60 => 60 * ms,
            _ => i * ms,
        };
        let rows: Vec<_> = (0..200).map(|i| (at(i), 8, 0)).collect();
        let none = HostSpans::default();
        assert_eq!(find(&trace(&rows), &ALL, 1e6, &none), [(19 * ms, 60 * ms)]);
        let stall = HostLog { stalls: vec![(Nanos(21 * ms), Nanos(59 * ms))], ..HostLog::default() };
        assert!(find(&trace(&rows), &ALL, 1e6, &HostSpans::new(&stall)).is_empty());
        // The same counts in one report, and reports that never came.
        let late: Vec<_> =
            rows.iter().copied().filter(|r| r.0 != 60 * ms).chain([(60 * ms, 320, 0)]).collect();
        let mut late = late;
        late.sort_by_key(|r| r.0);
        assert!(find(&trace(&late), &ALL, 1e6, &none).is_empty());
        // A reader that is late by 2 ms now and then.
        let slack: Vec<_> = (0..200i64).map(|i| ((i + if i % 3 == 0 { 2 } else { 0 }) * ms, 8, 0)).collect();
        let mut slack = slack;
        slack.sort_by_key(|r| r.0);
        assert!(find(&trace(&slack), &ALL, 1e6, &none).is_empty());
    }
}
