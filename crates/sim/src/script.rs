//! What the operator is asked to do, phase by phase.
//!
//! A script is data: a list of phases at steps, with the speeds that the hand is to reach. It says nothing of how well
//! the hand obeys (see [`crate::hand`]).

use serde::{Deserialize, Serialize};
use slipgauge_trace::session::{Axis, Pace};

/// One task.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Doing {
    /// The device lies still, hands off, for so many seconds.
    Still {
        /// How long, in seconds.
        seconds: f64,
    },
    /// Swipes from stop to stop.
    Swipes {
        /// What the operator is told.
        pace: Pace,
        /// How many, each way counted.
        count: u32,
        /// Peak speed that the hand aims at, in metres per second.
        peak_m_s: f64,
    },
    /// Slow swipes that tell which step is active.
    Identify {
        /// How many.
        count: u32,
        /// Peak speed in metres per second.
        peak_m_s: f64,
    },
    /// Button strikes (button 1), at about two a second.
    Strikes {
        /// How many.
        count: u32,
    },
    /// Nothing is done: the host's own timing floor.
    Floor {
        /// How long, in seconds.
        seconds: f64,
    },
}

/// One phase: a task at a resolution step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ScriptPhase {
    /// Resolution step, from 1.
    pub step: u32,
    /// The task.
    pub doing: Doing,
    /// Body axis of the device that its swipes run along, if another than the bench's: the operator has turned the device.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub axis: Option<Axis>,
}

/// A whole session's tasks, in order.
///
/// ```
/// use slipgauge_sim::{Pace, Script};
/// let script = Script::default().still(1, 5.0).swipes(1, Pace::Slow, 10, 0.4).swipes(1, Pace::Fast, 20, 2.5);
/// assert_eq!(script.phases.len(), 3);
/// ```
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Script {
    /// The phases.
    pub phases: Vec<ScriptPhase>,
}

impl Script {
    /// A screening test at each of the steps: 10 s still, then 10 slow (0.4 m/s), 10 medium (1.2 m/s) and 20 fast
    /// swipes (2.5 m/s). Speeds are peaks: a comfortable reach, a brisk one, a flick.
    pub fn screen(steps: u32) -> Script {
        (1..=steps).fold(Script::default(), |script, step| {
            let script = script.still(step, 10.0).swipes(step, Pace::Slow, 10, 0.4);
            script.swipes(step, Pace::Medium, 10, 1.2).swipes(step, Pace::Fast, 20, 2.5)
        })
    }

    /// Adds a still phase.
    #[must_use]
    pub fn still(self, step: u32, seconds: f64) -> Script {
        self.then(step, Doing::Still { seconds })
    }

    /// Adds swipes that aim at a peak speed in metres per second.
    #[must_use]
    pub fn swipes(self, step: u32, pace: Pace, count: u32, peak_m_s: f64) -> Script {
        self.then(step, Doing::Swipes { pace, count, peak_m_s })
    }

    /// Adds button strikes.
    #[must_use]
    pub fn strikes(self, step: u32, count: u32) -> Script {
        self.then(step, Doing::Strikes { count })
    }

    /// Has the last task made along this body axis of the device.
    #[must_use]
    pub fn along(mut self, axis: Axis) -> Script {
        if let Some(phase) = self.phases.last_mut() {
            phase.axis = Some(axis);
        }
        self
    }

    /// Adds any task.
    #[must_use]
    pub fn then(mut self, step: u32, doing: Doing) -> Script {
        self.phases.push(ScriptPhase { step, doing, axis: None });
        self
    }
}
