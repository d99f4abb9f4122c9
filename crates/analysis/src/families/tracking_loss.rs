//! Tracking loss: the sensor stops seeing motion above some speed.
//!
//! Detects a [silence](crate::silence) that holds the fastest part of the swipe, where the expected speed exceeds by
//! a tenth every speed that the device has reported at this step: a device that never reports anything faster than
//! where it falls silent does not drop reports at random. Also a swipe whose counts end at speed and that comes up
//! short. Where [`RECUR`] swipes show that, a silence that holds the fastest part of its swipe at about the same speed
//! is one more of the kind.
//!
//! Decides on the share of the fast swipes (all swipes where no pace was told) that show it, exact limits. Partial
//! loss, where counts thin out instead of ending, is not detected by these rules: it shows as gain change.
//!
//! Assumes the travel is known. Smallest found: a silence of two reports and 1 mm. Cost: O(swipes).

use super::{Detector, Event, in_swipe, key, not_examined, round, share, swipes_with};
use crate::silence::{MakeUp, Silence};
use crate::step::{StepView, SwipeView};
use crate::verdict::{Cause, Family, FamilyVerdict, Finding};
use serde_json::json;

pub(super) struct TrackingLoss;

/// The expected speed in a tracking loss exceeds all reported speeds by this factor.
const BEYOND: f64 = 1.1;
/// Swipes that show it beyond doubt before [`ALIKE`] is enough.
const RECUR: usize = 3;
/// The factor for further ones: the limit itself scatters by some per cent.
const ALIKE: f64 = 0.95;

/// Fastest speed that the device reported at a step, mm/s.
fn fastest_reported(step: &StepView) -> f64 {
    let per_mm = step.scale.map_or(f64::INFINITY, |s| s.counts_per_mm);
    step.swipes().map(|(_, s)| s.swipe.peak / per_mm).fold(0.0, f64::max)
}

/// True if a dropout may as well be a loss of tracking: its silence holds the fastest part of its swipe, which is about
/// as fast as anything that the device has reported.
pub(super) fn may_be_loss(swipe: &SwipeView, silence: &Silence, step: &StepView) -> bool {
    is_loss(swipe, silence, ALIKE * fastest_reported(step))
}

/// True if a silence is a loss of tracking and no dropout: it holds the fastest part of its swipe, and that is faster
/// than `speed` (see [`loss_above`]).
pub(super) fn is_loss(swipe: &SwipeView, silence: &Silence, speed: f64) -> bool {
    let grid = &swipe.grid;
    let hidden = grid.expected_mm_s[grid.slots(silence)].iter().copied().fold(0.0, f64::max);
    silence.to_the_end || (silence.kind == MakeUp::Lost && hidden >= grid.peak() && hidden > speed)
}

/// Speed above which a hidden peak is a loss of tracking and no dropout, at this step.
pub(super) fn loss_above(step: &StepView) -> f64 {
    let fastest = fastest_reported(step);
    let sure = |s: &SwipeView| {
        s.silences.iter().any(|silence| !silence.host && is_loss(s, silence, BEYOND * fastest))
    };
    if step.swipes().filter(|(_, s)| sure(s)).count() >= RECUR { ALIKE * fastest } else { BEYOND * fastest }
}

impl Detector for TrackingLoss {
    fn family(&self) -> Family {
        Family::TrackingLoss
    }

    fn required(&self, _: &StepView) -> bool {
        true
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        let Some(scale) = step.scale else { return };
        let above = loss_above(step);
        let clipped = swipes_with(Family::ReportCeiling, findings);
        let mut own = Vec::new();
        for (phase, swipe) in step.swipes().filter(|(p, s)| !clipped.contains(&key(p, s))) {
            for silence in swipe.silences.iter().filter(|s| !s.host && is_loss(swipe, s, above)) {
                // The speed at the instant of collapse; the mean of the flank before it lags behind a rising speed.
                let at =
                    swipe.grid.slots(silence).start.min(swipe.grid.expected_mm_s.len().saturating_sub(1));
                let flank = silence.speed_before / scale.counts_per_mm;
                let onset_m_s = swipe.grid.expected_mm_s.get(at).copied().unwrap_or(flank).max(flank) * 1e-3;
                let end =
                    if silence.to_the_end { swipe.grid.time(swipe.grid.along_mm.len()) } else { silence.end };
                let event = Event {
                    family: Family::TrackingLoss,
                    kind: "silent",
                    begin: silence.begin,
                    end,
                    size: swipe.grid.silent_mm(silence),
                    unit: "mm of travel",
                    cause: Cause::Sensor,
                };
                let evidence = json!({
                    "onset_m_s": round(onset_m_s, 3),
                    "expected_peak_m_s": round(swipe.grid.peak() * 1e-3, 3),
                    "reports_without_counts": silence.idle_reports,
                    "make_up_ratio": round(silence.make_up, 2),
                });
                own.push(in_swipe(step, phase, swipe, event, evidence));
            }
        }
        findings.extend(own);
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.travel.is_none() || step.scale.is_none() {
            return not_examined(step, Family::TrackingLoss, "no swipes, or the travel is not known");
        }
        let examined = step.fast_swipes().map(|(p, s)| key(p, s)).collect();
        let mut out = share(step, Family::TrackingLoss, findings, &examined, " at the fast pace");
        let onsets = findings.iter().filter(|f| f.family == Family::TrackingLoss);
        let onset =
            onsets.filter_map(|f| f.evidence.get("onset_m_s")?.as_f64()).fold(f64::INFINITY, f64::min);
        if onset.is_finite() {
            out.because += &format!(", silent from {onset:.2} m/s ({:.0} in/s)", onset / 0.0254);
        }
        out
    }
}
