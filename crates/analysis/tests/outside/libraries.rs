//! scipy and statsmodels, by way of `fixtures/statistics/scipy/values.json`, which `scripts/statistics-oracle` writes.

use crate::agree;
use serde_json::Value;
use slipgauge_analysis::decision::inside;
use slipgauge_analysis::spectrum::{self, Window, lomb_scargle};
use slipgauge_analysis::stats::regression::least_squares;
use slipgauge_analysis::stats::{
    mean_sd, poisson_high, poisson_low, proportion_high, proportion_low, t_quantile,
};
use slipgauge_analysis::verdict::Outcome;
use statrs::distribution::{Binomial, DiscreteCDF};

fn values() -> Value {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/statistics/scipy/values.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

fn rows(value: &Value) -> Vec<Vec<f64>> {
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

/// To 10 digits.
#[test]
fn a_line_with_its_errors_is_scipys() {
    let line = &values()["line"];
    let (x, y) = (numbers(&line["x"]), numbers(&line["y"]));
    let fit = least_squares(&[vec![1.0; x.len()], x], &y).unwrap();
    let want = |key: &str| line[key].as_f64().unwrap();
    agree("intercept", fit.coefficients[0], want("intercept"), 10);
    agree("slope", fit.coefficients[1], want("slope"), 10);
    agree("error of the intercept", fit.error(0), want("intercept_error"), 10);
    agree("error of the slope", fit.error(1), want("slope_error"), 10);
}

/// Two one-sided tests at 0.025 are the whole 95 % interval inside the bounds.
#[test]
fn equivalence_passes_where_statsmodels_two_tests_do() {
    let mut outcomes = Vec::new();
    for row in values()["equivalence"].as_array().unwrap() {
        let (sample, bounds) = (numbers(&row["values"]), numbers(&row["bounds"]));
        let (mean, sd) = mean_sd(&sample).unwrap();
        let n = sample.len() as f64;
        let tolerance = [Some(bounds[0]), Some(bounds[1])];
        let got = inside("mean", "1", mean, sd / n.sqrt(), n - 1.0, tolerance, 1).verdict;
        let p = row["p"].as_f64().unwrap();
        assert_eq!(got == Outcome::Pass, p < 0.025, "p {p}: {got:?}");
        outcomes.push(got);
    }
    assert!(
        outcomes.contains(&Outcome::Pass) && outcomes.iter().any(|o| *o != Outcome::Pass),
        "{outcomes:?}"
    );
}

/// The delay to half a sample of the whole lag that scipy finds, and to 0.1 of the 17 samples that were put in; the
/// period to 0.05 of 7.3 cycles and the power to 2 digits, on a grid of its own; amplitudes to 9 digits.
#[test]
fn spectra_and_delays_are_scipys() {
    let all = values();
    let delay = spectrum::delay(&numbers(&all["delay"]["a"]), &numbers(&all["delay"]["b"]), 64, 0.1).unwrap();
    assert!((delay.samples - all["delay"]["samples"].as_f64().unwrap()).abs() <= 0.5, "{delay:?}");
    assert!((delay.samples - 17.0).abs() < 0.1, "{delay:?}");
    let uneven = &all["uneven"];
    let line = lomb_scargle(&numbers(&uneven["times"]), &numbers(&uneven["values"]), 1.0..15.0).unwrap();
    assert!((line.frequency - uneven["frequency"].as_f64().unwrap()).abs() < 0.05, "{line:?}");
    agree("power", line.power, uneven["power"].as_f64().unwrap(), 2);
    assert!(line.p_false < 1e-6, "{line:?}");
    let got = spectrum::of(&numbers(&all["amplitudes"]["values"]), 1.0, Window::Rectangle).unwrap();
    let want = numbers(&all["amplitudes"]["amplitude"]);
    assert_eq!(got.amplitude.len(), want.len());
    // The last bin of an even length has no partner; whether its amplitude is halved is a convention.
    let inner = 1..want.len() - 1;
    for (got, want) in got.amplitude[inner.clone()].iter().zip(&want[inner]) {
        agree("amplitude", *got, *want, 9);
    }
}
