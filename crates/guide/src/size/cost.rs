//! Swipes and time.
//!
//! A swipe lasts as long as a smooth movement of that peak speed does, and the hand rests at each stop. On top: reading
//! what is to be done at each phase, and a rest after every so many fast swipes. A plan of the time, not a promise.

use crate::TestPlan;
use crate::plan::REST_AFTER;
use serde::Serialize;
use slipgauge_trace::Nanos;
use slipgauge_trace::session::Pace;

/// Rest at a stop between two swipes; reading and getting ready for a phase; and a rest of the hand after
/// [`REST_AFTER`] fast swipes (common practice, no source).
pub const STOPPING: Nanos = Nanos(500_000_000);
/// See [`STOPPING`].
pub const READING: Nanos = Nanos(8_000_000_000);
/// See [`STOPPING`].
pub const RESTING: Nanos = Nanos(60_000_000_000);

/// What a plan costs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Cost {
    /// Swipes of one step, with those that tell which step is active.
    pub swipes_per_step: u32,
    /// Swipes in all.
    pub swipes: u32,
    /// Rests of the hand in all.
    pub rests: u32,
    /// Minutes of one step, without the rests that are longer than a reading.
    pub minutes_per_step: f64,
    /// Minutes in all.
    pub minutes: f64,
}

pub(super) fn cost(plan: &TestPlan) -> Cost {
    let phases = plan.phases(1);
    let swipes = phases.iter().filter_map(|phase| phase.swipes).fold(0, u32::saturating_add);
    let seconds = phases.iter().map(|phase| {
        let peak = phase.pace.and_then(|pace| plan.paced(pace)).map(|paced| paced.peak);
        let each = peak.map_or(0.0, |peak| (plan.swipe_time(peak) + STOPPING).seconds());
        let still = if phase.pace.is_none() { plan.still.seconds() } else { 0.0 };
        READING.seconds() + still + f64::from(phase.swipes.unwrap_or(0)) * each
    });
    let of_step: f64 = seconds.sum();
    let steps = u32::try_from(plan.steps.len().max(1)).unwrap_or(u32::MAX);
    let fast = plan.paced(Pace::Fast).map_or(0, |paced| paced.swipes).saturating_mul(steps);
    // After the last one there is nothing to rest for.
    let rests = fast.saturating_sub(1) / REST_AFTER;
    Cost {
        swipes_per_step: swipes,
        swipes: swipes.saturating_mul(steps),
        rests,
        minutes_per_step: of_step / 60.0,
        minutes: (f64::from(steps) * of_step + f64::from(rests) * RESTING.seconds()) / 60.0,
    }
}
