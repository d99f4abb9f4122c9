//! Whether losses come by the clock, as a link's do, or at faster swipes alone.
//!
//! A link knows no speed: at one rate it loses as often in a second of slow motion as in one of fast. Where n losses came in
//! the time F of some paces in which one of their (median) length would show, and none in such a time S of the slower ones, all
//! n of a steady link fall into the former with chance (F / (F + S))ⁿ (each falls anywhere in F + S alike). Below [`CHANCE`]
//! the verdict says so, and what settles it. It is no proof: paces are swiped one after another, and a link may get worse in
//! between. So where fast swipes alone show them the cause stays the likelier one; where medium ones do as well and slow ones
//! do not, it is unknown. Cost: O(slots).

use super::{CABLE, LOST};
use crate::silence::{CELL, LEAST_MM, due_mm_s, due_within};
use crate::stats::median;
use crate::step::StepView;
use crate::verdict::{Family, Finding};
use slipgauge_trace::session::Pace;

/// Chance below which losses are said to keep to a pace.
const CHANCE: f64 = 1e-3;
/// Speed over the least at which one shows, so that none was overlooked.
const SURELY: f64 = 2.0;

/// Losses that keep to the faster swipes.
pub(super) struct Kept {
    /// How many.
    count: usize,
    /// Whether medium swipes show them as well as fast ones.
    pub medium: bool,
    /// Seconds of slower motion without one.
    without_s: f64,
    /// How many were due in that.
    due: f64,
}

/// Losses of a step that is on no cable, if they keep to the faster swipes.
pub(super) fn kept(step: &StepView, findings: &[Finding]) -> Option<Kept> {
    if step.link == Some(CABLE) {
        return None;
    }
    let own: Vec<&Finding> =
        findings.iter().filter(|f| f.family == Family::Dropout && f.kind == LOST).collect();
    let lengths: Vec<f64> = own.iter().map(|f| f.end_ns.saturating_sub(f.begin_ns) as f64).collect();
    let length = median(&lengths)?;
    let at = |pace: Pace| own.iter().filter(|f| paced(step, f) == Some(pace)).count();
    let shows = |pace: Pace| seconds(step, pace, length);
    let (slow, medium, fast) = (shows(Pace::Slow), shows(Pace::Medium), shows(Pace::Fast));
    let also = at(Pace::Medium) > 0;
    let (with, without_s) = if also { (medium + fast, slow) } else { (fast, slow + medium) };
    let count = at(Pace::Medium) + at(Pace::Fast);
    let chance = (with / (with + without_s)).powf(count as f64);
    // Where none would have shown for certain no rate is known.
    let kept = count == own.len() && at(Pace::Fast) > 0 && with > 0.0 && chance < CHANCE;
    kept.then(|| Kept { count, medium: also, without_s, due: count as f64 * without_s / with })
}

impl Kept {
    /// For the reason.
    pub fn words(&self) -> String {
        let which = if self.medium { "medium and fast" } else { "fast" };
        format!(
            "; all {} lost ones came in {which} swipes, and none in {:.1} s of slower motion, which would have shown {:.0} at that \
             rate: a link knows no speed, so it got worse in between, or the sensor lost them; slow swipes once more, right \
             after fast ones, tell which",
            self.count, self.without_s, self.due
        )
    }
}

/// The pace of a finding's phase.
fn paced(step: &StepView, finding: &Finding) -> Option<Pace> {
    step.phases.iter().find(|p| p.span.number == finding.phase).and_then(|p| p.span.phase.pace)
}

/// Seconds of a pace's motion in which a loss of a length, nanoseconds, would show.
fn seconds(step: &StepView, pace: Pace, length: f64) -> f64 {
    let Some(scale) = step.scale else { return 0.0 };
    let own = step.swipes().filter(|(p, s)| p.span.phase.pace == Some(pace) && !s.disturbed);
    own.map(|(_, s)| {
        let due = due_mm_s(scale.counts_per_mm, due_within(length, s.grid.slot));
        let least = SURELY * due.max(LEAST_MM / (1e-9 * length.max(CELL)));
        let shows = s.grid.expected_mm_s.iter().filter(|v| **v >= least).count();
        1e-9 * shows as f64 * s.grid.slot
    })
    .sum()
}
