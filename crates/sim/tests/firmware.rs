//! Each of the firmware's and the report's parameters against its definition, measured from reports.

#![allow(clippy::unwrap_used)]

mod measure;

use measure::{Taken, close, machine, mean, sum, take};
use slipgauge_sim::{
    Bench, Cause, Debounce, DeviceModel, Excess, Family, Missing, Pace, Power, ReportFormat, Scaling, Script,
};

fn swipes(count: u32, peak_m_s: f64) -> Script {
    Script::default().swipes(1, Pace::Fast, count, peak_m_s)
}

fn bench(script: Script, change: impl FnOnce(&mut DeviceModel)) -> Bench {
    let mut device = DeviceModel { mount_rad: 0.0, ..DeviceModel::default() };
    device.sensor.noise = 0.0;
    device.link.jitter_ns = 0.0;
    change(&mut device);
    let mut bench = Bench { hand: machine(), script, device, ..Bench::default() };
    bench.travel.true_m = Some(0.3);
    bench
}

fn largest(taken: &Taken) -> f64 {
    taken.all(0).iter().map(|row| row.x.abs()).fold(0.0, f64::max)
}

/// Counts of 300 mm at 1600 counts per inch.
const FULL: f64 = 300.0 / 25.4 * 1600.0;

#[test]
fn a_narrow_field_clips_at_the_speed_that_arithmetic_gives() {
    // Ceiling speed = largest count x report rate / resolution: 127 at 125 Hz and 1600 counts/inch = 0.252 m/s.
    let narrow = |device: &mut DeviceModel| {
        device.report.bits = 8;
        device.link.interval_ns = 8_000_000;
    };
    let slower = take(bench(swipes(2, 0.245), narrow));
    close(slower.counts(0), FULL, 1e-4);
    assert!(slower.truth.labels.is_empty());
    let faster = take(bench(swipes(2, 0.5), narrow));
    assert_eq!(largest(&faster), 127.0);
    let label = faster.truth.of(Family::ReportCeiling).next().unwrap();
    assert_eq!((label.kind.as_str(), label.cause), ("discarded", Cause::ReportFormat));
    close((FULL - faster.counts(0)) * 25.4 / 1600.0, label.size, 2e-3);
}

#[test]
fn fields_of_12_and_16_bits_clip_where_their_width_says() {
    for (bits, counts_per_inch, largest_count) in [(12, 20_000.0, 2047.0), (16, 400_000.0, 32_767.0)] {
        let taken = take(bench(swipes(1, 3.5), |device| {
            device.steps[0].nominal_counts_per_inch = counts_per_inch;
            device.report.bits = bits;
        }));
        assert_eq!(largest(&taken), largest_count);
    }
}

#[test]
fn a_firmware_limit_is_not_the_fields_and_carrying_brings_all_counts() {
    let run = |excess| {
        take(bench(swipes(2, 2.5), |device| {
            device.firmware.limit = Some(70);
            device.firmware.excess = excess;
        }))
    };
    let (carried, discarded) = (run(Excess::Carried), run(Excess::Discarded));
    assert_eq!((largest(&carried), largest(&discarded)), (70.0, 70.0));
    assert!(discarded.counts(0) < 0.9 * FULL);
    // All counts, but later: the plateau outlasts the motion.
    let all = |taken: &Taken| {
        let next = taken.truth.swipes[1].begin_ns;
        let rows = taken.rows(0, taken.truth.swipes[0].begin_ns, next);
        (sum(&rows).0, rows.last().unwrap().t)
    };
    close(all(&carried).0, FULL, 1e-4);
    assert!(all(&carried).1 > all(&discarded).1 + 0.02);
    let label = carried.truth.of(Family::ReportCeiling).next().unwrap();
    assert_eq!((label.kind.as_str(), label.cause), ("carried", Cause::Firmware));
    // Sound: no clip, whatever becomes of what is over.
    assert!(take(bench(swipes(1, 2.5), |_| {})).truth.labels.is_empty());
}

#[test]
fn scaling_that_carries_keeps_the_resolution_and_truncation_loses_half_a_count_a_report() {
    let run = |truncates, peak| {
        let scaling = Some(Scaling { ratio: 0.37, truncates });
        take(bench(swipes(4, peak), |device| device.firmware.scaling = scaling))
    };
    close(run(false, 0.4).counts(0), FULL, 1e-4);
    for peak in [0.4, 2.5] {
        let taken = run(true, peak);
        let reports = mean(&(0..4).map(|i| taken.swipe(i).len() as f64).collect::<Vec<_>>());
        let counts = mean(&(0..4).map(|i| taken.counts(i)).collect::<Vec<_>>());
        // The cut-off fraction is uniform where a report holds many counts: half a count on the average.
        close(FULL - counts, 0.5 * reports, 0.1);
        close(1.0 - counts / FULL, 1.0 - taken.truth.swipes[0].gain, 0.1);
    }
    // On a device that lies askew each axis loses its own half count, and the travel their parts along it.
    let scaling = Some(Scaling { ratio: 0.37, truncates: true });
    let askew = take(bench(swipes(4, 2.5), |device| {
        device.firmware.scaling = scaling;
        device.mount_rad = 0.1;
    }));
    let straight = run(true, 2.5);
    let lost = |taken: &Taken| 1.0 - taken.truth.swipes[0].gain;
    close(lost(&askew) / lost(&straight), f64::cos(0.1) + f64::sin(0.1), 0.05);
    // So gain falls as speed falls.
    assert!(run(true, 0.4).counts(0) < 0.99 * run(true, 2.5).counts(0));
}

#[test]
fn waking_up_late_keeps_the_counts_and_short_loses_them() {
    let run = |counts| {
        let power = Power { dozes_after_s: Some(0.2), look_s: 0.0, wake_s: 0.06, counts };
        take(bench(swipes(3, 1.0), |device| device.firmware.power = power))
    };
    let twin = take(bench(swipes(3, 1.0), |_| {}));
    let (late, short) = (run(Missing::Kept), run(Missing::Lost));
    for index in 0..3 {
        let first = |taken: &Taken| taken.swipe(index)[0].t;
        assert!((first(&late) - first(&twin) - 0.06).abs() < 0.003, "{}", first(&late) - first(&twin));
        assert_eq!(late.counts(index), twin.counts(index));
        let label = short.truth.of(Family::WakeUp).nth(index).unwrap();
        close((twin.counts(index) - short.counts(index)) * 25.4 / 1600.0, label.size, 0.01);
    }
    // Without dozing in between there is one wake-up only where the rest was long enough.
    let power = Power { dozes_after_s: Some(5.0), ..Power::default() };
    let busy = take(bench(swipes(3, 1.0), |device| device.firmware.power = power));
    assert!(busy.truth.labels.is_empty());
}

fn presses(taken: &Taken) -> Vec<(f64, bool)> {
    let mut down = false;
    let changes = taken.all(0).into_iter().filter_map(|row| {
        let now = row.buttons & 1 == 1;
        (std::mem::replace(&mut down, now) != now).then_some((row.t, now))
    });
    changes.collect()
}

#[test]
fn debouncing_decides_how_often_and_how_late_a_strike_is_seen() {
    let run = |debounce| {
        take(bench(Script::default().strikes(1, 60), |device| {
            device.firmware.buttons.debounce = debounce;
            device.firmware.buttons.bounce_s = 0.005;
            device.firmware.buttons.lag_spread_s = 0.0;
        }))
    };
    let eager = presses(&run(Debounce::Eager { masks_s: 0.01 }));
    let wait = presses(&run(Debounce::Wait { lasts_s: 0.008 }));
    let none = presses(&run(Debounce::None));
    assert_eq!((eager.len(), wait.len()), (120, 120));
    assert!(none.len() > 150, "{}", none.len());
    let later: Vec<f64> = eager.iter().zip(&wait).map(|(a, b)| b.0 - a.0).collect();
    // 8 ms after the last of up to four more edges within 5 ms.
    assert!(later.iter().all(|&l| (0.0065..0.0145).contains(&l)));
    assert!(mean(&later) > 0.0085);
}

#[test]
fn the_report_is_the_one_that_the_descriptor_describes() {
    let report = ReportFormat { bits: 12, id: Some(5), buttons: 3, wheel: false, ..ReportFormat::default() };
    let taken = take(bench(swipes(2, 1.0), |device| device.report = report));
    assert_eq!(taken.recording.devices[0].malformed, 0);
    assert_eq!(taken.recording.devices[0].formats[0].axis_bits, Some((12, 12)));
    close(taken.counts(0), FULL, 1e-4);
}
