//! A session file as a source of reports: one node of one device, as fast as it is asked.
//!
//! Recording a replay gives the same report lines again. What is not a report of the node is passed over; the end of
//! the file is the end of the source, and so is the device's `gone`.

use slipgauge_trace::session::{self, ClockId, Entry, Event, Header, Node, Reader};
use slipgauge_trace::source::{Arrival, Batch, ReportSource, SourceError};
use slipgauge_trace::{Nanos, TraceError};
use std::io::BufRead;
use std::path::Path;

/// A session that cannot be replayed.
#[derive(Debug, thiserror::Error)]
pub enum ReplayError {
    /// It cannot be read.
    #[error(transparent)]
    Trace(#[from] TraceError),
    /// There is no such node in it.
    #[error("the session has no device {device} with a node {node}")]
    NoNode {
        /// Index of the device asked for.
        device: usize,
        /// Index of the node asked for.
        node: usize,
    },
}

/// One node of a recorded session. Its clock is simulated: the session's own times.
pub struct ReplaySource {
    node: Node,
    place: (usize, usize),
    reader: Reader<Box<dyn BufRead + Send>>,
    next: Option<(Nanos, session::Report)>,
    gone: bool,
}

impl ReplaySource {
    /// Opens one node of a session file and returns the session's header beside it.
    ///
    /// # Errors
    /// [`ReplayError`] if the file cannot be read or has no such node.
    pub fn open(path: &Path, device: usize, node: usize) -> Result<(Header, ReplaySource), ReplayError> {
        ReplaySource::read(session::open(path)?, device, node)
    }

    /// Takes one node of an uncompressed session from a stream.
    ///
    /// # Errors
    /// As [`ReplaySource::open`].
    pub fn read(
        stream: Box<dyn BufRead + Send>,
        device: usize,
        node: usize,
    ) -> Result<(Header, ReplaySource), ReplayError> {
        let (header, reader) = Reader::new(stream)?;
        let found = header.devices.get(device).and_then(|d| d.nodes.get(node)).cloned();
        let described = found.ok_or(ReplayError::NoNode { device, node })?;
        let mut source =
            ReplaySource { node: described, place: (device, node), reader, next: None, gone: false };
        source.advance()?;
        Ok((header, source))
    }

    /// Looks for the node's next report.
    fn advance(&mut self) -> Result<(), TraceError> {
        self.next = None;
        while let Some(Entry { t, device, event }) = self.reader.next_entry()? {
            match event {
                Event::Report(report) if (device, report.node) == self.place => {
                    self.next = Some((t, report));
                    return Ok(());
                }
                Event::Gone if device == self.place.0 => {
                    self.gone = true;
                    return Ok(());
                }
                _ => {}
            }
        }
        Ok(())
    }
}

impl ReportSource for ReplaySource {
    fn node(&self) -> &Node {
        &self.node
    }

    fn clock(&self) -> ClockId {
        ClockId::Simulated
    }

    fn wait(&mut self, batch: &mut Batch) -> Result<Arrival, SourceError> {
        let Some((t, _)) = self.next else {
            return Ok(if self.gone { Arrival::Gone } else { Arrival::Finished });
        };
        batch.received = t;
        let mut place = None;
        // One wake-up's reports have one stamp, and places that go up.
        while let Some((_, report)) =
            self.next.take_if(|(next, report)| *next == t && place.is_none_or(|last| report.place > last))
        {
            batch.push(&report.bytes);
            if let Some(k) = report.kernel {
                batch.stamp(batch.len() - 1, k);
            }
            place = Some(report.place);
            self.advance().map_err(|error| SourceError { what: format!("the replayed session: {error}") })?;
        }
        Ok(Arrival::Reports)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SESSION: &str = concat!(
        r#"{"slipgauge":1,"tool":"test","devices":[{"nodes":[{"protocol":"boot"},{"protocol":"boot"}]}]}"#,
        "\n",
        r#"{"t":1000,"r":"000100"}"#,
        "\n",
        r#"{"t":1000,"r":"000200","q":1}"#,
        "\n",
        r#"{"t":1000,"r":"00ff00","n":1}"#,
        "\n",
        r#"{"t":1500,"stall":10}"#,
        "\n",
        r#"{"t":2000,"r":"000300"}"#,
        "\n",
        r#"{"t":3000,"end":true}"#,
        "\n"
    );

    fn open(node: usize) -> Result<(Header, ReplaySource), ReplayError> {
        ReplaySource::read(Box::new(SESSION.as_bytes()), 0, node)
    }

    #[test]
    fn gives_one_nodes_reports_in_their_batches() {
        let (_, mut source) = open(0).unwrap();
        let mut got = Vec::new();
        loop {
            let mut batch = Batch::default();
            match source.wait(&mut batch).unwrap() {
                Arrival::Reports => {
                    got.push((batch.received.0, batch.reports().map(|r| r[1]).collect::<Vec<_>>()));
                }
                end => {
                    assert_eq!(end, Arrival::Finished);
                    break;
                }
            }
        }
        assert_eq!(got, [(1000, vec![1, 2]), (2000, vec![3])]);
    }

    #[test]
    fn refuses_a_node_that_is_not_there() {
        assert!(matches!(open(2), Err(ReplayError::NoNode { device: 0, node: 2 })));
    }
}
