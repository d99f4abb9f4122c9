//! Statistics against certified values: NIST Statistical Reference Datasets, univariate summary statistics. The files
//! stand unchanged in `fixtures/certified/univariate`; both data and certified values are read from them.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::stats::regression::{Fit, least_squares};
use slipgauge_analysis::stats::{mean, mean_sd};
use std::path::Path;

/// A data set with its certified mean and standard deviation (n − 1).
struct Certified {
    name: String,
    values: Vec<f64>,
    mean: f64,
    sd: f64,
}

fn read(path: &Path) -> Certified {
    let text = std::fs::read_to_string(path).unwrap();
    let certified = |what: &str| -> f64 {
        let line = text.lines().find(|line| line.contains(what)).unwrap();
        let number = line.rsplit(':').next().unwrap().split_whitespace().next().unwrap();
        number.parse().unwrap()
    };
    let data = text.split_once("Data: Y").unwrap().1;
    Certified {
        name: path.file_stem().unwrap().to_string_lossy().into_owned(),
        values: data.split_whitespace().filter_map(|word| word.parse().ok()).collect(),
        mean: certified("Sample Mean"),
        sd: certified("Sample Standard Deviation"),
    }
}

/// Digits in which two numbers agree: −log₁₀ of their relative difference (the log relative error of the NIST site).
fn digits(got: f64, want: f64) -> f64 {
    if got == want { 15.0 } else { -((got - want) / want).abs().log10() }
}

#[test]
fn means_and_standard_deviations_are_the_certified_ones() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/certified/univariate");
    let files = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
    let sets: Vec<Certified> =
        files.filter(|p| p.extension().is_some_and(|e| e == "dat")).map(|p| read(&p)).collect();
    assert_eq!(sets.len(), 9);
    for set in sets {
        let (got_mean, got_sd) = mean_sd(&set.values).unwrap();
        assert_eq!(Some(got_mean), mean(&set.values));
        // NumAcc4 holds values near 10,000,000.2 with a spread of 0.1: their own representation leaves eight digits of
        // the spread (a two-pass sum in double precision gives 0.10000000055879).
        let (mean_digits, sd_digits) = match set.name.as_str() {
            "NumAcc3" => (14.0, 9.0),
            "NumAcc4" => (14.0, 8.0),
            "Mavro" => (14.0, 12.0),
            _ => (14.0, 13.5),
        };
        let name = &set.name;
        assert!(digits(got_mean, set.mean) >= mean_digits, "{name}: mean {got_mean}, certified {}", set.mean);
        assert!(digits(got_sd, set.sd) >= sd_digits, "{name}: s {got_sd}, certified {}", set.sd);
    }
}

/// Agreed digits of the worst coefficient, the worst standard error, and the residuals' standard deviation; zero where the
/// certified ones are zero.
fn agreed(fit: &Fit, certified: &[Vec<f64>], residual_sd: f64) -> [f64; 3] {
    let worst = |all: &mut dyn Iterator<Item = f64>| all.fold(f64::INFINITY, f64::min);
    // Certified zeros are held against by themselves: what is left must be rounding.
    let of =
        |got: f64, want: f64| if want == 0.0 { digits(1.0 + got, 1.0).min(15.0) } else { digits(got, want) };
    let each = || certified.iter().enumerate();
    [
        worst(&mut each().map(|(k, want)| of(fit.coefficients[k], want[0]))),
        worst(&mut each().map(|(k, want)| of(fit.error(k), want[1]))),
        of(fit.residual_sd, residual_sd),
    ]
}

/// NIST StRD, linear regression. Digits asked for follow the sets' own conditioning, half a digit below what was reached: 13
/// and more of a line, 11 of collinear columns, 9 to 13 of the fifth degree (7 where the noise is ten thousand times the
/// coefficients, Wampler5), 7 of the tenth (Filip, made to break programs).
#[test]
fn regressions_are_the_certified_ones() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/certified/linear");
    // Name, first power of x (or none for several predictors), last power; digits of coefficients, errors, residuals.
    type Set = (&'static str, Option<(i32, i32)>, [f64; 3]);
    let sets: [Set; 11] = [
        ("Norris", Some((0, 1)), [13.0, 13.0, 13.0]),
        ("NoInt1", Some((1, 1)), [14.0, 14.0, 14.0]),
        ("NoInt2", Some((1, 1)), [14.0, 14.0, 14.0]),
        ("Pontius", Some((0, 2)), [13.0, 13.0, 13.5]),
        ("Longley", None, [10.5, 12.5, 13.5]),
        ("Filip", Some((0, 10)), [7.0, 7.0, 8.0]),
        ("Wampler1", Some((0, 5)), [10.0, 9.5, 9.5]),
        ("Wampler2", Some((0, 5)), [12.5, 14.0, 14.0]),
        ("Wampler3", Some((0, 5)), [11.0, 13.5, 14.0]),
        ("Wampler4", Some((0, 5)), [8.5, 13.5, 14.0]),
        ("Wampler5", Some((0, 5)), [6.5, 13.5, 14.0]),
    ];
    let files = std::fs::read_dir(&folder).unwrap().map(|e| e.unwrap().path());
    assert_eq!(files.filter(|p| p.extension().is_some_and(|e| e == "dat")).count(), sets.len());
    let mut short = Vec::new();
    for (name, powers, least) in sets {
        let text = std::fs::read_to_string(folder.join(name).with_extension("dat")).unwrap();
        let numbers = |line: &str| -> Vec<f64> {
            line.split_whitespace().filter_map(|word| word.parse().ok()).collect()
        };
        let certified: Vec<Vec<f64>> = text
            .lines()
            .filter(|l| l.trim_start().starts_with('B') && numbers(l).len() == 2)
            .map(numbers)
            .collect();
        let residuals = text.lines().skip_while(|l| l.trim() != "Residual").nth(1).map(numbers).unwrap();
        let (_, data) = text.rsplit_once("Data:").unwrap();
        let rows: Vec<Vec<f64>> = data.lines().skip(1).map(numbers).filter(|r| r.len() > 1).collect();
        let y: Vec<f64> = rows.iter().map(|r| r[0]).collect();
        let columns: Vec<Vec<f64>> = match powers {
            Some((from, to)) => {
                (from..=to).map(|power| rows.iter().map(|r| r[1].powi(power)).collect()).collect()
            }
            None => (0..7).map(|k| rows.iter().map(|r| if k == 0 { 1.0 } else { r[k] }).collect()).collect(),
        };
        assert_eq!(certified.len(), columns.len(), "{name}");
        let Some(fit) = least_squares(&columns, &y) else {
            short.push(format!("{name}: no fit"));
            continue;
        };
        let got = agreed(&fit, &certified, residuals[0]);
        if got.iter().zip(&least).any(|(got, least)| got < least) {
            short.push(format!("{name}: {got:.1?} digits, {least:?} asked for"));
        }
    }
    assert!(short.is_empty(), "{short:#?}");
}
