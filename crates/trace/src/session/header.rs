//! Line 1 of a session file.

use crate::units::{CountsPerMetre, Metres, Nanos};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// The header: what was plugged in, on which clock, and what was asked. Keys that are not known are left out, and keys
/// that this version does not know are kept in the `other` maps.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(expecting = "the header of a session: an object")]
pub struct Header {
    /// Format version; [`super::VERSION`].
    pub slipgauge: u64,
    /// The program that wrote the file, with its version.
    #[serde(default)]
    pub tool: String,
    /// Wall-clock time of the start, RFC 3339 in UTC. The only wall-clock value in the file.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub started: Option<String>,
    /// The clock of all `t`.
    #[serde(default)]
    pub clock: Clock,
    /// The device under test first; a second one is the reference.
    pub devices: Vec<Device>,
    /// What was to be done; absent in a plain recording.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub plan: Option<Plan>,
    /// The pad or desk, in the operator's words.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub surface: Option<String>,
    /// What is known of the computer: `os`, priority obtained, and so on.
    #[serde(skip_serializing_if = "Map::is_empty", default)]
    pub host: Map<String, Value>,
    /// Keys of a later version.
    #[serde(flatten)]
    pub other: Map<String, Value>,
}

/// Which clock stamped the lines.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ClockId {
    /// The host's monotonic clock.
    #[default]
    Monotonic,
    /// The simulator's own time.
    Simulated,
    /// The clock of another program's recording, unknown to us.
    #[serde(other)]
    Foreign,
}

/// The clock of all `t` in a file.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(expecting = "a clock: an object")]
pub struct Clock {
    /// Which clock.
    pub id: ClockId,
    /// Its resolution in nanoseconds, measured or as the system states it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub resolution_ns: Option<Nanos>,
}

/// A device's part in the session.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// The device that is judged.
    #[default]
    Test,
    /// A device known to be good, on the same carriage.
    Reference,
    /// A role of a later version: recorded, not used.
    #[serde(other)]
    Unknown,
}

/// One device. No serial number is recorded unless it was asked for.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(expecting = "a device: an object")]
pub struct Device {
    /// Its part in the session.
    #[serde(default)]
    pub role: Role,
    /// What its owner calls it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub label: Option<String>,
    /// Which specimen of several.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub unit: Option<String>,
    /// What it calls itself. Outside text: to be escaped wherever it is shown.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub name: Option<String>,
    /// Vendor id.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub vendor: Option<u16>,
    /// Product id.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub product: Option<u16>,
    /// Release number (`bcdDevice`).
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub release: Option<u16>,
    /// `cable`, `radio`, `bluetooth` or absent.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub link: Option<String>,
    /// USB signalling speed in Mbit/s.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub speed_mbit: Option<f64>,
    /// Hubs between the device and the root.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub hub_depth: Option<u32>,
    /// Its nodes, in the order that events number them (`n`).
    #[serde(default)]
    pub nodes: Vec<Node>,
    /// Keys of a later version, `firmware` and the like.
    #[serde(flatten)]
    pub other: Map<String, Value>,
}

/// How a node's reports are laid out when there is no descriptor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Protocol {
    /// The boot mouse report of HID 1.11 appendix B.2.
    Boot,
    /// A protocol of a later version: not decoded.
    #[serde(other)]
    Unknown,
}

/// One stream of input reports: a HID interface.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(expecting = "a node: an object")]
pub struct Node {
    /// USB interface number.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub interface: Option<u8>,
    /// Nominal report interval in nanoseconds, from the endpoint descriptor.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub interval_ns: Option<Nanos>,
    /// The HID report descriptor, lower-case hex.
    #[serde(skip_serializing_if = "String::is_empty", default)]
    pub descriptor: String,
    /// Set only where there is no descriptor.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub protocol: Option<Protocol>,
    /// Keys of a later version.
    #[serde(flatten)]
    pub other: Map<String, Value>,
}

/// Which body axis of the device the swipe runs along. A hint for people: analysis finds the direction itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Axis {
    /// Sideways.
    #[default]
    X,
    /// Fore and aft.
    Y,
}

/// What the session was to do, and against what it is to be judged.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(expecting = "a plan: an object")]
pub struct Plan {
    /// Travel from stop to stop in micrometres: how far the device moves, not the gap between the stops.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub travel_um: Option<i64>,
    /// Standard uncertainty of the travel in micrometres.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub travel_u_um: Option<i64>,
    /// How the travel is known: `ruler`, `gap-body`, or a session file's name.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub travel_from: Option<String>,
    /// Direction of the swipes.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub axis: Option<Axis>,
    /// True if the swipes run along a straight edge, which limits yaw; not if absent.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub straight_edge: Option<bool>,
    /// The resolution steps.
    #[serde(default)]
    pub steps: Vec<Step>,
    /// Paces asked for, as the guide states them.
    #[serde(skip_serializing_if = "Map::is_empty", default)]
    pub paces: Map<String, Value>,
    /// Tolerances by family; those absent take the program's default.
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub tolerances: BTreeMap<String, Tolerance>,
    /// What the user needs: `speed_m_s` and how it was derived.
    #[serde(skip_serializing_if = "Map::is_empty", default)]
    pub need: Map<String, Value>,
    /// Keys of a later version.
    #[serde(flatten)]
    pub other: Map<String, Value>,
}

impl Plan {
    /// Travel from stop to stop, if the plan gives one that can be meant.
    pub fn travel(&self) -> Option<Metres> {
        self.travel_um.filter(|um| super::TRAVEL_UM.contains(um)).map(Metres::from_micrometres)
    }

    /// Standard uncertainty of the travel; 0.5 mm (a ruler read at both ends; common practice, no source) if not given.
    pub fn travel_uncertainty(&self) -> Metres {
        Metres::from_micrometres(self.travel_u_um.unwrap_or(500).max(0))
    }

    /// The step with this id.
    pub fn step(&self, id: u32) -> Option<&Step> {
        self.steps.iter().find(|step| step.id == id)
    }
}

/// One resolution setting.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(expecting = "a resolution step: an object")]
pub struct Step {
    /// Counts from 1.
    pub id: u32,
    /// What shows it: an indicator's colour, say.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub label: Option<String>,
    /// What the maker says it is; absent for a step known only by its light.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub nominal_counts_per_inch: Option<f64>,
}

impl Step {
    /// The nominal resolution, if it is a number that a device may have: between 0.01 and 10 million counts per inch.
    pub fn nominal(&self) -> Option<CountsPerMetre> {
        let told = self.nominal_counts_per_inch.filter(|c| (0.01..1e7).contains(c));
        told.map(CountsPerMetre::from_per_inch)
    }
}

/// What a family is held against.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(expecting = "a tolerance: an object")]
pub struct Tolerance {
    /// Lower and upper limit; `null` where that side is free.
    pub limits: [Option<f64>; 2],
    /// Unit of the limits.
    pub unit: String,
    /// Where they come from: a published source, `common practice, no source`, or the user.
    pub source: String,
}
