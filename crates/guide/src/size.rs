//! What a plan can claim if all goes well, and what it costs: known before the first swipe.
//!
//! No statistics of its own: limits are those by which a recording is judged later ([`slipgauge_analysis::decision`],
//! [`slipgauge_analysis::lengths`], [`slipgauge_analysis::scale`]), asked about swipes that are yet to be made.
//!
//! - Share of bad swipes: exact one-sided 95 % limit of none, and of one, bad of n. Pooled over steps it is a claim about
//!   the device as it was used at all steps alike, not about the worst of them.
//! - Bursts at rest: 3.00/T, T being what is looked at (the hand lets go in the first 2 s, or third, of a phase).
//! - Smallest gain change: half width of the 95 % interval of fast over slow,
//!
//!   ```text
//!   U = t(0.975, df) · √(c² (2/n_slow − 1/n_slow²) + c² (2/n_fast − 1/n_fast²) + yaw²),   c = √2 σ / D
//!   ```
//!
//!   for a body that comes to rest at a stop with a standard deviation σ. A length has two stops, hence the √2, and
//!   neighbours share one, hence 2/n for 1/n. (The two slow swipes that tell the step count as a row of their own.)
//! - Resolution: the same scatter, the travel's own uncertainty, which no number of swipes removes, and arc without a
//!   straight edge.
//!
//! Cost: O(swipes of a step).

mod cost;

pub use cost::{Cost, READING, RESTING, STOPPING};

use crate::need::PEAK_OVER_MEAN;
use crate::{Need, TestPlan};
use serde::Serialize;
use slipgauge_analysis::decision::{rate_bound, share_bound, swipes_to_settle};
use slipgauge_analysis::families::{GainContrast, looked_at};
use slipgauge_analysis::lengths::Lengths;
use slipgauge_analysis::scale::{self, LEAST};
use slipgauge_analysis::stats::t_quantile;
use slipgauge_trace::session::Pace;
use slipgauge_trace::{Metres, MetresPerSecond};
use statrs::distribution::{ContinuousCDF, Normal};

/// Scatter of the place where the body comes to rest, in metres: a hard thin face, a soft one, and a hand that stops
/// where it likes (common practice, no source).
pub const STOPS: [Metres; 3] = [Metres(0.15e-3), Metres(0.5e-3), Metres(1e-3)];

/// Standard deviation of a hand's peak speeds about the one that it aims at, as a share of it (common practice, no
/// source).
pub const PEAK_SCATTER: f64 = 0.05;

/// Acceleration that arms reach, in m/s² (common practice, no source: 5 to 6 g).
pub const ARM: f64 = 60.0;

/// What is shown by swipes of which none, or one, is bad.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Share {
    /// Fast swipes.
    pub swipes: u32,
    /// If none is bad: at most this share is, at one-sided 95 %.
    pub clean: f64,
    /// If one is.
    pub one_bad: f64,
    /// Clean swipes that must follow a bad one to show as much as none bad would have; `None` above a thousand.
    pub more_after_one_bad: Option<u32>,
}

impl Share {
    /// Of so many swipes.
    pub fn of(swipes: u32) -> Share {
        let clean = share_bound(0, swipes);
        let more = if swipes > 0 { swipes_to_settle(1, swipes, clean) } else { None };
        Share { swipes, clean, one_bad: share_bound(1, swipes), more_after_one_bad: more }
    }
}

/// What stillness shows of bursts: drift that comes and goes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Still {
    /// Seconds that are looked at.
    pub seconds: f64,
    /// If there is none: at most so many a minute, at one-sided 95 %.
    pub per_minute: f64,
    /// And an hour.
    pub per_hour: f64,
}

impl Still {
    /// Of so many seconds that are looked at.
    fn of(seconds: f64) -> Option<Still> {
        let rate = rate_bound(0, seconds);
        (seconds > 0.0).then_some(Still { seconds, per_minute: 60.0 * rate, per_hour: 3600.0 * rate })
    }
}

/// What stops that scatter by so much leave of the claims about counts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct AtStops {
    /// Standard deviation of the place where the body comes to rest.
    #[serde(rename = "scatter_m")]
    pub scatter: Metres,
    /// Smallest change of gain between slow and fast that is told from none, relative; `None` with fewer than three
    /// swipes of either.
    pub gain: Option<f64>,
    /// Half width of the resolution's 95 % interval, relative; `None` without three slow swipes.
    pub resolution: Option<f64>,
}

/// The fast swipes against the speed that the user needs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Reach {
    /// Needed peak speed.
    #[serde(rename = "needed_m_s")]
    pub needed: MetresPerSecond,
    /// Peak speed that fast swipes are to reach.
    #[serde(rename = "aimed_m_s")]
    pub aimed: MetresPerSecond,
    /// Share of them that will, if the hand scatters by [`PEAK_SCATTER`].
    pub share: f64,
    /// What to aim at so that 95 % do.
    #[serde(rename = "aim_m_s")]
    pub aim: MetresPerSecond,
    /// Of those that will, at one step: only they count for a claim about the needed speed.
    pub counting: Share,
}

/// All of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Claims {
    /// Number of steps.
    pub steps: usize,
    /// Fast swipes of one step.
    pub per_step: Share,
    /// Of all steps together; `None` with one step.
    pub pooled: Option<Share>,
    /// Stillness at one step.
    pub still: Option<Still>,
    /// Over all steps; `None` with one step.
    pub still_pooled: Option<Still>,
    /// Counts, by how well the stops hold; of one step.
    pub at_stops: Vec<AtStops>,
    /// Of the resolution's relative standard uncertainty, the part that the travel leaves.
    pub travel: f64,
    /// And the part that arc and yaw leave: none along a straight edge.
    pub arc: f64,
    /// The fast swipes against the need.
    pub reach: Option<Reach>,
    /// Largest acceleration of a fast swipe, in m/s², if it is as smooth as can be; `None` without fast swipes.
    pub acceleration_m_s2: Option<f64>,
    /// Swipes and minutes.
    pub cost: Cost,
}

/// What a plan can claim and what it costs.
pub fn claims(plan: &TestPlan) -> Claims {
    let steps = plan.steps.len().max(1);
    let many = |n: u32| n.saturating_mul(u32::try_from(steps).unwrap_or(u32::MAX));
    let fast = plan.paced(Pace::Fast).filter(|fast| fast.swipes > 0);
    let swipes = fast.map_or(0, |fast| fast.swipes);
    let seconds = looked_at(plan.still.seconds());
    let travel = plan.travel.metres();
    Claims {
        steps,
        per_step: Share::of(swipes),
        pooled: (steps > 1).then(|| Share::of(many(swipes))),
        still: Still::of(seconds),
        still_pooled: if steps > 1 { Still::of(seconds * steps as f64) } else { None },
        at_stops: STOPS.map(|scatter| at_stops(plan, scatter)).into(),
        travel: Metres::from_micrometres(plan.travel.uncertainty_um).0 / travel.0,
        arc: scale::arc(plan.straight_edge),
        reach: plan.need.zip(fast).map(|(need, fast)| reach(need, fast.peak, fast.swipes)),
        acceleration_m_s2: fast.map(|fast| acceleration(fast.peak, travel)),
        cost: cost::cost(plan),
    }
}

/// Largest acceleration of a minimum-jerk swipe with this peak speed over this travel, in m/s²: 10/√3 · D/T² with a peak
/// of 1.875 D/T (Flash & Hogan 1985).
pub fn acceleration(peak: MetresPerSecond, travel: Metres) -> f64 {
    let mean = peak.0 / PEAK_OVER_MEAN;
    10.0 / 3f64.sqrt() * mean * mean / travel.0
}

fn reach(need: Need, aimed: MetresPerSecond, swipes: u32) -> Reach {
    let needed = need.peak();
    let normal = Normal::standard();
    let share = 1.0 - normal.cdf((needed.0 / aimed.0 - 1.0) / PEAK_SCATTER);
    let aim = needed.0 / (1.0 - normal.inverse_cdf(0.95) * PEAK_SCATTER);
    let counting = Share::of((share * f64::from(swipes)).floor() as u32);
    Reach { needed, aimed, share, aim: MetresPerSecond(aim), counting }
}

/// What stops that scatter by so much leave of gain and resolution at one step.
pub fn at_stops(plan: &TestPlan, scatter: Metres) -> AtStops {
    let phases = plan.phases(1);
    let rows = phases.iter().filter_map(|phase| Some((phase.pace?, phase.swipes?)));
    let rows: Vec<(Pace, u32)> = rows.collect();
    let travel = plan.travel.metres();
    // Lengths in millimetres, as a device of one count to the millimetre would have them.
    let spread = std::f64::consts::SQRT_2 * scatter.millimetres();
    let lengths = Lengths::planned(&rows, travel.millimetres(), spread);
    let slow = lengths.mean(|pace| pace == Some(Pace::Slow)).filter(|mean| mean.n >= LEAST);
    let resolution = slow.map(|mean| {
        let told = (travel, Metres::from_micrometres(plan.travel.uncertainty_um));
        let found = scale::over(told, (mean, lengths.df), Some(Pace::Slow), plan.straight_edge);
        t_quantile(0.975, found.df) * found.uncertainty / found.counts_per_mm
    });
    let gain = GainContrast::of(lengths, plan.straight_edge).map(|contrast| contrast.half_width());
    AtStops { scatter, gain, resolution }
}

#[cfg(test)]
mod tests;
