//! Counts that wrap around: what firmware cannot hold comes out as motion the other way.
//!
//! A counter of n bits that runs over turns a delta of d counts into d − 2ⁿ. So a swipe that lacks counts lacks 2ⁿ for each
//! report that runs backwards in it: what it lacks, over the number of those, is one power of two in every swipe, and that is
//! asked for: [`SWIPES`] and more, whose quotient lies within [`WITHIN`] of one power, and four of five of those that show a
//! reversal, of one phase: in faster ones a counter may run over twice. No sensor that guesses a direction comes out so. The
//! quotient is taken along the axis that moves most.
//!
//! Kind *wrapped*; the cause is the report format where 2ⁿ is what the axis' field spans, else the firmware. (Added after
//! counters of 8 and 9 bits in a field of 16 had been put down to the sensor.) Cost: O(reports).

use super::{key, round};
use crate::clip::{self, Axis};
use crate::erratic::Wrong;
use crate::stats::median;
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, Finding};
use serde_json::json;

/// Swipes that it takes.
const SWIPES: usize = 3;
/// Of a swipe's quotient from a power of two, relative: a report more or less in thirty, and placing.
const WITHIN: f64 = 0.05;
/// Of the swipes with a reversal.
const SHARE: f64 = 0.8;
/// Bits of a counter: fewer wrap in slow swipes, and no field holds more.
const BITS: std::ops::RangeInclusive<i32> = 5..=16;

/// What one swipe lacks for each report that runs backwards, and how many these are.
struct Lacks {
    counts: f64,
    reports: usize,
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
        .filter_map(|(phase, view)| Some((key(phase, view), lacks(step, phase, view, part)?)))
        .collect();
    let of_phase = |phase: &PhaseView| {
        let own = all.iter().filter(|((number, _), _)| *number == phase.span.number);
        one_power(&own.map(|(_, lacks)| lacks.counts).collect::<Vec<f64>>())
    };
    let Some(bits) = step.phases.iter().find_map(of_phase) else { return };
    let whole = f64::from(bits).exp2();
    let spans_field = clip::limit(step.trace, axis).is_some_and(|top| 2.0 * (top as f64 + 1.0) <= whole);
    for finding in findings.iter_mut().filter(|f| f.family == Family::SpinOut && f.step == step.id) {
        let Some((_, lacks)) =
            all.iter().find(|(own, _)| (finding.phase, finding.swipe) == (own.0, Some(own.1)))
        else {
            continue;
        };
        finding.kind = "wrapped";
        finding.cause = if spans_field { Cause::ReportFormat } else { Cause::Firmware };
        if let Some(map) = json!({
            "reports_backwards": lacks.reports,
            "counts_missing_for_each": round(lacks.counts, 1),
            "counter_bits": bits,
        })
        .as_object()
        {
            finding.evidence.extend(map.clone());
        }
    }
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
fn lacks(step: &StepView, phase: &PhaseView, view: &SwipeView, part: f64) -> Option<Lacks> {
    let frame = step.frame?;
    if !view.stretches.iter().any(|s| s.wrong == Wrong::Reversal) {
        return None;
    }
    let samples = phase.series.samples.get(view.swipe.rows.clone())?;
    let along = view.swipe.along(samples, frame);
    // Those of a bounce are few counts each.
    let least = 0.1 * along.iter().copied().fold(0.0, f64::max);
    let reports = along.iter().filter(|counts| **counts < -least).count();
    let missing = view.swipe.one_travel - view.swipe.along;
    (reports > 0 && missing > 0.0).then(|| Lacks { counts: missing / part / reports as f64, reports })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quotients_of_one_power_of_two_are_a_counters_and_others_are_not() {
        assert_eq!(one_power(&[255.0, 258.0, 251.0, 140.0, 256.0]), Some(8));
        assert_eq!(one_power(&[255.0, 258.0]), None);
        assert_eq!(one_power(&[200.0, 310.0, 140.0, 256.0, 170.0]), None);
        assert_eq!(one_power(&[180.0, 181.0, 182.0]), None);
        assert_eq!(one_power(&[f64::NAN, f64::INFINITY, -1.0, 0.0]), None);
    }
}
