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
//! What all steps share is none of one step's: so where their e is the same, a step that lies near another one's nominal is *off
//! nominal* as the others are, and not that *other step*; and what travel would make them right is said. If its uncertainty is
//! not stated, such a fail is inconclusive: the gap between the stops, taken for the travel, does the same.
//!
//! *Another step*: a step that lies near another one's nominal all through, or near that times what the steps are off that count as told,
//! where no factor of all steps explains it, may be that one:
//! the operator may have forgotten its button, and a dead one looks alike. That is no fail. (Added after sound devices had failed so.
//! First asked of each step by itself: of a device that counts 17 % too much at 400, 1,000 and 1,200 the second had been said to be the
//! third, which counted 1,404. By its own nominal alone until a device that was 5.5 % off at every step, and passed, had failed where the
//! button had been pressed once too often.) A factor of all steps that leads from each to another one, but for one, is what pressing a button
//! once too often gives, too: inconclusive.
//!
//! *Another order*: every step lies within the tolerance of another step's nominal, or of its own, and no two at the same one. Then
//! the device has all its steps, and somebody has told them in another order than they were made: inconclusive.
//!
//! Owns causes and reasons of findings *off nominal*, and outcomes that steps have in common. (The last two were added after the
//! gap told as the travel, and a step's button pressed once too often, had been seen to fail sound devices at every step.)
//! Cost: O(steps²).

use crate::families::resolution::{LIKE_STEP, OF_THE_NOMINAL};
use crate::stats::median;
use crate::step::StepView;
use crate::tolerances::limits;
use crate::verdict::{
    Cause, Criterion, Family, FamilyVerdict, Finding, Identified, Outcome, Quantity, StepVerdict,
};
use serde_json::json;
use std::collections::{BTreeMap, BTreeSet};

/// Steps of one sensor share its error, about 1 % by data sheets; twice that is alike.
const ALIKE: f64 = 0.02;

/// Says where findings *off nominal* come from, and what steps show together.
pub fn settle(views: &[StepView], findings: &mut [Finding], steps: &mut [StepVerdict]) {
    let Some(plan) = views.first().and_then(|v| v.plan) else { return };
    let tolerance = limits(Some(plan), Family::Resolution);
    let stated = plan.travel_u_um.is_some();
    let shared = shared(steps);
    let own = |f: &&mut Finding| f.family == Family::Resolution;
    let others = findings.iter().filter(|f| f.family == Family::Resolution && f.kind == "other step");
    let like = |f: &Finding| Some((f.step, like_step(f).or_else(|| like_by_factor(steps, f.step))?));
    let like: BTreeMap<u32, u32> = others.filter_map(like).collect();
    let one_further = shared.is_some_and(|factor| one_further(steps, &like, factor));
    for finding in findings.iter_mut().filter(own).filter(|f| shared.is_some() && f.kind == "other step") {
        finding.kind = "off nominal";
    }
    for finding in findings.iter_mut().filter(own).filter(|f| f.kind == "off nominal") {
        let (cause, why) = match one_further {
            true => {
                (Cause::Unknown, "each step counts like another one: the sensor's scale, or a step's button")
            }
            false => cause(finding.step, steps, tolerance, stated),
        };
        finding.cause = cause;
        finding.evidence.insert("because".to_owned(), json!(why));
    }
    let reordered = reordered(steps, tolerance);
    for step in steps {
        if shared.is_some() && !one_further && step.identified == Identified::OtherStep {
            step.identified = Identified::AsTold;
        }
        let own: Vec<&Finding> =
            findings.iter().filter(|f| f.step == step.step && f.family == Family::Resolution).collect();
        // Where gain changes, the travel is not what it is off by.
        let gain = step.families.iter().any(|f| f.family == Family::GainChange && f.verdict == Outcome::Fail);
        let off = !gain && own.iter().any(|f| f.kind == "off nominal");
        let Some(family) = step.families.iter_mut().find(|f| f.family == Family::Resolution) else {
            continue;
        };
        family.cause = crate::families::common_cause(&own);
        let factor = shared.or_else(|| off_alone(views, step.step, step.resolution_counts_per_inch?));
        if let (Some(factor), Some(travel), true) = (factor, plan.travel(), off) {
            let told = travel.millimetres();
            let all = if shared.is_some() { "all steps are off by one factor: " } else { "" };
            family.because += &format!(
                "; {all}{:.1} mm of travel in place of the {told:.1} told would make it right, so measure that again",
                told * factor
            );
            if shared.is_some() && !stated {
                soften(family, "the travel measured again, and its uncertainty stated");
            }
        }
        if one_further {
            family.because += "; so does a step's button pressed once too often";
            leave_open(family);
        } else if let (Some(other), None) = (like.get(&step.step), shared) {
            family.because += &format!("; that is step {other}: its button was not pressed, or does nothing");
            leave_open(family);
        }
        if reordered {
            family.because += "; all steps are there, in another order than told";
            soften(family, "the steps told in the order in which they were made");
        }
    }
}

/// A fail that may be the operator's.
fn soften(family: &mut FamilyVerdict, to_settle: &str) {
    if family.verdict == Outcome::Fail {
        family.verdict = Outcome::Inconclusive;
        family.to_settle = Some(to_settle.to_owned());
    }
}

/// The step that a finding of *other step* says its own one counts like.
fn like_step(finding: &Finding) -> Option<u32> {
    u32::try_from(finding.evidence.get(LIKE_STEP)?.as_u64()?).ok()
}

/// The step that one counts like, to [`ALIKE`], if it is off by what those are off that count as told: by the travel or the sensor.
fn like_by_factor(steps: &[StepVerdict], id: u32) -> Option<u32> {
    let as_told = steps.iter().filter(|s| s.identified == Identified::AsTold);
    let factor = 1.0 + median(&as_told.filter_map(off).collect::<Vec<f64>>())?;
    let found = steps.iter().find(|s| s.step == id)?.resolution_counts_per_inch?.value;
    let away = |s: &StepVerdict| Some((s.step, (found / (factor * s.nominal_counts_per_inch?) - 1.0).abs()));
    let others = steps.iter().filter(|s| s.step != id).filter_map(away);
    others.min_by(|a, b| a.1.total_cmp(&b.1)).filter(|(_, away)| *away <= ALIKE).map(|(like, _)| like)
}

/// True if a factor of all steps leads from each to another one, no two to the same, but for one.
fn one_further(steps: &[StepVerdict], like: &BTreeMap<u32, u32>, factor: f64) -> bool {
    let nominal = |id: u32| steps.iter().find(|s| s.step == id)?.nominal_counts_per_inch;
    let leads = |(from, to): (&u32, &u32)| {
        let ratio = nominal(*to)? / nominal(*from)?;
        ((ratio / factor - 1.0).abs() <= ALIKE).then_some(*to)
    };
    let reached: BTreeSet<u32> = like.iter().filter_map(leads).collect();
    reached.len() + 1 >= steps.len()
}

/// Leaves open what the nominal fails by itself, for a step's button.
fn leave_open(family: &mut FamilyVerdict) {
    let failing = |c: &&mut Criterion| c.what == OF_THE_NOMINAL && c.verdict == Outcome::Fail;
    for criterion in family.criteria.iter_mut().filter(failing) {
        criterion.verdict = Outcome::Inconclusive;
    }
    match family.criteria.iter().find(|c| c.verdict == Outcome::Fail) {
        Some(other) => {
            (family.unit, family.estimate, family.tolerance) = (other.unit, other.estimate, other.tolerance)
        }
        None if matches!(family.verdict, Outcome::Fail | Outcome::Inconclusive) => {
            family.verdict = Outcome::Inconclusive;
            family.to_settle =
                Some("the same swipes once more, after the step's button was seen to change it".to_owned());
        }
        None => {}
    }
}

/// Effective over nominal where all steps, two or more, have the same.
fn shared(steps: &[StepVerdict]) -> Option<f64> {
    let all: Vec<f64> = steps.iter().filter_map(off).map(|e| 1.0 + e).collect();
    let first = *all.first().filter(|_| all.len() >= 2 && all.len() == steps.len())?;
    all.iter().all(|e| (e / first - 1.0).abs() <= ALIKE).then_some(first)
}

/// The same of one step that is the only one.
fn off_alone(views: &[StepView], id: u32, found: Quantity) -> Option<f64> {
    let [only] = views else { return None };
    let nominal = only.planned.filter(|_| only.id == id)?.nominal()?.per_inch();
    Some(found.value / nominal)
}

/// True if the steps are those of the plan in another order.
fn reordered(steps: &[StepVerdict], tolerance: [Option<f64>; 2]) -> bool {
    let nominals: Vec<f64> = steps.iter().filter_map(|s| s.nominal_counts_per_inch).collect();
    let within =
        |e: f64| tolerance[0].is_none_or(|low| e >= low) && tolerance[1].is_none_or(|high| e <= high);
    let nearest = |step: &StepVerdict| {
        let found = step.resolution_counts_per_inch?.value;
        let far = |n: f64| (found / n).ln().abs();
        let place = (0..nominals.len()).min_by(|a, b| far(nominals[*a]).total_cmp(&far(nominals[*b])))?;
        within(found / nominals[place] - 1.0).then_some(place)
    };
    let Some(places) = steps.iter().map(nearest).collect::<Option<Vec<usize>>>() else { return false };
    let distinct: BTreeSet<usize> = places.iter().copied().collect();
    let moved = places.iter().enumerate().any(|(i, place)| i != *place);
    moved && nominals.len() == steps.len() && distinct.len() == steps.len()
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
