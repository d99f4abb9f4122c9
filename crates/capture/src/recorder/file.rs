//! The session file while it is being written, and when it is safe.

use super::RecordError;
use slipgauge_trace::TraceError;
use slipgauge_trace::session::{Entry, Header, Writer};
use std::fs::File;
use std::io::{BufWriter, ErrorKind};
use std::path::Path;
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

/// The open file.
pub(super) struct SessionFile {
    writer: Writer<BufWriter<File>>,
    handed_on: Instant,
    synced: Instant,
    pending: bool,
    unsynced: bool,
}

impl SessionFile {
    /// Writes the header and hands it on at once.
    pub(super) fn new(file: File, header: &Header) -> Result<SessionFile, TraceError> {
        let mut writer = Writer::new(BufWriter::with_capacity(1 << 16, file), header)?;
        writer.flush()?;
        let now = Instant::now();
        Ok(SessionFile { writer, handed_on: now, synced: now, pending: false, unsynced: true })
    }

    pub(super) fn write(&mut self, entry: &Entry) -> Result<(), TraceError> {
        (self.pending, self.unsynced) = (true, true);
        self.writer.write(entry)
    }

    /// Keeps both promises; to be called several times a second.
    pub(super) fn keep(&mut self) -> Result<(), TraceError> {
        let now = Instant::now();
        if self.pending && now - self.handed_on >= HAND_ON {
            self.writer.flush()?;
            (self.pending, self.handed_on) = (false, now);
        }
        if self.unsynced && now - self.synced >= SYNC {
            self.sync()?;
            self.synced = now;
        }
        Ok(())
    }

    /// Hands everything on and onto the disk.
    pub(super) fn sync(&mut self) -> Result<(), TraceError> {
        self.writer.flush()?;
        self.unsynced = false;
        match self.writer.sink().get_ref().sync_data() {
            // Not every place for a file can be synced: a pipe, /dev/stdout.
            Err(e) if e.kind() == ErrorKind::InvalidInput => Ok(()),
            done => done.map_err(|source| TraceError::Io { doing: "syncing the session file", source }),
        }
    }
}
