//! Whether a step that is off its nominal has a wrong setting of its own, or shares one factor with all steps.
//!
//! Counts at two steps for the same travel: travel, arc and the sensor's own scale are the same in both, so their ratio holds
//! only the two settings. With e = effective over nominal:
//!
//! - *firmware*: every other step lies within half the tolerance of its own nominal, which shows travel and sensor to be
//!   right to that; and this step's ratio to each of them is outside the tolerance, with its whole 95 % interval. Then it is this
//!   step's setting.
//! - *sensor*: all steps (two or more) have the same e, to within [`ALIKE`], and the plan states how well the travel is known. Its
//!   uncertainty is in the interval that lies outside, so by what is stated it is not the travel; and no setting of one step does
//!   that to all. The sensor and its optics on this surface are what all steps share.
//! - else *unknown*: one step only; steps that are off each in its own way; a travel of unstated uncertainty, which may as well
//!   be wrong.
//!
//! Owns causes and reasons of findings *off nominal*; changes no outcome. Cost: O(steps²).

use crate::step::StepView;
use crate::tolerances::limits;
use crate::verdict::{Cause, Family, Finding, Quantity, StepVerdict};
use serde_json::json;

/// Steps of one sensor share its error, about 1 % by data sheets; twice that is alike.
const ALIKE: f64 = 0.02;

/// Says where findings *off nominal* come from.
pub fn causes(views: &[StepView], findings: &mut [Finding], steps: &mut [StepVerdict]) {
    let Some(plan) = views.first().and_then(|v| v.plan) else { return };
    let tolerance = limits(Some(plan), Family::Resolution);
    let stated = plan.travel_u_um.is_some();
    for finding in findings.iter_mut().filter(|f| f.family == Family::Resolution && f.kind == "off nominal") {
        let (cause, why) = cause(finding.step, steps, tolerance, stated);
        finding.cause = cause;
        finding.evidence.insert("because".to_owned(), json!(why));
    }
    for step in steps {
        let own: Vec<&Finding> =
            findings.iter().filter(|f| f.step == step.step && f.family == Family::Resolution).collect();
        let resolution = step.families.iter_mut().filter(|f| f.family == Family::Resolution);
        resolution.for_each(|f| f.cause = crate::families::common_cause(&own));
    }
}

/// Effective over nominal, less one.
fn off(step: &StepVerdict) -> Option<f64> {
    let (found, nominal) = step.resolution_counts_per_inch.zip(step.nominal_counts_per_inch)?;
    Some(found.value / nominal - 1.0).filter(|e| e.is_finite() && found.high.is_some())
}

fn cause(id: u32, steps: &[StepVerdict], tolerance: [Option<f64>; 2], stated: bool) -> (Cause, &'static str) {
    let own = steps.iter().find(|s| s.step == id).and_then(|s| Some((s, off(s)?)));
    let Some((own, e)) = own else { return (Cause::Unknown, "no resolution to hold against other steps'") };
    let others: Vec<(u32, f64)> =
        steps.iter().filter(|s| s.step != id).filter_map(|s| Some((s.step, off(s)?))).collect();
    if others.is_empty() {
        return (
            Cause::Unknown,
            "one step only: a sensor's scale and a setting in the firmware give the same counts",
        );
    }
    let within_half = |e: f64| {
        tolerance[0].is_none_or(|low| e >= 0.5 * low) && tolerance[1].is_none_or(|high| e <= 0.5 * high)
    };
    let outside = |q: Quantity| {
        let low = tolerance[0].zip(q.high).is_some_and(|(limit, high)| high < limit);
        low || tolerance[1].zip(q.low).is_some_and(|(limit, low)| low > limit)
    };
    let ratio = |to: u32| {
        let found = own.ratios.iter().find(|r| r.to_step == to)?;
        let less_one = |v: Option<f64>| Some(v? / found.nominal? - 1.0);
        let Quantity { value, low, high } = found.ratio;
        Some(Quantity { value: less_one(Some(value))?, low: less_one(low), high: less_one(high) })
    };
    let alone = others.iter().all(|(to, e)| within_half(*e) && ratio(*to).is_some_and(outside));
    let alike = others.iter().all(|(_, other)| ((1.0 + other) / (1.0 + e) - 1.0).abs() <= ALIKE);
    match (alone, alike, stated) {
        (true, ..) => (
            Cause::Firmware,
            "the other steps hold to their nominals and the ratio to them, free of travel and sensor, is off: this step's setting",
        ),
        (false, true, true) => (
            Cause::Sensor,
            "all steps are off by one same factor, which the stated uncertainty of the travel excludes",
        ),
        (false, true, false) => (
            Cause::Unknown,
            "all steps are off by one same factor: the sensor's scale, or the travel, whose uncertainty is not stated",
        ),
        (false, false, _) => (
            Cause::Unknown,
            "the steps are off in different ways: settings, sensor and travel are not told apart",
        ),
    }
}
