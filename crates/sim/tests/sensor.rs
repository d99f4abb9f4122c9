//! Each of the sensor's parameters against its definition, measured from reports.

#![allow(clippy::unwrap_used)]

mod measure;

use measure::{
    RULER_MM, Taken, close, deviation, gridded, machine, mean, median, peak, ruler, spectrum, sum, take,
};
use slipgauge_sim::{
    Bench, Bursts, DeviceModel, Drift, Family, Fault, Flicker, Gain, Hand, Loss, Pace, Script, Sensor,
    Straightening, Tracking, Tremble, What,
};

fn swipes(count: u32, peak_m_s: f64) -> Script {
    Script::default().swipes(1, Pace::Fast, count, peak_m_s)
}

fn bench(sensor: Sensor, script: Script) -> Bench {
    let device = DeviceModel { sensor, ..ruler() };
    let mut bench = Bench { hand: machine(), script, device, ..Bench::default() };
    bench.travel.true_m = Some(0.3);
    bench
}

/// The ruler's sensor.
fn sound() -> Sensor {
    ruler().sensor
}

/// Mean counts of the swipes of a session, in millimetres.
fn counted_mm(taken: &Taken) -> f64 {
    mean(&(0..taken.truth.swipes.len()).map(|i| taken.counts(i) * RULER_MM).collect::<Vec<_>>())
}

#[test]
fn rounding_is_carried_so_that_no_motion_is_lost_in_many_swipes() {
    let device =
        DeviceModel { sensor: sound(), mount_rad: 0.0, ..DeviceModel::default() }.with_steps(&[400.0]);
    let mut bench = Bench { device, ..bench(sound(), swipes(41, 1.0)) };
    bench.travel.true_m = Some(0.3);
    let taken = take(bench);
    let (x, _) = sum(&taken.all(0));
    assert!((x - 0.3 / 0.0254 * 400.0).abs() <= 1.0, "{x}");
}

#[test]
fn a_steps_error_and_the_ratio_of_the_axes_show_in_counts_for_distance() {
    let mut bench = bench(Sensor { y_over_x: 1.04, skew_rad: 0.01, ..sound() }, swipes(2, 1.0));
    bench.device.mount_rad = std::f64::consts::FRAC_PI_4;
    bench.device.steps[0].error = 0.03;
    let (x, y) = sum(&take(bench).swipe(0));
    // At 45 degrees x sees D cos 45, y sees -D sin 45 cos(skew) + D cos 45 sin(skew), with 4 % more resolution.
    let half = 300.0 / RULER_MM * 1.03 * 0.5f64.sqrt();
    close(x, half, 1e-5);
    close(y, -half * 1.04 * (0.01f64.cos() - 0.01f64.sin()), 1e-5);
}

#[test]
fn swipes_along_the_other_body_axis_count_on_y() {
    let bench = Bench { axis: slipgauge_sim::Axis::Y, ..bench(sound(), swipes(1, 1.0)) };
    let (x, y) = sum(&take(bench).swipe(0));
    close(y * RULER_MM, 300.0, 1e-5);
    assert!(x.abs() <= 1.0);
}

#[test]
fn out_and_back_differ_by_what_was_told() {
    let taken = take(bench(Sensor { out_over_back: 0.02, ..sound() }, swipes(2, 1.0)));
    close(taken.counts(0) - taken.counts(1), 0.02 * taken.counts(0), 0.02);
}

#[test]
fn frame_noise_grows_with_speed_and_averages_out_over_a_swipe() {
    // Scatter of single reports about the noiseless twin of the same session.
    let scatter = |peak| {
        let run = |noise| take(bench(Sensor { noise, ..sound() }, swipes(6, peak)));
        let (noisy, twin) = (run(0.3), run(0.0));
        let on_grid = |taken: &Taken| gridded(&taken.all(0), 0.0, 0.001, 20_000, |row| row.x);
        let pairs = on_grid(&noisy).into_iter().zip(on_grid(&twin));
        // Near the peak, where the speed hardly changes.
        let top = peak * 1e-6 / RULER_MM * 1e3;
        let off: Vec<f64> = pairs.filter(|(_, b)| b.abs() > 0.9 * top).map(|(a, b)| a - b).collect();
        deviation(&off)
    };
    close(scatter(2.0) / scatter(0.5), 4.0, 0.25);
    let taken = take(bench(Sensor { noise: 0.02, ..sound() }, swipes(20, 1.0)));
    let lengths: Vec<f64> = (0..20).map(|i| taken.counts(i) * RULER_MM).collect();
    assert!(deviation(&lengths) / 300.0 < 5e-4);
}

#[test]
fn gain_follows_speed_as_slope_step_and_curve_say() {
    let fast_over_slow = |gain: Gain, slow: f64, fast: f64| {
        let run = |peak| counted_mm(&take(bench(Sensor { gain: gain.clone(), ..sound() }, swipes(2, peak))));
        run(fast) / run(slow)
    };
    // Minimum jerk: the integral of v^2 over a swipe is 10/7 D^2/T, and D/T is the peak over 1.875.
    let weighted = |peak: f64| 10.0 / 7.0 * peak / 1.875;
    let slope = fast_over_slow(Gain::Slope { per_m_s: -0.03 }, 0.4, 2.5);
    close(slope, (1.0 - 0.03 * weighted(2.5)) / (1.0 - 0.03 * weighted(0.4)), 1e-4);
    // Step: the share of the way that is covered above a speed.
    let share_above = |limit: f64, peak: f64| {
        let n = 100_000;
        let speed = |i: i32| {
            30.0 * (f64::from(i) / f64::from(n)).powi(2) * (1.0 - f64::from(i) / f64::from(n)).powi(2)
        };
        let (mut above, mut all) = (0.0, 0.0);
        for v in (0..n).map(speed) {
            all += v;
            above += if v * peak / 1.875 > limit { v } else { 0.0 };
        }
        above / all
    };
    let step = fast_over_slow(Gain::Step { above_m_s: 1.0, gain: 0.9 }, 0.5, 2.0);
    close(step, 1.0 - 0.1 * share_above(1.0, 2.0), 1e-3);
    let curve = Gain::Curve(vec![(0.2, 1.0), (0.21, 1.05), (9.0, 1.05)]);
    close(fast_over_slow(curve, 0.15, 2.0), 1.0 + 0.05 * share_above(0.205, 2.0), 1e-3);
}

/// Report times and speeds of a swipe along x, by differences of receive times.
fn speeds(taken: &Taken, index: usize) -> Vec<(f64, f64)> {
    taken.swipe(index).windows(2).map(|w| (w[1].t, w[1].x * RULER_MM * 1e-3 / (w[1].t - w[0].t))).collect()
}

fn lossy(loss: Loss) -> Sensor {
    let tracking = Tracking { max_speed_m_s: 1.5, recovers_at: 0.8, loss, ..Tracking::default() };
    Sensor { tracking, ..sound() }
}

#[test]
fn beyond_the_speed_limit_a_silent_sensor_reports_nothing_until_the_hand_slows() {
    let taken = take(bench(lossy(Loss::Silent), swipes(4, 2.5)));
    let sound = take(bench(sound(), swipes(4, 2.5)));
    for index in 0..4 {
        let speeds = speeds(&taken, index);
        let hole = speeds.windows(2).max_by(|a, b| (a[1].0 - a[0].0).total_cmp(&(b[1].0 - b[0].0))).unwrap();
        let before = speeds.iter().take_while(|s| s.0 < hole[1].0);
        close(before.map(|s| s.1.abs()).fold(0.0, f64::max), 1.5, 0.05);
        // The first report after the hole spans it; the one behind it shows the speed.
        let after = speeds.iter().find(|s| s.0 > hole[1].0).unwrap();
        close(after.1.abs(), 0.8 * 1.5, 0.06);
        let label = taken.truth.of(Family::TrackingLoss).nth(index).unwrap();
        close((sound.counts(index) - taken.counts(index)) * RULER_MM, label.size, 1e-3);
        assert_eq!((label.phase, label.swipe), (Some(1), Some(index as u32 + 1)));
    }
    // Below the limit nothing is lost.
    let slower = take(bench(lossy(Loss::Silent), swipes(2, 1.4)));
    close(counted_mm(&slower), 300.0, 1e-5);
    assert_eq!(slower.truth.labels.len(), 0);
}

#[test]
fn partial_loss_keeps_its_share_of_the_motion() {
    let partial = take(bench(lossy(Loss::Partial { share: 0.4 }), swipes(1, 2.5)));
    let silent = take(bench(lossy(Loss::Silent), swipes(1, 2.5)));
    let kept = partial.counts(0) - silent.counts(0);
    let missing = 300.0 / RULER_MM - silent.counts(0);
    close(kept, 0.4 * missing, 1e-3);
}

#[test]
fn a_guess_holds_one_direction_and_one_speed() {
    let turn_rad = 2.0;
    let taken = take(bench(lossy(Loss::Guess { turn_rad, speed_share: 0.5 }), swipes(1, 2.5)));
    let label = taken.truth.of(Family::SpinOut).next().unwrap();
    let rows = taken.rows(0, label.begin_ns + 2_000_000, label.end_ns - 1_000_000);
    assert!(rows.len() > 20);
    for row in &rows {
        close(row.y.atan2(row.x), turn_rad, 1e-3);
        close(row.x.hypot(row.y) * RULER_MM, 0.5 * 1.5, 0.06);
    }
}

#[test]
fn a_repeated_delta_carries_on_past_the_stop_and_fades_as_told() {
    let run = |fade_s| {
        let lose = What::Lose { loss: Loss::Repeat { fade_s }, seconds: 0.2 };
        let faults = vec![Fault::in_swipe(1, 1, 0.9, lose)];
        take(Bench { faults, ..bench(sound(), swipes(1, 1.0)) })
    };
    let steady = run(0.0);
    let label = steady.truth.of(Family::CarryOn).next().unwrap().clone();
    let rows = steady.rows(0, label.begin_ns + 2_000_000, label.end_ns - 1_000_000);
    assert!(rows.len() > 40);
    let typical = median(rows.iter().map(|row| row.x).collect());
    assert!(rows.iter().all(|row| (row.x / typical - 1.0).abs() < 0.06 && row.y == 0.0));
    // The span is cut by 3 ms of about 60.
    close(sum(&rows).0 * RULER_MM, label.size, 0.08);
    // Fading: after one time constant the deltas are down to 1/e.
    let fading = run(0.03);
    let begin =
        fading.truth.of(Family::SpinOut).chain(fading.truth.of(Family::CarryOn)).next().unwrap().begin_ns;
    let around = |s: f64| {
        let at = begin + (s * 1e9) as i64;
        mean(&fading.rows(0, at - 4_000_000, at + 4_000_000).iter().map(|row| row.x).collect::<Vec<_>>())
    };
    close(around(0.04) / around(0.01), (-1.0f64).exp(), 0.05);
}

#[test]
fn the_acceleration_limit_acts_at_the_start_of_a_flick() {
    let tracking = Tracking { max_acceleration_m_s2: 20.0, hold_s: 0.01, ..Tracking::default() };
    let run = |peak| take(bench(Sensor { tracking, ..sound() }, swipes(2, peak)));
    // Minimum jerk: peak acceleration 10/sqrt(3) D/T^2 with T = 1.875 D/peak: 6.6 m/s^2 at 1.1 m/s, 49 at 3 m/s.
    assert_eq!(run(1.1).truth.labels.len(), 0);
    let taken = run(3.0);
    let label = taken.truth.of(Family::TrackingLoss).next().unwrap();
    let swipe = &taken.truth.swipes[0];
    assert!((label.begin_ns - swipe.begin_ns) as f64 / ((swipe.end_ns - swipe.begin_ns) as f64) < 0.3);
    assert!(taken.counts(0) * RULER_MM < 295.0);
}

#[test]
fn the_speed_limit_scatters_from_swipe_to_swipe() {
    let tracking = Tracking { max_speed_m_s: 1.5, scatter: 0.1, ..Tracking::default() };
    let taken = take(bench(Sensor { tracking, ..sound() }, swipes(150, 2.4)));
    // Onset by the highest speed before the hole, from reports alone.
    let onset = |index: usize| {
        let speeds = speeds(&taken, index);
        let hole = speeds.windows(2).max_by(|a, b| (a[1].0 - a[0].0).total_cmp(&(b[1].0 - b[0].0))).unwrap();
        let before = speeds.iter().take_while(|s| s.0 < hole[1].0);
        before.map(|s| s.1.abs()).fold(0.0, f64::max).ln()
    };
    let onsets: Vec<f64> = (0..150).map(onset).collect();
    close(deviation(&onsets), 0.1, 0.25);
    close(median(onsets).exp(), 1.5, 0.06);
}

#[test]
fn smoothing_over_n_frames_delays_by_half_of_them_and_loses_nothing() {
    let run = |smoothing_frames| {
        let mut bench = bench(Sensor { smoothing_frames, ..sound() }, swipes(2, 2.0));
        bench.device.link.interval_ns = 125_000;
        take(bench)
    };
    let (plain, smooth) = (run(1), run(81));
    close(smooth.counts(0), plain.counts(0), 1e-6);
    // Time of the centre of the counts.
    let centre = |taken: &Taken| {
        let rows = taken.swipe(0);
        rows.iter().map(|row| row.t * row.x).sum::<f64>() / sum(&rows).0
    };
    close(centre(&smooth) - centre(&plain), 40.0 * 50.123e-6, 0.02);
}

#[test]
fn straightening_bends_only_what_is_near_an_axis() {
    let across = |degrees: f64| {
        let straightening = Straightening { within_rad: 6.0f64.to_radians(), ..Straightening::default() };
        let mut bench = bench(Sensor { straightening, ..sound() }, swipes(1, 1.0));
        bench.device.mount_rad = degrees.to_radians();
        let taken = take(bench);
        (
            sum(&taken.swipe(0)).1.abs() * RULER_MM,
            taken.truth.of(Family::Straightening).next().map(|l| l.size),
        )
    };
    let (left, label) = across(4.0);
    assert!(left < 0.01, "{left}");
    close(label.unwrap(), 300.0 * 4f64.to_radians().sin(), 1e-3);
    let (left, label) = across(8.0);
    close(left, 300.0 * 8f64.to_radians().sin(), 1e-4);
    assert!(label.is_none());
}

fn still(drift: Drift, seconds: f64) -> Taken {
    // A common resolution: 1600 counts per inch.
    let sensor = Sensor { drift, noise: 0.0, ..Sensor::default() };
    let device = DeviceModel { sensor, mount_rad: 0.0, ..DeviceModel::default() };
    take(Bench { device, hand: machine(), script: Script::default().still(1, seconds), ..Bench::default() })
}

#[test]
fn creep_adds_up_at_its_rate() {
    let taken = still(Drift { creep_m_s: [40e-6, -30e-6], ..Drift::default() }, 60.0);
    let phase = &taken.truth.phases[0];
    let (x, y) = sum(&taken.rows(0, phase.begin_ns, phase.end_ns));
    let counts = 60.0 / 0.0254 * 1600.0;
    assert!((x - 40e-6 * counts).abs() <= 1.5 && (y + 30e-6 * counts).abs() <= 1.5, "{x} {y}");
    close(taken.truth.of(Family::Drift).next().unwrap().size, 3.0, 1e-9);
}

#[test]
fn tremble_goes_and_comes_back_as_often_as_told() {
    let tremble = Tremble { rate_hz: 3.0, counts: 1.0 };
    let taken = still(Drift { tremble, ..Drift::default() }, 200.0);
    let rows = taken.all(0);
    // Two reports an excursion; an excursion lasts 25 ms on the average, so that 3 a second are 2.8.
    close(rows.len() as f64 / 2.0 / 200.0, 3.0 / (1.0 + 3.0 * 0.025), 0.1);
    let (x, y) = sum(&rows);
    assert!(x.abs() <= 1.0 && y.abs() <= 1.0);
    // One count each, but where one excursion ends as another begins.
    let single = rows.iter().filter(|row| row.x.abs() + row.y.abs() == 1.0).count();
    assert!(single as f64 > 0.98 * rows.len() as f64);
}

#[test]
fn bursts_come_as_a_poisson_process_with_their_counts() {
    let bursts = Bursts { rate_hz: 0.5, counts: 20.0, seconds: 0.05 };
    let taken = still(Drift { bursts, ..Drift::default() }, 1000.0);
    let rows = taken.all(0);
    let mut begins = vec![rows[0].t];
    let mut last = rows[0].t;
    for row in &rows {
        if row.t - last > 0.02 {
            begins.push(row.t);
        }
        last = row.t;
    }
    // Garwood 1936: 500 expected, 95 % within 456 to 544; a few touch and count as one.
    assert!((440..550).contains(&begins.len()), "{}", begins.len());
    let waits: Vec<f64> = begins.windows(2).map(|w| w[1] - w[0]).collect();
    // Exponential waits: deviation equals mean.
    close(deviation(&waits), mean(&waits), 0.12);
    let net: f64 = rows.iter().map(|row| row.x.hypot(row.y)).sum::<f64>() / begins.len() as f64;
    assert!((18.0..32.0).contains(&net), "{net}");
}

#[test]
fn flicker_swings_at_twice_the_mains_frequency() {
    let flicker = Flicker { hz: 100.0, amplitude_m: 60e-6 };
    let taken = still(Drift { flicker, ..Drift::default() }, 20.0);
    let steps = gridded(&taken.all(0), 1.0, 0.001, 16_000, |row| row.x);
    let place: Vec<f64> = steps
        .iter()
        .scan(0.0, |sum, step| {
            *sum += step;
            Some(*sum)
        })
        .collect();
    let (frequency, amplitude) = peak(&spectrum(&place));
    assert!((frequency * 1000.0 - 100.0).abs() < 0.2, "{frequency}");
    close(amplitude, 60e-6 / 0.0254 * 1600.0, 0.15);
}

#[test]
fn a_sound_device_at_rest_says_nothing_once_the_pad_has_settled() {
    let bench = Bench { script: Script::default().still(1, 30.0), ..Bench::default() };
    let taken = take(bench);
    let phase = &taken.truth.phases[0];
    assert!(taken.rows(0, phase.begin_ns + 6_000_000_000, phase.end_ns).is_empty());
    assert!(taken.rows(0, phase.begin_ns, phase.end_ns).len() < 8);
    assert_eq!(Hand::default().settling.distance_m, 50e-6);
}
