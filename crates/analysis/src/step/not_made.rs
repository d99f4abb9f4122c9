//! Swipes that a phase asked for and that nobody saw: not made, or made and not shown by the device.
//!
//! - *Made elsewhere*: a later phase of the same step and pace asks for as many as one lacks; or for as many and more, and for fewer
//!   than that one did, as no block of a plan does. Then the operator has made up for them, and what that phase lacks in turn is its own.
//! - *No time for them*: an unseen swipe takes as long as its operator takes for one, from the end of a swipe to the end of the next.
//!   Between two neighbours of opposite directions lies an even number, and a rest: two take twice the shortest time of [`MANY`] seen
//!   and more (that both are as short as the shortest, and the rest too, comes once in n³ times). Beside a line one takes no less than the
//!   lower prediction limit (normal) for one more at [`HASTE`]; where a phase goes on from the stop at which the one before ended,
//!   an even number lies before its first. Never less than an arm's time for the travel ([`ARM_SPEED`]) and a [`DWELL`].
//! - *Cut short*: of a phase in which the recording stopped nobody says that all were made. What may have been is what its time
//!   after the last swipe hides; into time that was not recorded go as many as one likes.
//! - Else nobody can tell: they stay *unplaced*, since a device that shows nothing of a swipe must not pass.
//!
//! Assumes that no more were made than asked, that one swipes as evenly where nothing is seen, and that the operator's own number,
//! where he gave one, is right. A return that must have been made, by its neighbours, is unplaced whatever was asked.
//!
//! (Added after sound sessions had been left open for good by a swipe that the operator had counted and not made, by those that he
//! had made later, and by those to which a recording that was cut off had not come.)
//! Cost: O(swipes + phases²).

use super::{Ends, PhaseView, is_swipes};
use crate::erratic::ARM_SPEED;
use crate::stats::{mean_sd, t_quantile};
use slipgauge_trace::Metres;

/// Swipes that tell how long one takes.
const MANY: usize = 9;
/// Chance that one is done in less time than the limit says.
const HASTE: f64 = 1e-3;
/// No rest at a stop is shorter, nanoseconds (as in [`crate::swipes`]: common practice, no source).
const DWELL: f64 = 1e8;

/// What of the swipes that phases asked for and nobody saw may have been made, as [`PhaseView::unplaced`] and
/// [`PhaseView::lacks`]. `told` says in which phases the operator gave the number of swipes that he made.
pub(super) fn settle(phases: &mut [PhaseView], told: &[bool], travel: Option<Metres>, ends: &Ends) {
    for phase in phases.iter_mut() {
        let seen = (phase.swipes.len() as u32).saturating_add(phase.unplaced);
        phase.lacks = phase.span.swipes().unwrap_or(0).saturating_sub(seen);
    }
    let own = |at: usize| told.get(at).copied().unwrap_or(false);
    let mut taken = vec![false; phases.len()];
    for at in (0..phases.len()).filter(|at| !own(*at)) {
        let made_up = made_up(phases, at, &mut taken);
        let Some(phase) = phases.get_mut(at).filter(|_| made_up > 0) else { continue };
        phase.lacks -= made_up;
        phase.span.made = phase.span.swipes().map(|asked| asked - made_up);
    }
    let most: Vec<u32> = (0..phases.len()).map(|at| hidden(phases, at, travel, ends)).collect();
    for (at, (phase, most)) in phases.iter_mut().zip(most).enumerate() {
        phase.lacks = if own(at) { phase.lacks } else { most };
        phase.unplaced = phase.unplaced.saturating_add(phase.lacks);
    }
}

/// How many of the swipes that a phase lacks later ones have made up for.
fn made_up(phases: &[PhaseView], at: usize, taken: &mut [bool]) -> u32 {
    let Some(phase) = phases.get(at).filter(|p| p.lacks > 0) else { return 0 };
    let own = phase.span.swipes().unwrap_or(0);
    let kind = |p: &PhaseView| (p.span.phase.task.clone(), p.span.phase.pace);
    let mut lacks = phase.lacks;
    for (later, taken) in phases.iter().zip(taken.iter_mut()).skip(at + 1) {
        let asked = later.span.swipes().unwrap_or(0);
        let of_it = asked == lacks || (1..own).contains(&asked);
        if lacks > 0 && of_it && !*taken && kind(later) == kind(phase) {
            *taken = true;
            lacks = lacks.saturating_sub(asked);
        }
    }
    phase.lacks - lacks
}

/// How many of the swipes that a phase lacks its time may hide.
fn hidden(phases: &[PhaseView], at: usize, travel: Option<Metres>, ends: &Ends) -> u32 {
    let Some(phase) = phases.get(at).filter(|p| p.lacks > 0) else { return 0 };
    let swipes = || phase.swipes.iter().map(|s| &s.swipe);
    let pairs = || swipes().zip(swipes().skip(1));
    let lasts = |from: i64, to: i64| to.saturating_sub(from).max(0) as f64;
    let times = |least: f64, from: i64, to: i64| (lasts(from, to) / least).min(f64::from(u32::MAX)) as u32;
    // One that the file cuts off has not ended.
    let whole = pairs().filter(|(_, b)| !ends.cuts_off(b.end));
    let seen: Vec<f64> = whole.map(|(a, b)| lasts(a.end, b.end)).collect();
    let by_arm = DWELL + travel.map_or(0.0, |t| t.millimetres() * 1e6 / ARM_SPEED);
    let enough = seen.len() >= MANY;
    let least = |limit: Option<f64>| limit.filter(|_| enough).unwrap_or(0.0).max(by_arm);
    let (between, beside) = (least(seen.iter().copied().reduce(f64::min)), least(one_more(&seen)));
    let (begin, end) = (phase.span.begin.0, phase.span.end.0);
    let last = swipes().next_back().map_or(begin, |s| s.end);
    let after = if ends.interrupted(last, end) { 0 } else { times(beside, last, end) };
    if ends.interrupted(begin, end) || ends.cuts_off(end) {
        return phase.lacks.min(after);
    }
    let rest =
        pairs().map(|(a, b)| lasts(a.end, b.begin)).reduce(f64::min).filter(|_| enough).unwrap_or(DWELL);
    let pairs = pairs().map(|(a, b)| {
        // The return between two of one direction is counted.
        let returns = u32::from(a.direction == b.direction);
        times(between, a.end.saturating_add(rest as i64), b.begin).saturating_sub(returns) / 2 * 2
    });
    let mut even = pairs.fold(0, u32::saturating_add);
    let mut any = after;
    let before = times(beside, begin, swipes().next().map_or(begin, |s| s.begin));
    if at.checked_sub(1).and_then(|at| phases.get(at)).is_some_and(|p| goes_on(p, phase)) {
        even = even.saturating_add(before / 2 * 2);
    } else {
        any = any.saturating_add(before);
    }
    let lacks = if any == 0 { phase.lacks / 2 * 2 } else { phase.lacks };
    lacks.min(even.saturating_add(any))
}

/// The least time that one more may take after some that took so long.
fn one_more(seen: &[f64]) -> Option<f64> {
    let (mean, sd) = mean_sd(seen)?;
    let n = seen.len() as f64;
    Some(mean - t_quantile(1.0 - HASTE, n - 1.0) * sd * (1.0 + 1.0 / n).sqrt())
}

/// True if a phase begins at the stop at which the one right before it ended.
fn goes_on(before: &PhaseView, phase: &PhaseView) -> bool {
    let next = before.span.number.checked_add(1) == Some(phase.span.number);
    let ends = before.swipes.last().zip(phase.swipes.first());
    let alternate = ends.is_some_and(|(a, b)| a.swipe.direction != b.swipe.direction);
    // Whoever makes an unseen swipe at its end makes an odd number here.
    next && alternate && is_swipes(&before.span) && before.lacks == 0
}
