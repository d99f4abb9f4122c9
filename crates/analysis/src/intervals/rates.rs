//! Reports that come at a lower rate while the device moves fast.
//!
//! A *row* is a run of intervals between reports of at least [`DUE`](crate::series::DUE) counts that differ from their own mean by no more
//! than [`ALIKE`]. Rows of at least [`LONGER`] times the shortest usual interval are *slower*. Reports that are lost one by
//! one, or that a reader is late with, make single long intervals and no rows of them: with one in ten lost, a row of seven
//! comes about by chance once in ten million. Nor do empty slots in which no count was due: who counts three in one slot has as
//! much to say in the next. A device may report less often when it moves slowly; so they are held against the speed.
//! Owns no judgement. Cost: one pass over the rows.

use super::{Clock, LEAST, Reports, Run, Runs};
use crate::series::RUSHED;
use slipgauge_trace::Nanos;
use slipgauge_trace::recording::DeviceTrace;

/// Share by which an interval may differ from the mean of its row.
const ALIKE: f64 = 0.25;
/// Polls that are left out come whole: half of one apart is another rate.
const LONGER: f64 = 1.5;
/// The usual interval is the one that this share of all intervals in rows does not exceed.
const SHORTEST: f64 = 0.05;
/// Of the slower intervals this share is slower than the speed from which on they are told: those that change with it.
const EDGE: f64 = 0.02;
/// Share of the intervals at their usual speed and above that slower rows must hold.
const MOSTLY: f64 = 0.5;

/// A device whose reports come less often when it moves fast.
#[derive(Clone, Copy, Debug)]
pub struct Slower {
    /// Clock of the usual rows.
    pub usual: Clock,
    /// Clock of the slower ones.
    pub slower: Clock,
    /// Nearly all of the slower intervals are faster than this, counts per second.
    pub from: f64,
    /// Share of intervals at the middle speed of the slower ones and above that are such.
    pub share: f64,
}

/// One row: its reports, and the speed of each interval, counts per nanosecond.
#[derive(Clone, Default)]
struct Row {
    run: Run,
    speeds: Vec<f64>,
}

impl Row {
    fn interval(&self) -> Option<f64> {
        Some(self.run.time.last()? / self.run.number.last()?).filter(|mean| *mean > 0.0)
    }
}

/// Looks for slower rows at higher speed. `None` without three of them and three usual ones. `slot` is a rough report
/// interval in nanoseconds: what comes in a rush ([`RUSHED`]) has none.
pub fn slower_when_fast(trace: &DeviceTrace, spans: &[(Nanos, Nanos)], slot: f64) -> Option<Slower> {
    let mut rows: Vec<(f64, Row)> = rows(trace, spans, RUSHED * slot)
        .into_iter()
        .filter_map(|row| Some((row.interval()?, row)))
        .collect();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let all: usize = rows.iter().map(|(_, row)| row.speeds.len()).sum();
    let mut seen = 0;
    let shortest = rows.iter().find(|(_, row)| {
        seen += row.speeds.len();
        seen as f64 >= SHORTEST * all as f64
    })?;
    let shortest = shortest.0;
    let (usual, longer): (Vec<_>, Vec<_>) = rows.into_iter().partition(|(dt, _)| *dt < LONGER * shortest);
    let (usual, usual_speeds) = apart(usual);
    let (longer, longer_speeds) = apart(longer);
    let at = |speeds: &[f64], share: f64| speeds.get((share * speeds.len() as f64) as usize).copied();
    let (from, quarter, middle) =
        (at(&longer_speeds, EDGE)?, at(&longer_speeds, 0.25)?, at(&longer_speeds, 0.5)?);
    let faster = |speeds: &[f64]| (speeds.len() - speeds.partition_point(|v| *v < middle)) as f64;
    let share = faster(&longer_speeds) / (faster(&longer_speeds) + faster(&usual_speeds));
    let when_fast = quarter > at(&usual_speeds, 0.5)? && share >= MOSTLY;
    when_fast.then_some(())?;
    Some(Slower { usual: usual.clock()?, slower: longer.clock()?, from: 1e9 * from, share })
}

/// Rows as runs, and all their speeds in order.
fn apart(rows: Vec<(f64, Row)>) -> (Runs, Vec<f64>) {
    let (mut runs, mut speeds) = (Runs::default(), Vec::new());
    for (_, row) in rows {
        runs.runs.push(row.run);
        speeds.extend(row.speeds);
    }
    speeds.sort_unstable_by(f64::total_cmp);
    (runs, speeds)
}

/// All rows of intervals of at least `shortest` nanoseconds.
fn rows(trace: &DeviceTrace, spans: &[(Nanos, Nanos)], shortest: f64) -> Vec<Row> {
    let mut out = Vec::new();
    let mut close = |row: &mut Row| {
        let row = std::mem::take(row);
        if row.run.number.len() >= LEAST {
            out.push(row);
        }
    };
    let mut row = Row::default();
    // Number and time of the row's first report, and of the last one that has a time.
    let (mut begin, mut last) = ((0, 0), None);
    Reports::new(trace, spans).walk(spans, |report| {
        let Some((at, number, t)) = report else {
            close(&mut row);
            last = None;
            return;
        };
        let Some(before) = last.replace((number, t)) else { return };
        let dt = t.saturating_sub(before.1) as f64 / (number - before.0) as f64;
        let rushed = dt < shortest;
        if rushed || row.interval().is_some_and(|mean| (dt / mean - 1.0).abs() > ALIKE) {
            close(&mut row);
        }
        if rushed {
            return;
        }
        if row.run.number.is_empty() {
            begin = before;
            row.run = Run { number: vec![0.0], time: vec![0.0] };
        }
        row.run.number.push((number - begin.0) as f64);
        row.run.time.push(t.saturating_sub(begin.1) as f64);
        let counts = f64::from(trace.motion.x[at]).hypot(f64::from(trace.motion.y[at]));
        row.speeds.push(if dt > 0.0 { counts / dt } else { 0.0 });
    });
    out
}

#[cfg(test)]
mod tests {
    use super::super::tests::{ALL, trace};
    use super::*;

    /// Swipes of 200 ms whose speed rises and falls as a triangle, to 40 counts a millisecond; `merged` says by speed and
    /// slot whether a report is left to the next one.
    fn swipes(merged: impl Fn(f64, i64) -> bool) -> DeviceTrace {
        let mut rows = Vec::new();
        for swipe in 0..20i64 {
            let mut held = 0;
            for slot in 0..200i64 {
                let counts = 40.0 * (1.0 - (slot - 100).abs() as f64 / 100.0);
                held += counts as i32;
                if !merged(counts, slot) {
                    rows.push(((swipe * 1000 + slot) * 1_000_000 + (slot * 7919) % 20_000, held, 0));
                    held = 0;
                }
            }
        }
        trace(&rows)
    }

    #[test]
    fn every_second_report_left_out_above_a_speed_is_told_with_the_speed() {
        let got = slower_when_fast(&swipes(|speed, slot| speed > 15.0 && slot % 2 == 0), &ALL, 1e6).unwrap();
        assert!((got.usual.interval / 1e6 - 1.0).abs() < 1e-3, "{got:?}");
        assert!((got.slower.interval / 2e6 - 1.0).abs() < 1e-3, "{got:?}");
        assert!(got.share > 0.95 && (15e3..20e3).contains(&got.from), "{got:?}");
    }

    #[test]
    fn neither_slow_motion_at_a_lower_rate_nor_lost_reports_are() {
        assert!(slower_when_fast(&swipes(|_, _| false), &ALL, 1e6).is_none());
        assert!(slower_when_fast(&swipes(|speed, slot| speed < 25.0 && slot % 2 == 0), &ALL, 1e6).is_none());
        // Of every hundred the first forty come all at once with the next.
        let mut rushed = swipes(|_, _| false);
        for t in rushed.motion.received_ns.iter_mut().filter(|t| **t % 100_000_000 < 40_000_000) {
            *t += 40_000_000 - *t % 100_000_000;
        }
        assert!(slower_when_fast(&rushed, &ALL, 1e6).is_none());
        // One in five, in no order.
        let lost = |_: f64, slot: i64| (slot * slot + 3 * slot) % 11 < 2;
        assert!(slower_when_fast(&swipes(lost), &ALL, 1e6).is_none());
    }
}
