//! Carry-on: motion reported after the stop.
//!
//! Detects swipes that count more than one travel ([`crate::shortfall`]: beyond placing) and more than the other swipes of their phase by as much, and that are still fast where one
//! travel is full. *Fading* if the second half of the surplus runs at less than [`FADES`] of the first half's speed, else
//! *steady*. A bounce does not count: a swipe's length is taken between the rests around it. Where most swipes of a phase
//! are longer, that is gain change.
//!
//! Decides on the share of swipes that show it, exact limits. Assumes a stop that does not give way. Smallest found: 2 mm
//! and 12 standard deviations of a stop (two of them make a length). Cost: O(reports).

use super::{Detector, Event, in_swipe, key, not_examined, round, share, swipes_with};
use crate::stats::median;
use crate::step::{PhaseView, StepView, SwipeView};
use crate::step_change;
use crate::verdict::{Cause, Family, FamilyVerdict, Finding};
use serde_json::json;

pub(super) struct CarryOn;

/// Speed of the second half over that of the first half.
const FADES: f64 = 0.6;

impl Detector for CarryOn {
    fn family(&self) -> Family {
        Family::CarryOn
    }

    fn required(&self, _: &StepView) -> bool {
        true
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        let mut spun = swipes_with(Family::SpinOut, findings);
        spun.extend(step_change::runs(step).into_iter().flat_map(|run| run.keys));
        let mut own = Vec::new();
        for phase in &step.phases {
            let surplus: Vec<f64> = phase.swipes.iter().map(|s| s.swipe.surplus).collect();
            let usual = median(&surplus).unwrap_or(0.0).max(0.0);
            let long =
                phase.swipes.iter().filter(|s| s.swipe.surplus > 0.0 && !spun.contains(&key(phase, s)));
            own.extend(long.filter_map(|swipe| event(step, phase, swipe, usual)));
        }
        findings.extend(own);
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.travel.is_none() || step.scale.is_none() {
            return not_examined(step, Family::CarryOn, "no swipes, or the travel is not known");
        }
        let examined = step.swipes().map(|(p, s)| key(p, s)).collect();
        share(step, Family::CarryOn, findings, &examined, "")
    }
}

fn event(step: &StepView, phase: &PhaseView, view: &SwipeView, usual: f64) -> Option<Finding> {
    let (frame, scale) = (step.frame?, step.scale?);
    let swipe = &view.swipe;
    let most = swipe.surplus - usual;
    // The surplus is what came last.
    let samples = phase.series.samples.get(swipe.rows.clone())?;
    let along: Vec<f64> = samples.iter().map(|s| swipe.sign() * frame.of(s).0).collect();
    let mut rest = 0.0;
    let first = along.iter().rposition(|counts| {
        rest += counts;
        rest >= swipe.surplus
    })?;
    let (begin, end) = (samples.get(first)?.t, samples.last()?.t);
    let middle = begin + (end - begin) / 2;
    let split = samples.partition_point(|s| s.t <= middle).clamp(first, samples.len());
    let (early, late): (f64, f64) = (along[first..split].iter().sum(), along[split..].iter().sum());
    let at_the_stop = along[first..split].iter().sum::<f64>() / ((middle - begin).max(1) as f64 * 1e-9);
    let fast = at_the_stop > 0.05 * swipe.peak;
    if !fast || most * 2.0 < swipe.surplus {
        return None;
    }
    let event = Event {
        family: Family::CarryOn,
        kind: if late < FADES * early { "fading" } else { "steady" },
        begin,
        end,
        size: swipe.surplus / scale.counts_per_mm,
        unit: "mm of false motion",
        cause: Cause::Sensor,
    };
    let evidence = json!({
        "counts_beyond_one_travel": round(swipe.surplus, 0),
        "reports": samples.len() - first,
        "m_s_at_the_stop": round(at_the_stop / scale.counts_per_mm * 1e-3, 3),
        "second_half_over_first": round(late / early.max(1.0), 2),
    });
    Some(in_swipe(step, phase, view, event, evidence))
}
