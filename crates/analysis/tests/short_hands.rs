//! A sound device, and hands that stop short of a stop in several swipes, so that the next one begins there.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::{Family, Outcome, Verdict};
use slipgauge_sim::{Bench, Fault, Pace, Script, What};
use slipgauge_trace::Recording;

const MEDIUM: u32 = 3;

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
