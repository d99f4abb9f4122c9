//! What is shown while a sound device is examined: at most one note in a hundred sessions.
//!
//! A few sessions by default; `REHEARSALS=200 cargo test -p slipgauge-guide --test live -- --nocapture` for more. Seeds from
//! 1.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use slipgauge_analysis::judge;
use slipgauge_analysis::verdict::Outcome;
use slipgauge_guide::{Rehearsal, Size, TestPlan, Travel};
use slipgauge_sim::{Bench, Stalls};
use slipgauge_trace::session::Step;

/// Sound devices and hands of many kinds: the seed picks.
fn scene(seed: u64) -> (TestPlan, Bench) {
    let pick = |salt: u64, n: u64| ((seed * 2_654_435_761 + salt * 40_503) >> 7) % n;
    let interval_ns = [125_000, 500_000, 1_000_000, 2_000_000, 8_000_000][pick(1, 5) as usize];
    let nominal = [400.0, 800.0, 1600.0, 3200.0, 6400.0][pick(2, 5) as usize];
    let mut bench = Bench { seed, ..Bench::default() };
    bench.device = bench.device.with_steps(&[nominal]).with_interval_ns(interval_ns);
    bench.hand.placement_scatter_m = [0.1e-3, 0.3e-3, 1.0e-3][pick(3, 3) as usize];
    bench.hand.settling.distance_m = [0.0, 0.2e-3, 0.5e-3][pick(4, 3) as usize];
    if pick(5, 3) == 0 {
        bench.host.stalls = Stalls { rate_hz: 0.2, ..Stalls::default() };
    }
    let step = Step { id: 1, label: None, nominal_counts_per_inch: Some(nominal) };
    let travel = Travel::ruler(300_000, None);
    (TestPlan { straight_edge: true, ..TestPlan::of_size(Size::Screen, travel, vec![step], None) }, bench)
}

#[test]
fn sound_sessions_show_next_to_no_live_notes() {
    let sessions: u64 = std::env::var("REHEARSALS").ok().and_then(|n| n.parse().ok()).unwrap_or(6);
    let (mut notes, mut shown, mut passed) = (0, 0, 0);
    for seed in 1..=sessions {
        let (plan, bench) = scene(seed);
        let rehearsal = Rehearsal::hold(&plan, bench.clone(), &mut |_| None).unwrap();
        let verdict = judge(&rehearsal.recording().unwrap(), "sound").verdict;
        assert_ne!(verdict.verdict, Outcome::Fail, "seed {seed}: {}", verdict.because);
        passed += u64::from(verdict.verdict == Outcome::Pass);
        notes += verdict.live.len();
        shown += usize::from(!verdict.live.is_empty());
        if !verdict.live.is_empty() {
            println!("seed {seed}: {:?}", verdict.live);
        }
        let swipes = verdict.steps[0].swipes;
        assert!(swipes.found == swipes.asked && swipes.unplaced == 0, "seed {seed}: {swipes:?}");
    }
    println!("{sessions} sessions: {notes} notes in {shown}; {passed} passed");
    assert!(shown as u64 * 100 <= sessions.max(100), "{notes} notes in {shown} of {sessions} sessions");
}
