//! Swipes whose way the sensor did not see, whatever they show besides.
//!
//! One event is one finding: a swipe in which false motion was told and the counts then ended is a spin-out's, and tracking loss
//! does not have it. But a swipe that counts less than half of its way by true motion has lost track, by what the word means:
//! what false motion ran backwards is not its way, and given back to it ([`counted`]). So the share of fast swipes with a
//! tracking loss told, or with so much unseen beside false motion, is held against the tolerance of tracking loss alone.
//!
//! - Half: false motion takes the place of the hand's while it lasts, and some of the way is always lost by it. From half on it
//!   is the lesser part of what the swipe shows.
//! - Not where reports or counts are known to be missing otherwise (dropout, ceiling, wake-up, this computer, another
//!   resolution): nothing then says that it was the sensor.
//!
//! Smallest found at 20 %: 12 of 15 fast swipes, 18 of 30. Cost: O(swipes + findings).

use crate::families::{key, swipes_with};
use crate::step::{StepView, SwipeView};
use crate::verdict::{Family, Finding};
use std::collections::BTreeSet;

/// Share of the travel.
const HALF: f64 = 0.5;

/// Fast swipes that have lost track, by a finding or by their length.
pub(super) fn swipes(step: &StepView, findings: &[Finding]) -> BTreeSet<(u32, u32)> {
    let told = swipes_with(Family::TrackingLoss, findings);
    let spun = swipes_with(Family::SpinOut, findings);
    let otherwise: BTreeSet<(u32, u32)> = [Family::Dropout, Family::ReportCeiling, Family::WakeUp]
        .into_iter()
        .flat_map(|family| swipes_with(family, findings))
        .collect();
    let unseen = |at: (u32, u32), swipe: &SwipeView| {
        let other_step = step.changes.iter().any(|run| run.touches(at));
        let sensor = spun.contains(&at) && !otherwise.contains(&at) && !swipe.disturbed && !other_step;
        sensor && counted(swipe) < HALF * swipe.swipe.one_travel
    };
    let fast = step.fast_swipes().map(|(phase, swipe)| (key(phase, swipe), swipe));
    fast.filter(|&(at, swipe)| told.contains(&at) || unseen(at, swipe)).map(|(at, _)| at).collect()
}

/// Counts of a swipe without those that false motion took from them. What it added is not known apart from the hand's.
fn counted(swipe: &SwipeView) -> f64 {
    let backwards = swipe.stretches.iter().filter(|s| !s.wrong.is_loss()).map(|s| s.counts.0.min(0.0));
    swipe.swipe.along - backwards.sum::<f64>()
}
