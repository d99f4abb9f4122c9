//! Report interval, wake-up and recurrence on simulated sessions whose truth is known.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family, FamilyVerdict, Finding, Outcome, Verdict};
use slipgauge_sim::{Bench, Course, DeviceModel, Hand, Host};
use slipgauge_trace::session::Digest;
use slipgauge_trace::{Nanos, Recording};

fn judged(bench: Bench, nominal_ns: Option<i64>) -> Verdict {
    let session = bench.session().unwrap();
    let mut header = session.header();
    if let Some(ns) = nominal_ns {
        header.devices[0].nodes[0].interval_ns = Some(Nanos(ns));
    }
    let digest = Digest::default();
    let recording = Recording::from_entries(header, session.entries(), digest).unwrap();
    judge(&recording, "time").verdict
}

fn faulty(name: &str, size: f64) -> Verdict {
    judged(Bench { seed: 2, ..Bench::default() }.with_fault(name, Some(size)).unwrap(), None)
}

fn family(verdict: &Verdict, family: Family) -> &FamilyVerdict {
    verdict.steps[0].families.iter().find(|f| f.family == family).unwrap()
}

fn of(verdict: &Verdict, family: Family) -> Vec<&Finding> {
    verdict.findings.iter().filter(|f| f.family == family).collect()
}

fn at(interval_ns: i64) -> Bench {
    Bench { device: DeviceModel::default().with_interval_ns(interval_ns), ..Bench::default() }
}

#[test]
fn a_sound_interval_passes_and_its_interval_holds_the_truth() {
    for interval_ns in [125_000, 1_000_000, 8_000_000] {
        let verdict = judged(at(interval_ns), None);
        let said = family(&verdict, Family::ReportInterval);
        assert_eq!(said.verdict, Outcome::Pass, "{}", said.because);
        let q = said.estimate.unwrap();
        // The simulated clock is off by -20e-6.
        assert!((q.value + 20e-6).abs() < 1e-3 && q.low.unwrap() < q.high.unwrap(), "{q:?}");
        assert!(of(&verdict, Family::ReportInterval).is_empty());
        assert!(of(&verdict, Family::WakeUp).is_empty());
    }
}

/// Ticks of 0.1 and 0.7 ms, and reports every 0.125 and 1 ms: the median interval is a tick, a fifth and a third too short.
#[test]
fn a_clock_that_is_coarse_for_the_interval_judges_no_time_and_invents_nothing() {
    for (interval_ns, resolution_ns) in [(125_000, 100_000), (1_000_000, 700_000)] {
        let host = Host { resolution_ns, ..Host::default() };
        let verdict = judged(Bench { host, ..at(interval_ns) }, None);
        assert!(verdict.findings.is_empty(), "{interval_ns}: {:?}", verdict.findings);
        for unknown in [Family::ReportInterval, Family::Dropout] {
            let said = family(&verdict, unknown);
            assert_eq!(said.verdict, Outcome::NotExamined, "{interval_ns}");
            assert!(said.to_settle.as_ref().is_some_and(|what| what.contains("finer")), "{said:?}");
        }
        assert_eq!(family(&verdict, Family::TrackingLoss).verdict, Outcome::Pass, "{interval_ns}");
        assert!(verdict.steps[0].report_interval_ns.is_none());
    }
}

#[test]
fn an_interval_off_by_eight_per_cent_fails_and_the_link_is_named() {
    let verdict = faulty("interval", 0.08);
    let said = family(&verdict, Family::ReportInterval);
    assert_eq!((said.verdict, said.cause), (Outcome::Fail, Some(Cause::Link)), "{}", said.because);
    assert!((said.estimate.unwrap().value - 0.08).abs() < 1e-3);
    assert_eq!(of(&verdict, Family::ReportInterval).len(), 1);
}

#[test]
fn every_eighth_interval_longer_is_structure_with_that_period() {
    let verdict = faulty("interval-structure", 250.0);
    let found = of(&verdict, Family::ReportInterval);
    assert_eq!((found.len(), found[0].kind, found[0].cause), (1, "structure", Cause::Link));
    // Harmonics of a stretch are as high as its fundamental: 8 reports, or a whole part of it.
    let period = found[0].evidence["period_reports"].as_f64().unwrap();
    assert!([8.0, 4.0, 8.0 / 3.0].iter().any(|p| (period / p - 1.0).abs() < 0.02), "{period}");
    assert!((found[0].evidence["amplitude_us"].as_f64().unwrap() - 62.5).abs() < 5.0);
    assert!(found[0].p_false.unwrap() < 1e-4);
}

#[test]
fn an_interval_that_wanders_by_two_per_cent_is_said_to() {
    let verdict = faulty("interval-wander", 0.02);
    let found = of(&verdict, Family::ReportInterval);
    assert_eq!((found.len(), found[0].kind), (1, "wander"));
}

#[test]
fn jitter_that_a_host_explains_is_blamed_on_nobody_unless_counts_follow_it() {
    assert!(of(&faulty("interval-jitter", 30.0), Family::ReportInterval).is_empty());
    // 6 % of the interval, and of what each report counts.
    let verdict = faulty("interval-jitter", 60.0);
    let found = of(&verdict, Family::ReportInterval);
    assert_eq!((found.len(), found[0].kind, found[0].cause), (1, "jitter", Cause::Link));
    assert_eq!(family(&verdict, Family::ReportInterval).verdict, Outcome::Pass);
}

#[test]
fn a_host_that_polls_at_the_power_of_two_below_is_no_fault() {
    let verdict = judged(at(8_000_000), Some(10_000_000));
    assert_eq!(family(&verdict, Family::ReportInterval).verdict, Outcome::Pass);
}

#[test]
fn a_device_that_reports_in_every_fourth_poll_is_not_judged_by_the_poll() {
    let verdict = judged(at(4_000_000), Some(1_000_000));
    let said = family(&verdict, Family::ReportInterval);
    assert_eq!(said.verdict, Outcome::NotExamined);
    assert!(said.because.contains("one report in 4 polls"), "{}", said.because);
}

#[test]
fn stamps_coarser_than_the_interval_leave_time_unexamined() {
    let host = Host { resolution_ns: 15_600_000, ..Host::default() };
    let verdict = judged(Bench { host, ..Bench::default() }, None);
    for name in [Family::ReportInterval, Family::WakeUp] {
        assert_eq!(family(&verdict, name).verdict, Outcome::NotExamined);
    }
    assert!(of(&verdict, Family::ReportInterval).is_empty());
}

#[test]
fn late_wake_ups_are_found_with_their_kind_and_power_saving_as_cause() {
    let verdict = faulty("wake-late", 60.0);
    let found = of(&verdict, Family::WakeUp);
    assert!(found.len() >= 20, "{}", found.len());
    assert!(found.iter().all(|f| f.kind == "late" && f.cause == Cause::PowerSaving));
    assert_eq!(family(&verdict, Family::WakeUp).verdict, Outcome::Fail);
}

#[test]
fn short_wake_ups_are_found_and_are_no_tracking_loss() {
    let verdict = faulty("wake-short", 60.0);
    let found = of(&verdict, Family::WakeUp);
    assert!(found.iter().filter(|f| f.kind == "short").count() >= 20, "{}", found.len());
    assert!(found.iter().all(|f| f.cause == Cause::PowerSaving));
    assert!(found.iter().all(|f| f.p_false.is_some_and(|p| p < 1e-3)), "{found:?}");
    assert!(of(&verdict, Family::TrackingLoss).is_empty());
    assert_eq!(family(&verdict, Family::WakeUp).verdict, Outcome::Fail);
}

/// Every label of the truth of 2 mm and more has its finding, at coarse and fine counts and intervals.
#[test]
fn every_start_that_lacks_two_millimetres_is_found() {
    let mut labels = 0;
    for (name, interval_ns) in [("wake-short", 1_000_000), ("wake-late", 8_000_000), ("wake-short", 125_000)]
    {
        let bench = Bench { seed: 5, ..at(interval_ns) }.with_fault(name, Some(35.0)).unwrap();
        let mut entries = bench.clone().session().unwrap().entries();
        entries.by_ref().for_each(drop);
        let truth = entries.truth();
        let verdict = judged(bench, None);
        let found = of(&verdict, Family::WakeUp);
        let slept = truth.labels.iter().filter(|l| matches!(l.kind.as_ref(), "late" | "short"));
        for label in slept.filter(|l| l.size >= 2.0) {
            labels += 1;
            let here = |f: &&&Finding| (f.end_ns - label.end_ns).abs() < 25_000_000;
            assert_eq!(found.iter().filter(here).count(), 1, "{name} {interval_ns}: {label:?}");
        }
    }
    assert!(labels >= 30, "{labels}");
}

#[test]
fn a_device_that_never_sleeps_has_no_wake_ups_however_it_is_swiped() {
    for (seed, course) in
        [(3, Course::MinimumJerk), (4, Course::Aimed), (5, Course::Skewed { time_to_peak: 0.35 })]
    {
        let hand = Hand { course, placement_scatter_m: 1e-3, ..Hand::default() };
        let verdict = judged(Bench { seed, hand, ..Bench::default() }, None);
        assert!(of(&verdict, Family::WakeUp).is_empty(), "{course:?}");
        assert_eq!(family(&verdict, Family::WakeUp).verdict, Outcome::Pass, "{course:?}");
    }
}
