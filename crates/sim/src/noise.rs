//! Seeded chance: one stream a part, so that changing one part's parameters leaves the draws of all others as they were.
//!
//! Generator: xoshiro256++ (Blackman & Vigna 2021, ACM Trans. Math. Softw. 47:36), whose stream `rand_xoshiro` promises
//! to keep. `sin`, `cos`, `ln` and `exp` come from the `libm` crate throughout the simulator, because a system's own
//! mathematics library may differ in the last bit and with it a session's bytes; `sqrt` and the four operations are
//! exact by IEEE 754 and are the processor's.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};
use std::f64::consts::TAU;

/// A stream of random numbers.
#[derive(Debug, Clone)]
pub(crate) struct Noise {
    generator: Xoshiro256PlusPlus,
    spare: Option<f64>,
}

/// Whose stream. The number is part of the seed: never change one.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Stream {
    Travel = 1,
    Hand = 2,
    Sensor = 3,
    Drift = 4,
    Power = 5,
    Link = 6,
    Radio = 7,
    Host = 8,
    Stalls = 9,
    Buttons = 10,
}

impl Noise {
    /// The stream of one part; `device` is its index in the session, 0 where a part belongs to no device.
    pub(crate) fn new(seed: u64, stream: Stream, device: usize) -> Noise {
        // Odd multipliers (the 64-bit golden ratio and a companion) spread neighbouring numbers over the seed space.
        let part = (stream as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let device = (device as u64).wrapping_mul(0xD1B5_4A32_D192_ED03);
        let generator = Xoshiro256PlusPlus::seed_from_u64(seed ^ part ^ device);
        Noise { generator, spare: None }
    }

    /// Uniform in `[0, 1)`, 53 bits.
    pub(crate) fn uniform(&mut self) -> f64 {
        (self.generator.next_u64() >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
    }

    /// Uniform in `[low, high)`.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// True with this probability.
    pub(crate) fn chance(&mut self, probability: f64) -> bool {
        probability > 0.0 && self.uniform() < probability
    }

    /// Standard normal: Box & Muller 1958, Ann. Math. Stat. 29:610.
    pub(crate) fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * libm::log(1.0 - self.uniform())).sqrt();
        let (sin, cos) = libm::sincos(TAU * self.uniform());
        self.spare = Some(radius * sin);
        radius * cos
    }

    /// Normal, cut off at three standard deviations, so that a rare draw makes no session that a hand could not.
    pub(crate) fn bounded_normal(&mut self) -> f64 {
        self.normal().clamp(-3.0, 3.0)
    }

    /// A bell curve of mean 0 and variance 1, within ±3.46: four uniform draws, added (Irwin-Hall), out of one number.
    /// For noise of each frame and each poll, where thousands add up and speed counts.
    pub(crate) fn bell(&mut self) -> f64 {
        let bits = self.generator.next_u64();
        let sum = (bits & 0xffff) + ((bits >> 16) & 0xffff) + ((bits >> 32) & 0xffff) + (bits >> 48);
        // Each draw has the variance (2^32 - 1)/12, so four have (2^32 - 1)/3.
        (sum as f64 - 131_070.0) * (1.0 / 37_837.227_2)
    }

    /// Exponential with this mean: the wait for the next event of a Poisson process.
    pub(crate) fn exponential(&mut self, mean: f64) -> f64 {
        -mean * libm::log(1.0 - self.uniform())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_have_the_moments_of_their_distributions() {
        let mut noise = Noise::new(7, Stream::Hand, 0);
        let n = 200_000;
        let moments = |draws: &mut dyn FnMut() -> f64| {
            let values: Vec<f64> = (0..n).map(|_| draws()).collect();
            let mean = values.iter().sum::<f64>() / n as f64;
            (mean, values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n as f64)
        };
        let (mean, variance) = moments(&mut || noise.uniform());
        assert!((mean - 0.5).abs() < 0.003 && (variance - 1.0 / 12.0).abs() < 0.001);
        let (mean, variance) = moments(&mut || noise.normal());
        assert!(mean.abs() < 0.01 && (variance - 1.0).abs() < 0.015);
        let (mean, variance) = moments(&mut || noise.bell());
        assert!(mean.abs() < 0.01 && (variance - 1.0).abs() < 0.01);
        let (mean, variance) = moments(&mut || noise.exponential(2.0));
        assert!((mean - 2.0).abs() < 0.03 && (variance - 4.0).abs() < 0.15);
    }

    #[test]
    fn streams_of_one_seed_differ_and_are_fixed_for_ever() {
        let first = |stream, device| Noise::new(1, stream, device).generator.next_u64();
        assert_ne!(first(Stream::Hand, 0), first(Stream::Sensor, 0));
        assert_ne!(first(Stream::Sensor, 0), first(Stream::Sensor, 1));
        // The value of this program's own first run: a change here changes every session ever simulated.
        assert_eq!(first(Stream::Hand, 0), 8_059_550_639_330_444_725);
    }
}
