//! Why a step is off its nominal, on simulated devices with several steps whose errors are known.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family, FamilyVerdict, Outcome};
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

/// What the family says of each step whose nominals are 800 and 1600, and 3200 if there are three.
fn said(errors: &[f64], change: impl FnOnce(&mut Header)) -> Vec<(Outcome, String)> {
    said_of(&[800.0, 1600.0, 3200.0][..errors.len()], errors, change)
}

/// The same of these nominals.
fn said_of(nominals: &[f64], errors: &[f64], change: impl FnOnce(&mut Header)) -> Vec<(Outcome, String)> {
    let mut device = DeviceModel::default().with_steps(nominals);
    device.steps.iter_mut().zip(errors).for_each(|(step, error)| step.error = *error);
    let script = (1..=errors.len() as u32).fold(Script::default(), |s, id| s.swipes(id, Pace::Slow, 10, 0.4));
    let session = Bench { device, script, ..Bench::default() }.session().unwrap();
    let mut header = session.header();
    change(&mut header);
    let recording = Recording::from_entries(header, session.entries(), Digest::default()).unwrap();
    let steps = judge(&recording, "setting").verdict.steps;
    let of = |f: &FamilyVerdict| (f.verdict, f.because.clone());
    let resolution = steps.iter().flat_map(|s| s.families.iter().filter(|f| f.family == Family::Resolution));
    resolution.map(of).collect()
}

/// The gap of 365 mm told as the travel of 300; with its uncertainty stated it is taken at its word, but named.
#[test]
fn one_factor_for_all_steps_may_be_the_travel_and_fails_only_where_its_uncertainty_is_stated() {
    for (u, outcome) in [(None, Outcome::Inconclusive), (Some(500), Outcome::Fail)] {
        let gap = |h: &mut Header| {
            let plan = h.plan.as_mut().unwrap();
            (plan.travel_um, plan.travel_u_um) = (Some(365_000), u);
        };
        for (found, because) in said(&[0.0, 0.0, 0.0], gap) {
            assert_eq!(found, outcome, "{because}");
            assert!(because.contains("all steps are off by one factor: "), "{because}");
            assert!(because.contains(" mm of travel in place of the 365.0 told"), "{because}");
            let travel: f64 = because.split("factor: ").nth(1).unwrap()[..5].parse().unwrap();
            assert!((travel - 300.0).abs() < 1.0, "{because}");
        }
    }
    // Half of it: the counts are those of the step above, at every step.
    let half = |h: &mut Header| h.plan.as_mut().unwrap().travel_um = Some(150_000);
    assert!(said(&[0.0, 0.0], half).iter().all(|(_, because)| because.contains("all steps are off")));
}

#[test]
fn steps_that_are_there_in_another_order_fail_no_device() {
    // Told 800, 1600, 3200; made 1600, 3200, 800.
    for (found, because) in said(&[1.0, 1.0, -0.75], |_| {}) {
        assert_eq!(found, Outcome::Inconclusive, "{because}");
        assert!(because.contains("in another order than told"), "{because}");
    }
    // Two at the same setting are no order: the button was not pressed, or is dead.
    let two = said(&[1.0, 0.0, 0.0], |_| {});
    assert_eq!(two[0].0, Outcome::Inconclusive);
    assert!(two[0].1.contains("that is step 2: its button was not pressed, or does nothing"), "{}", two[0].1);
    // One that is no other step's is off.
    assert!(said(&[0.4, 0.0, 0.0], |_| {}).iter().any(|(found, _)| *found == Outcome::Fail));
}

/// Of 400, 1,000 and 1,200 the second counts 1,170: near the third, which counts 1,404.
#[test]
fn a_step_is_no_other_one_where_all_are_off_by_one_factor() {
    for (found, because) in said_of(&[400.0, 1000.0, 1200.0], &[0.17, 0.17, 0.17], |_| {}) {
        assert_eq!(found, Outcome::Fail, "{because}");
        assert!(
            because.contains("all steps are off by one factor") && !because.contains("button"),
            "{because}"
        );
    }
    // Unless that leads from each step to the next.
    for (found, because) in said(&[1.0, 1.0, 1.0], |_| {}) {
        assert_eq!(found, Outcome::Inconclusive, "{because}");
        assert!(because.contains("so does a step's button pressed once too often"), "{because}");
    }
}

/// Every step is 5.5 % off, inside the tolerance. After the first the button was pressed twice, and then once: the second is the third's, and
/// the third the first's.
#[test]
fn a_button_pressed_wrongly_fails_no_device_that_is_off_by_less_than_the_tolerance() {
    let off = 1.055;
    let found = said(&[off - 1.0, 2.0 * off - 1.0, off / 4.0 - 1.0], |_| {});
    assert!(found.iter().all(|(found, _)| *found != Outcome::Fail), "{found:?}");
    assert!(found[1].1.contains("that is step 3: its button was not pressed"), "{}", found[1].1);
    assert!(found[2].1.contains("that is step 1: its button was not pressed"), "{}", found[2].1);
    // Near to another step's, and off by more than the others.
    assert!(
        said(&[off - 1.0, 2.0 * 1.2 - 1.0, off - 1.0], |_| {})
            .iter()
            .any(|(found, _)| *found == Outcome::Fail)
    );
}
