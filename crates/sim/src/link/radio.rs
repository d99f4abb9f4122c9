//! Loss on the way: in bursts, and at regular times.
//!
//! Bursts follow Gilbert (Bell Syst. Tech. J. 39:1253, 1960) and Elliott (42:1977, 1963): a chain with a good and a bad
//! state, each with its own chance of losing a report. Bad spells last `1/leaves_bad` slots on the average, and the
//! share of time spent in them is `enters_bad / (enters_bad + leaves_bad)`.

use super::Fate;
use crate::fault::Missing;
use crate::noise::Noise;
use serde::{Deserialize, Serialize};

/// Loss in bursts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Radio {
    /// Chance at each report slot that a good spell ends.
    pub enters_bad: f64,
    /// Chance at each slot that a bad spell ends.
    pub leaves_bad: f64,
    /// Chance of loss in a good spell.
    pub loss_in_good: f64,
    /// Chance of loss in a bad spell.
    pub loss_in_bad: f64,
    /// What becomes of the counts.
    pub counts: Missing,
}

impl Default for Radio {
    /// A bad spell of ten slots every ten thousand, in which nothing comes through; counts come later.
    fn default() -> Self {
        Radio {
            enters_bad: 1e-4,
            leaves_bad: 0.1,
            loss_in_good: 0.0,
            loss_in_bad: 1.0,
            counts: Missing::Kept,
        }
    }
}

/// Loss at regular times.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Interference {
    /// Time from begin to begin in seconds.
    pub period_s: f64,
    /// How long nothing comes through, in seconds.
    pub length_s: f64,
    /// What becomes of the counts.
    pub counts: Missing,
}

impl Interference {
    /// What becomes of a report's counts at `t`, if it does not come through.
    pub(super) fn hits(&self, t: i64) -> Option<Missing> {
        let period = (self.period_s * 1e9) as i64;
        let within = t.rem_euclid(period.max(1));
        (within < (self.length_s * 1e9) as i64).then_some(self.counts)
    }
}

/// The chain at work.
pub(super) struct RadioState {
    model: Radio,
    noise: Noise,
    bad: bool,
}

impl RadioState {
    pub(super) fn new(model: Radio, mut noise: Noise) -> RadioState {
        let share = model.enters_bad / (model.enters_bad + model.leaves_bad).max(f64::MIN_POSITIVE);
        RadioState { bad: noise.chance(share), model, noise }
    }

    /// One report slot goes by.
    pub(super) fn slot(&mut self) {
        let change = if self.bad { self.model.leaves_bad } else { self.model.enters_bad };
        self.bad ^= self.noise.chance(change);
    }

    pub(super) fn carry(&mut self) -> Fate {
        let loss = if self.bad { self.model.loss_in_bad } else { self.model.loss_in_good };
        if self.noise.chance(loss) { Fate::Misses(self.model.counts) } else { Fate::Arrives }
    }
}
