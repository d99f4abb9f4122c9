//! A second party at a recording: it is shown each line as it is written, and may have lines of its own written.
//!
//! Phases that begin when the operator is ready, notes, and what the operator was shown come in this way. The recording
//! never waits for it: lines that are not fetched in time are not shown, and that is said.

use slipgauge_trace::session::{Entry, Event};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::time::Duration;

/// Hand-overs that may wait: one each time that the writer has written, every 10 ms at the most, so 40 s.
const WAITING: usize = 4096;

/// The second party's end.
#[derive(Debug)]
pub struct Attendant {
    write: Sender<Event>,
    written: Receiver<Vec<Entry>>,
    behind: Arc<AtomicBool>,
}

/// The recording's end; see [`super::Recorder::attended`].
#[derive(Debug)]
pub struct Attended {
    write: Receiver<Event>,
    written: SyncSender<Vec<Entry>>,
    behind: Arc<AtomicBool>,
    lines: Vec<Entry>,
}

/// Both ends.
pub fn attend() -> (Attendant, Attended) {
    let (write, orders) = channel();
    let (shown, written) = sync_channel(WAITING);
    let behind = Arc::new(AtomicBool::new(false));
    let attended = Attended { write: orders, written: shown, behind: Arc::clone(&behind), lines: Vec::new() };
    (Attendant { write, written, behind }, attended)
}

impl Attendant {
    /// Has a phase, a note, what was shown or a later fact written, at the time that the recording has reached. Other
    /// events are not anybody's to write, and are left out. False if the recording has ended.
    pub fn write(&self, event: Event) -> bool {
        self.write.send(event).is_ok()
    }

    /// Lines written since the last call, its own among them; waits no longer than `wait` for one. `None` once the
    /// recording has ended and all was shown.
    pub fn written(&self, wait: Duration) -> Option<Vec<Entry>> {
        use std::sync::mpsc::RecvTimeoutError;
        let mut lines = match self.written.recv_timeout(wait) {
            Ok(lines) => lines,
            Err(RecvTimeoutError::Timeout) => return Some(Vec::new()),
            Err(RecvTimeoutError::Disconnected) => return None,
        };
        lines.extend(self.written.try_iter().flatten());
        Some(lines)
    }

    /// True once lines were written that could not be shown. The file has them all.
    pub fn fell_behind(&self) -> bool {
        self.behind.load(Ordering::Relaxed)
    }
}

impl Attended {
    /// What is to be written.
    pub(super) fn orders(&self) -> impl Iterator<Item = Event> + use<> {
        let orders: Vec<Event> = self.write.try_iter().collect();
        let theirs =
            |e: &Event| matches!(e, Event::Phase(_) | Event::Live(_) | Event::Note(_) | Event::Meta(_));
        orders.into_iter().filter(theirs)
    }

    /// Takes a line that was written.
    pub(super) fn line(&mut self, entry: &Entry) {
        self.lines.push(entry.clone());
    }

    /// Shows what was written since the last time.
    pub(super) fn show(&mut self) {
        if !self.lines.is_empty() && self.written.try_send(std::mem::take(&mut self.lines)).is_err() {
            self.behind.store(true, Ordering::Relaxed);
        }
    }
}
