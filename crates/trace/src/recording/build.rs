//! Entries in, columns out.

use super::{DeviceTrace, HostLog, Motion, NO_STAMP, PhaseSpan, Recording, RowFormat};
use crate::TraceError;
use crate::layout::{Layout, LayoutError};
use crate::session::{Device, Digest, Entry, Event, Header, MAX_TIME, Protocol, Report, TRAVEL_UM};
use crate::units::Nanos;
use ndarray::Array1;
use serde_json::{Map, Value};

/// How many malformed reports are kept as examples.
const MALFORMED_KEPT: usize = 16;

#[derive(Debug, Clone, Default)]
struct Columns {
    trace: DeviceTrace,
    received: Vec<i64>,
    x: Vec<i32>,
    y: Vec<i32>,
    buttons: Vec<u16>,
    place: Vec<u16>,
    format: Vec<u8>,
    kernel: Vec<i64>,
    /// First row format of each node; a node's formats lie together, in the layout's order.
    first_format: Vec<usize>,
    latest: Option<Nanos>,
}

#[derive(Debug, Clone)]
pub(super) struct Builder {
    header: Header,
    set_aside: Vec<String>,
    devices: Vec<Columns>,
    phases: Vec<PhaseSpan>,
    open_phase: bool,
    host: HostLog,
    notes: Vec<(Nanos, String)>,
    live: Vec<(Nanos, Value)>,
    facts: Map<String, Value>,
    ended: bool,
    unknown: u64,
    span: Option<(Nanos, Nanos)>,
}

impl Builder {
    pub(super) fn new(mut header: Header) -> Result<Builder, TraceError> {
        let set_aside = header.set_aside();
        let devices = header.devices.iter().enumerate();
        let devices = devices.map(|(index, device)| Columns::new(index, device)).collect::<Result<_, _>>()?;
        Ok(Builder {
            header,
            set_aside,
            devices,
            phases: Vec::new(),
            open_phase: false,
            host: HostLog::default(),
            notes: Vec::new(),
            live: Vec::new(),
            facts: Map::new(),
            ended: false,
            unknown: 0,
            span: None,
        })
    }

    /// Takes one entry. The error is a sentence; the caller knows the place.
    pub(super) fn push(&mut self, entry: Entry, line: u64) -> Result<(), String> {
        let Entry { t, device, event } = entry;
        if event == Event::Unknown {
            self.unknown += 1;
            return Ok(());
        }
        let (first, last) = self.span.unwrap_or((t, t));
        self.span = Some((first.min(t), last.max(t)));
        match event {
            Event::Report(report) => self.device(device)?.report(t, report, line)?,
            Event::Other(n) => {
                let trace = &mut self.device(device)?.trace;
                trace.other = trace.other.saturating_add(n);
            }
            Event::Gone => self.device(device)?.trace.gone.push(t),
            Event::Phase(phase) => {
                if self.phases.last().is_some_and(|last| t < last.end) {
                    return Err("a phase line is stamped earlier than the one before it".to_owned());
                }
                self.close_phase(t);
                if let Some(phase) = phase {
                    let number = u32::try_from(self.phases.len() + 1).unwrap_or(u32::MAX);
                    self.phases.push(PhaseSpan { number, phase, begin: t, end: t, made: None, voided: None });
                    self.open_phase = true;
                }
            }
            Event::Stall(length) if !(0..=MAX_TIME).contains(&length.0) => {
                return Err("a stall of negative or impossible length".to_owned());
            }
            Event::Stall(length) => self.host.stalls.push((t - length, t)),
            Event::Overrun(_) => self.host.overruns.push(t),
            Event::Back(_) => self.device(device)?.trace.back.push(t),
            Event::Suspend(_) | Event::Resumed(_) => self.host.breaks.push(t),
            Event::Note(text) => self.notes.push((t, text)),
            Event::End => self.ended = true,
            Event::Live(shown) => self.live.push((t, shown)),
            Event::Meta(facts) => self.facts.extend(facts),
            Event::Unknown => {}
        }
        Ok(())
    }

    pub(super) fn reports(&self) -> usize {
        self.devices.iter().map(|columns| columns.received.len()).sum()
    }

    pub(super) fn phases(&self) -> usize {
        self.phases.len()
    }

    fn device(&mut self, index: usize) -> Result<&mut Columns, String> {
        let known = self.devices.len();
        self.devices.get_mut(index).ok_or_else(|| format!("device {index}, but the header lists {known}"))
    }

    fn close_phase(&mut self, t: Nanos) {
        if let (true, Some(last)) = (self.open_phase, self.phases.last_mut()) {
            last.end = t;
        }
        self.open_phase = false;
    }

    pub(super) fn finish(mut self, digest: Digest) -> Recording {
        let span = self.span.unwrap_or_default();
        if let (true, Some(last)) = (self.open_phase, self.phases.last_mut()) {
            // One past the last line, so that a report stamped at the very end is inside.
            last.end = span.1 + Nanos(1);
        }
        for phase in &mut self.phases {
            let of = |fact: &str| self.facts.get(fact).and_then(|of| of.get(phase.number.to_string()));
            phase.made = of("made").and_then(Value::as_u64).map(|n| u32::try_from(n).unwrap_or(u32::MAX));
            phase.voided = of("voided").and_then(Value::as_str).map(str::to_owned);
            let told = phase
                .phase
                .other
                .get("travel_um")
                .filter(|um| !um.as_i64().is_some_and(|um| TRAVEL_UM.contains(&um)));
            if let Some(um) = told.cloned() {
                phase.phase.other.remove("travel_um");
                let number = phase.number;
                self.set_aside.push(format!(
                    "phase {number}, travel_um: {um} is set aside, since a travel is from 1 mm to 10 m"
                ));
            }
        }
        Recording {
            header: self.header,
            set_aside: self.set_aside,
            devices: self.devices.into_iter().map(Columns::finish).collect(),
            phases: self.phases,
            host: self.host,
            notes: self.notes,
            live: self.live,
            facts: self.facts,
            ended: self.ended,
            unknown_lines: self.unknown,
            span,
            digest,
        }
    }
}

impl Columns {
    fn new(index: usize, device: &Device) -> Result<Columns, TraceError> {
        let mut columns = Columns::default();
        for (node_index, node) in device.nodes.iter().enumerate() {
            let layout = match (node.descriptor.as_str(), node.protocol) {
                ("", Some(Protocol::Boot)) => Layout::boot().map(Some),
                ("", _) => Ok(None),
                (text, _) => crate::session::unhex(text)
                    .ok_or(LayoutError::Malformed {
                        offset: 0,
                        what: "it is not pairs of hex digits".to_owned(),
                    })
                    .and_then(|bytes| Layout::from_descriptor(&bytes))
                    .map(Some),
            };
            let layout = match layout {
                // A node of a receiver that carries no pointer has no reports in the file either.
                Err(LayoutError::NoPointer { .. }) => None,
                other => {
                    other.map_err(|source| TraceError::Layout { device: index, node: node_index, source })?
                }
            };
            columns.first_format.push(columns.trace.formats.len());
            for format in layout.iter().flat_map(Layout::formats) {
                let axes = format.axes.as_ref();
                columns.trace.formats.push(RowFormat {
                    node: node_index,
                    id: format.id,
                    axis_bits: axes.map(|(x, y)| (x.bits, y.bits)),
                    limits: axes
                        .map(|(x, y)| [(x.logical_min, x.logical_max), (y.logical_min, y.logical_max)]),
                    field_range: axes.map(|(x, y)| [x.field_range(), y.field_range()]),
                });
            }
            columns.trace.layouts.push(layout);
        }
        Ok(columns)
    }

    fn report(&mut self, t: Nanos, report: Report, line: u64) -> Result<(), String> {
        if self.latest.is_some_and(|latest| t < latest) {
            return Err("a report is stamped earlier than the one before it; was the file edited or sorted?"
                .to_owned());
        }
        self.latest = Some(t);
        let node = report.node;
        let layout = match self.trace.layouts.get(node) {
            Some(Some(layout)) => layout,
            Some(None) => {
                return Err(format!("a report of node {node}, which has no pointer in its descriptor"));
            }
            None => return Err(format!("a report of node {node}, which the header does not list")),
        };
        let first = self.first_format.get(node).copied().unwrap_or(0);
        match layout.decode(&report.bytes) {
            Ok(decoded) => {
                let row_format = u8::try_from(first + decoded.format)
                    .map_err(|_| "more than 255 kinds of report on one device".to_owned())?;
                self.received.push(t.0);
                self.x.push(decoded.x);
                self.y.push(decoded.y);
                self.buttons.push((decoded.buttons & 0xffff) as u16);
                self.place.push(u16::try_from(report.place).unwrap_or(u16::MAX));
                self.format.push(row_format);
                if report.kernel.is_some() && self.kernel.is_empty() {
                    self.kernel.resize(self.received.len() - 1, NO_STAMP);
                }
                if report.kernel.is_some() || !self.kernel.is_empty() {
                    self.kernel.push(report.kernel.map_or(NO_STAMP, |k| k.0));
                }
            }
            Err(why) => {
                self.trace.malformed += 1;
                if self.trace.malformed_first.len() < MALFORMED_KEPT {
                    self.trace.malformed_first.push((t, line, why));
                }
            }
        }
        Ok(())
    }

    fn finish(self) -> DeviceTrace {
        let motion = Motion {
            received_ns: Array1::from_vec(self.received),
            x: Array1::from_vec(self.x),
            y: Array1::from_vec(self.y),
            buttons: Array1::from_vec(self.buttons),
            place: Array1::from_vec(self.place),
            format: Array1::from_vec(self.format),
            kernel_ns: Array1::from_vec(self.kernel),
        };
        DeviceTrace { motion, ..self.trace }
    }
}
