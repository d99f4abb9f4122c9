//! The whole test, held with simulated devices and hands.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Family, Outcome, Verdict};
use slipgauge_guide::{Key, Question, Rehearsal, Say, Size, TestPlan, Travel};
use slipgauge_sim::{Bench, StepModel};
use slipgauge_trace::session::{Event, Step};

fn plan(nominals: &[f64]) -> TestPlan {
    let step = |(id, &n): (u32, &f64)| Step { id, label: None, nominal_counts_per_inch: Some(n) };
    let steps = (1u32..).zip(nominals).map(step).collect();
    TestPlan::of_size(Size::Screen, Travel::ruler(300_000, None), steps, None)
}

fn bench(seed: u64, nominals: &[f64]) -> Bench {
    let mut bench = Bench { seed, ..Bench::default() };
    let model = bench.device.steps[0].clone();
    let step = |&n: &f64| StepModel { nominal_counts_per_inch: n, ..model.clone() };
    bench.device.steps = nominals.iter().map(step).collect();
    bench
}

fn judged(rehearsal: &Rehearsal) -> Verdict {
    judge(&rehearsal.recording().unwrap(), "rehearsal").verdict
}

#[test]
fn a_sound_device_goes_through_two_steps_and_passes() {
    let nominals = [800.0, 1600.0];
    let rehearsal = Rehearsal::hold(&plan(&nominals), bench(3, &nominals), &mut |_| None).unwrap();
    for (t, say) in &rehearsal.said {
        println!("{:8.2} {say}", t.seconds());
    }
    let verdict = judged(&rehearsal);
    println!("{}", verdict.because);
    assert_eq!(verdict.verdict, Outcome::Pass, "{}", verdict.because);
    assert!(verdict.steps.iter().all(|s| s.swipes.unplaced == 0 && s.swipes.found == s.swipes.asked));
    assert!(verdict.live.is_empty(), "{:?}", verdict.live);
}
