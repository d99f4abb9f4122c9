//! Swipes that come up short where an operator stopped short and a device lost counts in one session.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Family, Finding};
use slipgauge_sim::{Bench, DeviceModel, Fault, Hand, Loss, Missing, What};
use slipgauge_trace::Recording;

fn findings(bench: &Bench) -> Vec<Finding> {
    let mut file = Vec::new();
    bench.clone().session().unwrap().write_to(&mut file).unwrap();
    let recording = Recording::read(file.as_slice()).unwrap();
    judge(&recording, "simulated").verdict.findings
}

/// The last medium swipe stops 20 mm short, so that the first fast one begins there; eight others lose other numbers of
/// counts in silences, in pairs. These were thought to make pairs by chance, and the first one, which strikes the stop
/// hard, to end at speed: a tracking loss.
#[test]
fn silences_take_no_excuse_from_those_who_stopped_short() {
    for interval_ns in [1_000_000, 4_000_000] {
        let device = DeviceModel::default().with_interval_ns(interval_ns);
        let reports = (6_000_000 / interval_ns).max(2) as u32;
        let what = What::Dropout { reports, counts: Missing::Lost };
        let place = |swipe| if swipe % 5 == 2 { 0.4 } else { 0.15 };
        let silent = [2, 3, 7, 8, 12, 13, 17, 18].map(|swipe| Fault::in_swipe(4, swipe, place(swipe), what));
        let mut faults = vec![Fault::in_swipe(3, 10, 0.0, What::StopShort { by_m: 0.02 })];
        faults.extend(silent);
        let hand = Hand { arrival: 0.45, ..Hand::default() };
        let findings = findings(&Bench { seed: 12, device, hand, faults, ..Bench::default() });
        assert!(findings.iter().all(|f| f.family == Family::Dropout), "{interval_ns} ns: {findings:?}");
        assert_eq!(findings.len(), 8, "{interval_ns} ns: {findings:?}");
    }
}

/// A sensor that repeats makes swipes short by any amount, and so two in a row alike now and then.
#[test]
fn repeats_are_told_where_two_in_a_row_cost_alike() {
    let lasts = [(2, 0.075), (5, 0.08), (9, 0.085), (13, 0.08), (14, 0.08)];
    let repeat = |seconds| What::Lose { loss: Loss::Repeat { fade_s: 0.0 }, seconds };
    let faults = lasts.map(|(swipe, seconds)| Fault::in_swipe(4, swipe, 0.25, repeat(seconds))).to_vec();
    let hand = Hand { peak_scatter: 0.02, ..Hand::default() };
    let findings = findings(&Bench { seed: 3, hand, faults, ..Bench::default() });
    let told: Vec<_> = findings.iter().map(|f| (f.family, f.swipe.unwrap())).collect();
    eprintln!("{told:?}");
    assert_eq!(told, lasts.map(|(swipe, _)| (Family::SpinOut, swipe)), "{findings:?}");
}
