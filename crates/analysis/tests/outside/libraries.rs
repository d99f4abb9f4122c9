//! scipy and statsmodels, by way of `fixtures/statistics/scipy/values.json`, which `scripts/statistics-oracle` writes:
//! location, limits, tails and the decisions made of them.

use crate::agree;
use serde_json::Value;
use slipgauge_analysis::decision::{FAIL_LEVEL, inside, rate_at_most, share_at_most};
use slipgauge_analysis::stats::{
    effective_df, mad, mean_sd, median, poisson_high, poisson_low, proportion_high, proportion_low, qn,
    quantile, t_quantile,
};
use slipgauge_analysis::verdict::Outcome;
use statrs::distribution::{
    Binomial, ChiSquared, ContinuousCDF, DiscreteCDF, FisherSnedecor, Gamma, Normal, StudentsT,
};

pub(crate) fn values() -> Value {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/statistics/scipy/values.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

pub(crate) fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

pub(crate) fn rows(value: &Value) -> Vec<Vec<f64>> {
    let rows: Vec<Vec<f64>> = value.as_array().unwrap().iter().map(numbers).collect();
    assert!(!rows.is_empty());
    rows
}

/// To 8 digits; nearest 1e-9 where a limit is zero.
#[test]
fn quantiles_and_exact_limits_are_scipys() {
    let all = values();
    for row in rows(&all["student_quantiles"]) {
        agree(&format!("t {row:?}"), t_quantile(row[0], row[1]), row[2], 8);
    }
    for row in rows(&all["proportion_limits"]) {
        let (k, n) = (row[0] as u32, row[1] as u32);
        let (low, high) = (proportion_low(k, n, row[2]), proportion_high(k, n, row[2]));
        assert!((low - row[3]).abs() < 1e-8 && (high - row[4]).abs() < 1e-8, "{row:?}: {low} {high}");
    }
    for row in rows(&all["count_limits"]) {
        let (low, high) = (poisson_low(row[0] as u32, row[1]), poisson_high(row[0] as u32, row[1]));
        let near = |got: f64, want: f64| (got - want).abs() <= 1e-8 * want.max(1.0);
        assert!(near(low, row[2]) && near(high, row[3]), "{row:?}: {low} {high}");
    }
    for row in rows(&all["binomial_tails"]) {
        let tail = Binomial::new(row[2], row[1] as u64).unwrap().sf(row[0] as u64 - 1);
        agree(&format!("binomial {row:?}"), tail, row[3], 8);
    }
}

/// The distributions that are asked directly: upper tails to 8 digits, down to 1e-200.
#[test]
fn upper_tails_are_scipys() {
    for row in values()["tails"].as_array().unwrap() {
        let (p, x) = (numbers(&row[1]), row[2].as_f64().unwrap());
        let tail = match row[0].as_str().unwrap() {
            "chi2" => ChiSquared::new(p[0]).unwrap().sf(x),
            "f" => FisherSnedecor::new(p[0], p[1]).unwrap().sf(x),
            "normal" => Normal::standard().sf(x),
            "student" => StudentsT::new(0.0, 1.0, p[0]).unwrap().sf(x),
            "gamma" => Gamma::new(p[0], 1.0).unwrap().sf(x),
            other => panic!("{other}"),
        };
        agree(&row.to_string(), tail, row[3].as_f64().unwrap(), 8);
    }
}

/// Conventions: the median of an even number is half-way; the deviation is scaled by 1.4826022, to 7 digits; a quantile is
/// the value of the nearest rank (at none of these lies it half-way, where numpy rounds to even and we up).
#[test]
fn medians_deviations_and_quantiles_are_numpys() {
    for row in values()["order"].as_array().unwrap() {
        let sample = numbers(&row["values"]);
        let middle = median(&sample).unwrap();
        agree("median", middle, row["median"].as_f64().unwrap(), 14);
        agree("deviation", mad(&sample, middle).unwrap(), row["mad"].as_f64().unwrap(), 7);
        let small =
            sample.len() as f64 / (sample.len() as f64 + if sample.len() % 2 == 1 { 1.4 } else { 3.8 });
        agree("Qₙ", qn(&sample).unwrap(), small * row["qn"].as_f64().unwrap(), 5);
        for q in rows(&row["quantiles"]) {
            assert_eq!(quantile(&sample, q[0]), Some(q[1]), "{q:?} of {}", sample.len());
        }
    }
}

/// By tails, where ours goes by limits: a share or a rate passes where so few events have a chance of 5 % at most were the
/// truth at the limit, and fails where so many have one of the level of a fail, over the looks.
#[test]
fn shares_and_rates_are_decided_as_scipys_exact_tests_decide_them() {
    let all = values();
    for (key, looks) in [("shares", 1), ("shares", 7), ("rates", 1), ("rates", 7)] {
        let mut seen = Vec::new();
        for row in rows(&all[key]) {
            let k = row[0] as u32;
            let criterion = match key {
                "shares" => share_at_most("x", "1", k, row[1] as u32, row[2], looks),
                _ => rate_at_most("x", "1/s", k, row[1], row[2], looks),
            };
            let want = match (row[3] <= 0.05, row[4] < FAIL_LEVEL / f64::from(looks)) {
                (true, _) => Outcome::Pass,
                (false, true) => Outcome::Fail,
                (false, false) => Outcome::Inconclusive,
            };
            assert_eq!(criterion.verdict, want, "{key} {row:?}, {looks} looks");
            if !seen.contains(&want) {
                seen.push(want);
            }
        }
        assert_eq!(seen.len(), 3, "{key}: {seen:?}");
    }
}

/// Two one-sided tests at 0.025 are the whole 95 % interval inside the bounds; a fail is one test beyond a bound at the
/// level of a fail; a single bound is one test at 0.05.
#[test]
fn equivalence_is_decided_as_statsmodels_two_tests_decide_it() {
    let mut outcomes = Vec::new();
    for row in values()["equivalence"].as_array().unwrap() {
        let (sample, bounds) = (numbers(&row["values"]), numbers(&row["bounds"]));
        let (mean, sd) = mean_sd(&sample).unwrap();
        let n = sample.len() as f64;
        let got = |low, high| inside("mean", "1", mean, sd / n.sqrt(), n - 1.0, [low, high], 1).verdict;
        let p = |key: &str| row[key].as_f64().unwrap();
        let both = got(Some(bounds[0]), Some(bounds[1]));
        assert_eq!(both == Outcome::Pass, p("p") < 0.025, "{} {both:?}", p("p"));
        assert_eq!(both == Outcome::Fail, p("p_beyond") < FAIL_LEVEL, "{} {both:?}", p("p_beyond"));
        let upper = got(None, Some(bounds[1]));
        assert_eq!(upper == Outcome::Pass, p("p_under_the_upper") < 0.05, "{upper:?}");
        // Between 0.025 and 0.05 the two differ.
        outcomes.push((both, upper));
    }
    use Outcome::{Fail, Inconclusive, Pass};
    assert_eq!(
        outcomes,
        [
            (Pass, Pass),
            (Inconclusive, Pass),
            (Inconclusive, Inconclusive),
            (Inconclusive, Inconclusive),
            (Fail, Fail),
            (Fail, Pass)
        ]
    );
}

/// Two means with variances of their own (Welch), as two steps are compared in `scale::ratios`: degrees of freedom to 10
/// digits, and the outcome.
#[test]
fn two_samples_are_held_to_be_equivalent_where_statsmodels_holds_them_so() {
    let mut outcomes = Vec::new();
    for row in values()["two_samples"].as_array().unwrap() {
        let part = |key: &str| {
            let sample = numbers(&row[key]);
            let (mean, sd) = mean_sd(&sample).unwrap();
            (mean, sd / (sample.len() as f64).sqrt(), sample.len() as f64 - 1.0)
        };
        let (a, b) = (part("a"), part("b"));
        let df = effective_df(&[(a.1, a.2), (b.1, b.2)]);
        agree("df", df, row["df"].as_f64().unwrap(), 10);
        let bounds = numbers(&row["bounds"]);
        let tolerance = [Some(bounds[0]), Some(bounds[1])];
        let got = inside("difference", "1", a.0 - b.0, a.1.hypot(b.1), df, tolerance, 1).verdict;
        let p = row["p"].as_f64().unwrap();
        assert_eq!(got == Outcome::Pass, p < 0.025, "p {p}: {got:?}");
        outcomes.push(got == Outcome::Pass);
    }
    assert!(outcomes.contains(&true) && outcomes.contains(&false), "{outcomes:?}");
}
