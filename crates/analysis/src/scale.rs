//! The effective resolution with its uncertainty.
//!
//! ```text
//! R = (mean of out + mean of back) / 2 / D over the clean swipes of the step's basis pace
//! u²(R) = u²(mean)/D²  +  (R u_D / D)²  +  (R · a/√3)²
//! ```
//!
//! u(mean): what the scatter of the stops leaves, see [`crate::lengths`]. u_D: standard uncertainty of the travel, common
//! to all swipes; no number of them removes it. a: arc and yaw without a straight edge, the half width of a rectangular
//! distribution. Combined by JCGM 100:2008; degrees of freedom by Welch and Satterthwaite.
//!
//! The basis is the slow pace. Where slow swipes cannot be trusted ([`crate::baseline`]), or fewer than three of them are
//! clean, it is the next faster one, and that is said. Slow swipes that clip, or that lost counts and have more than faster ones
//! all the same, give a lower bound and no value.

use crate::baseline::Basis;
use crate::families::{key, spoiled_only};
use crate::lengths::{Lengths, Mean};
use crate::stats::{effective_df, t_quantile};
use crate::step::StepView;
use crate::verdict::{Family, Finding, Quantity, StepRatio, StepVerdict};
use slipgauge_trace::Metres;
use slipgauge_trace::session::{Pace, Plan, Step};

/// Arc and yaw without a straight edge, relative: ±10 to 15 degrees of yaw cost 0.5 to 1.1 %.
const ARC: f64 = 0.01;
/// Clean swipes needed.
pub const LEAST: usize = 3;

/// Effective resolution of a step.
#[derive(Clone, Copy, Debug)]
pub struct Resolution {
    /// Counts per millimetre of travel.
    pub counts_per_mm: f64,
    /// Combined standard uncertainty, counts per millimetre.
    pub uncertainty: f64,
    /// The part of it that more swipes make smaller.
    pub placing: f64,
    /// Effective degrees of freedom.
    pub df: f64,
    /// Swipes that it rests on.
    pub swipes: usize,
    /// Their pace.
    pub pace: Option<Pace>,
    /// True if the swipes clip, or lose counts else, so that the device has more counts to the millimetre than this.
    pub at_least: bool,
}

impl Resolution {
    /// Value with its 95 % interval in counts per inch; free above for a bound.
    pub fn per_inch(&self) -> Quantity {
        let half = t_quantile(0.975, self.df) * self.uncertainty;
        let both = Quantity::around(self.counts_per_mm, half).scaled(25.4);
        Quantity { high: both.high.filter(|_| !self.at_least), ..both }
    }
}

/// Works it out; `None` without travel, or with fewer than three clean swipes at every pace.
pub fn effective(step: &StepView, lengths: &Lengths, findings: &[Finding]) -> Option<Resolution> {
    step.travel?;
    let at = |pace: Pace| Some((lengths.mean(|p| p == Some(pace)).filter(|m| m.n >= LEAST)?, Some(pace)));
    let trusted = step.scale.is_none_or(|s| s.basis != Basis::OtherPace);
    if let Some((mean, pace)) = at(Pace::Slow).filter(|_| trusted) {
        return combined(step, lengths, mean, pace);
    }
    if let Some(bound) = clipped(step, findings).filter(|_| trusted) {
        let found = combined(step, lengths, bound, Some(Pace::Slow))?;
        return Some(Resolution { at_least: true, ..found });
    }
    let (mean, pace) = at(Pace::Medium)
        .or_else(|| at(Pace::Fast))
        .or_else(|| Some((lengths.mean(|p| p.is_none()).filter(|m| m.n >= LEAST)?, None)))?;
    // Slow ones that lost counts and have more all the same: the others have lost some that do not show. (Added after 791 (755 to 827)
    // counts/inch had been told of a device of 1005, by fast swipes beside others that lost track.)
    match losing(step, findings).filter(|bound| trusted && bound.counts > mean.counts + mean.uncertainty) {
        Some(bound) => {
            let found = combined(step, lengths, bound, Some(Pace::Slow))?;
            Some(Resolution { at_least: true, ..found })
        }
        None => combined(step, lengths, mean, pace),
    }
}

fn combined(step: &StepView, lengths: &Lengths, mean: Mean, pace: Option<Pace>) -> Option<Resolution> {
    let travel = (step.travel?, step.plan.map_or(Metres(0.0), Plan::travel_uncertainty));
    Some(over(travel, (mean, lengths.df), pace, straight_edge(step.plan)))
}

/// The resolution that a mean length with its degrees of freedom gives over a travel with its standard uncertainty.
pub fn over(
    travel: (Metres, Metres),
    mean: (Mean, f64),
    pace: Option<Pace>,
    straight_edge: bool,
) -> Resolution {
    let travel_mm = travel.0.millimetres();
    let (mean, free) = mean;
    let counts_per_mm = mean.counts / travel_mm;
    let placing = mean.uncertainty / travel_mm;
    let told = counts_per_mm * travel.1.millimetres() / travel_mm;
    let arc = counts_per_mm * arc(straight_edge);
    let uncertainty = placing.hypot(told).hypot(arc);
    let df = effective_df(&[(placing, free), (told, f64::INFINITY), (arc, f64::INFINITY)]);
    Resolution { counts_per_mm, uncertainty, placing, df, swipes: mean.n, pace, at_least: false }
}

/// Standard uncertainty that arc and yaw leave in a length, relative; none along a straight edge.
pub fn arc(straight_edge: bool) -> f64 {
    if straight_edge { 0.0 } else { ARC / 3f64.sqrt() }
}

/// The slow swipes that clip and have no other finding: what they counted is the least that there was to count.
fn clipped(step: &StepView, findings: &[Finding]) -> Option<Mean> {
    slow_spoiled_by(step, findings, |family| family == Family::ReportCeiling)
}

/// Likewise of all that takes counts.
fn losing(step: &StepView, findings: &[Finding]) -> Option<Mean> {
    use Family::{Dropout, ReportCeiling, TrackingLoss, WakeUp};
    slow_spoiled_by(step, findings, |family| {
        matches!(family, Dropout | ReportCeiling | TrackingLoss | WakeUp)
    })
}

fn slow_spoiled_by(step: &StepView, findings: &[Finding], by: impl Fn(Family) -> bool) -> Option<Mean> {
    let spoiled = spoiled_only(step, findings, |f| by(f.family));
    let here =
        step.swipes().filter(|(p, s)| p.span.phase.pace == Some(Pace::Slow) && spoiled.contains(&key(p, s)));
    let counts: Vec<f64> = here.map(|(_, s)| s.swipe.along).collect();
    Mean::of_all(&counts).filter(|mean| mean.n >= LEAST)
}

/// Adds each step's ratios to the others: mean counts of the same pace for the same travel, so that the travel's own
/// uncertainty, and an arc that all swipes share, drop out. Bounds are of the scatter of the stops alone.
/// `lengths` go with the views.
pub fn ratios(views: &[StepView], lengths: &[Option<Lengths>], steps: &mut [StepVerdict]) {
    let known = views.iter().zip(lengths).filter_map(|(view, l)| Some((view, l.as_ref()?)));
    let known: Vec<(&StepView, &Lengths)> = known.collect();
    let mean = |l: &Lengths, pace| l.mean(|p| p == Some(pace)).filter(|m| m.n >= LEAST && m.counts > 0.0);
    for (view, lengths) in &known {
        let Some(step) = steps.iter_mut().find(|s| s.step == view.id) else { continue };
        for (other, theirs) in known.iter().filter(|(other, _)| other.id != view.id) {
            let both = |pace| mean(lengths, pace).zip(mean(theirs, pace));
            let Some((a, b)) = both(Pace::Slow).or_else(|| both(Pace::Medium)) else { continue };
            let ratio = a.counts / b.counts;
            let parts = [(a.uncertainty / a.counts, lengths.df), (b.uncertainty / b.counts, theirs.df)];
            let half = t_quantile(0.975, effective_df(&parts)) * parts[0].0.hypot(parts[1].0) * ratio;
            let nominal = |v: &StepView| v.planned.and_then(Step::nominal).map(|n| n.per_inch());
            let nominal = nominal(view).zip(nominal(other)).map(|(a, b)| a / b);
            step.ratios.push(StepRatio { to_step: other.id, ratio: Quantity::around(ratio, half), nominal });
        }
    }
}

/// True if the plan says that the swipes run along a straight edge.
pub fn straight_edge(plan: Option<&Plan>) -> bool {
    plan.and_then(|p| p.straight_edge).unwrap_or(false)
}

/// A pace for a person.
pub fn words(pace: Option<Pace>) -> &'static str {
    match pace {
        Some(Pace::Slow) => "slow",
        Some(Pace::Medium) => "medium",
        Some(Pace::Fast) => "fast",
        Some(Pace::Unknown) | None => "unpaced",
    }
}
