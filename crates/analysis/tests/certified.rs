//! Statistics against certified values: NIST Statistical Reference Datasets, univariate summary statistics. The files
//! stand unchanged in `fixtures/certified/univariate`; both data and certified values are read from them.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

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
    assert_eq!(sets.len(), 8);
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
