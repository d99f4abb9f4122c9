//! Straightening by other rules than the simulator's, and sound devices that look like it.
//!
//! The other rules are applied by hand to the reports that a sound simulated device sent.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family, FamilyVerdict, Finding, Outcome};
use slipgauge_sim::{Bench, Course, DeviceModel, Firmware, Hand, Path, Scaling};
use slipgauge_trace::Recording;
use slipgauge_trace::session::{Digest, Entry, Event};

/// A free hand that turns the device by so much over a swipe, on a device that lies askew by so much; degrees.
fn free_hand(seed: u64, askew: f64, turn: f64, device: DeviceModel) -> Bench {
    let path = Path { yaw_rad: turn.to_radians(), wobble_rad: 0.01, ..Path::default() };
    let device = DeviceModel { mount_rad: askew.to_radians(), ..device };
    Bench { seed, hand: Hand { path, ..Hand::default() }, device, ..Bench::default() }
}

/// Judges a session whose counts went through a rule on their way.
fn judged(bench: Bench, mut rule: impl FnMut(i16, i16) -> (i16, i16)) -> (FamilyVerdict, Vec<Finding>) {
    assert_eq!(bench.device.report.bits, 16);
    let session = bench.session().unwrap();
    let mut entries: Vec<Entry> = session.entries().collect();
    for entry in &mut entries {
        // Buttons, X, Y, wheel.
        if let Event::Report(report) = &mut entry.event {
            let at = |i: usize| i16::from_le_bytes([report.bytes[i], report.bytes[i + 1]]);
            let (x, y) = rule(at(1), at(3));
            report.bytes.splice(1..3, x.to_le_bytes());
            report.bytes.splice(3..5, y.to_le_bytes());
        }
    }
    let digest = Digest::default();
    let recording = Recording::from_entries(session.header(), entries, digest).unwrap();
    let verdict = judge(&recording, "by hand").verdict;
    let own = |f: &&FamilyVerdict| f.family == Family::Straightening;
    let family = verdict.steps[0].families.iter().find(own).unwrap().clone();
    let findings = verdict.findings.into_iter().filter(|f| f.family == Family::Straightening).collect();
    (family, findings)
}

fn as_sent(x: i16, y: i16) -> (i16, i16) {
    (x, y)
}

#[test]
fn the_simulators_own_straightening_is_found_with_its_angle_and_cause() {
    for (degrees, askew) in [(3.0, 3.0), (6.0, -6.0), (10.0, 10.0)] {
        let bench = free_hand(3, askew, 9.0, DeviceModel::default());
        let bench = bench.with_fault("straightening", Some(degrees)).unwrap();
        let (family, findings) = judged(bench, as_sent);
        assert_eq!(
            (family.verdict, family.cause),
            (Outcome::Fail, Some(Cause::Firmware)),
            "{}",
            family.because
        );
        let mut angles: Vec<f64> = findings.iter().map(|f| f.size).collect();
        angles.sort_by(f64::total_cmp);
        let middle = angles[angles.len() / 2];
        assert!((0.7 * degrees..1.4 * degrees).contains(&middle), "{degrees}: {angles:?}");
    }
}

#[test]
fn rules_that_decide_by_report_by_several_reports_or_with_hysteresis_are_found() {
    let near =
        |x: i32, y: i32, degrees: f64| f64::from(y.abs()) < degrees.to_radians().tan() * f64::from(x.abs());
    let bench = || free_hand(5, 5.0, 9.0, DeviceModel::default());
    let by_report = judged(bench(), |x, y| if near(x.into(), y.into(), 5.0) { (x, 0) } else { (x, y) });
    let (mut window, mut on) = ([(0i32, 0i32); 8], false);
    let mut next = 0usize;
    let by_eight = judged(bench(), |x, y| {
        window[next % 8] = (x.into(), y.into());
        next += 1;
        let sum = window.iter().fold((0, 0), |a, b| (a.0 + b.0, a.1 + b.1));
        if next.is_multiple_of(8) {
            on = near(sum.0, sum.1, 5.0);
        }
        if on { (x, 0) } else { (x, y) }
    });
    let (mut mean, mut held) = ((0.0f64, 0.0f64), false);
    let with_hysteresis = judged(bench(), |x, y| {
        mean = (0.9 * mean.0 + 0.1 * f64::from(x), 0.9 * mean.1 + 0.1 * f64::from(y));
        let angle = mean.1.abs().atan2(mean.0.abs()).to_degrees();
        held = if held { angle < 6.0 } else { angle < 4.0 };
        if held { (x, 0) } else { (x, y) }
    });
    for (name, (family, findings)) in
        [("by report", by_report), ("by eight", by_eight), ("with hysteresis", with_hysteresis)]
    {
        assert_eq!(family.verdict, Outcome::Fail, "{name}: {}", family.because);
        assert!(findings.iter().all(|f| f.kind == "bent" && f.cause == Cause::Firmware), "{name}");
    }
}

#[test]
fn firmware_that_drops_single_counts_across_is_found() {
    // Along a straight edge, always askew by 3 degrees: no bend, but ones never come.
    let device = DeviceModel { mount_rad: 0.05, ..DeviceModel::default() };
    let bench = Bench { seed: 4, device, ..Bench::default() };
    let (family, findings) = judged(bench.clone(), |x, y| if y.abs() == 1 { (x, 0) } else { (x, y) });
    assert_eq!(family.verdict, Outcome::Fail, "{}", family.because);
    assert!(findings.len() >= 20 && findings.iter().all(|f| f.kind == "dropped" && f.size == 1.0));
    // Counts that are doubled on the way have no ones either, on both axes.
    let (family, findings) = judged(bench, |x, y| (2 * (x / 2), 2 * (y / 2)));
    assert!(findings.is_empty() && family.verdict != Outcome::Fail, "{}", family.because);
}

#[test]
fn a_device_that_lies_on_its_axis_is_not_examined_and_is_told_how_to_be() {
    let device = DeviceModel { mount_rad: 0.0, ..DeviceModel::default() };
    let path = Path { wobble_rad: 0.0, ..Path::default() };
    let bench = Bench { hand: Hand { path, ..Hand::default() }, device, ..Bench::default() };
    // Truly on it, without a count across; and within the angle all along. They are alike.
    let none: fn(i16, i16) -> (i16, i16) = |x, _| (x, 0);
    let within: fn(i16, i16) -> (i16, i16) = |x, y| if y.abs() < x.abs() / 8 { (x, 0) } else { (x, y) };
    for rule in [none, within] {
        let (family, findings) = judged(bench.clone(), rule);
        assert!(findings.is_empty());
        assert_eq!(family.verdict, Outcome::NotExamined, "{}", family.because);
        assert!(family.to_settle.unwrap().contains("10 degrees"));
    }
}

#[test]
fn a_sound_device_in_a_free_hand_that_turns_through_its_axis_passes() {
    for seed in 1..=4 {
        for (askew, turn) in [(0.0, 9.0), (3.0, -15.0), (-2.0, 6.0)] {
            let (family, findings) = judged(free_hand(seed, askew, turn, DeviceModel::default()), as_sent);
            assert!(findings.is_empty(), "seed {seed}, {askew}, {turn}: {findings:?}");
            assert_eq!(family.verdict, Outcome::Pass, "seed {seed}, {askew}, {turn}: {}", family.because);
        }
    }
}

#[test]
fn an_arm_that_swings_about_its_elbow_is_no_straightening() {
    for (arm_m, arm_turn) in [(0.3, 1.0), (0.35, 0.5), (0.6, 1.0), (0.35, 0.0)] {
        let path = Path { arm_m: Some(arm_m), arm_turn, wobble_rad: 0.02, ..Path::default() };
        for course in [Course::Natural, Course::Aimed, Course::MinimumJerk] {
            let hand = Hand { path: path.clone(), course, ..Hand::default() };
            let (family, findings) = judged(Bench { seed: 2, hand, ..Bench::default() }, as_sent);
            assert!(findings.is_empty(), "{arm_m} {arm_turn} {course:?}: {findings:?}");
            assert_ne!(family.verdict, Outcome::Fail);
        }
    }
}

/// Firmware that cuts off fractions takes small counts across in slow motion: that is gain, and told there.
#[test]
fn truncation_is_not_called_straightening() {
    for askew in [2.0, 4.0] {
        let firmware =
            Firmware { scaling: Some(Scaling { ratio: 0.37, truncates: true }), ..Firmware::default() };
        let device = DeviceModel { firmware, ..DeviceModel::default() };
        let (_, findings) = judged(free_hand(6, askew, 6.0, device), as_sent);
        assert!(findings.is_empty(), "{askew}: {findings:?}");
    }
}

/// Hands on what was counted in steps of so many counts only, and keeps the rest for the next report.
fn in_steps(step: f64) -> impl FnMut(i16, i16) -> (i16, i16) {
    let (mut sum, mut sent) = ((0i64, 0i64), (0i64, 0i64));
    move |x, y| {
        sum = (sum.0 + i64::from(x), sum.1 + i64::from(y));
        let whole = |sum: i64| ((sum as f64 / step).floor() * step).round() as i64;
        let now = (whole(sum.0), whole(sum.1));
        let out = (now.0 - sent.0, now.1 - sent.1);
        sent = now;
        (out.0 as i16, out.1 as i16)
    }
}

#[test]
fn counts_in_steps_of_which_none_is_lost_are_no_straightening() {
    for step in [2.0, 2.5, 3.0, 4.0, 8.0] {
        // Along a straight edge, askew by 1 and 3 degrees, and by free hand.
        for mount_rad in [0.017, 0.05] {
            let device = DeviceModel { mount_rad, ..DeviceModel::default() };
            let bench = Bench { seed: 4, device, ..Bench::default() };
            let (family, findings) = judged(bench, in_steps(step));
            assert!(findings.is_empty(), "{step}, {mount_rad}: {}", family.because);
        }
        // Reports 8 ms apart pass over small values.
        let device = DeviceModel { mount_rad: 0.03, ..DeviceModel::default() }.with_interval_ns(8_000_000);
        let bench = Bench { seed: 8, device, ..Bench::default() };
        let (family, findings) = judged(bench, in_steps(step));
        assert!(findings.is_empty(), "{step} at 8 ms: {}", family.because);
        let (family, findings) = judged(free_hand(5, 3.0, -15.0, DeviceModel::default()), in_steps(step));
        assert!(findings.is_empty(), "{step}: {}", family.because);
        // What came near an axis and was counted is told as such.
        let whole = step != 2.5;
        assert!(!whole || family.verdict == Outcome::Pass, "{step}: {:?} {}", family.verdict, family.because);
    }
}

#[test]
fn straightening_is_found_in_counts_that_come_in_steps() {
    let near =
        |x: i16, y: i16, degrees: f64| f64::from(y.abs()) < degrees.to_radians().tan() * f64::from(x.abs());
    for step in [2, 4] {
        let mut steps = in_steps(step.into());
        let bent = judged(free_hand(5, 5.0, 9.0, DeviceModel::default()), |x, y| {
            let (x, y) = if near(x, y, 5.0) { (x, 0) } else { (x, y) };
            steps(x, y)
        });
        // Firmware behind the steps, and single steps across that it drops; askew by enough for as many steps.
        let mut steps = in_steps(step.into());
        let device = DeviceModel { mount_rad: 0.025 * f64::from(step), ..DeviceModel::default() };
        let dropped = judged(Bench { seed: 4, device, ..Bench::default() }, |x, y| {
            let (x, y) = steps(x, y);
            if y.abs() == step { (x, 0) } else { (x, y) }
        });
        for (kind, (family, findings)) in [("bent", bent), ("dropped", dropped)] {
            assert_eq!(family.verdict, Outcome::Fail, "{kind} {step}: {}", family.because);
            assert!(findings.iter().all(|f| f.kind == kind && f.cause == Cause::Firmware), "{kind} {step}");
        }
    }
}
