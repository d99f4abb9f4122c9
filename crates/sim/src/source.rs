//! A simulated device as a report source, for the recorder.

use crate::Operator;
use crate::bench::Session;
use crate::chain::Chain;
use slipgauge_trace::session::{ClockId, Event, Node};
use slipgauge_trace::source::{Arrival, Batch, ReportSource, SourceError};
use slipgauge_trace::{Nanos, session};
use std::collections::VecDeque;
use std::time::{Duration, Instant};

/// Longest wait in one call.
const WAIT: Duration = Duration::from_millis(100);

/// How often a led session goes on.
const LED_WAIT: Duration = Duration::from_millis(4);

/// How fast simulated time goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pacing {
    /// As fast as it can be worked out.
    Flat,
    /// One second a second.
    RealTime,
}

/// The device under test with a led operator, run by whoever leads: as far as is asked each time.
pub struct Led {
    chain: Chain,
}

impl Led {
    /// A session of this bench; its script is not used.
    pub fn new(session: &Session, operator: &Operator) -> Option<Led> {
        let mut chain = session.chain(0)?;
        chain.lead(operator.clone());
        Some(Led { chain })
    }

    /// What comes until `t`, in order.
    pub fn run_to(&mut self, t: Nanos) -> Vec<session::Entry> {
        self.chain.run_to(t.0).collect()
    }

    /// True once the operator has left.
    pub fn finished(&self) -> bool {
        self.chain.finished()
    }
}

/// A led session as a source for the recorder: so many seconds a second.
pub struct LedSource {
    led: Led,
    node: Node,
    times: f64,
    started: Option<Instant>,
    reached: Nanos,
    waiting: VecDeque<(Nanos, session::Report)>,
}

impl LedSource {
    /// `times` simulated seconds a second.
    pub fn new(session: &Session, operator: &Operator, times: f64) -> Option<LedSource> {
        let node = session.header().devices.first()?.nodes.first()?.clone();
        let led = Led::new(session, operator)?;
        Some(LedSource { led, node, times, started: None, reached: Nanos(0), waiting: VecDeque::new() })
    }
}

impl ReportSource for LedSource {
    fn node(&self) -> &Node {
        &self.node
    }

    fn clock(&self) -> ClockId {
        ClockId::Simulated
    }

    fn reached(&self) -> Option<Nanos> {
        Some(self.reached)
    }

    fn wait(&mut self, batch: &mut Batch) -> Result<Arrival, SourceError> {
        if self.waiting.is_empty() {
            let started = *self.started.get_or_insert_with(Instant::now);
            std::thread::sleep(LED_WAIT);
            let now = Nanos((started.elapsed().as_secs_f64() * self.times * 1e9) as i64);
            for entry in self.led.run_to(now) {
                if let Event::Report(report) = entry.event {
                    self.waiting.push_back((entry.t, report));
                }
            }
            self.reached = self.reached.max(now);
        }
        let Some((t, report)) = self.waiting.pop_front() else {
            return Ok(if self.led.finished() { Arrival::Finished } else { Arrival::Nothing });
        };
        self.reached = self.reached.max(t);
        batch.received = t;
        batch.push(&report.bytes);
        while self.waiting.front().is_some_and(|(next, _)| *next == t)
            && let Some((_, report)) = self.waiting.pop_front()
        {
            batch.push(&report.bytes);
        }
        Ok(Arrival::Reports)
    }
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
