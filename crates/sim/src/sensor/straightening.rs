//! Straightening: motion near an axis is bent onto it.
//!
//! The direction is that of motion averaged over some milliseconds; where it lies within an angle of an axis, the
//! motion across that axis is thrown away.

use serde::{Deserialize, Serialize};

/// Straightening.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Straightening {
    /// Angle to an axis below which motion is bent onto it, in radians; 0 for none.
    pub within_rad: f64,
    /// Time constant of the average direction, in seconds.
    pub over_s: f64,
}

impl Default for Straightening {
    fn default() -> Self {
        Straightening { within_rad: 0.0, over_s: 0.004 }
    }
}

/// Straightening at work.
pub(super) struct StraighteningState {
    tangent: f64,
    keep: f64,
    mean: [f64; 2],
    /// What was taken away, added up with its sign, and how far that reached either way.
    removed_m: f64,
    reach_m: (f64, f64),
}

impl StraighteningState {
    pub(super) fn new(model: &Straightening, frame_ns: i64) -> StraighteningState {
        let keep = libm::exp(-(frame_ns as f64) * 1e-9 / model.over_s.max(1e-6));
        StraighteningState {
            tangent: libm::tan(model.within_rad),
            keep,
            mean: [0.0; 2],
            removed_m: 0.0,
            reach_m: (0.0, 0.0),
        }
    }

    /// Bends a frame's counts; `scale` is counts per metre.
    pub(super) fn frame(&mut self, moved: [f64; 2], scale: [f64; 2]) -> [f64; 2] {
        if self.tangent == 0.0 {
            return moved;
        }
        for (mean, d) in self.mean.iter_mut().zip(moved) {
            *mean = self.keep * *mean + (1.0 - self.keep) * d;
        }
        let [x, y] = self.mean.map(f64::abs);
        if y < self.tangent * x {
            self.remove(moved[1] / scale[1]);
            [moved[0], 0.0]
        } else if x < self.tangent * y {
            self.remove(moved[0] / scale[0]);
            [0.0, moved[1]]
        } else {
            moved
        }
    }

    fn remove(&mut self, metres: f64) {
        self.removed_m += metres;
        self.reach_m = (self.reach_m.0.min(self.removed_m), self.reach_m.1.max(self.removed_m));
    }

    /// Motion taken away since this was last asked, in metres: to one side and back counts once.
    pub(super) fn take_removed(&mut self) -> f64 {
        self.removed_m = 0.0;
        let (low, high) = std::mem::take(&mut self.reach_m);
        high - low
    }
}
