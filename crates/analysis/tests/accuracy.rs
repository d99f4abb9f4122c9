//! The short version of the accuracy table (`scripts/accuracy`): the claims that hold at few sessions, on the seeds
//! that are kept for reporting. What it is made of lies in `examples/accuracy`.

#![allow(dead_code, reason = "the example uses the rest of these modules")]
#![allow(clippy::unwrap_used, reason = "in the helpers of tests; the settings allow it only inside tests")]

#[path = "../examples/accuracy/cases.rs"]
mod cases;
#[path = "../examples/accuracy/run.rs"]
mod run;
#[path = "../examples/accuracy/score.rs"]
mod score;
#[path = "../examples/accuracy/space.rs"]
mod space;

use cases::{CASES, true_contrast};
use run::{Ran, parallel};
use score::Tally;
use slipgauge_analysis::verdict::Family;
use space::{Fixed, Scene};

const FROM: u64 = 10_000;

/// Sessions of a fault at a size.
fn tallies(name: &str, size: f64, n: usize) -> Vec<Tally> {
    let case = CASES.iter().find(|case| case.name == name).unwrap();
    parallel(name, n, true, |i| {
        let mut scene = Scene::sound(FROM + i as u64, name, Fixed::default());
        (case.apply)(&mut scene, size);
        score::case(case, &run::run(scene).unwrap())
    })
}

fn calm(n: usize) -> Vec<Ran> {
    parallel("calm", n, true, |i| {
        let fixed = Fixed { calm: true, ..Fixed::default() };
        run::run(Scene::sound(FROM + i as u64, "calm", fixed)).unwrap()
    })
}

#[test]
fn dropouts_of_the_stated_size_are_found_with_their_kind_and_never_a_wrong_cause() {
    for name in ["dropout late", "dropout lost"] {
        let all = tallies(name, 1.0, 12);
        let sum = |what: &dyn Fn(&Tally) -> usize| all.iter().map(what).sum::<usize>();
        let events = sum(&|t| t.events);
        assert!(events >= 60, "{name}: {events}");
        assert!(sum(&|t| t.missed) * 100 <= 2 * events, "{name}");
        assert!(sum(&|t| t.kind.0) * 100 >= 99 * sum(&|t| t.kind.1), "{name}");
        // One over the peak of a fast swipe may as well be a loss of tracking, and is then said to be unknown.
        assert_eq!(sum(&|t| t.cause[2]), 0, "{name}");
        assert!(sum(&|t| t.cause[0]) * 100 >= 80 * events, "{name}");
    }
}

#[test]
fn a_creep_beyond_the_tolerance_fails() {
    let all = tallies("creep, verdict", 0.12, 12);
    assert!(all.iter().all(|t| t.fails), "{all:?}");
}

#[test]
fn a_resolution_beyond_the_tolerance_fails() {
    // Those that lie beyond it by what the family says of its smallest size: more than half.
    let all: Vec<Tally> = tallies("resolution off", 0.13, 12).into_iter().filter(|t| t.events > 0).collect();
    assert!(all.len() >= 6 && all.iter().all(|t| t.fails), "{all:?}");
}

#[test]
fn resolution_and_contrast_are_unbiased_on_a_straight_edge() {
    let all = calm(24);
    let n = all.len() as f64;
    let mean = |error: &dyn Fn(&Ran) -> f64| all.iter().map(error).sum::<f64>() / n;
    // The travel's own error is taken out: it is common to all swipes and no fault of the estimate.
    let resolution = mean(&|ran| {
        let q = ran.step().unwrap().resolution_counts_per_inch.unwrap();
        let truth = &ran.truth;
        let travel = 1e-6 * truth.bench.travel.told_um as f64 / truth.travel_m;
        q.value * travel / truth.steps[0].counts_per_inch[0] - 1.0
    });
    assert!(resolution.abs() < 1e-3, "{resolution}");
    let contrast = mean(&|ran| {
        ran.family(Family::GainChange).unwrap().estimate.unwrap().value - true_contrast(&ran.truth)
    });
    assert!(contrast.abs() < 1e-3, "{contrast}");
}

#[test]
fn a_calm_sound_session_never_fails() {
    for ran in calm(24) {
        let tally = score::session(&ran);
        assert!(tally.failing.is_empty(), "seed {}: {:?}", ran.truth.bench.seed, tally.failing);
    }
}
