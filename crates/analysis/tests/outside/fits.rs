//! scipy and statsmodels, by way of `fixtures/statistics/scipy/values.json`: fits, censored limits, clocks.
//!
//! No robust line stands here because none is fitted anywhere: slopes are least squares, robust are medians only. The
//! fits of lengths between stops and of the gain curve are no public functions; they are held against matrices in their
//! own modules' tests.

use crate::agree;
use crate::libraries::{numbers, values};
use slipgauge_analysis::intervals::{Run, Runs};
use slipgauge_analysis::stats::regression::{least_squares, polynomial};
use slipgauge_analysis::tracking_limit::censored::{Told, bounds, median};

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

/// statsmodels: coefficients, their errors, the residuals' standard deviation, and a value outside the data with its
/// error, to 9 digits.
#[test]
fn a_parabola_and_what_it_says_elsewhere_are_statsmodels() {
    let row = &values()["curve"];
    let fit = polynomial(&numbers(&row["x"]), &numbers(&row["y"]), 2).unwrap();
    let (want, errors) = (numbers(&row["coefficients"]), numbers(&row["errors"]));
    for i in 0..3 {
        agree("coefficient", fit.coefficients[i], want[i], 9);
        agree("its error", fit.error(i), errors[i], 9);
    }
    agree("residuals", fit.residual_sd, row["residual_sd"].as_f64().unwrap(), 9);
    let (value, error) = fit.at(&numbers(&row["at"]));
    agree("value", value, row["value"].as_f64().unwrap(), 9);
    agree("error", error, row["error"].as_f64().unwrap(), 9);
}

fn reached(at: &f64) -> Told {
    Told::Reached { low: *at, at: *at, high: *at, peak: 9.0 }
}

/// Median and scatter to 2e-6 and 2e-5 of scipy's fit of censored data, the interval to 2e-6 of the profile of scipy's
/// likelihood at our drop (which is Student's, see the module).
#[test]
fn the_median_of_censored_limits_is_scipys() {
    for row in values()["censored"].as_array().unwrap() {
        let (seen, above) = (numbers(&row["seen"]), numbers(&row["above"]));
        let mut told: Vec<Told> = seen.iter().map(reached).collect();
        told.extend(above.iter().map(|x| Told::Above(*x)));
        let got = median(&told).unwrap();
        let near = |what: &str, got: f64, key: &str, most: f64| {
            let want = row[key].as_f64().unwrap();
            let context = format!("{} seen, {} not reached", seen.len(), above.len());
            assert!((got / want - 1.0).abs() < most, "{what}: {got} is not {want} ({context})");
        };
        near("median", got.value, "median", 2e-6);
        near("scatter", got.scatter, "scatter", 2e-5);
        near("lower limit", got.low, "low", 2e-6);
        near("upper limit", got.high, "high", 2e-6);
    }
}

/// scipy's `quantile_test` at the median: the same values of the sample.
#[test]
fn bounds_without_a_model_are_those_of_scipys_sign_test() {
    for row in values()["order_bounds"].as_array().unwrap() {
        let sample = numbers(&row["values"]);
        let told: Vec<Told> = sample.iter().map(reached).collect();
        let want = (row["low"].as_f64(), row["high"].as_f64());
        assert_eq!(bounds(&told), want, "{} values", sample.len());
    }
}

/// statsmodels: one slope in common with a constant for each run, errors with runs as clusters, Fisher's F of slopes that
/// differ; to 9 digits of the slope and 6 of the others.
#[test]
fn the_clock_of_runs_is_a_regression_with_clusters() {
    let row = &values()["clock"];
    let run = |v: &serde_json::Value| Run { number: numbers(&v["number"]), time: numbers(&v["time"]) };
    let runs = Runs { runs: row["runs"].as_array().unwrap().iter().map(run).collect(), ..Runs::default() };
    let clock = runs.clock().unwrap();
    let f = numbers(&row["f"]);
    agree("interval", clock.interval, row["interval"].as_f64().unwrap(), 9);
    agree("uncertainty", clock.uncertainty, row["uncertainty"].as_f64().unwrap(), 6);
    agree("F", clock.wander_f.0, f[0], 6);
    assert_eq!((clock.wander_f.1, clock.wander_f.2), (f[1], f[2]));
}
