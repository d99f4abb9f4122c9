//! From an estimate to pass, fail or inconclusive.
//!
//! - Pass: the limit at 95 % lies inside the tolerance. A one-sided tolerance uses the one-sided limit; the interval
//!   shown is two-sided and not used for the decision. A two-sided tolerance asks for the whole 95 % interval inside
//!   (two one-sided tests at 0.025; Schuirmann 1987).
//! - Fail: the limit at [`FAIL_LEVEL`] / looks lies outside (Bonferroni over families × steps, and what families show
//!   [together](crate::together)), so that a sound device fails in at most one session of a thousand.
//! - Else inconclusive, with what would settle it.
//!
//! Normal-theory quantities: guard band w = U (JCGM 106:2012 section 8; ISO 14253-1's logic of "neither proven").
//! Shares and rates: exact limits inside or outside the tolerance (ISO 10576's logic).

use crate::stats::{poisson_high, poisson_low, proportion_high, proportion_low, t_quantile};
use crate::verdict::{Criterion, Outcome, Quantity};

/// Chance over all looks that a sound device fails: 1 in 1000 by the limits, the design of the decision rule.
pub const FAIL_LEVEL: f64 = 0.001;

/// Two-sided 95 %.
const TWO_SIDED: f64 = 0.025;
/// One-sided 95 %.
const ONE_SIDED: f64 = 0.05;

/// The level of one look.
fn fail_level(looks: u32) -> f64 {
    FAIL_LEVEL / f64::from(looks.max(1))
}

/// The share of trials that `k` bad of `n` show not to be exceeded: exact one-sided 95 % limit, as a pass asks for.
pub fn share_bound(k: u32, n: u32) -> f64 {
    proportion_high(k, n, ONE_SIDED)
}

/// The rate per second that `k` events in `seconds` show not to be exceeded, likewise.
pub fn rate_bound(k: u32, seconds: f64) -> f64 {
    if seconds > 0.0 { poisson_high(k, ONE_SIDED) / seconds } else { f64::INFINITY }
}

/// A share of trials that may be at most a limit: `k` bad of `n`.
pub fn share_at_most(
    what: &'static str,
    unit: &'static str,
    k: u32,
    n: u32,
    limit: f64,
    looks: u32,
) -> Criterion {
    if n == 0 {
        return not_examined(what, unit, [None, Some(limit)]);
    }
    let estimate = Quantity {
        value: f64::from(k) / f64::from(n),
        low: Some(proportion_low(k, n, TWO_SIDED)),
        high: Some(proportion_high(k, n, TWO_SIDED)),
    };
    let verdict = if share_bound(k, n) <= limit {
        Outcome::Pass
    } else if proportion_low(k, n, fail_level(looks)) > limit {
        Outcome::Fail
    } else {
        Outcome::Inconclusive
    };
    Criterion { what, verdict, unit, estimate: Some(estimate), tolerance: [None, Some(limit)] }
}

/// A share of trials that may be at most a limit, claimed for a speed and faster: `(k bad, of n)` among the swipes that
/// reached the speed, and among those that did not. Assumes that failure does not become rarer with speed.
///
/// - Pass: the trials are those that reached the speed; a failure below it counts as one more trial that failed.
/// - Fail: shown by those that reached it, or by all together, whose share is then no larger than the one claimed for.
///   Two looks, so each at half the level.
pub fn share_at_speed(
    what: &'static str,
    unit: &'static str,
    reached: (u32, u32),
    slower: (u32, u32),
    limit: f64,
    looks: u32,
) -> Criterion {
    let all = (reached.0.saturating_add(slower.0), reached.1.saturating_add(slower.1));
    let shown = if reached.1 > 0 { reached } else { all };
    let looks = looks.saturating_mul(2);
    let mut criterion = share_at_most(what, unit, shown.0, shown.1, limit, looks);
    if criterion.verdict == Outcome::NotExamined {
        return criterion;
    }
    let trials = reached.1.saturating_add(slower.0);
    let passes = reached.1 > 0 && share_bound(all.0, trials) <= limit;
    let level = fail_level(looks);
    let fails = [reached, all].iter().any(|&(k, n)| proportion_low(k, n, level) > limit);
    criterion.verdict = match (fails, passes) {
        (true, _) => Outcome::Fail,
        (false, true) => Outcome::Pass,
        (false, false) => Outcome::Inconclusive,
    };
    criterion
}

/// A rate of events that may be at most a limit: `k` in `seconds`.
pub fn rate_at_most(
    what: &'static str,
    unit: &'static str,
    k: u32,
    seconds: f64,
    limit: f64,
    looks: u32,
) -> Criterion {
    if seconds <= 0.0 {
        return not_examined(what, unit, [None, Some(limit)]);
    }
    let estimate = Quantity {
        value: f64::from(k) / seconds,
        low: Some(poisson_low(k, TWO_SIDED) / seconds),
        high: Some(poisson_high(k, TWO_SIDED) / seconds),
    };
    let verdict = if rate_bound(k, seconds) <= limit {
        Outcome::Pass
    } else if poisson_low(k, fail_level(looks)) / seconds > limit {
        Outcome::Fail
    } else {
        Outcome::Inconclusive
    };
    Criterion { what, verdict, unit, estimate: Some(estimate), tolerance: [None, Some(limit)] }
}

/// An estimate with a standard uncertainty, to lie inside limits of which at least one is set.
pub fn inside(
    what: &'static str,
    unit: &'static str,
    value: f64,
    uncertainty: f64,
    df: f64,
    tolerance: [Option<f64>; 2],
    looks: u32,
) -> Criterion {
    let [low, high] = tolerance;
    if !value.is_finite() || !uncertainty.is_finite() || (low.is_none() && high.is_none()) {
        return not_examined(what, unit, tolerance);
    }
    let estimate = Quantity::around(value, t_quantile(1.0 - TWO_SIDED, df) * uncertainty);
    let one_sided = low.is_none() || high.is_none();
    let guard = t_quantile(1.0 - if one_sided { ONE_SIDED } else { TWO_SIDED }, df) * uncertainty;
    let beyond = t_quantile(1.0 - fail_level(looks), df) * uncertainty;
    let passes = low.is_none_or(|l| value - guard >= l) && high.is_none_or(|h| value + guard <= h);
    let fails = low.is_some_and(|l| value + beyond < l) || high.is_some_and(|h| value - beyond > h);
    let verdict = match (passes, fails) {
        (true, _) => Outcome::Pass,
        (false, true) => Outcome::Fail,
        (false, false) => Outcome::Inconclusive,
    };
    Criterion { what, verdict, unit, estimate: Some(estimate), tolerance }
}

/// A criterion for which there was nothing to look at.
pub fn not_examined(what: &'static str, unit: &'static str, tolerance: [Option<f64>; 2]) -> Criterion {
    Criterion { what, verdict: Outcome::NotExamined, unit, estimate: None, tolerance }
}

/// How many more clean swipes would bring `k` bad of `n` inside a limit; `None` above a thousand.
pub fn swipes_to_settle(k: u32, n: u32, limit: f64) -> Option<u32> {
    (1..=1000u32).find(|more| share_bound(k, n.saturating_add(*more)) <= limit)
}

/// How many more swipes, of which as many are bad as of the `n` so far, would show `k` bad of them to be beyond a limit; `None`
/// above a thousand, or if no more of them are bad than may be.
pub fn swipes_as_bad(k: u32, n: u32, limit: f64, looks: u32) -> Option<u32> {
    let share = f64::from(k) / f64::from(n.max(1));
    until_fail((k, n), share, limit, looks).filter(|_| share > limit)
}

/// How many more bad swipes would show `k` bad of `n` to be beyond a limit; `None` above a thousand.
pub fn swipes_to_fail(k: u32, n: u32, limit: f64, looks: u32) -> Option<u32> {
    until_fail((k, n), 1.0, limit, looks)
}

/// How many more swipes, a share of which is bad, until `k` bad of `n` fail; `None` above a thousand.
fn until_fail((k, n): (u32, u32), share: f64, limit: f64, looks: u32) -> Option<u32> {
    let fails = |more: &u32| {
        let bad = k.saturating_add((share * f64::from(*more)).floor() as u32);
        proportion_low(bad, n.saturating_add(*more), fail_level(looks)) > limit
    };
    (1..=1000u32).find(fails)
}

/// How many more swipes would bring an inconclusive estimate to a pass, or to a fail if it lies outside its limits:
/// `n` swipes left the standard uncertainty `random`, which shrinks as one over the root of their number, beside
/// `fixed`, which does not. `None` if no number does (above a thousand), or if there is nothing to settle.
pub fn swipes_for(
    criterion: &Criterion,
    n: usize,
    random: f64,
    fixed: f64,
    df: f64,
    looks: u32,
) -> Option<u32> {
    let value = criterion.estimate.filter(|_| criterion.verdict == Outcome::Inconclusive)?.value;
    let [low, high] = criterion.tolerance;
    let room = [low.map(|l| value - l), high.map(|h| h - value)].into_iter().flatten().reduce(f64::min)?;
    let level = match (room > 0.0, low.is_some() && high.is_some()) {
        (true, true) => TWO_SIDED,
        (true, false) => ONE_SIDED,
        (false, _) => fail_level(looks),
    };
    let allowed = room.abs() / t_quantile(1.0 - level, df);
    let spare = allowed * allowed - fixed * fixed;
    let more = n as f64 * (random * random / spare - 1.0);
    (spare > 0.0 && more.is_finite() && more <= 1000.0).then(|| more.ceil().max(1.0) as u32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use Outcome::{Fail, Inconclusive, Pass};

    fn share(k: u32, n: u32, limit: f64) -> Outcome {
        share_at_most("x", "share of swipes", k, n, limit, 7).verdict
    }

    #[test]
    fn a_share_passes_at_the_success_run_and_not_one_swipe_earlier() {
        assert_eq!((share(0, 59, 0.05), share(0, 58, 0.05)), (Pass, Inconclusive));
        assert_eq!((share(0, 14, 0.20), share(0, 13, 0.20)), (Pass, Inconclusive));
        assert_eq!((share(15, 15, 0.20), share(8, 15, 0.20)), (Fail, Inconclusive));
        assert_eq!(share_at_most("x", "u", 0, 0, 0.2, 1).verdict, Outcome::NotExamined);
    }

    #[test]
    fn a_claim_for_a_speed_asks_for_swipes_that_reached_it() {
        let at = |reached, slower| share_at_speed("x", "share of swipes", reached, slower, 0.20, 7).verdict;
        // 14 clean swipes pass at 20 %; slower ones that were clean are no substitute.
        assert_eq!(
            (at((0, 14), (0, 0)), at((0, 13), (0, 50)), at((0, 0), (0, 50))),
            (Pass, Inconclusive, Inconclusive)
        );
        // Failures below the speed count: 1 of 15 is not enough (22 swipes are needed with one bad).
        assert_eq!((at((0, 14), (1, 30)), at((0, 21), (1, 30))), (Inconclusive, Pass));
        // A device that fails at half the speed fails, though no swipe was fast enough.
        assert_eq!((at((0, 0), (15, 15)), at((15, 15), (0, 30))), (Fail, Fail));
        assert_eq!(at((0, 0), (0, 0)), Outcome::NotExamined);
    }

    #[test]
    fn no_event_in_t_bounds_the_rate_at_three_over_t() {
        assert_eq!(rate_at_most("x", "1/s", 0, 10.0, 0.2996, 1).verdict, Pass);
        assert_eq!(rate_at_most("x", "1/s", 0, 10.0, 0.2995, 1).verdict, Inconclusive);
        assert_eq!(rate_at_most("x", "1/s", 60, 10.0, 0.5, 7).verdict, Fail);
    }

    /// JCGM 106:2012: y = −5.47 V, u = 0.05 V, upper limit −5.40 V gives a conformance probability of Φ(1.4) = 0.919,
    /// under the 95 % asked for here. (Inputs from memory, the arithmetic recomputed.)
    #[test]
    fn a_value_inside_its_limit_but_within_the_guard_band_is_inconclusive() {
        let got = |y| inside("x", "V", y, 0.05, f64::INFINITY, [None, Some(-5.40)], 1).verdict;
        assert_eq!(got(-5.47), Inconclusive);
        assert_eq!(got(-5.40 - 1.65 * 0.05), Pass);
        assert_eq!(got(-5.40 + 3.2 * 0.05), Fail);
    }

    #[test]
    fn equivalence_asks_for_the_whole_interval() {
        let got = |v, u| inside("x", "1", v, u, 30.0, [Some(-0.02), Some(0.02)], 7).verdict;
        assert_eq!((got(0.01, 0.004), got(0.015, 0.004)), (Pass, Inconclusive));
        assert_eq!((got(0.05, 0.004), got(-0.05, 0.004)), (Fail, Fail));
    }

    /// By hand, df infinite: value 0.01 in ±0.02 leaves room for 1.96 u with u = 0.0051; from 10 swipes with
    /// u = 0.0102 that takes four times as many. A fixed part of 0.0051 and more leaves no number.
    #[test]
    fn says_how_many_more_swipes_make_an_interval_small_enough() {
        let limits = [Some(-0.02), Some(0.02)];
        let open = inside("x", "1", 0.01, 0.0102, f64::INFINITY, limits, 7);
        let more = |fixed| swipes_for(&open, 10, 0.01 / 1.959_964 * 2.0, fixed, f64::INFINITY, 7);
        assert_eq!((more(0.0), more(0.0052)), (Some(30), None));
        let settled = inside("x", "1", 0.0, 0.001, f64::INFINITY, limits, 7);
        assert_eq!(swipes_for(&settled, 10, 0.001, 0.0, f64::INFINITY, 7), None);
    }

    #[test]
    fn says_how_many_more_swipes_settle() {
        assert_eq!(swipes_to_settle(0, 15, 0.05), Some(44));
        assert_eq!(swipes_to_settle(1, 15, 0.05), Some(78));
        assert_eq!(swipes_to_settle(300, 300, 0.05), None);
        // By hand: all n bad are beyond a fifth at 0.001 from 0.2ⁿ < 0.001 on, five of them.
        assert_eq!((swipes_to_fail(3, 3, 0.2, 1), swipes_to_fail(0, 0, 0.2, 1)), (Some(2), Some(5)));
        // As many as those that are all bad; and none where they are within the limit.
        assert_eq!((swipes_as_bad(3, 3, 0.2, 1), swipes_as_bad(1, 9, 0.2, 1)), (Some(2), None));
    }
}
