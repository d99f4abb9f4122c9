//! A creep that sets in and stops: counts that all go one way, and are no settling's.
//!
//! A creep goes on to the end, and a settling is at most [`SETTLING_MOST_MM`] after the hand has let go. Calm counts, less
//! the settling, that add up to more than that one way are neither, nor single counts at random: N net of n do so by
//! chance exp(-N^2/n) (Rayleigh 1905). A touch, a cable that slides or the sensor may have made them: the cause is not known.
//! It lasts from where a twentieth of the way is made to where a twentieth is left. Cost: O(reports at rest).

use super::groups::SETTLING_MOST_MM;
use super::rest::{Pair, Rest, length, moved};
use super::trend::Trend;

/// Single counts add up by chance at this level.
const LEVEL: f64 = 1e-3;
/// Share of the way before its begin, and after its end.
const EDGE: f64 = 0.05;

/// An even creep takes 0.9 of the time from edge to edge, one that stops or a settling less than this: what lasts as long
/// is a creep of which a knock hid a part.
const THROUGHOUT: f64 = 0.8;

/// A creep that stopped.
pub(super) struct Spell {
    /// Counts.
    pub(super) net: Pair,
    /// See the file's header.
    pub(super) span: (i64, i64),
    /// Chance that single counts add up to so much.
    pub(super) p_false: f64,
    /// True if it goes on throughout.
    pub(super) throughout: bool,
}

/// Looks for it.
pub(super) fn of(rest: &Rest, trend: &Trend, per_mm: f64) -> Option<Spell> {
    let net = rest.calm().fold([0.0; 2], |p, s| moved(p, &s));
    let path: f64 = rest.calm().map(|s| f64::from(s.x).hypot(f64::from(s.y))).sum();
    let way = length([net[0] - trend.settling[0], net[1] - trend.settling[1]]);
    let p_false = (-way * way / path.max(1.0)).exp();
    if way <= SETTLING_MOST_MM * per_mm || p_false > LEVEL {
        return None;
    }
    let whole = length(net).powi(2);
    let mut place = [0.0; 2];
    let mut shares = rest.calm().map(|s| {
        place = moved(place, &s);
        (s.t, (place[0] * net[0] + place[1] * net[1]) / whole)
    });
    let begin = shares.find(|(_, share)| *share >= EDGE)?.0;
    let end = shares.find(|(_, share)| *share >= 1.0 - EDGE).map_or(begin, |(t, _)| t);
    let throughout = (end - begin) as f64 * 1e-9 >= THROUGHOUT * rest.seconds;
    Some(Spell { net, span: (begin, end), p_false, throughout })
}
