//! Swipes of one direction that show a family, where those of the other do not.
//!
//! A sensor, a lens or firmware that adds up may be wrong one way alone. Then half of the swipes are sound, however many are
//! made, and a share over all of them settles nothing. So each direction is held against the tolerance by itself: one look of
//! the step, at half of its level for each direction. It fails a step, or leaves a pass open that the direction does not share. That it is one direction is said
//! where chance would part them so in one of a thousand (Fisher's exact test). Smallest found at 20 % by plan: 7 of 7 swipes.
//! (Added after a sensor that went blind in every swipe back, 7 of 15, had been told to need 48 more that are clean.) Any other part of
//! the swipes is [held](hold) against the tolerance likewise.
//! Cost: O(swipes).

use super::{key, limits, swipes_with};
use crate::compare::test::fisher;
use crate::decision::{share_at_most, swipes_to_fail};
use crate::step::StepView;
use crate::verdict::{Criterion, Direction, Family, FamilyVerdict, Finding, Outcome, count};
use std::collections::BTreeSet;

/// Families that may hold for one direction alone. (Those of the link and of power saving as well, since a device that had lost
/// counts in 28 of 36 swipes out and in none back had been left open: whatever the reason, half of its swipes are bad.)
pub(super) const ONE_WAY: [Family; 6] = [
    Family::Dropout,
    Family::TrackingLoss,
    Family::SpinOut,
    Family::CarryOn,
    Family::ReportCeiling,
    Family::WakeUp,
];
/// Chance at which directions differ by it, or what else parts the swipes.
pub(super) const BY_CHANCE: f64 = 1e-3;

/// Bad and all swipes of a direction.
pub(super) struct OneWay {
    direction: Direction,
    name: &'static str,
    what: &'static str,
    bad: u32,
    of: u32,
}

/// The worse direction and the other one, if chance does not part them so.
pub(super) fn differing(
    step: &StepView,
    bad: &BTreeSet<(u32, u32)>,
    examined: &BTreeSet<(u32, u32)>,
) -> Option<(OneWay, OneWay)> {
    let of = |direction: Direction, name, what| {
        let own = step.swipes().filter(|(_, s)| s.swipe.direction == direction).map(|(p, s)| key(p, s));
        let own: BTreeSet<(u32, u32)> = own.filter(|k| examined.contains(k)).collect();
        OneWay { direction, name, what, bad: bad.intersection(&own).count() as u32, of: own.len() as u32 }
    };
    let out = of(Direction::Out, "out", "swipes out that show it");
    let back = of(Direction::Back, "back", "swipes back that show it");
    let share = |way: &OneWay| f64::from(way.bad) / f64::from(way.of.max(1));
    let (worse, other) = if share(&out) >= share(&back) { (out, back) } else { (back, out) };
    let by_chance = fisher((worse.bad, worse.of), (other.bad, other.of))?;
    (by_chance <= BY_CHANCE).then_some((worse, other))
}

/// The direction in which the device loses track, where it is one.
pub(crate) fn of_losses(step: &StepView, findings: &[Finding]) -> Option<Direction> {
    let examined = step.fast_swipes().map(|(p, s)| key(p, s)).collect();
    let (worse, _) = differing(step, &swipes_with(Family::TrackingLoss, findings), &examined)?;
    Some(worse.direction)
}

/// Holds the swipes of each direction against the family's tolerance, and says where they differ.
pub(super) fn judge(
    step: &StepView,
    bad: &BTreeSet<(u32, u32)>,
    examined: &BTreeSet<(u32, u32)>,
    out: &mut FamilyVerdict,
) {
    let Some((worse, other)) = differing(step, bad, examined) else { return };
    out.because += &format!(
        "; it is one direction: {} of the {} {}, {} of the {} {}",
        worse.bad,
        count(worse.of, "swipe"),
        worse.name,
        other.bad,
        other.of,
        other.name,
    );
    hold(step, (worse.what, worse.bad, worse.of), ("more swipe", worse.name), out);
}

/// Holds a part of the swipes (what is counted, bad, and all of them) against the family's tolerance: fails it, or leaves its pass
/// open with how many more of which settle it: a noun, and which of these.
pub(super) fn hold(
    step: &StepView,
    (what, bad, of): (&'static str, u32, u32),
    (noun, which): (&str, &str),
    out: &mut FamilyVerdict,
) {
    if out.verdict == Outcome::Fail {
        return;
    }
    let limit = limits(step, out.family)[1].unwrap_or(1.0);
    // The part and the rest have half of the look each.
    let looks = step.looks.saturating_mul(2);
    let criterion = share_at_most(what, "share of swipes", bad, of, limit, looks);
    match criterion.verdict {
        Outcome::Fail => {
            out.verdict = Outcome::Fail;
            out.estimate = criterion.estimate;
            out.to_settle = None;
        }
        Outcome::Inconclusive => {
            let more = swipes_to_fail(bad, of, limit, looks);
            let words = |more| format!("{} {which}, if all show it", count(more, noun));
            out.to_settle = more.map(words).or(out.to_settle.take());
            out.verdict = Outcome::Inconclusive;
        }
        // Within the tolerance in that part as well.
        _ => return,
    }
    out.criteria.push(Criterion { verdict: out.verdict, ..criterion });
}
