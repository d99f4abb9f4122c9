//! Counts that wrap around: what firmware cannot hold comes out as motion the other way.
//!
//! A counter of n bits that runs over turns a delta of d counts into d − 2ⁿ. So a swipe that lacks counts lacks 2ⁿ for each
//! report that runs backwards in it: what it lacks, over the number of those, is one power of two in every swipe, and that is
//! asked for: [`SWIPES`] and more, whose quotient lies within [`WITHIN`] of one power, and four of five of those that show a
//! reversal, of one phase: in faster ones a counter may run over twice. And a counter of n bits holds the largest counts of the step,
//! and one of fewer bits does not: it runs over where it is full. (Added after sensors that guess a direction, and lack one amount for
//! each report by chance, had been put down to firmware in one session of sixteen, with reports that no such counter holds, or with as
//! much motion across.) The
//! quotient is taken along the axis that moves most.
//!
//! Or else the counts go on where they are taken [on](unwrapped) by whole powers of two: of a counter that holds the largest counts
//! of the step with the fewest bits, each report is the one nearest to the report before it. So the counter runs over at half of
//! its span ([`NEAR`]), and the swipe comes out as long as the travel ([`LENGTH`]); to its end, or to one of [`STOPS`] reports of its
//! second half that differ most from the next: a stop that is struck ends the motion within one, and after it the device goes
//! back by a little, and counts that were taken on would go on without end. So in [`SWIPES`] and four of five of those that
//! show a reversal. What a sensor turns round is as fast as the hand, and comes out so only if that is half of the span all the
//! while. (Added after counters that ran over by up to a whole span in every fast swipe had been put down to the sensor: what
//! has come round again is not backwards, and more than one power is missing for each that is.)
//!
//! Kind *wrapped*; the cause is the report format where 2ⁿ is what the axis' field spans, else the firmware. (Added after
//! counters of 8 and 9 bits in a field of 16 had been put down to the sensor.) Cost: O(reports).

use super::{key, round};
use crate::clip::{self, Axis};
use crate::erratic::Wrong;
use crate::false_motion::ACROSS;
use crate::series::Sample;
use crate::stats::median;
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, Finding};
use serde_json::{Value, json};

/// Swipes that it takes.
const SWIPES: usize = 3;
/// Of a swipe's quotient from a power of two, relative: a report more or less in thirty, and placing.
const WITHIN: f64 = 0.05;
/// Of the swipes with a reversal.
const SHARE: f64 = 0.8;
/// Of a swipe taken on from the travel, relative: placing, a few millimetres in a hundred, and a report or two of them.
const LENGTH: f64 = 0.03;
/// Places at which a swipe may have met its stop.
const STOPS: usize = 3;
/// Of what a counter runs over at, in spans: a hand's speed changes by less from report to report at 8 ms.
const NEAR: f64 = 0.125;
/// Bits of a counter: fewer wrap in slow swipes, and no field holds more.
const BITS: std::ops::RangeInclusive<i32> = 5..=16;

/// What one swipe lacks for each report that runs backwards, and how many these are.
struct Lacks {
    counts: f64,
    reports: usize,
    /// Motion across over that along where it runs backwards.
    aside: f64,
}

/// Calls reversals wrapped where they are.
pub(super) fn rename(step: &StepView, findings: &mut [Finding]) {
    let Some(frame) = step.frame else { return };
    let (axis, part) = if frame.cos.abs() >= frame.sin.abs() {
        (Axis::X, frame.cos.abs())
    } else {
        (Axis::Y, frame.sin.abs())
    };
    let all: Vec<((u32, u32), Lacks)> = step
        .swipes()
        .filter_map(|(phase, view)| Some((key(phase, view), lacks(phase, view, part)?)))
        .collect();
    // One counter runs over along its own axis.
    let most_aside = (1.0 - part * part).max(0.0).sqrt() / part + ACROSS;
    let of_phase = |phase: &PhaseView| {
        let own =
            || all.iter().filter(|((number, _), _)| *number == phase.span.number).map(|(_, lacks)| lacks);
        let aside = median(&own().map(|lacks| lacks.aside).collect::<Vec<f64>>())?;
        one_power(&own().map(|lacks| lacks.counts).collect::<Vec<f64>>()).filter(|_| aside <= most_aside)
    };
    let held = bits_held(step, axis);
    if let Some(bits) = step.phases.iter().find_map(of_phase).filter(|bits| held == Some(*bits)) {
        let evidence = |at: (u32, u32)| {
            let (_, lacks) = all.iter().find(|(own, _)| *own == at)?;
            Some(json!({
                "reports_backwards": lacks.reports,
                "counts_missing_for_each": round(lacks.counts, 1),
                "counter_bits": bits,
            }))
        };
        return call(step, findings, axis, bits, evidence);
    }
    let Some((bits, taken_on)) = taken_on(step, axis, part) else { return };
    let evidence = |at: (u32, u32)| {
        let (_, reports) = taken_on.iter().find(|(own, _)| *own == at)?;
        Some(json!({ "reports_wrapped": reports, "counter_bits": bits }))
    };
    call(step, findings, axis, bits, evidence);
}

/// Calls the spin-outs of a step that have such evidence wrapped.
fn call(
    step: &StepView,
    findings: &mut [Finding],
    axis: Axis,
    bits: i32,
    evidence: impl Fn((u32, u32)) -> Option<Value>,
) {
    let whole = f64::from(bits).exp2();
    let spans_field = clip::limit(step.trace, axis).is_some_and(|top| 2.0 * (top as f64 + 1.0) <= whole);
    for finding in findings.iter_mut().filter(|f| f.family == Family::SpinOut && f.step == step.id) {
        let Some(evidence) = finding.swipe.and_then(|swipe| evidence((finding.phase, swipe))) else {
            continue;
        };
        finding.kind = "wrapped";
        finding.cause = if spans_field { Cause::ReportFormat } else { Cause::Firmware };
        if let Some(map) = evidence.as_object() {
            finding.evidence.extend(map.clone());
        }
    }
}

/// A swipe's phase and number, and how many of its reports had wrapped.
type TakenOn = ((u32, u32), usize);

/// The bits of a counter that swipes are whole by if they are taken on, and those that have a report that it wrapped.
fn taken_on(step: &StepView, axis: Axis, part: f64) -> Option<(i32, Vec<TakenOn>)> {
    let bits = bits_held(step, axis).filter(|bits| BITS.contains(bits))?;
    let (mut whole, mut turned, mut wrapped) = (0, 0, Vec::new());
    for (phase, view) in step.swipes() {
        let travel = view.swipe.one_travel * part;
        let taken = to_a_stop(&counts(phase, view, axis), f64::from(bits).exp2(), travel);
        if taken.reports > 0 {
            wrapped.push((key(phase, view), taken.reports));
        }
        if view.stretches.iter().any(|s| s.wrong == Wrong::Reversal) {
            turned += 1;
            whole += usize::from(taken.at_half && (taken.counts.abs() / travel - 1.0).abs() <= LENGTH);
        }
    }
    (whole >= SWIPES && whole as f64 >= SHARE * f64::from(turned)).then_some((bits, wrapped))
}

/// Counts of a swipe along an axis, one a report.
fn counts(phase: &PhaseView, view: &SwipeView, axis: Axis) -> Vec<i32> {
    let of = |s: &Sample| match axis {
        Axis::X => s.x,
        Axis::Y => s.y,
    };
    phase.series.samples.get(view.swipe.rows.clone()).unwrap_or_default().iter().map(of).collect()
}

/// Bits of the smallest counter that holds the largest counts of a step; `None` without any.
fn bits_held(step: &StepView, axis: Axis) -> Option<i32> {
    let needs = |counts: i32| if counts < 0 { i64::from(counts).abs() } else { i64::from(counts) + 1 };
    let most = step.swipes().flat_map(|(phase, view)| counts(phase, view, axis)).map(needs).max()?;
    Some((most as f64).log2().ceil() as i32 + 1)
}

/// Counts of a swipe taken on by whole spans.
struct Unwrapped {
    counts: f64,
    /// Reports that are not what was sent.
    reports: usize,
    /// True if it first ran over at half of a span. (A stop may end what has run over, at any speed.)
    at_half: bool,
}

/// A swipe taken on to its end, or to the stop from which it is as long as the travel most nearly.
fn to_a_stop(counts: &[i32], span: f64, travel: f64) -> Unwrapped {
    let mut jumps: Vec<(usize, f64)> = counts
        .windows(2)
        .enumerate()
        .skip(counts.len() / 2)
        .map(|(i, pair)| {
            (i + 1, ((f64::from(pair[1]) - f64::from(pair[0])) / span + 0.5).rem_euclid(1.0) - 0.5)
        })
        .collect();
    jumps.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    let to_stop = |stop: usize| {
        let after: f64 = counts[stop..].iter().map(|c| f64::from(*c)).sum();
        let before = unwrapped(&counts[..stop], span);
        Unwrapped { counts: before.counts + after, ..before }
    };
    let off = |taken: &Unwrapped| (taken.counts.abs() - travel).abs();
    let stops = jumps.iter().take(STOPS).map(|(stop, _)| to_stop(*stop));
    stops.fold(unwrapped(counts, span), |best, taken| if off(&taken) < off(&best) { taken } else { best })
}

fn unwrapped(counts: &[i32], span: f64) -> Unwrapped {
    let (mut sum, mut reports, mut at_half) = (0.0, 0, None);
    let (mut last, mut turns) = (0.0f64, 0.0f64);
    let near = |counts: f64| ((counts / span).rem_euclid(1.0) - 0.5).abs() <= NEAR;
    for &sent in counts {
        let sent = f64::from(sent);
        let more = ((last - sent) / span).round();
        let now = sent + more * span;
        if more != turns {
            at_half = at_half.or(Some(near(last) && near(now)));
        }
        reports += usize::from(more != 0.0);
        (sum, last, turns) = (sum + now, now, more);
    }
    Unwrapped { counts: sum, reports, at_half: at_half == Some(true) }
}

/// The bits of one power of two that most of some quotients are.
fn one_power(quotients: &[f64]) -> Option<i32> {
    let bits = median(quotients).filter(|q| *q > 0.0)?.log2().round() as i32;
    let whole = f64::from(bits).exp2();
    let alike = quotients.iter().filter(|q| (**q / whole - 1.0).abs() <= WITHIN).count();
    let enough = alike >= SWIPES && alike as f64 >= SHARE * quotients.len() as f64;
    (enough && BITS.contains(&bits)).then_some(bits)
}

/// `None` for a swipe without a reversal, or that lacks nothing.
fn lacks(phase: &PhaseView, view: &SwipeView, part: f64) -> Option<Lacks> {
    let frame = phase.frame?;
    if !view.stretches.iter().any(|s| s.wrong == Wrong::Reversal) {
        return None;
    }
    let samples = phase.series.samples.get(view.swipe.rows.clone())?;
    let along = view.swipe.along(samples, frame);
    // Those of a bounce are few counts each.
    let least = 0.1 * along.iter().copied().fold(0.0, f64::max);
    let reports = along.iter().filter(|counts| **counts < -least).count();
    let missing = view.swipe.one_travel - view.swipe.along;
    let turned = view.stretches.iter().filter(|s| s.wrong == Wrong::Reversal);
    let (back, across) = turned.fold((0.0, 0.0), |sum, s| (sum.0 + s.counts.0, sum.1 + s.counts.1));
    let aside = across.abs() / back.abs().max(f64::MIN_POSITIVE);
    (reports > 0 && missing > 0.0).then(|| Lacks { counts: missing / part / reports as f64, reports, aside })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Peaks of 150 and of 236 counts in 8 bits; and a sensor that turns round from 100 on.
    #[test]
    fn a_counter_is_taken_on_where_it_runs_over_and_a_sensor_that_turns_round_is_not() {
        let speeds = |peak: f64| {
            (0..=100)
                .map(move |i| (peak * (std::f64::consts::PI * f64::from(i) / 100.0).sin()).round() as i32)
        };
        for peak in [150.0, 236.0, 300.0] {
            let whole: i32 = speeds(peak).sum();
            let sent: Vec<i32> = speeds(peak).map(|v| (v + 128).rem_euclid(256) - 128).collect();
            let taken = unwrapped(&sent, 256.0);
            assert!(taken.at_half && taken.counts == f64::from(whole), "{peak}: {}", taken.counts);
            assert_eq!(taken.reports, speeds(peak).filter(|v| *v > 127).count());
        }
        let turned: Vec<i32> = speeds(125.0).map(|v| if v > 90 { -v } else { v }).collect();
        let taken = unwrapped(&turned, 256.0);
        assert!(
            !taken.at_half && (taken.counts / f64::from(speeds(125.0).sum::<i32>()) - 1.0).abs() > LENGTH
        );
        assert!(!to_a_stop(&[], 256.0, 0.0).at_half);
        // Struck at 190 counts a report, from which the device goes back.
        let mut struck: Vec<i32> = speeds(236.0).take(71).map(|v| (v + 128).rem_euclid(256) - 128).collect();
        struck.extend([-40, -34, -20, -9, -2]);
        let whole = speeds(236.0).take(71).sum::<i32>() - 105;
        assert_eq!(to_a_stop(&struck, 256.0, f64::from(whole)).counts, f64::from(whole));
        assert!(unwrapped(&struck, 256.0).counts > 1.05 * f64::from(whole));
    }

    #[test]
    fn quotients_of_one_power_of_two_are_a_counters_and_others_are_not() {
        assert_eq!(one_power(&[255.0, 258.0, 251.0, 140.0, 256.0]), Some(8));
        assert_eq!(one_power(&[255.0, 258.0]), None);
        assert_eq!(one_power(&[200.0, 310.0, 140.0, 256.0, 170.0]), None);
        assert_eq!(one_power(&[180.0, 181.0, 182.0]), None);
        assert_eq!(one_power(&[f64::NAN, f64::INFINITY, -1.0, 0.0]), None);
    }
}
