//! Dropout: reports missing while the device moves.
//!
//! Detects a [silence](crate::silence) at speed after which the hand's speed is what the flanks say, and that is no
//! [tracking loss](super::tracking_loss). Two kinds, told apart by the make-up ratio q = (first report after − one
//! slot's counts) / (counts missing by the flanks): *late* (q near 1: the device kept counting, the report came late,
//! as with a radio's retry) and *lost* (q near 0: the counts are gone).
//!
//! Decides on the share of swipes with at least one dropout, exact limits. A swipe counts if it is fast enough to show
//! one: at least [`DUE`] counts a slot, or a millisecond if that is longer, over half of its way.
//!
//! Cause: the link if silences recur (two swipes or more); a single one may be a lift, and one over the fastest part of
//! the fastest swipes a loss of tracking: both are said to be unknown, the latter where it is not one of many elsewhere.
//! Counts that are lost on a [`CABLE`] are not its doing, since a report that is not acknowledged there is sent again (USB
//! 2.0 section 8.5.4, from memory): what became of them in the device is unknown. Where the header says nothing, a radio is likelier than that, and the reason says both.
//! Lost ones that keep to the faster swipes may be the sensor's: see [`clock`].
//! A swipe in which the device [went away](crate::step::Away) from the computer, as the file says, shows one, *went away*, whatever
//! its speed and whether or not a silence is seen in it: the link's, unless that is a cable. There the contact, the device, or what
//! feeds both may have done it. Where a reference device went away at the same time ([`TOGETHER`]) a hub or this computer may have
//! done it, and such swipes by themselves fail no device. (First the link's on a cable as well, and told of silences at speed only.)
//! Assumes that the report interval is known and stamps are finer than it. Smallest found: two reports in a row, and
//! 1 mm of travel, at three counts a slot, begun 4 mm and more from both turning points; of lost ones after which the hand
//! strikes the stop within two reports, so that nothing tells its speed, 15 mm and 16 standard deviations of a stop; at 8 ms one
//! report that is lost, where its swipe is short for it. (First
//! written "4 mm and more from both turning points": seen then, 1.5 % of late ones missed, nearly all of two reports at 4
//! and 8 ms into the stop, which their own counts tell; and 0.4 % of lost ones, most of them 1 to 15 mm into the stop. Then
//! 7 of 11 lost alone at 8 ms, of 9 to 17 mm, came out as a gain.)
//! Cost: O(reports).

mod clock;

use super::tracking_loss::{Losses, no_more_than_is_missing};
use super::{Detector, Event, coarse_stamps, in_swipe, limits, no_scale, round, share, swipes_with};
use crate::after_rest::{Later, What};
use crate::periodicity;
use crate::series::DUE;
use crate::silence::{CELL, LEAST_MM, LEAST_SLOTS, MakeUp, Silence, due_mm_s};
use crate::step::{Away, PhaseView, Scale, StepView, SwipeView};
use crate::verdict::{Cause, Family, FamilyVerdict, Finding, Outcome};
use serde_json::json;

pub(super) struct Dropout;

/// Kind of those whose counts did not come later, and of those that did.
pub(super) const LOST: &str = "lost";
pub(super) const LATE: &str = "late";
/// And of those in which the device went away from the computer, as the file says.
pub(super) const AWAY: &str = "went away";
/// Key of the number of reports that one is long.
pub(super) const REPORTS_MISSING: &str = "reports_missing";
/// Key of what one hides by the speed on either side, mm: where lengths lack as much, the expected motion is short as well.
pub(super) const BY_THE_FLANKS: &str = "mm_by_the_flanks";

/// Evidence that it did, and after how long it was back.
const WENT_AWAY: &str = "device_went_away";
const BACK_AFTER: &str = "back_after_ms";

/// Devices of one hub are told to have gone one after another within this, nanoseconds (common practice, no source).
const TOGETHER: i64 = 1_000_000_000;

/// Swipes with a dropout from which on it recurs.
const RECURS: usize = 2;
/// As the header of a session spells it.
pub(super) const CABLE: &str = "cable";

impl Detector for Dropout {
    fn family(&self) -> Family {
        Family::Dropout
    }

    fn required(&self, _: &StepView) -> bool {
        true
    }

    fn detect(&self, step: &StepView, findings: &mut Vec<Finding>) {
        if step.coarse_clock() {
            return;
        }
        let losses = Losses::new(step);
        let clipped = swipes_with(Family::ReportCeiling, findings);
        let (mut own, mut may_be_loss) = (Vec::new(), Vec::new());
        for (phase, swipe) in step.swipes().filter(|(p, s)| !clipped.contains(&super::key(p, s))) {
            let silences = swipe.silences.iter();
            let own_doing =
                |s: &&Silence| losses.went_away(swipe, s) || (!s.to_the_end && !losses.is_loss(swipe, s));
            let mut told = false;
            for silence in silences.filter(|s| !s.host).filter(own_doing) {
                let went_away = losses.went_away(swipe, silence);
                let late = silence.kind == MakeUp::Late;
                let kept_by_link = !late && step.link == Some(CABLE);
                let hidden = if silence.held { silence.missing_mm } else { swipe.grid.silent_mm(silence) };
                let expected_mm = if late { hidden } else { no_more_than_is_missing(step, swipe, hidden) };
                let made_up = if late { expected_mm } else { 0.0 };
                let event = Event {
                    family: Family::Dropout,
                    kind: match went_away {
                        true => AWAY,
                        false if late => LATE,
                        false => LOST,
                    },
                    begin: silence.begin,
                    end: losses.end(swipe, silence),
                    size: expected_mm,
                    unit: "mm of travel",
                    cause: if kept_by_link { Cause::Unknown } else { Cause::Link },
                };
                let evidence = json!({
                    REPORTS_MISSING: round(silence.slots, 1),
                    "counts_per_s_before": round(silence.speed_before, 0),
                    "counts_per_s_after": round(silence.speed_after, 0),
                    BY_THE_FLANKS: round(silence.missing_mm, 2),
                    "make_up_ratio": round(silence.make_up, 2),
                    "mm_made_up": round(made_up, 2),
                });
                let mut finding = in_swipe(step, phase, swipe, event, evidence);
                if went_away {
                    say_away(&mut finding, swipe);
                }
                may_be_loss.push(losses.may_be_loss(swipe, silence));
                own.push(finding);
                told |= went_away;
            }
            if let Some(finding) = unseen(step, phase, swipe).filter(|_| !told) {
                may_be_loss.push(false);
                own.push(finding);
            }
        }
        for phase in &step.phases {
            let free = |f: &Finding| !own.iter().any(|o| (o.phase, o.swipe) == (f.phase, f.swipe));
            let late: Vec<Finding> = held_back(step, phase).filter(free).collect();
            may_be_loss.extend(late.iter().map(|_| false));
            own.extend(late);
        }
        let some_may = may_be_loss.iter().filter(|may| **may).count();
        // Where most are the link's own, those that lie over a peak are, too: the peak lies somewhere.
        let chance = 2 * some_may < own.len();
        let recurs = swipes_with(Family::Dropout, &own).len() >= RECURS;
        let untold = |may: bool| !recurs || (may && !chance);
        own.iter_mut()
            .zip(may_be_loss)
            .filter(|(f, may)| untold(*may) && !f.evidence.contains_key(WENT_AWAY))
            .for_each(|(f, _)| f.cause = Cause::Unknown);
        if clock::kept(step, &own).is_some_and(|kept| kept.medium) {
            own.iter_mut().filter(|f| f.kind == LOST).for_each(|f| f.cause = Cause::Unknown);
        }
        findings.extend(own);
    }

    fn decide(&self, step: &StepView, findings: &[Finding]) -> FamilyVerdict {
        if step.coarse_clock() {
            return coarse_stamps(step, Family::Dropout);
        }
        let Some(scale) = step.scale else {
            return no_scale(step, Family::Dropout);
        };
        let seen = swipes_with(Family::Dropout, findings);
        let shows =
            |(p, s): &(&PhaseView, &SwipeView)| would_show(s, scale) || seen.contains(&super::key(p, s));
        let examined = step.swipes().filter(shows).map(|(p, s)| super::key(p, s)).collect();
        let mut out = share(step, Family::Dropout, findings, &examined, "");
        out.smallest_found = Some(LEAST_MM.max(LEAST_SLOTS * DUE as f64 / scale.counts_per_mm));
        out.tolerance = limits(step, Family::Dropout);
        if let Some(period) = periodicity::of_family(step, findings, Family::Dropout) {
            out.because += &period.words();
        }
        out.because += &clock::kept(step, findings).map(|kept| kept.words()).unwrap_or_default();
        let away = || findings.iter().filter(|f| f.kind == AWAY);
        if away().next().is_some() {
            let came_back = away().all(|f| f.evidence.contains_key(BACK_AFTER));
            let and = if came_back { " and came back" } else { "" };
            out.because += &format!("; in {} the device went away from the computer{and}", away().count());
        }
        let own = || findings.iter().filter(|f| f.family == Family::Dropout);
        let with_it = |f: &Finding| {
            let gone = step.reference.map_or(&[][..], |reference| &reference.gone);
            f.kind == AWAY && gone.iter().any(|t| (t.0.saturating_sub(f.begin_ns)).abs() <= TOGETHER)
        };
        if own().next().is_some() && own().all(with_it) {
            out.because += ", and the reference with it: a hub or this computer may have done it";
            if out.verdict == Outcome::Fail {
                out.verdict = Outcome::Inconclusive;
                out.to_settle = Some("the same with each device at a port of its own".to_owned());
            }
        }
        if seen.len() >= RECURS && lost(findings) {
            out.because += match step.link {
                Some(CABLE) => {
                    "; counts were lost though a cable sends again what goes lost on it: they are missing from the \
                     device's own reports"
                }
                None => {
                    "; lost counts are those of a radio link, or, on a cable, were missing from the device's own reports"
                }
                Some(_) => "",
            };
        }
        out
    }
}

/// Says in a finding that the device went away.
fn say_away(finding: &mut Finding, swipe: &SwipeView) {
    finding.evidence.insert(WENT_AWAY.to_owned(), json!(true));
    if let Some((away, back)) = swipe.away.and_then(|away| Some((away, away.back?))) {
        let ms = round(1e-6 * back.saturating_sub(away.gone) as f64, 1);
        finding.evidence.insert(BACK_AFTER.to_owned(), ms);
    }
}

/// A swipe in which the device went away and that shows no silence for it: all that it lacks is missing by that.
fn unseen(step: &StepView, phase: &PhaseView, view: &SwipeView) -> Option<Finding> {
    // What the computer did by sleeping, the recording says.
    let asleep = |away: &Away| step.host.may_lose(away.gone, away.back.unwrap_or(away.gone));
    let away = view.away.filter(|away| !asleep(away))?;
    let per_mm = step.scale.map_or(1.0, |s| s.counts_per_mm);
    let event = Event {
        family: Family::Dropout,
        kind: AWAY,
        begin: away.gone,
        end: away.back.unwrap_or(away.gone),
        size: ((view.swipe.one_travel - view.swipe.along) / per_mm).max(0.0),
        unit: "mm of travel",
        cause: if step.link == Some(CABLE) { Cause::Unknown } else { Cause::Link },
    };
    let mut finding = in_swipe(step, phase, view, event, json!({}));
    say_away(&mut finding, view);
    Some(finding)
}

/// What one report brings late, after the device had come to rest.
fn held_back<'a>(step: &'a StepView, phase: &'a PhaseView) -> impl Iterator<Item = Finding> + 'a {
    let per_mm = step.scale.map_or(1.0, |s| s.counts_per_mm);
    let own = |later: &Later| later.what == What::HeldBack && !step.host.explain(later.rest, later.end);
    phase.later.iter().copied().filter(own).filter_map(move |later| {
        let view = phase.swipes.get(later.swipe)?;
        let event = Event {
            family: Family::Dropout,
            kind: LATE,
            begin: later.rest,
            end: later.end,
            size: later.counts / per_mm,
            unit: "mm of travel",
            cause: Cause::Link,
        };
        let evidence = json!({
            "ms_after_the_stop": round(1e-6 * later.end.saturating_sub(later.rest) as f64, 1),
            "mm_made_up": round(later.counts / per_mm, 2),
        });
        Some(in_swipe(step, phase, view, event, evidence))
    })
}

/// True if most of the dropouts have lost their counts.
fn lost(findings: &[Finding]) -> bool {
    let own = || findings.iter().filter(|f| f.family == Family::Dropout);
    2 * own().filter(|f| f.kind == LOST).count() > own().count()
}

/// True if the swipe moves at [`DUE`] counts a slot, or a millisecond where that is longer, over half of its way.
fn would_show(swipe: &SwipeView, scale: Scale) -> bool {
    let grid = &swipe.grid;
    let due = due_mm_s(scale.counts_per_mm, grid.slot.max(CELL));
    let (fast, all) =
        grid.expected_mm_s.iter().fold((0.0, 0.0), |(f, a), &v| (if v >= due { f + v } else { f }, a + v));
    fast > 0.5 * all
}
