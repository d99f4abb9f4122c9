//! The optical sensor: from the body's pose to whole counts, frame by frame.
//!
//! Each frame takes the displacement since the one before, turns it into the sensor's own axes, and hands on whole
//! counts; the fraction is carried, so no motion is lost by rounding. The frame rate is the sensor's own and no
//! multiple of the report rate, as in the parts' data sheets (1,500 to 12,000 frames a second). The parts of a frame,
//! in order: tracking, gain, smoothing, noise, straightening, drift, quantisation; each a file with its own
//! parameters, each doing nothing by default.

mod drift;
mod gain;
mod ripple;
mod smoothing;
mod straightening;
mod tracking;

pub use drift::{Bursts, Drift, Flicker, Tremble};
pub use gain::Gain;
pub use ripple::Ripple;
pub use straightening::Straightening;
pub use tracking::{Loss, Tracking};

pub(crate) use drift::Burst;
pub(crate) use tracking::Episode;

use crate::hand::Pose;
use crate::noise::{Noise, Stream};
use drift::DriftState;
use serde::{Deserialize, Serialize};
use smoothing::SmoothingState;
use straightening::StraighteningState;
use tracking::TrackingState;

/// A sensor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Sensor {
    /// Time from frame to frame in nanoseconds.
    pub frame_ns: i64,
    /// Standard deviation of a frame's displacement as a share of it, on each axis: noise that grows with speed.
    pub noise: f64,
    /// Resolution along y over that along x.
    pub y_over_x: f64,
    /// Angle between the axes less a right angle, in radians.
    pub skew_rad: f64,
    /// Gain out over gain back, less one (woven cloth, a tilted sensor).
    pub out_over_back: f64,
    /// Gain against speed.
    pub gain: Gain,
    /// Ripple of the gain in time.
    pub ripple: Ripple,
    /// Where tracking ends, and what is reported then.
    pub tracking: Tracking,
    /// Frames over which motion is averaged; 1 for none.
    pub smoothing_frames: u32,
    /// Bending of near-axis motion onto the axis.
    pub straightening: Straightening,
    /// Motion reported that comes from the sensor and the surface themselves.
    pub drift: Drift,
}

impl Default for Sensor {
    /// 6,480 frames a second, 1 % of noise on each frame's displacement (which averages out along a swipe).
    fn default() -> Self {
        Sensor {
            frame_ns: 154_321,
            noise: 0.01,
            y_over_x: 1.0,
            skew_rad: 0.0,
            out_over_back: 0.0,
            gain: Gain::Constant,
            ripple: Ripple::default(),
            tracking: Tracking::default(),
            smoothing_frames: 1,
            straightening: Straightening::default(),
            drift: Drift::default(),
        }
    }
}

/// How a sensor lies on its carriage.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Mounting {
    /// Angle of the sensor's x axis against the line between the stops, in radians.
    pub(crate) angle_rad: f64,
    /// Place of the sensor on the carriage, along and across, in metres.
    pub(crate) lever_m: [f64; 2],
}

/// A sensor at work.
pub(crate) struct SensorState {
    model: Sensor,
    mounting: Mounting,
    /// Sine and cosine of the angle without yaw.
    turn: (f64, f64),
    skew: (f64, f64),
    noise: Noise,
    next_frame: i64,
    frame_s: f64,
    last: Pose,
    carry: [f64; 2],
    tracking: TrackingState,
    smoothing: SmoothingState,
    straightening: StraighteningState,
    drift: DriftState,
    path: (f64, f64),
    idle: bool,
}

impl SensorState {
    pub(crate) fn new(model: &Sensor, mounting: Mounting, seed: u64, device: usize) -> SensorState {
        let mut noise = Noise::new(seed, Stream::Sensor, device);
        SensorState {
            turn: libm::sincos(mounting.angle_rad),
            skew: libm::sincos(model.skew_rad),
            next_frame: (noise.uniform() * model.frame_ns as f64) as i64,
            frame_s: model.frame_ns as f64 * 1e-9,
            last: Pose::default(),
            carry: [noise.between(-0.5, 0.5), noise.between(-0.5, 0.5)],
            tracking: TrackingState::new(&model.tracking, &mut noise),
            smoothing: SmoothingState::new(model.smoothing_frames),
            straightening: StraighteningState::new(&model.straightening, model.frame_ns),
            drift: DriftState::new(&model.drift, Noise::new(seed, Stream::Drift, device)),
            path: (0.0, 0.0),
            idle: false,
            model: model.clone(),
            mounting,
            noise,
        }
    }

    /// Lays the carriage down at another angle.
    pub(crate) fn turn_to(&mut self, angle_rad: f64) {
        if angle_rad != self.mounting.angle_rad {
            self.mounting.angle_rad = angle_rad;
            self.turn = libm::sincos(angle_rad);
        }
    }

    /// When the next frame is taken.
    pub(crate) fn next_frame(&self) -> i64 {
        self.next_frame
    }

    /// True if frames give nothing as long as the body rests.
    pub(crate) fn idle(&self) -> bool {
        self.idle
    }

    /// Leaves out the frames before `t`, which the caller knows to give nothing.
    pub(crate) fn skip_to(&mut self, t: i64) {
        let frames = (t - self.next_frame + self.model.frame_ns - 1) / self.model.frame_ns;
        self.next_frame += frames.max(0) * self.model.frame_ns;
    }

    /// Takes one frame. `swiping` is true while the hand moves the body from place to place.
    pub(crate) fn frame(&mut self, pose: Pose, swiping: bool, counts_per_m: [f64; 2]) -> [i64; 2] {
        let t = self.next_frame;
        self.next_frame += self.model.frame_ns;
        let (moved, forth) = self.displacement(pose);
        let length = (moved[0] * moved[0] + moved[1] * moved[1]).sqrt();
        let speed = length / self.frame_s;
        let tracked = self.tracking.frame(t, moved, speed, swiping, &mut self.noise);
        let seen = match tracked {
            _ if pose.lifted => [0.0; 2],
            Some(guessed) => guessed,
            None => {
                let gain = self.model.gain.at(speed)
                    * self.model.ripple.at(t)
                    * (1.0 + 0.5 * self.model.out_over_back * forth);
                if swiping {
                    self.path.0 += length;
                    self.path.1 += gain * length;
                }
                moved.map(|d| gain * d)
            }
        };
        let smoothed = self.smoothing.frame(seen);
        let scale = [counts_per_m[0], counts_per_m[1] * self.model.y_over_x];
        let mut scaled = [smoothed[0] * scale[0], smoothed[1] * scale[1]];
        if self.model.noise > 0.0 && smoothed != [0.0; 2] {
            let size = self.model.noise * (scaled[0] * scaled[0] + scaled[1] * scaled[1]).sqrt();
            scaled = scaled.map(|d| d + size * self.noise.bell());
        }
        // Firmware straightens what was measured, noise and all.
        scaled = self.straightening.frame(scaled, scale);
        let drifted = self.drift.frame(t, counts_per_m);
        self.idle = length == 0.0 && self.tracking.settled() && self.smoothing.empty() && self.drift.quiet();
        self.quantise([scaled[0] + drifted[0], scaled[1] + drifted[1]])
    }

    /// Displacement since the last frame in the sensor's axes, in metres, and the cosine of its direction against
    /// "out".
    fn displacement(&mut self, pose: Pose) -> ([f64; 2], f64) {
        let last = std::mem::replace(&mut self.last, pose);
        let (mut dx, mut dy) = (pose.along - last.along, pose.across - last.across);
        if dx == 0.0 && dy == 0.0 && pose.yaw == last.yaw {
            return ([0.0; 2], 0.0);
        }
        let mut turn = self.turn;
        if pose.yaw != 0.0 || last.yaw != 0.0 {
            turn = libm::sincos(self.mounting.angle_rad + 0.5 * (pose.yaw + last.yaw));
            if self.mounting.lever_m != [0.0; 2] {
                let [x, y] = self.mounting.lever_m;
                let ((s1, c1), (s0, c0)) = (libm::sincos(pose.yaw), libm::sincos(last.yaw));
                dx += (c1 - c0) * x - (s1 - s0) * y;
                dy += (s1 - s0) * x + (c1 - c0) * y;
            }
        }
        let (sine, cosine) = turn;
        let x = dx * cosine + dy * sine;
        let y = dy * cosine - dx * sine;
        let length = (dx * dx + dy * dy).sqrt();
        let forth = if length > 0.0 { dx / length } else { 0.0 };
        // The y axis leans by the skew towards x.
        ([x, y * self.skew.1 + x * self.skew.0], forth)
    }

    fn quantise(&mut self, moved: [f64; 2]) -> [i64; 2] {
        let mut counts = [0; 2];
        for ((count, carry), d) in counts.iter_mut().zip(&mut self.carry).zip(moved) {
            let total = *carry + d;
            // To the nearest; a cast cuts towards zero, and is much faster than rounding on older processors.
            *count = (total + 0.5_f64.copysign(total)) as i64;
            *carry = total - *count as f64;
        }
        counts
    }

    /// Loses track for so long from `t` on.
    pub(crate) fn lose(&mut self, t: i64, loss: Loss, length_ns: i64) {
        self.tracking.force(t, loss, length_ns);
        self.idle = false;
    }

    /// The last spell of lost track, if it is over and was not taken before.
    pub(crate) fn take_episode(&mut self) -> Option<Episode> {
        self.tracking.take_over()
    }

    /// The spell of lost track that is going on, at the session's end.
    pub(crate) fn take_unfinished(&mut self) -> Option<Episode> {
        self.tracking.take_unfinished()
    }

    /// Reported over true path while swiping and tracking, since this was last asked.
    pub(crate) fn take_gain(&mut self) -> f64 {
        let (path, told) = std::mem::take(&mut self.path);
        if path > 0.0 { told / path } else { 1.0 }
    }

    /// Motion taken away by straightening since this was last asked, in metres.
    pub(crate) fn take_straightened(&mut self) -> f64 {
        self.straightening.take_removed()
    }

    /// The surface burst that has just begun, if any.
    pub(crate) fn take_burst(&mut self) -> Option<Burst> {
        self.drift.take_burst()
    }
}
