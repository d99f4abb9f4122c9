//! Gain against speed: counts reported over those of the same motion made slowly.

use serde::{Deserialize, Serialize};

/// Gain as a function of the true speed `v` in metres per second. 1 at rest unless a curve says otherwise.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Gain {
    /// 1 at all speeds.
    #[default]
    Constant,
    /// `1 + slope · v`.
    Slope {
        /// Change for each metre per second.
        per_m_s: f64,
    },
    /// Another value above a speed.
    Step {
        /// The speed.
        above_m_s: f64,
        /// The value.
        gain: f64,
    },
    /// Straight lines between points `(speed, gain)` in rising order of speed; level outside them.
    Curve(Vec<(f64, f64)>),
}

impl Gain {
    /// Gain at a speed in metres per second.
    pub fn at(&self, speed: f64) -> f64 {
        match self {
            Gain::Constant => 1.0,
            Gain::Slope { per_m_s } => (1.0 + per_m_s * speed).max(0.0),
            Gain::Step { above_m_s, gain } => {
                if speed > *above_m_s {
                    *gain
                } else {
                    1.0
                }
            }
            Gain::Curve(points) => interpolated(points, speed),
        }
    }

    pub(crate) fn kind(&self) -> Option<&'static str> {
        match self {
            Gain::Constant => None,
            Gain::Slope { .. } => Some("slope"),
            Gain::Step { .. } => Some("step"),
            Gain::Curve(_) => Some("curve"),
        }
    }
}

fn interpolated(points: &[(f64, f64)], x: f64) -> f64 {
    let above = points.partition_point(|point| point.0 <= x);
    let before = above.checked_sub(1).and_then(|i| points.get(i));
    match (before, points.get(above)) {
        (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0),
        (Some(end), None) | (None, Some(end)) => end.1,
        (None, None) => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_form_has_its_values() {
        assert_eq!(Gain::Slope { per_m_s: -0.02 }.at(2.0), 0.96);
        let step = Gain::Step { above_m_s: 1.0, gain: 0.9 };
        assert_eq!((step.at(0.99), step.at(1.01)), (1.0, 0.9));
        let curve = Gain::Curve(vec![(0.5, 1.0), (1.5, 1.1), (2.5, 0.9)]);
        let values = [0.0, 1.0, 2.0, 9.0].map(|v| curve.at(v));
        for (value, known) in values.into_iter().zip([1.0, 1.05, 1.0, 0.9]) {
            assert!((value - known).abs() < 1e-12);
        }
    }
}
