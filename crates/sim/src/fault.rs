//! Faults at a chosen place, as against those that follow from a model's parameters.

use serde::{Deserialize, Serialize};

/// Where a fault strikes.
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

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// So many reports in a row do not arrive.
    Dropout {
        /// How many.
        reports: u32,
        /// What becomes of their counts.
        counts: Missing,
    },
}

/// A fault at a place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// Index of the device: 0 is the one under test.
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

    pub(crate) fn placed(&self) -> Placed {
        Placed { device: self.device, what: self.what }
    }
}

/// A fault whose time is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Placed {
    pub(crate) device: usize,
    pub(crate) what: What,
}
