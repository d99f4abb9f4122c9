//! What each group of counts at rest is: a knock, a tremble, a settling that goes on, or a burst.
//!
//! - *Tremble*: it comes back to where it was (to a count, or [`knocks::BACK`] of its range) and spans two counts at most,
//!   or it is half of a slower swing: the place was where it goes within [`SWING`] before, and comes back within as much.
//!   One whose counts come less than 0.1 s apart is one group, one whose counts don't is many; the signal is the same.
//! - *Knock*: it comes back and rings down: more than half of its path lies in the first half of its time, and its
//!   widest place as well, and it is over in [`SHORT`]; or it [swings about where it ends](knocks::swings_out). A damped swing about its place whose net is nothing; what is
//!   quantised away at a low resolution leaves a tremble. More than [`knocks::most`] are told, and are knocks only if
//!   [`knocks::of_the_desk`] says so: a fault may not hide so. Else they are bursts if they span more than
//!   [`STILL_SWING_MM`], else tremble.
//! - *Going on*: a settling decays, so it was at least as fast before. k counts one way within δ need a speed of
//!   (k − 1)/δ, and the way since the hand let go at t₀ is then at least (k − 1)/δ · (t − t₀) − 1 counts. This holds for
//!   every motion that slows down or stays as it is, whatever its shape, time constant and the resolution. A single
//!   burst does not meet it: two counts in 20 ms at 4 s need 200 counts before. So does what is no faster than the place goes for a
//!   [second](FLOW) before it or after it. (Added after a creep that set in later, of a count each 0.1 s, had been told as 27 bursts.)
//! - *Pair*: one count on each axis. Two single counts of slow motions at λx and λy meet within δ by chance
//!   m = 2 δ ∫ λx λy dt times; if m is at most [`PAIR_LEVEL`] they are a burst. A rate is the trend's, and one count in
//!   the time on top.
//! - *Burst*: two counts or more on one axis that do not come back.

use super::knocks::{self, SHORT, rings_down, width};
use super::rest::{self, Group, Pair, Rest, What};
use super::trend::{self, Trend};
use crate::series::Sample;
use crate::tolerances::STILL_SWING_MM;

/// A place that comes back does so within this, nanoseconds: slower swings than one in two seconds are wanders.
const SWING: i64 = 1_000_000_000;
/// A settling after the hand has let go is at most so long, mm: what pad and cable give (common practice, no source).
pub(super) const SETTLING_MOST_MM: f64 = 0.5;
/// The rate of report times and of the trend itself is known to this share.
const SLACK: f64 = 0.8;
/// Chance that slow motions make such a pair in this phase. (First 0.01: then every hundredth sound session has one.)
const PAIR_LEVEL: f64 = 1e-3;
/// A creep goes on for so long on one side of some of its counts at least, nanoseconds, by so many counts.
const FLOW: i64 = 1_000_000_000;
const LEAST_FLOW: f64 = 4.0;
/// With more groups than this one of them does not bend the trend.
const FEW: usize = 64;

/// Says of each group what it is. `slot` is the report interval in nanoseconds.
pub(super) fn sort(rest: &mut Rest, per_mm: Option<f64>, slot: f64) {
    knocks::cut(rest);
    let wide = wide(per_mm);
    let kinds: Vec<What> = rest.groups.iter().map(|g| kind(rest, g, per_mm, slot)).collect();
    let all = || rest.groups.iter().zip(&kinds);
    let knocks: Vec<&Group> = all().filter(|(_, k)| **k == What::Knock).map(|(g, _)| g).collect();
    let swings = all().filter(|(g, k)| **k == What::Tremble && width(g) > 2.0).count() + knocks.len();
    let few = knocks.len() <= knocks::most(rest);
    let known = few || per_mm.is_some_and(|c| knocks::of_the_desk(&knocks, swings, c));
    rest.shaken = known && !few;
    for (group, kind) in rest.groups.iter_mut().zip(kinds) {
        group.what = match kind {
            What::Knock if known => What::Knock,
            // Comes back, and is no knock: its width says what it is.
            What::Knock | What::Tremble if width(group) > wide => What::Burst,
            What::Knock => What::Tremble,
            other => other,
        };
    }
}

/// Counts beyond which what comes back is no tremble.
pub(super) fn wide(per_mm: Option<f64>) -> f64 {
    (STILL_SWING_MM * per_mm.unwrap_or(0.0)).max(2.0)
}

fn kind(rest: &Rest, group: &Group, per_mm: Option<f64>, slot: f64) -> What {
    if group.what != What::Single {
        return group.what;
    }
    if group.end - group.begin > SHORT {
        return What::Long;
    }
    let range = width(group);
    if range <= 1.0 {
        return if group.turns > 0 || swings(rest, group) { What::Tremble } else { What::Single };
    }
    if knocks::comes_back(group, 1.0) {
        return if range > 2.0 && rings_down(&rest.samples, group) { What::Knock } else { What::Tremble };
    }
    if range > 2.0 && knocks::swings_out(&rest.samples, group) {
        return What::Knock;
    }
    if goes_on(rest, group, per_mm, slot) {
        return What::Going;
    }
    if swings(rest, group) { What::Tremble } else { What::Burst }
}

/// True if a group is half a swing: the place was where the group goes within [`SWING`] before it, and is where it came
/// from within as much after, on the axis that moves most to the count. (First the phase's end counted as coming back. Seen
/// then: four in 293 sessions with bursts had one missed within a second of the end, after one the other way.)
fn swings(rest: &Rest, group: &Group) -> bool {
    let near = |a: Pair, b: Pair| {
        (0..2).all(|axis| (a[axis] - b[axis]).abs() <= f64::from(u8::from(group.range[axis] < width(group))))
    };
    let to = [0, 1].map(|axis| group.before[axis] + group.net[axis]);
    let mut place = group.before;
    let mut earlier = rest.samples[..group.rows.start].iter().rev().map(|s| {
        place = [place[0] - f64::from(s.x), place[1] - f64::from(s.y)];
        (s.t, place)
    });
    let mut been = |at: Pair, since: i64| {
        earlier.by_ref().take_while(|(t, _)| *t >= since).any(|(_, place)| near(place, at))
    };
    let was = been(to, group.begin - SWING);
    // Of one that the phase's end cuts off, a whole swing came before.
    let whole = was && group.end + SWING > rest.end && been(group.before, group.begin - 2 * SWING);
    place = to;
    let mut later = rest.samples[group.rows.end..].iter().take_while(|s| s.t <= group.end + SWING);
    let will = later.any(|s| {
        place = rest::moved(place, s);
        near(place, group.before)
    });
    was && (will || whole)
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
        let since_let_go = || {
            rest.starts.iter().any(|(t, place)| {
                sign * (group.before[axis] - place[axis]) >= rate * (group.begin - t) as f64 * 1e-9 - 1.0
            })
        };
        one_way && (since_let_go() || flows(rest, group, axis, sign * rate))
    })
}

/// True if the place goes on as fast for [`FLOW`] before a group, or after it: counts a second on an axis.
fn flows(rest: &Rest, group: &Group, axis: usize, rate: f64) -> bool {
    let counts = |s: &Sample| f64::from([s.x, s.y][axis]) * rate.signum();
    let (before, after) = rest.samples.split_at(group.rows.start);
    let before = before.iter().rev().take_while(|s| s.t >= group.begin.saturating_sub(FLOW));
    let after = after.iter().skip(group.rows.len()).take_while(|s| s.t <= group.end.saturating_add(FLOW));
    let (before, after): (f64, f64) = (before.map(counts).sum(), after.map(counts).sum());
    let due = rate.abs() * FLOW as f64 * 1e-9 - 1.0;
    before.max(after) >= due.max(LEAST_FLOW)
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
