//! Ripple of the gain in time: a lamp that flickers with the mains, an exposure that hunts. Not a fault by any
//! tolerance of ours, so it has no label: its truth is the parameter.

use serde::{Deserialize, Serialize};

/// Gain that swings as `1 + share · sin(2π hz t)`.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Ripple {
    /// Frequency in hertz.
    pub hz: f64,
    /// Amplitude as a share of the gain; 0 for none.
    pub share: f64,
}

impl Ripple {
    /// The factor at a time in nanoseconds.
    pub(crate) fn at(self, t: i64) -> f64 {
        if self.share == 0.0 {
            return 1.0;
        }
        1.0 + self.share * libm::sin(std::f64::consts::TAU * (self.hz * t as f64 * 1e-9).fract())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_of_a_period_in_the_gain_is_highest() {
        let ripple = Ripple { hz: 100.0, share: 0.05 };
        assert!((ripple.at(2_500_000) - 1.05).abs() < 1e-12 && (ripple.at(7_500_000) - 0.95).abs() < 1e-12);
        assert_eq!(Ripple::default().at(123), 1.0);
    }
}
