//! A simulated device as a report source, for the recorder.

use crate::bench::Session;
use crate::chain::Chain;
use slipgauge_trace::session::{ClockId, Event, Node};
use slipgauge_trace::source::{Arrival, Batch, ReportSource, SourceError};
use slipgauge_trace::{Nanos, session};
use std::time::{Duration, Instant};

/// Longest wait in one call.
const WAIT: Duration = Duration::from_millis(100);

/// How fast simulated time goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pacing {
    /// As fast as it can be worked out.
    Flat,
    /// One second a second.
    RealTime,
}

/// One device of a session as a source. Its stamps are simulated time whatever the pacing.
pub struct SimulatedSource {
    chain: Chain,
    node: Node,
    pacing: Pacing,
    started: Option<Instant>,
    held: Option<(Nanos, session::Report)>,
}

impl SimulatedSource {
    /// The device with this index (0: under test, 1: reference), or `None` if there is none.
    pub fn new(session: &Session, device: usize, pacing: Pacing) -> Option<SimulatedSource> {
        let node = session.header().devices.get(device)?.nodes.first()?.clone();
        Some(SimulatedSource { chain: session.chain(device)?, node, pacing, started: None, held: None })
    }

    fn next_report(&mut self) -> Option<(Nanos, session::Report)> {
        self.held.take().or_else(|| {
            self.chain.by_ref().find_map(|entry| match entry.event {
                Event::Report(report) => Some((entry.t, report)),
                _ => None,
            })
        })
    }
}

impl ReportSource for SimulatedSource {
    fn node(&self) -> &Node {
        &self.node
    }

    fn clock(&self) -> ClockId {
        ClockId::Simulated
    }

    fn wait(&mut self, batch: &mut Batch) -> Result<Arrival, SourceError> {
        let Some((t, report)) = self.next_report() else { return Ok(Arrival::Finished) };
        if self.pacing == Pacing::RealTime {
            let started = *self.started.get_or_insert_with(Instant::now);
            let due = Duration::from_nanos(u64::try_from(t.0).unwrap_or(0));
            let left = due.saturating_sub(started.elapsed());
            std::thread::sleep(left.min(WAIT));
            if left > WAIT {
                self.held = Some((t, report));
                return Ok(Arrival::Nothing);
            }
        }
        batch.received = t;
        batch.push(&report.bytes);
        while let Some((next, report)) = self.next_report() {
            if next != t {
                self.held = Some((next, report));
                break;
            }
            batch.push(&report.bytes);
        }
        Ok(Arrival::Reports)
    }
}
