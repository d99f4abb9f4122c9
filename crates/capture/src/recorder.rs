//! Sources in, session file out.
//!
//! One reading thread a node does nothing but wait, stamp, read, drop what may not be kept, and hand over; the thread
//! that runs the recorder merges and writes; a watch thread notices when the host itself is held up. Owns the file's
//! promises: in time order, written within a second, on disk within five, nothing overwritten, kept whatever happens.
//!
//! Memory is bounded by the buffers that go round between a reading thread and the writer (see `recorder/reading.rs`).

mod attend;
mod file;
mod merge;
mod priority;
mod reading;
mod watch;
mod writing;

pub use attend::{Attendant, Attended, attend};
pub use file::Resumed;

use crate::clock;
use slipgauge_trace::layout::Layout;
use slipgauge_trace::session::{self, ClockId, Header, Phase};
use slipgauge_trace::source::ReportSource;
use slipgauge_trace::{Nanos, TraceError};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU64, Ordering};
use std::sync::mpsc::sync_channel;
use std::thread;

/// One node to be recorded.
pub struct Track {
    /// Index of its device in the header.
    pub device: usize,
    /// Index of the node within the device.
    pub node: usize,
    /// Says which of its reports may be kept.
    pub layout: Layout,
    /// Where they come from.
    pub source: Box<dyn ReportSource>,
}

/// What is asked of the operator and when, in session time.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Timetable {
    /// Begin of each phase, in order; `None` is the time between phases.
    pub phases: Vec<(Nanos, Option<Phase>)>,
    /// When the recording ends of itself; `None`: when it is stopped, or the source ends.
    pub length: Option<Nanos>,
}

/// What a display may look at while the recorder runs. Costs the reading threads nothing.
#[derive(Debug, Default)]
pub struct Progress {
    reports: AtomicU64,
    reached: AtomicI64,
}

impl Progress {
    /// Reports written so far.
    pub fn reports(&self) -> u64 {
        self.reports.load(Ordering::Relaxed)
    }

    /// Session time reached, to about 10 ms.
    pub fn reached(&self) -> Nanos {
        Nanos(self.reached.load(Ordering::Relaxed))
    }
}

/// A recording to be made. All sources must be on the same clock.
pub struct Recorder {
    /// Line 1; the recorder fills in version, clock and whether real-time priority was given.
    pub header: Header,
    /// The nodes.
    pub tracks: Vec<Track>,
    /// The phases and the length.
    pub timetable: Timetable,
    /// The file to be made. It must not exist, unless a recording is taken up again.
    pub path: PathBuf,
    /// The recording that is taken up again, if one is; `header` is then not written.
    pub resumed: Option<Resumed>,
    /// Who is shown each line and may have some written, if anybody.
    pub attended: Option<Attended>,
    /// Set from outside to end the recording.
    pub stop: Arc<AtomicBool>,
    /// To be looked at from outside.
    pub progress: Arc<Progress>,
}

/// How a recording ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ended {
    /// At the end of its timetable.
    Timetable,
    /// It was told to stop.
    Stopped,
    /// The last device went away.
    Gone,
    /// A replayed or simulated device came to its end.
    SourceFinished,
    /// A source failed; what it says.
    Failed(String),
}

/// What came of a recording.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// How it ended.
    pub ended: Ended,
    /// Session time at the end.
    pub length: Nanos,
    /// Reports written.
    pub reports: u64,
    /// Reports that may not be kept: counted only.
    pub other: u64,
    /// Times that the host was held up.
    pub stalls: u64,
    /// The longest of them.
    pub longest_stall: Nanos,
    /// Batches as long as the kernel's ring: reports may have been lost.
    pub overruns: u64,
    /// Devices that went away, by index.
    pub gone: Vec<usize>,
    /// True if every reading thread was given real-time priority; `None` for a source that needs none.
    pub realtime: Option<bool>,
}

/// A recording that could not be made. What was written before is kept.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// The file is there already.
    #[error("{}: there is such a file already, and a recording is never overwritten; choose another name", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The file cannot be made.
    #[error("{}: cannot be created: {source}", path.display())]
    Create {
        /// The file.
        path: PathBuf,
        /// The system's answer.
        source: std::io::Error,
    },
    /// The file cannot be taken up again.
    #[error("{}: cannot be gone on with: {what}", path.display())]
    Resume {
        /// The file.
        path: PathBuf,
        /// Why, and what to do.
        what: String,
    },
    /// The file cannot be written on.
    #[error("{}: {source}; what was written before is kept", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What failed.
        source: TraceError,
    },
    /// A thread cannot be started.
    #[error("cannot start a thread: {0}")]
    Thread(std::io::Error),
    /// Nothing to record.
    #[error("no node to record")]
    NoTrack,
    /// Stamps that cannot be compared.
    #[error("the nodes are stamped by different clocks and cannot share a session")]
    Clocks,
}

/// Where the session's time comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Time {
    /// The host's clock, of which the session began here.
    Live(Nanos),
    /// The sources' own stamps, as fast as they come, from here on.
    Simulated(Nanos),
}

impl Time {
    /// Session time of a stamp.
    fn of(self, stamp: Nanos) -> Nanos {
        match self {
            Time::Live(origin) => stamp - origin,
            Time::Simulated(begin) => begin + stamp,
        }
    }

    /// Session time now, where there is such a thing.
    fn now(self) -> Option<Nanos> {
        match self {
            Time::Live(origin) => Some(clock::now() - origin),
            Time::Simulated(_) => None,
        }
    }
}

impl Recorder {
    /// Records until the timetable's end, the stop flag, or the end of the sources. Blocks until the file is closed.
    ///
    /// # Errors
    /// [`RecordError`]. A device that goes away is no error: see [`Summary::ended`].
    pub fn run(mut self) -> Result<Summary, RecordError> {
        let id = self.tracks.first().ok_or(RecordError::NoTrack)?.source.clock();
        if self.tracks.iter().any(|track| track.source.clock() != id) {
            return Err(RecordError::Clocks);
        }
        let live = id == ClockId::Monotonic;
        let file = match &self.resumed {
            Some(resumed) => resumed.open(&self.path)?,
            None => file::create(&self.path)?,
        };
        let begin = self.resumed.as_ref().map_or(Nanos(0), Resumed::begin);
        let time = if live { Time::Live(clock::now() - begin) } else { Time::Simulated(begin) };
        self.header.slipgauge = session::VERSION;
        self.header.clock = session::Clock {
            id,
            resolution_ns: if live { Some(clock::resolution()) } else { self.header.clock.resolution_ns },
        };

        let halt = AtomicBool::new(false);
        let (sender, receiver) = sync_channel(self.tracks.len() * reading::BUFFERS + reading::SLACK);
        let (started, starts) = sync_channel(self.tracks.len());
        let nodes: Vec<_> = self.tracks.iter().map(|track| (track.device, track.node)).collect();
        thread::scope(|scope| {
            // Whatever happens in here, the threads end: the scope would wait for them for ever.
            let _halted = HaltOnDrop(&halt);
            let mut returns = Vec::new();
            for (index, track) in self.tracks.drain(..).enumerate() {
                let (back, pool) = reading::pool();
                returns.push(back);
                let told = reading::Told { stop: &self.stop, halt: &halt };
                let reader = reading::Reader::new(index, track, time, told, sender.clone(), pool);
                let started = started.clone();
                let body = move || {
                    let _ = started.send(live && priority::ask_for_real_time());
                    reader.run();
                };
                let builder = thread::Builder::new().name(format!("read-{index}"));
                builder.spawn_scoped(scope, body).map_err(RecordError::Thread)?;
            }
            drop(started);
            if live {
                let halt = &halt;
                let body = move || watch::run(time, halt, &sender);
                thread::Builder::new()
                    .name("watch".to_owned())
                    .spawn_scoped(scope, body)
                    .map_err(RecordError::Thread)?;
            }
            let realtime = live.then(|| starts.iter().take(nodes.len()).fold(true, |all, given| all & given));
            if let Some(given) = realtime {
                self.header.host.insert("realtime".to_owned(), given.into());
            }
            let failed = |source| RecordError::Write { path: self.path.clone(), source };
            let file = match &self.resumed {
                Some(_) => file::SessionFile::resume(file),
                None => file::SessionFile::new(file, &self.header),
            };
            let file = file.map_err(failed)?;
            let mut writing =
                writing::Writing::new(file, nodes, returns, time, &self.timetable, &self.progress);
            writing.attended = self.attended.take();
            if let Some(resumed) = &self.resumed {
                writing.go_on(resumed).map_err(failed)?;
            }
            let mut summary = writing.run(receiver, &halt).map_err(failed)?;
            summary.realtime = realtime;
            Ok(summary)
        })
    }
}

struct HaltOnDrop<'a>(&'a AtomicBool);

impl Drop for HaltOnDrop<'_> {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests;
