//! Stamps of a clock whose ticks are coarse for the report interval.
//!
//! With ticks of q and reports every I, neighbouring stamps differ by the multiples of q next to I, and their median is one of
//! them: 0.1 ms for reports every 0.125 ms in ticks of 0.1 ms. Nothing is judged by such times. Positions and speeds are, by times
//! as even as the reports: each is an interval after the one before, drawn by [`DRAWN`] of the difference towards its stamp, as long as
//! that is within a tick; else the stamp itself. (A first-order phase-locked loop; added after sound devices had failed for a report
//! interval of -20 %.)
//!
//! Coarse is more than [`COARSE`] of the interval that the descriptor asks for, unless it is a whole number of ticks: then each stamp
//! is as late as the next. That the ticks are coarse the header says; or all stamps are multiples of so much, and yet the mean
//! interval is the one asked for to [`AS_ASKED`], so that it is not the device that is slow. Cost: one pass.
//!
//! A reader that looks by a timer of its own makes stamps that are multiples of what it waits, and each long rest begins them anew.
//! That is such a tick too, where the mean interval is the one asked for. (Added after sound devices that were looked at every 0.8 of
//! their interval had failed for reporting 20 % too fast.)
//!
//! A reader that takes what has come every few milliseconds, or when it is woken, makes such ticks, too, if it stamps each report of a
//! batch: many intervals are then the microseconds that it takes to read one, and their median is none of the device's ([`batches`]). Each
//! batch is spread backwards from its stamp. (Added after a sound device of 1 ms, read every 4 or 8 ms, had been told to report every
//! 0.003 to 0.005 ms: at slots of that width every report was faster than a hand, the scale came out at a third, and a creep of
//! 0.03 mm/s failed as 0.18; spread since sound ones whose readers woke at any time, once in 1.6 to 4 reports, had failed for dropouts.)

use super::{HELD_UP_AT_MOST, RUSHED, Series, fast_intervals, is_due};
use crate::intervals::greatest_common;
use crate::stats::{mean_sd, median};
use slipgauge_trace::Nanos;

/// Up to a third a stamp lies nearer to its own interval than to the next, and the slope of many of them is right.
const COARSE: f64 = 0.35;
/// An interval that is within this of whole ticks makes one more in fifty reports.
const WHOLE: f64 = 0.02;
/// A host and a device agree on time to some hundred ppm; runs of some thousand intervals leave a tick's worth.
const AS_ASKED: f64 = 0.02;
/// So many of all intervals are multiples of what a reader waits by a timer.
const MOSTLY: f64 = 0.95;
/// Share of a difference that is made up at each report: 0.01 % of an interval is caught up with by a fortieth of a percent of it.
const DRAWN: f64 = 0.05;

/// The tick of a clock that is coarse for the interval asked for, nanoseconds; `stated` as the header says. `due`: see [`fast_intervals`].
pub fn coarse(
    series: &[Series],
    stated: Option<Nanos>,
    asked: Option<Nanos>,
    longest: Nanos,
    due: i64,
) -> Option<i64> {
    let asked = asked.map(|i| i.0 as f64).filter(|i| *i > 0.0)?;
    let is_coarse = |tick: i64| {
        let ticks = asked / tick.max(1) as f64;
        let whole = ticks.round() >= 1.0 && (ticks - ticks.round()).abs() <= WHOLE * ticks;
        1.0 / ticks > COARSE && !whole
    };
    if let Some(tick) = stated.map(|t| t.0).filter(|t| is_coarse(*t)) {
        return Some(tick);
    }
    let all: Vec<f64> = series.iter().flat_map(|s| fast_intervals(s, longest, due)).collect();
    let (mean, _) = mean_sd(&all)?;
    if (mean / asked - 1.0).abs() > AS_ASKED {
        return None;
    }
    let timed = series.iter().flat_map(|s| &s.samples).filter(|s| s.timed);
    let tick = timed.fold(0, |tick, s| if tick == 1 { 1 } else { greatest_common(tick, s.t) });
    let waits =
        || timer(&all).filter(|tick| is_coarse(*tick) && (*tick as f64 / asked - 1.0).abs() > AS_ASKED);
    Some(tick).filter(|tick| is_coarse(*tick)).or_else(waits)
}

/// What a reader waits between two looks, nanoseconds, where it looks by a timer of its own: intervals are multiples of it.
fn timer(intervals: &[f64]) -> Option<i64> {
    let tick = median(intervals)?;
    let ticks = intervals.iter().map(|interval| interval / tick);
    let multiples = ticks.filter(|n| n.round() >= 1.0 && (n.round() - n).abs() <= WHOLE).count();
    (multiples as f64 >= MOSTLY * intervals.len() as f64).then_some(tick as i64)
}

/// What reading one of several reports that wait takes at most, nanoseconds: a link that sends what it held needs a microframe of USB
/// for each, 125 µs, and more.
pub(super) const READ: f64 = 1e5;

/// Reports that a reader takes in batches and stamps one by one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Batches {
    /// Report interval by the long run: time over number, nanoseconds.
    pub interval: f64,
    /// True if most of those that are not known for waiting came in company all the same, so that there is no telling by time.
    pub mostly: bool,
}

/// Looks for batches, in stamps that nothing was made of yet. One interval in [`HELD_UP_AT_MOST`] is shorter than a [rush's](RUSHED), by
/// the long run and by what is asked for: a link that sends in bursts and loses what comes between them is as fast as is asked, and a
/// host that polls faster than it is asked to as fast as in the long run. `due` and `longest`: see [`fast_intervals`]. Fewer than
/// `least` intervals tell nothing.
pub fn batches(
    series: &[Series],
    asked: Option<Nanos>,
    longest: Nanos,
    due: i64,
    least: usize,
) -> Option<Batches> {
    let (mut apart, mut stamped, mut number) = (Vec::new(), Vec::new(), 0.0);
    for pair in series.iter().flat_map(|s| s.samples.windows(2)) {
        let since = pair[1].t.saturating_sub(pair[0].t);
        if !pair.iter().all(|s| is_due(s, due)) || !(0..=longest.0).contains(&since) {
            continue;
        }
        apart.push(since as f64);
        number += 1.0 + f64::from(pair[1].idle_before);
        if pair.iter().all(|s| s.timed) {
            stamped.push(since as f64);
        }
    }
    let interval = apart.iter().sum::<f64>() / number;
    let asked = asked.map_or(f64::INFINITY, |i| i.0 as f64);
    let rushed = (RUSHED * interval.min(asked)).min(READ);
    let in_company = |apart: &[f64]| apart.iter().filter(|apart| **apart < rushed).count();
    let told = apart.len() >= least && HELD_UP_AT_MOST * in_company(&apart) >= apart.len();
    told.then(|| Batches { interval, mostly: 2 * in_company(&stamped) > stamped.len() })
}

impl Series {
    /// Times as even as reports every `interval`, of stamps in ticks; both in nanoseconds.
    pub fn steady(&mut self, tick: i64, interval: i64) {
        self.coarse_ticks = true;
        let mut last = None;
        for sample in &mut self.samples {
            let since = interval.saturating_mul(1 + i64::from(sample.idle_before));
            let due = last.map_or(sample.t, |last: i64| last.saturating_add(since));
            let off = sample.t.saturating_sub(due);
            sample.t = if off.abs() <= tick { due + (DRAWN * off as f64) as i64 } else { sample.t };
            last = Some(sample.t);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::series::Sample;

    /// Reports every so many nanoseconds, in ticks; those of `gone` are lost.
    fn reports(every: i64, tick: i64, gone: &[i64]) -> Series {
        let kept = (0..2000).filter(|i| !gone.contains(i));
        let sample = |i: i64| Sample { t: i * every / tick * tick, x: 9, y: 0, timed: true, idle_before: 0 };
        Series { samples: kept.map(sample).collect(), reports: 2000, ..Series::default() }
    }

    fn found(every: i64, tick: i64, stated: Option<i64>, asked: i64) -> Option<i64> {
        let series = [reports(every, tick, &[])];
        coarse(&series, stated.map(Nanos), Some(Nanos(asked)), Nanos(255_000_000), 3)
    }

    #[test]
    fn ticks_are_coarse_where_the_interval_is_no_whole_number_of_them() {
        assert_eq!(found(125_000, 100_000, Some(100_000), 125_000), Some(100_000));
        assert_eq!(found(125_000, 100_000, None, 125_000), Some(100_000), "not stated");
        assert_eq!(found(1_000_000, 700_000, None, 1_000_000), Some(700_000));
        assert_eq!(found(500_000, 1_000_000, Some(1_000_000), 500_000), Some(1_000_000));
        assert_eq!(found(1_000_000, 1_000_000, Some(1_000_000), 1_000_000), None, "whole");
        assert_eq!(found(1_000_000, 1_000, None, 1_000_000), None, "fine");
        // A device that is slow, and stamps without any scatter.
        assert_eq!(found(1_250_000, 1_250_000, None, 1_000_000), None);
    }

    /// Reports every millisecond, read every so many and stamped so far apart; the median of stamps is no interval.
    #[test]
    fn reports_that_are_read_in_batches_have_the_interval_of_the_long_run() {
        let found = |every: i64, apart: i64, asked| {
            let mut series = reports(1_000_000, 1, &[]);
            for (i, s) in (0i64..).zip(&mut series.samples) {
                s.t = (i / every + 1) * every * 1_000_000 + i % every * apart;
            }
            batches(&[series], asked, Nanos(255_000_000), 3, 20)
        };
        for (every, apart) in [(4, 3_000), (8, 40_000), (3, 0)] {
            let got = found(every, apart, Some(Nanos(1_000_000))).unwrap();
            assert!((got.interval - 1e6).abs() < 1e4, "{got:?}");
            assert!(got.mostly, "{got:?}");
            assert_eq!(found(every, apart, None), Some(got));
        }
        // A host that is asked for less; and reports that come evenly, or at three in four of their slots.
        assert!(found(4, 300_000, Some(Nanos(1_000_000))).is_none());
        let even = |gone: &[i64]| batches(&[reports(1_000_000, 1, gone)], None, Nanos(255_000_000), 3, 20);
        assert!(even(&[]).is_none());
        assert!(even(&(0..2000).filter(|i| i % 4 == 1).collect::<Vec<_>>()).is_none());
        let burst = reports(1_000_000, 1, &(0..2000).filter(|i| i % 16 > 2).collect::<Vec<_>>());
        assert!(batches(&[burst], Some(Nanos(1_000_000)), Nanos(255_000_000), 3, 20).is_none());
    }

    #[test]
    fn times_are_made_as_even_as_the_reports() {
        let mut series = reports(125_013, 100_000, &[700, 701]);
        series.steady(100_000, 125_000);
        assert!(series.coarse_clock());
        let apart: Vec<i64> = series.samples.windows(2).map(|w| w[1].t - w[0].t).collect();
        assert!(apart.iter().enumerate().all(|(i, dt)| i == 699 || (119_000..132_000).contains(dt)));
        assert!(apart[699] >= 300_000, "{}: what is lost stays a gap", apart[699]);
        let off = |i: usize| series.samples[i].t - 125_013 * if i < 700 { i as i64 } else { i as i64 + 2 };
        assert!((0..series.samples.len()).all(|i| off(i).abs() <= 100_000));
    }
}
