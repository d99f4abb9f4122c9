//! How many bursts: Garwood's limits ask that they come one by one, so what comes in clusters is counted by clusters.
//!
//! Dispersion: numbers in [`PARTS`] equal parts of the time, Σ (nᵢ − n̄)²/n̄ against χ² with one degree less (Fisher
//! 1925). At a chance under [`LEVEL`] they are clustered, and those within [`NEAR`] of each other are one.

use super::rest::Rest;
use statrs::distribution::{ChiSquared, ContinuousCDF};

const PARTS: usize = 8;
const LEVEL: f64 = 0.01;
const NEAR: i64 = 1_000_000_000;
/// Fewer than this have no dispersion.
const LEAST: usize = 5;

/// Bursts of some phases.
pub(super) struct Counted {
    /// All of them.
    pub(super) bursts: usize,
    /// What is judged: bursts, or clusters of them.
    pub(super) events: usize,
    /// True if they come in clusters.
    pub(super) clustered: bool,
}

/// Counts them.
pub(super) fn count(rests: &[&Rest]) -> Counted {
    let bursts = rests.iter().map(|r| r.bursts().count()).sum();
    let (mut chi, mut df, mut clusters) = (0.0, 0.0, 0);
    for rest in rests {
        let times: Vec<i64> = rest.bursts().map(|g| g.begin).collect();
        if times.is_empty() {
            continue;
        }
        clusters += 1 + times.windows(2).filter(|w| w[1] - w[0] > NEAR).count();
        let mut parts = [0.0; PARTS];
        for t in &times {
            let share = (t - rest.from) as f64 / (rest.end - rest.from).max(1) as f64;
            parts[((share * PARTS as f64) as usize).min(PARTS - 1)] += 1.0;
        }
        let mean = times.len() as f64 / PARTS as f64;
        chi += parts.iter().map(|n: &f64| (n - mean).powi(2)).sum::<f64>() / mean;
        df += PARTS as f64 - 1.0;
    }
    let chance = ChiSquared::new(df).map_or(1.0, |d| d.sf(chi));
    let clustered = bursts >= LEAST && chance < LEVEL;
    Counted { bursts, events: if clustered { clusters } else { bursts }, clustered }
}
