//! Motion that comes from the sensor and the surface themselves, whether the body moves or not.
//!
//! *Creep* adds up; *tremble* goes one count and comes back; *bursts* are runs of counts in one direction (dust, a
//! glossy patch); *flicker* is the lamp's, at twice the mains frequency.

use crate::hand::sine_of_turns;
use crate::noise::Noise;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// Tremble: displacement that comes back.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Tremble {
    /// Excursions a second, on the average; each makes counts there and back.
    pub rate_hz: f64,
    /// Size of an excursion in counts.
    pub counts: f64,
}

/// Bursts: runs of counts in a random direction, as a Poisson process.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Bursts {
    /// Bursts a second, on the average.
    pub rate_hz: f64,
    /// Length of a burst's net motion in counts.
    pub counts: f64,
    /// Its duration in seconds.
    pub seconds: f64,
}

/// Flicker: a swing at twice the mains frequency.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Flicker {
    /// Frequency in hertz.
    pub hz: f64,
    /// Amplitude in metres, along x and half of it along y.
    pub amplitude_m: f64,
}

impl Default for Flicker {
    fn default() -> Self {
        Flicker { hz: 100.0, amplitude_m: 0.0 }
    }
}

/// All drift of a sensor.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Drift {
    /// Creep along x and y in metres per second.
    pub creep_m_s: [f64; 2],
    /// Tremble.
    pub tremble: Tremble,
    /// Bursts.
    pub bursts: Bursts,
    /// Flicker.
    pub flicker: Flicker,
}

/// How long an excursion of a tremble lasts, in seconds.
const EXCURSION_S: (f64, f64) = (0.01, 0.04);

/// A surface burst as it began.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Burst {
    pub(crate) begin: i64,
    pub(crate) end: i64,
    pub(crate) counts: f64,
}

/// Drift at work.
pub(super) struct DriftState {
    model: Drift,
    noise: Noise,
    last_t: i64,
    next_tremble: i64,
    excursion: Option<(i64, [f64; 2])>,
    next_burst: i64,
    burst: Option<(Burst, [f64; 2])>,
    begun: Option<Burst>,
    last_swing: f64,
    quiet: bool,
}

impl DriftState {
    pub(super) fn new(model: &Drift, mut noise: Noise) -> DriftState {
        let next_tremble = wait(model.tremble.rate_hz, &mut noise);
        let next_burst = wait(model.bursts.rate_hz, &mut noise);
        DriftState {
            model: *model,
            last_t: 0,
            next_tremble,
            excursion: None,
            next_burst,
            burst: None,
            begun: None,
            last_swing: 0.0,
            quiet: *model == Drift::default(),
            noise,
        }
    }

    /// True if there is no drift at all.
    pub(super) fn quiet(&self) -> bool {
        self.quiet
    }

    /// Drift since the last frame, in counts.
    pub(super) fn frame(&mut self, t: i64, counts_per_m: [f64; 2]) -> [f64; 2] {
        if self.quiet {
            return [0.0; 2];
        }
        let seconds = (t - self.last_t) as f64 * 1e-9;
        let mut sum = [0, 1].map(|axis| self.model.creep_m_s[axis] * seconds * counts_per_m[axis]);
        let mut add = |counts: [f64; 2]| (sum[0], sum[1]) = (sum[0] + counts[0], sum[1] + counts[1]);
        add(self.tremble(t));
        add(self.bursts(t));
        let Flicker { hz, amplitude_m } = self.model.flicker;
        if amplitude_m > 0.0 {
            let swing = amplitude_m * sine_of_turns(hz * t as f64 * 1e-9);
            let moved = swing - std::mem::replace(&mut self.last_swing, swing);
            add([moved * counts_per_m[0], 0.5 * moved * counts_per_m[1]]);
        }
        self.last_t = t;
        sum
    }

    fn tremble(&mut self, t: i64) -> [f64; 2] {
        if let Some((end, back)) = self.excursion {
            if t < end {
                return [0.0; 2];
            }
            self.excursion = None;
            return back;
        }
        if t < self.next_tremble {
            return [0.0; 2];
        }
        self.next_tremble = t + wait(self.model.tremble.rate_hz, &mut self.noise);
        let size = self.model.tremble.counts * if self.noise.chance(0.5) { 1.0 } else { -1.0 };
        let out = if self.noise.chance(0.5) { [size, 0.0] } else { [0.0, size] };
        let length = (self.noise.between(EXCURSION_S.0, EXCURSION_S.1) * 1e9) as i64;
        self.excursion = Some((t + length, out.map(|d| -d)));
        out
    }

    fn bursts(&mut self, t: i64) -> [f64; 2] {
        if t >= self.next_burst {
            self.next_burst = t + wait(self.model.bursts.rate_hz, &mut self.noise);
            let length = (self.model.bursts.seconds * 1e9).max(1.0);
            let (sine, cosine) = libm::sincos(TAU * self.noise.uniform());
            let burst = Burst { begin: t, end: t + length as i64, counts: self.model.bursts.counts };
            self.burst = Some((burst, [cosine, sine].map(|d| d * burst.counts / length)));
            self.begun = Some(burst);
        }
        let Some((burst, rate)) = self.burst else { return [0.0; 2] };
        if self.last_t >= burst.end {
            self.burst = None;
            return [0.0; 2];
        }
        let span = t.min(burst.end) - self.last_t.max(burst.begin);
        rate.map(|counts_per_ns| counts_per_ns * span.max(0) as f64)
    }

    pub(super) fn take_burst(&mut self) -> Option<Burst> {
        self.begun.take()
    }
}

/// Nanoseconds to the next event of a Poisson process.
fn wait(rate_hz: f64, noise: &mut Noise) -> i64 {
    if rate_hz > 0.0 { (noise.exponential(1e9 / rate_hz)) as i64 } else { i64::MAX / 2 }
}
