//! The fault families: one file each, one registry.
//!
//! A family first *detects* (adds findings, each with the numbers that show it), then *decides* from all findings.
//! Families are asked in the registry's order, and each sees what those before it found: one event, one finding.
//! Adding a family is one file and one line in [`REGISTRY`].

mod carry_on;
mod drift;
mod dropout;
mod gain_change;
mod lag;
pub(crate) mod one_way;
mod report_ceiling;
pub(crate) mod report_interval;
pub(crate) mod resolution;
mod spin_out;
mod straightening;
mod strike_lag;
mod tracking_loss;
mod wake_up;

pub use drift::looked_at;
pub use gain_change::Contrast as GainContrast;
pub(crate) use gain_change::drop_explained;
pub(crate) use tracking_loss::IN_SOME;

use crate::decision;
use crate::step::{PhaseView, StepView, SwipeView};
use crate::tolerances;
use crate::verdict::{Cause, Criterion, Family, FamilyVerdict, Finding, Outcome, count};
use one_way::ONE_WAY;
use serde_json::{Map, Value, json};
use slipgauge_trace::session::Pace;
use std::collections::BTreeSet;

/// One fault family.
pub trait Detector: Sync {
    /// Which family.
    fn family(&self) -> Family;

    /// Whether a step may pass without it having been examined.
    fn required(&self, step: &StepView) -> bool;

    /// How many criteria may fail a step: each is a look, and shares the chance of a false fail.
    fn criteria(&self) -> usize {
        1 + usize::from(ALSO_AT_SPEED.contains(&self.family()))
            + usize::from(ONE_WAY.contains(&self.family()))
    }

    /// Adds this family's findings.
    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>);

    /// Judges the step by the findings of all families.
    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict;
}

/// All families that these rules examine, in the order in which they are asked. The report ceiling comes first,
/// because clipped counts look like everything else; tracking loss takes the short swipes that none before it explains;
/// gain change and resolution come last, on what is left clean.
pub static REGISTRY: [&dyn Detector; 13] = [
    &report_ceiling::ReportCeiling,
    &dropout::Dropout,
    &spin_out::SpinOut,
    &carry_on::CarryOn,
    &wake_up::WakeUp,
    &tracking_loss::TrackingLoss,
    &straightening::Straightening,
    &drift::Drift,
    &gain_change::GainChange,
    &report_interval::ReportInterval,
    &resolution::Resolution,
    &lag::Lag,
    &strike_lag::StrikeLag,
];

/// Findings of these families say something of a swipe's own counts along the travel. (Straightening takes those across,
/// at every pace alike.)
fn spoils_a_swipe(family: Family) -> bool {
    use Family::{Drift, GainChange, ReportInterval, Resolution, Straightening};
    !matches!(family, Drift | Resolution | GainChange | ReportInterval | Straightening)
}

/// Swipes, as (phase, swipe), whose counts along the travel are not those of a sound device by itself: with a finding of a
/// family that touches them, or disturbed by this computer.
pub fn spoiled(step: &StepView, findings: &[Finding]) -> BTreeSet<(u32, u32)> {
    spoiled_by(step, findings.iter())
}

fn spoiled_by<'a>(step: &StepView, findings: impl Iterator<Item = &'a Finding>) -> BTreeSet<(u32, u32)> {
    let own = findings.filter(|f| spoils_a_swipe(f.family));
    let own = own.filter_map(|f| f.swipe.map(|swipe| (f.phase, swipe)));
    own.chain(disturbed(step)).collect()
}

/// Those of them that no other findings than these touch, nor this computer.
pub(crate) fn spoiled_only(
    step: &StepView,
    findings: &[Finding],
    these: impl Fn(&Finding) -> bool,
) -> BTreeSet<(u32, u32)> {
    &spoiled(step, findings) - &spoiled_by(step, findings.iter().filter(|f| !these(f)))
}

/// True if all that a finding tells is that counts came late: none is missing.
pub(crate) fn is_late(finding: &Finding) -> bool {
    matches!(finding.family, Family::Dropout | Family::WakeUp) && finding.kind == dropout::LATE
}

/// Swipes of which counts may have been lost in this computer.
fn disturbed(step: &StepView) -> impl Iterator<Item = (u32, u32)> {
    step.swipes().filter(|(_, s)| s.disturbed).map(|(p, s)| key(p, s))
}

/// True if nothing was wrong with a swipe's counts: no finding touches them, and none of them came late by a silence.
pub fn is_clean(spoiled: &BTreeSet<(u32, u32)>, phase: &PhaseView, swipe: &SwipeView) -> bool {
    !spoiled.contains(&key(phase, swipe)) && !swipe.grid.held_up
}

/// All such swipes of a step.
pub(crate) fn clean_swipes<'a>(
    step: &'a StepView,
    findings: &[Finding],
) -> impl Iterator<Item = &'a SwipeView> + use<'a> {
    let spoiled = spoiled(step, findings);
    step.swipes().filter(move |(p, s)| is_clean(&spoiled, p, s)).map(|(_, s)| s)
}

/// Swipes with a finding of this family.
pub(crate) fn swipes_with(family: Family, findings: &[Finding]) -> BTreeSet<(u32, u32)> {
    let own = findings.iter().filter(|f| f.family == family);
    own.filter_map(|f| f.swipe.map(|swipe| (f.phase, swipe))).collect()
}

/// Key of a swipe in those sets.
pub fn key(phase: &PhaseView, swipe: &SwipeView) -> (u32, u32) {
    (phase.span.number, swipe.swipe.number)
}

/// Limits for a family at this step.
fn limits(step: &StepView, family: Family) -> [Option<f64>; 2] {
    tolerances::limits(step.plan, family)
}

/// A finding in a swipe; the caller adds the evidence.
struct Event {
    family: Family,
    kind: &'static str,
    begin: i64,
    end: i64,
    size: f64,
    unit: &'static str,
    cause: Cause,
}

fn in_swipe(step: &StepView, phase: &PhaseView, swipe: &SwipeView, event: Event, evidence: Value) -> Finding {
    Finding {
        family: event.family,
        kind: event.kind,
        step: step.id,
        phase: phase.span.number,
        swipe: Some(swipe.swipe.number),
        device: step.device,
        direction: Some(swipe.swipe.direction),
        begin_ns: event.begin,
        end_ns: event.end,
        size: event.size,
        unit: event.unit,
        p_false: None,
        cause: event.cause,
        evidence: map(evidence),
    }
}

/// What is no event of one swipe; the caller adds the evidence.
struct Lasting {
    family: Family,
    kind: &'static str,
    size: f64,
    unit: &'static str,
    cause: Cause,
}

/// One finding from the begin of the first of some phases to the end of the last; `None` without any.
fn over_phases<'a>(
    step: &StepView,
    phases: impl Iterator<Item = &'a PhaseView>,
    lasting: Lasting,
    evidence: Value,
) -> Option<Finding> {
    let mut phases = phases.map(|p| &p.span);
    let first = phases.next()?;
    let last = phases.last().unwrap_or(first);
    Some(Finding {
        family: lasting.family,
        kind: lasting.kind,
        step: step.id,
        phase: first.number,
        swipe: None,
        device: step.device,
        direction: None,
        begin_ns: first.begin.0,
        end_ns: last.end.0,
        size: lasting.size,
        unit: lasting.unit,
        p_false: None,
        cause: lasting.cause,
        evidence: map(evidence),
    })
}

fn map(value: Value) -> Map<String, Value> {
    match value {
        Value::Object(map) => map,
        other => Map::from_iter([("value".to_owned(), other)]),
    }
}

/// Puts a verdict together from its criteria: the worst decides, and of equals the first.
fn verdict(family: Family, criteria: Vec<Criterion>, findings: usize, because: String) -> FamilyVerdict {
    let rank = |outcome: Outcome| match outcome {
        Outcome::Fail => 0,
        Outcome::Inconclusive => 1,
        Outcome::NotExamined => 2,
        Outcome::Pass => 3,
    };
    let deciding = criteria.iter().min_by_key(|c| rank(c.verdict)).cloned();
    let deciding = deciding.unwrap_or_else(|| decision::not_examined("", "", [None, None]));
    FamilyVerdict {
        family,
        verdict: deciding.verdict,
        // As its step says, see [`crate::judge`].
        required: false,
        unit: deciding.unit,
        estimate: deciding.estimate,
        tolerance: deciding.tolerance,
        smallest_found: None,
        findings,
        cause: None,
        because,
        to_settle: None,
        criteria,
    }
}

/// Why a family that no detector stands for was not examined.
pub const NOT_LOOKED_AT: &str = "these rules do not look at it";

/// A family that was not looked at, and why.
pub fn not_examined(step: &StepView, family: Family, why: &str) -> FamilyVerdict {
    let criterion = decision::not_examined("", "", limits(step, family));
    FamilyVerdict { criteria: Vec::new(), ..verdict(family, vec![criterion], 0, why.to_owned()) }
}

/// What of a step is missing that a family needs, with what to do: swipes, or what they are held against.
fn no_swipes_or(step: &StepView, family: Family, missing: &str, to_settle: &str) -> FamilyVerdict {
    let (why, to_settle) = if step.swipes().next().is_none() {
        ("no swipes", "swipes from stop to stop")
    } else {
        (missing, to_settle)
    };
    FamilyVerdict { to_settle: Some(to_settle.to_owned()), ..not_examined(step, family, why) }
}

/// Neither pass nor fail of a family that needs a scale, where there is none.
fn no_scale(step: &StepView, family: Family) -> FamilyVerdict {
    let why = "neither travel nor nominal resolution is known";
    no_swipes_or(step, family, why, "the travel between the stops, or the nominal resolution, in the plan")
}

/// And of one that needs the travel.
fn no_travel(step: &StepView, family: Family) -> FamilyVerdict {
    no_swipes_or(step, family, "the travel is not known", "the travel between the stops, in the plan")
}

/// Why no time is judged.
pub const COARSE_STAMPS: &str = "the stamps are too coarse for the report interval";

/// Neither pass nor fail of a family that needs times, by stamps that give none.
fn coarse_stamps(step: &StepView, family: Family) -> FamilyVerdict {
    let to_settle = Some("a recording whose stamps are finer than a third of the report interval".to_owned());
    FamilyVerdict { to_settle, ..not_examined(step, family, COARSE_STAMPS) }
}

/// Speed that the user needs, m/s, if the plan says so and it is one of an arm (10 m/s is beyond any).
fn needed_m_s(step: &StepView) -> Option<f64> {
    let speed = step.plan?.need.get("speed_m_s")?.as_f64()?;
    (speed > 0.0 && speed <= 10.0).then_some(speed)
}

/// Families that are judged over all swipes and over the fast ones by themselves, each a look: what befalls every flick
/// must not be outnumbered by slow swipes, in which the same device is sound.
const ALSO_AT_SPEED: [Family; 4] = [Family::Dropout, Family::SpinOut, Family::CarryOn, Family::WakeUp];

/// Judges the share of swipes that show a family, over the swipes in which it would have been seen.
///
/// Where the plan says which speed the user needs, the claim is about that speed and faster: trials are the swipes whose
/// peak reached it (the expected peak, since a swipe that failed has none of its own), and failures below it count as
/// well, assuming that failure does not become rarer with speed.
fn share(
    step: &StepView,
    family: Family,
    findings: &[Finding],
    examined: &BTreeSet<(u32, u32)>,
    clean: &str,
) -> FamilyVerdict {
    let bad = swipes_with(family, findings);
    // A swipe of which this computer has lost counts shows what it shows, and nothing by what it does not.
    let disturbed: BTreeSet<(u32, u32)> = disturbed(step).filter(|key| !bad.contains(key)).collect();
    let examined = &(examined - &disturbed);
    let (k, n) = (bad.intersection(examined).count() as u32, examined.len() as u32);
    let limit = limits(step, family)[1].unwrap_or(1.0);
    let (what, unit) = ("swipes that show it", "share of swipes");
    let need = needed_m_s(step);
    // Of the examined swipes, those that reached the speed.
    let reached: BTreeSet<(u32, u32)> = match need {
        None => examined.clone(),
        Some(need) => {
            let fast = step.swipes().filter(|(_, s)| s.grid.peak() * 1e-3 >= need);
            fast.map(|(p, s)| key(p, s)).filter(|k| examined.contains(k)).collect()
        }
    };
    let fast = (bad.intersection(&reached).count() as u32, reached.len() as u32);
    let slower = (k.saturating_sub(fast.0), n.saturating_sub(fast.1));
    let criterion = match need {
        None => decision::share_at_most(what, unit, k, n, limit, step.looks),
        Some(_) => decision::share_at_speed(what, unit, fast, slower, limit, step.looks),
    };
    // Without a stated need: of the fast swipes by themselves, too.
    let at_speed: BTreeSet<(u32, u32)> = match need {
        None if ALSO_AT_SPEED.contains(&family) => {
            step.fast_swipes().map(|(p, s)| key(p, s)).filter(|k| examined.contains(k)).collect()
        }
        _ => BTreeSet::new(),
    };
    let mut criteria = vec![criterion];
    let mut open = (k, n);
    if !at_speed.is_empty() && at_speed.len() < examined.len() {
        let (k, n) = (bad.intersection(&at_speed).count() as u32, at_speed.len() as u32);
        let criterion = decision::share_at_most("fast swipes that show it", unit, k, n, limit, step.looks);
        if criterion.verdict != Outcome::Pass {
            open = (k, n);
        }
        criteria.push(criterion);
    }
    let events: Vec<&Finding> = findings.iter().filter(|f| f.family == family).collect();
    let mut because = match (k, n) {
        (_, 0) => "no swipe in which it would have been seen".to_owned(),
        (0, n) => format!("none in {}{clean}", count(n, "swipe")),
        (k, n) => format!("{k} of {}, {}", count(n, "swipe"), count(events.len(), "event")),
    };
    let speed = need.map(|v| format!("{v:.2} m/s ({:.0} in/s)", v / 0.0254));
    if let (Some(speed), true) = (&speed, n > 0) {
        because += &format!("; {} of these swipes reached the needed {speed}", fast.1);
    }
    if criteria.len() > 1 && k > 0 {
        because +=
            &format!("; at the fast pace {} of {}", bad.intersection(&at_speed).count(), at_speed.len());
    }
    let mut out = verdict(family, criteria, events.len(), because);
    out.cause = common_cause(&events);
    if out.verdict == Outcome::Inconclusive {
        let settle = match need {
            // Fast ones are among all of them, and each look has to pass.
            None => {
                let each = [open, (k, n)].map(|(k, n)| decision::swipes_to_settle(k, n, limit));
                each[0].zip(each[1]).map(|(fast, all)| fast.max(all))
            }
            Some(_) => decision::swipes_to_settle(k, fast.1.saturating_add(slower.0), limit),
        };
        // What shows more than may be would not be settled by clean ones.
        let as_bad = decision::swipes_as_bad(open.0, open.1, limit, step.looks).filter(|_| need.is_none());
        let more = |more: u32| match speed {
            Some(speed) => format!("{} that reach {speed}", count(more, "more fast swipe")),
            None if open != (k, n) => format!("{}{clean}", count(more, "more fast swipe")),
            None => format!("{}{clean}", count(more, "more swipe")),
        };
        out.to_settle = Some(match (as_bad, settle) {
            (Some(n), _) => format!("{}, if as many of them show it", more(n)),
            (None, Some(n)) => format!("{}, if all are clean", more(n)),
            (None, None) => "more swipes will not show this share to be within tolerance".to_owned(),
        });
    }
    if n == 0 {
        // Whatever a swipe must do to show it, a fast one does.
        let swipes = decision::swipes_to_settle(0, 0, limit).map(|n| count(n, "fast swipe"));
        out.to_settle = swipes.map(|swipes| format!("{swipes}, if all are clean"));
    }
    if ONE_WAY.contains(&family) {
        let trials = match need {
            Some(_) => &reached,
            None if !at_speed.is_empty() => &at_speed,
            None => examined,
        };
        one_way::judge(step, &bad, trials, &mut out);
    }
    if AT_SLOWER_PACES.contains(&family) {
        SLOWER.into_iter().for_each(|pace| at_pace(step, family, findings, pace, &mut out));
    }
    out
}

/// Families of which a slower pace by itself shows a fail. (The ceiling added after one that clipped from 0.15 m/s on, and handed on for
/// longer than a swipe lasts, had been left open: of the fast swipes one alone could be placed.)
const AT_SLOWER_PACES: [Family; 5] =
    [Family::Dropout, Family::SpinOut, Family::CarryOn, Family::WakeUp, Family::ReportCeiling];

/// Paces of which few swipes are made, beside the fast ones.
const SLOWER: [Pace; 2] = [Pace::Medium, Pace::Slow];

/// A slower pace of which more swipes show it than may: it leaves a step open, or fails it; a look of its own, or of
/// [`AT_SLOWER_PACES`], which share one for all of them, its share. (Added after sessions in which all medium swipes
/// had lost a third of their way had passed; then for all of these, after seven of ten slow ones had shown dropouts, of 80. They were
/// first left open, since whole looks would cost the fast swipes theirs: so were ten spin-outs in ten slow swipes.)
fn at_pace(step: &StepView, family: Family, findings: &[Finding], pace: Pace, out: &mut FamilyVerdict) {
    let bad = swipes_with(family, findings);
    let own = step
        .swipes()
        .filter(|(p, s)| p.span.phase.pace == Some(pace) && (!s.disturbed || bad.contains(&key(p, s))));
    let own: Vec<bool> = own.map(|(p, s)| bad.contains(&key(p, s))).collect();
    let (k, n) = (own.iter().filter(|bad| **bad).count() as u32, own.len() as u32);
    let limit = limits(step, family)[1].unwrap_or(1.0);
    if f64::from(k) <= limit * f64::from(n) {
        return;
    }
    let (name, what) = match pace {
        Pace::Slow => ("slow", "slow swipes that show it"),
        _ => ("medium", "medium swipes that show it"),
    };
    let shared = if AT_SLOWER_PACES.contains(&family) { AT_SLOWER_PACES.len() * SLOWER.len() } else { 1 };
    let looks = step.looks.saturating_mul(shared as u32);
    let criterion = decision::share_at_most(what, "share of swipes", k, n, limit, looks);
    out.because += &format!("; {k} of the {n} {name} ones");
    let worse = match (criterion.verdict, out.verdict) {
        (Outcome::Fail, before) => before != Outcome::Fail,
        (_, before) => before == Outcome::Pass,
    };
    if worse {
        out.verdict = criterion.verdict;
        out.estimate = criterion.estimate;
        out.tolerance = criterion.tolerance;
        let more =
            decision::swipes_to_settle(k, n, limit).filter(|_| criterion.verdict == Outcome::Inconclusive);
        let words = |more| {
            format!(
                "{}, if all are clean, or fewer that show it again",
                count(more, &format!("more {name} swipe"))
            )
        };
        out.to_settle = more.map(words);
    } else if let (Outcome::Inconclusive, Outcome::Inconclusive, Some(before), Some(more)) =
        (criterion.verdict, out.verdict, &mut out.to_settle, decision::swipes_to_settle(k, n, limit))
    {
        // That look is open, too. (Added after what was asked for had been done, and left it so.)
        *before += &format!("; and {} likewise", count(more, &format!("more {name} swipe")));
    }
    out.criteria.push(criterion);
}

/// Share of the events whose cause is known that tells for those of which it is not.
const MOST_KNOWN: f64 = 0.8;

/// The cause of events: that which all have whose cause is known, if these are [`MOST_KNOWN`] of them; else unknown. (First that of
/// all: two swipes that were short for no reason that showed, of 57, had made it unknown.)
pub(crate) fn common_cause(events: &[&Finding]) -> Option<Cause> {
    events.first()?;
    let known: Vec<Cause> = events.iter().map(|f| f.cause).filter(|c| *c != Cause::Unknown).collect();
    let most = known.len() as f64 >= MOST_KNOWN * events.len() as f64;
    let one = known.first().copied().filter(|first| most && known.iter().all(|cause| cause == first));
    Some(one.unwrap_or(Cause::Unknown))
}

/// Rounds a number for evidence, so that what is printed is what can be checked.
fn round(value: f64, digits: i32) -> Value {
    let factor = 10f64.powi(digits);
    // Zero has no sign.
    json!((value * factor).round() / factor + 0.0)
}
