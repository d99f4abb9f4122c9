//! Carry-on: motion reported after the stop.
//!
//! Detects swipes that count more than one travel ([`crate::shortfall`]: beyond placing) and more than the other swipes of
//! their phase by as much. *Fading* if they are still fast where one travel is full ([`FAST`]) and the second half of the
//! surplus runs at less than [`FADES`] of the first half's speed, *steady* if it does not fade; else *long*, of unknown
//! cause: nobody gets further than the stop. A bounce does not count: a swipe's length is taken between the rests around
//! it. Where most swipes of a phase are longer, that is gain change, unless most of the longer ones show that their surplus
//! came after the stop ([`crate::after_stop`]). (Added after devices that went on in every fast swipe had been seen to be
//! told as gain that rises with speed: the swipes were held against others that had the same fault.)
//!
//! *Later* is motion that sets in again after a rest at the stop ([`crate::after_rest`]), of unknown cause: it may be a report
//! that the link or the firmware sends late or twice, or the sensor; a *leap* if one report holds it, whatever its direction.
//!
//! *Overshoot* is a place beyond the stop that snaps back ([`overshoot`]), of unknown cause; it fails nobody.
//!
//! Where counts [run on slowly](at_rest) while the device lies at the stops, in most swipes, a pass is left open.
//!
//! Where all swipes end [by the same law](smoothed), slow or fast, a pass is left open: a device may smooth its counts.
//!
//! `p_false`: Student's tail of a length that is so much longer than one travel, by the scatter of the slow and medium
//! swipes, times the swipes. Decides on the share of swipes that show it, exact limits. Assumes a stop that does not give
//! way.
//!
//! Smallest found: 2 mm and 16 standard deviations of a stop, of what the swipe counts too much in all: what fades before
//! the stop counts too little there, which goes off. (First written as 12 standard deviations of what came after the stop:
//! an eighth of the fading ones were missed, half of them because 5 % of the peak speed was asked for at the stop, the others
//! because the shortfall before it left less than placing. 5 standard deviations of a length are 7 of a stop; the scatter
//! itself is known to a third from 20 swipes, and the swipe's own placing is on top: 16.) In most swipes of a phase: what
//! is steady for 15 ms, or sets in with a jump; what fades from the speed of arrival is then told as gain change.
//! Cost: O(reports).

mod at_rest;
mod overshoot;
mod smoothed;

use super::{Detector, Event, dropout, in_swipe, key, no_travel, report_interval, round, share, swipes_with};
use crate::after_rest::{Later, What};
use crate::after_stop::{self, FAST, Halves, Tail};
use crate::shortfall::Measure;
use crate::stats::{mad, median};
use crate::step::{PhaseView, StepView, SwipeView};
use crate::verdict::{Cause, Criterion, Direction, Family, FamilyVerdict, Finding, Outcome, Quantity};
use serde_json::json;
use slipgauge_trace::session::Pace;
use statrs::distribution::{ContinuousCDF, StudentsT};
use std::collections::{BTreeMap, BTreeSet};

pub(super) struct CarryOn;

/// Degrees of freedom of a median absolute deviation, a value: its efficiency is 37 %.
const FREE: f64 = 0.37;
/// A body comes to rest at a stop no better, mm.
const LEAST_SCATTER_MM: f64 = 0.1;
/// Tails are not believed beyond this.
const LEAST_CHANCE: f64 = 1e-9;
/// What is as likely by chance is no finding. (Added after sound devices whose gain differed by 1 % from swipe to swipe had been
/// told to go on in two swipes, with a chance of 1.)
const AS_LIKELY: f64 = 0.5;
/// Whole ones as fast that it takes: one may be a swipe that lost counts.
const LEAST_WHOLE: usize = 2;
/// And from where on the longer ones are nearly all: an operator may stop short now and then.
const NEARLY_ALL: f64 = 0.8;
/// Where no more than this share of the other direction's swipes are longer, each direction is held against itself. (Added after a gain
/// that rose in one direction alone had been told to go on after the stop in all of its swipes.)
const ONE_WAY: f64 = 0.1;
/// Speed of the second half over that of the first half.
const FADES: f64 = 0.6;

impl Detector for CarryOn {
    fn family(&self) -> Family {
        Family::CarryOn
    }

    fn required(&self, _: &StepView) -> bool {
        true
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        let mut spun = swipes_with(Family::SpinOut, findings);
        spun.extend(step.at_another_step());
        let mut own = Vec::new();
        let lost = Lost::new(step, findings);
        for phase in &step.phases {
            let later = later(step, phase, &spun, findings);
            spun.extend(later.iter().filter_map(|f| f.swipe.map(|swipe| (f.phase, swipe))));
            own.extend(later);
            let usual = [Direction::Out, Direction::Back].map(|to| (to, usual(step, phase, to)));
            let usual = |s: &SwipeView| usual.iter().find(|u| u.0 == s.swipe.direction).map_or(0.0, |u| u.1);
            let long = phase.swipes.iter().filter(|s| {
                let own = key(phase, s);
                s.swipe.surplus > (lost.usual - lost.of(own)).max(0.0) && !spun.contains(&own)
            });
            let long: Vec<Finding> =
                long.filter_map(|swipe| event(step, phase, swipe, usual(swipe))).collect();
            let mut told = spun.clone();
            told.extend(findings.iter().chain(&long).filter_map(|f| Some((f.phase, f.swipe?))));
            own.extend(long);
            own.extend(overshoot::of_phase(step, phase, &told));
        }
        findings.extend(own);
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.travel.is_none() || step.scale.is_none() {
            return no_travel(step, Family::CarryOn);
        }
        let examined = step.swipes().map(|(p, s)| key(p, s)).collect();
        let over = |f: &&Finding| f.family == Family::CarryOn && f.kind == overshoot::KIND;
        let others: Vec<Finding> = findings.iter().filter(|f| !over(f)).cloned().collect();
        let mut out = share(step, Family::CarryOn, &others, &examined, "");
        overshoot::leave_open(step, findings.iter().filter(over).count(), examined.len(), &mut out);
        smoothed::leave_open(step, &mut out);
        at_rest::leave_open(step, &mut out);
        out
    }
}

/// Leaves a pass open for something that was seen (what, unit, value) and that fails nobody.
fn leave_pass_open(
    out: &mut FamilyVerdict,
    (what, unit, value): (&'static str, &'static str, f64),
    tolerance: [Option<f64>; 2],
    to_settle: &str,
) {
    if out.verdict != Outcome::Pass {
        return;
    }
    out.verdict = Outcome::Inconclusive;
    out.to_settle = Some(to_settle.to_owned());
    let estimate = Some(Quantity { value, low: None, high: None });
    out.criteria.push(Criterion { what, verdict: Outcome::Inconclusive, unit, estimate, tolerance });
}

/// What swipes have lost to dropouts, and to reports that were lost one by one, in counts. One that loses less than most is longer
/// than they by as much. (Added after a radio that lost 13 mm of each swipe, and 9 of some, had been seen to be told to go on in
/// those. Then by the speed beside each loss, since what is expected over it by the travel lacks what all slow swipes lack: a sensor
/// that saw nothing for 20 ms in 200 was told so in three swipes. And reports lost one by one since one in 25 at 8 ms had been.)
struct Lost {
    by_swipe: BTreeMap<(u32, u32), f64>,
    /// By most of the slow ones, which tell how long one travel is, with placing on top, and a report's counts for each loss: it is known no better.
    usual: f64,
}

impl Lost {
    fn new(step: &StepView, findings: &[Finding]) -> Lost {
        let per_mm = step.scale.map_or(0.0, |s| s.counts_per_mm);
        let (mut by_swipe, mut known_to) = (BTreeMap::new(), BTreeMap::new());
        let lost =
            |f: &&Finding| f.family == Family::Dropout && matches!(f.kind, dropout::LOST | dropout::AWAY);
        let dropouts = || findings.iter().filter(lost);
        for f in dropouts() {
            let Some(swipe) = f.swipe else { continue };
            let number = |key: &str| f.evidence.get(key).and_then(|v| v.as_f64());
            let reports = number(dropout::REPORTS_MISSING).unwrap_or(1.0);
            let counts = per_mm * number(dropout::BY_THE_FLANKS).unwrap_or(f.size).max(f.size);
            let own = (f.phase, swipe);
            *by_swipe.entry(own).or_insert(0.0) += counts;
            *known_to.entry(own).or_insert(0.0) += counts / reports.max(1.0);
        }
        // Of one report the ones beside it tell what it held: placing is more than what that is off by.
        let lone = report_interval::lost_one_by_one(step).unwrap_or_default();
        for (t, due) in lone.times.into_iter().zip(lone.due) {
            let told = dropouts().any(|f| (f.begin_ns..f.end_ns).contains(&t));
            let here = step.swipes().find(|(_, s)| (s.swipe.begin..s.swipe.end).contains(&t));
            if let Some((phase, view)) = here.filter(|_| !told) {
                *by_swipe.entry(key(phase, view)).or_insert(0.0) += due;
            }
        }
        let usual = |of: &BTreeMap<(u32, u32), f64>| {
            let slow = step.swipes().filter(|(p, _)| p.span.phase.pace == Some(Pace::Slow));
            let all: Vec<f64> = slow.map(|(p, s)| of.get(&key(p, s)).copied().unwrap_or(0.0)).collect();
            median(&all).filter(|usual| *usual > 0.0)
        };
        let placing = step.measure.map_or(0.0, |m| m.most);
        let usual = usual(&by_swipe).map_or(0.0, |lost| lost + usual(&known_to).unwrap_or(0.0) + placing);
        Lost { by_swipe, usual }
    }

    fn of(&self, swipe: (u32, u32)) -> f64 {
        self.by_swipe.get(&swipe).copied().unwrap_or(0.0)
    }
}

/// What the swipes of a phase are longer by without having gone on after the stop, within placing as well. (First only what
/// lay beyond placing was counted: where a gain made all swipes of a pace longer by just under it, those of them that placing took
/// over it were told to go on.)
fn usual(step: &StepView, phase: &PhaseView, direction: Direction) -> f64 {
    let of = |way: bool| phase.swipes.iter().filter(move |s| (s.swipe.direction == direction) == way);
    let (others, long) = (of(false).count(), of(false).filter(|s| s.swipe.surplus > 0.0).count());
    let alone = long as f64 <= ONE_WAY * others as f64;
    let own: Vec<&SwipeView> = if alone { of(true).collect() } else { phase.swipes.iter().collect() };
    if after_stop::they_show(step, phase, own.iter().copied()) {
        return 0.0;
    }
    let since = shift(step, &own);
    let own = &own[since.unwrap_or(0)..];
    if whole_ones_as_fast(step, own) {
        return 0.0;
    }
    let Some(measure) = step.measure else { return 0.0 };
    // What lacks counts has lost them, whatever its gain. (Added after a gain of 6 % had been told to go on in the 28 of 60
    // fast swipes that had not lost track.)
    let kept = own.iter().filter(|s| s.swipe.surplus >= 0.0);
    let longer: Vec<f64> = kept.map(|s| -measure.lacks(&s.swipe)).collect();
    median(&longer).unwrap_or(0.0).max(0.0)
}

/// The first of these swipes from which on nearly all are longer, alike within placing, where none is before: a stop has given way, or
/// the gain has changed a little. (Added after sound devices had failed for a stop that gave way by 3 mm at the fourth fast swipe.)
fn shift(step: &StepView, swipes: &[&SwipeView]) -> Option<usize> {
    let placing = step.measure?.most;
    let first = swipes.iter().position(|s| s.swipe.surplus > 0.0).filter(|first| *first >= LEAST_WHOLE)?;
    let since = &swipes[first..];
    let middle = median(&since.iter().map(|s| s.swipe.along).collect::<Vec<f64>>())?;
    let alike = since.iter().filter(|s| s.swipe.surplus > 0.0 && (s.swipe.along - middle).abs() <= placing);
    (since.len() > LEAST_WHOLE && alike.count() as f64 >= NEARLY_ALL * since.len() as f64).then_some(first)
}

/// True if some of these swipes are whole, shorter than the long ones by more than placing, and were as fast as they, or lie apart from
/// them and are parted from them by [no speed](misfits): a gain would have made them longer, too. (Added after a device that had gone on in 8 of 15 fast swipes, by 20 mm, had been seen to be told to
/// gain with speed. Two neighbours alike count once: an operator who stops short there makes both shorter. Added after such a pair had
/// been seen to turn firmware's gain of 6 % into carry-on.)
fn whole_ones_as_fast(step: &StepView, swipes: &[&SwipeView]) -> bool {
    let placing = step.measure.map_or(0.0, |m| m.most);
    let long = || swipes.iter().filter(|s| s.swipe.surplus > 0.0);
    let middle = |of: fn(&SwipeView) -> f64| median(&long().map(|s| of(s)).collect::<Vec<f64>>());
    let (Some(fast), Some(length)) = (middle(|s| s.swipe.peak), middle(|s| s.swipe.along)) else {
        return false;
    };
    let whole = |s: &SwipeView| s.swipe.surplus == 0.0 && s.swipe.along < length - placing;
    let places = |among: &dyn Fn(&SwipeView) -> bool| {
        let (mut places, mut counted): (Vec<&SwipeView>, Option<&SwipeView>) = (Vec::new(), None);
        for view in swipes {
            let before = counted.take().filter(|b| b.swipe.number + 1 == view.swipe.number);
            let pair = before.is_some_and(|b| (b.swipe.along - view.swipe.along).abs() < placing);
            if whole(view) && among(view) && !pair {
                places.push(*view);
                counted = Some(view);
            }
        }
        places
    };
    let apart = || step.measure.is_some_and(|m| lie_apart(m, swipes.iter().copied()));
    let at_no_speed = || {
        let whole: Vec<f64> = places(&|_| true).iter().map(|s| s.swipe.peak).collect();
        let long: Vec<f64> = long().map(|s| s.swipe.peak).collect();
        misfits(&whole, &long) >= LEAST_WHOLE
    };
    places(&|s| s.swipe.peak >= fast).len() >= LEAST_WHOLE || apart() && at_no_speed()
}

/// Whole swipes above one speed and longer ones below it, where it leaves the fewest: a gain that sets in at a speed leaves
/// none, whatever it is. (Added after carry-on of 25 to 34 mm in three of four fast swipes had been told as gain by 8 ms:
/// two of the whole ones were slow, and many of the longer ones as well.)
fn misfits(whole: &[f64], long: &[f64]) -> usize {
    let above = |speed: f64| whole.iter().filter(|v| **v > speed).count();
    let below = |speed: f64| long.iter().filter(|v| **v <= speed).count();
    let speeds = whole.iter().chain(long).copied().chain([f64::NEG_INFINITY]);
    speeds.map(|speed| above(speed) + below(speed)).min().unwrap_or(0)
}

/// Motion after a rest at the stop, where nothing found before explains it, nor this computer.
fn later(
    step: &StepView,
    phase: &PhaseView,
    spun: &BTreeSet<(u32, u32)>,
    findings: &[Finding],
) -> Vec<Finding> {
    let explained = |view: &SwipeView, later: &Later| {
        let own = key(phase, view);
        let overlap = |f: &Finding| f.begin_ns <= later.end && f.end_ns >= later.rest;
        spun.contains(&own)
            || step.host.explain(later.rest, later.end)
            || findings.iter().any(|f| f.swipe.map(|swipe| (f.phase, swipe)) == Some(own) && overlap(f))
    };
    let per_mm = step.scale.map_or(1.0, |s| s.counts_per_mm);
    let found = phase.later.iter().copied().filter(|l| l.what != What::HeldBack);
    let found = found.filter_map(|later| Some((phase.swipes.get(later.swipe)?, later)));
    let found = found.filter(|(view, later)| !explained(view, later));
    let finding = |(view, later): (&SwipeView, Later)| {
        let event = Event {
            family: Family::CarryOn,
            kind: if later.what == What::Leap { "leap" } else { "later" },
            begin: later.begin,
            end: later.end,
            size: later.counts / per_mm,
            unit: "mm of false motion",
            cause: Cause::Unknown,
        };
        let evidence = json!({
            "counts_after_the_rest": round(later.counts, 0),
            "ms_after_the_stop": round(1e-6 * later.begin.saturating_sub(later.rest) as f64, 1),
        });
        in_swipe(step, phase, view, event, evidence)
    };
    found.map(finding).collect()
}

fn event(step: &StepView, phase: &PhaseView, view: &SwipeView, usual: f64) -> Option<Finding> {
    let scale = step.scale?;
    let swipe = &view.swipe;
    let most = swipe.surplus - usual;
    // The surplus is what came last.
    let tail = Tail::of(phase, view)?;
    let Halves { begin, end, early, late, at_the_stop } = tail.halves(step.slot())?;
    let fast = at_the_stop > FAST * 1e3 * scale.counts_per_mm;
    if most * 2.0 < swipe.surplus || (!fast && step.host.explain(swipe.begin, swipe.end)) {
        return None;
    }
    let event = Event {
        family: Family::CarryOn,
        kind: match fast {
            false => "long",
            true if late < FADES * early => "fading",
            true => "steady",
        },
        begin,
        end,
        size: swipe.surplus / scale.counts_per_mm,
        unit: "mm of false motion",
        cause: if fast { Cause::Sensor } else { Cause::Unknown },
    };
    let evidence = json!({
        "counts_beyond_one_travel": round(swipe.surplus, 0),
        "reports": tail.samples.len() - tail.first,
        "m_s_at_the_stop": round(at_the_stop / scale.counts_per_mm * 1e-3, 3),
        "second_half_over_first": round(late / early.max(1.0), 2),
    });
    let mut finding = in_swipe(step, phase, view, event, evidence);
    finding.p_false = chance(step, swipe.surplus, scale.counts_per_mm);
    // Where slow and medium swipes scatter as much, it is the gain's, or the surface's, and of none in particular.
    finding.p_false.is_none_or(|p| p < AS_LIKELY).then_some(finding)
}

/// True if longer swipes lie apart from the whole ones by more than placing, with none in between: that is no scatter.
/// (Added after a device that went on by 29 mm in a third of all swipes, at every pace, had passed: four of eight medium
/// ones made their own scatter.)
fn lie_apart<'a>(measure: Measure, swipes: impl Iterator<Item = &'a SwipeView>) -> bool {
    let (long, whole): (Vec<&SwipeView>, Vec<&SwipeView>) = swipes.partition(|s| s.swipe.surplus > 0.0);
    let least = long.iter().map(|s| measure.evened(&s.swipe)).fold(f64::INFINITY, f64::min);
    let most = whole.iter().map(|s| measure.evened(&s.swipe)).fold(0.0, f64::max);
    least.is_finite() && least - most > measure.most
}

/// Chance that one of so many swipes is longer by so much, by the scatter of the slow and medium ones about their medians;
/// of the whole ones alone, where longer ones [lie apart](lie_apart).
fn chance(step: &StepView, surplus: f64, per_mm: f64) -> Option<f64> {
    let calm = step.phases.iter().filter(|p| matches!(p.span.phase.pace, Some(Pace::Slow | Pace::Medium)));
    let mut off = Vec::new();
    let apart = step.measure.is_some_and(|m| lie_apart(m, step.swipes().map(|(_, s)| s)));
    for phase in calm {
        let own = phase.swipes.iter().filter(|s| !apart || s.swipe.surplus <= 0.0);
        let lengths: Vec<f64> = own.map(|s| s.swipe.along).collect();
        let Some(centre) = median(&lengths) else { continue };
        off.extend(lengths.iter().filter(|_| lengths.len() >= 3).map(|l| l - centre));
    }
    let n = off.len() as f64;
    let scatter = mad(&off, 0.0)?.max(LEAST_SCATTER_MM * per_mm);
    let student = StudentsT::new(0.0, 1.0, (FREE * n).max(1.0)).ok()?;
    let tail = student.sf(surplus / (scatter * (1.0 + 1.0 / n).sqrt()));
    Some((tail * step.swipes().count() as f64).clamp(LEAST_CHANCE, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gain_that_sets_in_at_a_speed_leaves_no_misfit_and_swipes_at_random_do() {
        assert_eq!(misfits(&[1.0, 2.0, 3.0], &[3.5, 4.0, 5.0]), 0);
        assert_eq!(misfits(&[1.0, 2.0, 4.5], &[3.5, 4.0, 5.0]), 1);
        assert_eq!(misfits(&[2.0, 4.5, 5.5], &[1.0, 3.0, 4.0, 5.0, 6.0]), 3);
        assert_eq!((misfits(&[], &[1.0]), misfits(&[1.0], &[])), (0, 0));
    }
}
