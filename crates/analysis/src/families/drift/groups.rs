//! What each group of counts at rest is: a knock, a tremble, a settling that goes on, or a burst.
//!
//! - *Tremble*: it comes back to where it was (to a count, or [`BACK`] of its range) and spans two counts at most.
//! - *Knock*: it comes back and rings down: more than half of its path lies in the first half of its time, and its
//!   widest place as well, and it is over in [`SHORT`]. A damped swing about its place whose net is nothing; what is
//!   quantised away at a low resolution leaves a tremble. More than [`KNOCK_EVERY`] allows are no knocks: nobody knocks
//!   so often on a desk that is to be left alone (common practice, no source), and a fault may not hide so. They are
//!   bursts if they span more than [`STILL_SWING_MM`], else tremble.
//! - *Going on*: a settling decays, so it was at least as fast before. k counts one way within δ need a speed of
//!   (k − 1)/δ, and the way since the hand let go at t₀ is then at least (k − 1)/δ · (t − t₀) − 1 counts. This holds for
//!   every motion that slows down or stays as it is, whatever its shape, time constant and the resolution. A single
//!   burst does not meet it: two counts in 20 ms at 4 s need 200 counts before.
//! - *Pair*: one count on each axis. Two single counts of slow motions at λx and λy meet within δ by chance
//!   m = 2 δ ∫ λx λy dt times; if m is at most [`PAIR_LEVEL`] they are a burst. A rate is the trend's, and one count in
//!   the time on top.
//! - *Burst*: two counts or more on one axis that do not come back.

use super::rest::{Group, Pair, Rest, What};
use super::trend::{self, Trend};
use crate::tolerances::STILL_SWING_MM;

/// Longest burst or knock, nanoseconds: a desk top on legs rings for a few tenths of a second (common practice, no
/// source). What goes on for longer is a motion.
const SHORT: i64 = 500_000_000;
/// Coming back: net over range on each axis, or one count.
const BACK: f64 = 0.3;
/// One knock in so many seconds is left out, and one in any case.
const KNOCK_EVERY: f64 = 4.0;
/// A settling after the hand has let go is at most so long, mm: what pad and cable give (common practice, no source).
pub(super) const SETTLING_MOST_MM: f64 = 0.5;
/// The rate of report times and of the trend itself is known to this share.
const SLACK: f64 = 0.8;
/// Chance that slow motions make such a pair in this phase. (First 0.01: then every hundredth sound session has one.)
const PAIR_LEVEL: f64 = 1e-3;
/// With more groups than this one of them does not bend the trend.
const FEW: usize = 64;

/// Says of each group what it is. `slot` is the report interval in nanoseconds.
pub(super) fn sort(rest: &mut Rest, per_mm: Option<f64>, slot: f64) {
    let allowed = (rest.seconds / KNOCK_EVERY).floor().max(1.0) as usize;
    let wide = (STILL_SWING_MM * per_mm.unwrap_or(0.0)).max(2.0);
    let kinds: Vec<What> = rest.groups.iter().map(|g| kind(rest, g, per_mm, slot)).collect();
    let knocks = kinds.iter().filter(|k| **k == What::Knock).count();
    for (group, kind) in rest.groups.iter_mut().zip(kinds) {
        group.what = match kind {
            What::Knock if knocks <= allowed => What::Knock,
            // Comes back, and is no knock: its width says what it is.
            What::Knock | What::Tremble if group.range[0].max(group.range[1]) > wide => What::Burst,
            What::Knock => What::Tremble,
            other => other,
        };
    }
}

fn kind(rest: &Rest, group: &Group, per_mm: Option<f64>, slot: f64) -> What {
    if group.end - group.begin > SHORT {
        return What::Long;
    }
    let range = group.range[0].max(group.range[1]);
    if range <= 1.0 {
        return if group.turns > 0 { What::Tremble } else { What::Single };
    }
    let back = |axis: usize| group.net[axis].abs() <= (BACK * group.range[axis]).max(1.0);
    if group.turns > 0 && back(0) && back(1) {
        return if range > 2.0 && rings_down(rest, group) { What::Knock } else { What::Tremble };
    }
    if goes_on(rest, group, per_mm, slot) { What::Going } else { What::Burst }
}

/// More than half of the path, and the widest place, in the first half of the time.
fn rings_down(rest: &Rest, group: &Group) -> bool {
    let middle = group.begin + (group.end - group.begin) / 2;
    let (mut early, mut widest, mut place) = (0.0, (0.0, group.begin), [0.0f64; 2]);
    for s in &rest.samples[group.rows.clone()] {
        let (x, y) = (f64::from(s.x), f64::from(s.y));
        early += if s.t <= middle { x.hypot(y) } else { 0.0 };
        place = [place[0] + x, place[1] + y];
        let off = super::rest::length(place);
        widest = if off > widest.0 { (off, s.t) } else { widest };
    }
    early > 0.5 * group.path && widest.1 <= middle
}

/// True if what came before was at least as fast, on each axis that moves two counts or more.
fn goes_on(rest: &Rest, group: &Group, per_mm: Option<f64>, slot: f64) -> bool {
    let seconds = ((group.end - group.begin) as f64 + slot) * 1e-9;
    let most = per_mm.map_or(f64::INFINITY, |c| SETTLING_MOST_MM * c);
    (0..2).filter(|&axis| group.range[axis] >= 2.0).all(|axis| {
        let counts = group.net[axis].abs();
        let one_way = group.range[axis] <= counts + 1.0 && counts <= most;
        let rate = SLACK * (counts - 1.0) / seconds;
        let sign = group.net[axis].signum();
        one_way
            && rest.starts.iter().any(|(t, place)| {
                sign * (group.before[axis] - place[axis]) >= rate * (group.begin - t) as f64 * 1e-9 - 1.0
            })
    })
}

/// Chance, in this phase, that slow motions make one count on each axis so near to each other.
pub(super) fn pair_chance(rest: &Rest, group: &Group, trend: &Trend, slot: f64) -> f64 {
    const STEPS: usize = 64;
    let apart = ((group.end - group.begin) as f64 + slot) * 1e-9;
    let step = rest.seconds / STEPS as f64;
    let meet: f64 = (0..STEPS)
        .map(|i| {
            let rate: Pair = trend.rate((i as f64 + 0.5) * step);
            rate.iter().map(|r| r.abs() + 1.0 / rest.seconds).product::<f64>()
        })
        .sum();
    -(-2.0 * apart * meet * step).exp_m1()
}

/// Fits the trend and marks the pairs that no slow motion explains. Each is held against the trend of all the rest, as
/// long as there are few enough that one could bend it.
pub(super) fn pairs(rest: &mut Rest, most: f64, slot: f64) -> Trend {
    let trend = trend::fit(rest, most);
    let single = |g: &Group| g.what == What::Single && g.net[0] != 0.0 && g.net[1] != 0.0;
    let suspects: Vec<usize> = (0..rest.groups.len()).filter(|&i| single(&rest.groups[i])).collect();
    if suspects.is_empty() {
        return trend;
    }
    let few = rest.groups.len() <= FEW;
    let mut hits = Vec::new();
    for i in suspects {
        let without = if few {
            rest.groups[i].what = What::Pair;
            let without = trend::fit(rest, most);
            rest.groups[i].what = What::Single;
            without
        } else {
            trend
        };
        if pair_chance(rest, &rest.groups[i], &without, slot) <= PAIR_LEVEL {
            hits.push(i);
        }
    }
    hits.iter().for_each(|&i| rest.groups[i].what = What::Pair);
    if hits.is_empty() { trend } else { trend::fit(rest, most) }
}
