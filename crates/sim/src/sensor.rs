//! The optical sensor: from the body's pose to whole counts, frame by frame.
//!
//! Each frame takes the displacement since the one before, turns it into the sensor's own axes, scales it by the true
//! resolution, and hands on whole counts; the fraction is carried, so no motion is lost by rounding. The frame rate is
//! the sensor's own and no multiple of the report rate, as in the parts' data sheets (1,500 to 12,000 frames a second).

use crate::hand::Pose;
use crate::noise::{Noise, Stream};
use serde::{Deserialize, Serialize};

/// A sensor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Sensor {
    /// Time from frame to frame in nanoseconds.
    pub frame_ns: i64,
    /// Standard deviation of a frame's displacement as a share of it, on each axis.
    pub noise: f64,
}

impl Default for Sensor {
    /// 6,480 frames a second, 1 % of noise on each frame's displacement (which averages out along a swipe).
    fn default() -> Self {
        Sensor { frame_ns: 154_321, noise: 0.01 }
    }
}

/// A sensor at work.
pub(crate) struct SensorState {
    model: Sensor,
    sine: f64,
    cosine: f64,
    noise: Noise,
    next_frame: i64,
    last: Pose,
    carry: [f64; 2],
}

impl SensorState {
    /// `mount_rad` turns the sensor's x axis against the line between the stops.
    pub(crate) fn new(model: &Sensor, mount_rad: f64, seed: u64, device: usize) -> SensorState {
        let mut noise = Noise::new(seed, Stream::Sensor, device);
        let (sine, cosine) = libm::sincos(mount_rad);
        SensorState {
            model: model.clone(),
            sine,
            cosine,
            next_frame: (noise.uniform() * model.frame_ns as f64) as i64,
            last: Pose::default(),
            carry: [noise.between(-0.5, 0.5), noise.between(-0.5, 0.5)],
            noise,
        }
    }

    /// When the next frame is taken.
    pub(crate) fn next_frame(&self) -> i64 {
        self.next_frame
    }

    /// Takes one frame.
    pub(crate) fn frame(&mut self, pose: Pose, counts_per_m: [f64; 2]) -> [i64; 2] {
        self.next_frame += self.model.frame_ns;
        let (dx, dy) = (pose.along - self.last.along, pose.across - self.last.across);
        self.last = pose;
        if dx == 0.0 && dy == 0.0 {
            return [0, 0];
        }
        let mut moved = [dx * self.cosine + dy * self.sine, dy * self.cosine - dx * self.sine];
        if self.model.noise > 0.0 {
            let size = self.model.noise * (dx * dx + dy * dy).sqrt();
            moved = moved.map(|d| d + size * self.noise.normal());
        }
        let mut counts = [0; 2];
        for ((count, carry), (d, scale)) in
            counts.iter_mut().zip(&mut self.carry).zip(moved.into_iter().zip(counts_per_m))
        {
            let total = *carry + d * scale;
            let whole = total.round();
            *carry = total - whole;
            *count = whole as i64;
        }
        counts
    }
}
