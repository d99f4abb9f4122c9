//! Two devices on one carriage.

#![allow(clippy::unwrap_used)]

mod measure;

use measure::{Taken, close, deviation, gridded, machine, mean, ruler, sum, take};
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use slipgauge_sim::{Bench, Buttons, DeviceModel, Family, Hand, Pace, Pacing, Script, SimulatedSource};
use slipgauge_trace::session::{Event, Role};

fn pair(script: Script, hand: Hand, change: impl FnOnce(&mut DeviceModel, &mut DeviceModel)) -> Taken {
    let (mut test, mut reference) = (ruler(), ruler());
    reference.sensor.frame_ns = 61_003;
    change(&mut test, &mut reference);
    take(Bench { device: test, reference: Some(reference), hand, script, ..Bench::default() })
}

fn swipes(count: u32) -> Script {
    Script::default().swipes(1, Pace::Fast, count, 1.5)
}

/// Lag of `b` behind `a` in samples, by the phase of their cross-spectrum at low frequencies.
fn lag(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len();
    let transform = |values: &[f64]| {
        let mut bins: Vec<Complex<f64>> = values.iter().map(|&v| Complex::new(v, 0.0)).collect();
        FftPlanner::new().plan_fft_forward(n).process(&mut bins);
        bins
    };
    let (a, b) = (transform(a), transform(b));
    // Correlation in the frequency domain; phase = -2 pi k lag / n, weighted by power over the motion's own band.
    let (mut top, mut bottom) = (0.0, 0.0);
    for k in 1..n / 50 {
        let cross = b[k] * a[k].conj();
        let slope = std::f64::consts::TAU * k as f64 / n as f64;
        top += cross.norm() * slope * -cross.arg();
        bottom += cross.norm() * slope * slope;
    }
    top / bottom
}

#[test]
fn a_lag_against_the_reference_is_found_by_cross_correlation() {
    for lag_ms in [0.0, 0.7, 4.0] {
        let taken = pair(swipes(8), machine(), |test, reference| {
            test.lag_ns = (lag_ms * 1e6) as i64;
            (test.link.interval_ns, reference.link.interval_ns) = (125_000, 125_000);
        });
        let grid = |device| gridded(&taken.all(device), 0.5, 0.001, 8192, |row| row.x);
        let found = lag(&grid(1), &grid(0));
        assert!((found - lag_ms).abs() < 0.08, "{found} ms for {lag_ms}");
        let label = taken.truth.of(Family::Lag).next();
        assert_eq!(label.map(|l| l.size), (lag_ms > 0.0).then_some(lag_ms));
    }
}

#[test]
fn a_mounting_angle_turns_the_counts_and_a_lever_arm_adds_what_yaw_moves_it() {
    let angle = 0.3f64;
    let taken = pair(swipes(1), machine(), |test, _| test.mount_rad = angle);
    let (x, y) = sum(&taken.all(0));
    let (along, _) = sum(&taken.all(1));
    close(x, along * angle.cos(), 1e-5);
    close(y, -along * angle.sin(), 1e-5);
    // A lever across the swipe: a turn by the yaw moves the sensor back by lever times the sine at both ends.
    let mut hand = machine();
    hand.path.yaw_rad = 0.2;
    let taken = pair(swipes(1), hand, |test, _| test.lever_m = [0.0, 0.04]);
    let difference = (sum(&taken.all(1)).0 - sum(&taken.all(0)).0) * measure::RULER_MM;
    close(difference, 40.0 * 0.2, 0.01);
}

#[test]
fn strikes_are_later_by_their_lag_and_scatter_by_their_spread() {
    let script = Script::default().strikes(1, 300);
    let taken = pair(script, machine(), |test, reference| {
        test.link.interval_ns = 125_000;
        reference.link.interval_ns = 125_000;
        test.firmware.buttons = Buttons { lag_s: 0.009, lag_spread_s: 0.001, ..Buttons::default() };
        reference.firmware.buttons = Buttons { lag_s: 0.001, lag_spread_s: 0.0, ..Buttons::default() };
    });
    let downs = |device| {
        let rows = taken.all(device);
        let mut down = false;
        let downs =
            rows.iter().filter(|row| !std::mem::replace(&mut down, row.buttons == 1) && row.buttons == 1);
        downs.map(|row| row.t).collect::<Vec<_>>()
    };
    let (test, reference) = (downs(0), downs(1));
    assert_eq!((test.len(), reference.len()), (300, 300));
    let later: Vec<f64> = test.iter().zip(&reference).map(|(a, b)| a - b).collect();
    close(mean(&later), 0.008, 0.02);
    close(deviation(&later), 0.001, 0.12);
    close(taken.truth.of(Family::StrikeLag).next().unwrap().size, 8.0, 1e-9);
}

#[test]
fn both_see_one_carriage_and_the_file_holds_both_in_order_of_time() {
    let taken = pair(swipes(4), Hand::default(), |_, _| {});
    let roles: Vec<Role> = taken.recording.header.devices.iter().map(|d| d.role).collect();
    assert_eq!(roles, [Role::Test, Role::Reference]);
    let ((ax, ay), (bx, by)) = (sum(&taken.all(0)), sum(&taken.all(1)));
    assert!((ax - bx).abs() <= 2.0 && (ay - by).abs() <= 2.0);
    let session =
        Bench { reference: Some(ruler()), script: swipes(1), ..Bench::default() }.session().unwrap();
    let times: Vec<i64> = session.entries().map(|entry| entry.t.0).collect();
    assert!(times.windows(2).all(|w| w[0] <= w[1]));
    assert_eq!(session.entries().last().unwrap().event, Event::End);
    assert!(SimulatedSource::new(&session, 1, Pacing::Flat).is_some());
    assert!(SimulatedSource::new(&session, 2, Pacing::Flat).is_none());
}
