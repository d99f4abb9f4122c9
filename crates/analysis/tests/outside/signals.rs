//! scipy and astropy, by way of `fixtures/statistics/scipy/values.json`: spectra, delays, periods.
//!
//! Not held against a library: the false-alarm levels of [`spectrum::Spectrum::line`] and of [`periodicity()`], which are of
//! our own making. They are held against noise in the modules' own tests.

use crate::agree;
use crate::libraries::{numbers, values};
use serde_json::Value;
use slipgauge_analysis::periodicity::periodicity;
use slipgauge_analysis::spectrum::{self, Window, lomb_scargle};

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

/// Baluev's level by astropy (`false_alarm_probability(method="baluev")`). Ours leaves out a factor √(2/N) Γ(N/2)/Γ((N −
/// 1)/2), 0.4 % below 1 at 200 values: to 1 %.
#[test]
fn the_false_alarm_level_of_uneven_times_is_astropys() {
    let weak = &values()["weak"];
    let want = |key: &str| weak[key].as_f64().unwrap();
    let line = lomb_scargle(&numbers(&weak["times"]), &numbers(&weak["values"]), 0.0..15.0).unwrap();
    assert!((line.frequency - want("frequency")).abs() < 0.002, "{line:?}");
    agree("power", line.power, want("power"), 4);
    assert!((line.p_false / want("p_false") - 1.0).abs() < 0.01, "{line:?}, {}", want("p_false"));
}

/// scipy's `welch` with `scaling="spectrum"`, whose powers are half the squares of the amplitudes: to 9 digits.
#[test]
fn averaged_segments_under_hanns_window_are_scipys() {
    let row = &values()["averaged"];
    let (sample, want) = (numbers(&row["values"]), numbers(&row["amplitude"]));
    let length = row["length"].as_u64().unwrap() as usize;
    let got = spectrum::averaged(&[&sample], length, 1.0, Window::Hann).unwrap();
    assert_eq!((got.amplitude.len(), got.segments), (want.len(), 7));
    for (got, want) in got.amplitude.iter().zip(&want).take(want.len() - 1).skip(1) {
        agree("amplitude", *got, *want, 9);
    }
}

/// A line between two bins: to 0.02 of a bin of least squares, and 1 % of its amplitude, on as good as no noise.
#[test]
fn a_line_between_bins_is_where_least_squares_finds_it() {
    let row = &values()["sine"];
    let want = |key: &str| row[key].as_f64().unwrap();
    let line = spectrum::of(&numbers(&row["values"]), 1.0, Window::Hann).unwrap().line(0.05..0.45).unwrap();
    assert!((line.frequency - want("frequency")).abs() * 128.0 < 0.02, "{line:?}");
    assert!((line.amplitude / want("amplitude") - 1.0).abs() < 0.01, "{line:?}");
}

/// scipy's `vectorstrength` at the period where that is greatest. Ours looks for the greatest of another statistic, which
/// takes the spans' own cadence off: to 1e-4 of the period, and 0.005 of the strength.
#[test]
fn events_recur_at_the_period_of_scipys_vector_strength() {
    let row = &values()["recurring"];
    let whole = |v: &Value| v.as_i64().unwrap();
    let times: Vec<i64> = row["times"].as_array().unwrap().iter().map(whole).collect();
    let spans: Vec<(i64, i64)> =
        row["spans"].as_array().unwrap().iter().map(|s| (whole(&s[0]), whole(&s[1]))).collect();
    let got = periodicity(&times, &spans).unwrap();
    let want = |key: &str| row[key].as_f64().unwrap();
    assert_eq!(got.events, times.len());
    assert!((got.seconds / want("seconds") - 1.0).abs() < 1e-4, "{got:?}");
    assert!((got.in_step - want("in_step")).abs() < 0.005, "{got:?}");
}
