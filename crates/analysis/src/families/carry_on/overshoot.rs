//! Counts that run into the stop and snap back.
//!
//! No body gets further than its stop. A place beyond the travel that the phase's swipes have (their median), by more than
//! placing, that comes back by half of it within [`BACK_NS`], is one where no device was: firmware that goes on with the
//! last speed, or smooths it, overshoots so. A bounce does not: it begins at the stop and goes the other way. But a stop that
//! gives does the same to a sound device, so that this leaves the verdict open and fails nobody. Cost: O(reports).

use crate::decision::share_at_most;
use crate::families::{Event, in_swipe, key, limits, round};
use crate::stats::median;
use crate::step::{PhaseView, StepView};
use crate::verdict::{Cause, Criterion, Family, FamilyVerdict, Finding, Outcome};
use serde_json::json;
use std::collections::BTreeSet;

/// A stop throws back within some hundredths of a second; later it is the hand that comes back.
const BACK_NS: i64 = 50_000_000;
/// Kind of these findings.
pub(super) const KIND: &str = "overshoot";

/// Overshoots of a phase's swipes, but for those that are told already.
pub(super) fn of_phase(step: &StepView, phase: &PhaseView, told: &BTreeSet<(u32, u32)>) -> Vec<Finding> {
    let (Some(frame), Some(scale), Some(measure)) = (phase.frame, step.scale, step.measure) else {
        return Vec::new();
    };
    let lengths: Vec<f64> = phase.swipes.iter().map(|s| s.swipe.along).collect();
    let Some(usual) = median(&lengths) else { return Vec::new() };
    let ends = phase.swipes.iter().skip(1).map(|s| s.swipe.rows.start);
    let ends = ends.chain([phase.series.samples.len()]);
    let found = phase.swipes.iter().zip(ends).filter_map(|(view, end)| {
        let samples = phase.series.samples.get(view.swipe.rows.start..end)?;
        let mut place = 0.0;
        let places: Vec<f64> = view
            .swipe
            .along(samples, frame)
            .into_iter()
            .map(|counts| {
                place += counts;
                place
            })
            .collect();
        let top = (0..places.len()).max_by(|a, b| places[*a].total_cmp(&places[*b]))?;
        let over = places[top] - usual.max(view.swipe.along);
        let until = samples[top].t.saturating_add(BACK_NS);
        let back = (top..places.len())
            .take_while(|row| samples[*row].t <= until)
            .find(|row| places[top] - places[*row] >= 0.5 * over)?;
        let begin = samples[top].t.saturating_sub(step.slot() as i64);
        let explained = told.contains(&key(phase, view)) || step.host.explain(begin, samples[back].t);
        if over <= measure.most || explained {
            return None;
        }
        let event = Event {
            family: Family::CarryOn,
            kind: KIND,
            begin,
            end: samples[back].t,
            size: over / scale.counts_per_mm,
            unit: "mm of false motion",
            cause: Cause::Unknown,
        };
        let ms = 1e-6 * samples[back].t.saturating_sub(samples[top].t) as f64;
        let evidence = json!({
            "mm_beyond_the_travel": round(over / scale.counts_per_mm, 2),
            "ms_until_half_of_it_is_back": round(ms, 1),
        });
        Some(in_swipe(step, phase, view, event, evidence))
    });
    found.collect()
}

/// Leaves a pass open where more swipes overshoot than may.
pub(super) fn leave_open(step: &StepView, overshoots: usize, examined: usize, out: &mut FamilyVerdict) {
    if overshoots == 0 {
        return;
    }
    out.because += &format!("; {overshoots} went beyond the stop and snapped back");
    let limit = limits(step, Family::CarryOn)[1].unwrap_or(1.0);
    let (k, n) = (overshoots as u32, examined as u32);
    let criterion =
        share_at_most("swipes that go beyond the stop", "share of swipes", k, n, limit, step.looks);
    if criterion.verdict != Outcome::Pass {
        if out.verdict == Outcome::Pass {
            out.verdict = Outcome::Inconclusive;
            out.estimate = criterion.estimate;
            out.to_settle =
                Some("the fast swipes against stops with a hard face, held by a weight".to_owned());
        }
        out.criteria.push(Criterion { verdict: Outcome::Inconclusive, ..criterion });
    }
}
