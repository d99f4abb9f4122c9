//! Tests of two measures, and Holm's adjustment.
//!
//! - Values: Student's t of the difference over its combined standard uncertainty, degrees of freedom by Welch and
//!   Satterthwaite (JCGM 100:2008 G.4.1).
//! - Shares: Fisher's exact test, two-sided by the sum of all tables no more likely than the one seen (as R and scipy).
//! - Rates of events: given their sum, the first count is binomial with the first time's share (Przyborowski and
//!   Wilenski 1940); two-sided likewise.
//!
//! Distributions are statrs's. (Its own Fisher test finds the far tail by a search that takes tables for as likely which
//! differ by 1 in 10,000; here the tables are summed.) Cost: O(n) for counts.

use super::pool::{Measure, Value};
use crate::stats::{effective_df, t_quantile};
use crate::verdict::Quantity;
use statrs::distribution::{Binomial, ContinuousCDF, Discrete, Hypergeometric, Normal, StudentsT};

/// Tables as likely as the one seen, but for rounding: R's and scipy's.
const AS_LIKELY: f64 = 1.0 + 1e-7;
/// Counts larger than this are not summed table by table.
const MOST: u64 = 1 << 20;

/// A test's result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// First less second.
    pub difference: Quantity,
    /// Name of the test.
    pub test: &'static str,
    /// Two-sided chance.
    pub p: f64,
    /// Standard uncertainty and degrees of freedom, of values.
    pub uncertainty: Option<(f64, f64)>,
}

/// Tests two measures against each other.
///
/// # Errors
/// Why they cannot be compared, in words.
pub fn between(a: &Measure, b: &Measure) -> Result<Found, String> {
    match (a, b) {
        (Measure::Value(x), Measure::Value(y)) => {
            values(x, y).ok_or_else(|| "no uncertainty is known".to_owned())
        }
        (&Measure::Share { k, n }, &Measure::Share { k: l, n: m }) => {
            if n == 0 || m == 0 {
                return Err("one of them has no such swipe".to_owned());
            }
            let p = fisher((k, n), (l, m)).ok_or_else(|| "too many to count".to_owned())?;
            Ok(plain(f64::from(k) / f64::from(n) - f64::from(l) / f64::from(m), "Fisher's exact test", p))
        }
        (&Measure::Rate { k, seconds }, &Measure::Rate { k: l, seconds: other }) => {
            if !(seconds > 0.0 && other > 0.0) {
                return Err("one of them was not at rest".to_owned());
            }
            let p = poisson((k, seconds), (l, other)).ok_or_else(|| "too many to count".to_owned())?;
            Ok(plain(f64::from(k) / seconds - f64::from(l) / other, "exact test of two Poisson rates", p))
        }
        _ => Err("for one of them there is a bound and no value".to_owned()),
    }
}

fn plain(value: f64, test: &'static str, p: f64) -> Found {
    Found { difference: Quantity { value, low: None, high: None }, test, p, uncertainty: None }
}

/// Welch's test of two values with their uncertainties; `None` without any.
pub fn values(a: &Value, b: &Value) -> Option<Found> {
    let parts = [(a.random, a.df), (b.random, b.df), (a.common, f64::INFINITY), (b.common, f64::INFINITY)];
    let uncertainty = parts.iter().map(|(u, _)| u * u).sum::<f64>().sqrt();
    let value = a.value - b.value;
    if !(value.is_finite() && uncertainty.is_finite() && uncertainty > 0.0) {
        return None;
    }
    let df = effective_df(&parts);
    let half = t_quantile(0.975, df) * uncertainty;
    let p = two_sided(value / uncertainty, df);
    Some(Found {
        difference: Quantity::around(value, half),
        test: "Welch's t test",
        p,
        uncertainty: Some((uncertainty, df)),
    })
}

/// Two-sided tail of Student's t.
pub fn two_sided(t: f64, df: f64) -> f64 {
    let t = t.abs();
    let tail = if df.is_finite() && df < 1e6 {
        StudentsT::new(0.0, 1.0, df.max(1.0)).map_or(1.0, |d| d.sf(t))
    } else {
        Normal::standard().sf(t)
    };
    (2.0 * tail).min(1.0)
}

/// Fisher's exact test of `k` of `n` against `l` of `m`; `None` beyond a million.
pub fn fisher((k, n): (u32, u32), (l, m): (u32, u32)) -> Option<f64> {
    let (n, m) = (u64::from(n), u64::from(m));
    let (k, l) = (u64::from(k).min(n), u64::from(l).min(m));
    if n + m > MOST {
        return None;
    }
    let tables = Hypergeometric::new(n + m, n, k + l).ok()?;
    let from = (k + l).saturating_sub(m);
    Some(no_more_likely(tables.pmf(k), (from..=n.min(k + l)).map(|i| tables.pmf(i))))
}

/// Exact test of two Poisson rates, each as events in seconds; `None` beyond a million events.
pub fn poisson((k, s): (u32, f64), (l, t): (u32, f64)) -> Option<f64> {
    let (k, all) = (u64::from(k), u64::from(k) + u64::from(l));
    if all > MOST {
        return None;
    }
    let first = Binomial::new(s / (s + t), all).ok()?;
    Some(no_more_likely(first.pmf(k), (0..=all).map(|i| first.pmf(i))))
}

fn no_more_likely(seen: f64, all: impl Iterator<Item = f64>) -> f64 {
    all.filter(|p| *p <= seen * AS_LIKELY).sum::<f64>().min(1.0)
}

/// Chances adjusted for as many looks by Holm (1979), in the order given.
pub fn holm(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    let at = |i: usize| p.get(i).copied().unwrap_or(1.0);
    order.sort_by(|&i, &j| at(i).total_cmp(&at(j)));
    let mut out = vec![1.0; p.len()];
    let mut least = 0.0f64;
    for (rank, &i) in order.iter().enumerate() {
        least = least.max((at(i) * (p.len() - rank) as f64).min(1.0));
        if let Some(slot) = out.get_mut(i) {
            *slot = least;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f64, want: f64) {
        assert!((got - want).abs() <= 1e-6 * want.max(1e-3), "{got} is not {want}");
    }

    /// Fisher's tea tasting (The Design of Experiments, 1935): 3 of 4 cups right each way, one-sided 17/70, two-sided
    /// 34/70; all right, 2/70. The others are by scipy 1.17 `fisher_exact`.
    #[test]
    fn fishers_test_is_that_of_the_tea_and_of_scipy() {
        close(fisher((3, 4), (1, 4)).unwrap(), 34.0 / 70.0);
        close(fisher((4, 4), (0, 4)).unwrap(), 2.0 / 70.0);
        for ((k, n), (l, m), want) in FISHER {
            close(fisher((k, n), (l, m)).unwrap(), want);
        }
        close(fisher((0, 20), (0, 15)).unwrap(), 1.0);
    }

    /// scipy 1.17: `binomtest(k, k + l, s / (s + t))`.
    #[test]
    fn two_rates_are_compared_as_scipy_does() {
        for ((k, s), (l, t), want) in POISSON {
            close(poisson((k, s), (l, t)).unwrap(), want);
        }
    }

    /// By hand: sorted 0.005, 0.01, 0.03, 0.04 times 4, 3, 2, 1, never falling.
    #[test]
    fn holms_chances_never_fall() {
        let got = holm(&[0.01, 0.04, 0.03, 0.005]);
        [0.03, 0.06, 0.06, 0.02].iter().zip(&got).for_each(|(want, got)| close(*got, *want));
        assert!(holm(&[]).is_empty());
        assert_eq!(holm(&[0.9, f64::NAN])[0], 1.0);
    }

    /// Welch's test from summaries, by hand: 10 ± 1 (4 degrees) less 7 ± 2 (9): t = 3/√5 = 1.341641, df =
    /// 25/(1/4 + 16/9) = 12.3288; the chance by scipy's `t.sf`.
    #[test]
    fn values_are_compared_by_welch() {
        let value = |value, random, df| Value { value, random, df, common: 0.0 };
        let found = values(&value(10.0, 1.0, 4.0), &value(7.0, 2.0, 9.0)).unwrap();
        close(found.uncertainty.unwrap().1, 12.328_767);
        close(found.p, WELCH);
        assert!(values(&value(1.0, 0.0, 1.0), &value(1.0, 0.0, 1.0)).is_none());
        assert!(values(&value(f64::NAN, 1.0, 1.0), &value(1.0, 1.0, 1.0)).is_none());
    }

    type Counts = ((u32, u32), (u32, u32), f64);
    const FISHER: [Counts; 5] = [
        ((1, 10), (8, 10), 0.005477494641581329),
        ((0, 20), (6, 20), 0.0201960201960202),
        ((2, 15), (9, 60), 1.0),
        ((7, 12), (5, 29), 0.020071476296371737),
        ((0, 300), (1, 4), 0.013157894736842105),
    ];
    type Rates = ((u32, f64), (u32, f64), f64);
    const POISSON: [Rates; 4] = [
        ((0, 10.0), (6, 10.0), 0.03125),
        ((3, 8.0), (20, 30.0), 0.4495798512460941),
        ((11, 5.0), (2, 9.0), 0.0004262000171838604),
        ((0, 10.0), (0, 10.0), 1.0),
    ];
    const WELCH: f64 = 0.20390221550768986;
}
