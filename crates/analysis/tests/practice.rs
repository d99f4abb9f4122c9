//! Facts of the trade (common practice, no source): a device that stops tracking on any movement that is more than slow, at
//! every one of its resolution steps, is bad, and so is one that goes on moving at rest. Both fail, at each step, by the
//! family and the cause that a person would name.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family, FamilyVerdict, Outcome, StepVerdict, Verdict};
use slipgauge_sim::{Bench, DeviceModel, Drift, Script, Sensor, Tracking};
use slipgauge_trace::Recording;

/// Counts per inch of the four steps.
const STEPS: [f64; 4] = [400.0, 800.0, 1600.0, 3200.0];

/// Judges a device with this sensor at all four steps.
fn at_four_steps(seed: u64, sensor: Sensor) -> Verdict {
    let device = DeviceModel { sensor, ..DeviceModel::default().with_steps(&STEPS) };
    let bench = Bench { seed, device, script: Script::screen(4), ..Bench::default() };
    let mut file = Vec::new();
    bench.session().unwrap().write_to(&mut file).unwrap();
    let recording = Recording::read(file.as_slice()).unwrap();
    let verdict = judge(&recording, "simulated").verdict;
    assert_eq!(verdict.steps.iter().map(|s| s.step).collect::<Vec<_>>(), [1, 2, 3, 4]);
    verdict
}

fn family(step: &StepVerdict, family: Family) -> &FamilyVerdict {
    step.families.iter().find(|f| f.family == family).unwrap()
}

/// What each step says of each family that fails.
fn failing(step: &StepVerdict) -> Vec<(Family, Option<Cause>)> {
    let bad = step.families.iter().filter(|f| f.verdict == Outcome::Fail);
    bad.map(|f| (f.family, f.cause)).collect()
}

/// The sensor ends above slow swipes (0.4 m/s) and below medium ones (1.2 m/s) and fast ones (2.5 m/s). Of a fast one it may
/// leave so little that it cannot be placed; then the medium ones speak for it.
#[test]
fn a_device_that_stops_tracking_on_all_but_slow_movement_fails_at_each_of_four_steps_by_its_sensor() {
    for (seed, max_speed_m_s) in [(1, 0.6), (2, 0.75), (3, 0.9)] {
        let tracking = Tracking { max_speed_m_s, scatter: 0.03, ..Tracking::default() };
        let verdict = at_four_steps(seed, Sensor { tracking, ..Sensor::default() });
        assert_eq!(verdict.verdict, Outcome::Fail, "seed {seed}: {}", verdict.because);
        assert!(verdict.because.contains("tracking loss"), "{}", verdict.because);
        for step in &verdict.steps {
            let context = format!("seed {seed}, step {}: {:?} {:?}", step.step, failing(step), step.swipes);
            assert_eq!(failing(step), [(Family::TrackingLoss, Some(Cause::Sensor))], "{context}");
            // All 30 swipes at the medium and fast pace are found bad or not found, and none of the 10 slow ones.
            let own = verdict.findings.iter().filter(|f| f.step == step.step);
            let mut swipes: Vec<_> = own.map(|f| (f.phase, f.swipe)).collect();
            swipes.sort_unstable();
            swipes.dedup();
            assert_eq!(swipes.len() + step.swipes.unplaced as usize, 30, "{context}");
            assert_eq!((step.swipes.asked, step.swipes.clean), (40, 10), "{context}");
        }
    }
}

/// Half a millimetre a second: a hand's width in three minutes.
#[test]
fn a_device_that_goes_on_moving_at_rest_fails_at_each_of_four_steps_by_its_sensor() {
    for (seed, creep_m_s) in [(1, [0.5e-3, 0.0]), (2, [-0.3e-3, 0.4e-3])] {
        let drift = Drift { creep_m_s, ..Drift::default() };
        let verdict = at_four_steps(seed, Sensor { drift, ..Sensor::default() });
        assert_eq!(verdict.verdict, Outcome::Fail);
        assert!(verdict.because.contains("drift"), "{}", verdict.because);
        for step in &verdict.steps {
            let context = format!("seed {seed}, step {}: {:?}", step.step, failing(step));
            assert_eq!(failing(step), [(Family::Drift, Some(Cause::Sensor))], "{context}");
            let rate = family(step, Family::Drift).criteria[0].estimate.unwrap();
            assert!((rate.value / 0.5 - 1.0).abs() < 0.02, "{context} {rate:?}");
        }
    }
}

#[test]
fn the_same_device_without_either_fault_fails_at_none() {
    let verdict = at_four_steps(1, Sensor::default());
    assert!(verdict.findings.is_empty() && verdict.verdict != Outcome::Fail, "{}", verdict.because);
}
