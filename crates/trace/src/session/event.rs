//! Lines 2 and following of a session file.

use super::write::unhex;
use crate::units::Nanos;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// One line: when, from which device, what.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Nanoseconds since the session's start on the session's clock.
    pub t: Nanos,
    /// Index of the device in the header (`d`, 0 left out). Meaningful for reports, `gone`, `back`, `overrun`, `other`.
    pub device: usize,
    /// What happened.
    pub event: Event,
}

/// One input report as it came.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// The bytes (`r`, lower-case hex), report ID first where the node uses them.
    pub bytes: Vec<u8>,
    /// Index of the node within the device (`n`, 0 left out).
    pub node: usize,
    /// Place in the drained batch (`q`, 0 left out): reports read before it in the same wake-up.
    pub place: u32,
    /// The kernel's own stamp on the same clock (`k`), where there was one. Earlier than `t`, but for a report that came
    /// while the ones before it were being read.
    pub kernel: Option<Nanos>,
}

/// What a line says.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// `{"t":…,"r":"00050000"}`: a report.
    Report(Report),
    /// `{"t":…,"phase":{…}}`: a phase begins and ends the one before; `null` is the time between phases.
    Phase(Option<Phase>),
    /// `{"t":…,"stall":4200000}`: the host itself was held up for the last so many nanoseconds.
    Stall(Nanos),
    /// `{"t":…,"overrun":1}`: a drained batch was as long as the kernel's ring; reports may have been lost here.
    Overrun(u64),
    /// `{"t":…,"other":12}`: reports of IDs that carry no pointer motion, counted and not kept.
    Other(u64),
    /// `{"t":…,"d":0,"gone":true}`: the device went away.
    Gone,
    /// `{"t":…,"d":0,"back":{…}}`: it returned.
    Back(Value),
    /// `{"t":…,"suspend":…}`: the machine slept for so many nanoseconds.
    Suspend(Nanos),
    /// `{"t":…,"resumed":{…}}`: recording was taken up again. No interval, rate or closure crosses this line.
    Resumed(Value),
    /// `{"t":…,"meta":{…}}`: later facts; of each key the last one wins. `made` and `voided` are of phases, by number:
    /// `{"made":{"4":12}}`, swipes that were made where a phase ended early; `{"voided":{"4":"…"}}`, why it is not judged.
    Meta(Map<String, Value>),
    /// `{"t":…,"note":"…"}`: the operator's own words.
    Note(String),
    /// `{"t":…,"live":{…}}`: what the operator was shown.
    Live(Value),
    /// `{"t":…,"end":true}`: closed properly.
    End,
    /// A line with no key that this version knows.
    Unknown,
}

/// What is asked of the operator in a phase.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Task {
    /// Slow swipes that tell which step is active.
    Identify,
    /// The device lies still, hands off.
    Still,
    /// Swipes from stop to stop.
    Swipes,
    /// Button strikes.
    Strikes,
    /// The host's own timing floor.
    Floor,
    /// A task of a later version: not examined.
    #[serde(untagged)]
    Unknown(String),
}

/// How fast the swipes are to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pace {
    /// The baseline that resolution is read from.
    Slow,
    /// In between.
    Medium,
    /// The flick.
    Fast,
    /// A pace of a later version.
    #[serde(other)]
    Unknown,
}

/// One task at one step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(expecting = "a phase: an object")]
pub struct Phase {
    /// The resolution step, from 1.
    pub step: u32,
    /// What is done.
    pub task: Task,
    /// How fast, for swipes.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pace: Option<Pace>,
    /// How many swipes were asked for.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub swipes: Option<u32>,
    /// Keys such as `axis`, `repeats`, `because`.
    #[serde(flatten)]
    pub other: Map<String, Value>,
}

/// The line as JSON has it; every key optional. A key that is there with the value `null` is told from no key where it
/// means something: `"phase":null` ends a phase, `"resumed":null` is still a break.
#[derive(Deserialize)]
#[serde(expecting = "an event: an object")]
struct Raw<'a> {
    t: Option<i64>,
    #[serde(borrow)]
    r: Option<std::borrow::Cow<'a, str>>,
    d: Option<usize>,
    n: Option<usize>,
    q: Option<u32>,
    k: Option<i64>,
    #[serde(default, deserialize_with = "present")]
    phase: Option<Option<Phase>>,
    stall: Option<i64>,
    overrun: Option<u64>,
    other: Option<u64>,
    gone: Option<bool>,
    #[serde(default, deserialize_with = "present")]
    back: Option<Value>,
    suspend: Option<i64>,
    #[serde(default, deserialize_with = "present")]
    resumed: Option<Value>,
    meta: Option<Map<String, Value>>,
    note: Option<String>,
    #[serde(default, deserialize_with = "present")]
    live: Option<Value>,
    end: Option<bool>,
}

fn present<'de, T: Deserialize<'de>, D: serde::Deserializer<'de>>(d: D) -> Result<Option<T>, D::Error> {
    T::deserialize(d).map(Some)
}

impl Entry {
    /// Reads one line (without its line end). The error is a sentence without a place; the reader adds it.
    pub(super) fn parse(line: &[u8]) -> Result<Entry, String> {
        let text = std::str::from_utf8(line).map_err(|_| "not UTF-8 text".to_owned())?;
        let raw: Raw = serde_json::from_str(text).map_err(|e| format!("not a session line: {e}"))?;
        let device = raw.d.unwrap_or(0);
        let event = if let Some(hex) = raw.r {
            if hex.len() > 2 * super::MAX_REPORT {
                return Err(format!("a report of more than {} bytes", super::MAX_REPORT));
            }
            let bytes =
                unhex(&hex).ok_or_else(|| "the report \"r\" is not pairs of hex digits".to_owned())?;
            let (node, place) = (raw.n.unwrap_or(0), raw.q.unwrap_or(0));
            Event::Report(Report { bytes, node, place, kernel: raw.k.map(Nanos) })
        } else if let Some(phase) = raw.phase {
            Event::Phase(phase)
        } else if let Some(ns) = raw.stall {
            Event::Stall(Nanos(ns))
        } else if let Some(n) = raw.overrun {
            Event::Overrun(n)
        } else if let Some(n) = raw.other {
            Event::Other(n)
        } else if raw.gone == Some(true) {
            Event::Gone
        } else if let Some(v) = raw.back {
            Event::Back(v)
        } else if let Some(ns) = raw.suspend {
            Event::Suspend(Nanos(ns))
        } else if let Some(v) = raw.resumed {
            Event::Resumed(v)
        } else if let Some(v) = raw.meta {
            Event::Meta(v)
        } else if let Some(v) = raw.note {
            Event::Note(v)
        } else if let Some(v) = raw.live {
            Event::Live(v)
        } else if raw.end == Some(true) {
            Event::End
        } else {
            Event::Unknown
        };
        match (raw.t, &event) {
            (Some(t), _) if t.unsigned_abs() > super::MAX_TIME.unsigned_abs() => {
                Err("a time more than 104 days from the session's start".to_owned())
            }
            (Some(t), _) => Ok(Entry { t: Nanos(t), device, event }),
            (None, Event::Unknown) => Ok(Entry { t: Nanos(i64::MIN), device, event }),
            (None, _) => Err("no time \"t\"".to_owned()),
        }
    }
}
