//! Seeded noise and sines for the tests of this module.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng as _, SeedableRng as _};
use std::f64::consts::TAU;

pub(crate) struct Chance(Xoshiro256PlusPlus);

impl Chance {
    pub(crate) fn new(seed: u64) -> Chance {
        Chance(Xoshiro256PlusPlus::seed_from_u64(seed))
    }
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }
    /// Box & Muller 1958.
    pub(crate) fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (TAU * self.uniform()).cos()
    }
    pub(crate) fn noise(&mut self, n: usize) -> Vec<f64> {
        (0..n).map(|_| self.normal()).collect()
    }
}

pub(crate) fn sine(n: usize, cycles: f64, amplitude: f64) -> Vec<f64> {
    (0..n).map(|i| amplitude * (TAU * cycles * i as f64 / n as f64 + 0.3).cos()).collect()
}
