//! What of a limit that counts tell may be claimed beside all else that the step says.
//!
//! - *Two sides* hold what a [gain](super::gain) which changes with speed makes of them.
//! - *A bound from below* rests on clean swipes, which have travelled what they claim, and is no higher than the fastest of
//!   them, and than the speed at which the step has lost track or spun out in [`RECURS`] swipes: the lowest at which one of
//!   these began. What acceleration or a place of the surface makes has no such speed; but where the first losses of [`AGREEING`]
//!   swipes begin at one speed, to [`ONE_SPEED`], that is no bound from below either, and there is no one limit if they are
//!   seen faster. (Added after "above 2.7 m/s" had been told of a device of which every swipe out lost track at 1.0 m/s.)
//! - *A value* well beyond the fastest swipe ([`BEYOND`]) is a model's and no measurement: swipes that lose track at any speed, with
//!   faster ones that do not, make one.
//! - *A bound from above* that clean swipes went beyond is none: there is no one limit. Nor is one well beyond the fastest speed that is
//!   expected of any swipe. (Added after "below 21.48 m/s" had been told where short swipes made a gain of a tenth.)
//!
//! Where nothing is left it is said why.

use super::gain::Change;
use crate::erratic::ARM_SPEED;
use crate::families::{clean_swipes, key};
use crate::silence::SLOWEST_LIMIT_MM_S;
use crate::stats::{median, quantile};
use crate::step::StepView;
use crate::verdict::{Cause, Family, Finding, Quantity};
use std::collections::BTreeMap;

/// Swipes in which it begins at a speed: one or two may be something else's.
const RECURS: usize = 3;

/// Swipes whose losses agree, and half of the width between their quartiles, relative: what an onset is known to at 1 ms. A hand whose
/// swipes are lost by acceleration has another speed there each time.
const AGREEING: usize = 5;
const ONE_SPEED: f64 = 0.02;

/// A limit that a few of many swipes met lies above most of their peaks, and by no more than limits differ from swipe to swipe.
/// (Added after a device that lost track in slow and medium swipes had been seen to have limits of 4.8 and 7.8 m/s, beside a
/// hand of 2.9.)
const BEYOND: f64 = 1.2;

/// The limit as it may be claimed, or why nothing may; `counted` is what counts tell.
pub(super) fn of(
    step: &StepView,
    findings: &[Finding],
    counted: Quantity,
    change: Change,
) -> Result<Quantity, String> {
    let clean = fastest_clean(step, findings);
    match (counted.low, counted.high) {
        (Some(low), None) => {
            let Some(clean) = clean else {
                return Err("no clean swipe bounds it from below".to_owned());
            };
            if let Some(speed) = loses_at_one_speed(step, findings).filter(|speed| *speed < low.min(clean)) {
                return Err(format!(
                    "swipes lose track at {speed:.2} m/s and keep it at higher speeds: no one limit"
                ));
            }
            let begins = begins_at(step, findings).unwrap_or(f64::INFINITY);
            let low = low.min(clean).min(begins);
            let bound = Quantity { value: low, low: Some(low), high: None };
            // That it lies above what any sensor keeps up with is nothing known.
            if low >= 1e-3 * SLOWEST_LIMIT_MM_S {
                Ok(bound)
            } else {
                Err("no speed at which it kept track could be told".to_owned())
            }
        }
        (Some(low), Some(_)) if fastest(step).is_some_and(|most| counted.value > BEYOND * most) => {
            Err(format!(
                "swipes lose track at speeds that others keep it at; by those alone it would be {:.2} m/s ({low:.2} and more), \
             which nobody swiped",
                counted.value
            ))
        }
        (None, Some(high)) if clean.is_some_and(|clean| clean > high) => Err(format!(
            "some swipes have lost track by {high:.2} m/s, and others are clean up to {:.2} m/s: no one limit",
            clean.unwrap_or(high)
        )),
        _ => {
            let limit = travelled(counted, change);
            let beyond = |high: &f64| expected(step).is_some_and(|most| *high > BEYOND * most);
            match limit.high.filter(beyond).filter(|_| limit.low.is_none()) {
                Some(high) => Err(format!("swipes lose track below {high:.2} m/s, and nobody was as fast")),
                None => Ok(limit),
            }
        }
    }
}

/// The speeds that the hand had.
fn travelled(counted: Quantity, change: Change) -> Quantity {
    if !change.is_seen() {
        return counted;
    }
    let low = counted.low.map(|v| change.travelled(v).0);
    let high = counted.high.map(|v| change.travelled(v).1);
    // Which law of gain holds is not known, so that no value is likelier than the middle.
    let value = match (low, high) {
        (Some(low), Some(high)) => 0.5 * (low + high),
        (one, other) => one.or(other).unwrap_or(counted.value),
    };
    Quantity { value, low, high }
}

/// Fastest clean swipe, m/s.
fn fastest_clean(step: &StepView, findings: &[Finding]) -> Option<f64> {
    clean_swipes(step, findings).map(|s| s.grid.claim.seen_mm_s * 1e-3).filter(|v| *v > 0.0).reduce(f64::max)
}

/// Fastest swipe, m/s.
fn fastest(step: &StepView) -> Option<f64> {
    step.swipes().map(|(_, s)| s.grid.claim.seen_mm_s * 1e-3).reduce(f64::max)
}

/// Fastest speed expected of any swipe, what it lost included, m/s; an arm's at the most.
fn expected(step: &StepView) -> Option<f64> {
    step.swipes().map(|(_, s)| (s.grid.peak() * 1e-3).min(ARM_SPEED)).reduce(f64::max)
}

/// The speed at which swipes first lose track, m/s, if it is one.
fn loses_at_one_speed(step: &StepView, findings: &[Finding]) -> Option<f64> {
    let mut first: BTreeMap<(u32, Option<u32>), &Finding> = BTreeMap::new();
    let of_surface = |f: &Finding| f.cause == Cause::Surface;
    for f in
        findings.iter().filter(|f| f.family == Family::TrackingLoss && f.step == step.id && !of_surface(f))
    {
        let own = first.entry((f.phase, f.swipe)).or_insert(f);
        *own = if f.begin_ns < own.begin_ns { f } else { *own };
    }
    let speeds: Vec<f64> =
        first.values().filter_map(|f| f.evidence.get("onset_m_s")?.as_f64()).filter(|v| *v > 0.0).collect();
    let middle = median(&speeds).filter(|_| speeds.len() >= AGREEING)?;
    let width = quantile(&speeds, 0.75)? - quantile(&speeds, 0.25)?;
    (0.5 * width <= ONE_SPEED * middle).then_some(middle)
}

/// The lowest speed at which the step loses track or spins out, m/s, if it does so in enough swipes.
fn begins_at(step: &StepView, findings: &[Finding]) -> Option<f64> {
    let mut by_swipe = BTreeMap::new();
    for (phase, swipe) in step.swipes() {
        let at = key(phase, swipe);
        let own = findings.iter().filter(|f| (f.phase, f.swipe) == (at.0, Some(at.1)));
        let speeds = own.filter_map(|f| match f.family {
            Family::TrackingLoss => of_loss(f),
            Family::SpinOut => swipe.grid.expected_mm_s.get(swipe.grid.index(f.begin_ns)).map(|v| v * 1e-3),
            _ => None,
        });
        if let Some(lowest) = speeds.reduce(f64::min) {
            by_swipe.insert(at, lowest);
        }
    }
    by_swipe.values().copied().reduce(f64::min).filter(|_| by_swipe.len() >= RECURS)
}

/// Speed at which a loss of tracking began, m/s, if it began at one.
fn of_loss(finding: &Finding) -> Option<f64> {
    let limit_of = finding.evidence.get("limit_of").and_then(serde_json::Value::as_str);
    let of_speed = finding.cause != Cause::Surface && limit_of != Some("acceleration");
    finding.evidence.get("onset_m_s")?.as_f64().filter(|_| of_speed)
}
