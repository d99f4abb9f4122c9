//! The hand against published figures and its own parameters, measured from reports.

#![allow(clippy::unwrap_used)]

mod measure;

use measure::{RULER_MM, Row, close, deviation, gridded, machine, mean, peak, ruler, spectrum, sum, take};
use slipgauge_sim::{Bench, Bounce, Course, Family, Fault, Hand, Pace, Script, Tremor, What};

fn fast(count: u32, peak_m_s: f64) -> Script {
    Script::default().swipes(1, Pace::Fast, count, peak_m_s)
}

fn bench(hand: Hand, script: Script) -> Bench {
    let mut bench = Bench { hand, script, device: ruler(), ..Bench::default() };
    bench.travel.true_m = Some(0.3);
    bench.host.delay_spread_ns = 0.0;
    bench.host.delay_ns = 0;
    bench
}

/// Speeds along x in m/s, with their times, from one report to the next.
fn speeds(rows: &[Row]) -> Vec<(f64, f64)> {
    rows.windows(2).map(|w| (0.5 * (w[0].t + w[1].t), w[1].x * RULER_MM * 1e-3 / (w[1].t - w[0].t))).collect()
}

fn highest(speeds: &[(f64, f64)]) -> (f64, f64) {
    *speeds.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).unwrap()
}

#[test]
fn a_minimum_jerk_swipe_has_the_published_peak_speed_and_acceleration() {
    // Flash & Hogan, J. Neurosci. 5:1688, 1985: peak speed 1.875 D/T at T/2, peak acceleration 10/sqrt(3) D/T^2.
    let mut bench = bench(machine(), fast(1, 3.0));
    bench.device.sensor.frame_ns = 5_003;
    let taken = take(bench);
    let swipe = &taken.truth.swipes[0];
    let duration = (swipe.end_ns - swipe.begin_ns) as f64 * 1e-9;
    let speeds = speeds(&taken.swipe(0));
    let (at, top) = highest(&speeds);
    close(top, 1.875 * 0.3 / duration, 1e-2);
    close(top, 3.0, 1e-2);
    close((at - swipe.begin_ns as f64 * 1e-9) / duration, 0.5, 0.02);
    let smooth: Vec<f64> = speeds.windows(16).map(|w| (w[15].1 - w[0].1) / (w[15].0 - w[0].0)).collect();
    close(smooth.iter().copied().fold(0.0, f64::max), 10.0 / 3f64.sqrt() * 0.3 / duration.powi(2), 0.03);
    close(sum(&taken.swipe(0)).0 * RULER_MM, 300.0, 1e-5);
}

#[test]
fn asked_peaks_from_creeping_to_flicking_are_reached() {
    for asked in [0.3, 1.0, 2.5, 5.0] {
        let mut bench = bench(machine(), fast(4, asked));
        bench.device.sensor.frame_ns = 10_007;
        let taken = take(bench);
        for index in 0..4 {
            let rows = taken.swipe(index);
            let pairs =
                rows.windows(3).map(|w| (w[1].x + w[2].x).abs() * RULER_MM * 1e-3 / (w[2].t - w[0].t));
            close(pairs.fold(0.0, f64::max), asked, 0.03);
        }
    }
}

#[test]
fn natural_swipes_peak_early_when_slow_and_late_when_ballistic() {
    // Nagasaki, Exp. Brain Res. 74:319, 1989.
    let share = |asked| {
        let hand = Hand { arrival: 0.0, ..Hand::default() };
        let taken = take(bench(hand, fast(40, asked)));
        let share = |index: usize| {
            let swipe = &taken.truth.swipes[index];
            let span = (swipe.end_ns - swipe.begin_ns) as f64 * 1e-9;
            // 15 ms of smoothing, centred.
            let smooth: Vec<(f64, f64)> = speeds(&taken.swipe(index))
                .windows(15)
                .map(|w| (w[7].0, mean(&w.iter().map(|s| s.1).collect::<Vec<_>>())))
                .collect();
            (highest(&smooth).0 - swipe.begin_ns as f64 * 1e-9) / span
        };
        mean(&(0..40).map(share).collect::<Vec<_>>())
    };
    let (slow, even, ballistic) = (share(0.4), share(1.1), share(2.8));
    assert!(slow < 0.48, "{slow}");
    assert!((even - 0.5).abs() < 0.03, "{even}");
    assert!(ballistic > 0.52, "{ballistic}");
}

#[test]
fn slow_natural_swipes_have_sub_movements_and_fast_ones_have_none() {
    // Exp. Brain Res. 73:225, 1988: slow movements are made of two to four parts. Each part pushes anew.
    let pushes = |asked| {
        let mut hand = Hand { arrival: 0.0, ..Hand::default() };
        hand.tremor.amplitude_m = 0.0;
        let taken = take(bench(hand, fast(30, asked)));
        let pushes = |index: usize| {
            let speeds = speeds(&taken.swipe(index));
            let w = speeds.len() / 20;
            let smooth: Vec<f64> =
                speeds.windows(w).map(|s| s.iter().map(|v| v.1.abs()).sum::<f64>()).collect();
            let push: Vec<f64> = smooth.windows(w).map(|s| s[w - 1] - s[0]).collect();
            // Maxima of the acceleration, whether speed still grows or falls.
            push.windows(3).filter(|w| w[1] > w[0] && w[1] >= w[2]).count() as f64
        };
        mean(&(0..30).map(pushes).collect::<Vec<_>>())
    };
    let (slow, quick) = (pushes(0.3), pushes(2.5));
    assert!(slow > quick + 0.7, "{slow} against {quick}");
}

#[test]
fn tremor_lies_between_6_and_12_hz_and_has_its_amplitude() {
    let hand = Hand { tremor: Tremor { amplitude_m: 200e-6, ..Tremor::default() }, ..machine() };
    let taken = take(bench(hand, fast(1, 0.05)));
    let swipe = &taken.truth.swipes[0];
    let (begin, end) = (swipe.begin_ns as f64 * 1e-9, swipe.end_ns as f64 * 1e-9);
    // The middle half, where the tremor is at its full.
    let (from, n) = (begin + 0.25 * (end - begin), ((end - begin) * 500.0) as usize);
    let steps = gridded(&taken.swipe(0), from, 0.001, n, |row| row.y * RULER_MM);
    let across: Vec<f64> = steps
        .iter()
        .scan(0.0, |place, step| {
            *place += step;
            Some(*place)
        })
        .collect();
    let spectrum = spectrum(&across);
    let power = |low: f64, high: f64| {
        let inside = spectrum.iter().filter(|(f, _)| (low..high).contains(&(f * 1000.0)));
        inside.map(|(_, a)| 0.5 * a * a).sum::<f64>()
    };
    assert!(power(5.5, 12.5) > 0.9 * power(1.5, 500.0));
    // Two waves of half the amplitude each, swelling from 0.56 to 1 over this span: mean square 0.73.
    close(power(5.5, 12.5).sqrt(), 0.2 * (0.25f64 * 0.73).sqrt(), 0.25);
    assert!((5.5..12.5).contains(&(peak(&spectrum).0 * 1000.0)));
}

#[test]
fn turning_points_scatter_as_told_and_neighbours_share_a_stop() {
    let hand = Hand { placement_scatter_m: 0.5e-3, ..machine() };
    let taken = take(bench(hand, fast(300, 3.0)));
    let mut place = 0.0;
    let (mut near, mut far, mut lengths) = (Vec::new(), Vec::new(), Vec::new());
    for index in 0..300 {
        let moved = sum(&taken.swipe(index)).0 * RULER_MM;
        place += moved;
        if index % 2 == 0 {
            far.push(place)
        } else {
            near.push(place)
        }
        lengths.push(moved.abs());
        close(moved.abs(), taken.truth.swipes[index].travel_m * 1e3, 1e-4);
    }
    close(deviation(&near), 0.5, 0.15);
    close(deviation(&far), 0.5, 0.15);
    close(mean(&far) - mean(&near), 300.0, 1e-3);
    // Lengths of neighbours have one end in common: correlation +0.5.
    let (m, s) = (mean(&lengths), deviation(&lengths));
    let pairs: Vec<f64> = lengths.windows(2).map(|w| (w[0] - m) * (w[1] - m) / (s * s)).collect();
    assert!((mean(&pairs) - 0.5).abs() < 0.12, "{}", mean(&pairs));
}

#[test]
fn a_body_that_arrives_with_speed_bounces_by_the_laws_of_throwing() {
    let hand = Hand { arrival: 0.4, bounce: Bounce { restitution: 0.5, push_m_s2: 15.0 }, ..machine() };
    let taken = take(bench(hand, fast(1, 2.0)));
    let swipe = &taken.truth.swipes[0];
    close(swipe.contact_m_s, 0.8, 1e-6);
    let rows = taken.rows(0, swipe.begin_ns, swipe.end_ns + 250_000_000);
    let mut place = 0.0;
    let course: Vec<f64> = rows
        .iter()
        .map(|row| {
            place += row.x * RULER_MM;
            place
        })
        .collect();
    let touch = rows.iter().position(|row| row.t > swipe.end_ns as f64 * 1e-9).unwrap();
    let back = course[touch..].iter().copied().fold(f64::MAX, f64::min);
    // Height (e v)^2 / 2a.
    close(300.0 - back, 0.4f64.powi(2) / 30.0 * 1e3, 0.02);
    close(*course.last().unwrap(), 300.0, 1e-5);
}

#[test]
fn yaw_and_an_arm_change_the_counts_as_geometry_says() {
    // Turning from -a to +a evenly along the way shortens the counts along by sin(a)/a.
    for degrees in [5.0f64, 10.0, 15.0] {
        let mut hand = machine();
        hand.path.yaw_rad = 2.0 * degrees.to_radians();
        let taken = take(bench(hand, fast(1, 1.0)));
        let a = degrees.to_radians();
        close(sum(&taken.swipe(0)).0 * RULER_MM, 300.0 * a.sin() / a, 2e-5);
    }
    // Turning with an arm of 350 mm: counts are the arc's, 3.35 % more than the chord.
    let mut hand = machine();
    hand.path.arm_m = Some(0.35);
    let taken = take(bench(hand, fast(1, 1.0)));
    let (x, y) = sum(&taken.swipe(0));
    close(x * RULER_MM, 0.7e3 * (0.15f64 / 0.35).asin(), 1e-4);
    assert!((y * RULER_MM).abs() < 0.05);
    close(taken.truth.swipes[0].travel_m, 0.3, 1e-9);
}

#[test]
fn mishaps_do_what_they_say() {
    let swipe = |what, at| vec![Fault::in_swipe(1, 1, at, what)];
    let run = |faults| take(Bench { faults, ..bench(machine(), fast(2, 1.0)) });
    let moved = |taken: &measure::Taken, index| sum(&taken.swipe(index)).0.abs() * RULER_MM;
    // Stopping short: this swipe and the next are short by as much.
    let taken = run(swipe(What::StopShort { by_m: 0.05 }, 1.0));
    close(moved(&taken, 0), 250.0, 1e-4);
    close(moved(&taken, 1), 250.0, 1e-4);
    // Stopping half-way: all of the travel, with a rest in the middle of it.
    let taken = run(swipe(What::StopHalfway { seconds: 0.3 }, 0.5));
    close(moved(&taken, 0), 300.0, 1e-4);
    let rows = taken.swipe(0);
    let rest = rows.windows(2).max_by(|a, b| (a[1].t - a[0].t).total_cmp(&(b[1].t - b[0].t))).unwrap();
    assert!((rest[1].t - rest[0].t - 0.3).abs() < 0.02);
    // Lifted for 20 ms about the middle at 1 m/s: 20 mm are missing.
    let taken = run(swipe(What::Lift { seconds: 0.02 }, 0.5));
    close(moved(&taken, 0), 280.0, 1e-3);
    assert_eq!(taken.truth.of(Family::Operator).next().unwrap().kind, "lift");
    // A knock: on both axes, back to where it was, and soon over.
    let knock = vec![Fault::in_phase(1, 2.0, What::Knock { amplitude_m: 0.3e-3 })];
    let taken = take(Bench { faults: knock, ..bench(machine(), Script::default().still(1, 4.0)) });
    let rows = taken.all(0);
    let (x, y) = sum(&rows);
    assert!((x * RULER_MM).abs() < 1e-3 && (y * RULER_MM).abs() < 1e-3);
    let path: f64 = rows.iter().map(|row| row.x.abs() * RULER_MM).sum();
    assert!((0.9..1.8).contains(&path), "{path}");
    assert!(rows.last().unwrap().t - rows[0].t < 0.45 && rows.iter().any(|row| row.y != 0.0));
}

#[test]
fn pad_and_cable_settle_one_way_and_ever_slower() {
    let mut hand = machine();
    hand.settling.distance_m = 0.2e-3;
    hand.settling.time_s = 0.8;
    let taken = take(bench(hand, Script::default().still(1, 8.0)));
    let phase = &taken.truth.phases[0];
    let moved = |from_s: f64, to_s: f64| {
        let at = |s: f64| phase.begin_ns + (s * 1e9) as i64;
        sum(&taken.rows(0, at(from_s), at(to_s))).0 * RULER_MM
    };
    close(moved(0.0, 7.9), 0.2, 0.01);
    close(moved(0.0, 0.8), 0.2 * (1.0 - (-1.0f64).exp()), 0.01);
    assert!(taken.rows(0, phase.begin_ns, phase.end_ns).iter().all(|row| row.x >= 0.0));
}

#[test]
fn the_rest_between_swipes_is_as_long_as_told() {
    let hand = Hand { dwell_s: 0.5, dwell_scatter: 0.2, ..machine() };
    let taken = take(bench(hand, fast(120, 3.0)));
    let gaps: Vec<f64> = taken
        .truth
        .swipes
        .windows(2)
        .map(|w| {
            let end = taken.rows(0, w[0].begin_ns, w[1].begin_ns).last().unwrap().t;
            let next = taken.rows(0, w[1].begin_ns, w[1].end_ns)[0].t;
            next - end
        })
        .collect();
    close(mean(&gaps), 0.5, 0.06);
    close(deviation(&gaps), 0.1, 0.25);
}

#[test]
fn a_skewed_course_peaks_where_it_was_told_to() {
    for time_to_peak in [0.35, 0.65] {
        let hand = Hand { course: Course::Skewed { time_to_peak }, ..machine() };
        let taken = take(bench(hand, fast(1, 0.6)));
        let swipe = &taken.truth.swipes[0];
        let (at, _) = highest(&speeds(&taken.swipe(0)));
        let share = (at * 1e9 - swipe.begin_ns as f64) / (swipe.end_ns - swipe.begin_ns) as f64;
        assert!((share - time_to_peak).abs() < 0.03, "{share}");
    }
}
