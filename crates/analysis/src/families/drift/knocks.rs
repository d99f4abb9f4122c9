//! Knocks on the desk that come again and again: somebody walks or types, and the rest is not still.
//!
//! - *Apart*: knocks that ring until the next one make one long group. Where it comes back, it is cut wherever the place
//!   keeps to two neighbouring counts on each axis for as long as sets groups apart: an edge toggles on any movement. The
//!   parts stand for it if [`MOST`] of those wider than that ring down.
//! - *Recurring*: more than nobody's, [`most`]. A tremble does not know which way time runs, and a part of it rings down at
//!   most every other time: they are knocks if so many of the groups that come back do so by chance with less than
//!   [`LEVEL`] (binomial), and else what they were: bursts or a tremble.
//! - *Slid*: a knock by which the device slides a little does not come back: it swings about where it ends, and ever less. Its
//!   swings, from turn to turn, are so at least three, each at most [`LESS`] of the one before it, and the second [`SWUNG`]
//!   counts or more: an edge that toggles makes one. A burst runs one way. (Added after knocks of 0.07 mm at 45 Hz that are over
//!   in 50 ms, and those on a device that creeps meanwhile, had been told as bursts of the surface.)
//! - *Hard*: a swing of a half width A at f asks of the desk an acceleration of A (2πf)². Beyond [`SHAKEN`] whatever lies
//!   loose on it slides. That happens to a desk once, if somebody strikes it; what does so again and again is no step and
//!   no key, so a fault may not hide in it.

use super::rest::{GROUP, Group, Pair, Rest, What, group, length, moved};
use crate::series::Sample;
use statrs::distribution::{Binomial, DiscreteCDF};
use std::f64::consts::PI;

/// Longest burst or knock, nanoseconds: a desk top on legs rings for a few tenths of a second (common practice, no
/// source). What goes on for longer is a motion.
pub(super) const SHORT: i64 = 500_000_000;
/// Coming back: net over range on each axis, or one count.
pub(super) const BACK: f64 = 0.3;
/// One knock in so many seconds is left out, and one in any case.
const EVERY: f64 = 4.0;
/// Share of the parts of a long group that ring down, if it is knocks.
const MOST: f64 = 0.9;
/// Chance at which a tremble is taken for knocks.
const LEVEL: f64 = 0.01;
/// What a desk does that people walk and type about, at most, m/s²: 0.3 of a body's weight, the friction of feet on a pad
/// (common practice, no source; floors that people complain of do a tenth of it).
const SHAKEN: f64 = 3.0;

/// Knocks in a rest that are left out: nobody knocks more often on a desk that is to be left alone (common practice, no
/// source).
pub(super) fn most(rest: &Rest) -> usize {
    (rest.seconds / EVERY).floor().max(1.0) as usize
}

/// True if it ends where it began, to `counts` or a share of its range.
pub(super) fn comes_back(group: &Group, counts: f64) -> bool {
    group.turns > 0 && (0..2).all(|axis| group.net[axis].abs() <= (BACK * group.range[axis]).max(counts))
}

/// More than half of the path, and the widest place, in the first half of the time; of the group, or of what is left of it
/// without counts that came [before](without_counts_before).
pub(super) fn rings_down(samples: &[Sample], group: &Group) -> bool {
    let rings = |group: &Group| rings_down_as_it_is(samples, group);
    rings(group) || without_counts_before(samples, group).is_some_and(|knock| rings(&knock))
}

/// Reports of a knock that are left, at the least.
const LEFT: usize = 4;

/// A group without the counts that it begins with, each further from the next than any that follow are from each other: what rings
/// makes no such pauses, and what creeps does. (Added after a knock on a device that creeps had been told as a burst, since it
/// began with a count or two of the creep.)
fn without_counts_before(samples: &[Sample], whole: &Group) -> Option<Group> {
    let rows = whole.rows.clone();
    let pauses: Vec<i64> = samples.get(rows.clone())?.windows(2).map(|w| w[1].t - w[0].t).collect();
    let longer = |i: &usize| pauses[i + 1..].iter().all(|later| pauses[*i] > *later);
    let before = (0..pauses.len().saturating_sub(LEFT - 1)).take_while(longer).count();
    let skipped = samples[rows.start..rows.start + before].iter();
    let place = skipped.fold(whole.before, moved);
    (before > 0).then(|| group(samples, rows.start + before..rows.end, place))
}

fn rings_down_as_it_is(samples: &[Sample], group: &Group) -> bool {
    let middle = group.begin + (group.end - group.begin) / 2;
    let (mut early, mut widest, mut place) = (0.0, (0.0, group.begin), [0.0f64; 2]);
    for s in &samples[group.rows.clone()] {
        early += if s.t <= middle { f64::from(s.x).hypot(f64::from(s.y)) } else { 0.0 };
        place = moved(place, s);
        let off = length(place);
        widest = if off > widest.0 { (off, s.t) } else { widest };
    }
    early > 0.5 * group.path && widest.1 <= middle
}

/// Of a swing that dies away, over the one before it, and one that is more than an edge's; see the header.
const LESS: f64 = 0.75;
const SWUNG: f64 = 2.0;
/// Counts by which a place turns back, along its own direction: one count on either axis is that at least.
const TURNED: f64 = 0.7;

/// True if a group swings about where it ends, and ever less.
pub(super) fn swings_out(samples: &[Sample], group: &Group) -> bool {
    let mut place = [0.0f64; 2];
    let places: Vec<Pair> = samples[group.rows.clone()]
        .iter()
        .map(|s| {
            place = moved(place, s);
            place
        })
        .collect();
    let Some(far) = places.iter().copied().max_by(|a, b| length(*a).total_cmp(&length(*b))) else {
        return false;
    };
    let off = length(far).max(1.0);
    // From one turn to the next, along the way to the farthest place.
    let (mut swings, mut from, mut to) = (Vec::new(), 0.0f64, 0.0f64);
    for place in places {
        let at = (place[0] * far[0] + place[1] * far[1]) / off;
        let sign = if to < from { -1.0 } else { 1.0 };
        if sign * (at - to) >= 0.0 {
            to = at;
        } else if sign * (to - at) >= TURNED {
            swings.push((to - from).abs());
            (from, to) = (to, at);
        }
    }
    swings.push((to - from).abs());
    let [first, second, third, ..] = swings[..] else { return false };
    let small = |swing: &f64| *swing <= LESS * second;
    second >= SWUNG && second <= LESS * first && third >= TURNED && swings[2..].iter().all(small)
}

/// Cuts long groups that are knocks into those, and says so of each.
pub(super) fn cut(rest: &mut Rest) {
    let groups = std::mem::take(&mut rest.groups);
    for group in groups {
        let long = group.end - group.begin > SHORT && comes_back(&group, 1.0);
        match long.then(|| parts(&rest.samples, &group)).and_then(|parts| knocks(&rest.samples, parts)) {
            Some(parts) => {
                rest.joined = true;
                rest.groups.extend(parts);
            }
            None => rest.groups.push(group),
        }
    }
}

/// These parts of a group, if they are knocks.
fn knocks(samples: &[Sample], mut parts: Vec<Group>) -> Option<Vec<Group>> {
    let (mut wide, mut knocks) = (0, 0);
    for part in &mut parts {
        if width(part) <= 2.0 {
            part.what = What::Tremble;
            continue;
        }
        wide += 1;
        // Where it rests before and after, the place is one of two counts.
        if part.end - part.begin <= SHORT && comes_back(part, 2.0) && rings_down(samples, part) {
            part.what = What::Knock;
            knocks += 1;
        }
    }
    (knocks > 0 && f64::from(knocks) >= MOST * f64::from(wide)).then_some(parts)
}

/// A group, cut where it keeps to two neighbouring counts for [`GROUP`].
fn parts(samples: &[Sample], whole: &Group) -> Vec<Group> {
    let rows = whole.rows.clone();
    let mut place = whole.before;
    let places: Vec<Pair> = samples[rows.clone()]
        .iter()
        .map(|s| {
            place = moved(place, s);
            place
        })
        .collect();
    let (mut edges, mut i) = (vec![0], 0);
    while i < places.len() {
        let leaves = i + keeps(&places[i..]);
        let until = samples[rows.clone()].get(leaves).map_or(whole.end, |s| s.t);
        if until - samples[rows.start + i].t >= GROUP {
            edges.extend([i + 1, leaves]);
            i = leaves;
        } else {
            i += 1;
        }
    }
    edges.push(places.len());
    edges.dedup();
    let before = |row: usize| if row == 0 { whole.before } else { places[row - 1] };
    let part = |w: &[usize]| group(samples, rows.start + w[0]..rows.start + w[1], before(w[0]));
    edges.windows(2).map(part).collect()
}

/// How many of these places, the first and on, keep to two neighbouring counts on each axis.
fn keeps(places: &[Pair]) -> usize {
    let Some(first) = places.first() else { return 0 };
    let (mut low, mut high) = (*first, *first);
    let leaves = places.iter().position(|place| {
        low = [0, 1].map(|axis| low[axis].min(place[axis]));
        high = [0, 1].map(|axis| high[axis].max(place[axis]));
        (0..2).any(|axis| high[axis] - low[axis] > 1.0)
    });
    leaves.unwrap_or(places.len())
}

/// Range on the axis on which it is larger.
pub(super) fn width(group: &Group) -> f64 {
    group.range[0].max(group.range[1])
}

/// True if more knocks than are left out are what people about a desk do: so many of all `swings`, groups that come back
/// and span more than two counts.
pub(super) fn of_the_desk(knocks: &[&Group], swings: usize, per_mm: f64) -> bool {
    let (Some(more), Ok(all)) = (knocks.len().checked_sub(1), Binomial::new(0.5, swings as u64)) else {
        return false;
    };
    let mut accelerations: Vec<f64> = knocks.iter().map(|g| acceleration(g, per_mm)).collect();
    accelerations.sort_by(f64::total_cmp);
    all.sf(more as u64) < LEVEL && accelerations[more / 2] <= SHAKEN
}

/// Of a swing as wide and as quick as a knock, m/s².
fn acceleration(knock: &Group, per_mm: f64) -> f64 {
    let axes = knock.range.iter().filter(|&&range| range >= 2.0).count().max(1) as f64;
    let seconds = (knock.end - knock.begin).max(1) as f64 * 1e-9;
    // From turn to turn is half a period.
    let angular = PI * f64::from(knock.turns) / axes / seconds;
    0.5e-3 * width(knock) / per_mm * angular * angular
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::families::drift::rest::group;

    /// Two counts of a creep, and what rings after them.
    #[test]
    fn counts_that_a_knock_begins_with_by_chance_are_not_its_own() {
        let knock = [
            (0, 1),
            (20, 1),
            (38, 1),
            (40, 2),
            (48, -1),
            (50, -1),
            (52, -1),
            (54, -1),
            (58, -1),
            (66, 1),
            (72, 1),
            (76, 1),
            (84, -1),
            (92, -1),
            (104, 1),
        ];
        let of = |counts: &[(i64, i32)]| -> Vec<Sample> {
            let one =
                |&(ms, x): &(i64, i32)| Sample { t: ms * 1_000_000, x, y: 0, timed: true, idle_before: 0 };
            counts.iter().map(one).collect()
        };
        let rings = |counts: &[(i64, i32)]| {
            let samples = of(counts);
            rings_down(&samples, &group(&samples, 0..samples.len(), [0.0; 2]))
        };
        assert!(rings(&knock) && rings(&knock[2..]));
        // Swings that do not die away, and such as grow.
        let even: Vec<(i64, i32)> = (0..16).map(|i| (8 * i, if i % 4 < 2 { 2 } else { -2 })).collect();
        assert!(!rings(&[&[(-40, 1), (-20, 1)], &even[..]].concat()));
        let grown: Vec<(i64, i32)> = knock[2..].iter().rev().map(|(ms, x)| (104 - ms, *x)).collect();
        assert!(!rings(&grown));
        let samples = of(&knock);
        let left = without_counts_before(&samples, &group(&samples, 0..samples.len(), [0.0; 2])).unwrap();
        assert_eq!((left.rows, left.before), (2..15, [2.0, 0.0]));
    }

    fn swings(counts: &[(i32, i32)]) -> bool {
        let one = |(i, &(x, y)): (usize, &(i32, i32))| Sample {
            t: i as i64 * 8_000_000,
            x,
            y,
            timed: true,
            idle_before: 0,
        };
        let samples: Vec<Sample> = counts.iter().enumerate().map(one).collect();
        swings_out(&samples, &group(&samples, 0..samples.len(), [0.0; 2]))
    }

    #[test]
    fn what_swings_about_where_it_ends_is_a_knock_and_a_run_of_counts_is_none() {
        assert!(swings(&[(7, -3), (14, -5), (-8, 3), (2, 0), (1, -1), (-1, 1)]));
        assert!(swings(&[(1, 0), (7, -2), (-2, 1), (1, 0), (-1, 0)]));
        assert!(!swings(&[(3, 1), (4, 2), (3, 1), (2, 1)]), "one way");
        assert!(!swings(&[(8, 1), (-1, 0), (1, 0), (-1, 0)]), "an edge that toggles after it");
        assert!(!swings(&[(8, 1), (-7, 0), (7, 1), (-8, 0), (9, 0)]), "does not die away");
        assert!(!swings(&[(1, 0), (-3, 0), (9, 0)]), "grows");
        assert!(!swings(&[]));
    }
}
