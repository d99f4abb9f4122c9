//! The device under test against a reference device on the same rigid carriage, on one clock.
//!
//! *Lag*, per swipe: both devices' places along are laid over a common grid of [`GRID`] (each report's counts spread evenly
//! over the slot before it), and the delay between the two speeds is the place of their highest cross-correlation below
//! [`CUTOFF`] ([`spectrum::delay`]). The reference's counts run in a frame of their own, so its angle on the carriage does
//! not matter; its sign is taken so that both run the same way.
//!
//! The mean weights each swipe by what it can tell: a place known to within the same noise at every report tells the time to
//! within noise / v, so the information on a delay is the sum of v² over the swipe (the bound of Cramér and Rao for a shift
//! in time); over one travel it grows with the speed. Spread and percentiles are those of the swipes as they are. (First
//! all swipes weighed alike: slow ones scatter three times as much as fast ones, so that a few of them made the mean's
//! uncertainty, and its interval covered 90 % of 270.)
//!
//! *Strike lag*: begins of button reports, each paired in order with the reference's nearest within [`NEAR`].
//!
//! A report waits for its poll, half an interval on the average; that half is taken off each device (by spreading, and by
//! T/2 for strikes), so what is left is what sensor, firmware and link add. A single strike is uncertain by T/√12 of
//! either device, which is in the spread; of the mean, what is left of a poll in step with the strikes is not seen.
//! Never absolute: the reference's own lag is in it. Cost: O(reports log reports), one swipe in memory at a time.

use crate::families::{key, spoiled};
use crate::series::{Frame, Series, fast_intervals};
use crate::spectrum;
use crate::stats::regression::least_squares;
use crate::stats::{mean_sd, median, quantile, t_quantile};
use crate::step::StepView;
use crate::verdict::{Finding, Pair, Quantity};
use slipgauge_trace::Nanos;
use slipgauge_trace::recording::{DeviceTrace, PhaseSpan};
use slipgauge_trace::session::Task;

/// Step of the grid, nanoseconds: the shortest report interval there is.
const GRID: f64 = 125_000.0;
/// A flick of 0.1 s has its energy below 20 Hz; above this there is mostly rounding.
const CUTOFF: f64 = 60.0;
/// Longest lag looked for, and rest taken in on either side of a swipe, nanoseconds. Shorter than a dwell and its return.
const REACH: i64 = 100_000_000;
/// Strikes further apart than this are not the same one: people strike up to about ten times a second.
const NEAR: i64 = 50_000_000;
/// Two presses within this are one switch that bounces.
const BOUNCE: i64 = 30_000_000;
/// Shapes less alike than this are not one motion.
const ALIKE: f64 = 0.95;
/// Fewer do not tell a spread.
const LEAST: usize = 5;

/// Differences in time, with what they sum up to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Later {
    /// Mean, nanoseconds.
    pub mean: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// Standard deviation of one.
    pub spread: f64,
    /// 95 % are at most this.
    pub most: f64,
    /// How many.
    pub count: usize,
}

impl Later {
    /// From differences in time and what each weighs.
    fn of(all: &[(f64, f64)]) -> Option<Later> {
        if all.len() < LEAST {
            return None;
        }
        let (times, weights): (Vec<f64>, Vec<f64>) = all.iter().copied().unzip();
        let roots: Vec<f64> = weights.iter().map(|w| w.sqrt()).collect();
        let weighed: Vec<f64> = times.iter().zip(&roots).map(|(t, r)| t * r).collect();
        // A weighted mean is a fit of one constant.
        let fit = least_squares(&[roots], &weighed)?;
        let (mean, uncertainty) = (fit.coefficients[0], fit.error(0));
        let (_, spread) = mean_sd(&times)?;
        Some(Later { mean, uncertainty, spread, most: quantile(&times, 0.95)?, count: all.len() })
    }

    /// The mean with its 95 % interval.
    pub fn quantity(&self) -> Quantity {
        Quantity::around(self.mean, t_quantile(0.975, self.count as f64 - 1.0) * self.uncertainty)
    }
}

/// What a step tells, as it is written; `None` without a reference or if it tells nothing.
pub fn pair(step: &StepView, findings: &[Finding]) -> Option<Pair> {
    let (motion, strikes) = (lag(step, findings), strike_lag(step));
    if motion.is_none() && strikes.is_none() {
        return None;
    }
    Some(Pair {
        lag_ns: motion.map(|l| l.quantity()),
        lag_spread_ns: motion.map(|l| l.spread),
        lag_most_ns: motion.map(|l| l.most),
        swipes: motion.map_or(0, |l| l.count),
        strike_lag_ns: strikes.map(|l| l.quantity()),
        strike_lag_spread_ns: strikes.map(|l| l.spread),
        strike_lag_most_ns: strikes.map(|l| l.most),
        strikes: strikes.map_or(0, |l| l.count),
    })
}

/// How much later motion comes, over the swipes of a step without any finding.
pub fn lag(step: &StepView, findings: &[Finding]) -> Option<Later> {
    let reference = step.reference?;
    if step.coarse_clock() {
        return None;
    }
    let frame = step.frame?;
    let spoiled = spoiled(step, findings);
    let mut all = Vec::new();
    for phase in step.phases.iter().filter(|p| !p.swipes.is_empty()) {
        let nominal = Series::of_phase(reference, &phase.span, None);
        let intervals = fast_intervals(&nominal, Nanos(20_000_000));
        let Some(interval) = median(&intervals) else { continue };
        let other = Series::of_phase(reference, &phase.span, Some(Nanos(interval as i64)));
        let Some(other_frame) = Frame::principal([&other], Nanos(20_000_000)) else { continue };
        let clean = phase.swipes.iter().filter(|s| !spoiled.contains(&key(phase, s)));
        for swipe in clean.filter(|s| !step.host.explain(s.swipe.begin - REACH, s.swipe.end + REACH)) {
            let span = (swipe.swipe.begin.saturating_sub(REACH), swipe.swipe.end.saturating_add(REACH));
            let test = speeds(&phase.series, frame, span, step.slot());
            let mut against = speeds(&other, other_frame, span, interval);
            let dot: f64 = test.iter().zip(&against).map(|(a, b)| a * b).sum();
            if dot < 0.0 {
                against.iter_mut().for_each(|v| *v = -*v);
            }
            let reach = (REACH as f64 / GRID) as usize;
            let found = spectrum::delay(&against, &test, reach, CUTOFF * GRID * 1e-9);
            let told: f64 = against.iter().map(|v| v * v).sum();
            all.extend(found.filter(|d| d.correlation >= ALIKE).map(|d| (d.samples * GRID, told)));
        }
    }
    Later::of(&all)
}

/// Counts along in each step of the grid; empty if the span is longer than a transform.
fn speeds(series: &Series, frame: Frame, span: (i64, i64), slot: f64) -> Vec<f64> {
    let count = ((span.1 - span.0) as f64 / GRID).ceil();
    if !(count >= 1.0 && count <= spectrum::MOST as f64) {
        return Vec::new();
    }
    let mut out = vec![0.0; count as usize];
    let samples = &series.samples;
    let from = samples.partition_point(|s| s.t < span.0);
    let mut last = from.checked_sub(1).map_or(f64::NEG_INFINITY, |i| samples[i].t as f64);
    for s in samples[from..].iter().take_while(|s| s.t <= span.1) {
        let t = s.t as f64;
        let begin = last.max(t - slot).min(t - 1.0).max(span.0 as f64);
        let (a, b) = ((begin - span.0 as f64) / GRID, (t - span.0 as f64) / GRID);
        let per = frame.of(s).0 / (b - a).max(1e-9);
        for (i, cell) in out.iter_mut().enumerate().take(b.ceil() as usize).skip(a as usize) {
            *cell += per * (b.min(i as f64 + 1.0) - a.max(i as f64)).max(0.0);
        }
        last = t;
    }
    out
}

/// How much later strikes come.
pub fn strike_lag(step: &StepView) -> Option<Later> {
    let reference = step.reference?;
    if step.coarse_clock() {
        return None;
    }
    let half = |interval: Option<f64>| 0.5 * interval.unwrap_or(0.0);
    let own = step.interval.map(|q| q.value).or(step.nominal_interval.map(|n| n.0 as f64));
    let wait = half(own) - half(step.reference_interval.map(|n| n.0 as f64));
    let mut all = Vec::new();
    for phase in step.phases.iter().filter(|p| p.span.phase.task == Task::Strikes) {
        let (test, other) = (strikes(step.trace, &phase.span), strikes(reference, &phase.span));
        let mut next = 0;
        for t in test {
            let apart = |i: &usize| t.saturating_sub(other[*i]).saturating_abs();
            let Some(nearest) =
                (next..other.len()).take_while(|i| other[*i] <= t.saturating_add(NEAR)).min_by_key(apart)
            else {
                continue;
            };
            if apart(&nearest) <= NEAR && !step.host.explain(t.min(other[nearest]), t.max(other[nearest])) {
                all.push(((t - other[nearest]) as f64 - wait, 1.0));
                next = nearest + 1;
            }
        }
    }
    Later::of(&all)
}

/// Times at which a button went down, bounces left out.
fn strikes(trace: &DeviceTrace, span: &PhaseSpan) -> Vec<i64> {
    let motion = &trace.motion;
    let (mut out, mut before): (Vec<i64>, u16) = (Vec::new(), 0);
    for row in motion.rows(span.begin, span.end) {
        let (t, now) = (motion.received_ns[row], motion.buttons[row]);
        let fresh = out.last().is_none_or(|last| t.saturating_sub(*last) > BOUNCE);
        if now & !before != 0 && fresh {
            out.push(t);
        }
        before = now;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reckoned by hand: 22 / 17, and the root of Σ w (t − mean)² / 4 / 17. Were all alike, the slow one alone would make a mean
    /// of 2 ± 1.1.
    #[test]
    fn a_swipe_that_tells_little_weighs_little() {
        let later = Later::of(&[(0.0, 4.0), (2.0, 4.0), (0.0, 4.0), (2.0, 4.0), (6.0, 1.0)]).unwrap();
        assert!((later.mean - 22.0 / 17.0).abs() < 1e-12, "{later:?}");
        assert!((later.uncertainty - 0.7624).abs() < 1e-4, "{later:?}");
        assert!((later.spread - 2.4495).abs() < 1e-4 && later.count == 5, "{later:?}");
        assert_eq!(Later::of(&[(0.0, 1.0); 4]), None);
        assert_eq!(Later::of(&[(0.0, 0.0); 5]), None);
    }
}
