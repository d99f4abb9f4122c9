//! The line that the body follows between the stops, and how it turns on the way.
//!
//! Straight, or about an elbow: a circle of radius `L` through both stops, `along = D/2 + L sin φ`,
//! `across = L (cos φ - cos φ0)`, `sin φ0 = D / 2L`, on which the body turns with the arm by as much as it is told.

use super::Pose;
use serde::{Deserialize, Serialize};

/// A path.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Path {
    /// Distance from elbow to device in metres; straight if absent.
    pub arm_m: Option<f64>,
    /// How far the device turns with the arm: 1 fully, 0 not at all.
    pub arm_turn: f64,
    /// Yaw from one stop to the other in radians, growing evenly along the way.
    pub yaw_rad: f64,
    /// Standard deviation of a yaw that each swipe has for itself, largest half-way, in radians.
    pub wobble_rad: f64,
}

impl Default for Path {
    /// Along a straight edge, with a wobble of 0.2 degrees.
    fn default() -> Self {
        Path { arm_m: None, arm_turn: 1.0, yaw_rad: 0.0, wobble_rad: 0.0035 }
    }
}

impl Path {
    /// The pose at a position between 0 and the travel.
    pub(super) fn pose(&self, position: f64, travel: f64) -> Pose {
        let middle = position / travel - 0.5;
        let yaw = self.yaw_rad * middle;
        let Some(arm) = self.arm_m else { return Pose { along: position, across: 0.0, yaw, lifted: false } };
        let outermost = libm::asin((0.5 * travel / arm).min(1.0));
        let angle = 2.0 * outermost * middle;
        let (sine, cosine) = libm::sincos(angle);
        Pose {
            along: 0.5 * travel + arm * sine,
            across: arm * (cosine - libm::cos(outermost)),
            yaw: yaw - self.arm_turn * angle,
            lifted: false,
        }
    }

    /// Length of the path over the travel: an arc is longer than its chord.
    pub(super) fn length(&self, travel: f64) -> f64 {
        self.arm_m.map_or(travel, |arm| 2.0 * arm * libm::asin((0.5 * travel / arm).min(1.0)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_arm_of_350_mm_makes_an_arc_that_touches_both_stops() {
        let path = Path { arm_m: Some(0.35), ..Path::default() };
        let (first, middle, last) = (path.pose(0.0, 0.3), path.pose(0.15, 0.3), path.pose(0.3, 0.3));
        assert!(first.along.abs() < 1e-12 && first.across.abs() < 1e-12);
        assert!((last.along - 0.3).abs() < 1e-12 && last.across.abs() < 1e-12);
        // Sagitta L - sqrt(L^2 - (D/2)^2), and twice the angle at the elbow.
        assert!((middle.across - (0.35 - (0.35f64 * 0.35 - 0.0225).sqrt())).abs() < 1e-12);
        assert!((first.yaw - last.yaw - 2.0 * (0.15f64 / 0.35).asin()).abs() < 1e-12);
        assert!((path.length(0.3) / 0.3 - 1.0335).abs() < 1e-4);
    }
}
