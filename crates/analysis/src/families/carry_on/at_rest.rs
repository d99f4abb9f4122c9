//! Counts that run on, as slowly as a hand might move, while the device lies at the stops.
//!
//! Two looks, over all swipes of a step, since one swipe tells nothing:
//! - *creep*: after a rest at the stop most swipes run on in their direction by 2 mm and more ([`crate::after_rest`]), and by as much
//!   each. A hand that stopped short goes on to the stop as well, but is short by more now and less then: spread over mean
//!   more than [`AS_LONG`].
//! - *drift*: in the rests between swipes counts run into the one stop and off the other, at one rate. A hand that leans on the
//!   device moves it off one stop, or presses it onto both, but gets into none by more than [`GIVES_MM`].
//!   The rests at either stop tell the same sign beyond chance ([`FAIL_LEVEL`] over the step's looks, Student's t), and rates that
//!   differ by no more than twofold.
//!
//! A stop that is pushed away by each swipe looks alike: either leaves the verdict open and fails nobody. (Added after 3 to 5 mm after
//! each stop, at 16 to 48 mm/s, and 3 mm/s at both stops, had been seen to pass.) Not seen: drift of less than [`GIVES_MM`] a rest.
//! Cost: O(reports).

use super::leave_pass_open;
use crate::after_rest;
use crate::decision::FAIL_LEVEL;
use crate::stats::{mean_sd, median, t_quantile};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Direction, FamilyVerdict};

/// Spread over mean of what a hand stops short by is more than this (common practice, no source).
const AS_LONG: f64 = 0.2;
/// What a pad, the feet and a hard stop give under a hand that presses on, mm (common practice, no source).
const GIVES_MM: f64 = 0.5;
/// A body has come to rest so long after its last report at speed, and a hand sets out less than so long before the next one's first:
/// nanoseconds.
const SETTLED_NS: i64 = 100_000_000;
/// Shorter rests tell no rate, nanoseconds.
const LEAST_NS: i64 = 100_000_000;
/// Swipes, and rests at either stop, that it takes.
const LEAST: usize = 5;

/// Leaves a pass open where one of them shows.
pub(super) fn leave_open(step: &StepView, out: &mut FamilyVerdict) {
    let Some(scale) = step.scale else { return };
    let creep = creep(step).map(|counts| {
        let mm = counts / scale.counts_per_mm;
        (
            "motion after a rest at the stop",
            "mm",
            mm,
            format!("most swipes go on by {mm:.1} mm each, slowly, after a rest at the stop"),
        )
    });
    let drift = || {
        let rate = drift(step, scale.counts_per_mm)?;
        let words =
            format!("between swipes counts run into one stop and off the other at {:.2} mm/s", rate.abs());
        Some(("drift while it lies at the stops", "mm/s", rate, words))
    };
    let Some((what, unit, value, words)) = creep.or_else(drift) else { return };
    out.because += &format!("; but {words}: no body moves so at a hard stop, unless the stop is pushed away");
    let to_settle = "the same swipes against stops with a hard face, clamped";
    leave_pass_open(out, (what, unit, value), [None, None], to_settle);
}

/// Counts by which most swipes creep on, if all of these do by as much.
fn creep(step: &StepView) -> Option<f64> {
    let all: Vec<f64> = step.phases.iter().flat_map(|phase| after_rest::creeps(step, phase)).collect();
    let enough = all.len() >= LEAST && 2 * all.len() > step.swipes().count();
    let (centre, spread) = mean_sd(&all)?;
    (enough && spread <= AS_LONG * centre).then_some(centre)
}

/// Drift at the stops, mm/s, positive along the way out, if it is one at both.
fn drift(step: &StepView, per_mm: f64) -> Option<f64> {
    let (mut out, mut back) = (Vec::new(), Vec::new());
    for (at, moved) in step.phases.iter().flat_map(rests) {
        match at {
            Direction::Out => out.push(moved),
            Direction::Back => back.push(moved),
        }
    }
    let of = |rests: &[(f64, f64)]| {
        let rates: Vec<f64> = rests.iter().map(|(counts, seconds)| counts / per_mm / seconds).collect();
        let way = median(&rests.iter().map(|(counts, _)| counts / per_mm).collect::<Vec<_>>())?;
        let n = rates.len() as f64;
        let (rate, spread) = mean_sd(&rates)?;
        // Two sides, at two stops.
        let level = 1.0 - FAIL_LEVEL / f64::from(step.looks.max(1)) / 2.0;
        let sure = rate.abs() > t_quantile(level, n - 1.0) * spread / n.sqrt();
        (rates.len() >= LEAST && sure).then_some((rate, way))
    };
    let ((at_out, into_out), (at_back, into_back)) = (of(&out)?, of(&back)?);
    // Into the stop: forward at the one, backward at the other.
    let into = if at_out > 0.0 { into_out } else { -into_back };
    let one = at_out * at_back > 0.0 && (0.5..2.0).contains(&(at_out / at_back));
    (one && into > GIVES_MM).then_some(0.5 * (at_out + at_back))
}

/// The stop at which each rest of a phase is, with the counts made in it, positive along the way out, and its seconds.
fn rests(phase: &PhaseView) -> Vec<(Direction, (f64, f64))> {
    let rest = |pair: &[SwipeView]| {
        let (before, next) = (&pair[0].swipe, &pair[1].swipe);
        let from = before.end.saturating_add(SETTLED_NS);
        let until = next.begin.saturating_sub(SETTLED_NS);
        let lasts = until.saturating_sub(from);
        let samples = phase.series.samples.get(before.rows.end..next.rows.start)?;
        let rows = samples.partition_point(|s| s.t < from)..samples.partition_point(|s| s.t < until);
        let along = before.along(samples.get(rows)?, phase.frame?).iter().sum::<f64>() * before.sign();
        (lasts >= LEAST_NS).then_some((before.direction, (along, 1e-9 * lasts as f64)))
    };
    phase.swipes.windows(2).filter_map(rest).collect()
}
