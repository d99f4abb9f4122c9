//! Power saving at rest: after a time without motion the device dozes, looks for motion only now and then, and takes a
//! while to wake up.

use crate::fault::Missing;
use crate::noise::Noise;
use serde::{Deserialize, Serialize};

/// Power saving.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Power {
    /// Rest after which the device dozes, in seconds; never if absent.
    pub dozes_after_s: Option<f64>,
    /// Time between its looks while dozing, in seconds.
    pub look_s: f64,
    /// Time from the look that finds motion to the first report, in seconds.
    pub wake_s: f64,
    /// What becomes of motion made meanwhile.
    pub counts: Missing,
}

impl Default for Power {
    fn default() -> Self {
        Power { dozes_after_s: None, look_s: 0.02, wake_s: 0.03, counts: Missing::Lost }
    }
}

/// A wake-up.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wake {
    /// First motion.
    pub(crate) begin: i64,
    /// Motion is taken from here on.
    pub(crate) end: i64,
    pub(crate) counts: Missing,
    /// Counts held back or thrown away.
    pub(crate) missing: [i64; 2],
}

#[derive(Debug, Clone, Copy)]
enum State {
    Awake { last_motion: i64 },
    Dozing,
    Waking { begin: i64, end: i64 },
}

/// Power saving at work.
pub(super) struct PowerState {
    model: Power,
    state: State,
    noise: Noise,
}

impl PowerState {
    pub(super) fn new(model: &Power, noise: Noise) -> PowerState {
        PowerState { model: *model, state: State::Awake { last_motion: 0 }, noise }
    }

    /// Looks at what was gathered up to a frame at `t`. At the end of a wake-up, counts that are lost are taken away.
    pub(super) fn frame(&mut self, t: i64, raw: &mut [i64; 2]) -> Option<Wake> {
        let after = self.model.dozes_after_s?;
        let motion = *raw != [0, 0];
        match self.state {
            State::Awake { .. } if motion => self.state = State::Awake { last_motion: t },
            State::Awake { last_motion } if t - last_motion > (after * 1e9) as i64 => {
                self.state = State::Dozing
            }
            State::Dozing if motion => {
                let delay = self.model.look_s * self.noise.uniform() + self.model.wake_s;
                self.state = State::Waking { begin: t, end: t + (delay * 1e9) as i64 };
            }
            State::Waking { begin, end } if t >= end => {
                self.state = State::Awake { last_motion: t };
                let missing = *raw;
                if self.model.counts == Missing::Lost {
                    *raw = [0, 0];
                }
                return Some(Wake { begin, end: t, counts: self.model.counts, missing });
            }
            _ => {}
        }
        None
    }

    /// True if reports are made.
    pub(super) fn awake(&self) -> bool {
        matches!(self.state, State::Awake { .. })
    }

    /// True if frames without motion change nothing.
    pub(super) fn idle(&self) -> bool {
        self.model.dozes_after_s.is_none() || matches!(self.state, State::Dozing)
    }
}
