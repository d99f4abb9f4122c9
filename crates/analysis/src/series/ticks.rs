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

use super::{Series, fast_intervals};
use crate::intervals::greatest_common;
use crate::stats::mean_sd;
use slipgauge_trace::Nanos;

/// Up to a third a stamp lies nearer to its own interval than to the next, and the slope of many of them is right.
const COARSE: f64 = 0.35;
/// An interval that is within this of whole ticks makes one more in fifty reports.
const WHOLE: f64 = 0.02;
/// A host and a device agree on time to some hundred ppm; runs of some thousand intervals leave a tick's worth.
const AS_ASKED: f64 = 0.02;
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
    let timed = series.iter().flat_map(|s| &s.samples).filter(|s| s.timed);
    let tick = timed.fold(0, |tick, s| if tick == 1 { 1 } else { greatest_common(tick, s.t) });
    if !is_coarse(tick) {
        return None;
    }
    let all: Vec<f64> = series.iter().flat_map(|s| fast_intervals(s, longest, due)).collect();
    let (mean, _) = mean_sd(&all)?;
    ((mean / asked - 1.0).abs() <= AS_ASKED).then_some(tick)
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
