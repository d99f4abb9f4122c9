//! Motion after the stop in most or all fast swipes, beside a gain that rises with speed.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family, Outcome, Verdict};
use slipgauge_sim::{Bench, DeviceModel, Fault, Gain, Hand, Loss, Sensor, What};
use slipgauge_trace::Recording;

fn verdict(bench: Bench) -> Verdict {
    let mut file = Vec::new();
    bench.session().unwrap().write_to(&mut file).unwrap();
    judge(&Recording::read(file.as_slice()).unwrap(), "simulated").verdict
}

fn outcome(verdict: &Verdict, family: Family) -> (Outcome, Option<Cause>) {
    let own = verdict.steps[0].families.iter().find(|f| f.family == family).unwrap();
    (own.verdict, own.cause)
}

/// A hand that meets its stop with so much of its peak speed.
fn strikes(arrival: f64) -> Hand {
    Hand { arrival, ..Hand::default() }
}

#[test]
fn a_sensor_that_goes_on_after_the_stop_in_every_fast_swipe_or_most_has_no_gain_that_rises() {
    let what = What::Lose { loss: Loss::Repeat { fade_s: 0.0 }, seconds: 0.04 };
    for (seed, one_clean_in) in [(1, u32::MAX), (2, u32::MAX), (3, 4)] {
        let shown = |swipe: &u32| !swipe.is_multiple_of(one_clean_in);
        let faults: Vec<_> = (1..=20).filter(shown).map(|i| Fault::in_swipe(4, i, 0.97, what)).collect();
        let n = faults.len();
        let verdict = verdict(Bench { seed, hand: strikes(0.4), faults, ..Bench::default() });
        let found: Vec<_> = verdict.findings.iter().map(|f| (f.family, f.cause)).collect();
        assert_eq!(found, vec![(Family::CarryOn, Cause::Sensor); n], "seed {seed}: {found:?}");
        assert_eq!(outcome(&verdict, Family::CarryOn), (Outcome::Fail, Some(Cause::Sensor)), "seed {seed}");
        assert_ne!(outcome(&verdict, Family::GainChange).0, Outcome::Fail, "seed {seed}");
    }
}

#[test]
fn a_gain_that_rises_with_speed_is_no_motion_after_the_stop() {
    for (seed, arrival) in [(1, 0.0), (2, 0.4), (3, 0.8)] {
        let sensor = Sensor { gain: Gain::Slope { per_m_s: 0.04 }, ..Sensor::default() };
        let device = DeviceModel { sensor, ..DeviceModel::default() };
        let verdict = verdict(Bench { seed, hand: strikes(arrival), device, ..Bench::default() });
        assert_eq!(outcome(&verdict, Family::CarryOn).0, Outcome::Pass, "seed {seed}");
        assert_eq!(outcome(&verdict, Family::GainChange).0, Outcome::Fail, "seed {seed}");
    }
}

/// It fades from the speed of arrival, so that no swipe by itself shows where the stop was; a third of the swipes are whole.
#[test]
fn motion_that_fades_after_the_stop_in_two_of_three_swipes_is_no_gain_where_the_third_is_as_fast() {
    let what = What::Lose { loss: Loss::Repeat { fade_s: 0.03 }, seconds: 0.06 };
    for (seed, interval) in [(1, 8), (2, 4), (3, 1)] {
        let faults: Vec<_> =
            (1..=20).filter(|i| i % 3 != 0).map(|i| Fault::in_swipe(4, i, 0.97, what)).collect();
        let n = faults.len();
        let mut bench = Bench { seed, hand: strikes(0.4), faults, ..Bench::default() };
        bench.device = bench.device.with_interval_ns(interval * 1_000_000);
        let verdict = verdict(bench);
        let found: Vec<_> = verdict.findings.iter().map(|f| (f.family, f.cause)).collect();
        assert_eq!(found, vec![(Family::CarryOn, Cause::Sensor); n], "seed {seed}: {found:?}");
        assert_eq!(outcome(&verdict, Family::CarryOn).0, Outcome::Fail, "seed {seed}");
        assert_ne!(outcome(&verdict, Family::GainChange).0, Outcome::Fail, "seed {seed}");
    }
}
