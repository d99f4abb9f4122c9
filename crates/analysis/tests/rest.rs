//! The device at rest: settling and knocks of other kinds than the simulator's, and faults that must not hide as such.
//!
//! Counts are made by hand from a place as a function of time, rounded to whole counts on a grid of reports, and put in
//! front of a simulated session's swipes in place of its own still phase.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family, FamilyVerdict, Finding, Outcome};
use slipgauge_sim::{Bench, DeviceModel, Hand, Settling};
use slipgauge_trace::session::{Digest, Entry, Event, Report};
use slipgauge_trace::{Nanos, Recording};
use std::f64::consts::TAU;

/// Seconds of the still phase; its begin is at 0.6 s.
const STILL: f64 = 10.0;

/// Judges a session whose place at rest, in mm along X and Y, is `place` (of seconds since the phase began).
fn at_rest(
    per_inch: f64,
    interval_ns: i64,
    place: impl Fn(f64) -> [f64; 2],
) -> (FamilyVerdict, Vec<Finding>) {
    in_steps(1, per_inch, interval_ns, place)
}

/// The same of a device that hands on each count of its sensor, of `per_inch`, as so many.
fn in_steps(
    by: i16,
    per_inch: f64,
    interval_ns: i64,
    place: impl Fn(f64) -> [f64; 2],
) -> (FamilyVerdict, Vec<Finding>) {
    let device = DeviceModel::default().with_steps(&[per_inch]).with_interval_ns(interval_ns);
    let hand = Hand { settling: Settling { distance_m: 0.0, time_s: 1.0 }, ..Hand::default() };
    let format = device.report.clone();
    let bench = Bench { seed: 7, device, hand, ..Bench::default() };
    let session = bench.session().unwrap();
    let sent: Vec<Entry> = session.entries().collect();
    let begin = sent.iter().find(|e| matches!(e.event, Event::Phase(Some(_)))).unwrap().t;
    let mut entries = Vec::new();
    let mut last = [0.0f64; 2];
    for i in 1..(STILL * 1e9) as i64 / interval_ns {
        let t = begin.0 + i * interval_ns;
        let now = place((i * interval_ns) as f64 * 1e-9).map(|mm| (mm * per_inch / 25.4 + 0.3).round());
        let counts = [now[0] - last[0], now[1] - last[1]].map(|c| c as i16);
        last = now;
        if counts != [0, 0] {
            let [x, y] = counts.map(|c| (by * c).to_le_bytes());
            let bytes = like(&format, x, y);
            let report = Report { bytes, node: 0, place: 0, kernel: None };
            entries.push(Entry { t: Nanos(t), device: 0, event: Event::Report(report) });
        }
    }
    let end = begin.0 + (STILL * 1e9) as i64;
    let others = sent
        .into_iter()
        .filter(|e| !(matches!(e.event, Event::Report(_)) && (begin.0..end).contains(&e.t.0)));
    entries.extend(others.map(|mut e| {
        if let Event::Report(report) = &mut e.event {
            for at in [1, 3] {
                let count = i16::from_le_bytes([report.bytes[at], report.bytes[at + 1]]);
                report.bytes[at..at + 2].copy_from_slice(&(by * count).to_le_bytes());
            }
        }
        e
    }));
    entries.sort_by_key(|e| e.t);
    let digest = Digest::default();
    let recording = Recording::from_entries(session.header(), entries, digest).unwrap();
    let verdict = judge(&recording, "by hand").verdict;
    let family = verdict.steps[0].families.iter().find(|f| f.family == Family::Drift).unwrap().clone();
    let findings = verdict.findings.into_iter().filter(|f| f.family == Family::Drift).collect();
    (family, findings)
}

/// A report of the simulator's format (buttons, X, Y, wheel) with these counts.
fn like(format: &slipgauge_sim::ReportFormat, x: [u8; 2], y: [u8; 2]) -> Vec<u8> {
    assert_eq!(format.bits, 16);
    vec![0, x[0], x[1], y[0], y[1], 0]
}

const RATES: [(f64, i64); 4] =
    [(400.0, 8_000_000), (1600.0, 1_000_000), (6400.0, 1_000_000), (6400.0, 125_000)];

/// Decays of other shapes and times than one exponential of a second.
#[test]
fn a_settling_of_any_decaying_shape_is_no_burst_and_passes() {
    type Shape = (&'static str, fn(f64) -> f64);
    let shapes: [Shape; 5] = [
        ("quick", |t| 0.3 * (1.0 - (-t / 0.1).exp())),
        ("slow", |t| 0.2 * (1.0 - (-t / 1.8).exp())),
        ("logarithm", |t| 0.03 * (1.0 + t / 0.1).ln()),
        ("two times", |t| 0.2 * (1.0 - (-t / 0.3).exp()) + 0.05 * (1.0 - (-t / 1.5).exp())),
        ("let go late", |t| 0.2 * (1.0 - (-(t - 1.2).max(0.0) / 0.8).exp())),
    ];
    for (per_inch, interval) in RATES {
        for (name, shape) in shapes {
            let (family, found) = at_rest(per_inch, interval, |t| [shape(t), -shape(t) / 3.0]);
            let context = format!("{name} at {per_inch}, {interval} ns: {} {found:?}", family.because);
            assert_eq!(family.verdict, Outcome::Pass, "{context}");
            assert!(found.iter().all(|f| f.kind != "burst"), "{context}");
            assert!(family.because.contains("letting go"), "{context}");
        }
    }
}

/// One of the sensor's own counts is two or four of the device's, and no burst.
#[test]
fn a_settling_in_steps_of_several_counts_is_no_burst_and_a_creep_in_them_is_told() {
    for by in [2, 4] {
        let (family, found) = in_steps(by, 800.0, 1_000_000, |t| [0.1 * (1.0 - (-t / 2.0).exp()), 0.0]);
        assert_eq!((family.verdict, found.len()), (Outcome::Pass, 0), "{by}: {} {found:?}", family.because);
        let (family, found) = in_steps(by, 800.0, 1_000_000, |t| [0.5 * t, 0.0]);
        assert_eq!((family.verdict, found[0].kind), (Outcome::Fail, "creep"), "{by}: {}", family.because);
        let rate = family.estimate.unwrap().value;
        assert!((rate / 0.5 - 1.0).abs() < 0.03, "{by}: {rate} mm/s");
    }
}

/// Damped swings of several frequencies and decays.
#[test]
fn a_knock_is_left_out_and_told_at_any_resolution() {
    for (per_inch, interval) in RATES {
        for (hz, decay, mm) in [(28.0, 0.04, 0.5), (12.0, 0.08, 0.3), (60.0, 0.03, 0.2)] {
            let (family, found) = at_rest(per_inch, interval, |t| {
                let s = (t - 5.0).max(0.0);
                let swing = mm * (-s / decay).exp() * (TAU * hz * s).sin();
                [swing, 0.5 * swing]
            });
            let context = format!("{hz} Hz at {per_inch}, {interval} ns: {} {found:?}", family.because);
            assert_eq!((family.verdict, found.len()), (Outcome::Pass, 0), "{context}");
            assert!(per_inch < 6000.0 || family.because.contains("1 knock on the desk"), "{context}");
        }
    }
}

#[test]
fn a_fault_that_repeats_cannot_hide_as_a_knock() {
    let (family, found) = at_rest(1600.0, 1_000_000, |t| {
        let s = t % 0.9;
        let swing = 0.4 * (-s / 0.04f64).exp() * (TAU * 28.0 * s).sin();
        [swing, 0.5 * swing]
    });
    assert_ne!(family.verdict, Outcome::Pass, "{}", family.because);
    assert!(found.iter().filter(|f| f.kind == "burst").count() >= 8, "{found:?}");
}

/// Place in mm at a time in seconds.
type Place = fn(f64) -> [f64; 2];

/// Common practice, no source: a device that goes on moving with the hand off it fails, and is at fault itself.
#[test]
fn a_device_that_goes_on_moving_with_the_hand_off_it_fails() {
    for (per_inch, interval) in RATES {
        let circles: Place = |t| [2.0 * (TAU * t / 4.0).cos(), 2.0 * (TAU * t / 4.0).sin()];
        let runs: Place = |t| [3.0 * t, -t];
        let moves: [(&str, Place); 2] = [("wander", circles), ("creep", runs)];
        for (kind, place) in moves {
            let (family, found) = at_rest(per_inch, interval, place);
            let context = format!("{kind} at {per_inch}, {interval} ns: {} {found:?}", family.because);
            assert_eq!((family.verdict, family.cause), (Outcome::Fail, Some(Cause::Sensor)), "{context}");
            assert_eq!(found.iter().map(|f| f.kind).collect::<Vec<_>>(), [kind], "{context}");
        }
    }
}

/// A touch moves it once; one event does not show what a device does.
#[test]
fn one_shove_at_rest_is_told_and_does_not_fail_the_device() {
    let (family, found) = at_rest(1600.0, 1_000_000, |t| [2.0 * ((t - 6.0) / 0.2).clamp(0.0, 1.0), 0.0]);
    assert_eq!(family.verdict, Outcome::Inconclusive, "{}", family.because);
    assert_eq!(found.iter().map(|f| f.kind).collect::<Vec<_>>(), ["burst"]);
    assert!((found[0].size - 2.0).abs() < 0.05, "{found:?}");
}

/// By hand: 10 counts of 25.4/1600 mm in 8 s are 0.0198 mm/s; ±1 count over 8 s is 0.002 mm/s at least.
#[test]
fn the_interval_of_a_slow_creep_holds_the_truth_and_is_no_narrower_than_a_count() {
    let rate = 10.0 * 25.4 / 1600.0 / 8.0;
    let (family, found) = at_rest(1600.0, 1_000_000, |t| [0.6 * rate * t, 0.8 * rate * t]);
    let estimate = family.criteria.iter().find(|c| c.what == "creep").unwrap().estimate.unwrap();
    let (low, high) = (estimate.low.unwrap(), estimate.high.unwrap());
    assert!(low < rate && rate < high, "{estimate:?}");
    assert!(high - low > 2.0 * 0.0019, "{estimate:?}");
    assert_eq!((found[0].kind, family.verdict), ("creep", Outcome::Pass));
    assert!(found[0].p_false.unwrap() < 0.01);
}

/// A count's edge toggles on any movement: told, and no fault. A swing of half a millimetre is one.
#[test]
fn a_tremble_of_one_count_passes_and_a_wide_one_fails() {
    let toggles = |t: f64| f64::from(u8::from((t * 7.3).fract() < 0.2)) * 25.4 / 1600.0;
    let (family, found) = at_rest(1600.0, 1_000_000, |t| [toggles(t), 0.0]);
    assert_eq!((family.verdict, found[0].kind), (Outcome::Pass, "tremble"), "{}", family.because);
    let (family, found) = at_rest(1600.0, 1_000_000, |t| [0.25 * (TAU * 7.3 * t).sin(), 0.0]);
    assert_eq!((family.verdict, found[0].kind), (Outcome::Fail, "tremble"), "{}", family.because);
}

/// 100 and 120 Hz, at 8 ms folded to 25 and 5 Hz.
#[test]
fn a_lamps_flicker_is_told_by_its_frequency_and_amplitude() {
    for (per_inch, interval) in [(1600.0, 1_000_000), (3200.0, 4_000_000), (6400.0, 8_000_000)] {
        for lamp in [100.0, 120.0] {
            let (family, found) = at_rest(per_inch, interval, |t| {
                let swing = 0.02 * (TAU * lamp * t + 0.4).sin();
                [swing, 0.5 * swing]
            });
            let context = format!("{lamp} Hz at {per_inch}, {interval} ns: {} {found:?}", family.because);
            assert_eq!(found.iter().map(|f| f.kind).collect::<Vec<_>>(), ["flicker"], "{context}");
            assert_eq!(found[0].evidence["lamp_hz"].as_f64(), Some(lamp), "{context}");
            // Rounding to counts costs some of the amplitude.
            assert!((found[0].size / 0.02 - 1.0).abs() < 0.15, "{context}");
            assert_eq!(family.verdict, Outcome::Pass, "{context}");
        }
    }
}

/// Cut into counts, a swing of 1 Hz has a hundredth harmonic, and beside it its others.
#[test]
fn a_slow_swing_is_no_lamps_flicker() {
    for (per_inch, interval) in [(800.0, 1_000_000), (1600.0, 1_000_000), (1600.0, 8_000_000)] {
        for hz in [1.0, 1.3, 2.0, 10.0] {
            for mm in [0.02, 0.05, 0.1] {
                let (family, found) = at_rest(per_inch, interval, |t| {
                    let turn = TAU * hz * t + 0.3;
                    [mm * turn.sin(), 0.4 * mm * (turn + 1.0).sin()]
                });
                let context = format!("{hz} Hz, {mm} mm at {per_inch}, {interval} ns: {}", family.because);
                assert!(found.iter().all(|f| f.kind != "flicker"), "{context}");
            }
        }
    }
}

#[test]
fn counts_as_large_as_a_field_holds_break_nothing() {
    let (family, found) =
        at_rest(6400.0, 1_000_000, |t| [100.0 * (t * 1e4).sin(), 100.0 * (t * 777.0).cos()]);
    assert_eq!(family.verdict, Outcome::Fail, "{} {found:?}", family.because);
}

/// Place of a device on a desk about which somebody walks: damped swings, both axes, net nothing.
fn walked_about(mm: f64, t: f64) -> [f64; 2] {
    let steps = (0..24).map(|i| {
        // Steps are not a clock's: 2.2 a second, give or take.
        let i = f64::from(i);
        let s = (t - 0.45 * i - 0.02 * (1.7 * i).sin()).max(0.0);
        let swing = |hz: f64| mm * (1.0 + 0.3 * (2.3 * i).sin()) * (-s / 0.08).exp() * (TAU * hz * s).sin();
        [swing(13.0), 0.6 * swing(17.0)]
    });
    steps.fold([0.0; 2], |sum, swing| [sum[0] + swing[0], sum[1] + swing[1]])
}

/// A knock is no fault, however often; but while it lasts nothing is shown of the device.
#[test]
fn knocks_that_recur_are_told_as_knocks_and_never_fail() {
    for per_inch in [800.0, 1600.0, 3200.0] {
        let (family, found) = at_rest(per_inch, 1_000_000, |t| walked_about(0.15, t));
        let context = format!("{per_inch}: {} {found:?}", family.because);
        assert_eq!(family.verdict, Outcome::Inconclusive, "{context}");
        assert_eq!(found.iter().map(|f| f.kind).collect::<Vec<_>>(), ["knocks"], "{context}");
        assert_eq!(family.cause, Some(Cause::Operator), "{context}");
        assert!(family.because.contains("something shakes the desk"), "{context}");
        assert!(family.to_settle.as_ref().is_some_and(|s| s.contains("walks")), "{:?}", family.to_settle);
    }
}

/// Short of what a swing may be, whatever made them.
#[test]
fn small_knocks_that_recur_are_told_and_pass() {
    let (family, found) = at_rest(3200.0, 1_000_000, |t| walked_about(0.03, t));
    assert_eq!(family.verdict, Outcome::Pass, "{} {found:?}", family.because);
    assert_eq!(found.iter().map(|f| f.kind).collect::<Vec<_>>(), ["knocks"], "{}", family.because);
}

/// Net displacement on one axis, twice a second, beside a desk that is shaken a little.
#[test]
fn bursts_are_found_beside_knocks() {
    let steps = |t: f64| 0.3 * ((t + 0.23) / 0.45).floor();
    for per_inch in [800.0, 1600.0] {
        let (family, found) = at_rest(per_inch, 1_000_000, |t| {
            let [x, y] = walked_about(0.08, t);
            [x + steps(t), y]
        });
        assert_eq!(family.verdict, Outcome::Fail, "{per_inch}: {} {found:?}", family.because);
    }
}

/// The counts that a creep makes while a knock rings are the creep's as well.
#[test]
fn a_creep_is_found_beside_knocks() {
    for per_inch in [800.0, 3200.0] {
        let (family, found) = at_rest(per_inch, 1_000_000, |t| {
            let [x, y] = walked_about(0.03, t);
            [x + 0.3 * t, y]
        });
        let creep = family.criteria.iter().find(|c| c.what == "creep").unwrap();
        let value = creep.estimate.unwrap().value;
        assert!((value / 0.3 - 1.0).abs() < 0.15, "{per_inch}: {value} {} {found:?}", family.because);
        assert_eq!(family.verdict, Outcome::Fail, "{per_inch}: {} {found:?}", family.because);
    }
}

/// A hand that lets go drags the device a little; what flies off is not shown to lie still.
#[test]
fn what_is_left_out_as_letting_go_has_a_limit() {
    for per_inch in [800.0, 1600.0] {
        for (speed, outcome) in [(50.0, Outcome::Inconclusive), (1.5, Outcome::Pass)] {
            let (family, found) = at_rest(per_inch, 1_000_000, |t| [speed * t.min(1.9), 0.0]);
            assert_eq!((family.verdict, found.len()), (outcome, 0), "{speed}: {} {found:?}", family.because);
            let told = family.because.contains("mm while it should lie still");
            assert_eq!(told, outcome != Outcome::Pass, "{}", family.because);
        }
    }
    // There and back is motion as well.
    let (family, _) = at_rest(1600.0, 1_000_000, |t| [20.0 * (TAU * t.min(1.0)).sin(), 0.0]);
    assert_eq!(family.verdict, Outcome::Inconclusive, "{}", family.because);
}

/// 100 mm within a millisecond are 100 m/s; a shove of 2 mm may be the surface's or a touch's.
#[test]
fn a_leap_of_one_report_is_no_surfaces() {
    for per_inch in [800.0, 1600.0] {
        let (family, found) = at_rest(per_inch, 1_000_000, |t| [if t > 5.0 { 100.0 } else { 0.0 }, 0.0]);
        assert_eq!(found.iter().map(|f| f.kind).collect::<Vec<_>>(), ["burst"], "{}", family.because);
        assert_eq!(found[0].cause, Cause::Unknown, "{}", family.because);
        assert!((found[0].evidence["leap_mm"].as_f64().unwrap() - 100.0).abs() < 0.3, "{found:?}");
        assert!(!family.because.contains("on this surface"), "{}", family.because);
    }
    let (family, found) = at_rest(1600.0, 1_000_000, |t| [2.0 * ((t - 6.0) / 0.2).clamp(0.0, 1.0), 0.0]);
    assert_eq!(found[0].cause, Cause::Surface, "{}", family.because);
}

/// Whether its counts come in groups or not, and wherever the windows cut it.
#[test]
fn a_slow_swing_is_told_as_the_same_kind_at_any_phase() {
    for per_inch in [800.0, 1600.0] {
        for phase in 0..16 {
            let (family, found) = at_rest(per_inch, 1_000_000, |t| {
                let turn = TAU * (t + f64::from(phase) / 16.0);
                [0.04 * turn.sin(), 0.024 * (turn + 1.0).sin()]
            });
            let context = format!("{per_inch}, {phase}: {} {found:?}", family.because);
            assert_eq!(found.iter().map(|f| f.kind).collect::<Vec<_>>(), ["tremble"], "{context}");
            assert_eq!(family.verdict, Outcome::Pass, "{context}");
        }
    }
}

/// Counts that all go one way are no single counts, though they stop half way.
#[test]
fn a_creep_that_sets_in_and_stops_is_told() {
    for (per_inch, interval) in RATES {
        let (family, found) = at_rest(per_inch, interval, |t| [0.3 * (t - 3.0).clamp(0.0, 4.0), 0.0]);
        let context = format!("{per_inch}, {interval} ns: {} {found:?}", family.because);
        assert_eq!(found.iter().map(|f| f.kind).collect::<Vec<_>>(), ["spell"], "{context}");
        assert!((found[0].size - 1.2).abs() < 0.1, "{context}");
        let seconds = (found[0].end_ns - found[0].begin_ns) as f64 * 1e-9;
        assert!((3.0..4.2).contains(&seconds), "{context}");
        assert_ne!(family.verdict, Outcome::Pass, "{context}");
    }
}

/// The lamp's counts come and go by the hundred, and are no reason to take the creep's few for chance.
#[test]
fn a_creep_under_a_lamps_flicker_is_told_beside_it() {
    for per_inch in [400.0, 800.0] {
        let swing = 0.7 * 25.4 / per_inch;
        let place = move |t: f64| [0.24 * t + 0.5 * swing * (TAU * 100.0 * t).sin(), 0.02 * t];
        let (family, found) = at_rest(per_inch, 1_000_000, place);
        let creep = found.iter().find(|f| f.kind == "creep").unwrap();
        assert!((creep.size - 0.24 * 10.0).abs() < 0.6, "{per_inch}: {creep:?}");
        assert!(creep.p_false.unwrap() < 1e-3 && found.len() == 2, "{per_inch}: {found:?}");
        // Beyond their rounding.
        assert!(found[1].size < 3.0 * 25.4 / per_inch, "{per_inch}: {found:?}");
        assert_eq!(family.verdict, Outcome::Fail);
        assert!(family.because.starts_with("creeps at 0.24"), "{per_inch}: {}", family.because);
    }
}

/// A millimetre nine times in ten seconds, always the same way; and to and fro, which goes nowhere.
#[test]
fn hops_that_all_go_one_way_are_a_creep_and_fail() {
    let hops = |t: f64| (t / 1.05).floor();
    let (one_way, _) = at_rest(1600.0, 1_000_000, |t| [1.0 * hops(t), 0.3 * hops(t)]);
    assert_eq!(one_way.verdict, Outcome::Fail, "{}", one_way.because);
    let limit = one_way.criteria.iter().find(|c| c.what.starts_with("creep in hops")).unwrap();
    let low = limit.estimate.unwrap().low.unwrap();
    assert!((0.1..0.6).contains(&low), "{low}");
    let (to_and_fro, _) = at_rest(1600.0, 1_000_000, |t| [hops(t) % 2.0, 0.0]);
    assert_ne!(to_and_fro.verdict, Outcome::Fail, "{}", to_and_fro.because);
}

/// 0.3 mm/s from the third second to the sixth, at 800 counts an inch: a count each 0.106 s.
#[test]
fn a_creep_that_sets_in_and_stops_is_no_row_of_bursts() {
    let creeps = |t: f64| 0.3 * t + 0.003 * (TAU * 3.1 * t).sin();
    let (family, findings) = at_rest(800.0, 1_000_000, |t| [creeps((t - 3.0).clamp(0.0, 3.0)), 0.0]);
    let kinds: Vec<&str> = findings.iter().map(|f| f.kind).collect();
    assert_eq!(kinds, ["spell"], "{}", family.because);
}

/// A hand on the device swings it by 0.15 mm at 9 Hz, now more and now less; a sensor that does so at 20 Hz fails.
#[test]
fn a_hand_that_trembles_on_it_fails_no_device() {
    let swings =
        |hz: f64| move |t: f64| [0.15 * (0.7 + 0.3 * (TAU * 0.4 * t).sin()) * (TAU * hz * t).sin(), 0.0];
    let (family, findings) = at_rest(1600.0, 1_000_000, swings(9.0));
    assert_eq!(family.verdict, Outcome::Inconclusive, "{}", family.because);
    assert!(family.because.contains("at 9 Hz as a hand does"), "{}", family.because);
    assert!(findings.iter().all(|f| f.kind == "tremble" && f.cause == Cause::Operator), "{findings:?}");
    let (family, _) = at_rest(1600.0, 1_000_000, swings(20.0));
    assert_eq!(family.verdict, Outcome::Fail, "{}", family.because);
}
