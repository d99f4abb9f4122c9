//! What the tests measure with: nothing of the simulator's own arithmetic, only sessions read back from their bytes.

#![allow(dead_code, clippy::unwrap_used)]

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use slipgauge_sim::{Bench, Course, DeviceModel, Hand, Path, Settling, Truth};
use slipgauge_trace::{Nanos, Recording};

/// A session as written and read back, with its truth.
pub struct Taken {
    pub recording: Recording,
    pub truth: Truth,
}

pub fn take(bench: Bench) -> Taken {
    let mut file = Vec::new();
    let truth = bench.session().unwrap().write_to(&mut file).unwrap();
    Taken { recording: Recording::read(file.as_slice()).unwrap(), truth }
}

/// One report: seconds, counts.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    pub t: f64,
    pub x: f64,
    pub y: f64,
    pub buttons: u16,
}

impl Taken {
    /// Reports of a device between two session times.
    pub fn rows(&self, device: usize, begin_ns: i64, end_ns: i64) -> Vec<Row> {
        let motion = &self.recording.devices[device].motion;
        let row = |i: usize| Row {
            t: motion.received_ns[i] as f64 * 1e-9,
            x: f64::from(motion.x[i]),
            y: f64::from(motion.y[i]),
            buttons: motion.buttons[i],
        };
        motion.rows(Nanos(begin_ns), Nanos(end_ns)).map(row).collect()
    }

    pub fn all(&self, device: usize) -> Vec<Row> {
        self.rows(device, i64::MIN, i64::MAX)
    }

    /// Reports of a swipe, with what comes within 40 ms of its end.
    pub fn swipe(&self, index: usize) -> Vec<Row> {
        let swipe = &self.truth.swipes[index];
        self.rows(0, swipe.begin_ns, swipe.end_ns + 40_000_000)
    }

    /// Summed counts of a swipe: length of the vector.
    pub fn counts(&self, index: usize) -> f64 {
        let (x, y) = sum(&self.swipe(index));
        x.hypot(y)
    }
}

pub fn sum(rows: &[Row]) -> (f64, f64) {
    (rows.iter().map(|r| r.x).sum(), rows.iter().map(|r| r.y).sum())
}

pub fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

pub fn deviation(values: &[f64]) -> f64 {
    let m = mean(values);
    (values.iter().map(|v| (v - m).powi(2)).sum::<f64>() / (values.len() - 1) as f64).sqrt()
}

pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// Asserts that a value lies within a share of a known one.
#[track_caller]
pub fn close(value: f64, known: f64, share: f64) {
    assert!((value - known).abs() <= share * known.abs(), "{value} is not within {share} of {known}");
}

/// Amplitude spectrum of evenly spaced values: (frequency in cycles a value, amplitude), without the mean.
pub fn spectrum(values: &[f64]) -> Vec<(f64, f64)> {
    let n = values.len();
    let m = mean(values);
    let mut bins: Vec<Complex<f64>> = values.iter().map(|v| Complex::new(v - m, 0.0)).collect();
    FftPlanner::new().plan_fft_forward(n).process(&mut bins);
    bins.iter()
        .take(n / 2)
        .enumerate()
        .skip(1)
        .map(|(k, bin)| (k as f64 / n as f64, 2.0 * bin.norm() / n as f64))
        .collect()
}

pub fn peak(spectrum: &[(f64, f64)]) -> (f64, f64) {
    *spectrum.iter().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap()
}

/// Counts on an even grid from `begin` on, one value a `step` (seconds): reports are summed into their cell.
pub fn gridded(rows: &[Row], begin: f64, step: f64, n: usize, value: impl Fn(&Row) -> f64) -> Vec<f64> {
    let mut grid = vec![0.0; n];
    for row in rows {
        let cell = ((row.t - begin) / step).floor();
        if cell >= 0.0 && (cell as usize) < n {
            grid[cell as usize] += value(row);
        }
    }
    grid
}

/// A device that measures the hand: counts of 0.0254 µm, 32 bits, no noise, square to the swipe, no jitter.
pub fn ruler() -> DeviceModel {
    let mut device = DeviceModel { mount_rad: 0.0, ..DeviceModel::default() }.with_steps(&[1e6]);
    device.report.bits = 32;
    device.sensor.noise = 0.0;
    device.sensor.frame_ns = 50_123;
    device.link.jitter_ns = 0.0;
    device.link.clock_error = 0.0;
    device
}

/// Millimetres in one of the ruler's counts.
pub const RULER_MM: f64 = 25.4e-6;

/// A hand without scatter, tremor, wobble, bounce or settling, of minimum jerk.
pub fn machine() -> Hand {
    let mut hand = Hand {
        peak_scatter: 0.0,
        placement_scatter_m: 0.0,
        dwell_scatter: 0.0,
        course: Course::MinimumJerk,
        arrival: 0.0,
        path: Path { wobble_rad: 0.0, ..Path::default() },
        settling: Settling { distance_m: 0.0, ..Settling::default() },
        ..Hand::default()
    };
    hand.tremor.amplitude_m = 0.0;
    hand
}
