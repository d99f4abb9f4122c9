//! Physiological tremor: 6 to 12 Hz (Lakie and others, J. Physiol. 2015; Arch. Neurol. 39:358, 1982, gives 7 Hz and
//! 0.01 g as the commonest, 51 µm of amplitude, for an unsupported hand; a hand on a desk makes less of it).
//!
//! Two sinusoids an axis with frequencies and phases drawn once a session. It swells and fades along a swipe, because
//! the stops hold the body.

use crate::noise::Noise;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// Tremor of the hand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Tremor {
    /// Amplitude on each axis in metres.
    pub amplitude_m: f64,
    /// Lowest frequency in hertz.
    pub low_hz: f64,
    /// Highest frequency.
    pub high_hz: f64,
}

impl Default for Tremor {
    fn default() -> Self {
        Tremor { amplitude_m: 15e-6, low_hz: 6.0, high_hz: 12.0 }
    }
}

/// Frequency in hertz and phase in turns.
type Wave = (f64, f64);

/// Tremor at work.
#[derive(Debug, Clone)]
pub(super) struct TremorState {
    amplitude_m: f64,
    waves: [[Wave; 2]; 2],
}

impl TremorState {
    pub(super) fn new(tremor: &Tremor, noise: &mut Noise) -> TremorState {
        let mut wave = || (noise.between(tremor.low_hz, tremor.high_hz), noise.uniform());
        let waves = [[wave(), wave()], [wave(), wave()]];
        TremorState { amplitude_m: tremor.amplitude_m, waves }
    }

    /// Displacement along and across, in metres.
    pub(super) fn offset(&self, t: i64) -> [f64; 2] {
        if self.amplitude_m == 0.0 {
            return [0.0; 2];
        }
        let seconds = t as f64 * 1e-9;
        let wave = |(hz, phase): Wave| sine_of_turns(hz * seconds + phase);
        self.waves.map(|[a, b]| 0.5 * self.amplitude_m * (wave(a) + wave(b)))
    }
}

/// Sine of an angle in whole turns, not negative, to 4 parts in a million: the power series to the ninth order about
/// the nearest half turn. Fast, because it is asked for several times a frame.
pub(crate) fn sine_of_turns(turns: f64) -> f64 {
    let from_whole = turns - (turns + 0.5) as i64 as f64;
    let quarter =
        if from_whole.abs() > 0.25 { 0.5_f64.copysign(from_whole) - from_whole } else { from_whole };
    let angle = TAU * quarter;
    let square = angle * angle;
    angle * (1.0 - square / 6.0 * (1.0 - square / 20.0 * (1.0 - square / 42.0 * (1.0 - square / 72.0))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_short_sine_agrees_with_the_long_one() {
        for i in 0..10_000 {
            let turns = f64::from(i) * 1.234e-3;
            assert!((sine_of_turns(turns) - (TAU * turns).sin()).abs() < 4e-6, "{turns}");
        }
    }
}
