//! Gain change with speed: the same travel gives other counts when it is done faster.
//!
//! The verdict rests on one contrast, stated beforehand: mean counts of the clean fast swipes over mean counts of the
//! clean slow ones, less one. No ruler enters: the stops are the same. SE = √2 · √(s²/n_fast + s²/n_slow) with the
//! scatter s pooled over both; √2 because neighbouring swipes share a stop, so that their lengths correlate by up to
//! +0.5. Without a straight edge a term for yaw that differs by pace is added ([`YAW`], rectangular).
//!
//! Swipes with findings of other families are left out, as are those shorter or longer than their pace's median by
//! more than [`STRAY_MM`](crate::scale) (the operator stopped early). Decides by equivalence: the whole 95 % interval inside the
//! tolerance. Assumes three clean swipes of each pace. Smallest found: about 0.1 % at 0.15 mm stops with 15 swipes.
//! Cost: O(swipes log swipes).

use super::{Detector, limits, map, not_examined, round, spoiled, verdict};
use crate::decision::inside;
use crate::scale::{Lengths, clean_lengths};
use crate::step::StepView;
use crate::verdict::{Cause, Family, FamilyVerdict, Finding, Outcome};
use serde_json::json;
use slipgauge_trace::session::Pace;

pub(super) struct GainChange;

/// Half width of what yaw that differs by pace may do to the contrast.
const YAW: f64 = 0.01;
/// Clean swipes needed of each pace.
const LEAST: usize = 3;

/// The contrast with its standard uncertainty and degrees of freedom.
struct Contrast {
    value: f64,
    uncertainty: f64,
    df: f64,
    n: (usize, usize),
}

fn contrast(step: &StepView, findings: &[Finding]) -> Option<Contrast> {
    let spoiled = spoiled(findings);
    let slow = clean_lengths(step, &spoiled, |pace| pace == Some(Pace::Slow))?;
    let fast = clean_lengths(step, &spoiled, |pace| pace == Some(Pace::Fast))?;
    if slow.n() < LEAST || fast.n() < LEAST {
        return None;
    }
    let (pooled, df) = Lengths::pooled(&[&slow, &fast]);
    let scatter = std::f64::consts::SQRT_2 * pooled * (1.0 / slow.n() as f64 + 1.0 / fast.n() as f64).sqrt()
        / slow.mean;
    let yaw = if crate::scale::straight_edge(step.plan) { 0.0 } else { YAW / 3f64.sqrt() };
    let df = crate::stats::effective_df(&[(scatter, df), (yaw, f64::INFINITY)]);
    Some(Contrast {
        value: fast.mean / slow.mean - 1.0,
        uncertainty: scatter.hypot(yaw),
        df,
        n: (slow.n(), fast.n()),
    })
}

impl Detector for GainChange {
    fn family(&self) -> Family {
        Family::GainChange
    }

    fn required(&self, _: &StepView) -> bool {
        true
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        let Some(c) = contrast(step, findings) else { return };
        let tolerance = limits(step, Family::GainChange);
        let criterion = inside("contrast", "relative", c.value, c.uncertainty, c.df, tolerance, step.looks);
        if criterion.verdict != Outcome::Fail {
            return;
        }
        // One finding for the step: the change is no event of one swipe.
        let phases = || step.phases.iter().filter(|p| p.span.phase.pace == Some(Pace::Fast));
        let (Some(first), Some(last)) = (phases().next(), phases().next_back()) else { return };
        findings.push(Finding {
            family: Family::GainChange,
            kind: if c.value < 0.0 { "falls with speed" } else { "rises with speed" },
            step: step.id,
            phase: first.span.number,
            swipe: None,
            device: step.device,
            direction: None,
            begin_ns: first.span.begin.0,
            end_ns: last.span.end.0,
            size: c.value,
            unit: "relative",
            p_false: None,
            cause: Cause::Unknown,
            evidence: map(json!({"slow_swipes": c.n.0, "fast_swipes": c.n.1, "standard_uncertainty": round(c.uncertainty, 6)})),
        });
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        let Some(c) = contrast(step, findings) else {
            let why = "fewer than three clean swipes at the slow or the fast pace";
            return not_examined(step, Family::GainChange, why);
        };
        let tolerance = limits(step, Family::GainChange);
        let criterion =
            inside("fast over slow", "relative", c.value, c.uncertainty, c.df, tolerance, step.looks);
        let because = format!(
            "fast swipes count {:+.2} % against slow ones ({} and {})",
            c.value * 100.0,
            c.n.1,
            c.n.0
        );
        let own = findings.iter().filter(|f| f.family == Family::GainChange).count();
        let mut out = verdict(Family::GainChange, vec![criterion], own, because);
        out.cause = (own > 0).then_some(Cause::Unknown);
        out.smallest_found = Some(2.0 * c.uncertainty);
        if out.verdict == Outcome::Inconclusive {
            out.to_settle =
                Some("more swipes at both paces, along a straight edge, against firm stops".to_owned());
        }
        out
    }
}
