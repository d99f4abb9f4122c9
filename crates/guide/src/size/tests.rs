use super::*;
use crate::{Size, Travel};
use slipgauge_trace::Nanos;
use slipgauge_trace::session::Step;

fn plan(size: Size, steps: u32, need: Option<Need>) -> TestPlan {
    let step = |id| Step { id, label: None, nominal_counts_per_inch: Some(800.0) };
    let plan = TestPlan::of_size(size, Travel::ruler(300_000, None), (1..=steps).map(step).collect(), need);
    TestPlan { straight_edge: true, ..plan }
}

fn near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "{got} is not {want} ± {within}");
}

/// Success runs: n = ln 0.05 / ln (1 − p), so p = 1 − 0.05^(1/n). 59 swipes: 0.049508; 15: 0.181036; 60: 0.048703. With
/// one bad, 93 are needed for 5 % (as in `analysis::stats`).
#[test]
fn clean_swipes_bound_the_share_of_bad_ones_as_success_runs_do() {
    let confirm = claims(&plan(Size::Confirm, 1, None));
    near(confirm.per_step.clean, 0.049_508, 1e-6);
    assert_eq!((confirm.per_step.swipes, confirm.pooled), (59, None));
    assert_eq!(confirm.per_step.more_after_one_bad, Some(35));
    let screen = claims(&plan(Size::Screen, 4, None));
    near(screen.per_step.clean, 0.181_036, 1e-6);
    near(screen.pooled.unwrap().clean, 0.048_703, 1e-6);
    // Beta(2, 14) at 0.95 by its distribution function: 1 − (1−x)^15 − 15 x (1−x)^14 = 0.95.
    let x: f64 = screen.per_step.one_bad;
    near(1.0 - (1.0 - x).powi(15) - 15.0 * x * (1.0 - x).powi(14), 0.95, 1e-6);
    assert_eq!(Share::of(0), Share { swipes: 0, clean: 1.0, one_bad: 1.0, more_after_one_bad: None });
}

/// No event in T: −ln 0.05 = 2.9957 over T. Of 10 s still, 8 are looked at.
#[test]
fn stillness_bounds_bursts_at_three_over_the_time_that_is_looked_at() {
    let screen = claims(&plan(Size::Screen, 4, None));
    let (one, all) = (screen.still.unwrap(), screen.still_pooled.unwrap());
    assert_eq!((one.seconds, all.seconds), (8.0, 32.0));
    near(one.per_minute, 60.0 * 2.995_732 / 8.0, 1e-4);
    near(all.per_hour, 3600.0 * 2.995_732 / 32.0, 1e-2);
    let none = TestPlan { still: Nanos(0), ..plan(Size::Screen, 1, None) };
    assert_eq!(claims(&none).still, None);
}

/// By hand: 2 + 10 slow swipes and 15 fast ones at 300 mm. Weights of the slow ones are 1/12; each stop counts the weights
/// of the swipes that share it: 1, 2, 1 and 1, nine times 2, 1 squared sum to 44. Of 15 fast ones eight go out.
#[test]
fn the_smallest_gain_change_is_the_formula_of_the_header() {
    let got = at_stops(&plan(Size::Screen, 1, None), Metres(0.5e-3)).gain.unwrap();
    let c: f64 = 2f64.sqrt() * 0.5 / 300.0;
    let slow = (4.0 * 12.0 - 4.0) / (144.0 * 2.0);
    let fast = (2.0 / 256.0 + 14.0 * (1.0 / 16.0 + 1.0 / 14.0f64).powi(2)) / 2.0;
    let u = c * (slow + fast).sqrt();
    // At most 33 − 6 degrees of freedom, and a third of them at least: t from 2.05 to 2.26.
    assert!((2.05 * u..2.27 * u).contains(&got), "{got} against {u}");
    // Twice the scatter, twice the change; longer travel, smaller change.
    let twice = at_stops(&plan(Size::Screen, 1, None), Metres(1e-3)).gain.unwrap();
    near(twice / got, 2.0, 1e-9);
}

#[test]
fn no_number_of_swipes_removes_the_travels_own_uncertainty() {
    let mut many = plan(Size::Screen, 1, None);
    many.paces[0].swipes = 5_000;
    let got = claims(&many);
    near(got.travel, 0.5 / 300.0, 1e-12);
    let half = got.at_stops[0].resolution.unwrap();
    near(half, 1.96 * got.travel, 0.02 * half);
    // And an arc of up to 1 % either way: 0.58 % standard uncertainty, rectangular.
    let free = claims(&TestPlan { straight_edge: false, ..many });
    near(free.arc, 0.01 / 3f64.sqrt(), 1e-12);
    assert!(free.at_stops[0].gain.unwrap() > 0.011);
}

/// A half turn in 150 ms at 40 cm a turn needs 2.5 m/s. A hand that aims at just that reaches it every other time.
#[test]
fn swipes_that_do_not_reach_the_needed_speed_do_not_count() {
    let need = Need::Turn { degrees: 180.0, within: Nanos(150_000_000), per_turn: Metres(0.4) };
    let mut just = plan(Size::Confirm, 1, Some(need));
    near(just.paces[2].peak.0, 1.1 * 2.5, 1e-12);
    just.paces[2].peak = need.peak();
    let reach = claims(&just).reach.unwrap();
    near(reach.share, 0.5, 1e-9);
    assert_eq!(reach.counting.swipes, 29);
    near(reach.aim.0, 2.5 / (1.0 - 1.644_854 * 0.05), 1e-4);
    let mut faster = plan(Size::Confirm, 1, Some(need));
    faster.paces[2].peak = reach.aim;
    near(claims(&faster).reach.unwrap().share, 0.95, 1e-3);
}

/// Minimum jerk: peak 1.875 D/T, acceleration 5.7735 D/T². 2.5 m/s over 0.3 m: T = 0.225 s, 34.2 m/s².
#[test]
fn says_what_acceleration_a_fast_swipe_takes() {
    near(acceleration(MetresPerSecond(2.5), Metres(0.3)), 5.773_503 * 0.3 / (0.225 * 0.225), 1e-3);
}

/// By hand, one step: four rows of 8 s to read and the still one; 12 slow of 1.40625 + 0.5 s, 6 medium of 0.46875 + 0.5,
/// 15 fast of 0.225 + 0.5, 10 s still: 40 + 22.875 + 5.8125 + 10.875 + 10 = 89.5625 s. Four steps: 60 fast, no rest.
#[test]
fn cost_counts_swipes_reading_and_rests() {
    let cost = claims(&plan(Size::Screen, 4, None)).cost;
    assert_eq!((cost.swipes_per_step, cost.swipes, cost.rests), (33, 132, 0));
    near(cost.minutes_per_step, 89.5625 / 60.0, 1e-6);
    near(cost.minutes, 4.0 * 89.5625 / 60.0, 1e-6);
    assert_eq!(claims(&plan(Size::Screen, 9, None)).cost.rests, 2);
}
