//! Where a fault lies, by a control session; and what becomes of what was shown while recording.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use slipgauge_analysis::control::{Control, Place, against};
use slipgauge_analysis::judge;
use slipgauge_analysis::live;
use slipgauge_analysis::verdict::{Family, Outcome, Verdict};
use slipgauge_sim::{Bench, Pace, Script};
use slipgauge_trace::session::Header;
use slipgauge_trace::{Nanos, Recording};

fn session(seed: u64, limit_m_s: Option<f64>, fast_m_s: f64) -> (Verdict, Header) {
    let script = Script::default().still(1, 10.0).swipes(1, Pace::Slow, 10, 0.4);
    let mut bench = Bench { seed, script: script.swipes(1, Pace::Fast, 20, fast_m_s), ..Bench::default() };
    if let Some(limit) = limit_m_s {
        bench.device.sensor.tracking.max_speed_m_s = limit;
    }
    let mut file = Vec::new();
    bench.session().unwrap().write_to(&mut file).unwrap();
    let recording = Recording::read(file.as_slice()).unwrap();
    (judge(&recording, "a").verdict, recording.header)
}

fn held(test: &(Verdict, Header), control: &(Verdict, Header)) -> Control {
    against((&test.0, &test.1), (&control.0, &control.1))
}

fn place(control: &Control, family: Family) -> Place {
    control.families.iter().find(|lies| lies.family == family).unwrap().place
}

#[test]
fn a_fault_lies_in_this_unit_if_the_control_passes_on_the_same_bench() {
    let (blind, sound) = (session(1, Some(1.5), 2.5), session(2, None, 2.5));
    assert_eq!((blind.0.verdict, sound.0.verdict), (Outcome::Fail, Outcome::Pass));
    let control = held(&blind, &sound);
    assert_eq!(place(&control, Family::TrackingLoss), Place::ThisUnit, "{control:?}");
    assert_eq!(control.verdict, Outcome::Pass);
    // Nothing fails: nothing to place.
    assert!(held(&sound, &blind).families.is_empty());
}

#[test]
fn a_fault_of_both_lies_in_what_they_share() {
    let control = held(&session(1, Some(1.5), 2.5), &session(2, Some(1.5), 2.5));
    assert_eq!(place(&control, Family::TrackingLoss), Place::Shared, "{control:?}");
}

#[test]
fn a_control_that_was_not_swiped_as_fast_or_elsewhere_tells_nothing() {
    let blind = session(1, Some(1.5), 2.5);
    let slower = session(2, None, 1.2);
    assert_eq!(place(&held(&blind, &slower), Family::TrackingLoss), Place::Unknown);
    let mut elsewhere = session(2, None, 2.5);
    elsewhere.1.surface = Some("glass".to_owned());
    let control = held(&blind, &elsewhere);
    assert_eq!(place(&control, Family::TrackingLoss), Place::Unknown);
    assert_eq!(control.differs, ["another pad"]);
    let mut other_gap = session(2, None, 2.5);
    other_gap.1.plan.as_mut().unwrap().travel_um = Some(250_000);
    assert_eq!(held(&blind, &other_gap).differs, ["another travel"]);
}

#[test]
fn what_was_shown_is_confirmed_or_withdrawn_with_a_reason() {
    let (verdict, _) = session(1, Some(1.5), 2.5);
    let real = verdict.findings.iter().find(|f| f.family == Family::TrackingLoss).unwrap();
    let shown = live::shown(real);
    let mut elsewhere = shown.clone();
    elsewhere["noticed"]["begin_ns"] = 1.into();
    elsewhere["noticed"]["end_ns"] = 2.into();
    let mut other = shown.clone();
    other["noticed"]["family"] = "dropout".into();
    let hostile =
        serde_json::json!({ "noticed": { "begin_ns": i64::MAX, "end_ns": i64::MIN, "family": [] } });
    let lines = [shown, elsewhere, other, hostile, serde_json::json!({ "else": 1 })];
    let live: Vec<_> = lines.into_iter().map(|value| (Nanos(5), value)).collect();
    let notes = live::settle(&live, &verdict.findings, &[]);
    let became: Vec<_> = notes.iter().map(|n| (n.confirmed, n.because.split(',').next().unwrap())).collect();
    assert_eq!(became.len(), 4, "{became:?}");
    assert!(became[0].0 && became[0].1.starts_with("the verdict has it"), "{became:?}");
    assert!(!became[1].0 && !became[2].0 && !became[3].0, "{became:?}");
    assert!(notes[2].because.contains("tracking loss"), "{became:?}");
    let left_out = live::settle(&live[..1], &verdict.findings, &[real.phase]);
    assert!(!left_out[0].confirmed && left_out[0].because.contains("left out by the operator"));
}
