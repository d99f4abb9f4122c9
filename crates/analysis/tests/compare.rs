//! Comparing sessions: real differences are found, noise is called noise, and better is not said where it may not be.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use slipgauge_analysis::compare::pool::What;
use slipgauge_analysis::compare::session::Session;
use slipgauge_analysis::compare::units::Lies;
use slipgauge_analysis::compare::{Comparison, Difference, before_and_after, compare};
use slipgauge_analysis::verdict::{Family, Outcome};
use slipgauge_sim::{Bench, Gain, Pace, Script};
use slipgauge_trace::Recording;

/// A session along a straight edge of a device of this label and unit.
fn session(seed: u64, (label, unit): (&str, &str), fast_m_s: f64, change: impl Fn(&mut Bench)) -> Session {
    let script = Script::default().still(1, 5.0).swipes(1, Pace::Slow, 8, 0.4);
    let mut bench = Bench { seed, script: script.swipes(1, Pace::Fast, 14, fast_m_s), ..Bench::default() };
    change(&mut bench);
    let mut file = Vec::new();
    bench.session().unwrap().write_to(&mut file).unwrap();
    let mut recording = Recording::read(file.as_slice()).unwrap();
    // Files that differ have hashes that differ; the label is not hashed here.
    recording.header.plan.as_mut().unwrap().straight_edge = Some(true);
    recording.header.devices[0].label = Some(label.to_owned());
    recording.header.devices[0].unit = Some(unit.to_owned());
    Session::of(&recording, &format!("{label}{unit}-{seed}"))
}

fn sound(seed: u64, label: &str) -> Session {
    session(seed, (label, "1"), 2.0, |_| {})
}

fn blind(seed: u64, label: &str, unit: &str) -> Session {
    session(seed, (label, unit), 2.0, |b| b.device.sensor.tracking.max_speed_m_s = 1.3)
}

fn of(c: &Comparison, what: What) -> &Difference {
    c.differences.iter().find(|d| d.what == what).unwrap()
}

/// Each of 50 pairs is seven looks at most; Holm allows one pair in twenty. Of 50 such draws 7 and more have a chance of
/// 1 %, were it exactly so many.
#[test]
fn of_fifty_pairs_of_sound_devices_few_are_told_to_differ() {
    let pairs = (0..50).map(|i| compare(&[sound(2 * i + 1, "a"), sound(2 * i + 2, "b")], &[]));
    let told: Vec<Difference> =
        pairs.flat_map(|c| c.differences.into_iter().filter(|d| d.real).take(1)).collect();
    assert!(told.len() <= 6, "{} of 50: {told:#?}", told.len());
}

#[test]
fn a_gain_that_differs_by_three_per_cent_is_real_and_the_sound_device_is_better() {
    let weak = session(11, ("b", "1"), 2.0, |b| {
        b.device.sensor.gain = Gain::Step { above_m_s: 1.0, gain: 0.97 };
    });
    let c = compare(&[sound(12, "a"), weak], &[]);
    let d = of(&c, What::GainContrast);
    assert!(d.real && d.better == Some(0), "{d:?}");
    let (low, high) = (d.difference.low.unwrap(), d.difference.high.unwrap());
    // Above 1 m/s lies most of a swipe whose peak is 2 m/s, not all of it.
    assert!(low > 0.01 && high < 0.03 + 0.005, "{d:?}");
}

#[test]
fn a_device_that_loses_track_has_more_bad_swipes_for_real() {
    let c = compare(&[sound(1, "a"), blind(2, "b", "1")], &[]);
    let d = of(&c, What::BadFastSwipes);
    assert!(d.real && d.better == Some(0) && d.p < 1e-4, "{d:?}");
    assert_eq!((c.groups[0].verdict == Outcome::Fail, c.groups[1].verdict), (false, Outcome::Fail));
}

#[test]
fn sessions_of_one_device_are_taken_together_and_those_without_a_label_are_not() {
    let mut nameless = sound(3, "x");
    nameless.verdict.device.label = None;
    let c = compare(&[sound(1, "a"), sound(2, "a"), nameless.clone(), nameless], &[]);
    assert_eq!(c.groups.iter().map(|g| g.sessions.len()).collect::<Vec<_>>(), [2, 1, 1]);
    assert_eq!(c.groups[0].steps[0].swipes.asked, 44);
    assert!(!c.remarks.is_empty());
}

#[test]
fn better_is_withheld_between_set_ups_unless_one_control_agrees_on_both() {
    let on_glass = |mut s: Session| {
        s.header.surface = Some("glass".to_owned());
        s
    };
    let (a, b) = (sound(1, "a"), on_glass(blind(2, "b", "1")));
    let c = compare(&[a.clone(), b.clone()], &[]);
    let d = of(&c, What::BadFastSwipes);
    assert!(d.real && d.better.is_none(), "{d:?}");
    assert!(d.withheld.as_ref().unwrap().contains("another pad"), "{d:?}");
    let control = |seed| sound(seed, "known good");
    let c = compare(&[a.clone(), b.clone()], &[control(5), on_glass(control(6))]);
    let d = of(&c, What::BadFastSwipes);
    assert!(d.better == Some(0) && d.withheld.is_none(), "{d:?}");
    // A control that goes blind on glass, too, says that it is the glass.
    let c = compare(&[a.clone(), b.clone()], &[control(5), on_glass(blind(6, "known good", "1"))]);
    assert!(of(&c, What::BadFastSwipes).better.is_none());
    // Two controls that are not the same one do not help.
    let c = compare(&[a, b], &[control(5), on_glass(sound(6, "another"))]);
    assert!(of(&c, What::BadFastSwipes).better.is_none());
}

#[test]
fn swipes_that_were_slower_are_no_proof_of_a_sounder_device() {
    let slow = session(4, ("a", "1"), 1.0, |_| {});
    let c = compare(&[slow, blind(2, "b", "1")], &[]);
    assert!(c.differences.iter().all(|d| d.what != What::BadFastSwipes));
    let why = &c.untested.iter().find(|u| u.what == What::BadFastSwipes).unwrap().because;
    assert!(why.contains("not alike in speed"), "{why}");
}

#[test]
fn before_and_after_asks_for_two_sessions_a_side() {
    let before = [blind(1, "a", "1"), blind(2, "a", "1")];
    let after = [sound(3, "a"), sound(4, "a")];
    let c = before_and_after(&before, &after);
    let change = c.change.as_ref().unwrap();
    assert!(change.placed_again && change.pairs == [(0, 1)], "{change:?}");
    let d = of(&c, What::BadFastSwipes);
    assert!(d.real && d.better == Some(1), "{d:?}");
    let c = before_and_after(&before[..1], &after[..1]);
    assert!(!c.change.as_ref().unwrap().placed_again);
    let d = of(&c, What::BadFastSwipes);
    assert!(d.real && d.better.is_none() && d.withheld.is_some(), "{d:?}");
    let none = before_and_after(&before, &[sound(5, "b")]);
    assert!(none.differences.is_empty() && none.remarks.iter().any(|r| r.contains("paired")));
}

#[test]
fn over_units_a_fault_is_placed_with_an_exact_interval() {
    let units = ["1", "2", "3"].map(|unit| blind(unit.parse().unwrap(), "a", unit));
    // A device that goes blind leaves its peak to be guessed, and a control must have been as fast as that.
    let good = session(9, ("good", "1"), 2.4, |_| {});
    let lies = |sessions: &[Session], control: &Session| {
        let rows = compare(sessions, std::slice::from_ref(control)).units;
        rows.into_iter().find(|r| r.family == Family::TrackingLoss).unwrap()
    };
    let row = lies(&units, &good);
    assert_eq!((row.k, row.n, row.lies), (3, 3, Lies::Open), "{row:?}");
    // Clopper and Pearson: 3 of 3 from 0.025 to the power 1/3.
    assert!((row.share.unwrap().low.unwrap() - 0.025f64.cbrt()).abs() < 1e-9);
    let one = lies(&units[..1], &good);
    assert!(one.lies == Lies::Unit && one.because.contains("nothing of its product"), "{one:?}");
    let shared = lies(&units, &blind(8, "good", "1"));
    assert_eq!((shared.n, shared.shared, shared.lies), (0, 3, Lies::Shared), "{shared:?}");
}
