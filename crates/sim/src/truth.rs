//! What really happened, written beside a session as one JSON object.
//!
//! The whole bench stands in it, seed included, so a truth file is enough to make its session again. Beyond that it
//! holds what was drawn (the true travel, each swipe) and a label for each thing that is there to be found: events
//! with their place and size as the parts kept account of them, and lasting departures with the size that their
//! parameters give them.

use crate::Bench;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::io::Write;

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
    /// True for a still phase.
    pub still: bool,
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
    /// When it first touches the other stop, or comes to rest short of it.
    pub end_ns: i64,
    /// Distance from rest to rest along the line between the stops, in metres.
    pub travel_m: f64,
    /// Highest speed, in metres per second.
    pub peak_m_s: f64,
    /// Share of the duration at which it was reached.
    pub time_to_peak: f64,
    /// Speed on touching the stop, in metres per second.
    pub contact_m_s: f64,
    /// Reported over true path of the device under test where its sensor tracked, by the sensor's gain alone: 1 for
    /// one whose gain depends on neither speed nor direction.
    pub gain: f64,
}

/// Fault families, and two that are none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Family {
    /// Reports missing while the device moves.
    Dropout,
    /// The sensor stops seeing motion.
    TrackingLoss,
    /// Motion reported that the hand did not make.
    SpinOut,
    /// Motion reported after the stop.
    CarryOn,
    /// Counts with the device still.
    Drift,
    /// Gain depends on speed.
    GainChange,
    /// Counts that a report could not hold.
    ReportCeiling,
    /// A step is not what it says, or not the same along both axes or both ways.
    Resolution,
    /// The interval differs from the nominal, wanders or has structure.
    ReportInterval,
    /// First motion after rest late or short.
    WakeUp,
    /// Motion bent onto an axis.
    Straightening,
    /// Motion reported later than the reference's.
    Lag,
    /// Button strikes reported later than the reference's.
    StrikeLag,
    /// Not a fault: what the operator or the bench did.
    Operator,
    /// Not a fault: what the recording computer did.
    Host,
}

/// What brought a thing about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// The sensor.
    Sensor,
    /// The firmware.
    Firmware,
    /// The width of the report's field.
    ReportFormat,
    /// The link.
    Link,
    /// Power saving at rest.
    PowerSaving,
    /// The recording computer.
    Host,
    /// The surface.
    Surface,
    /// The operator.
    Operator,
    /// Another resolution step than the script says.
    StepChange,
}

/// One thing that is there to be found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Label {
    /// Family.
    pub family: Family,
    /// Kind within the family.
    pub kind: String,
    /// Cause.
    pub cause: Cause,
    /// Index of the device.
    pub device: usize,
    /// Step that the script says; absent for what holds at all steps.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub step: Option<u32>,
    /// Phase, from 1; absent for what lies outside phases or holds in all.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub phase: Option<u32>,
    /// Swipe within the phase, if it is in one or follows from one.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub swipe: Option<u32>,
    /// Begin, nanoseconds of session time.
    pub begin_ns: i64,
    /// End.
    pub end_ns: i64,
    /// Size in `unit`.
    pub size: f64,
    /// Unit of the size: `mm`, `ms`, `share` and the like.
    pub unit: String,
    /// Further quantities, each with its unit in the name.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub detail: BTreeMap<String, f64>,
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

impl Truth {
    /// Writes the truth file: one JSON object on one line.
    ///
    /// # Errors
    /// [`std::io::Error`] if the sink refuses.
    pub fn write_to(&self, mut sink: impl Write) -> std::io::Result<()> {
        serde_json::to_writer(&mut sink, self)?;
        sink.write_all(b"\n")
    }

    /// The labels of one family.
    pub fn of(&self, family: Family) -> impl Iterator<Item = &Label> {
        self.labels.iter().filter(move |label| label.family == family)
    }

    /// The labels of a swipe.
    pub fn in_swipe(&self, phase: u32, swipe: u32) -> impl Iterator<Item = &Label> {
        self.labels.iter().filter(move |label| (label.phase, label.swipe) == (Some(phase), Some(swipe)))
    }
}

impl Label {
    pub(crate) fn new(
        family: Family,
        kind: &str,
        cause: Cause,
        span: (i64, i64),
        size: (f64, &str),
    ) -> Label {
        Label {
            family,
            kind: kind.to_owned(),
            cause,
            device: 0,
            step: None,
            phase: None,
            swipe: None,
            begin_ns: span.0,
            end_ns: span.1,
            size: size.0,
            unit: size.1.to_owned(),
            detail: BTreeMap::new(),
        }
    }

    pub(crate) fn of_device(self, device: usize) -> Label {
        Label { device, ..self }
    }

    pub(crate) fn with(mut self, name: &str, value: f64) -> Label {
        self.detail.insert(name.to_owned(), value);
        self
    }
}
