//! Why a step is off its nominal, on simulated devices with several steps whose errors are known.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family};
use slipgauge_sim::{Bench, DeviceModel, Family as TrueFamily, Pace, Script};
use slipgauge_trace::Recording;
use slipgauge_trace::session::{Digest, Header};

/// Causes of the findings off nominal, by step; the family's own cause is held against them, and the truth where it is told.
fn causes(seed: u64, errors: &[f64], change: impl FnOnce(&mut Header)) -> Vec<(u32, Cause)> {
    let nominals = &[800.0, 1600.0, 3200.0][..errors.len()];
    let mut device = DeviceModel::default().with_steps(nominals);
    device.steps.iter_mut().zip(errors).for_each(|(step, error)| step.error = *error);
    let script = (1..=errors.len() as u32).fold(Script::default(), |s, id| s.swipes(id, Pace::Slow, 10, 0.4));
    let session = Bench { seed, device, script, ..Bench::default() }.session().unwrap();
    let mut header = session.header();
    change(&mut header);
    let digest = Digest::default();
    let recording = Recording::from_entries(header, session.entries(), digest).unwrap();
    let verdict = judge(&recording, "setting").verdict;
    let truth = session.truth();
    let off = verdict.findings.iter().filter(|f| f.kind == "off nominal");
    off.map(|f| {
        let step = verdict.steps.iter().find(|s| s.step == f.step).unwrap();
        let family = step.families.iter().find(|x| x.family == Family::Resolution).unwrap();
        assert_eq!(family.cause, Some(f.cause));
        let label = truth.of(TrueFamily::Resolution).find(|l| l.step == Some(f.step)).unwrap();
        let (said, true_one) = (format!("{:?}", f.cause), format!("{:?}", label.cause));
        assert!(f.cause == Cause::Unknown || said == true_one, "{said} is {true_one}");
        (f.step, f.cause)
    })
    .collect()
}

#[test]
fn one_step_that_is_off_alone_is_a_setting_of_the_firmware() {
    for seed in 0..5 {
        assert_eq!(causes(seed, &[0.01, 0.2, 0.01], |_| {}), [(2, Cause::Firmware)]);
        assert_eq!(causes(seed, &[-0.15, 0.02], |_| {}), [(1, Cause::Firmware)]);
    }
}

#[test]
fn one_factor_for_all_steps_is_the_sensors_if_the_travel_is_known() {
    let all = |cause| vec![(1, cause), (2, cause), (3, cause)];
    for seed in 0..5 {
        assert_eq!(causes(seed, &[0.15, 0.15, 0.15], |_| {}), all(Cause::Sensor));
        let unstated = |h: &mut Header| h.plan.as_mut().unwrap().travel_u_um = None;
        assert_eq!(causes(seed, &[0.15, 0.15, 0.15], unstated), all(Cause::Unknown));
    }
}

#[test]
fn one_step_only_or_steps_that_are_off_in_different_ways_leave_the_cause_unknown() {
    for seed in 0..5 {
        assert_eq!(causes(seed, &[0.2], |_| {}), [(1, Cause::Unknown)]);
        let both = causes(seed, &[0.2, -0.2], |_| {});
        assert!(!both.is_empty() && both.iter().all(|(_, cause)| *cause == Cause::Unknown), "{both:?}");
    }
}
