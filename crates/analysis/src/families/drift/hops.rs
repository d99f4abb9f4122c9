//! Creep that is made of bursts, all of them one way.
//!
//! A trend through a few hops has a normal uncertainty as wide as they are rare, and proves nothing of a device that wanders off by
//! millimetres. But hops that come by themselves are a Poisson process: of those that go s and more along the net way, k in T seconds, the
//! exact lower limit of the mean (Garwood 1936) times s / T is one of the creep, as long as none goes back. The size s is chosen
//! among those seen, each a look within the look. (Added after a device that had hopped by a millimetre nine times in eight seconds,
//! thirteen times the tolerated creep, had been left open.)
//! Smallest found at 0.1 mm/s in 8 s: nine hops of 0.8 mm. Cost: O(bursts²).

use super::rest::{Pair, Rest, length};
use crate::decision::FAIL_LEVEL;
use crate::stats::poisson_low;
use crate::verdict::{Criterion, Outcome, Quantity};

/// Hops that make a way.
const LEAST: usize = 3;

/// Creep in counts per second by the hops of a rest, and its lower limit at the level of one of so many looks; `None` where they are few,
/// or one goes back.
pub(super) fn creep(rest: &Rest, looks: u32) -> Option<(f64, f64)> {
    let nets: Vec<Pair> = rest.bursts().map(|b| b.net).collect();
    let net = nets.iter().fold([0.0; 2], |sum: Pair, n| [sum[0] + n[0], sum[1] + n[1]]);
    let total = length(net);
    if nets.len() < LEAST || total <= 0.0 || rest.seconds <= 0.0 {
        return None;
    }
    let mut along: Vec<f64> = nets.iter().map(|n| (n[0] * net[0] + n[1] * net[1]) / total).collect();
    along.sort_by(|a, b| b.total_cmp(a));
    let level = FAIL_LEVEL / f64::from(looks.max(1)) / along.len() as f64;
    let limit = |(k, size): (u32, &f64)| poisson_low(k, level) * size / rest.seconds;
    let low = (1u32..).zip(&along).map(limit).fold(0.0, f64::max);
    along.iter().all(|hop| *hop >= 0.0).then_some((total / rest.seconds, low))
}

/// Fails where that limit lies above a tolerance, in millimetres per second; else says nothing.
pub(super) fn criterion(
    rest: &Rest,
    per_mm: f64,
    tolerance: [Option<f64>; 2],
    looks: u32,
) -> Option<Criterion> {
    let (speed, low) = creep(rest, looks).map(|(speed, low)| (speed / per_mm, low / per_mm))?;
    tolerance[1].filter(|most| low > *most).map(|_| Criterion {
        what: "creep in hops, all one way",
        verdict: Outcome::Fail,
        unit: "mm/s",
        estimate: Some(Quantity { value: speed, low: Some(low), high: None }),
        tolerance,
    })
}
