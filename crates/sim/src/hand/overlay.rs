//! What is laid over the course for a while: a knock, settling, a lift.

use super::Pose;
use super::profile::smooth;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// What pad and cable do once the hand has let go: the body creeps one way, less and less.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settling {
    /// How far in the end, in metres along the swipe; a third of it across.
    pub distance_m: f64,
    /// Time constant in seconds.
    pub time_s: f64,
}

impl Default for Settling {
    fn default() -> Self {
        Settling { distance_m: 50e-6, time_s: 1.0 }
    }
}

/// Ringing of a knocked desk: frequency in hertz and time constant of its decay in seconds (a desk top on legs; own
/// estimate).
const KNOCK_HZ: f64 = 28.0;
const KNOCK_DECAY_S: f64 = 0.04;
/// How long a knock is followed: ten time constants.
pub(super) const KNOCK_NS: i64 = 400_000_000;
/// How fast the hand takes the body back to the stop after a still phase.
pub(super) const RETURN_NS: i64 = 300_000_000;

#[derive(Debug, Clone, Copy)]
pub(super) enum Cover {
    Knock {
        amplitude_m: f64,
    },
    /// Settles until the time given, then is taken back.
    Settle {
        settling: Settling,
        until: i64,
    },
    Lift,
}

/// Something laid over the course between two times.
#[derive(Debug, Clone, Copy)]
pub(super) struct Overlay {
    pub(super) begin: i64,
    pub(super) end: i64,
    pub(super) cover: Cover,
}

impl Overlay {
    /// Changes the pose at `t`.
    pub(super) fn lay_over(&self, pose: &mut Pose, t: i64) {
        if t < self.begin || t >= self.end {
            return;
        }
        let after = |begin: i64| (t - begin) as f64 * 1e-9;
        match self.cover {
            Cover::Lift => pose.lifted = true,
            Cover::Knock { amplitude_m } => {
                let s = after(self.begin);
                let swing = amplitude_m * libm::exp(-s / KNOCK_DECAY_S) * libm::sin(TAU * KNOCK_HZ * s);
                pose.along += swing;
                pose.across += 0.6 * swing;
            }
            Cover::Settle { settling, until } => {
                let settled = |s: f64| settling.distance_m * (1.0 - libm::exp(-s / settling.time_s));
                let moved = if t < until {
                    settled(after(self.begin))
                } else {
                    let back = (t - until) as f64 / RETURN_NS as f64;
                    settled((until - self.begin) as f64 * 1e-9) * (1.0 - smooth(back.min(1.0)))
                };
                pose.along += moved;
                pose.across += moved / 3.0;
            }
        }
    }
}
