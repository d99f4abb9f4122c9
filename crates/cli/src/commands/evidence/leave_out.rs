//! What a session file tells of person and computer, and a copy of it without.
//!
//! Reports, times since the start, phases and the computer's stalls stay: the verdict rests on them. Keys that this
//! version does not know cannot be told apart, so that every copy is without them.

use super::Part;
use serde_json::{Value, json};
use slipgauge_trace::TraceError;
use slipgauge_trace::outside::harmless;
use slipgauge_trace::session::{self, Entry, Event, Header, Reader, Writer};
use std::path::Path;

/// What takes the place of words that must be there.
const LEFT_OUT: &str = "left out";

/// What is told, in lines for a person.
#[derive(Debug, Default)]
pub struct Told {
    /// Of the computer.
    pub host: Vec<String>,
    /// In the operator's own words.
    pub notes: Vec<String>,
    /// When.
    pub time: Vec<String>,
    /// What things are called.
    pub names: Vec<String>,
}

/// Reads what a session file tells.
pub fn told(path: &Path) -> Result<Told, TraceError> {
    let (header, mut reader) = Reader::new(session::open(path)?)?;
    let host = header.host.iter().map(|(key, value)| harmless(&format!("{key}: {}", plain(value))));
    let mut told = Told { host: host.collect(), ..Told::default() };
    told.time.extend(header.started.iter().map(|t| harmless(&format!("started {t}"))));
    for device in &header.devices {
        for (what, word) in [("label", &device.label), ("unit", &device.unit), ("name", &device.name)] {
            told.names.extend(word.iter().map(|w| harmless(&format!("{what}: {w}"))));
        }
        for (what, id) in
            [("vendor", device.vendor), ("product", device.product), ("release", device.release)]
        {
            told.names.extend(id.map(|id| format!("{what}: {id:04x}")));
        }
    }
    told.names.extend(header.surface.iter().map(|w| harmless(&format!("pad: {w}"))));
    if let Some(plan) = &header.plan {
        let labels = plan.steps.iter().filter_map(|s| s.label.as_ref());
        told.names.extend(labels.map(|w| harmless(&format!("step: {w}"))));
        told.names.extend(plan.travel_from.iter().map(|w| harmless(&format!("travel from: {w}"))));
        let sources = plan.tolerances.iter();
        told.notes.extend(sources.map(|(f, t)| harmless(&format!("tolerance of {f}: {}", t.source))));
    }
    while let Some(entry) = reader.next_entry()? {
        match entry.event {
            Event::Note(words) => told.notes.push(harmless(&words)),
            Event::Meta(map) => {
                if let Some(voided) = map.get("voided").and_then(Value::as_object) {
                    let reasons = voided.iter().map(|(n, why)| format!("phase {n} left out: {}", plain(why)));
                    told.notes.extend(reasons.map(|r| harmless(&r)));
                }
            }
            Event::Resumed(value) => told.time.push(harmless(&format!("resumed {}", plain(&value)))),
            _ => {}
        }
    }
    Ok(told)
}

/// A value without quotes around words.
fn plain(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

/// A copy without some parts, and how many lines of unknown kind it lacks.
pub fn copy(path: &Path, parts: &[Part]) -> Result<(Vec<u8>, u64), TraceError> {
    let (mut header, mut reader) = Reader::new(session::open(path)?)?;
    clear(&mut header, parts);
    let mut writer = Writer::new(Vec::new(), &header)?;
    let mut unknown = 0;
    while let Some(mut entry) = reader.next_entry()? {
        unknown += u64::from(entry.event == Event::Unknown);
        if keep(&mut entry, parts) {
            writer.write(&entry)?;
        }
    }
    Ok((std::mem::take(writer.sink()), unknown))
}

fn clear(header: &mut Header, parts: &[Part]) {
    header.other.clear();
    for device in &mut header.devices {
        device.other.clear();
        device.nodes.iter_mut().for_each(|node| node.other.clear());
    }
    if let Some(plan) = &mut header.plan {
        plan.other.clear();
        for map in [&mut plan.paces, &mut plan.need] {
            map.retain(|_, value| value.is_number());
        }
    }
    for part in parts {
        match part {
            Part::Host => header.host.clear(),
            Part::Time => header.started = None,
            Part::Notes => {
                let tolerances = header.plan.iter_mut().flat_map(|plan| plan.tolerances.values_mut());
                tolerances.for_each(|t| LEFT_OUT.clone_into(&mut t.source));
            }
            Part::Names => {
                for d in &mut header.devices {
                    (d.label, d.unit, d.name) = (None, None, None);
                    (d.vendor, d.product, d.release) = (None, None, None);
                }
                header.surface = None;
                if let Some(plan) = &mut header.plan {
                    plan.steps.iter_mut().for_each(|step| step.label = None);
                    // A session file's name; the other two are words of the format.
                    plan.travel_from = plan.travel_from.take().filter(|w| w == "ruler" || w == "gap-body");
                }
            }
        }
    }
}

/// Clears a line; false if it goes altogether.
fn keep(entry: &mut Entry, parts: &[Part]) -> bool {
    let without = |part| parts.contains(&part);
    match &mut entry.event {
        Event::Note(_) => !without(Part::Notes),
        Event::Meta(map) => {
            // Later facts may be anything; these two are what a verdict needs.
            map.retain(|key, _| key == "made" || key == "voided");
            if let (true, Some(voided)) =
                (without(Part::Notes), map.get_mut("voided").and_then(Value::as_object_mut))
            {
                voided.values_mut().for_each(|why| *why = json!(LEFT_OUT));
            }
            !map.is_empty()
        }
        Event::Resumed(value) => {
            if without(Part::Time) {
                *value = json!({});
            }
            true
        }
        Event::Phase(Some(phase)) => {
            // The two that a recorder writes; others may be words.
            phase.other.retain(|key, _| key == "axis" || key == "repeats");
            true
        }
        // Of what was shown, only what the verdict confirms or withdraws.
        Event::Live(value) => value.get("noticed").cloned().is_some_and(|noticed| {
            *value = json!({ "noticed": noticed });
            true
        }),
        // What came back is told as the header tells it.
        Event::Back(value) => {
            *value = json!({});
            true
        }
        _ => true,
    }
}
