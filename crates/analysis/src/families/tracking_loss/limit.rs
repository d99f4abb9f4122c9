//! Whether silences are a limit of the sensor: do they begin where the device moves as it otherwise never does?
//!
//! Link faults strike at any time of a swipe; a sensor that reaches its limit falls silent at one speed (or one
//! acceleration), and nothing beyond that is ever reported. So let L be the lower quartile of the onsets of the n lost
//! silences of a step, k the number at L or beyond, and q the share of the counted moving time at L or beyond. If the
//! silences were independent of the motion, k of n would be binomial with q; the chance of as many is
//!
//! ```text
//! P = Σ_{i ≥ k} C(n, i) qⁱ (1 − q)ⁿ⁻ⁱ
//! ```
//!
//! and below [`CHANCE`] they are taken for a limit. Speed and acceleration are tried, the less likely one holds. Assumes
//! that a fault of the link does not know the speed. Cost: O(slots).

use crate::silence::{MakeUp, Silence};
use crate::step::{Grid, StepView, SwipeView};
use statrs::distribution::{Binomial, DiscreteCDF};

/// Chance at which silences are no longer taken for accidents.
const CHANCE: f64 = 1e-4;
/// Fewer silences tell nothing of a limit.
const LEAST: usize = 3;
/// A limit scatters by some per cent from swipe to swipe.
const SCATTER: f64 = 0.05;
/// Time over which an onset's acceleration is taken, seconds: shorter than a tenth of a flick.
const SLOPE_S: f64 = 8e-3;

/// What a limit is one of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    /// Speed, mm/s.
    Speed,
    /// Acceleration, mm/s².
    Acceleration,
}

/// A limit that silences show.
#[derive(Clone, Copy, Debug)]
pub struct Limit {
    /// Of what.
    pub of: Of,
    /// Lower quartile of the onsets.
    pub at: f64,
    /// Chance that silences at random times show it.
    pub chance: f64,
}

impl Limit {
    /// True if a silence began at the limit.
    pub fn explains(&self, swipe: &SwipeView, silence: &Silence) -> bool {
        silence.kind == MakeUp::Lost && onset(&swipe.grid, silence, self.of) >= (1.0 - SCATTER) * self.at
    }
}

/// Value at which a silence began.
pub fn onset(grid: &Grid, silence: &Silence, of: Of) -> f64 {
    let at = grid.slots(silence).start.min(grid.expected_mm_s.len().saturating_sub(1));
    value(grid, at, of)
}

fn value(grid: &Grid, slot: usize, of: Of) -> f64 {
    let speed = |i: usize| grid.expected_mm_s.get(i).copied().unwrap_or(0.0);
    match of {
        Of::Speed => speed(slot),
        Of::Acceleration => {
            let back = ((SLOPE_S * 1e9 / grid.slot.max(1.0)).round() as usize).max(1);
            let from = slot.saturating_sub(back);
            let seconds = (slot - from).max(1) as f64 * grid.slot * 1e-9;
            // The hole's own curve says nothing: the slope before it.
            ((speed(slot) - speed(from)) / seconds).abs()
        }
    }
}

/// The limit that the lost silences of a step show, if any.
pub fn find(step: &StepView) -> Option<Limit> {
    let lost: Vec<(&SwipeView, &Silence)> = step
        .swipes()
        .flat_map(|(_, s)| s.silences.iter().map(move |silence| (s, silence)))
        .filter(|(_, silence)| !silence.host && !silence.to_the_end && silence.kind == MakeUp::Lost)
        .collect();
    if lost.len() < LEAST {
        return None;
    }
    let due = 3.0 / step.scale?.counts_per_mm / (step.slot() * 1e-9);
    let tried = [Of::Speed, Of::Acceleration].map(|of| {
        let mut onsets: Vec<f64> = lost.iter().map(|(s, silence)| onset(&s.grid, silence, of)).collect();
        onsets.sort_by(f64::total_cmp);
        let at = onsets.get(onsets.len() / 4).copied().unwrap_or(0.0);
        let share = share_beyond(step, of, at, due);
        let beyond = onsets.iter().filter(|v| **v >= at).count() as u64;
        let chance = Binomial::new(share, onsets.len() as u64).map_or(1.0, |b| b.sf(beyond.saturating_sub(1)));
        Limit { of, at, chance }
    });
    let [speed, acceleration] = tried;
    let least = if acceleration.chance < speed.chance { acceleration } else { speed };
    (least.chance < CHANCE).then_some(least)
}

/// Share of the time that was counted, at speeds at which a silence shows, that lies at a value or beyond.
fn share_beyond(step: &StepView, of: Of, at: f64, due: f64) -> f64 {
    let (mut beyond, mut all) = (0usize, 0usize);
    for (_, swipe) in step.swipes() {
        let grid = &swipe.grid;
        let silent: Vec<_> = swipe.silences.iter().map(|s| grid.slots(s)).collect();
        for slot in (0..grid.expected_mm_s.len()).filter(|i| !silent.iter().any(|s| s.contains(i))) {
            if grid.expected_mm_s[slot] >= due {
                all += 1;
                beyond += usize::from(value(grid, slot, of) >= at);
            }
        }
    }
    if all == 0 { 1.0 } else { beyond as f64 / all as f64 }
}
