//! Guides and standards: worked examples of JCGM 100:2008 (GUM), JCGM 106:2012, ISO 14253-1's rule, success runs.
//!
//! Not exercised, because nothing here does it:
//! - JCGM 106:2012 9.5.4 beyond its acceptance limit. Our rule knows the one device that is measured and no population that
//!   it comes from, so it has no prior and reckons no risk over all devices.
//! - JCGM 100:2008 H.2 by the law of propagation with correlations (H.2.3). The correlated quantities of ours are lengths
//!   that share a stop (`lengths`, held against matrices there) and coefficients of one fit (`Fit::at`, H.3 below).
//! - A gain contrast as Welch's: `families::gain_change` and `scale::effective` pool one scatter over all paces, since the
//!   stops are the same, and know of stops that are shared. Welch's own form is that of `scale::ratios`, between steps.

use crate::agree;
use slipgauge_analysis::clip::ceiling_m_s;
use slipgauge_analysis::decision::{inside, share_at_most};
use slipgauge_analysis::stats::regression::{least_squares, polynomial};
use slipgauge_analysis::stats::{effective_df, mean_sd, proportion_high, t_quantile};
use slipgauge_analysis::verdict::Outcome::{Fail, Inconclusive, Pass};
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// JCGM 100:2008 H.1, end gauge: combined standard uncertainty 32 nm, 16 effective degrees of freedom, t for 99 % 2.92,
/// expanded uncertainty 93 nm. (The contributions are from memory; what comes of them is the published result.)
#[test]
fn the_end_gauge_has_its_expanded_uncertainty() {
    let parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)];
    let combined = parts.iter().fold(0.0f64, |sum, (u, _)| sum.hypot(*u));
    assert_eq!(combined.round(), 32.0);
    let t = t_quantile(0.995, effective_df(&parts).floor());
    agree("t", t, 2.92, 3);
    assert_eq!((t * combined).round(), 93.0);
}

/// JCGM 100:2008 H.2: five readings each; resistance V cos(phi)/I 127.732 ohm, reactance 219.847, impedance 254.260.
/// The means' standard uncertainties 0.0032 V, 0.0095 mA, 0.00075 rad. (Inputs from memory, results published.)
#[test]
fn resistance_and_reactance_come_out_of_their_readings() {
    let (v, sv) = mean_sd(&[5.007, 4.994, 5.005, 4.990, 4.999]).unwrap();
    let (i, si) = mean_sd(&[19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]).unwrap();
    let (phi, sphi) = mean_sd(&[1.0456, 1.0438, 1.0468, 1.0428, 1.0433]).unwrap();
    agree("resistance", v / i * phi.cos(), 127.732, 6);
    agree("reactance", v / i * phi.sin(), 219.847, 6);
    agree("impedance", v / i, 254.260, 6);
    let of_mean = |s: f64| s / 5f64.sqrt();
    agree("u(V)", of_mean(sv), 0.0032, 2);
    agree("u(I)", of_mean(si), 0.0095e-3, 2);
    agree("u(phi)", of_mean(sphi), 0.00075, 2);
}

/// The same by H.2.4, each set of readings for itself, which needs no correlations put in: uncertainties 0.071, 0.295 and
/// 0.236 ohm (0.2956 recomputed), correlations −0.588, −0.485, 0.993: the slope of the one on the other, in deviations.
#[test]
fn resistance_and_reactance_come_out_of_each_set_for_itself() {
    let v = [5.007, 4.994, 5.005, 4.990, 4.999];
    let i = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3];
    let phi: [f64; 5] = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];
    let each = |of: &dyn Fn(usize) -> f64| (0..5).map(of).collect::<Vec<f64>>();
    let z = each(&|k| v[k] / i[k]);
    let (r, x) = (each(&|k| z[k] * phi[k].cos()), each(&|k| z[k] * phi[k].sin()));
    for (what, values, mean, u) in
        [("R", &r, 127.732, 0.071), ("X", &x, 219.847, 0.2956), ("Z", &z, 254.260, 0.236)]
    {
        let (got, sd) = mean_sd(values).unwrap();
        agree(what, got, mean, 6);
        agree(&format!("u({what})"), sd / 5f64.sqrt(), u, if what == "R" { 2 } else { 3 });
    }
    for (what, a, b, want) in [("R, X", &r, &x, -0.588), ("R, Z", &r, &z, -0.485), ("X, Z", &x, &z, 0.993)] {
        let slope = polynomial(a, b, 1).unwrap().coefficients[1];
        agree(what, slope * mean_sd(a).unwrap().1 / mean_sd(b).unwrap().1, want, 3);
    }
}

/// JCGM 100:2008 H.3, calibration of a thermometer about 20 degrees: y1 −0.1712 (0.0029), y2 0.00218 (0.00067),
/// correlation −0.930, s 0.0035; at 30 degrees −0.1494 (0.0041).
#[test]
fn the_thermometers_line_has_its_published_uncertainties() {
    let t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
    let b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
    let x: Vec<f64> = t.iter().map(|t| t - 20.0).collect();
    let fit = least_squares(&[vec![1.0; x.len()], x], &b).unwrap();
    agree("y1", fit.coefficients[0], -0.1712, 4);
    agree("u(y1)", fit.error(0), 0.0029, 2);
    agree("y2", fit.coefficients[1], 0.00218, 3);
    agree("u(y2)", fit.error(1), 0.00067, 2);
    agree("correlation", fit.covariance(0, 1) / (fit.error(0) * fit.error(1)), -0.930, 3);
    agree("s", fit.residual_sd, 0.0035, 2);
    let (at, u) = fit.at(&[1.0, 10.0]);
    agree("correction at 30", at, -0.1494, 4);
    agree("its uncertainty", u, 0.0041, 2);
}

/// JCGM 106:2012, a value of 13.6 with standard uncertainty 1.8 against limits 12.5 and 16.3 conforms with 66.3 % (inputs
/// from memory, the arithmetic recomputed): neither shown.
#[test]
fn a_value_that_conforms_two_times_in_three_is_inconclusive() {
    let normal = Normal::standard();
    let conforms = normal.cdf((16.3 - 13.6) / 1.8) - normal.cdf((12.5 - 13.6) / 1.8);
    agree("probability", conforms, 0.6626, 4);
    let got = inside("x", "1", 13.6, 1.8, f64::INFINITY, [Some(12.5), Some(16.3)], 1).verdict;
    assert_eq!(got, Inconclusive);
}

/// Likewise −5.47 V with 0.05 V against an upper limit of −5.40 V: Phi(1.4) = 91.9 %, which is not 95 %.
#[test]
fn a_value_that_conforms_with_92_percent_does_not_pass() {
    agree("probability", Normal::standard().cdf(0.07 / 0.05), 0.9192, 4);
    let got = inside("x", "V", -5.47, 0.05, f64::INFINITY, [None, Some(-5.40)], 1).verdict;
    assert_eq!(got, Inconclusive);
}

/// Two one-sided tests, one sample: mean 0.54 against 0.5, s 1.2, n 100, bounds ±0.3 s; t 3.333 and −2.667, p 0.000604
/// and 0.004475: equivalent at 0.025 (inputs from a package's documentation, the statistics recomputed).
#[test]
fn the_one_sample_equivalence_example_is_equivalent() {
    let (difference, u, bound) = (0.54 - 0.5, 1.2 / 100f64.sqrt(), 0.3 * 1.2);
    agree("upper t", (difference + bound) / u, 3.3333, 5);
    agree("lower t", (difference - bound) / u, -2.6667, 5);
    let t = StudentsT::new(0.0, 1.0, 99.0).unwrap();
    agree("p", t.cdf((difference - bound) / u), 0.004475, 4);
    let got = |bound: f64| inside("x", "1", difference, u, 99.0, [Some(-bound), Some(bound)], 1).verdict;
    // The bound at which the larger p is 0.025 is |difference| + t u.
    let edge = difference + t_quantile(0.975, 99.0) * u;
    assert_eq!((got(bound), got(edge + 1e-6), got(edge - 1e-6)), (Pass, Pass, Inconclusive));
}

/// Two one-sided tests, two samples of unequal variance (Welch; Lakens, Soc. Psychol. Personal. Sci. 8:355, 2017, which has
/// t(182) = −2.69, p 0.004; the rest recomputed): 5.25 (s 0.95, n 95) against 5.22 (0.83, 89), bounds ±0.43 standard
/// deviations, ±0.383569; 181.13 degrees of freedom, t 3.1497 and −2.6928, p 0.00096 and 0.00388.
#[test]
fn the_two_sample_equivalence_example_is_equivalent() {
    let (a, b) = (0.95 / 95f64.sqrt(), 0.83 / 89f64.sqrt());
    let df = effective_df(&[(a, 94.0), (b, 88.0)]);
    agree("df", df, 181.13, 5);
    let (difference, u, bound) = (5.25 - 5.22, a.hypot(b), 0.383569);
    let (upper, lower) = ((difference + bound) / u, (difference - bound) / u);
    agree("upper t", upper, 3.1497, 5);
    agree("lower t", lower, -2.6928, 5);
    let t = StudentsT::new(0.0, 1.0, df).unwrap();
    agree("upper p", t.sf(upper), 0.00096, 2);
    agree("lower p", t.cdf(lower), 0.00388, 3);
    let got = |bound: f64| inside("x", "1", difference, u, df, [Some(-bound), Some(bound)], 1).verdict;
    let edge = difference + t_quantile(0.975, df) * u;
    assert_eq!((got(bound), got(edge + 1e-6), got(edge - 1e-6)), (Pass, Pass, Inconclusive));
}

/// JCGM 106:2012 9.5.4, ball bearings: roundness at most 2 um, measured with 0.25 um; accepted at 1.672 um and less, one in
/// a thousand of the published population is accepted and too large. Ours asks for 95 % of each, which is stricter there:
/// 2 − 1.645 · 0.25 = 1.589 um.
#[test]
fn a_ball_bearing_is_accepted_no_further_than_for_a_consumers_risk_of_one_in_a_thousand() {
    let passes = |y: f64| inside("x", "um", y, 0.25, f64::INFINITY, [None, Some(2.0)], 1).verdict == Pass;
    let highest = (0..25_000).rev().map(|i| f64::from(i) * 1e-4).find(|y| passes(*y)).unwrap();
    assert!(highest < 1.672);
    agree("acceptance limit", highest, 2.0 - 1.645 * 0.25, 4);
}

/// Significant digits of a number as it is printed.
fn printed(text: &str) -> (f64, i32) {
    let digits = text.chars().filter(char::is_ascii_digit).skip_while(|c| *c == '0').count();
    (text.parse().unwrap(), digits as i32)
}

/// Report ceilings at 400, 800, 1600, 3200 and 6400 counts/inch, top value × rate / counts per inch, in in/s and, 0.0254
/// times as much, in m/s; to the digits printed, worked out elsewhere.
#[test]
fn report_ceilings_are_those_of_the_table() {
    let rows = [
        (127, 125, "39.69 19.84 9.92 4.96 2.48", "1.008 0.504 0.252 0.126 0.063"),
        (127, 250, "79.38 39.69 19.84 9.92 4.96", "2.016 1.008 0.504 0.252 0.126"),
        (127, 500, "158.75 79.38 39.69 19.84 9.92", "4.032 2.016 1.008 0.504 0.252"),
        (127, 1000, "317.5 158.75 79.38 39.69 19.84", "8.065 4.032 2.016 1.008 0.504"),
        (2047, 125, "639.7 319.8 159.9 79.96 39.98", "16.25 8.124 4.062 2.031 1.016"),
        (2047, 250, "1279 639.7 319.8 159.9 79.96", "32.50 16.25 8.124 4.062 2.031"),
        (2047, 500, "2559 1279 639.7 319.8 159.9", "64.99 32.50 16.25 8.124 4.062"),
        (2047, 1000, "5118 2559 1279 639.7 319.8", "130.0 64.99 32.50 16.25 8.124"),
    ];
    let check = |top: i32, hz: i32, per_inch: f64, in_s: &str, m_s: &str| {
        let got = ceiling_m_s(top, 1e9 / f64::from(hz), per_inch / 25.4);
        for (got, want) in [(got / 0.0254, in_s), (got, m_s)] {
            let (want, digits) = printed(want);
            agree(&format!("{top} at {hz} Hz and {per_inch}"), got, want, digits);
        }
    };
    for (top, hz, in_s, m_s) in rows {
        let both: Vec<(&str, &str)> = in_s.split(' ').zip(m_s.split(' ')).collect();
        assert_eq!(both.len(), 5);
        for (power, (in_s, m_s)) in both.into_iter().enumerate() {
            check(top, hz, 400.0 * 2f64.powi(power as i32), in_s, m_s);
        }
    }
    check(32767, 125, 6400.0, "640", "16.3");
}

/// JCGM 106:2012 8.3.2: with a guard band of r U a value at the acceptance limit conforms with at least Phi(2 r); r = 1
/// gives 97.7 %. Ours takes the one-sided 95 %: 1.645 u (ISO 14253-1 rounds to 1.65), and no value that conforms with less
/// than 95 % passes, none that conforms with more fails.
#[test]
fn the_guard_band_keeps_what_it_promises() {
    let (u, limit) = (0.05, 2.0);
    let normal = Normal::standard();
    agree("r = 1", normal.cdf(2.0), 0.9772, 4);
    let mut seen = Vec::new();
    for step in 0..=400 {
        let y = 1.8 + step as f64 * 0.001;
        let conforms = normal.cdf((limit - y) / u);
        let verdict = inside("x", "1", y, u, f64::INFINITY, [None, Some(limit)], 1).verdict;
        assert!((verdict == Pass) == (conforms >= 0.95), "{y}: {conforms} {verdict:?}");
        assert!(verdict != Fail || conforms < 0.001 + 1e-9, "{y}: {conforms}");
        if !seen.contains(&verdict) {
            seen.push(verdict);
        }
    }
    assert_eq!(seen, [Pass, Inconclusive, Fail]);
}

/// Success runs n = ceil(ln(1 − C) / ln R), recomputed: C 95 % R 95 % 59; C 90 % R 95 % 45; C 95 % R 90 % 29; C 95 % R 99 %
/// 299. One clean swipe fewer does not bound the share.
#[test]
fn clean_runs_bound_a_share_at_their_tabulated_sizes() {
    for (confidence, reliability, n) in
        [(0.95, 0.95, 59), (0.90, 0.95, 45), (0.95, 0.90, 29), (0.95, 0.99, 299u32)]
    {
        let high = |n| proportion_high(0, n, 1.0 - confidence);
        assert!(
            high(n) <= 1.0 - reliability && high(n - 1) > 1.0 - reliability,
            "{confidence} {reliability}"
        );
    }
    let screen = |n| share_at_most("x", "1", 0, n, 0.18, 1).verdict;
    assert_eq!((screen(16), screen(15)), (Pass, Inconclusive));
}
