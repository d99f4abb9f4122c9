//! Faults and mishaps at a chosen place, as against those that follow from a model's parameters.

use crate::sensor::Loss;
use serde::{Deserialize, Serialize};

/// Where it strikes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// In a swipe, at a share of its travel.
    Swipe {
        /// Phase, from 1 in file order.
        phase: u32,
        /// Swipe within the phase, from 1.
        swipe: u32,
        /// Share of the travel, 0 to 1.
        at: f64,
    },
    /// In a phase, so many seconds after its begin.
    Phase {
        /// Phase, from 1 in file order.
        phase: u32,
        /// Seconds after its begin.
        after_s: f64,
    },
}

/// What happens to the counts of reports that do not arrive.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Missing {
    /// They come with the next report: *late*.
    #[default]
    Kept,
    /// They are gone: *lost*.
    Lost,
}

impl Missing {
    pub(crate) fn kind(self) -> &'static str {
        match self {
            Missing::Kept => "late",
            Missing::Lost => "lost",
        }
    }
}

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// Link: so many reports in a row do not arrive.
    Dropout {
        /// How many.
        reports: u32,
        /// What becomes of their counts.
        counts: Missing,
    },
    /// Link: the device goes away and comes back; the file says so.
    Disconnect {
        /// For how many seconds.
        seconds: f64,
    },
    /// Sensor: tracking is lost for so long, whatever the speed. Placed near the end of a swipe with
    /// [`Loss::Repeat`], it carries on past the stop.
    Lose {
        /// What the sensor reports meanwhile.
        loss: Loss,
        /// For how many seconds.
        seconds: f64,
    },
    /// Host: the recorder is held up.
    Stall {
        /// For how many seconds.
        seconds: f64,
    },
    /// Operator, in a swipe: it ends short of the stop, and the next one starts from there.
    StopShort {
        /// By how many metres.
        by_m: f64,
    },
    /// Operator, in a swipe: it rests on the way and then goes on to the stop.
    StopHalfway {
        /// For how many seconds.
        seconds: f64,
    },
    /// Operator: the device is lifted off the surface; the hand goes on.
    Lift {
        /// For how many seconds.
        seconds: f64,
    },
    /// Operator: the desk is knocked and rings down.
    Knock {
        /// First amplitude in metres.
        amplitude_m: f64,
    },
    /// Operator or firmware: from here to the end of the phase the device is at another resolution step.
    StepChange {
        /// Step, from 1.
        to: u32,
    },
}

/// A fault at a place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// Index of the device: 0 is the one under test. What the operator or the host does concerns all.
    #[serde(default)]
    pub device: usize,
    /// Where.
    pub place: Place,
    /// What.
    pub what: What,
}

impl Fault {
    /// A fault of the device under test in swipe `swipe` of phase `phase`, at share `at` of its travel.
    pub fn in_swipe(phase: u32, swipe: u32, at: f64, what: What) -> Fault {
        Fault { device: 0, place: Place::Swipe { phase, swipe, at }, what }
    }

    /// A fault of the device under test in phase `phase`, `after_s` seconds after its begin.
    pub fn in_phase(phase: u32, after_s: f64, what: What) -> Fault {
        Fault { device: 0, place: Place::Phase { phase, after_s }, what }
    }

    /// True if it concerns the device with this index.
    pub(crate) fn concerns(&self, device: usize) -> bool {
        let of_one = matches!(
            self.what,
            What::Dropout { .. } | What::Disconnect { .. } | What::Lose { .. } | What::StepChange { .. }
        );
        !of_one || self.device == device
    }
}
