//! The session file while it is being written, and when it is safe.

use super::RecordError;
use slipgauge_trace::TraceError;
use slipgauge_trace::session::{Entry, Header, Writer};
use std::fs::File;
use std::io::{self, BufWriter, ErrorKind};
use std::path::Path;
use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// How often what was written is handed to the system, where it survives the end of this process. The promise is 1 s;
/// the rest is for the merge and the writer's own rhythm.
const HAND_ON: Duration = Duration::from_millis(250);

/// How often it is forced onto the disk, where it survives loss of power. The promise is 5 s.
const SYNC: Duration = Duration::from_secs(4);

/// Makes the file, which must not be there yet.
pub(super) fn create(path: &Path) -> Result<File, RecordError> {
    File::create_new(path).map_err(|source| match source.kind() {
        ErrorKind::AlreadyExists => RecordError::Exists { path: path.to_owned() },
        _ => RecordError::Create { path: path.to_owned(), source },
    })
}

/// The open file. A thread of its own forces it onto the disk: on a slow disk that takes seconds, in which writing goes
/// on.
pub(super) struct SessionFile {
    writer: Writer<BufWriter<File>>,
    handed_on: Instant,
    synced: Instant,
    pending: bool,
    /// Asks the syncing thread; `None` once that has failed.
    ask: Option<SyncSender<()>>,
    syncing: Option<JoinHandle<io::Result<()>>>,
}

impl SessionFile {
    /// Writes the header and hands it on at once.
    pub(super) fn new(file: File, header: &Header) -> Result<SessionFile, TraceError> {
        let same = file.try_clone().map_err(wrap)?;
        let mut writer = Writer::new(BufWriter::with_capacity(1 << 16, file), header)?;
        writer.flush()?;
        let (ask, asked) = sync_channel(1);
        let body = move || asked.iter().try_for_each(|()| sync(&same));
        let syncing = thread::Builder::new().name("sync".to_owned()).spawn(body).map_err(wrap)?;
        let now = Instant::now();
        let (ask, syncing) = (Some(ask), Some(syncing));
        Ok(SessionFile { writer, handed_on: now, synced: now, pending: false, ask, syncing })
    }

    pub(super) fn write(&mut self, entry: &Entry) -> Result<(), TraceError> {
        self.pending = true;
        self.writer.write(entry)
    }

    /// Keeps both promises; to be called several times a second.
    pub(super) fn keep(&mut self) -> Result<(), TraceError> {
        let now = Instant::now();
        if self.pending && now - self.handed_on >= HAND_ON {
            self.writer.flush()?;
            (self.pending, self.handed_on) = (false, now);
        }
        if now - self.synced >= SYNC {
            self.synced = now;
            // If the one before still runs, it may have begun too early for what came since: this one waits its turn.
            let asked = self.ask.as_ref().map(|ask| ask.try_send(()));
            if let Some(Err(TrySendError::Disconnected(()))) = asked {
                self.end_syncing()?;
            }
        }
        Ok(())
    }

    /// Hands everything on and onto the disk.
    pub(super) fn close(mut self) -> Result<(), TraceError> {
        self.writer.flush()?;
        self.end_syncing()?;
        sync(self.writer.sink().get_ref()).map_err(wrap)
    }

    /// Waits for the syncing thread and takes its error.
    fn end_syncing(&mut self) -> Result<(), TraceError> {
        self.ask = None;
        match self.syncing.take().map(JoinHandle::join) {
            Some(Ok(done)) => done.map_err(wrap),
            Some(Err(_)) => Err(wrap(io::Error::other("the syncing thread broke off"))),
            None => Ok(()),
        }
    }
}

fn sync(file: &File) -> io::Result<()> {
    match file.sync_data() {
        // Not every place for a file can be synced.
        Err(e) if e.kind() == ErrorKind::InvalidInput => Ok(()),
        done => done,
    }
}

fn wrap(source: io::Error) -> TraceError {
    TraceError::Io { doing: "keeping the session file safe", source }
}
