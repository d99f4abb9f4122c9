//! A hidraw node as a source of reports.
//!
//! Opened read-only and without waiting; `poll` waits, the clock is read at wake-up, then the kernel's queue is read
//! until it is empty, each report with its own length. A device that went away still hands out what is queued: `Gone`
//! is said only when a read finds nothing more.
//!
//! Source: linux Documentation/hid/hidraw.rst; drivers/hid/hidraw.c (a ring of 64 reports for each reader, of which 63
//! can be used; the newest is dropped silently when it is full; read gives `EIO` once the device is gone and the ring
//! is empty).

use crate::clock;
use crate::device::{Access, FoundNode};
use crate::inputs::{Inputs, Moving, Stamps};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use slipgauge_trace::Nanos;
use slipgauge_trace::layout::{Layout, LayoutError};
use slipgauge_trace::session::{ClockId, MAX_REPORT, Node};
use slipgauge_trace::source::{Arrival, Batch, ReportSource, SourceError};
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};

/// Longest wait for a report: how soon a reader notices that it is to stop.
const WAIT: Timespec = Timespec { tv_sec: 0, tv_nsec: 100_000_000 };

/// Most reports read in one wake-up. Sixteen rings: only a device that sends faster than it can be read gets there, and
/// what remains is read in the next wake-up.
const MOST: usize = 1024;

/// Usable places of the kernel's ring for one reader (`HIDRAW_BUFFER_SIZE` 64, less one): a batch as long as this was
/// read from a full ring, and the ring drops what comes then.
pub(crate) const RING: usize = 63;

/// A node that cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// Nothing on it may be recorded.
    #[error("{}: refused, {why}. Only pointing devices are recorded", path.display())]
    NoPointer {
        /// The node.
        path: PathBuf,
        /// What it is instead.
        why: LayoutError,
    },
    /// The user has no right to read it.
    #[error("{}: no right to read it. To get it,\n{permit}", path.display())]
    Denied {
        /// The node.
        path: PathBuf,
        /// What to do, step by step.
        permit: String,
    },
    /// It has no file, or no device behind it.
    #[error("{}: there is no device behind it; is it still plugged in? In a container, hand the node in", path.display())]
    Missing {
        /// The node.
        path: PathBuf,
    },
    /// The system refused otherwise.
    #[error("{}: cannot be opened: {source}", path.display())]
    Io {
        /// The node.
        path: PathBuf,
        /// The system's answer.
        source: std::io::Error,
    },
}

/// An open hidraw node. Its clock is the host's monotonic clock.
#[derive(Debug)]
pub struct HidrawSource {
    path: PathBuf,
    node: Node,
    fd: OwnedFd,
    report: Box<[u8]>,
    /// Where the kernel's own stamps come from, and what finds the motion that they are told by.
    stamps: Option<(Stamps, Layout)>,
}

/// Says what would keep a node from being opened, as far as that can be told without waking its device.
///
/// # Errors
/// [`OpenError`], as [`HidrawSource::open`] would give it.
pub fn check(found: &FoundNode) -> Result<(), OpenError> {
    let path = found.path.clone();
    match (&found.layout, found.access) {
        (Err(why), _) => Err(OpenError::NoPointer { path, why: why.clone() }),
        (Ok(_), Access::Denied) => Err(OpenError::Denied { path, permit: found.permit.clone() }),
        (Ok(_), Access::Missing) => Err(OpenError::Missing { path }),
        (Ok(_), Access::Ok) => Ok(()),
    }
}

impl HidrawSource {
    /// Opens a node for reading. The device is woken by that, and what it sends is queued from then on.
    ///
    /// # Errors
    /// [`OpenError`]; a node without a pointer is refused whatever its path.
    pub fn open(found: &FoundNode) -> Result<HidrawSource, OpenError> {
        check(found)?;
        let path = || found.path.clone();
        let flags = OFlags::RDONLY | OFlags::NONBLOCK | OFlags::CLOEXEC | OFlags::NOCTTY;
        let fd = rustix::fs::open(&found.path, flags, Mode::empty()).map_err(|errno| match errno {
            Errno::ACCESS | Errno::PERM => OpenError::Denied { path: path(), permit: found.permit.clone() },
            Errno::NOENT | Errno::NODEV | Errno::NXIO => OpenError::Missing { path: path() },
            other => OpenError::Io { path: path(), source: other.into() },
        })?;
        Ok(HidrawSource::reading(fd, &found.path, found.described()))
    }

    /// Has the kernel's own stamps recorded as well, where they can be had: the node has just one event node, which is
    /// open. Never needed: what cannot be stamped for sure is not, and the reports come first.
    #[must_use]
    pub fn stamped(mut self, found: &FoundNode, inputs: &Inputs) -> HidrawSource {
        let input = inputs.of(&found.path);
        self.stamps =
            input.zip(found.layout.clone().ok()).map(|(input, layout)| (Stamps::new(input), layout));
        self
    }

    /// Reads from something that behaves as a hidraw node does: one read, one report.
    fn reading(fd: OwnedFd, path: &Path, node: Node) -> HidrawSource {
        HidrawSource { path: path.to_owned(), node, fd, report: vec![0; MAX_REPORT].into(), stamps: None }
    }

    /// Finds the kernel's stamps of what was read; `empty` is when the queue was seen empty after it.
    fn stamp(&mut self, batch: &mut Batch, empty: Option<Nanos>) {
        let Some((stamps, layout)) = &mut self.stamps else { return };
        stamps.begin();
        if batch.len() >= RING {
            stamps.unsure();
        }
        for (place, report) in batch.reports().enumerate().filter(|(_, report)| layout.admits(report)) {
            match layout.decode(report) {
                Ok(got) if (got.x, got.y) == (0, 0) => {}
                Ok(got) => stamps.moving(Moving { place, x: got.x, y: got.y }),
                // The kernel makes of it what it likes.
                Err(_) => stamps.unsure(),
            }
        }
        stamps.end(empty, |place, k| batch.stamp(place, k));
    }

    fn failed(&self, doing: &str, errno: Errno) -> SourceError {
        SourceError {
            what: format!("{}: {doing} failed: {}", self.path.display(), std::io::Error::from(errno)),
        }
    }
}

impl ReportSource for HidrawSource {
    fn node(&self) -> &Node {
        &self.node
    }

    fn clock(&self) -> ClockId {
        ClockId::Monotonic
    }

    fn wait(&mut self, batch: &mut Batch) -> Result<Arrival, SourceError> {
        let mut polled = [PollFd::new(&self.fd, PollFlags::IN)];
        let woken = poll(&mut polled, Some(&WAIT));
        batch.received = clock::now();
        let [polled] = polled;
        let hung_up = polled.revents().intersects(PollFlags::HUP | PollFlags::ERR | PollFlags::NVAL);
        match woken {
            Ok(0) | Err(Errno::INTR) => return Ok(Arrival::Nothing),
            Ok(_) => {}
            Err(errno) => return Err(self.failed("waiting", errno)),
        }
        let (mut gone, mut empty) = (false, None);
        while batch.len() < MOST {
            let before = clock::now();
            match rustix::io::read(&self.fd, &mut *self.report) {
                // hidraw never reads 0 bytes; a pipe does when the other end has closed it.
                Ok(0) | Err(Errno::IO | Errno::NODEV) => {
                    gone = true;
                    break;
                }
                Ok(length) => batch.push(self.report.get(..length).unwrap_or_default()),
                Err(Errno::INTR) => {}
                Err(Errno::AGAIN) => {
                    (gone, empty) = (hung_up, Some(before));
                    break;
                }
                Err(errno) if batch.is_empty() => return Err(self.failed("reading", errno)),
                // What was read comes first; the next wait meets the error again.
                Err(_) => break,
            }
        }
        self.stamp(batch, empty);
        // If both, the next wait finds the hang-up again, with nothing queued before it.
        Ok(match (batch.is_empty(), gone) {
            (false, _) => Arrival::Reports,
            (true, true) => Arrival::Gone,
            (true, false) => Arrival::Nothing,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustix::pipe::{PipeFlags, pipe_with};
    use slipgauge_trace::Nanos;

    /// A source, and the end into which a test sends its reports.
    fn source() -> (HidrawSource, OwnedFd) {
        let (reading, writing) = pipe_with(PipeFlags::DIRECT | PipeFlags::NONBLOCK).unwrap();
        (HidrawSource::reading(reading, Path::new("/dev/hidraw-test"), Node::default()), writing)
    }

    fn send(writing: &OwnedFd, report: &[u8]) {
        assert_eq!(rustix::io::write(writing, report).unwrap(), report.len());
    }

    fn wait(source: &mut HidrawSource) -> (Arrival, Batch) {
        let mut batch = Batch::default();
        (source.wait(&mut batch).unwrap(), batch)
    }

    #[test]
    fn reads_all_that_is_queued_with_each_length() {
        let (mut source, writing) = source();
        for report in [&[1u8, 2, 3][..], &[4], &[5; 300]] {
            send(&writing, report);
        }
        let before = clock::now();
        let (arrival, batch) = wait(&mut source);
        assert_eq!(arrival, Arrival::Reports);
        assert_eq!(batch.reports().collect::<Vec<_>>(), [&[1u8, 2, 3][..], &[4], &[5; 300]]);
        assert!(before <= batch.received && batch.received <= clock::now());
    }

    #[test]
    fn says_gone_only_after_what_was_queued() {
        let (mut source, writing) = source();
        (0..12).for_each(|n| send(&writing, &[n]));
        drop(writing);
        let (arrival, batch) = wait(&mut source);
        assert_eq!((arrival, batch.len()), (Arrival::Reports, 12));
        let (arrival, batch) = wait(&mut source);
        assert_eq!((arrival, batch.len()), (Arrival::Gone, 0));
    }

    #[test]
    fn comes_back_when_nothing_arrives() {
        let (mut source, _writing) = source();
        let begin = clock::now();
        assert_eq!(wait(&mut source).0, Arrival::Nothing);
        assert!(clock::now() - begin < Nanos::SECOND, "a reader must notice soon that it is to stop");
    }
}
