//! A sound device, and hands that stop short of a stop in several swipes, so that the next one begins there.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Family, Outcome, Verdict};
use slipgauge_sim::{Bench, DeviceModel, Fault, Firmware, Hand, Loss, Pace, Scaling, Script, What};
use slipgauge_trace::Recording;

const MEDIUM: u32 = 3;
const FAST: u32 = 4;

fn judged(bench: Bench) -> Verdict {
    let mut file = Vec::new();
    bench.session().unwrap().write_to(&mut file).unwrap();
    let recording = Recording::read(file.as_slice()).unwrap();
    judge(&recording, "simulated").verdict
}

/// Swipes, as (phase, swipe), that stop short by so many mm.
fn short(swipes: &[(u32, u32, f64)]) -> Vec<Fault> {
    let fault = |(phase, swipe, mm): &(u32, u32, f64)| {
        Fault::in_swipe(*phase, *swipe, 1.0, What::StopShort { by_m: 1e-3 * mm })
    };
    swipes.iter().map(fault).collect()
}

/// The next swipe strikes the other stop at half of its peak, 9 to 24 mm before it has counted a travel: its counts seem to end
/// at speed. In five pairs of forty swipes, too many to be let pass as few.
#[test]
fn a_swipe_that_begins_short_and_strikes_the_stop_has_lost_nothing() {
    for (seed, interval_ns) in [(1, 1_000_000), (2, 2_000_000), (3, 8_000_000), (4, 500_000)] {
        let device = DeviceModel::default().with_interval_ns(interval_ns);
        let hand = Hand { arrival: 0.5, ..Hand::default() };
        let stops = [(MEDIUM, 4, 13.0), (FAST, 3, 16.0), (FAST, 9, 18.5), (FAST, 14, 9.0), (FAST, 17, 24.0)];
        let faults = short(&stops);
        let verdict = judged(Bench { seed, device, hand, faults, ..Bench::default() });
        assert!(verdict.findings.is_empty(), "{interval_ns} ns: {:?}", verdict.findings);
        assert_eq!(verdict.verdict, Outcome::Pass, "{interval_ns} ns: {}", verdict.because);
    }
}

/// A sensor that goes blind into the stop in swipes 3, 9, 10, 14 and 17: two of them are neighbours, and none is excused for it.
#[test]
fn neighbours_are_not_acquitted_where_the_loss_recurs_without_one() {
    for (seed, interval_ns) in [(1, 1_000_000), (2, 2_000_000), (3, 500_000)] {
        let device = DeviceModel::default().with_interval_ns(interval_ns);
        let hand = Hand { arrival: 0.5, ..Hand::default() };
        let blind = What::Lose { loss: Loss::Silent, seconds: 0.1 };
        let swipes = [3, 9, 10, 14, 17];
        let faults = swipes.map(|swipe| Fault::in_swipe(FAST, swipe, 0.9, blind)).to_vec();
        let verdict = judged(Bench { seed, device, hand, faults, ..Bench::default() });
        let own = verdict.findings.iter().filter(|f| f.family == Family::TrackingLoss && f.phase == FAST);
        let told: Vec<u32> = own.filter_map(|f| f.swipe).collect();
        assert_eq!(told, swipes, "{interval_ns} ns: {:?}", verdict.findings);
    }
}

/// Six of seven medium swipes stop or begin 11 mm short, all by the same, so that nothing tells the operator from a gain of the
/// device; and this computer is held up in one of them. The whole one is a stray among them.
#[test]
fn short_swipes_beside_a_stall_tell_of_no_gain() {
    let mut faults = short(&[(MEDIUM, 1, 11.0), (MEDIUM, 3, 11.2), (MEDIUM, 5, 10.9)]);
    faults.push(Fault::in_swipe(MEDIUM, 2, 0.5, What::Stall { seconds: 0.005 }));
    let script = Script::default().still(1, 10.0).swipes(1, Pace::Slow, 10, 0.4);
    let script = script.swipes(1, Pace::Medium, 7, 1.2).swipes(1, Pace::Fast, 20, 2.5);
    let verdict = judged(Bench { seed: 5, faults, script, ..Bench::default() });
    let gain = verdict.steps[0].families.iter().find(|f| f.family == Family::GainChange).unwrap();
    assert_eq!(gain.verdict, Outcome::Pass, "{}", gain.because);
}

/// Firmware that cuts fractions off, and two fast swipes beside a point that is short of the stop by what the others count more than
/// slow ones: the two are as long as a travel, and no swipes that show that the others go on after the stop.
#[test]
fn a_pair_that_is_whole_by_accident_makes_no_carry_on_of_a_gain() {
    for seed in [1, 2, 3] {
        let scaling = Some(Scaling { ratio: 0.37, truncates: true });
        let firmware = Firmware { scaling, ..Firmware::default() };
        let device = DeviceModel { firmware, ..DeviceModel::default() }.with_interval_ns(500_000);
        let faults = short(&[(FAST, 8, 15.0)]);
        let verdict = judged(Bench { seed, device, faults, ..Bench::default() });
        let own: Vec<_> = verdict.findings.iter().map(|f| (f.family, f.kind, f.swipe)).collect();
        assert!(!own.iter().any(|f| f.0 == Family::CarryOn), "{own:?}");
        assert!(own.iter().any(|f| f.0 == Family::GainChange), "{own:?}");
    }
}
