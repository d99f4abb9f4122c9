//! What the property tests draw from.

#![allow(dead_code, reason = "each test binary uses its part")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot go on should stop")]

pub mod descriptors;
pub mod sessions;

use proptest::prelude::*;
use proptest::test_runner::RngSeed;

/// Settings: so many cases from a fixed seed; or, for a long run, what `PROPTEST_CASES` says from a seed of the day.
pub fn cases(default: u32) -> ProptestConfig {
    let asked = std::env::var("PROPTEST_CASES").ok().and_then(|n| n.parse().ok());
    let settings = ProptestConfig { failure_persistence: None, ..ProptestConfig::default() };
    match asked {
        Some(cases) => ProptestConfig { cases, ..settings },
        None => ProptestConfig { cases: default, rng_seed: RngSeed::Fixed(20_261_125), ..settings },
    }
}
