//! What a live device, a simulated one and a replayed recording have in common.
//!
//! A source is one *node*: one stream of input reports. It waits, stamps once at wake-up, and hands over everything
//! that was queued; it decodes nothing. The recorder runs each source on a thread of its own.

use crate::session::{ClockId, Node};
use crate::units::Nanos;

/// What one wait brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arrival {
    /// One or more reports lie in the batch.
    Reports,
    /// Nothing came within the source's waiting time; ask again.
    Nothing,
    /// The device went away. Reports that were still queued were delivered before this.
    Gone,
    /// The source has no more: a replayed or simulated device reached its end.
    Finished,
}

/// The reports read in one wake-up, oldest first, in one reusable buffer.
///
/// A report's place in the batch is the number of reports read before it in the same wake-up: only place 0 was
/// stamped when it woke the reader, the others had been waiting.
#[derive(Debug, Default, Clone)]
pub struct Batch {
    /// When the reader woke, on the source's clock.
    pub received: Nanos,
    bytes: Vec<u8>,
    ends: Vec<usize>,
    /// Shorter than the batch where the last ones have none.
    kernel: Vec<Option<Nanos>>,
}

impl Batch {
    /// Forgets the reports, keeps the buffer.
    pub fn clear(&mut self) {
        self.bytes.clear();
        self.ends.clear();
        self.kernel.clear();
    }

    /// Adds one report as it came; an empty one counts.
    pub fn push(&mut self, report: &[u8]) {
        self.bytes.extend_from_slice(report);
        self.ends.push(self.bytes.len());
    }

    /// Says when the kernel itself had the report of this place, on the source's clock.
    pub fn stamp(&mut self, place: usize, kernel: Nanos) {
        if place < self.len() {
            self.kernel.resize(self.kernel.len().max(place + 1), None);
            if let Some(stamp) = self.kernel.get_mut(place) {
                *stamp = Some(kernel);
            }
        }
    }

    /// The kernel's own stamp of the report of this place, where there is one.
    pub fn kernel(&self, place: usize) -> Option<Nanos> {
        self.kernel.get(place).copied().flatten()
    }

    /// Number of reports.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// True if there is none.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// The reports in order of arrival.
    pub fn reports(&self) -> impl Iterator<Item = &[u8]> {
        let starts = std::iter::once(0).chain(self.ends.iter().copied());
        starts.zip(&self.ends).map(|(start, &end)| self.bytes.get(start..end).unwrap_or_default())
    }
}

/// A source that failed for a reason other than the device going away.
#[derive(Debug, thiserror::Error)]
#[error("{what}")]
pub struct SourceError {
    /// What failed, where, and what to do.
    pub what: String,
}

/// One stream of input reports.
pub trait ReportSource: Send {
    /// The node that the reports come from, as the session header describes it.
    fn node(&self) -> &Node;

    /// The clock of [`Batch::received`]. `Monotonic` is the host's own, absolute; `Simulated` starts at the session.
    fn clock(&self) -> ClockId;

    /// How far a simulated source has come, if it goes on while it says nothing: nothing earlier comes any more.
    fn reached(&self) -> Option<Nanos> {
        None
    }

    /// Waits a bounded time (at most about 0.1 s) for reports and fills `batch`, which the caller has cleared.
    ///
    /// # Errors
    /// [`SourceError`] if the source failed otherwise than by [`Arrival::Gone`].
    fn wait(&mut self, batch: &mut Batch) -> Result<Arrival, SourceError>;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_batch_keeps_order_empty_reports_and_stamps() {
        let mut batch = Batch::default();
        batch.push(&[1, 2]);
        batch.push(&[]);
        batch.push(&[3]);
        let got: Vec<&[u8]> = batch.reports().collect();
        assert_eq!(got, [&[1u8, 2][..], &[], &[3]]);
        batch.stamp(1, Nanos(7));
        batch.stamp(9, Nanos(8));
        assert_eq!([0, 1, 2, 9].map(|place| batch.kernel(place)), [None, Some(Nanos(7)), None, None]);
        batch.clear();
        assert_eq!(batch.kernel(1), None);
        assert!(batch.is_empty() && batch.reports().next().is_none());
    }
}
