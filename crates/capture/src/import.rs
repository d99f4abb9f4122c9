//! A recording of a device that another program made, read as a session.
//!
//! Owns: the plain-text format of the general HID recorder (`hid-recorder` of hid-tools, and of the Linux HID tests):
//! a line is a letter, a colon and words; `R:` the report descriptor, `N:` the name, `I:` bus and ids, `D:` which of
//! several devices what follows is of, `E:` a report; `#` begins a comment. What becomes of it:
//!
//! - its clock is [`ClockId::Foreign`], whose stamps come from a reader we know nothing of, in whole microseconds;
//! - there is no plan and no phase, for nobody was asked to do anything;
//! - a report that does not fit its descriptor is kept as it came; one whose ID carries no pointer motion is counted
//!   and dropped, as when recording;
//! - of several devices, those with a pointer are taken; the first is the one under test.
//!
//! Cost: one line in memory at a time, and the entries.
//!
//! ```no_run
//! use slipgauge_capture::import;
//! use slipgauge_trace::{Recording, session};
//! use std::io::BufRead as _;
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let mut source = session::open("some.file".as_ref())?;
//! let recording = if import::recognise(source.fill_buf()?) {
//!     import::read(source)?
//! } else {
//!     Recording::read(source)?
//! };
//! # Ok(()) }
//! ```

mod line;
#[cfg(test)]
mod tests;

use line::Line;
use sha2::{Digest as _, Sha256};
use slipgauge_trace::layout::{Layout, LayoutError};
use slipgauge_trace::session::{
    Clock, ClockId, Device, Digest, Entry, Event, Header, MAX_TIME, Node, Report, Role, VERSION, hex,
};
use slipgauge_trace::{Nanos, Recording, TraceError};
use std::io::{BufRead, ErrorKind, Read as _};

/// Longest line: the longest report, three characters a byte, and what stands before it.
const MAX_LINE: u64 = 64 * 1024;
/// Most devices in one recording.
const MAX_DEVICES: usize = 64;
/// The kernel's number of the Bluetooth bus (`BUS_BLUETOOTH`, linux/input.h).
const BUS_BLUETOOTH: u16 = 5;

/// A recording that cannot be imported.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// A line that breaks the format. Lines count from 1.
    #[error("line {line}: {what}")]
    Line {
        /// Line number.
        line: u64,
        /// What is wrong, and what to do.
        what: String,
    },
    /// No `R:` line.
    #[error("no report descriptor (a line `R: …`) in the file; is it a HID recording, and all of it?")]
    NoDescriptor,
    /// No device in it is a pointing device.
    #[error("no pointing device in the recording: {found}; record the interface that moves the pointer")]
    NoPointer {
        /// What it holds instead.
        found: String,
    },
    /// Stamps further apart than a session may be long.
    #[error("the recording spans more than 104 days; are its times seconds and microseconds?")]
    TooLong,
    /// The file cannot be read.
    #[error("reading the recording: {0}")]
    Io(#[from] std::io::Error),
    /// What was read makes no session.
    #[error("the recording as a session: {0}")]
    Session(#[from] TraceError),
}

/// True if a file that begins so is a recording in this format: its first line that is no comment has a key.
pub fn recognise(first_bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(first_bytes);
    let said = |line: &&str| !line.is_empty() && !line.starts_with('#');
    match text.lines().map(str::trim).find(said) {
        Some(line) => line::key_of(line).is_some_and(|(key, _)| "RNPIDE".contains(key)),
        None => text.trim_start().starts_with('#'),
    }
}

/// Reads a recording and decodes it.
///
/// # Errors
/// [`ImportError`], with the line where one is at fault.
pub fn read(source: impl BufRead) -> Result<Recording, ImportError> {
    let (header, entries, digest) = entries(source)?;
    Ok(Recording::from_entries(header, entries, digest)?)
}

/// Reads a recording as the header and entries that a session of ours would have held. Times count from the first event.
/// The format has no mark of its end; a file whose last line is whole counts as closed.
///
/// # Errors
/// As [`read`].
pub fn entries(source: impl BufRead) -> Result<(Header, Vec<Entry>, Digest), ImportError> {
    let mut lines = Lines::new(source);
    let mut devices: Vec<Source> = Vec::new();
    let mut unknown = 0usize;
    let mut current = 0;
    while let Some((number, text)) = lines.next()? {
        let at = |what: String| ImportError::Line { line: number, what };
        let text = String::from_utf8_lossy(text);
        match line::parse(&text).map_err(at)? {
            None | Some(Line::Place) => {}
            Some(Line::Unknown) => unknown += 1,
            Some(Line::Device(index)) => current = index,
            Some(line) => device(&mut devices, current).and_then(|d| d.take(line)).map_err(at)?,
        }
    }
    let (header, mut entries) = session(devices)?;
    entries.extend(std::iter::repeat_n(entry(Nanos(0), 0, Event::Unknown), unknown));
    if !lines.cut_short {
        let last = entries.iter().map(|e| e.t).max().unwrap_or_default();
        entries.push(entry(last, 0, Event::End));
    }
    Ok((header, entries, lines.digest()))
}

/// What was said of one device.
struct Source {
    index: u32,
    name: Option<String>,
    ids: Option<(u16, u16, u16)>,
    descriptor: Option<(Vec<u8>, Result<Layout, LayoutError>)>,
    reports: Vec<(Nanos, Vec<u8>)>,
    /// Reports not kept: when, and how many in that second.
    others: Vec<(Nanos, u64)>,
    latest: Nanos,
}

fn device(devices: &mut Vec<Source>, index: u32) -> Result<&mut Source, String> {
    let place = devices.iter().position(|d| d.index == index).unwrap_or(devices.len());
    if place == devices.len() {
        if place >= MAX_DEVICES {
            return Err(format!("more than {MAX_DEVICES} devices"));
        }
        devices.push(Source {
            index,
            name: None,
            ids: None,
            descriptor: None,
            reports: Vec::new(),
            others: Vec::new(),
            latest: Nanos(0),
        });
    }
    devices.get_mut(place).ok_or_else(|| "no such device".to_owned())
}

impl Source {
    fn take(&mut self, line: Line) -> Result<(), String> {
        match line {
            Line::Name(name) => self.name = Some(name.to_owned()),
            Line::Ids { bus, vendor, product } => self.ids = Some((bus, vendor, product)),
            Line::Descriptor(bytes) => match &self.descriptor {
                Some((known, _)) if *known != bytes => {
                    return Err(format!("a second descriptor for device {}", self.index));
                }
                Some(_) => {}
                None => {
                    let layout = Layout::from_descriptor(&bytes);
                    if let Err(error @ LayoutError::Malformed { .. }) = &layout {
                        return Err(error.to_string());
                    }
                    self.descriptor = Some((bytes, layout));
                }
            },
            Line::Event(t, report) => return self.event(t, report),
            Line::Device(_) | Line::Place | Line::Unknown => {}
        }
        Ok(())
    }

    fn event(&mut self, t: Nanos, report: Vec<u8>) -> Result<(), String> {
        let Some((_, layout)) = &self.descriptor else {
            return Err(format!("an event of device {} before its descriptor (R:)", self.index));
        };
        if t < self.latest {
            return Err(
                "earlier than the event before it; if the file holds several runs, import each alone"
                    .to_owned(),
            );
        }
        self.latest = t;
        match layout {
            Ok(layout) if layout.admits(&report) => self.reports.push((t, report)),
            Ok(_) => match self.others.last_mut() {
                Some((last, count)) if last.0 / Nanos::SECOND.0 == t.0 / Nanos::SECOND.0 => *count += 1,
                _ => self.others.push((t, 1)),
            },
            // A device without a pointer is left out whole.
            Err(_) => {}
        }
        Ok(())
    }

    fn header(&self, role: Role) -> Device {
        let descriptor = self.descriptor.as_ref().map(|(bytes, _)| hex(bytes)).unwrap_or_default();
        Device {
            role,
            name: self.name.clone(),
            vendor: self.ids.map(|(_, vendor, _)| vendor),
            product: self.ids.map(|(_, _, product)| product),
            // The USB bus carries cables and radio receivers alike.
            link: self.ids.filter(|&(bus, ..)| bus == BUS_BLUETOOTH).map(|_| "bluetooth".to_owned()),
            nodes: vec![Node { descriptor, ..Node::default() }],
            ..Device::default()
        }
    }
}

fn session(devices: Vec<Source>) -> Result<(Header, Vec<Entry>), ImportError> {
    let mut pointers = Vec::new();
    let mut without = Vec::new();
    for device in devices {
        match &device.descriptor {
            Some((_, Ok(_))) => pointers.push(device),
            Some((_, Err(why))) => without.push(format!("device {}: {why}", device.index)),
            None => {}
        }
    }
    if pointers.is_empty() {
        return Err(match without.as_slice() {
            [] => ImportError::NoDescriptor,
            found => ImportError::NoPointer { found: found.join("; ") },
        });
    }
    let roles = std::iter::once(Role::Test).chain(std::iter::repeat(Role::Unknown));
    let header = Header {
        slipgauge: VERSION,
        tool: "imported from a HID text recording".to_owned(),
        clock: Clock { id: ClockId::Foreign, resolution_ns: Some(Nanos(1000)) },
        devices: pointers.iter().zip(roles).map(|(device, role)| device.header(role)).collect(),
        ..Header::default()
    };
    let firsts = pointers
        .iter()
        .flat_map(|d| d.reports.first().map(|r| r.0).into_iter().chain(d.others.first().map(|o| o.0)));
    let start = firsts.min().unwrap_or_default();
    let mut entries = Vec::new();
    for (index, device) in pointers.into_iter().enumerate() {
        let others = device.others.into_iter().map(|(t, count)| (t, Event::Other(count)));
        let reports = device
            .reports
            .into_iter()
            .map(|(t, bytes)| (t, Event::Report(Report { bytes, node: 0, place: 0, kernel: None })));
        entries.extend(reports.chain(others).map(|(t, event)| entry(t - start, index, event)));
    }
    entries.sort_by_key(|e| e.t);
    if entries.last().is_some_and(|last| last.t.0 > MAX_TIME) {
        return Err(ImportError::TooLong);
    }
    Ok((header, entries))
}

fn entry(t: Nanos, device: usize, event: Event) -> Entry {
    Entry { t, device, event }
}

/// Whole lines, hashed as they pass.
struct Lines<R> {
    source: R,
    line: Vec<u8>,
    number: u64,
    hash: Sha256,
    bytes: u64,
    cut_short: bool,
}

impl<R: BufRead> Lines<R> {
    fn new(source: R) -> Lines<R> {
        Lines { source, line: Vec::new(), number: 0, hash: Sha256::new(), bytes: 0, cut_short: false }
    }

    /// The next whole line, with its number, without its end. A last line without its end is left out and noted.
    fn next(&mut self) -> Result<Option<(u64, &[u8])>, ImportError> {
        self.line.clear();
        match (&mut self.source).take(MAX_LINE + 1).read_until(b'\n', &mut self.line) {
            Ok(_) => {}
            // A compressed file that was cut: what came out of it before is good.
            Err(e) if e.kind() == ErrorKind::UnexpectedEof => {
                self.cut_short = true;
                return Ok(None);
            }
            Err(e) => return Err(e.into()),
        }
        self.number += 1;
        match self.line.split_last() {
            Some((b'\n', line)) => {
                self.hash.update(&self.line);
                self.bytes += self.line.len() as u64;
                Ok(Some((self.number, line)))
            }
            Some(_) if self.line.len() as u64 > MAX_LINE => {
                let what = format!("longer than {MAX_LINE} bytes: not a HID recording");
                Err(ImportError::Line { line: self.number, what })
            }
            last => {
                self.cut_short = last.is_some();
                Ok(None)
            }
        }
    }

    fn digest(self) -> Digest {
        Digest { sha256: self.hash.finalize().into(), bytes: self.bytes, cut_short: self.cut_short }
    }
}
