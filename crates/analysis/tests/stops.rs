//! Faults that strike as the hand comes to the stop, on simulated sessions whose truth is known.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Family, Verdict};
use slipgauge_sim::{
    Bench, Bounce, DeviceModel, Fault, Hand, Host, Label, Missing, Pace, ReportFormat, Script, Sensor,
    Tracking, Truth, What,
};
use slipgauge_trace::Recording;

fn judged(bench: Bench) -> (Verdict, Truth) {
    let truth = bench.clone().session().unwrap().truth();
    let mut file = Vec::new();
    bench.session().unwrap().write_to(&mut file).unwrap();
    let recording = Recording::read(file.as_slice()).unwrap();
    (judge(&recording, "simulated").verdict, truth)
}

/// Of the labels of a family that pass the test: how many there are, and those at whose place it is not found.
fn untold(
    (verdict, truth): &(Verdict, Truth),
    families: (Family, slipgauge_sim::Family),
    large: impl Fn(&Label) -> bool,
) -> (usize, Vec<&Label>) {
    let own: Vec<&Label> = truth.of(families.1).filter(|l| large(l)).collect();
    let told = |label: &&Label| {
        let mut found = verdict.findings.iter().filter(|f| f.family == families.0);
        found.any(|f| f.begin_ns <= label.end_ns + 10_000_000 && label.begin_ns <= f.end_ns)
    };
    (own.len(), own.into_iter().filter(|l| !told(l)).collect())
}

/// Two reports are late 16 mm and more before the stop, which the hand has struck when the next one comes.
#[test]
fn reports_that_are_late_into_the_stop_are_dropouts() {
    for interval_ns in [4_000_000, 8_000_000] {
        let device = DeviceModel::default().with_interval_ns(interval_ns);
        let what = What::Dropout { reports: 2, counts: Missing::Kept };
        let places = [0.85, 0.88, 0.91, 0.93, 0.945];
        let faults = (0..10).map(|i| Fault::in_swipe(4, 2 * i + 1, places[i as usize % 5], what)).collect();
        let judged = judged(Bench { seed: 4, device, faults, ..Bench::default() });
        let families = (Family::Dropout, slipgauge_sim::Family::Dropout);
        let (events, untold) = untold(&judged, families, |l| l.size >= 3.0);
        assert!(events >= 5 && untold.is_empty(), "{interval_ns} ns, of {events}: {untold:?}");
        let late = judged.0.findings.iter().all(|f| f.family == Family::Dropout && f.kind == "late");
        assert!(late, "{interval_ns} ns: {:?}", judged.0.findings);
    }
}

/// A limit of acceleration near the highest that the hand makes strikes as it sets out and again as it brakes: the counts
/// end at a speed at which no hand strikes the stop, or go on slowly.
#[test]
fn counts_that_are_lost_twice_are_told_both_times() {
    for (seed, interval_ns) in [(1, 500_000), (2, 1_000_000), (3, 2_000_000)] {
        let tracking = Tracking { max_acceleration_m_s2: 30.0, hold_s: 0.02, ..Tracking::default() };
        let sensor = Sensor { tracking, ..Sensor::default() };
        let device = DeviceModel { sensor, ..DeviceModel::default() }.with_interval_ns(interval_ns);
        let judged = judged(Bench { seed, device, ..Bench::default() });
        let families = (Family::TrackingLoss, slipgauge_sim::Family::TrackingLoss);
        let (events, untold) = untold(&judged, families, |l| l.size >= 25.0);
        assert!(events >= 15 && untold.is_empty(), "{interval_ns} ns, of {events}: {untold:?}");
    }
}

/// The hand rests 60 mm before the stop, and the device wakes as it strikes: all that it says is one report. (At 8 ms a hand
/// may move as much in a slot.)
#[test]
fn a_device_that_wakes_at_the_stop_woke_late() {
    for interval_ns in [250_000, 2_000_000, 4_000_000] {
        let device = DeviceModel::default().with_interval_ns(interval_ns);
        let faults = (1..=10).map(|i| Fault::in_swipe(4, 2 * i, 0.8, What::StopHalfway { seconds: 0.4 }));
        let bench = Bench { seed: 6, device, faults: faults.collect(), ..Bench::default() };
        let judged = judged(bench.with_fault("wake-late", Some(60.0)).unwrap());
        let families = (Family::WakeUp, slipgauge_sim::Family::WakeUp);
        let (events, untold) = untold(&judged, families, |l| l.size >= 10.0);
        assert!(events >= 20 && untold.is_empty(), "{interval_ns} ns, of {events}: {untold:?}");
    }
}

/// Strikes at up to nine tenths of 2 m/s over short and long travels; they were swipes of their own, or spin-outs.
#[test]
fn a_sound_device_that_bounces_far_off_its_stops_is_sound() {
    for (travel_mm, interval_ns, peak) in
        [(150, 500_000, 1.9), (150, 2_000_000, 1.9), (400, 125_000, 2.2), (400, 7_000_000, 2.6)]
    {
        let device = DeviceModel::default().with_interval_ns(interval_ns);
        let device = DeviceModel { report: ReportFormat { bits: 16, ..device.report.clone() }, ..device };
        let hand =
            Hand { arrival: 0.88, bounce: Bounce { restitution: 0.4, push_m_s2: 20.0 }, ..Hand::default() };
        let script = Script::default().still(1, 10.0).swipes(1, Pace::Slow, 10, 0.4);
        let script = script.swipes(1, Pace::Medium, 6, 1.0).swipes(1, Pace::Fast, 30, peak);
        let mut bench = Bench { seed: 7, device, hand, script, ..Bench::default() };
        bench.travel.told_um = 1000 * travel_mm;
        let (verdict, _) = judged(bench);
        let swipes = &verdict.steps[0].swipes;
        assert_eq!((swipes.found, swipes.unplaced), (46, 0), "{travel_mm} mm, {interval_ns} ns");
        assert!(verdict.findings.is_empty(), "{travel_mm} mm, {interval_ns} ns: {:?}", verdict.findings);
    }
}

/// A reader that is late by more than an interval gets every report together with others, and none has a time of its own:
/// then slots are as wide as the descriptor says, and not a millisecond.
#[test]
fn a_reader_that_is_always_late_makes_no_fault() {
    let device = DeviceModel::default().with_interval_ns(2_000_000);
    let host = Host { delay_ns: 2_500_000, delay_spread_ns: 800_000.0, ..Host::default() };
    let (verdict, _) = judged(Bench { seed: 3, device, host, ..Bench::default() });
    assert!(verdict.findings.is_empty(), "{:?}", verdict.findings);
}

/// At 8 kHz and 800 counts/inch a hand at half a metre a second makes two counts a report: 17 ms without one are a silence.
#[test]
fn long_silences_at_few_counts_a_report_are_dropouts() {
    let mut device = DeviceModel::default().with_interval_ns(125_000);
    device.steps[0].nominal_counts_per_inch = 800.0;
    for counts in [Missing::Kept, Missing::Lost] {
        let what = What::Dropout { reports: 134, counts };
        // At other places each time: a link knows nothing of them.
        let places = [0.05, 0.93, 0.09, 0.88, 0.06, 0.9, 0.12, 0.92, 0.07, 0.86];
        let faults = (0..10).map(|i| Fault::in_swipe(3, i + 1, places[i as usize], what)).collect();
        let judged = judged(Bench { seed: 5, device: device.clone(), faults, ..Bench::default() });
        let families = (Family::Dropout, slipgauge_sim::Family::Dropout);
        let (events, untold) = untold(&judged, families, |l| l.size >= 2.0);
        assert!(events >= 8 && untold.is_empty(), "{counts:?}, of {events}: {untold:?}");
    }
}
