//! Spin-out: motion reported that the hand did not make.
//!
//! Detects [stretches](crate::erratic) away from the stops whose counts run backwards, across the swipe or faster than
//! any arm, from one report to the next as no arm can, and those that repeat the same motion across a hidden peak; each
//! worth at least [`LEAST_MM`] of motion that the expected speed does not account for. Left
//! out: swipes that clip, and what a stall of this computer explains.
//!
//! Decides on the share of swipes that show it, exact limits. Told apart from a bounce (within the end zone, after the
//! stop) and from a tilted frame (against the direction just before).
//!
//! Smallest found: with v the speed, h the report interval (at least 1 ms) and f = 4 ms / h (1 to 4), false motion that
//! differs from the true by twice `2.5 counts + 0.15 v h + 150 m/s² · h² (1 + f) / 2`, and 2 mm, at three counts a report
//! and more before it: 2 mm at 1 ms and 2 m/s, 7.2 mm at 4 ms, 24 mm at 8 ms. A repeat: five reports of eight counts over
//! a peak that rises 3 counts and 2 % above them; where frames beat against reports, 4 % of the travel. What is smaller
//! and leaves a swipe short is reported as a short swipe of unknown cause. (First written as 2 mm; changed after it was
//! seen that an arm may do as much within 8 ms.) Cost: O(reports).

use super::{Detector, Event, in_swipe, key, not_examined, round, share, swipes_with};
use crate::erratic::{ARM_ACCELERATION, LEAST_MM, Stretch, Wrong};
use crate::false_motion::per_cell;
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, FamilyVerdict, Finding};
use serde_json::json;

pub(super) struct SpinOut;

impl Detector for SpinOut {
    fn family(&self) -> Family {
        Family::SpinOut
    }

    fn required(&self, _: &StepView) -> bool {
        true
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        let Some(scale) = step.scale else { return };
        let clipped = swipes_with(Family::ReportCeiling, findings);
        for (phase, swipe) in step.swipes().filter(|(p, s)| !clipped.contains(&key(p, s))) {
            for stretch in swipe.stretches.iter().filter(|s| s.wrong != Wrong::Thin) {
                let size = unexplained_mm(phase, swipe, stretch);
                if size < LEAST_MM {
                    continue;
                }
                let event = Event {
                    family: Family::SpinOut,
                    kind: match stretch.wrong {
                        Wrong::Reversal => "reversal",
                        Wrong::BeyondAnArm => "beyond an arm",
                        Wrong::Repeated => "repeated",
                        Wrong::Sideways | Wrong::Thin => "sideways",
                    },
                    begin: stretch.begin,
                    end: stretch.end,
                    size,
                    unit: "mm of false motion",
                    cause: Cause::Sensor,
                };
                let seconds = stretch.within_s;
                let per_mm = scale.counts_per_mm;
                let mut evidence = json!({
                    "reports": stretch.rows.len(),
                    "along_mm": round(stretch.counts.0 / per_mm, 2),
                    "across_mm": round(stretch.counts.1 / per_mm, 2),
                });
                if let Some(map) = evidence.as_object_mut().filter(|_| stretch.wrong != Wrong::Repeated) {
                    map.insert("velocity_jump_m_s".to_owned(), round(stretch.jump_m_s, 2));
                    map.insert("jump_within_ms".to_owned(), round(1e3 * seconds, 3));
                    map.insert("an_arm_can_m_s".to_owned(), round(ARM_ACCELERATION * seconds, 2));
                }
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

/// Distance between counted and expected motion over the reports of a stretch, mm: along and across added up first, so
/// that rounding cancels. With the cell on either side, which may be right in part and false in part.
fn unexplained_mm(phase: &PhaseView, view: &SwipeView, stretch: &Stretch) -> f64 {
    let cell = per_cell(view.grid.slot);
    let first = stretch.rows.start.saturating_sub(cell).max(view.swipe.rows.start);
    let last = (stretch.rows.end + cell).min(view.swipe.rows.end);
    let Some((expected, counted)) = view.grid.over(&phase.series, &(first..last)) else { return 0.0 };
    (counted.0 - expected).hypot(counted.1)
}
