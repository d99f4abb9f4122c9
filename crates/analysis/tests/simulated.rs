//! The whole of the analysis on simulated sessions whose truth is known.
//!
//! First versions: one size of each fault, and silence on sound devices over report intervals and field widths. How
//! small a fault is found, and how often, is the accuracy table's business.

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Cause, Family, FamilyVerdict, Finding, Outcome, StepVerdict, Verdict};
use slipgauge_sim::{Bench, DeviceModel, Fault, Missing, What};
use slipgauge_trace::Recording;

fn verdict(bench: Bench) -> Verdict {
    let mut file = Vec::new();
    bench.session().unwrap().write_to(&mut file).unwrap();
    let recording = Recording::read(file.as_slice()).unwrap();
    judge(&recording, "simulated").verdict
}

fn step(verdict: &Verdict) -> &StepVerdict {
    &verdict.steps[0]
}

fn family(verdict: &Verdict, family: Family) -> &FamilyVerdict {
    step(verdict).families.iter().find(|f| f.family == family).unwrap()
}

fn of(verdict: &Verdict, family: Family) -> Vec<&Finding> {
    verdict.findings.iter().filter(|f| f.family == family).collect()
}

/// Short form for failure messages.
fn words(verdict: &Verdict) -> String {
    let families =
        step(verdict).families.iter().map(|f| format!("{:?} {:?}: {}", f.family, f.verdict, f.because));
    let findings = verdict.findings.iter().take(8).map(|f| {
        format!(
            "{:?} {} phase {} swipe {:?} {:.3} s, {:.2} {} {:?}",
            f.family,
            f.kind,
            f.phase,
            f.swipe,
            f.begin_ns as f64 * 1e-9,
            f.size,
            f.unit,
            f.evidence
        )
    });
    let swipes = format!("{:?} {:?}", step(verdict).swipes, step(verdict).swept);
    [vec![swipes], families.collect(), findings.collect()].concat().join("\n")
}

#[test]
fn a_sound_device_passes() {
    for seed in 1..=10 {
        let verdict = verdict(Bench { seed, ..Bench::default() });
        assert_eq!(verdict.verdict, Outcome::Pass, "seed {seed}\n{}", words(&verdict));
        assert!(verdict.findings.is_empty(), "{}", words(&verdict));
        let swipes = step(&verdict).swipes;
        assert_eq!(
            (swipes.asked, swipes.found, swipes.clean, swipes.unplaced),
            (40, 40, 40, 0),
            "seed {seed}"
        );
    }
}

#[test]
fn no_fault_is_invented_at_any_report_interval_or_resolution() {
    for interval_ns in [125_000, 250_000, 500_000, 1_000_000, 2_000_000, 4_000_000, 8_000_000] {
        for nominal in [400.0, 1600.0, 6400.0] {
            let device = DeviceModel::default().with_steps(&[nominal]).with_interval_ns(interval_ns);
            let verdict = verdict(Bench { seed: 3, device, ..Bench::default() });
            let context = format!("{interval_ns} ns, {nominal} counts/inch\n{}", words(&verdict));
            assert!(verdict.findings.is_empty(), "{context}");
            assert_ne!(verdict.verdict, Outcome::Fail, "{context}");
            assert_eq!(step(&verdict).swipes.found, 40, "{context}");
        }
    }
}

#[test]
fn tells_a_late_dropout_from_a_lost_one() {
    for (counts, kind) in [(Missing::Lost, "lost"), (Missing::Kept, "late")] {
        for interval_ns in [125_000, 1_000_000] {
            let device = DeviceModel::default().with_interval_ns(interval_ns);
            let reports = (20_000_000 / interval_ns) as u32;
            let fault = |swipe, at| Fault::in_swipe(4, swipe, at, What::Dropout { reports, counts });
            let faults = vec![fault(3, 0.5), fault(8, 0.3)];
            let verdict = verdict(Bench { seed: 5, device, faults, ..Bench::default() });
            let found = of(&verdict, Family::Dropout);
            assert_eq!(found.len(), 2, "{interval_ns} ns\n{}", words(&verdict));
            assert_eq!(found.iter().map(|f| f.swipe).collect::<Vec<_>>(), [Some(3), Some(8)]);
            assert!(found.iter().all(|f| f.kind == kind && f.cause == Cause::Link), "{}", words(&verdict));
            assert_eq!(verdict.findings.len(), 2, "one event, one finding\n{}", words(&verdict));
        }
    }
}

#[test]
fn a_single_lost_burst_has_no_known_cause() {
    let fault = Fault::in_swipe(4, 3, 0.5, What::Dropout { reports: 20, counts: Missing::Lost });
    let verdict = verdict(Bench { seed: 5, faults: vec![fault], ..Bench::default() });
    let found = of(&verdict, Family::Dropout);
    assert_eq!((found.len(), found[0].cause), (1, Cause::Unknown), "{}", words(&verdict));
}

#[test]
fn a_recorded_stall_of_the_host_is_not_blamed_on_the_device() {
    for seconds in [0.010, 0.050, 0.150] {
        let fault = Fault::in_swipe(4, 3, 0.5, What::Stall { seconds });
        let verdict = verdict(Bench { seed: 5, faults: vec![fault], ..Bench::default() });
        assert!(verdict.findings.is_empty(), "{seconds} s\n{}", words(&verdict));
        assert_eq!(step(&verdict).swipes.found, 40);
    }
}
