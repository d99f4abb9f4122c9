//! What really happened, written beside a session as one JSON object.

use crate::Bench;
use serde::{Deserialize, Serialize};

/// Which way a swipe goes: out is from the first stop to the second.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// Away from the first stop.
    Out,
    /// Towards it.
    Back,
}

/// One phase.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhaseTruth {
    /// Number in file order, from 1.
    pub number: u32,
    /// Step that the script says.
    pub step: u32,
    /// Begin, nanoseconds of session time.
    pub begin_ns: i64,
    /// End.
    pub end_ns: i64,
}

/// One swipe as the body made it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SwipeTruth {
    /// Phase, from 1.
    pub phase: u32,
    /// Swipe within the phase, from 1.
    pub swipe: u32,
    /// Step that the script says.
    pub step: u32,
    /// Direction.
    pub direction: Direction,
    /// When the body leaves the stop, nanoseconds of session time.
    pub begin_ns: i64,
    /// When it comes to rest, or first touches the stop.
    pub end_ns: i64,
    /// Distance from rest to rest along the line between the stops, in metres.
    pub travel_m: f64,
    /// Highest speed, in metres per second.
    pub peak_m_s: f64,
}

/// One thing that is there to be found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Label {
    /// Fault family.
    pub family: String,
    /// Kind within the family.
    pub kind: String,
    /// What brought it about: `sensor`, `firmware`, `report-format`, `link`, `power-saving`, `host`, `surface`,
    /// `operator`, `step-change`.
    pub cause: String,
    /// Index of the device.
    pub device: usize,
    /// Step that the script says.
    pub step: u32,
    /// Phase, from 1.
    pub phase: u32,
    /// Swipe within the phase, if it is in one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub swipe: Option<u32>,
    /// Begin, nanoseconds of session time.
    pub begin_ns: i64,
    /// End.
    pub end_ns: i64,
    /// Size in `unit`.
    pub size: f64,
    /// Unit of the size.
    pub unit: String,
}

/// The true resolution of one step of one device.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepTruth {
    /// Index of the device.
    pub device: usize,
    /// Step, from 1.
    pub step: u32,
    /// What the maker says, counts per inch.
    pub nominal_counts_per_inch: f64,
    /// The limit of slow motion, along the sensor's x and y.
    pub counts_per_inch: [f64; 2],
}

/// What really happened in a session.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// The bench as it was set up, seed included: every parameter of every part.
    pub bench: Bench,
    /// True distance between the stops for the body, in metres.
    pub travel_m: f64,
    /// True resolutions.
    pub steps: Vec<StepTruth>,
    /// Phases in order.
    pub phases: Vec<PhaseTruth>,
    /// Swipes in order.
    pub swipes: Vec<SwipeTruth>,
    /// What is there to be found, in order of begin.
    pub labels: Vec<Label>,
}
