//! What a gain that changes with speed leaves of a limit that counts tell.
//!
//! Counts tell the speed at a collapse only as well as the gain at that speed is known. What the session says of it: whole
//! swipes faster than the slow ones cover the same travel, clean, short for no reason that shows, or longer by motion that
//! fades at the stop. If those that come nearest to the limit (peaks within [`NEAR`] of
//! the fastest) come out longer or shorter by a share x that their scatter (if they are clean, that of all lengths) does not explain, gain changes with speed, and at
//! the limit lies by
//!
//! ```text
//! x kₚ rᵖ,   r: limit over their mean peak;   kₚ: peak over mean of vᵖ, over the way of a minimum-jerk swipe
//! ```
//!
//! if it changes as speed to the power p. Which p is not known: it is taken to lie between 0 (it changes below, and no more
//! where they are fast) and 2, and the limit between all that this allows. So one far beyond what was swiped whole is known
//! poorly, and one that whole swipes come near to, well. Where x is nothing beyond its scatter, counts are taken at their
//! word: a gain that changes only beyond the fastest whole swipe is not seen. (Swipes that lost track for a moment are short,
//! too, but each by something else: their scatter explains that. Motion that fades at the stop may have been none, and the
//! limit is then where counts say, or between that and the rest.)
//!
//! x is known to its scatter, and the limit lies between all that this allows as well. Swipes that came as near to the limit as that
//! may have met it without a silence. So they tell nothing of the gain where the sensor counts up to a level and no faster,
//! nor where they lack more than any gain takes ([`MOST_GAIN`]). (First they told: of a sensor that lost all but 30 mm of its
//! fast swipes, 400 counts per inch at 8 kHz, and of some that count up to a level, the limit was 10 to 900 % too high.)
//!
//! Without a straight edge yaw may differ by pace and x is held against that as well. Cost: O(swipes).

use crate::families::key;
use crate::lengths::Lengths;
use crate::scale::{Resolution, straight_edge};
use crate::shortfall::MOST_GAIN;
use crate::stats::{mean_sd, t_quantile};
use crate::step::{StepView, SwipeView};
use crate::verdict::{Family, Finding};
use slipgauge_trace::session::Pace;

/// Peaks of swipes of one pace scatter by some 5 % (common practice, no source): three times that.
const NEAR: f64 = 0.85;
/// Swipes for a mean with a scatter.
const LEAST: usize = 3;
/// A change is one if a sound session shows so much in one of twenty: nothing fails by it, and what it widens is an interval of 95 %.
/// (First one of a thousand: beside a gain that was 3 % less at the limit, seen in five medium swipes by 0.5 %, its interval was
/// that of the counts and did not hold the limit.)
const SURE: f64 = 0.975;
/// Half width of what yaw that differs by pace may do to lengths, as for the contrast of gain.
const YAW: f64 = 0.01;
/// Peak over mean of v⁰, v¹ and v² over the way, ∫vᵖ⁺¹dt = 30ᵖ⁺¹ B(2p+3, 2p+3) in a swipe from 0 to 1, its peak 1.875.
const AT_PEAK: [f64; 3] = [1.0, 1.3125, 1.5640];

/// How gain was seen to change, if it was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Change(Option<Shape>);

#[derive(Clone, Copy, Debug, PartialEq)]
struct Shape {
    /// By which the fastest whole swipes are longer than slow ones, at least and at most.
    shares: [f64; 2],
    /// Their mean peak, counted, m/s.
    peak: f64,
    /// True if it may be another fault's.
    in_doubt: bool,
}

impl Change {
    /// What the lengths of swipes say; `known` is what slow ones count, `limit` what counts tell of the limit, m/s.
    pub(super) fn of(
        step: &StepView,
        findings: &[Finding],
        lengths: Option<&Lengths>,
        known: Option<&Resolution>,
        limit: f64,
    ) -> Change {
        Change(lengths.zip(known).and_then(|(lengths, known)| seen(step, findings, lengths, known, limit)))
    }

    /// The speeds that a counted one may be, at least and at most.
    pub(super) fn travelled(self, counted_m_s: f64) -> (f64, f64) {
        let Some(Shape { shares, peak, in_doubt }) = self.0 else { return (counted_m_s, counted_m_s) };
        let ratio = counted_m_s / peak;
        let factors = AT_PEAK.iter().zip([1.0, ratio, ratio * ratio]).map(|(k, r)| k * r);
        let gains = factors.flat_map(|factor| shares.map(|share| 1.0 + share * factor));
        // A device that counts nothing at some speed has no gain there.
        let speeds = gains.map(|gain| counted_m_s / gain.max(0.1));
        let speeds = speeds.into_iter().chain(in_doubt.then_some(counted_m_s));
        speeds.fold((f64::INFINITY, 0.0), |(low, high): (f64, f64), v| (low.min(v), high.max(v)))
    }

    /// True if gain was seen to change.
    pub(super) fn is_seen(self) -> bool {
        self.0.is_some()
    }
}

/// What the fastest whole swipes say of it.
fn seen(
    step: &StepView,
    findings: &[Finding],
    lengths: &Lengths,
    known: &Resolution,
    limit: f64,
) -> Option<Shape> {
    if known.pace != Some(Pace::Slow) || known.at_least {
        return None;
    }
    let scale = step.scale?.counts_per_mm;
    let one_travel = known.counts_per_mm * step.travel?.millimetres();
    let keys = lengths.keys();
    let whole = |s: &SwipeView| s.silences.is_empty() && s.stretches.is_empty() && s.clip.is_none();
    let of = |at: (u32, u32)| findings.iter().filter(move |f| (f.phase, f.swipe) == (at.0, Some(at.1)));
    let speed = |s: &SwipeView| s.grid.peak() * scale / known.counts_per_mm * 1e-3;
    let fades = |f: &Finding| f.family == Family::CarryOn && f.kind == "fading";
    let short = |f: &Finding| f.family == Family::TrackingLoss && f.kind == "short";
    let levels =
        findings.iter().any(|f| f.family == Family::TrackingLoss && f.step == step.id && f.kind == "level");
    let near_limit = |s: &SwipeView| speed(s) >= NEAR * limit;
    let by_gain = |s: &SwipeView| !near_limit(s) || s.swipe.along >= (1.0 - MOST_GAIN) * one_travel;
    let told = |at: (u32, u32), s: &SwipeView| {
        let explained = |f: &Finding| fades(f) || short(f) && by_gain(s);
        let clean = keys.contains(&at) || (of(at).next().is_some() && of(at).all(explained));
        clean && !(levels && near_limit(s))
    };
    let used = step.swipes().filter(|(p, s)| told(key(p, s), s) && whole(s));
    let faster = used.filter(|(p, _)| p.span.phase.pace != Some(Pace::Slow));
    let faster: Vec<_> = faster
        .map(|(p, s)| (speed(s), s.swipe.along / one_travel - 1.0, of(key(p, s)).any(fades), key(p, s)))
        .collect();
    let top = faster.iter().map(|s| s.0).fold(0.0, f64::max);
    let near: Vec<_> = faster.into_iter().filter(|s| s.0 >= NEAR * top).collect();
    let shares: Vec<f64> = near.iter().map(|s| s.1).collect();
    let (share, sd) = mean_sd(&shares).filter(|_| near.len() >= LEAST)?;
    let n = near.len() as f64;
    // Clean ones scatter as all do at these stops; others by what each has lost. Neighbours share a stop.
    let clean = lengths.mean_of_swipes(&near.iter().map(|s| s.3).collect());
    let pooled = clean.map(|m| (m.counts / one_travel - 1.0, m.uncertainty / one_travel, lengths.df));
    let (share, own, df) = pooled.unwrap_or((share, sd * (2.0 / n).sqrt(), n - 1.0));
    // Slow swipes scatter as well.
    let unsure = own.hypot(known.placing / known.counts_per_mm);
    let yaw = if straight_edge(step.plan) { 0.0 } else { YAW };
    let peak = near.iter().map(|s| s.0).sum::<f64>() / n;
    let shares = change(share, unsure, df, yaw).filter(|_| peak > 0.0)?;
    Some(Shape { shares, peak, in_doubt: near.iter().any(|s| s.2) })
}

/// Between which shares lengths differ, if they do so beyond their scatter and what yaw may do; the mean is known to a standard
/// uncertainty. (First the mean alone: of sound gains one in twenty had a change that was none, and their limits lay beside an
/// interval that knew nothing of that chance.)
fn change(share: f64, unsure: f64, df: f64, yaw: f64) -> Option<[f64; 2]> {
    let half = t_quantile(SURE, df) * unsure + yaw;
    (share.abs() > half).then_some([share - half, share + half])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Student's 97.5 % quantile is 2.306 at 8 degrees of freedom, and the 99.95 % one 5.041 (tables).
    #[test]
    fn a_change_widens_an_interval_of_95_percent_as_soon_as_95_percent_show_it() {
        let seen = |share, yaw| change(share, 1e-3, 8.0, yaw).is_some();
        assert!(seen(-0.0046, 0.0) && seen(0.00232, 0.0) && !seen(0.00229, 0.0) && !seen(0.00232, 0.01));
    }
}
