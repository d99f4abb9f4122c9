//! Reading a session file as a stream: one line in memory at a time.

use super::{Entry, Header, MAX_LINE, MAX_NODES, VERSION};
use crate::TraceError;
use flate2::bufread::MultiGzDecoder;
use sha2::{Digest as _, Sha256};
use std::fs::File;
use std::io::{BufRead, BufReader, ErrorKind, Read};
use std::path::Path;

/// What was read, to the last whole line; of nothing by default.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Digest {
    /// SHA-256 over the uncompressed bytes up to the last whole line.
    pub sha256: [u8; 32],
    /// Their number.
    pub bytes: u64,
    /// True if a last line without its end was left out (the recorder was killed, or the file is being written).
    pub cut_short: bool,
}

/// Opens a session file, plain or gzip, told apart by content.
///
/// # Errors
/// [`TraceError::Io`] if the file cannot be opened.
pub fn open(path: &Path) -> Result<Box<dyn BufRead + Send>, TraceError> {
    let wrap = |source| TraceError::Io { doing: "opening the session file", source };
    let mut plain = BufReader::with_capacity(1 << 16, File::open(path).map_err(wrap)?);
    if plain.fill_buf().map_err(wrap)?.starts_with(&[0x1f, 0x8b]) {
        Ok(Box::new(BufReader::with_capacity(1 << 16, MultiGzDecoder::new(plain))))
    } else {
        Ok(Box::new(plain))
    }
}

/// A stream of entries.
pub struct Reader<R: BufRead> {
    source: R,
    hash: Sha256,
    line: Vec<u8>,
    number: u64,
    start: u64,
    next: u64,
    cut_short: bool,
}

impl<R: BufRead> Reader<R> {
    /// Reads the header and leaves the entries to [`Reader::next_entry`].
    ///
    /// # Errors
    /// [`TraceError`] if there is no header, it is not one, or its version is unknown.
    pub fn new(source: R) -> Result<(Header, Reader<R>), TraceError> {
        let (hash, line) = (Sha256::new(), Vec::new());
        let mut reader = Reader { source, hash, line, number: 0, start: 0, next: 0, cut_short: false };
        if !reader.advance()? {
            if !reader.cut_short {
                return Err(TraceError::Empty);
            }
            reader.number = 1;
            return Err(
                reader.error("no whole header line: the file was cut short or is not a session file".into())
            );
        }
        let value: serde_json::Value = serde_json::from_slice(&reader.line)
            .map_err(|e| reader.error(format!("no session header: {e}; was this written by slipgauge?")))?;
        let version = value.get("slipgauge").and_then(serde_json::Value::as_u64);
        match version {
            Some(VERSION) => {}
            Some(found) => return Err(TraceError::Version { found }),
            None => return Err(reader.error("no session header: the key \"slipgauge\" is missing".into())),
        }
        if size(&value) > MAX_NODES {
            return Err(reader.error(format!("session header: more than {MAX_NODES} devices or nodes")));
        }
        let header =
            serde_json::from_value(value).map_err(|e| reader.error(format!("session header: {e}")))?;
        Ok((header, reader))
    }

    /// The next entry, or `None` at the end.
    ///
    /// # Errors
    /// [`TraceError::Line`] with the line's number and byte.
    pub fn next_entry(&mut self) -> Result<Option<Entry>, TraceError> {
        loop {
            if !self.advance()? {
                return Ok(None);
            }
            if !self.line.is_empty() {
                return Entry::parse(&self.line).map(Some).map_err(|what| self.error(what));
            }
        }
    }

    /// Number of the line last read, from 1.
    pub fn line(&self) -> u64 {
        self.number
    }

    /// An error at the line last read.
    pub fn error(&self, what: String) -> TraceError {
        TraceError::Line { line: self.number, byte: self.start, what }
    }

    /// Hash and length of all whole lines read so far.
    pub fn digest(&self) -> Digest {
        Digest { sha256: self.hash.clone().finalize().into(), bytes: self.next, cut_short: self.cut_short }
    }

    /// Reads the next whole line into `self.line`, without its end. False at the end of the file.
    fn advance(&mut self) -> Result<bool, TraceError> {
        self.line.clear();
        self.start = self.next;
        let limit = MAX_LINE as u64 + 1;
        match (&mut self.source).take(limit).read_until(b'\n', &mut self.line) {
            Ok(_) => {}
            // A compressed file that was cut: what came out of it before is good.
            Err(e) if e.kind() == ErrorKind::UnexpectedEof => {
                self.line.clear();
                self.cut_short = true;
            }
            Err(source) => return Err(TraceError::Io { doing: "reading the session file", source }),
        }
        if self.line.last() != Some(&b'\n') {
            if self.line.len() > MAX_LINE {
                self.number += 1;
                return Err(self.error(format!("longer than {MAX_LINE} bytes: not a session file")));
            }
            self.cut_short |= !self.line.is_empty();
            return Ok(false);
        }
        self.number += 1;
        self.next += self.line.len() as u64;
        self.hash.update(&self.line);
        self.line.pop();
        if self.line.last() == Some(&b'\r') {
            self.line.pop();
        }
        Ok(true)
    }
}

/// Number of devices or of nodes that a header lists, whichever is more.
fn size(header: &serde_json::Value) -> usize {
    let list = |of: &serde_json::Value, key: &str| of.get(key).and_then(|v| v.as_array()).map_or(0, Vec::len);
    let devices = header.get("devices").and_then(|v| v.as_array()).into_iter().flatten();
    let nodes: usize = devices.map(|device| list(device, "nodes")).sum();
    nodes.max(list(header, "devices"))
}
