//! The session file while it is being written, and when it is safe.

use super::RecordError;
use slipgauge_trace::session::{Device, Entry, Event, Header, Reader, Writer};
use slipgauge_trace::{Nanos, TraceError};
use std::fs::{File, OpenOptions};
use std::io::{self, BufReader, BufWriter, ErrorKind, Seek as _, SeekFrom};
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

/// A recording that was interrupted and is to be gone on with in the same file.
#[derive(Debug, Clone, PartialEq)]
pub struct Resumed {
    /// Its header.
    pub header: Header,
    /// Wall-clock time at which it is taken up again, RFC 3339 in UTC.
    pub at: String,
    /// Time of its last line.
    last: Nanos,
    /// Bytes up to its last whole line.
    bytes: u64,
    /// True if a phase was open.
    pub(super) in_phase: bool,
}

impl Resumed {
    /// Reads what there is. Nothing is changed.
    ///
    /// # Errors
    /// [`RecordError::Resume`] if it cannot be read, is compressed, or was made with another device than `device`.
    pub fn read(path: &Path, device: &Device, at: String) -> Result<Resumed, RecordError> {
        let refuse = |what: String| RecordError::Resume { path: path.to_owned(), what };
        let told = |e: TraceError| refuse(e.to_string());
        let file = File::open(path).map_err(|e| refuse(e.to_string()))?;
        let mut file = BufReader::with_capacity(1 << 16, file);
        if io::BufRead::fill_buf(&mut file).map_err(|e| refuse(e.to_string()))?.starts_with(&[0x1f, 0x8b]) {
            return Err(refuse("it is compressed; unpack it first (gunzip)".to_owned()));
        }
        let (header, mut reader) = Reader::new(file).map_err(told)?;
        let descriptors = |d: &Device| d.nodes.iter().map(|n| n.descriptor.clone()).collect::<Vec<_>>();
        if header.devices.first().map(descriptors) != Some(descriptors(device)) {
            return Err(refuse(
                "it was made with a device that describes its reports otherwise; plug in the same one"
                    .to_owned(),
            ));
        }
        let (mut last, mut in_phase) = (Nanos(0), false);
        while let Some(Entry { t, event, .. }) = reader.next_entry().map_err(told)? {
            last = last.max(t);
            if let Event::Phase(phase) = event {
                in_phase = phase.is_some();
            }
        }
        Ok(Resumed { header, at, last, bytes: reader.digest().bytes, in_phase })
    }

    /// Session time at which it goes on: a millisecond after its last line. How long it was interrupted is not told by
    /// `t`.
    pub fn begin(&self) -> Nanos {
        self.last + Nanos::MILLISECOND
    }

    /// Opens the file for writing after its last whole line. A line that was cut short was never whole, and goes.
    pub(super) fn open(&self, path: &Path) -> Result<File, RecordError> {
        let refuse = |e: io::Error| RecordError::Resume { path: path.to_owned(), what: e.to_string() };
        let mut file = OpenOptions::new().write(true).open(path).map_err(refuse)?;
        file.set_len(self.bytes).map_err(refuse)?;
        file.seek(SeekFrom::End(0)).map_err(refuse)?;
        Ok(file)
    }
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
        SessionFile::start(file, |sink| Writer::new(sink, header))
    }

    /// Goes on in a file that has a header.
    pub(super) fn resume(file: File) -> Result<SessionFile, TraceError> {
        SessionFile::start(file, |sink| Ok(Writer::resume(sink)))
    }

    fn start(
        file: File,
        writer: impl FnOnce(BufWriter<File>) -> Result<Writer<BufWriter<File>>, TraceError>,
    ) -> Result<SessionFile, TraceError> {
        let same = file.try_clone().map_err(wrap)?;
        let mut writer = writer(BufWriter::with_capacity(1 << 16, file))?;
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
