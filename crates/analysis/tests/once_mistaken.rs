//! Sessions of the accuracy study, on seeds for tuning, in which something had been told that nobody did: each for its reason.

#![allow(dead_code, reason = "the example uses the rest of these modules")]
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

#[path = "../examples/accuracy/cases.rs"]
mod cases;
#[path = "../examples/accuracy/run.rs"]
mod run;
#[path = "../examples/accuracy/score.rs"]
mod score;
#[path = "../examples/accuracy/space.rs"]
mod space;

use cases::CASES;
use run::{Ran, run};
use slipgauge_analysis::verdict::{Cause, Family, Finding, Outcome};
use space::{Fixed, Scene};

/// Nothing is found in these sound sessions.
fn none_in(seeds: &[u64]) {
    for &seed in seeds {
        let ran = run(Scene::sound(seed, "sound", Fixed { fast: 60, ..Fixed::default() })).unwrap();
        assert!(ran.verdict.findings.is_empty(), "{seed}: {:?}", ran.verdict.findings);
    }
}

fn faulty(name: &str, size: f64, seed: u64) -> Ran {
    let case = CASES.iter().find(|case| case.name == name).unwrap();
    let mut scene = Scene::sound(seed, name, Fixed::default());
    (case.apply)(&mut scene, size);
    run(scene).unwrap()
}

fn count(ran: &Ran, family: Family) -> usize {
    ran.verdict.findings.iter().filter(|f| f.family == family).count()
}

#[test]
fn a_flat_top_of_a_swipe_that_stops_short_is_no_repeat() {
    none_in(&[3123, 3499, 3634, 3897, 3997]);
}

/// Stops of a millimetre: 15 mm are placing there.
#[test]
fn what_lacks_no_more_than_placing_has_lost_nothing_into_the_stop() {
    none_in(&[3376, 4383]);
}

/// Swipes that stop short in which this computer lost counts as well, and those that begin where they stopped.
#[test]
fn a_swipe_that_this_computer_lost_counts_of_may_have_stopped_short_of_where_the_next_one_begins() {
    none_in(&[3446, 3458, 3770]);
}

/// A gain that makes the medium swipes longer by just under placing.
#[test]
fn swipes_that_are_longer_than_their_siblings_by_placing_do_not_go_on() {
    for seed in [3004, 3013, 3028] {
        assert_eq!(count(&faulty("truncation", 0.37, seed), Family::CarryOn), 0, "{seed}");
    }
}

/// It strikes with half of its peak, and the last six reports, 48 ms, ran at more.
#[test]
fn a_hand_that_strikes_the_stop_after_a_short_start_has_lost_nothing_there() {
    for seed in [3002, 3044, 3045] {
        let ran = faulty("wake-up short", 60.0, seed);
        assert!(count(&ran, Family::WakeUp) >= 2, "{seed}");
        assert_eq!(count(&ran, Family::TrackingLoss), 0, "{seed}");
    }
}

/// It takes a tenth of the fast swipes, and by their speed: more of some than of others, and more than placing.
#[test]
fn a_gain_that_falls_with_speed_is_no_loss_in_each_swipe() {
    for seed in [3000, 3001, 3002, 3003, 3004, 3009, 3010, 3011] {
        let mut scene = Scene::sound(seed, "sag", Fixed::default());
        scene.bench = scene.bench.with_fault("gain-slope", Some(-0.06)).unwrap();
        let ran = run(scene).unwrap();
        assert_eq!(count(&ran, Family::TrackingLoss) + count(&ran, Family::SpinOut), 0, "{seed}");
        assert_eq!(count(&ran, Family::GainChange), 1, "{seed}");
    }
}

/// What each report that runs backwards makes it lack is near a power of two by chance; but some hold more than such a counter can,
/// or run across.
#[test]
fn a_sensor_that_guesses_a_direction_is_no_counter_that_runs_over() {
    for (seed, size) in [(5011, 0.9), (5016, 0.9), (5035, 0.9), (5048, 0.9), (5003, 0.6), (5032, 0.6)] {
        let ran = faulty("spin-out guess", size, seed);
        let wrapped = ran.verdict.findings.iter().filter(|f| f.kind == "wrapped").count();
        assert!(count(&ran, Family::SpinOut) >= 3 && wrapped == 0, "{seed}: {wrapped}");
    }
}

/// It leaves nothing of slow swipes, and two thirds of medium ones: those are no resolution, and against them the fast ones tell.
#[test]
fn a_gain_is_told_without_slow_swipes_and_then_no_pace_is_the_resolution() {
    let ran = faulty("truncation", 0.37, 5024);
    let outcome = |family| ran.verdict.steps[0].families.iter().find(|f| f.family == family).unwrap().verdict;
    assert_eq!(outcome(Family::GainChange), Outcome::Fail);
    assert_ne!(outcome(Family::Resolution), Outcome::Fail);
}

/// Over the middle of each slow swipe their reports hold the same few counts, as if a motion were told again; fast ones pass that speed.
#[test]
fn the_even_reports_of_firmware_that_cuts_off_fractions_are_no_motion_told_again() {
    for seed in [6005, 6009, 6015, 6033] {
        let ran = faulty("truncation", 0.37, seed);
        assert_eq!(count(&ran, Family::SpinOut), 0, "{seed}");
        let gain = ran.verdict.findings.iter().find(|f| f.family == Family::GainChange).unwrap();
        assert_eq!(gain.cause, Cause::Firmware, "{seed}");
    }
}

/// Five to seven swipes met the limit for long enough to show it; none leaves it with a jump.
#[test]
fn a_few_swipes_that_count_no_faster_than_one_speed_lose_track_and_repeat_nothing() {
    for seed in [6001, 6023, 6028, 6029] {
        let ran = faulty("tracking saturated", 0.9, seed);
        assert_eq!(count(&ran, Family::SpinOut), 0, "{seed}");
        let level = |f: &&Finding| f.family == Family::TrackingLoss && f.kind == "level";
        assert!(ran.verdict.findings.iter().filter(level).count() >= 5, "{seed}");
    }
}
