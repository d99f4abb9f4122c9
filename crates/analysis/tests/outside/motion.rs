//! Movements of the hand: minimum jerk (Flash & Hogan, J. Neurosci. 5:1688, 1985).

use crate::agree;
use slipgauge_analysis::expected;

/// Peak speed 1.875 D/T at half time; peak acceleration 10/√3 D/T², at 0.2113 of the time and, downwards, at 0.7887.
#[test]
fn the_expected_speed_of_a_minimum_jerk_swipe_has_its_published_peaks() {
    let (travel, seconds, slots) = (300.0, 0.3, 2400);
    let slot = seconds / slots as f64;
    let place = |i: usize| {
        let s = i as f64 / slots as f64;
        travel * s.powi(3) * (10.0 - 15.0 * s + 6.0 * s * s)
    };
    let counted: Vec<f64> = (0..slots).map(|i| place(i + 1) - place(i)).collect();
    let speed = expected::speed(&counted, &vec![true; slots], slot, Some(travel), false);
    let peak = (0..slots).max_by(|a, b| speed[*a].total_cmp(&speed[*b])).unwrap();
    agree("peak speed", speed[peak], 1.875 * travel / seconds, 3);
    assert!((peak as f64 / slots as f64 - 0.5).abs() < 0.01, "{peak}");
    let slope = |i: usize| (speed[i + 20] - speed[i - 20]) / (40.0 * slot);
    let range = || 100..slots - 100;
    let most = range().max_by(|a, b| slope(*a).total_cmp(&slope(*b))).unwrap();
    let least = range().min_by(|a, b| slope(*a).total_cmp(&slope(*b))).unwrap();
    let acceleration = 10.0 / 3f64.sqrt() * travel / (seconds * seconds);
    agree("peak acceleration", slope(most), acceleration, 2);
    agree("peak braking", slope(least), -acceleration, 2);
    assert!((most as f64 / slots as f64 - 0.2113).abs() < 0.02, "{most}");
    assert!((least as f64 / slots as f64 - 0.7887).abs() < 0.02, "{least}");
}
