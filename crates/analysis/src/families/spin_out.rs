//! Spin-out: motion reported that the hand did not make.
//!
//! Detects, in windows of at least [`WINDOW`] and three slots, away from the stops: (A) a speed above
//! [`ARM_SPEED`]; (B) motion against the swipe's direction, or across it, that sets in with more than
//! [`ARM_ACCELERATION`] and is worth at least [`LEAST_MM`]. Windows with empty slots, and those next to them, are
//! left out: what follows a silence may carry its make-up.
//!
//! The two bounds are our own proposal: hard flicks reach 4 to 5 m/s and 50 to 60 m/s² (common practice, no source).
//! Decides on the share of swipes that show it, exact limits. Told apart from a bounce (within the end zone) and from
//! a tilted frame (the direction is fitted first). Smallest reported: 2 mm. Smallest
//! *found* is not established: in simulated sessions those of 20 mm and more, of 3 ms and longer, are mostly found,
//! those of 2 mm mostly missed (11 and 84 % of events, `scripts/accuracy`). Cost: O(slots).

use super::{Detector, Event, in_swipe, key, not_examined, round, share, swipes_with};
use crate::step::{Grid, StepView};
use crate::verdict::{Cause, Family, FamilyVerdict, Finding};
use serde_json::json;

pub(super) struct SpinOut;

/// No hand on a desk is faster, mm/s.
const ARM_SPEED: f64 = 8_000.0;
/// Nor more abrupt, mm/s².
const ARM_ACCELERATION: f64 = 150_000.0;
/// Window for speeds, seconds.
const WINDOW: f64 = 3e-3;
/// False motion worth reporting, mm.
const LEAST_MM: f64 = 2.0;
/// Distance from the stops within which a device may bounce or twist, mm.
const END_ZONE_MM: f64 = 8.0;
/// Two suspect windows this near to each other are one event, seconds.
const MERGE: f64 = 20e-3;

/// A suspect stretch of a grid.
struct Suspect {
    from: usize,
    to: usize,
    kind: &'static str,
    size_mm: f64,
    acceleration: f64,
}

impl Detector for SpinOut {
    fn family(&self) -> Family {
        Family::SpinOut
    }

    fn required(&self, _: &StepView) -> bool {
        true
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        let clipped = swipes_with(Family::ReportCeiling, findings);
        for (phase, swipe) in step.swipes().filter(|(p, s)| !clipped.contains(&key(p, s))) {
            for suspect in suspects(&swipe.grid) {
                let (begin, end) = (swipe.grid.time(suspect.from), swipe.grid.time(suspect.to));
                if step.host.explain(begin, end) {
                    continue;
                }
                let event = Event {
                    family: Family::SpinOut,
                    kind: suspect.kind,
                    begin,
                    end,
                    size: suspect.size_mm,
                    unit: "mm of false motion",
                    cause: Cause::Sensor,
                };
                let evidence = json!({
                    "acceleration_m_s2": round(suspect.acceleration * 1e-3, 0),
                    "limit_m_s2": ARM_ACCELERATION * 1e-3,
                    "limit_m_s": ARM_SPEED * 1e-3,
                });
                findings.push(in_swipe(step, phase, swipe, event, evidence));
            }
        }
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.scale.is_none() {
            return not_examined(
                step,
                Family::SpinOut,
                "no swipes, or neither travel nor nominal resolution is known",
            );
        }
        let examined = step.swipes().map(|(p, s)| key(p, s)).collect();
        share(step, Family::SpinOut, findings, &examined, "")
    }
}

/// Suspect stretches of one swipe, merged.
fn suspects(grid: &Grid) -> Vec<Suspect> {
    let slot = grid.slot * 1e-9;
    let width = ((WINDOW / slot).ceil() as usize).max(3);
    let n = grid.along_mm.len();
    let total: f64 = grid.along_mm.iter().sum();
    let span = width as f64 * slot;
    // Speed of each whole window, `None` where a slot of it or next to it is empty.
    let window = |from: usize| -> Option<(f64, f64)> {
        let full = grid.reports[from.saturating_sub(1)..(from + width).min(n)].iter().all(|&r| r > 0);
        let sum = |v: &[f64]| v[from..from + width].iter().sum::<f64>() / span;
        (full && from + width <= n).then(|| (sum(&grid.along_mm), sum(&grid.across_mm)))
    };
    let mut found: Vec<Suspect> = Vec::new();
    let mut place: f64 = grid.along_mm.iter().take(width).sum();
    for from in width..n.saturating_sub(width) {
        let here = place;
        place += grid.along_mm[from];
        let inside = here > END_ZONE_MM && total - here > END_ZONE_MM;
        let (Some(before), Some(now), true) = (window(from - width), window(from), inside) else { continue };
        let jump = |a: f64, b: f64| (b - a) / span;
        let (along, across) = (jump(before.0, now.0), jump(before.1, now.1));
        let backward = now.0 < 0.0 && -along > ARM_ACCELERATION;
        let sideways = now.1.abs() > before.1.abs() && across.abs() > ARM_ACCELERATION;
        let kind = match (now.0.hypot(now.1) > ARM_SPEED, backward, sideways) {
            (true, _, _) => "beyond an arm",
            (_, true, _) => "reversal",
            (_, _, true) => "sideways",
            _ => continue,
        };
        let acceleration = along.hypot(across);
        let size_mm: f64 = (from..from + width).map(|i| deviation(grid, i, slot)).sum();
        match found.last_mut() {
            Some(last) if ((from - last.to.min(from)) as f64) * slot < MERGE => {
                let fresh: f64 = (last.to.max(from)..from + width).map(|i| deviation(grid, i, slot)).sum();
                last.size_mm += fresh;
                last.to = from + width;
                last.acceleration = last.acceleration.max(acceleration);
            }
            _ => found.push(Suspect { from, to: from + width, kind, size_mm, acceleration }),
        }
    }
    found.retain(|s| s.size_mm >= LEAST_MM);
    found
}

/// Distance in one slot that the expected motion does not account for, mm.
fn deviation(grid: &Grid, i: usize, slot: f64) -> f64 {
    (grid.along_mm[i] - grid.expected_mm_s[i].max(0.0) * slot).hypot(grid.across_mm[i])
}
