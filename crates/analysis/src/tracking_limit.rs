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
//! | counts that do not sag before the loss, by their [flank](onset) and what the [loss hides](hole) | from below: the hand was faster than its counts |
//! | a report that holds [`ROOM`] × the limit, and no clip | from below |
//! | swipes that lose track are not seen faster elsewhere than where they lost it | from below, see next |
//!
//! *Counted up to.* Of a sensor that counts no faster than its limit ([`crate::false_motion::top_speed`]) each level is the
//! limit of its swipe, seen for long, at any report interval: [`LEAST`] of them, and more than there are other losses, give a value.
//! It is in the millimetres of the effective resolution, as all else here. (First it was in those of the finding, which are of the
//! first look at the travel, the longest swipes: where the hand's places scattered it came out low by up to one per cent, with
//! an interval of half of that.)
//!
//! *In some swipes.* A limit that some swipes are seen to go beyond clean has no one median: where it comes its median
//! lies below the sign test's bound of where it was met, or the fastest of these where they are few, which is told as a bound if no clean
//! swipe was faster, and else as the reason for none.
//!
//! *Acceleration.* A loss by acceleration begins at about one acceleration and at any speed; over swipes of one pace
//! the two go together, and their scatters do not tell them apart. What does: a swipe that is seen, before or after, at
//! well above the speed where it was lost (it is lost while the hand brakes, too). A speed limit forbids that, whatever
//! its scatter between swipes. If half of the failing swipes show it, or the hand [brakes] where they begin, the limit is not one of speed, and the fastest
//! that each swipe was seen at bounds it. (That it is acceleration is not said, nor how much: a spot on the surface
//! looks the same.)
//!
//! (First written without the rule on acceleration's two sides and with a narrower look for sag. Both, with [`FASTER`],
//! [`SHORT`] and [`GOES_ON`], were set after twenty simulated sessions of each kind had been seen. The flank alone did not see a
//! sag that takes more than some 10 ms: of limits at 1 to 1.8 m/s, counts less by 15 % over the last 15 % of speed, one in five
//! was told as a value, or a bound from above, 9 to 17 % too low. A sag by 5 % and less is still not seen.)
//!
//! The common uncertainty of the scale (travel, yaw) is added to the interval in quadrature. All of this takes counts at their
//! word; what a [gain] that is seen to change with speed makes of it, and what may be [claimed](claim) beside the rest of
//! the verdict, comes last.
//! Where one direction alone [shows losses](one_way), the limit is that direction's: clean swipes of the other say nothing of
//! it. (Added after limits of 1.6 m/s had been told as 2.8, with intervals from 2.4 on, of sensors that counted no faster one
//! way.) Cost: O(swipes²) comparisons, O(reports before a collapse).

pub mod censored;
mod claim;
mod gain;
mod hole;
pub(crate) mod onset;

use crate::clip::{self, Axis};
use crate::families::{IN_SOME, is_clean, one_way, spoiled};
use crate::lengths::Lengths;
use crate::scale::Resolution;
use crate::series::{Frame, Sample};
use crate::silence::Silence;
use crate::stats::{mean_sd, proportion_low, t_quantile};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Family, Finding, Quantity};
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
/// A swipe that is seen this much faster than where it was lost was not lost by speed: five times the 1 % that both
/// speeds are known to.
const FASTER: f64 = 1.05;

/// What is known of the limit at this step, in m/s, or why nothing is; `known` is its effective resolution. `None` where
/// swipes do not tell.
pub fn estimate(
    step: &StepView,
    findings: &[Finding],
    lengths: Option<&Lengths>,
    known: Option<&Resolution>,
) -> Option<Result<Quantity, String>> {
    let counted = by_counts(step, findings, known)?;
    let change = gain::Change::of(step, findings, lengths, known, counted.value);
    Some(claim::of(step, findings, counted, change))
}

/// What counts tell of it.
fn by_counts(step: &StepView, findings: &[Finding], known: Option<&Resolution>) -> Option<Quantity> {
    let per_m = 1e3 * known.map(|r| r.counts_per_mm).or(step.scale.map(|s| s.counts_per_mm))?;
    // The uncertainty of the scale alone; unknown where it rests on the nominal resolution.
    let relative = known.map_or(UNKNOWN_SCALE, |r| r.uncertainty / r.counts_per_mm);
    // Grids are in the millimetres of the first look at the travel.
    let m_of_mm = step.scale?.counts_per_mm / per_m;
    let spoiled = spoiled(step, findings);
    let (mut told, mut failing, mut hidden) = (Vec::new(), Vec::new(), false);
    let mut levels = Vec::new();
    let one_way = one_way::of_losses(step, findings);
    let own = |swipe: &SwipeView| one_way.is_none_or(|direction| swipe.swipe.direction == direction);
    for (phase, swipe) in step.swipes().filter(|(_, s)| own(s)) {
        let Some(frame) = phase.frame else { continue };
        let samples = phase.series.samples.get(swipe.swipe.rows.clone()).unwrap_or_default();
        let Some(finding) = first_loss(phase, swipe, findings) else {
            let short = swipe.swipe.one_travel - swipe.swipe.along > SHORT * swipe.swipe.one_travel;
            if !short && is_clean(&spoiled, phase, swipe) {
                // Where reports are too uneven for the first, the second alone.
                let counted = Some(onset::fastest(samples, frame, step.slot()) / per_m).filter(|v| *v > 0.0);
                let seen = swipe.grid.claim.seen_mm_s * m_of_mm;
                told.push(Told::Above(counted.unwrap_or(seen).min(seen)));
            }
            continue;
        };
        if let Some(level) = level(swipe, finding) {
            let [level, peak] = [level, swipe.grid.peak()].map(|v| v * m_of_mm);
            levels.push(Told::Reached { low: level, at: level, high: level, peak: peak.max(level) });
            continue;
        }
        // Of a swipe in which false motion came first no speed is known.
        if swipe.stretches.iter().any(|s| !s.wrong.is_loss() && s.begin < finding.begin_ns) {
            continue;
        }
        let (before, after) = samples.split_at(samples.partition_point(|s| s.t <= finding.begin_ns));
        let Some(onset) = onset::find(before, frame, step.slot()) else { continue };
        let elsewhere = [before, after].map(|part| onset::fastest(part, frame, step.slot()));
        let peak = swipe.grid.peak() * step.scale?.counts_per_mm;
        let elsewhere = elsewhere[0].max(elsewhere[1]);
        let lacks =
            known.and_then(|r| Some(r.counts_per_mm * step.travel?.millimetres() - swipe.swipe.along));
        let way = lacks.filter(|_| alone(swipe, finding));
        let way = way.and_then(|lacks| hole::way(&onset, after, frame, step.slot(), lacks));
        let one = Failing { onset, peak, elsewhere, way };
        hidden |=
            finding.kind != "silent" || one.thins_out(after, frame, finding) || fills_report(step, before);
        failing.push(one);
    }
    if levels.len() >= LEAST && levels.len() > failing.len() && !in_some_swipes(step, findings) {
        // The others met it, too, at a speed that they show less well.
        levels.extend(told);
        return Some(with_scale(censored::median(&levels)?, relative));
    }
    hidden |= !levels.is_empty();
    hidden |= findings.iter().any(|f| f.family == Family::ReportCeiling && f.step == step.id);
    let onset = crate::stats::median(&failing.iter().map(Failing::at).collect::<Vec<_>>());
    hidden |= onset.is_some_and(|v| ceiling(step).is_some_and(|top| top < ROOM * v));
    let sags = if failing.is_empty() { Some(false) } else { sags(&failing) };
    if in_some_swipes(step, findings) && sags != Some(true) {
        // Clean swipes beyond say nothing of a limit that comes and goes: it lies no higher than where it was met. (Where counts
        // sag they do not tell which swipe was beyond.)
        // Two reports alone may foretell any speed.
        let fitted = || failing.iter().filter(|f| f.onset.at.is_some());
        let met: Vec<Told> = fitted().map(|f| f.told(per_m)).collect();
        let most = fitted().map(|f| f.onset.high.max(f.at()) / per_m).reduce(f64::max);
        return bound((None, censored::bounds(&met).1.or(most)), relative);
    }
    let faster = 2 * failing.iter().filter(|f| f.elsewhere > FASTER * f.at()).count() > failing.len();
    if faster || brakes(&failing) {
        told.extend(failing.iter().map(|f| Told::Above(f.elsewhere.max(f.onset.low) / per_m)));
        return bound((censored::bounds(&told).0, None), relative);
    }
    told.extend(failing.iter().map(|f| f.told(per_m)));
    if hidden || sags != Some(false) {
        return bound((censored::bounds(&told).0, None), relative);
    }
    let exact = failing.len() >= LEAST && failing.iter().all(|f| f.onset.at.is_some());
    if !exact || step.interval.is_none_or(|q| q.value > FINEST) {
        return bound(censored::bounds(&told), relative);
    }
    Some(with_scale(censored::median(&told)?, relative))
}

/// True if the hand braked where the counts collapsed, beyond chance: on the way up it had been as fast, and was seen. (Added after sensors that
/// went blind while the hand braked hard, just behind its peak, had been told to have a limit of that speed, to two per cent.)
fn brakes(failing: &[Failing]) -> bool {
    let slopes: Vec<f64> = failing.iter().filter_map(|f| Some(f.onset.edge?.1 / f.at().max(1.0))).collect();
    let n = slopes.len() as f64;
    slopes.len() >= LEAST
        && 2 * slopes.len() > failing.len()
        && mean_sd(&slopes).is_some_and(|(mean, sd)| mean < -SURE_TO_BRAKE * sd / n.sqrt())
}

/// Standard errors: once in 700 where it did not.
const SURE_TO_BRAKE: f64 = 3.0;

/// A median with the uncertainty of the scale.
fn with_scale(median: censored::Median, relative: f64) -> Quantity {
    let common = 1.96 * relative * median.value;
    Quantity {
        value: median.value,
        low: Some(median.value - (median.value - median.low).hypot(common)),
        high: Some(median.value + (median.high - median.value).hypot(common)),
    }
}

/// The speed that a sensor counts up to, in the grid's mm/s, which is its limit: seen for as long as the hand was faster.
fn level(swipe: &SwipeView, loss: &Finding) -> Option<f64> {
    let own = (loss.kind == "level").then_some((loss.begin_ns, loss.end_ns));
    own.and_then(|(begin, end)| swipe.grid.level_mm_s(begin, end))
}

/// True if the sensor was seen to lose track above a speed in some of the swipes, and not in others.
fn in_some_swipes(step: &StepView, findings: &[Finding]) -> bool {
    let own = |f: &&Finding| f.family == Family::TrackingLoss && f.step == step.id;
    findings.iter().filter(own).any(|f| f.evidence.contains_key(IN_SOME))
}

/// A swipe shorter than the travel by this share may have lost track unnoticed, or was not made to the end: it says
/// nothing of the limit.
const SHORT: f64 = 0.02;
/// More than this share of the speed at the collapse, over the [`AFTER`] nanoseconds after it, is no collapse.
const GOES_ON: f64 = 0.1;
/// See [`GOES_ON`].
const AFTER: i64 = 4_000_000;
/// The last reports before a collapse that are looked at for a full field.
const LAST: usize = 10;

/// True if one of the last reports holds all that its field can.
fn fills_report(step: &StepView, before: &[Sample]) -> bool {
    let [x, y] = [Axis::X, Axis::Y].map(|axis| clip::limit(step.trace, axis));
    let full = |top: Option<i64>, counts: i32| top.is_some_and(|top| i64::from(counts).abs() >= top);
    before.iter().rev().take(LAST).any(|s| full(x, s.x) || full(y, s.y))
}

/// Fastest speed along the swipes that a report can hold, counts per second.
fn ceiling(step: &StepView) -> Option<f64> {
    let frame = step.frame?;
    let holds = |axis, part: f64| Some(clip::limit(step.trace, axis)? as f64 / part.abs().max(1e-9));
    Some(holds(Axis::X, frame.cos)?.min(holds(Axis::Y, frame.sin)?) / (step.slot() * 1e-9))
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
    /// Highest speed seen before or after the loss.
    elsewhere: f64,
    /// Way that the loss hides over what the speeds beside it foretell, where that can be told.
    way: Option<f64>,
}

impl Failing {
    fn at(&self) -> f64 {
        self.onset.at.unwrap_or(self.onset.low)
    }

    /// True if motion goes on after the collapse, only less of it.
    fn thins_out(&self, after: &[Sample], frame: Frame, loss: &Finding) -> bool {
        let end = loss.end_ns.min(loss.begin_ns.saturating_add(AFTER));
        let counts: f64 = after.iter().take_while(|s| s.t < end).map(|s| frame.of(s).0).sum();
        counts.abs() > GOES_ON * self.at() * (end - loss.begin_ns) as f64 * 1e-9
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
    // What a patch of the surface loses has no speed.
    let limits = |f: &&Finding| f.kind != "short" && f.cause != Cause::Surface;
    let own = findings.iter().filter(|f| f.family == Family::TrackingLoss).filter(limits);
    let here = own.filter(|f| (f.phase, f.swipe) == (phase.span.number, Some(swipe.swipe.number)));
    here.min_by_key(|f| f.begin_ns)
}

/// True if a loss is all that a swipe lacks counts by, and the device finds track again.
fn alone(swipe: &SwipeView, loss: &Finding) -> bool {
    let its_own = |s: &Silence| !s.to_the_end && s.begin == loss.begin_ns;
    swipe.silences.len() == 1
        && swipe.silences.iter().all(its_own)
        && swipe.stretches.is_empty()
        && swipe.clip.is_none()
}

/// Whether the counts before the losses fall short of their own flanks, over swipes, or more than half of all losses hide a way
/// that is too long for them, for sure (exact binomial limit); `None` where too few can tell.
fn sags(failing: &[Failing]) -> Option<bool> {
    let ways: Vec<f64> = failing.iter().filter_map(|f| f.way).collect();
    let beyond = ways.iter().filter(|way| **way > hole::MOST).count();
    if proportion_low(beyond as u32, ways.len() as u32, 0.05) > 0.5 {
        return Some(true);
    }
    let ratios: Vec<f64> = failing.iter().filter_map(|f| f.onset.sag).collect();
    let (mean, sd) = mean_sd(&ratios).filter(|_| ratios.len() >= LEAST)?;
    let n = ratios.len() as f64;
    Some(mean < 1.0 - SAG && mean + t_quantile(0.95, n - 1.0) * sd / n.sqrt() < 1.0)
}
