//! Lag and strike lag against a reference device, on simulated pairs whose truth is known.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Family, FamilyVerdict, Outcome, Verdict};
use slipgauge_sim::{Bench, Buttons, DeviceModel, Doing, Pace, Script};
use slipgauge_trace::Recording;
use slipgauge_trace::session::{Digest, Header, Tolerance};

fn judged(bench: Bench, change: impl FnOnce(&mut Header)) -> Verdict {
    let session = bench.session().unwrap();
    let mut header = session.header();
    change(&mut header);
    let digest = Digest::default();
    let recording = Recording::from_entries(header, session.entries(), digest).unwrap();
    judge(&recording, "pair").verdict
}

fn family(verdict: &Verdict, family: Family) -> &FamilyVerdict {
    verdict.steps[0].families.iter().find(|f| f.family == family).unwrap()
}

fn script() -> Script {
    Script::default().swipes(1, Pace::Slow, 4, 0.4).swipes(1, Pace::Fast, 12, 2.0)
}

fn with(interval_ns: i64, mount_rad: f64) -> DeviceModel {
    DeviceModel { mount_rad, ..DeviceModel::default() }.with_interval_ns(interval_ns)
}

#[test]
fn a_lag_is_told_to_a_tenth_of_a_millisecond_whatever_intervals_and_mounting() {
    for (own, other, mount) in
        [(1_000_000, 1_000_000, 0.0), (125_000, 1_000_000, 3.1), (2_000_000, 500_000, -0.3)]
    {
        for lag_ns in [0, 700_000, 4_000_000, -1_500_000] {
            let mut device = with(own, 0.05);
            let mut reference = with(other, mount);
            (device.lag_ns, reference.lag_ns) = (lag_ns.max(0), (-lag_ns).max(0));
            let bench =
                Bench { seed: 3, device, reference: Some(reference), script: script(), ..Bench::default() };
            let verdict = judged(bench, |_| {});
            let pair = verdict.pair.unwrap();
            let found = pair.lag_ns.unwrap();
            assert!((found.value - lag_ns as f64).abs() < 1e5, "{own} {other} {lag_ns}: {found:?}");
            assert_eq!(pair.swipes, 16);
            let said = family(&verdict, Family::Lag);
            assert_eq!(said.verdict, Outcome::NotExamined, "no tolerance was asked for");
            assert!((said.estimate.unwrap().value - found.value * 1e-6).abs() < 1e-9);
        }
    }
}

#[test]
fn a_plan_that_says_how_late_is_too_late_is_decided() {
    for (lag_ms, wanted) in [(0.5, Outcome::Pass), (6.0, Outcome::Fail)] {
        let bench = Bench { script: script(), ..Bench::default() }.with_fault("lag", Some(lag_ms)).unwrap();
        let verdict = judged(bench, |header| {
            let tolerance =
                Tolerance { limits: [None, Some(2.0)], unit: "ms".to_owned(), source: "the user".to_owned() };
            header.plan.as_mut().unwrap().tolerances.insert("lag".to_owned(), tolerance);
        });
        assert_eq!(
            family(&verdict, Family::Lag).verdict,
            wanted,
            "{}",
            family(&verdict, Family::Lag).because
        );
    }
}

#[test]
fn strikes_are_paired_and_their_lag_and_spread_told() {
    let mut script = script();
    script = script.then(1, Doing::Strikes { count: 60 });
    let (mut device, mut reference) = (with(1_000_000, 0.0), with(2_000_000, 0.0));
    device.firmware.buttons = Buttons { lag_s: 0.009, lag_spread_s: 0.001, ..Buttons::default() };
    reference.firmware.buttons = Buttons { lag_s: 0.001, lag_spread_s: 0.0, ..Buttons::default() };
    let verdict = judged(Bench { device, reference: Some(reference), script, ..Bench::default() }, |_| {});
    let pair = verdict.pair.unwrap();
    let found = pair.strike_lag_ns.unwrap();
    assert_eq!(pair.strikes, 60);
    assert!(found.low.unwrap() < 8e6 && 8e6 < found.high.unwrap(), "{found:?}");
    assert!((found.value - 8e6).abs() < 0.6e6, "{found:?}");
    // 1 ms of its own, 1/√12 and 2/√12 ms of the two polls: 1.19 ms.
    let spread = pair.strike_lag_spread_ns.unwrap();
    assert!((0.9e6..1.5e6).contains(&spread), "{spread}");
    assert!(pair.strike_lag_most_ns.unwrap() > found.value + spread);
}

#[test]
fn without_a_reference_nothing_is_said() {
    let verdict = judged(Bench { script: script(), ..Bench::default() }, |_| {});
    assert_eq!(verdict.pair, None);
    for name in [Family::Lag, Family::StrikeLag] {
        assert_eq!(family(&verdict, name).verdict, Outcome::NotExamined);
        assert_eq!(family(&verdict, name).because, "no reference device");
    }
}

#[test]
fn a_reference_that_lay_still_or_is_missing_from_the_file_gives_no_lag() {
    let mut still = DeviceModel::default();
    still.steps[0].nominal_counts_per_inch = 1.0;
    let bench = Bench { reference: Some(still), script: script(), ..Bench::default() };
    assert_eq!(judged(bench, |_| {}).pair, None);
}
