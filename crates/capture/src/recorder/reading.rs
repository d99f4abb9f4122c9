//! The reading thread: wait, stamp, read, drop what may not be kept, hand over.
//!
//! **Privacy.** Of a report that the layout does not admit nothing leaves this thread but a count a second, told at
//! whole seconds of the session.
//!
//! **Bounds.** Buffers go round: the writer returns each when it is written. A reader that has none left waits; the
//! kernel's ring then takes 63 more reports, and the time is told as a stall of the host.

use super::{Time, Track, watch};
use crate::hidraw::RING;
use slipgauge_trace::Nanos;
use slipgauge_trace::layout::Layout;
use slipgauge_trace::source::{Arrival, Batch, ReportSource};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// Buffers that go round for each node, one for each wake-up that is not yet written: 8 s at 8 kHz. A writer is held up
/// for as long as a slow disk takes to sync, which is seconds. About 200 bytes each for short reports, made when needed.
pub(super) const BUFFERS: usize = 1 << 16;

/// Room in the channel for messages that carry no buffer (silence, stalls, the end).
pub(super) const SLACK: usize = 256;

/// One wake-up's reports that may be kept, and what is known of the others.
#[derive(Debug, Default)]
pub(super) struct Handover {
    /// Session time of the wake-up.
    pub t: Nanos,
    /// The admitted reports.
    pub reports: Batch,
    /// Place of each in the drained batch.
    pub places: Vec<u32>,
    /// True if the drained batch was as long as the ring.
    pub overrun: bool,
    /// Reports that were not admitted, of a whole second.
    pub other: u64,
}

/// What the writer is told.
pub(super) enum Message {
    /// Reports of the track.
    Batch(usize, Box<Handover>),
    /// Whatever the track brings from now on is not earlier than this.
    Quiet(usize, Nanos),
    /// The host was held up for so long, until then.
    Stall { t: Nanos, length: Nanos },
    /// The machine slept for so long, until then.
    Suspend { t: Nanos, length: Nanos },
    /// The track's last message.
    Closed(usize, Nanos, Closing),
}

/// Why a reading thread ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Closing {
    Told,
    Gone,
    Finished,
    Failed(String),
}

/// The flags that end a reading thread.
#[derive(Clone, Copy)]
pub(super) struct Told<'a> {
    pub stop: &'a AtomicBool,
    pub halt: &'a AtomicBool,
}

impl Told<'_> {
    fn to_stop(self) -> bool {
        self.stop.load(Ordering::Relaxed) || self.halt.load(Ordering::Relaxed)
    }
}

/// The reader's side of the buffers that go round.
pub(super) struct Pool {
    returned: Receiver<Box<Handover>>,
    /// How many may still be made.
    unmade: usize,
}

/// The way back for buffers, and the pool that they come back to.
pub(super) fn pool() -> (SyncSender<Box<Handover>>, Pool) {
    pool_of(BUFFERS)
}

/// A pool that makes so many buffers at the most.
pub(super) fn pool_of(buffers: usize) -> (SyncSender<Box<Handover>>, Pool) {
    let (back, returned) = sync_channel(buffers);
    (back, Pool { returned, unmade: buffers })
}

/// The writer is no longer there.
struct Abandoned;

impl Pool {
    /// An empty buffer. Waits if all are on their way.
    fn take(&mut self) -> Result<Box<Handover>, Abandoned> {
        let mut buffer = match self.returned.try_recv() {
            Ok(buffer) => buffer,
            Err(_) if self.unmade > 0 => {
                self.unmade -= 1;
                Box::default()
            }
            Err(_) => self.returned.recv().map_err(|_| Abandoned)?,
        };
        buffer.reports.clear();
        buffer.places.clear();
        Ok(buffer)
    }
}

/// A reading thread's state.
pub(super) struct Reader<'a> {
    track: usize,
    layout: Layout,
    source: Box<dyn ReportSource>,
    time: Time,
    told: Told<'a>,
    sender: SyncSender<Message>,
    pool: Pool,
    /// Refused reports of the second that began at `second`, not told yet.
    other: u64,
    second: i64,
    /// Latest session time of a wake-up.
    latest: Nanos,
    closing: Closing,
}

/// However the thread ends, the writer is told: it would wait for ever.
impl Drop for Reader<'_> {
    fn drop(&mut self) {
        let closing = std::mem::replace(&mut self.closing, Closing::Told);
        let _ = self.sender.send(Message::Closed(self.track, self.latest, closing));
    }
}

impl<'a> Reader<'a> {
    pub(super) fn new(
        index: usize,
        track: Track,
        time: Time,
        told: Told<'a>,
        sender: SyncSender<Message>,
        pool: Pool,
    ) -> Reader<'a> {
        let Track { layout, source, .. } = track;
        Reader {
            track: index,
            layout,
            source,
            time,
            told,
            sender,
            pool,
            other: 0,
            second: 0,
            latest: time.now().map_or(Nanos(i64::MIN), |_| Nanos(0)),
            closing: Closing::Failed("its reading thread broke off; please report this".to_owned()),
        }
    }

    /// Reads until told to stop, or until the source ends.
    pub(super) fn run(mut self) {
        // A writer that is no longer there needs to be told nothing.
        if let Ok(closing) = self.read() {
            let _ = self.tell_other(self.latest);
            self.closing = closing;
        }
    }

    fn read(&mut self) -> Result<Closing, Abandoned> {
        let mut drained = Batch::default();
        while !self.told.to_stop() {
            drained.clear();
            let arrival = match self.source.wait(&mut drained) {
                Ok(arrival) => arrival,
                Err(error) => return Ok(Closing::Failed(error.what)),
            };
            match arrival {
                Arrival::Reports => self.hand_over(&drained)?,
                Arrival::Nothing => self.pause()?,
                Arrival::Gone | Arrival::Finished => {
                    self.latest = self.latest.max(self.time.now().unwrap_or(self.latest));
                    return Ok(if arrival == Arrival::Gone { Closing::Gone } else { Closing::Finished });
                }
            }
        }
        Ok(Closing::Told)
    }

    fn hand_over(&mut self, drained: &Batch) -> Result<(), Abandoned> {
        let t = self.time.of(drained.received);
        self.latest = self.latest.max(t);
        self.tell_other_of_past_seconds(t)?;
        let refused = drained.reports().filter(|report| !self.layout.admits(report)).count();
        self.other += refused as u64;
        let overrun = drained.len() >= RING;
        if refused == drained.len() && !overrun {
            return Ok(());
        }
        let mut buffer = self.buffer()?;
        (buffer.t, buffer.overrun, buffer.other) = (t, overrun, 0);
        for (place, report) in (0u32..).zip(drained.reports()) {
            if self.layout.admits(report) {
                buffer.reports.push(report);
                // What the kernel had before the session began has no time in it.
                let kernel = drained.kernel(place as usize).map(|k| self.time.of(k)).filter(|k| k.0 >= 0);
                if let Some(k) = kernel {
                    buffer.reports.stamp(buffer.reports.len() - 1, k);
                }
                buffer.places.push(place);
            }
        }
        self.send(Message::Batch(self.track, buffer))
    }

    /// Nothing came: time went on all the same.
    fn pause(&mut self) -> Result<(), Abandoned> {
        let simulated = || self.source.reached().map(|t| self.time.of(t));
        let Some(now) = self.time.now().or_else(simulated) else { return Ok(()) };
        self.latest = self.latest.max(now);
        self.tell_other_of_past_seconds(now)?;
        self.send(Message::Quiet(self.track, now))
    }

    fn tell_other_of_past_seconds(&mut self, t: Nanos) -> Result<(), Abandoned> {
        let second = t.0.div_euclid(Nanos::SECOND.0);
        if second > self.second {
            self.tell_other(Nanos((self.second + 1) * Nanos::SECOND.0))?;
            self.second = second;
        }
        Ok(())
    }

    fn tell_other(&mut self, t: Nanos) -> Result<(), Abandoned> {
        if self.other == 0 {
            return Ok(());
        }
        let mut buffer = self.buffer()?;
        (buffer.t, buffer.overrun, buffer.other) = (t, false, std::mem::take(&mut self.other));
        self.send(Message::Batch(self.track, buffer))
    }

    /// A buffer; the wait for one is the host's doing.
    fn buffer(&mut self) -> Result<Box<Handover>, Abandoned> {
        let before = self.time.now();
        let buffer = self.pool.take()?;
        if let (Some(before), Some(t)) = (before, self.time.now()) {
            let length = t - before;
            if length > watch::STALL {
                self.send(Message::Stall { t, length })?;
            }
        }
        Ok(buffer)
    }

    fn send(&self, message: Message) -> Result<(), Abandoned> {
        self.sender.send(message).map_err(|_| Abandoned)
    }
}
