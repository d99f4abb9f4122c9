//! A whole session, decoded into columns of integers.
//!
//! Reading streams: one line in memory, 22 bytes of columns a kept report (one hour at 8 kHz is 630 MB). Nothing is
//! dropped silently: what could not be decoded is counted, with the first cases kept.

mod build;

use crate::TraceError;
use crate::layout::{Layout, ReportError};
use crate::session::{self, Digest, Entry, Header, Phase};
use crate::units::Nanos;
use ndarray::Array1;
use serde_json::{Map, Value};
use std::io::BufRead;
use std::ops::Range;
use std::path::Path;

/// A session as read.
#[derive(Debug, Clone)]
pub struct Recording {
    /// Line 1.
    pub header: Header,
    /// One for each device of the header, in its order.
    pub devices: Vec<DeviceTrace>,
    /// The phases in file order; numbers count from 1.
    pub phases: Vec<PhaseSpan>,
    /// What the computer itself did.
    pub host: HostLog,
    /// The operator's notes, in order.
    pub notes: Vec<(Nanos, String)>,
    /// What the operator was shown while recording, in order.
    pub live: Vec<(Nanos, Value)>,
    /// Later facts; of each key the last one.
    pub facts: Map<String, Value>,
    /// True if the file was closed properly.
    pub ended: bool,
    /// What of the header, or of a phase, cannot be meant and was set aside: one sentence each.
    pub set_aside: Vec<String>,
    /// Lines with no key that this version knows.
    pub unknown_lines: u64,
    /// Time of the first and the last line.
    pub span: (Nanos, Nanos),
    /// Hash and length.
    pub digest: Digest,
}

/// Motion of one device. All columns have the same length, one row a report, in order of time.
#[derive(Debug, Clone, Default)]
pub struct Motion {
    /// Time of receipt in nanoseconds since the session's start; shape `[n]`, not decreasing.
    pub received_ns: Array1<i64>,
    /// Relative X in counts; shape `[n]`.
    pub x: Array1<i32>,
    /// Relative Y in counts; shape `[n]`.
    pub y: Array1<i32>,
    /// Buttons, bit 0 is button 1 (the lowest 16); shape `[n]`.
    pub buttons: Array1<u16>,
    /// Place in the drained batch, 0 for the report that woke the reader; shape `[n]`.
    pub place: Array1<u16>,
    /// Index into [`DeviceTrace::formats`]; shape `[n]`.
    pub format: Array1<u8>,
    /// The kernel's own stamp, [`NO_STAMP`] where a report has none; shape `[n]`, or `[0]` if no report has one.
    pub kernel_ns: Array1<i64>,
}

/// Stands for "no kernel stamp".
pub const NO_STAMP: i64 = i64::MIN;

impl Motion {
    /// Number of reports.
    pub fn len(&self) -> usize {
        self.received_ns.len()
    }

    /// True if there is none.
    pub fn is_empty(&self) -> bool {
        self.received_ns.is_empty()
    }

    /// Rows received in `begin ≤ t < end`; O(log n).
    pub fn rows(&self, begin: Nanos, end: Nanos) -> Range<usize> {
        let column = self.received_ns.as_slice().unwrap_or_default();
        let first = column.partition_point(|&t| t < begin.0);
        first..column.partition_point(|&t| t < end.0).max(first)
    }
}

/// Which report a row came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowFormat {
    /// Index of the node within the device.
    pub node: usize,
    /// Report ID, if any.
    pub id: Option<u8>,
    /// Width of X and Y in bits; `None` for a report without motion.
    pub axis_bits: Option<(u32, u32)>,
    /// Smallest and largest X that the descriptor allows, and the same of Y.
    pub limits: Option<[(i32, i32); 2]>,
    /// Smallest and largest value that the X field can hold, and the same of Y.
    pub field_range: Option<[(i64, i64); 2]>,
}

/// All that one device sent.
#[derive(Debug, Clone, Default)]
pub struct DeviceTrace {
    /// The decoded columns.
    pub motion: Motion,
    /// Reports that occur in the columns.
    pub formats: Vec<RowFormat>,
    /// Layout of each node; `None` where the node has no descriptor or no pointer.
    pub layouts: Vec<Option<Layout>>,
    /// Reports that did not fit their descriptor.
    pub malformed: u64,
    /// The first of them: time, line, why.
    pub malformed_first: Vec<(Nanos, u64, ReportError)>,
    /// Reports of other IDs, counted by the recorder and not kept.
    pub other: u64,
    /// When it went away.
    pub gone: Vec<Nanos>,
    /// When it came back, while the recording went on.
    pub back: Vec<Nanos>,
}

impl DeviceTrace {
    /// True for a row that carries X and Y.
    pub fn has_motion(&self, row: usize) -> bool {
        let format = self.motion.format.get(row).and_then(|&f| self.formats.get(usize::from(f)));
        format.is_some_and(|f| f.axis_bits.is_some())
    }
}

/// A phase with its place in time.
#[derive(Debug, Clone, PartialEq)]
pub struct PhaseSpan {
    /// Number in file order, from 1.
    pub number: u32,
    /// What was asked.
    pub phase: Phase,
    /// When it began.
    pub begin: Nanos,
    /// When the next phase, or the file, ended it.
    pub end: Nanos,
    /// Swipes that the operator says were made, where the phase ended otherwise than by what was asked (fact `made`).
    pub made: Option<u32>,
    /// Why it is not to be judged, if the operator said so before the result was shown (fact `voided`).
    pub voided: Option<String>,
}

impl PhaseSpan {
    /// Swipes that there must be: those made, or else those asked for.
    pub fn swipes(&self) -> Option<u32> {
        self.made.or(self.phase.swipes)
    }
}

/// What the computer itself did while recording.
#[derive(Debug, Clone, Default)]
pub struct HostLog {
    /// Spans `(begin, end)` in which the host was held up, in file order.
    pub stalls: Vec<(Nanos, Nanos)>,
    /// When a drained batch was as long as the kernel's ring.
    pub overruns: Vec<Nanos>,
    /// Times that nothing may be reckoned across: sleep, and recording taken up again.
    pub breaks: Vec<Nanos>,
}

impl Recording {
    /// Reads a session file, plain or gzip.
    ///
    /// # Errors
    /// [`TraceError`], with line and byte where a line is at fault.
    pub fn open(path: &Path) -> Result<Recording, TraceError> {
        Recording::read(session::open(path)?)
    }

    /// Reads an uncompressed session from a stream.
    ///
    /// # Errors
    /// As [`Recording::open`].
    pub fn read(source: impl BufRead) -> Result<Recording, TraceError> {
        let (header, mut reader) = session::Reader::new(source)?;
        let mut builder = build::Builder::new(header)?;
        while let Some(entry) = reader.next_entry()? {
            builder.push(entry, reader.line()).map_err(|what| reader.error(what))?;
        }
        Ok(builder.finish(reader.digest()))
    }

    /// Builds a recording from parts, as an importer of another format does. `digest` is that of the original file.
    ///
    /// # Errors
    /// [`TraceError::Layout`], or [`TraceError::Line`] with the entry's number as its line.
    pub fn from_entries(
        header: Header,
        entries: impl IntoIterator<Item = Entry>,
        digest: Digest,
    ) -> Result<Recording, TraceError> {
        let mut builder = build::Builder::new(header)?;
        for (line, entry) in (1u64..).zip(entries) {
            builder.push(entry, line).map_err(|what| TraceError::Line { line, byte: 0, what })?;
        }
        Ok(builder.finish(digest))
    }
}

/// A recording that is still being made: entries as they come, and what they are so far at any time.
///
/// Memory is that of the columns. A later look costs a copy of them.
#[derive(Debug, Clone)]
pub struct Growing {
    builder: build::Builder,
    entries: u64,
}

impl Growing {
    /// With this header.
    ///
    /// # Errors
    /// [`TraceError::Layout`] for a descriptor that cannot be read.
    pub fn new(header: Header) -> Result<Growing, TraceError> {
        Ok(Growing { builder: build::Builder::new(header)?, entries: 0 })
    }

    /// Takes an entry.
    ///
    /// # Errors
    /// [`TraceError::Line`], with the entry's number as its line; the entry is then left out.
    pub fn push(&mut self, entry: Entry) -> Result<(), TraceError> {
        self.entries += 1;
        let line = self.entries;
        self.builder.push(entry, line).map_err(|what| TraceError::Line { line, byte: 0, what })
    }

    /// Reports so far, of all devices.
    pub fn reports(&self) -> usize {
        self.builder.reports()
    }

    /// Phases so far.
    pub fn phases(&self) -> usize {
        self.builder.phases()
    }

    /// What there is so far. Its digest is of nothing.
    pub fn so_far(&self) -> Recording {
        self.builder.clone().finish(Digest::default())
    }
}
