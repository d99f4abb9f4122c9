//! Tracking limit: the speed above which the sensor stops seeing motion.
//!
//! A sensor's limit is drawn anew for each swipe, lognormal about a median, and the median is what is stated. Each
//! swipe with a silent [tracking loss](crate::families) tells its own limit, the [speed at the collapse](onset); each
//! clean swipe tells that its limit lies above its peak. From both comes a [median with its interval](censored).
//!
//! A *value with an interval* is given only where the model holds; else a *bound* (one or both sides, made without the
//! model), and where that cannot be had either, nothing:
//!
//! | needed for a value | else |
//! |---|---|
//! | [`LEAST`] failing swipes | bounds |
//! | a report interval of [`FINEST`] at most: the speed changes by 5 % of a fast swipe's peak in 1 ms | bounds |
//! | counts that do not sag before the loss | from below: the hand was faster than its counts |
//! | a report that holds [`ROOM`] × the limit, and no clip | from below |
//! | swipes that lose track do not go on faster than where they lost it | from below, see next |
//!
//! *Acceleration.* A loss by acceleration begins at about one acceleration and at any speed; over swipes of one pace
//! the two go together, and their scatters do not tell them apart. What does: a swipe that is seen again, later, at
//! well above the speed where it was lost. A speed limit forbids that, whatever its scatter between swipes. If half of
//! the failing swipes show it, the limit is not one of speed, and the fastest that each swipe was seen at bounds it.
//! (That it is acceleration is not said, nor how much: a shadow on the surface, or a
//! limit of the turning rate, looks the same.)
//!
//! The common uncertainty of the scale (travel, yaw) is added to the interval in quadrature.
//! Assumes that the limit does not depend on the direction. Cost: O(swipes²) comparisons, O(reports before a collapse).

pub mod censored;
mod onset;

use crate::families::{key, spoiled};
use crate::scale;
use crate::stats::{mean_sd, t_quantile};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Family, Finding, Quantity};
use censored::Told;
use onset::Onset;

/// Failing swipes for a value. Fewer leave the scatter of the limit as good as unknown.
const LEAST: usize = 5;
/// Longest report interval for a value, nanoseconds: 1 ms and the tolerance of a clock.
const FINEST: f64 = 1.05e6;
/// A report must hold this multiple of the limit.
const ROOM: f64 = 1.05;
/// Counts this much short of what the flank foretells are a sag, if the mean over swipes is sure to lie below 1.
const SAG: f64 = 0.02;
/// A swipe that is seen again this much faster than where it was lost was not lost by speed: three times the scatter
/// that the fits of both speeds have.
const FASTER: f64 = 1.1;

/// What is known of the limit at this step, in m/s.
pub fn estimate(step: &StepView, findings: &[Finding]) -> Option<Quantity> {
    let frame = step.frame?;
    let known = scale::effective(step, findings);
    let per_m = 1e3 * known.as_ref().map(|r| r.counts_per_mm).or(step.scale.map(|s| s.counts_per_mm))?;
    // The uncertainty of the scale alone; unknown where it rests on the nominal resolution.
    let relative = known.as_ref().map_or(UNKNOWN_SCALE, |r| r.uncertainty / r.counts_per_mm);
    let spoiled = spoiled(findings);
    let (mut told, mut onsets, mut thinning) = (Vec::new(), Vec::new(), false);
    for (phase, swipe) in step.swipes() {
        let peak = swipe.grid.peak() * step.scale?.counts_per_mm / per_m;
        let Some(finding) = first_loss(phase, swipe, findings) else {
            if !spoiled.contains(&key(phase, swipe)) && peak > 0.0 {
                told.push(Told::Above(peak));
            }
            continue;
        };
        thinning |= finding.kind != "silent";
        let samples = phase.series.samples.get(swipe.swipe.rows.clone()).unwrap_or_default();
        let counted = samples.partition_point(|s| s.t <= finding.begin_ns);
        let Some(onset) = onset::find(&samples[..counted], frame, step.slot()) else { continue };
        let again = onset::fastest(&samples[counted..], frame, step.slot());
        onsets.push(Failing { onset, peak: peak * per_m, again });
    }
    let clipped = findings.iter().any(|f| f.family == Family::ReportCeiling && f.step == step.id);
    let median_onset = crate::stats::median(&onsets.iter().map(Failing::at).collect::<Vec<_>>());
    let narrow = median_onset.is_some_and(|v| ceiling(step).is_some_and(|top| top < ROOM * v));
    let not_speed = 2 * onsets.iter().filter(|f| f.again > FASTER * f.at()).count() > onsets.len();
    if not_speed {
        told.extend(onsets.iter().map(|f| Told::Above(f.again.max(f.onset.low) / per_m)));
        return bound((censored::bounds(&told).0, None), relative);
    }
    told.extend(onsets.iter().map(|f| f.told(per_m)));
    let from_below = thinning || clipped || narrow || sags(&onsets);
    if from_below {
        return bound((censored::bounds(&told).0, None), relative);
    }
    let exact = onsets.iter().filter(|f| f.onset.at.is_some()).count();
    if exact < LEAST || exact < onsets.len() || step.interval.is_none_or(|q| q.value > FINEST) {
        return bound(censored::bounds(&told), relative);
    }
    let median = censored::median(&told)?;
    let common = 1.96 * relative * median.value;
    Some(Quantity {
        value: median.value,
        low: Some(median.value - (median.value - median.low).hypot(common)),
        high: Some(median.value + (median.high - median.value).hypot(common)),
    })
}

/// Fastest speed along the swipes that a report can hold, counts per second.
fn ceiling(step: &StepView) -> Option<f64> {
    let frame = step.frame?;
    let holds = |index: usize, part: f64| {
        let limits =
            step.trace.formats.iter().filter_map(|f| Some((f.limits?[index], f.field_range?[index])));
        let highest = limits.map(|((_, high), (_, field))| match high {
            ..=0 => field,
            high => i64::from(high).min(field),
        });
        Some(highest.max()? as f64 / part.abs().max(1e-9))
    };
    let top = holds(0, frame.cos)?.min(holds(1, frame.sin)?);
    Some(top / (step.slot() * 1e-9))
}

/// Relative standard uncertainty of a scale that no clean slow swipes confirm: makers' steps are off by several per
/// cent (common practice, no source), and the first look at the travel takes the longest of the swipes.
const UNKNOWN_SCALE: f64 = 0.03;

/// A bound as a quantity: what is known on one side is the value as well.
fn bound((low, high): (Option<f64>, Option<f64>), relative: f64) -> Option<Quantity> {
    let low = low.map(|v| v * (1.0 - 1.645 * relative));
    let high = high.map(|v| v * (1.0 + 1.645 * relative));
    let value = match (low, high) {
        (Some(low), Some(high)) => 0.5 * (low + high),
        (one, other) => one.or(other)?,
    };
    value.is_finite().then_some(Quantity { value, low, high })
}

/// A swipe that lost track; speeds in counts per second.
struct Failing {
    onset: Onset,
    /// Highest speed expected.
    peak: f64,
    /// Highest speed seen after the loss.
    again: f64,
}

impl Failing {
    fn at(&self) -> f64 {
        self.onset.at.unwrap_or(self.onset.low)
    }

    fn told(&self, per_m: f64) -> Told {
        let at = self.at();
        let low = self.onset.low.min(at);
        let high = self.onset.high.max(at);
        Told::Reached { low: low / per_m, at: at / per_m, high: high / per_m, peak: self.peak / per_m }
    }
}

/// The first tracking loss in a swipe.
fn first_loss<'a>(phase: &PhaseView, swipe: &SwipeView, findings: &'a [Finding]) -> Option<&'a Finding> {
    let own = findings.iter().filter(|f| f.family == Family::TrackingLoss);
    let here = own.filter(|f| (f.phase, f.swipe) == (phase.span.number, Some(swipe.swipe.number)));
    here.min_by_key(|f| f.begin_ns)
}

/// True if the counts before the losses fall short of their own flanks, over swipes.
fn sags(failing: &[Failing]) -> bool {
    let ratios: Vec<f64> = failing.iter().filter_map(|f| f.onset.sag).collect();
    let Some((mean, sd)) = mean_sd(&ratios) else { return false };
    let n = ratios.len() as f64;
    mean < 1.0 - SAG && mean + t_quantile(0.99, n - 1.0) * sd / n.sqrt() < 1.0
}
